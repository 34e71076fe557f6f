"""kill -9 loses nothing that was announced; and this test can fail."""

from __future__ import annotations

from pathlib import Path

from tests.durability.kills import killed


def test_nothing_announced_is_lost(tmp_path: Path) -> None:
    outcome = killed(tmp_path / "ledger.db", 25, seed=1)
    assert outcome.kills == 25
    assert outcome.announced > 100
    assert (outcome.lost, outcome.problems) == (0, ())


def test_announcing_before_the_commit_is_seen(tmp_path: Path) -> None:
    outcome = killed(tmp_path / "ledger.db", 40, 1, "--announce-first", until_lost=True)
    assert outcome.lost > 0
