"""Values slipped by one fish against the lengths, and pairs of fish with exchanged masses. Pure.

Two sums run along the fish of a place (Shiryaev 1963 and Roberts 1966, Technometrics 8:411-430: the likelihood ratio
summed over all fish a slip may have begun with): *late*, a fish shows the mass of the one before it, and *early*, it
shows the mass of the one after. An alarm is raised where both together pass the height. Of what one fish can say
`FLOOR` is the most, and one fish alone never raises an alarm (`_SECOND`), so a single wrong value is no slip. While a
sum is high the relations it began with are used, so that slipped fish don't teach it that slipped is normal.

Two exchanged masses look like the beginning of a slip either way: both are compared, and told once one is likelier. A
slip that was told is told once: the next may be after fish and masses belong together again.

The height an alarm takes depends on how far apart neighbours lie: `_HEIGHTS` was calibrated by
`tests/long/checks_slips.py` to 0.2 alarms per 1,000 sound fish in random order, both directions together. Where
neighbours are alike (fish sorted by size) a slip can't be seen, and a bent relation would look like one: the alarm is
set high there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import exp, log, log1p, sqrt
from statistics import fmean, stdev
from typing import Literal, NamedTuple

import msgspec

from .numeric import log_sum, t_log_density
from .relation import Prediction
from .specimen import Specimen
from .state import FIRST, Learned, Setup, State, mass_of, root_of

Direction = Literal["late", "early"]

#: The log-density floor under a relation's peak: values this far out say nothing about slips.
FLOOR = 9.0
_FLOOR = exp(-FLOOR)
#: (distance of neighbours in scatters, height of the alarm).
_HEIGHTS = (
    (0.3, 20.0),
    (0.6, 14.0),
    (0.83, 8.1),
    (1.62, 7.9),
    (2.76, 7.2),
    (4.24, 6.0),
    (6.55, 5.2),
    (9.7, 4.8),
    (16.3, 4.4),
)
#: Fish over which the distance of neighbours is averaged, what it is taken as before the first, and for how many.
_SPAN, _APART, _APART_FISH = 20, 16.0, 4.0
#: From this sum on the relations are held.
_HOLD = 0.5
#: The sums' floor, and the digits they are kept with.
_LEAST, _PLACES = -5.0, 3
#: What all fish but the plainest must say together: a single odd value is no slip. Where nobody was asked about odd values
#: when they came (`wary`), they are about ten times as many, and the last fish may be the odd one.
_SECOND, _WARY = 0.3, 3.0
#: What each of two exchanged masses must say for it where nobody was asked.
_BOTH = 1.5
#: log-likelihood ratio above which two masses are exchanged: 0.2 false findings per 1,000 fish.
SWAP = 5.0
#: A pair is told as exchanged once that is so much likelier than a slip, and the next fish fits as paired within so much
#: of the peak.
_CLEAR, _FITS = 1.0, 2.0
#: A slip that was told has ended when fish and masses belonging together is so much likelier.
_ENDED = 4.0
#: From this sum on what was seen last is gone through again; fish it takes to know how masses spread.
_LOOK, _ALIKE = 2.5, 6
#: What an early slip is set back by: it is seen sooner than a late one.
_LATER = 1.0
#: Fish looked back at when something is found.
LOOK_BACK = 16


class Seen(NamedTuple):
    """A fish with a length and a mass."""

    number: str
    kind: str
    group: str
    root: str
    mass: str
    ln_x: float
    rx: float
    ln_y: float
    ry: float


class Step(NamedTuple):
    """What two fish in a row say against each having its own mass: that the second has the first's (late), that the
    first has the second's (early); and how well the second fits, under the peak."""

    first: str
    second: str
    late: float
    early: float
    fit: float


class SlipWatch(msgspec.Struct, frozen=True):
    """The two sums, the gain of the last pair exchanged (where it may be), the slip that was told and how far it ended."""

    late: float = _LEAST
    early: float = _LEAST
    pair: float = 0.0
    told: str = ""
    ended: float = 0.0
    anchor: Mapping[str, Learned] | None = None


class Slip(NamedTuple):
    """Masses from fish `start` on belong to the fish before (`late`) or after (`early`)."""

    direction: Direction
    start: str
    end: str
    surely: float
    within_one: float


class Swap(NamedTuple):
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


def _seen(fish: Specimen) -> Seen | None:
    values = fish.positive()
    root = root_of(values)
    mass = mass_of(values)
    if not root or not mass or not fish.species:
        return None
    x, y = values[root], values[mass]
    return Seen(fish.number, fish.kind, fish.group, root, mass, x.ln, x.rounding, y.ln, y.rounding)


def _density(p: Prediction, ln_y: float) -> float:
    z = (ln_y - p.mean) / p.scale
    return log(exp(t_log_density(z, p.nu) - t_log_density(0.0, p.nu)) + _FLOOR) - log(p.scale)


def _step(then: Seen, now: Seen, state: State, setup: Setup) -> tuple[Step, float, float] | None:
    """What two fish say, how far apart they lie in scatters, and a scatter; None where their relations aren't known."""
    if then.mass != now.mass:
        return None
    mine, theirs = _expected(state, setup, now), _expected(state, setup, then)
    if mine is None or theirs is None:
        return None
    fit, paired_then = _density(mine, now.ln_y), _density(theirs, then.ln_y)
    late, early = _density(theirs, now.ln_y) - fit, _density(mine, then.ln_y) - paired_then
    apart = (mine.mean - theirs.mean) / mine.scale
    return Step(then.number, now.number, late, early, fit + log(mine.scale)), apart, mine.scale


