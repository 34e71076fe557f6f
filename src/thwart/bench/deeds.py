"""What each act does. Every act of the table in `acts` has its function here, and only those. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from ..languages import ENGLISH
from . import digits, mending, mends, pieces, printing, row, tally, words
from .acts import ACTS, HAND, MISSING_REASONS
from .filling import (
    about,
    answer,
    ask,
    candidates,
    fill,
    give,
    last_of,
    observed,
    said_value,
    settle_about,
    settle_ready,
    standing,
)
from .fish import (
    close_fish,
    keep_for_later,
    leave_behind,
    measured_of,
    note_left,
    open_fish,
    open_next,
    opens_by_itself,
    read_out,
    recall,
)
from .judging import Finding
from .kernel import Refusal
from .parts import NUMBER, fish_in_hand, near, no_args, numbered, place_for, said_key, slot_named, split_of, usage
from .protocol import Slot
from .setup import ARMED_NS, InstrumentSetup
from .state import Batch, Container, Measurement, Place, Question, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench

Deed = Callable[["Bench", str, Sequence[str]], None]


def do(bench: Bench, body: Mapping[str, Any]) -> None:
    """Do an act: `act`, `args`, `place` (or None), `places` it could mean. Raises Refusal."""
    name = str(body["act"])
    act = ACTS.get(name)
    if act is None:
        raise Refusal("unknown-act", act=words.shown(name), near=near(name, ACTS) or "see `thwart act --help`")
    args = [str(a) for a in body.get("args") or ()]
    if name == "at":
        if len(args) < 2 or args[1] == "at":
            raise usage("at")
        do(bench, {**body, "place": args[0], "act": args[1], "args": args[2:]})
        return
    if name == "batch":
        _batch(bench, body, args)
        return
    if name == "mend":
        mends.mend(bench, body, args)
        return
    if name == "printed":
        printing.printed(bench, args)
        return
    place = place_for(bench, body)
    here = bench.place(place)
    args = digits.filled_in(bench, place, name, args)
    said = " ".join([name, *args])
    if act.two_steps:
        if args and not act.usage:
            raise usage(name)
        if here.armed == said and _bounced(bench, body, here):
            bench.tell(None, place=place, code="armed-act", act=said)
            return
        if here.armed != said:
            fish = bench.in_hand(place) if name == "slide" else _ended(bench, place, name, args)
            until = bench.input.stamp.mono_ns + ARMED_NS
            ident, what = (fish.specimen_id, str(fish.number)) if fish is not None else (None, "")
            bench.decide("armed", ident, place=place, said=said, until_ns=until)
            shown = words.shown(said)
            if what:
                bench.tell(ident, place=place, code="armed", act=shown, what=what)
            else:
                bench.tell(ident, place=place, code="armed-act", act=shown)
            return
    if here.armed is not None:
        bench.decide("lapsed", None, place=place)
        if name == "undo":  # it wasn't done yet: that is all there is to take back
            bench.tell(None, place=place, code="lapsed", act=here.armed)
            return
    DEEDS[name](bench, place, args)
    digits.used_up(bench, place, name)


def _bounced(bench: Bench, body: Mapping[str, Any], here: Place) -> bool:
    """Whether a card or key comes so soon after the first that it is the same scan or press once more."""
    since = bench.input.stamp.mono_ns - ((here.armed_until_ns or 0) - ARMED_NS)
    return body.get("via") in ("card", "key") and since < bench.setup.protocol.pedal_dead_time_ms * 1_000_000


# ---- batches -------------------------------------------------------------------------------------------------------


def _batch(bench: Bench, body: Mapping[str, Any], args: Sequence[str]) -> None:
    """A batch is the bench's: without a place an act concerns every place it can."""
    named = [place_for(bench, body)] if body.get("place") is not None else None
    places = named or [p for p in body.get("places") or bench.setup.places if p in bench.setup.places]
    match list(args):
        case ["open", name, *rest]:
            named_ = [word for word in rest if "=" not in word]
            if len(named_) > 1:
                raise usage("batch")
            known_of = _known_of_batch(bench, name, [word for word in rest if "=" in word])
            opened = _batch_open(bench, places, name, named_[0] if named_ else None)
            if known_of:
                bench.decide("batch-noted", None, place=places[0], batch=opened, set=known_of)
        case ["plan", name, *rest]:
            named_ = [word for word in rest if "=" not in word]
            if len(named_) > 1:
                raise usage("batch")
            _batch_plan(bench, name, named_[0] if named_ else None, [word for word in rest if "=" in word])
        case ["drop", name]:
            known = _known_batch(bench, name)
            if known.opened_utc is not None:
                raise Refusal("batch-begun", batch=known.batch)
            bench.decide(
                "batch-dropped",
                None,
                batch=known.batch,
                text=words.say(words.ANNOUNCED, "batch-dropped", {"batch": known.batch}),
            )
        case ["note", name, *rest] if rest and all("=" in word for word in rest):
            known = _known_batch(bench, name)
            known_of = _known_of_batch(bench, known.batch, rest)
            bench.decide("batch-noted", None, place=places[0], batch=known.batch, set=known_of)
        case ["close", *reason] if reason:
            _batch_close(bench, places, " ".join(reason))
        case ["reopen", name, *reason] if reason:
            known = _known_batch(bench, name)
            if known.opened_utc is None:
                raise Refusal("batch-planned", batch=known.batch)
            if known.closed_utc is None:
                raise Refusal("already", act="batch reopen")
            _not_mixed(bench, known)
            free = _free(bench, places)
            for at, place in enumerate(free):
                op = "join" if at else "reopen"
                text = _batch_text(op, name, place)
                bench.decide("batch", None, place=place, op=op, batch=name, reason=" ".join(reason), text=text)
            _open_at(bench, free)
        case _:
            raise usage("batch")


