"""What inputs and decisions do to the state: one small function each, in two tables. Pure.

Nothing here judges: an effect only writes down what its entry says, so that recorded entries can be folded without
the protocol or the rules that made them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from ..checks.specimen import kin
from ..entries import Entry
from . import memory, tables
from .kernel import RANK
from .people import ROLES
from .setup import HOSING_TOUCHES
from .state import (
    Batch,
    Coded,
    Container,
    Instrument,
    Learned,
    Measurement,
    Place,
    Pool,
    Question,
    Reading,
    Specimen,
    Tally,
    Watch,
    from_json,
)

if TYPE_CHECKING:
    from .kernel import Bench

Effect = Callable[["Bench", Entry], None]


# ---- inputs --------------------------------------------------------------------------------------------------------


def _started(bench: Bench, entry: Entry) -> None:
    """What was said once and what lay on the scales is not resumed; a pause's length is unknown after a boot."""
    known = bench.desk.boot == entry.stamp.boot
    bench.put(replace(bench.desk, started_seq=entry.seq, boot=entry.stamp.boot))
    for p in bench.all(Place):
        bench.put(
            replace(
                p, armed=None, armed_until_ns=None, last_key_ns=None, typed="", typed_ns=None,
                known=None, known_ns=None,
                last_ns=p.last_ns if known else None,
                paused_ns=p.paused_ns if known else None,
            )
        )  # fmt: skip
    for i in bench.all(Instrument):
        bench.put(replace(i, present=False, blind=True, arrivals_ns=(), **_CLEAR))


def _configured(bench: Bench, entry: Entry) -> None:
    """The setup that the entries after it were decided by. Only names are taken: its protocol may be of another version."""
    b = entry.body
    bench.put(replace(bench.desk, config_sha256=b["config_sha256"]))
    for name in b["setup"]["places"]:
        if ("place", name) not in bench.objects:
            bench.put(Place(name))
    for i in b["setup"]["instruments"]:
        known = bench.instrument(i["name"])
        if ("instrument", i["name"]) not in bench.objects or (known.profile, known.port) != (i["profile"], i["port"]):
            bench.put(replace(known, profile=i["profile"], port=i["port"], verified=None))


def _port(bench: Bench, entry: Entry) -> None:
    b = entry.body
    known = bench.instrument(b["instrument"])
    present = bool(b["present"])
    gone: dict[str, Any] = {} if present else {**_CLEAR, "last_text": None}
    bench.put(
        replace(
            known, profile=b.get("profile") or known.profile, port=b.get("port") or known.port, present=present,
            changed_utc=entry.stamp.utc, blind=True, **gone,
        )
    )  # fmt: skip


def _arrival(bench: Bench, entry: Entry) -> None:
    """A load belongs to the fish in hand when it arrived; during a pause to none."""
    b = entry.body
    known = bench.instrument(b["instrument"])
    here = [bench.place(name) for name in b["places"]]
    hands = {p.place: None if p.paused else p.in_hand for p in here}
    bench.put(replace(known, blind=False, load_seq=entry.seq, load_specimens=hands, load_readings=()))


def _emptied(bench: Bench, entry: Entry) -> None:
    known = bench.instrument(entry.body["instrument"])
    for seq in known.load_readings:
        r = bench.objects.get(("reading", seq))
        m = bench.objects.get(("measurement", r.measurement_seq or 0)) if isinstance(r, Reading) else None
        if isinstance(m, Measurement):
            bench.put(replace(m, zero_after=entry.body.get("resting")))
    bench.put(replace(known, blind=False, **_CLEAR))


def _reading(bench: Bench, entry: Entry) -> None:
    b = entry.body
    known = bench.instrument(b["instrument"])
    lies = known.load_seq is not None
    bench.put(
        Reading(
            seq=entry.seq, instrument=b["instrument"], place=None, raw=b["raw"], value=b.get("value"), unit=b.get("unit"),
            base_value=b.get("base"), condition=b["condition"], settled=b["settled"], spread=b.get("spread"),
            samples=b.get("samples", 1), zero_before=b.get("zero_before"), plateau=b.get("plateau", 1),
            arrived_utc=b["arrived_utc"], arrived_ns=b["arrived_ns"], done_utc=entry.stamp.utc,
            arrived_after_seq=known.load_seq if known.load_seq is not None else entry.seq - 1, outcome=None,
            practice=bench.desk.practice,
        )
    )  # fmt: skip
    bench.put(
        replace(
            known, last_seq=entry.seq, last_text=b.get("value"), last_ns=b["arrived_ns"],
            arrivals_ns=(*known.arrivals_ns, b["arrived_ns"])[-HOSING_TOUCHES:],
            load_readings=(*known.load_readings, entry.seq) if lies else known.load_readings,
        )
    )  # fmt: skip


#: Nothing lies on it.
_CLEAR: Mapping[str, Any] = {"load_seq": None, "load_specimens": {}, "load_readings": ()}

