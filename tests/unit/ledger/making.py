"""Ledgers to look at, and ways to spoil them behind the program's back."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from tests.unit.ledger.samples import Survey
from thwart.bench.kernel import Bench
from thwart.bench.protocol import read
from thwart.bench.setup import Setup
from thwart.bench.state import Key, Object, Records
from thwart.entries import Entry
from thwart.ledger import Ledger


def filled(path: Path) -> Path:
    """A closed ledger with every kind of object in it."""
    with Ledger.create(path, "lake", "0190") as ledger:
        for entries, changed in Survey().everything():
            ledger.write(entries, changed)
        ledger.commit()
        ledger.define_specimens_view([("whole_mass", "g")])
        ledger.mark_presence("scale", "2026-05-01T08:00:00Z")
        ledger.snapshot('{"seq": 1}', ledger.next_seq - 1)
    return path


#: Folding asks no setup.
NOTHING = Setup("lake", read('name = "none"\nmeasurands = [{ name = "n", quantity = "length" }]', "none"), (), {})


def folding(entries: Iterator[Entry], records: Records) -> Iterator[Mapping[Key, Object | None]]:
    """The bench's own fold, of entries that don't begin with a configuration."""
    for _, changed in Bench(NOTHING, records).fold(entries):
        yield changed


def told(path: Path, entries: Iterable[Entry]) -> Path:
    """A closed ledger of a bench's entries, made as the program makes one again: the bench folds, the ledger stores."""
    with Ledger.create(path, "lake", "0190") as ledger:
        folded: dict[int, list[Entry]] = {}
        for entry in entries:
            folded.setdefault(entry.input_seq or entry.seq, []).append(entry)
        bench = Bench(NOTHING, ledger.records)
        for given, changed in bench.fold(e for group in folded.values() for e in group):
            ledger.write(folded[given.seq], changed)
        ledger.commit()
    return path


def spoil(path: Path, *statements: str) -> None:
    """Change the file as a stranger would: without the triggers, which are put back as they were."""
    with sqlite3.connect(path, isolation_level=None) as db:
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            db.execute(statement)
        for _, sql in triggers:
            db.execute(sql)
    db.close()


def dump(path: Path) -> list[str]:
    """Everything in the ledger as SQL."""
    db = sqlite3.connect(path)
    try:
        return [*db.iterdump(), str(db.execute("PRAGMA user_version").fetchone())]
    finally:
        db.close()
