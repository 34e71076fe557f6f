"""Labels: read from the page and scanned at the bench; numbers that never meet; what was printed is known."""

from __future__ import annotations

import itertools
from functools import cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_11_10

from tests.benchkit import SOLO, Play, folded, kinds, refused
from tests.paper.looking import codes, cropped, demo, ink_outside, pages, words, worn
from thwart.bench.labels import Template
from thwart.bench.printing import Series
from thwart.bench.protocol import Containers, read
from thwart.paper import grid, labels
from thwart.paper.grid import SHEETS, LabelSheet, roll, sheet_named
from thwart.paper.sizes import Box, PaperError

FORMS = {
    "a4-3x8": ("envelope", "code128"), "a4-2x7": ("envelope", "code128"), "a4-2x4": ("envelope", "code128"),
    "a4-5x13": ("vial", "qr"), "letter-3x10": ("envelope", "code128"), "70x37": ("envelope", "code128"), "50x25": ("vial", "qr"),
    "100x60": ("envelope", "qr"), "30x60": ("vial", "qr"),
}  # fmt: skip


def sheet(name: str) -> LabelSheet:
    return SHEETS.get(name) or roll(name)


def series(name: str = "row") -> Series:
    containers = demo(name).containers
    assert containers is not None
    return Series(containers)


def setting(kind: str, language: str = "en", **more: str) -> tuple[list[labels.Row], str]:
    protocol = demo("row")
    assert protocol.containers is not None
    return labels.rows_of(protocol, words(language), **more), labels.note_of(protocol.containers, kind, words(language))


@cache
def printed(name: str, count: int, language: str = "en", **more: str) -> tuple[list[str], bytes]:
    kind, symbol = FORMS[name]
    numbers = [series().label(n) for n in range(1, count + 1)]
    rows, note = setting(kind, language, **more)
    pdf = labels.printed(numbers, sheet(name), rows, note, symbol, title="labels", language=language)  # type: ignore[arg-type]
    return numbers, pdf


# ---- read from the page --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FORMS)
def test_labels_are_read_in_order_and_their_check_characters_hold(name: str) -> None:
    """Check characters by the reference library python-stdnum (ISO/IEC 7064 MOD 11,10)."""
    per = len(sheet(name).cells())
    numbers, pdf = printed(name, per + 2 if per > 1 else 3)
    seen: list[str] = []
    for image in pages(pdf, 200):
        found = codes(image, 200)
        cells = sheet(name).cells()
        for code in found:
            assert any(
                abs(c.x + c.width / 2 - code.x) < c.width / 2 and abs(c.y + c.height / 2 - code.y) < c.height / 2
                for c in cells
            )
        in_order = sorted(found, key=lambda c: (-round(c.y / 6), c.x))
        seen += [c.text for c in in_order]
    assert seen == numbers
    assert all(mod_11_10.is_valid("".join(c for c in text if c.isdigit())) for text in seen)


@pytest.mark.parametrize("name", ["a4-3x8", "50x25", "a4-5x13"])
def test_worn_labels_are_read(name: str) -> None:
    """One label at a time, as a scanner sees them."""
    numbers, pdf = printed(name, 4)
    one = sheet(name)
    per = len(one.cells())
    for nth, image in enumerate(itertools.islice(pages(pdf, 300), 2)):
        for number, cell in list(zip(numbers[nth * per :], one.cells(), strict=False))[:3]:
            for how, spoilt in worn(cropped(image, cell, 300)):
                assert [c.text for c in codes(spoilt)] == [number], how


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("more", [{}, {"batch": "north-bay", "species": "perch"}])
def test_nothing_touches_anything_and_ink_stays_where_it_should(name: str, more: dict[str, str]) -> None:
    kind, symbol = FORMS[name]
    rows, note = setting(kind, **more)
    boxes = []
    for nth, cell in enumerate(sheet(name).cells()[:5]):
        items = labels.laid_out(series().label(nth + 1), cell, rows, note, symbol)  # type: ignore[arg-type]
        rooms = []
        for item in items:
            room = item.box
            if item.symbol is not None:
                q = item.symbol.quiet
                room = Box(
                    room.x - q,
                    room.y - (q if symbol == "qr" else 0),
                    room.width + 2 * q,
                    room.height + (2 * q if symbol == "qr" else 0),
                )
                assert item.symbol.module >= (0.25 if symbol == "code128" else 0.4)
            rooms += [room] if item.kind != "row" or item.text else []
            rooms += [item.pen] if item.pen else []
        assert all(cell.inside(0.5).holds(room) for room in rooms), name
        for a, b in itertools.combinations(rooms, 2):
            assert not a.inside(0.02).overlaps(b), (name, a, b)
        texts = [item.text for item in items]
        assert series().label(nth + 1) in texts
        if name != "a4-5x13" or more:
            assert any(item.kind == "row" for item in items)
        boxes += rooms
        pens = [item.pen for item in items if item.pen and not item.bold]
        assert all(pen.width > 8 for pen in pens), "no room to write"
    numbers = [series().label(n) for n in range(1, min(5, len(sheet(name).cells())) + 1)]
    (image,) = pages(labels.printed(numbers, sheet(name), rows, note, symbol, title="t", language="en"), 150)  # type: ignore[arg-type]
    assert ink_outside(image, boxes) == 0


