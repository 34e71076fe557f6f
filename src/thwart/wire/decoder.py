"""One frame → what it says, or why it says nothing. Never raises, whatever the bytes."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from struct import pack, unpack
from typing import TYPE_CHECKING, Final, Literal, Protocol

from .. import units
from . import tags
from .checksums import verifier
from .events import GRAVITY, NO_NUMBER, Condition, Decoded, LoadMark, RejectReason
from .patterns import compiled

if TYPE_CHECKING:
    from ..profiles.model import Checksum, Framing, Layout, Profile

#: A stream repeats itself: so many different frames are remembered with their meaning, about a mebibyte at most.
REMEMBERED = 2048

Fields = Mapping[str, bytes | None]
#: A frame's meaning, the reason it has none, or None for chatter.
Outcome = Decoded | RejectReason | None

_NUMBER = re.compile(r"([+-]?) *(\d+\.?\d*|\.\d+)")
_HEX = re.compile(r"([+-]? *)([0-9A-Fa-f]{1,12})", re.ASCII)
_CONDITIONS: Final[Mapping[str, Condition]] = {
    "moving": "moving", "zero": "zero", "overload": "overload", "underload": "underload",
    "needs-zero": "needs-zero", "error": "error",
}  # fmt: skip
_LOADS: Final[Mapping[str, LoadMark]] = {"gross": "gross", "net": "net", "tare": "tare"}
#: More digits than any instrument has are no number.
_MOST_DIGITS = 18


class _Unfit(Exception):
    """The frame has a layout's form but not its content."""

    def __init__(self, reason: RejectReason) -> None:
        super().__init__(reason)
        self.reason: RejectReason = reason


class Meaning(Protocol):
    """What says what a frame means."""

    def decode(self, raw: bytes) -> Outcome:
        """What `raw`, a whole frame, says."""


class Decoder:
    """What the frames of one profile say."""

    def __init__(self, profile: Profile) -> None:
        framing, check = profile.framing, profile.checksum
        self._holds = verifier(check) if check is not None else None
        self._head, self._tail = margins(framing, check)
        self._chatter = [compiled(pattern) for pattern in profile.chatter]
        self._layouts = [_Reader(layout, profile.unit, profile.division) for layout in profile.layout]
        self._known: dict[bytes, Outcome] = {}

    def decode(self, raw: bytes) -> Outcome:
        """What `raw`, a whole frame, says."""
        try:
            return self._known[raw]
        except KeyError:
            pass
        outcome = self._decode(raw)
        if len(self._known) >= REMEMBERED:
            self._known.clear()
        self._known[raw] = outcome
        return outcome

    def _decode(self, raw: bytes) -> Outcome:
        if any(pattern.fullmatch(raw) is not None for pattern in self._chatter):
            return None
        if self._holds is not None and not self._holds(raw):
            return "checksum"
        body = raw[self._head : len(raw) - self._tail]
        reason: RejectReason | None = None
        for layout in self._layouts:
            fields = layout.fields(body)
            if fields is not None:
                try:
                    return layout.read(fields)
                except _Unfit as unfit:
                    reason = reason or unfit.reason
        return reason or "layout"


def margins(framing: Framing, check: Checksum | None) -> tuple[int, int]:
    """How many bytes at a frame's begin and end belong to the framing and the check, not to the layouts."""
    head = len(framing.start) if framing.end else 0
    if check is None:
        return head, len(framing.end)
    if framing.check_bytes:
        # The end stands before the check bytes, whether it is counted in or not.
        return head, framing.check_bytes + max(len(framing.end), check.uncounted)
    return head, check.trailing + check.width + check.uncounted


