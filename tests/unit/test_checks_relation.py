"""The relation against statsmodels and published equations; errors, resolution and truncation while it learns."""

from __future__ import annotations

import csv
import random
from math import exp, log, log10, sqrt
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from pydantic import ValidationError

from thwart.checks.fit import fit_relation
from thwart.checks.model import RelationPrior, SpeciesModel
from thwart.checks.numeric import normal_quantile
from thwart.checks.relation import START, Relation, Sizes

DATA = Path(__file__).parents[1] / "data" / "lake_fish_159.csv"


def prior(**changes: object) -> RelationPrior:
    values: dict[str, object] = {
        "y": "whole_mass", "x": "total_length", "y_unit": "g", "x_unit": "mm", "log10_a": -5.3, "b": 3.1,
        "scatter_ln": 0.1, "source": "invented",
    }  # fmt: skip
    return RelationPrior.model_validate({**values, **changes})


def lake(species: str) -> list[tuple[float, float]]:
    """(ln mm, ln g) of a species of the lake (data set `fish` of the R package rrcov)."""
    with DATA.open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["species"] == species and r["mass_g"]]
    return [(log(10 * float(r["total_length_cm"])), log(float(r["mass_g"]))) for r in rows if float(r["mass_g"]) > 0]


@pytest.mark.parametrize("species", ["bream", "pike", "perch"])
def test_fold_and_fit_against_least_squares(species: str) -> None:
    fish = lake(species)
    x, y = np.array(fish).T
    ols = sm.OLS(y, sm.add_constant(x)).fit()
    fitted = fit_relation("whole_mass", "total_length", [(a, b, 0, 0) for a, b in fish], "the lake")
    folded = Relation.vague("whole_mass", "total_length")
    for a, b in fish:
        folded = folded.learn(a, b)
    at = float(x.mean())
    expected = float(ols.params[0] + ols.params[1] * at)
    for mean in (log(fitted.prior.expected(exp(at))), folded.predict(at).mean):
        assert mean == pytest.approx(expected, abs=0.35 * sqrt(ols.scale / len(x)))
    se = float(ols.bse[1])
    assert fitted.prior.b == pytest.approx(ols.params[1], abs=se)
    assert folded.m1 == pytest.approx(ols.params[1], abs=se)
    assert fitted.prior.scatter == pytest.approx(sqrt(ols.scale), rel=0.15)


def test_predictive_against_statsmodels() -> None:
    """With a very weak prior the Student-t predictive is the prediction interval of least squares."""
    rng = random.Random(2)
    fish = [(rng.gauss(5.5, 0.2), 0.0) for _ in range(400)]
    fish = [(x, 5.0 + 3.0 * (x - 5.5) + rng.gauss(0, 0.1)) for x, _ in fish]
    relation = Relation.from_prior(prior(weight=2))
    for x, y in fish:
        relation = relation.learn(x, y)
    xs, ys = np.array(fish).T
    ols = sm.OLS(ys, sm.add_constant(xs)).fit()
    for x in (5.1, 5.5, 6.0):
        frame = ols.get_prediction(np.array([[1.0, x]])).summary_frame(alpha=0.05)
        low, high = float(frame["obs_ci_lower"].iloc[0]), float(frame["obs_ci_upper"].iloc[0])
        ours = relation.predict(x)
        assert ours.mean == pytest.approx((low + high) / 2, abs=0.006)
        assert ours.tail(high) == pytest.approx(0.05, abs=0.006)
        assert ours.tail(low) == pytest.approx(0.05, abs=0.006)


@pytest.mark.parametrize(
    ("intercept", "slope", "mm", "grams"),
    [(-5.528, 3.273, 300, 379.855), (-5.453, 3.180, 400, 663.057), (-5.386, 3.230, 200, 111.257),
     (-5.437, 3.096, 600, 1459.339), (-5.374, 3.316, 150, 69.489), (-5.800, 3.294, 400, 590.453)],
)  # fmt: skip
def test_standard_weight_equations(intercept: float, slope: float, mm: float, grams: float) -> None:
    """Published standard weights (largemouth bass, walleye, yellow perch, pike, bluegill, channel catfish), which are
    75th percentiles: the median lies Φ⁻¹(0.75) scatters below."""
    line = prior(log10_a=intercept, b=slope)
    assert line.expected(mm) == pytest.approx(grams, abs=6e-4)
    below = prior(log10_a=intercept, b=slope, describes="percentile_75").expected(mm)
    assert below == pytest.approx(grams * exp(-0.1 * normal_quantile(0.75)), rel=2e-5)


@pytest.mark.parametrize(
    ("median", "sd", "mean"),
    [(2.02335e-6, 0.1067301, 2.034908e-6), (3.025817e-6, 0.1076196, 3.04339e-6), (2.237759e-6, 0.1079522, 2.250836e-6)],
)
def test_back_transformation_bias(median: float, sd: float, mean: float) -> None:
    """Three pairs published with a stock assessment of petrale sole (kg, cm): mean = median × exp(s²/2)."""
    line = prior(log10_a=None, a=mean, b=3.45, scatter_ln=sd, describes="mean", y_unit="kg", x_unit="cm")
    assert line.expected(100.0) / 1000 == pytest.approx(median * 10**3.45, rel=1e-6)


