"""Filling: which measurand a value goes to, what the checks say of it, and whether the specimen is ready. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from . import words
from .judging import Finding, judge
from .protocol import Slot
from .setup import InstrumentSetup
from .state import Measurement, Question, Reading, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def standing(bench: Bench, specimen: Specimen) -> dict[str, Measurement]:
    """The specimen's measurements that stand or are questioned, by key."""
    return {key: bench.need(Measurement, seq) for key, seq in specimen.values.items()}


def wanted(bench: Bench, specimen: Specimen) -> list[Slot]:
    """Slots the protocol still asks of it, in order."""
    slots = bench.setup.protocol.slots_for(specimen.species)
    return [s for s in slots if s.key not in specimen.values and s.key not in specimen.missing]


def lacking(bench: Bench, specimen: Specimen) -> list[str]:
    """What is required and not there: measurands by key, coded fields, the container."""
    protocol = bench.setup.protocol
    out = [s.key for s in wanted(bench, specimen) if s.measurand.required]
    if any(c.required for c in protocol.codes.values()):
        known = bench.coded_fields(specimen)
        out += [f for f, c in protocol.codes.items() if c.required and f not in known and f not in specimen.missing]
    if (
        protocol.containers
        and protocol.containers.required
        and not specimen.containers
        and "container" not in specimen.missing
    ):
        out.append("container")
    return out


def is_ready(bench: Bench, specimen: Specimen) -> bool:
    """Whether all required measurands are in (or missing with a reason)."""
    return not any(s.measurand.required for s in wanted(bench, specimen))


def settle_ready(bench: Bench, specimen_id: str) -> None:
    """Move the specimen between open and ready, or mend the end of a closed one, as what it has demands."""
    s = bench.need(Specimen, specimen_id)
    ready = is_ready(bench, s)
    if s.state == "open" and ready:
        bench.decide("ready", s.specimen_id, number=s.number)
    elif s.state == "ready" and not ready:
        bench.decide("wanted", s.specimen_id, number=s.number)
    elif s.state == "closed" and s.end in ("complete", "incomplete"):
        end = "incomplete" if lacking(bench, s) else "complete"
        if end != s.end:
            bench.decide("ended", s.specimen_id, number=s.number, end=end)


def serves(instrument: InstrumentSetup, slot: Slot, value: Decimal | None) -> bool:
    """Whether an instrument can give this slot a value (None: any value)."""
    m = slot.measurand
    if m.quantity != instrument.kind or (instrument.serves is not None and m.name not in instrument.serves):
        return False
    if value is None:
        return True
    return (m.minimum is None or value >= m.minimum) and (m.maximum is None or value <= m.maximum)


def route(
    bench: Bench, specimen: Specimen, instrument: InstrumentSetup, value: Decimal, override: str | None
) -> Slot | None:
    """The slot a reading fills: the override, else the first wanted one that its instrument serves and that admits it."""
    if override is not None:
        slot = bench.setup.protocol.slot_by_key.get(override)
        return slot if slot is not None and slot.measurand.quantity == instrument.kind else None
    return next((s for s in wanted(bench, specimen) if serves(instrument, s, value)), None)


def filled_by(bench: Bench, specimen: Specimen, instrument: InstrumentSetup) -> Measurement | None:
    """The specimen's measurement last filled among what this instrument serves."""
    keys = {s.key for s in bench.setup.protocol.slots_for(specimen.species) if serves(instrument, s, None)}
    found = [m for key, m in standing(bench, specimen).items() if key in keys]
    return max(found, key=lambda m: m.seq, default=None)


def ask(
    bench: Bench,
    place: str | None,
    specimen: Specimen | None,
    finding: Finding,
    *,
    about: int | None,
    quiet: bool = False,
) -> int:
    """Ask (or note on the quiet list) what a check found."""
    args = {k: v if isinstance(v, int | str) or v is None else str(v) for k, v in finding.args.items()}
    return bench.decide(
        "noted" if quiet else "asked",
        None if specimen is None else specimen.specimen_id,
        place=place, code=finding.code, verdict=finding.verdict, args=args, about=about,
        measurand=finding.args.get("measurand"), probability=finding.probability, runner_up=finding.runner_up,
        statistical=finding.statistical, text=words.say(words.QUESTIONS, finding.code, finding.args),
    )  # fmt: skip


def answer(bench: Bench, questions: list[Question]) -> None:
    """The person has answered these."""
    for q in questions:
        bench.decide("question", q.specimen_id, question=q.seq, event="answered")


def about(bench: Bench, place: str, seqs: set[int]) -> list[Question]:
    """Open or quiet questions of a place about these readings or measurements."""
    return [q for q in bench.all(Question) if q.place == place and q.state in ("open", "quiet") and q.about in seqs]


def fill(
    bench: Bench,
    place: str,
    specimen: Specimen,
    slot: Slot,
    *,
    value: Decimal,
    raw_value: str,
    raw_unit: str,
    how: str,
    reading: Reading | None = None,
    supersedes: int | None = None,
    event: str = "fills",
    check: bool = True,
) -> int:
    """Give a value (base unit) to a slot of a specimen, judge it, say so. Returns the measurement's seq."""
    m = slot.measurand
    others = {k: v for k, v in standing(bench, specimen).items() if v.seq != supersedes}
    findings = judge(bench.setup.protocol, specimen, slot, value, others) if check else []
    worst = max(findings, key=lambda f: f.verdict, default=None)
    here = bench.place(place)
    rounded = None if m.rounding is None else units.plain(units.rounded(value, m.rounding.step_base, m.rounding.rule))
    if reading is not None:
        bench.decide("outcome", specimen.specimen_id, reading=reading.seq, event=event, place=place)
    seq = bench.decide(
        "measured", specimen.specimen_id,
        place=place, number=specimen.number, measurand=m.name, side=slot.side, replicate=slot.replicate,
        value=units.plain(value), unit=units.BASE[m.quantity], raw_value=raw_value, raw_unit=raw_unit, rounded=rounded,
        questioned=worst is not None, verdict=worst.verdict if worst else 1, cause=worst.code if worst else None,
        instrument=reading.instrument if reading else None, how=how, measurer=here.measurer, recorder=here.recorder,
        zero_before=reading.zero_before if reading else None, reading=reading.seq if reading else None,
        taken_utc=reading.done_utc if reading else bench.input.stamp.utc, supersedes=supersedes,
        one_of=sum(1 for s in bench.setup.protocol.slots if s.measurand.quantity == m.quantity),
    )  # fmt: skip
    bench.label(f"{m.name} {raw_value} {raw_unit} of {specimen.number}")
    if supersedes is not None:
        answer(bench, about(bench, place, {supersedes}))
    for finding in findings:
        ask(bench, place, bench.need(Specimen, specimen.specimen_id), finding, about=seq)
    settle_ready(bench, specimen.specimen_id)
    return seq


def give(
    bench: Bench,
    place: str,
    specimen: Specimen,
    slot: Slot,
    reading: Reading,
    *,
    supersedes: int | None = None,
    event: str = "fills",
) -> int:
    """Give a reading to a slot of a specimen."""
    return fill(
        bench, place, specimen, slot, value=Decimal(reading.base_value or "0"), raw_value=reading.value or "",
        raw_unit=reading.unit or "", how="instrument", reading=reading, supersedes=supersedes, event=event,
    )  # fmt: skip


def said_value(reading: Reading) -> dict[str, Any]:
    """A reading's arguments for words."""
    return {"instrument": reading.instrument, "value": reading.value or "?", "unit": reading.unit or ""}
