"""A species that stayed set although the fish changed. Pure.

For every other known species a cumulative sum of the log-likelihood ratio of a fish's values in that species and in
the one recorded, from 0 again whenever the recorded species changes; it begins
with a fish that doesn't fit well as recorded. One fish counts at most `MOST`.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import msgspec

from .cause import Joint, fits
from .numeric import six
from .specimen import Specimen
from .state import Setup, State

MOST = 4.0
#: Height of an alarm: 0.1 false findings per 1,000 fish with six other species.
HEIGHT = 8.0


class StuckWatch(msgspec.Struct, frozen=True):
    """The species now recorded, and for each other one its sum and the fish it began with."""

    kind: str = ""
    sums: tuple[tuple[str, float, str], ...] = ()


class Stuck(NamedTuple):
    """The fish since `start` fit the species `fits` better."""

    fits: str
    start: str
    surely: float


def follow_stuck(watch: StuckWatch, fish: Specimen, state: State, setup: Setup) -> tuple[StuckWatch, Stuck | None]:
    """The watch after one more fish, with `state` as before it was learned."""
    values, kind = fish.positive(), fish.kind
    if kind != watch.kind:
        watch = StuckWatch(kind)
    if not fish.species:
        return watch, None
    ln = {name: v.ln for name, v in values.items()}
    running = any(total > 0.0 for _, total, _ in watch.sums)
    if not running and fits(state, setup, fish, ln):
        return watch, None
    tail = f"|{fish.presentation}|{fish.preservation}"
    names = sorted({*setup.models, *(k.removesuffix(tail) for k in state.kinds if k.endswith(tail))} - {fish.species})
    own = Joint(state, setup, kind, values, fish.group)
    if not names or not own.parts or not own.may_ask:
        return watch, None
    here = own.log_density(ln)
    old = {name: (total, start) for name, total, start in watch.sums}
    sums, found = [], None
    for name in names:
        other = Joint(state, setup, name + tail, values, fish.group)
        if not other.may_ask:
            continue
        total, start = old.get(name, (0.0, fish.number))
        gain = min(max(other.log_density(ln) - here, -MOST), MOST)
        start = fish.number if total <= 0.0 else start
        total = max(0.0, total + gain)
        if total > HEIGHT and (found is None or total > found[0]):
            found = (total, name, start)
        sums.append((name, six(total), start))
    if found:
        return StuckWatch(kind), Stuck(found[1], found[2], six(1.0 - exp(-found[0])))
    return StuckWatch(kind, tuple(sums)), None
