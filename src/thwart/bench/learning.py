"""Closed fish are learned from: species models, the ration of questions, sequence tests; mends refold a species. Pure.

All of it is decided: an entry `learned` carries the lines a fish changed, `relearned` a kind of fish whole, so that
folding computes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any

from ..checks.finding import Finding as Found
from ..checks.judge import judge as look
from ..checks.relation import MEMORY, Outcome
from ..checks.sequence import follow
from ..checks.specimen import Specimen as Fish
from ..checks.specimen import Value, kin
from ..checks.state import MASSES, State, learn
from ..checks.state import Setup as CheckSetup
from . import row
from .filling import about, ask, observed, standing
from .judging import Finding, fish_of, group_of, state_of, value_of
from .memory import Lesson, begins_known, followed, lines_of, prior_of, ration_line, sequence_of, taught
from .state import Learned, Measurement, Question, Specimen, Watch

if TYPE_CHECKING:
    from .kernel import Bench

#: Fish a refold goes back: older ones have faded.
_MOST = int(MEMORY)


def settle(bench: Bench) -> None:
    """After an input: learn from what was closed; where a fish that taught something changed, learn its kind anew."""
    for closed in bench.decided("closed"):
        specimen = bench.get(Specimen, closed.specimen_id or "")
        if specimen is not None and specimen.learned is None:
            _learn(bench, str(closed.body["place"]), specimen)
    for ident in dict.fromkeys(d.specimen_id for kind in ("closed", "coded", "judged") for d in bench.decided(kind)):
        _too_small_to_be_mature(bench, bench.get(Specimen, ident or ""))
    stale = _retaught(bench)
    for undone in bench.decided("undone"):
        memento = bench.last_memento(undone.body["place"], undone.body["redo"])
        changes = memento.changes if memento is not None else {}
        # Where another place learned since, putting back isn't enough.
        for _, after in changes.values():
            if isinstance(after, Learned) and bench.before(Learned, after.id) != after:
                stale.add(after.kind)
    if bench.input.kind == "configured":
        stale |= _begun_otherwise(bench)
    for kind in sorted(stale):
        _refold(bench, kind)


def lesson_of(bench: Bench, specimen: Specimen) -> Lesson | None:
    """What a closed fish teaches with the values that stand now; None where it teaches nothing."""
    if specimen.practice or specimen.end in ("void", "same-as") or specimen.species in (None, "unknown"):
        return None
    values: dict[str, Value] = {}
    outcomes: dict[str, Outcome] = {}
    last = {m.measurand: m for m in sorted(standing(bench, specimen).values(), key=lambda m: m.seq) if m.side is None}
    for name, m in last.items():
        values[name] = replace(value_of(bench, m), text=m.value, typed=False, stands=False)
        if m.status == "questioned" or m.stood_by:
            outcomes[name] = "stood" if m.stood_by else "open"
    fish = fish_of(bench, specimen, values)
    return Lesson(fish, outcomes) if fish.positive() else None


def _learn(bench: Bench, place: str, specimen: Specimen) -> None:
    lesson = lesson_of(bench, specimen)
    if lesson is None:
        return
    fish, setup, state = lesson.fish, bench.setup.protocol.checks, state_of(bench)
    watch = bench.get(Watch, place) or Watch(place)
    measurer = bench.place(place).measurer or ""
    given = sorted(standing(bench, specimen).values(), key=lambda m: m.seq)
    instruments = {m.measurand: m.instrument or "" for m in given if m.side is None}
    sequence, findings = follow(
        sequence_of(watch), fish, state, setup, measurer=measurer, instruments=instruments, tared=watch.tared
    )
    asked, sound = _asked(bench, specimen)
    after = learn(state, fish, setup, lesson.outcomes, asked=asked, sound=sound)
    body: dict[str, Any] = taught(bench.get(Learned, fish.kind), after.kinds[fish.kind], fish)
    if fish.kind not in bench.desk.kinds and (apart := setup.apart_line(fish.species)):
        body["apart"] = apart
    if fish.group:
        theirs = kin(fish.kind, fish.group)
        body["grouped"] = taught(bench.get(Learned, theirs), after.kinds[theirs], fish)
    body |= followed(watch, sequence, measurer, instruments)
    if after.ration != state.ration:
        body["ration"] = ration_line(bench.desk.ration, after.ration)
    if (tray := _tray_found(bench, specimen, findings)) is not None:
        body["tray"] = tray
    bench.decide("learned", specimen.specimen_id, place=place, taught=lesson.to_json(), **body)
    said = {q.kind for q in bench.live_questions() if q.place == place} if findings else set()
    for found in findings:
        finding = _of_sequence(bench, place, specimen, found, fish)
        # What goes on is found again and again: it interrupts once.
        quiet = not found.asks or found.cause in said
        ask(bench, place, bench.need(Specimen, specimen.specimen_id), finding, about=None, quiet=quiet)


def _tray_found(bench: Bench, specimen: Specimen, findings: Sequence[Found]) -> str | None:
    """The mass of a tray that wasn't tared, where weighing again confirmed it or the fish after a tare say so."""
    for m in standing(bench, specimen).values():
        old = bench.get(Measurement, m.supersedes) if m.supersedes is not None else None
        if old is not None and old.cause == "tray" and (grams := Decimal(old.value) - Decimal(m.value)) > 0:
            return f"{grams:.3g}"
    offsets = [float(f.arguments["grams"]) for f in findings if f.cause == "offset"]
    return f"{max(offsets):.3g}" if offsets and max(offsets) > 0 else None


