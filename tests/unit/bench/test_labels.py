"""Label templates and the grammar of cards."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thwart.bench.labels import LabelError, Template, card, is_card, read_card
from thwart.checkchars import SCHEMES

ALPHABETS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@pytest.mark.parametrize(
    ("text", "scheme", "code"),
    [
        ("K-?###", "luhn", "check-inside"),
        ("K-###", "luhn", "check-length"),
        ("K-###?", None, "check-length"),
        ("K-###?", "mod-97-10", "check-length"),
        ("K-@@", None, "no-digits"),
        ("#-#", None, "two-runs"),
    ],
)
def test_a_bad_template_says_why(text: str, scheme: str | None, code: str) -> None:
    with pytest.raises(LabelError) as raised:
        Template(text, scheme)
    assert raised.value.code == code


@pytest.mark.parametrize("scheme", sorted(SCHEMES))
def test_a_series_walks_with_valid_check_characters(scheme: str) -> None:
    marks = "??" if scheme == "mod-97-10" else "?"
    template = Template(f"#{marks}" if scheme in ("luhn", "gs1") else f"A##{marks}", scheme)
    first = template.moved("0" + marks if scheme in ("luhn", "gs1") else f"A07{marks}", 0)
    assert first is not None
    label: str | None = first
    seen = 0
    while label is not None:
        assert template.read(label) == label
        wrong = label[:-1] + ("1" if label[-1] == "0" else "0")
        with pytest.raises(LabelError, match="check"):
            template.read(wrong)
        label = template.moved(label, 1)
        seen += 1
    assert seen == (10 if scheme in ("luhn", "gs1") else 93)
    assert template.moved(first, -8) is None


@pytest.mark.parametrize("text", ["K-123", "K-12345", "k-1234", "K-12a4", "K-１２３４", "", "K-1234\n", "\x00"])
def test_what_isnt_a_label(text: str) -> None:
    with pytest.raises(LabelError, match="not-a-label"):
        Template("K-####", None).read(text)


@pytest.mark.parametrize(
    ("text", "could"),
    [("K-####", False), ("ACT.##", True), ("act.##", True), ("@@@.##", True), ("A@T.#", True), ("ACT####", False), ("A#", False),
     ("@@@@##", False), ("@@@##", False)],
)  # fmt: skip
def test_a_template_that_could_be_a_card(text: str, could: bool) -> None:
    assert Template(text, None).could_be_card() is could


word = st.text("abcdefghijklmnopqrstuvwxyz0123456789_-", min_size=1, max_size=12)


@given(st.lists(word, min_size=1, max_size=5))
@settings(max_examples=60)
def test_a_card_reads_back(words: list[str]) -> None:
    assert is_card(card(words))
    assert read_card(card(words)) == words


def test_a_measurand_with_side_and_replicate_is_words_of_a_card() -> None:
    assert card(["as", "gonad_mass.left.2"]) == card(["as", "gonad_mass", "left", "2"])
    assert read_card(card(["missing", "gonad_mass.left", "broken"])) == ["missing", "gonad_mass", "left", "broken"]


@given(st.lists(word, min_size=1, max_size=3), st.data())
@settings(max_examples=60)
def test_one_wrong_character_is_found(words: list[str], data: st.DataObject) -> None:
    """ISO/IEC 7064 finds every single substitution of a letter or digit."""
    text = card(words)
    places = [at for at, c in enumerate(text) if at >= 4 and c in ALPHABETS]
    at = data.draw(st.sampled_from(places))
    other = data.draw(st.sampled_from([c for c in ALPHABETS if c != text[at]]))
    with pytest.raises(LabelError, match="check"):
        read_card(text[:at] + other + text[at + 1 :])


@pytest.mark.parametrize("words", [[], ["1.5"], ["a..b"], ["a."], [".a"], ["a b"], ["é"], [""]])
def test_words_no_card_can_hold(words: list[str]) -> None:
    with pytest.raises(ValueError, match="card"):
        card(words)


@given(st.text(max_size=40))
@settings(max_examples=200)
def test_no_text_makes_a_reader_raise_anything_else(text: str) -> None:
    for claimed in (text, "ACT." + text, "act." + text + "."):
        if is_card(claimed):
            try:
                read_card(claimed)
            except LabelError as error:
                assert error.code in ("check", "card-form")
        try:
            Template("K-####?", "mod-11-10").read(claimed)
        except LabelError as error:
            assert error.code in ("check", "not-a-label")
