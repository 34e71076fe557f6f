"""`audit` finds what was spoilt behind the program's back, each in its own words."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

import pytest

from tests.unit.ledger.making import filled, spoil
from tests.unit.ledger.samples import Survey, fold
from thwart.errors import LedgerError
from thwart.ledger import Ledger
from thwart.ledger.audit import audit


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return filled(tmp_path / "ledger.db")


def test_a_whole_ledger(path: Path) -> None:
    before = path.read_bytes()
    told: list[tuple[int, int]] = []
    report = audit(path, fold, lambda done, total: told.append((done, total)))
    assert report.problems == ()
    assert report.sound
    with Ledger.open(path, readonly=True) as ledger:
        assert (report.entries, report.last_hash) == (ledger.next_seq - 1, ledger.last_hash)
    assert told[-1] == (report.entries, report.entries)
    assert path.read_bytes() == before


def test_an_empty_ledger(tmp_path: Path) -> None:
    Ledger.create(tmp_path / "ledger.db", "lake", "0190").close()
    report = audit(tmp_path / "ledger.db", fold)
    assert (report.entries, report.problems) == (0, ())


def test_while_a_service_writes(path: Path) -> None:
    with Ledger.open(path) as ledger:
        survey = Survey(ledger.next_seq)
        ledger.write(*survey.open_batch())
        ledger.commit()
        ledger.write(*survey.open_batch("held back"))
        report = audit(path, fold)
        assert report.problems == ()
        assert report.entries == survey.seq - 3


SPOILT = {
    "an entry's text": (
        "UPDATE entry SET data = replace(data, '\"act\"', '\"acts\"') WHERE seq = 3",
        "entry 3: doesn't fit its hash",
    ),
    "an entry's hash": ("UPDATE entry SET hash = zeroblob(32) WHERE seq = 7", "entry 7: doesn't fit its hash"),
    "an entry's column": (
        "UPDATE entry SET specimen_id = 'x' WHERE seq = 6",
        "entry 6: its columns differ from its text",
    ),
    "an entry is gone": ("DELETE FROM entry WHERE seq = 5", "entry 5 to 5: absent"),
    "a projection": (
        "UPDATE measurement SET value = '999.9' WHERE seq = (SELECT min(seq) FROM measurement)",
        "value '999.9'",
    ),
    "an object is gone": (
        "DELETE FROM container WHERE number = 'E-0101'",
        "container E-0101: refolded as number 'E-0101'",
    ),
    "an object too many": ("INSERT INTO batch (batch) VALUES ('ghost')", "batch ghost: stored as batch 'ghost'"),
    "a snapshot from the future": (
        "INSERT INTO snapshot VALUES (9999, '{}')",
        "snapshot 9999: is ahead of the last entry",
    ),
    "a snapshot": ("UPDATE snapshot SET state = '{'", ": can't be read"),
    "a snapshot deflated": ("UPDATE snapshot SET state = x'789c00'", ": can't be read"),
    "a view": ("DROP VIEW measurements", "measurements is absent or not as this version makes it"),
    "an index": ("DROP INDEX specimen_number", "specimen_number is absent or not as this version makes it"),
}


@pytest.mark.parametrize(("statement", "told"), SPOILT.values(), ids=SPOILT)
def test_what_was_spoilt_is_told(path: Path, statement: str, told: str) -> None:
    spoil(path, statement)
    report = audit(path, fold)
    assert not report.sound
    assert any(told in problem for problem in report.problems), report.problems


@pytest.mark.parametrize("trigger", ["entry_append", "entry_update", "entry_delete"])
def test_a_trigger_gone_is_told(path: Path, trigger: str) -> None:
    with sqlite3.connect(path) as db:
        db.execute(f"DROP TRIGGER {trigger}")
    assert audit(path, fold).problems == (f"{trigger} is absent or not as this version makes it",)


def rehashed(path: Path, old: str, new: str) -> None:
    """Change an entry's text and make every hash fit again, as somebody who knows how would."""
    with sqlite3.connect(path) as db:
        rows = db.execute("SELECT seq, data FROM entry ORDER BY seq").fetchall()
    before, statements = bytes(32), []
    assert any(old in text for _, text in rows)
    for seq, text in rows:
        text = text.replace(old, new)
        before = hashlib.sha256(before + text.encode()).digest()
        quoted = text.replace("'", "''")
        statements.append(f"UPDATE entry SET data = '{quoted}', hash = x'{before.hex()}' WHERE seq = {seq}")
    spoil(path, *statements)


def test_a_decision_that_names_no_earlier_input(path: Path) -> None:
    rehashed(path, '"input":3,', '"input":4,')
    spoil(path, "UPDATE entry SET input_seq = 4 WHERE input_seq = 3")
    assert any("names entry 4 as its input, which is not" in p for p in audit(path, fold).problems)


def test_an_input_that_names_an_input(path: Path) -> None:
    rehashed(path, '"input":null,"kind":"scan"', '"input":3,"kind":"scan"')
    spoil(path, "UPDATE entry SET input_seq = 3 WHERE kind = 'scan'")
    assert any("scan is an input and names one" in p for p in audit(path, fold).problems)


def test_another_spelling_of_the_same(path: Path) -> None:
    rehashed(path, '"v":1}', '"v": 1}')
    assert "entry 1: its text is not in canonical form" in audit(path, fold).problems


def test_a_float(path: Path) -> None:
    rehashed(path, '"settled":"mark"', '"settled":0.5')
    assert any("holds the float 0.5" in p for p in audit(path, fold).problems)


def test_without_a_fold_projections_are_left_out(path: Path) -> None:
    spoil(path, "INSERT INTO batch (batch) VALUES ('ghost')")
    assert audit(path, None).sound


def test_many_faults_are_cut(path: Path) -> None:
    spoil(path, "UPDATE entry SET specimen_id = 'x'")
    problems = audit(path, fold).problems
    assert len(problems) == 51
    assert problems[-1].startswith("and ")


def test_a_file_damaged_at_any_place_is_told_or_unharmed(path: Path) -> None:
    # A byte in 211 of the whole file, one at a time: never a traceback, and never "sound" where the content changed.
    whole = path.read_bytes()
    reference = sorted(sqlite3.connect(path).iterdump())
    missed = 0
    for at in range(0, len(whole), 211 * 7):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x5A]) + whole[at + 1 :])
        try:
            sound = audit(path, fold).sound
        except LedgerError:
            continue
        if sound:
            missed += 1
            db = sqlite3.connect(path)
            try:
                assert sorted(db.iterdump()) == reference, at
            finally:
                db.close()
    assert missed < len(whole) / 211 / 7 / 2  # free space and unused header bytes only
