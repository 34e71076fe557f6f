"""`backup`: one consistent state of a ledger as one file, read back before it is called a backup."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from thwart.errors import LedgerError
from thwart.ledger import schema
from thwart.ledger.audit import chain, integrity
from thwart.ledger.connect import admitted, connect, sync_folder
from thwart.ledger.faults import Guard
from thwart.ledger.refold import Progress

#: Pages copied between two progress reports.
_STEP: Final = 4096


@dataclass(frozen=True, slots=True)
class Copy:
    """A verified backup: where, up to which entry, its last entry's hash and the file's SHA-256 (hex)."""

    path: Path
    entries: int
    last_hash: bytes
    sha256: str


def backup(path: Path, to: Path, progress: Progress = lambda done, total: None) -> Copy:
    """Copy the ledger at `path` to the new file `to` while a service may be writing, and verify the copy.

    The copy is a single file without a log beside it; `to` with `.sha256` added holds its digest as `sha256sum -c` reads
    it. Raises LedgerError where `to` exists, can't be written or doesn't read back; then no file is left there.
    """
    digest_file = to.with_name(to.name + ".sha256")
    for taken in (to, digest_file):
        if taken.exists():
            raise LedgerError(f"{taken} exists already", "a backup never overwrites; choose another name")
    admitted(path)
    unfinished = to.with_name(to.name + ".part")
    try:
        unfinished.unlink(missing_ok=True)
        with Guard(path):
            source = connect(path, "ro")
            try:
                # All is copied and compared within one read transaction: one state, whatever is written meanwhile.
                source.execute("BEGIN")
                counts = _counts(source)
                _copy(source, unfinished, to, progress)
            finally:
                source.close()
        copy = _verified(unfinished, to, counts, progress)
        _write_durably(digest_file, f"{copy.sha256}  {to.name}\n")
        unfinished.rename(to)
        sync_folder(to.parent)
    except OSError as fault:
        raise LedgerError(f"{to} can't be written: {fault.strerror}", f"look at the folder {to.parent}") from fault
    finally:
        unfinished.unlink(missing_ok=True)
        if not to.exists():
            digest_file.unlink(missing_ok=True)
    return copy


def _copy(source: sqlite3.Connection, unfinished: Path, to: Path, progress: Progress) -> None:
    with Guard(to):
        target = connect(unfinished, "rwc")
        try:
            target.execute("PRAGMA synchronous = OFF")  # synced once, at the end
            source.backup(target, pages=_STEP, progress=lambda _, left, total: progress(total - left, total))
            target.execute("PRAGMA journal_mode = DELETE")  # one file, readable from a medium that can't be written
        finally:
            target.close()
    _sync(unfinished)


def _verified(unfinished: Path, to: Path, counts: dict[str, int], progress: Progress) -> Copy:
    with Guard(to):
        db = connect(unfinished, "ro")
        try:
            faults = integrity(db)
            last_hash, broken = chain(db, progress)
            faults += broken
            read_back = _counts(db)
            faults += [f"{t}: {read_back[t]} rows of {n}" for t, n in counts.items() if read_back[t] != n]
        finally:
            db.close()
    if faults:
        raise LedgerError(
            f"the backup {to} doesn't read back: {faults[0]}",
            "check the disk it was written to, then the ledger itself (`thwart audit`); the backup was removed",
        )
    with unfinished.open("rb") as file:
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    return Copy(to, counts["entry"], last_hash, sha256)


def _counts(db: sqlite3.Connection) -> dict[str, int]:
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    known = {"entry", *schema.TABLES, *schema.OTHER_TABLES}
    return {t: db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in tables if t in known}


def _write_durably(path: Path, text: str) -> None:
    with path.open("w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _sync(path: Path) -> None:
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
