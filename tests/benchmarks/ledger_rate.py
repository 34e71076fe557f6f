"""How fast does the ledger take a long queue? python -m tests.benchmarks.ledger_rate

The real bench's decisions on a survey (two readings in six inputs), 256 inputs a commit as in a replay. The floor is the
same number of rows of the same bytes inserted by one statement each into one table, with the same commits.
"""

from __future__ import annotations

import sqlite3
import tempfile
import time
from pathlib import Path

from tests.benchmarks.ledger_stream import played
from thwart.entries import canonical_text
from thwart.ledger import Ledger

FISH = 2000
AT_ONCE = 256


def main() -> None:
    """Print the table; each is the best of three runs."""
    stream = played(FISH)
    readings = FISH * 2
    entries = sum(len(e) for e, _ in stream)
    texts = [[(e.seq, canonical_text(e)) for e in some] for some, _ in stream]
    ours, floor = [], []
    for _ in range(3):
        with tempfile.TemporaryDirectory() as folder:
            with Ledger.create(Path(folder) / "ledger.db", "bench", "id") as ledger:
                began = time.perf_counter(), time.process_time()
                for i, (some, changed) in enumerate(stream):
                    ledger.write(some, changed)
                    if i % AT_ONCE == AT_ONCE - 1:
                        ledger.commit()
                ledger.commit()
                ours.append((time.perf_counter() - began[0], time.process_time() - began[1]))
            db = sqlite3.connect(Path(folder) / "floor.db", isolation_level=None)
            db.execute("PRAGMA journal_mode = WAL")
            db.execute("CREATE TABLE line (seq INTEGER PRIMARY KEY, text TEXT)")
            began = time.perf_counter(), time.process_time()
            db.execute("BEGIN")
            for i, rows in enumerate(texts):
                for row in rows:
                    db.execute("INSERT INTO line VALUES (?, ?)", row)
                if i % AT_ONCE == AT_ONCE - 1:
                    db.execute("COMMIT")
                    db.execute("BEGIN")
            db.execute("COMMIT")
            floor.append((time.perf_counter() - began[0], time.process_time() - began[1]))
            db.close()
    print(f"{readings} readings, {len(stream) / readings:.2f} inputs and {entries / readings:.2f} entries each\n")
    print("| | readings a second | wall per reading | processor per reading | processor per input |")
    print("| --- | ---: | ---: | ---: | ---: |")
    for name, runs in (("ledger", ours), ("floor", floor)):
        wall, processor = min(r[0] for r in runs), min(r[1] for r in runs)
        print(f"| {name} | {readings / wall:,.0f} | {wall / readings * 1e6:.0f} µs | {processor / readings * 1e6:.0f} µs | "
              f"{processor / len(stream) * 1e6:.0f} µs |")  # fmt: skip


if __name__ == "__main__":
    main()
