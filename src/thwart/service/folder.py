"""The bench folder's files, the lock that keeps a second service out, and the 0600 files with the control port and the pages' sessions."""

from __future__ import annotations

import json
import os
import secrets
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from ..errors import BenchInUse, LedgerError, ThwartError

LEDGER = "ledger.db"
LOCK = "service.lock"
CONTROL = "control.json"
SESSIONS = "pages.json"


class Lock:
    """Held by the one service of a bench. Raises BenchInUse with who holds it."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / LOCK
        try:
            self._fd = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise LedgerError(
                f"{folder}: can't be written: {error.strerror}",
                "the service writes here: mend the folder's owner or rights",
            ) from None
        try:
            _lock(self._fd)
        except OSError:
            holder = os.read(self._fd, 20).decode("ascii", "replace").strip()
            os.close(self._fd)
            raise BenchInUse(
                f"{folder}: another service runs on this bench" + (f" (process {holder})" if holder else ""),
                "`thwart status` shows it; stop it first",
            ) from None
        os.ftruncate(self._fd, 0)
        os.write(self._fd, str(os.getpid()).encode())

    def release(self) -> None:
        """Let the next one in."""
        os.close(self._fd)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, tb: TracebackType | None) -> None:
        self.release()


def _lock(fd: int) -> None:
    try:
        import fcntl
    except ImportError:  # not POSIX
        import msvcrt

        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    else:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)


@dataclass(frozen=True, slots=True)
class Door:
    """Where the running service listens, and the token it wants."""

    port: int
    token: str
    pid: int
    page: int
    """Port of the pages."""


def write_door(folder: Path, port: int, page: int) -> Door:
    """Make a token and leave it in a file that only this user can read."""
    door = Door(port, secrets.token_urlsafe(24), os.getpid(), page)
    path = folder / CONTROL
    path.unlink(missing_ok=True)
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(fd, "w") as file:
        json.dump({"port": door.port, "token": door.token, "pid": door.pid, "page": door.page}, file)
    return door


def read_door(folder: Path) -> Door:
    """Where the service of a bench listens. Raises ThwartError where none runs."""
    path = folder / CONTROL
    try:
        data: dict[str, Any] = json.loads(path.read_text())
        return Door(int(data["port"]), str(data["token"]), int(data["pid"]), int(data["page"]))
    except FileNotFoundError:
        raise ThwartError(f"{folder}: no service runs on this bench", f"start it with `thwart run {folder}`") from None
    except (OSError, ValueError, KeyError) as error:
        raise ThwartError(f"{path}: can't be read: {error}", "stop the service and start it again") from None
