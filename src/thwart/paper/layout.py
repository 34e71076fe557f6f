"""Where everything on a page of cards stands, reckoned before it is drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from . import icons, symbols
from .deck import Card
from .page import BELOW, BOLD, PLAIN, Document, broken, fitted, printable, text_height, text_width
from .sizes import Box, Paper, PaperError
from .symbols import Symbol

Symbols = Literal["qr", "code128", "both"]

#: How wide a scanner's beam falls onto the wall at arm's length: codes stand further apart. Common practice, no source.
BEAM_MM: Final = 50.0
#: Printers leave so much of the edge white. Common practice, no source.
MARGIN_MM: Final = 10.0
_HEADER = 9.0
#: The dark part of a card's QR code and the most a long text makes of it, and the height of a Code 128.
_QR_MM, _LONG_QR_MM = 29.0, 33.0
_BAR_HEIGHT = 14.0
_ICON_MM = 36.0
#: So far a QR code stands inside the words' right edge: its quiet zone must not meet the frame.
_INSIDE_MM = 3.8
#: The smallest cards that can be read from a step away, by the codes they bear.
_SMALLEST: Final[dict[Symbols, tuple[float, float]]] = {"qr": (78, 74), "code128": (110, 62), "both": (110, 96)}


@dataclass(frozen=True, slots=True)
class Part:
    """Something on a page in its box. A code's box is its dark part; `room` adds the quiet zone."""

    kind: Literal["heading", "task", "steps", "title", "detail", "typed", "icon", "code"]
    box: Box
    text: str = ""
    size: float = 0.0
    symbol: Symbol | None = None

    @property
    def room(self) -> Box:
        """What nothing else may touch."""
        return self.box if self.symbol is None else self.box.inside(-self.symbol.quiet) if self.symbol.kind == "qr" else (
            Box(self.box.x - self.symbol.quiet, self.box.y, self.box.width + 2 * self.symbol.quiet, self.box.height)
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Placed:
    """A card in its cell."""

    card: Card
    cell: Box
    parts: tuple[Part, ...]

    @property
    def frame(self) -> Box:
        """The edge of the card itself."""
        return self.cell.inside(2.0)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page of cards of one task."""

    task: str
    heading: Part
    cards: tuple[Placed, ...]


def sheets(
    cards: Sequence[Card],
    paper: Paper,
    words: Mapping[str, str],
    *,
    bench: str,
    symbol: Symbols = "qr",
    beam: float = BEAM_MM,
) -> list[Sheet]:
    """The pages of a deck, each task beginning a new one. Raises PaperError where something doesn't go on the paper."""
    usable = Box(0, 0, paper.width, paper.height).inside(MARGIN_MM)
    usable = Box(usable.x, usable.y, usable.width, usable.height - _HEADER)
    least = _SMALLEST[symbol]
    if usable.width < least[0] or usable.height < least[1]:
        raise PaperError(
            f"paper {paper.name} ({paper.width:g} × {paper.height:g} mm) is too small for a card",
            f"it needs {least[0] + 2 * MARGIN_MM:g} × {least[1] + 2 * MARGIN_MM + _HEADER:g} mm or more"
            + ("" if symbol == "qr" else "; --symbol qr needs less"),
        )
    qr = max(_qr_side(card.text) for card in cards) if symbol != "code128" else 0.0
    high = {"qr": qr, "code128": _BAR_HEIGHT, "both": qr + 6 + _BAR_HEIGHT}[symbol]
    # One alone has no neighbour; a Code 128 takes the whole width.
    columns = max(1, int(usable.width // max(least[0], qr + beam + 0.1))) if symbol == "qr" else 1
    rows = max(1, int(usable.height // max(least[1], high + beam + 0.1)))
    width, height = usable.width / columns, usable.height / rows
    tasks = list(dict.fromkeys(card.task for card in cards))
    per = columns * rows
    runs = [(t, mine[at : at + per]) for t in tasks for mine in [[c for c in cards if c.task == t]] for at in range(0, len(mine), per)]  # fmt: skip
    made = []
    for nth, (task, some) in enumerate(runs, 1):
        text = printable(f"{words['task-' + task]} · {bench} · {nth}/{len(runs)}", "heading")
        size = fitted(text, usable.width, 4.2, BOLD)
        heading = Part(
            "heading", Box(usable.x, usable.top + 3, text_width(text, size, BOLD), text_height(size)), text, size
        )
        placed = []
        for at, one in enumerate(some):
            row, column = divmod(at, columns)
            cell = Box(usable.x + column * width, usable.top - (row + 1) * height, width, height)
            placed.append(Placed(one, cell, tuple(_parts(one, cell, words, symbol))))
        made.append(Sheet(task, heading, tuple(placed)))
    return made


def _parts(card: Card, cell: Box, words: Mapping[str, str], symbol: Symbols) -> list[Part]:
    inner = cell.inside(6.0)
    parts = _strip(card, inner, words)
    body = Box(inner.x, inner.y, inner.width, inner.height - 7.5)
    typed = _line("typed", card.text, Box(body.x, body.y, body.width, 3.4), 2.6, PLAIN)
    parts.append(typed)
    body = Box(body.x, typed.box.top + 1.8, body.width, body.top - typed.box.top - 1.8)
    return parts + (_square(card, body) if symbol == "qr" else _wide(card, body, symbol))


def _square(card: Card, body: Box) -> list[Part]:
    """Words above, icon left, code right, more words below."""
    code = _qr(card.text)
    side, dark = code.width, code.width - 2 * code.quiet
    icon = min(_ICON_MM, body.width - _INSIDE_MM - dark - code.quiet)
    below = Box(body.x, body.y, body.width, min(12.0, body.height - side - 10))
    above = Box(body.x, below.top + side, body.width, body.height - below.height - side)
    title = _lines("title", card.title, above, 11, BOLD)
    return [
        *title,
        Part("icon", Box(body.x, below.top + (side - icon) / 2, icon, icon)),
        _code(code, body.right + code.quiet - side - _INSIDE_MM, below.top),
        *_lines("detail", card.detail, below, 5.2, PLAIN),
    ]


def _wide(card: Card, body: Box, symbol: Symbols) -> list[Part]:
    """Icon left, words beside it, the QR code right of them where there is one, Code 128 below."""
    bars = _bars(card.text, body.width)
    upper = Box(body.x, body.y + _BAR_HEIGHT + 3, body.width, body.height - _BAR_HEIGHT - 3)
    icon = min(upper.height, 58.0)
    parts = [
        _code(bars, body.x + (body.width - bars.width) / 2, body.y),
        Part("icon", Box(upper.x, upper.y + (upper.height - icon) / 2, icon, icon)),
    ]
    left, right = upper.x + icon + 4, upper.right
    if symbol == "both":
        code = _qr(card.text)
        parts.append(_code(code, upper.right + code.quiet - code.width - _INSIDE_MM, upper.y))
        right -= code.width - code.quiet + _INSIDE_MM
    below = Box(left, upper.y, right - left, max(12.0, upper.height * 0.35))
    above = Box(left, below.top, right - left, upper.height - below.height)
    return [*parts, *_lines("title", card.title, above, 16, BOLD), *_lines("detail", card.detail, below, 6.5, PLAIN)]


def _strip(card: Card, inner: Box, words: Mapping[str, str]) -> list[Part]:
    """The task, and what takes two steps says so."""
    top = Box(inner.x, inner.top - 6, inner.width, 6)
    if not card.two_steps:
        return [_line("task", words["task-" + card.task], top, 3.4, PLAIN)]
    return [_line("steps", words["two-steps"], Box(top.x + 9, top.y, top.width - 9, 6), 4.0, BOLD)]


def _qr(text: str) -> Symbol:
    return symbols.qr(text, _qr_side(text) / (symbols.qr_modules(text) - 2 * symbols.QUIET["qr"]))


def _qr_side(text: str) -> float:
    """How wide the dark part of a card's QR code is, in mm."""
    side = max(_QR_MM, (symbols.qr_modules(text) - 2 * symbols.QUIET["qr"]) * symbols.CARD_MODULE_MM)
    if side > _LONG_QR_MM:
        raise PaperError(f"{text} is too long for a card's QR code", "shorten the name or reason in it")
    return side


def _bars(text: str, width: float) -> Symbol:
    modules = symbols.code128_modules(text)
    if modules * symbols.CARD_BAR_MM > width:
        raise PaperError(
            f"{text} is {modules * symbols.CARD_BAR_MM:.0f} mm wide in Code 128, and the card {width:.0f} mm",
            "take --symbol qr, or paper lying on its side, as --paper 297x210",
        )
    return symbols.code128(text, min(0.66, width / modules), _BAR_HEIGHT)


def _code(symbol: Symbol, x: float, y: float) -> Part:
    """A code whose quiet zone's lower left corner is at a point."""
    up = symbol.quiet if symbol.kind == "qr" else 0.0
    box = Box(x + symbol.quiet, y + up, symbol.width - 2 * symbol.quiet, symbol.height - 2 * up)
    return Part("code", box, symbol.text, symbol=symbol)


_Kind = Literal["task", "steps", "title", "detail", "typed"]


def _line(kind: _Kind, text: str, box: Box, largest: float, face: str) -> Part:
    """One line, as large as its box allows, from its left edge and in the middle of its height."""
    text = printable(text, "card")
    size = min(fitted(text, box.width, largest, face), box.height / text_height(1.0))
    high = text_height(size)
    return Part(kind, Box(box.x, box.y + (box.height - high) / 2, text_width(text, size, face), high), text, size)


def _lines(kind: _Kind, text: str, box: Box, largest: float, face: str) -> list[Part]:
    """A text on one or two lines, whichever lets it be larger; from the top of its box."""
    if not text:
        return []
    best: tuple[float, list[str]] = (0.0, [])
    for lines in (broken(text, 1), broken(text, 2)):
        each = box.height / len(lines)
        size = min(min(fitted(line, box.width, largest, face) for line in lines), each / text_height(1.0))
        if size > best[0] * 1.15:
            best = (size, lines)
    size, lines = best
    high = text_height(size)
    parts = []
    for nth, line in enumerate(lines):
        at = Box(box.x, box.top - (nth + 1) * high, box.width, high)
        parts.append(_line(kind, line, at, size, face))
    return parts


# ---- drawing -------------------------------------------------------------------------------------------------------


def printed(pages: Sequence[Sheet], paper: Paper, title: str, language: str) -> bytes:
    """The pages as a PDF."""
    document = Document(paper.width, paper.height, title, language)
    for page in pages:
        document.new_page()
        document.text(page.heading.text, page.heading.box, page.heading.size, BOLD)
        for placed in page.cards:
            _draw(document, placed)
    return document.finished()


def _draw(document: Document, placed: Placed) -> None:
    document.frame(placed.cell, 0.2, dashes=(1, 2), ink=0.5)
    document.frame(placed.frame, 0.9 if not placed.card.two_steps else 1.4, 4)
    if placed.card.two_steps:
        document.frame(placed.frame.inside(1.7), 0.6, 2.8)
    for part in placed.parts:
        if part.kind == "icon":
            with document.pen(part.box) as pen:
                icons.on_plate(pen, placed.card.task, placed.card.draw)
        elif part.symbol is not None:
            up = part.symbol.quiet if part.symbol.kind == "qr" else 0.0
            document.symbol(part.symbol, part.box.x - part.symbol.quiet, part.box.y - up)
        else:
            bold = part.kind in ("title", "steps")
            document.text(part.text, part.box, part.size, BOLD if bold else PLAIN)
        if part.kind == "steps":
            mark = Box(part.box.x - 8.5, part.box.y + part.size * BELOW - 1.6, 6.4, 6.4)
            with document.pen(mark) as pen:
                icons.twice(pen)
