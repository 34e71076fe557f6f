"""Troubles of the computer itself: its clock, the disk and the folder the ledger lies in, a library that is missing."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

from ..errors import ThwartError
from ..ports.spec import Spec, UsbDevice
from ..service.clock import _RELEASED, utc_text
from ..service.folder import LEDGER
from .trouble import Trouble

#: Less room than this is trouble: some days of a busy bench, with what the ledger's log needs meanwhile.
LEAST_BYTES = 256 << 20
MOUNTS = Path("/proc/self/mountinfo")
#: File systems that other computers serve. Locks and syncs over a network can't be relied on (SQLite's own advice,
#: sqlite.org/useovernet.html).
NETWORK = frozenset(
    ("9p", "afs", "ceph", "cifs", "davfs", "fuse.glusterfs", "fuse.rclone", "fuse.sshfs", "gfs2", "glusterfs", "lustre",
     "ncpfs", "nfs", "nfs4", "ocfs2", "smb3", "smbfs", "vboxsf")
)  # fmt: skip


def clock(now_ns: int, ledger: Path | None) -> Iterator[Trouble]:
    """Whether the clock (`now_ns` nanoseconds since 1970) may be believed: not before the program, nor the last entry."""
    now, last = utc_text(now_ns), None
    if ledger is not None and ledger.is_file():
        last = _last_utc(ledger)
    fix = "set it: sudo timedatectl set-time 'YYYY-MM-DD HH:MM:SS' (or, with a network: sudo timedatectl set-ntp true)"
    if now < _RELEASED:
        yield Trouble("clock", "clock", f"it says {now[:16]}Z, which is before this program was made", fix)
    elif last is not None and now < last:
        cause = f"it says {now[:16]}Z, but the last entry of the ledger is of {last[:16]}Z: it went back"
        yield Trouble("clock", "clock", cause, fix)


def _last_utc(ledger: Path) -> str | None:
    from ..ledger import Ledger

    # A ledger that can't be read is told by whoever needs to read it.
    with contextlib.suppress(ThwartError, sqlite3.Error), Ledger.open(ledger, readonly=True) as opened:
        return opened.last_stamp.utc if opened.last_stamp is not None else None
    return None


def disk(folder: Path, least: int) -> Iterator[Trouble]:
    """Whether there is room for the ledger to grow."""
    free = shutil.disk_usage(folder).free
    if free < least:
        cause = f"only {free / 1e6:.0f} MB are free; a full disk stops the bench"
        yield Trouble(
            "disk",
            str(folder),
            cause,
            f"free some: du -xh {folder.resolve().anchor} | sort -h | tail shows what takes most",
        )


def writable(folder: Path) -> Iterator[Trouble]:
    """Whether this user may write in the folder and in the ledger."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
        ledger = folder / LEDGER
        if ledger.exists():
            os.close(os.open(ledger, os.O_RDWR))
    except OSError as error:
        cause = f"it can't be written by this user: {error.strerror}"
        yield Trouble(
            "folder", str(folder), cause, f"sudo chown -R {_user()} {folder.resolve()} (and mount the disk for writing)"
        )


def _user() -> str:
    try:
        import pwd

        return pwd.getpwuid(os.geteuid()).pw_name
    except (ImportError, KeyError):
        return "USER"


def network_disk(folder: Path, mounts: Path = MOUNTS) -> Iterator[Trouble]:
    """Whether the folder lies on another computer. `mounts` is Linux's list of what is mounted (proc(5), mountinfo)."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return
    where = folder.resolve()
    best: tuple[int, str, str] = (-1, "", "")
    for line in lines:
        before, dash, after = line.partition(" - ")
        if not dash or len(fields := before.split()) < 5:
            continue
        # Blanks in a path are written as octal numbers.
        point = Path(re.sub(r"\\([0-7]{3})", lambda match: chr(int(match[1], 8)), fields[4]))
        # The later of two mounts on one place hides the earlier.
        if (where == point or point in where.parents) and len(point.parts) >= best[0]:
            best = (len(point.parts), after.split()[0], str(point))
    if best[1] in NETWORK:
        cause = f"{best[2]} is a network share ({best[1]}): a ledger there can be damaged, and a reading said to be saved isn't"
        yield Trouble(
            "network-disk", str(folder), cause, "move the bench folder to a disk of this computer; back up to the share"
        )


def libusb(specs: list[Spec]) -> Iterator[Trouble]:
    """Whether USB instruments can be reached at all; asked only where the bench has some."""
    needing = [str(spec) for spec in specs if isinstance(spec, UsbDevice)]
    if not needing:
        return
    from ..ports.usblibrary import HINT, found

    if found() is None:
        yield Trouble("no-libusb", ", ".join(needing), "the library libusb is not on this computer", HINT)
