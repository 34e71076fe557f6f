"""200 kills of the real service. `pytest -s -o addopts= --timeout 1800 tests/long/test_killed_service.py` (about five minutes)."""

from pathlib import Path

import pytest

from tests.durability.killed import SOUND, kill_often
from tests.durability.test_killed_service import whole


@pytest.mark.timeout(1800)
def test_200_kills(tmp_path: Path) -> None:
    result = kill_often(tmp_path, 200, seed=11, program=SOUND, audit=whole)
    print(
        f"200 kills, {result.announced} entries announced, {len(result.lost)} lost, {len(result.problems)} audit problems"
    )
    assert (result.lost, result.resumed_wrong, result.problems) == ([], [], [])