def _too_small_to_be_mature(bench: Bench, specimen: Specimen | None) -> None:
    """A closed fish said to be mature that is smaller than the smallest mature known: onto the quiet list, once."""
    if specimen is None or specimen.state != "closed" or specimen.practice or specimen.end in ("void", "same-as"):
        return
    codes = bench.setup.protocol.codes
    said = {name: observed(bench, specimen, name) for name in specimen.codes if name in codes and codes[name].mature}
    if not any(c is not None and c.code in codes[name].mature for name, c in said.items()):
        return
    held = {k: m for k, m in standing(bench, specimen).items() if m.side is None and not m.stood_by}
    values = {m.measurand: value_of(bench, m) for m in held.values()}
    fish = replace(fish_of(bench, specimen, values), mature=True)
    for found in look(fish, [], State(), bench.setup.protocol.checks):
        m = next((m for m in held.values() if m.measurand == found.measurand), None)
        if (
            found.cause != "below_mature"
            or m is None
            or any(q.kind == found.cause for q in about(bench, specimen, {m.seq}))
        ):
            continue
        args = {**found.arguments, "number": specimen.number, "measurand": found.measurand, **found.told}
        finding = Finding(found.cause, 3, args, text=f"{specimen.number}: {found.text}")
        ask(bench, specimen.place, specimen, finding, about=m.seq, quiet=True)


def _asked(bench: Bench, specimen: Specimen) -> tuple[bool, float]:
    """Whether a statistical check asked about a value that still stands, and how probably the fish is sound."""
    q = bench.get(Question, specimen.doubted) if specimen.doubted is not None else None
    if q is None or q.about is None or q.about not in specimen.values.values():
        return False, 1.0
    stands = bench.need(Measurement, q.about).stood_by
    return True, 1.0 if stands else float(str(q.args["sound"]))


def _of_sequence(bench: Bench, place: str, specimen: Specimen, found: Found, fish: Fish) -> Finding:
    """A sequence test's finding, with the act that repairs it where there is one."""
    act = ""
    arguments = found.arguments
    if found.cause == "slip":
        by = "-1" if arguments["direction"] == "late" else "+1"
        act = f"slide {found.measurand} {arguments['start']} {arguments['end']} {by}"
    elif found.cause == "swapped":
        mass = next((m for m in MASSES if m in fish.values), found.measurand)
        act = "`, `".join(_exchange(bench, place, arguments["first"], arguments["second"], mass))
    elif found.cause == "species_stuck":
        act = f"mend species NUMBER {arguments['fits']} wrong-species"
    args = {"number": specimen.number, "measurand": found.measurand, **arguments}
    if act:
        args["repair"] = act
    probability = f"{found.probability:.6g}"
    return Finding(
        found.cause,
        3,
        args,
        probability,
        found.runner_up or None,
        True,
        f"{found.text}: `{act}`" if act else found.text,
    )


