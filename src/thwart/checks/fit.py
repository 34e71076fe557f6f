"""A species model from a past table: robust fits, with what was left out and the back-transformation bias. Pure.

The same mixture as the live fold (`relation.refit`), started from what is known of any fish, so that six fish give a
usable relation and a wrong value among them does no harm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, sqrt
from statistics import fmean, median, pstdev

from .model import SLOPES, RelationPrior
from .numeric import six
from .relation import SHARE_WRONG, Kept, Relation, refit

#: |residual / scatter| from which a row is named as left out.
_FAR = 4.0
#: What a relation's scatter, the width of its x and the slope of a length on a length or a mass on a mass may be.
_SCATTER = 1.9
_WIDTH = (0.05, 2.9)
_SLOPE = (0.2, 5.0)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fitted relation: the prior to write into a protocol, and how well it fits.

    `bias` is the factor exp(s²/2) between median and mean mass (Sprugel 1983, Ecology 64:209-210); `far` are the
    positions (from 0) of the points beyond four scatters; `residuals` those of all points, in ln y. `free` is the slope
    the points alone would give, where no fish is made so and the line was held at the nearest slope that can be.
    """

    prior: RelationPrior
    fish: int
    bias: float
    far: tuple[int, ...]
    residuals: tuple[float, ...]
    free: float | None = None


def fit_relation(
    y: str,
    x: str,
    points: Sequence[tuple[float, float, float, float]],
    source: str,
    *,
    presentation: str = "whole",
    preservation: str = "fresh",
    group: str = "",
    weight: float | None = None,
) -> Fitted:
    """`points` are (ln x, ln y, rounding of ln x, rounding of ln y) in mm and g. Raises ValueError for fewer than 3.

    `weight` is how many of the bench's own fish the result counts for (default: as many as fitted, at most 40).
    """
    n = len(points)
    if n < 3:
        raise ValueError(f"{n} fish with both {x} and {y}: a relation needs at least 3")
    vague = Relation.vague(y, x)
    centre = median(p[0] for p in points)
    # The prior of the vague relation, moved to the middle of these fish.
    u = centre - vague.x0
    v00 = vague.v00 + u * u * vague.v11
    kept = [Kept(p[0] - centre, p[1], p[2], p[3], SHARE_WRONG["passed"]) for p in points]
    start, spread = (vague.m0 + vague.m1 * u, vague.m1), (v00, u * vague.v11, vague.v11)
    (c0, c1), (_, nu, ss) = refit(start, spread, vague.nu, vague.ss, kept)
    low, high = SLOPES if y.endswith("_mass") and x.endswith("_length") else _SLOPE
    free = None
    if not low <= c1 <= high:
        free, held = six(c1), min(max(c1, low), high)
        (c0, _), (_, nu, ss) = refit((start[0], held), (v00, 0.0, 1e-12), vague.nu, vague.ss, kept)
        c1 = held
    scatter = min(sqrt(ss / nu), _SCATTER)
    residuals = tuple(k.ln_y - c0 - c1 * k.u for k in kept)
    far = tuple(i for i, r in enumerate(residuals) if abs(r) > _FAR * scatter)
    wrong = set(far)
    sizes = [p[0] for i, p in enumerate(points) if i not in wrong] or [p[0] for p in points]
    counts = weight if weight is not None else min(float(n), 40.0)
    prior = RelationPrior(
        y=y,
        x=x,
        y_unit="g" if y.endswith("_mass") else "mm",
        x_unit="g" if x.endswith("_mass") else "mm",
        ln_a=six(c0 - c1 * centre),
        b=six(c1),
        scatter_ln=six(scatter),
        centre=six(exp(fmean(sizes))),
        spread_ln=six(min(max(pstdev(sizes), _WIDTH[0]), _WIDTH[1])),
        fish=n,
        weight=max(counts, 2.0),
        presentation=presentation,
        preservation=preservation,
        group=group,
        source=source,
    )
    return Fitted(prior, n, six(exp(scatter * scatter / 2.0)), far, residuals, free)
