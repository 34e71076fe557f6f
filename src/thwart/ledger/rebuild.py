"""`rebuild` and `migrate`: projections and views made anew from the entries, in one transaction. Entries stay."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from thwart.errors import LedgerTooOld
from thwart.ledger import schema, views
from thwart.ledger.backup import backup
from thwart.ledger.connect import admitted, connect, deviations, measurands
from thwart.ledger.faults import Guard
from thwart.ledger.refold import Fold, Progress, differences, forget, newest, refold
from thwart.ledger.snapshots import packed


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What a rebuild did: how many entries it folded and how the tables before differed (empty: not at all)."""

    entries: int
    differences: tuple[str, ...]
    backup: Path | None = None


def rebuild(
    path: Path,
    fold: Fold,
    progress: Progress = lambda done, total: None,
    snapshot: Callable[[], str] | None = None,
) -> Rebuilt:
    """Make the projections again and put them in place of the old ones, all or nothing.

    `snapshot` is asked for the state at the end of the fold, so that the next start needn't fold again. Raises
    LedgerTooOld (`migrate` is the one for that), LedgerBusy while a service writes, LedgerError.
    """
    version = admitted(path)
    if version < schema.SCHEMA_VERSION:
        raise LedgerTooOld(f"{path} has tables of an older thwart", f"run `thwart migrate {path.parent}`")
    with Guard(path):
        return _remade(path, fold, progress, snapshot, compare=True)


def migrate(
    path: Path,
    fold: Fold,
    progress: Progress = lambda done, total: None,
    snapshot: Callable[[], str] | None = None,
) -> Rebuilt | None:
    """Bring projections and views to this version, after a backup beside the ledger. None where nothing was to do.

    Raises LedgerError and its kin; then the ledger is as it was, and the backup, if it was made, stays.
    """
    version = admitted(path)
    with Guard(path):
        db = connect(path, "ro")
        try:
            if version == schema.SCHEMA_VERSION and not deviations(db):
                return None
        finally:
            db.close()
        kept = _free_name(path.with_name(f"{path.stem}-before-migration-from-{version}{path.suffix}"))
        backup(path, kept, progress)
        made = _remade(path, fold, progress, snapshot, compare=False)
    return Rebuilt(made.entries, (), kept)


def _remade(
    path: Path, fold: Fold, progress: Progress, snapshot: Callable[[], str] | None, *, compare: bool
) -> Rebuilt:
    db = connect(path, "rw")
    try:
        db.execute("BEGIN IMMEDIATE")
        refold(db, fold, progress)
        comparable = compare and not set(deviations(db)) & set(schema.TABLES)
        found = differences(db) if comparable else []
        _replace(db)
        last = newest(db)
        if snapshot is not None and last:
            db.execute("INSERT INTO snapshot VALUES (?, ?)", (last, packed(snapshot())))
        db.execute("COMMIT")
        return Rebuilt(last, tuple(found))
    finally:
        # An open transaction goes with the connection.
        db.close()


def _replace(db: sqlite3.Connection) -> None:
    """Drop what can be made again and make it, filled from the temporary tables."""
    present = dict(db.execute("SELECT name, type FROM main.sqlite_master WHERE name NOT LIKE 'sqlite_%'"))
    for name in views.NAMES:
        if present.get(name) == "view":
            db.execute(f"DROP VIEW main.{name}")
    for name in schema.ENTRY_TRIGGERS:
        if name in present:
            db.execute(f"DROP TRIGGER main.{name}")
    for kind in schema.TABLES:
        if kind in present:
            db.execute(f"DROP TABLE main.{kind}")
        db.execute(schema.TABLES[kind].create)
        db.execute(f"INSERT INTO main.{kind} SELECT * FROM temp.{kind}")
    forget(db)  # from here on the names mean the lasting tables
    for name, sql in schema.statements().items():
        if name not in schema.TABLES and (name not in present or name in schema.projections() or "TRIGGER" in sql):
            db.execute(sql)
    # A snapshot of another version, or of other projections, may not fit what stands here now.
    db.execute("DELETE FROM snapshot")
    for sql in views.statements(measurands(db)).values():
        db.execute(sql)
    db.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION}")


def _free_name(path: Path) -> Path:
    """The path, or with a number where it is taken."""
    tried, n = path, 1
    while tried.exists():
        n += 1
        tried = path.with_name(f"{path.stem}-{n}{path.suffix}")
    return tried
