"""Stream of frames → arrivals, settled loads, emptyings. Pure; values are compared in base units.

Four states; `_STATES` says who looks at a frame in each:

- `unknown`: since opening nothing was at rest. At rest near zero or below it the instrument is empty; else something
  lay there before us: a reading with no zero before it.
- `empty`: the resting baseline is known and followed. A frame more than the smallest load above it is an arrival.
- `load`: something lies there. At rest it is a reading; at rest elsewhere, more than two divisions away, a second
  plateau; never at rest within the limit, a timed mean with its spread.
- `falling`: it was taken off (back near the baseline, or fallen by 80 %, for some frames and time), and we wait for the
  resting value after it; a rise before that, if it lasts, is the next load.

Going below the baseline is no load: a tray was lifted off, say. The baseline follows once at rest, and coming back to
where it was before counts as empty.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, ClassVar

from .. import units
from .events import NO_NUMBER, Arrival, Condition, Decoded, Emptied, Frame, LoadMark, Reading, WireEvent
from .rest import Seen, Way, detector_for

if TYPE_CHECKING:
    from ..profiles.model import Profile

#: At a second rest nearer than this many divisions the load didn't change (and the zero didn't move).
SAME_DIVISIONS = 2
#: How far frames at rest may lie apart, in divisions, where the profile doesn't say: a mark may be believed further.
NOISE_DIVISIONS: Mapping[Way, int] = {"mark": 2, "window": 1, "both": 1}
#: The smallest load, in divisions, where the profile doesn't say.
SMALLEST_DIVISIONS = 5
#: What remains of a load that has been taken off, at most.
REMAINS = Decimal("0.2")
#: How long a fall must last: a slam of the boat or the ringing of a thrown fish is shorter.
FALL_NS = 150_000_000
FALL_FRAMES = 2
#: How long a rise after a fall must last to be the next load, not the pan ringing on.
RISE_NS = 250_000_000
#: Evidence kept of a load: so many frames from its arrival, and so many up to its settling; 64 in all.
EVIDENCE_FIRST, EVIDENCE_LAST = 16, 48


class _Load:
    """What lies on the instrument from its arrival until it is taken off."""

    def __init__(self, arrived_ns: int, baseline: Decimal | None) -> None:
        self.arrived_ns = arrived_ns
        self.baseline = baseline
        self.level: Decimal | None = None
        """Where it last rested, followed while it creeps."""
        self.low = Decimal(0)
        """At and below this it seems gone."""
        self.reading: Reading | None = None
        self.plateaus = 0
        self.overload_told = False
        self._first: list[tuple[int, bytes]] = []
        self._last: deque[tuple[int, bytes]] = deque(maxlen=EVIDENCE_LAST)

    def keep(self, at_ns: int, raw: bytes) -> None:
        """Keep a frame as evidence."""
        kept = (at_ns - self.arrived_ns, raw)
        if len(self._first) < EVIDENCE_FIRST:
            self._first.append(kept)
        else:
            self._last.append(kept)

    @property
    def evidence(self) -> tuple[tuple[int, bytes], ...]:
        return (*self._first, *self._last)


class _Unrest:
    """A time without rest: what a timed mean is taken from, leaving out the first window, in which things ring."""

    def __init__(self, since_ns: int, skip_ns: int) -> None:
        self.since_ns = since_ns
        self._from_ns = since_ns + skip_ns
        self._total = self._low = self._high = Decimal(0)
        self.count = 0

    def add(self, at_ns: int, value: Decimal) -> None:
        if at_ns < self._from_ns:
            return
        self._low = min(self._low, value) if self.count else value
        self._high = max(self._high, value) if self.count else value
        self._total += value
        self.count += 1

    @property
    def mean(self) -> Decimal:
        return self._total / self.count

    @property
    def spread(self) -> Decimal:
        return self._high - self._low


class _Fall:
    """A run of frames so low that the load seems gone."""

    def __init__(self, since_ns: int, lowest: Decimal) -> None:
        self.since_ns = since_ns
        self.lowest = lowest
        self.frames = 1
        self.rise: list[tuple[Frame, Seen]] = []
        """The frames since it rose again: the next load's first ones, if it lasts."""


