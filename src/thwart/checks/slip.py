"""Values slipped by one fish against the lengths, and pairs of fish with exchanged masses. Pure.

Two cumulative sums of log-likelihood ratios (Page 1954, Biometrika 41:100-115) run along the fish of a place: *late*, a
fish shows the mass of the one before it, and *early*, it shows the mass of the one after. Each starts anew at 0, so
where it last did is the likeliest start of the slip. Of what one fish can say `FLOOR` is the most, and one fish alone
never raises an alarm (`_SECOND`), so a single wrong value is no slip. While a sum is above 0 the relations it began with are used,
so that slipped fish don't teach it that slipped is normal.

The height an alarm takes depends on how far apart neighbours lie: `_HEIGHTS` was calibrated by
`tests/long/checks_slips.py` to 0.1 to 0.3 alarms per 1,000 sound fish in random order, both directions together. Where
neighbours are alike (fish sorted by size) a slip can't be seen, and a bent relation would look like one: the alarm is
set high there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from math import exp, log, sqrt
from typing import Literal, NamedTuple

from .numeric import six, t_log_density
from .relation import Prediction
from .specimen import Specimen
from .state import FIRST, Learned, Setup, State, root_of

Direction = Literal["late", "early"]

#: The log-density floor under a relation's peak: values this far out say nothing about slips.
FLOOR = 9.0
_FLOOR = exp(-FLOOR)
#: (distance of neighbours in scatters, height of the alarm).
_HEIGHTS = ((0.7, 11.0), (1.1, 7.6), (1.8, 7.4), (3.0, 6.8), (4.2, 5.9), (6.2, 5.2), (9.0, 4.6), (15.0, 4.2))
#: Fish over which the distance of neighbours is averaged.
_SPAN = 20.0
#: How much likelier a direction must be than the other before it is named, and for how many fish to wait for that.
_CLEAR = 1.0
_WAIT = 2
#: What all fish but the plainest must say together: a single odd value or an exchanged pair is no slip.
_SECOND = 1.0
#: log-likelihood ratio above which two masses are exchanged: 0.2 false findings per 1,000 fish.
SWAP = 6.0
#: A swap counts only if the next fish fits as paired: within so much of the peak.
_FITS = 2.0
_KEEP = 16


class Seen(NamedTuple):
    """A fish with a length and a mass."""

    number: str
    at: int
    kind: str
    root: str
    mass: str
    ln_x: float
    rx: float
    ln_y: float
    ry: float


class Step(NamedTuple):
    """What one fish says: log-likelihood ratios against paired; `early` is known one fish later."""

    number: str
    at: int
    late: float
    early: float | None


class Pair(NamedTuple):
    """Two fish that fit each other's mass: what the second (late) and the first (early) gain by that.

    From each gain is taken what the fish before them already said for the other explanation, a slip.
    """

    first: str
    second: str
    late: float
    early: float


@dataclass(frozen=True, slots=True)
class SlipWatch:
    """The two sums, where they began, and the last steps."""

    fish: int = 0
    last: Seen | None = None
    late: float = 0.0
    early: float = 0.0
    late_from: int = 0
    early_from: int = 0
    waiting: int = 0
    apart: float = 16.0
    steps: tuple[Step, ...] = ()
    swap: Pair | None = None
    anchor: Mapping[str, Learned] | None = None


@dataclass(frozen=True, slots=True)
class Slip:
    """Masses from fish `start` on belong to the fish before (`late`) or after (`early`)."""

    direction: Direction
    start: str
    end: str
    surely: float
    within_one: float


@dataclass(frozen=True, slots=True)
class Swap:
    """The masses of two fish in a row are exchanged."""

    first: str
    second: str
    surely: float


def height(apart: float) -> float:
    """The alarm's height where neighbours lie `apart` scatters from each other."""
    if apart <= _HEIGHTS[0][0]:
        return _HEIGHTS[0][1]
    for (a, low), (b, high) in pairwise(_HEIGHTS):
        if apart <= b:
            return low + (high - low) * (apart - a) / (b - a)
    return _HEIGHTS[-1][1]


def _seen(fish: Specimen, index: int) -> Seen | None:
    values = fish.positive()
    root = root_of(values)
    mass = next((m for m in ("whole_mass", "gutted_mass") if m in values), None)
    if not root or not mass or not fish.species:
        return None
    x, y = values[root], values[mass]
    return Seen(fish.number, index, fish.kind, root, mass, six(x.ln), six(x.rounding), six(y.ln), six(y.rounding))


def _density(p: Prediction, ln_y: float) -> float:
    z = (ln_y - p.mean) / p.scale
    return log(exp(t_log_density(z, p.nu) - t_log_density(0.0, p.nu)) + _FLOOR) - log(p.scale)


