"""Feed, sound, and what comes from outside: stale is said, old words are dropped, markup stays text."""

from __future__ import annotations

import socket
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from tests.page.kit import ROW_AT, ROW_PLACES, Bench, Tab, state_of
from tests.servicekit import until

#: Counts what the page would say; sound is blocked as a browser blocks it that nobody has touched yet.
LISTEN = """
window.spoken = []; window.dropped = 0;
speechSynthesis.speak = (u) => window.spoken.push(u.text);
speechSynthesis.cancel = () => { window.dropped += 1; };
window.AudioContext = class extends AudioContext { constructor() { super(); this.suspend(); } };
"""


def test_stale_restart_sound_and_markup(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    bench = bench_of("solo", tables=f"[page]\nport = {port}\n")
    tab = tab_of(bench)
    page = tab.page
    page.add_init_script(LISTEN)
    page.reload()
    tab.ready()
    # Sound: blocked until somebody touches, then tones and speech; the next word drops the one before.
    page.wait_for_selector("#allow:not([hidden])")
    assert tab.text("#allow") == "touch once to allow sound"
    page.tap("#bench")
    page.wait_for_selector("#allow", state="hidden")
    tones: list[str] = []
    page.on("request", lambda r: tones.append(r.url) if "/api/tone/" in r.url else None)
    bench.rig.act("batch open north-bay perch")
    bench.rig.touch(212)
    tab.shows('[data-cell="last"] .digits', "212")
    until(lambda: any("/taken/0.wav" in t for t in tones) or page.wait_for_timeout(50), "a tone")
    words = until(lambda: page.evaluate("window.spoken") or page.wait_for_timeout(50), "speech")
    assert page.evaluate("window.dropped") >= len(words)
    for _ in range(5):
        tab.press("look")
    for mode in ("tones", "none"):
        tab.press("sound")
        tab.shows('[data-key="sound"]', mode)
    before = len(page.evaluate("window.spoken")), len(tones)
    tab.press("look")
    bench.rig.weigh(98)
    tab.shows('[data-cell="last"] .digits', "98")
    page.wait_for_timeout(100)
    assert (len(page.evaluate("window.spoken")), len(tones)) == before, "silent"

    # What a scanner read is shown, never run.
    bench.scan("<img src=x onerror=alert(1)>")
    tab.shows("#said", "<img src=x onerror=alert(1)>")
    assert page.locator("img").count() == 0

    # The service goes: within seconds the page says that what it shows isn't live; back again it goes on.
    number = tab.number()
    tab.faults.clear()
    bench.rig.stop()
    page.wait_for_selector("body.stale")
    tab.shows("#trouble", "NOT LIVE")
    assert "gradient" in tab.style(".slab", "backgroundImage")
    tab.press("undo")
    tab.shows("#trouble", "can't be reached")
    bench.rig.start()
    page.wait_for_selector("body:not(.stale)")
    tab.shows(".question", "same fish?")
    assert tab.number() == number
    tab.press("stands")
    page.wait_for_selector(".question", state="detached")
    assert state_of(bench)["places"][0]["questions"] == []
    tab.faults.clear()  # the browser counts each refused connection meanwhile


def test_two_pages_of_one_bench_show_the_same_and_one_may_be_pinned(
    bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]
) -> None:
    bench = bench_of("row", bench=ROW_PLACES, at=ROW_AT)
    both = tab_of(bench), tab_of(bench)
    both[1].page.evaluate("localStorage.setItem('thwart-pinned', 'scale')")
    both[1].page.reload()
    both[1].ready()
    bench.rig.act("batch open north-bay perch")
    bench.touch(212)
    both[0].shows('[data-place="board"] [data-cell="last"] .digits', "212")
    both[0].shows('[data-place="board"] [data-cell="hand"] .digits', "2")
    both[0].shows('[data-place="scale"] .label', "waiting: 1")
    bench.rig.weigh(96)
    for tab in both:
        tab.shows('[data-place="scale"] [data-cell="last"] .digits', "96")
    both[0].shows('[data-place="knife"] .label', "waiting: 1")
    assert both[1].page.locator(".slab").count() == 1
    # A third touch while the fish before still waits asks at the board: the other page says where.
    bench.touch(215)
    both[0].shows('[data-place="board"] [data-cell="hand"] .digits', "3")
    bench.touch(221)
    both[0].shows('[data-place="board"] .asking', "again, or next?")
    both[1].shows("#instruments .asks", "board")
    both[0].press("place board")
    both[0].press("again")
    both[0].page.wait_for_selector('[data-place="board"].asked', state="detached")


