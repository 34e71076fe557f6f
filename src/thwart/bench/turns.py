"""Acts about fish: whose turn it is, how each ends, and what is said of it. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from . import mends, row, tally, words
from .filling import (
    answer,
    ask,
    candidates,
    give,
    judge_again,
    observed,
    settle_ready,
)
from .fish import (
    close_fish,
    note_left,
    open_fish,
    open_next,
    opens_by_itself,
    recall,
)
from .judging import Finding
from .kernel import Refusal
from .parts import fish_in_hand, near, no_args, numbered, split_of, usage
from .state import Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def next_(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The fish in hand is done; the waiting reading may start the one after it."""
    no_args("next", args)
    here = bench.place(place)
    if here.batch is None:
        raise Refusal("no-batch")
    if here.paused:
        raise Refusal("paused")
    fish = row.take_head(bench, place)
    if bench.setup.protocol.flow == "tally":
        raise Refusal("no-fish-in-a-tally", act="next")
    starts = _starter(bench, place)
    if row.stop_at(bench, place) is not None:
        if starts is not None:
            answer(bench, [q for q in bench.open_questions(place) if q.about == starts.seq])
            bench.decide("placed", None, place=place, set={"waiting": None})
        _next_in_row(bench, place, fish, starts)
        if starts is not None:
            _start_with(bench, place, starts)
        return
    if fish is not None and not fish.given:
        bench.tell(fish.specimen_id, place=place, code="next-nothing", number=fish.number)
        return
    if starts is not None:
        answer(bench, [q for q in bench.open_questions(place) if q.about == starts.seq])
        bench.decide("placed", None, place=place, set={"waiting": None})
    if fish is None:
        open_fish(bench, place, by="next")
    else:
        if fish.provisional:
            bench.decide("confirmed", fish.specimen_id, number=fish.number)
        close_fish(bench, place, fish)
        if bench.place(place).in_hand is None:
            open_next(bench, place, by="next")
    if starts is not None:
        _start_with(bench, place, starts)


def _next_in_row(bench: Bench, place: str, fish: Specimen | None, starts: Reading | None) -> None:
    """In a row the fish goes on to the next place; where its way ends it is closed."""
    if fish is None:
        if starts is None and row.take_head(bench, place) is None and not row.is_first(bench, place):
            raise Refusal("nothing-in-hand", act="next", place=place)
        if starts is None and bench.place(place).in_hand is None:
            open_fish(bench, place, by="next")
    elif fish.given:
        to = row.next_stop(bench, place, fish)
        if to is None:
            row.leave(bench, place, fish)
        elif len(bench.place(to.place).queue) >= to.queue:
            raise Refusal("no-room", number=fish.number, place=to.place)
        else:
            row.go_on(bench, place, fish)
    elif starts is None:
        bench.tell(fish.specimen_id, place=place, code="next-nothing", number=fish.number)


