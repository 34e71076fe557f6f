"""Numbers scanned digit by digit: what they make, when they lapse, and that `undo` takes back the last one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.benchkit import SOLO, Play, check, folded, kinds, refused
from thwart.bench.parts import NUMBER


def typed(play: Play, marks: str) -> None:
    for mark in marks:
        play.act(f"digit {'point' if mark == '.' else mark}")


def test_a_value_digit_by_digit() -> None:
    play = Play(SOLO)
    typed(play, "212")
    assert play.entries[-1].body["code"] == "typed"
    assert play.entries[-1].body["text"] == "212"
    play.act("value total_length typed mm tape")
    assert play.values(1) == {"total_length": "212"}
    assert play.here.typed == ""
    assert refused(play.act("value whole_mass typed g")) == "nothing-typed"
    check(play)


def test_undo_takes_back_the_last_digit() -> None:
    play = Play(SOLO)
    typed(play, "413")
    play.act("undo")
    assert play.here.typed == "41"
    typed(play, "2")
    play.act("value whole_mass typed g")
    assert play.values(1) == {"whole_mass": "412"}


def test_a_number_lapses_by_another_act_by_time_and_by_a_start() -> None:
    play = Play(SOLO)
    typed(play, "41")
    play.act("code sex F")
    assert refused(play.act("value whole_mass typed g")) == "nothing-typed"
    typed(play, "7")
    play.now += 61_000_000_000
    assert refused(play.act("value whole_mass typed g")) == "nothing-typed"
    typed(play, "8")  # begins anew
    assert play.here.typed == "8"
    play.start()
    assert refused(play.act("value whole_mass typed g")) == "nothing-typed"
    check(play)


def test_a_refused_act_leaves_the_number() -> None:
    play = Play(SOLO)
    typed(play, "9")
    assert refused(play.act("value whole_mass typed mm")) == "unknown-unit"
    play.act("value whole_mass typed g")
    assert play.values(1) == {"whole_mass": "9"}


def test_an_act_of_two_steps_takes_the_number_twice() -> None:
    play = Play(SOLO)
    play.touch(200)
    play.act("next")
    play.touch(201)
    typed(play, "1")
    assert kinds(play.act("same-as typed"))[0] == "armed"
    play.act("same-as typed")
    assert play.numbered(2).end == "same-as"
    assert play.here.typed == ""
    typed(play, "1")
    play.act("recall typed")
    assert play.fish.number == 1


@pytest.mark.parametrize("words", ["digit", "digit 12", "digit x", "digit 1 2", "digit ²", "digit ."])
def test_what_is_no_digit(words: str) -> None:
    assert refused(Play(SOLO).act(words)) == "arguments"


@settings(max_examples=60)
@given(st.text("0123456789.", max_size=14))
def test_what_is_typed_is_what_the_digits_say(marks: str) -> None:
    """Marks that would make it no number are refused one by one; the rest is the number."""
    play = Play(SOLO)
    expected = ""
    for mark in marks:
        decided = play.act(f"digit {'point' if mark == '.' else mark}")
        sound = NUMBER.fullmatch(expected + mark) or (mark == "." and expected.isdigit())
        assert ("refused" in kinds(decided)) != bool(sound)
        expected += mark if sound else ""
        assert play.here.typed == expected
    assert folded(play).place("table").typed == expected
    done = play.act("count typed")
    number = expected.removesuffix(".")
    assert ("counted" in kinds(done)) == (number.isdigit() and 0 < int(number) <= 999)
