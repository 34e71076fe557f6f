"""What SQLite says, in words a person can act on. The one place where its error codes are known."""

from __future__ import annotations

import json
import os
import sqlite3
from pathlib import Path
from types import TracebackType

from thwart.errors import LedgerError


class LedgerBusy(LedgerError):
    """Another program holds the write lock. Nothing was lost: the same batch can be written again.

    `holder` names it where the system tells ("sqlite3, process 4711"), else None.
    """

    def __init__(self, path: Path, holder: str | None) -> None:
        super().__init__(
            f"{path} is held by another program ({holder or 'which one the system does not tell'})",
            "close that program or let it finish its transaction; what waits here is kept and tried again",
        )
        self.holder = holder


class LedgerFull(LedgerError):
    """The disk is full. The same batch can be written again once there is room."""


class LedgerReadOnly(LedgerError):
    """The file or its folder may not be written."""


class LedgerCorrupt(LedgerError):
    """The file is damaged."""


class LedgerForeign(LedgerError):
    """The file is something else than a ledger."""


def _full(path: Path, text: str) -> LedgerError:
    return LedgerFull(
        f"{path} can't grow: the disk is full", f"free some space under {path.parent}; nothing stored is lost"
    )


def _no_write(path: Path, text: str) -> LedgerError:
    return LedgerReadOnly(
        f"{path} can't be written: the file or its folder is read-only",
        f"give this user write permission on {path.parent} and on the files in it",
    )


def _no_open(path: Path, text: str) -> LedgerError:
    if path.parent.is_dir() and not os.access(path.parent, os.W_OK):
        return _no_write(path, text)
    return LedgerError(
        f"{path} can't be opened", "check that the folder exists and that this user may read and write it"
    )


def _corrupt(path: Path, text: str) -> LedgerError:
    return LedgerCorrupt(
        f"{path} is damaged ({text})",
        "keep the file as it is, see what `thwart audit` says of it, and go on with the last backup",
    )


def _foreign(path: Path, text: str) -> LedgerError:
    return LedgerForeign(f"{path} is not a ledger", "give the path of a bench folder's ledger.db")


def _busy(path: Path, text: str) -> LedgerError:
    return LedgerBusy(path, holder(path))


def _trouble(path: Path, text: str) -> LedgerError:
    return LedgerError(
        f"{path} can't be read or written: the system reports an input/output error ({text})",
        "check the disk (space, quota, cable, system log); nothing stored is lost",
    )


def _refused(path: Path, text: str) -> LedgerError:
    return LedgerError(
        f"{path} refuses what was to be written: {text}", "run `thwart audit`; please report this as a fault"
    )


#: SQLite's primary result code → what it means here. Anything else is `_trouble`.
MEANING = {
    sqlite3.SQLITE_FULL: _full,
    sqlite3.SQLITE_READONLY: _no_write,
    sqlite3.SQLITE_PERM: _no_write,
    sqlite3.SQLITE_CANTOPEN: _no_open,
    sqlite3.SQLITE_CORRUPT: _corrupt,
    sqlite3.SQLITE_NOTADB: _foreign,
    sqlite3.SQLITE_BUSY: _busy,
    sqlite3.SQLITE_LOCKED: _busy,
    sqlite3.SQLITE_CONSTRAINT: _refused,
    sqlite3.SQLITE_MISMATCH: _refused,
    sqlite3.SQLITE_ERROR: _corrupt,
}


def translated(path: Path, fault: sqlite3.Error) -> LedgerError:
    """The domain error for one of SQLite's."""
    code = getattr(fault, "sqlite_errorcode", None)
    return MEANING.get((code or 0) & 0xFF, _trouble)(path, str(fault))


class Guard:
    """`with Guard(path):` lets no error of SQLite or of stored JSON out, only LedgerError and its kin."""

    __slots__ = ("path",)

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, tb: TracebackType | None) -> None:
        if isinstance(fault, sqlite3.Error):
            raise translated(self.path, fault) from fault
        if isinstance(fault, json.JSONDecodeError):
            raise _corrupt(self.path, f"stored text that isn't JSON: {fault}") from fault


#: The byte of the wal-index that a writer locks, and the lock range of the database file (SQLite file formats).
_WRITE_BYTE = 120
_PENDING_BYTE = 0x40000000


def holder(path: Path) -> str | None:
    """Who holds the write lock of the database at `path`: "NAME, process PID". None where the system doesn't tell.

    Linux only (/proc/locks). Files are only looked at by `stat`: opening and closing one here would drop the locks
    this very process has on it (POSIX advisory locks).
    """
    wanted = {}
    for name, first in ((f"{path}-shm", _WRITE_BYTE), (str(path), _PENDING_BYTE)):
        try:
            wanted[str(os.stat(name).st_ino)] = first  # noqa: PTH116
        except OSError:
            continue
    try:
        locks = Path("/proc/locks").read_text().splitlines()
    except OSError:
        return None
    for line in locks:
        words = line.split()
        if len(words) != 8 or words[3] != "WRITE":
            continue
        byte = wanted.get(words[5].rpartition(":")[2])
        if byte is None or not (int(words[6]) <= byte and (words[7] == "EOF" or byte <= int(words[7]))):
            continue
        pid = words[4]
        try:
            return f"{Path(f'/proc/{pid}/comm').read_text().strip()}, process {pid}"
        except OSError:
            return f"process {pid}"
    return None
