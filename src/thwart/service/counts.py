"""What a tally has counted, for the page: classes leave the bench's memory, so they are read from the ledger."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..errors import LedgerError


def tallied(path: Path, batches: Sequence[str]) -> list[dict[str, Any]]:
    """Species, sex, class (mm, its lower bound or nearest step) and n of these batches, practice too. Raises LedgerError."""
    query = """SELECT species, sex, CAST(class_mm AS REAL) AS class_mm, sum(n) AS n FROM tally
        WHERE batch IN (SELECT value FROM json_each(?)) AND n > 0 GROUP BY species, sex, 3 ORDER BY species, sex, 3"""
    try:
        with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=1.0)) as db:
            db.row_factory = sqlite3.Row
            return [dict(row) for row in db.execute(query, (json.dumps(batches),))]
    except sqlite3.Error as error:
        raise LedgerError(f"{path}: can't be read: {error}", "`thwart audit` looks into it") from None
