"""Sizes of paper, boxes on it and the distances between them; all in millimetres, from the lower left corner."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from ..errors import ThwartError
from ..tomlfile import nearest


class PaperError(ThwartError):
    """Something that doesn't go onto the paper asked for."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A size of paper, upright."""

    name: str
    width: float
    height: float


#: ISO 216 (A series) and ANSI/ASME Y14.1 (letter, tabloid); legal is common practice, no source.
PAPERS: Final = {
    name: Paper(name, width, height)
    for name, width, height in (
        ("a3", 297, 420), ("a4", 210, 297), ("a5", 148, 210), ("a6", 105, 148),
        ("letter", 215.9, 279.4), ("legal", 215.9, 355.6), ("tabloid", 279.4, 431.8),
    )
}  # fmt: skip

_PAIR = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,2})?)x([0-9]{1,4}(?:\.[0-9]{1,2})?)")
_SMALLEST_MM, _LARGEST_MM = 20.0, 2000.0


def pair(text: str, what: str, example: str) -> tuple[float, float]:
    """Two lengths in mm written `WIDTHxHEIGHT`. Raises PaperError naming `what` and an `example`."""
    found = _PAIR.fullmatch(text.lower().replace(" ", "").removesuffix("mm"))
    if found is None:
        raise PaperError(f"{what}: {text!r} isn't a width and a height in mm", f"write it as {example}")
    return float(found[1]), float(found[2])


def paper(text: str) -> Paper:
    """A paper by name, or by width and height in mm (`100x150`). Raises PaperError."""
    known = PAPERS.get(text.lower())
    if known is not None:
        return known
    if not text[:1].isdigit():
        near = nearest(text.lower(), PAPERS, len(PAPERS))
        raise PaperError(f"there is no paper {text!r}; {near}", "or give its width and height in mm: --paper 100x150")
    width, height = pair(text, "paper", "100x150")
    if not all(_SMALLEST_MM <= side <= _LARGEST_MM for side in (width, height)):
        raise PaperError(
            f"paper {text}: sides from {_SMALLEST_MM:g} to {_LARGEST_MM:g} mm are printed", "width and height are in mm"
        )
    return Paper(text, width, height)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle: left and lower edge, width and height in mm."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.x + self.width

    @property
    def top(self) -> float:
        """Its upper edge."""
        return self.y + self.height

    def inside(self, by: float) -> Box:
        """The box `by` mm smaller on each side."""
        return Box(self.x + by, self.y + by, self.width - 2 * by, self.height - 2 * by)

    def gap(self, other: Box) -> float:
        """The shortest distance to another box in mm; 0 where they touch or overlap."""
        across = max(other.x - self.right, self.x - other.right, 0.0)
        up = max(other.y - self.top, self.y - other.top, 0.0)
        return float((across**2 + up**2) ** 0.5)

    def holds(self, other: Box, slack: float = 0.01) -> bool:
        """Whether another box lies within this one, to `slack` mm."""
        return (
            other.x >= self.x - slack
            and other.y >= self.y - slack
            and other.right <= self.right + slack
            and other.top <= self.top + slack
        )

    def overlaps(self, other: Box) -> bool:
        """Whether both share some area."""
        return self.x < other.right and other.x < self.right and self.y < other.top and other.y < self.top
