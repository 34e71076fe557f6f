"""Long random scripts over the bench: what tests/property/test_bench.py does, with many more and longer scripts.

pytest tests/long/test_bench_scripts.py        (about 20 minutes on two cores; THWART_EXAMPLES sets how many, default 2000)
"""

from __future__ import annotations

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.property import test_bench as short

LONG = settings(max_examples=int(os.environ.get("THWART_EXAMPLES", "2000")), suppress_health_check=list(HealthCheck))
scripts = st.lists(short.inputs, min_size=30, max_size=150)


def body_of(test: Any) -> Any:
    """What a test of Hypothesis does with one example."""
    return test.hypothesis.inner_test


pytestmark = pytest.mark.timeout(3600)


@LONG
@given(short.worlds, scripts)
def test_whatever_happens_what_must_hold_holds(world: Any, script: Any) -> None:
    body_of(short.test_whatever_happens_what_must_hold_holds)(world, script)


@LONG
@given(short.worlds, scripts, st.integers(0, 150))
def test_a_snapshot_in_the_middle_changes_nothing_later(world: Any, script: Any, cut: int) -> None:
    body_of(short.test_a_snapshot_in_the_middle_changes_nothing_later)(world, script, cut)


@LONG
@given(short.worlds, scripts)
def test_forgetting_changes_no_decision(world: Any, script: Any) -> None:
    body_of(short.test_forgetting_changes_no_decision)(world, script, [])


@LONG
@given(short.worlds, scripts, short.inputs)
def test_undo_brings_back_and_redo_does_again(world: Any, script: Any, last: Any) -> None:
    body_of(short.test_undo_brings_back_and_redo_does_again)(world, script, last)


@LONG
@given(short.worlds, scripts)
def test_inputs_alone_give_the_same_decisions(world: Any, script: Any) -> None:
    body_of(short.test_inputs_alone_give_the_same_decisions)(world, script)


@LONG
@given(short.worlds, scripts)
def test_records_that_lag_by_one_commit_change_nothing(world: Any, script: Any) -> None:
    body_of(short.test_records_that_lag_by_one_commit_change_nothing)(world, script)