def test_a_printed_label_that_is_scanned_closes_its_fish() -> None:
    play = Play(SOLO)
    containers = play.setup.protocol.containers
    assert containers is not None
    mine = Series(containers)
    numbers = [mine.label(n) for n in (1, 2)]
    rows = labels.rows_of(play.setup.protocol, words())
    pdf = labels.printed(numbers, roll("70x37"), rows, "", "code128", title="t", language="en")
    for nth, image in enumerate(pages(pdf)):
        play.touch(200 + nth)
        play.weigh(100 + nth)
        (seen,) = codes(image)
        assert "closed" in kinds(play.scan(seen.text))
        fish = play.numbered(nth + 1)
        assert (fish.end, fish.containers) == ("complete", (numbers[nth],))


def test_what_a_label_says() -> None:
    rows, note = setting("vial", batch="north-bay", species="perch")
    assert note == "Let vials dry before sealing"
    items = labels.laid_out("R26-0001-8", Box(0, 0, 105, 74), rows, note, "code128")
    said = [item.text + " " + item.bold for item in items]
    assert {
        "R26-0001-8 ",
        "batch north-bay",
        "species perch · Perca fluviatilis",
        "Let vials dry before sealing ",
    } <= set(said)
    assert {"fish ", "total length mm ", "whole mass g ", "sex ", "date "} <= set(said)
    narrow = labels.laid_out("R26-0001-8", Box(0, 0, 50, 25), rows, note, "qr")
    assert {"north-bay", "perch"} <= {item.bold for item in narrow}
    assert "Totallänge mm" in [row.name for row in setting("envelope", "de")[0]]
    dry = demo("row").containers
    assert dry is not None
    assert labels.note_of(dry, "envelope", words()) == ""
    assert labels.note_of(dry.model_copy(update={"dried": False}), "vial", words()) == ""


# ---- sheets --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHEETS)
def test_shipped_sheets_lie_on_their_paper(name: str) -> None:
    one = SHEETS[name]
    whole = grid.sheet_paper(one)
    cells = one.cells()
    assert len(cells) == one.columns * one.rows
    assert all(Box(0, 0, whole.width, whole.height).holds(cell, 0.5) for cell in cells)
    assert not any(a.inside(0.01).overlaps(b) for a, b in itertools.combinations(cells, 2))
    assert cells[0].top == pytest.approx(whole.height - one.top)
    assert name == f"{one.paper}-{one.columns}x{one.rows}"


def test_used_labels_of_a_sheet_are_left_out() -> None:
    made = labels.pages(30, SHEETS["a4-3x8"], skip=20)
    assert [len(page) for page in made] == [4, 24, 2]
    assert made[0][0] == (0, SHEETS["a4-3x8"].cells()[20])
    with pytest.raises(PaperError, match="a sheet has 24 labels"):
        labels.pages(1, SHEETS["a4-3x8"], skip=24)


