"""Every row of the transition tables is walked, no other step is possible, and the diagrams stand in the docs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.benchkit import FORKED, SOLO, TALLY, Play
from thwart.bench import tables
from thwart.bench.tables import TABLES, Impossible, diagram, step

Row = tuple[str, str | None, str]
Steps = list[Callable[[Play], object]]

RATIO = FORKED.replace(
    'title = "perch"', 'title = "perch"\nratios.total_length = { of = "fork_length", range = [1.05, 1.2] }'
)
OPENS = "opens_by_reading = true\n" + SOLO


def touch(mm: int, ms: int = 1000) -> Callable[[Play], object]:
    return lambda play: play.touch(mm, after_ms=ms)


def act(words: str) -> Callable[[Play], object]:
    return lambda play: play.act(words)


def settle(g: int, **more: str) -> Callable[[Play], object]:
    return lambda play: play.settle(g, **more)


def lay(play: Play) -> object:
    return play.lay()


def label(count: int) -> Callable[[Play], object]:
    return lambda play: play.label(count)


def weigh(g: int) -> Callable[[Play], object]:
    return lambda play: play.weigh(g)


ODD = act("species perch"), touch(700)

#: Row → protocol and what leads to it; the last step takes it.
WALKS: dict[Row, tuple[str, Steps]] = {
    ("specimen", None, "opened"): (SOLO, [touch(212), act("next")]),
    ("specimen", "open", "required in"): (SOLO, [touch(212), weigh(100)]),
    ("specimen", "ready", "wanted again"): (SOLO, [touch(212), lay, settle(500), act("tared")]),
    ("specimen", "open", "ended"): (SOLO, [touch(212), act("next")]),
    ("specimen", "ready", "ended"): (SOLO, [touch(212), weigh(100), act("next")]),
    ("specimen", "closed", "recalled"): (SOLO, [touch(212), act("next"), act("recall 1")]),
    ("reading", None, "fills"): (SOLO, [touch(212)]),
    ("reading", None, "finds filled"): (SOLO, [touch(212), touch(300)]),
    ("reading", None, "load unseen"): (SOLO, [settle(412)]),
    ("reading", None, "changed on the pan"): (SOLO, [lay, settle(412), settle(468)]),
    ("reading", None, "fits badly"): (RATIO, [act("species perch"), touch(200), touch(201)]),
    ("reading", None, "counts"): (TALLY, [touch(212)]),
    ("reading", "waiting", "counts"): (TALLY, [act("species perch"), touch(700), act("stands")]),
    ("reading", None, "is a piece"): (SOLO, [act("parts whole_mass 2"), weigh(100)]),
    ("reading", None, "is a pool"): (SOLO, [act("pool 25"), weigh(300)]),
    ("reading", None, "same again"): (SOLO, [touch(212), touch(212, 100)]),
    ("reading", None, "load of a fish before"): (SOLO, [lay, settle(412), act("next"), settle(412)]),
    ("reading", None, "is the tare"): (SOLO, [lay, settle(412, load="tare")]),
    ("reading", None, "belongs to none"): (SOLO, [act("pause"), touch(212)]),
    ("reading", None, "unusable"): (SOLO, [lay, settle(412, condition="overload")]),
    ("reading", "waiting", "given"): (SOLO, [touch(212), touch(300), act("again")]),
    ("reading", "waiting", "left behind"): (SOLO, [touch(212), touch(300), act("stands")]),
    ("reading", "waiting", "taken back"): (SOLO, [touch(212), touch(300), act("undo")]),
    ("reading", "taken", "superseded"): (SOLO, [touch(212), touch(300), act("again")]),
    ("reading", "taken", "taken back"): (SOLO, [touch(212), act("undo")]),
    ("reading", "taken", "offered back"): (OPENS, [touch(212), touch(300), act("again")]),
    ("reading", "taken", "was the tray"): (SOLO, [lay, settle(500), act("tared")]),
    ("reading", "waiting", "was the tray"): (SOLO, [weigh(100), lay, settle(500), act("tared")]),
    ("reading", "loose", "was the tray"): (SOLO, [act("pause"), lay, settle(500), act("tared")]),
    ("measurement", None, "fits"): (SOLO, [touch(212)]),
    ("measurement", None, "doesn't fit"): (SOLO, [*ODD]),
    ("measurement", "questioned", "stood by"): (SOLO, [*ODD, act("stands")]),
    ("measurement", "questioned", "fits"): (SOLO, [*ODD, act("species pike")]),
    ("measurement", "stands", "doesn't fit"): (SOLO, [touch(700), act("species perch")]),
    ("measurement", "stands", "superseded"): (SOLO, [touch(212), touch(300), act("again")]),
    ("measurement", "questioned", "superseded"): (SOLO, [*ODD, touch(300), act("again")]),
    ("measurement", "stands", "withdrawn"): (SOLO, [touch(212), act("missing total_length broken")]),
    ("measurement", "questioned", "withdrawn"): (SOLO, [*ODD, act("missing total_length broken")]),
    ("question", None, "asked"): (SOLO, [*ODD]),
    ("question", None, "noted"): (SOLO, [touch(212), act("next")]),
    ("question", "open", "next fish"): (SOLO, [*ODD, act("next")]),
    ("question", "open", "answered"): (SOLO, [*ODD, act("stands")]),
    ("question", "quiet", "answered"): (FORKED, [touch(200), touch(220), lay, act("next"), settle(100)]),
    ("question", "quiet", "read out"): (SOLO, [touch(212), act("next"), act("batch close done")]),
    ("container", None, "passed over"): (SOLO, [touch(212), act("found K-00101 empty"), label(3)]),
    ("container", None, "taken"): (SOLO, [touch(212), label(1)]),
    ("container", "expected", "taken"): (SOLO, [touch(212), label(3), touch(213), label(1)]),
    ("container", "empty", "taken"): (SOLO, [touch(212), act("found K-00013 empty"), label(1)]),
    ("container", "orphan", "taken"): (SOLO, [touch(212), act("found K-00030 full"), act("found K-00030 full of 1")]),
    ("container", None, "left out"): (SOLO, [act("skip")]),
    ("container", "expected", "left out"): (SOLO, [touch(212), label(3), act("skip K-00013")]),
    ("container", "empty", "left out"): (SOLO, [act("found K-00013 empty"), act("skip")]),
    ("container", None, "found empty"): (SOLO, [act("found K-00030 empty")]),
    ("container", "expected", "found empty"): (SOLO, [touch(212), label(3), act("found K-00013 empty")]),
    ("container", "orphan", "found empty"): (SOLO, [act("found K-00013 full"), act("found K-00013 empty")]),
    ("container", "filled", "found empty"): (SOLO, [touch(212), label(1), act("found K-00013 empty")]),
    ("container", "empty", "found full"): (
        SOLO,
        [touch(212), label(1), act("found K-00013 empty"), act("found K-00013 full")],
    ),
    ("container", None, "found full of none"): (SOLO, [act("found K-00030 full")]),
    ("container", "expected", "found full of none"): (SOLO, [touch(212), label(3), act("found K-00013 full")]),
    ("container", "empty", "found full of none"): (SOLO, [act("found K-00030 empty"), act("found K-00030 full")]),
    ("container", "filled", "torn"): (SOLO, [touch(212), label(1), act("move K-00013 K-00030")]),
    ("container", "filled", "its fish is void"): (
        SOLO,
        [touch(212), label(1), act("recall 1"), act("void"), act("void")],
    ),
    ("container", "empty", "its fish is void"): (
        SOLO,
        [touch(212), label(1), act("recall 1"), act("found K-00013 empty"), act("void"), act("void")],
    ),
    ("question", "read-out", "answered"): ("tray = 1\n" + SOLO, [*ODD, act("next"), act("recall 1"), act("stands")]),
}

ROWS: list[Row] = [(name, *row) for name, table in TABLES.items() for row in table]


@pytest.mark.parametrize("row", ROWS, ids=[" ".join(map(str, row)) for row in ROWS])
def test_every_row_is_walked(row: Row, monkeypatch: pytest.MonkeyPatch) -> None:
    text, steps = WALKS[row]
    play = Play(text)
    for one in steps[:-1]:
        one(play)
    taken: list[Row] = []
    names = {id(table): name for name, table in TABLES.items()}

    def watched(table: tables.Table, state: str | None, event: str) -> object:
        taken.append((names[id(table)], state, event))
        return step(table, state, event)

    monkeypatch.setattr(tables, "step", watched)
    steps[-1](play)
    assert row in taken


def test_no_walk_is_left_over() -> None:
    assert set(WALKS) == set(ROWS)


def test_what_has_no_row_is_impossible() -> None:
    for name, table in TABLES.items():
        states = {before for before, _ in table} | set(table.values())
        events = {event for _, event in table}
        for state in states:
            for event in events:
                if (state, event) in table:
                    assert step(table, state, event) == table[state, event]
                else:
                    with pytest.raises(Impossible, match="no transition"):
                        step(table, state, event)
        assert name in TABLES


def test_every_state_is_reached_and_begins_somewhere() -> None:
    for table in TABLES.values():
        reached = set(table.values())
        assert {before for before, _ in table if before is not None} <= reached


@pytest.mark.parametrize("name", sorted(TABLES))
def test_the_diagram_in_the_docs_is_drawn_from_the_table(name: str) -> None:
    docs = (Path(__file__).parents[3] / "docs" / "bench.md").read_text()
    assert f"```mermaid\n{diagram(name)}\n```" in docs
