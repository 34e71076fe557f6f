"""Disk written per reading for each page size, checkpoints included: python -m tests.benchmarks.ledger_pages

Each input of a survey (two readings in six inputs) is committed by itself, as when fish come one after the other.
`written` is what this process made the kernel write (/proc/self/io: write_bytes, whole memory pages of 4 KiB; the file
system's own journal is not in it), closing included. The folder must be on a disk, not in memory: give it as argument
if the temporary folder isn't.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.ledger_stream import Input, played
from thwart.ledger import Ledger, connect, store

READINGS = 1500


def written() -> int:
    """Bytes this process made the kernel write so far."""
    lines = Path("/proc/self/io").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("write_bytes")).split()[1])


#: Inputs nobody waits for: `later` lets them share the commit of what comes next.
QUIET = ("arrival", "emptied")


def measured(stream: list[Input], page: int, limit: int, later: bool, where: str | None) -> tuple[float, float, float]:
    """KiB written per reading, KiB of file per reading, milliseconds a commit."""
    connect.PAGE_SIZE = store.PAGE_SIZE = page  # type: ignore[misc, attr-defined]
    connect.LOG_LIMIT = limit  # type: ignore[misc]
    with tempfile.TemporaryDirectory(dir=where) as folder:
        path = Path(folder) / "ledger.db"
        ledger = Ledger.create(path, "bench", "id")
        before, began, commits = written(), time.perf_counter(), 0
        for entries, changed in stream:
            ledger.write(entries, changed)
            if not (later and entries[0].kind in QUIET):
                ledger.commit()
                commits += 1
        took = time.perf_counter() - began
        ledger.close()
        bytes_, size = written() - before, path.stat().st_size
        return bytes_ / READINGS / 1024, size / READINGS / 1024, took / commits * 1000


def main() -> None:
    """Print the table."""
    where = sys.argv[1] if len(sys.argv) > 1 else None
    stream = played(READINGS // 2)
    entries = sum(len(entries) for entries, _ in stream)
    print(f"{READINGS} readings, {len(stream) / READINGS:.2f} inputs and {entries / READINGS:.2f} entries each\n")
    print("| page | log limit | each input its commit | arrivals and emptyings later | file | one commit |")
    print("| ---: | ---: | ---: | ---: | ---: | ---: |")
    for limit in (1 << 20, 4 << 20):
        for page in (512, 1024, 2048, 4096, 8192):
            each, size, took = measured(stream, page, limit, False, where)
            later, _, _ = measured(stream, page, limit, True, where)
            print(f"| {page} B | {limit >> 20} MiB | {each:.1f} KiB | {later:.1f} KiB | {size:.1f} KiB | {took:.2f} ms |",
                  flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
