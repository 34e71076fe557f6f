"""Limits and flags against ioos-qc; order relations and maturity, both directions and at the threshold."""

from __future__ import annotations

import numpy as np
import pytest
from ioos_qc import qartod
from pydantic import ValidationError

from thwart.checks.flags import Verdict, worst
from thwart.checks.limits import broken, within
from thwart.checks.model import Limits, SpeciesModel
from thwart.checks.specimen import Specimen, Value


def fish(**values: float) -> Specimen:
    return Specimen("1", "perch", {k: Value(v) for k, v in values.items()})


@pytest.mark.parametrize(
    ("values", "fail", "suspect"),
    [
        ([None, -5.0, 0.0, 10.0, 45.0, 50.0, 60.0, 999.0], (0.0, 60.0), (10.0, 50.0)),
        ([29.0, 30.0, 49.0, 50.0, 800.0, 801.0, 1500.0, 1501.0], (30.0, 1500.0), (50.0, 800.0)),
        ([300.0, 5.0, 2000.0, None, 900.0], (30.0, 1500.0), None),
    ],
)
def test_limits_as_ioos_qc(
    values: list[float | None], fail: tuple[float, float], suspect: tuple[float, float] | None
) -> None:
    reference = np.array([np.nan if v is None else v for v in values])
    expected = qartod.gross_range_test(inp=reference, fail_span=fail, suspect_span=suspect).tolist()
    limits = Limits(unit="mm", fail=fail, suspect=suspect)
    assert [int(within(v, limits)) for v in values] == expected


def test_precedence_as_ioos_qc() -> None:
    flags = [np.array([1, 1, 2, 9, 1]), np.array([1, 3, 2, 9, 4]), np.array([2, 2, 2, 9, 3])]
    expected = qartod.qartod_compare(flags).tolist()
    assert [int(worst(int(f[i]) for f in flags)) for i in range(5)] == expected == [1, 3, 2, 9, 4]
    assert worst([]) == Verdict.MISSING


def test_suspect_outside_fail_is_refused() -> None:
    with pytest.raises(ValidationError, match="inside fail"):
        Limits(unit="mm", fail=(0, 60), suspect=(-1, 50))
    with pytest.raises(ValidationError, match="unknown unit"):
        Limits(unit="furlong", fail=(0, 60))


def test_limits_in_another_unit_keep_their_edge() -> None:
    limits = Limits(unit="[in_i]", fail=(1.1, 3.3))
    assert within(1.1 * 25.4, limits) == Verdict.PASS
    assert within(3.3 * 25.4, limits) == Verdict.PASS
    assert within(3.301 * 25.4, limits) == Verdict.FAIL


@pytest.mark.parametrize(
    ("values", "small"),
    [
        ({"fork_length": 301.0, "total_length": 300.0}, "fork_length"),
        ({"standard_length": 280.0, "fork_length": 279.0}, "standard_length"),
        ({"standard_length": 301.0, "total_length": 300.0}, "standard_length"),
        ({"gutted_mass": 100.0, "whole_mass": 100.0}, "gutted_mass"),
        ({"gonad_mass": 120.0, "whole_mass": 100.0}, "gonad_mass"),
    ],
)
def test_broken_orders(values: dict[str, float], small: str) -> None:
    (fault,) = broken(fish(**values), None)
    assert (fault.measurand, fault.verdict, fault.cause) == (small, Verdict.FAIL, "order")


def test_orders_that_hold() -> None:
    assert broken(fish(standard_length=300.0, fork_length=300.0, total_length=300.0), None) == []
    assert broken(fish(gutted_mass=99.9, whole_mass=100.0), None) == []


def test_resolution_excuses_an_order() -> None:
    coarse = {"gutted_mass": Value(100.0, division=100.0), "whole_mass": Value(100.0, division=100.0)}
    assert broken(Specimen("1", "perch", coarse), None) == []


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_what_is_no_measurement(value: float) -> None:
    (fault,) = broken(fish(whole_mass=value), None)
    assert (fault.verdict, fault.cause) == (Verdict.FAIL, "not_positive")


def test_smallest_mature() -> None:
    model = SpeciesModel(smallest_mature_mm=90.0)
    for length, mature, expected in ((89.0, True, ["below_mature"]), (90.0, True, []), (50.0, False, [])):
        specimen = Specimen("1", "perch", {"total_length": Value(length)}, mature=mature)
        assert [b.cause for b in broken(specimen, model)] == expected
