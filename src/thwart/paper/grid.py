"""Sheets and rolls of labels: where the labels are on them, in millimetres. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Final

from pydantic import Field, model_validator

from ..tomlfile import Strict, nearest
from .sizes import Box, Paper, PaperError, pair, paper

Mm = Annotated[float, Field(ge=0, le=2000)]
Side = Annotated[float, Field(ge=5, le=2000)]


class LabelSheet(Strict):
    """A sheet of labels, measured in mm: the grid, a label's size, the first label's left and upper edge, the pitch."""

    paper: str = "a4"
    columns: Annotated[int, Field(ge=1, le=40)]
    rows: Annotated[int, Field(ge=1, le=80)]
    width: Side
    height: Side
    left: Mm = 0.0
    top: Mm = 0.0
    across: Side | None = None
    """From one label's left edge to the next one's; not said: the labels touch."""
    down: Side | None = None

    @model_validator(mode="after")
    def _fits(self) -> LabelSheet:
        size = sheet_paper(self)
        if self.columns > 1 and (self.across or self.width) < self.width:
            raise ValueError("across: smaller than width, so that labels overlap")
        if self.rows > 1 and (self.down or self.height) < self.height:
            raise ValueError("down: smaller than height, so that labels overlap")
        right = self.left + (self.columns - 1) * (self.across or self.width) + self.width
        low = self.top + (self.rows - 1) * (self.down or self.height) + self.height
        if right > size.width + 0.5 or low > size.height + 0.5:
            raise ValueError(
                f"the labels need {right:g} × {low:g} mm and {size.name} has {size.width:g} × {size.height:g}"
            )
        return self

    def cells(self) -> list[Box]:
        """The labels of a page, row by row from the upper left."""
        high = sheet_paper(self).height
        return [
            Box(
                self.left + column * (self.across or self.width),
                high - self.top - row * (self.down or self.height) - self.height,
                self.width,
                self.height,
            )
            for row in range(self.rows)
            for column in range(self.columns)
        ]


def sheet_paper(sheet: LabelSheet) -> Paper:
    """The paper of a sheet. Raises ValueError for an unknown one."""
    try:
        return paper(sheet.paper)
    except PaperError as error:
        raise ValueError(f"paper: {error.message}; {error.hint}") from None


#: Grids that are sold everywhere, named by paper, columns and rows. Common practice, no source.
SHEETS: Final[dict[str, LabelSheet]] = {
    "a4-3x8": LabelSheet(columns=3, rows=8, width=70, height=37, top=0.5),
    "a4-2x7": LabelSheet(columns=2, rows=7, width=99.1, height=38.1, left=4.65, top=15.15, across=101.6),
    "a4-2x4": LabelSheet(columns=2, rows=4, width=105, height=74, top=0.5),
    "a4-5x13": LabelSheet(columns=5, rows=13, width=38.1, height=21.2, left=4.75, top=10.7, across=40.6),
    "letter-3x10": LabelSheet(
        paper="letter", columns=3, rows=10, width=66.7, height=25.4, left=4.8, top=12.7, across=69.8
    ),
}


def sheet_named(name: str, own: Mapping[str, LabelSheet]) -> LabelSheet:
    """A sheet by name, the bench's own before the shipped ones. Raises PaperError."""
    known = {**SHEETS, **own}
    if name in known:
        return known[name]
    near = nearest(name, known, len(known))
    raise PaperError(
        f"there is no sheet {name!r}; {near}",
        "measure yours and add it to bench.toml: [labels.sheets.NAME] with columns, rows, width, height in mm",
    )


def roll(text: str) -> LabelSheet:
    """A roll of labels `WIDTHxHEIGHT` in mm, one label a page. Raises PaperError."""
    width, height = pair(text, "roll", "70x37")
    if not (10 <= width <= 300 and 5 <= height <= 300):
        raise PaperError(f"roll {text}: labels from 10 × 5 to 300 × 300 mm are printed", "width first, in mm: 70x37")
    return LabelSheet(paper=f"{max(width, 20):g}x{max(height, 20):g}", columns=1, rows=1, width=width, height=height)
