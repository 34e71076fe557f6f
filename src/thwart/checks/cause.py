"""What most likely happened: explanations compared by likelihood over all of a specimen's values at once. Pure.

Each explanation says what the true values would be if it had happened; its weight is its prior rate times the density
of what was seen. Densities are per unit of ln value throughout, so an explanation that maps true to seen values by
other than a factor carries seen/true as its Jacobian. The joint density of a specimen is the density of its root
length, times that of every other length and mass given the root (`state.pairs_of`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from math import exp, inf, log, sqrt
from typing import NamedTuple

from .limits import ln_span
from .model import LENGTHS
from .numeric import antilog, log_sum
from .relation import Density, Prediction, Relation
from .specimen import LEAST, MOST, Specimen, Value
from .state import FIRST, MASSES, Setup, State, mass_of, pairs_of, root_of

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
#: Explanations that every species allows, however little is known of it.
BY_TEN = frozenset({"times_10", "tenth", "times_100", "hundredth", "times_1000", "thousandth"})

_TIMES = {"times_10": 10.0, "tenth": 0.1, "times_100": 100.0, "hundredth": 0.01, "times_1000": 1e3, "thousandth": 1e-3}
#: Cause, ln of its rate, ln (seen / true).
_POWERS = tuple((cause, log(RATES[cause]), log(times)) for cause, times in _TIMES.items())
#: ln (seen / true) for the unit slips, and ln of each one's share.
_INCH = tuple((log(t), log(s)) for t, s in ((25.4, 0.1), (2.54, 0.1), (1 / 25.4, 0.4), (1 / 2.54, 0.4)))
_POUND = tuple((log(t), log(s)) for t, s in ((2.20462, 0.4), (1 / 2.20462, 0.4), (28.3495, 0.1), (1 / 28.3495, 0.1)))
#: Repeatability of one length measured twice, as a standard deviation of its ln (common practice, no source).
_REPEAT = 0.005
#: Gutted over whole mass where no relation is known (common practice, no source): values and weights.
_GUTTED = ((0.84, 0.25), (0.90, 0.5), (0.95, 0.25))
#: Three-point Gauss-Hermite rule for a normal: (standard deviations, ln weight).
_NODES = ((-sqrt(3.0), log(1 / 6)), (0.0, log(2 / 3)), (sqrt(3.0), log(1 / 6)))
_LEFT = tuple(log((i + 0.5) / 20) for i in range(4, 20))
_RATE_LEFT = log(RATES["lifted_early"] / len(_LEFT))
_REST = log(1.0 - sum(RATES.values()))
_ANY = (-inf, inf)
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


class _Weighed(NamedTuple):
    """ln(rate × density) of an explanation, and what makes its arguments."""

    cause: str
    measurand: str
    weight: float
    told: Callable[[], dict[str, str]] = dict


class _Part(NamedTuple):
    y: str
    x: str
    relation: Relation
    rx: float
    ry: float


class Joint:
    """The joint density of a fish's values, in one kind (and group), as now known."""

    def __init__(self, state: State, setup: Setup, kind: str, values: Mapping[str, Value], group: str = "") -> None:
        self.values = values
        self.root = root_of(values)
        self.first = self.root or mass_of(values)
        self.sizes = self._first_size(state, setup, kind, group)
        self.parts = [
            _Part(y, x, state.relation(setup, kind, y, x, group), values[x].rounding, values[y].rounding)
            for y, x in pairs_of(values)
        ]

    def _first_size(self, state: State, setup: Setup, kind: str, group: str) -> Prediction | None:
        """What the first value is expected to be before any other is known: a size, or the mass of one."""
        if self.first is None:
            return None
        if self.root:
            return state.sizes(kind, self.root).predict()
        size = state.sizes(kind, LENGTHS[0]).predict()
        mass = state.relation(setup, kind, self.first, LENGTHS[0], group)
        expected = mass.predict(size.mean)
        return Prediction(expected.mean, sqrt(expected.scale**2 + (mass.m1 * size.scale) ** 2), size.nu)

    def log_density(self, ln: LnValues) -> float:
        """Of the ln values `ln` (all of this joint's measurands)."""
        total = self.sizes.log_density(ln[self.first]) if self.sizes and self.first else 0.0
        return total + sum(relation.predict(ln[x], rx, ry).log_density(ln[y]) for y, x, relation, rx, ry in self.parts)

    def along(self, name: str, ln: LnValues) -> Density:
        """The log density as a function of one measurand's ln value, the others as in `ln`."""
        rest, touched = 0.0, []
        if self.sizes and self.first and name != self.first:
            rest += self.sizes.log_density(ln[self.first])
        for part in self.parts:
            if name in (part.y, part.x):
                touched.append(part)
            else:
                rest += part.relation.predict(ln[part.x], part.rx, part.ry).log_density(ln[part.y])
        terms = []
        if self.sizes and name == self.first:
            terms.append(self.sizes.density(rest))
            rest = 0.0
        for y, x, relation, rx, ry in touched:
            if y == name:
                terms.append(relation.predict(ln[x], rx, ry).density(rest))
            else:
                terms.append(relation.density_of(ln[y], rx, ry, rest))
            rest = 0.0
        if len(terms) == 1:
            return terms[0]
        if len(terms) == 2:
            one, two = terms
            return lambda other: one(other) + two(other)
        return lambda other: rest + sum(term(other) for term in terms)

    @property
    def may_ask(self) -> bool:
        """Whether a relation is known from a prior or from enough fish."""
        return any(p.relation.known or p.relation.fish >= FIRST for p in self.parts)