class _Reader:
    """One layout, ready to read frames."""

    def __init__(self, layout: Layout, unit: str | None, division: Decimal | None) -> None:
        self.fields = _cutter(layout)
        self._decimal = layout.decimal
        self._decimals = layout.decimals
        self._digits = layout.digits
        self._thousands = layout.thousands or ""
        self._order: Literal["big", "little"] = "big" if layout.order == "high-first" else "little"
        self._unit = layout.unit or unit
        self._units = dict(layout.units)
        self._compound = layout.compound
        self._says = layout.says
        self._marks = {
            field: {text.encode("latin-1"): meaning for text, meaning in marks.items()}
            for field, marks in layout.marks.items()
        }
        self._tag = layout.identifier == "animal-tag"
        self._slack = division or Decimal(0)

    def read(self, fields: Fields) -> Decoded:
        """What the fields say. Raises _Unfit."""
        said = [*self._says, *(self._mark(field, fields[field]) for field in self._marks)]
        condition: Condition = "ok"
        for meaning in said:
            other = _CONDITIONS.get(meaning, "ok")
            if GRAVITY.index(other) > GRAVITY.index(condition):
                condition = other
        settled = False if "moving" in said else True if "settled" in said else None
        load = next((_LOADS[meaning] for meaning in said if meaning in _LOADS), None)
        if "identifier" in fields:
            symbology = _text(fields.get("symbology")) or None
            identifier = self._identifier(fields["identifier"])
            return Decoded(None, None, None, condition, settled, load, identifier, symbology)
        if condition in NO_NUMBER:
            return Decoded(None, None, None, condition, settled, load)
        text, unit = self._measured(fields, minus="negative" in said)
        return Decoded(text, Decimal(text) if text is not None else None, unit, condition, settled, load)

    def _mark(self, field: str, given: bytes | None) -> str:
        known = self._marks[field]
        text = given or b""
        meaning = known.get(text) or known.get(text.strip())
        if meaning is None:
            raise _Unfit("layout")
        return meaning

    def _identifier(self, given: bytes | None) -> str:
        text = _text(given)
        found = tags.canonical(text) if self._tag else text
        if not found:
            raise _Unfit("value")
        return found

    def _measured(self, fields: Fields, *, minus: bool) -> tuple[str | None, str | None]:
        """The number's text and the UCUM code of its unit, None for a unit the frame leaves out."""
        sign = "-" if minus else (fields.get("sign") or b"").strip().decode("latin-1")
        if sign not in ("", "+", "-"):
            raise _Unfit("value")
        if self._compound is not None:
            return self._joined(fields, sign, self._compound)
        unit = self._unit
        if "unit" in fields:
            written = (fields["unit"] or b"").strip().decode("latin-1")
            unit = (self._units.get(written) or units.ucum(written)) if written else None
            if written and unit is None:
                raise _Unfit("value")
        if "net" not in fields:
            return (self._number(fields["number"], sign), unit) if "number" in fields else (None, None)
        text = self._number(fields["net"], sign)
        if fields.get("gross") is not None and fields.get("tare") is not None:
            gross, tare = (Decimal(self._number(fields[name], "")) for name in ("gross", "tare"))
            # Three numbers, each rounded by itself, may be out by one division; more is a damaged digit.
            if abs(gross - tare - Decimal(text)) > self._step(text):
                raise _Unfit("value")
        return text, unit

    def _step(self, text: str) -> Decimal:
        return max(self._slack, Decimal(1).scaleb(Decimal(text).as_tuple().exponent))  # type: ignore[arg-type]

    def _number(self, given: bytes | None, sign: str) -> str:
        if self._digits in ("bcd", "unsigned", "signed", "float"):
            return self._binary(given or b"", sign)
        text = (given or b"").strip().decode("latin-1")
        if self._digits in ("hex", "hex-signed"):
            text = _from_hex(text, signed=self._digits == "hex-signed")
        else:
            text = self._grouped(text) if self._thousands else text
            if self._decimal == ",":
                if "." in text:
                    raise _Unfit("value")
                text = text.replace(",", ".")
        match = _NUMBER.fullmatch(text)
        if match is None or not text.isascii() or (sign and match[1]):
            raise _Unfit("value")
        digits = match[2]
        if self._digits == "reversed":
            digits = digits[::-1]
        return self._pointed(digits, minus=sign == "-" or match[1] == "-")

    def _grouped(self, text: str) -> str:
        """The number without what parts its groups of three digits. Raises _Unfit where the groups are others."""
        whole, point, rest = text.partition(self._decimal)
        first, *groups = whole.lstrip("+- ").split(self._thousands)
        if groups and (len(first) > 3 or any(len(group) != 3 for group in groups)):
            raise _Unfit("value")
        sign = whole[: len(whole) - len(whole.lstrip("+- "))]
        return sign + first + "".join(groups) + point + rest

    def _binary(self, raw: bytes, sign: str) -> str:
        if self._digits == "float":
            return self._floated(raw)
        if self._digits == "bcd":
            digits = (raw if self._order == "big" else raw[::-1]).hex()
            if not digits.isdigit():
                raise _Unfit("value")
            return self._pointed(digits.lstrip("0") or "0", minus=sign == "-")
        value = int.from_bytes(raw, self._order, signed=self._digits == "signed")
        return self._pointed(str(abs(value)), minus=value < 0 or sign == "-")

    def _floated(self, raw: bytes) -> str:
        """A float of four bytes, in the decimals the instrument has. Raises _Unfit for one that has others."""
        if len(raw) != 4:
            raise _Unfit("value")
        value = unpack(">f" if self._order == "big" else "<f", raw)[0]
        text = format(value, f".{self._decimals}f") if abs(value) < 1e9 else ""
        # Four bytes hold the nearest number they can: another one is no value of this instrument.
        if not text or pack(">f", float(text)) != pack(">f", value):
            raise _Unfit("value")
        return text

    def _pointed(self, digits: str, *, minus: bool) -> str:
        if len(digits) > _MOST_DIGITS:
            raise _Unfit("value")
        if self._decimals is not None:
            if "." in digits:
                raise _Unfit("value")
            digits = digits.rjust(self._decimals + 1, "0")
            if self._decimals:
                digits = f"{digits[: -self._decimals]}.{digits[-self._decimals :]}"
        return ("-" if minus else "") + digits

    def _joined(self, fields: Fields, sign: str, compound: tuple[str, str]) -> tuple[str, str]:
        """Pounds and ounces as ounces: the smaller unit holds both without a fraction that never ends."""
        big, small = compound
        ratio = units.FACTORS[big][1] / units.FACTORS[small][1]
        major, minor = self._number(fields["major"], sign), Decimal(self._number(fields["minor"], ""))
        if not 0 <= minor < ratio or "." in major:
            raise _Unfit("value")
        total = abs(Decimal(major)) * ratio + minor
        text = format(total, "f")
        return ("-" + text if major.startswith("-") else text), small


