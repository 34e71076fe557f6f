"""A slice of the corpus: layouts learned from four to six rows, judged on eighty further frames each.

The whole corpus runs in tests/long/learn_corpus.py.
"""

from __future__ import annotations

import pytest

from tests.learncorpus import corpus, wide_corpus
from tests.learncorpus.model import Case, outcome
from tests.learncorpus.teach import learned
from tests.learncorpus.third import third_corpus
from thwart.errors import ThwartError
from thwart.profiles import check_profile


@pytest.mark.parametrize(
    ("cases", "least"), [(corpus()[::11], 0.95), (wide_corpus()[::19], 0.75), (third_corpus()[::17], 0.85)]
)
def test_most_layouts_are_learned_whole_and_no_number_is_ever_wrong(cases: list[Case], least: float) -> None:
    right = total = 0
    for case in cases:
        total += 1
        try:
            profile = learned(case).profile
        except ThwartError:
            continue
        assert check_profile(profile) == [], case.instrument.name
        result = outcome(case, profile)
        assert result.wrong == [], case.instrument.name
        right += result.right == result.total
    assert right >= least * total, f"{right} of {total}"
