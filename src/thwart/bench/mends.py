"""The act `mend`: later corrections of a value, a pair, a unit over a range, a species; each with who, why and evidence. Pure.

A mend is decided like every act: what it changes is given anew and supersedes, nothing is overwritten; what the checks
find of it goes onto the quiet list; the species concerned is learned anew.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from . import people, words
from .acts import MEND_REASONS, MISSING_REASONS
from .filling import about, answer, ask, fill, judge_again, settle_about, settle_ready, standing
from .judging import Finding
from .kernel import Refusal
from .parts import NUMBER, near, not_void, numbered, place_for, slot_named, usage
from .protocol import Slot
from .state import Measurement, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


@dataclass(frozen=True, slots=True)
class Why:
    """A reason code, who says so, and what shows it."""

    reason: str
    who: str | None
    evidence: str | None


def mend(bench: Bench, body: Mapping[str, Any], args: Sequence[str]) -> None:
    """`mend KIND …`: see the table of acts. Raises Refusal."""
    kind = args[0] if args else ""
    if kind not in _MENDS:
        raise usage("mend")
    count, deed = _MENDS[kind]
    if len(args) < count + 2:
        raise usage("mend")
    said = list(args[1 : count + 1])
    first = not_void(numbered(bench, said[0]))
    if body.get("place") is not None:
        place = place_for(bench, body)
    else:  # it belongs to the place where the fish was
        place = first.place if first.place in bench.setup.places else bench.setup.places[0]
    deed(bench, place, said, _why(bench, place, args[count + 1 :]))


def _why(bench: Bench, place: str, rest: Sequence[str]) -> Why:
    """`REASON [by NAME] [see EVIDENCE…]`."""
    reason, *more = rest
    if reason not in MEND_REASONS:
        known = near(reason, MEND_REASONS, len(MEND_REASONS))
        raise Refusal("unknown-reason", act="mend", reason=words.shown(reason), near=known)
    here = bench.place(place)
    who, evidence = here.recorder or here.measurer, None
    if more[:1] == ["by"] and len(more) > 1:
        who, more = people.called(bench, more[1]), more[2:]
    if more[:1] == ["see"] and len(more) > 1:
        evidence, more = " ".join(more[1:]), []
    if more:
        raise usage("mend")
    return Why(reason, who, evidence)


def declare(bench: Bench, place: str, fish: Specimen, name: str, *, aloud: bool = True) -> None:
    """Another species is said of a fish: what it hasn't is asked, what it has is judged anew."""
    bench.decide("species", fish.specimen_id, place=place, species=name, number=fish.number)
    answer(bench, [q for q in bench.live_questions_of(fish.specimen_id) if q.kind == "no-species"])
    fish = bench.need(Specimen, fish.specimen_id)
    allowed = {s.key for s in bench.setup.protocol.slots_for(name)}
    for key, m in standing(bench, fish).items():
        if key not in allowed:
            args = {"number": fish.number, "measurand": key, "species": bench.setup.protocol.species[name].title}
            if not any(q.kind == "surplus" for q in about(bench, fish, {m.seq})):
                ask(bench, place, fish, Finding("surplus", 3, args), about=m.seq, quiet=not aloud)
    judge_again(bench, place, bench.need(Specimen, fish.specimen_id), aloud=aloud)
    settle_ready(bench, fish.specimen_id)


def known_species(bench: Bench, name: str) -> str:
    """A species of the protocol, or `unknown`. Raises Refusal."""
    species = bench.setup.protocol.species
    if name != "unknown" and name not in species:
        raise Refusal("unknown-species", name=words.shown(name), near=near(name, [*species, "unknown"]))
    return name


def unit_of(act: str, text: str, slot: Slot) -> str:
    """The code of a unit as written, for a slot. Raises Refusal."""
    unit = units.ucum(text)
    if unit is None or units.quantity_of(unit) != slot.measurand.quantity:
        raise Refusal("unknown-unit", act=act, unit=words.shown(text), measurand=slot.key)
    return unit


def noted(bench: Bench, place: str, fish: Specimen, measurand: str, old: str | None, new: str | None, why: Why) -> None:
    """The mend itself, for whoever reads the ledger."""
    bench.decide(
        "mend", fish.specimen_id, place=place, number=fish.number, measurand=measurand, old_value=old, new_value=new,
        who=why.who, why=why.reason, evidence=why.evidence,
    )  # fmt: skip


# ---- kinds of mends ------------------------------------------------------------------------------------------------


def _value(bench: Bench, place: str, args: Sequence[str], why: Why) -> None:
    fish, slot = _fish_and_slot(bench, args)
    unit = unit_of("mend", args[3], slot)
    if not NUMBER.fullmatch(args[2]):
        raise Refusal("not-a-number", act="mend", text=words.shown(args[2]))
    _give(bench, place, fish, slot, units.to_base(Decimal(args[2].replace(",", ".")), unit), args[2], unit, why)


