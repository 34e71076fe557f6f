"""`audit`: is the ledger whole, and do its tables say what its entries say? Changes nothing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from thwart.entries import INPUTS, ORIGIN, canonical_text, chained, parsed
from thwart.ledger.connect import admitted, connect, deviations
from thwart.ledger.faults import Guard
from thwart.ledger.refold import Fold, Progress, differences, forget, newest, refold
from thwart.ledger.snapshots import unpacked

#: More faults than this aren't listed one by one.
_LISTED: Final = 50

_CHUNK: Final = 500


@dataclass(frozen=True, slots=True)
class Report:
    """What an audit found. `last_hash` is of the last entry; two ledgers with the same one hold the same entries."""

    path: Path
    entries: int
    last_hash: bytes
    problems: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Nothing was found."""
        return not self.problems


def audit(path: Path, fold: Fold | None, progress: Progress = lambda done, total: None) -> Report:
    """Look at everything: the file, the hash chain, triggers and views, the projections against `fold` (None: not those).

    Reads one state of the file while a service goes on writing; its log can't be emptied meanwhile. Raises LedgerError
    where the file can't be read at all, LedgerForeign, LedgerTooNew.
    """
    admitted(path)
    problems: list[str] = []
    with Guard(path):
        db = connect(path, "ro")
        try:
            db.execute("BEGIN")
            problems += (f"file: {line}" for line in integrity(db))
            if not problems:
                problems += (f"{name} is absent or not as this version makes it" for name in deviations(db))
            last_hash, faults = chain(db, progress)
            problems += faults
            problems += _snapshots(db)
            if fold is not None and not problems:
                problems += _projections(db, fold, progress)
            return Report(path, newest(db), last_hash, _cut(problems))
        except sqlite3.DatabaseError as fault:
            if not problems:
                raise
            # A damaged file may not be readable to its end; what was found so far says more than the error.
            return Report(path, 0, ORIGIN, _cut([*problems, f"file: {fault}"]))
        finally:
            db.close()


def integrity(db: sqlite3.Connection) -> list[str]:
    """What SQLite's own check finds wrong with the file."""
    return [row[0] for row in db.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]


def chain(db: sqlite3.Connection, progress: Progress) -> tuple[bytes, list[str]]:
    """Walk through all entries: hash, order, columns, spelling, and the input each decision names.

    Returns the last hash and the faults.
    """
    faults: list[str] = []
    before, expected, total = ORIGIN, 1, newest(db)
    given = 0
    for seq, kind, input_seq, specimen_id, text, found in _entries(db):
        if seq != expected:
            faults.append(f"entry {expected} to {seq - 1}: absent")
        expected = seq + 1
        before = chained(before, text.encode())
        if before != found:
            faults.append(f"entry {seq}: doesn't fit its hash")
            before = found  # each break is told once
        try:
            entry = parsed(text)
        except ValueError as fault:
            faults.append(f"entry {seq}: {fault}")
            continue
        if (entry.seq, entry.kind, entry.input_seq, entry.specimen_id) != (seq, kind, input_seq, specimen_id):
            faults.append(f"entry {seq}: its columns differ from its text")
        if canonical_text(entry) != text:
            faults.append(f"entry {seq}: its text is not in canonical form")
        if (input_seq is None) != (kind in INPUTS):
            faults.append(
                f"entry {seq}: {kind} {'names no input' if input_seq is None else 'is an input and names one'}"
            )
        # An input's decisions follow it at once, so the last input seen is the only one they can name.
        if input_seq is None:
            given = seq
        elif input_seq != given:
            faults.append(f"entry {seq}: names entry {input_seq} as its input, which is not the input before it")
        if seq % _CHUNK == 0 or seq == total:
            progress(seq, total)
        if len(faults) > _LISTED:
            break
    return before, faults


def _entries(db: sqlite3.Connection) -> Iterator[tuple[int, str, int | None, str | None, str, bytes]]:
    yield from db.execute("SELECT seq, kind, input_seq, specimen_id, data, hash FROM main.entry ORDER BY seq")


def _snapshots(db: sqlite3.Connection) -> Iterator[str]:
    last = newest(db)
    for seq, state in db.execute("SELECT seq, state FROM main.snapshot"):
        if seq > last:
            yield f"snapshot {seq}: is ahead of the last entry"
        try:
            json.loads(unpacked(state))
        except ValueError:
            yield f"snapshot {seq}: can't be read"


def _projections(db: sqlite3.Connection, fold: Fold, progress: Progress) -> list[str]:
    refold(db, fold, progress)
    try:
        return differences(db)
    finally:
        forget(db)


def _cut(problems: list[str]) -> tuple[str, ...]:
    more = len(problems) - _LISTED
    return (*problems[:_LISTED], *([f"and {more} more"] if more > 0 else []))