def follow_slip(
    watch: SlipWatch, fish: Specimen, before: Sequence[Specimen], state: State, setup: Setup, *, wary: bool = False
) -> tuple[SlipWatch, Slip | Swap | None]:
    """The watch after one more finished fish, with `state` as it was before that fish was learned.

    `before` are the fish before it at this place, nearest last; `wary`: nobody was asked about odd values among them.
    """
    now, then = _seen(fish), _seen(before[-1]) if before else None
    using = state if watch.anchor is None else State(watch.anchor, state.ration, state.trays)
    made = _step(then, now, using, setup) if now and then else None
    if made is None:
        return SlipWatch(told=watch.told, ended=watch.ended), None
    step = made[0]
    new = _taken(watch, step, wary)
    found: Slip | Swap | None = None
    if new.told:
        gain = step.late if new.told == "late" else step.early
        ended = max(0.0, round(new.ended - gain, _PLACES))
        if ended > _ENDED:
            return SlipWatch(), None
        new = msgspec.structs.replace(new, ended=ended)
    elif watch.pair or max(new.late, new.early) > _LOOK:
        found = _decide(new, watch.pair, _look_back([*before, fish], using, setup), wary)
        if isinstance(found, Swap):
            return SlipWatch(), found
        if found:
            return SlipWatch(told=found.direction, anchor=using.kinds), found
    held = new.told or max(new.late, new.early) > _HOLD
    return msgspec.structs.replace(new, anchor=using.kinds if held else None), None


def _taken(watch: SlipWatch, step: Step, wary: bool) -> SlipWatch:
    gain = step.late + step.early
    if wary and min(step.late, step.early) < _BOTH:
        gain = 0.0
    return SlipWatch(
        max(_LEAST, round(log1p(exp(watch.late)) + step.late, _PLACES)),
        max(_LEAST, round(log1p(exp(watch.early)) + step.early, _PLACES)),
        round(gain, _PLACES) if gain > SWAP else 0.0,
        watch.told,
        watch.ended,
    )


class _Past(NamedTuple):
    """The last steps without a gap; how far apart neighbours lie (root mean square, in scatters); what the last fish's
    mass says for being any fish's rather than its own."""

    steps: Sequence[Step]
    apart: float
    anyones: float


def _look_back(fish: Sequence[Specimen], state: State, setup: Setup) -> _Past:
    seen = [_seen(one) for one in fish[-_SPAN - 1 :]]
    steps: list[Step] = []
    squares, n, scale = 0.0, 0, 1.0
    for then, now in pairwise(seen):
        made = _step(then, now, state, setup) if then and now else None
        if made is None:
            steps = []
            continue
        step, apart, scale = made
        steps.append(step)
        squares += min(apart * apart, 400.0)
        n += 1
    guess = _APART_FISH * (1.0 - n / _SPAN)
    away = sqrt((squares + guess * _APART) / (n + guess))
    alike = [one.ln_y for one in seen[-len(steps) - 1 : -1] if one]
    last = seen[-1]
    if last is None or len(alike) < _ALIKE:
        return _Past(steps[-LOOK_BACK:], away, 0.0)
    wide = max(stdev(alike), scale)
    z = (last.ln_y - fmean(alike)) / wide
    return _Past(steps[-LOOK_BACK:], away, -0.5 * z * z - log(wide / scale) - steps[-1].fit)


def _decide(new: SlipWatch, pair: float, past: _Past, wary: bool) -> Slip | Swap | None:
    """What is told now: a slip, an exchanged pair of the two fish before this one, or (not yet) nothing."""
    steps = past.steps
    late, early = _sums([s.late for s in steps]), _sums([s.early for s in steps])
    # Under an early slip the last fish has the mass of one not seen yet.
    early_sum = (log1p(exp(new.early)) + past.anyones if past.anyones else new.early) - _LATER
    slip = max(*late, max(early) + past.anyones)
    if pair and len(steps) > 1:
        if pair - slip > _CLEAR and steps[-1].fit > -_FITS:
            first, second = steps[-2].first, steps[-2].second
            return Swap(first, second, 1.0 / (1.0 + exp(-pair) + exp(slip - pair)))
        if pair > slip:
            return None
    if new.pair > slip or log_sum([new.late, early_sum]) <= height(past.apart):
        return None
    direction: Direction = "late" if new.late >= early_sum else "early"
    sums, rest = (late, 0.0) if direction == "late" else (early, past.anyones)
    at = sums.index(max(sums))
    said = [s.late if direction == "late" else s.early for s in steps[at:]]
    if sum(said) - max(said) + rest < _SECOND or (wary and sum(said) + rest - max(*said, rest) < _WARY):
        return None
    whole = log_sum(sums)
    near = sum(exp(one - whole) for one in sums[max(at - 1, 0) : at + 2])
    surely = 1.0 / (1.0 + exp(-min(abs(new.late - early_sum), 50.0)))
    # A late slip begins with the second fish of a step, an early one with the first.
    if direction == "late":
        return Slip(direction, steps[at].second, steps[-1].second, surely, near)
    return Slip(direction, steps[at].first, steps[-1].first, surely, near)


def _sums(gains: Sequence[float]) -> list[float]:
    """What all fish from each on say together."""
    out, total = [], 0.0
    for gain in reversed(gains):
        total += gain
        out.append(total)
    return out[::-1]


def _expected(state: State, setup: Setup, fish: Seen) -> Prediction | None:
    relation = state.relation(setup, fish.kind, fish.mass, fish.root, fish.group)
    if not relation.known and relation.fish < FIRST:
        return None
    return relation.predict(fish.ln_x, fish.rx, fish.ry)