@pytest.mark.parametrize(
    ("given_", "says"),
    [
        ({"width": 80, "height": 37}, "the labels need 240"), ({"width": 60, "height": 30, "across": 50}, "overlap"),
        ({"width": 60, "height": 30, "down": 20}, "overlap"), ({"width": 60, "height": 30, "paper": "a44"}, "there is no paper"),
    ],
)  # fmt: skip
def test_a_sheet_that_cannot_be(given_: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        LabelSheet(columns=3, rows=8, **given_)


@pytest.mark.parametrize(
    "make", [lambda: sheet_named("a4-9x9", {}), lambda: roll("wide"), lambda: roll("5x5"), lambda: roll("400x20")]
)
def test_unknown_sheets_and_rolls(make: Any) -> None:
    with pytest.raises(PaperError) as refused_:
        make()
    assert refused_.value.hint


@pytest.mark.parametrize(
    ("size", "symbol"),
    [((20, 20), "code128"), ((60, 8), "code128"), ((20, 9), "qr"), ((14, 30), "qr"), ((24, 24), "qr")],
)
def test_a_label_too_small_says_what_it_needs(size: tuple[float, float], symbol: Any) -> None:
    with pytest.raises(PaperError, match=r"too small for the|no room for the number") as refused_:
        labels.laid_out("R26-0001-8", Box(0, 0, *size), setting("vial")[0], "", symbol)
    assert "needs" in refused_.value.hint or "larger" in refused_.value.hint


def test_a_label_with_unknown_characters() -> None:
    for symbol in ("code128", "qr"):
        with pytest.raises(PaperError, match="no code is made for: Ü"):
            labels.laid_out("Ü-0001", Box(0, 0, 70, 37), [], "", symbol)
    with pytest.raises(PaperError, match="can't be printed"):
        labels.laid_out("K-0001", Box(0, 0, 70, 37), [labels.Row("batch", "бухта", "бухта")], "", "code128")


# ---- shares --------------------------------------------------------------------------------------------------------


@settings(max_examples=80)
@given(of=st.integers(1, 12), first=st.integers(0, 60), many=st.integers(12, 900))
def test_shares_of_benches_never_meet_and_leave_nothing(of: int, first: int, many: int) -> None:
    template = Template("K-####?", "mod-11-10")
    like = template.moved("K-00013", -1)
    assert like is not None
    ends = [template.moved(like, n) for n in (first, first + many - 1)]
    whole = Series(Containers(label="K-####?", check="mod-11-10", first=ends[0], last=ends[1]))
    parts = [[template.count(label) for label in whole.part(nth, of)] for nth in range(1, of + 1)]
    numbers = [n for low, high in parts for n in range(low, high + 1)]
    assert numbers == list(range(first, first + many))
    sizes = [high - low + 1 for low, high in parts[:-1]]
    assert len(set(sizes)) <= 1


def test_series_that_cannot_be_shared() -> None:
    with pytest.raises(ValueError, match="can't be shared by 20 benches"):
        Series(Containers(label="K-#")).part(1, 20)
    with pytest.raises(ValueError, match="letters"):
        Series(Containers(label="@-###"))
    letters = Series(Containers(label="@-###", first="B-001"))
    assert letters.label(7) == "B-007"
    assert letters.number("A-007") is None  # another series with the same digits


# ---- the act `printed` ---------------------------------------------------------------------------------------------


def test_what_was_printed_is_kept_and_printed_again_only_on_request() -> None:
    play = Play(SOLO)
    mine = Series(play.setup.protocol.containers)  # type: ignore[arg-type]
    at = mine.label
    made = play.act(f"printed {at(1)} {at(24)}")
    assert kinds(made) == ["printed", "told"]
    assert made[0].body["n"] == 24
    assert made[0].body["again"] is False
    assert made[0].specimen_id is None
    assert refused(play.act(f"printed {at(20)} {at(30)}")) == "printed-before"
    assert f"{at(20)} to {at(24)}" in play.entries[-1].body["text"]
    assert play.act(f"printed {at(20)} {at(30)} again")[0].body["again"] is True
    assert play.act(f"printed {at(40)} {at(41)} again")[0].body["again"] is False
    assert play.bench.desk.printed == (f"{at(1)} {at(30)}", f"{at(40)} {at(41)}")
    play.act("undo")  # paper isn't taken back
    assert play.bench.desk.printed == (f"{at(1)} {at(30)}", f"{at(40)} {at(41)}")
    assert folded(play).desk == play.bench.desk
    for words_, code in (
        ("printed", "arguments"), (f"printed {at(50)} {at(45)}", "arguments"), (f"printed {at(50)} {at(51)} twice", "arguments"),
        (f"printed {at(50)} K-00512", "label-check"), ("printed X-1 X-2", "not-known"),
    ):  # fmt: skip
        assert refused(play.act(words_)) == code, words_
    assert refused(Play(SOLO.partition("[containers]")[0]).act(f"printed {at(1)} {at(2)}")) == "no-containers"


def test_nothing_is_printed_outside_the_share() -> None:
    mine = Series(read(SOLO, "p").containers)  # type: ignore[arg-type]
    play = Play(SOLO.replace('first = "K-00013"', f'first = "{mine.label(100)}"\nlast = "{mine.label(199)}"'))
    for low, high in ((99, 120), (190, 200)):
        assert refused(play.act(f"printed {mine.label(low)} {mine.label(high)}")) == "label-out-of-series"
    assert kinds(play.act(f"printed {mine.label(100)} {mine.label(199)}"))[0] == "printed"


@settings(max_examples=40)
@given(st.lists(st.tuples(st.integers(1, 40), st.integers(0, 12), st.booleans()), max_size=12))
def test_the_ranges_are_what_was_printed(asked: list[tuple[int, int, bool]]) -> None:
    """Against a plain set of numbers."""
    play = Play(SOLO, batch=False)
    mine = Series(play.setup.protocol.containers)  # type: ignore[arg-type]
    known: set[int] = set()
    for low, more, again in asked:
        wanted = set(range(low, low + more + 1))
        made = play.act(f"printed {mine.label(low)} {mine.label(low + more)}" + (" again" if again else ""))
        if wanted & known and not again:
            assert refused(made) == "printed-before"
            continue
        assert made[0].body["again"] == bool(wanted & known)
        known |= wanted
        found = mine.ranges(play.bench.desk.printed)
        assert {n for a, b in found for n in range(a, b + 1)} == known
        assert all(b + 1 < c for (_, b), (c, _) in itertools.pairwise(found)), "ranges that touch are one"