#: What may be said of a batch beside its fish: key of the act → field.
BATCH_KEYS = {
    "parent": "parent", "kind": "kind", "selection": "selection", "preservation": "preservation",
    "presentation": "presentation", "total_mass": "total_mass_g", "sub_mass": "sub_mass_g", "counted": "counted",
}  # fmt: skip


def _known_batch(bench: Bench, name: str) -> Batch:
    """The batch of a name. Raises Refusal."""
    known = bench.batch_called(name)
    if known is None:
        raise Refusal("unknown-batch", batch=words.shown(name))
    return known


def _not_mixed(bench: Bench, known: Batch) -> None:
    """Practice and the survey share no batch. Raises Refusal."""
    if known.practice != bench.desk.practice:
        what, turn = ("is practice", "on") if known.practice else ("isn't practice", "off")
        raise Refusal("practice-other", batch=known.batch, what=what, turn=turn)


def _batch_plan(bench: Bench, name: str, species: str | None, pairs: Sequence[str]) -> None:
    """A batch that is to come: `batch open` takes it up with all that is said of it here. Said again, it is replaced."""
    known = bench.batch_called(name)
    if known is not None and known.opened_utc is not None:
        raise Refusal("batch-begun", batch=known.batch)
    name = name if known is None else known.batch
    planned = _known_of_batch(bench, name, pairs)
    if species is not None:
        planned["species"] = mends.known_species(bench, species)
    if known is not None and all(getattr(known, n) == planned.get(n) for n in (*BATCH_KEYS.values(), "species")):
        bench.tell(None, place=None, code="planned", batch=name)
        return
    bench.decide(
        "batch-planned",
        None,
        batch=name,
        set=planned,
        text=words.say(words.ANNOUNCED, "batch-planned", {"batch": name}),
    )