def _from_hex(text: str, *, signed: bool) -> str:
    """A hexadecimal whole number's digits in decimal, signed ones in two's complement. Raises _Unfit."""
    match = _HEX.fullmatch(text)
    if match is None:
        raise _Unfit("value")
    value = int(match[2], 16)
    return match[1] + str(value - (1 << 4 * len(match[2])) if signed and match[2][0] > "7" else value)


def _text(given: bytes | None) -> str:
    try:
        text = (given or b"").decode("utf-8").strip(" ")
    except UnicodeDecodeError:
        raise _Unfit("value") from None
    # GS parts the elements of a GS1 label and is no printable character.
    if not all(c.isprintable() or c == "\x1d" for c in text):
        raise _Unfit("value")
    return text


def _cutter(layout: Layout) -> Callable[[bytes], Fields | None]:
    """A function from a frame's bytes to the layout's fields, or None where the frame hasn't its form."""
    if layout.columns is None:
        fits, size = compiled(layout.pattern or "").fullmatch, layout.width
        return fits if size is None else lambda raw: fits(raw) if len(raw) == size else None
    width = layout.width or max(last for _, last in layout.columns.values())
    slices = [(name, slice(first - 1, last)) for name, (first, last) in layout.columns.items()]

    def cut(raw: bytes) -> Fields | None:
        return {name: raw[part] for name, part in slices} if len(raw) == width else None

    return cut
