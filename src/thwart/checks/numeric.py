"""Distributions in plain Python: normal, Student t, chi-square; rounding to six significant digits. Pure.

Incomplete beta and gamma by continued fraction and series (Abramowitz & Stegun 1964, 26.5.8 and 6.5.29, 6.5.31);
compared with scipy in `tests/unit/test_checks_numeric.py`.
"""

from __future__ import annotations

from functools import lru_cache
from math import erfc, exp, inf, isfinite, lgamma, log, log1p, pi, sqrt
from statistics import NormalDist

_TINY = 1e-300
_NORMAL = NormalDist()


def six(value: float) -> float:
    """`value` to six significant digits: what is stored is rounded first, so a replay gets the same."""
    return float(f"{value:.6g}")


def antilog(ln: float) -> float:
    """exp(ln), kept inside 1e±130: a relation that learned nonsense may expect nonsense, but doesn't stop the bench."""
    return exp(min(max(ln, -300.0), 300.0))


def normal_two_sided(z: float) -> float:
    """P(|Z| > |z|) for a standard normal Z."""
    return erfc(abs(z) / sqrt(2.0))


def normal_quantile(p: float) -> float:
    """The z below which a share `p` (0 < p < 1) of a standard normal lies."""
    return _NORMAL.inv_cdf(p)


def beta_inc(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b), 0 <= x <= 1."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_inc(b, a, 1.0 - x)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x)) / a
    c, d = 1.0, 1.0 / _away(1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, 2000):
        step = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        d, c = 1.0 / _away(1.0 + step * d), _away(1.0 + step / c)
        value *= d * c
        step = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        d, c = 1.0 / _away(1.0 + step * d), _away(1.0 + step / c)
        value *= d * c
        if abs(d * c - 1.0) < 1e-13:
            break
    return front * value


def _away(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def t_two_sided(t: float, nu: float) -> float:
    """P(|T| > |t|) for Student's t with `nu` degrees of freedom."""
    if not isfinite(t):
        return 0.0
    return beta_inc(nu / 2.0, 0.5, nu / (nu + t * t))


def t_cdf(t: float, nu: float) -> float:
    """P(T <= t) for Student's t with `nu` degrees of freedom."""
    tail = t_two_sided(t, nu) / 2.0
    return 1.0 - tail if t > 0 else tail


def t_quantile(p: float, nu: float) -> float:
    """The t below which a share `p` (0 < p < 1) of Student's t with `nu` degrees of freedom lies."""
    if p < 0.5:
        return -t_quantile(1.0 - p, nu)
    low, high = 0.0, 2.0
    while t_cdf(high, nu) < p:
        low, high = high, 2.0 * high
    while high - low > 1e-12 * (1.0 + high):
        middle = (low + high) / 2.0
        low, high = (middle, high) if t_cdf(middle, nu) < p else (low, middle)
    return (low + high) / 2.0


@lru_cache(maxsize=4096)
def t_log_peak(nu: float) -> float:
    """The log of Student's t density at 0."""
    return lgamma((nu + 1.0) / 2.0) - lgamma(nu / 2.0) - 0.5 * log(nu * pi)


def t_log_density(z: float, nu: float) -> float:
    """The log of Student's t density at `z`."""
    return t_log_peak(nu) - 0.5 * (nu + 1.0) * log1p(z * z / nu)


def chi_square_upper(x: float, df: float) -> float:
    """P(X > x) for chi-square with `df` degrees of freedom."""
    if x <= 0.0:
        return 1.0
    s, x = df / 2.0, x / 2.0
    front = exp(-x + s * log(x) - lgamma(s))
    if x < s + 1.0:
        term = total = 1.0 / s
        n = s
        while term > total * 1e-15:
            n += 1.0
            term *= x / n
            total += term
        return max(0.0, 1.0 - front * total)
    b = x + 1.0 - s
    c, d = inf, 1.0 / b
    value = d
    for i in range(1, 2000):
        step = -i * (i - s)
        b += 2.0
        d, c = 1.0 / _away(step * d + b), _away(b + step / c)
        value *= d * c
        if abs(d * c - 1.0) < 1e-14:
            break
    return front * value


def log_sum(logs: list[float]) -> float:
    """log Σ exp(logs), without overflow; -inf for none."""
    top = max(logs, default=-inf)
    return top if top == -inf else top + log(sum(exp(v - top) for v in logs))
