"""How fish end: from afar in a row, without a species in a mixed batch, and what lets a destructive act lapse."""

from __future__ import annotations

import pytest

from tests.benchkit import ROW, TALLY, Play, check, folded, kinds, refused, state_of
from thwart.bench.labels import card
from thwart.bench.state import Batch, Question, Tally

PLACES = ("board", "scale", "knife")
SERVES = {"board": ("board",), "scale": ("scale",), "scanner": ("knife",), "pedal": ("board",), "hand-scale": ()}


@pytest.fixture
def row() -> Play:
    return Play(ROW, places=PLACES, serves=SERVES)


def same(play: Play) -> None:
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


# ---- a fish that went on -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ["lost of 1", "lost of previous", "void of 1"])
def test_a_fish_in_a_queue_can_be_ended_from_where_it_was(row: Play, words: str) -> None:
    row.touch(200)
    assert row.bench.place("scale").queue == (row.numbered(1).specimen_id,)
    assert row.act(words, "board")[-1].body["text"] == f"{words} 1: say it again to do it"
    row.act(words, "board")
    assert row.numbered(1).end == words.split()[0]
    assert row.bench.place("scale").queue == ()
    assert row.fish.number == 2  # what is in hand stays there
    row.lay()
    assert row.bench.in_hand("scale") is None  # there is none to take
    same(row)


def test_the_room_it_leaves_is_taken_by_the_one_that_stayed(row: Play) -> None:
    row.touch(200)
    row.touch(210)
    row.act("next", "board")  # the second touch is the next fish's
    assert row.bench.place("board").stays == row.numbered(2).specimen_id
    row.act("lost of 1", "scale")
    row.act("lost of 1", "scale")
    assert row.bench.place("scale").queue == (row.numbered(2).specimen_id,)
    assert row.fish.number == 3
    same(row)


def test_its_end_can_be_taken_back(row: Play) -> None:
    row.touch(200)
    before = row.bench.place("scale").queue
    row.act("lost of 1", "board")
    row.act("lost of 1", "board")
    row.act("undo", "board")
    assert row.numbered(1).state == "open"
    assert row.bench.place("scale").queue == before
    same(row)


def test_in_another_hand_it_is_ended_there(row: Play) -> None:
    row.touch(200)
    row.lay()
    assert refused(row.act("lost of 1", "board")) == "in-hand-elsewhere"
    row.act("lost of 1", "scale")
    row.act("lost of 1", "scale")
    assert row.numbered(1).end == "lost"
    same(row)


def test_what_was_set_apart_can_be_lost(row: Play) -> None:
    row.touch(200)
    row.lay()
    row.settle(90)
    row.act("park", "scale")
    row.act("lost of 1", "board")
    row.act("lost of 1", "board")
    assert row.numbered(1).end == "lost"
    assert row.bench.desk.parked == ()
    same(row)


def test_a_closed_fish_can_still_be_void() -> None:
    play = Play()
    play.touch(200)
    play.act("next")
    play.touch(210)
    play.act("void of previous")
    play.act("void of previous")
    assert play.numbered(1).end == "void"
    assert play.fish.number == 2
    assert play.values(2) == {"total_length": "210"}
    assert play.bench.need(Batch, "bay").measured == 0
    assert refused(play.act("lost of 1")) == "void-fish"
    assert refused(play.act("lost 1")) == "arguments"
    same(play)


# ---- species in a mixed batch --------------------------------------------------------------------------------------


def test_in_a_mixed_batch_a_fish_without_species_is_incomplete_and_asked() -> None:
    play = Play(batch=True)
    play.touch(200)
    play.weigh(90)
    said = play.label(1)
    assert play.numbered(1).end == "incomplete"
    assert [d.body["code"] for d in said if d.kind in ("asked", "noted")] == ["no-species"]
    play.act("species perch of previous")
    assert (play.numbered(1).end, play.questions()) == ("complete", [])
    same(play)