INPUT_EFFECTS: Mapping[str, Effect] = {
    "configured": _configured,
    "started": _started,
    "port": _port,
    "arrival": _arrival,
    "emptied": _emptied,
    "reading": _reading,
}


# ---- decisions -----------------------------------------------------------------------------------------------------


#: Ends of what was no animal of its own: it isn't counted.
NO_FISH = ("void", "same-as")


def _practised(bench: Bench, entry: Entry, otherwise: bool) -> bool:
    """Whether what an entry says is practice: as its specimen is; of none, as it would be else."""
    specimen = bench.get(Specimen, entry.specimen_id) if entry.specimen_id is not None else None
    return otherwise if specimen is None else specimen.practice


def _touch(bench: Bench, entry: Entry, **changes: Any) -> None:
    """The place of a decision had an event: what was said there once and waits to be said again is off."""
    place = bench.place(entry.body["place"])
    now = entry.stamp.mono_ns
    bench.put(replace(place, last_input=entry.input_seq, last_ns=now, armed=None, armed_until_ns=None, **changes))


def _batch(bench: Bench, entry: Entry) -> None:
    """`open`, `join` (another place takes part), `close` (at one place; the last names the reason), `reopen`."""
    b = entry.body
    match b["op"]:
        case "open":
            planned = bench.get(Batch, b["batch"]) or _new_batch(b["batch"], practice=b["practice"])
            bench.put(replace(planned, opened_utc=entry.stamp.utc, species=b.get("species") or planned.species))
        case "close":
            known = bench.need(Batch, b["batch"])
            bench.put(replace(known, closed_utc=entry.stamp.utc, end_reason=b["reason"]))
        case "reopen":
            known = bench.need(Batch, b["batch"])
            bench.put(replace(known, closed_utc=None, end_reason=None))
    over: dict[str, Any] = {"batch": None, "pool": None} if b["op"] in ("close", "leave") else {"batch": b["batch"]}
    _touch(bench, entry, **over)


def _new_batch(name: str, *, practice: bool) -> Batch:
    return Batch(
        batch=name, parent=None, kind=None, opened_utc=None, closed_utc=None, species=None, total_mass_g=None,
        sub_mass_g=None, counted=None, measured=0, selection=None, preservation=None, presentation=None, end_reason=None,
        practice=practice,
    )  # fmt: skip


def _batch_planned(bench: Bench, entry: Entry) -> None:
    """A batch that is to come, with what is known of it: planned again, it is as it was planned last."""
    bench.put(replace(_new_batch(entry.body["batch"], practice=False), **entry.body["set"]))


def _batch_dropped(bench: Bench, entry: Entry) -> None:
    """A planned batch doesn't come."""
    bench.drop(("batch", entry.body["batch"]))


def _printed(bench: Bench, entry: Entry) -> None:
    bench.put(replace(bench.desk, printed=tuple(entry.body["ranges"])))


def _practice(bench: Bench, entry: Entry) -> None:
    bench.put(replace(bench.desk, practice=entry.body["on"]))
    _touch(bench, entry)


def _opened(bench: Bench, entry: Entry) -> None:
    b = entry.body
    assert entry.specimen_id is not None
    place = bench.place(b["place"])
    bench.put(
        Specimen(
            specimen_id=entry.specimen_id, number=b["number"], batch=b["batch"], species=b["species"],
            state=tables.step(tables.SPECIMEN, None, "opened"), end=None, place=b["place"],
            opened_seq=entry.seq, opened_utc=entry.stamp.utc, practice=b["practice"], provisional=b.get("provisional", False),
        )
    )  # fmt: skip
    desk = bench.desk
    free = tuple(n for n in desk.free_numbers if n != b["number"])
    bench.put(replace(desk, free_numbers=free, next_number=max(desk.next_number, b["number"] + 1)))
    _touch(
        bench, entry, in_hand=entry.specimen_id, previous=place.in_hand or place.previous, species_next=None,
        **{**_EMPTY_HAND, "waiting": place.waiting, "stays": place.stays},
    )  # fmt: skip


def _unopened(bench: Bench, entry: Entry) -> None:
    """A fish nothing was given to is none: its number goes back to the stack."""
    s = bench.need(Specimen, entry.specimen_id or "")
    bench.drop(("specimen", s.specimen_id))
    desk = bench.desk
    bench.put(replace(desk, free_numbers=tuple(sorted({*desk.free_numbers, s.number}))))
    place = bench.place(entry.body["place"])
    back = place.aside[-1] if place.aside else None
    _touch(bench, entry, in_hand=back, aside=place.aside[:-1], **{**_EMPTY_HAND, "stays": place.stays})


def _confirmed(bench: Bench, entry: Entry) -> None:
    """A fish opened by a reading is one."""
    bench.put(replace(bench.need(Specimen, entry.specimen_id or ""), provisional=False))