def _known_of_batch(bench: Bench, batch: str, pairs: Sequence[str]) -> dict[str, Any]:
    """`key=value` words as fields of a batch; masses with their unit (`total_mass=12.4kg`). Raises Refusal."""
    fields: dict[str, Any] = {}
    for pair in pairs:
        name, _, value = pair.partition("=")
        if name not in BATCH_KEYS:
            raise Refusal("batch-key", name=words.shown(name), near=near(name, BATCH_KEYS, 8))
        if name.endswith("_mass"):
            number = value.rstrip("kgtKGT")
            unit = units.ucum(value[len(number) :])
            if unit is None or not NUMBER.fullmatch(number):
                raise Refusal("not-a-number", act="batch", text=words.shown(value))
            value = units.plain(units.to_base(Decimal(number.replace(",", ".")), unit))
        elif name == "counted":
            if not (NUMBER.fullmatch(value) and value.isdecimal()):
                raise Refusal("not-a-number", act="batch", text=words.shown(value))
            fields[BATCH_KEYS[name]] = int(value)
            continue
        fields[BATCH_KEYS[name]] = value[:100]
    if "parent" in fields:
        _no_circle(bench, batch, fields["parent"])
    return fields


def _no_circle(bench: Bench, batch: str, parent: str | None) -> None:
    """A batch is no part of itself. Raises Refusal."""
    seen = {batch}
    while parent is not None:
        if parent in seen:
            raise Refusal("batch-circle", batch=words.shown(batch), parent=words.shown(parent))
        seen.add(parent)
        above = bench.get(Batch, parent)
        parent = None if above is None else above.parent


def _batch_text(op: str, name: str, place: str) -> str:
    return words.say(words.ANNOUNCED, f"batch-{op}", {"batch": name, "place": place})


def _free(bench: Bench, places: Sequence[str]) -> list[str]:
    """The places without an open batch. Raises Refusal where there is none."""
    free = [p for p in places if bench.place(p).batch is None]
    if not free:
        raise Refusal("batch-open", batch=bench.place(places[0]).batch)
    return free


def _open_at(bench: Bench, places: Sequence[str]) -> None:
    for place in places:
        if bench.place(place).in_hand is None and opens_by_itself(bench):
            open_next(bench, place, by="batch")


def _batch_open(bench: Bench, places: Sequence[str], name: str, species: str | None) -> str:
    """Open a batch, or what was planned of it; answers its name."""
    free = _free(bench, places)
    known = bench.batch_called(name)
    begun = known is not None and known.opened_utc is not None
    if known is not None:
        if begun and (known.closed_utc is not None or species is not None):
            raise Refusal("batch-used", batch=known.batch)
        _not_mixed(bench, known)
        name = known.batch
    if species is not None:
        species = mends.known_species(bench, species)
    for at, place in enumerate(free):
        op = "join" if at or begun else "open"
        planned = None
        text = _batch_text(op, name, place)
        if op == "open" and known is not None and species not in (None, known.species) and known.species is not None:
            planned = known.species
            text = words.say(
                words.ANNOUNCED, "batch-open-other", {"batch": name, "species": species, "planned": planned}
            )
        bench.decide(
            "batch", None, place=place, op=op, batch=name, species=species, practice=bench.desk.practice,
            planned=planned, text=text,
        )  # fmt: skip
    _open_at(bench, free)
    return name


def _batch_close(bench: Bench, places: Sequence[str], reason: str) -> None:
    names = {batch for p in places if (batch := bench.place(p).batch) is not None}
    if not names:
        raise Refusal("no-batch")
    for name in sorted(names):
        everywhere = [p for p in bench.setup.places if bench.place(p).batch == name]
        row.look_for_left_over(bench, name)
        for place in everywhere:
            while (fish := row.take_head(bench, place) or _from_parked(bench, place, name)) is not None:
                if fish.given:
                    close_fish(bench, place, fish)
                else:
                    leave_behind(bench, place)
                    bench.decide("unopened", fish.specimen_id, place=place, number=fish.number)
            keep_for_later(bench, place)
            read_out(bench, place)
        for place in everywhere[:-1]:
            bench.decide(
                "batch",
                None,
                place=place,
                op="leave",
                batch=name,
                text=words.say(words.ANNOUNCED, "batch-leave", {"batch": name}),
            )
        bench.decide(
            "batch", None, place=everywhere[-1], op="close", batch=name, reason=reason, **_reckoning(bench, name)
        )


