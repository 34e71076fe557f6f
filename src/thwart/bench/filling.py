"""Filling: which measurand a value goes to, what the checks say of it, and whether the specimen is ready. Pure."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from ..checks.state import FIRST
from . import words
from .judging import STATISTICAL, Finding, New, Opinion, judge, opinion, opinion_again
from .protocol import Slot
from .setup import InstrumentSetup
from .state import Coded, Measurement, Question, Reading, Specimen

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
    """What is required and not there: the species where there are several, measurands by key, coded fields, the container."""
    protocol = bench.setup.protocol
    out = ["species"] if protocol.species and specimen.species is None else []
    out += [s.key for s in wanted(bench, specimen) if s.measurand.required]
    out += [f for f, c in protocol.codes.items() if c.required and f not in specimen.codes]
    containers = protocol.containers
    if containers and containers.required and not specimen.containers and "container" not in specimen.missing:
        out.append("container")
    return out


def is_ready(bench: Bench, specimen: Specimen) -> bool:
    """Whether all required measurands are in (or missing with a reason)."""
    return not any(s.measurand.required for s in wanted(bench, specimen))


def settle_ready(bench: Bench, specimen_id: str) -> None:
    """Move the specimen between open and ready, or mend the end of a closed one, as what it has demands."""
    s = bench.need(Specimen, specimen_id)
    if s.state == "closed":
        if s.end not in ("complete", "incomplete"):
            return
        end = "incomplete" if lacking(bench, s) else "complete"
        if end != s.end:
            bench.decide("ended", s.specimen_id, number=s.number, end=end)
            answer(bench, [q for q in bench.live_questions_of(s.id) if q.kind == "incomplete"])
        return
    ready = is_ready(bench, s)
    if ready != (s.state == "ready"):
        bench.decide("ready" if ready else "wanted", s.specimen_id, number=s.number)


def serves(instrument: InstrumentSetup, slot: Slot, value: Decimal | None) -> bool:
    """Whether an instrument can give this slot a value (None: any value)."""
    m = slot.measurand
    if m.quantity != instrument.kind or (instrument.serves is not None and m.name not in instrument.serves):
        return False
    if value is None:
        return True
    return (m.minimum is None or value >= m.minimum) and (m.maximum is None or value <= m.maximum)


def routed(bench: Bench, instrument: InstrumentSetup, key: str | None) -> Slot | None:
    """The slot an act named for the next reading (`as`, `again`), where this instrument's quantity can be meant by it."""
    slot = None if key is None else bench.setup.protocol.slot_by_key.get(key)
    return slot if slot is not None and slot.measurand.quantity == instrument.kind else None


def candidates(bench: Bench, specimen: Specimen, instrument: InstrumentSetup, value: Decimal) -> list[Slot]:
    """The wanted slots that the instrument serves and that admit the value: a reading fills the first."""
    return [s for s in wanted(bench, specimen) if serves(instrument, s, value)]


def last_of(bench: Bench, specimen: Specimen, instrument: InstrumentSetup) -> tuple[str, str] | None:
    """Key and value (or the reason why it is missing) of what this instrument last filled, or would have."""
    keys = [s.key for s in bench.setup.protocol.slots_for(specimen.species) if serves(instrument, s, None)]
    found = [m for key, m in standing(bench, specimen).items() if key in keys]
    if found:
        last = max(found, key=lambda m: m.seq)
        return last.key, last.raw_value
    return next(((key, specimen.missing[key]) for key in keys if key in specimen.missing), None)


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
    text = finding.text or words.say(words.QUESTIONS, finding.code, finding.args) + finding.args.get("hint", "")
    args = {k: v if isinstance(v, int | str) or v is None else str(v) for k, v in finding.args.items()}
    return bench.decide(
        "noted" if quiet else "asked",
        None if specimen is None else specimen.specimen_id,
        place=place, code=finding.code, verdict=finding.verdict, args=args, about=about,
        measurand=finding.args.get("measurand"), probability=finding.probability, runner_up=finding.runner_up,
        statistical=finding.statistical, text=text,
    )  # fmt: skip


def answer(bench: Bench, questions: list[Question]) -> None:
    """The person has answered these."""
    for q in questions:
        bench.decide("question", q.specimen_id, question=q.seq, event="answered")


