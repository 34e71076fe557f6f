"""Makes a ledger of an earlier table version (0) out of a current one: python -m tests.unit.ledger.old_ledger FILE

Version 0 never was published; it stands for any earlier one. Its specimens have no `given`, its questions another key,
there are no containers, and its views are fewer. Entries are what they are in every version.
"""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path

STATEMENTS = (
    "DROP VIEW specimens",
    "DROP VIEW containers",
    "DROP VIEW findings",
    "ALTER TABLE specimen DROP COLUMN given",
    "CREATE VIEW specimens AS SELECT specimen_id, number FROM specimen",
    "DROP TABLE container",
    "DROP TABLE question",
    "CREATE TABLE question (id TEXT PRIMARY KEY, words TEXT)",
    "INSERT INTO question VALUES ('q1', 'is it?')",
    "DROP INDEX measurement_specimen_id",
    "DROP TABLE presence",
    "CREATE TABLE presence (instrument TEXT PRIMARY KEY, last_frame_utc TEXT NOT NULL)",
    "INSERT INTO presence VALUES ('scale', '2026-05-01T08:00:00Z')",
    "PRAGMA user_version = 0",
)


def age(path: Path) -> None:
    """Change the ledger at `path` into one of version 0."""
    db = sqlite3.connect(path, isolation_level=None)
    for view in ("codes", "batches", "mends", "measurements", "readings", "instruments"):
        db.execute(f"DROP VIEW IF EXISTS {view}")
    for statement in STATEMENTS:
        db.execute(statement)
    db.close()


if __name__ == "__main__":
    age(Path(sys.argv[1]))
