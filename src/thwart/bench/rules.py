"""The rules: what each kind of input leads to. Readings, scans, keys, wakes, start; acts are in `deeds`. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from .. import units
from ..entries import Entry
from . import deeds, labels
from .filling import ask, filled_by, give, route, said_value, wanted
from .fish import close_fish, leave_behind, open_fish, other_division, recall, summary
from .judging import Finding
from .kernel import Refusal
from .setup import DEAD_TIME_NS, InstrumentSetup
from .state import Container, Instrument, Measurement, Place, Reading, Specimen
from .words import WHY

if TYPE_CHECKING:
    from .kernel import Bench


def decide(bench: Bench, entry: Entry) -> None:
    """Lead an input to its decisions. Raises Refusal where it changes nothing."""
    match entry.kind:
        case "reading":
            _reading(bench, entry)
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


# ---- readings ------------------------------------------------------------------------------------------------------


def _reading(bench: Bench, entry: Entry) -> None:
    reading = bench.need(Reading, entry.seq)
    setup = bench.setup.instruments.get(reading.instrument)
    known = bench.need(Instrument, reading.instrument) if setup else None
    if setup is None or known is None:
        _loose(bench, reading, None, "not-wanted")
        return
    place = _place_of(bench, setup, known, reading)
    if place is None:
        _loose(bench, reading, None, "which-place")
        return
    here = bench.place(place)
    if reading.condition in ("overload", "underload", "error"):
        _unusable(bench, reading, place)
    elif reading.settled == "moving" or reading.condition == "moving":
        bench.decide("outcome", here.in_hand, reading=reading.seq, event="unusable", why="moving", place=place)
        ask(bench, place, bench.in_hand(place), Finding("moving", 2, said_value(reading)), about=reading.seq)
    elif reading.base_value is None:
        bench.decide("outcome", here.in_hand, reading=reading.seq, event="unusable", why="error", place=place)
    elif entry.body.get("load") == "tare":
        bench.decide("outcome", None, reading=reading.seq, event="is the tare", why="tare", place=place)
        bench.decide("load", None, instrument=setup.name)
    elif _bounced(bench, setup, reading):
        bench.decide("outcome", here.in_hand, reading=reading.seq, event="same again", why="bounce", place=place)
    elif here.batch is None:
        _loose(bench, reading, place, "no-batch")
    elif here.paused:
        _loose(bench, reading, place, "paused")
    elif setup.emptied == "stream":
        _from_stream(bench, setup, known, reading, place)
    else:
        specimen = bench.in_hand(place)
        if specimen is None:
            _loose(bench, reading, place, "no-fish")
        else:
            _offer(bench, setup, reading, place, specimen)


def _place_of(bench: Bench, setup: InstrumentSetup, known: Instrument, reading: Reading) -> str | None:
    """The place a reading belongs to: the only one, or the only one whose fish wants it."""
    if len(setup.places) == 1:
        return setup.places[0]
    if reading.base_value is None:
        return None
    value = Decimal(reading.base_value)
    wanting = []
    for place in setup.places:
        ident = known.load_specimens.get(place) if known.load_seq is not None else bench.place(place).in_hand
        specimen = bench.get(Specimen, ident) if ident else None
        if specimen is not None and route(bench, specimen, setup, value, bench.place(place).route_as) is not None:
            wanting.append(place)
    return wanting[0] if len(wanting) == 1 else None


def _loose(bench: Bench, reading: Reading, place: str | None, why: str) -> None:
    bench.decide("outcome", None, reading=reading.seq, event="belongs to none", why=why, place=place)
    bench.decide(
        "told", None, place=place, code="loose", reading=reading.seq,
        text=f"loose: {reading.value or reading.raw} {reading.unit or ''}".rstrip() + f" ({WHY[why]})",
    )  # fmt: skip


def _unusable(bench: Bench, reading: Reading, place: str) -> None:
    """Beyond the instrument is never a number: it is asked."""
    why = "error" if reading.condition == "error" else "beyond"
    specimen = bench.in_hand(place)
    bench.decide(
        "outcome",
        specimen.specimen_id if specimen else None,
        reading=reading.seq,
        event="unusable",
        why=why,
        place=place,
    )
    if specimen is not None:
        setup = bench.setup.instruments[reading.instrument]
        slot = next((s for s in wanted(bench, specimen) if s.measurand.quantity == setup.kind), None)
        args = {**said_value(reading), "condition": reading.condition, "measurand": slot.key if slot else setup.kind}
        ask(bench, place, specimen, Finding("beyond-instrument", 2, args), about=reading.seq)


def _bounced(bench: Bench, setup: InstrumentSetup, reading: Reading) -> bool:
    """Two prints within the dead time and one division are one touch. Only where every frame is a new load."""
    if setup.emptied != "each" or reading.base_value is None:
        return False
    earlier = bench.before(Instrument, setup.name)
    before = bench.get(Reading, earlier.last_seq) if earlier is not None and earlier.last_seq else None
    return (
        before is not None
        and before.base_value is not None
        and before.outcome != "refused"
        and before.seq > (bench.desk.started_seq or 0)  # monotonic times of another start can't be compared
        and 0 <= reading.arrived_ns - before.arrived_ns < DEAD_TIME_NS
        and not other_division(bench, setup, Decimal(reading.base_value), Decimal(before.base_value), 1)
    )


def _from_stream(bench: Bench, setup: InstrumentSetup, known: Instrument, reading: Reading, place: str) -> None:
    """A settled load: whose it is was fixed when it arrived."""
    in_hand = bench.in_hand(place)
    if known.load_seq is None:
        if in_hand is None:
            _loose(bench, reading, place, "no-fish")
            return
        _wait(bench, reading, place, in_hand, "load unseen", "load-at-start", number=in_hand.number)
        return
    owner_id = known.load_specimens.get(place)
    owner = bench.get(Specimen, owner_id) if owner_id else None
    if owner is None:
        _loose(bench, reading, place, "no-fish")
        return
    given = [
        m for seq in known.load_readings if seq != reading.seq
        for m in bench.all(Measurement) if m.reading_seq == seq and m.specimen_id == owner.specimen_id
    ]  # fmt: skip
    waits = [
        r
        for seq in known.load_readings
        if seq != reading.seq and (r := bench.get(Reading, seq)) and r.outcome == "waiting"
    ]
    if not given and not waits:
        if owner.end == "void":
            _loose(bench, reading, place, "void")
        else:
            _offer(bench, setup, reading, place, owner)
        return
    first = Decimal(given[-1].value if given else waits[-1].base_value or "0")
    changed = other_division(bench, setup, first, Decimal(reading.base_value or "0"), 2)
    if changed and in_hand is not None and owner.specimen_id == in_hand.specimen_id:
        _wait(
            bench, reading, place, owner, "changed on the pan", "changed-on-the-pan", number=owner.number,
            old=units.plain(first),
        )  # fmt: skip
    elif changed:
        bench.decide(
            "outcome", owner.specimen_id, reading=reading.seq, event="belongs to none", why="load-before", place=place
        )
        args = {"number": owner.number, "old": units.plain(first), **said_value(reading)}
        ask(bench, place, owner, Finding("changed-on-the-pan", 3, args), about=reading.seq, quiet=True)
    else:
        same = in_hand is not None and owner.specimen_id == in_hand.specimen_id
        event, why = ("same again", "same-load") if same else ("load of a fish before", "load-before")
        bench.decide("outcome", owner.specimen_id, reading=reading.seq, event=event, why=why, place=place)
        if not same:
            text = f"stale: {reading.value} {reading.unit} is still the load of {owner.number}"
            bench.decide("told", None, place=place, code="stale", reading=reading.seq, text=text)


def _wait(
    bench: Bench, reading: Reading, place: str, specimen: Specimen, event: str, code: str, **args: object
) -> None:
    """A reading that waits for an act; the one that waited before is left behind."""
    leave_behind(bench, place)
    bench.decide("outcome", specimen.specimen_id, reading=reading.seq, event=event, place=place)
    ask(bench, place, specimen, Finding(code, 2, {**said_value(reading), **args}), about=reading.seq)
    bench.label(f"{reading.value} {reading.unit} from {reading.instrument}")


def _offer(bench: Bench, setup: InstrumentSetup, reading: Reading, place: str, specimen: Specimen) -> None:
    """Give a reading to the first wanted measurand, or let it wait where all are filled."""
    here = bench.place(place)
    mine = here.in_hand == specimen.specimen_id
    value = Decimal(reading.base_value or "0")
    if mine and here.reopened and (slot := bench.setup.protocol.slot_by_key.get(here.reopened)):
        old = specimen.values.get(slot.key)
        if slot.measurand.quantity == setup.kind and old is not None:
            give(bench, place, specimen, slot, reading, supersedes=old)
            return
    slot = route(bench, specimen, setup, value, here.route_as if mine else None)
    if slot is None:
        last = filled_by(bench, specimen, setup)
        if last is None or not mine:
            _loose(bench, reading, place, "out-of-range" if last is None else "load-before")
            return
        args = {"number": specimen.number, "measurand": last.key, "old": last.raw_value}
        _wait(bench, reading, place, specimen, "finds filled", "again-or-new", **args)
        return
    old = specimen.values.get(slot.key)
    if old is not None:  # only by `as`
        _wait(
            bench, reading, place, specimen, "finds filled", "again-or-new", number=specimen.number, measurand=slot.key,
            old=bench.need(Measurement, old).raw_value,
        )  # fmt: skip
        return
    if setup.emptied == "none" and _same_as_last(bench, setup, reading):
        _wait(bench, reading, place, specimen, "finds filled", "same-value")
        return
    give(bench, place, specimen, slot, reading)


def _same_as_last(bench: Bench, setup: InstrumentSetup, reading: Reading) -> bool:
    """An instrument that can't show that it was cleared says what it said before."""
    earlier = bench.before(Instrument, setup.name)
    last = bench.get(Reading, earlier.last_seq) if earlier is not None and earlier.last_seq else None
    return last is not None and last.value == reading.value and last.outcome in ("taken", "waiting")


