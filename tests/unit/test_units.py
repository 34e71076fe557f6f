"""Units against UCUM, and the decimal traps of converting and rounding."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ucumvert import PintUcumRegistry

from thwart import units


@pytest.fixture(scope="module")
def registry() -> PintUcumRegistry:
    return PintUcumRegistry()


@pytest.mark.parametrize("code", units.FACTORS)
def test_factors_agree_with_ucum(code: str, registry: PintUcumRegistry) -> None:
    """Every factor against the UCUM definitions as ucumvert has them, in floating point."""
    base = units.BASE[units.quantity_of(code)]
    converted = registry.from_ucum(code).to(registry.from_ucum(base).units).magnitude
    assert float(units.FACTORS[code][1]) == pytest.approx(converted, rel=1e-12)


def test_factors_are_exact() -> None:
    """By UCUM's own definitions (ucum-essence, version 2.2): the grain, and the rest as multiples of it."""
    grain = Fraction("0.06479891")
    expected = {
        "[gr]": grain,
        "[lb_av]": 7000 * grain,
        "[oz_av]": 7000 * grain / 16,
        "[pwt_tr]": 24 * grain,
        "[oz_tr]": 480 * grain,
        "[car_m]": Fraction("0.2"),
        "[ston_av]": 2000 * 7000 * grain,
        "[lton_av]": 2240 * 7000 * grain,
        "[in_i]": Fraction("25.4"),
        "[ft_i]": 12 * Fraction("25.4"),
        "t": Fraction(1_000_000),
    }
    for code, factor in expected.items():
        assert Fraction(units.FACTORS[code][1]) == factor, code


@pytest.mark.parametrize(
    ("value", "unit", "step", "rule", "expected"),
    [
        # In binary floating point 0.57 m is 56.99999 cm.
        ("0.57", "m", "10", "below", "570"),
        ("0.29", "m", "10", "below", "290"),
        # Classes as fisheries manuals round: to the centimetre below, to the nearest (a tie goes up), 5 mm classes.
        ("29.9", "cm", "10", "below", "290"),
        ("39.5", "cm", "10", "nearest", "400"),
        ("39.49", "cm", "10", "nearest", "390"),
        ("117", "mm", "5", "below", "115"),
        ("12.0", "cm", "5", "below", "120"),
        ("1.005", "kg", "10", "nearest", "1010"),
        ("2.675", "g", "0.01", "nearest", "2.68"),
        ("-0.5", "g", "1", "below", "-1"),
    ],
)
def test_rounding(value: str, unit: str, step: str, rule: units.Rule, expected: str) -> None:
    assert units.rounded(units.to_base(Decimal(value), unit), Decimal(step), rule) == Decimal(expected)


@given(st.integers(0, 10**7), st.integers(0, 4))
def test_rounding_against_fractions(digits: int, places: int) -> None:
    value = Decimal(digits).scaleb(-places)
    below = units.rounded(value, Decimal("0.5"), "below")
    assert Fraction(below) == Fraction(value) // Fraction(1, 2) * Fraction(1, 2)
    nearest = units.rounded(value, Decimal("0.5"), "nearest")
    assert Fraction(nearest) == (Fraction(value) / Fraction(1, 2) + Fraction(1, 2)) // 1 * Fraction(1, 2)


@given(st.decimals(min_value=0, max_value=10**6, places=3), st.sampled_from(sorted(units.FACTORS)))
def test_there_and_back(value: Decimal, unit: str) -> None:
    assert units.from_base(units.to_base(value, unit), unit) == value


@pytest.mark.parametrize(
    ("written", "code"),
    [(" KG", "kg"), ("g", "g"), ("LB", "[lb_av]"), ("oz", "[oz_av]"), ("mm ", "mm"), ("IN", "[in_i]"), ("T", "t")],
)
def test_units_as_written(written: str, code: str) -> None:
    assert units.ucum(written) == code


def test_unknown_unit() -> None:
    assert units.ucum("ell") is None


@pytest.mark.parametrize(
    ("value", "text"),
    [("412.50", "412.5"), ("0.00", "0"), ("-0", "0"), ("1E+3", "1000"), ("-1.20", "-1.2"), ("100", "100")],
)
def test_plain(value: str, text: str) -> None:
    assert units.plain(Decimal(value)) == text
