"""Judging a specimen: what passes, what is asked, which cause is named; every cause planted, both directions."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from math import exp, log
from pathlib import Path

import pytest

from tests.long.checks_gate import CASES, run
from tests.long.checks_planted import report, table
from tests.long.checks_planted import specimen as lake_specimen
from thwart.checks.cause import RATES, exchanged, explain, one_off
from thwart.checks.finding import Finding
from thwart.checks.flags import Verdict
from thwart.checks.judge import judge
from thwart.checks.model import Limits, RelationPrior, SpeciesModel
from thwart.checks.ration import Ration, shares
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import FIRST, Setup, State, learn
from thwart.checks.words import ADVICE, CAUSES, phrase


def prior(y: str, x: str, at: float, b: float, scatter: float) -> RelationPrior:
    """`at` is y at x = 300."""
    return RelationPrior(
        y=y, x=x, y_unit="g" if y.endswith("mass") else "mm", x_unit="g" if x.endswith("mass") else "mm",
        ln_a=log(at) - b * log(300), b=b, scatter_ln=scatter, weight=100, centre=300, source="invented for this test",
    )  # fmt: skip


PERCH = SpeciesModel(
    limits={"total_length": Limits(unit="mm", fail=(20, 600), suspect=(40, 550))},
    relations=(
        prior("whole_mass", "total_length", 350, 3.16, 0.06),
        prior("whole_mass", "fork_length", 460, 3.16, 0.06),
        prior("fork_length", "total_length", 276, 1.0, 0.008),
        prior("standard_length", "total_length", 255, 1.0, 0.01),
        prior("gutted_mass", "whole_mass", 270, 1.0, 0.02),
    ),
)
BREAM = SpeciesModel(relations=(prior("whole_mass", "total_length", 260, 3.1, 0.06),))
PIKE = SpeciesModel(relations=(prior("whole_mass", "total_length", 170, 3.05, 0.06),))
SETUP = Setup({"perch": PERCH, "bream": BREAM, "pike": PIKE})


def perch(number: str = "118", species: str = "perch", **values: float | Value) -> Specimen:
    made = {k: v if isinstance(v, Value) else Value(float(v), f"{v:g}") for k, v in values.items()}
    return Specimen(number, species, made)


def only(findings: list[Finding]) -> Finding:
    (one,) = findings
    return one


def test_what_fits_passes() -> None:
    assert judge(perch(total_length=300, whole_mass=350), [], State(), SETUP) == []
    assert judge(perch(total_length=300, fork_length=276, whole_mass=360), [], State(), SETUP) == []
    assert judge(perch(total_length=300), [], State(), SETUP) == []
    assert judge(perch(whole_mass=300), [], State(), SETUP) == []
    assert judge(perch(), [], State(), SETUP) == []


def before(**values: float) -> Specimen:
    return Specimen("117", "perch", {k: Value(float(v), f"{v:g}") for k, v in values.items()})


@pytest.mark.parametrize(
    ("cause", "specimen", "near"),
    [
        ("times_10", perch(total_length=300, whole_mass=3500), []),
        ("tenth", perch(total_length=300, whole_mass=35), []),
        ("times_1000", perch(total_length=300, whole_mass=350000), []),
        ("thousandth", perch(total_length=300, whole_mass=0.35), []),
        ("digits_exchanged", perch(total_length=316, fork_length=290.7, whole_mass=141), []),
        ("digits_exchanged", perch(total_length=427, fork_length=227, standard_length=210, whole_mass=190), []),
        ("digit_off", perch(total_length=300, fork_length=236, whole_mass=350), []),
        ("length_type", perch(total_length=276, fork_length=276, standard_length=255, whole_mass=350), []),
        ("length_type", perch(total_length=300, fork_length=300, standard_length=255, whole_mass=350), []),
        ("length_type", perch(total_length=276, whole_mass=348), []),
        ("length_type", perch(fork_length=300, whole_mass=352), []),
        ("inch", perch(total_length=300, fork_length=108.7, whole_mass=350), []),
        ("pound", perch(total_length=300, fork_length=276, whole_mass=771.6), []),
        ("pound", perch(total_length=300, fork_length=276, whole_mass=158.8), []),
        ("lifted_early", perch(total_length=300, fork_length=276, whole_mass=217), []),
        ("tray", perch(total_length=200, fork_length=184, whole_mass=127.3), []),
        ("stale", perch(total_length=300, whole_mass=471), [before(total_length=330, whole_mass=471)]),
        ("neighbour", perch(total_length=300, whole_mass=471), [before(total_length=330, whole_mass=353)]),
        ("other_on_pan", perch(total_length=300, fork_length=276, whole_mass=853), [before(total_length=340, whole_mass=503)]),
        ("wrong_species", perch(total_length=400, fork_length=368, whole_mass=409), []),
    ],
)  # fmt: skip
def test_each_cause_is_named(cause: str, specimen: Specimen, near: list[Specimen]) -> None:
    setup = SETUP
    if cause == "wrong_species":  # a pike's lengths aren't a perch's
        pike = PIKE.model_copy(
            update={"relations": (*PIKE.relations, prior("fork_length", "total_length", 276, 1.0, 0.008))}
        )
        setup = Setup({"perch": PERCH, "pike": pike})
    found = only(judge(specimen, near, State(), setup))
    assert found.cause == cause, [
        (e.cause, round(e.probability, 3)) for e in explain(specimen, near, State(), setup)[:4]
    ]
    assert found.asks
    assert found.verdict == Verdict.SUSPECT
    assert found.text.endswith(found.advice)
    assert found.runner_up


def test_exchanged_fields_break_the_order_and_are_named() -> None:
    found = only(judge(perch(total_length=276, fork_length=300, whole_mass=350), [], State(), SETUP))
    assert (found.verdict, found.cause, found.runner_up) == (Verdict.FAIL, "order", "fields_exchanged")
    assert found.asks


def test_gutted_taken_as_whole() -> None:
    one = Specimen("1", "perch", {"total_length": Value(300), "fork_length": Value(276), "whole_mass": Value(315)})
    causes = [e.cause for e in explain(one, [], State(), SETUP)]
    assert "presentation" in causes[:4]


def test_a_learned_tray_is_found_by_its_mass() -> None:
    one = perch(total_length=200, fork_length=184, whole_mass=97.2 + 31)
    unknown, known = (
        next(e.probability for e in explain(one, [], State(trays=trays), SETUP) if e.cause == "tray")
        for trays in ((), (31.0,))
    )
    assert known > unknown


def test_the_text_says_what_where_and_what_to_do() -> None:
    found = only(judge(perch(total_length=300, fork_length=276, whole_mass=217), [], State(), SETUP))
    assert found.text == "217 g at 300 mm is low · most likely lifted early · weigh again"


@pytest.mark.parametrize(("mass", "asks", "suspect"), [(356, False, False), (295, True, True), (416, True, True)])
def test_the_threshold_both_ways(mass: float, asks: bool, suspect: bool) -> None:
    findings = judge(perch(total_length=300, whole_mass=Value(mass, typed=False)), [], State(), SETUP)
    assert any(f.asks for f in findings) == asks
    assert bool(findings) == suspect


def test_just_inside_and_just_beyond_the_threshold() -> None:
    """A value whose tail probability is a little above the ration's share passes; a little below, it is asked."""
    relation = State().relation(SETUP, "perch|whole|fresh", "whole_mass", "total_length")
    expected = relation.predict(log(300))
    share = shares([("whole_mass", "total_length")])["whole_mass", "total_length"]
    low, high = 0.0, 6.0
    for _ in range(60):
        z = (low + high) / 2
        low, high = (z, high) if expected.tail(expected.mean + z * expected.scale) > 0.02 * share else (low, z)
    asked = []
    for z in (low * 0.93, low * 1.01):
        one = perch(total_length=300, whole_mass=Value(exp(expected.mean + z * expected.scale), "1", typed=False))
        asked.append(any(f.asks for f in judge(one, [], State(), SETUP)))
    assert asked == [False, True]


