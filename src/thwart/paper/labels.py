"""Labels of envelopes and vials: what stands on one and where, on a sheet of labels or on a roll. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from ..bench.protocol import Containers, Protocol
from . import symbols
from .grid import LabelSheet, sheet_paper
from .page import BELOW, BOLD, PLAIN, Document, fitted, printable, text_height, text_width
from .sizes import Box, PaperError
from .symbols import Symbol

Words = Mapping[str, str]
LabelSymbol = Literal["code128", "qr"]


@dataclass(frozen=True, slots=True)
class Row:
    """A line of a label: what it is, and its value or, without one, room for the pen."""

    name: str
    value: str = ""
    short: str = ""
    """The value where there is little room."""


@dataclass(frozen=True, slots=True)
class Item:
    """Something on a label in its box. A code's box is its dark part."""

    kind: Literal["number", "row", "code", "note"]
    box: Box
    text: str = ""
    size: float = 0.0
    symbol: Symbol | None = None
    pen: Box | None = None
    """Room for the pen, right of the text."""
    bold: str = ""
    """A value printed right of the text."""


#: Room for a written line; the smallest print that is read at the bench, and the smallest number. Common practice, no source.
_PEN_MM, _SMALL_MM, _NUMBER_MM = 5.5, 1.9, 2.6
_EDGE_MM = 2.0
#: A narrower column leaves the names of printed values out.
_NARROW_MM = 28.0


def rows_of(protocol: Protocol, words: Words, *, batch: str = "", species: str = "") -> list[Row]:
    """What stands on a label beside its number, the most wanted first."""
    known = protocol.species.get(species)
    short = known.title if known else species
    title = f"{known.title} · {known.scientific}" if known and known.scientific else short
    rows = [
        Row(words["label-batch"], batch, batch),
        Row(words["label-species"], title, short),
        Row(words["label-fish"]),
    ]
    for m in protocol.measurands:
        if m.required:
            unit = "mm" if m.quantity == "length" else "g"
            rows.append(Row(f"{words.get('name-' + m.name, m.name.replace('_', ' '))} {unit}"))
    rows += [Row(words.get("name-" + field, field.replace("_", " "))) for field in protocol.codes]
    rows.append(Row(words["label-date"]))
    return rows


def note_of(containers: Containers, kind: str, words: Words) -> str:
    """What a label reminds of: what is kept dry in a vial must be dry before it is sealed."""
    return words["label-dry"] if kind == "vial" and containers.dried is not False else ""


def laid_out(label: str, cell: Box, rows: Sequence[Row], note: str, symbol: LabelSymbol) -> list[Item]:
    """Where everything of one label stands; rows that find no room are left out, from the last. Raises PaperError."""
    inner = cell.inside(min(_EDGE_MM, cell.height / 8))
    code, rest = _beside(label, inner) if symbol == "qr" else _under(label, inner)
    items = [code]
    size = min(fitted(label, rest.width, 7.0, BOLD), rest.height * 0.3 / text_height(1.0))
    if size < _NUMBER_MM:
        raise PaperError(
            f"a label of {cell.width:g} × {cell.height:g} mm has no room for the number {label}",
            "take a larger label" + (", or --symbol code128" if symbol == "qr" else ", or --symbol qr"),
        )
    high = text_height(size)
    items.append(Item("number", Box(rest.x, rest.top - high, text_width(label, size, BOLD), high), label, size))
    rest = Box(rest.x, rest.y, rest.width, rest.height - high - 0.5)
    if note:
        small = min(fitted(note, rest.width, 2.6), 2.6)
        if small >= _SMALL_MM * 0.8 and rest.height > text_height(small):
            items.append(Item("note", Box(rest.x, rest.y, text_width(note, small), text_height(small)), note, small))
            rest = Box(rest.x, rest.y + text_height(small) + 0.3, rest.width, rest.height - text_height(small) - 0.3)
    return items + _written(rest, rows, size * 0.85)


