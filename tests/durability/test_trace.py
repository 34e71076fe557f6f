"""The system calls themselves: the log's sync has returned before any announcing write. Linux, strace."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from thwart.ledger import Ledger

INPUTS = 40


def traced(folder: Path, *flags: str) -> list[str]:
    """The driver's system calls that write, sync or announce, in order."""
    path, log = folder / "ledger.db", folder / "trace"
    Ledger.create(path, "lake", "0190").close()
    trace = ["strace", "-f", "-y", "-o", str(log), "-e", "trace=write,pwrite64,writev,pwritev,fsync,fdatasync"]
    command = [sys.executable, "-m", "tests.durability.driver", str(path), str(INPUTS), *flags]
    done = subprocess.run([*trace, *command], capture_output=True, text=True)
    if "PTRACE" in done.stderr or "ptrace" in done.stderr:
        pytest.skip(f"TRACING IS FORBIDDEN HERE, so the order of sync and announcing is not tested: {done.stderr}")
    assert done.returncode == 0, done.stderr
    return log.read_text().splitlines()


def early(calls: list[str]) -> tuple[int, int]:
    """How many announcements there were, and how many came before the sync of what they announce."""
    announced = too_early = commits = 0
    unsynced = False
    for call in calls:
        if re.search(r"write(v|64)?\(\d+<[^>]*ledger\.db-wal>.*, [1-9]\d*\)\s+= \d", call):
            unsynced = True  # the log's header, at offset 0, is no commit
        elif re.search(r"sync\(\d+<[^>]*ledger\.db-wal>\)\s+= 0", call):
            commits += unsynced
            unsynced = False
        elif re.search(r'write\(1<[^>]*>, "\d+\\n"', call):
            announced += 1
            # Each announcement needs a synced commit of its own before it.
            too_early += unsynced or commits < announced
    return announced, too_early


pytestmark = pytest.mark.skipif(
    shutil.which("strace") is None, reason="STRACE IS NOT INSTALLED: the order of sync and announcing is not tested"
)


def test_the_sync_returns_before_any_announcement(tmp_path: Path) -> None:
    assert early(traced(tmp_path)) == (INPUTS, 0)


@pytest.mark.parametrize("wrong", [("--synchronous", "OFF"), ("--synchronous", "NORMAL"), ("--announce-first",)])
def test_a_wrong_writer_is_seen(tmp_path: Path, wrong: tuple[str, ...]) -> None:
    announced, too_early = early(traced(tmp_path, *wrong))
    assert announced == INPUTS
    assert too_early >= INPUTS // 2
