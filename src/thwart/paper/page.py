"""Pages of a PDF drawn in millimetres: text in an embedded face, codes, pens for icons. The one module that knows of PDF."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

from .sizes import Box, PaperError
from .symbols import Symbol

MM: Final = 72 / 25.4
#: The face comes with the PDF library and goes into the file, so that every printer shows the same letters.
_FACES: Final = {"thwart-plain": "Vera.ttf", "thwart-bold": "VeraBd.ttf"}
PLAIN: Final = "thwart-plain"
BOLD: Final = "thwart-bold"
#: Of a letter's size: how high a capital stands, and how far letters and accents reach below and above the line.
CAPITAL, BELOW, ABOVE = 0.73, 0.24, 0.95

Point = tuple[float, float]


def _faces() -> Any:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name, file in _FACES.items():
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, file))
    return pdfmetrics


def text_width(text: str, size: float, face: str = PLAIN) -> float:
    """The width in mm of a text of `size` mm."""
    return float(_faces().stringWidth(text, face, size * MM)) / MM


def printable(text: str, what: str) -> str:
    """The text itself. Raises PaperError where the face has no letter for one of its characters."""
    known = _faces().getFont(PLAIN).face.charToGlyph
    lacking = sorted({c for c in text if ord(c) not in known})
    if lacking:
        shown = " ".join(f"{c} (U+{ord(c):04X})" if c.isprintable() else f"U+{ord(c):04X}" for c in lacking)
        raise PaperError(f"{what}: {text!r} holds characters that can't be printed: {shown}", "write it without them")
    return text


def fitted(text: str, width: float, largest: float, face: str = PLAIN) -> float:
    """The largest size in mm, up to `largest`, at which a text is no wider than `width` mm."""
    one = text_width(text, 1.0, face)
    return largest if one * largest <= width else width / one


def broken(text: str, lines: int) -> list[str]:
    """A text on so many lines at most, broken at blanks so that the widest line is as narrow as can be."""
    words = text.split()
    if lines == 1 or len(words) < 2:
        return [" ".join(words)]
    best = [" ".join(words)]
    for at in range(1, len(words)):
        tried = [" ".join(words[:at]), *broken(" ".join(words[at:]), lines - 1)]
        if max(text_width(line, 1.0) for line in tried) < max(text_width(line, 1.0) for line in best):
            best = tried
    return best


class Pen:
    """Draws an icon in its own units: the middle is (0, 0), and what is drawn stays within ±50."""

    def __init__(self, canvas: Any) -> None:
        self._c = canvas
        self.stroke(6)

    def stroke(self, width: float, *, dashes: Sequence[float] = ()) -> None:
        """The width of lines from now on, and their dashes."""
        self._c.setLineWidth(width)
        self._c.setLineCap(0 if dashes else 1)
        self._c.setDash(list(dashes))

    @contextmanager
    def smaller(self, x: float, y: float, scale: float) -> Iterator[None]:
        """What is drawn within is `scale` times as large, its middle at a point; lines keep their width."""
        self._c.saveState()
        self._c.translate(x, y)
        self._c.scale(scale, scale)
        self.stroke(5 / scale)
        yield
        self._c.restoreState()

    def line(self, *points: Point, fill: bool | None = None) -> None:
        """An open line; with `fill` closed: True black, False white with a black edge."""
        path = self._c.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        self._draw(path, fill)

    def curve(self, start: Point, *bends: tuple[Point, Point, Point], fill: bool | None = None) -> None:
        """Bézier curves, each two control points and an end."""
        path = self._c.beginPath()
        path.moveTo(*start)
        for one, two, end in bends:
            path.curveTo(*one, *two, *end)
        self._draw(path, fill)

    def disc(self, x: float, y: float, radius: float, *, fill: bool | None = True, ink: str = "black") -> None:
        """A circle: filled, white (False) or only its edge (None)."""
        if ink == "white":
            self._c.setFillGray(1)
            self._c.circle(x, y, radius, stroke=0, fill=1)
            self._c.setFillGray(0)
            return
        self._c.setFillGray(0 if fill else 1)
        self._c.circle(x, y, radius, stroke=1, fill=0 if fill is None else 1)
        self._c.setFillGray(0)

    def bow(self, x: float, y: float, radius: float, start: float, sweep: float) -> None:
        """A part of a circle, from `start` degrees (0: right) over `sweep` degrees against the clock."""
        path = self._c.beginPath()
        path.arc(x - radius, y - radius, x + radius, y + radius, start, sweep)
        self._draw(path, None)

    def head(self, x: float, y: float, towards: float, size: float = 15) -> None:
        """An arrow's head, its tip at a point and pointing towards so many degrees."""
        at = math.radians(towards)
        back = [math.radians(towards + turn) for turn in (150, 210)]
        tip = (x + 0.35 * size * math.cos(at), y + 0.35 * size * math.sin(at))
        wings = [(x + size * math.cos(b), y + size * math.sin(b)) for b in back]
        self._c.setLineJoin(0)
        path = self._c.beginPath()
        path.moveTo(*tip)
        for wing in wings:
            path.lineTo(*wing)
        path.close()
        self._c.drawPath(path, stroke=0, fill=1)
        self._c.setLineJoin(1)

    def arrow(self, *points: Point, size: float = 18) -> None:
        """A line with a head at its end."""
        (x1, y1), (x2, y2) = points[-2:]
        towards = math.degrees(math.atan2(y2 - y1, x2 - x1))
        short = 0.55 * size
        along = math.hypot(x2 - x1, y2 - y1)
        end = (x2 - (x2 - x1) / along * short, y2 - (y2 - y1) / along * short)
        self.line(*points[:-1], end)
        self.head(x2 - 0.35 * size * math.cos(math.radians(towards)), y2 - 0.35 * size * math.sin(math.radians(towards)),
                  towards, size)  # fmt: skip

    def gap(self, *points: Point) -> None:
        """A white line, through a black thing."""
        self._c.setStrokeGray(1)
        self.line(*points)
        self._c.setStrokeGray(0)

    def letters(self, text: str, x: float, y: float, width: float, height: float, *, ink: str = "black") -> None:
        """Bold letters in the middle of a box of `width` × `height` about a point."""
        size = fitted(text, width, height / CAPITAL, BOLD)
        self._c.setFillGray(1 if ink == "white" else 0)
        self._c.setFont(BOLD, size)
        self._c.drawCentredString(x, y - size * CAPITAL / 2, text)
        self._c.setFillGray(0)

    def _draw(self, path: Any, fill: bool | None) -> None:
        if fill is not None:
            path.close()
            self._c.setFillGray(0 if fill else 1)
        self._c.drawPath(path, stroke=1, fill=0 if fill is None else 1)
        self._c.setFillGray(0)


