"""Feed, sound, and what comes from outside: stale is said, old words are dropped, markup stays text."""

from __future__ import annotations

import socket
from collections.abc import Callable

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
    bench.rig.touch(212)
    both[0].shows('[data-place="board"] [data-cell="last"] .digits', "212")
    both[0].shows('[data-place="board"] [data-cell="hand"] .digits', "2")
    both[0].shows('[data-place="scale"] .label', "waiting: 1")
    bench.rig.weigh(96)
    for tab in both:
        tab.shows('[data-place="scale"] [data-cell="last"] .digits', "96")
    both[0].shows('[data-place="knife"] .label', "waiting: 1")
    assert both[1].page.locator(".slab").count() == 1
    # A third touch while the fish before still waits asks at the board: the other page says where.
    bench.rig.touch(215)
    both[0].shows('[data-place="board"] [data-cell="hand"] .digits', "3")
    both[0].page.wait_for_timeout(2000)  # three touches within two seconds would look like hosing
    bench.rig.touch(221)
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
        bench.rig.touch(mm)
        tab.shows('[data-cell="last"] .digits', str(mm // 10 * 10))
        tab.page.wait_for_timeout(1100)  # three touches within two seconds would look like hosing
    until(lambda: tab.text(".histogram .caption") == "3 in all" or tab.page.wait_for_timeout(30), "three counted")
    assert [t.text_content() for t in tab.page.locator(".histogram text").all()] == ["2", "180", "1", "200"]
    tab.press("undo")
    tab.shows(".histogram .caption", "2 in all")


def test_lead(bench_of: Callable[..., Bench], tab_of: Callable[..., Tab]) -> None:
    bench = bench_of("solo")
    bench.rig.act("batch open north-bay perch")
    for mm, grams in ((231, 139), (199, 84), (262, 2000)):
        seq = bench.settled()
        bench.rig.touch(mm)
        bench.rig.wait_for("measured", lambda b: b["measurand"] == "total_length", after=seq)
        bench.rig.weigh(grams)
        bench.rig.wait_for("measured", lambda b: b["measurand"] == "whole_mass", after=seq)
        bench.envelope()
        bench.rig.wait_for("closed", after=seq)
    tab = tab_of(bench, lead=True)
    page = tab.page
    page.wait_for_selector("body[data-fish]")

    def numbers() -> list[str]:
        return [str(r.get_attribute("data-number")) for r in page.locator("#fish tbody tr").all()]

    assert numbers()[0] > numbers()[-1]
    page.click('#fish [data-sort="total_length_mm"]')
    assert numbers()[:3] == ["2", "1", "3"]
    assert page.locator('#fish th[aria-sort="ascending"]').count() == 1
    page.click('#fish [data-sort="total_length_mm"]')
    assert [n for n in numbers() if n != "4"] == ["3", "1", "2"]
    tab.shows("#findings", "2000 g at 262 mm is high")
    assert page.locator("#plots .point").count() == 3
    assert page.locator("#plots .odd").count() == 1
    tab.shows("#batches", "north-bay")
    page.click("#fish tr[data-number='3'] button")
    page.select_option("#mend-measurand", "whole_mass")
    page.fill("#mend-value", "200")
    page.select_option("#mend-why", "misread")
    page.fill("#mend-evidence", "photo 12")
    page.click("#mend .act")
    tab.shows("#told", "mended")
    page.wait_for_selector('body[data-mends="1"]')
    tab.shows("#mends", "photo 12")
    tab.shows("#fish tr[data-number='3']", "200")