def _ready(bench: Bench, entry: Entry) -> None:
    """`ready` or `wanted`: required measurands are in, or one is open again."""
    s = bench.need(Specimen, entry.specimen_id or "")
    event = "required in" if entry.kind == "ready" else "wanted again"
    bench.put(replace(s, state=tables.step(tables.SPECIMEN, s.state, event)))


def _closed(bench: Bench, entry: Entry) -> None:
    b = entry.body
    s = bench.need(Specimen, entry.specimen_id or "")
    state = tables.step(tables.SPECIMEN, s.state, "ended")
    bench.put(replace(s, state=state, end=b["end"], closed_utc=entry.stamp.utc, same_as=b.get("same_as")))
    place = bench.place(b["place"])
    desk = bench.desk
    bench.put(replace(desk, fish_closed=desk.fish_closed + 1))
    batch = bench.get(Batch, s.batch)
    counts = (b["end"] not in NO_FISH) - (s.closed_utc is not None)
    if batch is not None and counts:
        bench.put(replace(batch, measured=batch.measured + counts))
    tray = place.tray if s.specimen_id in place.tray else (*place.tray, s.specimen_id)
    if b.get("waits") is not None:
        _no_longer_waits(bench, s.specimen_id, b["waits"])
        _touch(bench, entry, tray=tray)
        return
    back = place.aside[-1] if place.aside else None
    _touch(
        bench, entry, in_hand=back, aside=place.aside[:-1], previous=s.specimen_id, tray=tray, pool=None,
        **{**_EMPTY_HAND, "stays": place.stays},
    )  # fmt: skip


def _no_longer_waits(bench: Bench, specimen_id: str, before: str) -> None:
    """Out of the queue before a place, or of what was set apart."""
    if before:
        there = bench.place(before)
        bench.put(replace(there, queue=tuple(i for i in there.queue if i != specimen_id)))
    else:
        desk = bench.desk
        bench.put(replace(desk, parked=tuple(i for i in desk.parked if i != specimen_id)))


def _ended(bench: Bench, entry: Entry) -> None:
    """A closed fish's end changes (a late value made it complete)."""
    s = bench.need(Specimen, entry.specimen_id or "")
    bench.put(replace(s, end=entry.body["end"]))


def _recalled(bench: Bench, entry: Entry) -> None:
    s = bench.need(Specimen, entry.specimen_id or "")
    bench.put(replace(s, state=tables.step(tables.SPECIMEN, s.state, "recalled"), end=None))
    batch = bench.get(Batch, s.batch)
    if s.end in NO_FISH and batch is not None:  # it is one after all
        bench.put(replace(batch, measured=batch.measured + 1))
    place = bench.place(entry.body["place"])
    aside = (*place.aside, place.in_hand) if place.in_hand else place.aside
    _touch(bench, entry, in_hand=s.specimen_id, aside=aside, **{**_EMPTY_HAND, "stays": place.stays})


def _outcome(bench: Bench, entry: Entry) -> None:
    """What becomes of a reading."""
    b = entry.body
    r = bench.need(Reading, b["reading"])
    outcome = tables.step(tables.READING, r.outcome, b["event"])
    bench.put(
        replace(
            r, outcome=outcome, why=b.get("why"), place=b.get("place") or r.place,
            specimen_id=entry.specimen_id or r.specimen_id, practice=_practised(bench, entry, r.practice),
        )
    )  # fmt: skip
    if b.get("why") in ("bounce", "paused"):  # neither may propose a pause
        i = bench.instrument(r.instrument)
        bench.put(replace(i, arrivals_ns=i.arrivals_ns[:-1]))
    if b.get("place"):
        waiting = bench.place(b["place"]).waiting
        if outcome == "waiting":
            waiting = r.seq
        elif waiting == r.seq:
            waiting = None
        if outcome in ("doubled", "stale"):  # the same touch or load once more is no event of the place
            return
        _touch(bench, entry, waiting=waiting)


