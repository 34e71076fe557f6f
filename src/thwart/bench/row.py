"""Flow `row`: places in order, each with its own fish; only the first opens any. Pure.

A fish goes on when what its place takes is in: at a scale that streams once it is lifted off, elsewhere at once. It
waits in the queue before the next place until a load, a touch, a scan or an act there takes the queue's head. What was
asked of it stays open at the place it left until the next fish begins there; an act about its values calls it back.

Where fish carry no tags the order is all that tells them apart, and one that nobody accounts for shifts those behind it.
It shows in the end: a fish waits that never comes. Until then only a break proves that fish and numbers are in step: a
fish that came while nothing else lay there. So each place remembers whom it took since the last break, asks when that
are many, and when one is left over they are all suspect.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .filling import answer, ask, serves, standing, wanted
from .fish import close_fish, keep_for_later, leave_behind, open_next
from .judging import Finding
from .kernel import Refusal
from .protocol import Slot, Stop
from .state import Batch, End, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def stop_at(bench: Bench, place: str) -> Stop | None:
    """The row's stop at a place, or None where there is no row or the place isn't in it."""
    at = bench.setup.protocol.position(place)
    return None if at is None else bench.setup.protocol.row[at]


def is_first(bench: Bench, place: str) -> bool:
    """Whether fish open at this place: everywhere but behind the first place of a row."""
    return bench.setup.protocol.position(place) in (None, 0)


def by_order_alone(bench: Bench, place: str) -> bool:
    """Whether only the order tells which fish comes to a place: in a row without tags, behind its first place."""
    return bench.setup.protocol.tags is None and not is_first(bench, place)


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


#: After so many fish without a break it is asked whether the next one is the one that should be.
_ASK_AFTER = 20


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
    keep_for_later(bench, place)
    bench.decide("took", ident, place=place, number=specimen.number)
    _pull(bench, place)
    _ask_whether_in_step(bench, place)
    return bench.need(Specimen, ident)


def _ask_whether_in_step(bench: Bench, place: str) -> None:
    """Long without a break: is the fish that should come next the one that lies there?"""
    here = bench.place(place)
    if not by_order_alone(bench, place) or not here.queue or len(here.unbroken) % _ASK_AFTER:
        return
    head = bench.need(Specimen, here.queue[0])
    lengths = (m for m in standing(bench, head).values() if m.unit == "mm")
    known = ", ".join([head.species or "unknown", *(f"{m.key} {m.value} mm" for m in lengths)])
    args = {"number": head.number, "place": place, "many": len(here.unbroken), "known": known}
    ask(bench, place, head, Finding("in-step", 2, args), about=head.opened_seq)


def look_for_left_over(bench: Bench, batch: str) -> None:
    """The batch ends: a fish that still waits before a place never came there, or those before it had its values."""
    if bench.setup.protocol.tags is not None:
        return
    for stop in bench.setup.protocol.row:
        for ident in bench.place(stop.place).queue:
            fish = bench.need(Specimen, ident)
            if fish.batch == batch and fish.given:
                out_of_step(bench, stop.place, fish)


def out_of_step(bench: Bench, place: str, left: Specimen | None) -> None:
    """Fish and numbers were out of step at a place: whoever was taken there since the last break may have its neighbour's values."""
    here = bench.place(place)
    for ident in here.unbroken:
        fish = bench.need(Specimen, ident)
        if (
            (left is not None and ident == left.specimen_id and len(here.unbroken) == 1)
            or fish.end in ("void", "same-as")
            or any(q.kind == "out-of-step" for q in bench.live_questions_of(ident))
        ):
            continue
        for m in standing(bench, fish).values():
            if m.place == place and m.instrument is not None:
                bench.decide("suspect", ident, measurement=m.seq, cause="out-of-step")
        args = {"number": fish.number, "place": place, "left": left.number if left is not None else None}
        ask(bench, place, fish, Finding("out-of-step", 3, args), about=fish.opened_seq, quiet=True)
    bench.decide("in-step", None, place=place)


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
    here = bench.place(place)
    if here.in_hand != specimen.specimen_id or not specimen.given:
        return False
    if here.reopened is not None or here.route_as is not None or here.parts_of is not None:  # more of it was announced
        return False
    return not [s for s in wanted_here(bench, place, specimen) if s.measurand.required]


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


def meant_by_an_end(bench: Bench, place: str) -> Specimen | None:
    """The fish that went on last and is still in sight, where nothing of the next one is known here. Raises Refusal if both can be meant."""
    before = retouch(bench, place)
    if before is None or not untouched(bench, place):
        return None
    here = bench.place(place)
    if here.in_hand is None and here.queue:
        raise Refusal("which-fish", number=before.number, other=bench.need(Specimen, here.queue[0]).number)
    return before


