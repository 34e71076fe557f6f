"""What was announced and is still to come: pieces, pools, people after a break; and which place an act means."""

from __future__ import annotations

import pytest

from tests.benchkit import FORKED, ROW, SOLO, Play, check, folded, kinds, refused, state_of
from thwart.bench.state import Measurement, Pool

PLACES = ("left", "right")
APART = {"board": ("left",), "scale": ("left",), "hand-scale": ("right",)}


def same(play: Play) -> None:
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def pools(play: Play) -> list[str]:
    return [p.value for p in play.records.objects.values() if isinstance(p, Pool) and p.status == "stands"]


# ---- pieces --------------------------------------------------------------------------------------------------------


@pytest.fixture
def pieces() -> Play:
    """One piece of two came."""
    play = Play(FORKED)
    play.touch(200)
    play.act("parts whole_mass 2")
    play.weigh(300)
    return play


@pytest.mark.parametrize("end", ["next", "batch close done", "void"])
def test_a_piece_is_never_the_next_fishs(pieces: Play, end: str) -> None:
    pieces.act(end)
    if end == "void":
        pieces.act(end)
    assert pieces.here.parts_of is None
    if end.startswith("batch"):
        pieces.act("batch open bay2 unknown")
    pieces.touch(210)
    pieces.weigh(50)
    assert pieces.values(2) == {"fork_length": "210", "whole_mass": "50"}
    assert "pieces-left" in pieces.questions("open", "quiet", "read-out")
    assert "whole_mass" not in pieces.values(1)
    same(pieces)


def test_pieces_announced_anew_begin_anew_and_the_others_are_noted(pieces: Play) -> None:
    pieces.act("parts whole_mass 2")
    pieces.weigh(100)
    pieces.weigh(120)
    assert pieces.values(1)["whole_mass"] == "220"
    assert pieces.questions("quiet") == ["pieces-left"]
    same(pieces)


def test_a_piece_that_settles_again_is_one_piece() -> None:
    play = Play(FORKED)
    play.touch(200)
    play.act("parts whole_mass 2")
    play.lay()
    play.settle(300)
    play.settle(300)
    assert (play.last_reading().outcome, play.here.parts_left) == ("doubled", 1)
    play.settle(340)
    assert play.questions("quiet") == ["changed-on-the-pan"]
    play.lift()
    play.weigh(200)
    assert play.values(1)["whole_mass"] == "500"
    same(play)


# ---- pools ---------------------------------------------------------------------------------------------------------


def test_a_pool_that_settles_again_is_no_fishs_mass() -> None:
    play = Play(FORKED)
    play.act("pool 25")
    play.lay()
    play.settle(400)
    play.settle(400)
    play.lift()
    assert (pools(play), play.values(1), play.last_reading().outcome) == (["400"], {}, "doubled")
    play.weigh(90)
    assert play.values(1) == {"whole_mass": "90"}
    same(play)


@pytest.mark.parametrize("end", ["next", "batch close done"])
def test_a_pool_lapses_with_the_fish_and_the_batch(end: str) -> None:
    play = Play(FORKED)
    play.touch(200)
    play.act("pool 25")
    play.act(end)
    if end != "next":
        play.act("batch open bay2 unknown")
    play.weigh(50)
    assert (pools(play), play.values(2)) == ([], {"whole_mass": "50"})


# ---- hosing --------------------------------------------------------------------------------------------------------


def test_pause_says_that_the_touches_were_water() -> None:
    play = Play()
    for mm in (500, 120, 300):
        play.touch(mm, after_ms=400)
    assert "hosing" in play.questions()
    play.act("pause")
    assert play.values(1) == {}
    assert [(r.outcome, r.why) for r in play.readings()] == [
        ("loose", "hosed"),
        ("loose", "left-behind"),
        ("loose", "left-behind"),
    ]
    play.act("resume")
    play.touch(212)
    assert play.values(1) == {"total_length": "212"}
    same(play)


def test_what_was_measured_before_the_water_stays() -> None:
    play = Play()
    play.touch(212)
    play.weigh(90)
    for mm in (500, 120, 300):
        play.touch(mm, after_ms=400)
    play.act("pause")
    assert play.values(1) == {"total_length": "212", "whole_mass": "90"}


# ---- people --------------------------------------------------------------------------------------------------------


def test_people_are_not_inherited_over_a_long_break_nobody_said() -> None:
    play = Play()
    play.act("measurer ida")
    play.touch(200)
    play.now += 21 * 60 * 10**9
    play.lay()
    assert [d.body["code"] for d in play.settle(90) if d.kind == "told"] == ["who"]
    assert [play.bench.need(Measurement, seq).measurer for seq in play.fish.values.values()] == ["ida", None]
    same(play)


def test_a_short_break_changes_nobody() -> None:
    play = Play()
    play.act("measurer ida")
    play.now += 19 * 60 * 10**9
    play.touch(200)
    assert play.here.measurer == "ida"


# ---- which place ---------------------------------------------------------------------------------------------------


@pytest.fixture
def two() -> Play:
    """Two places with one scanner and one pedal between them; the fish at the left one was measured."""
    play = Play(SOLO, places=PLACES, serves=APART)
    play.touch(200)
    return play


def test_a_label_of_a_shared_scanner_means_the_fish_that_is_worked_on(two: Play) -> None:
    two.weigh(90)
    two.label(1)
    assert two.numbered(1).containers == ("K-00013",)
    assert two.numbered(2).state == "open"  # untouched, at the right place
    same(two)


def test_next_of_a_shared_pedal_is_never_guessed(two: Play) -> None:
    assert refused(two.pedal()) == "which-place"
    two.pedal("P6", after_ms=3000)
    assert (two.numbered(1).state, two.numbered(2).state) == ("closed", "open")
    assert refused(two.pedal("P6", after_ms=400)) == "dead-time"
    assert "refused" not in kinds(two.pedal("P7", after_ms=300))  # another place's key
    same(two)


@pytest.mark.parametrize("words", ["species perch", "code sex F", "void", "pause"])
def test_what_may_be_said_of_any_fish_needs_the_place(two: Play, words: str) -> None:
    assert refused(two.card(words)) == "which-place"


def test_a_card_may_name_its_place(two: Play) -> None:
    two.card("at right species perch")
    assert (two.numbered(1).species, two.numbered(2).species) == ("unknown", "perch")
    assert kinds(two.card("at left void")) == ["armed", "told"]
    two.card("at left void")
    assert two.numbered(1).end == "void"
    assert refused(two.card("at nowhere next")) == "unknown-place"
    assert refused(two.card("at left")) == "arguments"
    assert refused(two.card("at left at right next")) == "arguments"
    same(two)


def test_in_a_row_a_shared_scanner_means_no_untouched_fish() -> None:
    places = ("board", "scale", "knife")
    serves = {"board": ("board",), "scale": ("scale",), "scanner": places, "pedal": ("board",), "hand-scale": ()}
    play = Play(ROW, places=places, serves=serves)
    play.touch(200)
    assert refused(play.card("code sex F")) == "which-place"  # 1 waits before the scale, 2 is in hand at the board
    play.weigh(90)
    play.label(1)
    assert (play.numbered(1).containers, play.numbered(1).end) == (("K-00013",), "complete")
    same(play)
