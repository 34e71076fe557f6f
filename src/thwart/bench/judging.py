"""What the checks say of a value just filled. Pure; changes nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal

from .. import units
from ..checks import cause, words
from ..checks.finding import Finding as Found
from ..checks.judge import judge as look
from ..checks.judge import likely_told
from ..checks.specimen import Specimen as Fish
from ..checks.specimen import Value
from ..checks.state import FIRST, State, pairs_of
from ..languages import ENGLISH
from .memory import NEIGHBOURS, fish_of_line, kind_of, ration_of
from .protocol import Protocol, Ratio, Slot
from .state import Batch, Coded, Learned, Measurement, Specimen, Watch

if TYPE_CHECKING:
    from .kernel import Bench

#: A re-measurement so near to the value that was questioned confirms it: 2 mm, or so many divisions.
_NEAR_MM = 2.0
_NEAR_DIVISIONS = 2.0
#: Causes that the comparison of explanations gives: what a value has one of was questioned by a statistical check.
STATISTICAL = frozenset({"as_measured", *cause.RATES})


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's word on a value: verdict, cause code with its arguments, and whether it should be asked."""

    code: str
    verdict: Literal[1, 2, 3, 4]
    args: Mapping[str, Any]
    probability: str | None = None
    runner_up: str | None = None
    statistical: bool = False
    text: str | None = None
    """Its words, where they aren't those of the code alone."""
    asks: bool = True
    """Whether it interrupts; else it goes onto the quiet list."""


def judge(
    protocol: Protocol, specimen: Specimen, slot: Slot, value: Decimal, others: Mapping[str, Measurement]
) -> list[Finding]:
    """Limits and order relations for `value` (base unit) in `slot`; `others` are the specimen's standing values by key."""
    unit = units.BASE[slot.measurand.quantity]
    name = slot.measurand.name
    said = {"number": specimen.number, "measurand": name, "value": units.plain(value), "unit": unit}
    if value <= 0:
        return [Finding("not-positive", 4, said)]
    return _limits(protocol, specimen, said, value) + _orders(protocol, said, value, others)


def _limits(protocol: Protocol, specimen: Specimen, said: Mapping[str, Any], value: Decimal) -> list[Finding]:
    species = protocol.species.get(specimen.species or "")
    limit = species.limits.get(said["measurand"]) if species else None
    if limit is None or species is None:
        return []
    spans: tuple[tuple[str, Literal[3, 4], Any], ...] = (("impossible", 4, limit.possible), ("unusual", 3, limit.usual))
    for code, verdict, span in spans:
        if span and not span[0] <= value <= span[1]:
            args = {**said, "species": species.title, "low": units.plain(span[0]), "high": units.plain(span[1])}
            return [Finding(code, verdict, args)]
    return []


def _orders(
    protocol: Protocol, said: Mapping[str, Any], value: Decimal, others: Mapping[str, Measurement]
) -> list[Finding]:
    """In a chain no value may be above the next one's."""
    found: list[Finding] = []
    name = said["measurand"]
    for chain in protocol.order:
        if name not in chain:
            continue
        at = chain.index(name)
        for other in others.values():
            if other.measurand not in chain or other.measurand == name:
                continue
            here, there = (name, value), (other.measurand, Decimal(other.value))
            low, high = (here, there) if chain.index(other.measurand) > at else (there, here)
            if low[1] > high[1]:
                args = {
                    "number": said["number"], "unit": said["unit"], "measurand": low[0], "value": units.plain(low[1]),
                    "other": high[0], "other_value": units.plain(high[1]),
                }  # fmt: skip
                found.append(Finding("order", 4, args))
    return found


def misfit(
    protocol: Protocol, specimen: Specimen, slot: Slot, value: Decimal, others: Mapping[str, Measurement]
) -> tuple[Ratio, Measurement] | None:
    """The ratio that a value would break, and the value it is compared with: the same thing measured again?"""
    species = protocol.species.get(specimen.species or "")
    ratio = species.ratios.get(slot.measurand.name) if species else None
    other = next((m for m in others.values() if ratio is not None and m.measurand == ratio.of), None)
    if ratio is None or other is None or Decimal(other.value) <= 0:
        return None
    return None if ratio.range[0] <= value / Decimal(other.value) <= ratio.range[1] else (ratio, other)


# ---- what the statistical checks are given -------------------------------------------------------------------------


def state_of(bench: Bench) -> State:
    """All that is learned, as the checks want it."""
    desk = bench.desk
    kinds = {k: bench.read_once(learned, kind_of) for k in desk.kinds if (learned := bench.get(Learned, k)) is not None}
    return State(kinds, ration_of(desk.ration), tuple(map(float, desk.trays)))


