"""Hosing: touches that come faster than a hand can measure are water. A run of them is taken back at once. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .filling import about, answer, ask, settle_ready
from .judging import Finding
from .kernel import Memento, Refusal
from .parts import no_args
from .setup import HOSING_NS, HOSING_TOUCHES
from .state import Measurement, Question, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench

#: A run that ended longer ago isn't meant: nobody remembers it among what was measured since.
_LATEST_NS = 120_000_000_000
#: Why a touch of a run that was taken back is loose.
WHY = "hosed"


def watch(bench: Bench, reading: Reading, place: str) -> None:
    """Three touches within two seconds are water, not fish: propose a pause."""
    times = bench.instrument(reading.instrument).arrivals_ns
    hosing = len(times) == HOSING_TOUCHES and 0 <= times[-1] - times[0] < HOSING_NS
    asked = suspected(bench, place)
    if not hosing and bench.setup.protocol.flow == "tally":
        answer(bench, asked)  # counting goes on: there was none. Elsewhere the next fish says so
    elif hosing and not asked:
        ask(bench, place, bench.in_hand(place), Finding("hosing", 2, {"touches": HOSING_TOUCHES}), about=None)


def suspected(bench: Bench, place: str) -> list[Question]:
    """The open questions of a place whether this is hosing."""
    return [q for q in bench.open_questions(place) if q.kind == "hosing"]


def hosed(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The last run of touches here was water: what they gave is taken back."""
    no_args("hosed", args)
    if not take_back(bench, place):
        raise Refusal("no-run", place=place)


def take_back(bench: Bench, place: str) -> bool:
    """Take back what the last run of touches gave the fish in hand, or the tally. False where there is none."""
    run = _run(bench, place)
    if not run:
        return False
    answer(bench, suspected(bench, place))
    for reading in run:
        answer(bench, [q for q in bench.live_questions() if q.about == reading.seq])
        m = bench.get(Measurement, reading.measurement_seq) if reading.measurement_seq is not None else None
        if m is not None and m.reading_seq == reading.seq and m.status in ("stands", "questioned"):
            fish = bench.need(Specimen, m.specimen_id)
            answer(bench, about(bench, fish, {m.seq}))
            bench.decide("withdrawn", m.specimen_id, measurement=m.seq, place=place)
        counted = _counted(bench, place, reading)
        if counted is not None:
            bench.decide("uncounted", None, place=place, tally=counted, reading=reading.seq)
        bench.decide("outcome", reading.specimen_id, reading=reading.seq, event="taken back", why=WHY, place=place)
        if m is not None:
            settle_ready(bench, m.specimen_id)
    said = ", ".join(f"{r.value} {r.unit}" for r in run)
    bench.tell(None, place=place, code="hosed", n=len(run), values=said)
    return True


def _run(bench: Bench, place: str) -> list[Reading]:
    """What can be taken back of the last run here: any three touches in a row of it came within two seconds."""
    since = bench.input.stamp.mono_ns - _LATEST_NS
    # What can be undone here is in memory, however much was forgotten.
    done = [bench.need(Reading, m.input_seq) for m in bench.mementos.get(place, ()) if _is_touch(bench, m)]
    best: list[Reading] = []
    for name in sorted({r.instrument for r in done}):
        touches = [r for r in done if r.instrument == name]
        fast = [
            at for at in range(HOSING_TOUCHES - 1, len(touches))
            if touches[at].arrived_ns >= since
            and touches[at].arrived_ns - touches[at - HOSING_TOUCHES + 1].arrived_ns < HOSING_NS
        ]  # fmt: skip
        if not fast:
            continue
        first = last = fast[-1]
        while first - 1 in fast:
            first -= 1
        run = touches[first - HOSING_TOUCHES + 1 : last + 1]
        if not best or run[-1].seq > best[-1].seq:
            best = run
    fish = bench.in_hand(place)
    return [
        r for r in best
        if r.place == place and r.outcome in ("taken", "waiting")
        and (r.specimen_id is None or (fish is not None and r.specimen_id == fish.specimen_id))
    ]  # fmt: skip


def _is_touch(bench: Bench, done: Memento) -> bool:
    """Whether what was done by an input is a touch since the last start: times of another can't be compared."""
    if ("reading", done.input_seq) not in done.changes or done.input_seq <= (bench.desk.started_seq or 0):
        return False
    setup = bench.setup.instruments.get(bench.need(Reading, done.input_seq).instrument)
    return setup is not None and setup.kind == "length" and setup.emptied == "each"


def _counted(bench: Bench, place: str, reading: Reading) -> str | None:
    """The class in which a touch was counted in a tally; None where it wasn't."""
    done = next((m for m in bench.mementos.get(place, ()) if m.input_seq == reading.seq), None)
    if done is None or reading.outcome != "taken":
        return None
    return next((str(key[1]) for key in done.changes if key[0] == "tally"), None)