def _measured(bench: Bench, entry: Entry) -> None:
    b = entry.body
    s = bench.need(Specimen, entry.specimen_id or "")
    event = "doesn't fit" if b["questioned"] else "fits"
    m = Measurement(
        seq=entry.seq, specimen_id=s.specimen_id, number=s.number, measurand=b["measurand"], side=b["side"],
        replicate=b["replicate"], value=b["value"], unit=b["unit"], raw_value=b["raw_value"], raw_unit=b["raw_unit"],
        rounded_value=b["rounded"], status=tables.step(tables.MEASUREMENT, None, event), verdict=b["verdict"],
        cause=b["cause"], place=b["place"], instrument=b["instrument"], how=b["how"], measurer=b["measurer"],
        recorder=b["recorder"], zero_before=b["zero_before"], zero_after=None, taken_utc=b["taken_utc"],
        supersedes=b["supersedes"], reading_seq=b["reading"], practice=s.practice,
    )  # fmt: skip
    bench.put(m)
    if m.reading_seq is not None:
        bench.put(replace(bench.need(Reading, m.reading_seq), measurement_seq=m.seq))
    if m.supersedes is not None:
        old = bench.need(Measurement, m.supersedes)
        if old.status in ("stands", "questioned"):
            bench.put(replace(old, status=tables.step(tables.MEASUREMENT, old.status, "superseded")))
        # A swap gives the reading of one value to the other: it stays taken.
        if old.reading_seq is not None and old.reading_seq != m.reading_seq and m.how != "swapped":
            r = bench.need(Reading, old.reading_seq)
            if r.outcome == "taken":
                bench.put(replace(r, outcome=tables.step(tables.READING, r.outcome, "superseded")))
    key = m.key
    missing = {k: v for k, v in s.missing.items() if k != key} if key in s.missing else s.missing
    bench.reckon(replace(s, values={**s.values, key: m.seq}, missing=missing, given=s.given + 1))
    place = bench.place(b["place"])
    mine = place.in_hand == s.specimen_id
    _touch(
        bench, entry, filled=(*place.filled, m.seq) if mine else place.filled,
        route_as=None if mine and place.route_as == key else place.route_as,
        reopened=None if mine and place.reopened == key else place.reopened,
    )  # fmt: skip
    if m.instrument is not None and m.zero_before is not None:
        i = bench.instrument(m.instrument)
        bench.put(replace(i, since_zero=(*i.since_zero, m.seq)[-50:]))


def _withdrawn(bench: Bench, entry: Entry) -> None:
    """A measurement no longer stands and its measurand is wanted again."""
    m = bench.need(Measurement, entry.body["measurement"])
    bench.put(replace(m, status=tables.step(tables.MEASUREMENT, m.status, "withdrawn")))
    s = bench.need(Specimen, m.specimen_id)
    bench.reckon(replace(s, values={k: v for k, v in s.values.items() if v != m.seq}))
    _touch(bench, entry, filled=tuple(f for f in bench.place(entry.body["place"]).filled if f != m.seq))


def _judged(bench: Bench, entry: Entry) -> None:
    """A value is judged anew (its species became known): verdict and status change, the value never."""
    b = entry.body
    m = bench.need(Measurement, b["measurement"])
    status = m.status
    if b["questioned"] is not None and b["questioned"] != (m.status == "questioned"):
        status = tables.step(tables.MEASUREMENT, m.status, "doesn't fit" if b["questioned"] else "fits")
    bench.put(replace(m, verdict=b["verdict"], cause=b["cause"], status=status))
    bench.reckon(bench.need(Specimen, m.specimen_id))


def _stood_by(bench: Bench, entry: Entry) -> None:
    m = bench.need(Measurement, entry.body["measurement"])
    bench.put(replace(m, status=tables.step(tables.MEASUREMENT, m.status, "stood by"), stood_by=True))
    _touch(bench, entry)


def _suspect(bench: Bench, entry: Entry) -> None:
    """Later evidence makes a measurement suspect; its value and status stay."""
    m = bench.need(Measurement, entry.body["measurement"])
    if RANK[m.verdict] < RANK[3]:
        bench.put(replace(m, verdict=3, cause=entry.body["cause"]))
        s = bench.get(Specimen, m.specimen_id)
        if s is not None:
            bench.reckon(s)


def _missing(bench: Bench, entry: Entry) -> None:
    s = bench.need(Specimen, entry.specimen_id or "")
    missing = {**s.missing, entry.body["name"]: entry.body["reason"]}
    bench.put(replace(s, missing=missing, given=s.given + 1))
    _touch(bench, entry)


def _coded(bench: Bench, entry: Entry) -> None:
    b = entry.body
    s = bench.need(Specimen, entry.specimen_id or "")
    if b["supersedes"] is not None:
        bench.put(replace(bench.need(Coded, b["supersedes"]), status="superseded"))
    bench.put(
        Coded(
            seq=entry.seq, specimen_id=s.specimen_id, field=b["field"], scale=b["scale"], code=b["code"],
            missing_reason=b["missing_reason"], who=b["who"], at_utc=entry.stamp.utc, supersedes=b["supersedes"],
            practice=s.practice,
        )
    )  # fmt: skip
    bench.put(replace(s, codes={**s.codes, b["field"]: entry.seq}, given=s.given + 1))
    _touch(bench, entry)


def _species(bench: Bench, entry: Entry) -> None:
    if entry.specimen_id is None:
        _touch(bench, entry, species_next=entry.body["species"])
        return
    s = bench.need(Specimen, entry.specimen_id)
    bench.put(replace(s, species=entry.body["species"]))
    _touch(bench, entry)


