"""A ledger that an earlier version of the program really made, brought to this one by the command."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.unit.ledger.test_contract import COLUMNS
from thwart.cli import run_command
from thwart.errors import LedgerTooOld
from thwart.folding import Folding
from thwart.ledger import Ledger, schema
from thwart.ledger.audit import audit

OLD = Path(__file__).parents[2] / "data" / "ledgers"
#: Versions of the tables before this one. Version 0 never was published.
VERSIONS = range(1, schema.SCHEMA_VERSION)


def made_then(path: Path, version: int) -> Path:
    """The ledger of that version, as a file."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA page_size = 512")
        db.executescript((OLD / f"tables-{version}.sql").read_text())
        db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {version}")
        db.execute("PRAGMA journal_mode = WAL")
    return path


def rows(path: Path, sql: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as db:
        return db.execute(sql).fetchall()


@pytest.mark.parametrize("version", VERSIONS)
def test_it_is_refused_then_migrated_and_keeps_every_entry(
    tmp_path: Path, version: int, capsys: pytest.CaptureFixture[str]
) -> None:
    path = made_then(tmp_path / "ledger.db", version)
    entries = rows(path, "SELECT * FROM entry ORDER BY seq")
    with pytest.raises(LedgerTooOld, match="another version"):
        Ledger.open(path)
    assert run_command(["migrate", str(path)]) == 0
    assert f"ledger-before-migration-from-{version}.db" in capsys.readouterr().out
    assert rows(path, "SELECT * FROM entry ORDER BY seq") == entries
    assert rows(path.with_name(f"ledger-before-migration-from-{version}.db"), "SELECT * FROM entry") == entries
    assert rows(path, "PRAGMA user_version") == [(schema.SCHEMA_VERSION,)]
    Ledger.open(path).close()
    assert audit(path, Folding()).sound
    for view, columns in COLUMNS.items():
        there = {str(row[1]) for row in rows(path, f"PRAGMA table_info({view})")}
        assert set(columns) <= there


def test_what_version_1_held_is_there_and_practice_is_gone_from_view(tmp_path: Path) -> None:
    path = made_then(tmp_path / "ledger.db", 1)
    assert rows(path, "SELECT count(*) FROM readings WHERE value = '98'") == [(1,)]  # practice showed in version 1
    assert run_command(["migrate", str(path)]) == 0
    assert rows(path, 'SELECT number, "end", total_length_mm, whole_mass_g FROM specimens ORDER BY number') == [
        (1, "complete", 200.0, 90.0), (2, "complete", 210.0, 100.0), (3, "complete", 221.0, 120.0),
        (4, "void", None, None),
    ]  # fmt: skip
    assert rows(path, "SELECT value, outcome FROM readings WHERE outcome = 'loose' AND why = 'no-batch'") == [
        ("99", "loose")
    ]
    assert rows(path, "SELECT state, count(*) FROM containers GROUP BY state") == [("filled", 3)]
    assert rows(path, "SELECT batch, state, measured FROM batches") == [("bay", "closed", 3)]
