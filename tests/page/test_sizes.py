"""Sizes in true millimetres at the stated pixels an inch: digits for the viewing distance, keys for gloves."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from typing import Any

from PIL import Image

from tests.page.kit import MM, PPI, ROW_AT, ROW_PLACES, Bench, Tab, demo

#: Keys for gloves: 25 mm and a gap (bare-finger keys stop improving at 20 mm: Colle & Hiszem 2004, Ergonomics 47).
KEY_MM, GAP_MM = 25.0, 2.0
#: A fish number is at most so tall seen from the distance: 45 minutes of arc (NUREG-0700 rev 2, grouped characters).
GLANCE_MM = 2000 * 2 * math.tan(math.radians(45 / 60) / 2)
#: What is read needs 16 minutes of arc (ISO 9241-3).
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
    for press in ("acts", "by hand", "measurand whole_mass"):
        tab.press(press)
        check_keys(tab)


def test_the_distance_is_kept_on_another_screen(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo", tables="[page]\nppi = 96\ndistance_m = 3\n")
    tab = tab_of(bench, size={"width": 1920, "height": 1080})
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(212)
    tab.shows('[data-cell="last"] .digits', "212")
    assert ink_mm(tab, '[data-cell="last"] .digits', 96 / 25.4)[0] >= 39.0


def test_in_a_row_each_place_has_its_number_and_value_at_that_size(
    bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    bench = bench_of("row", bench=ROW_PLACES, at=ROW_AT)
    tab = tab_of(bench)
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(212)
    tab.shows('[data-place="board"] [data-cell="last"] .digits', "212")
    bench.rig.weigh(96)
    tab.shows('[data-place="scale"] [data-cell="last"] .digits', "96")
    for what in ('[data-place="board"] [data-cell="hand"]', '[data-place="board"] [data-cell="last"]',
                 '[data-place="scale"] [data-cell="last"]'):  # fmt: skip
        assert ink_mm(tab, f"{what} .digits")[0] >= 26.0, what


def check_keys(tab: Tab) -> None:
    """25 mm and a gap, and none outside the screen. WCAG 2.2 AA 2.5.8 asks for 24 CSS pixels; gloves for far more."""
    tab.page.wait_for_timeout(50)
    found: list[dict[str, Any]] = list(boxes(tab, ".key:visible"))
    assert len(found) >= 7
    for box in found:
        assert box["width"] >= KEY_MM * MM
        assert box["height"] >= KEY_MM * MM
        assert box["x"] >= 0
        assert box["y"] >= 0
        assert box["x"] + box["width"] <= 1280
        assert box["y"] + box["height"] <= 800
    for i, a in enumerate(found):
        for b in found[:i]:
            apart_x = max(a["x"] - b["x"] - b["width"], b["x"] - a["x"] - a["width"])
            apart_y = max(a["y"] - b["y"] - b["height"], b["y"] - a["y"] - a["height"])
            assert max(apart_x, apart_y) >= GAP_MM * MM * 0.7, (a, b)