def _emptied(bench: Bench, entry: Entry) -> None:
    """Zero moved while a load lay there: what was weighed since the last good zero is suspect."""
    setup = bench.setup.instruments.get(entry.body["instrument"])
    known = bench.get(Instrument, entry.body["instrument"])
    resting = entry.body.get("resting")
    if setup is None or known is None or resting is None:
        return
    before, after = known.zero, Decimal(resting)
    if before is not None and other_division(bench, setup, Decimal(before), after, 2):
        by = after - Decimal(before)
        for seq in known.since_zero:
            bench.decide("suspect", None, measurement=seq, cause="zero-moved")
        place = setup.places[0] if len(setup.places) == 1 else None
        args = {"instrument": setup.name, "by": f"{by:+}"}
        ask(bench, place, None, Finding("zero-moved", 3, args), about=entry.seq)
    bench.decide("zeroed", None, instrument=setup.name, zero=resting)


# ---- scans and keys ------------------------------------------------------------------------------------------------


def _scan(bench: Bench, entry: Entry) -> None:
    body = entry.body
    setup = bench.setup.instruments.get(body["instrument"])
    places = setup.places if setup is not None else bench.setup.places
    text = body["text"]
    if labels.is_card(text):
        try:
            said = labels.read_card(text)
        except labels.LabelError as error:
            raise Refusal("card-check" if error.code == "check" else "card-form", text=text) from None
        deeds.do(
            bench, {"act": said[0], "args": said[1:], "place": body.get("place"), "places": list(places), "via": "card"}
        )
        return
    containers = bench.setup.protocol.containers
    if containers is None:
        raise Refusal("not-known", text=text)
    try:
        label = containers.template.read(text)
    except labels.LabelError as error:
        raise Refusal("label-check" if error.code == "check" else "not-known", text=text) from None
    place = body.get("place") or _place_for_label(bench, places)
    if place is None:
        raise Refusal("which-place", act=text, places=", ".join(places))
    take_label(bench, place, label, via="scan")