def _practised_with(bench: Bench, label: str) -> bool:
    """Whether a container was only practised with and practice is over: then it is nobody's any more."""
    old = bench.get(Container, label)
    if old is None or not old.practice or bench.desk.practice:
        return False
    s = bench.get(Specimen, old.specimen_id) if old.specimen_id is not None else None
    if s is not None and s.practice:
        bench.put(replace(s, containers=tuple(c for c in s.containers if c != label)))
    return True


def _container(bench: Bench, entry: Entry) -> None:
    """A container is filled, or left out for good; those its label passed over are still to turn up."""
    b = entry.body
    _practised_with(bench, b["number"])
    filled = bench.need(Specimen, entry.specimen_id) if entry.specimen_id is not None else None
    got: Any = filled.structures.get(b["structure"] or "", {}) if filled is not None else {}
    bench.put(
        Container(
            number=b["number"], specimen_id=entry.specimen_id, structure=b.get("structure"), taken=got.get("taken"),
            side=got.get("side"), condition=got.get("condition"), kind=b["kind"], dried=b.get("dried"), state=b["state"],
            at_utc=entry.stamp.utc, practice=_practised(bench, entry, bench.desk.practice),
        )
    )  # fmt: skip
    for label in b.get("passed", ()):
        _practised_with(bench, label)
        bench.put(
            Container(
                number=label, specimen_id=None, structure=b.get("structure"), taken=None, side=None, condition=None,
                kind=b["kind"], dried=b.get("dried"), state=tables.step(tables.CONTAINER, None, "passed over"),
                at_utc=entry.stamp.utc, practice=bench.desk.practice,
            )
        )  # fmt: skip
    if entry.specimen_id is not None:
        s = bench.need(Specimen, entry.specimen_id)
        missing = {k: why for k, why in s.missing.items() if k != "container"}
        containers = (*s.containers, b["number"])
        bench.put(replace(s, containers=containers, missing=missing, given=s.given + 1, provisional=False))
    if not bench.desk.practice:  # the stack is where it was when practice is over
        bench.put(replace(bench.desk, expected=b["expected"]))
    left_out = (b["number"],) if b["state"] == "skipped" else ()
    passed = tuple(b.get("passed", ()))
    if (left_out or passed) and (name := bench.place(b["place"]).batch) is not None:
        batch = bench.need(Batch, name)
        bench.put(replace(batch, skipped=(*batch.skipped, *left_out), passed=(*batch.passed, *passed)))
    _touch(bench, entry)


def _container_void(bench: Bench, entry: Entry) -> None:
    """A container's fish never was: its number is used up."""
    bench.put(replace(bench.need(Container, entry.body["number"]), state="void", at_utc=entry.stamp.utc))


def _container_found(bench: Bench, entry: Entry) -> None:
    """A container was looked into later: nothing is in it, or something is. Its fish, where it has one, stays its fish."""
    b = entry.body
    known = None if _practised_with(bench, b["number"]) else bench.get(Container, b["number"])
    if known is None:
        known = Container(
            number=b["number"], specimen_id=None, structure=b["structure"], taken=None, side=None, condition=None,
            kind=b["kind"], dried=b["dried"], state=b["state"], at_utc=entry.stamp.utc, practice=bench.desk.practice,
        )  # fmt: skip
    bench.put(replace(known, state=b["state"], at_utc=entry.stamp.utc))
    if entry.specimen_id is not None:
        s = bench.need(Specimen, entry.specimen_id)
        missing = {k: why for k, why in s.missing.items() if k != "container"}
        if b["state"] == "empty":
            missing["container"] = b["reason"]
        bench.put(replace(s, missing=missing))
    _touch(bench, entry)


def _asked(bench: Bench, entry: Entry) -> None:
    """`asked` interrupts, `noted` goes on the quiet list."""
    b = entry.body
    asked = entry.kind == "asked"
    bench.put(
        Question(
            seq=entry.seq, place=b.get("place"), specimen_id=entry.specimen_id, measurand=b.get("measurand"),
            verdict=b["verdict"], kind=b["code"], args=b["args"], probability=b.get("probability"),
            runner_up=b.get("runner_up"), text=b["text"], asked=asked,
            state=tables.step(tables.QUESTION, None, entry.kind), answered_by=None, about=b.get("about"),
            practice=_practised(bench, entry, bench.desk.practice),
        )
    )  # fmt: skip
    if asked and "sound" in b["args"] and entry.specimen_id is not None:
        s = bench.need(Specimen, entry.specimen_id)
        bench.put(replace(s, doubted=entry.seq))
    if asked:
        desk = bench.desk
        bench.put(
            replace(desk, asked=desk.asked + 1, asked_statistical=desk.asked_statistical + bool(b.get("statistical")))
        )


def _moved(bench: Bench, entry: Entry) -> None:
    """A question is answered, moves to the quiet list, or was read out."""
    q = bench.need(Question, entry.body["question"])
    state = tables.step(tables.QUESTION, q.state, entry.body["event"])
    by = entry.input_seq if state == "answered" else q.answered_by
    bench.put(replace(q, state=state, answered_by=by))