def _exchange(bench: Bench, place: str, first: str, second: str, mass: str) -> list[str]:
    """The mends by which two fish get back what they exchanged.

    In a row where only order tells fish apart it was the fish that changed places, before the scale: what was taken from
    there on, sex and envelope too, belongs with the mass, and what was taken before is the other's.
    """
    one, other = (bench.numbered(int(number)) for number in (first, second))
    swap = f"mend swap {first} {second} {{}} exchanged"
    if one is None or other is None or not row.by_order_alone(bench, place) or mass not in one.values:
        return [swap.format(mass)]
    at = bench.setup.protocol.position
    taken = standing(bench, one)
    weighed_at = at(taken[mass].place) or 0
    before = [key for key, m in taken.items() if key in other.values and (at(m.place) or 0) < weighed_at]
    if not before:
        return [swap.format(mass)]
    mends = [swap.format(key) for key in before]
    if one.species is not None and other.species is not None and one.species != other.species:
        mends += [f"mend species {first} {other.species} exchanged", f"mend species {second} {one.species} exchanged"]
    return mends


def _retaught(bench: Bench) -> set[str]:
    """Closed fish that taught something and changed: what they teach now is noted. Returns the kinds concerned."""
    ids: dict[str, None] = {}
    for kind, ident in bench.changed():
        if kind == "specimen":
            ids[str(ident)] = None
        elif kind == "measurement" and (m := bench.objects.get((kind, ident))) is not None:
            assert isinstance(m, Measurement)
            ids[m.specimen_id] = None
    kinds: set[str] = set()
    for specimen_id in ids:
        specimen = bench.objects.get(("specimen", specimen_id))
        if not isinstance(specimen, Specimen) or specimen.learned is None or specimen.state != "closed":
            continue
        if specimen.learned > bench.input.seq:  # just now
            continue
        lesson = lesson_of(bench, specimen)
        now = lesson.to_json() if lesson is not None else {}
        if now != specimen.taught:
            kinds |= {k for k in (specimen.taught.get("kind"), now.get("kind")) if k}
            bench.decide("taught", specimen_id, number=specimen.number, taught=now)
    return kinds


def _begun_otherwise(bench: Bench) -> set[str]:
    """Kinds whose relations would begin elsewhere, or which have other groups, by the protocol that holds now."""
    setup = bench.setup.protocol.checks
    out = set()
    for learned in map(partial(bench.get, Learned), bench.desk.kinds):
        if learned is None:
            continue
        if learned.group:
            if any(_group_begun_otherwise(setup, learned, name) for name in learned.priors):
                out.add(learned.kind)
            continue
        pairs = {name: name.partition("|") for name in learned.priors}
        begun = {name: prior_of(setup.begin(learned.kind, y, x)) for name, (y, _, x) in pairs.items()}
        if begun != learned.priors or setup.apart_line(learned.kind.rsplit("|", 2)[0]) != learned.apart:
            out.add(learned.kind)
    return out


def _group_begun_otherwise(setup: CheckSetup, learned: Learned, name: str) -> bool:
    y, _, x = name.partition("|")
    begun, prior = setup.begin_group(learned.kind, y, x, learned.group), learned.priors[name]
    return begins_known(prior) if begun is None else prior_of(begun) != prior


def _refold(bench: Bench, kind: str) -> None:
    """Learn a kind of fish, and its groups as its fish are in now, anew from what they teach now."""
    setup, state = bench.setup.protocol.checks, State()
    learned = [bench.get(Learned, one) for one in bench.desk.kinds]
    groups = {one.group: {"group": one.group} for one in learned if one is not None and one.kind == kind and one.group}
    for specimen in bench.taught(kind, _MOST):
        lesson = Lesson.from_json(str(specimen.number), specimen.taught)
        fish = replace(lesson.fish, group=group_of(bench, specimen))
        state = learn(state, fish, setup, lesson.outcomes)
        if fish.group:
            groups[fish.group] = {"group": fish.group}
    apart = setup.apart_line(kind.rsplit("|", 2)[0])
    for group, said in {"": {"apart": apart} if apart else {}, **groups}.items():
        known = state.kinds.get(kin(kind, group))
        lines: Mapping[str, Any] = lines_of(known) if known is not None else {}
        bench.decide("relearned", None, kind=kind, **said, **lines)
