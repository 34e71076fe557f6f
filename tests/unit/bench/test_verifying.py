"""`verify`: a known length or mass shows whether an instrument is right."""

from __future__ import annotations

import pytest

from tests.benchkit import ROW, TALLY, Play, check, folded, kinds, refused
from thwart.bench.state import Question


def verified(play: Play, name: str) -> tuple[bool | None, bool]:
    """What is known of an instrument, and whether it is known since when."""
    i = play.bench.instrument(name)
    return i.verified, i.last_verified_utc is not None


def test_a_known_length_that_is_measured_so_verifies_the_board_and_is_no_fishs() -> None:
    play = Play()
    assert verified(play, "board") == (None, False)
    play.act("verify 300 mm")
    told = play.touch(301)
    assert [d.body["text"] for d in told if d.kind == "verified"] == ["board is right: 301 mm for 300 mm"]
    assert verified(play, "board") == (True, True)
    assert (play.last_reading().outcome, play.last_reading().why) == ("loose", "known")
    assert play.values(1) == {}
    assert play.questions("open", "quiet") == []
    play.touch(212)
    assert play.values(1) == {"total_length": "212"}
    check(play)


@pytest.mark.parametrize("before", ["no batch", "paused"])
def test_it_needs_no_fish_in_hand(before: str) -> None:
    play = Play(batch=before != "no batch")
    if before == "paused":
        play.act("pause")
    play.act("verify 30 cm")
    play.touch(300)
    assert verified(play, "board") == (True, True)


@pytest.mark.parametrize(
    ("said", "measured", "right"),
    [
        ("300 mm", 299, True), ("300 mm", 301, True), ("300 mm", 298, False), ("300 mm", 302, False),  # 1 mm, one division
        ("100 g", 102, True), ("100 g", 98, True), ("100 g", 103, False), ("100 g", 97, False),  # two divisions
        ("1 kg", 1005, True), ("1 kg", 995, True), ("1 kg", 1006, False), ("1 kg", 994, False),  # 0.5 %
    ],
)  # fmt: skip
def test_how_far_off_is_right(said: str, measured: int, right: bool) -> None:
    play = Play()
    play.act(f"verify {said}")
    if said.endswith("mm"):
        play.touch(measured)
    else:
        play.weigh(measured)
    assert verified(play, "board" if said.endswith("mm") else "scale") == (right, True)
    assert play.questions() == ([] if right else ["verify-failed"])
    check(play)


def test_one_that_is_off_is_asked_with_since_when_what_it_measured_is_doubtful() -> None:
    play = Play()
    play.act("verify 300 mm")
    play.touch(300)
    since = play.bench.instrument("board").last_verified_utc
    play.act("verify 300 mm")
    play.touch(297)
    (asked,) = [q for q in play.records.objects.values() if isinstance(q, Question)]
    assert asked.verdict == 3
    assert asked.text == (
        "board says 297 mm for 300 mm: -3 mm, more than 1 mm; clean, zero and `verify` again: "
        f"what it measured since {since} is doubtful"
    )
    play.act("verify 300 mm")
    play.touch(300)
    assert verified(play, "board") == (True, True)
    assert play.questions() == []


def test_a_known_mass_that_settles_again_is_still_the_known_mass() -> None:
    play = Play()
    play.act("verify 100 g")
    play.lay()
    play.settle(100)
    play.settle(101)
    assert (play.last_reading().outcome, play.last_reading().why) == ("doubled", "same-load")
    play.lift()
    play.weigh(93)
    assert play.values(1) == {"whole_mass": "93"}
    assert verified(play, "scale") == (True, True)
    check(play)


def test_only_a_reading_of_its_quantity_is_meant() -> None:
    play = Play()
    play.act("verify 100 g")
    play.touch(212)
    assert play.values(1) == {"total_length": "212"}
    play.weigh(100)
    assert play.values(1) == {"total_length": "212"}
    assert verified(play, "board") == (None, False)
    assert verified(play, "scale") == (True, True)


def test_it_is_forgotten_after_two_minutes() -> None:
    play = Play()
    play.act("verify 300 mm")
    play.touch(212, after_ms=121_000)
    assert play.values(1) == {"total_length": "212"}


def test_undo_takes_back_what_was_a_fish_after_all() -> None:
    play = Play()
    play.act("verify 300 mm")
    play.touch(300)
    when = play.bench.instrument("board").last_verified_utc
    play.act("verify 300 mm")
    play.touch(212)
    assert verified(play, "board") == (False, True)
    play.act("undo")
    assert verified(play, "board") == (True, True)
    assert play.bench.instrument("board").last_verified_utc == when
    assert play.questions() == []
    play.act("undo")  # and that a known length was to come
    play.touch(212)
    assert play.values(1) == {"total_length": "212"}
    assert folded(play).objects == play.bench.objects
    check(play)


def test_a_knock_makes_a_check_due() -> None:
    play = Play()
    play.act("verify 100 g")
    play.weigh(100)
    assert "check-due" in kinds(play.act("knock"))
    assert verified(play, "scale") == (None, True)
    assert "check-due" not in kinds(play.act("knock"))


def test_in_a_row_a_known_mass_takes_no_fish_from_the_queue() -> None:
    serves = {"board": ("board",), "scale": ("scale",), "hand-scale": ("scale",), "scanner": ("knife",)}
    play = Play(ROW, places=("board", "scale", "knife"), serves=serves)
    play.touch(212)
    waiting = play.bench.place("scale").queue
    assert len(waiting) == 1
    play.act("verify 100 g", place="scale")
    play.weigh(100)
    assert play.bench.place("scale").queue == waiting
    play.weigh(93)
    assert play.values(1) == {"total_length": "212", "whole_mass": "93"}
    check(play)


def test_in_a_tally_it_is_not_counted() -> None:
    play = Play(TALLY, batch="perch")
    play.act("verify 300 mm")
    assert "tallied" not in kinds(play.touch(300))
    assert "tallied" in kinds(play.touch(212))


def test_a_card_takes_the_number_typed_before() -> None:
    play = Play()
    for n in "300":
        play.card(f"digit {n}")
    play.card("verify typed mm")
    play.touch(300)
    assert verified(play, "board") == (True, True)


@pytest.mark.parametrize(
    ("act", "code"),
    [
        ("verify", "arguments"), ("verify 300", "arguments"), ("verify board 300 mm", "arguments"),
        ("verify many mm", "not-a-number"), ("verify 0 mm", "not-a-number"), ("verify 3 fathoms", "nothing-to-verify"),
    ],
)  # fmt: skip
def test_what_is_refused(act: str, code: str) -> None:
    assert refused(Play().act(act)) == code


def test_a_place_that_measures_no_mass_is_told_so() -> None:
    play = Play(serves={"scale": (), "hand-scale": ()})
    assert refused(play.act("verify 100 g")) == "nothing-to-verify"