def _read_out(bench: Bench, entry: Entry) -> None:
    """The tray was read out and is empty."""
    for seq in entry.body["questions"]:
        q = bench.need(Question, seq)
        if q.state == "quiet":
            bench.put(replace(q, state=tables.step(tables.QUESTION, q.state, "read out")))
    bench.put(replace(bench.place(entry.body["place"]), tray=()))


def _placed(bench: Bench, entry: Entry) -> None:
    """Something about the place itself: routing, pause, people."""
    said = entry.body["set"]
    _touch(bench, entry, **said)
    for role in ROLES:
        _remember_person(bench, said.get(role))


def _mend(bench: Bench, entry: Entry) -> None:
    """What was mended is in decisions of its own; this says who did it and why."""
    _remember_person(bench, entry.body["who"])


def _remember_person(bench: Bench, name: str | None) -> None:
    if name is not None and name not in bench.desk.people:
        bench.put(replace(bench.desk, people=(*bench.desk.people, name)))


def _armed(bench: Bench, entry: Entry) -> None:
    """A destructive act was said once (`armed`), or what was said once is off (`lapsed`)."""
    b = entry.body
    said, until = b.get("said"), b.get("until_ns")
    bench.put(replace(bench.place(b["place"]), armed=said, armed_until_ns=until))


#: Masses of trays that are remembered (tared, or found not to have been): one that wasn't tared explains a mass.
_TRAYS = 3


def _load(bench: Bench, entry: Entry) -> None:
    """What lies on an instrument is the tray, so the next load is new; or a load nobody saw arrive is known now."""
    b = entry.body
    i = bench.instrument(b["instrument"])
    if "reading" in b:
        load = {"load_seq": b["reading"], "load_specimens": b["specimens"], "load_readings": (b["reading"],)}
        bench.put(replace(i, **load))
    elif "specimens" in b:  # a fish of a queue was taken for it
        bench.put(replace(i, load_specimens=b["specimens"]))
    else:
        bench.put(replace(i, blind=False, zero=None, since_zero=(), **_CLEAR))
        for name in b.get("tared", ()):
            bench.put(replace(bench.get(Watch, name) or Watch(name), tared=True))
        _remember_tray(bench, b.get("tray"))


def _remember_tray(bench: Bench, grams: str | None) -> None:
    if grams is not None and grams not in bench.desk.trays:
        bench.put(replace(bench.desk, trays=(*bench.desk.trays, grams)[-_TRAYS:]))


def _went_on(bench: Bench, entry: Entry) -> None:
    """In a row: from a hand into the queue before the next place."""
    assert entry.specimen_id is not None
    to = bench.place(entry.body["to"])
    idle = to.in_hand is None and not to.queue
    bench.put(replace(to, queue=(*to.queue, entry.specimen_id), came_idle=entry.specimen_id if idle else to.came_idle))
    # What was asked of it here, and a reading that waits for it, stay until the next fish begins.
    waiting = bench.place(entry.body["place"]).waiting
    _touch(bench, entry, in_hand=None, previous=entry.specimen_id, **{**_EMPTY_HAND, "waiting": waiting})


def _took(bench: Bench, entry: Entry) -> None:
    """In a row: out of the queue into the hand."""
    assert entry.specimen_id is not None
    place = bench.place(entry.body["place"])
    rest = tuple(i for i in place.queue if i != entry.specimen_id)
    idle = place.came_idle == entry.specimen_id
    unbroken = (entry.specimen_id,) if idle else (*place.unbroken, entry.specimen_id)[-_UNBROKEN:]
    _touch(
        bench, entry, queue=rest, in_hand=entry.specimen_id, unbroken=unbroken,
        came_idle=None if idle else place.came_idle, **_EMPTY_HAND,
    )  # fmt: skip


def _called_back(bench: Bench, entry: Entry) -> None:
    """In a row: out of the queue before the next place, back into the hand it came from."""
    assert entry.specimen_id is not None
    to = bench.place(entry.body["from"])
    bench.put(replace(to, queue=tuple(i for i in to.queue if i != entry.specimen_id)))
    place = bench.place(entry.body["place"])
    s = bench.need(Specimen, entry.specimen_id)
    here = [seq for seq in s.values.values() if bench.need(Measurement, seq).place == place.place]
    # The waiting reading is its own still.
    _touch(
        bench,
        entry,
        in_hand=entry.specimen_id,
        **{**_EMPTY_HAND, "filled": tuple(sorted(here)), "waiting": place.waiting},
    )


def _in_step(bench: Bench, entry: Entry) -> None:
    """In a row: somebody looked, or what was out of step is marked: from here on it counts anew. No event of the place."""
    bench.put(replace(bench.place(entry.body["place"]), unbroken=()))