def test_what_stands_is_not_asked_again() -> None:
    spoilt = perch(total_length=300, whole_mass=Value(3500.0, stands=True))
    found = only(judge(spoilt, [], State(), SETUP))
    assert (found.verdict, found.asks) == (Verdict.SUSPECT, False)


def test_limits_ask_and_name_the_slip() -> None:
    found = only(judge(perch(total_length=3000, fork_length=276, whole_mass=350), [], State(), SETUP)[:1])
    assert (found.verdict, found.cause, found.runner_up) == (Verdict.FAIL, "beyond_limits", "times_10")
    assert "most likely ten times too large" in found.text
    suspect = only(judge(perch(total_length=560), [], State(), SETUP))
    assert (suspect.verdict, suspect.asks) == (Verdict.SUSPECT, True)


def test_unknown_species_has_no_verdict_and_no_crash() -> None:
    assert judge(perch(species="", total_length=300, whole_mass=3500), [], State(), SETUP) == []


def test_no_model_is_said_once_and_only_tens_are_asked() -> None:
    rng = random.Random(3)
    state, said, asked = State(), 0, []
    for i in range(FIRST + 1):
        x = rng.gauss(log(300), 0.15)
        mass = exp(log(300) + 3 * (x - log(300)) + rng.gauss(0, 0.1))
        one = perch(str(i), "ruffe", total_length=round(exp(x)), whole_mass=round(mass))
        if i == 10:
            doubled = perch(str(i), "ruffe", total_length=round(exp(x)), whole_mass=round(mass * 1.8))
            tenfold = perch(str(i), "ruffe", total_length=round(exp(x)), whole_mass=round(mass * 10))
            asked = [any(f.asks for f in judge(f, [], state, SETUP)) for f in (doubled, tenfold)]
        said += sum(f.cause == "no_model" for f in judge(one, [], state, SETUP))
        state = learn(state, one, SETUP)
    assert said == 1
    assert asked == [False, True]
    assert any(f.asks for f in judge(perch("99", "ruffe", total_length=300, whole_mass=560), [], state, SETUP))