def gone(bench: Bench, place: str, specimen: Specimen) -> None:
    """A fish that should come, or came, isn't there. Where only order tells, it may be one of those before that is gone."""
    at = _waits_before(bench, specimen) or place
    if not by_order_alone(bench, at) or any(m.place == at for m in standing(bench, specimen).values()):
        return
    answer(bench, [q for q in bench.open_questions(at) if q.kind == "in-step"])
    for stop in bench.setup.protocol.row[1 : (bench.setup.protocol.position(at) or 0) + 1]:
        out_of_step(bench, stop.place, specimen)


def _waits_before(bench: Bench, specimen: Specimen) -> str:
    stops = bench.setup.protocol.row
    return next((s.place for s in stops if specimen.specimen_id in bench.place(s.place).queue), "")


def end_waiting(bench: Bench, place: str, specimen: Specimen, end: End) -> None:
    """A fish that waits before a place, or was set apart, ends from afar: there is room for those behind it."""
    before = _waits_before(bench, specimen)
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
    if here.previous is None or stop_at(bench, place) is None:
        return None
    before = bench.get(Specimen, here.previous)
    if before is None or before.state == "closed":
        return None
    to = next_stop(bench, place, before)
    return before if to is not None and before.specimen_id in bench.place(to.place).queue else None


def asked_before(bench: Bench, place: str) -> Specimen | None:
    """The fish that went on from here last, where something asked of it is still open here and the next fish hasn't begun."""
    before = retouch(bench, place)
    if before is None or not any(q.specimen_id == before.specimen_id for q in bench.open_questions(place)):
        return None
    return before if untouched(bench, place) else None


def untouched(bench: Bench, place: str) -> bool:
    """Whether the hand is empty, or holds a fish nothing was given to nor said of."""
    fish = bench.in_hand(place)
    batch = bench.get(Batch, bench.place(place).batch or "")
    ordinary = (batch.species if batch else None) or bench.setup.protocol.single_species
    return fish is None or (not fish.given and fish.species == ordinary and fish.tag is None)


def call_back(bench: Bench, place: str, specimen: Specimen) -> Specimen:
    """The fish that went on last is in hand here again; the next one, which nothing was given to, is none yet."""
    to = next_stop(bench, place, specimen)
    assert to is not None
    now = bench.in_hand(place)
    if now is not None:
        waiting = bench.place(place).waiting
        bench.decide("unopened", now.specimen_id, place=place, number=now.number)
        bench.decide("placed", None, place=place, set={"waiting": waiting})
    bench.decide("called-back", specimen.specimen_id, **{"place": place, "from": to.place, "number": specimen.number})
    return bench.need(Specimen, specimen.specimen_id)


def tagged(bench: Bench, place: str, tag: str) -> None:
    """A scanned tag: names the fish in hand, or brings the one that bears it. Raises Refusal."""
    bearer = next((s for s in bench.all(Specimen) if s.tag == tag and s.state != "closed"), None)
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
    passed = [bench.need(Specimen, i).number for i in here.queue[: here.queue.index(bearer.specimen_id)]]
    known = {q.args["other"] for q in bench.live_questions() if q.kind == "overtaken"}
    take(bench, place, bearer.specimen_id)
    for other in (n for n in passed if n not in known):
        args = {"number": bearer.number, "other": other}
        ask(bench, place, bearer, Finding("overtaken", 3, args), about=bearer.opened_seq, quiet=True)


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
        if fish is None:
            continue
        if any(d.specimen_id == fish.specimen_id for kind in _BEGINS for d in bench.decided(kind)):
            keep_for_later(bench, stop.place, but=fish.specimen_id)
        if done_here(bench, stop.place, fish) and not _lies(bench, stop.place, fish):
            go_on(bench, stop.place, fish)


#: Decisions by which a fish begins to be worked on: what was asked of the one before goes to the quiet list.
_BEGINS = ("measured", "coded", "missing", "structure", "container", "tagged")


def _lies(bench: Bench, place: str, specimen: Specimen) -> bool:
    """Whether the fish still lies on a scale of the place: it goes on when it is lifted off."""
    here = [i for i in bench.setup.instruments.values() if place in i.places and i.emptied == "stream"]
    loads = [bench.instrument(i.name) for i in here]
    return any(i.load_seq is not None and i.load_specimens.get(place) == specimen.specimen_id for i in loads)
