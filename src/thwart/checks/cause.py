"""What most likely happened: explanations compared by likelihood over all of a specimen's values at once. Pure.

Each explanation says what the true values would be if it had happened; its weight is its prior rate times the density
of what was seen. Densities are per unit of ln value throughout, so an explanation that maps true to seen values by
other than a factor carries seen/true as its Jacobian. The joint density of a specimen is the density of its root
length, times that of every other length and mass given the root (`state.pairs_of`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from .flags import Verdict
from .limits import within
from .model import LENGTHS
from .numeric import antilog, log_sum
from .relation import Prediction, Relation
from .specimen import Specimen, Value
from .state import FIRST, MASSES, Setup, State, pairs_of, root_of

#: Prior rate of each explanation, per value it can befall; what is left is `as_measured`. About one value in a hundred
#: of a fisheries data set is wrong; how that splits among the kinds is common practice, no source.
RATES: dict[str, float] = {
    "times_10": 0.0010,
    "tenth": 0.0010,
    "times_100": 0.0002,
    "hundredth": 0.0002,
    "times_1000": 0.0003,
    "thousandth": 0.0003,
    "inch": 0.0004,
    "pound": 0.0006,
    "digits_exchanged": 0.0012,
    "digit_off": 0.0010,
    "length_type": 0.0020,
    "fields_exchanged": 0.0006,
    "tray": 0.0010,
    "lifted_early": 0.0010,
    "stale": 0.0010,
    "neighbour": 0.0010,
    "other_on_pan": 0.0003,
    "wrong_species": 0.0008,
    "presentation": 0.0004,
    "unexplained": 0.0004,
}
#: By how much rarer a length is a neighbour's than a mass is: no board keeps a load. And by how much rarer a length and
#: a mass stand in each other's field than two lengths do.
LENGTH_COPIED = 0.2
UNLIKE_FIELDS = 0.2
#: By how much rarer digit slips are in values an instrument sent by itself.
UNTYPED = 0.02
#: Explanations that every species allows, however little is known of it.
BY_TEN = frozenset({"times_10", "tenth", "times_100", "hundredth", "times_1000", "thousandth"})

_POWERS = {"times_10": 10.0, "tenth": 0.1, "times_100": 100.0, "hundredth": 0.01, "times_1000": 1e3, "thousandth": 1e-3}
#: seen / true for the unit slips, and each one's share.
_INCH = ((25.4, 0.1), (2.54, 0.1), (1 / 25.4, 0.4), (1 / 2.54, 0.4))
_POUND = ((2.20462, 0.4), (1 / 2.20462, 0.4), (28.3495, 0.1), (1 / 28.3495, 0.1))
#: Repeatability of one length measured twice, as a standard deviation of its ln (common practice, no source).
_REPEAT = 0.005
#: Gutted over whole mass where no relation is known (common practice, no source): values and weights.
_GUTTED = ((0.84, 0.25), (0.90, 0.5), (0.95, 0.25))
#: Three-point Gauss-Hermite rule for a normal: (standard deviations, weight).
_NODES = ((-sqrt(3.0), 1 / 6), (0.0, 2 / 3), (sqrt(3.0), 1 / 6))
_LEFT = tuple((i + 0.5) / 20 for i in range(4, 20))
_OFFSETS = tuple(5.0 * 1.25**i for i in range(18))
_HALF_LOG_2PI = 0.9189385332046727

LnValues = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Explanation:
    """One thing that may have happened, to which measurand, with what, and how probable that is among all."""

    cause: str
    measurand: str
    probability: float
    arguments: dict[str, str]


@dataclass(frozen=True, slots=True)
class _Weighed:
    cause: str
    measurand: str
    weight: float  # ln(rate × density)
    arguments: dict[str, str]


class Joint:
    """The joint density of a fish's values, in one kind, as now known."""

    def __init__(self, state: State, setup: Setup, kind: str, values: Mapping[str, Value]) -> None:
        self.values = values
        self.root = root_of(values)
        self.first = self.root or next((m for m in MASSES if m in values), None)
        self.sizes = self._first_size(state, setup, kind)
        self.parts: list[tuple[str, str, Relation, float, float]] = [
            (y, x, state.relation(setup, kind, y, x), values[x].rounding, values[y].rounding)
            for y, x in pairs_of(values)
        ]

    def _first_size(self, state: State, setup: Setup, kind: str) -> Prediction | None:
        """What the first value is expected to be before any other is known: a size, or the mass of one."""
        if self.first is None:
            return None
        if self.root:
            return state.sizes(kind, self.root).predict()
        size = state.sizes(kind, LENGTHS[0]).predict()
        mass = state.relation(setup, kind, self.first, LENGTHS[0])
        expected = mass.predict(size.mean)
        return Prediction(expected.mean, sqrt(expected.scale**2 + (mass.m1 * size.scale) ** 2), size.nu)

    def log_density(self, ln: LnValues) -> float:
        """Of the ln values `ln` (all of this joint's measurands)."""
        total = self.sizes.log_density(ln[self.first]) if self.sizes and self.first else 0.0
        return total + sum(self._part(i, ln[x], ln[y]) for i, (y, x, *_) in enumerate(self.parts))

    def _part(self, i: int, ln_x: float, ln_y: float) -> float:
        _, _, relation, rx, ry = self.parts[i]
        return relation.predict(ln_x, rx, ry).log_density(ln_y)

    def at(self, ln: LnValues) -> Callable[[str, float], float]:
        """A function (measurand, other ln value) → log density at `ln` with that one changed; only what it touches is
        computed anew."""
        root = self.sizes.log_density(ln[self.first]) if self.sizes and self.first else 0.0
        parts = [self._part(i, ln[x], ln[y]) for i, (y, x, *_) in enumerate(self.parts)]
        whole = root + sum(parts)

        def changed(name: str, other: float) -> float:
            total = whole
            if name == self.first and self.sizes:
                total += self.sizes.log_density(other) - root
            for i, (y, x, *_) in enumerate(self.parts):
                if y == name:
                    total += self._part(i, ln[x], other) - parts[i]
                elif x == name:
                    total += self._part(i, other, ln[y]) - parts[i]
            return total

        return changed

    def fits(self, ln: LnValues) -> bool:
        """Whether every value lies within one predictive scale of what the root says."""
        for y, x, relation, rx, ry in self.parts:
            expected = relation.predict(ln[x], rx, ry)
            if abs(ln[y] - expected.mean) > expected.scale:
                return False
        return True

    @property
    def may_ask(self) -> bool:
        """Whether a relation is known from a prior or from enough fish."""
        return any(r.known or r.fish >= FIRST for _, _, r, _, _ in self.parts)


