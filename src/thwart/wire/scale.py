"""Data reports of weighing devices, by the Scale page of the USB-IF usage tables (0x8D). No fixed layout is assumed.

Where each usage stands, how wide it is and whether a list or single bits select it, the descriptor says. What doesn't
follow from descriptor and tables is refused: two units, a number outside its range, a status that isn't there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Final

from .decoder import REMEMBERED, Outcome
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
_MOST_ELEMENTS = 256

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
        fields: dict[int, list[Field]] = {}
        for field in () if descriptor.problems else descriptor.fields:
            if not field.constant and not _OTHER_REPORTS.intersection(field.collections):
                fields.setdefault(field.report_id, []).append(field)
        self._plans = {report_id: _Plan(some) for report_id, some in fields.items()}
        self._empty = _Plan([])
        self.any = any(plan.weighs for plan in self._plans.values())
        """Whether the descriptor lays out a weight."""
        self._splitter = Splitter(descriptor)

    def decode(self, report: bytes) -> Outcome:
        """What a report says, why nothing, or None for a report that holds no weight and no trouble."""
        split = self._splitter.split(report)
        if split is None or not self.any:
            return "layout"
        report_id, body = split
        plan = self._plans.get(report_id, self._empty)
        try:
            return plan.known[body]
        except KeyError:
            pass
        try:
            outcome: Outcome = plan.read(body)
        except _Unfit as unfit:
            outcome = unfit.reason
        if len(plan.known) >= REMEMBERED:
            plan.known.clear()
        plan.known[body] = outcome
        return outcome


#: What a report says beside its weight: condition, rest, unit and power of ten; or the reason it says nothing.
_Frame = tuple[Condition, bool | None, str, int] | RejectReason
#: So many of those are remembered: a scale has a handful of states and units.
_REMEMBERED_FRAMES = 256


class _Plan:
    """One report: which of its fields say what, worked out once."""

    def __init__(self, fields: list[Field]) -> None:
        def having(usages: Iterable[int]) -> list[Field]:
            return [field for field in fields if any(field.names(usage) for usage in usages)]

        self.known: dict[bytes, Outcome] = {}
        """What its latest bodies said: a stream repeats itself."""
        self._states, self._units = having(_STATES), having(_UNITS)
        weights, scalings = having((_WEIGHT,)), having((_SCALING,))
        self.weighs = bool(weights)
        self._weight, self._scaling = _sole(weights, _WEIGHT), _sole(scalings, _SCALING)
        self._unit: str | None = None
        self._laid_out = self._weight is not None and (self._scaling is not None or not scalings)
        if self._weight is not None:
            weight = self._weight.field
            # A straight line through two points: no scale seen so far, and no number to print.
            self._laid_out &= weight.physical == weight.logical
            if self._units:
                # Said twice, by HID's own unit as well: which one counts, the tables leave open.
                self._laid_out &= not weight.unit and not (weight.exponent and scalings)
            else:
                self._unit = "g" if weight.unit == _GRAM else None
                self._laid_out &= self._unit is not None
        self._frames: dict[int, _Frame] = {}
        """What the bits beside the weight were seen to say."""
        beside = [*self._states, *self._units, *([self._scaling.field] if self._scaling else [])]
        self._beside = 0
        for field in beside:
            self._beside |= ((1 << field.size * field.count) - 1) << field.offset

    def read(self, body: bytes) -> Decoded | None:
        """What a body says. Raises _Unfit."""
        bits = int.from_bytes(body, "little")
        beside = bits & self._beside
        frame = self._frames.get(beside)
        if frame is None:
            try:
                frame = self._frame(body)
            except _Unfit as unfit:
                frame = unfit.reason
            if len(self._frames) >= _REMEMBERED_FRAMES:
                self._frames.clear()
            self._frames[beside] = frame
        if isinstance(frame, str):
            raise _Unfit(frame)
        condition, settled, unit, tens = frame
        if condition in NO_NUMBER:
            return Decoded(None, None, None, condition, settled)
        if not self.weighs:
            return None
        assert self._weight is not None
        text = _text(self._weight.value(bits), tens)
        value = Decimal(text)
        if condition == "zero" and value:
            raise _Unfit("value")
        return Decoded(text, value, unit, condition, settled)

    def _frame(self, body: bytes) -> tuple[Condition, bool | None, str, int]:
        """What the fields beside the weight say. Raises _Unfit."""
        condition, settled = self._state(body)
        if condition in NO_NUMBER or not self.weighs:
            return condition, settled, "", 0
        if not self._laid_out:
            raise _Unfit("layout")
        assert self._weight is not None
        tens = self._scaling.value(int.from_bytes(body, "little")) if self._scaling is not None else 0
        return condition, settled, self._unit or self._listed_unit(body), tens + self._weight.field.exponent

    def _state(self, body: bytes) -> tuple[Condition, bool | None]:
        """The gravest state; a report without a status field has none, and rest must be told from the numbers."""
        if not self._states:
            return "ok", None
        found = [STATES[usage] for field in self._states for usage in field.active(body) if usage in STATES]
        if not found:
            raise _Unfit("value")
        return max(found, key=lambda state: GRAVITY.index(state[0]))

    def _listed_unit(self, body: bytes) -> str:
        chosen = {usage for field in self._units for usage in field.active(body) if usage in _UNITS}
        unit = UNITS.get(chosen.pop()) if len(chosen) == 1 else None
        if unit is None:
            raise _Unfit("value")
        return unit


class _Element:
    """One element of a field, ready to be read from a report's bits."""

    def __init__(self, field: Field, index: int) -> None:
        self.field = field
        self._shift, self._mask = field.offset + index * field.size, (1 << field.size) - 1
        self._low, self._high = field.logical
        self._sign = 1 << (field.size - 1) if self._low < 0 else 0

    def value(self, bits: int) -> int:
        """The number. Raises _Unfit for one outside the logical range, which is no data."""
        value = bits >> self._shift & self._mask
        if value & self._sign:
            value -= self._mask + 1
        if not self._low <= value <= self._high:
            raise _Unfit("value")
        return value


def _sole(fields: list[Field], usage: int) -> _Element | None:
    """The one element with a usage; None where there is none, or no one."""
    if len(fields) != 1 or fields[0].array:
        return None
    # Element by element only as far as usages are named: the last one holds on for all elements after it.
    places = [at for at in range(min(fields[0].count, _MOST_ELEMENTS)) if fields[0].element_usage(at) == usage]
    return _Element(fields[0], places[0]) if len(places) == 1 else None


def _text(value: int, tens: int) -> str:
    digits = str(abs(value))
    if abs(tens) > _MOST_TENS or len(digits) + max(tens, 0) > _MOST_DIGITS:
        raise _Unfit("value")
    if tens >= 0:
        return str(value * 10**tens)
    digits = digits.rjust(1 - tens, "0")
    return f"{'-' if value < 0 else ''}{digits[:tens]}.{digits[tens:]}"
