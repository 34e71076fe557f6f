"""A slice of the corpus: layouts learned from four to six rows, judged on eighty further frames each.

The whole corpus runs in tests/long/learn_corpus.py.
"""

from __future__ import annotations

from tests.learncorpus import corpus
from tests.learncorpus.model import outcome
from tests.learncorpus.teach import learned
from thwart.errors import ThwartError
from thwart.profiles import check_profile

STEP = 7


def test_most_layouts_are_learned_whole_and_no_number_is_ever_wrong() -> None:
    right = total = 0
    for case in corpus()[::STEP]:
        total += 1
        try:
            profile = learned(case).profile
        except ThwartError:
            continue
        assert check_profile(profile) == [], case.instrument.name
        result = outcome(case, profile)
        assert result.wrong == [], case.instrument.name
        right += result.right == result.total
    assert right >= 0.95 * total, f"{right} of {total}"
