"""Batches that are planned, opened, closed; what is practice; the block of numbers."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from tests.benchkit import SOLO as PLAIN
from tests.benchkit import TALLY, Play, check, folded, kinds, protocol, refused, state_of
from tests.unit.ledger.making import told
from thwart.bench.state import Batch, Container, Specimen
from thwart.ledger import views

SOLO = PLAIN + "\n[structures.otolith]\n"


def test_a_parent_that_nobody_knows_is_refused_and_nothing_is_opened() -> None:
    play = Play(batch=False)
    play.act("batch plan Haul-3 kind=haul")
    said = play.act("batch open perch-3 perch parent=haul-4")
    assert refused(said) == "unknown-parent"
    assert said[-1].body["text"] == (
        "batch perch-3 can't be a part of 'haul-4': there is no such batch; did you mean Haul-3? · "
        "`batch plan haul-4` makes it known"
    )
    assert play.here.batch is None
    assert play.bench.get(Batch, "perch-3") is None
    play.act("batch open perch-3 perch parent=haul-3")  # as a card says it
    assert planned(play, "perch-3").parent == "Haul-3"
    check(play)


def test_a_batch_that_others_are_part_of_isnt_dropped() -> None:
    play = Play(batch=False)
    play.act("batch plan haul-3")
    play.act("batch plan perch-3 perch parent=haul-3")
    assert refused(play.act("batch drop haul-3")) == "batch-parts"
    play.act("batch drop perch-3")
    play.act("batch drop haul-3")
    assert play.bench.get(Batch, "haul-3") is None


def planned(play: Play, name: str) -> Batch:
    return play.bench.need(Batch, name)


def test_a_planned_batch_is_taken_up_with_all_that_was_said_of_it() -> None:
    play = Play(batch=False)
    play.act("batch plan haul-3 kind=haul total_mass=12.4kg")
    said = play.act("batch plan perch-3 perch parent=haul-3 kind=species selection=random preservation=iced")
    assert kinds(said) == ["batch-planned"]
    assert planned(play, "perch-3").opened_utc is None
    assert refused(play.act("next")) == "no-batch"
    play.act("batch open perch-3 presentation=whole")
    batch = planned(play, "perch-3")
    assert (batch.parent, batch.kind, batch.species, batch.selection, batch.preservation, batch.presentation) == (
        "haul-3", "species", "perch", "random", "iced", "whole",
    )  # fmt: skip
    assert batch.opened_utc is not None
    assert (play.fish.batch, play.fish.species) == ("perch-3", "perch")
    assert planned(play, "haul-3").total_mass_g == "12400"
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_planned_again_it_is_replaced_and_the_same_again_is_nothing_new() -> None:
    play = Play(batch=False)
    play.act("batch plan cove perch kind=haul")
    assert kinds(play.act("batch plan cove perch kind=haul")) == ["told"]
    play.act("batch plan cove pike")
    assert (planned(play, "cove").species, planned(play, "cove").kind) == ("pike", None)
    play.act("batch drop cove")
    assert play.bench.get(Batch, "cove") is None


def test_a_card_has_no_capitals() -> None:
    play = Play(batch=False)
    play.act("batch plan Haul-3 kind=haul")
    play.card("batch open haul-3")
    assert play.fish.batch == "Haul-3"
    assert refused(play.act("batch plan haul-3")) == "batch-begun"


def test_another_species_than_planned_is_said() -> None:
    play = Play(batch=False)
    play.act("batch plan cove perch")
    said = next(d for d in play.act("batch open cove pike") if d.kind == "batch")
    assert said.body["text"] == "batch cove open, of pike: perch was planned"
    assert play.fish.species == "pike"


def test_planned_batches_outlast_a_long_day_in_memory() -> None:
    play = Play(forget_after=8)
    play.act("batch plan Haul-9 kind=haul")
    for _ in range(140):
        play.touch(212)
        play.act("undo")
    play.act("batch close done")
    play.card("batch open haul-9")
    assert planned(play, "Haul-9").kind == "haul"
    assert state_of(folded(play)) == state_of(play.bench)


# ---- practice ------------------------------------------------------------------------------------------------------


def practised() -> Play:
    """A practice batch in which everything happens that leaves a row; fish opened, coded and taken back, too."""
    play = Play(SOLO, batch=False)
    play.act("practice on")
    play.touch(150)  # loose: no batch
    play.act("batch open dry-run")
    play.touch(212)
    play.act("structure otolith 1 left broken")
    play.act("code sex F")
    play.weigh(10)  # asked: too light
    play.label(3)  # 1 and 2 passed over
    play.act("skip")
    play.act("found K-00128 full")
    play.touch(214)
    play.label(10)
    play.act("move K-00101 K-00110")
    play.act("pool 3")
    play.weigh(120)
    play.act("count 9")
    play.act("code sex M")
    for _ in range(4):
        play.act("undo")
    play.act("pause")
    play.touch(99)
    play.act("resume")
    play.act("batch close enough")
    play.touch(151)  # loose again
    return play


def test_nothing_of_practice_reaches_a_view_but_changes(tmp_path: Path) -> None:
    play = practised()
    assert state_of(folded(play)) == state_of(play.bench)
    assert {k for k, _ in play.records.objects} >= {
        "specimen", "reading", "measurement", "coded", "container", "question", "pool", "batch",
    }  # fmt: skip
    with closing(sqlite3.connect(told(tmp_path / "ledger.db", play.entries))) as db:
        counts = {name: db.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in views.NAMES}
    assert {name for name, n in counts.items() if n} == {"about", "instruments", "changes"}


def test_a_tally_of_practice(tmp_path: Path) -> None:
    play = Play(TALLY, batch=False)
    play.act("practice on")
    play.act("batch open dry-run")
    play.touch(212)
    play.act("batch close enough")
    play.act("practice off")
    play.act("batch open bay")
    play.touch(215)
    with closing(sqlite3.connect(told(tmp_path / "ledger.db", play.entries))) as db:
        assert db.execute("SELECT n FROM tallies").fetchall() == [(1,)]
        assert db.execute("SELECT value FROM readings").fetchall() == [("215",)]


def test_after_practice_the_survey_is_seen_again(tmp_path: Path) -> None:
    play = practised()
    play.act("practice off")
    play.touch(333)
    play.act("batch open bay")
    play.touch(212)
    with closing(sqlite3.connect(told(tmp_path / "ledger.db", play.entries))) as db:
        assert db.execute("SELECT value, outcome FROM readings ORDER BY seq").fetchall() == [
            ("333", "loose"), ("212", "taken"),
        ]  # fmt: skip
        assert db.execute("SELECT batch FROM batches").fetchall() == [("bay",)]


def test_what_was_practised_with_is_as_new(tmp_path: Path) -> None:
    """Envelopes of the real stack, filled, passed over, left out and found in practice."""
    play = Play(SOLO, batch=False)
    play.act("practice on")
    play.act("batch open dry-run")
    for count in (1, 4):
        play.touch(212)
        play.label(count)
    play.act("skip")
    play.act("found K-00089 full")
    practice_fish = play.numbered(1)
    assert practice_fish.containers == ("K-00013",)
    play.act("batch close enough")
    play.act("practice off")
    play.act("batch open bay")
    for count in range(1, 9):
        play.touch(212)
        play.label(count)
        assert not [kind for kind in play.questions() if kind.startswith("label-")], count
    assert play.numbered(practice_fish.number).containers == ()
    with closing(sqlite3.connect(told(tmp_path / "ledger.db", play.entries))) as db:
        assert db.execute("SELECT count(*) FROM containers WHERE state = 'filled'").fetchone() == (8,)
        assert db.execute("SELECT count(*) FROM containers").fetchone() == (8,)
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)
    before = {key: thing for key, thing in play.records.objects.items() if key[0] == "container"}
    play.touch(212)
    play.label(9)
    play.act("undo")
    assert {key: thing for key, thing in play.records.objects.items() if key[0] == "container"} == before
    check(play)


def test_an_undone_take_over_gives_the_label_back_to_practice() -> None:
    play = Play(SOLO, batch=False)
    play.act("practice on")
    play.act("batch open dry-run")
    play.touch(212)
    play.label(1)
    play.act("batch close enough")
    play.act("practice off")
    play.act("batch open bay")
    play.touch(212)
    play.label(1)
    play.act("undo")
    assert play.bench.need(Container, "K-00013").practice
    assert play.numbered(1).containers == ("K-00013",)
    play.label(1)
    assert not play.bench.need(Container, "K-00013").practice
    check(play)


# ---- numbers -------------------------------------------------------------------------------------------------------


def block(play: Play, first: int, last: int) -> None:
    """The bench starts again with another block."""
    text = SOLO + f"\n[numbers]\nfirst = {first}\nlast = {last}\n"
    play.bench.setup = play.setup = play.setup.__class__(
        play.setup.bench, protocol(text), play.setup.places, play.setup.instruments
    )


def opened(play: Play) -> int:
    play.touch(212)
    play.act("next")
    return play.fish.number


def test_a_block_taken_up_again_goes_on_behind_what_is_used() -> None:
    play = Play(SOLO)
    assert [opened(play), opened(play)] == [2, 3]
    block(play, 100, 102)
    assert [opened(play), opened(play), opened(play)] == [100, 101, 102]
    play.touch(212)
    play.act("next")  # used up: closed, and none opens
    assert play.here.in_hand is None
    assert refused(play.act("next")) == "numbers-used-up"
    block(play, 1, 99)
    play.act("next")
    assert play.fish.number == 4
    assert opened(play) == 5
    check(play)


def test_what_was_used_is_known_when_it_left_memory() -> None:
    play = Play(SOLO, forget_after=8)
    opened(play)
    block(play, 100, 999)
    for _ in range(60):
        opened(play)
    kept = {s.number for s in play.bench.all(Specimen)}
    assert 1 not in kept
    block(play, 1, 99)
    play.touch(212)
    play.act("next")
    assert play.fish.number == 3
    assert play.bench.get(Container, "K-00013") is None
    check(play)
