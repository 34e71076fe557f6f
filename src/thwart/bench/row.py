"""Flow `row`: places in order, each with its own fish; only the first opens any. Pure.

A fish goes on when what its place takes is in: at a scale that streams once it is lifted off, elsewhere at once. It
waits in the queue before the next place until a load, a touch, a scan or an act there takes the queue's head.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .filling import ask, serves, wanted
from .fish import close_fish, keep_for_later, leave_behind, open_next
from .judging import Finding
from .kernel import Refusal
from .protocol import Slot, Stop
from .state import End, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def stop_at(bench: Bench, place: str) -> Stop | None:
    """The row's stop at a place, or None where there is no row or the place isn't in it."""
    at = bench.setup.protocol.position(place)
    return None if at is None else bench.setup.protocol.row[at]


def is_first(bench: Bench, place: str) -> bool:
    """Whether fish open at this place: everywhere but behind the first place of a row."""
    return bench.setup.protocol.position(place) in (None, 0)


def next_stop(bench: Bench, place: str, specimen: Specimen) -> Stop | None:
    """The stop that a specimen goes on to from a place, or None where its way ends here."""
    at = bench.setup.protocol.position(place)
    if at is None:
        return None
    species = specimen.species
    return next(
        (s for s in bench.setup.protocol.row[at + 1 :] if not s.species or species is None or species in s.species),
        None,
    )


def wanted_here(bench: Bench, place: str, specimen: Specimen) -> list[Slot]:
    """What a place of the row still wants of a specimen."""
    stop = stop_at(bench, place)
    slots = wanted(bench, specimen)
    if stop is None:
        return slots
    if stop.measurands:
        return [s for s in slots if s.measurand.name in stop.measurands]
    here = [i for i in bench.setup.instruments.values() if place in i.places]
    return [s for s in slots if any(serves(i, s, None) for i in here)]


def take_head(bench: Bench, place: str) -> Specimen | None:
    """Take the queue's head into an empty hand; what waited for the room behind it comes after."""
    here = bench.place(place)
    if here.in_hand is not None or not here.queue:
        return bench.in_hand(place)
    fish = take(bench, place, here.queue[0])
    if bench.setup.protocol.tags is not None:  # an assumption, where a scan could have told
        args = {"number": fish.number, "place": place, "tag": fish.tag or "(it has none)"}
        ask(bench, place, fish, Finding("unscanned", 3, args), about=fish.opened_seq, quiet=True)
    return fish


def take(bench: Bench, place: str, ident: str) -> Specimen:
    """Take a specimen out of a place's queue into hand."""
    specimen = bench.need(Specimen, ident)
    bench.decide("took", ident, place=place, number=specimen.number)
    _pull(bench, place)
    return bench.need(Specimen, ident)


def _pull(bench: Bench, place: str) -> None:
    """There is room before a place again: a fish that had to stay goes on."""
    at = bench.setup.protocol.position(place)
    for stop in bench.setup.protocol.row[: at or 0]:
        fish = bench.in_hand(stop.place)
        stayed = bench.place(stop.place).stays
        if fish is not None and stayed == fish.specimen_id:
            go_on(bench, stop.place, fish)


def done_here(bench: Bench, place: str, specimen: Specimen) -> bool:
    """Whether a place of the row has all it takes of the fish in its hand."""
    mine = bench.place(place).in_hand == specimen.specimen_id
    return (
        mine and bool(specimen.given) and not [s for s in wanted_here(bench, place, specimen) if s.measurand.required]
    )


def go_on(bench: Bench, place: str, specimen: Specimen) -> None:
    """A fish leaves a place: into the next queue where there is room, else it stays and the place says so."""
    to = next_stop(bench, place, specimen)
    if to is None:
        return  # its way ends here: a container or `next` closes it
    if len(bench.place(to.place).queue) >= to.queue:
        if bench.place(place).stays != specimen.specimen_id:
            bench.decide("placed", specimen.specimen_id, place=place, set={"stays": specimen.specimen_id})
            bench.tell(specimen.specimen_id, place=place, code="stays", number=specimen.number, to=to.place)
        return
    _pass_on(bench, place, to.place, specimen)


def _pass_on(bench: Bench, place: str, to: str, specimen: Specimen) -> None:
    keep_for_later(bench, place)
    bench.decide("moved", specimen.specimen_id, place=place, to=to, number=specimen.number)
    if is_first(bench, place) and bench.place(place).batch is not None:
        open_next(bench, place, by="row")
    _pull(bench, place)


def leave(bench: Bench, place: str, specimen: Specimen) -> None:
    """Out of the row: it is closed where it is."""
    close_fish(bench, place, specimen)
    follow(bench, place)


def follow(bench: Bench, place: str) -> None:
    """A hand of the row became empty: the first place opens the next fish."""
    if is_first(bench, place) and bench.place(place).in_hand is None and bench.place(place).batch is not None:
        open_next(bench, place, by="row")