def leaves(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The fish leaves the row here."""
    no_args("leaves", args)
    if row.stop_at(bench, place) is None:
        raise Refusal("not-in-a-row", act="leaves")
    fish = fish_in_hand(bench, place, "leaves")
    if not fish.given:  # the one meant has gone on already
        raise Refusal("no-readings", act="leaves", number=fish.number)
    row.leave(bench, place, fish)


def park(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The fish is set apart."""
    no_args("park", args)
    row.park(bench, place, fish_in_hand(bench, place, "park"))


def back(bench: Bench, place: str, args: Sequence[str]) -> None:
    """What was set apart, last or by number, is in hand again."""
    if len(args) > 1:
        raise usage("back")
    parked = bench.desk.parked
    if not parked and not args:
        raise Refusal("nothing-in-hand", act="back", place=place)
    row.back(bench, place, numbered(bench, args[0]) if args else bench.need(Specimen, parked[-1]))


def _starter(bench: Bench, place: str) -> Reading | None:
    """The waiting reading that starts a fish: it found its measurand filled and was the place's last event."""
    here = bench.place(place)
    if here.waiting is None or here.last_input != here.waiting:
        return None
    kinds = {q.kind for q in bench.open_questions(place) if q.about == here.waiting}
    return bench.need(Reading, here.waiting) if kinds & {"again-or-new", "again-or-next", "same-value"} else None


def _start_with(bench: Bench, place: str, reading: Reading) -> None:
    new = bench.in_hand(place)
    setup = bench.setup.instruments.get(reading.instrument)
    could = candidates(bench, new, setup, Decimal(reading.base_value or "0")) if new and setup else []
    if new is not None and could:
        give(bench, place, new, could[0], reading, event="given", one_of=len(could))
    else:
        bench.decide("outcome", None, reading=reading.seq, event="left behind", why="left-behind", place=place)
        note_left(bench, place, reading)


def void(bench: Bench, place: str, args: Sequence[str]) -> None:
    """There never was such a fish."""
    _end(bench, place, "void", args)


def lost(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The fish went overboard; what was measured counts."""
    _end(bench, place, "lost", args)


def ended(bench: Bench, place: str, act: str, args: Sequence[str]) -> Specimen:
    """The fish that an act ends: the one in hand, or the one named, which may have gone on. Raises Refusal."""
    if act not in ("void", "lost"):
        return fish_in_hand(bench, place, act)
    left, named = split_of(bench, place, act, args)
    if left:
        raise usage(act)
    if named is None:
        return row.meant_by_an_end(bench, place) or fish_in_hand(bench, place, act)
    for name in bench.setup.places:
        there = bench.place(name)
        if named.specimen_id in (there.in_hand, *there.aside) and (name != place or there.in_hand != named.specimen_id):
            raise Refusal("in-hand-elsewhere", act=act, number=named.number, place=name)
    return named


def _end(bench: Bench, place: str, end: Any, args: Sequence[str]) -> None:
    fish = ended(bench, place, end, args)
    if fish.state == "closed":
        recall(bench, place, fish)
        fish = bench.need(Specimen, fish.specimen_id)
    row.gone(bench, place, fish)
    if bench.place(place).in_hand == fish.specimen_id:
        close_fish(bench, place, fish, end)
    else:
        row.end_waiting(bench, place, fish, end)
    if bench.place(place).in_hand is None and bench.place(place).batch is not None and opens_by_itself(bench):
        open_next(bench, place, by=end)


def called_back(bench: Bench, place: str, args: Sequence[str]) -> None:
    """A closed fish is in hand again."""
    if len(args) != 1:
        raise usage("recall")
    recall(bench, place, numbered(bench, args[0]))


def species(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Of the fish in hand, of the one named, else of the next."""
    left, named = split_of(bench, place, "species", args)
    if len(left) != 1:
        raise usage("species")
    name = mends.known_species(bench, left[0])
    if bench.setup.protocol.flow == "tally" and named is None:
        tally.stick(bench, place, species=name)
        return
    fish = named or row.take_head(bench, place)
    if fish is None:
        bench.decide("species", None, place=place, species=name, number=None)
        return
    before = fish.species
    mends.declare(bench, place, fish, name)
    if named is None:
        _said_otherwise(bench, place, bench.need(Specimen, fish.specimen_id), "species", before, name)


def code(bench: Bench, place: str, args: Sequence[str]) -> None:
    """A coded observation of the fish in hand, or of the one named."""
    left, named = split_of(bench, place, "code", args)
    if len(left) != 2:
        raise usage("code")
    field = _field(bench, "code", left[0])
    codes = bench.setup.protocol.codes[field]
    value = next((c for c in codes.values if c.lower() == left[1].lower()), None)
    if value is None:
        raise Refusal("unknown-code", field=field, code=words.shown(left[1]), near=near(left[1], codes.values))
    if bench.setup.protocol.flow == "tally" and named is None and field == "sex":
        tally.stick(bench, place, sex=value)
        return
    fish = named or fish_in_hand(bench, place, "code")
    old = observed(bench, fish, field)
    observe(bench, place, fish, field, value, None)
    if named is None and old is not None:
        _said_otherwise(bench, place, bench.need(Specimen, fish.specimen_id), field, old.code, value)


def _said_otherwise(bench: Bench, place: str, fish: Specimen, field: str, before: str | None, now: str) -> None:
    """Something else was said of the fish in hand before: it may be the next fish's, said too early."""
    if fish.given and before is not None and before != now:
        args = {"number": fish.number, "field": field, "before": before, "now": now}
        ask(bench, place, fish, Finding("said-otherwise", 3, args), about=None, quiet=True)


def observe(bench: Bench, place: str, fish: Specimen, field: str, code: str | None, reason: str | None) -> None:
    """Set a code, or why there is none, in place of what was said before."""
    here = bench.place(place)
    old = observed(bench, fish, field)
    bench.decide(
        "coded", fish.specimen_id, place=place, number=fish.number, field=field,
        scale=bench.setup.protocol.codes[field].scale, code=code, missing_reason=reason,
        who=here.stager or here.recorder, supersedes=old.seq if old else None,
    )  # fmt: skip
    if field in bench.setup.protocol.checks.apart(fish.species or ""):
        judge_again(bench, place, bench.need(Specimen, fish.specimen_id))
    settle_ready(bench, fish.specimen_id)


def _field(bench: Bench, act: str, name: str) -> str:
    codes = bench.setup.protocol.codes
    if name not in codes:
        raise Refusal("unknown-field", act=act, name=words.shown(name), near=near(name, codes))
    return name
