"""What looking something up costs in a large ledger: python -m tests.benchmarks.ledger_lookup [SPECIMENS [FOLDER]]

Fills a ledger with SPECIMENS specimens (a million unless told otherwise; two readings and values, a code and a container
each) by plain SQL, and looks up by id, number and container: through the views as other programs do, and as the bench
does. Warm: at random, on one connection. Cold: before each look-up the system forgets the file and a new connection is
opened; told without and with the opening. The floors, in the same run: one row of a table by its key, and one page read
from the file. `busy` is the most processor time a look-up took: what is above it in `max` was waited for, be it for the
disk or for other programs. `reads` is how often a cold look-up read from the file, at most. The goal is 5 ms for the slowest of all, at a million.
"""

from __future__ import annotations

import gc
import os
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import closing
from functools import partial
from pathlib import Path

from tests.benchmarks.ledger_growth import FILL, FITTING, SPECIMEN
from thwart.entries import Entry, Stamp, canonical_text, chained
from thwart.ledger import Ledger

GOAL_MS = 5.0
WARM, COLD = 3000, 300

MEASURANDS = (
    ("total_length", "mm"), ("fork_length", "mm"), ("whole_mass", "g"), ("gonad_mass.left", "g"),
    ("gonad_mass.right", "g"), ("liver_mass", "g"),
)  # fmt: skip

#: Beside the specimens, readings and measurements of `ledger_growth`: a code, a container and a finding now and then.
MORE = (
    """INSERT INTO coded (seq, specimen_id, field, scale, code, who, at_utc, status, practice)
       SELECT seq + 2, {id}, 'sex', 'sex', 'F', 'mia', '2026-05-01T08:00:02.000Z', 'stands', 0
       FROM entry WHERE seq % 6 = 0""",
    """INSERT INTO container (number, specimen_id, structure, taken, kind, dried, state, at_utc, practice)
       SELECT printf('K-%07d', seq / 6), {id}, 'otolith', 2, 'envelope', 1, 'filled', '2026-05-01T08:00:02.000Z', 0
       FROM entry WHERE seq % 6 = 0""",
    """INSERT INTO question (seq, place, specimen_id, measurand, verdict, kind, args, text, asked, state, practice)
       SELECT seq + 1, 'table', {id}, 'whole_mass', 3, 'tenth', '{{}}', 'look again', 1, 'read-out', 0
       FROM entry WHERE seq % 180 = 0""",
    """UPDATE specimen SET containers = '["' || printf('K-%07d', number) || '"]'""",
)


def filled(path: Path, specimens: int) -> None:
    """A ledger of so many specimens, six entries each; only the last entries' hashes fit."""
    with Ledger.create(path, "large", "id") as ledger:
        ledger.define_specimens_view(MEASURANDS)
    last = specimens * 6
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for pragma in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -400000"):
            db.execute(f"PRAGMA {pragma}")
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        db.execute("BEGIN")
        db.execute(
            """INSERT INTO entry SELECT value, 'reading', NULL, NULL, '{"at":"2026-05-01T08:00:00.000Z"}', zeroblob(32)
               FROM (WITH RECURSIVE n(value) AS (SELECT 1 UNION ALL SELECT value + 1 FROM n LIMIT ?)
                     SELECT value FROM n)""",
            (last - FITTING,),
        )
        before = bytes(32)
        for seq in range(last - FITTING + 1, last + 1):
            stamp = Stamp("2026-05-01T08:00:00.000Z", seq, "b", True)
            text = canonical_text(Entry(seq, "reading", None, None, stamp, {}))
            before = chained(before, text.encode())
            db.execute("INSERT INTO entry VALUES (?, 'reading', NULL, NULL, ?, ?)", (seq, text, before))
        for statement in FILL:
            db.execute(statement.format(half=SPECIMEN.format("(seq / 6 * 6)")))
        for statement in MORE:
            db.execute(statement.format(id=SPECIMEN.format("seq")))
        for _, sql in triggers:
            db.execute(sql)
        db.execute("COMMIT")
        db.execute("PRAGMA journal_mode = WAL")
    with path.open("rb") as file:
        os.fsync(file.fileno())


def specimen_id(number: int) -> str:
    """The id of the specimen with a number, as `SPECIMEN` spells it."""
    seq = number * 6
    return f"{seq >> 16:08x}-{seq & 65535:04x}-7000-8000-{seq:012x}"


#: What is looked up → its statement, and what it asks for given a number.
VIEWS: Mapping[str, tuple[str, Callable[[int], object]]] = {
    "floor: a row by its key": ("SELECT * FROM main.reading WHERE seq = ?", lambda n: n * 6),
    "specimens by id": ("SELECT * FROM specimens WHERE specimen_id = ?", specimen_id),
    "specimens by number": ("SELECT * FROM specimens WHERE number = ?", lambda n: n),
    "specimen of a container": (
        "SELECT s.* FROM containers c JOIN specimens s USING (specimen_id) WHERE c.number = ?",
        lambda n: f"K-{n:07d}",
    ),
    "containers by number": ("SELECT * FROM containers WHERE number = ?", lambda n: f"K-{n:07d}"),
    "containers by specimen": ("SELECT * FROM containers WHERE specimen_id = ?", specimen_id),
    "measurements by id": ("SELECT * FROM measurements WHERE specimen_id = ?", specimen_id),
    "measurements by number": ("SELECT * FROM measurements WHERE number = ?", lambda n: n),
    "codes by number": ("SELECT * FROM codes WHERE number = ?", lambda n: n),
    "findings by id": ("SELECT * FROM findings WHERE specimen_id = ?", specimen_id),
    "changes, the last 100": ("SELECT * FROM changes WHERE seq > ? LIMIT 100", lambda n: n * 6),
}