def _place_for_label(bench: Bench, places: tuple[str, ...]) -> str | None:
    if len(places) == 1:
        return places[0]
    holding = [p for p in places if bench.place(p).in_hand is not None]
    return holding[0] if len(holding) == 1 else None


def take_label(bench: Bench, place: str, label: str, *, via: str) -> None:
    """A container's label: opens, closes, or recalls, as its role was declared. A scan wins over an assumption."""
    containers = bench.setup.protocol.containers
    assert containers is not None
    known = bench.get(Container, label)
    here = bench.place(place)
    fish = bench.in_hand(place)
    if known is not None and known.state == "skipped":
        raise Refusal("label-skipped", label=label)
    if known is not None and known.specimen_id is not None:
        owner = bench.need(Specimen, known.specimen_id)
        if fish is not None and (fish.given or owner.specimen_id == fish.specimen_id):
            raise Refusal("label-used", label=label, number=owner.number)
        recall(bench, place, owner)
        return
    template = containers.template
    for edge, beyond in ((containers.first, -1), (containers.last, 1)):
        if edge is not None and (template.count(label) - template.count(edge)) * beyond > 0:
            raise Refusal("label-out-of-series", label=label, first=containers.first, last=containers.last or "…")
    if here.paused:
        raise Refusal("paused")
    if containers.role == "first" and (fish is None or fish.given or fish.containers):
        if fish is not None:
            close_fish(bench, place, fish)
        fish = open_fish(bench, place, by="label")
    if fish is None:
        fish = open_fish(bench, place, by="label") if here.batch else None
    if fish is None:
        raise Refusal("no-batch")
    if fish.containers:
        raise Refusal("has-container", number=fish.number, label=fish.containers[0])
    expected = bench.desk.expected or containers.first
    _say_order(bench, place, fish, label, expected)
    bench.decide(
        "container", fish.specimen_id, place=place, number=label, kind=containers.kind, structure=containers.structure,
        state="filled", expected=template.moved(label, 1), via=via, fish=fish.number,
    )  # fmt: skip
    bench.label(f"container {label} of {fish.number}")
    if containers.role == "last":
        fish = bench.need(Specimen, fish.specimen_id)
        close_fish(bench, place, fish)
        if bench.place(place).in_hand is None:
            open_fish(bench, place, by="container")