def test_no_model_for_another_presentation() -> None:
    gutted = replace(perch(total_length=300, gutted_mass=300), presentation="gutted")
    assert only(judge(gutted, [], State(), SETUP)).verdict == Verdict.NOT_EVALUATED


def test_the_lake_table_s_odd_rows() -> None:
    """Row 47 (mass 0) is impossible; rows 109 and 143 lie far out and are at most improbable."""
    assert (
        only(judge(perch(species="roach", total_length=228, whole_mass=0), [], State(), SETUP)).verdict == Verdict.FAIL
    )
    fish = [f for f in table() if f.species == "perch"]
    setup, state = Setup(), State()
    for f in fish:
        if f.row not in (109, 143):
            state = learn(state, lake_specimen(f, 1), setup)
    for f in fish:
        if f.row in (109, 143):
            assert only(judge(lake_specimen(f, 1), [], state, setup)).verdict == Verdict.SUSPECT


def test_planted_errors_on_the_lake_table() -> None:
    """A small run of `tests/long/checks_planted.py`; its full tables stand in docs/checks.md."""
    lines = list(report(1, 1, 1, every=3))
    shares_found = {line[:26].strip(): line[26:].split() for line in lines[5:-2]}
    assert shares_found["mass × 10"][1] == "100"
    power = float(lines[-2].split("power ")[1].split()[0])
    right = float(lines[-2].split("cause right ")[1].split()[0])
    assert power > 0.9
    assert right >= 65
    assert float(lines[-1].split()[1]) >= 94


def test_the_rate_of_questions_is_kept() -> None:
    """A small run of `tests/long/checks_gate.py`: no prior, 2 % wrong masses."""
    asked = run(CASES[5], 1500, 3)
    assert 0.014 <= sum(asked) / len(asked) <= 0.026


def test_the_ration_follows_what_happened() -> None:
    often, never = Ration(), Ration()
    for i in range(500):
        often, never = often.after(i % 10 == 0), never.after(False)
    assert often.threshold() < 0.01 < 0.02 < never.threshold()
    assert often.rate == pytest.approx(0.1)
    for _ in range(5000):
        often = often.after(True)
    assert often.threshold() > 0.0


def test_shares_sum_to_what_is_left_of_sizes() -> None:
    pairs = [("fork_length", "total_length"), ("standard_length", "total_length"), ("whole_mass", "total_length")]
    assert sum(shares(pairs).values()) == pytest.approx(0.95)
    assert shares(pairs)["whole_mass", "total_length"] == pytest.approx(0.85)
    assert shares([]) == {}


def test_digits() -> None:
    assert exchanged("412") == ["142", "421"]
    assert exchanged("41.2") == ["14.2", "42.1"]
    assert exchanged("100") == []
    assert "0.5" not in exchanged("5.0")[1:]
    assert len(one_off("41")) == 17
    assert all(not other.startswith("0") for other in one_off("412"))


def test_probabilities_sum_to_one() -> None:
    spoilt = perch(total_length=300, fork_length=276, whole_mass=450)
    compared = explain(spoilt, [before(total_length=310, whole_mass=400)], State(), SETUP)
    assert sum(e.probability for e in compared) == pytest.approx(1.0)
    assert sum(RATES.values()) < 0.05


def test_every_cause_has_words_and_advice() -> None:
    assert set(CAUSES) == set(ADVICE)
    assert set(RATES) <= set(CAUSES)
    assert phrase("order", {"small": "fork_length", "large": "total_length"}) == "fork length above total length"


def test_the_documented_codes_are_all_there_are() -> None:
    text = (Path(__file__).parents[2] / "docs" / "checks.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `(\w+)` \| (.*?) \| ([\d.–]+) \| (.*?) \|$", text, re.MULTILINE)
    assert {c: (w, a) for c, w, _, a in listed} == {c: (CAUSES[c], ADVICE[c]) for c in CAUSES}
    assert {c: float(r) for c, _, r, _ in listed if r != "–"} == RATES
