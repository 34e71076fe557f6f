"""A bench in this process, its page in a real headless Chromium, and hands that touch, weigh and scan."""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.servicekit import PATIENCE_S, Rig
from thwart.bench.labels import Template, card
from thwart.bench.protocol import read

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=document-user-activation-required",
]  # fmt: skip
#: A tablet of ten inches: 216 by 135 mm at 150 pixels an inch.
TABLET = {"width": 1280, "height": 800}
UPRIGHT = {"width": 800, "height": 1280}
PHONE = {"width": 390, "height": 844}
PPI = 150.0
MM = PPI / 25.4
DEMOS = Path(__file__).parents[2] / "demo"


@contextlib.contextmanager
def chromium() -> Iterator[Any]:
    """The browser, or a skipped test where there is none."""
    sync = pytest.importorskip("playwright.sync_api", reason="playwright drives the browser and isn't installed")
    if not CHROMIUM.exists():
        pytest.skip(f"no {CHROMIUM}: install the package chromium")
    with sync.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(CHROMIUM), headless=True, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


def demo(name: str) -> str:
    """A demo's protocol."""
    return (DEMOS / name / "protocol.toml").read_text()


class Bench:
    """A bench folder with a demo's protocol on simulated ports, and the service on it."""

    def __init__(
        self, folder: Path, name: str = "solo", *, bench: str = "", tables: str = "", protocol: str | None = None,
        at: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        """`bench`: keys before the tables of bench.toml; `tables`: more of them; `at`: instrument → its place."""
        self.rig = Rig(folder, bench=bench)
        file = folder / "bench.toml"
        text = file.read_text() + tables
        for instrument, place in (at or {}).items():
            head = f"[instruments.{instrument}]\n"
            text = text.replace(head, f'{head}places = ["{place}"]\n')
        file.write_text(text)
        self.text = protocol if protocol is not None else demo(name)
        (folder / "protocol.toml").write_text(self.text)
        self.protocol = read(self.text, "protocol.toml")
        self.used = 0
        self.containers: list[str] = []
        self._touched: list[float] = []

    def address(self, role: str = "act", *, lead: bool = False) -> str:
        """The link that lets a browser in."""
        client = self.rig.client()
        found = client.ask(do="page", role=role)["page"]
        return str(found["lead" if lead else "link"])

    # ---- hands -------------------------------------------------------------------------------------------------

    def touch(self, mm: int) -> None:
        """Touch the board, at the pace of a hand: three touches within two seconds look like hosing."""
        if len(self._touched) >= 2:
            time.sleep(max(0.0, self._touched[-2] + 2.5 - time.monotonic()))
        self._touched.append(time.monotonic())
        self.rig.touch(mm)

    def scan(self, text: str) -> None:
        """A scanner reads a label or card."""
        self.rig.lines["scanner"].send(text.encode() + b"\r")

    def card(self, words: str) -> None:
        """A scanner reads an act's card."""
        self.scan(card(words.split()))

    def envelope(self) -> str:
        """The next envelope is filled and scanned; its label."""
        label = self.label(self.used)
        self.used += 1
        self.containers.append(label)
        self.scan(label)
        return label

    def label(self, nth: int) -> str:
        """The nth label of the protocol's containers, from 0."""
        containers = self.protocol.containers
        assert containers is not None
        assert containers.first is not None
        label = Template(containers.label, containers.check).moved(containers.first, nth)
        assert label is not None
        return label

    def settled(self) -> int:
        """Everything sent so far was decided; the last entry."""
        return int(self.rig.status()["held"]["seq"])


#: The instruments of the demo `row`, each at its place.
ROW_AT = {"board": "board", "scale": "scale", "scanner": "knife"}
ROW_PLACES = 'places = ["board", "scale", "knife"]\n'


class Tab:
    """The page in one tab."""

    def __init__(self, browser: Any, address: str, *, size: dict[str, int] = TABLET, **context: Any) -> None:
        self.context = browser.new_context(viewport=size, has_touch=True, **context)
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self._pressed = ("", 0.0)
        self.page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        self.page.on("console", lambda told: self.faults.append(told.text) if told.type == "error" else None)
        self.page.set_default_timeout(PATIENCE_S * 500)
        self.page.goto(address)

    def ready(self) -> Tab:
        """The first picture is drawn."""
        self.page.wait_for_selector("body[data-seq]")
        return self

    def shows(self, what: str, text: str) -> None:
        """Wait until an element holds a text."""
        self.page.wait_for_function(
            "([what, text]) => [...document.querySelectorAll(what)].some(e => e.textContent.replaceAll('\u00ad', '').includes(text))",
            arg=[what, text],
        )  # fmt: skip

    def text(self, what: str) -> str:
        """An element's text, blanks made one."""
        return " ".join(str(self.page.text_content(what)).split())

    def press(self, name: str) -> None:
        """Press a key by touch."""
        before, at = self._pressed
        if name == before:  # a bounce is swallowed
            self.page.wait_for_timeout(max(0.0, at + 0.41 - time.monotonic()) * 1000)
        self.page.tap(f'[data-key="{name}"]')
        self._pressed = (name, time.monotonic())

    def back(self) -> None:
        """Leave a sheet by the keyboard, where a key pressed twice needn't be waited for."""
        self.page.keyboard.press("Escape")

    def resize(self, size: dict[str, int]) -> None:
        """Turn the tablet, or take another: the page has measured it."""
        self.page.set_viewport_size(size)
        upright = size["height"] > size["width"]
        self.page.wait_for_function("upright => document.body.classList.contains('upright') === upright", arg=upright)

    def number(self) -> str:
        """The number in hand."""
        return self.text('[data-cell="hand"] .digits')

    def value(self) -> str:
        """What came last."""
        return self.text('[data-cell="last"] .big')

    def follow(self, seq: int) -> None:
        """Wait until the page shows everything up to an entry."""
        self.page.wait_for_function("seq => Number(document.body.dataset.seq) >= seq", arg=seq)

    def style(self, what: str, name: str) -> str:
        """A computed style."""
        script = "([what, name]) => getComputedStyle(document.querySelector(what))[name]"
        return str(self.page.evaluate(script, [what, name]))

    def close(self) -> None:
        """Close the tab. Faults of the page fail the test."""
        self.context.close()
        assert self.faults == []


def state_of(bench: Bench) -> dict[str, Any]:
    """What the service says it holds."""
    held: dict[str, Any] = json.loads(json.dumps(bench.rig.status()["held"]))
    return held