def _say_order(bench: Bench, place: str, fish: Specimen, label: str, expected: str | None) -> None:
    """Neighbouring envelopes get read, and two stick together: a label out of sequence is said aloud."""
    containers = bench.setup.protocol.containers
    assert containers is not None
    if expected is None or label == expected:
        return
    template = containers.template
    ahead = template.count(label) - template.count(expected)
    before = template.moved(expected, -1) or expected
    if ahead > 0:
        between = expected if ahead == 1 else f"{expected} to {template.moved(label, -1)}"
        finding = Finding("label-order", 3, {"label": label, "before": before, "between": between})
    else:
        finding = Finding("label-behind", 3, {"label": label, "before": before})
    ask(bench, place, fish, finding, about=fish.opened_seq)


def _key(bench: Bench, entry: Entry) -> None:
    """A pedal or key: one meaning, with a dead time."""
    body = entry.body
    setup = bench.setup.instruments.get(body["instrument"])
    said = setup.keys.get(body["text"]) if setup is not None else None
    if setup is None or said is None:
        raise Refusal("unknown-key", instrument=body["instrument"], text=body["text"])
    dead = bench.setup.protocol.pedal_dead_time_ms
    for name in setup.places:
        last = bench.place(name).last_key_ns
        if last is not None and 0 <= body["at_ns"] - last < dead * 1_000_000:
            raise Refusal("dead-time", instrument=setup.name, ms=dead)
    act, *args = said.split()
    place = deeds.place_for(bench, {"act": act, "place": body.get("place"), "places": list(setup.places)})
    bench.decide("key", None, place=place, at_ns=body["at_ns"])
    deeds.do(bench, {"act": act, "args": args, "place": place, "via": "key"})


# ---- start and wake ------------------------------------------------------------------------------------------------


def _resume(bench: Bench) -> None:
    """A restart resumes the state, not the assumption: each place says what it holds and asks whether it is so."""
    for name in bench.setup.places:
        fish = bench.in_hand(name)
        if fish is not None and fish.given:
            args = {
                "number": fish.number, "taken": summary(bench, fish),
                "wanted": ", ".join(s.key for s in wanted(bench, fish)) or "nothing",
            }  # fmt: skip
            ask(bench, name, fish, Finding("same-fish", 2, args), about=fish.opened_seq)


def _wake(bench: Bench, entry: Entry) -> None:
    for place in sorted(bench.all(Place), key=lambda p: p.place):
        if place.armed_until_ns is not None and entry.stamp.mono_ns >= place.armed_until_ns:
            bench.decide("placed", None, place=place.place, set={"armed": None, "armed_until_ns": None})
