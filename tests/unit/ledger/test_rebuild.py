"""`rebuild` and `migrate`: projections made anew, all or nothing; entries untouched."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.unit.ledger.making import dump, filled, spoil
from tests.unit.ledger.old_ledger import age
from tests.unit.ledger.samples import fold
from thwart.errors import LedgerError, LedgerTooNew, LedgerTooOld
from thwart.ledger import Ledger
from thwart.ledger.audit import audit
from thwart.ledger.rebuild import migrate, rebuild


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return filled(tmp_path / "ledger.db")


def entries(path: Path) -> list[str]:
    return [line for line in dump(path) if line.startswith('INSERT INTO "entry"')]


def test_rebuilding_a_whole_ledger_finds_no_difference(path: Path) -> None:
    before = dump(path)
    made = rebuild(path, fold, snapshot=lambda: '{"seq": 1}')
    assert made.differences == ()
    assert sorted(dump(path)) == sorted(before)
    assert audit(path, fold).sound


def test_rebuilding_mends_what_was_spoilt(path: Path) -> None:
    before = sorted(dump(path))
    spoil(
        path,
        "UPDATE measurement SET value = '999.9' WHERE seq = (SELECT min(seq) FROM measurement)",
        "DELETE FROM container",
        "INSERT INTO batch (batch) VALUES ('ghost')",
        "DROP INDEX specimen_number",
        "DROP VIEW measurements",
    )
    made = rebuild(path, fold, snapshot=lambda: '{"seq": 1}')
    text = "\n".join(made.differences)
    assert "value '999.9'" in text
    assert "container E-0101: refolded as" in text
    assert "batch ghost: stored as" in text
    assert sorted(dump(path)) == before


def test_snapshots_go_when_projections_are_made_anew(path: Path) -> None:
    rebuild(path, fold)
    with Ledger.open(path, readonly=True) as ledger:
        assert ledger.load_snapshot() is None


def test_a_running_writer_goes_on_after_a_rebuild(path: Path) -> None:
    from tests.unit.ledger.samples import Survey

    with Ledger.open(path) as ledger:
        rebuild(path, fold)
        ledger.write(*Survey(ledger.next_seq).open_batch("after"))
        ledger.commit()
        assert ledger.records.get(("batch", "after")) is not None
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT count(*) FROM batches").fetchone() == (2,)


def test_an_old_ledger_is_migrated_after_a_backup(path: Path) -> None:
    whole = dump(path)
    age(path)
    with pytest.raises(LedgerTooOld, match="another version") as told:
        Ledger.open(path)
    assert "thwart migrate" in told.value.hint
    with pytest.raises(LedgerTooOld):
        rebuild(path, fold)
    old = dump(path)
    assert old != whole
    made = migrate(path, fold, snapshot=lambda: '{"seq": 1}')
    assert made is not None
    assert made.backup is not None
    assert made.backup.name == "ledger-before-migration-from-0.db"
    assert dump(made.backup) == old
    assert entries(path) == entries(made.backup) == [line for line in whole if line.startswith('INSERT INTO "entry"')]
    assert sorted(dump(path)) == sorted(whole)
    assert audit(path, fold).sound
    assert migrate(path, fold) is None


def test_a_second_migration_keeps_the_first_backup(path: Path) -> None:
    for name in ("ledger-before-migration-from-0.db", "ledger-before-migration-from-0-2.db"):
        age(path)
        made = migrate(path, fold)
        assert made is not None
        assert made.backup is not None
        assert made.backup.name == name


def test_a_current_ledger_whose_tables_differ_needs_a_migration_too(path: Path) -> None:
    spoil(path, "DROP INDEX specimen_number")
    with pytest.raises(LedgerTooOld, match="specimen_number"):
        Ledger.open(path)
    assert migrate(path, fold) is not None
    Ledger.open(path).close()


def test_a_newer_ledger_is_left_untouched(path: Path) -> None:
    spoil(path, "PRAGMA user_version = 99")
    before = {p.name: p.read_bytes() for p in path.parent.iterdir()}
    for attempt in (Ledger.open, lambda p: migrate(p, fold), lambda p: rebuild(p, fold), lambda p: audit(p, fold)):
        with pytest.raises(LedgerTooNew, match="newer thwart"):
            attempt(path)
    assert {
        p.name: p.read_bytes() for p in path.parent.iterdir() if "-wal" not in p.name and "-shm" not in p.name
    } == before


class Failing(sqlite3.Connection):
    """A real connection whose n-th statement from now on fails as a full disk makes it fail."""

    left = 0

    def execute(self, sql: str, *args: Any) -> sqlite3.Cursor:
        if not sql.startswith(("SELECT", "PRAGMA table_info", "BEGIN")):
            Failing.left -= 1
            if Failing.left == 0:
                fault = sqlite3.OperationalError("database or disk is full")
                fault.sqlite_errorcode = sqlite3.SQLITE_FULL
                raise fault
        return super().execute(sql, *args)


def failing_statements(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    real = sqlite3.connect

    def made(*args: Any, **more: Any) -> sqlite3.Connection:
        if str(args[0]).endswith("mode=rw"):
            more["factory"] = Failing
        connection: sqlite3.Connection = real(*args, **more)
        return connection

    monkeypatch.setattr(sqlite3, "connect", made)
    n = 0
    while True:
        n += 1
        Failing.left = n
        yield n


def test_a_migration_that_fails_at_any_statement_changes_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    age(path)
    before = dump(path)
    for n in failing_statements(monkeypatch):
        try:
            migrate(path, fold)
        except LedgerError as fault:
            assert "disk is full" in fault.message
            assert dump(path) == before, n
            for kept in path.parent.glob("ledger-before-migration*"):
                kept.unlink()
        else:
            break
    assert n > 60
    assert audit(path, fold).sound
