"""Languages: the same tables, codes and arguments in each; what is said in German, of everything that can be said."""

from __future__ import annotations

import re
import string
import tomllib
from importlib import resources

import pytest

from tests.unit.bench.test_checks_live import Live, mass
from tests.unit.test_narrate import a_full_day
from thwart.announce.narrate import narrate, question
from thwart.bench.acts import HAND, MISSING_REASONS
from thwart.checks import words as checks
from thwart.entries import Entry
from thwart.languages import DEFAULT, LANGUAGES, Done, Language, language

OTHERS = [code for code in LANGUAGES if code != DEFAULT]


def holes(text: str) -> list[str]:
    return sorted(f"{name}!{how}" if how else name for _, name, _, how in string.Formatter().parse(text) if name)


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_files_are_toml_and_read_as_such(code: str) -> None:
    text = (resources.files("thwart.languages") / f"{code}.toml").read_text()
    assert language(code).tables == tomllib.loads(text)


@pytest.mark.parametrize("code", OTHERS)
def test_every_language_has_the_same_codes_with_the_same_arguments(code: str) -> None:
    ours, theirs = language(DEFAULT).tables, language(code).tables
    assert list(ours) == list(theirs)
    for table, words in ours.items():
        assert list(words) == list(theirs[table]), table
        for key, text in words.items():
            assert holes(text) == holes(theirs[table][key]), (table, key)


@pytest.mark.parametrize("code", OTHERS)
def test_no_sentence_was_left_in_english(code: str) -> None:
    same = [
        (table, key)
        for table, words in language(DEFAULT).tables.items()
        for key, text in words.items()
        if text == language(code).tables[table][key]
        and len(re.findall(r"[a-z]{2,}", re.sub(r"{.*?}|`.*?`", "", text))) > 2
    ]
    assert same == []


@pytest.mark.parametrize("code", LANGUAGES)
def test_what_is_typed_is_the_same_in_every_language(code: str) -> None:
    """Acts stand between backticks; a translated one would be refused."""
    ours = language(DEFAULT).tables
    for table in ("questions", "refusals", "told"):
        for key, text in language(code).tables[table].items():
            said = {words.split()[0] for words in re.findall(r"`([^`]+)`", text) if not words.startswith("{")}
            known = {words.split()[0] for words in re.findall(r"`([^`]+)`", ours[table][key])} | {"again", "next"}
            assert said <= known, (table, key)


@pytest.mark.parametrize("code", LANGUAGES)
def test_closed_lists_have_names(code: str) -> None:
    words = language(code).tables["words"]
    ends = {"complete", "incomplete", "lost", "void", "same-as"}
    assert {*MISSING_REASONS, *HAND, *ends, "unknown", "left", "right", "both"} <= set(words)
    assert list(checks.CAUSES) == list(language(code).tables["causes"])
    assert list(checks.ADVICE) == list(language(code).tables["advice"])


def test_numbers_take_the_locale_s_form() -> None:
    german = language("de")
    assert german.number("12.5") == "12,5"
    assert german.number("-0.25") == "-0,25"
    assert german.number("K-00.12.5") == "K-00.12.5"
    assert german.phrase("total_length 198.5 mm, sex F") == "Totallänge 198,5 mm, Geschlecht F"
    assert german.phrase("K-1.5 2026-05-04 v1.2.3") == "K-1.5 2026-05-04 v1.2.3"
    assert language(DEFAULT).phrase("198.5") == "198.5"


def test_what_was_typed_and_what_is_told_already_stands_as_it_is() -> None:
    german = language("de")
    refused = german.say("refusals", "not-a-number", {"act": "value", "text": "broken"})
    assert refused == "value: 'broken' ist keine Zahl"
    assert german.say("announced", "read-out", {"texts": Done("1.5 broken")}).endswith("1.5 broken")
    assert "gemeint: next, value?" in german.say(
        "refusals", "unknown-act", {"act": "nxt", "near": "did you mean next, value?"}
    )
    whose = german.say("refusals", "container-taken", {"act": "move", "label": "K-1", "whose": "of fish 12"})
    assert whose == "move: Behälter K-1 ist nicht zu haben: er gehört zu Fisch 12"


def test_a_full_day_is_told_in_german() -> None:
    told, english = [], []
    for play in a_full_day():
        group: list[Entry] = []
        for entry in [*play.entries, None]:
            if (entry is None or entry.input_seq is None) and group:
                told += [s.text for s in narrate(group[0], group[1:], language("de"))]
                english += [s.text for s in narrate(group[0], group[1:])]
                group = []
            if entry is not None:
                group.append(entry)
    assert len(told) == len(english)
    assert all(text and "{" not in text for text in told)
    same = {text for text, other in zip(told, english, strict=True) if text == other}
    # Numbers, species and codes that the protocol names itself are the same in any language.
    assert all(re.fullmatch(r"\d+ \w+ [A-Z]|\w+ \d+ mm: \d+", text) for text in same), same
    text = "\n".join(told)
    for said in (
        "Fisch 1",
        "1 Vollgewicht 100 g",
        "1 Vollgewicht fehlt: verlegt",
        "Partie bay offen",
        "Pause: Messwerte gehören zu keinem Fisch",
        "1 ist perch",
    ):
        assert said in text
    assert not re.search(r"\b(fish|with|the|is|and|of)\b", re.sub(r"`.*?`", "", text)), text


def test_an_entry_of_an_older_version_is_told_as_the_ledger_has_it() -> None:
    assert question(language("de"), "digit_off", {"number": 1}, "1: as it was said then") == "1: as it was said then"
    assert question(language("de"), "gone-since", {}, "what is no cause any more") == "what is no cause any more"


def asked_by_the_checks() -> Live:
    play = Live()
    play.act("species perch")
    for length, times in ((200, 100), (210, 10), (220, 0.1)):
        play.touch(length)
        play.weigh(mass(length, times))
        play.act("next")
    play.act("species pike")
    play.touch(200)
    play.weigh(mass(200, 40))
    for number in range(30, 60):  # each fish with the mass of the one before: values slipped
        play.act("next")
        play.act("species perch")
        play.touch(200 + 7 * (number * 13 % 17))
        play.weigh(mass(200 + 7 * ((number - 1) * 13 % 17)))
    return play


def test_what_the_checks_found_can_be_told_from_codes_and_arguments() -> None:
    """Told anew in English it is what the ledger has; so nothing that another language needs is missing."""
    play = asked_by_the_checks()
    anew = Language("again", language(DEFAULT).tables)
    asked = [e.body for e in play.entries if e.kind in ("asked", "noted")]
    assert {"found", "hint", "repair"} <= {key for b in asked for key in b["args"]}
    for b in asked:
        told = question(anew, b["code"], b["args"], "not told")
        assert told.replace("_", " ") == b["text"].replace("_", " ")
    german = [question(language("de"), b["code"], b["args"], "not told") for b in asked]
    assert "not told" not in german
    assert any("am wahrscheinlichsten der Wert von 1 · prüfen, welcher Fisch es ist" in text for text in german), german
    assert any("hundertmal zu groß" in text and "unmöglich" in text for text in german), german
    assert any("Werte um einen Fisch verschoben" in text and "`slide" in text for text in german), german
