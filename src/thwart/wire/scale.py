"""Data reports of weighing devices, by the Scale page of the USB-IF usage tables (0x8D). No fixed layout is assumed.

Where each usage stands, how wide it is and whether a list or single bits select it, the descriptor says. What doesn't
follow from descriptor and tables is refused: two units, a number outside its range, a status that isn't there.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from .events import GRAVITY, NO_NUMBER, Condition, Decoded, RejectReason
from .hid import Descriptor, Field, Splitter

PAGE: Final = 0x8D
_WEIGHT, _SCALING = 0x8D0040, 0x8D0041
_UNITS = range(0x8D0051, 0x8D005D)
_STATES = range(0x8D0071, 0x8D0079)
#: Reports that hold a weight which isn't what lies on the pan: attributes, control, weight limit, statistics.
_OTHER_REPORTS: Final = frozenset((0x8D0030, 0x8D0031, 0x8D0034, 0x8D0035))
#: HID 1.11, 6.2.2.7: system SI linear (nibble 0 is 1), mass to the first power (nibble 2): grams.
_GRAM: Final = 0x0101
#: An exponent beyond that is none a scale can mean.
_MOST_TENS = 12
_MOST_DIGITS = 18

#: Unit usages → UCUM. Left out: tael (0x8D0055), which has several values, and the avoirdupois ton (0x8D0059), two.
UNITS: Final[Mapping[int, str]] = {
    0x8D0051: "mg", 0x8D0052: "g", 0x8D0053: "kg", 0x8D0054: "[car_m]", 0x8D0056: "[gr]", 0x8D0057: "[pwt_tr]",
    0x8D0058: "t", 0x8D005A: "[oz_tr]", 0x8D005B: "[oz_av]", 0x8D005C: "[lb_av]",
}  # fmt: skip
#: Status usages → condition, and whether the load rests. Fault, stable at centre of zero, in motion, weight stable, under
#: zero, over weight limit, requires calibration, requires re-zeroing.
STATES: Final[Mapping[int, tuple[Condition, bool | None]]] = {
    0x8D0071: ("error", None), 0x8D0072: ("zero", True), 0x8D0073: ("moving", False), 0x8D0074: ("ok", True),
    0x8D0075: ("underload", None), 0x8D0076: ("overload", None), 0x8D0077: ("error", None),
    0x8D0078: ("needs-zero", None),
}  # fmt: skip


class _Unfit(Exception):
    def __init__(self, reason: RejectReason) -> None:
        super().__init__(reason)
        self.reason: RejectReason = reason


class DataReports:
    """The weighing reports of one interface."""

    def __init__(self, descriptor: Descriptor) -> None:
        self._fields: dict[int, list[Field]] = {}
        for field in () if descriptor.problems else descriptor.fields:
            if not field.constant and not _OTHER_REPORTS.intersection(field.collections):
                self._fields.setdefault(field.report_id, []).append(field)
        self.any = any(field.names(_WEIGHT) for fields in self._fields.values() for field in fields)
        """Whether the descriptor lays out a weight."""
        self._splitter = Splitter(descriptor)

    def decode(self, report: bytes) -> Decoded | RejectReason | None:
        """What a report says, why nothing, or None for a report that holds no weight and no trouble."""
        split = self._splitter.split(report)
        if split is None or not self.any:
            return "layout"
        report_id, body = split
        fields = self._fields.get(report_id, [])
        try:
            condition, settled = _state(fields, body)
            if condition in NO_NUMBER:
                return Decoded(None, None, None, condition, settled)
            if not any(field.names(_WEIGHT) for field in fields):
                return None
            text, unit = _weight(fields, body)
        except _Unfit as unfit:
            return unfit.reason
        if condition == "zero" and Decimal(text):
            return "value"
        return Decoded(text, Decimal(text), unit, condition, settled)


def _state(fields: list[Field], body: bytes) -> tuple[Condition, bool | None]:
    """The gravest state; a report without a status field has none, and rest must be told from the numbers."""
    stated = [field for field in fields if any(field.names(usage) for usage in _STATES)]
    if not stated:
        return "ok", None
    found = [STATES[usage] for field in stated for usage in field.active(body) if usage in STATES]
    if not found:
        raise _Unfit("value")
    return max(found, key=lambda state: GRAVITY.index(state[0]))


def _weight(fields: list[Field], body: bytes) -> tuple[str, str]:
    """The weight's text as the device means it, and its unit's UCUM code."""
    field = _only(fields, _WEIGHT)
    if field.physical != field.logical:
        raise _Unfit("layout")  # a straight line through two points: no scale seen so far, and no number to print
    listed = [one for one in fields if any(one.names(usage) for usage in _UNITS)]
    scaled = any(one.names(_SCALING) for one in fields)
    tens = _value(_only(fields, _SCALING), _SCALING, body) if scaled else 0
    if listed:
        chosen = {usage for one in listed for usage in one.active(body) if usage in _UNITS}
        if len(chosen) != 1:
            raise _Unfit("value")
        unit = UNITS.get(chosen.pop())
        if field.unit or (field.exponent and scaled):
            raise _Unfit("layout")  # said twice: which one counts, the tables leave open
    else:
        unit = "g" if field.unit == _GRAM else None
    if unit is None:
        raise _Unfit("value" if listed else "layout")
    return _text(_value(field, _WEIGHT, body), tens + field.exponent), unit


def _only(fields: list[Field], usage: int) -> Field:
    found = [field for field in fields if field.names(usage)]
    if len(found) != 1 or found[0].array:
        raise _Unfit("layout")
    return found[0]


def _value(field: Field, usage: int, body: bytes) -> int:
    places = [at for at in range(field.count) if field.element_usage(at) == usage]
    if len(places) != 1:
        raise _Unfit("layout")
    value = field.values(body)[places[0]]
    if value is None:
        raise _Unfit("value")
    return value


def _text(value: int, tens: int) -> str:
    if abs(tens) > _MOST_TENS or len(str(abs(value))) + max(tens, 0) > _MOST_DIGITS:
        raise _Unfit("value")
    return str(value * 10**tens) if tens >= 0 else format(Decimal(value).scaleb(tens), "f")