def _written(space: Box, rows: Sequence[Row], largest: float) -> list[Item]:
    """Rows in one or two columns; where they can't all be as high as a pen wants, as many as are."""
    if not rows:
        return []
    columns = 2 if space.width >= 56 else 1
    count = min(-(-len(rows) // columns), max(1, int(space.height // _PEN_MM)))
    high = min(space.height / count, 9.0)
    size = min(2.9, high / text_height(1.0))
    if size < _SMALL_MM:
        return []
    wide = (space.width - (columns - 1) * 2.5) / columns
    items = []
    for at, row in enumerate(rows[: columns * count]):
        line, column = divmod(at, columns)
        x, y = space.x + column * (wide + 2.5), space.top - (line + 1) * high
        narrow = wide < _NARROW_MM
        text = "" if narrow and row.value else printable(row.name, "label")
        small = fitted(text, wide * 0.6, 2.0 if narrow else size) if text else size
        width = text_width(text, small) + 1 if text else 0.0
        box = Box(x, y + 0.3, max(0.0, width - 1), text_height(small))
        room = Box(x + width, y + 0.3, wide - width, high - 0.3)
        if row.value:
            value = printable(row.short if narrow else row.value, row.name)
            large = min(fitted(value, room.width, min(3.4, largest), BOLD), high / text_height(1.0))
            room = Box(room.x, room.y, text_width(value, large, BOLD), text_height(large))
            items.append(Item("row", box, text, small, pen=room, bold=value))
        else:
            items.append(Item("row", box, text, small, pen=room))
    return items


def _beside(label: str, inner: Box) -> tuple[Item, Box]:
    """A QR code at the left edge, on an upright label at the upper, and what is left of the label."""
    modules = symbols.qr_modules(label)
    upright = inner.height > 1.2 * inner.width
    free = min(inner.width, inner.height * 0.45) if upright else min(inner.height, inner.width * 0.45)
    module = min(1.0, free / modules)
    if module < symbols.LABEL_MODULE_MM:
        need = modules * symbols.LABEL_MODULE_MM
        raise _too_small(label, inner, "QR", f"{need / 0.45 + 2 * _EDGE_MM:.0f} × {need + 2 * _EDGE_MM:.0f} mm")
    made = symbols.qr(label, module)
    dark, side = made.width - 2 * made.quiet, made.width
    y = inner.top - side if upright else inner.y + (inner.height - side) / 2
    code = Item("code", Box(inner.x + made.quiet, y + made.quiet, dark, dark), label, symbol=made)
    if upright:
        return code, Box(inner.x, inner.y, inner.width, inner.height - side)
    return code, Box(inner.x + side, inner.y, inner.width - side, inner.height)


def _under(label: str, inner: Box) -> tuple[Item, Box]:
    """Code 128 at the lower edge, and what is left of the label."""
    modules = symbols.code128_modules(label)
    module = min(0.5, inner.width / modules)
    high = min(12.0, inner.height * 0.34)
    if module < symbols.LABEL_BAR_MM or high < 5:
        need = modules * symbols.LABEL_BAR_MM + 2 * _EDGE_MM
        raise _too_small(label, inner, "Code 128", f"{need:.0f} × 20 mm")
    made = symbols.code128(label, module, high)
    dark = made.width - 2 * made.quiet
    code = Item("code", Box(inner.x + made.quiet, inner.y, dark, high), label, symbol=made)
    return code, Box(inner.x, inner.y + high + 1.2, inner.width, inner.height - high - 1.2)


def _too_small(label: str, inner: Box, what: str, need: str) -> PaperError:
    return PaperError(
        f"the label is too small for the {what} code of {label} ({inner.width:.0f} × {inner.height:.0f} mm are free)",
        f"it needs {need} or more; --symbol {'code128' if what == 'QR' else 'qr'} needs another shape",
    )


def pages(count: int, sheet: LabelSheet, skip: int = 0) -> list[list[tuple[int, Box]]]:
    """Which label (from 0) stands in which cell, page by page; `skip` cells of the first sheet are used. Raises PaperError."""
    cells = sheet.cells()
    if not 0 <= skip < len(cells):
        raise PaperError(
            f"a sheet has {len(cells)} labels, {skip} of them can't be used already",
            f"--skip takes 0 to {len(cells) - 1}",
        )
    made: list[list[tuple[int, Box]]] = []
    for nth in range(count):
        page, at = divmod(nth + skip, len(cells))
        if page == len(made):
            made.append([])
        made[-1].append((nth, cells[at]))
    return made


def printed(
    numbers: Sequence[str],
    sheet: LabelSheet,
    rows: Sequence[Row],
    note: str,
    symbol: LabelSymbol,
    *,
    title: str,
    language: str,
    skip: int = 0,
) -> bytes:
    """Labels as a PDF. Raises PaperError."""  # fmt: skip
    size = sheet_paper(sheet)
    document = Document(size.width, size.height, title, language)
    for page in pages(len(numbers), sheet, skip):
        document.new_page()
        for nth, cell in page:
            for item in laid_out(numbers[nth], cell, rows, note, symbol):
                _draw(document, item)
    return document.finished()


def _draw(document: Document, item: Item) -> None:
    if item.symbol is not None:
        up = item.symbol.quiet if item.symbol.kind == "qr" else 0.0
        document.symbol(item.symbol, item.box.x - item.symbol.quiet, item.box.y - up)
        return
    document.text(item.text, item.box, item.size, BOLD if item.kind == "number" else PLAIN)
    if item.pen is None:
        return
    if item.bold:
        document.text(item.bold, item.pen, item.pen.height / text_height(1.0), BOLD)
    else:
        y = item.box.y + item.size * BELOW
        document.rule(item.pen.x, y, item.pen.right, y)
