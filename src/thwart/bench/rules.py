"""The rules: what each kind of input leads to. Readings, scans, keys, wakes, start; acts are in `deeds`. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from .. import units
from ..entries import Entry
from . import deeds, labels, learning, pieces, row, tally, verifying, water
from .filling import answer, ask, candidates, give, last_of, routed, said_value, standing, wanted
from .fish import apart, close_fish, leave_behind, measured_of, open_fish, open_next, recall, summary
from .judging import Finding, misfit
from .kernel import Refusal
from .mending import container_after, found_home
from .parts import place_for
from .setup import DEAD_TIME_NS, InstrumentSetup
from .state import Container, Instrument, Measurement, Place, Reading, Specimen
from .words import WHY, say, shown

if TYPE_CHECKING:
    from .kernel import Bench


def decide(bench: Bench, entry: Entry) -> None:
    """Lead an input to its decisions. Raises Refusal where it changes nothing."""
    if entry.kind in ("reading", "scan", "key", "act"):
        _after_a_break(bench, entry)
    match entry.kind:
        case "reading":
            _reading(bench, entry)
        case "arrival":
            _arrival(bench, entry)
        case "emptied":
            _emptied(bench, entry)
        case "scan":
            _scan(bench, entry)
        case "key":
            _key(bench, entry)
        case "act":
            deeds.do(bench, entry.body)
        case "started":
            _resume(bench)
        case "wake":
            _wake(bench, entry)
        case _:
            pass  # recorded; nothing follows from it
    if bench.setup.protocol.flow == "row":
        row.settle(bench)
    learning.settle(bench)


def _after_a_break(bench: Bench, entry: Entry) -> None:
    """Who measured before a long break, said or not, isn't who measures after it."""
    setup = bench.setup.instruments.get(entry.body.get("instrument", ""))
    named = entry.body.get("place")
    since = entry.stamp.mono_ns - bench.setup.protocol.pause_keeps_people_min * 60 * 10**9
    for name in (named,) if named is not None else setup.places if setup is not None else bench.setup.places:
        here = bench.place(name)
        if here.last_ns is None or here.last_ns > since or here.paused:
            continue
        if here.measurer or here.recorder or here.stager:
            bench.decide("placed", None, place=name, set={"measurer": None, "recorder": None, "stager": None})
            bench.tell(None, place=name, code="who")


def refused(bench: Bench, entry: Entry) -> None:
    """Something else was tried, though in vain: a destructive act said once before has to be said twice anew."""
    if entry.kind not in ("act", "scan", "key"):
        return
    if entry.kind == "key" and (pressed := _pressed_before(bench, entry)) is not None:
        # It was no press of its own; but as long as a key is held down, it goes on being pressed.
        bench.decide("key", None, place=pressed[1], at_ns=entry.body["at_ns"])
        return
    setup = bench.setup.instruments.get(entry.body.get("instrument", ""))
    named = entry.body.get("place")
    for place in (named,) if named is not None else setup.places if setup is not None else bench.setup.places:
        if bench.place(place).armed is not None:
            bench.decide("lapsed", None, place=place)


# ---- readings ------------------------------------------------------------------------------------------------------


def _reading(bench: Bench, entry: Entry) -> None:
    reading = bench.need(Reading, entry.seq)
    setup = bench.setup.instruments.get(reading.instrument)
    if setup is None or setup.kind not in ("length", "mass"):
        _loose(bench, reading, None, "not-wanted")
        return
    known = bench.instrument(setup.name)
    place = _place_of(bench, setup, known, reading)
    fault = _fault(reading)
    if fault is not None:
        _unusable(bench, setup, reading, place, fault)
    elif entry.body.get("load") == "tare":
        bench.decide("outcome", None, reading=reading.seq, event="is the tare", why="tare", place=place)
        bench.decide("load", None, instrument=setup.name, tared=list(setup.places), tray=_tray(reading))
    elif _bounced(bench, setup, reading):
        bench.decide("outcome", None, reading=reading.seq, event="same again", why="bounce", place=place)
    elif verifying.taken(bench, setup, reading):
        pass
    elif place is None:
        _loose(bench, reading, None, "which-place")
    elif bench.place(place).batch is None and bench.setup.protocol.flow != "revisit":
        _loose(bench, reading, place, "no-batch")
    elif bench.place(place).paused:
        _loose(bench, reading, place, "paused")
    else:
        if setup.kind == "length" and setup.emptied == "each":
            water.watch(bench, reading, place)
        if not known.load_readings[:-1] and pieces.pooled(bench, setup, reading, place):
            pass
        elif bench.setup.protocol.flow == "tally":
            tally.offer(bench, setup, reading, place)
        elif setup.emptied == "stream":
            _from_stream(bench, setup, known, reading, place)
        elif (before := row.retouch(bench, place)) is not None and not _begun(
            bench, place, row.take_head(bench, place)
        ):
            _ask_again_or_next(bench, setup, reading, place, before)
        elif (specimen := row.take_head(bench, place)) is not None or (specimen := bench.in_hand(place)) is not None:
            _offer(bench, setup, reading, place, specimen)
        elif bench.setup.protocol.opens_by_reading:
            _open_by(bench, setup, reading, place)
        else:
            _loose(bench, reading, place, "no-fish")