class _Trouble:
    """A run of frames in which the instrument says it can't tell a value."""

    def __init__(self, condition: Condition, since_ns: int) -> None:
        self.condition = condition
        self.since_ns = since_ns
        self.frames = 0
        self.told = False


class Settler:
    """The settler of one `stream` instrument."""

    def __init__(self, profile: Profile) -> None:
        assert profile.unit is not None and profile.division is not None
        settle = profile.settle
        self._profile_unit = profile.unit
        self._division = units.to_base(profile.division, profile.unit)
        by: Way = settle.by or ("mark" if profile.marks_settling else "window")
        noise = NOISE_DIVISIONS[by] * self._division
        if settle.noise is not None:
            noise = units.to_base(settle.noise, profile.unit)
        # What counts as rest may be wider than two divisions; within it nothing can be told apart.
        self._same = max(SAME_DIVISIONS * self._division, noise)
        self._smallest = (
            SMALLEST_DIVISIONS * self._division
            if settle.smallest is None
            else units.to_base(settle.smallest, profile.unit)
        )
        self._frames = settle.frames
        self._window_ns = round(settle.window_ms * 1e6)
        self._limit_ns = round(settle.limit_ms * 1e6)
        self._lag_ns = profile.lag_ns
        self._detector = detector_for(settle, by, noise)
        self.unsettled = 0
        """Frames seen while not at rest, since the settler was made."""
        self.forget()

    def forget(self) -> None:
        """The port was opened or went: nothing is known of what lies there."""
        self._detector.clear()
        self._state = "unknown"
        self._baseline: Decimal | None = None
        self._home: Decimal | None = None
        self._follow_ns = 0
        self._laid_before = False
        self._load: _Load | None = None
        self._unrest: _Unrest | None = None
        self._fall: _Fall | None = None
        self._trouble: _Trouble | None = None
        self._mark: LoadMark | None = None
        self._unit = self._profile_unit

    @property
    def next_wake(self) -> int | None:
        """When waiting for rest must end, in monotonic nanoseconds."""
        if self._state == "falling":
            assert self._fall is not None
            return self._fall.since_ns + self._limit_ns
        return None if self._unrest is None else self._unrest.since_ns + self._limit_ns

    def wake(self, at_ns: int) -> list[WireEvent]:
        """Time passed: a load that never rests gets its timed mean, one taken off is told without a resting value."""
        out: list[WireEvent] = []
        self._pass(out, at_ns)
        return out

    def _pass(self, out: list[WireEvent], at_ns: int) -> None:
        while (due := self.next_wake) is not None and due <= at_ns:
            if self._state == "falling":
                self._emptied(out, None)
            else:
                self._timed(out, due)

    def frame(self, frame: Frame, decoded: Decoded) -> list[WireEvent]:
        """What this frame tells. Frames without a number other than the instrument's troubles tell nothing."""
        out: list[WireEvent] = []
        if decoded.unit is not None:
            self._unit = decoded.unit
        if decoded.value is None:
            if decoded.condition in NO_NUMBER:
                self._troubled(out, frame, decoded)
            return out
        self._trouble = None
        seen = Seen(frame.last_ns, units.to_base(decoded.value, self._unit), decoded, frame.raw)
        if decoded.load != self._mark and decoded.load is not None:
            self._marked_otherwise(out, frame, decoded)
            if decoded.load == "tare":
                return out
        rested = self._detector.add(seen)
        if not rested:
            self.unsettled += 1
        self._STATES[self._state](self, out, frame, seen, rested)
        # What this frame shows to have begun long ago, where frames are seconds apart, may be over with it.
        self._pass(out, seen.at_ns)
        return out

    def tared(self, at_ns: int) -> list[WireEvent]:
        """A person says what lies there is tare: it becomes the baseline, its reading the tare."""
        out: list[WireEvent] = []
        if self._load is not None and self._load.level is not None:
            self._tell_tare(out, at_ns)
            self._become_empty(self._load.level)
        return out

    # -- the four states -----------------------------------------------------------------------------------------

    def _in_unknown(self, out: list[WireEvent], frame: Frame, seen: Seen, rested: bool) -> None:
        if self._load is None:
            self._load = self._lay(frame, None)
            self._unrest = _Unrest(seen.at_ns, self._window_ns)
        self._load.keep(seen.at_ns, seen.raw)
        if not rested:
            self._restless(seen)
        elif (value := self._detector.rest().seen.value) <= self._same:
            self._become_empty(value)
        else:
            self._state = "load"
            self._rested(out, self._load, seen)

    def _in_rebasing(self, out: list[WireEvent], frame: Frame, seen: Seen, rested: bool) -> None:
        if rested:
            self._become_empty(self._detector.rest().seen.value)

    def _in_empty(self, out: list[WireEvent], frame: Frame, seen: Seen, rested: bool) -> None:
        assert self._baseline is not None
        if seen.value > self._baseline + self._smallest:
            self._arrive(out, frame)
            self._in_load(out, frame, seen, rested)
        elif rested and (seen.at_ns >= self._follow_ns or seen.value < self._baseline - self._same):
            # Once in a window is often enough for drift, and finding a median isn't for nothing.
            self._follow_ns = seen.at_ns + self._window_ns
            value = self._detector.rest().seen.value
            if value < self._baseline - self._same:
                # Only what shows less than nothing can be a tray lifted off that may come back.
                self._home = self._baseline if value < -self._same else None
                if self._laid_before:
                    self._laid_before = False
                    out.append(Emptied(frame.first_ns, self._shown(value), self._unit))
            self._baseline = value

    def _in_load(self, out: list[WireEvent], frame: Frame, seen: Seen, rested: bool) -> None:
        load = self._load
        assert load is not None
        if load.baseline is None and load.level is not None and seen.value > load.level + self._smallest:
            # What lay there at opening carries something now, as a tray would: it is the baseline from here on.
            self._become_empty(load.level)
            self._laid_before = True
            self._in_empty(out, frame, seen, rested)
            return
        load.keep(seen.at_ns, seen.raw)
        if seen.value <= load.low:
            if self._fall is None:
                self._fall = _Fall(frame.first_ns, seen.value)
            else:
                self._fall.frames += 1
                self._fall.lowest = min(self._fall.lowest, seen.value)
        else:
            self._fall = None
        fall = self._fall
        if rested and self._is_empty(load, seen.value):
            self._fall = fall or _Fall(frame.first_ns, seen.value)
            self._emptied(out, self._detector.rest().seen.value)
        elif rested and fall is None:
            self._rested(out, load, seen)
        elif fall is not None and fall.frames >= FALL_FRAMES and seen.at_ns - fall.since_ns >= FALL_NS:
            self._state = "falling"
            self._unrest = None
        elif load.level is None or abs(seen.value - load.level) > self._same:
            self._restless(seen)

    def _in_falling(self, out: list[WireEvent], frame: Frame, seen: Seen, rested: bool) -> None:
        load, fall = self._load, self._fall
        assert load is not None and fall is not None
        near = (load.baseline or Decimal(0)) + self._smallest
        if seen.value > (near if fall.lowest <= near else load.low):
            fall.rise.append((frame, seen))
            lasts = frame.first_ns - fall.rise[0][0].first_ns >= RISE_NS or len(fall.rise) >= EVIDENCE_LAST
            if rested or lasts:
                self._emptied(out, None)
                if self._state == "unknown":
                    self._become_empty(fall.lowest)
                for earlier, kept in fall.rise[:-1]:
                    self._STATES[self._state](self, out, earlier, kept, False)
                self._STATES[self._state](self, out, frame, seen, rested)
            return
        fall.rise.clear()
        fall.lowest = min(fall.lowest, seen.value)
        if rested:
            self._emptied(out, self._detector.rest().seen.value)

    _STATES: ClassVar[dict[str, Callable[[Settler, list[WireEvent], Frame, Seen, bool], None]]] = {
        "unknown": _in_unknown,
        "rebasing": _in_rebasing,
        "empty": _in_empty,
        "load": _in_load,
        "falling": _in_falling,
    }

    # -- what they share -----------------------------------------------------------------------------------------

    def _settle_at(self, load: _Load, level: Decimal | None) -> None:
        """Where the load rests now, and so where it would seem gone."""
        base = load.baseline or Decimal(0)
        load.level = level
        load.low = base + (self._smallest if level is None else max(self._smallest, REMAINS * (level - base)))

    def _is_empty(self, load: _Load, value: Decimal) -> bool:
        return value <= load.low or (self._home is not None and abs(value - self._home) <= self._same)

    def _arrive(self, out: list[WireEvent], frame: Frame) -> None:
        self._load = self._lay(frame, self._baseline)
        self._unrest = _Unrest(frame.last_ns, self._window_ns)
        self._state = "load"
        out.append(Arrival(self._load.arrived_ns, self._shown(self._baseline), self._unit))

    def _lay(self, frame: Frame, baseline: Decimal | None) -> _Load:
        load = _Load(frame.first_ns - self._lag_ns, baseline)
        self._settle_at(load, None)
        return load

    def _restless(self, seen: Seen) -> None:
        if self._unrest is None:
            self._unrest = _Unrest(seen.at_ns, self._window_ns)
        self._unrest.add(seen.at_ns, seen.value)

    def _rested(self, out: list[WireEvent], load: _Load, seen: Seen) -> None:
        self._unrest = None
        if seen.value == load.level:
            return
        if load.level is not None and abs(seen.value - load.level) <= self._same:
            # A load that has lain for long may creep (a fish drips); one that has just settled must stay where it is.
            if load.reading is None or seen.at_ns - load.reading.done_ns >= self._limit_ns:
                self._settle_at(load, seen.value)
            return
        self._settle_at(load, seen.value)
        rest = self._detector.rest()
        decoded = rest.seen.decoded
        load.plateaus += 1
        load.reading = Reading(
            raw=rest.seen.raw,
            text=decoded.text,
            value=decoded.value,
            unit=decoded.unit or self._unit,
            condition=decoded.condition,
            settled=rest.how,
            arrived_ns=load.arrived_ns,
            done_ns=seen.at_ns,
            load=decoded.load,
            spread=units.from_base(rest.spread, decoded.unit or self._unit),
            samples=rest.samples,
            zero_before=self._shown(load.baseline, decoded.unit),
            plateau=load.plateaus,
            evidence=load.evidence,
        )
        out.append(load.reading)

    def _timed(self, out: list[WireEvent], due_ns: int) -> None:
        """The limit passed without rest: the mean, to the division, with its spread; a mean has no text."""
        unrest, load = self._unrest, self._load
        assert unrest is not None and load is not None
        self._unrest = None
        if not unrest.count:
            return
        mean = units.rounded(unrest.mean, self._division, "nearest")
        if self._state == "unknown" and mean <= self._same:
            self._become_empty(mean)
            return
        self._state = "load"
        if load.level is not None and abs(mean - load.level) <= self._same + unrest.spread:
            return
        self._settle_at(load, mean)
        load.plateaus += 1
        load.reading = Reading(
            raw=b"",
            text=None,
            value=units.from_base(mean, self._unit),
            unit=self._unit,
            condition="ok",
            settled="timed",
            arrived_ns=load.arrived_ns,
            done_ns=due_ns,
            load=self._mark,
            spread=units.from_base(unrest.spread, self._unit),
            samples=unrest.count,
            zero_before=self._shown(load.baseline),
            plateau=load.plateaus,
            evidence=load.evidence,
        )
        out.append(load.reading)

    def _emptied(self, out: list[WireEvent], resting: Decimal | None) -> None:
        assert self._fall is not None
        out.append(Emptied(self._fall.since_ns, self._shown(resting), self._unit))
        if resting is not None:
            self._become_empty(resting)
        elif self._baseline is not None:
            self._become_empty(self._baseline)
        else:
            self._state, self._load, self._fall, self._unrest = "unknown", None, None, None

    def _become_empty(self, baseline: Decimal) -> None:
        self._state = "empty"
        self._baseline = baseline
        self._home = None
        self._follow_ns = 0
        self._load = self._fall = self._unrest = None

    def _marked_otherwise(self, out: list[WireEvent], frame: Frame, decoded: Decoded) -> None:
        """The instrument says tare, or went from gross to net or back: its zero is another one now."""
        before = self._mark
        if decoded.load != "tare":
            self._mark = decoded.load
            if before is None:
                return
        if decoded.load == "tare":
            arrived_ns = self._load.arrived_ns if self._load is not None else frame.first_ns - self._lag_ns
            out.append(
                Reading(
                    frame.raw, decoded.text, decoded.value, decoded.unit or self._unit, decoded.condition, "mark",
                    arrived_ns, frame.last_ns, load="tare", zero_before=self._shown(self._baseline),
                )
            )  # fmt: skip
        elif decoded.load == "net" and self._load is not None and self._load.reading is not None:
            self._tell_tare(out, frame.last_ns)
        self._detector.clear()
        self._state = "rebasing"
        self._load = self._fall = self._unrest = self._baseline = self._home = None

    def _tell_tare(self, out: list[WireEvent], at_ns: int) -> None:
        assert self._load is not None
        told = self._load.reading
        if told is not None:
            out.append(
                Reading(
                    told.raw, told.text, told.value, told.unit, told.condition, told.settled, told.arrived_ns, at_ns,
                    "tare", told.spread, told.samples, told.zero_before, told.plateau,
                )
            )  # fmt: skip

    def _troubled(self, out: list[WireEvent], frame: Frame, decoded: Decoded) -> None:
        """No number: told once when it lasts. Too much is a load; too little means that what lay there is gone."""
        self._detector.clear()
        self.unsettled += 1
        trouble = self._trouble
        if trouble is None or trouble.condition != decoded.condition:
            trouble = self._trouble = _Trouble(decoded.condition, frame.first_ns)
        trouble.frames += 1
        if decoded.condition == "overload":
            if self._state == "falling":
                self._emptied(out, None)
            if self._state == "empty":
                self._arrive(out, frame)
            if self._load is None:
                self._load = self._lay(frame, None)
            self._fall = None
        if self._load is not None:
            self._load.keep(frame.last_ns, frame.raw)
        lasts = trouble.frames >= self._frames and frame.last_ns - trouble.since_ns >= self._window_ns
        if not lasts or trouble.told:
            return
        trouble.told = True
        if decoded.condition == "underload" and self._state in ("load", "falling"):
            self._fall = self._fall or _Fall(trouble.since_ns, Decimal(0))
            self._emptied(out, None)
        load = self._load
        if decoded.condition == "overload":
            assert load is not None
            if load.overload_told:
                return
            load.overload_told = True
            load.plateaus += 1
            self._settle_at(load, None)
            self._state = "load"
            self._unrest = None
        out.append(
            Reading(
                raw=frame.raw,
                text=None,
                value=None,
                unit=None,
                condition=decoded.condition,
                settled="window",
                arrived_ns=load.arrived_ns if load is not None else trouble.since_ns - self._lag_ns,
                done_ns=frame.last_ns,
                load=decoded.load,
                samples=trouble.frames,
                zero_before=self._shown(load.baseline) if load is not None else None,
                plateau=load.plateaus if load is not None and decoded.condition == "overload" else 1,
                evidence=load.evidence if load is not None else (),
            )
        )

    def _shown(self, value: Decimal | None, unit: str | None = None) -> Decimal | None:
        return None if value is None else units.from_base(value, unit or self._unit)
