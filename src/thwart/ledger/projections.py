"""Projections: what inputs changed, kept back until it is worth a statement, and the bench's questions about it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any

from thwart.bench.state import Key, Measurement, Object, Question, Specimen
from thwart.ledger.schema import PROJECTED, TABLES


class Projections:
    """The tables of one connection with what is still to be written to them. Raises sqlite3.Error.

    Many inputs share a commit when the queue is long, and most replace the same few objects: only the last of each
    becomes a statement. Tables are named without a schema, so temporary ones of the same names come first.

    `top` is the highest seq that may stand as a key in the tables: what is newer needs no look-up.
    """

    def __init__(self, db: sqlite3.Connection, top: int) -> None:
        self._db = db
        self.top = top
        self.pending: dict[Key, Object | None] = {}

    def update(self, changed: Mapping[Key, Object | None]) -> None:
        """Take in what an input changed; None removes."""
        self.pending.update(changed)

    def flush(self) -> None:
        """Write what is pending, passing over kinds without a table."""
        rows: dict[str, list[Sequence[Any]]] = {}
        for (kind, key), thing in self.pending.items():
            table = TABLES.get(kind)
            if table is None:
                continue
            if thing is None:
                self._db.execute(table.delete, (key,))
            else:
                rows.setdefault(kind, []).append(table.row(thing))
            if isinstance(key, int) and key > self.top:
                self.top = key
        for kind, some in rows.items():
            table = TABLES[kind]
            if self._db.executemany(table.upsert, some).rowcount != len(some) and table.whole:
                self._db.executemany(table.replace, some)
        self.pending = {}

    def find(self, kind: str, where: str, value: str | int) -> list[Any]:
        """Objects of a kind by a condition on stored rows; what is pending must have been flushed."""
        table = TABLES[kind]
        # All at once: a cursor left open would pin a state of the file and keep the log from being emptied.
        rows = self._db.execute(f"{table.select} WHERE {where}", (value,)).fetchall()
        return [table.thing(row) for row in rows]

    def highest_number(self, first: int, last: int) -> int | None:
        """The highest number in a range that a stored specimen bears, or None."""
        (found,) = self._db.execute(
            "SELECT max(number) FROM specimen WHERE number BETWEEN ? AND ?", (first, last)
        ).fetchone()
        return None if found is None else int(found)

    def get(self, key: Key) -> Object | None:
        """The object under a key, pending or stored."""
        if key in self.pending:
            return self.pending[key]
        kind, name = key
        if kind not in PROJECTED or (isinstance(name, int) and name > self.top):
            return None
        return next(iter(self.find(kind, f'"{TABLES[kind].key.name}" = ?', name)), None)


class LedgerRecords:
    """`bench.state.Records` over projections; sees what was written and isn't committed yet.

    Places, instruments and the desk can't be had back: `get` answers None for them unless they are pending. `flush`
    brings what is pending into the tables; errors are its caller's and `guard`'s to translate.
    """

    def __init__(
        self, projections: Projections, flush: Callable[[], None], guard: AbstractContextManager[None]
    ) -> None:
        self._projections = projections
        self._flush = flush
        self._guard = guard

    def get(self, key: Key) -> Object | None:
        """The object under a key, as last written, or None."""
        with self._guard:
            return self._projections.get(key)

    def numbered(self, number: int) -> str | None:
        """Id of the specimen that bears this number, or None."""
        return next((s.specimen_id for s in self._find("specimen", "number = ? ORDER BY rowid LIMIT 1", number)), None)

    def measurements_of(self, specimen_id: str) -> list[Measurement]:
        """All measurements ever given to it, in order of seq."""
        return self._find("measurement", "specimen_id = ? ORDER BY seq", specimen_id)

    def questions_of(self, specimen_id: str) -> list[Question]:
        """All findings about it, in order of seq."""
        return self._find("question", "specimen_id = ? ORDER BY seq", specimen_id)

    def specimens_of(self, batch: str) -> list[Specimen]:
        """The batch's specimens in order of opening."""
        return self._find("specimen", "batch = ? ORDER BY opened_seq", batch)

    def taught(self, kind: str, most: int) -> list[Specimen]:
        """The last specimens that taught something of a kind of fish, at most so many."""
        where = f"json_extract(taught, '$.kind') = ? ORDER BY rowid DESC LIMIT {int(most)}"
        return self._find("specimen", where, kind)

    def highest_number(self, first: int, last: int) -> int | None:
        """The highest number in a range that a specimen bears, or None."""
        self._flush()
        with self._guard:
            return self._projections.highest_number(first, last)

    def _find(self, kind: str, where: str, value: str | int) -> list[Any]:
        self._flush()
        with self._guard:
            return self._projections.find(kind, where, value)