def fish_of(bench: Bench, specimen: Specimen, values: Mapping[str, Value]) -> Fish:
    """A specimen with these values as the checks want it."""
    batch = bench.get(Batch, specimen.batch)
    species = specimen.species if specimen.species != "unknown" else None
    return Fish(
        str(specimen.number), species or "", values, _word(batch.presentation if batch else None, "whole"),
        _word(batch.preservation if batch else None, "fresh"), group=group_of(bench, specimen),
    )  # fmt: skip


def group_of(bench: Bench, specimen: Specimen) -> str:
    """What a specimen is kept apart by as it stands: see `checks.state.Setup.group`."""
    setup = bench.setup.protocol.checks

    def said(name: str) -> str | None:
        if name == "season":
            return setup.season(int(specimen.opened_utc[5:7]))
        seq = specimen.codes.get(name)
        coded = bench.seen(Coded, seq) if seq is not None else None
        return _word(coded.code, "") if coded is not None and coded.code is not None else None

    return setup.group(specimen.species or "", said)


def _word(text: str | None, usual: str) -> str:
    # These become fields of lines and of keys.
    return "-".join((text or usual).replace("|", "-").replace(";", "-").split()) or usual


def value_of(bench: Bench, m: Measurement) -> Value:
    """A measurement as the checks want it, its digits as they were sent."""
    slot = bench.setup.protocol.slot_by_key.get(m.key)
    step = _division(bench, slot, m.instrument, m.raw_value, m.raw_unit)
    return Value(float(m.value), m.raw_value, step, typed=m.how != "instrument", stands=m.stood_by)


def _division(bench: Bench, slot: Slot | None, instrument: str | None, raw_value: str, raw_unit: str) -> float:
    """The smallest step of what measured it: the instrument's or the hand's, else that of the last digit."""
    setup = bench.setup.instruments.get(instrument or "")
    known = setup.division if setup is not None else slot.measurand.hand_division_base if slot is not None else None
    if known is not None:
        return float(known)
    exponent = Decimal(raw_value.replace(",", ".")).as_tuple().exponent
    return float(units.to_base(Decimal(1).scaleb(min(int(exponent), 0)), raw_unit))


def whole_values(bench: Bench, measurements: Iterable[Measurement]) -> dict[str, Value]:
    """Values by measurand: the last replicate of each; a part of one (a side) is none."""
    last = {m.measurand: m for m in sorted(measurements, key=lambda m: m.seq) if m.side is None}
    return {name: value_of(bench, m) for name, m in last.items()}


def neighbours(bench: Bench, place: str, specimen: Specimen) -> list[Fish]:
    """The fish closed before it at this place, the nearest last."""
    watch = bench.get(Watch, place)
    before = bench.read_once(watch, _before) if watch is not None else []
    return [fish for fish in before if fish.number != str(specimen.number)]


def _before(watch: Watch) -> list[Fish]:
    return [fish_of_line(line) for line in watch.fish[-NEIGHBOURS:]]


# ---- statistical checks --------------------------------------------------------------------------------------------


#: Causes that one value has by itself.
_OF_ONE = frozenset({"beyond_limits", "not_positive"})


@dataclass(frozen=True, slots=True)
class New:
    """A value about to be given to a slot, as it was sent."""

    slot: Slot
    value: Decimal
    raw_value: str
    raw_unit: str
    instrument: str | None
    how: str


@dataclass(frozen=True, slots=True)
class Opinion:
    """What the checks say of one value: findings, the verdict where there is none, whether it confirms the one before."""

    findings: list[Finding]
    otherwise: Literal[1, 2] = 1
    confirms: bool = False
    untold: str | None = None
    """That nothing is known of such fish, to be told once."""

    @property
    def worst(self) -> Finding | None:
        """The finding the value bears."""
        return max(self.findings, key=lambda f: f.verdict, default=None)

    @property
    def verdict(self) -> Literal[1, 2, 3, 4]:
        """The value's verdict."""
        return self.worst.verdict if self.worst else self.otherwise


def opinion(
    bench: Bench, place: str, specimen: Specimen, new: New, others: Mapping[str, Measurement], old: Measurement | None
) -> Opinion:
    """All that is said of a new value: limits and orders first, and only where they hold, statistics.

    `others` are the values to judge it with, `old` the one it supersedes.
    """
    plain = judge(bench.setup.protocol, specimen, new.slot, new.value, others)
    name = new.slot.measurand.name
    step = _division(bench, new.slot, new.instrument, new.raw_value, new.raw_unit)
    confirms = old is not None and _confirms(old, new, step)
    value = Value(float(new.value), new.raw_value, step, typed=new.how != "instrument", stands=confirms)
    values = whole_values(bench, others.values())
    if new.slot.side is None:
        values[name] = value
    fish = fish_of(bench, specimen, values)
    if plain:
        return Opinion([_with_cause(bench, place, specimen, fish, f) for f in plain])
    if new.slot.side is not None:
        return Opinion([])
    return _of_fish(bench, place, specimen, fish, name, confirms=confirms)


