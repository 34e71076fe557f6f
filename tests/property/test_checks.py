"""Properties of the checks: nothing crashes, verdicts combine in any order."""

from __future__ import annotations

from itertools import permutations
from math import isfinite

from hypothesis import example, given, settings
from hypothesis import strategies as st

from thwart.checks.cause import exchanged, explain, one_off
from thwart.checks.flags import Verdict, worst
from thwart.checks.judge import judge
from thwart.checks.numeric import six
from thwart.checks.relation import Relation
from thwart.checks.sequence import Sequence, follow
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, learn
from thwart.checks.table import parse_cell

MEASURANDS = ("total_length", "fork_length", "standard_length", "whole_mass", "gutted_mass", "gonad_mass")
anything = st.one_of(
    st.floats(1e-6, 1e7), st.sampled_from([0.0, -1.0, float("nan"), float("inf"), 1e-300, 1e300]), st.floats(50, 500)
)
values = st.dictionaries(
    st.sampled_from(MEASURANDS),
    st.builds(Value, value=anything, division=st.sampled_from([0.0, 0.1, 1.0, 100.0]), typed=st.booleans()),
)
specimens = st.builds(
    Specimen, number=st.text(max_size=3), species=st.sampled_from(["", "perch", "roach"]), values=values
)


def _fish(number: str, **values: float) -> Specimen:
    return Specimen(number, "perch", {name: Value(value) for name, value in values.items()})


@given(st.lists(specimens, max_size=8), specimens)
@example(
    [
        _fish("1", total_length=1.0, fork_length=1.0),
        _fish("2", total_length=1.0, fork_length=1.0, standard_length=1.0, whole_mass=1.0),
        _fish("3", total_length=1.0, fork_length=53.0),
    ],
    _fish("4"),
)  # so far out that both densities are zero
@example(
    [],
    Specimen("1", "perch", {"fork_length": Value(400.0, "-1"), "gutted_mass": Value(7e8, "100")}),
)  # digits that aren't those of the value
@example(
    [_fish("1", total_length=2.27e8, whole_mass=100.0), _fish("2", total_length=2.27e8, whole_mass=100.0)],
    _fish("3", total_length=1e-9, whole_mass=63.0),
)  # as far out as can be, twice, then the other way
@settings(max_examples=40)
def test_nothing_crashes_whatever_the_values(before: list[Specimen], now: Specimen) -> None:
    setup = Setup()
    state, sequence = State(), Sequence()
    for fish in before:
        sequence, _ = follow(sequence, fish, state, setup)
        state = learn(state, fish, setup)
    findings = judge(now, before[-3:], state, setup)
    for found in findings:
        assert 0.0 <= found.probability <= 1.0
        assert found.text and found.advice
        assert found.verdict in (Verdict.NOT_EVALUATED, Verdict.SUSPECT, Verdict.FAIL)
    compared = explain(now, before[-3:], state, setup)
    assert not compared or abs(sum(e.probability for e in compared) - 1.0) < 1e-9


@given(st.lists(st.sampled_from(list(Verdict)), min_size=1, max_size=4))
def test_the_worst_verdict_depends_on_no_order(verdicts: list[Verdict]) -> None:
    assert len({worst(p) for p in permutations(verdicts)}) == 1
    assert worst([worst(verdicts[:2]), *verdicts[2:]]) == worst(verdicts)


@given(st.lists(st.tuples(st.floats(3, 8), st.floats(-3, 12)), max_size=60))
@settings(max_examples=40)
def test_a_relation_stays_sane_whatever_it_learns(fish: list[tuple[float, float]]) -> None:
    relation = Relation.vague("whole_mass", "total_length")
    for x, y in fish:
        relation = relation.learn(x, y)
        assert relation.v00 > 0.0
        assert relation.v00 * relation.v11 >= relation.v01**2 * (1 - 1e-3)
        expected = relation.predict(x)
        assert isfinite(expected.mean)
        assert expected.scale > 0.0
        assert 0.0 <= expected.tail(y) <= 1.0


@given(st.one_of(st.text(), st.floats(), st.integers(), st.none(), st.booleans()))
def test_a_cell_is_read_missing_or_unreadable(cell: object) -> None:
    got = parse_cell(cell)
    assert (got.value is None) == bool(got.wrong)
    assert got.value is None or isfinite(got.value)


@given(st.from_regex(r"[1-9][0-9]{0,4}(\.[0-9]{1,2})?", fullmatch=True))
def test_digit_slips_can_be_slipped_back(text: str) -> None:
    for other in exchanged(text):
        assert text in exchanged(other)
    for other in one_off(text):
        assert text in one_off(other)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_rounding_twice_is_rounding_once(value: float) -> None:
    assert six(six(value)) == six(value)