def _parked(bench: Bench, entry: Entry) -> None:
    assert entry.specimen_id is not None
    bench.put(replace(bench.desk, parked=(*bench.desk.parked, entry.specimen_id)))
    _touch(bench, entry, in_hand=None, **_EMPTY_HAND)


def _back(bench: Bench, entry: Entry) -> None:
    parked = tuple(i for i in bench.desk.parked if i != entry.specimen_id)
    bench.put(replace(bench.desk, parked=parked))
    _touch(bench, entry, in_hand=entry.specimen_id, **_EMPTY_HAND)


#: So many of the fish that were taken without a break are remembered.
_UNBROKEN = 40

#: A hand that held one fish is ready for another.
_EMPTY_HAND: Mapping[str, Any] = {
    "waiting": None, "filled": (), "route_as": None, "reopened": None, "stays": None, "parts_of": None, "parts_left": 0,
    "parts_values": (),
}  # fmt: skip


def _set_aside(bench: Bench, entry: Entry) -> None:
    """A fish makes way for another and comes back when that is closed."""
    assert entry.specimen_id is not None
    place = bench.place(entry.body["place"])
    _touch(bench, entry, aside=(*place.aside, entry.specimen_id))


def _tagged(bench: Bench, entry: Entry) -> None:
    s = bench.need(Specimen, entry.specimen_id or "")
    bench.put(replace(s, tag=entry.body["tag"]))
    _touch(bench, entry)


def _tallied(bench: Bench, entry: Entry) -> None:
    """One animal more in its class."""
    b = entry.body
    known = bench.objects.get(("tally", b["tally"]))
    n = known.n if isinstance(known, Tally) else b["n"] - 1
    bench.put(
        Tally(
            tally=b["tally"], batch=b["batch"], place=b["place"], species=b["species"], sex=b["sex"],
            measurand=b["measurand"], class_mm=b["class_mm"], n=n + 1, practice=b["practice"],
        )
    )  # fmt: skip
    _touch(bench, entry)


def _uncounted(bench: Bench, entry: Entry) -> None:
    """A touch that was counted was none of an animal."""
    known = bench.need(Tally, entry.body["tally"])
    bench.put(replace(known, n=known.n - 1))


def _pooled(bench: Bench, entry: Entry) -> None:
    """One mass for several animals."""
    b = entry.body
    bench.put(
        Pool(
            seq=entry.seq, batch=b["batch"], place=b["place"], species=b["species"], n=b["n"], measurand=b["measurand"],
            value=b["value"], unit=b["unit"], raw_value=b["raw_value"], raw_unit=b["raw_unit"],
            status=tables.step(tables.MEASUREMENT, None, "fits"), at_utc=entry.stamp.utc, reading_seq=b["reading"],
            practice=b["practice"],
        )
    )  # fmt: skip
    _touch(bench, entry, pool=None)


def _counted(bench: Bench, entry: Entry) -> None:
    """Animals counted, not measured."""
    batch = bench.need(Batch, entry.body["batch"])
    bench.put(replace(batch, counted=(batch.counted or 0) + entry.body["n"]))
    _touch(bench, entry)


def _noted_of_batch(bench: Bench, entry: Entry) -> None:
    """What is known of a batch beside its fish: masses, selection, preservation, presentation."""
    bench.put(replace(bench.need(Batch, entry.body["batch"]), **entry.body["set"]))
    _touch(bench, entry)


def _structure(bench: Bench, entry: Entry) -> None:
    """What was got of a structure; its container, where there is one, says the same."""
    b = entry.body
    s = bench.need(Specimen, entry.specimen_id or "")
    got = {"taken": b["taken"], "side": b["side"], "condition": b["condition"]}
    bench.put(replace(s, structures={**s.structures, b["structure"]: got}, given=s.given + 1))
    for label in s.containers:
        c = bench.need(Container, label)
        if c.structure == b["structure"]:
            bench.put(replace(c, taken=b["taken"], side=b["side"], condition=b["condition"]))
    _touch(bench, entry)


def _container_moved(bench: Bench, entry: Entry) -> None:
    """A torn or wrong container: what it held is in another."""
    b = entry.body
    s = bench.need(Specimen, entry.specimen_id or "")
    _practised_with(bench, b["new"])
    old = bench.need(Container, b["old"])
    bench.put(replace(old, state=b["state"], specimen_id=None, at_utc=entry.stamp.utc))
    bench.put(replace(old, number=b["new"], at_utc=entry.stamp.utc))
    bench.put(replace(s, containers=tuple(b["new"] if c == b["old"] else c for c in s.containers)))
    _touch(bench, entry)


def _zeroed(bench: Bench, entry: Entry) -> None:
    """A good zero was seen: what was weighed before it is settled."""
    i = bench.instrument(entry.body["instrument"])
    bench.put(replace(i, zero=entry.body["zero"], since_zero=()))


