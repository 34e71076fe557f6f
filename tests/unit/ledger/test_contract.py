"""Contract 1: no view and no column that other programs read goes, or comes to mean something else.

Two things hold it: `shared/contract.json` says what each column is, and a recorded day says, cell by cell, what the
views hold of it. Further columns, views and words are allowed; each of the ways to break it is tried here.
"""

from __future__ import annotations

import itertools
import json
import re
import shutil
import sqlite3
import typing
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from tests.unit.ledger import golden_day
from tests.unit.ledger.making import folding
from thwart.bench import acts, state
from thwart.ledger import views
from thwart.ledger.audit import audit
from thwart.wire import events

SHARED = Path(__file__).parents[3] / "shared"
CONTRACT: dict[str, Any] = json.loads((SHARED / "contract.json").read_text())
COLUMNS: dict[str, dict[str, Any]] = {view: said["columns"] for view, said in CONTRACT["views"].items()}
EXPECTED: dict[str, list[dict[str, Any]]] = json.loads(golden_day.VIEWS.read_text())

#: Type in the contract → what Python reads.
TYPES = {"TEXT": str, "INTEGER": int, "REAL": float}

#: Closed lists as the program has them.
WORDS = {
    ("specimens", "state"): typing.get_args(state.SpecimenState),
    ("specimens", "end"): typing.get_args(state.End),
    ("measurements", "status"): typing.get_args(state.Status),
    ("codes", "status"): typing.get_args(state.Status),
    ("pools", "status"): typing.get_args(state.Status),
    ("codes", "missing_reason"): acts.MISSING_REASONS,
    ("readings", "condition"): typing.get_args(events.Condition),
    ("readings", "settled"): typing.get_args(events.Settled),
    ("readings", "outcome"): typing.get_args(state.Outcome),
    ("containers", "state"): typing.get_args(state.ContainerState),
    ("findings", "state"): typing.get_args(state.QuestionState),
}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A real ledger of the recorded day."""
    return golden_day.ledger_of_the_day(tmp_path_factory.mktemp("contract") / "ledger.db", golden_day.recorded())


@pytest.fixture
def copy(day: Path, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """The same to spoil."""
    shutil.copy(day, tmp_path / "ledger.db")
    with closing(sqlite3.connect(tmp_path / "ledger.db", isolation_level=None)) as db:
        yield db


def broken(db: sqlite3.Connection, only: str | None = None) -> list[str]:
    """What in these views isn't as the contract and the recorded day say."""
    faults: list[str] = []
    for view in COLUMNS if only is None else (only,):
        columns = COLUMNS[view]
        try:
            rows = golden_day.rows_of(db, view)
        except sqlite3.Error as fault:
            faults.append(f"{view}: {fault}")
            continue
        expected = EXPECTED[view]
        names = set(expected[0])
        if gone := names - set(rows[0] if rows else ()):
            faults.append(f"{view}: no column {', '.join(sorted(gone))}")
            continue
        known = [{name: row[name] for name in names} for row in rows]
        if _sorted(known) != _sorted(expected):
            faults.append(f"{view}: holds something else than it did")
        for name, said in columns.items():
            faults += [f"{view}.{name}: {row[name]!r}" for row in rows if not _fits(row[name], said)]
    return faults


def _sorted(rows: list[dict[str, Any]]) -> list[str]:
    return sorted(json.dumps(row, sort_keys=True) for row in rows)


def _fits(value: object, said: Mapping[str, Any]) -> bool:
    if value is None:
        return bool(said["null"])
    return type(value) is TYPES[said["type"]] and ("words" not in said or value in said["words"])


def shown_as(db: sqlite3.Connection, view: str, columns: Mapping[str, str]) -> None:
    """Put in place of a view one that shows its columns (SQL) under names."""
    db.execute(f"CREATE TEMP TABLE before AS SELECT * FROM {view}")
    db.execute(f"DROP VIEW {view}")
    listed = ", ".join(f'{expression} AS "{name}"' for name, expression in columns.items())
    db.execute(f"CREATE TEMP VIEW {view} AS SELECT {listed} FROM before")