def _tray(reading: Reading) -> str | None:
    """The mass of what was tared, where the reading says it."""
    return reading.base_value if Decimal(reading.base_value or "0") > 0 else None


def _place_of(bench: Bench, setup: InstrumentSetup, known: Instrument, reading: Reading) -> str | None:
    """The place a reading belongs to: the only one, or the only one whose fish wants it."""
    if len(setup.places) == 1:
        return setup.places[0]
    if reading.base_value is None:
        return None
    value = Decimal(reading.base_value)
    wanting = []
    for place in setup.places:
        here = bench.place(place)
        ident = known.load_specimens.get(place) if known.load_seq is not None else here.in_hand
        specimen = bench.get(Specimen, ident) if ident else None
        if specimen is None:
            continue
        mine = here.in_hand == specimen.specimen_id
        named = mine and (routed(bench, setup, here.reopened) or routed(bench, setup, here.route_as))
        if named or candidates(bench, specimen, setup, value):
            wanting.append(place)
    return wanting[0] if len(wanting) == 1 else None


def _loose(bench: Bench, reading: Reading, place: str | None, why: str, owner: Specimen | None = None) -> None:
    """A reading that belongs to no specimen; where that is a surprise it goes onto the quiet list."""
    if why == "no-fish" and place is not None and bench.setup.protocol.flow == "revisit":
        # In a pass the one put away last may have been meant: it was scanned twice, or was another's label.
        previous = bench.place(place).previous
        owner = bench.get(Specimen, previous) if previous is not None else None
    ident = owner.specimen_id if owner else None
    bench.decide("outcome", ident, reading=reading.seq, event="belongs to none", why=why, place=place)
    # `reason` is the code of `why`, whose words another language has too.
    number = owner.number if owner else "the fish before"
    args = {"reason": why, "number": number, "why": say(WHY, why, {"number": number})}
    if why in ("paused", "no-batch"):
        value = f"{reading.value or reading.raw} {reading.unit or ''}".rstrip()
        bench.tell(None, place=place, code="loose", value=value, reading=reading.seq, **args)
        return
    if why == "no-fish" and place is not None and row.by_order_alone(bench, place):
        row.out_of_step(bench, place, None)
    finding = Finding("loose", 3, {**said_value(reading), **args})
    at = place or next(iter(_places(bench, reading)), None)
    ask(bench, at, owner, finding, about=reading.seq, quiet=True)


def _places(bench: Bench, reading: Reading) -> tuple[str, ...]:
    setup = bench.setup.instruments.get(reading.instrument)
    return setup.places if setup is not None else bench.setup.places


def _fault(reading: Reading) -> str | None:
    """Why a reading is no number to take, or None."""
    if reading.condition in ("overload", "underload"):
        return "beyond"
    if reading.settled == "moving" or reading.condition == "moving":
        return "moving"
    return "error" if reading.condition == "error" or reading.base_value is None else None


def _unusable(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str | None, why: str) -> None:
    """Beyond the instrument is never a number: where a fish waits for one, it is asked."""
    here = bench.place(place) if place is not None else None
    specimen = bench.in_hand(place) if place is not None and here is not None and not here.paused else None
    ident = specimen.specimen_id if specimen else None
    bench.decide("outcome", ident, reading=reading.seq, event="unusable", why=why, place=place)
    if specimen is None:
        return
    if why == "moving":
        ask(bench, place, specimen, Finding("moving", 2, said_value(reading)), about=reading.seq)
        return
    slot = next((s for s in wanted(bench, specimen) if s.measurand.quantity == setup.kind), None)
    args = {**said_value(reading), "condition": reading.condition, "measurand": slot.key if slot else setup.kind}
    if reading.condition == "ok":
        args["condition"] = "no number"
    ask(bench, place, specimen, Finding("beyond-instrument", 2, args), about=reading.seq)