def _from_parked(bench: Bench, place: str, batch: str) -> Specimen | None:
    """What was set apart of a batch that closes comes in hand to be closed."""
    if bench.place(place).in_hand is not None:
        return bench.in_hand(place)
    mine = [s for i in bench.desk.parked if (s := bench.need(Specimen, i)).batch == batch]
    if not mine:
        return None
    row.back(bench, place, mine[0])
    return bench.in_hand(place)


def _reckoning(bench: Bench, name: str) -> dict[str, Any]:
    """What closing a batch reads out."""
    fishes = bench.specimens_of(name)
    ends = [s.end for s in fishes]
    # A void fish's container is used up all the same, and lies in the stack between the others.
    labels = sorted(label for s in fishes for label in s.containers)
    batch = bench.need(Batch, name)
    skipped = sorted(batch.skipped)
    unseen = sorted(label for label in batch.passed if bench.need(Container, label).state == "expected")
    void = sorted(s.number for s in fishes if s.end == "void")
    count = sum(end not in ("void", "same-as") for end in ends)
    first, last = (labels[0], labels[-1]) if labels else (None, None)
    found = {
        "fish": count, "incomplete": ends.count("incomplete"), "first": first, "last": last, "void": void,
        "skipped": skipped, "unseen": unseen,
    }  # fmt: skip
    return {**found, "text": ENGLISH.reckoning({**found, "batch": name})}


def _practice(bench: Bench, place: str, args: Sequence[str]) -> None:
    if list(args) not in (["on"], ["off"]):
        raise usage("practice")
    on = args[0] == "on"
    if on == bench.desk.practice:
        raise Refusal("already", act=f"practice {args[0]}")
    batch = next((b for p in bench.setup.places if (b := bench.place(p).batch) is not None), None)
    if batch is not None:
        raise Refusal("practice-open", batch=batch)
    bench.decide("practice", None, place=place, on=on)


# ---- fish ----------------------------------------------------------------------------------------------------------


