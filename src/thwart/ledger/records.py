"""The bench's questions about the past, answered from the projections by index."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from thwart.bench.state import Key, Measurement, Object, Question, Specimen
from thwart.ledger.faults import Guard
from thwart.ledger.schema import TABLES


class LedgerRecords:
    """`bench.state.Records` over a ledger's connection; sees what that connection wrote and didn't commit yet.

    `flush` is called before each question. Places and the desk have no table, so `get` answers None for them. Raises
    LedgerError where the file can't be read.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, flush: Callable[[], None] = lambda: None) -> None:
        self._db = connection
        self._flush = flush
        self._guard = Guard(path)

    def get(self, key: Key) -> Object | None:
        """The object under a key, as last stored, or None."""
        kind, name = key
        if kind not in TABLES:
            return None
        found: Iterator[Object] = self._things(kind, f'"{TABLES[kind].key.name}" = ?', name)
        return next(found, None)

    def numbered(self, number: int) -> str | None:
        """Id of the specimen that bears this number, or None."""
        found: Iterator[Specimen] = self._things("specimen", "number = ? ORDER BY rowid LIMIT 1", number)
        return next((s.specimen_id for s in found), None)

    def measurements_of(self, specimen_id: str) -> Iterator[Measurement]:
        """All measurements ever given to it, in order of seq."""
        return self._things("measurement", "specimen_id = ? ORDER BY seq", specimen_id)

    def questions_of(self, specimen_id: str) -> Iterator[Question]:
        """All findings about it, in order of seq."""
        return self._things("question", "specimen_id = ? ORDER BY seq", specimen_id)

    def specimens_of(self, batch: str) -> Iterator[Specimen]:
        """The batch's specimens in order of opening."""
        return self._things("specimen", "batch = ? ORDER BY opened_seq", batch)

    def _things(self, kind: str, where: str, value: str | int) -> Iterator[Any]:
        self._flush()
        table = TABLES[kind]
        with self._guard:
            # All at once: a cursor left open would pin a state of the file and keep the log from being emptied.
            rows = self._db.execute(f"{table.select} WHERE {where}", (value,)).fetchall()
        return map(table.thing, rows)