def _bounced(bench: Bench, setup: InstrumentSetup, reading: Reading) -> bool:
    """Two prints within the dead time and one division are one touch. Only where every frame is a new load."""
    if setup.emptied != "each":
        return False
    earlier = bench.before(Instrument, setup.name)
    if earlier is None or earlier.last_seq is None or earlier.last_ns is None:
        return False
    if not 0 <= reading.arrived_ns - earlier.last_ns < DEAD_TIME_NS:
        return False
    before = bench.need(Reading, earlier.last_seq)
    return (
        before.base_value is not None
        and before.outcome != "refused"
        and before.seq > (bench.desk.started_seq or 0)  # monotonic times of another start can't be compared
        and not apart(setup, Decimal(reading.base_value or "0"), Decimal(before.base_value), 1)
    )


def _from_stream(bench: Bench, setup: InstrumentSetup, known: Instrument, reading: Reading, place: str) -> None:
    """A settled load: whose it is was fixed when it arrived."""
    in_hand = bench.in_hand(place)
    if known.load_seq is None:
        _load_unseen(bench, setup, reading, place, in_hand)
        return
    earlier = [bench.need(Reading, seq) for seq in known.load_readings if seq != reading.seq]
    earlier = [r for r in earlier if r.outcome != "refused"]
    given = [m for r in earlier if (m := measured_of(bench, r)) is not None]
    waits = [r for r in earlier if r.outcome == "waiting"]
    if not given and (whole := [r for r in earlier if r.outcome == "taken"]):
        _lies_still(bench, setup, reading, place, whole[-1])  # a piece, or a pool
        return
    # A waiting reading may have been given to a later fish by `next`: then the load is that one's.
    owner_id = given[-1].specimen_id if given else known.load_specimens.get(place)
    owner = bench.get(Specimen, owner_id) if owner_id else None
    if owner is None:
        before = row.retouch(bench, place)
        if before is not None:
            _ask_again_or_next(bench, setup, reading, place, before)
        else:
            _loose(bench, reading, place, "no-fish")
        return
    if not given and not waits:
        if owner.end == "void":
            _loose(bench, reading, place, "void", owner)
        else:
            _offer(bench, setup, reading, place, owner)
        return
    first = Decimal(given[-1].value if given else waits[-1].base_value or "0")
    changed = apart(setup, first, Decimal(reading.base_value or "0"), 2)
    mine = in_hand is not None and owner.specimen_id == in_hand.specimen_id
    if changed and mine:
        _wait(
            bench, reading, place, owner, "changed on the pan", "changed-on-the-pan", number=owner.number,
            old=units.plain(first),
        )  # fmt: skip
        return
    event, why = ("same again", "same-load") if mine else ("load of a fish before", "load-before")
    bench.decide("outcome", owner.specimen_id, reading=reading.seq, event=event, why=why, place=place)
    if changed:
        args = {"number": owner.number, "old": units.plain(first), **said_value(reading)}
        ask(bench, place, owner, Finding("changed-on-the-pan", 3, args), about=reading.seq, quiet=True)


def _lies_still(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str, before: Reading) -> None:
    """What was taken as a piece or as a pool settles once more: it counts once, and a change is noted."""
    bench.decide("outcome", None, reading=reading.seq, event="same again", why="same-load", place=place)
    if apart(setup, Decimal(before.base_value or "0"), Decimal(reading.base_value or "0"), 2):
        fish = bench.in_hand(place)
        args = {"number": fish.number if fish else "-", "old": before.base_value, **said_value(reading)}
        ask(bench, place, fish, Finding("changed-on-the-pan", 3, args), about=reading.seq, quiet=True)


def _load_unseen(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str, in_hand: Specimen | None) -> None:
    """Nobody saw this load arrive: it waits for an act. From here on it is known, so that it isn't asked again."""
    if in_hand is None:
        _loose(bench, reading, place, "no-fish")
        return
    hands = {name: bench.place(name).in_hand for name in setup.places}
    bench.decide("load", None, instrument=setup.name, reading=reading.seq, specimens=hands)
    _wait(bench, reading, place, in_hand, "load unseen", "load-at-start", number=in_hand.number)