def _next(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _leaves(bench: Bench, place: str, args: Sequence[str]) -> None:
    no_args("leaves", args)
    if row.stop_at(bench, place) is None:
        raise Refusal("not-in-a-row", act="leaves")
    fish = fish_in_hand(bench, place, "leaves")
    if not fish.given:  # the one meant has gone on already
        raise Refusal("no-readings", act="leaves", number=fish.number)
    row.leave(bench, place, fish)


def _park(bench: Bench, place: str, args: Sequence[str]) -> None:
    no_args("park", args)
    row.park(bench, place, fish_in_hand(bench, place, "park"))


def _back(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _void(bench: Bench, place: str, args: Sequence[str]) -> None:
    _end(bench, place, "void", args)


def _lost(bench: Bench, place: str, args: Sequence[str]) -> None:
    _end(bench, place, "lost", args)


def _ended(bench: Bench, place: str, act: str, args: Sequence[str]) -> Specimen:
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
    fish = _ended(bench, place, end, args)
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


def _recall(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) != 1:
        raise usage("recall")
    recall(bench, place, numbered(bench, args[0]))


def _species(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _code(bench: Bench, place: str, args: Sequence[str]) -> None:
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
    _observe(bench, place, fish, field, value, None)
    if named is None and old is not None:
        _said_otherwise(bench, place, bench.need(Specimen, fish.specimen_id), field, old.code, value)


def _said_otherwise(bench: Bench, place: str, fish: Specimen, field: str, before: str | None, now: str) -> None:
    """Something else was said of the fish in hand before: it may be the next fish's, said too early."""
    if fish.given and before is not None and before != now:
        args = {"number": fish.number, "field": field, "before": before, "now": now}
        ask(bench, place, fish, Finding("said-otherwise", 3, args), about=None, quiet=True)


def _observe(bench: Bench, place: str, fish: Specimen, field: str, code: str | None, reason: str | None) -> None:
    here = bench.place(place)
    old = observed(bench, fish, field)
    bench.decide(
        "coded", fish.specimen_id, place=place, number=fish.number, field=field,
        scale=bench.setup.protocol.codes[field].scale, code=code, missing_reason=reason,
        who=here.stager or here.recorder, supersedes=old.seq if old else None,
    )  # fmt: skip
    settle_ready(bench, fish.specimen_id)


def _field(bench: Bench, act: str, name: str) -> str:
    codes = bench.setup.protocol.codes
    if name not in codes:
        raise Refusal("unknown-field", act=act, name=words.shown(name), near=near(name, codes))
    return name


# ---- values --------------------------------------------------------------------------------------------------------


def _again(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _stands(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _as(bench: Bench, place: str, args: Sequence[str]) -> None:
    if not args:
        raise usage("as")
    fish = fish_in_hand(bench, place, "as")
    slot = slot_named(bench, "as", said_key(args), fish)
    bench.decide("placed", fish.specimen_id, place=place, set={"route_as": slot.key})
    bench.tell(fish.specimen_id, place=place, code="as", key=slot.key)


def _value(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _missing(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) < 2:
        raise usage("missing")
    fish = fish_in_hand(bench, place, "missing")
    name, reason = said_key(args[:-1]), args[-1]
    if reason not in MISSING_REASONS:
        raise Refusal(
            "unknown-reason", act="missing", reason=words.shown(reason), near=near(reason, MISSING_REASONS, 7)
        )
    if name in bench.setup.protocol.codes:
        _observe(bench, place, fish, name, None, reason)
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


def _swap(bench: Bench, place: str, args: Sequence[str]) -> None:
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


def _tared(bench: Bench, place: str, args: Sequence[str]) -> None:
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


# ---- containers ----------------------------------------------------------------------------------------------------


def _confirm(bench: Bench, place: str, args: Sequence[str]) -> None:
    from .rules import take_label

    no_args("confirm", args)
    take_label(bench, place, _expected(bench, "confirm"), via="confirm")


def _expected(bench: Bench, act: str) -> str:
    from .rules import expected_label

    containers = bench.setup.protocol.containers
    if containers is None or containers.first is None:
        raise Refusal("no-containers", act=act)
    expected = expected_label(bench)
    if expected is None:
        raise Refusal("series-at-end", act=act, label=containers.last or bench.desk.expected)
    return expected


def _skip(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) > 1:
        raise usage("skip")
    label = mending.label_named(bench, "skip", args[0]) if args else _expected(bench, "skip")
    containers = bench.setup.protocol.containers
    assert containers is not None
    state = mending.container_after(bench, "skip", label, "left out")
    bench.decide(
        "container", None, place=place, number=label, kind=containers.kind, structure=None, state=state,
        expected=mending.expected_without(bench, label), via="skip", fish=None,
    )  # fmt: skip


# ---- bench and people ----------------------------------------------------------------------------------------------


def _pause(bench: Bench, place: str, args: Sequence[str]) -> None:
    no_args("pause", args)
    if bench.place(place).paused:
        raise Refusal("already", act="pause")
    leave_behind(bench, place)
    hosing = [q for q in bench.open_questions(place) if q.kind == "hosing"]
    if hosing:
        _was_water(bench, place)
    answer(bench, hosing)
    now = bench.input.stamp.mono_ns
    bench.decide("placed", None, place=place, set={"paused": True, "paused_ns": now})
    bench.tell(None, place=place, code="paused")


def _was_water(bench: Bench, place: str) -> None:
    """`pause` says that the touches by which hosing was suspected were water: what they gave the fish in hand is withdrawn."""
    since = {
        name: times[0] for name, setup in bench.setup.instruments.items()
        if setup.kind == "length" and place in setup.places and (times := bench.instrument(name).arrivals_ns)
    }  # fmt: skip
    fish = bench.in_hand(place)
    for m in list(standing(bench, fish).values()) if fish is not None else ():
        reading = bench.need(Reading, m.reading_seq) if m.reading_seq is not None else None
        if (
            reading is None
            or reading.outcome != "taken"
            or reading.arrived_ns < since.get(reading.instrument, reading.arrived_ns + 1)
        ):
            continue
        answer(bench, about(bench, bench.need(Specimen, m.specimen_id), {m.seq, reading.seq}))
        bench.decide("withdrawn", m.specimen_id, measurement=m.seq, place=place)
        bench.decide("outcome", m.specimen_id, reading=reading.seq, event="taken back", why="hosed", place=place)
        settle_ready(bench, m.specimen_id)


def _resume(bench: Bench, place: str, args: Sequence[str]) -> None:
    no_args("resume", args)
    here = bench.place(place)
    if not here.paused:
        raise Refusal("already", act="resume")
    fields: dict[str, Any] = {"paused": False}
    length = None if here.paused_ns is None else bench.input.stamp.mono_ns - here.paused_ns
    long = length is None or length >= bench.setup.protocol.pause_keeps_people_min * 60 * 10**9
    people = [p for p in (here.measurer, here.recorder, here.stager) if p]
    if long and people:
        fields |= {"measurer": None, "recorder": None, "stager": None}
    bench.decide("placed", None, place=place, set=fields)
    bench.tell(None, place=place, code="resumed-who" if long and people else "resumed")


def _person(role: str) -> Deed:
    def deed(bench: Bench, place: str, args: Sequence[str]) -> None:
        if not args:
            raise usage(role)
        name = " ".join(args)
        bench.decide("placed", None, place=place, set={role: name})
        bench.tell(None, place=place, code=role, name=name)

    return deed


def _undo(bench: Bench, place: str, args: Sequence[str]) -> None:
    if list(args) not in ([], ["undo"]):
        raise usage("undo")
    redo = bool(args)
    memento = bench.last_memento(place, redo)
    if memento is None:
        raise Refusal("nothing-undone" if redo else "nothing-to-undo")
    knot = bench.entangled(place, memento)
    if knot is not None:
        raise Refusal("undo-elsewhere", number=knot.number)
    label = bench.redo_label(place) if redo else memento.label
    text = words.say(words.ANNOUNCED, "undone-redo" if redo else "undone", {"label": label})
    loose = (
        []
        if redo
        else [int(k[1]) for k, (before, _) in memento.changes.items() if k[0] == "reading" and before is None]
    )
    numbers = {
        k[1]: thing.number for k, pair in memento.changes.items() for thing in pair if isinstance(thing, Specimen)
    }  # fmt: skip
    for key, pair in memento.changes.items():
        for thing in (*pair, bench.objects.get(key)):
            if isinstance(thing, Specimen):
                standing(bench, thing)  # its worst verdict will be told anew
    bench.decide("undone", None, place=place, of=memento.input_seq, redo=redo, label=label, text=text)
    for seq in loose if bench.setup.protocol.flow != "tally" else ():  # a touch taken back is no fish's to look for
        reading = bench.need(Reading, seq)
        if reading.outcome == "loose":
            specimen = bench.get(Specimen, reading.specimen_id) if reading.specimen_id else None
            number = specimen.number if specimen else numbers.get(reading.specimen_id or "", "its fish")
            args_ = {**said_value(reading), "number": number}
            ask(bench, place, specimen, Finding("taken-back", 2, args_), about=reading.seq, quiet=True)


#: `batch` and `mend` aren't here: one concerns several places at once, the other no place's doings.
DEEDS: Mapping[str, Deed] = {
    "over": pieces.over,
    "parts": pieces.parts,
    "pool": pieces.pool,
    "count": pieces.count,
    "pan": pieces.pan,
    "knock": pieces.knock,
    "structure": mending.structure,
    "move": mending.move,
    "found": mending.found,
    "same-as": mending.same_as,
    "split": mending.split,
    "slide": mending.slide,
    "leaves": _leaves,
    "park": _park,
    "back": _back,
    "practice": _practice,
    "next": _next,
    "again": _again,
    "stands": _stands,
    "as": _as,
    "value": _value,
    "missing": _missing,
    "digit": digits.digit,
    "code": _code,
    "species": _species,
    "confirm": _confirm,
    "skip": _skip,
    "void": _void,
    "lost": _lost,
    "recall": _recall,
    "swap": _swap,
    "tared": _tared,
    "pause": _pause,
    "resume": _resume,
    "measurer": _person("measurer"),
    "recorder": _person("recorder"),
    "stager": _person("stager"),
    "undo": _undo,
}
