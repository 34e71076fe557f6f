"""The lead's tables: rows of the ledger's views, read through a connection of their own and let go at once."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import LedgerError
from ..ledger.views import column_name

#: Rows of each table at most, the latest ones.
MOST = 2000


def day(path: Path) -> dict[str, Any]:
    """Fish, findings, mends and batches, the latest first. Raises LedgerError."""
    try:
        with sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=2.0) as db:
            db.row_factory = sqlite3.Row
            return {
                "fish": _rows(db, "SELECT * FROM specimens ORDER BY number DESC LIMIT ?"),
                "findings": _rows(
                    db, "SELECT f.*, s.number, json_extract(e.data, '$.body.args') AS args FROM findings f JOIN entry e USING (seq) "
                    "LEFT JOIN specimens s ON s.specimen_id = f.specimen_id ORDER BY f.seq DESC LIMIT ?"
                ),
                "mends": _rows(
                    db, "SELECT m.*, s.number FROM mends m LEFT JOIN specimens s USING (specimen_id) ORDER BY m.seq DESC LIMIT ?"
                ),
                "batches": _rows(db, "SELECT * FROM batches ORDER BY opened_utc DESC LIMIT ?"),
            }  # fmt: skip
    except sqlite3.Error as error:
        raise LedgerError(f"{path}: can't be read: {error}", "`thwart audit` looks into it") from None
    finally:
        if "db" in locals():
            db.close()


def lengths(fish: Sequence[Mapping[str, Any]], measurand: str) -> dict[str, tuple[float, float]]:
    """Species → its smallest and largest length among the day's fish, mm."""
    column = column_name(measurand, "mm")
    of: dict[str, list[float]] = {}
    for row in fish:
        if row["species"] is not None and (row[column] or 0) > 0:
            of.setdefault(row["species"], []).append(row[column])
    return {species: (min(found), max(found)) for species, found in of.items()}


def _rows(db: sqlite3.Connection, query: str) -> list[dict[str, Any]]:
    return [dict(row) for row in db.execute(query, (MOST,))]
