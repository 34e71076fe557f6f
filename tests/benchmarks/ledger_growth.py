"""Does a long ledger cost more than an empty one? python -m tests.benchmarks.ledger_growth [READINGS [FOLDER]]

Fills a ledger with READINGS readings (ten million unless told otherwise; about 1 KiB of disk each) by plain SQL, then
writes the same survey to it and to an empty one, in turns, an input a commit, and compares what a commit costs. Then
looks up what the bench and people look up. The filled entries' hashes are not a chain but for the last ones.
"""

from __future__ import annotations

import os
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.unit.ledger.samples import Input, Survey
from thwart.entries import Entry, Stamp, canonical_text, chained
from thwart.ledger import Ledger

INPUTS = 3000
LOOK_UPS = 300
#: Entries of the filled ledger whose hashes fit, as opening looks at the last ones.
FITTING = 70


def specimen_id(seq: int) -> str:
    """As the survey makes them, so that the order of ids is the order of time."""
    return f"{seq:012x}"[:8] + "-" + f"{seq:012x}"[8:] + f"-7000-8000-{seq:012x}"


SPECIMEN = "printf('%08x-%04x-7000-8000-%012x', {0} >> 16, {0} & 65535, {0})"

FILL = (
    """INSERT INTO reading (seq, instrument, place, raw, value, unit, base_value, condition, settled, spread, samples,
         zero_before, plateau, arrived_utc, arrived_ns, done_utc, arrived_after_seq, outcome, specimen_id)
       SELECT seq, 'scale', 'table', 'ST,GS,   412.5,g', '412.5', 'g', '412.5', 'ok', 'mark', '0.1', 9, '0.0', 1,
         '2026-05-01T08:00:00.000Z', seq, '2026-05-01T08:00:01.000Z', seq - 1, 'taken', {half}
       FROM entry WHERE seq % 3 = 0""",
    """INSERT INTO measurement (seq, specimen_id, number, measurand, value, unit, raw_value, raw_unit, status, verdict,
         place, instrument, how, zero_before, zero_after, taken_utc, reading_seq, practice)
       SELECT seq + 1, {half}, seq / 6, 'whole_mass', '412.5', 'g', '412.5', 'g', 'stands', 1, 'table', 'scale',
         'instrument', '0.0', '0.0', '2026-05-01T08:00:01.000Z', seq, 0
       FROM entry WHERE seq % 3 = 0""",
    """INSERT INTO specimen (specimen_id, number, batch, species, state, "end", place, opened_seq, opened_utc, practice,
         provisional, "values", missing, codes, containers, worst_verdict, given)
       SELECT {half}, seq / 6, 'lake-' || (seq / 3000), 'perch', 'closed', 'complete', 'table', seq,
         '2026-05-01T08:00:00.000Z', 0, 0, '{{"whole_mass":' || (seq + 1) || '}}', '{{}}', '{{}}', '[]', 1, 2
       FROM entry WHERE seq % 6 = 0""",
)


def filled(path: Path, readings: int) -> None:
    """A ledger of so many readings, two a fish, three entries each."""
    Ledger.create(path, "long", "id").close()
    db = sqlite3.connect(path, isolation_level=None)
    for pragma in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -200000"):
        db.execute(f"PRAGMA {pragma}")
    triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        db.execute(f"DROP TRIGGER {name}")
    last = readings * 3 // 6 * 6
    db.execute("BEGIN")
    db.execute(
        """INSERT INTO entry SELECT value, 'reading', NULL, NULL,
             '{"at":"2026-05-01T08:00:00.000Z","body":{"raw":"ST,GS,   412.5,g","evidence":[[0,"US,GS,   112.0,g"],'
             || '[200,"US,GS,   398.5,g"],[400,"ST,GS,   412.5,g"]],"settled":"mark","spread":"0.1"},"input":null}',
             zeroblob(32)
           FROM (WITH RECURSIVE n(value) AS (SELECT 1 UNION ALL SELECT value + 1 FROM n LIMIT ?) SELECT value FROM n)""",
        (last - FITTING,),
    )
    before = bytes(32)
    for seq in range(last - FITTING + 1, last + 1):
        text = canonical_text(Entry(seq, "reading", None, None, Stamp("2026-05-01T08:00:00.000Z", seq, "b", True), {}))
        before = chained(before, text.encode())
        db.execute("INSERT INTO entry VALUES (?, 'reading', NULL, NULL, ?, ?)", (seq, text, before))
    for statement in FILL:
        db.execute(statement.format(half=SPECIMEN.format("(seq / 6 * 6)")))
    for _, sql in triggers:
        db.execute(sql)
    db.execute("COMMIT")
    db.execute("PRAGMA journal_mode = WAL")
    db.close()
    with path.open("rb") as file:
        os.fsync(file.fileno())


