"""Makes the pictures of the guides anew: `python -m tests.page.pictures [NAME …]`, into docs/images/."""

from __future__ import annotations

import io
import random
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image

from tests.page.kit import ROW_AT, ROW_PLACES, Bench, Tab, chromium
from tests.page.test_first_morning import GUIDE, Morning, play
from tests.page.test_live import LISTEN

IMAGES = GUIDE.parent / "images"


def shot(tab: Tab, name: str, *, whole: bool = False) -> None:
    """A small PNG of what the tab shows."""
    tab.page.wait_for_timeout(150)
    image = Image.open(io.BytesIO(tab.page.screenshot(full_page=whole))).convert("RGB")
    image = image.resize((960, round(image.height * 960 / image.width)), Image.Resampling.LANCZOS)
    image.quantize(48).save(IMAGES / f"{name}.png", optimize=True)


def fish(bench: Bench, rng: random.Random, count: int) -> None:
    """So many perch, measured, weighed and put into their envelopes."""
    for _ in range(count):
        length = rng.randint(150, 330)
        before = bench.settled()
        bench.touch(length)
        bench.rig.wait_for("measured", lambda b: b["measurand"] == "total_length", after=before)
        bench.rig.weigh(max(1, round(4.437e-6 * length**3.15592 * rng.lognormvariate(0, 0.06))))
        bench.rig.wait_for("measured", lambda b: b["measurand"] == "whole_mass", after=before)
        bench.card(f"code sex {rng.choice('FM')}")
        bench.rig.wait_for("coded", after=before)
        bench.envelope()
        bench.rig.wait_for("closed", after=before)


def solo(browser: Any, bench: Bench) -> None:
    tab = Tab(browser, bench.address()).ready()
    tab.page.tap("#bench")
    rng = random.Random(3)
    bench.rig.act("batch open north-bay perch")
    fish(bench, rng, 13)
    bench.touch(231)
    tab.shows('[data-cell="last"] .digits', "231")
    shot(tab, "page-day")
    tab.press("acts")
    tab.press("by hand")
    tab.press("measurand whole_mass")
    tab.page.tap('[data-key="digit 1"]')
    tab.page.tap('[data-key="digit 3"]')
    shot(tab, "page-pad")
    tab.press("back")
    tab.press("back")
    tab.press("back")
    bench.rig.weigh(1280)
    tab.shows(".question", "ten times")
    shot(tab, "page-question")
    for _ in range(5):
        tab.press("look")
    tab.press("theme")
    tab.press("look")
    shot(tab, "page-night")
    bench.envelope()
    tab.press("look")
    tab.shows(".tray", "14")
    lead = Tab(browser, bench.address(lead=True), size={"width": 1280, "height": 900})
    lead.page.wait_for_selector("body[data-fish]")
    shot(lead, "page-lead", whole=True)


def row(browser: Any, bench: Bench) -> None:
    tab = Tab(browser, bench.address()).ready()
    tab.page.tap("#bench")
    bench.rig.act("batch open north-bay perch")
    for mm, grams in ((212, 96), (240, 144)):
        bench.touch(mm)
        tab.shows('[data-place="board"] [data-cell="last"] .digits', str(mm))
        bench.rig.weigh(grams)
        tab.shows('[data-place="scale"] [data-cell="last"] .digits', str(grams))
    bench.rig.client().ask(do="act", act="code", args=["sex", "F"], place="knife")
    bench.touch(198)
    tab.shows('[data-place="board"] [data-cell="last"] .digits', "198")
    bench.touch(203)
    tab.shows('[data-place="board"] .asking', "again, or next?")
    shot(tab, "page-row")


def tally(browser: Any, bench: Bench) -> None:
    tab = Tab(browser, bench.address()).ready()
    tab.page.tap("#bench")
    rng = random.Random(5)
    for words in ("batch open north-bay", "species perch", "code sex F"):
        bench.rig.act(words)
    for _ in range(22):
        before = bench.settled()
        bench.rig.touch(round(rng.gauss(214, 24)))
        bench.rig.wait_for("tallied", after=before)
        tab.page.wait_for_timeout(1100)  # two fish of one size, the next touch not the same one's
    tab.page.wait_for_timeout(500)
    shot(tab, "page-tally")


def morning(browser: Any, bench: Bench) -> None:
    tab = Tab(browser, bench.address()).ready()
    tab.page.add_init_script(LISTEN)
    tab.page.reload()
    tab.ready()
    play(Morning(bench, tab, shot, bench.touch), GUIDE.read_text())


PICTURES: dict[str, tuple[Callable[[Any, Bench], None], dict[str, Any]]] = {
    "solo": (solo, {}),
    "row": (row, {"bench": ROW_PLACES, "at": ROW_AT}),
    "tally": (tally, {}),
    "morning": (morning, {"name": "solo"}),
}


def main(names: list[str]) -> None:
    """Make the pictures named, or all."""
    IMAGES.mkdir(exist_ok=True)
    with chromium() as browser, tempfile.TemporaryDirectory() as folder:
        for name in names or PICTURES:
            make, more = PICTURES[name]
            (Path(folder) / name).mkdir()
            bench = Bench(Path(folder) / name, **{"name": name, **more})
            bench.rig.start()
            try:
                make(browser, bench)
            finally:
                bench.rig.close()


if __name__ == "__main__":
    main(sys.argv[1:])
