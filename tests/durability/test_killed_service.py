"""The real service, killed: small numbers here, 200 kills in `tests/long/killed_service.py`."""

from pathlib import Path

from tests.durability.killed import SAID_BEFORE_SAVED, SOUND, kill_often
from thwart.folding import Folding
from thwart.ledger.audit import audit


def whole(path: Path) -> list[str]:
    """What an audit of the file, the chain and the tables finds."""
    return list(audit(path, Folding()).problems)


def test_what_was_said_survives_kill_9(tmp_path: Path) -> None:
    result = kill_often(tmp_path, 6, seed=7, program=SOUND, audit=whole)
    assert result.announced > 50
    assert (result.lost, result.resumed_wrong, result.problems) == ([], [], [])


def test_the_same_goes_red_where_it_is_said_before_it_is_saved(tmp_path: Path) -> None:
    result = kill_often(tmp_path, 25, seed=7, program=SAID_BEFORE_SAVED, audit=whole)
    assert result.lost
