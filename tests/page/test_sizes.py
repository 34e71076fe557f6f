"""Sizes in true millimetres at the stated pixels an inch: digits for the viewing distance, keys for gloves."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from typing import Any

from PIL import Image

from tests.page.kit import MM, PHONE, PPI, ROW_AT, ROW_PLACES, TABLET, UPRIGHT, Bench, Tab, demo

#: Keys for gloves: 25 mm and a gap (bare-finger keys stop improving at 20 mm: Colle & Hiszem 2004, Ergonomics 47).
KEY_MM, GAP_MM = 25.0, 2.0
#: A fish number is at most so tall seen from the distance: 45 minutes of arc (NUREG-0700 rev 2, grouped characters).
GLANCE_MM = 2000 * 2 * math.tan(math.radians(45 / 60) / 2)
#: What is read needs 16 minutes of arc (ISO 9241-3): what is wanted at the distance, labels and questions at half of it.
READ_MM_PER_M = 1000 * 2 * math.tan(math.radians(16 / 60) / 2)


def ink_mm(tab: Tab, what: str, mm: float = MM) -> tuple[float, float]:
    """Height and width of what is drawn within an element, dark on light, in true mm."""
    image = (
        Image.open(io.BytesIO(tab.page.locator(what).first.screenshot())).convert("L").point(lambda v: 255 * (v < 100))
    )
    box = image.getbbox()
    assert box is not None
    left, top, right, bottom = box
    return (bottom - top) / mm, (right - left) / mm


def boxes(tab: Tab, what: str) -> Iterator[dict[str, float]]:
    for element in tab.page.locator(what).all():
        box = element.bounding_box()
        if box is not None:
            yield box


def test_number_and_value_are_26_mm_and_keys_25_mm_on_a_ten_inch_tablet(
    bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    numbers = "\n[numbers]\nfirst = 4711\n"
    bench = bench_of("solo", protocol=demo("solo") + numbers, tables=f"[page]\nppi = {PPI}\n")
    tab = tab_of(bench)
    check_keys(tab)
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(212)
    tab.shows('[data-cell="last"] .digits', "212")
    check_keys(tab)
    assert tab.number() == "4711"
    for what in ('[data-cell="hand"] .digits', '[data-cell="last"] .digits'):
        tall, wide = ink_mm(tab, what)
        assert tall >= 26.0 >= GLANCE_MM - 0.5, what
        assert wide < 100
    assert ink_mm(tab, '[data-cell="wants"] .far')[0] >= 2 * READ_MM_PER_M
    assert tab.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert letter_mm(tab, '[data-cell="wants"] .far') >= 2 * READ_MM_PER_M
    assert letter_mm(tab, ".label") >= READ_MM_PER_M  # at half of the distance
    for size in (TABLET, UPRIGHT):
        tab.resize(size)
        for press, sheet in (("acts", "acts"), ("by hand", "hand"), ("measurand whole_mass", "pad")):
            tab.press(press)
            check_keys(tab, sheet)
        for _ in range(3):
            tab.back()
    bench.rig.weigh(1280)
    tab.shows(".question", "ten times")
    assert letter_mm(tab, ".question") >= READ_MM_PER_M


def test_the_distance_is_kept_on_another_screen(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo", tables="[page]\nppi = 96\ndistance_m = 3\n")
    tab = tab_of(bench, size={"width": 1920, "height": 1080})
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(212)
    tab.shows('[data-cell="last"] .digits', "212")
    assert ink_mm(tab, '[data-cell="last"] .digits', 96 / 25.4)[0] >= 39.0


def letter_mm(tab: Tab, what: str) -> float:
    """Height of a capital letter of the first such element's font, in true mm: what ISO 9241-3 calls character height."""
    script = """what => {
      const style = getComputedStyle(document.querySelector(what));
      const pen = document.createElement("canvas").getContext("2d");
      pen.font = `${style.fontWeight} 200px ${style.fontFamily}`;
      return parseFloat(style.fontSize) * pen.measureText("H").actualBoundingBoxAscent / 200;
    }"""
    return float(tab.page.evaluate(script, what)) / MM


def row_of_three(bench: Bench, tab: Tab) -> None:
    """One fish was measured and weighed and is at the knife, the next one is at the board."""
    bench.rig.act("batch open north-bay perch")
    bench.touch(212)
    tab.shows('[data-place="board"] [data-cell="last"] .digits', "212")
    bench.rig.weigh(96)
    tab.shows('[data-place="scale"] [data-cell="last"] .digits', "96")
    bench.rig.client().ask(do="act", act="code", args=["sex", "F"], place="knife")
    tab.shows('[data-place="knife"] .far', "envelope")