def test_units_of_a_prior() -> None:
    """a(cm, g) = a(mm, g) × 10^b: -5.528, 3.273 in mm is 0.005559 in cm."""
    in_mm, in_cm = prior(log10_a=-5.528, b=3.273), prior(log10_a=log10(0.005559), b=3.273, x_unit="cm")
    assert in_cm.expected(300) == pytest.approx(in_mm.expected(300), rel=2e-4)


@pytest.mark.parametrize(
    "wrong",
    [{"a": 1.0}, {"scatter_log10": 0.05}, {"b": 0.3}, {"b": 31.0}, {"scatter_ln": -1}, {"x_unit": "ell"},
     {"x": "whole_mass"}, {"source": ""}, {"colour": "red"}],
)  # fmt: skip
def test_impossible_models_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        prior(**wrong)


def test_one_relation_once() -> None:
    with pytest.raises(ValidationError, match="more than one relation"):
        SpeciesModel(relations=(prior(), prior()))


def catch(n: int, seed: int, scatter: float = 0.1) -> list[tuple[float, float]]:
    rng = random.Random(seed)
    lengths = [rng.gauss(log(250), 0.2) for _ in range(n)]
    return [(x, log(150) + 3.1 * (x - log(250)) + rng.gauss(0, scatter)) for x in lengths]


@pytest.mark.parametrize("times", [10.0, 0.1, 3.0, 1 / 3])
def test_wrong_values_among_the_first_do_not_settle(times: float) -> None:
    fish = catch(60, 4)
    clean = spoilt = Relation.vague("whole_mass", "total_length")
    for i, (x, y) in enumerate(fish):
        clean = clean.learn(x, y)
        spoilt = spoilt.learn(x, y + log(times) if i in (1, 4) else y)
    assert spoilt.scatter == pytest.approx(clean.scatter, rel=0.12)
    assert spoilt.predict(log(250)).mean == pytest.approx(clean.predict(log(250)).mean, abs=0.02)


def test_the_first_fish_of_an_unknown_species_shows_a_factor_of_ten() -> None:
    at_once = Relation.vague("whole_mass", "total_length").predict(log(300))
    assert at_once.tail(log(270)) > 0.2
    assert at_once.tail(log(2700)) < 0.005
    assert at_once.tail(log(27)) < 0.005


def test_resolution_widens_and_teaches_little() -> None:
    sharp, coarse = 0.0, 100 / (300 * sqrt(12))
    relation = Relation.from_prior(prior())
    x = log(300)
    seen = relation.predict(x).mean + 0.25
    assert relation.predict(x, 0.0, coarse).tail(seen) > 3 * relation.predict(x, 0.0, sharp).tail(seen)
    moved = [relation.learn(x, seen, 0.0, r).predict(x).mean - relation.predict(x).mean for r in (sharp, coarse)]
    assert moved[0] > 1.5 * moved[1] > 0


def test_the_gate_does_not_tighten_on_itself() -> None:
    """Truncation by a 2 % gate would end at a scatter near 0.92 of the true one and 3 to 4 % of questions."""
    relation = Relation.vague("whole_mass", "total_length")
    asked = 0
    for i, (x, y) in enumerate(catch(3000, 11)):
        odd = i >= 20 and relation.predict(x).tail(y) < 0.02
        asked += odd
        relation = relation.learn(x, y, outcome="open" if odd else "passed")
    assert relation.scatter == pytest.approx(0.1, rel=0.04)
    assert 0.013 <= asked / 3000 <= 0.027


def test_stood_teaches_more_than_open() -> None:
    relation = Relation.from_prior(prior(weight=50))
    x = log(300)
    far = relation.predict(x).mean + 0.4
    stood, opened = (relation.learn(x, far, outcome=o).predict(x).mean for o in ("stood", "open"))
    assert stood > opened > relation.predict(x).mean


def test_only_a_start_is_kept() -> None:
    relation = Relation.vague("whole_mass", "total_length")
    for k, (x, y) in enumerate(catch(START + 5, 1), 1):
        relation = relation.learn(x, y)
        assert len(relation.kept) == (k if k < START else 0)


def test_sizes_never_become_narrow() -> None:
    sizes = Sizes()
    for _ in range(200):
        sizes = sizes.learn(log(200))
    assert sizes.predict().tail(log(400)) > 0.1
    assert sizes.predict().tail(log(2000)) < 1e-4


def test_a_fit_needs_three_fish() -> None:
    with pytest.raises(ValueError, match="at least 3"):
        fit_relation("whole_mass", "total_length", [(5.0, 5.0, 0, 0)] * 2, "too few")


def test_a_fit_of_equal_rows_is_usable() -> None:
    fitted = fit_relation("whole_mass", "total_length", [(5.5, 5.0, 0, 0)] * 10, "all equal")
    assert fitted.prior.scatter > 0.02
    assert fitted.prior.expected(exp(5.5)) == pytest.approx(exp(5.0), rel=0.02)


def test_a_fit_names_what_it_left_out() -> None:
    points = [(x, y, 0.0, 0.0) for x, y in catch(50, 7)]
    points[13] = (points[13][0], points[13][1] + log(10), 0.0, 0.0)
    assert fit_relation("whole_mass", "total_length", points, "one spoilt").far == (13,)
