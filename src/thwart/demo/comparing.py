"""The end of a demo: the ledger, read as any other program would read it, beside what was really done."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from .hands import Planted


@dataclass(frozen=True, slots=True)
class Table:
    """The comparison: its headings, its rows, and how many of them differ. `what` is counted in `rows`."""

    what: str
    headings: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    wrong: int


@dataclass(frozen=True, slots=True)
class Result:
    """How the demo ended: the comparison, what was planted and how often it was found, what was waited for in vain."""

    table: Table
    troubles: list[tuple[Planted, int]]
    missed: list[str]
    ledger: Path
    query: str
    """A query worth trying on this ledger."""


def differences(found: Mapping[str, object], real: Mapping[str, object]) -> list[str]:
    """What of a row isn't as it really was, in words (`length 212`)."""
    return [f"{name} {found[name]}" for name, value in real.items() if not _same(found[name], value)]


def _same(found: object, real: object) -> bool:
    if isinstance(real, int | float | Decimal) and found is not None:
        return Decimal(str(found)) == Decimal(str(real))
    return found == real


def verdict(faults: Sequence[str]) -> str:
    """A row's last cell."""
    return "as it was" if not faults else "DIFFERS: " + ", ".join(faults)


def rows(db: sqlite3.Connection, query: str) -> list[dict[str, object]]:
    """A query's rows by column."""
    cursor = db.execute(query)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]