def as_they_are(view: str) -> dict[str, str]:
    return {name: f'"{name}"' for name in EXPECTED[view][0]}


# ---- what holds ----------------------------------------------------------------------------------------------------


def test_the_contract_is_kept(day: Path) -> None:
    with closing(sqlite3.connect(day)) as db:
        assert broken(db) == []


def test_version_views_and_columns_are_those_of_the_program(day: Path) -> None:
    """What is added is told in contract.json, too."""
    assert CONTRACT["contract_version"] == views.CONTRACT_VERSION == 1
    assert set(COLUMNS) == set(views.NAMES)
    with closing(sqlite3.connect(day)) as db:
        for view, columns in COLUMNS.items():
            there = [row[1] for row in db.execute(f"PRAGMA table_info({view})")]
            measured = [views.column_name(*m) for m in golden_day.MEASURANDS] if view == "specimens" else []
            assert there == [*columns, *measured], view


def test_the_page_and_the_file_say_the_same() -> None:
    text = (SHARED / "database.md").read_text()
    for view, columns in COLUMNS.items():
        (part,) = re.findall(rf"(?ms)^## `{view}`.*?(?=^## |\Z)", text)
        said = re.findall(r"(?m)^\| `(\w+)` \| (\w+)( †)? \|\s*(.*?)\s*\| (.*) \|$", part)
        assert {name: (kind, not never, unit.strip("`")) for name, kind, never, unit, _ in said} == {
            name: (c["type"], c["null"], c.get("unit", "")) for name, c in columns.items()
        }
        for name, *_, meaning in said:
            words = [w for w in columns[name].get("words", ()) if isinstance(w, str)]
            if name not in ("missing_reason", "status") or f"`{words[0]}`" in meaning:
                assert [w for w in words if f"`{w}`" not in meaning] == [], (view, name)


@pytest.mark.parametrize("column", sorted(WORDS))
def test_closed_lists_are_those_of_the_program(column: tuple[str, str]) -> None:
    assert COLUMNS[column[0]][column[1]]["words"] == list(WORDS[column])


def test_the_recorded_day_is_a_sound_ledger(day: Path) -> None:
    problems = audit(day, folding).problems
    # The two instruments that were written beside the entries are all that differs.
    assert [p for p in problems if not p.startswith("instrument ")] == []


# ---- what the day must show, so that nothing changes unseen ----------------------------------------------------------


def test_every_column_holds_something() -> None:
    empty = [(v, c) for v in COLUMNS for c in COLUMNS[v] if all(row[c] is None for row in EXPECTED[v])]
    assert empty == []


def test_no_two_columns_of_a_view_hold_the_same() -> None:
    """Else one could be shown for the other."""
    alike = [
        (view, a, b) for view, rows in EXPECTED.items() for a, b in itertools.combinations(rows[0], 2)
        if [row[a] for row in rows] == [row[b] for row in rows]
    ]  # fmt: skip
    assert alike == []


def test_every_word_of_a_state_is_met_or_known_to_pass() -> None:
    """States that end with the fish in hand, and what takes a worn cable, are in the tests of the bench."""
    unmet = {
        (view, name): sorted(set(map(str, said["words"])) - {str(row[name]) for row in EXPECTED[view]})
        for view, columns in COLUMNS.items() for name, said in columns.items() if "words" in said
    }  # fmt: skip
    assert {k: v for k, v in unmet.items() if k[1] in ("end", "state") and v} == {
        ("specimens", "state"): ["ready"],
        ("findings", "state"): ["open"],
    }


# ---- every way to break it -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("view", sorted(COLUMNS))
def test_a_view_that_goes_is_seen(copy: sqlite3.Connection, view: str) -> None:
    copy.execute(f"DROP VIEW {view}")
    assert [fault for fault in broken(copy) if fault.startswith(f"{view}: ")]


