"""What each act does. Every act of the table in `acts` has its function here, and only those. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from .. import units
from ..tomlfile import nearest
from . import words
from .acts import ACTS, HAND, MISSING_REASONS
from .filling import answer, ask, fill, filled_by, give, serves, settle_ready, standing, wanted
from .fish import close_fish, leave_behind, open_fish, read_out, recall
from .judging import Finding
from .kernel import Refusal
from .protocol import Slot
from .setup import ARMED_NS
from .state import Batch, Container, Instrument, Measurement, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench

Deed = Callable[["Bench", str, Sequence[str]], None]
#: Acts that mean the whole bench when no place is named.
_ALL_PLACES = {"batch"}


def do(bench: Bench, body: Mapping[str, Any]) -> None:
    """Do an act: `act`, `args`, `place` (or None), `places` it could mean. Raises Refusal."""
    name = str(body["act"])
    act = ACTS.get(name)
    if act is None:
        raise Refusal("unknown-act", act=name, near=nearest(name, ACTS) or "see `thwart act --help`")
    place = place_for(bench, body)
    args = [str(a) for a in body.get("args", ())]
    here = bench.place(place)
    said = " ".join([name, *args])
    bench.label(said)
    if act.two_steps and here.armed != said:
        fish = bench.in_hand(place)
        if fish is None:
            raise Refusal("nothing-in-hand", act=name, place=place)
        until = bench.input.stamp.mono_ns + ARMED_NS
        bench.decide("placed", fish.specimen_id, place=place, set={"armed": said, "armed_until_ns": until})
        text = words.ARMED.format(act=name, what=fish.number)
        bench.decide("told", fish.specimen_id, place=place, code="armed", text=text)
        return
    if here.armed is not None:
        bench.decide("placed", None, place=place, set={"armed": None, "armed_until_ns": None})
    DEEDS[name](bench, place, args)


def place_for(bench: Bench, body: Mapping[str, Any]) -> str:
    """The place an act names, or the one place it can mean. Raises Refusal."""
    name, act = body.get("place"), str(body["act"])
    everywhere = bench.setup.places
    if name is not None:
        if name not in everywhere:
            raise Refusal("unknown-place", place=name, places=", ".join(everywhere))
        return str(name)
    places = [p for p in body.get("places") or everywhere if p in everywhere]
    if len(places) == 1 or (places and act in _ALL_PLACES):
        return str(places[0])
    holding = [p for p in places if bench.place(p).in_hand is not None]
    if len(holding) == 1:
        return holding[0]
    raise Refusal("which-place", act=act, places=", ".join(places))


# ---- small parts ---------------------------------------------------------------------------------------------------


def _usage(act: str) -> Refusal:
    return Refusal("arguments", act=act, usage=ACTS[act].usage)


def _fish(bench: Bench, place: str, act: str) -> Specimen:
    fish = bench.in_hand(place)
    if fish is None:
        raise Refusal("nothing-in-hand", act=act, place=place)
    return fish


def _slot(bench: Bench, act: str, name: str, specimen: Specimen | None = None) -> Slot:
    """A slot by key, or the first wanted one of a measurand with sides or replicates."""
    protocol = bench.setup.protocol
    if (slot := protocol.slot_by_key.get(name)) is not None:
        return slot
    of_name = [s for s in protocol.slots if s.measurand.name == name]
    if not of_name:
        raise Refusal("unknown-measurand", act=act, name=name, near=nearest(name, protocol.slot_by_key))
    free = [s for s in wanted(bench, specimen) if s.measurand.name == name] if specimen else []
    return (free or of_name)[0]


def _of(bench: Bench, place: str, act: str, args: Sequence[str]) -> tuple[list[str], Specimen | None]:
    """Split off `of NUMBER` or `of previous`. The specimen is None where none was named."""
    if "of" not in args:
        return list(args), None
    at = list(args).index("of")
    rest = list(args[at + 1 :])
    if len(rest) != 1:
        raise _usage(act)
    if rest[0] == "previous":
        ident = bench.place(place).previous
        if ident is None:
            raise Refusal("unknown-fish", number="previous")
        return list(args[:at]), bench.need(Specimen, ident)
    return list(args[:at]), _numbered(bench, rest[0])


def _numbered(bench: Bench, text: str) -> Specimen:
    number = int(text) if text.isdecimal() else -1
    here = next((s.specimen_id for s in bench.all(Specimen) if s.number == number), None)
    ident = here or bench.records.numbered(number)
    specimen = bench.get(Specimen, ident) if ident else None
    if specimen is None:
        raise Refusal("unknown-fish", number=text)
    return specimen


# ---- batches -------------------------------------------------------------------------------------------------------


def _batch(bench: Bench, place: str, args: Sequence[str]) -> None:
    match list(args):
        case ["open", name, *rest] if len(rest) <= 1:
            _batch_open(bench, place, name, rest[0] if rest else None)
        case ["close", *reason] if reason:
            _batch_close(bench, place, " ".join(reason))
        case ["reopen", name, *reason] if reason:
            known = bench.get(Batch, name)
            if known is None:
                raise Refusal("unknown-batch", batch=name)
            if known.closed_utc is None:
                raise Refusal("already", act="batch reopen")
            _none_open(bench, place)
            bench.decide("batch", None, place=place, op="reopen", batch=name, reason=" ".join(reason))
            if bench.place(place).in_hand is None and _opens_by_itself(bench):
                open_fish(bench, place, by="batch")
        case _:
            raise _usage("batch")


def _opens_by_itself(bench: Bench) -> bool:
    """A `first` label opens its fish itself; otherwise opening the batch opens the first."""
    containers = bench.setup.protocol.containers
    return containers is None or containers.role != "first"


def _none_open(bench: Bench, place: str) -> None:
    batch = bench.place(place).batch
    if batch is not None:
        raise Refusal("batch-open", batch=batch)


def _batch_open(bench: Bench, place: str, name: str, species: str | None) -> None:
    _none_open(bench, place)
    if bench.get(Batch, name) is not None:
        raise Refusal("batch-used", batch=name)
    if species is not None:
        species = _known_species(bench, species)
    bench.decide("batch", None, place=place, op="open", batch=name, species=species, practice=bench.desk.practice)
    if _opens_by_itself(bench):
        open_fish(bench, place, by="batch")


def _batch_close(bench: Bench, place: str, reason: str) -> None:
    here = bench.place(place)
    if here.batch is None:
        raise Refusal("no-batch")
    name = here.batch
    while (fish := bench.in_hand(place)) is not None:
        if fish.given:
            close_fish(bench, place, fish)
        else:
            close_fish(bench, place, fish, "void")
    read_out(bench, place)
    fishes = {s.specimen_id: s for s in bench.records.specimens_of(name)}
    fishes.update({s.specimen_id: s for s in bench.all(Specimen) if s.batch == name})
    ends = [s.end for s in fishes.values()]
    labels = sorted(label for s in fishes.values() for label in s.containers)
    skipped = sorted(c.number for c in bench.all(Container) if c.state == "skipped")
    count = len(ends) - ends.count("void")
    first, last = (labels[0], labels[-1]) if labels else (None, None)
    text = f"batch {name}: {count} fish, {ends.count('incomplete')} incomplete"
    text += f"; containers {first} to {last}" if labels else "; no containers"
    text += f"; skipped {', '.join(skipped)}" if skipped else ""
    bench.decide(
        "batch", None, place=place, op="close", batch=name, reason=reason, fish=count, incomplete=ends.count("incomplete"),
        first=first, last=last, skipped=skipped, text=text,
    )  # fmt: skip


def _practice(bench: Bench, place: str, args: Sequence[str]) -> None:
    if list(args) not in (["on"], ["off"]):
        raise _usage("practice")
    on = args[0] == "on"
    if on == bench.desk.practice:
        raise Refusal("already", act=f"practice {args[0]}")
    if (batch := bench.place(place).batch) is not None:
        raise Refusal("practice-open", batch=batch)
    bench.decide("practice", None, place=place, on=on)


# ---- fish ----------------------------------------------------------------------------------------------------------


def _next(bench: Bench, place: str, args: Sequence[str]) -> None:
    here = bench.place(place)
    fish = bench.in_hand(place)
    if here.batch is None:
        raise Refusal("no-batch")
    if here.paused:
        raise Refusal("paused")
    starts = here.waiting if here.waiting is not None and here.last_input == _asked_at(bench, here.waiting) else None
    if fish is not None and not fish.given and starts is None:
        text = f"{fish.number} has no readings yet: still {fish.number}"
        bench.decide("told", fish.specimen_id, place=place, code="next-nothing", text=text)
        return
    if starts is not None:
        reading = bench.need(Reading, starts)
        answer(bench, [q for q in bench.open_questions(place) if q.about == starts])
        bench.decide("placed", None, place=place, set={"waiting": None})
    if fish is not None:
        close_fish(bench, place, fish)
    new = bench.in_hand(place) or open_fish(bench, place, by="next")
    if starts is not None:
        setup = bench.setup.instruments.get(reading.instrument)
        value = Decimal(reading.base_value or "0")
        slot = next((s for s in wanted(bench, new) if setup is not None and serves(setup, s, value)), None)
        if slot is not None:
            give(bench, place, new, slot, reading, event="given")
        else:
            bench.decide("outcome", None, reading=reading.seq, event="left behind", why="left-behind", place=place)
    bench.label(f"next, to {new.number}")


def _asked_at(bench: Bench, reading: int) -> int:
    """The input at which a reading began to wait: its own."""
    return bench.need(Reading, reading).seq


def _void(bench: Bench, place: str, args: Sequence[str]) -> None:
    _end(bench, place, "void")


def _lost(bench: Bench, place: str, args: Sequence[str]) -> None:
    _end(bench, place, "lost")


def _end(bench: Bench, place: str, end: Any) -> None:
    fish = _fish(bench, place, end)
    close_fish(bench, place, fish, end)
    if end == "void":
        for m in standing(bench, fish).values():
            bench.decide("withdrawn", fish.specimen_id, measurement=m.seq, place=place)
    if bench.place(place).in_hand is None and bench.place(place).batch is not None and _opens_by_itself(bench):
        open_fish(bench, place, by=end)


def _recall(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) != 1:
        raise _usage("recall")
    recall(bench, place, _numbered(bench, args[0]))


def _known_species(bench: Bench, name: str) -> str:
    species = bench.setup.protocol.species
    if name != "unknown" and name not in species:
        raise Refusal("unknown-species", name=name, near=nearest(name, [*species, "unknown"]))
    return name


def _species(bench: Bench, place: str, args: Sequence[str]) -> None:
    left, named = _of(bench, place, "species", args)
    if len(left) != 1:
        raise _usage("species")
    name = _known_species(bench, left[0])
    fish = named or bench.in_hand(place)
    if fish is None:
        bench.decide("species", None, place=place, species=name, number=None)
        return
    bench.decide("species", fish.specimen_id, place=place, species=name, number=fish.number)
    fish = bench.need(Specimen, fish.specimen_id)
    allowed = {s.key for s in bench.setup.protocol.slots_for(name)}
    for key, m in standing(bench, fish).items():
        if key not in allowed:
            args_ = {"number": fish.number, "measurand": key, "species": bench.setup.protocol.species[name].title}
            ask(bench, place, fish, Finding("surplus", 3, args_), about=m.seq)
    settle_ready(bench, fish.specimen_id)


def _code(bench: Bench, place: str, args: Sequence[str]) -> None:
    left, named = _of(bench, place, "code", args)
    if len(left) != 2:
        raise _usage("code")
    field = _field(bench, "code", left[0])
    codes = bench.setup.protocol.codes[field]
    value = next((c for c in codes.values if c.lower() == left[1].lower()), None)
    if value is None:
        raise Refusal("unknown-code", field=field, code=left[1], near=nearest(left[1], codes.values))
    fish = named or _fish(bench, place, "code")
    _observe(bench, place, fish, field, value, None)


def _observe(bench: Bench, place: str, fish: Specimen, field: str, code: str | None, reason: str | None) -> None:
    here = bench.place(place)
    old = bench.coded_fields(fish).get(field)
    bench.decide(
        "coded", fish.specimen_id, place=place, number=fish.number, field=field,
        scale=bench.setup.protocol.codes[field].scale, code=code, missing_reason=reason,
        who=here.stager or here.recorder, supersedes=old.seq if old else None,
    )  # fmt: skip
    settle_ready(bench, fish.specimen_id)


def _field(bench: Bench, act: str, name: str) -> str:
    codes = bench.setup.protocol.codes
    if name not in codes:
        raise Refusal("unknown-field", act=act, name=name, near=nearest(name, codes))
    return name


# ---- values --------------------------------------------------------------------------------------------------------


def _again(bench: Bench, place: str, args: Sequence[str]) -> None:
    here = bench.place(place)
    if here.waiting is None:
        last = bench.get(Measurement, here.filled[-1]) if here.filled else None
        if last is None or last.status in ("superseded", "withdrawn"):
            raise Refusal("nothing-waiting", act="again")
        bench.decide("placed", last.specimen_id, place=place, set={"reopened": last.key})
        bench.decide("told", last.specimen_id, place=place, code="reopened", text=f"{last.number}: {last.key} again")
        return
    reading = bench.need(Reading, here.waiting)
    fish = bench.need(Specimen, reading.specimen_id or "")
    setup = bench.setup.instruments.get(reading.instrument)
    value = Decimal(reading.base_value or "0")
    override = bench.setup.protocol.slot_by_key.get(here.route_as) if here.route_as else None
    last = filled_by(bench, fish, setup) if setup else None
    slot = override or (bench.setup.protocol.slot_by_key.get(last.key) if last else None)
    if slot is None and setup is not None:
        slot = next((s for s in wanted(bench, fish) if serves(setup, s, value)), None)
    if slot is None:
        raise Refusal("nothing-waiting", act="again")
    questions = [q for q in bench.open_questions(place) if q.about == reading.seq]
    answer(bench, questions)
    give(bench, place, fish, slot, reading, supersedes=fish.values.get(slot.key), event="given")


def _stands(bench: Bench, place: str, args: Sequence[str]) -> None:
    """Accept what was questioned last. A load nobody saw arrive is taken."""
    open_ = bench.open_questions(place)
    if not open_:
        raise Refusal("nothing-questioned", place=place)
    q = open_[-1]
    here = bench.place(place)
    if q.kind in ("load-at-start", "same-value") and here.waiting == q.about and q.about is not None:
        reading = bench.need(Reading, q.about)
        fish = bench.need(Specimen, reading.specimen_id or "")
        setup = bench.setup.instruments.get(reading.instrument)
        value = Decimal(reading.base_value or "0")
        slot = next((s for s in wanted(bench, fish) if setup is not None and serves(setup, s, value)), None)
        if slot is None:
            raise Refusal("nothing-questioned", place=place)
        answer(bench, [q])
        give(bench, place, fish, slot, reading, event="given")
        return
    if q.kind in ("again-or-new", "changed-on-the-pan"):
        # the first value stands: the waiting reading is left behind
        answer(bench, [q])
        leave_behind(bench, place)
        return
    answer(bench, [q])
    m = bench.get(Measurement, q.about) if q.about is not None else None
    others = [o for o in bench.open_questions(place) if o.about == q.about]
    if m is not None and m.status == "questioned" and not others:
        bench.decide(
            "stood-by", m.specimen_id, place=place, measurement=m.seq, number=m.number, reason=" ".join(args) or None
        )
    else:
        bench.decide("told", q.specimen_id, place=place, code="stands", text="so it is")


def _as(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) != 1:
        raise _usage("as")
    fish = _fish(bench, place, "as")
    slot = _slot(bench, "as", args[0], fish)
    bench.decide("placed", fish.specimen_id, place=place, set={"route_as": slot.key})
    bench.decide("told", fish.specimen_id, place=place, code="as", text=f"the next reading is {slot.key}")


def _value(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) not in (3, 4) or (len(args) == 4 and args[3] not in HAND):
        raise _usage("value")
    fish = _fish(bench, place, "value")
    slot = _slot(bench, "value", args[0], fish)
    unit = units.ucum(args[2])
    if unit is None or units.quantity_of(unit) != slot.measurand.quantity:
        raise Refusal("unknown-unit", act="value", unit=args[2], measurand=slot.key)
    try:
        number = Decimal(args[1].replace(",", "."))
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite() or number < 0:
        raise Refusal("not-a-number", act="value", text=args[1])
    base = units.to_base(number, unit)
    division = slot.measurand.hand_division_base
    if division is not None and base % division:
        text = f"{args[1]} {args[2]}"
        raise Refusal("not-the-division", act="value", text=text, division=slot.measurand.hand_division)
    fill(
        bench, place, fish, slot, value=base, raw_value=args[1], raw_unit=unit,
        how=args[3] if len(args) == 4 else "pad", supersedes=fish.values.get(slot.key),
    )  # fmt: skip


def _missing(bench: Bench, place: str, args: Sequence[str]) -> None:
    if len(args) != 2:
        raise _usage("missing")
    fish = _fish(bench, place, "missing")
    name, reason = args
    if reason not in MISSING_REASONS:
        raise Refusal("unknown-reason", act="missing", reason=reason, near=nearest(reason, MISSING_REASONS, 7))
    if name in bench.setup.protocol.codes:
        _observe(bench, place, fish, name, None, reason)
        return
    structure = bench.setup.protocol.containers.structure if bench.setup.protocol.containers else None
    if name in ("container", structure):
        key = "container"
    else:
        try:
            key = _slot(bench, "missing", name, fish).key
        except Refusal as refusal:
            known = [*bench.setup.protocol.slot_by_key, *bench.setup.protocol.codes, "container"]
            raise Refusal("unknown-field", act="missing", name=name, near=nearest(name, known)) from refusal
    if key in fish.values:
        bench.decide("withdrawn", fish.specimen_id, measurement=fish.values[key], place=place)
    bench.decide("missing", fish.specimen_id, place=place, number=fish.number, name=key, reason=reason)
    settle_ready(bench, fish.specimen_id)


def _swap(bench: Bench, place: str, args: Sequence[str]) -> None:
    fish = _fish(bench, place, "swap")
    mine = [bench.need(Measurement, seq) for seq in bench.place(place).filled]
    mine = [m for m in mine if m.specimen_id == fish.specimen_id and m.status in ("stands", "questioned")]
    if len(mine) < 2 or mine[-1].unit != mine[-2].unit:
        raise Refusal("nothing-to-swap")
    first, second = mine[-2], mine[-1]
    answer(bench, [q for q in bench.open_questions(place) if q.about in (first.seq, second.seq)])
    for old, other, last in ((first, second, False), (second, first, True)):
        slot = bench.setup.protocol.slot_by_key[old.key]
        fill(
            bench, place, bench.need(Specimen, fish.specimen_id), slot, value=Decimal(other.value), raw_value=other.raw_value,
            raw_unit=other.raw_unit, how="swapped", supersedes=old.seq, check=last,
        )  # fmt: skip
    bench.label(f"swap of {first.key} and {second.key} of {fish.number}")


def _tared(bench: Bench, place: str, args: Sequence[str]) -> None:
    done = False
    for name, setup in bench.setup.instruments.items():
        known = bench.get(Instrument, name)
        if setup.kind != "mass" or place not in setup.places or known is None:
            continue
        if known.load_seq is None and not known.blind:
            continue
        for seq in known.load_readings:
            reading = bench.need(Reading, seq)
            if reading.outcome in ("taken", "waiting", "loose"):
                for m in (
                    m for m in bench.all(Measurement) if m.reading_seq == seq and m.status in ("stands", "questioned")
                ):
                    answer(bench, [q for q in bench.open_questions(place) if q.about == m.seq])
                    bench.decide("withdrawn", m.specimen_id, measurement=m.seq, place=place)
                    settle_ready(bench, m.specimen_id)
                answer(bench, [q for q in bench.open_questions(place) if q.about == seq])
                bench.decide("outcome", None, reading=seq, event="was the tray", why="tare", place=place)
        bench.decide("load", None, instrument=name)
        done = True
    if not done:
        raise Refusal("nothing-on-it", place=place)
    bench.decide("told", None, place=place, code="tared", text="tared: the next load is a fish")


# ---- containers ----------------------------------------------------------------------------------------------------


def _confirm(bench: Bench, place: str, args: Sequence[str]) -> None:
    from .rules import take_label

    take_label(bench, place, _expected(bench, "confirm"), via="confirm")


def _expected(bench: Bench, act: str) -> str:
    containers = bench.setup.protocol.containers
    if containers is None or containers.first is None:
        raise Refusal("no-containers", act=act)
    expected = bench.desk.expected or containers.first
    template = containers.template
    if containers.last is not None and template.count(expected) > template.count(containers.last):
        raise Refusal("series-at-end", act=act, label=containers.last)
    return expected


def _skip(bench: Bench, place: str, args: Sequence[str]) -> None:
    label = _expected(bench, "skip")
    containers = bench.setup.protocol.containers
    assert containers is not None
    bench.decide(
        "container", None, place=place, number=label, kind=containers.kind, structure=None, state="skipped",
        expected=containers.template.moved(label, 1), via="skip", fish=None,
    )  # fmt: skip
    bench.label(f"skip {label}")


# ---- bench and people ----------------------------------------------------------------------------------------------


def _pause(bench: Bench, place: str, args: Sequence[str]) -> None:
    if bench.place(place).paused:
        raise Refusal("already", act="pause")
    leave_behind(bench, place)
    now = bench.input.stamp.mono_ns
    bench.decide("placed", None, place=place, set={"paused": True, "paused_ns": now})
    bench.decide("told", None, place=place, code="paused", text="paused: readings are loose")


def _resume(bench: Bench, place: str, args: Sequence[str]) -> None:
    here = bench.place(place)
    if not here.paused:
        raise Refusal("already", act="resume")
    fields: dict[str, Any] = {"paused": False, "paused_ns": None}
    length = bench.input.stamp.mono_ns - (here.paused_ns or 0)
    long = length < 0 or length > bench.setup.protocol.pause_keeps_people_min * 60 * 10**9
    people = [p for p in (here.measurer, here.recorder, here.stager) if p]
    if long and people:
        fields |= {"measurer": None, "recorder": None, "stager": None}
    bench.decide("placed", None, place=place, set=fields)
    text = "resumed" + (": who measures, who records?" if long and people else "")
    bench.decide("told", None, place=place, code="resumed", text=text)


def _person(role: str) -> Deed:
    def deed(bench: Bench, place: str, args: Sequence[str]) -> None:
        if not args:
            raise _usage(role)
        name = " ".join(args)
        bench.decide("placed", None, place=place, set={role: name})
        bench.decide("told", None, place=place, code=role, text=f"{role}: {name}")

    return deed


def _undo(bench: Bench, place: str, args: Sequence[str]) -> None:
    if list(args) not in ([], ["undo"]):
        raise _usage("undo")
    redo = bool(args)
    memento = bench.last_memento(place, redo)
    if memento is None:
        raise Refusal("nothing-undone" if redo else "nothing-to-undo")
    text = f"taken back: {memento.label}" if not redo else f"taken back: undo of {bench.undone[place][-1][0].label}"
    loose = [] if redo else [k for k, (b, _) in memento.changes.items() if k[0] == "reading" and b is None]
    bench.decide("undone", None, place=place, of=memento.input_seq, redo=redo, text=text)
    for _, seq in loose:
        reading = bench.get(Reading, seq)
        if reading is not None and reading.outcome == "loose" and reading.base_value is not None:
            fish = bench.get(Specimen, reading.specimen_id) if reading.specimen_id else None
            args_ = {
                "instrument": reading.instrument,
                "value": reading.value,
                "unit": reading.unit,
                "number": fish.number if fish else "?",
            }
            ask(bench, place, fish, Finding("taken-back", 2, args_), about=reading.seq, quiet=True)


DEEDS: Mapping[str, Deed] = {
    "batch": _batch,
    "practice": _practice,
    "next": _next,
    "again": _again,
    "stands": _stands,
    "as": _as,
    "value": _value,
    "missing": _missing,
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