def fits(state: State, setup: Setup, fish: Specimen, ln: LnValues) -> bool:
    """Whether every value of a fish (`ln`: ln of them) lies within one and a half predictive scales of what the root says."""
    values = fish.positive()
    for y, x in pairs_of(values):
        relation = state.relation(setup, fish.kind, y, x, fish.group)
        expected = relation.predict(ln[x], values[x].rounding, values[y].rounding)
        if abs(ln[y] - expected.mean) > 1.5 * expected.scale:
            return False
    return True


def explain(
    specimen: Specimen, neighbours: Sequence[Specimen], state: State, setup: Setup, *, possible: bool = True
) -> list[Explanation]:
    """All explanations of these values, the most probable first; their probabilities sum to 1.

    `neighbours` are fish before it (the last one nearest) and, where it was recalled, after it. `possible` false: a
    limit or an order says that the values can't be as measured. Costs about 0.3 ms for two values.
    """
    values = specimen.positive()
    if not values:
        return []
    case = _Case(specimen, values, neighbours, state, setup)
    found = list(case.all(possible))
    weights: dict[tuple[str, str], list[float]] = {}
    best: dict[tuple[str, str], _Weighed] = {}
    for one in found:
        key = one[:2]
        weights.setdefault(key, []).append(one.weight)
        if key not in best or one.weight > best[key].weight:
            best[key] = one
    whole = log_sum([one.weight for one in found])
    out = [Explanation(*key, exp(log_sum(w) - whole), best[key].told()) for key, w in weights.items()]
    return sorted(out, key=lambda e: (-e.probability, e.cause, e.measurand))


