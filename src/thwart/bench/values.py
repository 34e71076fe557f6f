"""Acts about values: which stands, which is asked, entered by hand, missing, exchanged or a tray's. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from .. import units
from . import mends, row, tally, turns, words
from .acts import HAND, MISSING_REASONS
from .filling import (
    about,
    answer,
    candidates,
    fill,
    give,
    last_of,
    settle_about,
    settle_ready,
    standing,
)
from .fish import (
    leave_behind,
    measured_of,
)
from .kernel import Refusal
from .parts import NUMBER, fish_in_hand, near, no_args, said_key, slot_named, usage
from .protocol import Slot
from .setup import InstrumentSetup
from .state import Measurement, Question, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def again(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The waiting reading replaces the one before; without one the last measurand is open again."""
    no_args("again", args)
    if bench.setup.protocol.flow == "tally":
        raise Refusal("no-fish-in-a-tally", act="again")
    here = bench.place(place)
    fish = bench.in_hand(place)
    if fish is not None and fish.provisional and len(fish.values) == 1:
        before = bench.get(Specimen, here.previous) if here.previous else None
        if before is not None and before.state == "closed" and before.end != "void":
            _give_back(bench, place, fish, before)
            return
    if here.waiting is None:
        if not here.filled and (before := row.retouch(bench, place)) is not None and row.untouched(bench, place):
            row.call_back(bench, place, before)
            here = bench.place(place)
        last = bench.need(Measurement, here.filled[-1]) if here.filled else None
        if last is None:
            raise Refusal("nothing-waiting", act="again")
        bench.decide("placed", last.specimen_id, place=place, set={"reopened": last.key})
        bench.tell(last.specimen_id, place=place, code="reopened", number=last.number, key=last.key)
        return
    reading = bench.need(Reading, here.waiting)
    owner = bench.need(Specimen, reading.specimen_id or "")
    questions = [q for q in bench.open_questions(place) if q.about == reading.seq]
    slot = _meant(bench, place, owner, reading, [q.measurand for q in questions if q.kind == "again-or-new"])
    ratio = next((q for q in questions if q.kind == "ratio"), None)
    if ratio is not None:
        slot = bench.setup.protocol.slot_by_key.get(str(ratio.args["other"])) or slot
    if slot is None:
        raise Refusal("nothing-waiting", act="again")
    answer(bench, questions)
    give(bench, place, owner, slot, reading, supersedes=owner.values.get(slot.key), event="given")


def _meant(bench: Bench, place: str, owner: Specimen, reading: Reading, asked: Sequence[str | None]) -> Slot | None:
    """The slot a waiting reading is for: what was asked, else what its instrument filled last, else what is wanted."""
    protocol = bench.setup.protocol
    for key in asked:
        if key is not None and (slot := protocol.slot_by_key.get(key)) is not None:
            return slot
    setup = bench.setup.instruments.get(reading.instrument)
    if setup is None:
        return None
    last = last_of(bench, owner, setup)
    if last is not None:
        return protocol.slot_by_key.get(last[0])
    return next(iter(candidates(bench, owner, setup, Decimal(reading.base_value or "0"))), None)


def _give_back(bench: Bench, place: str, fish: Specimen, before: Specimen) -> None:
    """A reading opened a fish, but it was the one before measured again: the fish is none, its reading supersedes."""
    here = bench.place(place)
    (m,) = standing(bench, fish).values()
    opener = bench.need(Reading, m.reading_seq or 0)
    bench.decide("withdrawn", fish.specimen_id, measurement=m.seq, place=place)
    if here.waiting is None:
        bench.decide("outcome", before.specimen_id, reading=opener.seq, event="offered back", place=place)
        reading = bench.need(Reading, opener.seq)
    else:
        bench.decide(
            "outcome", before.specimen_id, reading=opener.seq, event="taken back", why="taken-back", place=place
        )
        reading = bench.need(Reading, here.waiting)
    answer(bench, [q for q in bench.open_questions(place) if q.about in (m.seq, reading.seq)])
    bench.decide("unopened", fish.specimen_id, place=place, number=fish.number)
    bench.decide("recalled", before.specimen_id, place=place, number=before.number)
    before = bench.need(Specimen, before.specimen_id)
    slot = bench.setup.protocol.slot_by_key[m.key]
    give(bench, place, before, slot, reading, supersedes=before.values.get(slot.key), event="given")


