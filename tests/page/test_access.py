"""Contrast, names, keyboard and role: WCAG 2.2 AA, clauses named."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.page.contrast import luminance, ratio, too_faint
from tests.page.kit import ROW_AT, ROW_PLACES, Bench, Tab, state_of
from tests.servicekit import until


def test_ratio_as_the_standard_computes_it() -> None:
    """WCAG 2.2: black on white is 21 : 1; #767676 on white is the lightest grey of 4.5 (W3C, Understanding 1.4.3)."""
    assert ratio("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21)
    assert ratio("rgb(118, 118, 118)", "rgb(255, 255, 255)") == pytest.approx(4.54, abs=0.005)
    assert luminance("rgb(255, 0, 0)") == pytest.approx(0.2126)


def questioned(bench: Bench, tab: Tab) -> None:
    """A fish with a length and a mass ten times too large."""
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(231)
    tab.shows('[data-cell="last"] .digits', "231")
    bench.rig.weigh(1390)
    tab.shows(".question", "ten times")


def test_contrast_and_names_in_both_themes(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo", bench='people = ["ida"]\n')
    tab = tab_of(bench)
    bench.rig.touch(190)
    tab.shows(".hollow .digits", "190")
    assert too_faint(tab.page) == []
    questioned(bench, tab)
    for theme in ("day", "night"):
        if theme == "night":
            tab.page.evaluate("localStorage.setItem('thwart-theme', 'night')")
            tab.page.reload()
            tab.ready()
        assert too_faint(tab.page) == [], theme
        tab.press("acts")
        tab.press("this fish")
        tab.press("void")
        tab.page.wait_for_selector('.armed[data-key="void"]')
        assert too_faint(tab.page) == [], theme
        assert "press again" in tab.text('[data-key="void"]')
        tab.press("undo")  # said once, and taken back
        until(lambda: state_of(bench)["places"][0]["armed"] is None, "not armed any more")
        tab.page.wait_for_selector('#sheet[data-sheet="here"]')
        for _ in range(5):
            tab.press("look")
            assert too_faint(tab.page) == [], theme
        tab.press("look")
    for button in tab.page.get_by_role("button").all():  # 4.1.2 Name, Role, Value
        assert re.search(r"\w", button.inner_text()), button
    for name in ("next", "again", "stands", "undo", "pause", "tray", "more"):
        assert tab.page.get_by_role("button", name=name, exact=True).count() == 1, name
    assert tab.page.get_by_role("status").count() == 1  # 4.1.3 Status Messages
    assert tab.page.get_attribute("#said", "aria-live") == "polite"
    assert tab.page.get_by_role("navigation", name="keys").count() == 1
    assert tab.page.get_attribute("html", "lang") == "en"  # 3.1.1
    no_colour = {
        f.get_attribute("class").split()[1]
        for f in tab.page.locator("#instruments .shape, .question .shape, .label .shape").all()
    }
    assert {"there", "asked"} <= no_colour, "a shape for each meaning (1.4.1 Use of Color)"


def test_keyboard_scanner_and_two_steps(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo")
    tab = tab_of(bench)
    page = tab.page
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(212)
    tab.shows('[data-cell="last"] .digits', "212")
    page.focus('[data-key="next"]')
    assert tab.style('[data-key="next"]', "outlineStyle") == "solid", "2.4.7 Focus Visible"
    # A scanner that types, with its return: nothing is pressed, and it is said.
    page.keyboard.type("L26-0001-8", delay=3)
    page.keyboard.press("Enter")
    tab.shows("#trouble", "a scanner types into this page")
    assert state_of(bench)["fish_closed"] == 0
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.dataset.key") == "again"
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(450)
    page.keyboard.press("Enter")
    tab.shows('[data-cell="hand"] .digits', "2")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.key") == "again"
    bench.rig.touch(180)
    tab.shows('[data-cell="last"] .digits', "180")
    for key in ("acts", "this fish", "void"):
        tab.press(key)
    page.tap('[data-key="void"]')  # a finger that bounces is one press
    page.wait_for_selector('.armed[data-key="void"]')
    assert tab.number() == "2", "said once it only asks"
    tab.press("void")
    tab.shows('[data-cell="hand"] .digits', "3")
    assert page.locator("dialog, [role=dialog], [aria-modal]").count() == 0


def test_acts_by_touch_and_by_hand(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo", bench='language = "de"\npeople = ["ida"]\n')
    tab = tab_of(bench)
    page = tab.page
    assert page.get_attribute("html", "lang") == "de"
    page.fill("#batch-name", "north bay")
    tab.press("open batch")
    tab.shows('[data-cell="hand"] .digits', "1")
    tab.press("acts")
    tab.press("species")
    tab.press("species perch")
    tab.shows('[data-cell="hand"] .label', "perch")
    tab.press("acts")
    tab.press("by hand")
    tab.press("measurand whole_mass")
    for key in ("digit 4", "digit 1", "digit 2", "point", "digit 5"):
        page.tap(f'[data-key="{key}"]')
    tab.shows(".typing .big", "412,5")
    tab.press("take")
    tab.shows('[data-cell="last"] .big', "412,5")
    tab.shows('[data-cell="last"] .label', "hier getippt")
    tab.press("acts")
    tab.press("code sex")
    tab.press("code F")
    held = until(lambda: state_of(bench)["places"][0]["in_hand"]["codes"], "sex")
    assert held == {"sex": "F"}
    assert state_of(bench)["places"][0]["in_hand"]["taken"] == {"whole_mass": "412.5 g"}
    tab.press("undo")
    until(lambda: not state_of(bench)["places"][0]["in_hand"]["codes"], "undone")
    tab.press("pause")
    tab.shows('[data-cell="hand"] .label', "Pause")
    bench.rig.touch(99)
    tab.shows(".hollow .digits", "99")
    tab.press("resume")
    tab.page.wait_for_selector('[data-key="pause"]')


def test_who_may_only_look_has_no_keys_that_act(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("row", bench=ROW_PLACES, at=ROW_AT)
    tab = tab_of(bench, role="look")
    bench.rig.act("batch open north-bay perch")
    tab.shows('[data-place="board"] .digits', "1")
    assert [k.get_attribute("data-key") for k in tab.page.locator(".key").all()] == ["look"]
    acts: list[Any] = []
    tab.page.on("request", lambda r: acts.append(r) if r.method == "POST" else None)
    tab.press("place scale")
    tab.press("look")
    tab.press("look")
    assert acts == []
    lead = tab_of(bench, role="look", lead=True)
    lead.page.wait_for_selector("body[data-fish]")
    assert lead.page.locator("#mend-part").is_hidden()


def test_acts_about_what_is_too_large_and_about_fish_that_went_on(
    bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    bench = bench_of("solo")
    tab = tab_of(bench)
    bench.rig.act("batch open north-bay perch")
    fish = bench.rig.hand
    # Too heavy for the scale: missing with that reason, until it is weighed in pieces.
    bench.touch(231)
    tab.shows('[data-cell="last"] .digits', "231")
    for key in ("acts", "beyond", "over whole_mass"):
        tab.press(key)
    tab.shows(".has", "whole mass: beyond the instrument")
    for key in ("acts", "beyond", "parts whole_mass", "pieces 2"):
        tab.press(key)
    tab.shows("#said", "the next 2 readings are pieces of whole mass")
    bench.rig.weigh(60)
    tab.shows("#said", "piece 1 of whole mass 60 g")
    bench.rig.weigh(79)
    tab.shows(".has", "whole mass 139 g")
    first = bench.envelope()
    tab.shows('[data-cell="hand"] .digits', "2")
    # The envelope was torn: what it held is in the one that comes next.
    for _ in range(2):
        tab.press("look")
    tab.press("fish 1")
    tab.shows("#sheet", first)
    tab.press(f"torn {first}")
    second = bench.label(1)
    tab.shows("#said", f"1 container mended: {first} → {second}")
    # A code and a species said late.
    for key in ("look", "look", "fish 1", "code sex", "code F"):
        tab.press(key)
    tab.shows("#said", "1 sex F")
    for key in ("look", "look", "fish 1", "species", "species roach"):
        tab.press(key)
    tab.shows("#said", "roach")
    tab.press("undo")
    # What destroys is said twice, of that fish, and the fish in hand stays.
    for key in ("look", "look", "fish 1", "void"):
        tab.press(key)
    tab.page.wait_for_selector('.armed[data-key="void"]')
    assert "press again" in tab.text('[data-key="void"]')
    assert state_of(bench)["last_fish"][0]["end"] == "complete"
    tab.press("void")
    until(lambda: state_of(bench)["last_fish"][0]["end"] == "void", "void")
    held = fish()
    assert held is not None
    assert held["number"] == 2
    for key in ("back", "fish 1"):
        tab.press(key)
    assert tab.page.locator('[data-key="recall"]').count() == 1


def test_an_instrument_is_verified_by_touch(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo")
    tab = tab_of(bench)
    for _ in range(4):
        tab.press("look")
    tab.shows('#sheet [data-instrument="scale"]', "not verified")
    for key in ("acts", "scale", "verify", "verify mass"):
        tab.press(key)
    for digit in "100":
        tab.page.tap(f'[data-key="digit {digit}"]')
    tab.press("take")
    bench.rig.weigh(100)
    for _ in range(4):
        tab.press("look")
    tab.page.wait_for_function(
        """() => / · verified 20/.test(document.querySelector('#sheet [data-instrument="scale"]').textContent)"""
    )


def test_the_screen_stays_awake(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    """Real locks of Chromium (W3C Screen Wake Lock API); hiding the page is feigned, for a headless one is never hidden."""
    bench = bench_of("solo")
    tab = tab_of(bench)
    page = tab.page
    page.add_init_script("""
        window.locks = [];
        const request = navigator.wakeLock.request.bind(navigator.wakeLock);
        navigator.wakeLock.request = async (kind) => { const lock = await request(kind); locks.push(lock); return lock; };
    """)
    page.reload()
    tab.ready()
    held = "() => locks.filter(l => l instanceof WakeLockSentinel && l.type === 'screen' && !l.released).length === 1"
    page.wait_for_function(held)
    for _ in range(5):
        tab.press("look")
    tab.shows("#sheet", "the screen is kept awake")
    # The browser lets go of it when the page is hidden, and the page asks anew when it is seen again.
    page.evaluate("""() => {
        Object.defineProperty(document, "visibilityState", { get: () => "hidden", configurable: true });
        document.dispatchEvent(new Event("visibilitychange"));
        return locks.at(-1).release();
    }""")
    tab.shows("#sheet", "the screen may sleep")
    assert page.evaluate("locks.length") == 1, "nothing is asked for while it is hidden"
    page.evaluate(
        """() => { delete document.visibilityState; document.dispatchEvent(new Event("visibilitychange")); }"""
    )
    page.wait_for_function(held)
    tab.shows("#sheet", "the screen is kept awake")
    assert page.evaluate("locks.length") == 2
    # Let go of while it is seen, as when the battery is low: the next touch asks anew.
    page.evaluate("locks.at(-1).release()")
    tab.shows("#sheet", "the screen may sleep")
    page.tap("#bench")
    page.wait_for_function(held)
    tab.shows("#sheet", "the screen is kept awake")
