"""Cards: every code is read from the page, nothing touches anything, and each does its act at the bench."""

from __future__ import annotations

import itertools
import re
from functools import cache
from typing import Any

import pytest
from PIL import ImageChops

from tests.benchkit import FORKED, SOLO, Play, kinds, refused
from tests.paper.looking import DEMOS, codes, cropped, darkest, demo, ink_outside, pages, words, worn
from thwart.bench.acts import ACTS
from thwart.bench.protocol import Protocol, read
from thwart.languages import LANGUAGES
from thwart.paper import deck, layout, symbols
from thwart.paper.deck import TASKS, Wishes
from thwart.paper.layout import MARGIN_MM, Sheet
from thwart.paper.sizes import Box, PaperError, paper

WISHES = Wishes(("ida", "ben"), ("north-bay",), every_reason=True)
FORMS: tuple[tuple[str, Any], ...] = (
    ("a4", "qr"),
    ("297x210", "code128"),
    ("297x210", "both"),
    ("letter", "qr"),
    ("100x110", "qr"),
)


def sheets(name: str, size: str = "a4", symbol: Any = "qr", language: str = "en", beam: float = 50.0) -> list[Sheet]:
    return _sheets(name, size, symbol, language, beam)


@cache
def _sheets(name: str, size: str, symbol: Any, language: str, beam: float) -> list[Sheet]:
    said = words(language)
    return layout.sheets(deck.deck(demo(name), said, WISHES), paper(size), said, bench=name, symbol=symbol, beam=beam)


@cache
def printed(name: str, size: str, symbol: Any, language: str = "en") -> bytes:
    return layout.printed(sheets(name, size, symbol, language), paper(size), "cards", language)


# ---- read from the page --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "size", "symbol", "language"),
    [
        ("row", "a4", "qr", "en"),
        ("lab", "letter", "qr", "de"),
        ("shore-by-hand", "a5", "qr", "en"),
        ("tally", "a4", "both", "de"),
        ("solo", "a4", "code128", "en"),
    ],
)
def test_every_code_is_read_where_it_stands(name: str, size: str, symbol: Any, language: str) -> None:
    dpi = 100 if symbol == "qr" else 200
    for sheet, image in zip(
        sheets(name, size, symbol, language), pages(printed(name, size, symbol, language), dpi), strict=True
    ):
        expected = {
            (p.symbol.text, p.symbol.kind, round(p.box.x + p.box.width / 2), round(p.box.y + p.box.height / 2))
            for placed in sheet.cards for p in placed.parts if p.symbol is not None
        }  # fmt: skip
        seen = codes(image, dpi)
        assert {s.text for s in seen} == {text for text, *_ in expected} == {c.card.text for c in sheet.cards}
        assert len(seen) == len(expected)
        for s in seen:
            kind = "qr" if s.kind.startswith("qr") else s.kind
            assert any(
                (text, k) == (s.text, kind) and abs(x - s.x) < 4 and abs(y - s.y) < 8 for text, k, x, y in expected
            ), s


@pytest.mark.parametrize(("symbol", "dpi"), [("qr", 200), ("code128", 300)])
def test_worn_cards_are_read(symbol: Any, dpi: float) -> None:
    """One card at a time, as a scanner sees them: short acts, two steps, the longest texts.

    At 60 % the narrowest bar is 2.3 dots wide, the smallest module 3.8.
    """
    made = sheets("row", "a4", symbol)
    chosen = {next(n for n, s in enumerate(made) if s.task == task) for task in ("hand", "ends", "missing")}
    for nth, image in enumerate(pages(printed("row", "a4", symbol), dpi)):
        for placed in made[nth].cards[-3:] if nth in chosen else ():
            for how, spoilt in worn(cropped(image, placed.cell, dpi)):
                assert [s.text for s in codes(spoilt)] == [placed.card.text], how


