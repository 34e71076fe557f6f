"""Distributions in plain Python against scipy, and published critical values."""

from __future__ import annotations

from math import sqrt

import pytest
from scipy import special, stats

from thwart.checks.heaping import uniform
from thwart.checks.numeric import (
    beta_inc,
    chi_square_upper,
    log_sum,
    normal_quantile,
    normal_two_sided,
    six,
    t_cdf,
    t_log_density,
    t_quantile,
    t_two_sided,
)


@pytest.mark.parametrize("nu", [1.0, 2.5, 4.0, 10.0, 33.3, 400.0, 2000.0])
@pytest.mark.parametrize("t", [-40.0, -3.1, -0.2, 0.0, 0.7, 2.33, 9.0])
def test_student_t_against_scipy(nu: float, t: float) -> None:
    assert t_cdf(t, nu) == pytest.approx(stats.t.cdf(t, nu), rel=1e-9, abs=1e-14)
    assert t_two_sided(t, nu) == pytest.approx(2 * stats.t.sf(abs(t), nu), rel=1e-8)
    assert t_log_density(t, nu) == pytest.approx(stats.t.logpdf(t, nu), rel=1e-9, abs=1e-11)


@pytest.mark.parametrize("p", [0.0005, 0.01, 0.3, 0.5, 0.9, 0.99, 0.9999])
@pytest.mark.parametrize("nu", [1.5, 6.0, 50.0, 1500.0])
def test_t_quantile_against_scipy(p: float, nu: float) -> None:
    assert t_quantile(p, nu) == pytest.approx(stats.t.ppf(p, nu), rel=1e-8, abs=1e-9)


@pytest.mark.parametrize("df", [1, 3, 9, 40])
@pytest.mark.parametrize("x", [0.0, 0.01, 1.0, 9.5, 14.5, 60.0, 269.2857])
def test_chi_square_against_scipy(df: int, x: float) -> None:
    assert chi_square_upper(x, df) == pytest.approx(stats.chi2.sf(x, df), rel=1e-9)


def test_incomplete_beta_against_scipy() -> None:
    for a, b, x in ((0.5, 2.0, 0.1), (8.0, 0.5, 0.97), (300.0, 0.5, 0.999), (2.0, 3.0, 0.0), (2.0, 3.0, 1.0)):
        assert beta_inc(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-9, abs=1e-14)


@pytest.mark.parametrize(
    ("n", "alpha", "sides", "critical"),
    [(8, 0.05, 1, 2.0317), (8, 0.05, 2, 2.1266), (20, 0.01, 1, 2.8838), (30, 0.05, 2, 2.9085), (100, 0.01, 2, 3.7540)],
)
def test_grubbs_critical_values(n: int, alpha: float, sides: int, critical: float) -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1: the formula with our t quantile gives the tabled critical G."""
    t = t_quantile(1 - alpha / (sides * n), n - 2)
    assert (n - 1) / sqrt(n) * sqrt(t * t / (n - 2 + t * t)) == pytest.approx(critical, abs=6e-5)


def test_control_rules_and_mad() -> None:
    """Shewhart's three sigma (e-Handbook 6.3.1) and the constant of the scaled MAD, 1 / Φ⁻¹(0.75)."""
    assert normal_two_sided(3.0) == pytest.approx(0.0026998, abs=1e-7)
    assert 1 / normal_two_sided(3.0) == pytest.approx(370.4, abs=0.05)
    assert normal_two_sided(2.0) == pytest.approx(0.0455, abs=1e-5)
    assert 1 / normal_quantile(0.75) == pytest.approx(1.482602218505602, rel=1e-12)


def test_digit_chi_square() -> None:
    """Last digits of 736 measured ruffe (not significant) and of 700 made-up, heaped lengths."""
    chi, p = uniform([75, 87, 80, 88, 58, 81, 74, 57, 67, 69])
    assert chi == pytest.approx(14.516304, abs=1e-6)
    assert p == pytest.approx(0.1051, abs=5e-5)
    chi, p = uniform([160, 40, 60, 45, 50, 150, 55, 50, 60, 30])
    assert chi == pytest.approx(269.2857, abs=1e-4)
    assert p == pytest.approx(8.4e-53, rel=0.01)


def test_six_significant_digits() -> None:
    assert [six(v) for v in (1234567.8, 0.000123456789, -9.9999996, 0.0)] == [1234570.0, 0.000123457, -10.0, 0.0]


def test_log_sum() -> None:
    assert log_sum([]) == float("-inf")
    assert log_sum([-1000.0, -1000.0]) == pytest.approx(-1000 + 0.6931471805599453)
