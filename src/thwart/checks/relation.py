"""One relation `ln y = m0 + m1 (ln x - x0) + e`, learned fish by fish: normal-inverse-gamma with a Student-t predictive. Pure.

The conjugate update is the standard one (Gelman et al., Bayesian Data Analysis, normal linear regression with a
conjugate prior), with three additions:

* *Resolution.* A reading shown in steps `d` at value `v` carries the variance (d/v)²/12 of a rounding error; it widens
  the predictive and lowers the weight the fish gets, so 0.1 g on a 0.5 g fish is neither odd nor informative.
* *Errors among what is learned.* Each fish counts with the probability that it is sound: a mixture of the predictive
  (share 1 - ε) and a normal `ERROR_SPREAD` times as wide (share ε). ε depends on what became of the value (`SHARE_WRONG`).
* *Truncation.* A value is learned whether or not it was asked about (what a person mended is learned as mended), so
  the gate cuts nothing off; the little that the soundness weights take from the tails is put back by `_TAIL_LOSS`.

The first `START` fish are kept and refitted robustly at set counts, so that a wrong value among the first few can't
settle in; after that only six numbers per relation remain. Memory fades beyond `MEMORY` fish.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp, log, log1p, pi, sqrt
from statistics import median
from typing import Literal, NamedTuple, Self

from .model import RelationPrior
from .numeric import six, t_log_density, t_log_peak, t_two_sided

#: What became of a value: nothing was asked, or a person let it stand, or it was asked and nobody has answered.
Outcome = Literal["passed", "stood", "open"]
#: Share of wrong values taken for each outcome.
SHARE_WRONG: dict[Outcome, float] = {"passed": 0.01, "stood": 0.002, "open": 0.05}
#: How many times as wide as the predictive the errors spread.
ERROR_SPREAD = 8.0
#: Fish kept for the robust start, and the counts at which they are refitted.
START = 40
_REFIT_AT = frozenset({3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40})
#: How many fish the scatter is known from in any species: ln mass scatters by about 0.10 (0.07 to 0.15) about length.
SCATTER_KNOWN = 8.0
#: Beyond this many fish older ones fade.
MEMORY = 2000.0
#: Share of sound fish that scatter `UNUSUAL_SPREAD` times as widely (unusual fish), in densities only.
SHARE_UNUSUAL = 0.02
UNUSUAL_SPREAD = 2.5

_UNUSUAL_SQUARED = UNUSUAL_SPREAD * UNUSUAL_SPREAD
_LOG_USUAL = log(1.0 - SHARE_UNUSUAL)
_LOG_UNUSUAL = log(SHARE_UNUSUAL / UNUSUAL_SPREAD)
_HALF_LOG_2PI = 0.5 * log(2.0 * pi)


def _soundness(z: float, log_density: float, share_wrong: float) -> float:
    # By the ratio of the two in logs: far out both densities are below the smallest float.
    wrong = log(share_wrong / ERROR_SPREAD) - 0.5 * (z / ERROR_SPREAD) ** 2 - _HALF_LOG_2PI
    apart = wrong - log(1.0 - share_wrong) - log_density
    return 1.0 / (1.0 + exp(apart)) if apart < 700.0 else 0.0


def _tail_loss() -> float:
    """E[w z²] / E[w] for sound, normal z that pass: by how much the weights would shrink the variance."""
    top = bottom = 0.0
    for i in range(-800, 801):
        z = i / 100.0
        density = exp(-0.5 * z * z)
        weight = density * _soundness(z, -0.5 * z * z - _HALF_LOG_2PI, SHARE_WRONG["passed"])
        top += weight * z * z
        bottom += weight
    return top / bottom


_TAIL_LOSS = _tail_loss()


Density = Callable[[float], float]


class Prediction(NamedTuple):
    """What a relation expects of ln y: Student t with `nu` degrees of freedom around `mean`, `scale` wide."""

    mean: float
    scale: float
    nu: float

    def tail(self, ln_y: float) -> float:
        """P(a sound fish lies at least as far out as `ln_y`), both sides."""
        return t_two_sided((ln_y - self.mean) / self.scale, self.nu)

    def log_density(self, ln_y: float) -> float:
        """Log density of `ln_y` for a sound fish, unusual ones included."""
        return self.density()(ln_y)

    def density(self, plus: float = 0.0) -> Density:
        """`log_density`, and `plus`, as a function: for many values of one fish."""
        mean, power = self.mean, 0.5 * (self.nu + 1.0)
        narrow = self.nu * self.scale * self.scale
        wide = narrow * _UNUSUAL_SQUARED
        plus += t_log_peak(self.nu) - log(self.scale)

        def at(ln_y: float) -> float:
            away = (ln_y - mean) ** 2
            usual = _LOG_USUAL - power * log1p(away / narrow)
            unusual = _LOG_UNUSUAL - power * log1p(away / wide)
            if usual > unusual:
                return plus + usual + log1p(exp(unusual - usual))
            return plus + unusual + log1p(exp(usual - unusual))

        return at


class Kept(NamedTuple):
    """A fish of the robust start: ln x - x0, ln y, standard deviations of the rounding of ln x and ln y, share wrong."""

    u: float
    ln_y: float
    rx: float
    ry: float
    share_wrong: float


@dataclass(frozen=True, slots=True)
class Relation:
    """What is known of one relation.

    `(m0, m1)` are intercept and slope at `x0` (ln x), their covariance is σ² `(v00, v01, v11)`, and σ² is scaled
    inverse chi-square with `nu` degrees of freedom and scale `ss / nu`. `fish` counts what was learned; `known` says
    that it began from a published prior of just such fish.
    """

    x0: float
    m0: float
    m1: float
    v00: float
    v01: float
    v11: float
    nu: float
    ss: float
    fish: int = 0
    known: bool = False
    start: tuple[float, ...] = ()
    kept: tuple[Kept, ...] = ()

    @classmethod
    def from_prior(cls, prior: RelationPrior) -> Self:
        """The relation before the first fish: the line `prior.weight` fish strong, the scatter `SCATTER_KNOWN` more."""
        x0 = prior.ln_centre
        weight, spread = prior.weight, prior.spread_ln
        return cls._begin(
            x0,
            prior.ln_a_base + prior.b * x0,
            prior.b,
            1.0 / weight,
            1.0 / (weight * spread * spread),
            weight + SCATTER_KNOWN,
            prior.scatter,
            known=True,
        )

    @classmethod
    def within(cls, pooled: Relation) -> Self:
        """The relation of a group of a kind of fish, before its first fish: the pooled line, from which groups lie about
        one scatter apart in level and as much in slope (common practice, no source); `SCATTER_KNOWN` fish its scatter.
        """
        v00, v01, v11 = six(pooled.v00 + 1.0), pooled.v01, six(pooled.v11 + 1.0)
        ss = six(SCATTER_KNOWN * pooled.ss / pooled.nu)
        start = (pooled.m0, pooled.m1, v00, v01, v11, SCATTER_KNOWN, ss)
        return cls(pooled.x0, *start, start=start)

    @classmethod
    def vague(cls, y: str, x: str) -> Self:
        """The relation of a species nothing is known of.

        Mass on length: half the species have b within 3.05 ± 0.17 and nearly all between 2.5 and 3.5 (Froese 2006, J.
        Appl. Ichthyol. 22:241-253); 80 g at 200 mm, times or divided by 2.7 at two standard deviations (common
        practice, no source). Ratios of lengths: from the published morphometrics of several families total : fork is
        1.04 to 1.14 and total : standard 1.14 to 1.26.
        """
        if y.endswith("_mass") and x.endswith("_length"):
            mean, sd, slope, slope_sd, scatter, x0 = log(80.0), 0.5, 3.05, 0.2, 0.10, log(200.0)
            nu = SCATTER_KNOWN
        elif y.endswith("_mass"):
            nu = 4.0
            mean, sd, slope, slope_sd, scatter, x0 = log(300.0 * 0.9), 0.06, 1.0, 0.02, 0.04, log(300.0)
        else:
            nu = 4.0
            ratio = {("fork_length", "total_length"): 0.925, ("standard_length", "total_length"): 0.85}.get(
                (y, x), 0.925
            )
            mean, sd, slope, slope_sd, scatter, x0 = log(250.0 * ratio), 0.05, 1.0, 0.02, 0.015, log(250.0)
        return cls._begin(x0, mean, slope, (sd / scatter) ** 2, (slope_sd / scatter) ** 2, nu, scatter, known=False)

    @classmethod
    def _begin(
        cls, x0: float, m0: float, m1: float, v00: float, v11: float, nu: float, scatter: float, *, known: bool
    ) -> Self:
        x0, m0, m1, v00, v11, ss = (six(v) for v in (x0, m0, m1, v00, v11, nu * scatter * scatter))
        return cls(x0, m0, m1, v00, 0.0, v11, nu, ss, known=known, start=(m0, m1, v00, 0.0, v11, nu, ss))

    @property
    def scatter(self) -> float:
        """Standard deviation of ln y about the line, as now believed."""
        return sqrt(self.ss / self.nu)

    def predict(self, ln_x: float, rx: float = 0.0, ry: float = 0.0) -> Prediction:
        """What ln y a sound fish would show; `rx`, `ry` are the rounding deviations of ln x and ln y."""
        u = ln_x - self.x0
        leverage = max(0.0, self.v00 + u * (2.0 * self.v01 + u * self.v11))  # rounded numbers, far out, may go below
        rounding = ry * ry + (self.m1 * rx) ** 2
        variance = self.ss / self.nu * (1.0 + leverage) + rounding
        return Prediction(self.m0 + self.m1 * u, sqrt(variance), self.nu)

    def density_of(self, ln_y: float, rx: float = 0.0, ry: float = 0.0, plus: float = 0.0) -> Density:
        """The log density of `ln_y` (as `Prediction.log_density`), and `plus`, as a function of ln x."""
        x0, m0, m1, v00, v01, v11, nu = self.x0, self.m0, self.m1, self.v00, self.v01, self.v11, self.nu
        s2, power = self.ss / nu, 0.5 * (nu + 1.0)
        plus += t_log_peak(nu)
        rounding = ry * ry + (m1 * rx) ** 2

        def at(ln_x: float) -> float:
            u = ln_x - x0
            variance = s2 * (1.0 + max(0.0, v00 + u * (2.0 * v01 + u * v11))) + rounding
            z2 = (ln_y - m0 - m1 * u) ** 2 / (nu * variance)
            usual = _LOG_USUAL - power * log1p(z2)
            unusual = _LOG_UNUSUAL - power * log1p(z2 / _UNUSUAL_SQUARED)
            top, low = (usual, unusual) if usual > unusual else (unusual, usual)
            return plus - 0.5 * log(variance) + top + log1p(exp(low - top))

        return at

    def learn(
        self, ln_x: float, ln_y: float, rx: float = 0.0, ry: float = 0.0, outcome: Outcome = "passed"
    ) -> Relation:
        """The relation after one more fish."""
        share_wrong = SHARE_WRONG[outcome]
        fish = self.fish + 1
        kept = self.kept
        if fish <= START:
            kept = (*kept, Kept(six(ln_x - self.x0), six(ln_y), six(rx), six(ry), share_wrong))
            if fish in _REFIT_AT:
                return self._refitted(kept, fish)
        return self._folded(ln_x, ln_y, rx, ry, share_wrong, fish, kept if fish < START else ())

    def gather(
        self, ln_x: float, ln_y: float, rx: float = 0.0, ry: float = 0.0, outcome: Outcome = "passed"
    ) -> Relation:
        """The relation with one more fish of the robust start, from which nothing is learned yet."""
        one = Kept(six(ln_x - self.x0), six(ln_y), six(rx), six(ry), SHARE_WRONG[outcome])
        return replace(self, fish=self.fish + 1, kept=(*self.kept, one))

    def _folded(
        self, ln_x: float, ln_y: float, rx: float, ry: float, share_wrong: float, fish: int, kept: tuple[Kept, ...]
    ) -> Relation:
        expected = self.predict(ln_x, rx, ry)
        error = ln_y - expected.mean
        z = error / expected.scale
        weight = _soundness(z, t_log_density(z, self.nu), share_wrong)
        u = ln_x - self.x0
        k0, k1 = self.v00 + u * self.v01, self.v01 + u * self.v11
        s2 = self.ss / self.nu
        rounding = (ry * ry + (self.m1 * rx) ** 2) / s2
        q = (1.0 + rounding) / max(weight, 1e-9) + max(0.0, k0 + u * k1)
        fade = min(1.0, (MEMORY - weight) / self.nu) if self.nu > 0.0 else 1.0
        g0, g1 = k0 / q, k1 / q
        return replace(
            self,
            m0=six(self.m0 + g0 * error),
            m1=six(self.m1 + g1 * error),
            v00=six((self.v00 - g0 * k0) / fade),
            v01=six((self.v01 - g0 * k1) / fade),
            v11=six((self.v11 - g1 * k1) / fade),
            nu=six(fade * self.nu + weight),
            ss=six(fade * self.ss + error * error / (q * _TAIL_LOSS)),
            fish=fish,
            kept=kept,
        )

    def _refitted(self, kept: tuple[Kept, ...], fish: int) -> Relation:
        m0, m1, v00, v01, v11, nu, ss = self.start
        coefficients, variance = refit((m0, m1), (v00, v01, v11), nu, ss, kept)
        (m0, m1), (v00, v01, v11) = coefficients, variance[0]
        return replace(
            self,
            m0=six(m0),
            m1=six(m1),
            v00=six(v00),
            v01=six(v01),
            v11=six(v11),
            nu=six(variance[1]),
            ss=six(variance[2]),
            fish=fish,
            kept=kept if fish < START else (),
        )


Pair = tuple[float, float]
Triple = tuple[float, float, float]


def refit(m: Pair, v: Triple, nu: float, ss: float, fish: Sequence[Kept]) -> tuple[Pair, tuple[Triple, float, float]]:
    """Posterior from the prior `(m, v, nu, ss)` and all `fish`, wrong ones found out by expectation-maximisation.

    It begins at the prior's slope and scatter and the median intercept, so wrong values start outside.
    Returns coefficients and (covariance over σ², degrees of freedom, sum of squares).
    """
    det = v[0] * v[2] - v[1] * v[1]
    p00, p01, p11 = v[2] / det, -v[1] / det, v[0] / det
    n = len(fish)
    shrink = n * v[0] / (n * v[0] + 1.0)
    c0, c1 = m[0] + shrink * median(f.ln_y - m[0] - m[1] * f.u for f in fish), m[1]
    s2 = ss / nu
    covariance, nu_n, ss_n = v, nu, ss
    for _ in range(8):
        a00, a01, a11 = p00, p01, p11
        b0, b1 = p00 * m[0] + p01 * m[1], p01 * m[0] + p11 * m[1]
        weights = []
        nu_n = nu
        for f in fish:
            noise = 1.0 + (f.ry * f.ry + (c1 * f.rx) ** 2) / s2
            z = (f.ln_y - c0 - c1 * f.u) / sqrt(s2 * noise)
            sound = _soundness(z, -0.5 * z * z - _HALF_LOG_2PI, f.share_wrong)
            w = sound / noise
            weights.append(w)
            nu_n += sound
            a00 += w
            a01 += w * f.u
            a11 += w * f.u * f.u
            b0 += w * f.ln_y
            b1 += w * f.u * f.ln_y
        det = a00 * a11 - a01 * a01
        covariance = (a11 / det, -a01 / det, a00 / det)
        c0, c1 = covariance[0] * b0 + covariance[1] * b1, covariance[1] * b0 + covariance[2] * b1
        d0, d1 = c0 - m[0], c1 - m[1]
        inside = sum(w * (f.ln_y - c0 - c1 * f.u) ** 2 for w, f in zip(weights, fish, strict=True))
        ss_n = ss + inside / _TAIL_LOSS + d0 * (p00 * d0 + p01 * d1) + d1 * (p01 * d0 + p11 * d1)
        s2 = ss_n / nu_n
    return (c0, c1), (covariance, nu_n, ss_n)


@dataclass(frozen=True, slots=True)
class Sizes:
    """How long the fish of a species have been: mean and variance of ln length, and no less wide than `FLOOR`.

    Used only to see a length ten times off and to weigh explanations that change a length; a catch has several modes,
    so the width never falls under a factor e^0.5.
    """

    mean: float = 5.5215  # ln 250 mm
    ss: float = 2.43  # 0.9² three times
    n: float = 3.0

    FLOOR = 0.5

    def predict(self) -> Prediction:
        """The next ln length."""
        return Prediction(self.mean, max(self.FLOOR, sqrt(self.ss / self.n)), self.n)

    def learn(self, ln_x: float) -> Sizes:
        """After one more fish; what lies beyond four widths counts as lying there."""
        scale = self.predict().scale
        error = min(max(ln_x - self.mean, -4.0 * scale), 4.0 * scale)
        n = self.n + 1.0
        fade = min(1.0, MEMORY / n)
        return Sizes(
            six(self.mean + error / (n * fade)), six(fade * (self.ss + error * error * self.n / n)), six(n * fade)
        )
