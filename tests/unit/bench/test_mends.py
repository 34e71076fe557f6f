"""The act `mend`: what it corrects, what it keeps, what it leaves to be looked at."""

from __future__ import annotations

import pytest

from tests.benchkit import FORKED, Play, check, folded, kinds, refused, state_of
from tests.unit.bench.test_checks_live import Live, folded_anew, learned, mass
from thwart.bench.memory import kind_of, lines_of
from thwart.bench.state import Measurement


def mends(play: Play) -> list[dict[str, object]]:
    return [e.body for e in play.entries if e.kind == "mend"]


@pytest.fixture
def play() -> Live:
    made = Live()
    made.lake(6)
    made.act("batch close done")
    return made


def test_a_value_with_who_why_and_evidence(play: Live) -> None:
    old = play.bench.need(Measurement, play.numbered(3).values["whole_mass"])
    decisions = play.act("mend value 3 whole_mass 0.118 kg misread by ida see photo 12")
    now = play.bench.need(Measurement, play.numbered(3).values["whole_mass"])
    assert (now.value, now.raw_value, now.raw_unit, now.how, now.supersedes) == (
        "118",
        "0.118",
        "kg",
        "mended",
        old.seq,
    )
    assert play.bench.need(Measurement, old.seq).status == "superseded"
    (said,) = mends(play)
    assert (said["old_value"], said["new_value"], said["who"], said["why"], said["evidence"]) == (
        old.value, "118", "ida", "misread", "photo 12",
    )  # fmt: skip
    assert "relearned" in kinds(decisions)
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    check(play)
    play.same_when_told_again()


def test_what_is_odd_after_a_mend_is_noted_not_asked(play: Live) -> None:
    asked = play.bench.desk.asked
    mm = float(play.values(3)["total_length"])
    decisions = play.act(f"mend value 3 whole_mass {mass(mm, 10)} g misread")
    assert "noted" in kinds(decisions)
    assert play.bench.desk.asked == asked


def test_two_fish_exchanged_and_undone(play: Live) -> None:
    before = play.values(2)["whole_mass"], play.values(5)["whole_mass"]
    play.act("mend swap 2 5 whole_mass exchanged")
    assert (play.values(5)["whole_mass"], play.values(2)["whole_mass"]) == before
    model = learned(play)
    play.act("undo")
    assert (play.values(2)["whole_mass"], play.values(5)["whole_mass"]) == before
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    play.act("undo undo")
    assert learned(play) == model
    check(play)
    play.same_when_told_again()


def test_two_fields_of_one_fish() -> None:
    play = Play(FORKED)
    play.touch(220)
    play.touch(200)
    play.act("next")
    play.act("mend fields 1 fork_length total_length exchanged")
    assert play.values(1) == {"fork_length": "200", "total_length": "220"}
    assert play.questions("open", "quiet") == ["incomplete"]
    check(play)


def test_the_unit_of_a_range() -> None:
    play = Live()
    for mm in (21, 25, 30):
        play.act("species pike")
        play.act(f"value total_length {mm} mm")
        play.act("next")
    play.act("mend unit 1 2 total_length cm wrong-unit")
    assert [play.values(n)["total_length"] for n in (1, 2, 3)] == ["210", "250", "30"]
    assert len(mends(play)) == 2
    check(play)


def test_another_species(play: Live) -> None:
    play.act("mend species 4 pike wrong-species by ben")
    assert play.numbered(4).species == "pike"
    assert (learned(play).fish, learned(play, "pike|whole|fresh").fish) == (5, 1)
    (said,) = mends(play)
    assert (said["measurand"], said["old_value"], said["new_value"], said["who"]) == ("species", "perch", "pike", "ben")


def test_a_value_that_is_none(play: Live) -> None:
    play.act("mend missing 4 whole_mass mislaid mistyped")
    fish = play.numbered(4)
    assert "whole_mass" not in fish.values
    assert fish.missing == {"whole_mass": "mislaid"}
    assert fish.end == "complete"
    check(play)


def test_a_void_fish_teaches_nothing_any_more(play: Live) -> None:
    play.act("batch reopen bay more")
    play.act("recall 4")
    play.act("void")
    play.act("void")
    assert learned(play).fish == 5
    assert refused(play.act("mend value 4 whole_mass 3 g misread")) == "void-fish"
    assert state_of(folded(play)) == state_of(play.bench)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("mend", "arguments"),
        ("mend value 3 whole_mass 118 g", "arguments"),
        ("mend value 3 whole_mass 118 g because", "unknown-reason"),
        ("mend value 3 whole_mass 118 g misread ida", "arguments"),
        ("mend value 3 nosuch 118 g misread", "unknown-measurand"),
        ("mend value 3 whole_mass much g misread", "not-a-number"),
        ("mend value 3 whole_mass 118 cm misread", "unknown-unit"),
        ("mend value 99 whole_mass 118 g misread", "unknown-fish"),
        ("mend missing 3 whole_mass tired mistyped", "unknown-reason"),
        ("mend swap 3 3 whole_mass exchanged", "arguments"),
        ("mend fields 3 whole_mass total_length exchanged", "arguments"),
        ("mend unit 1 2 whole_mass cm wrong-unit", "unknown-unit"),
        ("mend species 3 shark wrong-species", "unknown-species"),
        ("mend species 3 perch wrong-species", "already"),
    ],
)
def test_what_makes_no_sense_is_refused(play: Live, words: str, code: str) -> None:
    before = play.values(3)
    assert refused(play.act(words)) == code
    assert play.values(3) == before