def readonly(path: Path) -> sqlite3.Connection:
    """As another program opens it."""
    return sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None)


def rows(db: sqlite3.Connection, sql: str, value: object) -> list[object]:
    """All that a statement finds."""
    return db.execute(sql, (value,)).fetchall()


def warm(path: Path) -> None:
    """The system's cache holds the whole file."""
    with path.open("rb", buffering=0) as file:
        while file.read(1 << 24):
            pass


def forget(path: Path) -> None:
    """The system's cache of the file is emptied."""
    with path.open("rb") as file:
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


Took = tuple[float, float]
"""Milliseconds by the clock, and of the processor."""


def timed(deed: Callable[[], object]) -> Took:
    """What doing it takes."""
    began, busy = time.perf_counter(), time.thread_time()
    deed()
    return (time.perf_counter() - began) * 1000, (time.thread_time() - busy) * 1000


def reads_so_far() -> int:
    """Read calls of this process (Linux)."""
    return int(Path("/proc/self/io").read_text().split()[5])


def told(name: str, took: list[Took], floor: float, more: str = "") -> float:
    """A line of the table; answers the slowest."""
    ms, busy = sorted(wall for wall, _ in took), max(cpu for _, cpu in took)
    p50, p99 = statistics.median(ms), ms[int(len(ms) * 0.99)]
    print(f"{name:34}{p50:9.3f}{p99:9.3f}{ms[-1]:9.3f}{busy:9.3f}   × {p50 / floor:.1f}{more}")
    return ms[-1]


def median(took: list[Took]) -> float:
    """Milliseconds by the clock."""
    return statistics.median(wall for wall, _ in took)


def measure(path: Path, specimens: int) -> float:
    """Print the table; answers the slowest look-up of all in ms."""
    pick = random.Random(1)
    numbers = [pick.randrange(1, specimens + 1) for _ in range(WARM)]
    slowest = 0.0
    print(f"\n{'ms':34}{'p50':>9}{'p99':>9}{'max':>9}{'busy':>9}   to the floor")
    warm(path)
    gc.disable()
    with closing(readonly(path)) as db:
        floor = 0.0
        for name, (sql, asks) in VIEWS.items():
            assert db.execute(sql, (asks(numbers[0]),)).fetchall() or name == "findings by id", name
            ms = [timed(partial(rows, db, sql, asks(n))) for n in numbers]
            floor = floor or median(ms)
            slowest = max(slowest, told(name, ms, floor))
    with Ledger.open(path, readonly=True) as ledger:
        deeds: Mapping[str, Callable[[int], object]] = {
            "bench: specimen by id": lambda n: ledger.records.get(("specimen", specimen_id(n))),
            "bench: specimen by number": ledger.records.numbered,
            "bench: container": lambda n: ledger.records.get(("container", f"K-{n:07d}")),
            "bench: measurements of": lambda n: ledger.records.measurements_of(specimen_id(n)),
            "bench: highest number of a block": lambda n: ledger.records.highest_number(1, n),
        }
        for name, deed in deeds.items():
            slowest = max(slowest, told(name, [timed(partial(deed, n)) for n in numbers], floor))
    print("cold")
    pages = []
    for _ in range(COLD):
        forget(path)
        with path.open("rb", buffering=0) as file:
            at = pick.randrange(path.stat().st_size // 4096) * 4096
            pages.append(timed(partial(os.pread, file.fileno(), 4096, at)))
    floor = median(pages)
    told("floor: a page from the file", pages, floor)
    for name, (sql, asks) in VIEWS.items():
        asked, opened, reads = [], [], 0
        for n in numbers[:COLD]:
            forget(path)
            began, busy = time.perf_counter(), time.thread_time()
            with closing(readonly(path)) as db:
                db.execute("SELECT count(*) FROM sqlite_master").fetchone()  # reads what is there, not what is in it
                before = reads_so_far()
                asked.append(timed(partial(rows, db, sql, asks(n))))
                reads = max(reads, reads_so_far() - before - 1)  # one is of the count itself
            opened.append(((time.perf_counter() - began) * 1000, (time.thread_time() - busy) * 1000))
        slowest = max(slowest, told(name, asked, floor, f"   {reads} reads"))
        told("   with the opening", opened, floor)
    gc.enable()
    return slowest


def main(specimens: int, folder: Path) -> None:
    path = folder / "ledger.db"
    if not path.exists():
        began = time.perf_counter()
        filled(path, specimens)
        print(f"{specimens:,} specimens, {path.stat().st_size / 2**30:.2f} GiB, in {time.perf_counter() - began:.0f} s")
    slowest = measure(path, specimens)
    print(f"\nthe slowest look-up took {slowest:.2f} ms; the goal is {GOAL_MS:.0f} ms at a million specimens")


if __name__ == "__main__":
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    if len(sys.argv) > 2:
        main(many, Path(sys.argv[2]).resolve())
    else:
        with tempfile.TemporaryDirectory() as made:
            main(many, Path(made))
