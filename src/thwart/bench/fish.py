"""Opening and closing specimens, numbers, trays. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from . import tables
from .filling import ask, lacking, said_value, settle_ready, standing
from .judging import Finding
from .kernel import Refusal
from .setup import InstrumentSetup
from .state import Batch, Container, End, Measurement, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def open_fish(bench: Bench, place: str, *, by: str, provisional: bool = False) -> Specimen:
    """Open the next specimen at a place. Raises Refusal without a batch or when the block of numbers is used up."""
    here = bench.place(place)
    batch = bench.get(Batch, here.batch) if here.batch else None
    if batch is None:
        raise Refusal("no-batch")
    number = _next_number(bench)
    if number is None:
        numbers = bench.setup.protocol.numbers
        raise Refusal("numbers-used-up", first=numbers.first, last=numbers.last)
    species = here.species_next or batch.species or bench.setup.protocol.single_species
    ident = bench.new_id()
    bench.decide(
        "opened", ident, place=place, number=number, batch=batch.batch, species=species, practice=batch.practice, by=by,
        provisional=provisional,
    )  # fmt: skip
    return bench.need(Specimen, ident)


def open_next(bench: Bench, place: str, *, by: str) -> None:
    """Open the next specimen where a fish was just closed or a batch opened; what hinders it is told, not refused.

    Only where fish open at all: not behind the first place of a row, not in a tally, not in a pass over earlier fish.
    """
    protocol = bench.setup.protocol
    if protocol.flow in ("tally", "revisit") or protocol.position(place) not in (None, 0):
        return
    if _next_number(bench) is None:
        numbers = bench.setup.protocol.numbers
        bench.tell(None, place=place, code="numbers-used-up", first=numbers.first, last=numbers.last)
    elif bench.ids_left():
        open_fish(bench, place, by=by)


def _next_number(bench: Bench) -> int | None:
    """The lowest number given back, else the next one of the block; None when it is used up.

    Where the block was another one meanwhile, it goes on behind the highest number of it that a fish bears.
    """
    numbers, desk = bench.setup.protocol.numbers, bench.desk
    free = next((n for n in desk.free_numbers if numbers.first <= n <= numbers.last), None)
    if free is not None:
        return free
    number = max(desk.next_number, numbers.first)
    if number > numbers.last:
        used = bench.highest_number(numbers.first, numbers.last)
        number = numbers.first if used is None else used + 1
    return number if number <= numbers.last else None


def opens_by_itself(bench: Bench) -> bool:
    """A `first` label opens its fish itself; otherwise a fish opens when its batch does or the one before closes."""
    containers = bench.setup.protocol.containers
    return containers is None or containers.role != "first"


def close_fish(
    bench: Bench,
    place: str,
    specimen: Specimen,
    end: End | None = None,
    *,
    same_as: int | None = None,
    waits: str | None = None,
) -> None:
    """Close a specimen: its questions go to the quiet list, a waiting reading is left behind, the tray fills.

    `waits`: the place before which it waits, where it is closed from afar and what is in hand here goes on.
    """
    missing = lacking(bench, specimen)
    bench.get(Batch, specimen.batch)  # its count changes with it
    end = end or ("incomplete" if missing else "complete")
    if waits is None:
        keep_for_later(bench, place)
        note_pieces(bench, place, specimen)
    others = ", ".join(name for name in missing if name != "species")
    if end == "incomplete" and others:
        args = {"number": specimen.number, "wanted": others}
        ask(bench, place, specimen, Finding("incomplete", 3, args), about=specimen.opened_seq, quiet=True)
    bench.decide(
        "closed", specimen.specimen_id, place=place, number=specimen.number, end=end, same_as=same_as, waits=waits
    )
    if end == "incomplete" and "species" in missing:  # it can still be seen which it was
        ask(bench, place, specimen, Finding("no-species", 3, {"number": specimen.number}), about=specimen.opened_seq)
    if end == "void":
        _void(bench, place, specimen)
    if len(bench.place(place).tray) >= bench.setup.protocol.tray:
        read_out(bench, place)


def note_pieces(bench: Bench, place: str, specimen: Specimen, *, quiet: bool = False) -> None:
    """Pieces that are awaited here come no more: those that came make no value, and it is said."""
    here = bench.place(place)
    if here.parts_values and here.in_hand == specimen.specimen_id:
        args = {
            "number": specimen.number, "measurand": here.parts_of, "left": here.parts_left,
            "values": ", ".join(here.parts_values),
        }  # fmt: skip
        ask(bench, place, specimen, Finding("pieces-left", 3, args), about=specimen.opened_seq, quiet=quiet)


def _void(bench: Bench, place: str, specimen: Specimen) -> None:
    """There never was such a fish: its values don't stand, its readings are nobody's, its container is used up."""
    for m in standing(bench, specimen).values():
        bench.decide("withdrawn", specimen.specimen_id, measurement=m.seq, place=place)
        reading = bench.need(Reading, m.reading_seq) if m.reading_seq is not None else None
        if reading is not None and reading.outcome == "taken":
            bench.decide("outcome", None, reading=reading.seq, event="taken back", why="void", place=place)
    for label in specimen.containers:
        tables.step(tables.CONTAINER, bench.need(Container, label).state, "its fish is void")
        bench.decide("container-void", specimen.specimen_id, number=label)


def keep_for_later(bench: Bench, place: str, *, but: str | None = None) -> None:
    """The next fish comes: what is open here goes to the quiet list, a waiting reading is left behind; not those of `but`."""
    waiting = bench.place(place).waiting
    if but is None or (waiting is not None and bench.need(Reading, waiting).specimen_id != but):
        leave_behind(bench, place)
    kept = set()
    for q in bench.open_questions(place):
        if but is not None and q.specimen_id in (None, but):
            continue
        answered = q.kind in ("same-fish", "hosing")  # going on says that it was, and that there was none
        bench.decide("question", q.specimen_id, question=q.seq, event="answered" if answered else "next fish")
        asked_of = bench.get(Specimen, q.specimen_id) if q.specimen_id is not None else None
        if not answered and asked_of is not None:
            kept.add(asked_of.number)
    if kept:
        bench.tell(None, place=place, code="kept", numbers=", ".join(map(str, sorted(kept))))


def leave_behind(bench: Bench, place: str) -> None:
    """A waiting reading nobody claimed goes loose, onto the quiet list."""
    seq = bench.place(place).waiting
    if seq is None:
        return
    reading = bench.need(Reading, seq)
    bench.decide("outcome", reading.specimen_id, reading=seq, event="left behind", why="left-behind", place=place)
    asked = [q for q in bench.open_questions(place) if q.about == seq]
    for q in asked:
        bench.decide("question", q.specimen_id, question=q.seq, event="next fish")
    if not asked:
        note_left(bench, place, reading)


def note_left(bench: Bench, place: str, reading: Reading) -> None:
    """A reading was never given to a fish: onto the quiet list."""
    specimen = bench.get(Specimen, reading.specimen_id) if reading.specimen_id else None
    ask(bench, place, specimen, Finding("left-behind", 3, said_value(reading)), about=reading.seq, quiet=True)


def read_out(bench: Bench, place: str) -> None:
    """The tray is full (or the batch ends): read out what to look at before it is discarded."""
    here = bench.place(place)
    quiet = [q for q in bench.live_questions() if q.place == place and q.state == "quiet"]
    numbers = [bench.need(Specimen, i).number for i in here.tray]
    bench.decide(
        "read-out", None, place=place, numbers=numbers, questions=[q.seq for q in quiet], texts=[q.text for q in quiet],
        found=[{"code": q.kind, "args": dict(q.args)} for q in quiet],
    )  # fmt: skip


def apart(instrument: InstrumentSetup, a: Decimal, b: Decimal, steps: int) -> bool:
    """Whether two values (base unit) lie more than so many divisions apart; without a division any difference counts."""
    return abs(a - b) > (instrument.division or Decimal(0)) * steps


def summary(bench: Bench, specimen: Specimen) -> str:
    """What was taken, in words (`total_length 212 mm`)."""
    parts = [f"{key} {m.value} {m.unit}" for key, m in standing(bench, specimen).items()]
    return ", ".join(parts) or "nothing taken"


def of_its_side(bench: Bench, specimen: Specimen) -> Specimen:
    """The specimen itself. Raises Refusal where it is practice and the bench doesn't practise, or the other way."""
    if specimen.practice != bench.desk.practice:
        raise Refusal("practice-fish" if specimen.practice else "no-practice-fish", number=specimen.number)
    return specimen


def recall(bench: Bench, place: str, specimen: Specimen) -> None:
    """A closed specimen is in hand again; what was in hand is set aside until it closes. Raises Refusal."""
    if specimen.state != "closed":
        raise Refusal("fish-not-closed", number=specimen.number)
    if specimen.end == "void":
        raise Refusal("void-fish", number=specimen.number)
    of_its_side(bench, specimen)
    if bench.place(place).batch is None and bench.setup.protocol.flow != "revisit":
        raise Refusal("no-batch")
    leave_behind(bench, place)
    bench.get(Batch, specimen.batch)  # its count may change with it
    bench.decide("recalled", specimen.specimen_id, place=place, number=specimen.number)
    settle_ready(bench, specimen.specimen_id)


def measured_of(bench: Bench, reading: Reading) -> Measurement | None:
    """The measurement last made of a reading."""
    return None if reading.measurement_seq is None else bench.need(Measurement, reading.measurement_seq)
