"""All three corpora, both halves of each, and layouts of other seeds: python -m tests.long.learn_corpus [SEED...]."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

from tests.learncorpus import corpus, generated, wide
from tests.learncorpus.model import Case, case_of, outcome, wide_corpus
from tests.learncorpus.teach import learned
from tests.learncorpus.third import third_corpus
from thwart.errors import ThwartError
from thwart.learn import NeedMore
from thwart.profiles import check_profile


def report(name: str, cases: Sequence[Case]) -> None:
    """Print one line of counts, and one for each layout that isn't learned whole."""
    right = wrong = asked = failed = 0
    slowest = 0.0
    for case in cases:
        start = time.perf_counter()
        try:
            profile = learned(case).profile
        except NeedMore:
            asked += 1
            continue
        except ThwartError as trouble:
            failed += 1
            print(f"  {case.instrument.name}: {trouble.message.splitlines()[0]}")
            continue
        finally:
            slowest = max(slowest, time.perf_counter() - start)
        result = outcome(case, profile)
        wrong += bool(result.wrong)
        whole = result.right == result.total and not check_profile(profile)
        right += whole
        if not whole or result.wrong:
            print(f"  {case.instrument.name}: {result.right}/{result.total}, wrong {result.wrong[:2]}")
    print(f"{name}: {right} of {len(cases)} learned whole, {wrong} with a wrong number, {asked} asked for more, "
          f"{failed} failed, slowest {slowest:.1f} s")  # fmt: skip


if __name__ == "__main__":
    for name, everything in (
        ("first corpus", corpus()),
        ("second corpus", wide_corpus()),
        ("third corpus", third_corpus()),
    ):
        report(f"{name}, development half", everything[::2])
        report(f"{name}, frozen half", everything[1::2])
    for seed in map(int, sys.argv[1:]):
        generated.SEED = seed
        report(
            f"first corpus, seed {seed}", [case_of(one, seed * 100 + n) for n, one in enumerate(generated.generated())]
        )
        wide.SEED = seed
        report(f"second corpus, seed {seed}", [case_of(one, seed * 100 + n) for n, one in enumerate(wide.wide())])
        report(f"third corpus, seed {seed}", third_corpus(seed))
