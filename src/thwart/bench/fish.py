"""Opening and closing specimens, numbers, trays. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from .filling import ask, lacking, said_value, settle_ready, standing
from .judging import Finding
from .kernel import Refusal
from .setup import InstrumentSetup
from .state import Batch, End, Question, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def open_fish(bench: Bench, place: str, *, by: str) -> Specimen:
    """Open the next specimen at a place. Raises Refusal without a batch or when the block of numbers is used up."""
    here = bench.place(place)
    batch = bench.get(Batch, here.batch) if here.batch else None
    if batch is None:
        raise Refusal("no-batch")
    desk = bench.desk
    number = desk.free_numbers[0] if desk.free_numbers else desk.next_number
    numbers = bench.setup.protocol.numbers
    if number > numbers.last:
        raise Refusal("numbers-used-up", first=numbers.first, last=numbers.last)
    species = here.species_next or batch.species or bench.setup.protocol.single_species
    ident = bench.new_id()
    bench.decide(
        "opened", ident, place=place, number=number, batch=batch.batch, species=species, practice=batch.practice, by=by
    )  # fmt: skip
    return bench.need(Specimen, ident)


def close_fish(bench: Bench, place: str, specimen: Specimen, end: End | None = None) -> None:
    """Close a specimen: its questions go to the quiet list, a waiting reading is left behind, the tray fills."""
    missing = lacking(bench, specimen)
    end = end or ("incomplete" if missing else "complete")
    leave_behind(bench, place)
    for q in bench.open_questions(place):
        event = "answered" if q.kind == "same-fish" else "next fish"  # closing it says that it was
        bench.decide("question", q.specimen_id, question=q.seq, event=event)
    if end == "incomplete":
        args = {"number": specimen.number, "wanted": ", ".join(missing)}
        ask(bench, place, specimen, Finding("incomplete", 3, args), about=specimen.opened_seq, quiet=True)
    bench.decide("closed", specimen.specimen_id, place=place, number=specimen.number, end=end)
    here = bench.place(place)
    if len(here.tray) >= bench.setup.protocol.tray:
        read_out(bench, place)


def leave_behind(bench: Bench, place: str) -> None:
    """A waiting reading nobody claimed goes loose, onto the quiet list."""
    seq = bench.place(place).waiting
    if seq is None:
        return
    reading = bench.need(Reading, seq)
    for q in bench.open_questions(place):
        if q.about == seq:
            bench.decide("question", q.specimen_id, question=q.seq, event="next fish")
    bench.decide("outcome", reading.specimen_id, reading=seq, event="left behind", why="left-behind", place=place)
    specimen = bench.get(Specimen, reading.specimen_id) if reading.specimen_id else None
    ask(bench, place, specimen, Finding("left-behind", 3, said_value(reading)), about=seq, quiet=True)


def read_out(bench: Bench, place: str) -> None:
    """The tray is full (or the batch ends): read out what to look at before it is discarded."""
    here = bench.place(place)
    quiet = sorted((q for q in bench.all(Question) if q.place == place and q.state == "quiet"), key=lambda q: q.seq)
    numbers = [bench.need(Specimen, i).number for i in here.tray]
    bench.decide(
        "read-out", None, place=place, numbers=numbers, questions=[q.seq for q in quiet], texts=[q.text for q in quiet]
    )  # fmt: skip


def other_division(bench: Bench, instrument: InstrumentSetup, a: Decimal, b: Decimal, steps: int) -> bool:
    """Whether two values (base unit) lie more than so many divisions apart; without a division any difference counts."""
    return abs(a - b) > (instrument.division or Decimal(0)) * steps


def summary(bench: Bench, specimen: Specimen) -> str:
    """What was taken, in words (`total_length 212 mm`)."""
    parts = [f"{key} {m.value} {m.unit}" for key, m in standing(bench, specimen).items()]
    return ", ".join(parts) or "nothing taken"


def recall(bench: Bench, place: str, specimen: Specimen) -> None:
    """A closed specimen is in hand again; what was in hand is set aside until it closes. Raises Refusal."""
    if specimen.state != "closed":
        raise Refusal("fish-not-closed", number=specimen.number)
    if specimen.end == "void":
        raise Refusal("void-fish", number=specimen.number)
    leave_behind(bench, place)
    bench.decide("recalled", specimen.specimen_id, place=place, number=specimen.number)
    settle_ready(bench, specimen.specimen_id)
    bench.label(f"recall {specimen.number}")