class _Case:
    """One specimen under comparison."""

    def __init__(
        self,
        specimen: Specimen,
        values: Mapping[str, Value],
        neighbours: Sequence[Specimen],
        state: State,
        setup: Setup,
    ) -> None:
        self.specimen, self.values, self.neighbours = specimen, values, neighbours
        self.state, self.setup = state, setup
        self.ln = {name: v.ln for name, v in values.items()}
        self.joint = Joint(state, setup, specimen.kind, values, specimen.group)
        self.without: dict[str, float] = {}
        model = setup.models.get(specimen.species)
        self.spans = {m: ln_span(model.limits[m]) for m in values if m in model.limits} if model else {}

    def all(self, possible: bool) -> Iterator[_Weighed]:
        if possible:
            yield _Weighed("as_measured", self._main(), _REST + self.joint.log_density(self.ln))
        for name, value in self.values.items():
            along = self.joint.along(name, self.ln)
            yield from self._powers(name, along)
            if value.typed:
                yield from self._digits(name, along)
            yield from self._copies(name, along)
            yield self._unexplained(name)
            if name in LENGTHS:
                yield from self._factors(name, along, "inch", _INCH)
                yield from self._length_type(name, along)
            elif name in MASSES:
                yield from self._factors(name, along, "pound", _POUND)
                yield from self._offsets(name, along)
                yield self._left_early(name, along)
                yield from self._presentation(name, along)
        yield from self._exchanged()
        yield from self._species()

    def _main(self) -> str:
        return self.joint.parts[-1].y if self.joint.parts else next(iter(self.values))

    def _without(self, name: str) -> float:
        found = self.without.get(name)
        if found is None:
            rest = {n: v for n, v in self.values.items() if n != name}
            joint = Joint(self.state, self.setup, self.specimen.kind, rest, self.specimen.group)
            found = self.without[name] = joint.log_density(self.ln)
        return found

    def _any_of(
        self,
        cause: str,
        name: str,
        along: Density,
        nodes: Sequence[tuple[float, float]],
        told: Callable[[int, float], dict[str, str]],
    ) -> Iterator[_Weighed]:
        """One explanation with several possible true values: `nodes` are (ln true value, ln rate and Jacobian), `told`
        gives the arguments from which node it most likely was and its true value. What breaks a limit is left out."""  # fmt: skip
        low, high = self.spans.get(name, _ANY)
        weights = [rate + along(true) if low <= true <= high else -inf for true, rate in nodes]
        whole = log_sum(weights)
        if whole > -inf:
            at = weights.index(max(weights))
            yield _Weighed(cause, name, whole, lambda: told(at, antilog(nodes[at][0])))

    def _powers(self, name: str, along: Density) -> Iterator[_Weighed]:
        low, high = self.spans.get(name, _ANY)
        for cause, log_rate, ln_times in _POWERS:
            true = self.ln[name] - ln_times
            if low <= true <= high:
                yield _Weighed(cause, name, log_rate + along(true), partial(_true, true))

    def _factors(
        self, name: str, along: Density, cause: str, factors: Sequence[tuple[float, float]]
    ) -> Iterator[_Weighed]:
        ln, rate = self.ln[name], log(RATES[cause])
        nodes = [(ln - ln_times, rate + ln_share) for ln_times, ln_share in factors]
        return self._any_of(cause, name, along, nodes, lambda _, true: {"true": f"{true:.6g}"})

    def _digits(self, name: str, along: Density) -> Iterator[_Weighed]:
        value, ln = self.values[name], self.ln[name]
        text, unit = value.digits, f" {value.unit}" if value.unit else ""
        try:
            one = self.values[name].value / float(text)
        except (ValueError, ZeroDivisionError):
            return
        for cause, variants in (("digits_exchanged", exchanged(text)), ("digit_off", one_off(text))):
            numbers = [(number, other) for other in variants if (number := float(other) * one) > 0.0]
            if numbers:
                share = log(RATES[cause] / len(variants)) + ln
                nodes = [(true, share - true) for number, _ in numbers for true in (log(number),)]
                texts = [other for _, other in numbers]
                yield from self._any_of(
                    cause, name, along, nodes,
                    lambda at, true, texts=texts: {"true": f"{true:.6g}", "digits": texts[at] + unit},  # type: ignore[misc]
                )  # fmt: skip

    def _length_type(self, name: str, along: Density) -> Iterator[_Weighed]:
        """The value is another length of this fish."""
        kind = self.specimen.kind
        for other in LENGTHS:
            if other == name:
                continue
            rate = log(RATES["length_type"] * (0.8 if "standard_length" not in (name, other) else 0.2))
            said = {"taken_as": name, "was": other}
            if other in self.values:
                spread = sqrt(_REPEAT**2 + self.values[name].rounding ** 2 + self.values[other].rounding ** 2)
                z = (self.ln[name] - self.ln[other]) / spread
                weight = rate + self._without(name) - 0.5 * z * z - _HALF_LOG_2PI - log(spread)
                yield _Weighed("length_type", name, weight, partial(dict, said))
                continue
            longer, shorter = sorted((name, other), key=LENGTHS.index)
            relation = self.state.relation(self.setup, kind, shorter, longer, self.specimen.group)
            if not 0.5 < relation.m1 < 2.0:
                continue  # learned from nonsense: lengths of one fish grow together
            seen = self.ln[name]
            if name == shorter:  # seen is the longer one; the true shorter follows from it
                at = relation.predict(seen)
                middle, scale = at.mean, at.scale
            else:
                middle = relation.x0 + (seen - relation.m0) / relation.m1
                scale = relation.predict(middle).scale / relation.m1
            nodes = [(middle + sds * scale, rate + ln_share) for sds, ln_share in _NODES]
            yield from self._any_of(
                "length_type", name, along, nodes,
                lambda _, true, said=said: {**said, "true": f"{true:.4g}"},  # type: ignore[misc]
            )  # fmt: skip

    def _offsets(self, name: str, along: Density) -> Iterator[_Weighed]:
        """Something else was on the pan: a tray whose mass is known or not, or the fish before."""
        known = (*self.setup.trays, *self.state.trays)
        unknown = 0.2 if known else 1.0
        offsets = [(offset, unknown / len(_OFFSETS)) for offset in _OFFSETS]
        for tray in known:
            for near in (0.97, 1.0, 1.03):
                offsets.append((near * tray, 1.2 / (3 * len(known))))
                offsets.append((-near * tray, 0.4 / (3 * len(known))))
        yield from self._less(name, along, "tray", offsets)
        before = self.neighbours[-1].positive() if self.neighbours else {}
        if name in before:
            yield from self._less(name, along, "other_on_pan", [(before[name].value, 1.0)])

    def _less(
        self, name: str, along: Density, cause: str, offsets: Sequence[tuple[float, float]]
    ) -> Iterator[_Weighed]:
        seen, rate = self.values[name].value, log(RATES[cause]) + self.ln[name]
        left = [(offset, share) for offset, share in offsets if seen - offset > 0.02 * seen]
        nodes = [(true, rate + log(share) - true) for offset, share in left for true in (log(seen - offset),)]
        return self._any_of(
            cause, name, along, nodes, lambda at, true: {"offset": f"{left[at][0]:.3g}", "true": f"{true:.4g}"}
        )

    def _left_early(self, name: str, along: Density) -> _Weighed:
        ln = self.ln[name]
        return _Weighed("lifted_early", name, _RATE_LEFT + log_sum([along(ln - ln_left) for ln_left in _LEFT]))

    def _presentation(self, name: str, along: Density) -> Iterator[_Weighed]:
        if name == "gutted_mass" and "whole_mass" in self.values:
            return
        declared = self.specimen.presentation
        was = "gutted" if declared == "whole" else "whole"
        said = {"declared": declared, "was": was}
        for ratio, share in _GUTTED:
            true = self.ln[name] - (log(ratio) if was == "gutted" else -log(ratio))
            weight = log(RATES["presentation"] * share) + along(true)
            yield _Weighed("presentation", name, weight, partial(dict, said))

    def _copies(self, name: str, along: Density) -> Iterator[_Weighed]:
        """The value is a neighbour's: read once more (the fish before), or the two were exchanged."""
        near = self.neighbours[-3:]
        for place, fish in enumerate(reversed(near)):
            their_values = fish.positive()
            if name not in their_values:
                continue
            theirs, mine = their_values[name], self.values[name]
            share = (0.6, 0.25, 0.15)[place] * (LENGTH_COPIED if name in LENGTHS else 1.0)
            width = max(mine.division, theirs.division, 0.002 * mine.value)
            said = {"number": fish.number}
            if abs(mine.value - theirs.value) <= max(mine.division, theirs.division, 1e-9 * mine.value):
                weight = self._without(name) + log(mine.value / width)
                cause = "stale" if place == 0 else "neighbour"
                yield _Weighed(cause, name, log(RATES[cause] * share) + weight, partial(dict, said))
                continue
            their_ln = {n: v.ln for n, v in their_values.items()}
            joint = Joint(self.state, self.setup, fish.kind, their_values, fish.group)
            if not joint.parts:
                continue
            gain = joint.along(name, their_ln)
            weight = log(RATES["neighbour"] * share) + along(theirs.ln) + gain(mine.ln) - gain(theirs.ln)
            yield _Weighed("neighbour", name, weight, partial(dict, said, exchanged="yes"))

    def _unexplained(self, name: str) -> _Weighed:
        away = 0.0
        for y, x, relation, rx, ry in self.joint.parts:
            if y == name:
                away = self.ln[y] - relation.predict(self.ln[x], rx, ry).mean
        weight = log(RATES["unexplained"]) + self._without(name) - 0.5 * away * away - _HALF_LOG_2PI
        return _Weighed("unexplained", name, weight)

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
                if true_a == self.values[a].value or not (LEAST <= true_a <= MOST and LEAST <= true_b <= MOST):
                    continue
                weight = self.joint.log_density({**self.ln, a: log(true_a), b: log(true_b)})
                alike = 1.0 if (a in LENGTHS) == (b in LENGTHS) else UNLIKE_FIELDS
                rate = log(RATES["fields_exchanged"] * alike)
                yield _Weighed("fields_exchanged", a, rate + weight, partial(dict, {"with": b}))

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
            joint = Joint(self.state, self.setup, kind, self.values, own.group)
            if joint.may_ask:
                seen = self.state.kinds.get(kind)
                others.append((name, joint, 1.0 + (seen.fish if seen else 0)))
        whole = sum(n for _, _, n in others)
        for name, joint, n in others:
            weight = log(RATES["wrong_species"] * n / whole) + joint.log_density(self.ln)
            yield _Weighed("wrong_species", "species", weight, partial(dict, fits=name))


def _true(ln: float) -> dict[str, str]:
    return {"true": f"{antilog(ln):.6g}"}


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
