"""The entry of the room: one specimen as it stands → findings. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from ..languages import ENGLISH
from .cause import BY_TEN, Explanation, explain
from .finding import Finding
from .flags import Verdict
from .limits import Broken, broken
from .numeric import antilog, six
from .ration import SIZE_SHARE, shares
from .relation import Prediction
from .specimen import Specimen
from .state import FIRST, Setup, State, pairs_of, root_of
from .words import ADVICE, named, phrase

#: A value is suspect (verdict 3, quiet list) below this multiple of the threshold it would be asked at.
SUSPECT = 2.0
#: How much a likely cause counts: a tail probability is divided by 1 + CAUSE_COUNTS × (odds of the likeliest definite
#: error against "as measured"), so a value that is the neighbour's to the gram is asked about a little sooner.
CAUSE_COUNTS = 3.0
#: Explanations are compared from this multiple of the threshold on.
WORTH = 4.0
#: Nothing with a larger tail probability is worth an exact one: |z| under this is far inside.
_PLAIN = 1.5
#: From here on "as measured" is named even though an error would be the next thing to look for.
_SURELY_SOUND = 0.97


def judge(specimen: Specimen, neighbours: Sequence[Specimen], state: State, setup: Setup) -> list[Finding]:
    """Findings on a specimen's values, worst first; none when all pass.

    `neighbours`: the fish before it at this place, nearest last. Values that stand are judged but not asked about.
    """
    model = setup.models.get(specimen.species)
    faults = broken(specimen, model)
    if faults:
        impossible = any(f.verdict == Verdict.FAIL for f in faults)
        compared = explain(specimen, neighbours, state, setup, possible=not impossible)
        return [_of_fault(specimen, fault, compared) for fault in faults]
    values = specimen.positive()
    pairs = pairs_of(values)
    if not pairs and not root_of(values):
        return []
    if not specimen.species:
        return []
    known_one, unknown_one = least_likely(specimen, state, setup, pairs)
    findings = []
    seen = state.kinds.get(specimen.kind)
    if pairs and known_one is None and (seen is None or seen.fish == 0):
        findings.append(_no_model(specimen, pairs[-1][0]))
    for odd, known in ((known_one, True), (unknown_one, False)):
        if odd is None or odd.tail >= WORTH * odd.limit:
            continue
        compared = explain(specimen, neighbours, state, setup)
        score = score_of(odd, compared)
        winner = _winner(compared)
        if score < SUSPECT * odd.limit and (known or (winner.cause in BY_TEN and winner.probability > 0.5)):
            asks = score < odd.limit and not any(values[m].stands for m in odd.measurands)
            return [_of_relation(specimen, odd, state, setup, compared, winner, asks), *findings]
    return findings


def asks_at(
    specimen: Specimen, neighbours: Sequence[Specimen], state: State, setup: Setup
) -> tuple[float, float] | None:
    """What multiple of the threshold a statistical question about a specimen needs (1 or more: it isn't asked), and how probably
    all is as measured. None where nothing statistical may ask."""
    values = specimen.positive()
    if not specimen.species or broken(specimen, setup.models.get(specimen.species)):
        return None
    known, _ = least_likely(specimen, state, setup, pairs_of(values))
    if known is None:
        return None
    if known.tail >= WORTH * known.limit:
        return known.tail / known.limit, 1.0
    compared = explain(specimen, neighbours, state, setup)
    sound = sum(e.probability for e in compared if e.cause == "as_measured")
    return score_of(known, compared) / known.limit, sound


class Odd(NamedTuple):
    """How far out one relation (or, alone, a size) is, and the tail probability at which it asks."""

    measurands: tuple[str, ...]
    tail: float
    limit: float


def least_likely(
    specimen: Specimen, state: State, setup: Setup, pairs: list[tuple[str, str]]
) -> tuple[Odd | None, Odd | None]:
    """What fits least of the relations that may ask, and of those too little known (sizes among them)."""
    values = specimen.positive()
    kind = specimen.kind
    threshold = state.ration.threshold(setup.rate)
    share: dict[tuple[str, str], float] = {}
    known: Odd | None = None
    unknown: Odd | None = None
    for y, x in pairs:
        relation = state.relation(setup, kind, y, x, specimen.group)
        a, b = values[y], values[x]
        tail = _tail(relation.predict(b.ln, b.rounding, a.rounding), a.ln)
        sure = relation.known or relation.fish >= FIRST
        if tail == 1.0 and (known if sure else unknown) is not None:
            continue
        if not share:
            share = shares(pairs)
        odd = Odd((y, x), tail, share[y, x] * threshold)
        if sure:
            known = _odder(known, odd)
        else:
            unknown = _odder(unknown, odd)
    if root := root_of(values):
        tail = _tail(state.sizes(kind, root).predict(), values[root].ln)
        if tail < 1.0 or unknown is None:
            unknown = _odder(unknown, Odd((root,), tail, SIZE_SHARE * threshold))
    return known, unknown


def score_of(odd: Odd, compared: list[Explanation]) -> float:
    """The tail probability, made smaller by a definite error that explains the values."""
    sound = sum(e.probability for e in compared if e.cause == "as_measured")
    definite = max((e.probability for e in compared if e.cause not in ("as_measured", "unexplained")), default=0.0)
    return odd.tail / (1.0 + CAUSE_COUNTS * definite / max(sound, 1e-12))


def _odder(one: Odd | None, other: Odd) -> Odd:
    return other if one is None or other.tail * one.limit < one.tail * other.limit else one


def _tail(expected: Prediction, ln: float) -> float:
    return 1.0 if abs(ln - expected.mean) < _PLAIN * expected.scale else expected.tail(ln)


def _winner(compared: list[Explanation]) -> Explanation:
    """The error to look for first; "as measured" only where that is nearly sure."""
    top = compared[0]
    if top.cause == "as_measured" and top.probability < _SURELY_SOUND and len(compared) > 1:
        return compared[1]
    return top


def _runner_up(compared: list[Explanation], winner: Explanation) -> tuple[str, float]:
    for other in compared:
        if other is not winner:
            return other.cause, six(other.probability)
    return "", 0.0


def _no_model(specimen: Specimen, measurand: str) -> Finding:
    state = f"{specimen.species}, {specimen.presentation}, {specimen.preservation}"
    text = f"{state}: {phrase('no_model', {})} · learning from the first {FIRST}"
    return Finding(
        measurand, Verdict.NOT_EVALUATED, "no_model", {"state": state}, 1.0, "", 0.0, ADVICE["no_model"], text, False
    )


def _shown(specimen: Specimen, measurand: str) -> str:
    value = specimen.values[measurand]
    if value.unit:
        return f"{value.digits} {value.unit}"
    return f"{value.value:.6g} {'g' if measurand.endswith('_mass') else 'mm'}"


def _of_fault(specimen: Specimen, fault: Broken, compared: list[Explanation]) -> Finding:
    """A limit or an order is broken; the best explanation is the runner-up, and named where it is more likely than not."""
    # Of a value outside its limits only what befell that value is a reason; an order is of two.
    best = next(
        (
            e
            for e in compared
            if e.cause not in ("as_measured", "unexplained")
            and (fault.cause == "order" or e.measurand in (fault.measurand, "species"))
        ),
        None,
    )
    likely = best if best and best.probability > 0.5 else None
    told = {"found": "fault", "of": fault.measurand, "a": _shown(specimen, fault.measurand)}
    means = phrase(fault.cause, fault.arguments)
    text: str = ENGLISH.say("findings", "fault", {**told, "of": named(fault.measurand), "means": means})
    advice = ADVICE[fault.cause]
    if likely:
        means = phrase(likely.cause, likely.arguments)
        text += f" · {ENGLISH.say('findings', 'likely', {'means': means})}"
        advice = ADVICE[likely.cause]
        told |= likely_told(likely)
    return Finding(
        fault.measurand,
        fault.verdict,
        fault.cause,
        fault.arguments,
        1.0,
        best.cause if best else "",
        six(best.probability) if best else 0.0,
        advice,
        f"{text} · {advice}",
        not specimen.values[fault.measurand].stands,
        told=told,
    )


def likely_told(likely: Explanation) -> dict[str, str]:
    """An explanation among the arguments of what it explains."""
    return {"likely": likely.cause, **{f"likely_{name}": value for name, value in likely.arguments.items()}}


def _of_relation(
    specimen: Specimen,
    odd: Odd,
    state: State,
    setup: Setup,
    compared: list[Explanation],
    winner: Explanation,
    asks: bool,
) -> Finding:
    values = specimen.positive()
    pair = odd.measurands
    if len(pair) == 2:
        y, x = pair
        expected = state.relation(setup, specimen.kind, y, x, specimen.group).predict(values[x].ln)
        low = values[y].ln < expected.mean
        told = {"found": "low" if low else "high", "a": _shown(specimen, y), "b": _shown(specimen, x)}
        arguments = {"expected": f"{antilog(expected.mean):.3g}", "side": "low" if low else "high"}
    else:
        told = {"found": "alone", "of": pair[0], "a": _shown(specimen, pair[0]), "species": specimen.species}
        arguments = {}
    runner_up, runner_up_probability = _runner_up(compared, winner)
    sound = next((e.probability for e in compared if e.cause == "as_measured"), 0.0)
    means = phrase(winner.cause, winner.arguments)
    if winner.cause == "as_measured":
        told["sure"] = "probably"
    elif sound > winner.probability:
        told["sure"] = "perhaps"
    else:
        told["sure"] = "likely"
    what = ENGLISH.say("findings", told["found"], {**told, "of": named(pair[0])})
    why = ENGLISH.say("findings", told["sure"], {"means": means})
    advice = ADVICE[winner.cause]
    measurand = winner.measurand if winner.measurand in values or winner.measurand == "species" else pair[0]
    return Finding(
        measurand,
        Verdict.SUSPECT,
        winner.cause,
        {**arguments, **winner.arguments},
        six(winner.probability),
        runner_up,
        runner_up_probability,
        advice,
        f"{what} · {why} · {advice}",
        asks,
        six(odd.tail),
        six(sound),
        pair,
        told,
    )
