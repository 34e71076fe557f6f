"""Projections made again from the entries, beside the ones that stand: what `audit`, `rebuild` and `migrate` share."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import nullcontext
from typing import Final

from thwart.bench.state import Key, Object, Records
from thwart.entries import Entry, parsed
from thwart.ledger.projections import LedgerRecords, Projections
from thwart.ledger.schema import TABLES

#: The bench's fold: from recorded entries, in order, to what each input changed. `Records` is the past it may ask.
Fold = Callable[[Iterator[Entry], Records], Iterator[Mapping[Key, Object | None]]]

#: Told how many of how many entries are done.
Progress = Callable[[int, int], None]

_CHUNK: Final = 500
_FLUSHED_AT: Final = 2000


def stored(db: sqlite3.Connection, progress: Progress) -> Iterator[Entry]:
    """Every entry in order, telling the progress. Raises ValueError where one can't be read."""
    total = newest(db)
    after = 0
    while rows := db.execute("SELECT seq, data FROM main.entry WHERE seq > ? LIMIT ?", (after, _CHUNK)).fetchall():
        for seq, text in rows:
            yield parsed(text)
            after = seq
        progress(after, total)


def newest(db: sqlite3.Connection) -> int:
    """The last seq, 0 in an empty ledger."""
    return int(db.execute("SELECT coalesce(max(seq), 0) FROM main.entry").fetchone()[0])


def refold(db: sqlite3.Connection, fold: Fold, progress: Progress) -> None:
    """Fill temporary tables, named as the projections are, with what the entries make. Raises sqlite3.Error.

    Temporary tables come before the others of the same name until `forget` drops them.
    """
    for table in TABLES.values():
        db.execute(table.create_temp)
        for name, sql in table.indexes.items():
            db.execute(sql.replace(f"CREATE INDEX {name}", f"CREATE INDEX temp.{name}"))
    projections = Projections(db, 0)
    records = LedgerRecords(projections, projections.flush, nullcontext())
    for changed in fold(stored(db, progress), records):
        projections.update(changed)
        if len(projections.pending) > _FLUSHED_AT:
            projections.flush()
    projections.flush()


def forget(db: sqlite3.Connection) -> None:
    """Drop the temporary tables."""
    for kind in TABLES:
        db.execute(f"DROP TABLE IF EXISTS temp.{kind}")


def differences(db: sqlite3.Connection) -> list[str]:
    """What stands in the projections and not in the refold, or the other way; a line per object, at most ten a kind."""
    found: list[str] = []
    for kind, table in TABLES.items():
        for side, here, there in (("stored", "main", "temp"), ("refolded", "temp", "main")):
            rows = db.execute(f"SELECT * FROM {here}.{kind} EXCEPT SELECT * FROM {there}.{kind} LIMIT 10").fetchall()
            found += [f"{kind} {row[0]}: {side} as {_told(table.columns, row)}" for row in rows]
    return found


def _told(columns: tuple[object, ...], row: tuple[object, ...]) -> str:
    names = (getattr(column, "name", "") for column in columns)
    return ", ".join(f"{name} {value!r}" for name, value in zip(names, row, strict=True) if value is not None)