def _missing(bench: Bench, place: str, args: Sequence[str], why: Why) -> None:
    fish, slot = _fish_and_slot(bench, args)
    if args[2] not in MISSING_REASONS:
        known = near(args[2], MISSING_REASONS, len(MISSING_REASONS))
        raise Refusal("unknown-reason", act="mend", reason=words.shown(args[2]), near=known)
    old = _standing(bench, fish, slot)
    standing(bench, fish)
    answer(bench, about(bench, fish, {old.seq}))
    bench.decide("withdrawn", fish.specimen_id, measurement=old.seq, place=place)
    bench.decide("missing", fish.specimen_id, place=place, number=fish.number, name=slot.key, reason=args[2])
    settle_about(bench, fish, measurand=slot.key)
    settle_ready(bench, fish.specimen_id)
    noted(bench, place, fish, slot.key, old.value, None, why)


def _swap(bench: Bench, place: str, args: Sequence[str], why: Why) -> None:
    """Two fish have each other's value."""
    one, other = not_void(numbered(bench, args[0])), not_void(numbered(bench, args[1]))
    if one.specimen_id == other.specimen_id:
        raise usage("mend")
    slot = slot_named(bench, "mend", args[2])
    values = _standing(bench, one, slot), _standing(bench, other, slot)
    for fish, m in ((one, values[1]), (other, values[0])):
        _give(bench, place, fish, slot, Decimal(m.value), m.raw_value, m.raw_unit, why)


def _fields(bench: Bench, place: str, args: Sequence[str], why: Why) -> None:
    """Two values of one fish stand in each other's field."""
    fish = not_void(numbered(bench, args[0]))
    slots = slot_named(bench, "mend", args[1]), slot_named(bench, "mend", args[2])
    if slots[0].key == slots[1].key or slots[0].measurand.quantity != slots[1].measurand.quantity:
        raise usage("mend")
    one, other = (_standing(bench, fish, slot) for slot in slots)
    for slot, m in ((slots[0], other), (slots[1], one)):
        now = bench.need(Specimen, fish.specimen_id)
        _give(bench, place, now, slot, Decimal(m.value), m.raw_value, m.raw_unit, why)


def _unit(bench: Bench, place: str, args: Sequence[str], why: Why) -> None:
    """The numbers of a range of fish were in another unit than was taken."""
    low, high = numbered(bench, args[0]).number, numbered(bench, args[1]).number
    slot = slot_named(bench, "mend", args[2])
    unit = unit_of("mend", args[3], slot)
    fishes = [bench.numbered(n) for n in range(low, high + 1)]
    found = [f for f in fishes if f is not None and f.end != "void" and slot.key in f.values]
    if not found:
        raise Refusal("nothing-to-mend", number=f"{low} to {high}", measurand=slot.key)
    for fish in found:
        m = _standing(bench, fish, slot)
        value = units.to_base(Decimal(m.raw_value.replace(",", ".")), unit)
        _give(bench, place, fish, slot, value, m.raw_value, unit, why)


def _species(bench: Bench, place: str, args: Sequence[str], why: Why) -> None:
    fish, name = not_void(numbered(bench, args[0])), known_species(bench, args[1])
    if name == fish.species:
        raise Refusal("already", act="mend species")
    declare(bench, place, fish, name, aloud=False)
    noted(bench, place, fish, "species", fish.species, name, why)


#: Kind → how many words it takes before the reason, and what it does.
_MENDS: Mapping[str, tuple[int, Callable[[Bench, str, Sequence[str], Why], None]]] = {
    "value": (4, _value),
    "missing": (3, _missing),
    "swap": (3, _swap),
    "fields": (3, _fields),
    "unit": (4, _unit),
    "species": (2, _species),
}


def _fish_and_slot(bench: Bench, args: Sequence[str]) -> tuple[Specimen, Slot]:
    fish = not_void(numbered(bench, args[0]))
    return fish, slot_named(bench, "mend", args[1], fish)


def _standing(bench: Bench, fish: Specimen, slot: Slot) -> Measurement:
    if slot.key not in fish.values:
        raise Refusal("nothing-to-mend", number=fish.number, measurand=slot.key)
    return bench.need(Measurement, fish.values[slot.key])


def _give(
    bench: Bench, place: str, fish: Specimen, slot: Slot, value: Decimal, raw_value: str, raw_unit: str, why: Why
) -> None:
    fish = bench.need(Specimen, fish.specimen_id)
    old = bench.need(Measurement, fish.values[slot.key]) if slot.key in fish.values else None
    fill(
        bench, place, fish, slot, value=value, raw_value=raw_value, raw_unit=raw_unit, how="mended",
        supersedes=old.seq if old else None, aloud=False,
    )  # fmt: skip
    noted(bench, place, fish, slot.key, old.value if old else None, units.plain(value), why)
