"""`docs/first-morning.md`, step by step, as somebody does it who has never seen the page."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.page.kit import Bench, Tab, state_of
from tests.page.test_live import LISTEN
from tests.servicekit import until

GUIDE = Path(__file__).parents[2] / "docs" / "first-morning.md"
Shot = Callable[[Tab, str], None]


class Morning:
    """The steps; `shot` is called where the guide shows a picture, and `touch` is a hand's, at its pace or in haste."""

    def __init__(self, bench: Bench, tab: Tab, shot: Shot, touch: Callable[[int], None]) -> None:
        self.bench, self.tab, self.rig, self.shot, self.finger = bench, tab, bench.rig, shot, touch

    def step_1(self) -> None:
        for name in ("board", "scale", "scanner"):
            self.tab.page.wait_for_selector(f'li[data-instrument="{name}"].there')
        self.rig.lines["scale"].unplug()
        self.tab.shows('[data-instrument="scale"]', "not there")
        self.rig.lines["scale"].replug()
        self.tab.page.wait_for_selector('li[data-instrument="scale"].there')
        self.rig.there()

    def step_2(self) -> None:
        self.tab.page.tap("#bench")
        self.finger(212)
        self.tab.shows(".hollow .digits", "212")
        assert "loose · no batch is open" in self.tab.text('[data-cell="last"] .label')
        spoken = until(lambda: self.tab.page.evaluate("window.spoken.join('|')") or self.pause(), "speech")
        assert "two one two" in spoken
        assert "loose" in spoken
        self.shot(self.tab, "morning-loose")

    def step_3(self) -> None:
        self.tab.press("practice")
        self.tab.page.wait_for_selector('[data-key="practice"][aria-pressed="true"]')
        self.tab.page.fill("#batch-name", "trial")
        self.tab.press("open batch")
        self.tab.shows('[data-cell="hand"] .digits', "1")
        for key in ("acts", "species", "species perch"):
            self.tab.press(key)
        self.tab.shows('[data-cell="hand"] .label', "perch")
        self.touch(231)
        self.tab.shows('[data-cell="wants"] .far', "whole mass")
        self.weigh(139)

    def step_4(self) -> None:
        self.finger(226)
        self.tab.shows('[data-question="again-or-new"]', "again or new?")
        assert "marked" in self.tab.page.get_attribute('[data-key="again"]', "class").split()
        assert "marked" in self.tab.page.get_attribute('[data-key="next"]', "class").split()
        self.shot(self.tab, "morning-asked")
        self.tab.press("again")
        self.tab.shows(".has", "total length 226 mm")

    def step_5(self) -> None:
        self.tab.press("undo")
        self.tab.shows(".has", "total length 231 mm")
        assert self.tab.text("#said")
        for key in ("acts", "undo undo"):
            self.tab.press(key)
        self.tab.shows(".has", "total length 226 mm")

    def step_6(self) -> None:
        self.tab.press("pause")
        self.tab.shows('[data-cell="hand"] .label', "paused")
        assert "gradient" in self.tab.style(".slab", "backgroundImage")
        for mm in (11, 300, 42):
            self.rig.touch(mm)
            self.tab.shows(".hollow .digits", str(mm))
        assert self.tab.page.locator(".question").count() == 0
        self.tab.press("resume")
        self.tab.page.wait_for_selector('[data-key="pause"]')

    def step_7(self) -> None:
        for key in ("acts", "batch", "close done"):
            self.tab.press(key)
        self.tab.shows("#bench", "no batch open")
        self.tab.press("practice")
        self.tab.page.wait_for_selector('[data-key="practice"][aria-pressed="false"]')

    def step_8(self) -> None:
        self.tab.page.fill("#batch-name", "north bay")
        self.tab.press("open batch")
        self.tab.shows("#bench", "north-bay")
        for n, (mm, grams) in enumerate(_FISH, 1):
            self.tab.page.wait_for_selector('[data-cell="wants"] .far')
            number = self.tab.number()
            for key in ("acts", "species", "species perch"):
                self.tab.press(key)
            self.tab.shows('[data-cell="hand"] .label', "perch")
            self.touch(mm)
            self.weigh(grams * 10 if n == 4 else grams)
            self.tab.shows('[data-cell="wants"] .far', "envelope")
            if n == 4:
                self.tab.shows(".question .hint", "ten times too large")
                self.shot(self.tab, "morning-question")
            self.bench.envelope()
            self.tab.page.wait_for_function(
                "n => document.querySelector('[data-cell=hand] .digits').textContent !== n", arg=number
            )

    def step_9(self) -> None:
        self.tab.page.wait_for_function("() => document.querySelector('[data-key=look] .word').textContent === 'tray'")
        read_out = next(e for e in reversed(self.rig.entries()) if e.kind == "read-out" and e.body["texts"])
        assert len(read_out.body["numbers"]) == 10
        assert any("ten times too large" in text for text in read_out.body["texts"])
        self.tab.press("look")
        assert self.tab.page.locator(".tray li").count() == 10
        self.tab.press("look")
        assert self.tab.page.locator("ol.fish li").count() == 10
        odd = self.tab.page.locator("ol.fish li:has(.look) b").all_text_contents()
        assert len(odd) == 1
        for key in (f"fish {odd[0]}", "recall"):
            self.tab.press(key)
        self.tab.shows('[data-cell="hand"] .digits', odd[0])

    def step_10(self) -> None:
        for key in ("acts", "batch", "close done"):
            self.tab.press(key)
        self.tab.shows("#bench", "no batch open")
        self.tab.shows("#said", "10 fish")

    def touch(self, mm: int) -> None:
        self.finger(mm)
        self.tab.shows('[data-cell="last"]:not(.hollow) .digits', str(mm))

    def weigh(self, grams: int) -> None:
        self.rig.weigh(grams)
        self.tab.shows('[data-cell="last"]:not(.hollow) .digits', str(grams))

    def pause(self) -> Any:
        self.tab.page.wait_for_timeout(50)


#: Perch of our own invention, near the published relation of the protocol.
_FISH = [
    (231, 128),
    (199, 81),
    (262, 192),
    (245, 157),
    (180, 58),
    (214, 101),
    (301, 298),
    (226, 120),
    (275, 224),
    (190, 70),
]


def steps_of(guide: str) -> list[int]:
    """The numbers of a guide's steps."""
    return [int(n) for n in re.findall(r"^## (\d+)\. ", guide, re.MULTILINE)]


def play(morning: Morning, guide: str) -> None:
    """Do each step of the guide; one without a deed here, or a deed without a step, fails."""
    numbers = steps_of(guide)
    deeds = sorted(int(name[5:]) for name in dir(morning) if name.startswith("step_"))
    assert numbers == deeds
    for number in numbers:
        getattr(morning, f"step_{number}")()


def test_first_morning(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo")
    tab = tab_of(bench)
    tab.page.add_init_script(LISTEN)
    tab.page.reload()
    tab.ready()
    guide = GUIDE.read_text()
    play(Morning(bench, tab, lambda tab, name: None, bench.rig.touch), guide)
    for picture in re.findall(r"\((images/[^)]+)\)", guide):
        assert (GUIDE.parent / picture).is_file(), picture
    assert state_of(bench)["practice"] is False