def stands(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Accept what was questioned last. A load nobody saw arrive is taken."""
    if bench.setup.protocol.flow == "tally" and tally.stand_by(bench, place):
        return
    q = _questioned(bench, place)
    here = bench.place(place)
    if q.about is not None and here.waiting == q.about and q.kind in ("load-at-start", "same-value", "ratio"):
        reading = bench.need(Reading, q.about)
        fish = bench.need(Specimen, reading.specimen_id or "")
        setup = bench.setup.instruments.get(reading.instrument)
        could = candidates(bench, fish, setup, Decimal(reading.base_value or "0")) if setup is not None else []
        if not could:
            raise Refusal("nothing-questioned", place=place)
        answer(bench, [q])
        give(bench, place, fish, could[0], reading, event="given", one_of=len(could))
        return
    answer(bench, [q])
    if q.kind == "in-step":
        bench.decide("in-step", None, place=place)
    if q.about is not None and here.waiting == q.about:  # the first value stands
        leave_behind(bench, place)
        return
    m = bench.get(Measurement, q.about) if q.about is not None else None
    others = [
        o for o in bench.live_questions_of(q.specimen_id) if m is not None and o.about == m.seq and o.kind == m.cause
    ]
    if m is not None and m.status == "questioned" and not others:
        bench.decide(
            "stood-by", m.specimen_id, place=place, measurement=m.seq, number=m.number, reason=" ".join(args) or None
        )
    else:
        bench.tell(q.specimen_id, place=place, code="stands")


def _questioned(bench: Bench, place: str) -> Question:
    """What was asked last here; else what is still questioned of the fish in hand, though it is on a list already."""
    open_ = bench.open_questions(place)
    if open_:
        return open_[-1]
    fish = bench.in_hand(place)
    if fish is not None:
        doubted = {m.seq for m in standing(bench, fish).values() if m.status == "questioned"}
        known = {q.seq: q for q in bench.records.questions_of(fish.specimen_id)}
        known.update({q.seq: q for q in bench.all(Question) if q.specimen_id == fish.specimen_id})
        late = [seq for seq, q in known.items() if q.about in doubted and q.state != "answered"]
        if late:
            return bench.need(Question, max(late))
    raise Refusal("nothing-questioned", place=place)


def as_(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The next reading is for the measurand named."""
    if not args:
        raise usage("as")
    fish = fish_in_hand(bench, place, "as")
    slot = slot_named(bench, "as", said_key(args), fish)
    bench.decide("placed", fish.specimen_id, place=place, set={"route_as": slot.key})
    bench.tell(fish.specimen_id, place=place, code="as", key=slot.key)


def value(bench: Bench, place: str, args: Sequence[str]) -> None:
    """An entry by hand."""
    how = args[-1] if args and args[-1] in HAND else None
    said = list(args if how is None else args[:-1])
    if len(said) < 3 or (NUMBER.fullmatch(said[-3]) and not NUMBER.fullmatch(said[-2])):  # an unknown `how` comes last
        raise usage("value")
    *name, number, unit_text = said
    fish = fish_in_hand(bench, place, "value")
    slot = slot_named(bench, "value", said_key(name), fish)
    unit = mends.unit_of("value", unit_text, slot)
    if not NUMBER.fullmatch(number):
        raise Refusal("not-a-number", act="value", text=words.shown(number))
    base = units.to_base(Decimal(number.replace(",", ".")), unit)
    division = slot.measurand.hand_division_base
    if division is not None and base % division:
        text = f"{number} {unit_text}"
        raise Refusal("not-the-division", act="value", text=text, division=slot.measurand.hand_division)
    fill(
        bench, place, fish, slot, value=base, raw_value=number, raw_unit=unit, how=how or "pad",
        supersedes=fish.values.get(slot.key),
    )  # fmt: skip


def missing(bench: Bench, place: str, args: Sequence[str]) -> None:
    """There is no value, and why."""
    if len(args) < 2:
        raise usage("missing")
    fish = fish_in_hand(bench, place, "missing")
    name, reason = said_key(args[:-1]), args[-1]
    if reason not in MISSING_REASONS:
        raise Refusal(
            "unknown-reason", act="missing", reason=words.shown(reason), near=near(reason, MISSING_REASONS, 7)
        )
    if name in bench.setup.protocol.codes:
        turns.observe(bench, place, fish, name, None, reason)
        return
    structure = bench.setup.protocol.containers.structure if bench.setup.protocol.containers else None
    if name in ("container", structure):
        key = "container"
    else:
        try:
            key = slot_named(bench, "missing", name, fish).key
        except Refusal as refusal:
            known = [*bench.setup.protocol.slot_by_key, *bench.setup.protocol.codes, "container"]
            raise Refusal("unknown-field", act="missing", name=words.shown(name), near=near(name, known)) from refusal
    if key in fish.values:
        standing(bench, fish)
        answer(bench, about(bench, fish, {fish.values[key]}))
        bench.decide("withdrawn", fish.specimen_id, measurement=fish.values[key], place=place)
    bench.decide("missing", fish.specimen_id, place=place, number=fish.number, name=key, reason=reason)
    settle_about(bench, fish, measurand=key)
    settle_ready(bench, fish.specimen_id)


def swap(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Exchange the two values filled last."""
    no_args("swap", args)
    fish = fish_in_hand(bench, place, "swap")
    mine = [bench.need(Measurement, seq) for seq in bench.place(place).filled]
    mine = [m for m in mine if m.specimen_id == fish.specimen_id and m.status in ("stands", "questioned")]
    if len(mine) < 2 or mine[-1].unit != mine[-2].unit:
        raise Refusal("nothing-to-swap")
    first, second = mine[-2], mine[-1]
    answer(bench, about(bench, fish, {first.seq, second.seq}))
    readings = [None if m.reading_seq is None else bench.need(Reading, m.reading_seq) for m in (first, second)]
    rest = {k: m for k, m in standing(bench, fish).items() if m.seq not in (first.seq, second.seq)}
    for old, other, reading in ((first, second, readings[1]), (second, first, readings[0])):
        slot = bench.setup.protocol.slot_by_key[old.key]
        seq = fill(
            bench, place, bench.need(Specimen, fish.specimen_id), slot, value=Decimal(other.value), raw_value=other.raw_value,
            raw_unit=other.raw_unit, how="swapped", reading=reading, supersedes=old.seq, others=rest,
        )  # fmt: skip
        rest = {**rest, slot.key: bench.need(Measurement, seq)}


def tared(bench: Bench, place: str, args: Sequence[str]) -> None:
    """What lies on the scale is the tray."""
    no_args("tared", args)
    lying = {
        name: readings for name, setup in bench.setup.instruments.items()
        if setup.kind == "mass" and place in setup.places
        and (readings := _lying(bench, place, setup)) is not None
    }  # fmt: skip
    if not lying:
        raise Refusal("nothing-on-it", place=place)
    for name, readings in lying.items():
        for reading in readings:
            _was_tray(bench, place, reading)
        masses = [r.base_value for r in readings if Decimal(r.base_value or "0") > 0]
        bench.decide("load", None, instrument=name, tared=[place], tray=masses[-1] if masses else None)
    bench.tell(None, place=place, code="tared")


def _lying(bench: Bench, place: str, setup: InstrumentSetup) -> list[Reading] | None:
    """The readings of what may lie on a scale, or None where nothing does."""
    known = bench.instrument(setup.name)
    if setup.emptied == "stream":
        seqs = known.load_readings if known.load_seq is not None or known.blind else None
        return None if seqs is None else [bench.need(Reading, seq) for seq in seqs]
    if known.last_seq is None:
        return None
    here, last = bench.place(place), bench.need(Reading, known.last_seq)
    return [last] if here.waiting == last.seq or last.measurement_seq in here.filled else None


def _was_tray(bench: Bench, place: str, reading: Reading) -> None:
    if reading.outcome not in ("taken", "waiting", "loose"):
        return
    m = measured_of(bench, reading)
    answer(bench, [q for q in bench.live_questions() if q.about in (reading.seq, m.seq if m else None)])
    if m is not None and m.status in ("stands", "questioned"):
        standing(bench, bench.need(Specimen, m.specimen_id))
        bench.decide("withdrawn", m.specimen_id, measurement=m.seq, place=place)
        settle_ready(bench, m.specimen_id)
    bench.decide("outcome", None, reading=reading.seq, event="was the tray", why="tare", place=place)