def test_unknown_is_a_species_too() -> None:
    play = Play(batch=True)
    play.touch(200)
    play.weigh(90)
    play.act("species unknown")
    play.label(1)
    assert (play.numbered(1).end, play.questions()) == ("complete", [])


def test_what_else_lacks_is_named_apart() -> None:
    play = Play(batch=True)
    play.touch(200)
    play.act("next")
    asked = [q for q in play.bench.all(Question) if q.kind in ("incomplete", "no-species")]
    assert [(q.kind, q.state) for q in asked] == [("incomplete", "quiet"), ("no-species", "open")]
    assert asked[0].args["wanted"] == "whole_mass, container"


# ---- destructive acts ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("between", ["dance", "as nothing", "stands"])
def test_a_refused_act_lets_what_was_said_once_lapse(between: str) -> None:
    play = Play()
    play.touch(200)
    play.act("void")
    assert kinds(play.act(between)) == ["refused", "lapsed"]
    assert kinds(play.act("void")) == ["armed", "told"]
    assert play.numbered(1).state != "closed"
    same(play)


def test_a_scan_that_is_no_label_lets_it_lapse_too() -> None:
    play = Play()
    play.touch(200)
    play.card("void")
    assert kinds(play.scan("K-99990")) == ["refused", "lapsed"]
    assert kinds(play.card("void")) == ["armed", "told"]


def test_a_card_read_twice_by_its_scanner_is_said_once() -> None:
    play = Play()
    play.touch(200)
    play.card("void")
    play.now -= 700_000_000  # 0.3 s later
    assert kinds(play.put("scan", instrument="scanner", text=card(["void"]))) == ["told"]
    assert play.numbered(1).state != "closed"
    play.card("void")
    assert play.numbered(1).end == "void"


# ---- tally ---------------------------------------------------------------------------------------------------------


def tallied(play: Play) -> dict[str, int]:
    return {f"{t.species} {t.class_mm}": t.n for t in play.records.objects.values() if isinstance(t, Tally) and t.n}


@pytest.fixture
def wrong() -> Play:
    """A fish too long for a perch, and the card said so."""
    play = Play(TALLY, batch=True)
    play.act("species perch")
    play.touch(700)
    assert play.questions() == ["class-beyond"]
    return play


def test_the_right_species_and_stands_count_it(wrong: Play) -> None:
    said = wrong.act("species roach")
    assert said[-1].body["text"] == "counting roach; 700 mm waits: `stands` counts it, or touch it again"
    assert tallied(wrong) == {}
    wrong.act("stands")
    assert (tallied(wrong), wrong.questions("open", "quiet")) == ({"roach 700": 1}, [])
    same(wrong)


def test_the_right_species_and_the_same_fish_touched_again_count_it_once(wrong: Play) -> None:
    wrong.act("species roach")
    wrong.touch(702)
    assert (tallied(wrong), wrong.questions("open", "quiet")) == ({"roach 700": 1}, [])
    assert [(r.outcome, r.why) for r in wrong.readings()] == [("loose", "touched-again"), ("taken", None)]
    wrong.act("undo")
    assert tallied(wrong) == {}
    assert wrong.questions() == ["class-beyond"]
    same(wrong)


def test_another_fish_leaves_it_on_the_quiet_list(wrong: Play) -> None:
    wrong.act("species roach")
    wrong.touch(640)
    assert (tallied(wrong), wrong.questions("quiet")) == ({"roach 640": 1}, ["class-beyond"])


def test_a_species_it_cant_be_either_leaves_it_there(wrong: Play) -> None:
    wrong.act("species perch")
    wrong.touch(701, after_ms=3000)
    assert (tallied(wrong), wrong.questions("open", "quiet")) == ({}, ["class-beyond", "class-beyond"])
    wrong.act("code sex F")
    assert tallied(wrong) == {}