def costs(ledgers: list[tuple[Ledger, list[Input]]]) -> list[list[tuple[float, float]]]:
    """(wall, processor) seconds of each commit, for each ledger, written in turns so that the disk's moods are shared."""
    found: list[list[tuple[float, float]]] = [[] for _ in ledgers]
    for i in range(INPUTS):
        for (ledger, inputs), times in zip(ledgers, found, strict=True):
            wall, processor = time.perf_counter(), time.process_time()
            ledger.write(*inputs[i])
            ledger.commit()
            times.append((time.perf_counter() - wall, time.process_time() - processor))
    return found


def survey(seq: int) -> list[Input]:
    """So many inputs of a survey that goes on after the ledger's last entry."""
    made = Survey(seq)
    made.number = seq
    inputs = [made.start(), made.open_batch("now")]
    for one in made.fishes(INPUTS):
        inputs.append(one)
        if len(inputs) == INPUTS:
            break
    return inputs


def look_ups(ledger: Ledger, top: int) -> None:
    """Print what each kind of look-up takes at worst."""
    chance = random.Random(1)
    db = sqlite3.connect(f"{ledger.path.as_uri()}?mode=ro", uri=True)

    def view(sql: str) -> Callable[[int], object]:
        return lambda n: db.execute(sql, (specimen_id(n * 6) if "_id" in sql else n,)).fetchall()

    asked: dict[str, Callable[[int], object]] = {
        "records: specimen by id": lambda n: ledger.records.get(("specimen", specimen_id(n * 6))),
        "records: specimen by number": ledger.records.numbered,
        "records: its measurements": lambda n: list(ledger.records.measurements_of(specimen_id(n * 6))),
        "records: reading by seq": lambda n: ledger.records.get(("reading", n * 6)),
        "records: specimens of a batch (500)": lambda n: list(ledger.records.specimens_of(f"lake-{n * 6 // 3000}")),
        "view specimens by number": view("SELECT * FROM specimens WHERE number = ?"),
        "view measurements by number": view("SELECT * FROM measurements WHERE number = ?"),
        "view measurements by specimen_id": view("SELECT * FROM measurements WHERE specimen_id = ?"),
    }
    print("\n| look-up | median | worst of 300 |\n| --- | ---: | ---: |")
    for name, ask in asked.items():
        took = []
        for _ in range(LOOK_UPS):
            n = chance.randrange(1, top)
            began = time.perf_counter()
            found = ask(n)
            took.append((time.perf_counter() - began) * 1000)
            assert found, (name, n)
        print(f"| {name} | {statistics.median(took):.2f} ms | {max(took):.2f} ms |")
    db.close()


def main() -> None:
    """Print the comparison."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as folder:
        long, empty = Path(folder) / "long.db", Path(folder) / "empty.db"
        began = time.perf_counter()
        filled(long, readings)
        size = long.stat().st_size / 2**30
        print(f"filled with {readings:,} readings ({size:.1f} GiB) in {time.perf_counter() - began:.0f} s")
        Ledger.create(empty, "empty", "id").close()
        began = time.perf_counter()
        big = Ledger.open(long)
        print(f"opened in {(time.perf_counter() - began) * 1000:.1f} ms")
        with big, Ledger.open(empty) as small:
            top = (big.next_seq - 1) // 6
            a, b = costs([(small, survey(small.next_seq)), (big, survey(big.next_seq))])
            print("\n| a commit | empty | long | long / empty |\n| --- | ---: | ---: | ---: |")
            for name, i in (("wall", 0), ("processor", 1)):
                for what, of in (("median", statistics.median), ("mean", statistics.fmean)):
                    x, y = of([t[i] for t in a]), of([t[i] for t in b])
                    print(f"| {name}, {what} | {x * 1e6:.0f} µs | {y * 1e6:.0f} µs | {y / x:.3f} |")
            look_ups(big, top)


if __name__ == "__main__":
    main()