def about(bench: Bench, specimen: Specimen, seqs: set[int]) -> list[Question]:
    """A specimen's open or quiet questions about these readings or measurements."""
    return [q for q in bench.live_questions_of(specimen.specimen_id) if q.about in seqs]


def settle_about(
    bench: Bench, specimen: Specimen, *, instrument: str | None = None, measurand: str | None = None
) -> None:
    """A value came (or will never come): what was asked about an instrument that had none is answered."""
    settled = [
        q for q in bench.live_questions_of(specimen.specimen_id)
        if q.kind in ("beyond-instrument", "moving")
        and (q.args.get("instrument") == instrument or (measurand is not None and q.measurand == measurand))
    ]  # fmt: skip
    answer(bench, settled)


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
    others: dict[str, Measurement] | None = None,
    one_of: int = 1,
    aloud: bool = True,
) -> int:
    """Give a value (base unit) to a slot of a specimen, judge it, say so. Returns the measurement's seq.

    `others` are the values to judge it with (None: all that stand); `one_of` is how many measurands it could have been;
    not `aloud`: what is found goes onto the quiet list.
    """
    m = slot.measurand
    if others is None:
        others = {k: v for k, v in standing(bench, specimen).items() if v.seq != supersedes}
    superseded = None if supersedes is None else bench.need(Measurement, supersedes)
    if superseded is not None and superseded.reading_seq is not None:
        bench.need(Reading, superseded.reading_seq)
    new = New(slot, value, raw_value, raw_unit, reading.instrument if reading else None, how)
    said = opinion(bench, place, specimen, new, others, superseded)
    worst = said.worst
    here = bench.place(place)
    rounded = None if m.rounding is None else units.plain(units.rounded(value, m.rounding.step_base, m.rounding.rule))
    seq = bench.decide(
        "measured", specimen.specimen_id,
        place=place, number=specimen.number, measurand=m.name, side=slot.side, replicate=slot.replicate,
        value=units.plain(value), unit=units.BASE[m.quantity], raw_value=raw_value, raw_unit=raw_unit, rounded=rounded,
        questioned=worst is not None and (worst.asks or said.confirms), verdict=said.verdict,
        cause=worst.code if worst else None,
        instrument=reading.instrument if reading else None, how=how, measurer=here.measurer, recorder=here.recorder,
        zero_before=reading.zero_before if reading else None, reading=reading.seq if reading else None,
        taken_utc=reading.done_utc if reading else bench.input.stamp.utc, supersedes=supersedes, one_of=one_of,
    )  # fmt: skip
    if supersedes is not None:
        answer(bench, about(bench, specimen, {supersedes}))
    settle_about(bench, specimen, instrument=reading.instrument if reading else None, measurand=slot.key)
    specimen = bench.need(Specimen, specimen.specimen_id)
    _say(bench, place, specimen, said, seq, aloud=aloud)
    if superseded is not None:
        fits_now(bench, place, specimen, but=seq)
    settle_ready(bench, specimen.specimen_id)
    return seq


def _say(bench: Bench, place: str, specimen: Specimen, said: Opinion, seq: int, *, aloud: bool) -> None:
    """Ask or note what was found of a value; where it says again what was questioned, that stands, and nothing is asked."""
    if said.untold is not None and all(m.verdict != 2 or m.seq == seq for m in standing(bench, specimen).values()):
        bench.tell(specimen.specimen_id, place=place, code="no_model", state=said.untold, first=FIRST)
    for finding in said.findings:
        if finding.statistical and finding.verdict == 3:
            _suspect_too(bench, specimen, finding, seq)
        if said.confirms:
            bench.decide(
                "stood-by", specimen.specimen_id, place=place, measurement=seq, number=specimen.number,
                reason="measured again",
            )  # fmt: skip
        elif finding.asks or not _stands(bench, specimen, finding):
            ask(bench, place, specimen, finding, about=seq, quiet=not (aloud and finding.asks))


def _stands(bench: Bench, specimen: Specimen, finding: Finding) -> bool:
    """Whether a person let one of this fish's values stand: what is said of them by statistics is said already."""
    return finding.statistical and any(m.stood_by for m in standing(bench, specimen).values())