@pytest.mark.parametrize("view", sorted(COLUMNS))
def test_every_column_that_goes_or_is_renamed_is_seen(copy: sqlite3.Connection, view: str) -> None:
    for column in COLUMNS[view]:
        for there in ({}, {f"{column}_new": f'"{column}"'}):
            copy.execute("SAVEPOINT s")
            columns = as_they_are(view)
            del columns[column]
            shown_as(copy, view, columns | there)
            assert broken(copy, view) == [f"{view}: no column {column}"]
            copy.execute("ROLLBACK TO s")


@pytest.mark.parametrize("view", sorted(COLUMNS))
def test_every_two_columns_that_change_places_are_seen(copy: sqlite3.Connection, view: str) -> None:
    for a, b in itertools.combinations(EXPECTED[view][0], 2):
        copy.execute("SAVEPOINT s")
        shown_as(copy, view, as_they_are(view) | {a: f'"{b}"', b: f'"{a}"'})
        assert f"{view}: holds something else than it did" in broken(copy, view), (a, b)
        copy.execute("ROLLBACK TO s")


@pytest.mark.parametrize(
    ("view", "column", "now"),
    [
        ("specimens", "total_length_mm", "total_length_mm / 10"),  # centimetres
        ("specimens", "worst_verdict", "CAST(worst_verdict AS TEXT)"),
        ("specimens", "end", "coalesce(\"end\", 'open')"),
        ("specimens", "opened_utc", "replace(opened_utc, 'Z', '+00:00')"),
        ("measurements", "value", "rounded_value"),
        ("measurements", "rounded_value", "round(rounded_value + 0.5)"),
        ("measurements", "status", "upper(status)"),
        ("measurements", "replicate", "replicate - 1"),  # from 0
        ("readings", "value", "CAST(value AS REAL)"),
        ("readings", "outcome", "coalesce(outcome, 'loose') || ''  || CASE outcome WHEN 'stale' THEN '' ELSE ' ' END"),
        ("codes", "code", "coalesce(code, missing_reason)"),
        ("containers", "taken", "coalesce(taken, 0)"),
        ("batches", "total_mass_g", "total_mass_g / 1000"),
        ("tallies", "class_mm", "class_mm + 5"),  # the middle of the class
        ("pools", "value", "value / n"),  # split among them
        ("findings", "probability", "1 - probability"),
        ("mends", "old_value", "new_value"),
        ("instruments", "present", "1 - present"),
        ("changes", "at_utc", "datetime(at_utc)"),
    ],
)
def test_a_column_that_means_something_else_is_seen(copy: sqlite3.Connection, view: str, column: str, now: str) -> None:
    shown_as(copy, view, as_they_are(view) | {column: now})
    assert f"{view}: holds something else than it did" in broken(copy)


@pytest.mark.parametrize("view", sorted(set(COLUMNS) - {"about"}))
def test_rows_that_go_or_come_are_seen(copy: sqlite3.Connection, view: str) -> None:
    for other in ("SELECT * FROM before LIMIT 1", "SELECT * FROM before UNION ALL SELECT * FROM before"):
        copy.execute("SAVEPOINT s")
        shown_as(copy, view, as_they_are(view))
        copy.execute(f"DROP VIEW {view}")
        copy.execute(f"CREATE TEMP VIEW {view} AS {other}")
        assert broken(copy, view) == [f"{view}: holds something else than it did"] or len(EXPECTED[view]) == 1
        copy.execute("ROLLBACK TO s")


@pytest.mark.parametrize("view", sorted(COLUMNS))
def test_columns_may_be_added_and_stand_in_another_order(copy: sqlite3.Connection, view: str) -> None:
    columns = as_they_are(view)
    shown_as(copy, view, {"first_new": "1", **dict(reversed(columns.items())), "last_new": "'x'"})
    assert broken(copy) == []


def test_views_may_be_added(copy: sqlite3.Connection) -> None:
    copy.execute("CREATE VIEW quotas AS SELECT 1 AS n")
    assert broken(copy) == []
