"""`backup`: one state, read back, never over something else."""

from __future__ import annotations

import hashlib
import sqlite3
import subprocess
import threading
from pathlib import Path

import pytest

from tests.unit.ledger.making import dump, filled, spoil
from tests.unit.ledger.samples import Survey, fold
from thwart.errors import LedgerError
from thwart.ledger import Ledger
from thwart.ledger.audit import audit
from thwart.ledger.backup import backup


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return filled(tmp_path / "ledger.db")


def test_a_backup_is_a_ledger(path: Path, tmp_path: Path) -> None:
    to = tmp_path / "copies" / "kept.db"
    to.parent.mkdir()
    told: list[tuple[int, int]] = []
    copy = backup(path, to, lambda done, total: told.append((done, total)))
    assert told
    assert sorted(p.name for p in to.parent.iterdir()) == ["kept.db", "kept.db.sha256"]
    assert copy.sha256 == hashlib.sha256(to.read_bytes()).hexdigest()
    subprocess.run(["sha256sum", "-c", "kept.db.sha256"], cwd=to.parent, check=True, capture_output=True)
    assert dump(to) == dump(path)
    report = audit(to, fold)
    assert (report.problems, report.entries, report.last_hash) == ((), copy.entries, copy.last_hash)
    with Ledger.open(to) as again:  # and can be written on
        again.write(*Survey(again.next_seq).open_batch())
        again.commit()


def test_while_a_service_writes(path: Path, tmp_path: Path) -> None:
    # The writer commits all the time, far more than the copy takes: every backup is one state and whole.
    stop, wrote = threading.Event(), threading.Event()

    def write() -> None:
        with Ledger.open(path) as ledger:
            survey = Survey(ledger.next_seq)
            ledger.write(*survey.start())
            while not stop.is_set():
                ledger.write(*survey.open_fish())
                for load in survey.stream_load():
                    ledger.write(*load)
                ledger.commit()
                wrote.set()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        copies = []
        for n in range(4):
            wrote.clear()
            assert wrote.wait(20)
            copies.append(backup(path, tmp_path / f"{n}.db"))
    finally:
        stop.set()
        writer.join()
    assert [c.entries for c in copies] == sorted({c.entries for c in copies})  # it went on between them
    for copy in copies:
        report = audit(copy.path, None)
        assert (report.problems, report.last_hash) == ((), copy.last_hash)
        with Ledger.open(copy.path, readonly=True) as ledger:
            assert ledger.next_seq == copy.entries + 1


@pytest.mark.parametrize("taken", ["kept.db", "kept.db.sha256"])
def test_never_overwrites(path: Path, tmp_path: Path, taken: str) -> None:
    (tmp_path / taken).write_text("precious")
    with pytest.raises(LedgerError, match=f"{taken} exists already"):
        backup(path, tmp_path / "kept.db")
    assert (tmp_path / taken).read_text() == "precious"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["ledger.db", taken])


def test_a_copy_that_does_not_read_back_is_no_backup(path: Path, tmp_path: Path) -> None:
    spoil(path, "UPDATE entry SET hash = zeroblob(32) WHERE seq = 7")
    with pytest.raises(LedgerError, match="doesn't read back: entry 7"):
        backup(path, tmp_path / "kept.db")
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith("kept")] == []


def test_a_folder_that_is_not_there(path: Path, tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match=r"nowhere/kept\.db can't be"):
        backup(path, tmp_path / "nowhere" / "kept.db")


def test_a_backup_can_be_read_from_a_file_nobody_may_write(path: Path, tmp_path: Path) -> None:
    backup(path, tmp_path / "kept.db")
    with sqlite3.connect(f"{(tmp_path / 'kept.db').as_uri()}?immutable=1", uri=True) as db:
        assert db.execute("SELECT count(*) FROM specimens").fetchone() == (5,)