def test_in_a_row_each_place_has_number_value_and_what_is_wanted_at_that_size(
    bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    bench = bench_of("row", bench=ROW_PLACES, at=ROW_AT)
    tab = tab_of(bench)
    row_of_three(bench, tab)
    for size in (TABLET, UPRIGHT):
        tab.resize(size)
        for what in ('[data-place="board"] [data-cell="hand"]', '[data-place="board"] [data-cell="last"]',
                     '[data-place="scale"] [data-cell="last"]'):  # fmt: skip
            assert ink_mm(tab, f"{what} .digits")[0] >= 26.0, what
        for place in ("board", "knife"):  # whole, not cut off by the edge of its slab
            assert letter_mm(tab, f'[data-place="{place}"] .far .narrow') >= 2 * READ_MM_PER_M
            slab, wanted = (
                tab.page.locator(f'[data-place="{place}"]{inner}').bounding_box() for inner in ("", " .far")
            )
            assert slab is not None
            assert wanted is not None
            assert wanted["y"] + wanted["height"] <= slab["y"] + slab["height"], (size, place)
            assert wanted["x"] + wanted["width"] <= slab["x"] + slab["width"], (size, place)
    tab.resize(TABLET)
    for what in (".choose .label span", ".choose .unit"):
        assert letter_mm(tab, what) >= READ_MM_PER_M, what  # at half of the distance
    bench.touch(240)
    tab.shows('[data-place="board"] [data-cell="last"] .digits', "240")
    tab.shows('[data-place="scale"] .label', "waiting: 2")
    bench.touch(251)
    tab.shows('[data-place="board"] .gist', "again, or next?")
    assert letter_mm(tab, ".gist") >= READ_MM_PER_M


def test_every_sheet_of_a_row_has_keys_of_that_size(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    people = 'people = ["ida", "ben"]\n'
    bench = bench_of("row", bench=ROW_PLACES + people, at=ROW_AT, tables=f"[page]\nppi = {PPI}\n")
    tab = tab_of(bench)
    check_keys(tab)
    row_of_three(bench, tab)
    bench.rig.client().ask(do="act", act="lost", args=[], place="knife")
    bench.rig.client().ask(do="act", act="lost", args=[], place="knife")
    tab.press("place knife")
    for looked in ("tray", "fish", "cloud", "instruments", "settings", "here"):
        tab.press("look")
        check_keys(tab, looked)
    tab.press("acts")
    check_keys(tab, "acts")
    for name, sheet, inner in (
        ("code sex", "codes", ()), ("species", "species", ()), ("by hand", "hand", (("measurand whole_mass", "pad"),)),
        ("missing", "missing", (("missing whole_mass", "reason"),)), ("as", "as", ()),
        ("beyond", "beyond", (("parts whole_mass", "pieces"),)), ("containers", "containers", ()), ("this fish", "ends", ()),
        ("scale", "scale", ()), ("batch", "batch", ()), ("people", "people", ()),
    ):  # fmt: skip
        tab.press(name)
        check_keys(tab, sheet)
        for deeper, deeper_sheet in inner:
            tab.press(deeper)
            check_keys(tab, deeper_sheet)
            tab.back()
        tab.back()


def test_a_phone_in_the_hand_shows_it_all_with_keys_for_bare_fingers(
    bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    """What is read has 16 minutes of arc at 0.8 m; WCAG 2.2 AA 2.5.8 asks for keys of 24 CSS pixels."""
    bench = bench_of("solo", tables=f"[page]\nppi = {PPI}\n")
    tab = tab_of(bench, size=PHONE)
    bench.rig.act("batch open north-bay perch")
    bench.touch(231)
    tab.shows('[data-cell="last"] .digits', "231")
    assert letter_mm(tab, '[data-cell="wants"] .far') >= 0.8 * READ_MM_PER_M
    for name in (None, "acts", "by hand", "measurand whole_mass"):
        if name is not None:
            tab.press(name)
        for box in boxes(tab, ".key:visible"):
            assert min(box["width"], box["height"]) >= 13.0 * MM
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= PHONE["width"]
            assert box["y"] + box["height"] <= PHONE["height"]
    for what in (".hand .digits", ".last .digits", "#keys"):
        box = tab.page.locator(what).bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= PHONE["width"]
        assert box["y"] + box["height"] <= PHONE["height"]


def check_keys(tab: Tab, sheet: str = "here") -> None:
    """25 mm and a gap, none cut off. WCAG 2.2 AA 2.5.8 asks for 24 CSS pixels; gloves for far more."""
    tab.page.wait_for_selector(f'#sheet[data-sheet="{sheet}"]', state="attached")
    found: list[dict[str, Any]] = list(boxes(tab, ".key:visible"))
    size = tab.page.viewport_size
    assert size is not None
    assert len(found) >= (7 if size == TABLET else 2)
    for box in found:
        assert box["width"] >= KEY_MM * MM
        assert box["height"] >= KEY_MM * MM
        assert box["x"] >= 0
        assert box["y"] >= 0
        assert box["x"] + box["width"] <= size["width"]
        assert box["y"] + box["height"] <= size["height"]
    for i, a in enumerate(found):
        for b in found[:i]:
            apart_x = max(a["x"] - b["x"] - b["width"], b["x"] - a["x"] - a["width"])
            apart_y = max(a["y"] - b["y"] - b["height"], b["y"] - a["y"] - a["height"])
            assert max(apart_x, apart_y) >= GAP_MM * MM, (sheet, a, b)