def _wait(
    bench: Bench, reading: Reading, place: str, specimen: Specimen, event: str, code: str, **args: object
) -> None:
    """A reading that waits for an act; the one that waited before is left behind."""
    leave_behind(bench, place)
    bench.decide("outcome", specimen.specimen_id, reading=reading.seq, event=event, place=place)
    ask(bench, place, specimen, Finding(code, 2, {**said_value(reading), **args}), about=reading.seq)


def _offer(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str, specimen: Specimen) -> None:
    """Give a reading to the first wanted measurand, or let it wait where all are filled."""
    if pieces.piece(bench, setup, reading, place, specimen):
        return
    here = bench.place(place)
    mine = here.in_hand == specimen.specimen_id
    value = Decimal(reading.base_value or "0")
    reopened = routed(bench, setup, here.reopened) if mine else None
    if reopened is not None and reopened.key in specimen.values:
        give(bench, place, specimen, reopened, reading, supersedes=specimen.values[reopened.key])
        return
    named = routed(bench, setup, here.route_as) if mine else None
    could = candidates(bench, specimen, setup, value)
    slot = named or (could[0] if could else None)
    if slot is None:
        last = last_of(bench, specimen, setup)
        if last is None:
            _loose(bench, reading, place, "out-of-range", specimen)
        elif not mine:
            _loose(bench, reading, place, "fish-before", specimen)
        elif bench.setup.protocol.opens_by_reading and not specimen.provisional and not _aside(bench, place):
            close_fish(bench, place, specimen)
            _open_by(bench, setup, reading, place)
        else:
            _ask_again_or_new(bench, reading, place, specimen, *last)
    elif slot.key in specimen.values:  # only by `as`
        old = bench.need(Measurement, specimen.values[slot.key])
        _ask_again_or_new(bench, reading, place, specimen, slot.key, old.raw_value)
    elif setup.emptied == "none" and mine and _same_as_last(bench, setup, reading):
        _wait(bench, reading, place, specimen, "finds filled", "same-value", measurand=slot.key)
    elif (
        mine
        and named is None
        and (found := misfit(bench.setup.protocol, specimen, slot, value, standing(bench, specimen)))
    ):
        ratio, other = found
        _wait(
            bench, reading, place, specimen, "fits badly", "ratio", number=specimen.number, measurand=slot.key,
            other=other.key, other_value=other.raw_value, low=units.plain(ratio.range[0]), high=units.plain(ratio.range[1]),
        )  # fmt: skip
    else:
        give(bench, place, specimen, slot, reading, one_of=max(1, len(could)))
        _confirm_provisional(bench, specimen)


def _ask_again_or_new(bench: Bench, reading: Reading, place: str, specimen: Specimen, key: str, old: str) -> None:
    _wait(
        bench, reading, place, specimen, "finds filled", "again-or-new", number=specimen.number, measurand=key, old=old
    )


def _begun(bench: Bench, place: str, specimen: Specimen | None) -> bool:
    """Whether the fish in hand was given or told anything since it opened: then the one before is done with here."""
    if specimen is None:
        return False
    here = bench.place(place)
    said = here.waiting is None and here.last_input is not None and here.last_input > specimen.opened_seq
    return bool(specimen.given) or said


def _ask_again_or_next(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str, before: Specimen) -> None:
    """In a row: the fish before waits in plain sight of the next place; this may be it again, or the next one."""
    last = last_of(bench, before, setup)
    if last is None:
        specimen = bench.in_hand(place)
        if specimen is None:
            _loose(bench, reading, place, "no-fish")
        else:
            _offer(bench, setup, reading, place, specimen)
        return
    _wait(
        bench,
        reading,
        place,
        before,
        "finds filled",
        "again-or-next",
        number=before.number,
        measurand=last[0],
        old=last[1],
    )


def _aside(bench: Bench, place: str) -> bool:
    return bool(bench.place(place).aside)


def _confirm_provisional(bench: Bench, specimen: Specimen) -> None:
    """A second measurand says that the fish a reading opened is one."""
    now = bench.need(Specimen, specimen.specimen_id)
    if now.provisional and len(now.values) > 1:
        bench.decide("confirmed", now.specimen_id, number=now.number)