def follow_slip(watch: SlipWatch, fish: Specimen, state: State, setup: Setup) -> tuple[SlipWatch, Slip | Swap | None]:
    """The watch after one more finished fish, with `state` as it was before that fish was learned."""
    now = _seen(fish, watch.fish)
    index = watch.fish + 1
    if now is None:
        return replace(watch, fish=index), None
    then = watch.last
    using = state if watch.anchor is None else replace(state, kinds=watch.anchor)
    mine = _expected(using, setup, now, now.ry)
    if then is None or then.mass != now.mass or mine is None:
        return SlipWatch(fish=index, last=now if mine else None, apart=watch.apart), None
    theirs = _expected(using, setup, then, then.ry)
    if theirs is None:
        return SlipWatch(fish=index, last=now, apart=watch.apart), None
    paired, paired_then = _density(mine, now.ln_y), _density(theirs, then.ln_y)
    late = _density(theirs, now.ln_y) - paired
    early = _density(mine, then.ln_y) - paired_then
    steps = watch.steps
    if steps and steps[-1].at == then.at:
        steps = (*steps[:-1], steps[-1]._replace(early=six(early)))
    steps = (*steps, Step(now.number, now.at, six(late), None))[-_KEEP:]
    distance = (mine.mean - theirs.mean) / mine.scale
    new = replace(
        watch,
        fish=index,
        last=now,
        late_from=now.at if watch.late <= 0.0 else watch.late_from,
        early_from=then.at if watch.early <= 0.0 else watch.early_from,
        late=six(max(0.0, watch.late + late)),
        early=six(max(0.0, watch.early + early)),
        apart=six(watch.apart + (min(distance * distance, 400.0) - watch.apart) / _SPAN),
        steps=steps,
        swap=None,
    )
    ratio = late + early
    if watch.swap and _is_swap(watch.swap, late, early, paired + log(mine.scale)):
        surely = six(1.0 - exp(-max(watch.swap.late + watch.swap.early, 0.0)))
        return SlipWatch(fish=index, last=now, apart=new.apart), Swap(watch.swap.first, watch.swap.second, surely)
    new, found = _decide(new, now, then)
    if found is None and ratio > SWAP:
        new = replace(new, swap=Pair(then.number, now.number, six(late - watch.early), six(early - watch.late)))
    idle = new.late <= 0.0 and new.early <= 0.0
    return replace(new, anchor=None if idle else using.kinds), found


def _is_swap(pair: Pair, late: float, early: float, fit: float) -> bool:
    """Whether a pair is exchanged rather than the beginning of a slip, by the next fish.

    `late`, `early`: what that fish's mass gains on the pair's second length, and the second's mass on its length; `fit`:
    its own log density under the peak. Late: the first of the pair is right and the next fish has the second's mass.
    Early: the second has the next fish's mass.
    """
    return fit > -_FITS and pair.early - late > _CLEAR and pair.late - early + fit > _CLEAR


def _decide(new: SlipWatch, now: Seen, then: Seen) -> tuple[SlipWatch, Slip | None]:
    top = max(new.late, new.early)
    if top <= height(sqrt(new.apart)):
        return replace(new, waiting=0), None
    begun = min([new.late_from] * (new.late > 0.0) + [new.early_from] * (new.early > 0.0))
    contrast = sum(s.late - s.early for s in new.steps if s.at >= begun and s.early is not None)
    leading: Direction = "late" if new.late >= new.early else "early"
    start = new.late_from if leading == "late" else new.early_from
    said = [(s.late if leading == "late" else s.early) or 0.0 for s in new.steps if s.at >= start]
    clear = contrast > _CLEAR if leading == "late" else contrast < -_CLEAR
    if sum(said) - max(said) < _SECOND or not (clear or new.waiting >= _WAIT):
        return replace(new, waiting=new.waiting + 1), None
    likelier: Direction = "late" if contrast > 0.0 else "early"
    if (new.late if likelier == "late" else new.early) <= 0.0:
        likelier = leading
    surely = 1.0 / (1.0 + exp(-min(abs(contrast), 50.0)))
    return _alarm(new, likelier, now if likelier == "late" else then, surely)


def _alarm(new: SlipWatch, direction: Direction, last: Seen, surely: float) -> tuple[SlipWatch, Slip]:
    begun = new.late_from if direction == "late" else new.early_from
    known = [(s, s.late if direction == "late" else s.early) for s in new.steps if s.at <= last.at]
    # How sure the start is: the sum from each possible first fish, with even prior.
    total, weights = 0.0, {}
    for step, value in reversed(known):
        total += value or 0.0
        weights[step.at] = total
    top = max(weights.values())
    odds = {i: exp(w - top) for i, w in weights.items()}
    near = sum(w for i, w in odds.items() if abs(i - begun) <= 1) / sum(odds.values())
    start = next((s.number for s in new.steps if s.at == begun), last.number)
    cleared = SlipWatch(fish=new.fish, last=new.last, apart=new.apart, steps=new.steps)
    return cleared, Slip(direction, start, last.number, six(surely), six(near))


def _expected(state: State, setup: Setup, fish: Seen, ry: float) -> Prediction | None:
    relation = state.relation(setup, fish.kind, fish.mass, fish.root)
    if not relation.known and relation.fish < FIRST:
        return None
    return relation.predict(fish.ln_x, fish.rx, ry)
