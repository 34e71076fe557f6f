"""Whatever people, scanners and instruments say: a decision, never an exception."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.benchkit import FORKED, SOLO, Play, check, refused
from thwart.bench.acts import ACTS, HAND, MISSING_REASONS
from thwart.bench.words import ANNOUNCED, QUESTIONS, REFUSALS, TOLD, WHY, say, shown

BUDGET = settings(max_examples=80, suppress_health_check=list(HealthCheck))

odd = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    st.sampled_from(["", " ", "{", "}", "{number}", "{0}", "%s", "\x00", "\x1b[31m", "٣", "１２", "1e9", "-0", "NaN", "inf", "1_0",
                     "٫5", "of", "of previous", "previous", "undo", "a" * 5000, "9" * 5000, "\u202e", "K-00013", "bay", "\n"]),
    st.sampled_from([*ACTS, *MISSING_REASONS, *HAND, "total_length", "whole_mass", "sex", "F", "mm", "g", "perch", "on", "open"]),
)  # fmt: skip


def used(text: str = SOLO) -> Play:
    """A bench with something of everything on it."""
    play = Play(text)
    play.touch(212)
    play.weigh(100)
    play.act("next")
    play.touch(300)
    play.touch(310)
    return play


@BUDGET
@given(st.sampled_from([*ACTS, "dance", ""]), st.lists(odd, max_size=5), st.one_of(st.none(), odd))
def test_acts_with_strange_words(name: str, args: list[str], place: str | None) -> None:
    play = used()
    for _ in range(2):
        play.put("act", act=name, args=args, place=place, via="cli")
    check(play)


@BUDGET
@given(st.sampled_from(sorted(ACTS)), st.lists(odd, max_size=4))
def test_cards_with_strange_words(name: str, args: list[str]) -> None:
    from thwart.bench.labels import CARD_PREFIX, _card_check

    play = used(FORKED)
    body = CARD_PREFIX + ".".join([name, *args]) + "."
    play.scan(body + _card_check(body))
    check(play)


@BUDGET
@given(
    st.one_of(
        odd,
        odd.map(lambda t: "ACT." + t),
        odd.map(lambda t: "K-" + t),
        st.binary(max_size=60).map(lambda b: b.decode("latin-1")),
    )
)
def test_strange_scans_and_keys(text: str) -> None:
    for protocol in (SOLO, FORKED):
        play = used(protocol)
        play.scan(text)
        play.put("scan", instrument="ghost", text=text)
        play.put("key", instrument="pedal", text=text, at_ns=play.now)
        play.put("key", instrument="ghost", text=text, at_ns=play.now)
        check(play)


@BUDGET
@given(
    st.sampled_from(["board", "scale", "hand-scale", "scanner", "pedal", "ghost"]),
    st.sampled_from(["0", "-1", "0.000001", "999999999999", "1" * 40, "212"]),
    st.sampled_from(["ok", "moving", "zero", "overload", "underload", "error"]),
    st.sampled_from(["mark", "window", "timed", "each", "moving"]),
    st.sampled_from([None, "gross", "net", "tare"]),
    st.booleans(),
)
def test_readings_of_every_form(
    name: str, value: str, condition: str, settled: str, load: str | None, base: bool
) -> None:
    play = used()
    play.lay()
    more: dict[str, Any] = {} if base else {"base": None}
    play.reading(name, value, "g", condition=condition, settled=settled, load=load, **more)
    play.put("arrival", instrument="ghost", places=["attic"], baseline=None)
    play.put("emptied", instrument="ghost", resting=None)
    play.put("emptied", instrument="scale", resting="0.5")
    for kind in ("stopped", "rejected", "overflow"):
        play.put(kind)
    play.reading(name, value, "g", condition=condition, settled=settled, load=load, **more)
    check(play)


def test_braces_in_a_text_stay_as_they_are() -> None:
    play = Play()
    said = play.act("measurer {number} {0}")
    assert said[-1].body["text"] == "measurer: {number} {0}"
    assert "'{x}'" in play.act("as {x}")[0].body["text"]
    play.act("batch close {reason}")
    play.act("batch open {bay}")
    assert play.here.batch == "{bay}"


def test_a_long_text_is_shown_cut() -> None:
    play = Play()
    assert len(play.scan("x" * 5000)[0].body["text"]) < 200
    assert len(play.act("as " + "x" * 5000)[0].body["text"]) < 300
    assert shown("x" * 61) == "x" * 60 + "…"


def test_a_number_of_many_digits_is_no_fish() -> None:
    assert refused(Play().act("recall " + "9" * 5000)) == "unknown-fish"


@pytest.mark.parametrize("table", [QUESTIONS, REFUSALS, WHY, TOLD, ANNOUNCED])
def test_a_code_without_its_arguments_is_a_fault_of_the_program(table: dict[str, str]) -> None:
    for code, words in table.items():
        if "{" in words:
            with pytest.raises(KeyError):
                say(table, code, {})
    with pytest.raises(KeyError):
        say(table, "no such code", {})