def test_tally(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("tally")
    tab = tab_of(bench)
    tab.page.fill("#batch-name", "north-bay")
    tab.press("open batch")
    tab.press("species perch")
    tab.shows(".count .digits", "perch")
    tab.press("sex F")
    tab.shows(".count .sex", "female")
    for mm in (187, 183, 204):
        before = bench.settled()
        bench.touch(mm)
        bench.rig.wait_for("tallied", after=before)
        tab.shows('[data-cell="last"] .digits', str(mm // 10 * 10))
    until(lambda: tab.text(".histogram .caption") == "3 in all" or tab.page.wait_for_timeout(30), "three counted")
    assert [t.text_content() for t in tab.page.locator(".histogram text").all()] == ["2", "180", "1", "200"]
    tab.press("undo")
    tab.shows(".histogram .caption", "2 in all")


def day_of_three(bench: Bench) -> None:
    """Three perch in their envelopes, the last ten times too heavy."""
    bench.rig.act("batch open north-bay perch")
    for mm, grams in ((231, 139), (199, 84), (262, 2000)):
        seq = bench.settled()
        bench.touch(mm)
        bench.rig.wait_for("measured", lambda b: b["measurand"] == "total_length", after=seq)
        bench.rig.weigh(grams)
        bench.rig.wait_for("measured", lambda b: b["measurand"] == "whole_mass", after=seq)
        bench.envelope()
        bench.rig.wait_for("closed", after=seq)


def test_lead(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo")
    day_of_three(bench)
    tab = tab_of(bench, lead=True)
    page = tab.page
    page.wait_for_selector("body[data-fish]")

    def numbers() -> list[str]:
        return [str(r.get_attribute("data-number")) for r in page.locator("#fish tbody tr").all()]

    # The table sorts by keyboard, says how it is sorted (ARIA in HTML, aria-sort), and keeps the focus on its heading.
    assert numbers()[0] > numbers()[-1]
    assert page.get_attribute('#fish th:has([data-sort="number"])', "aria-sort") == "descending"
    page.focus('#fish [data-sort="species"]')
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.sort") == "total_length_mm"
    page.keyboard.press("Enter")
    assert numbers()[:3] == ["2", "1", "3"]
    assert page.get_attribute('#fish th:has([data-sort="total_length_mm"])', "aria-sort") == "ascending"
    assert page.locator("#fish th[aria-sort]").count() == 1
    page.keyboard.press("Space")
    assert [n for n in numbers() if n != "4"] == ["3", "1", "2"]
    assert page.get_attribute('#fish th:has([data-sort="total_length_mm"])', "aria-sort") == "descending"
    assert page.evaluate("document.activeElement.dataset.sort") == "total_length_mm"

    # Findings; each fish on its species' band, and how far from its middle in the order they were measured.
    tab.shows("#findings", "2000 g at 262 mm is high")
    assert page.locator('figure[data-species="perch"] .point').count() == 3
    assert page.locator('figure[data-species="perch"] .odd').count() == 1
    band = bench_band(page)
    for mm, inside in ((231, 139), (199, 84)):
        low, high = at_length(band, mm)
        assert low < inside < high
    assert at_length(band, 262)[1] < 2000
    assert page.locator("figure.order .point").count() == 3
    assert page.text_content("figure.order title") == "3 fish in order, 1 outside the band"
    tab.shows("#batches", "north-bay")


def bench_band(page: Any) -> list[list[float]]:
    """The band that the page was given for perch: length, and the masses that bound it."""
    found: list[list[float]] = page.evaluate("fetch('/api/day').then(a => a.json())")["picture"]["bands"]["perch"]
    return found


def at_length(band: list[list[float]], mm: float) -> tuple[float, float]:
    """Between what masses the band lies, linearly between its steps."""
    (x0, a0, b0), (x1, a1, b1) = next((p, q) for p, q in pairwise(band) if p[0] <= mm <= q[0])
    t = (mm - x0) / (x1 - x0)
    return a0 + t * (a1 - a0), b0 + t * (b1 - b0)


def test_lead_sets_right(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    """Every act for the desk by its form; what destroys is asked for twice."""
    bench = bench_of("solo", bench='people = ["ida"]\n')
    day_of_three(bench)
    tab = tab_of(bench, lead=True)
    page = tab.page
    page.wait_for_selector("body[data-fish]")

    def do(what: str, said: str, **fields: str) -> None:
        page.select_option("#mend-what", what)
        for name, value in fields.items():
            field = page.locator(f"#mend-{name}")
            field.select_option(value) if field.evaluate("e => e.tagName") == "SELECT" else field.fill(value)
        page.click("#mend .act")
        tab.shows("#told", said)

    page.click("#fish tr[data-number='3'] button")
    assert page.input_value("#mend-number") == "3"
    do(
        "mend-value",
        "3 total length mended: 262 → 264",
        measurand="total_length",
        value="264",
        unit="mm",
        why="misread",
    )
    do(
        "mend-value",
        "3 whole mass mended: 2000 → 200",
        measurand="whole_mass",
        value="0,2",
        unit="kg",
        why="misread",
        who="ida",
        evidence="photo 12",
    )
    page.wait_for_selector('body[data-mends="2"]')
    for text in ("photo 12", "ida", "misread"):
        tab.shows("#mends", text)
    tab.shows("#fish tr[data-number='3']", "200")
    do("code", "3 sex F", field="sex", code="F")
    do("mend-species", "roach", species="roach", why="wrong-species")
    tab.shows("#fish tr[data-number='3']", "roach")
    do("mend-swap", "2 whole mass mended: 84 → 139", number="1", other="2", measurand="whole_mass", why="exchanged")
    tab.shows("#fish tr[data-number='1']", "84")
    # Two steps: said once it is only asked, and another fish asks anew.
    before = len(bench.rig.entries())
    do("slide", "say it again to do it", measurand="total_length", **{"from": "1", "to": "2", "way": "+1"})
    assert "press again" in tab.text("#mend .act")
    assert not [e for e in bench.rig.entries()[before:] if e.kind == "mend"]
    page.click("#mend .act")
    tab.shows("#told", "done")
    tab.shows("#fish tr[data-number='2']", "231")
    do("void", "void of 2 2: say it again to do it", number="2")
    page.fill("#mend-number", "1")
    page.wait_for_selector("#mend .act:not(.armed)")
    do("void", "void of 1 1: say it again to do it", number="1")
    page.click("#mend .act")
    tab.shows("#told", "void")
    # Containers: one turns out empty, one was torn.
    first, second = (bench.containers[n] for n in (1, 2))
    do("found-empty", "filled → empty", container=first, missing="mislaid")
    do("move", f"to {bench.label(8)}", container=second, new_container=bench.label(8))
    do("found-full", "belongs to no fish", container=bench.label(6), of="")
    tab.shows("#findings", "belongs to no fish")
