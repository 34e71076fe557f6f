"""The life of specimens, readings, measurements, questions and containers as transition tables. Pure.

A state moves only through `step`, but for undo and redo, which put back what was; the documentation's diagrams are drawn from these tables and a test
walks every row.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Table = Mapping[tuple[str | None, str], str]

SPECIMEN: Table = {
    (None, "opened"): "open",
    ("open", "required in"): "ready",
    ("ready", "wanted again"): "open",
    ("open", "ended"): "closed",
    ("ready", "ended"): "closed",
    ("closed", "recalled"): "open",
}

READING: Table = {
    (None, "fills"): "taken",
    (None, "finds filled"): "waiting",
    (None, "load unseen"): "waiting",
    (None, "changed on the pan"): "waiting",
    (None, "fits badly"): "waiting",
    (None, "counts"): "taken",
    (None, "is a piece"): "taken",
    (None, "is a pool"): "taken",
    (None, "same again"): "doubled",
    (None, "load of a fish before"): "stale",
    (None, "is the tare"): "tare",
    (None, "belongs to none"): "loose",
    (None, "unusable"): "refused",
    ("waiting", "given"): "taken",
    ("waiting", "counts"): "taken",
    ("waiting", "left behind"): "loose",
    ("waiting", "taken back"): "loose",
    ("taken", "superseded"): "superseded",
    ("taken", "taken back"): "loose",
    ("taken", "offered back"): "waiting",
    ("taken", "was the tray"): "tare",
    ("waiting", "was the tray"): "tare",
    ("loose", "was the tray"): "tare",
}

MEASUREMENT: Table = {
    (None, "fits"): "stands",
    (None, "doesn't fit"): "questioned",
    ("questioned", "stood by"): "stands",
    ("questioned", "fits"): "stands",
    ("stands", "doesn't fit"): "questioned",
    ("stands", "superseded"): "superseded",
    ("questioned", "superseded"): "superseded",
    ("stands", "withdrawn"): "withdrawn",
    ("questioned", "withdrawn"): "withdrawn",
}

QUESTION: Table = {
    (None, "asked"): "open",
    (None, "noted"): "quiet",
    ("open", "next fish"): "quiet",
    ("open", "answered"): "answered",
    ("quiet", "answered"): "answered",
    ("quiet", "read out"): "read-out",
    ("read-out", "answered"): "answered",
}

CONTAINER: Table = {
    (None, "passed over"): "expected",
    (None, "taken"): "filled",
    ("expected", "taken"): "filled",
    ("empty", "taken"): "filled",
    ("orphan", "taken"): "filled",
    (None, "left out"): "skipped",
    ("expected", "left out"): "skipped",
    ("empty", "left out"): "skipped",
    (None, "found empty"): "empty",
    ("expected", "found empty"): "empty",
    ("orphan", "found empty"): "empty",
    ("filled", "found empty"): "empty",
    ("empty", "found full"): "filled",
    (None, "found full of none"): "orphan",
    ("expected", "found full of none"): "orphan",
    ("empty", "found full of none"): "orphan",
    ("filled", "torn"): "torn",
    ("filled", "its fish is void"): "void",
    ("empty", "its fish is void"): "void",
}

TABLES: Mapping[str, Table] = {
    "specimen": SPECIMEN,
    "reading": READING,
    "measurement": MEASUREMENT,
    "question": QUESTION,
    "container": CONTAINER,
}


class Impossible(Exception):
    """A transition that isn't in its table: a fault of the program, never of the person."""


def step(table: Table, state: str | None, event: str) -> Any:
    """The state after `event` (one of a closed list, so typed as whatever takes it). Raises Impossible where the table has no such row."""
    try:
        return table[state, event]
    except KeyError:
        raise Impossible(f"no transition from {state!r} by {event!r}") from None


def diagram(name: str) -> str:
    """A table as a Mermaid state diagram."""
    lines = ["stateDiagram-v2"]
    for (before, event), after in TABLES[name].items():
        lines.append(f"    {(before or '[*]').replace('-', '_')} --> {after.replace('-', '_')}: {event}")
    return "\n".join(lines)