def explain(
    specimen: Specimen, neighbours: Sequence[Specimen], state: State, setup: Setup, *, possible: bool = True
) -> list[Explanation]:
    """All explanations of these values, the most probable first; their probabilities sum to 1.

    `neighbours` are fish before it (the last one nearest) and, where it was recalled, after it. `possible` false: a
    limit or an order says that the values can't be as measured. Costs about 1 to 4 ms.
    """
    values = specimen.positive()
    if not values:
        return []
    case = _Case(specimen, values, neighbours, state, setup)
    best: dict[tuple[str, str], list[_Weighed]] = {}
    model = setup.models.get(specimen.species)
    limits = model.limits if model else {}
    for one in case.all(possible):
        true, inside = one.arguments.get("true"), limits.get(one.measurand)
        if true and inside and within(float(true), inside) == Verdict.FAIL:
            continue
        best.setdefault((one.cause, one.measurand), []).append(one)
    merged = [
        _Weighed(cause, measurand, log_sum([o.weight for o in ones]), max(ones, key=lambda o: o.weight).arguments)
        for (cause, measurand), ones in best.items()
    ]
    whole = log_sum([m.weight for m in merged])
    out = [Explanation(m.cause, m.measurand, exp(m.weight - whole), m.arguments) for m in merged]
    return sorted(out, key=lambda e: (-e.probability, e.cause, e.measurand))


