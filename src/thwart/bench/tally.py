"""Flow `tally`: no numbers; lengths into classes by species and sex, which stick until said otherwise. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from .filling import answer, ask, said_value
from .fish import apart, leave_behind
from .judging import Finding
from .kernel import Refusal
from .protocol import Measurand
from .setup import InstrumentSetup
from .state import Batch, Reading, Tally

if TYPE_CHECKING:
    from .kernel import Bench

#: A fish touched again is so many divisions off at most.
_SAME = 3


def counted(bench: Bench) -> Measurand:
    """The measurand that is counted."""
    protocol = bench.setup.protocol
    return next(m for m in protocol.measurands if m.name == protocol.tally)


def species_of(bench: Bench, place: str) -> str:
    """The species that sticks at a place, else the batch's, else the protocol's."""
    here = bench.place(place)
    batch = bench.get(Batch, here.batch) if here.batch else None
    return here.tally_species or (batch.species if batch else None) or bench.setup.protocol.single_species or "unknown"


def offer(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str) -> None:
    """Count a reading, or ask where it is beyond the species' limits."""
    m = counted(bench)
    if m.quantity != setup.kind or (setup.serves is not None and m.name not in setup.serves):
        bench.decide("outcome", None, reading=reading.seq, event="belongs to none", why="not-wanted", place=place)
        return
    _touched_again(bench, setup, reading, place)
    leave_behind(bench, place)
    beyond = _beyond(bench, reading, place)
    if beyond is None:
        count(bench, reading, place, event="counts")
    else:
        bench.decide("outcome", None, reading=reading.seq, event="finds filled", place=place)
        ask(bench, place, None, beyond, about=reading.seq)


def _beyond(bench: Bench, reading: Reading, place: str) -> Finding | None:
    """Whether a reading is beyond the possible limits of the species that sticks."""
    m, value = counted(bench), Decimal(reading.base_value or "0")
    species = bench.setup.protocol.species.get(species_of(bench, place))
    limit = species.limits.get(m.name) if species else None
    if not (species and limit and limit.possible) or limit.possible[0] <= value <= limit.possible[1]:
        return None
    low, high = (units.plain(bound) for bound in limit.possible)
    args = {**said_value(reading), "measurand": m.name, "species": species.title, "low": low, "high": high}
    return Finding("class-beyond", 4, args)


def count(bench: Bench, reading: Reading, place: str, *, event: str) -> None:
    """One animal more in its class."""
    m = counted(bench)
    assert m.rounding is not None
    here = bench.place(place)
    batch = bench.need(Batch, here.batch or "")
    species = species_of(bench, place)
    size = units.plain(units.rounded(Decimal(reading.base_value or "0"), m.rounding.step_base, m.rounding.rule))
    key = "|".join([batch.batch, place, species, here.tally_sex or "", m.name, size])
    known = bench.get(Tally, key)
    bench.decide("outcome", None, reading=reading.seq, event=event, place=place)
    bench.decide(
        "tallied", None, place=place, tally=key, batch=batch.batch, species=species, sex=here.tally_sex, measurand=m.name,
        class_mm=size, reading=reading.seq, value=reading.value, unit=reading.unit, n=(known.n if known else 0) + 1,
        practice=batch.practice,
    )  # fmt: skip


def stand_by(bench: Bench, place: str) -> bool:
    """`stands`: what was beyond the limits is counted all the same. False where nothing waits."""
    waiting = bench.place(place).waiting
    if waiting is None:
        return False
    answer(bench, [q for q in bench.open_questions(place) if q.about == waiting])
    count(bench, bench.need(Reading, waiting), place, event="counts")
    return True


def _touched_again(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str) -> None:
    """What waited was of another species than was said; said rightly, the same fish is touched once more: that settles it."""
    seq = bench.place(place).waiting
    waiting = bench.need(Reading, seq) if seq is not None else None
    if waiting is None or _beyond(bench, waiting, place) is not None:
        return
    if not apart(setup, Decimal(waiting.base_value or "0"), Decimal(reading.base_value or "0"), _SAME):
        answer(bench, [q for q in bench.open_questions(place) if q.about == seq])
        bench.decide("outcome", None, reading=seq, event="left behind", why="touched-again", place=place)


def stick(bench: Bench, place: str, *, species: str | None = None, sex: str | None = None) -> None:
    """Species or sex from now on. Raises Refusal where a tally doesn't know it."""
    codes = bench.setup.protocol.codes.get("sex")
    if sex is not None:
        found = next((c for c in (codes.values if codes else {}) if c.lower() == sex.lower()), None)
        if found is None:
            raise Refusal("unknown-code", field="sex", code=sex, near="")
        bench.decide("placed", None, place=place, set={"tally_sex": found})
    if species is not None:
        bench.decide("placed", None, place=place, set={"tally_species": species})
    here = bench.place(place)
    code = "counting"
    args: dict[str, Any] = {"species": species_of(bench, place)}
    if here.tally_sex:
        code, args = f"{code}-sex", {**args, "sex": here.tally_sex}
    waiting = bench.need(Reading, here.waiting) if here.waiting is not None else None
    if waiting is not None and species is not None and _beyond(bench, waiting, place) is None:
        code, args = f"{code}-waits", {**args, "value": waiting.value, "unit": waiting.unit}
    bench.tell(None, place=place, code=code, **args)