# ---- where things stand --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["row", "lab", "tally"])
@pytest.mark.parametrize(("size", "symbol"), FORMS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_touches_anything(name: str, size: str, symbol: Any, language: str) -> None:
    whole = paper(size)
    usable = Box(0, 0, whole.width, whole.height).inside(MARGIN_MM)
    for sheet in sheets(name, size, symbol, language):
        for placed in sheet.cards:
            assert usable.holds(placed.frame)
            assert not placed.cell.overlaps(sheet.heading.box)
            for part in placed.parts:
                assert placed.frame.inside(2.1 if placed.card.two_steps else 0.5).holds(part.room), part
            for one, other in itertools.combinations(placed.parts, 2):
                assert not one.room.inside(0.01).overlaps(other.room), (one, other)
        for a, b in itertools.combinations(sheet.cards, 2):
            assert not a.cell.inside(0.01).overlaps(b.cell)


@pytest.mark.parametrize("beam", [20.0, 50.0, 80.0])
@pytest.mark.parametrize(("size", "symbol"), FORMS)
def test_codes_of_two_cards_stand_further_apart_than_the_beam(size: str, symbol: Any, beam: float) -> None:
    for sheet in sheets("row", size, symbol, beam=beam):
        for a, b in itertools.combinations(sheet.cards, 2):
            for one, other in itertools.product(a.parts, b.parts):
                if one.symbol and other.symbol:
                    assert one.box.gap(other.box) > beam


@pytest.mark.parametrize(("size", "symbol"), FORMS)
def test_codes_are_wide_enough_to_be_read(size: str, symbol: Any) -> None:
    least = {"qr": 0.8, "code128": 0.33}  # docs/paper.md says after what
    for sheet in sheets("row", size, symbol):
        found = [p.symbol for placed in sheet.cards for p in placed.parts if p.symbol]
        assert len(found) == len(sheet.cards) * (2 if symbol == "both" else 1)
        assert all(s.module >= least[s.kind] for s in found)


@pytest.mark.parametrize(
    ("name", "size", "symbol"), [("row", "a4", "qr"), ("tally", "297x210", "code128"), ("tally", "letter", "both")]
)
def test_the_ink_stays_where_the_layout_says(name: str, size: str, symbol: Any) -> None:
    """Drawings and letters stay in their boxes, quiet zones are white, and all is black on white."""
    for sheet, image in zip(sheets(name, size, symbol), pages(printed(name, size, symbol)), strict=True):
        boxes = [sheet.heading.box]
        for placed in sheet.cards:
            boxes += [p.box for p in placed.parts]
            boxes += [_steps_mark(p.box) for p in placed.parts if p.kind == "steps"]
            boxes += _ring(placed.cell, 0.3) + _ring(placed.frame, 2.1 if placed.card.two_steps else 0.5, 3.0)
        assert ink_outside(image, boxes) == 0
        for placed in sheet.cards:
            for part in placed.parts:
                if part.symbol:
                    quiet, box = part.symbol.quiet - 0.3, part.box
                    assert darkest(image, Box(box.x - quiet - 0.15, box.y, quiet, box.height)) > 200
                    assert darkest(image, Box(box.right + 0.3, box.y, quiet, box.height)) > 200
        red, green, blue = image.convert("RGB").split()
        assert not ImageChops.difference(red, green).getbbox() and not ImageChops.difference(red, blue).getbbox()


def _steps_mark(box: Box) -> Box:
    return Box(box.x - 9, box.y - 1, 8, 8)


def _ring(box: Box, wide: float, corner: float = 0.0) -> list[Box]:
    """The edges of a box, `wide` mm to either side, and its rounded corners."""
    out = box.inside(-wide)
    edges = [
        Box(out.x, out.y, out.width, 2 * wide), Box(out.x, out.top - 2 * wide, out.width, 2 * wide),
        Box(out.x, out.y, 2 * wide, out.height), Box(out.right - 2 * wide, out.y, 2 * wide, out.height),
    ]  # fmt: skip
    return edges + [Box(x, y, corner, corner) for x in (box.x, box.right - corner) for y in (box.y, box.top - corner)]


def test_acts_of_two_steps_look_different() -> None:
    found = [placed for sheet in sheets("row") for placed in sheet.cards]
    assert {c.card.said[0] for c in found if c.card.two_steps} == {"void", "lost", "split", "same-as"}
    for placed in found:
        assert placed.card.two_steps == ACTS[placed.card.said[0]].two_steps
        assert placed.card.two_steps == any(p.kind == "steps" for p in placed.parts)
        assert placed.card.two_steps != any(p.kind == "task" for p in placed.parts)


def test_no_two_cards_look_the_same() -> None:
    """Same words or same drawing may come twice; both together never."""
    pictures: dict[tuple[Any, ...], str] = {}
    for sheet, image in zip(sheets("row"), pages(printed("row", "a4", "qr"), 100), strict=True):
        for placed in sheet.cards:
            icon = next(p.box for p in placed.parts if p.kind == "icon")
            crop = cropped(image, icon, 100).convert("1")
            looks = (placed.card.title, placed.card.detail, crop.resize((24, 24)).tobytes())
            assert looks not in pictures, (placed.card.text, pictures.get(looks))
            pictures[looks] = placed.card.text
            assert sum(crop.convert("L").histogram()[:128]) > 100, "an empty drawing"


# ---- which cards there are, and what they do -----------------------------------------------------------------------


def made(text: str | Protocol, **more: Any) -> list[tuple[str, ...]]:
    protocol = text if isinstance(text, Protocol) else read(text, "protocol.toml")
    return [card.said for card in deck.deck(protocol, words(), Wishes(**more))]


def test_cards_follow_the_protocol() -> None:
    row, tally, forked = made(demo("row")), made(demo("tally")), made(FORKED)
    assert {
        ("leaves",),
        ("confirm",),
        ("skip",),
        ("structure", "otolith", "1", "left"),
        ("structure", "otolith", "0"),
    } <= set(row)
    assert ("species", "perch") in tally and ("code", "sex", "F") in tally
    assert not {c[0] for c in tally} & {"next", "void", "missing", "structure", "tared", "as", "again"}
    assert {("as", "gonad_mass", "left"), ("as", "gonad_mass", "right"), ("as", "fork_length")} <= set(forked)
    assert ("as", "total_length") not in row  # no other length: a reading could go nowhere else
    assert not {c[0] for c in made(SOLO)} & {"leaves", "structure"}
    assert {("measurer", "ida"), ("stager", "ida"), ("batch", "open", "bay-2"), ("batch", "close", "wind")} <= set(
        made(SOLO, people=("ida",), batches=("bay-2",), close_reasons=("wind",))
    )
    assert len(made(SOLO, every_reason=True)) > len(made(SOLO))


def test_tasks_follow_each_other_and_each_begins_a_page() -> None:
    found = [sheet.task for sheet in sheets("row")]
    assert [task for task, _ in itertools.groupby(found)] == list(TASKS)


@pytest.mark.parametrize("name", ["solo", "row", "tally", "lab", "shore-by-hand"])
def test_every_card_is_an_act_of_the_bench(name: str) -> None:
    """Scanned one after the other each is understood: it is done, or refused for the state it meets."""
    protocol = demo(name)
    play = Play(
        (DEMOS / name / "protocol.toml").read_text(),
        batch=False,
        places=tuple(s.place for s in protocol.row) or ("table",),
    )
    grammar = re.compile(r"unknown-(?!fish)|arguments|card-|not-known|not-a-number|too-many|which-place|batch-key")
    for one in deck.deck(protocol, words(), WISHES):
        play.now += (
            0 if one.said == ("digit", "point") else 61_000_000_000
        )  # the digits of another minute are forgotten
        if "typed" in one.said:
            play.act("digit 7", play.setup.places[0])
        decided = play.put("scan", instrument="scanner", text=one.text.lower(), place=play.setup.places[0])
        assert not [d.body for d in decided if d.kind == "refused" and grammar.match(d.body["code"])], one.text


def scanned(play: Play, *said: str) -> list[Any]:
    """The card of an act is made, printed, read from the page by the independent reader, and scanned."""
    (wanted,) = [c for c in deck.deck(play.setup.protocol, words(), Wishes(("ida",))) if c.said == said]
    size = paper("a4")
    (image,) = pages(layout.printed(layout.sheets([wanted], size, words(), bench="b"), size, "t", "en"), 100)
    (seen,) = codes(image, 100)
    return play.scan(seen.text)


def test_a_card_read_from_the_page_does_its_act() -> None:
    play = Play(SOLO)
    scanned(play, "measurer", "ida")
    assert play.here.measurer == "ida"
    play.touch(212)
    scanned(play, "code", "sex", "F")
    scanned(play, "species", "perch")
    assert play.fish.species == "perch"
    scanned(play, "missing", "whole_mass", "too-light")
    assert play.fish.missing == {"whole_mass": "too-light"}
    assert "closed" in kinds(scanned(play, "next"))
    play.touch(190)
    assert kinds(scanned(play, "void"))[0] == "armed"
    assert play.fish.end is None
    scanned(play, "void")
    assert play.numbered(2).end == "void"
    scanned(play, "undo")
    assert play.numbered(2).end is None
    scanned(play, "confirm")
    assert play.numbered(2).containers == ("K-00013",)


def test_a_side_of_a_measurand_by_card() -> None:
    play = Play(FORKED)
    scanned(play, "as", "gonad_mass", "right")
    play.weigh(8)
    assert play.values(1) == {"gonad_mass.right": "8"}


def test_a_value_by_hand_from_cards_alone() -> None:
    play = Play(SOLO)
    for n in ("4", "1", "2", "point", "5"):
        scanned(play, "digit", n)
    assert play.entries[-1].body["text"] == "412.5"
    scanned(play, "value", "whole_mass", "typed", "g", "balance")
    assert play.values(1) == {"whole_mass": "412.5"}
    assert play.here.typed == ""


def test_a_scan_that_is_neither_act_nor_label_says_so() -> None:
    assert refused(Play(SOLO).scan("HELLO")) == "not-known"
    assert refused(Play(SOLO).scan("ACT.NEXT.H")) == "card-check"


# ---- bad input -----------------------------------------------------------------------------------------------------


def test_names_that_no_card_can_hold() -> None:
    text = SOLO.replace('F = "female"', '"F/m" = "female"')
    with pytest.raises(PaperError, match="no card can say 'code sex F/m'") as refused_:
        made(text)
    assert "letters, digits" in refused_.value.hint


def test_words_that_cannot_be_printed() -> None:
    protocol = read(SOLO.replace('title = "perch"', 'title = "окунь"'), "protocol.toml")
    with pytest.raises(PaperError, match=r"can't be printed: .*U\+043D"):
        layout.sheets(deck.deck(protocol, words()), paper("a4"), words(), bench="b")


@pytest.mark.parametrize(
    ("size", "symbol", "says"),
    [("a6", "code128", "--symbol qr needs less"), ("70x70", "qr", "or more"), ("110x200", "both", "or more")],
)
def test_paper_too_small_for_a_card(size: str, symbol: Any, says: str) -> None:
    with pytest.raises(PaperError, match="too small for a card") as refused_:
        layout.sheets(deck.deck(demo("row"), words()), paper(size), words(), bench="b", symbol=symbol)
    assert says in refused_.value.hint


def test_a_card_too_long_for_its_code() -> None:
    text = SOLO.replace("whole_mass", "whole_mass_of_the_fish_as_it_came_from_the_net_and_before_it_was_iced")
    for symbol in ("qr", "code128"):
        with pytest.raises(PaperError, match=r"too long|mm wide in Code 128"):
            layout.sheets(deck.deck(read(text, "p"), words()), paper("a4"), words(), bench="b", symbol=symbol)


@pytest.mark.parametrize("text", ["b9", "A4x", "10x", "5x5", "3000x3000", "", "-3x4", "1e3x50"])
def test_unknown_paper(text: str) -> None:
    with pytest.raises(PaperError) as refused_:
        paper(text)
    assert refused_.value.hint


def test_papers_have_their_published_sizes() -> None:
    """ISO 216: each A size is the one before, halved and rounded down to the mm."""
    for large, small in itertools.pairwise(("a3", "a4", "a5", "a6")):
        assert (paper(small).height, paper(small).width) == (paper(large).width, paper(large).height // 2)
    assert [paper("Letter").width, paper("letter").height] == pytest.approx([8.5 * 25.4, 11 * 25.4])


def test_the_quiet_zones_are_those_of_the_standards() -> None:
    assert symbols.QUIET == {"code128": 10, "qr": 4}