def _open_by(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str) -> None:
    """Where the protocol has it so, a reading opens a fish, provisionally."""
    new = bench.in_hand(place) or open_fish(bench, place, by="reading", provisional=True)
    slot = next(iter(candidates(bench, new, setup, Decimal(reading.base_value or "0"))), None)
    if slot is None:
        _loose(bench, reading, place, "out-of-range", new)
    else:
        give(bench, place, new, slot, reading)


def _same_as_last(bench: Bench, setup: InstrumentSetup, reading: Reading) -> bool:
    """An instrument that can't show that it was cleared says what it said before."""
    earlier = bench.before(Instrument, setup.name)
    last = bench.need(Reading, earlier.last_seq) if earlier is not None and earlier.last_seq else None
    return last is not None and last.value == reading.value and last.outcome in ("taken", "waiting", "superseded")


# ---- zero ----------------------------------------------------------------------------------------------------------


def _arrival(bench: Bench, entry: Entry) -> None:
    """The rest that a load left: drifted since the last good zero? In a row the load takes the queue's head."""
    known = bench.instrument(entry.body["instrument"])
    setup = bench.setup.instruments.get(known.instrument)
    no_fish = setup is not None and verifying.awaited(bench, setup, entry.stamp.mono_ns) is not None
    took = {
        name: fish.specimen_id
        for name in (() if no_fish else entry.body["places"])
        if bench.place(name).in_hand is None
        and not bench.place(name).paused
        and (fish := row.take_head(bench, name)) is not None
    }
    if took:
        bench.decide("load", None, instrument=known.instrument, specimens={**known.load_specimens, **took})
    _zero(bench, entry, entry.body.get("baseline"))


def _emptied(bench: Bench, entry: Entry) -> None:
    """The rest a scale went back to: moved while the load lay there?"""
    _zero(bench, entry, entry.body.get("resting"))


def _zero(bench: Bench, entry: Entry, resting: str | None) -> None:
    """Where the zero moved, what was weighed since the last good one is suspect."""
    setup = bench.setup.instruments.get(entry.body["instrument"])
    if setup is None or resting is None:
        return
    known = bench.instrument(setup.name)
    if known.zero is not None and apart(setup, Decimal(known.zero), Decimal(resting), 2):
        weighed = [bench.need(Measurement, seq) for seq in known.since_zero]
        for m in weighed:
            if m.status in ("stands", "questioned"):
                bench.need(Specimen, m.specimen_id)
                bench.decide("suspect", m.specimen_id, measurement=m.seq, cause="zero-moved")
        place = weighed[-1].place if weighed else setup.places[0]
        by = Decimal(resting) - Decimal(known.zero)
        args = {"instrument": setup.name, "by": f"{by:+f}"}
        other = pieces.pan_changed(bench, place, by, setup.division or Decimal(0))
        if other is None:
            ask(bench, place, None, Finding("zero-moved", 3, args), about=entry.seq)
        else:
            ask(bench, place, None, Finding("pan-changed", 3, {**args, "pan": bench.place(place).pan}), about=entry.seq)
    if known.zero != resting or known.since_zero:
        bench.decide("zeroed", None, instrument=setup.name, zero=resting)


# ---- scans and keys ------------------------------------------------------------------------------------------------


def _scan(bench: Bench, entry: Entry) -> None:
    body = entry.body
    setup = bench.setup.instruments.get(body["instrument"])
    places = setup.places if setup is not None else bench.setup.places
    text = str(body["text"])
    if labels.is_card(text):
        try:
            said = labels.read_card(text)
        except labels.LabelError as error:
            raise Refusal("card-check" if error.code == "check" else "card-form", text=shown(text)) from None
        deeds.do(
            bench, {"act": said[0], "args": said[1:], "place": body.get("place"), "places": list(places), "via": "card"}
        )
        return
    tags = bench.setup.protocol.tags
    if tags is not None and tags.template.fits(text):
        place = place_for(bench, {"act": text, "place": body.get("place"), "places": list(places)})
        row.tagged(bench, place, text)
        return
    containers = bench.setup.protocol.containers
    if containers is None:
        raise Refusal("not-known", text=shown(text))
    try:
        label = containers.template.read(text)
    except labels.LabelError as error:
        raise Refusal("label-check" if error.code == "check" else "not-known", text=shown(text)) from None
    place = place_for(bench, {"act": label, "place": body.get("place"), "places": list(places)})
    take_label(bench, place, label, via="scan")


