"""A simulated bench plays thirty fish with questions, an unplugged scale and a reload; the page shows each of it."""

from __future__ import annotations

import random
import time
from collections.abc import Callable

from tests.page.kit import Bench, Tab, state_of
from tests.servicekit import until


def test_thirty_fish(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo")
    tab = tab_of(bench)
    rig, rng = bench.rig, random.Random(7)
    rig.act("batch open north-bay perch")
    tab.shows('[data-cell="hand"] .label', "perch")
    for number in range(1, 31):
        # Mass on length of perch: ln a = -12.3255, b = 3.15592 (data set fish of the R package rrcov, see the protocol).
        length = rng.randint(150, 340)
        mass = max(1, round(4.437e-6 * length**3.15592 * rng.lognormvariate(0, 0.04)))
        tab.shows('[data-cell="hand"] .digits', str(number))
        assert tab.number() == str(number)
        rig.touch(length)
        tab.shows('[data-cell="last"] .digits', str(length))
        tab.shows('[data-cell="wants"] .far', "whole mass")
        assert "taken" in tab.text('[data-cell="last"] .label')
        if number == 5:
            time.sleep(0.3)
            rig.touch(length - 4)
            tab.shows('[data-question="again-or-new"]', "again or new?")
            assert "hollow" in tab.page.get_attribute('[data-cell="last"]', "class").split()
            tab.press("again")
            tab.page.wait_for_selector('[data-question="again-or-new"]', state="detached")
            tab.shows(".has", f"total length {length - 4} mm")
        if number == 9:
            rig.lines["scale"].unplug()
            tab.shows('[data-instrument="scale"]', "not there")
            rig.lines["scale"].replug()
            tab.page.wait_for_selector('li[data-instrument="scale"].there')
            rig.there()
        rig.weigh(mass * 10 if number == 12 else mass)
        tab.shows('[data-cell="last"] .digits', str(mass * 10 if number == 12 else mass))
        if number == 12:
            tab.shows('[data-question="times_10"] .hint', "most likely ten times too large")
            tab.shows('[data-question="times_10"] .hint', "check the point and the unit")
            assert "marked" in tab.page.get_attribute('[data-key="stands"]', "class").split()
            tab.shows('[data-cell="hand"] .label', "asked")
            tab.press("again")
            rig.weigh(mass)
            tab.page.wait_for_selector('[data-question="times_10"]', state="detached")
        if number == 20:
            before = (tab.number(), tab.value(), tab.text('[data-cell="wants"]'))
            tab.page.reload()
            tab.ready()
            assert (tab.number(), tab.value(), tab.text('[data-cell="wants"]')) == before, "a reload loses nothing"
        tab.shows('[data-cell="wants"] .far', "envelope")
        bench.envelope()
    tab.shows('[data-cell="hand"] .digits', "31")
    held = state_of(bench)
    assert held["fish_closed"] == 30
    until(lambda: tab.page.get_attribute("body", "data-seq") == str(state_of(bench)["seq"]), "the last picture")
    tab.press("look")
    assert tab.page.locator(".tray li:not(.empty)").count() == len(held["places"][0]["tray"])
    tab.press("look")
    numbers = [int(n) for n in tab.page.locator("ol.fish li b").all_text_contents()]
    assert numbers == list(range(30, 20, -1))
    tab.press("look")
    assert tab.page.locator("#sheet .cloud .point").count() >= 25
    assert tab.page.locator("#sheet .cloud .band").count() == 1
    tab.press("look")
    tab.shows("#sheet .rate", f"of {held['fish_closed']} fish")
    for name in ("board", "scale", "scanner"):
        assert "there" in tab.text(f'#sheet [data-instrument="{name}"]')
