"""Checking past tables: real ones with known errors, and every kind of bad cell."""

from __future__ import annotations

import csv
import random
from collections import Counter
from math import exp
from pathlib import Path

import pytest

from thwart.checks.flags import Verdict
from thwart.checks.model import Limits, SpeciesModel
from thwart.checks.state import Setup
from thwart.checks.table import Column, Layout, Row, RowFinding, findings, parse_cell, step_of, summary_lines, survey

DATA = Path(__file__).parents[1] / "data"
FISH = Layout({"total_length": Column("l", "mm"), "whole_mass": Column("m", "g")}, species="species")


def check(rows: list[Row], layout: Layout, setup: Setup | None = None) -> list[RowFinding]:
    using = setup or Setup()
    return list(findings(rows, layout, using, survey(rows, layout, using)))


def read(name: str) -> list[Row]:
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_lake_table() -> None:
    """159 fish of one lake (data set `fish` of the R package rrcov): row 14 has no mass, row 47 has mass 0."""
    lengths = {f"{k}_length": Column(f"{k}_length_cm", "cm") for k in ("total", "fork", "standard")}
    layout = Layout({**lengths, "whole_mass": Column("mass_g", "g")}, species="species")
    found = check(read("lake_fish_159.csv"), layout)
    by_row = {f.row: f.finding for f in found}
    assert by_row[47].verdict == Verdict.FAIL
    assert by_row[109].verdict == by_row[143].verdict == Verdict.SUSPECT
    assert 14 not in by_row
    assert len(found) <= 10


def test_heights_and_weights_with_an_exchanged_row() -> None:
    """The data set `Davis` of the R package carData: in row 12 height (57) and weight (166) are exchanged."""
    layout = Layout({"total_length": Column("height", "cm"), "whole_mass": Column("weight", "kg")}, name="person")
    found = check(read("davis_heights.csv"), layout)
    first = next(f for f in found if f.row == 12)
    assert first.finding.cause == "fields_exchanged"
    assert first.finding.asks
    assert sum(f.finding.asks for f in found) <= 8


def test_heights_typed_as_people_like() -> None:
    """The data set `reported_heights` of the R package dslabs: 1,095 answers to "how tall are you, in inches"."""
    setup = Setup({"person": SpeciesModel(limits={"total_length": Limits(unit="[in_i]", fail=(50, 84))})})
    rows = read("reported_heights.csv")
    found = check(rows, Layout({"total_length": Column("height", "[in_i]")}, name="person"), setup)
    causes = Counter(f.finding.cause for f in found)
    texts = {rows[f.row - 1]["height"]: f.finding for f in found}
    assert texts["5' 4\""].cause == "unreadable"
    assert texts["yyy"].cause == "unreadable"
    assert texts["0"].cause == "not_positive"
    assert (texts["511"].cause, texts["11111"].cause) == ("beyond_limits", "beyond_limits")
    assert "165cm" not in texts  # a unit in the cell is taken at its word
    assert causes["unreadable"] == 70
    judged = len(rows) - sum(causes.values())
    assert judged == sum(1 for r in rows if 50 <= inches(str(r["height"])) <= 84)


def inches(text: str) -> float:
    cell = parse_cell(text)
    if cell.value is None:
        return 0.0
    return cell.value / 2.54 if cell.unit == "cm" else cell.value


@pytest.mark.parametrize(
    ("cell", "value", "unit", "wrong"),
    [
        ("41.2", 41.2, "", ""), ("41,2", 41.2, "", ""), (" 7 ", 7.0, "", ""), ("165cm", 165.0, "cm", ""),
        ("0.5 kg", 0.5, "kg", ""), ("1e3", 1000.0, "", ""), (12, 12.0, "", ""), (3.5, 3.5, "", ""), ("-3", -3.0, "", ""),
        ("", None, "", "missing"), ("NA", None, "", "missing"), (None, None, "", "missing"),
        (float("nan"), None, "", "missing"), ("abc", None, "", "unreadable"), ("5' 4\"", None, "", "unreadable"),
        ("1,234,567", None, "", "unreadable"), ("1,234.5", 1234.5, "", ""), ("1.234.567,5 g", 1234567.5, "g", ""),
        ("1,23.5", None, "", "unreadable"), (".", None, "", "missing"), ("#N/A", None, "", "missing"),
        ("-999", None, "", "missing"), (-9999.0, None, "", "missing"), ("-998", -998.0, "", ""), ("12 ells", None, "", "unreadable"), (True, 0, "", "unreadable"),
        (float("inf"), None, "", "unreadable"), ("1e999", None, "", "unreadable"),
    ],
)  # fmt: skip
def test_cells(cell: object, value: float | None, unit: str, wrong: str) -> None:
    got = parse_cell(cell)
    assert (got.unit, got.wrong) == (unit, wrong)
    assert got.value == (None if wrong else value)


def rows_of(n: int, seed: int = 1) -> list[Row]:
    rng = random.Random(seed)
    out: list[Row] = []
    for _ in range(n):
        mm = round(250 * exp(rng.gauss(0, 0.2)))
        out.append({"species": "perch", "l": str(mm), "m": f"{150 * (mm / 250) ** 3.1 * exp(rng.gauss(0, 0.1)):.1f}"})
    return out


