"""Tables: `entry`, and one projection per kind of object, its columns being the object's fields.

Everything but `entry` can be made again from it. Tables and columns are ours to change; other programs read the views.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, Final

import msgspec

from thwart.bench import state
from thwart.bench.state import Object

#: "THWT": tells a ledger from other SQLite files (PRAGMA application_id).
APPLICATION_ID: Final = 0x54485754

#: PRAGMA user_version. Raise it with every change of a projection or view; entries are never migrated.
SCHEMA_VERSION: Final = 2

ENTRY_TABLE: Final = """CREATE TABLE entry (
  seq INTEGER PRIMARY KEY,
  kind TEXT NOT NULL,
  input_seq INTEGER,
  specimen_id TEXT,
  data TEXT NOT NULL,
  hash BLOB NOT NULL
)"""

# REPLACE removes rows without firing a DELETE trigger, so insertion has a guard of its own.
ENTRY_TRIGGERS: Final = {
    "entry_append": """CREATE TRIGGER entry_append BEFORE INSERT ON entry
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry)
BEGIN SELECT RAISE(ABORT, 'entries are appended, in order and without a gap'); END""",
    "entry_update": """CREATE TRIGGER entry_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END""",
    "entry_delete": """CREATE TRIGGER entry_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END""",
}

#: What is neither an entry nor a projection. It outlives rebuild and migrate, snapshots excepted.
OTHER_TABLES: Final = {
    "identity": "CREATE TABLE identity (bench_name TEXT NOT NULL, bench_id TEXT NOT NULL)",
    "specimen_column": "CREATE TABLE specimen_column (measurand TEXT PRIMARY KEY, unit TEXT NOT NULL)",
    "presence": "CREATE TABLE presence (instrument TEXT PRIMARY KEY, last_frame_utc TEXT NOT NULL)",
    # Its state is deflated (see `snapshots`), whatever the column says; in ledgers of earlier versions it is text.
    "snapshot": "CREATE TABLE snapshot (seq INTEGER PRIMARY KEY, state TEXT NOT NULL)",
}

#: Kinds whose objects can be had back from their table. Places, instruments, the desk and what is learned change with
#: every load or fish and never leave the bench's memory; they live in snapshots.
PROJECTED: Final = ("specimen", "reading", "measurement", "coded", "container", "batch", "question", "tally", "pool")

#: A kind whose table holds these fields only, for a view: what changes with every load costs no page.
PARTLY: Final = {
    "instrument": ("instrument", "profile", "port", "present", "changed_utc", "last_verified_utc", "verified"),
}

#: Kind → columns of each further index. A column here is one more page to write whenever a row is new.
INDEXES: Final[dict[str, tuple[tuple[str, ...], ...]]] = {
    "specimen": (("number",), ("batch",)),
    "measurement": (("specimen_id",),),
    "coded": (("specimen_id",),),
    "container": (("specimen_id",),),
    "question": (("specimen_id",),),
}

# Keys sorted, as in entries: a mapping folded from one must be spelt as the one that made it.
_dumps = msgspec.json.Encoder(order="sorted", enc_hook=dict).encode


@dataclass(frozen=True)
class Column:
    """A field as a column: `store` is TEXT, INTEGER, BOOLEAN, TUPLE or MAPPING (the last two as JSON text)."""

    name: str
    store: str

    @property
    def sql(self) -> str:
        """Its declaration without constraints."""
        return f'"{self.name}" {"INTEGER" if self.store in ("INTEGER", "BOOLEAN") else "TEXT"}'


class Table:
    """A kind's table: its statements and the way between a row and an object. The first field is the key."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.cls: type[Any] = state.KINDS[kind]
        hints = typing.get_type_hints(self.cls)
        fields = list(self.cls.__struct_fields__)
        self.whole = kind not in PARTLY
        self.columns = tuple(Column(name, _store(hints[name])) for name in PARTLY.get(kind, fields))
        self.key = self.columns[0]
        names = [f'"{c.name}"' for c in self.columns]
        listed = ", ".join(names)
        indexed = sorted({name for index in INDEXES.get(kind, ()) for name in index})
        rest = [n for n in names[1:] if n.strip('"') not in indexed]
        if self.whole:
            condition = " AND ".join(f'"{n}" IS excluded."{n}"' for n in indexed)
        else:
            condition = " OR ".join(f"{n} IS NOT excluded.{n}" for n in rest)
        self.create = self._create("")
        self.create_temp = self._create("temp.")
        self.indexes = {
            f"{kind}_{'_'.join(index)}": f"CREATE INDEX {kind}_{'_'.join(index)} ON {kind} ({', '.join(index)})"
            for index in INDEXES.get(kind, ())
        }
        values = f"({listed}) VALUES ({', '.join('?' * len(names))})"
        # SQLite rewrites an index as soon as its column stands in SET, changed or not; so they stay out of it, and the
        # rare row where one did change is replaced whole. A table of some fields is left alone where none changed.
        self.upsert = (
            f"INSERT INTO {kind} {values} ON CONFLICT ({self.key.name}) DO UPDATE SET "
            + ", ".join(f"{n} = excluded.{n}" for n in rest)
            + (f" WHERE {condition}" if condition else "")
        )
        self.replace = f"INSERT OR REPLACE INTO {kind} {values}"
        self.delete = f'DELETE FROM {kind} WHERE "{self.key.name}" = ?'
        self.select = f"SELECT {listed} FROM {kind}"
        self._fields: Callable[[Any], tuple[Any, ...]] = attrgetter(*(c.name for c in self.columns))
        empty = {"TUPLE": "[]", "MAPPING": "{}"}
        self._json = tuple((i, empty[c.store]) for i, c in enumerate(self.columns) if c.store in empty)
        self._back = tuple((i, _BACK[c.store]) for i, c in enumerate(self.columns) if c.store in _BACK)

    def _create(self, where: str) -> str:
        columns = [c.sql for c in self.columns]
        columns[0] += " PRIMARY KEY"
        return f"CREATE TABLE {where}{self.kind} (\n  " + ",\n  ".join(columns) + "\n)"

    def row(self, thing: Object) -> Sequence[Any]:
        """The object as a row, in the order of `columns`."""
        fields = self._fields(thing)
        if not self._json:
            return fields
        row = list(fields)
        for i, empty in self._json:
            row[i] = _dumps(row[i]).decode() if row[i] else empty
        return row

    def thing(self, row: Iterable[Any]) -> Any:
        """The object a row stands for; equal to the one that was stored. Only for a table that is `whole`."""
        values = list(row)
        for i, back in self._back:
            if values[i] is not None:
                values[i] = back(values[i])
        return self.cls(*values)


