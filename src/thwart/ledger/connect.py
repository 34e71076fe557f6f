"""Opening the file: how each kind of connection is set, and what is refused before anything is touched."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path
from typing import Final, Literal

from thwart.errors import LedgerError, LedgerTooNew, LedgerTooOld
from thwart.ledger import schema, views
from thwart.ledger.faults import Guard, LedgerForeign

#: Bytes. Chosen by measurement (docs/ledger.md): small pages cost less writing per commit.
PAGE_SIZE: Final = 512

#: The log is copied into the database when it holds this many bytes, whatever else is going on.
LOG_LIMIT: Final = 4 << 20

#: Milliseconds a statement waits for another program's lock before it gives up.
LOCK_WAIT_MS: Final = 250

Mode = Literal["ro", "rw", "rwc"]


def connect(path: Path, mode: Mode) -> sqlite3.Connection:
    """A connection with every setting made. Transactions are begun by hand. Raises sqlite3.Error.

    A file in a folder where nothing may be written, and without a log beside it, is opened as one that can't change.
    """
    uri = f"{path.resolve().as_uri()}?mode={mode}"
    if mode == "ro" and not os.access(path.resolve().parent, os.W_OK) and not Path(f"{path}-wal").exists():
        uri += "&immutable=1"
    db = sqlite3.connect(
        uri,
        uri=True,
        isolation_level=None,
        timeout=LOCK_WAIT_MS / 1000,
        # The service opens in one thread and writes in another, one at a time.
        check_same_thread=False,
        cached_statements=256,
    )
    try:
        if mode != "ro":
            db.execute("PRAGMA synchronous = FULL")
            db.execute(f"PRAGMA wal_autocheckpoint = {LOG_LIMIT // PAGE_SIZE}")
            # A log that a reader made grow is cut back to this once it lets go.
            db.execute(f"PRAGMA journal_size_limit = {2 * LOG_LIMIT}")
    except BaseException:
        db.close()
        raise
    return db


def admitted(path: Path) -> int:
    """The schema version of the ledger at `path`; what isn't a ledger or is too new is refused untouched.

    Raises LedgerError (no such file, can't be read), LedgerForeign, LedgerTooNew.
    """
    if not path.is_file():
        raise LedgerError(f"there is no ledger at {path}", "`thwart init` makes a bench folder with one")
    with Guard(path):
        db = connect(path, "ro")
        try:
            (application,) = db.execute("PRAGMA application_id").fetchone()
            (version,) = db.execute("PRAGMA user_version").fetchone()
        finally:
            db.close()
    if application != schema.APPLICATION_ID:
        raise LedgerForeign(f"{path} is not a ledger", "give the path of a bench folder's ledger.db")
    if version > schema.SCHEMA_VERSION:
        raise LedgerTooNew(
            f"{path} was written by a newer thwart (tables of version {version}; this one knows "
            f"{schema.SCHEMA_VERSION})",
            "install the newer thwart; the file was not touched",
        )
    return int(version)


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable, where its file system can do that."""
    with contextlib.suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def measurands(db: sqlite3.Connection) -> list[tuple[str, str]]:
    """The (measurand key, unit) that have a column in `specimens`, oldest first."""
    return list(db.execute("SELECT measurand, unit FROM specimen_column ORDER BY rowid"))


def deviations(db: sqlite3.Connection) -> list[str]:
    """Names of tables, indexes, triggers and views that are absent or not as this version makes them."""
    expected = schema.statements()
    actual = dict(db.execute("SELECT name, sql FROM sqlite_master"))
    if "specimen_column" in actual:
        expected |= views.statements(measurands(db))
    return [name for name, sql in expected.items() if actual.get(name) != sql]


def refuse_old(path: Path, version: int, db: sqlite3.Connection) -> None:
    """Raises LedgerTooOld where the projections aren't this version's. Raises sqlite3.Error."""
    differing = deviations(db)
    if version < schema.SCHEMA_VERSION or differing:
        what = f" ({', '.join(differing)})" if version == schema.SCHEMA_VERSION else ""
        raise LedgerTooOld(
            f"{path} has tables that another version of thwart made{what}",
            f"run `thwart migrate {path.parent}`; it makes a backup first and leaves the entries as they are",
        )