def opinion_again(bench: Bench, place: str, specimen: Specimen, standing: Iterable[Measurement], name: str) -> Opinion:
    """What statistics say of a measurand among the values that stand now."""
    fish = fish_of(bench, specimen, whole_values(bench, standing))
    return _of_fish(bench, place, specimen, fish, name, again=True)


def _confirms(old: Measurement, new: New, step: float) -> bool:
    """Whether a value measured again says what was questioned: then it stands."""
    if old.cause not in STATISTICAL or not (old.status == "questioned" or old.stood_by):
        return False
    near = _NEAR_DIVISIONS * step
    if new.slot.measurand.quantity == "length":
        near = max(near, _NEAR_MM)
    return abs(float(new.value) - float(old.value)) <= near * (1.0 + 1e-12)


def _with_cause(bench: Bench, place: str, specimen: Specimen, fish: Fish, finding: Finding) -> Finding:
    """What most likely led to a broken limit or order is the runner-up, and said where it is likelier than not."""
    compared = cause.explain(
        fish, neighbours(bench, place, specimen), state_of(bench), bench.setup.protocol.checks,
        possible=finding.verdict != 4,
    )  # fmt: skip
    best = next((e for e in compared if e.cause not in ("as_measured", "unexplained")), None)
    if best is None:
        return finding
    more: dict[str, str] = {}
    if best.probability > 0.5:
        means = words.phrase(best.cause, best.arguments)
        hint = f" · {ENGLISH.say('findings', 'likely', {'means': means})} · {words.ADVICE[best.cause]}"
        more = {"hint": hint, **likely_told(best)}
    return replace(finding, args={**finding.args, **more}, probability="1", runner_up=best.cause)


def _of_fish(
    bench: Bench, place: str, specimen: Specimen, fish: Fish, name: str, *, confirms: bool = False, again: bool = False
) -> Opinion:
    """What statistics say of one measurand of a fish; orders that every fish keeps, unless it is judged again."""
    state, setup = state_of(bench), bench.setup.protocol.checks
    near = neighbours(bench, place, specimen)
    untold = None
    for _ in range(3):
        past = None
        for found in look(fish, near, state, setup):
            order = found.cause == "order"
            pair = (found.arguments["small"], found.arguments["large"]) if order else found.pair
            if found.cause == "no_model":
                untold = found.arguments["state"]
            elif found.cause in _OF_ONE and found.measurand != name:
                past = found.measurand  # another value's limit, said of that one
            elif pair and (name not in pair or (order and again)):
                past = pair[0]  # judged when its values came: look past it
            elif order:
                return Opinion([_natural_order(specimen, fish, found)])
            else:
                return Opinion([_of_found(specimen, found)], confirms=confirms)
        if past is None:
            break
        fish = replace(fish, values={m: v for m, v in fish.values.items() if m != past})
    # Of an unknown species there is nothing to judge by, not even limits.
    known = False if specimen.species == "unknown" else _known(fish, state, bench, name)
    return Opinion([], 1 if known is not False else 2, confirms, untold)


def _known(fish: Fish, state: State, bench: Bench, name: str) -> bool | None:
    """Whether a relation of this measurand is known well enough to judge it; None where it has none here."""
    pairs = [pair for pair in pairs_of(fish.positive()) if name in pair] if fish.species else []
    if not pairs:
        return None
    relations = [state.relation(bench.setup.protocol.checks, fish.kind, y, x, fish.group) for y, x in pairs]
    return any(r.known or r.fish >= FIRST for r in relations)


def _natural_order(specimen: Specimen, fish: Fish, found: Found) -> Finding:
    """An order that every fish keeps, whether the protocol names it or not."""
    small, large = found.arguments["small"], found.arguments["large"]
    args = {
        "number": specimen.number, "unit": "g" if small.endswith("_mass") else "mm", "measurand": small,
        "value": f"{fish.values[small].value:g}", "other": large, "other_value": f"{fish.values[large].value:g}",
    }  # fmt: skip
    return Finding("order", 4, args, "1", found.runner_up or None)


def _of_found(specimen: Specimen, found: Found) -> Finding:
    """A finding of the checks as the bench asks it."""
    verdict: Literal[3, 4] = 4 if found.verdict == 4 else 3
    args = {
        **found.arguments, "number": specimen.number, "measurand": found.measurand, "sound": f"{found.sound:.6g}",
        "runner_up_probability": f"{found.runner_up_probability:.6g}", **found.told,
    }  # fmt: skip
    if "number" in found.arguments:  # the other fish's: `number` is this one's
        args["cause_number"] = found.arguments["number"]
    return Finding(
        found.cause, verdict, args, f"{found.probability:.6g}", found.runner_up or None, True,
        f"{specimen.number}: {found.text}", found.asks,
    )  # fmt: skip