def test_a_planted_slip_is_found_and_the_fits_are_said() -> None:
    rows = rows_of(80)
    spoilt = [*rows]
    spoilt[30] = {**rows[30], "m": str(float(str(rows[30]["m"])) * 10)}
    found = [f for f in check(spoilt, FISH) if f.row == 31]
    assert [f.finding.cause for f in found] == ["times_10"]
    (line,) = summary_lines(survey(spoilt, FISH, Setup()))
    assert "whole mass on total length fitted from this table, 80 fish" in line


def test_bad_cells_cost_nothing_but_themselves() -> None:
    rows = rows_of(40)
    rows += [
        {"species": "perch", "l": "", "m": "100"}, {"species": "", "l": "250", "m": "150"},
        {"species": "perch", "l": "25O", "m": "150"}, {"species": "perch", "l": "250 g", "m": "150"},
        {"species": "perch", "l": "-250", "m": "150"}, {"species": "burbot", "l": "250", "m": "150"},
        {"species": "perch", "l": "25,0 cm", "m": "0,150 kg"},
    ]  # fmt: skip
    found = {f.row: (f.finding.cause, int(f.finding.verdict)) for f in check(rows, FISH) if f.row > 40}
    assert found == {
        43: ("unreadable", 4), 44: ("unreadable", 4), 45: ("not_positive", 4), 46: ("no_model", 2),
    }  # fmt: skip


@pytest.mark.parametrize("rows", [[], rows_of(1), rows_of(1) * 30, rows_of(2)])
def test_tiny_and_constant_tables(rows: list[Row]) -> None:
    assert all(f.finding.verdict == Verdict.NOT_EVALUATED for f in check(rows, FISH))


def test_a_missing_column_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="l"):
        check([{"species": "perch", "m": "1"}], FISH)


def test_rows_in_order_are_tested_for_slips() -> None:
    rows = rows_of(120, 4)
    masses = [r["m"] for r in rows]
    spoilt: list[Row] = [{**r, "m": masses[max(i - 1, 0)] if i >= 80 else r["m"]} for i, r in enumerate(rows)]
    ordered = Layout(FISH.measurands, species="species", order=True)
    slips = [f for f in check(spoilt, ordered) if f.finding.cause == "slip"]
    assert slips
    assert abs(int(slips[0].finding.arguments["start"]) - 81) <= 1
    assert slips[0].finding.arguments["direction"] == "late"


def test_steps() -> None:
    assert step_of([100.0, 200.0, 500.0]) == 100.0
    assert step_of([1.5, 2.0, 3.5]) == 0.5
    assert step_of([0.1234567, 0.7654321]) == 0.0
    assert step_of([]) == 0.0


def test_one_odd_value_is_no_slip_where_nobody_was_asked() -> None:
    """Every fortieth mass is wrong by a factor of 1.3 to 2.5: two false slips in these rows where one odd value may be one."""
    rng = random.Random(8)
    rows = rows_of(2000, 6)
    rows = [
        {**r, "m": f"{float(str(r['m'])) * exp(rng.choice((1, -1)) * rng.uniform(0.3, 0.9)):.1f}"}
        if rng.random() < 0.025
        else r
        for r in rows
    ]
    ordered = Layout(FISH.measurands, species="species", order=True)
    causes = Counter(f.finding.cause for f in check(rows, ordered))
    assert not causes["slip"]
    assert not causes["swapped"]


def test_sizes_in_two_narrow_classes_repeat_rightly() -> None:
    """Hind feet of rodents, a millimetre or two around 16 and 36 mm: equal ones follow each other all the time."""
    rng = random.Random(3)
    rows: list[Row] = []
    for _ in range(1500):
        mm = rng.choice((16, 36)) + round(rng.gauss(0, 1))
        rows.append({"species": "perch", "l": str(mm), "m": f"{0.01 * mm**2.5 * exp(rng.gauss(0, 0.1)):.1f}"})
    ordered = Layout(FISH.measurands, species="species", order=True)
    assert not [
        f for f in check(rows, ordered) if f.finding.cause == "stale_run" and f.finding.measurand == "total_length"
    ]


@pytest.mark.parametrize("odd", ["1e300", "-9e300", "1e-300", -9.587383814759045e300, 10**17])
def test_numbers_beyond_all_measure(odd: object) -> None:
    rows = [*rows_of(30), *({"species": "perch", "l": odd, "m": odd} for _ in range(4)), *rows_of(5, 2)]
    found = check(rows, Layout(FISH.measurands, species="species", order=True))
    assert {f.row for f in found if f.finding.cause == "not_positive"} >= (
        {31, 32, 33, 34} if str(odd)[0] == "-" else set()
    )


def test_a_third_of_the_lengths_in_another_unit() -> None:
    """Lake fish with each third length in mm in a column of cm: nearly all are named, and the lines stay those of fish."""
    rows: list[Row] = []
    for i, r in enumerate(read("lake_fish_159.csv")):
        cm = float(str(r["total_length_cm"]))
        rows.append({"species": r["species"], "l": f"{cm * 10 if i % 3 == 0 else cm:g}", "m": r["mass_g"]})
    layout = Layout({"total_length": Column("l", "cm"), "whole_mass": Column("m", "g")}, species="species")
    named = {f.row for f in check(rows, layout) if f.finding.cause == "times_10"}
    assert len(named & set(range(1, 160, 3))) >= 50
    assert len(named - set(range(1, 160, 3))) <= 1
    (perch,) = survey(rows, layout, Setup()).fitted["perch"]
    assert 3.0 < perch.prior.b < 3.3
    assert 200 < exp(perch.prior.ln_centre) < 300