def _verified(bench: Bench, entry: Entry) -> None:
    """A known length or mass was shown to an instrument."""
    b = entry.body
    shown = replace(bench.instrument(b["instrument"]), last_verified_utc=entry.stamp.utc, verified=b["passed"])
    bench.put(shown)
    _touch(bench, entry, known=None, known_ns=None)


def _check_due(bench: Bench, entry: Entry) -> None:
    """Whether an instrument is right isn't known any more."""
    bench.put(replace(bench.instrument(entry.body["instrument"]), verified=None))


def _undone(bench: Bench, entry: Entry) -> None:
    b = entry.body
    memento = bench.last_memento(b["place"], b["redo"])
    assert memento is not None
    assert b["redo"] or memento.input_seq == b["of"]
    bench.unwind(memento, entry.input_seq or 0)
    bench.put(replace(bench.place(b["place"]), last_input=entry.input_seq))


def _key(bench: Bench, entry: Entry) -> None:
    bench.put(replace(bench.place(entry.body["place"]), last_key_ns=entry.body["at_ns"]))


def _loaded(bench: Bench, entry: Entry) -> None:
    """An object that had left memory is wanted again, as it was."""
    bench.load(from_json(entry.body["kind"], entry.body["object"]))


def _learned(bench: Bench, entry: Entry) -> None:
    """A closed fish taught something: of its kind, of the order of fish at its place, of how often the bench asks."""
    b = entry.body
    s = bench.need(Specimen, entry.specimen_id or "")
    bench.put(replace(s, learned=entry.seq, taught=b["taught"]))
    desk, kind = bench.desk, b["taught"]["kind"]
    known = {k: learned for k in desk.kinds if (learned := bench.get(Learned, k)) is not None}
    watch = bench.get(Watch, b["place"]) or Watch(b["place"])
    bench.put(memory.follow_on(watch, b, str(s.number), b["taught"], known))
    of_all = memory.learn_more(known.get(kind) or Learned(kind), b)
    bench.put(of_all)
    kinds = dict.fromkeys((*desk.kinds, of_all.id))
    if (group := b["taught"].get("group")) is not None:
        theirs = memory.learn_more(known.get(kin(kind, group)) or Learned(kind, group=group), b["grouped"])
        bench.put(theirs)
        kinds[theirs.id] = None
    ration = memory.ration_after(desk.ration, b["ration"]) if "ration" in b else desk.ration
    bench.put(replace(desk, kinds=tuple(kinds), ration=ration))
    _remember_tray(bench, b.get("tray"))


def _taught(bench: Bench, entry: Entry) -> None:
    """A closed fish teaches something else than it did, or nothing."""
    bench.put(replace(bench.need(Specimen, entry.specimen_id or ""), taught=entry.body["taught"]))


def _relearned(bench: Bench, entry: Entry) -> None:
    """A kind of fish, or a group of one, was learned anew from what its fish teach now."""
    learned = Learned(**entry.body)
    bench.put(learned)
    if learned.id not in bench.desk.kinds:
        bench.put(replace(bench.desk, kinds=(*bench.desk.kinds, learned.id)))


def _nothing(bench: Bench, entry: Entry) -> None:
    """Said, but nothing changes."""


EFFECTS: Mapping[str, Effect] = {
    "batch": _batch,
    "batch-planned": _batch_planned,
    "batch-dropped": _batch_dropped,
    "practice": _practice,
    "printed": _printed,
    "opened": _opened,
    "unopened": _unopened,
    "confirmed": _confirmed,
    "ready": _ready,
    "wanted": _ready,
    "closed": _closed,
    "ended": _ended,
    "recalled": _recalled,
    "outcome": _outcome,
    "measured": _measured,
    "withdrawn": _withdrawn,
    "stood-by": _stood_by,
    "judged": _judged,
    "suspect": _suspect,
    "missing": _missing,
    "coded": _coded,
    "species": _species,
    "container": _container,
    "container-void": _container_void,
    "container-found": _container_found,
    "asked": _asked,
    "noted": _asked,
    "question": _moved,
    "read-out": _read_out,
    "placed": _placed,
    "armed": _armed,
    "lapsed": _armed,
    "load": _load,
    "zeroed": _zeroed,
    "verified": _verified,
    "check-due": _check_due,
    "undone": _undone,
    "key": _key,
    "loaded": _loaded,
    "moved": _went_on,
    "took": _took,
    "called-back": _called_back,
    "in-step": _in_step,
    "parked": _parked,
    "back": _back,
    "set-aside": _set_aside,
    "tagged": _tagged,
    "tallied": _tallied,
    "uncounted": _uncounted,
    "pooled": _pooled,
    "counted": _counted,
    "batch-noted": _noted_of_batch,
    "structure": _structure,
    "container-moved": _container_moved,
    "learned": _learned,
    "taught": _taught,
    "relearned": _relearned,
    "mend": _mend,
    "told": _nothing,
    "refused": _nothing,
}