def take_label(bench: Bench, place: str, label: str, *, via: str) -> None:
    """A container's label: opens, closes, or recalls, as its role was declared. A scan wins over an assumption."""
    containers = bench.setup.protocol.containers
    assert containers is not None
    known = bench.container(label)
    here = bench.place(place)
    fish = row.take_head(bench, place)
    if bench.setup.protocol.flow == "revisit":
        _revisit(bench, place, fish, known, label)
        return
    if known is not None and known.state == "skipped":
        raise Refusal("label-skipped", label=label)
    if known is not None and known.state == "torn":
        raise Refusal("label-torn", label=label)
    if known is not None and known.specimen_id is not None:
        owner = bench.need(Specimen, known.specimen_id)
        if fish is not None and owner.specimen_id == fish.specimen_id:
            if containers.role != "last":
                raise Refusal("has-container", number=fish.number, label=label)
            _close_by_label(bench, place, fish)
            return
        if fish is not None and fish.given:
            raise Refusal("label-used", label=label, number=owner.number)
        recall(bench, place, owner)
        return
    template = containers.template
    for edge, beyond in ((containers.first, -1), (containers.last, 1)):
        if edge is not None and (template.count(label) - template.count(edge)) * beyond > 0:
            first, last = containers.first or "…", containers.last or "…"
            raise Refusal("label-out-of-series", label=label, first=first, last=last)
    if here.batch is None:
        raise Refusal("no-batch")
    if here.paused:
        raise Refusal("paused")
    if containers.role == "first" and (fish is None or fish.given):
        if fish is not None:
            close_fish(bench, place, fish)
        fish = bench.in_hand(place) or open_fish(bench, place, by="label")
    if fish is None and not row.is_first(bench, place):
        raise Refusal("nothing-in-hand", act=label, place=place)
    if fish is None:
        fish = open_fish(bench, place, by="label")
    if fish.containers:
        raise Refusal("has-container", number=fish.number, label=fish.containers[0])
    out_of_order = _order(bench, label)
    bench.decide(
        "container", fish.specimen_id, place=place, number=label, kind=containers.kind, structure=containers.structure,
        dried=containers.dried, state=container_after(bench, label, label, "taken"), expected=_expected_after(bench, label),
        passed=_passed(bench, label),
        via=via, fish=fish.number,
    )  # fmt: skip
    found_home(bench, label)
    if containers.role == "last":
        _close_by_label(bench, place, bench.need(Specimen, fish.specimen_id))
    if out_of_order is not None:  # said once the fish is closed: its own questions are put away by then
        ask(bench, place, bench.need(Specimen, fish.specimen_id), out_of_order, about=fish.opened_seq)


def _revisit(bench: Bench, place: str, fish: Specimen | None, known: Container | None, label: str) -> None:
    """A pass over fish that are there: the scan of a container brings its fish in hand, the next one puts it away."""
    owner = bench.need(Specimen, known.specimen_id) if known is not None and known.specimen_id is not None else None
    if owner is None:
        raise Refusal("label-orphan", label=label)
    if fish is not None:
        close_fish(bench, place, fish)
        if fish.specimen_id == owner.specimen_id:
            return
    recall(bench, place, bench.need(Specimen, owner.specimen_id))


def _close_by_label(bench: Bench, place: str, fish: Specimen) -> None:
    close_fish(bench, place, fish)
    if bench.place(place).in_hand is None:
        open_next(bench, place, by="container")


def expected_label(bench: Bench) -> str | None:
    """The label that should come next, past those that are used; None where no series is declared or it has ended."""
    containers = bench.setup.protocol.containers
    if containers is None or containers.first is None:
        return None
    template = containers.template
    label: str | None = containers.first
    if (kept := bench.desk.expected) is not None:
        try:
            template.read(kept)
            if template.count(kept) >= template.count(containers.first):
                label = kept
        except labels.LabelError:
            pass  # of another protocol's series
    while label is not None and (known := bench.container(label)) is not None:
        if known.free and known.state == "empty":
            break  # seen, and still to be had
        label = template.moved(label, 1)
    if label is not None and containers.last is not None and template.count(label) > template.count(containers.last):
        return None
    return label


def _order(bench: Bench, label: str) -> Finding | None:
    """Neighbouring envelopes get read, and two stick together: a label out of sequence is said aloud."""
    containers = bench.setup.protocol.containers
    expected = expected_label(bench)
    if containers is None or expected is None or label == expected:
        return None
    template = containers.template
    ahead = template.count(label) - template.count(expected)
    before = template.moved(expected, -1) or expected
    if ahead > 0:
        between = expected if ahead == 1 else f"{expected} to {template.moved(label, -1)}"
        return Finding("label-order", 3, {"label": label, "before": before, "between": between})
    return Finding("label-behind", 3, {"label": label, "before": before})


