"""Acts about what an instrument can't give as one value of one fish: beyond it, in pieces, in pools, by count; pans, knocks. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from . import words
from .filling import fill, serves, settle_about, settle_ready
from .fish import note_pieces
from .kernel import Refusal
from .parts import NUMBER, fish_in_hand, near, no_args, said_key, slot_named, usage
from .setup import InstrumentSetup
from .state import Batch, Measurement, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench

#: More pieces, or animals in a pool, than this are a slip of the tongue.
_MOST = 999


def _count(act: str, text: str) -> int:
    if not (NUMBER.fullmatch(text) and text.isdecimal() and int(text) > 0):
        raise usage(act)
    if int(text) > _MOST:
        raise Refusal("too-many", act=act, number=text, most=_MOST)
    return int(text)


def over(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Beyond the instrument: missing with that reason, until a `value` or `parts` gives it."""
    if not args:
        raise usage("over")
    fish = fish_in_hand(bench, place, "over")
    slot = slot_named(bench, "over", said_key(args), fish)
    if slot.key in fish.values:
        bench.decide("withdrawn", fish.specimen_id, measurement=fish.values[slot.key], place=place)
    bench.decide("missing", fish.specimen_id, place=place, number=fish.number, name=slot.key, reason="beyond")
    settle_about(bench, fish, measurand=slot.key)
    settle_ready(bench, fish.specimen_id)


def parts(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The next readings are pieces of one value."""
    if len(args) < 2:
        raise usage("parts")
    fish = fish_in_hand(bench, place, "parts")
    slot, n = slot_named(bench, "parts", said_key(args[:-1]), fish), _count("parts", args[-1])
    note_pieces(bench, place, fish, quiet=True)
    state = {"parts_of": slot.key, "parts_left": n, "parts_values": []}
    bench.decide("placed", fish.specimen_id, place=place, set=state)
    bench.tell(fish.specimen_id, place=place, code="parts", number=fish.number, n=n, key=slot.key)


def piece(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str, specimen: Specimen) -> bool:
    """Take a reading as a piece where pieces are awaited here. The last one makes the value, their sum."""
    here = bench.place(place)
    slot = bench.setup.protocol.slot_by_key.get(here.parts_of or "")
    if slot is None or here.in_hand != specimen.specimen_id or slot.measurand.quantity != setup.kind:
        return False
    values = [*here.parts_values, reading.base_value or "0"]
    left = here.parts_left - 1
    bench.decide("outcome", specimen.specimen_id, reading=reading.seq, event="is a piece", place=place)
    if left:
        bench.decide("placed", specimen.specimen_id, place=place, set={"parts_left": left, "parts_values": values})
        bench.tell(
            specimen.specimen_id, place=place, code="piece", number=specimen.number, nth=len(values), key=slot.key,
            value=reading.value, unit=reading.unit, left=left,
        )  # fmt: skip
        return True
    state: dict[str, Any] = {"parts_of": None, "parts_left": 0, "parts_values": []}
    bench.decide("placed", specimen.specimen_id, place=place, set=state)
    total = sum((Decimal(v) for v in values), Decimal(0))
    fill(
        bench, place, bench.need(Specimen, specimen.specimen_id), slot, value=total, raw_value=units.plain(total),
        raw_unit=units.BASE[slot.measurand.quantity], how="parts", supersedes=specimen.values.get(slot.key),
    )  # fmt: skip
    return True


def pool(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The next mass is for so many animals."""
    if len(args) != 1:
        raise usage("pool")
    n = _count("pool", args[0])
    _batch_here(bench, place)
    bench.decide("placed", None, place=place, set={"pool": n})
    bench.tell(None, place=place, code="pool", n=n)


def pooled(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str) -> bool:
    """Take a mass for the pool that awaits one."""
    here = bench.place(place)
    if here.pool is None or setup.kind != "mass":
        return False
    batch = _batch_here(bench, place)
    slot = next((s for s in bench.setup.protocol.slots if serves(setup, s, None)), None)
    fish = bench.in_hand(place)
    species = here.tally_species or (fish.species if fish and not fish.given else None) or batch.species
    bench.decide("outcome", None, reading=reading.seq, event="is a pool", place=place)
    bench.decide(
        "pooled", None, place=place, batch=batch.batch, species=species or bench.setup.protocol.single_species, n=here.pool,
        measurand=slot.measurand.name if slot else "whole_mass", value=reading.base_value, unit="g", raw_value=reading.value,
        raw_unit=reading.unit, reading=reading.seq, practice=batch.practice,
    )  # fmt: skip
    return True


def _batch_here(bench: Bench, place: str) -> Batch:
    name = bench.place(place).batch
    if name is None:
        raise Refusal("no-batch")
    return bench.need(Batch, name)


def count(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Counted, not measured."""
    if len(args) != 1:
        raise usage("count")
    n, batch = _count("count", args[0]), _batch_here(bench, place)
    bench.decide("counted", None, place=place, batch=batch.batch, n=n)


def pan(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Which of the declared pans stands on the scale."""
    if len(args) != 1:
        raise usage("pan")
    pans = bench.setup.protocol.pans
    if args[0] not in pans:
        raise Refusal("unknown-pan", name=words.shown(args[0]), near=near(args[0], pans))
    bench.decide("placed", None, place=place, set={"pan": args[0]})
    bench.tell(None, place=place, code="pan", pan=args[0])


def pan_changed(bench: Bench, place: str, by: Decimal, division: Decimal) -> str | None:
    """The pan that explains a zero moved by so many grams, where one is declared and in use."""
    here = bench.place(place)
    pans = bench.setup.protocol.pans
    if here.pan is None or here.pan not in pans:
        return None
    now = pans[here.pan]
    return next(
        (name for name, mass in pans.items() if name != here.pan and abs(mass - now - by) <= division * 2), None
    )


def knock(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The scale was knocked: what was weighed since the last good zero is suspect."""
    no_args("knock", args)
    scales = [i.name for i in bench.setup.instruments.values() if i.kind == "mass" and place in i.places]
    weighed = [bench.need(Measurement, seq) for name in scales for seq in bench.instrument(name).since_zero]
    standing = [m for m in weighed if m.status in ("stands", "questioned")]
    for m in standing:
        bench.need(Specimen, m.specimen_id)
        bench.decide("suspect", m.specimen_id, measurement=m.seq, cause="knock")
    for name in scales:
        if bench.instrument(name).verified is not None:
            bench.decide("check-due", None, instrument=name)
    bench.tell(None, place=place, code="knock", n=len(standing))