class _Case:
    """One specimen under comparison."""

    def __init__(
        self, specimen: Specimen, values: dict[str, Value], neighbours: Sequence[Specimen], state: State, setup: Setup
    ) -> None:
        self.specimen, self.values, self.neighbours = specimen, values, neighbours
        self.state, self.setup = state, setup
        self.ln = {name: v.ln for name, v in values.items()}
        self.joint = Joint(state, setup, specimen.kind, values)
        self._with = self.joint.at(self.ln)

    def all(self, possible: bool) -> Iterator[_Weighed]:
        if possible:
            rest = log(1.0 - sum(RATES.values()))
            yield _Weighed("as_measured", self._main(), rest + self.joint.log_density(self.ln), {})
        for name in self.values:
            yield from self._powers(name)
            yield from self._digits(name)
            yield from self._copies(name)
            yield self._unexplained(name)
            if name in LENGTHS:
                yield from self._factors(name, "inch", _INCH)
                yield from self._length_type(name)
            elif name in MASSES:
                yield from self._factors(name, "pound", _POUND)
                yield from self._offsets(name)
                yield from self._left_early(name)
                yield from self._presentation(name)
        yield from self._exchanged()
        yield from self._species()

    def _main(self) -> str:
        return self.joint.parts[-1][0] if self.joint.parts else next(iter(self.values))

    def _without(self, name: str) -> float:
        rest = {n: v for n, v in self.values.items() if n != name}
        return Joint(self.state, self.setup, self.specimen.kind, rest).log_density(self.ln)

    def _powers(self, name: str) -> Iterator[_Weighed]:
        for cause, times in _POWERS.items():
            true = self.ln[name] - log(times)
            weight = log(RATES[cause]) + self._with(name, true)
            yield _Weighed(cause, name, weight, {"true": f"{antilog(true):.6g}"})

    def _factors(self, name: str, cause: str, factors: Sequence[tuple[float, float]]) -> Iterator[_Weighed]:
        for times, share in factors:
            true = self.ln[name] - log(times)
            weight = log(RATES[cause] * share) + self._with(name, true)
            yield _Weighed(cause, name, weight, {"true": f"{antilog(true):.6g}"})

    def _digits(self, name: str) -> Iterator[_Weighed]:
        value = self.values[name]
        rarer = 1.0 if value.typed else UNTYPED
        text = value.digits
        try:
            one = value.value / float(text)
        except (ValueError, ZeroDivisionError):
            return
        for cause, texts in (("digits_exchanged", exchanged(text)), ("digit_off", one_off(text))):
            for other in texts:
                true = float(other) * one
                if true <= 0.0:
                    continue
                weight = (
                    log(RATES[cause] * rarer / len(texts)) + self._with(name, log(true)) + self.ln[name] - log(true)
                )
                yield _Weighed(cause, name, weight, {"true": f"{true:.6g}", "digits": other})

    def _length_type(self, name: str) -> Iterator[_Weighed]:
        """The value is another length of this fish."""
        kind = self.specimen.kind
        for other in LENGTHS:
            if other == name:
                continue
            rate = log(RATES["length_type"] * (0.8 if "standard_length" not in (name, other) else 0.2))
            arguments = {"taken_as": name, "was": other}
            if other in self.values:
                spread = sqrt(_REPEAT**2 + self.values[name].rounding ** 2 + self.values[other].rounding ** 2)
                z = (self.ln[name] - self.ln[other]) / spread
                weight = rate + self._without(name) - 0.5 * z * z - _HALF_LOG_2PI - log(spread)
                yield _Weighed("length_type", name, weight, arguments)
                continue
            longer, shorter = sorted((name, other), key=LENGTHS.index)
            relation = self.state.relation(self.setup, kind, shorter, longer)
            if not 0.5 < relation.m1 < 2.0:
                continue  # learned from nonsense: lengths of one fish grow together
            seen = self.ln[name]
            for sds, share in _NODES:
                if name == shorter:  # seen is the longer one; the true shorter follows from it
                    at = relation.predict(seen)
                    true = at.mean + sds * at.scale
                else:
                    true = relation.x0 + (seen - relation.m0) / relation.m1
                    true += sds * relation.predict(true).scale / relation.m1
                weight = rate + log(share) + self._with(name, true)
                yield _Weighed("length_type", name, weight, {**arguments, "true": f"{antilog(true):.4g}"})

    def _offsets(self, name: str) -> Iterator[_Weighed]:
        """Something else was on the pan: a tray whose mass is known or not, or the fish before."""
        known = (*self.setup.trays, *self.state.trays)
        unknown = 0.2 if known else 1.0
        nodes = [(offset, unknown / len(_OFFSETS)) for offset in _OFFSETS]
        for tray in known:
            for near in (0.97, 1.0, 1.03):
                nodes.append((near * tray, 1.2 / (3 * len(known))))
                nodes.append((-near * tray, 0.4 / (3 * len(known))))
        yield from self._less(name, "tray", nodes)
        before = self.neighbours[-1].positive() if self.neighbours else {}
        if name in before:
            yield from self._less(name, "other_on_pan", [(before[name].value, 1.0)])

    def _less(self, name: str, cause: str, nodes: Sequence[tuple[float, float]]) -> Iterator[_Weighed]:
        seen = self.values[name].value
        for offset, share in nodes:
            true = seen - offset
            if true > 0.02 * seen:
                weight = log(RATES[cause] * share) + self._with(name, log(true)) + log(seen / true)
                yield _Weighed(cause, name, weight, {"offset": f"{offset:.3g}", "true": f"{true:.4g}"})

    def _left_early(self, name: str) -> Iterator[_Weighed]:
        for left in _LEFT:
            true = self.ln[name] - log(left)
            yield _Weighed("lifted_early", name, log(RATES["lifted_early"] / len(_LEFT)) + self._with(name, true), {})

    def _presentation(self, name: str) -> Iterator[_Weighed]:
        if name == "gutted_mass" and "whole_mass" in self.values:
            return
        declared = self.specimen.presentation
        was = "gutted" if declared == "whole" else "whole"
        for ratio, share in _GUTTED:
            true = self.ln[name] - (log(ratio) if was == "gutted" else -log(ratio))
            weight = log(RATES["presentation"] * share) + self._with(name, true)
            yield _Weighed("presentation", name, weight, {"declared": declared, "was": was})

    def _copies(self, name: str) -> Iterator[_Weighed]:
        """The value is a neighbour's: read once more (the fish before), or the two were exchanged."""
        near = self.neighbours[-3:]
        for place, fish in enumerate(reversed(near)):
            their_values = fish.positive()
            if name not in their_values:
                continue
            theirs, mine = their_values[name], self.values[name]
            share = (0.6, 0.25, 0.15)[place] * (LENGTH_COPIED if name in LENGTHS else 1.0)
            width = max(mine.division, theirs.division, 0.002 * mine.value)
            if abs(mine.value - theirs.value) <= max(mine.division, theirs.division, 1e-9 * mine.value):
                weight = self._without(name) + log(mine.value / width)
                cause = "stale" if place == 0 else "neighbour"
                yield _Weighed(cause, name, log(RATES[cause] * share) + weight, {"number": fish.number})
                continue
            their_ln = {n: v.ln for n, v in their_values.items()}
            joint = Joint(self.state, self.setup, fish.kind, their_values)
            if not joint.parts:
                continue
            gain = joint.log_density({**their_ln, name: mine.ln}) - joint.log_density(their_ln)
            weight = log(RATES["neighbour"] * share) + self._with(name, theirs.ln) + gain
            yield _Weighed("neighbour", name, weight, {"number": fish.number, "exchanged": "yes"})

    def _unexplained(self, name: str) -> _Weighed:
        away = 0.0
        for y, x, relation, rx, ry in self.joint.parts:
            if y == name:
                away = self.ln[y] - relation.predict(self.ln[x], rx, ry).mean
        weight = log(RATES["unexplained"]) + self._without(name) - 0.5 * away * away - _HALF_LOG_2PI
        return _Weighed("unexplained", name, weight, {})

    def _exchanged(self) -> Iterator[_Weighed]:
        """Two values of this fish stand in each other's place."""
        names = list(self.values)
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                try:
                    number_a, number_b = float(self.values[a].digits), float(self.values[b].digits)
                    true_a = self.values[a].value / number_a * number_b
                    true_b = self.values[b].value / number_b * number_a
                except (ValueError, ZeroDivisionError):
                    continue
                if true_a == self.values[a].value:
                    continue
                weight = self.joint.log_density({**self.ln, a: log(true_a), b: log(true_b)})
                alike = 1.0 if (a in LENGTHS) == (b in LENGTHS) else UNLIKE_FIELDS
                yield _Weighed("fields_exchanged", a, log(RATES["fields_exchanged"] * alike) + weight, {"with": b})

    def _species(self) -> Iterator[_Weighed]:
        """It is another species, of those in the protocol or seen at this bench; commoner ones weigh more."""
        if not self.joint.parts:
            return
        own = self.specimen
        state_of = f"|{own.presentation}|{own.preservation}"
        names = {*self.setup.models, *(k.removesuffix(state_of) for k in self.state.kinds if k.endswith(state_of))}
        others = []
        for name in sorted(names - {own.species}):
            kind = name + state_of
            joint = Joint(self.state, self.setup, kind, self.values)
            if joint.may_ask:
                seen = self.state.kinds.get(kind)
                others.append((name, joint, 1.0 + (seen.fish if seen else 0)))
        whole = sum(n for _, _, n in others)
        for name, joint, n in others:
            weight = log(RATES["wrong_species"] * n / whole) + joint.log_density(self.ln)
            yield _Weighed("wrong_species", "species", weight, {"fits": name})


def exchanged(text: str) -> list[str]:
    """`text` with two digits next to each other exchanged, every different way that doesn't begin with a false 0."""
    return _variants(text, _swap_at)


def one_off(text: str) -> list[str]:
    """`text` with one digit replaced, every way that doesn't begin with a false 0."""
    return _variants(text, _replace_at)


def _variants(text: str, at: Callable[[str, list[int], int], list[str]]) -> list[str]:
    places = [i for i, c in enumerate(text) if c.isdigit()]
    out: list[str] = []
    for k in range(len(places)):
        for other in at(text, places, k):
            leading = other.lstrip("+- ")
            if other != text and other not in out and not (leading[:1] == "0" and leading[1:2].isdigit()):
                out.append(other)
    return out


def _swap_at(text: str, places: list[int], k: int) -> list[str]:
    if k + 1 >= len(places):
        return []
    i, j = places[k], places[k + 1]
    return [text[:i] + text[j] + text[i + 1 : j] + text[i] + text[j + 1 :]]


def _replace_at(text: str, places: list[int], k: int) -> list[str]:
    i = places[k]
    return [text[:i] + d + text[i + 1 :] for d in "0123456789"]