class Document:
    """A PDF in the making. The same content gives the same bytes."""

    def __init__(self, width: float, height: float, title: str, language: str) -> None:
        from reportlab.pdfgen.canvas import Canvas

        _faces()
        self._bytes = io.BytesIO()
        self._c = Canvas(self._bytes, pagesize=(width * MM, height * MM), invariant=1, lang=language)
        self._c.setTitle(title)
        self._c.setCreator("thwart")
        self._begun = False

    def new_page(self) -> None:
        """Begin a page; before anything is drawn."""
        if self._begun:
            self._c.showPage()
        self._begun = True
        self._c.scale(MM, MM)

    def text(self, text: str, box: Box, size: float, face: str = PLAIN, *, ink: float = 0.0) -> None:
        """A line of text from the left edge of a box that is `text_box` high."""
        self._c.setFillGray(ink)
        self._c.setFont(face, size)
        self._c.drawString(box.x, box.y + size * BELOW, text)
        self._c.setFillGray(0)

    def symbol(self, symbol: Symbol, x: float, y: float) -> None:
        """A code, its quiet zone's lower left corner at a point."""
        for dark in symbol.dark:
            self._c.rect(x + dark.x, y + dark.y, dark.width, dark.height, stroke=0, fill=1)

    def frame(
        self, box: Box, width: float, radius: float = 0.0, *, dashes: Sequence[float] = (), ink: float = 0.0
    ) -> None:
        """The edge of a box; the line's middle runs on it."""
        self._c.saveState()
        self._c.setStrokeGray(ink)
        self._c.setLineWidth(width)
        self._c.setDash(list(dashes))
        self._c.roundRect(box.x, box.y, box.width, box.height, radius, stroke=1, fill=0)
        self._c.restoreState()

    def rule(self, x1: float, y1: float, x2: float, y2: float, width: float = 0.25) -> None:
        """A thin line, as for a pen to write on."""
        self._c.setLineWidth(width)
        self._c.setLineCap(0)
        self._c.setDash([])
        self._c.line(x1, y1, x2, y2)

    @contextmanager
    def pen(self, box: Box) -> Iterator[Pen]:
        """A pen whose units fill the largest square in the middle of a box."""
        side = min(box.width, box.height)
        self._c.saveState()
        self._c.translate(box.x + box.width / 2, box.y + box.height / 2)
        self._c.scale(side / 100, side / 100)
        self._c.setLineJoin(1)
        yield Pen(self._c)
        self._c.restoreState()

    def finished(self) -> bytes:
        """The file's bytes."""
        self._c.save()
        return self._bytes.getvalue()


def text_height(size: float) -> float:
    """How high a line of text of `size` mm is, with what reaches below and above it."""
    return size * (ABOVE + BELOW)