#: Labels passed over by more aren't kept as still to turn up: another stack was begun.
_MOST_PASSED = 20


def _passed(bench: Bench, label: str) -> list[str]:
    """The labels of the series that are passed over by taking this one: unseen so far, they have to turn up."""
    containers = bench.setup.protocol.containers
    assert containers is not None
    template, expected = containers.template, expected_label(bench)
    if expected is None or not 0 < template.count(label) - template.count(expected) <= _MOST_PASSED:
        return []
    steps = range(template.count(label) - template.count(expected))
    between = [passed for by in steps if (passed := template.moved(expected, by)) is not None]
    return [passed for passed in between if bench.container(passed) is None]


def _expected_after(bench: Bench, label: str) -> str | None:
    """What is expected once a label is taken: the one after it, or what it was when the label came from behind."""
    containers = bench.setup.protocol.containers
    assert containers is not None
    template, kept = containers.template, expected_label(bench)
    if kept is not None and template.count(label) < template.count(kept):
        return kept
    return template.moved(label, 1) or label


def _key(bench: Bench, entry: Entry) -> None:
    """A pedal or key: one meaning. Pressed within the dead time after any press, it does nothing.

    Contacts bounce, and keys that are held down repeat: what follows a press within 250 ms is that press, and silent.
    """
    body = entry.body
    setup = bench.setup.instruments.get(body["instrument"])
    said = setup.keys.get(body["text"]) if setup is not None else None
    if setup is None or said is None:
        raise Refusal("unknown-key", instrument=shown(body["instrument"]), text=shown(body["text"]))
    act, *args = said.split()
    named = body.get("place")
    if act == "at" and len(args) > 1:
        named, act, *args = args
    if (pressed := _pressed_before(bench, entry)) is not None:
        since_ns, where = pressed
        if since_ns >= DEAD_TIME_NS:
            raise Refusal("dead-time", instrument=setup.name, ms=bench.setup.protocol.pedal_dead_time_ms)
        bench.decide("key", None, place=where, at_ns=body["at_ns"])
        return
    place = place_for(bench, {"act": act, "place": named, "places": list(setup.places)})
    bench.decide("key", None, place=place, at_ns=body["at_ns"])
    deeds.do(bench, {"act": act, "args": args, "place": place, "via": "key"})


def _pressed_before(bench: Bench, entry: Entry) -> tuple[int, str] | None:
    """How long before, in ns, and at which of its places a key was pressed last, where that lies within the dead time.

    A key that names its place is that place's alone.
    """
    setup = bench.setup.instruments.get(entry.body["instrument"])
    words_ = (setup.keys.get(entry.body["text"]) or "").split() if setup is not None else []
    places = (words_[1],) if words_[:1] == ["at"] and len(words_) > 2 else setup.places if setup is not None else ()
    dead_ns = bench.setup.protocol.pedal_dead_time_ms * 1_000_000
    since = [
        (entry.body["at_ns"] - last, name) for name in places if (last := bench.place(name).last_key_ns) is not None
    ]
    return min((s for s in since if 0 <= s[0] < dead_ns), default=None)


# ---- start and wake ------------------------------------------------------------------------------------------------


def _resume(bench: Bench) -> None:
    """A restart resumes the state, not the assumption: each place says what it holds and asks whether it is so."""
    for name in bench.setup.places:
        fish = bench.in_hand(name)
        if fish is None or not fish.given:
            continue
        asked = [q for q in bench.open_questions(name) if q.kind == "same-fish"]
        answer(bench, asked)  # one start's question is enough
        args = {
            "number": fish.number, "taken": summary(bench, fish),
            "wanted": ", ".join(s.key for s in wanted(bench, fish)) or "nothing",
        }  # fmt: skip
        ask(bench, name, fish, Finding("same-fish", 2, args), about=fish.opened_seq)


def _wake(bench: Bench, entry: Entry) -> None:
    """What was said once lapses."""
    for place in sorted(bench.all(Place), key=lambda p: p.place):
        if place.armed_until_ns is not None and entry.stamp.mono_ns >= place.armed_until_ns:
            bench.decide("lapsed", None, place=place.place)
