"""The one writer: entries and projections in one transaction, durable when `commit` returns."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from thwart.bench.state import Key, Object
from thwart.entries import ORIGIN, Entry, Stamp, canonical_text, chained, parsed
from thwart.errors import LedgerError
from thwart.ledger import schema, views
from thwart.ledger.connect import PAGE_SIZE, admitted, connect, measurands, refuse_old, sync_folder
from thwart.ledger.faults import Guard, LedgerCorrupt
from thwart.ledger.projections import LedgerRecords, Projections
from thwart.ledger.snapshots import packed, unpacked

_INSERT_ENTRY: Final = "INSERT INTO entry (seq, kind, input_seq, specimen_id, data, hash) VALUES (?, ?, ?, ?, ?, ?)"

#: How many of the last entries are checked against their hashes at start: enough to see a torn end, at no cost.
_CHECKED_AT_START: Final = 64

#: Commits after which an idle moment is used to copy the log into the database.
_COMMITS_BEFORE_IDLE_CHECKPOINT: Final = 600

#: Entries kept back at most before SQLite gets them: bounds memory while a long queue shares one commit.
_FLUSHED_AT: Final = 2000

#: Entries read at once: bounds memory, and no cursor stays open between them.
_CHUNK: Final = 500


class Ledger:
    """A bench's ledger, opened by its one writer or read-only.

    `write` what the bench decided, once per input; `commit` when the queue is drained; announce after that. Any error
    rolls back everything since the last commit, so the same batch can be written again.

    Attributes: `path`; `next_seq`, the seq the next entry must have; `last_stamp`, the clocks of the last entry (None
    in an empty ledger); `last_hash`; `records`, the bench's view of the past; `busy_since`, when another program's lock
    first held up the writer (`time.monotonic` seconds, None when nothing does).
    """

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path = path
        self.busy_since: float | None = None
        self._db = db
        self._guard = Guard(path)
        self._commits = 0
        self._rows: list[tuple[Any, ...]] = []  # entries not yet handed to SQLite
        with self._guard:
            self._head = self._read_head()
            self._data_version = self._read_data_version()
        self.next_seq, self.last_hash, self.last_stamp = self._head
        self._projections = Projections(db, self.next_seq - 1)
        self.records = LedgerRecords(self._projections, self._flush, self._guard)

    # -- making and opening --------------------------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path, bench_name: str, bench_id: str) -> Ledger:
        """Make an empty ledger and open it for writing. Raises LedgerError; an existing file is never touched."""
        if path.exists():
            raise LedgerError(f"{path} exists already", "a ledger is never overwritten; choose another folder")
        # Made under another name: a crash half-way must not leave something that looks like a ledger.
        unfinished = path.with_name(path.name + ".new")
        with Guard(path):
            try:
                unfinished.unlink(missing_ok=True)
                with contextlib.closing(connect(unfinished, "rwc")) as db:
                    create_tables(db, bench_name, bench_id)
                unfinished.rename(path)
            except OSError as fault:
                raise LedgerError(
                    f"{path} can't be made: {fault.strerror}", f"look at the folder {path.parent}"
                ) from fault
            sync_folder(path.parent)
        return cls.open(path)

    @classmethod
    def open(cls, path: Path, *, readonly: bool = False) -> Ledger:
        """Open a ledger. Costs the same however long it is.

        Raises LedgerTooOld (`thwart migrate` first), LedgerTooNew (untouched), LedgerError and its kin: no such file,
        LedgerForeign, LedgerReadOnly, LedgerCorrupt, LedgerBusy.
        """
        version = admitted(path)
        with Guard(path):
            db = connect(path, "ro" if readonly else "rw")
            try:
                refuse_old(path, version, db)
                if not readonly:
                    # Writes nothing, but a file, folder or lock that forbids writing says so now.
                    db.execute("BEGIN IMMEDIATE")
                    db.execute("ROLLBACK")
                    (journal,) = db.execute("PRAGMA journal_mode = WAL").fetchone()
                    if journal != "wal":
                        raise LedgerError(
                            f"{path} stands on a file system that can't share memory between programs",
                            "move the bench folder to a local disk (network shares won't do)",
                        )
                return cls(path, db)
            except BaseException:
                db.close()
                raise

    def close(self) -> None:
        """Give up what isn't committed, and let go of the file."""
        with self._guard:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, tb: TracebackType | None) -> None:
        self.close()

    # -- writing ---------------------------------------------------------------------------------------------------

    def write(self, entries: Sequence[Entry], changed: Mapping[Key, Object | None]) -> None:
        """Add one input's entries and the objects they changed (None removes) to the open transaction.

        Begins one where there is none. Raises LedgerBusy after a quarter second of waiting for another program's lock,
        LedgerError for the rest, ValueError or TypeError for entries that don't follow or can't be written; after any
        of them everything since the last commit is rolled back.
        """
        try:
            if not self._db.in_transaction:
                with self._guard:
                    self._begin()
            seq, before = self.next_seq, self.last_hash
            for entry in entries:
                if entry.seq != seq:
                    raise ValueError(f"entry {entry.seq} can't follow entry {seq - 1}")
                text = canonical_text(entry)
                before = chained(before, text.encode())
                self._rows.append((seq, entry.kind, entry.input_seq, entry.specimen_id, text, before))
                seq += 1
        except BaseException:
            self.rollback()
            raise
        self._projections.update(changed)
        if entries:
            self.next_seq, self.last_hash, self.last_stamp = seq, before, entries[-1].stamp
        if len(self._rows) > _FLUSHED_AT:
            self._flush()

    def commit(self) -> None:
        """Make what was written durable: when this returns it is on the disk. Raises as `write` does."""
        if not self._db.in_transaction:
            return
        self._flush()
        try:
            with self._guard:
                self._db.execute("COMMIT")
        except BaseException:
            self.rollback()
            raise
        self._head = (self.next_seq, self.last_hash, self.last_stamp)
        self._commits += 1

    def rollback(self) -> None:
        """Forget everything since the last commit. Raises nothing."""
        self._rows, self._projections.pending = [], {}
        # SQLite may have rolled back by itself, and what it says about a broken disk was told already.
        if self._db.in_transaction:
            with contextlib.suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
        self.next_seq, self.last_hash, self.last_stamp = self._head

    def snapshot(self, state: str, seq: int) -> None:
        """Commit the service's state after entry `seq`, with what was written before; the last two are kept."""
        try:
            with self._guard:
                self._begin()
                self._db.execute("INSERT OR REPLACE INTO snapshot (seq, state) VALUES (?, ?)", (seq, packed(state)))
                self._db.execute(
                    "DELETE FROM snapshot WHERE seq NOT IN (SELECT seq FROM snapshot ORDER BY seq DESC LIMIT 2)"
                )
        except BaseException:
            self.rollback()
            raise
        self.commit()

    def mark_presence(self, instrument: str, last_frame_utc: str) -> None:
        """Commit when an instrument was last heard. For the `instruments` view only: call it rarely."""
        try:
            with self._guard:
                self._begin()
                self._db.execute("INSERT OR REPLACE INTO presence VALUES (?, ?)", (instrument, last_frame_utc))
        except BaseException:
            self.rollback()
            raise
        self.commit()

    def define_specimens_view(self, columns: Iterable[tuple[str, str]]) -> bool:
        """Give each (measurand key, unit) a column in the `specimens` view, in a commit of its own.

        Columns of earlier protocols stay. Answers whether anything was new. Raises ValueError where two keys would
        share a column, LedgerError as `write` does.
        """
        self.commit()
        try:
            with self._guard:
                known = measurands(self._db)
                new = [c for c in dict.fromkeys(columns) if c not in known]
                if not new:
                    return False
                names: dict[str, str] = {}
                for key, unit in known + new:
                    name = views.column_name(key, unit)
                    if names.setdefault(name, key) != key:
                        raise ValueError(f"{names[name]} and {key} would share the column {name} of `specimens`")
                self._begin()
                self._db.executemany("INSERT INTO specimen_column VALUES (?, ?)", new)
                self._db.execute("DROP VIEW specimens")
                self._db.execute(views.statements(known + new)["specimens"])
        except BaseException:
            self.rollback()
            raise
        self.commit()
        return True

    def checkpoint_when_idle(self) -> None:
        """Call when nothing waits: copies the log into the database if a good deal has gathered, never waiting."""
        if self._commits >= _COMMITS_BEFORE_IDLE_CHECKPOINT and not self._db.in_transaction:
            with self._guard:
                self._db.execute("PRAGMA wal_checkpoint(PASSIVE)")
            self._commits = 0

    # -- reading ---------------------------------------------------------------------------------------------------

    def entries(self, after_seq: int = 0) -> Iterator[Entry]:
        """Entries after a seq, in order. Raises LedgerCorrupt where one can't be read."""
        while True:
            self._flush()
            with self._guard:
                rows = self._db.execute(
                    "SELECT seq, data FROM entry WHERE seq > ? ORDER BY seq LIMIT ?", (after_seq, _CHUNK)
                ).fetchall()
            if not rows:
                return
            for after_seq, text in rows:
                yield self._entry(after_seq, text)

    def inputs_of(self, specimen_id: str, after_seq: int) -> list[int]:
        """Inputs after a seq that something was decided of a specimen by, in order."""
        self._flush()
        with self._guard:
            rows = self._db.execute(
                "SELECT DISTINCT input_seq FROM entry WHERE seq > ? AND specimen_id = ? ORDER BY input_seq",
                (after_seq, specimen_id),
            ).fetchall()
        return [int(seq) for (seq,) in rows]

    def load_snapshot(self, before: int | None = None) -> tuple[int, str] | None:
        """The last snapshot as (seq, state), or the one before the one of `before`; None where there is none.

        Raises LedgerCorrupt where it can't be read.
        """
        with self._guard:
            row = self._db.execute(
                "SELECT seq, state FROM snapshot WHERE seq < ? ORDER BY seq DESC LIMIT 1",
                (self.next_seq if before is None else before,),
            ).fetchone()
        if row is None:
            return None
        try:
            return row[0], unpacked(row[1])
        except ValueError as fault:
            raise LedgerCorrupt(
                f"{self.path} is damaged: snapshot {row[0]} can't be read ({fault})",
                "`thwart rebuild` makes a new one from the entries; `thwart audit` says what else is damaged",
            ) from fault

    def identity(self) -> tuple[str, str]:
        """The bench's name and id."""
        with self._guard:
            name, bench_id = self._db.execute("SELECT bench_name, bench_id FROM identity").fetchone()
        return name, bench_id

    def wal_bytes(self) -> int:
        """Size of the log beside the file. Far above `LOG_LIMIT` means: a reader doesn't let go."""
        try:
            return os.stat(f"{self.path}-wal").st_size  # noqa: PTH116
        except OSError:
            return 0

    # -- inside ----------------------------------------------------------------------------------------------------

    def _begin(self) -> None:
        if self._db.in_transaction:
            return
        try:
            self._db.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as fault:
            if fault.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY and self.busy_since is None:
                self.busy_since = time.monotonic()
            raise
        self.busy_since = None
        data_version = self._read_data_version()
        if data_version != self._data_version:
            # Another program committed. That is fine for a rebuild, not for entries: there is one writer.
            head = self._read_head()
            if head[:2] != self._head[:2]:
                raise LedgerError(
                    f"another program added entries to {self.path} while this one was running",
                    "stop the other one; then start this one again",
                )
            self._data_version = data_version

    def _flush(self) -> None:
        """Hand what was written to SQLite, within the open transaction."""
        if not (self._rows or self._projections.pending):
            return
        try:
            with self._guard:
                self._db.executemany(_INSERT_ENTRY, self._rows)
                self._projections.flush()
        except BaseException:
            self.rollback()
            raise
        self._rows = []

    def _read_data_version(self) -> int:
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def _read_head(self) -> tuple[int, bytes, Stamp | None]:
        rows = self._db.execute(
            "SELECT seq, data, hash FROM entry ORDER BY seq DESC LIMIT ?", (_CHECKED_AT_START + 1,)
        ).fetchall()
        if not rows:
            return 1, ORIGIN, None
        rows.reverse()
        before = ORIGIN if rows[0][0] == 1 else None
        for seq, text, stored in rows:
            if before is not None and chained(before, text.encode()) != stored:
                raise LedgerCorrupt(
                    f"{self.path} is damaged: entry {seq} doesn't fit its hash",
                    "keep the file as it is, see what `thwart audit` says of it, and go on with the last backup",
                )
            before = stored
        seq, text, stored = rows[-1]
        return seq + 1, stored, self._entry(seq, text).stamp

    def _entry(self, seq: int, text: str) -> Entry:
        try:
            return parsed(text)
        except ValueError as fault:
            raise LedgerCorrupt(
                f"{self.path} is damaged: entry {seq} is {fault}",
                "keep the file as it is, see what `thwart audit` says of it, and go on with the last backup",
            ) from fault


def create_tables(db: sqlite3.Connection, bench_name: str, bench_id: str) -> None:
    """Everything an empty ledger holds, into a new file. Raises sqlite3.Error."""
    db.execute(f"PRAGMA page_size = {PAGE_SIZE}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("BEGIN IMMEDIATE")
    for statement in [*schema.statements().values(), *views.statements(()).values()]:
        db.execute(statement)
    db.execute("INSERT INTO identity VALUES (?, ?)", (bench_name, bench_id))
    db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION}")
    db.execute("COMMIT")