def _suspect_too(bench: Bench, specimen: Specimen, finding: Finding, seq: int) -> None:
    """The value that is most likely wrong is another one: it is suspect as well."""
    for m in standing(bench, specimen).values():
        if m.measurand == finding.args["measurand"] and m.seq != seq and m.side is None:
            bench.decide("suspect", specimen.specimen_id, measurement=m.seq, cause=finding.code)


def fits_now(bench: Bench, place: str, specimen: Specimen, *, but: int | None = None) -> None:
    """A value was replaced: what statistics found of the others may not hold any more."""
    specimen = bench.need(Specimen, specimen.specimen_id)
    for m in standing(bench, specimen).values():
        if m.seq == but or m.cause not in STATISTICAL:
            continue
        again = opinion_again(bench, place, specimen, standing(bench, specimen).values(), m.measurand)
        if again.worst is None:
            bench.decide(
                "judged", specimen.specimen_id, measurement=m.seq, verdict=again.verdict, cause=None,
                questioned=None if m.stood_by else False,
            )  # fmt: skip
            answer(bench, [q for q in about(bench, specimen, {m.seq}) if q.kind in STATISTICAL])


def give(
    bench: Bench,
    place: str,
    specimen: Specimen,
    slot: Slot,
    reading: Reading,
    *,
    supersedes: int | None = None,
    event: str = "fills",
    one_of: int = 1,
) -> int:
    """Give a reading to a slot of a specimen."""
    bench.decide("outcome", specimen.specimen_id, reading=reading.seq, event=event, place=place)
    seq = fill(
        bench, place, specimen, slot, value=Decimal(reading.base_value or "0"), raw_value=reading.value or "",
        raw_unit=reading.unit or "", how="instrument", reading=reading, supersedes=supersedes, one_of=one_of,
    )  # fmt: skip
    setup = bench.setup.instruments.get(reading.instrument)
    if setup is not None and abs(Decimal(reading.zero_before or "0")) > (setup.division or Decimal(0)) * 2:
        # It shows what it bears, and without a load it didn't show nothing: that was said when its zero moved.
        bench.decide("suspect", specimen.specimen_id, measurement=seq, cause="zero-moved")
    return seq


def judge_again(bench: Bench, place: str, specimen: Specimen, *, aloud: bool = True) -> None:
    """Another species has other limits and relations: judge what it has anew. What a person stood by isn't asked twice."""
    asked_already = False
    for key in specimen.values:
        values = standing(bench, specimen)
        m = values[key]
        slot = bench.setup.protocol.slot_by_key.get(key)
        if slot is None or m.cause == "zero-moved":
            continue
        others = {k: v for k, v in values.items() if k != key and m.cause == "order"}  # of orders species know nothing
        plain = judge(bench.setup.protocol, specimen, slot, Decimal(m.value), others)
        said = Opinion(plain)
        if not plain and m.side is None:
            said = opinion_again(bench, place, specimen, values.values(), m.measurand)
        worst = said.worst
        statistical = worst is not None and worst.statistical
        if statistical and asked_already:  # one relation, said of the first of its values
            continue
        asked_already = asked_already or statistical
        cause = worst.code if worst else None
        if (said.verdict, cause) == (m.verdict, m.cause):
            continue
        questioned = None if m.stood_by else worst is not None and worst.asks
        bench.decide(
            "judged", specimen.specimen_id, measurement=m.seq, verdict=said.verdict, cause=cause, questioned=questioned
        )
        codes = {f.code for f in said.findings}
        answer(bench, [q for q in about(bench, specimen, {m.seq}) if q.kind not in {*codes, "surplus"}])
        asked = {q.kind for q in about(bench, specimen, {m.seq})}
        for finding in said.findings:
            if not m.stood_by and finding.code not in asked:
                ask(bench, place, specimen, finding, about=m.seq, quiet=not (aloud and finding.asks))


def observed(bench: Bench, specimen: Specimen, field: str) -> Coded | None:
    """The specimen's coded observation of a field that stands."""
    seq = specimen.codes.get(field)
    return None if seq is None else bench.need(Coded, seq)


def said_value(reading: Reading) -> dict[str, Any]:
    """A reading's arguments for words."""
    return {"instrument": reading.instrument, "value": reading.value or "?", "unit": reading.unit or ""}
