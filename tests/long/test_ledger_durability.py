"""The durability tests at length, by name: pytest tests/long/test_ledger_durability.py -s"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.durability.cuts import cut
from tests.durability.images import compiled
from tests.durability.kills import killed


@pytest.mark.timeout(1200)
def test_two_hundred_kills(tmp_path: Path) -> None:
    outcome = killed(tmp_path / "ledger.db", 200, seed=7)
    print(f"\n{outcome.kills} kills, {outcome.announced} announced, {outcome.lost} lost")
    assert outcome.kills == 200
    assert (outcome.lost, outcome.problems) == (0, ())


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("seed", range(5))
def test_two_hundred_inputs_cut_everywhere(tmp_path: Path, seed: int) -> None:
    outcome = cut(compiled(tmp_path), tmp_path, 200, seed=seed, log_limit=(16 + 16 * seed) << 10)
    print(f"\n{outcome.images} images, {outcome.losing} lost something announced, {outcome.broken} broken")
    assert outcome.images > 1000
    assert (outcome.losing, outcome.broken) == (0, 0)
