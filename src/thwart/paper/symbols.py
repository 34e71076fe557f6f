"""Codes as dark rectangles in millimetres: QR (ISO/IEC 18004) and Code 128 (ISO/IEC 15417), quiet zones included."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import Any, Final, Literal

from .sizes import Box, PaperError

Kind = Literal["qr", "code128"]

#: Narrowest bar of a label's Code 128, read in the hand, and of a card's, read at arm's length. GS1 General
#: Specifications give 0.250 mm and more for labels, 0.33 mm as the nominal width (from memory); that 0.33 mm is read
#: at arm's length is common practice, no source.
LABEL_BAR_MM: Final = 0.25
CARD_BAR_MM: Final = 0.33
#: The same of a QR module: 0.396 mm and more by the GS1 General Specifications (from memory); a card's is twice that,
#: after the rule of thumb that a code is read from ten times its width (common practice, no source).
LABEL_MODULE_MM: Final = 0.4
CARD_MODULE_MM: Final = 0.8
#: Quiet zones in modules: ISO/IEC 15417 (10 on both sides) and ISO/IEC 18004 (4 all round).
QUIET: Final[dict[Kind, int]] = {"code128": 10, "qr": 4}


@dataclass(frozen=True, slots=True)
class Symbol:
    """A code of `width` × `height` mm with its quiet zone; `dark` are its bars or modules, from the lower left corner."""

    kind: Kind
    text: str
    module: float
    width: float
    height: float
    dark: tuple[Box, ...]

    @property
    def quiet(self) -> float:
        """The quiet zone's width in mm."""
        return QUIET[self.kind] * self.module


def _ascii(text: str) -> None:
    other = sorted({c for c in text if not " " <= c <= "~"})
    if other:
        shown = " ".join(c if c.isprintable() else f"U+{ord(c):04X}" for c in other)
        raise PaperError(
            f"{text!r} holds characters no code is made for: {shown}",
            "labels and cards are made of printable ASCII; mend the template in the protocol",
        )


def qr_modules(text: str) -> int:
    """How many modules a QR code of a text is wide, with its quiet zone."""
    return len(_matrix(text)) + 2 * QUIET["qr"]


def qr(text: str, module: float) -> Symbol:
    """A QR code whose modules are `module` mm wide, with error correction Q (a quarter may be lost). Raises PaperError."""
    quiet = QUIET["qr"] * module
    matrix = _matrix(text)
    side = len(matrix) * module + 2 * quiet
    dark = []
    for r, row in enumerate(matrix):
        at = 0
        for bit, run in groupby(row):
            n = len(list(run))
            if bit:
                dark.append(Box(quiet + at * module, side - quiet - (r + 1) * module, n * module, module))
            at += n
    return Symbol("qr", text, module, side, side, tuple(dark))


@lru_cache(256)
def _matrix(text: str) -> list[bytes]:
    import segno

    _ascii(text)
    return [bytes(row) for row in segno.make_qr(text, error="q", boost_error=False).matrix]


def code128_modules(text: str) -> int:
    """How many modules a Code 128 of a text is wide, with its quiet zones."""
    return sum(_widths(text)) + 2 * QUIET["code128"]


def code128(text: str, module: float, height: float) -> Symbol:
    """A Code 128 whose narrowest bar is `module` mm wide and whose bars are `height` mm high. Raises PaperError."""
    at = quiet = QUIET["code128"] * module
    dark = []
    for nth, width in enumerate(_widths(text)):
        if nth % 2 == 0:
            dark.append(Box(at, 0.0, width * module, height))
        at += width * module
    return Symbol("code128", text, module, at + quiet, height, tuple(dark))


def code128_values(text: str) -> list[int]:
    """The values of the symbol characters: start, data, check, stop."""
    return [int(value) for value in _encoded(text).encoded]


@lru_cache(256)
def _encoded(text: str) -> Any:
    from reportlab.graphics.barcode.code128 import Code128

    _ascii(text)
    made = Code128(text, quiet=False)
    made.validate()
    made.encode()
    made.decompose()
    return made


def _widths(text: str) -> list[int]:
    """Bars and spaces in turn, in modules, bars first."""
    return ["abcd".index(mark) + 1 for mark in _encoded(text).decomposed.lower()]
