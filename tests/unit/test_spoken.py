"""What a voice says: fish, measurand where it could be another, value; digits singly; nothing lost, nothing dangerous."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.benchkit import SOLO, TALLY, Play
from thwart.announce.feed import lines_of
from thwart.announce.spoken import speakable, spoken, utterance
from thwart.entries import Entry
from thwart.languages import LANGUAGES, language
from thwart.units import FACTORS

EN, DE = language("en"), language("de")


def heard(play: Play, code: str, kind: str) -> list[str]:
    """What was said aloud of one kind of decision."""
    out: list[str] = []
    group: list[Entry] = []
    for entry in [*play.entries, None]:
        if (entry is None or entry.input_seq is None) and group:
            out += [s["spoken"] for line in lines_of(group, code) if line["kind"] == kind for s in line["said"]]
            group = []
        if entry is not None:
            group.append(entry)
    return out


def digits_of(text: str, code: str) -> str:
    """The figures in a text that was made speakable, back again."""
    names = {language(code).tables["spoken"][str(n)]: str(n) for n in range(10)}
    return "".join(names.get(word.strip(",.?!"), "") for word in text.split())


def test_a_measurement_is_fish_and_value() -> None:
    play = Play(SOLO)
    play.touch(412)
    play.weigh(680)
    assert heard(play, "en", "measured") == ["one, four one two millimetres", "one, six eight zero grams"]
    assert heard(play, "de", "measured") == ["eins, vier eins zwo Millimeter", "eins, sechs acht null Gramm"]


TWO_LENGTHS = SOLO.replace(
    '[[measurands]]\nname = "whole_mass"',
    '[[measurands]]\nname = "fork_length"\nquantity = "length"\n\n[[measurands]]\nname = "whole_mass"',
)


def test_the_measurand_is_said_where_the_reading_could_have_been_another() -> None:
    play = Play(TWO_LENGTHS)
    play.touch(212)
    play.touch(201)
    first, second = heard(play, "en", "measured")
    assert first == "one, total length, two one two millimetres"
    assert second == "one, two zero one millimetres", "only one was left to be filled"


def test_what_came_by_hand_names_its_measurand_and_what_came_again_says_so() -> None:
    play = Play(SOLO)
    play.touch(212)
    play.touch(214)
    play.act("again")
    play.act("value whole_mass 98 g")
    assert heard(play, "en", "measured")[1:] == [
        "one, two one four millimetres, again",
        "one, whole mass, nine eight grams",
    ]
    assert heard(play, "de", "measured")[1].endswith(", neu")


def measured(**more: Any) -> Entry:
    play = Play(SOLO)
    play.touch(212)
    entry = next(e for e in play.entries if e.kind == "measured")
    return Entry(entry.seq, entry.kind, entry.input_seq, entry.specimen_id, entry.stamp, {**entry.body, **more})


@pytest.mark.parametrize(
    ("raw", "unit", "en", "de"),
    [
        ("-0.5", "kg", "minus zero point five kilograms", "minus null Komma fünf Kilogramm"),
        ("1", "[lb_av]", "one pound", "eins Pfund"),
        ("12.04", "g", "one two point zero four grams", "eins zwo Komma null vier Gramm"),
        ("1.0", "cm", "one point zero centimetres", "eins Komma null Zentimeter"),
    ],
)
def test_values_with_points_signs_and_other_units(raw: str, unit: str, en: str, de: str) -> None:
    entry = measured(raw_value=raw, raw_unit=unit, number=214)
    assert spoken("", entry, EN) == f"two one four, {en}"
    assert spoken("", entry, DE) == f"zwo eins vier, {de}"


def test_a_side_is_always_said() -> None:
    entry = measured(side="left", measurand="otolith_length", one_of=2)
    assert spoken("", entry, EN) == "one, otolith length, left, two one two millimetres"
    assert spoken("", entry, DE).split(", ")[2] == "links"


@pytest.mark.parametrize(
    ("text", "en"),
    [
        ("fish 215 (perch)", "fish two one five, perch"),
        ("1 has total_length 212 already, now 214 mm: again or new?",
         "one has total length two one two already, now two one four millimetres, again or new?"),
        ("container LK-00214 after LK-00212: 1 left out, or is it a neighbour's?",
         "container L K zero zero two one four after L K zero zero two one two, one left out, or is it a neighbour's?"),
        ("scale: zero moved +6 g; masses since the last good zero are suspect",
         "scale, zero moved plus six grams, masses since the last good zero are suspect"),
        ("118 whole_mass mended: none → 12.5", "one one eight whole mass mended, none to one two point five"),
        ("board: 14 bytes rejected (2 × torn)", "board, one four bytes rejected, two times torn"),
        ("`undo`: say it again", "undo, say it again"),
        ("1 2 otolith both", "one, two otolith both"),
        ("container K-07 214", "container K zero seven, two one four"),
        ("117 incomplete", "one one seven incomplete"),
    ],
)  # fmt: skip
def test_sentences(text: str, en: str) -> None:
    assert speakable(text, EN) == en


def test_a_question_in_both_languages_holds_both_values() -> None:
    play = Play(SOLO)
    play.touch(212)
    play.touch(340)
    for code in LANGUAGES:
        (question,) = heard(play, code, "asked")
        figures = digits_of(question, code)
        assert figures.startswith("1")
        assert "212" in figures
        assert "340" in figures
        assert question.endswith("?")


def test_a_tally_is_told_by_tones() -> None:
    play = Play(TALLY)
    play.act("species perch")
    play.touch(212)
    assert heard(play, "en", "tallied") == [""]
    assert heard(play, "en", "species") != [""]


@given(
    st.decimals(min_value=-99999, max_value=99999, allow_nan=False, allow_infinity=False, places=3),
    st.integers(1, 99999),
    st.sampled_from(sorted(FACTORS)),
    st.sampled_from(LANGUAGES),
)
def test_every_digit_of_a_value_is_said_in_order(value: Any, number: int, unit: str, code: str) -> None:
    raw = f"{value:f}"
    said = spoken("", measured_like(number, raw, unit), language(code))
    fish, *rest = said.split(", ")
    assert digits_of(fish, code) == str(number)
    assert digits_of(" ".join(rest), code) == re.sub("[^0-9]", "", raw)
    table = language(code).tables["spoken"]
    assert (table["minus"] in said) == raw.startswith("-")
    assert said.count(table["point"]) == raw.count(".")
    assert said.endswith(table[unit])


_ONE = measured()


def measured_like(number: int, raw: str, unit: str) -> Entry:
    body = {**_ONE.body, "number": number, "raw_value": raw, "raw_unit": unit}
    return Entry(_ONE.seq, _ONE.kind, _ONE.input_seq, _ONE.specimen_id, _ONE.stamp, body)


@given(st.text(max_size=80), st.sampled_from(LANGUAGES))
def test_any_text_becomes_words_and_pauses_only(text: str, code: str) -> None:
    said = speakable(text, language(code))
    assert len(said) <= 240
    # Nothing a voice program takes for markup, phonemes or an option of its own.
    assert not set(said) & set('<>&[]{}|\\^~`$"#*\n\r\t\0')
    assert not said.startswith("-")
    assert all(c.isalnum() or c in " ,.?!'’" or not c.isascii() for c in said)
    assert not any(c.isdecimal() for c in said)
    if len(said) < 200:
        assert len(digits_of(said, code)) >= sum(c.isascii() and c.isdigit() for c in text)


def test_every_unit_has_words_in_every_language() -> None:
    for code in LANGUAGES:
        table = language(code).tables["spoken"]
        assert {u for u in FACTORS if u not in table or f"{u} one" not in table} == set()


def test_of_one_input_the_most_urgent_is_heard_and_a_new_fish_only_where_nothing_else_is() -> None:
    def one(sound: str, spoken: str, place: str | None = "table") -> dict[str, Any]:
        return {"sound": sound, "text": spoken, "spoken": spoken, "place": place}

    assert utterance([one("taken", "a"), one("asked", "b", "knife"), one("next", "c")]) == ("asked", "knife", "a. b.")
    assert utterance([one("next", "c"), one("next", "d")]) == ("next", "table", "c. d.")
    assert utterance([one("taken", "")]) == ("taken", "table", "")