def end_waiting(bench: Bench, place: str, specimen: Specimen, end: End) -> None:
    """A fish that waits before a place, or was set apart, ends from afar: there is room for those behind it."""
    before = next((s.place for s in bench.setup.protocol.row if specimen.specimen_id in bench.place(s.place).queue), "")
    close_fish(bench, place, specimen, end, waits=before)
    _pull(bench, before)


def park(bench: Bench, place: str, specimen: Specimen) -> None:
    """Set apart; it comes `back` later."""
    keep_for_later(bench, place)
    bench.decide("parked", specimen.specimen_id, place=place, number=specimen.number)
    follow(bench, place)


def back(bench: Bench, place: str, specimen: Specimen) -> None:
    """What was set apart is in hand again. Raises Refusal where it wasn't, or where a fish is being worked on."""
    if specimen.specimen_id not in bench.desk.parked:
        raise Refusal("not-parked", number=specimen.number)
    now = bench.in_hand(place)
    if now is not None and now.given:
        raise Refusal("hand-full", number=now.number, place=place)
    leave_behind(bench, place)
    if now is not None:
        bench.decide("unopened", now.specimen_id, place=place, number=now.number)
    bench.decide("back", specimen.specimen_id, place=place, number=specimen.number)


def retouch(bench: Bench, place: str) -> Specimen | None:
    """The fish that went on from here last and still waits before the next place: a further touch may be its."""
    here = bench.place(place)
    if here.previous is None:
        return None
    before = bench.get(Specimen, here.previous)
    if before is None or before.state == "closed":
        return None
    to = next_stop(bench, place, before)
    return before if to is not None and before.specimen_id in bench.place(to.place).queue else None


def tagged(bench: Bench, place: str, tag: str) -> None:
    """A scanned tag: names the fish in hand, or brings the one that bears it. Raises Refusal."""
    bearer = next((s for s in bench.all(Specimen) if s.tag == tag and s.state != "closed"), None)
    held = bench.in_hand(place)
    if held is not None and held is not bearer and held.tag not in (None, tag) and _only_asked(bench, place, held):
        go_on(bench, place, held)  # a question keeps no place: this is the next fish
    here = bench.place(place)
    if bearer is None:
        fish = take_head(bench, place)
        if fish is None:
            raise Refusal("nothing-in-hand", act=tag, place=place)
        if fish.tag is not None:
            raise Refusal("has-tag", number=fish.number, tag=fish.tag)
        bench.decide("tagged", fish.specimen_id, place=place, number=fish.number, tag=tag)
        return
    if here.in_hand == bearer.specimen_id:
        bench.tell(bearer.specimen_id, place=place, code="tag", number=bearer.number)
        return
    stays = _done_before(bench, place, bearer)
    if bearer.specimen_id not in here.queue and stays is None:
        raise Refusal("tag-elsewhere", tag=tag, number=bearer.number)
    fish = bench.in_hand(place)
    if fish is not None:
        raise Refusal("hand-full", number=fish.number, place=place)
    if stays is not None:  # there was no room for it, but here it is
        _pass_on(bench, stays, place, bearer)
        here = bench.place(place)
    if here.queue[0] != bearer.specimen_id:
        head = bench.need(Specimen, here.queue[0])
        args = {"number": bearer.number, "other": head.number}
        take(bench, place, bearer.specimen_id)
        ask(bench, place, bearer, Finding("overtaken", 3, args), about=bearer.opened_seq, quiet=True)
        return
    take(bench, place, bearer.specimen_id)


def _only_asked(bench: Bench, place: str, specimen: Specimen) -> bool:
    """Whether a fish is done at a place and off its scale, and only a question or the queue keeps it there."""
    return done_here(bench, place, specimen) and not _lies(bench, place, specimen)


def _done_before(bench: Bench, place: str, specimen: Specimen) -> str | None:
    """The place that still has a specimen in hand though it is done there, if this is where it goes on to."""
    for stop in bench.setup.protocol.row:
        if bench.place(stop.place).in_hand == specimen.specimen_id and _only_asked(bench, stop.place, specimen):
            to = next_stop(bench, stop.place, specimen)
            return stop.place if to is not None and to.place == place else None
    return None


def settle(bench: Bench) -> None:
    """After an input: whoever is done at a place goes on, the last places first, so that room comes in time."""
    for stop in reversed(bench.setup.protocol.row):
        fish = bench.in_hand(stop.place)
        if fish is None or not done_here(bench, stop.place, fish) or _lies(bench, stop.place, fish):
            continue
        asked = [q for q in bench.open_questions(stop.place) if q.specimen_id == fish.specimen_id]
        if all(q.kind == "hosing" for q in asked):  # whether to pause says nothing of the fish
            go_on(bench, stop.place, fish)


def _lies(bench: Bench, place: str, specimen: Specimen) -> bool:
    """Whether the fish still lies on a scale of the place: it goes on when it is lifted off."""
    here = [i for i in bench.setup.instruments.values() if place in i.places and i.emptied == "stream"]
    loads = [bench.instrument(i.name) for i in here]
    return any(i.load_seq is not None and i.load_specimens.get(place) == specimen.specimen_id for i in loads)