_BACK: dict[str, Callable[[Any], Any]] = {
    "BOOLEAN": bool,
    "MAPPING": json.loads,
    "TUPLE": lambda text: tuple(json.loads(text)),
}


def _store(hint: Any) -> str:
    """How a field of this type is stored. Raises TypeError for a type no column is made for."""
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        stores = {_store(arg) for arg in typing.get_args(hint) if arg is not type(None)}
    elif origin is typing.Literal:
        stores = {_store(type(arg)) for arg in typing.get_args(hint)}
    else:
        plain = {str: "TEXT", int: "INTEGER", bool: "BOOLEAN", tuple: "TUPLE", Mapping: "MAPPING"}
        stores = {plain[origin or hint]} if (origin or hint) in plain else set()
    if len(stores) != 1:
        raise TypeError(f"no column is made for {hint}")
    return stores.pop()


TABLES: Final[dict[str, Table]] = {kind: Table(kind) for kind in (*PROJECTED, *PARTLY)}


def statements() -> dict[str, str]:
    """Name → statement of everything but the views, in the order of creation."""
    made = {"entry": ENTRY_TABLE, **ENTRY_TRIGGERS, **OTHER_TABLES}
    # Costs nothing until there is a mend, and spares the `mends` view a walk through all entries.
    made["entry_mend"] = "CREATE INDEX entry_mend ON entry (seq) WHERE kind = 'mend'"
    made["entry_printed"] = "CREATE INDEX entry_printed ON entry (seq) WHERE kind = 'printed'"
    # What an undo took back, for the same view.
    made["entry_undone"] = "CREATE INDEX entry_undone ON entry (json_extract(data, '$.body.of')) WHERE kind = 'undone'"
    return made | projections()


def projections() -> dict[str, str]:
    """Name → statement of the projections and their indexes."""
    made: dict[str, str] = {}
    for table in TABLES.values():
        made[table.kind] = table.create
        made |= table.indexes
    return made
