"""From commit to screen: how long after an entry was committed the page in a real browser shows it. Goal: 200 ms.

    python -m tests.benchmarks.page [TOUCHES]

A board is touched again and again; for each touch the moment the feed hands the commit on (in the service's process) and the moment the
page's number changes (a MutationObserver) are read from the same clock of this computer. Beside it the floor: a bare
request to the service and back from the same page, in the same run.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.page.kit import Bench, Tab, chromium

WATCH = """
window.shown = [];
new MutationObserver(() => {
  const digits = document.querySelector('[data-cell="last"] .digits');
  const text = digits?.textContent ?? "";
  if (window.shown.at(-1)?.[0] !== text) window.shown.push([text, performance.timeOrigin + performance.now()]);
}).observe(document.documentElement, { subtree: true, childList: true, characterData: true });
"""
FLOOR = """async () => {
  const took = [];
  for (let i = 0; i < 30; i += 1) {
    const began = performance.now();
    await (await fetch("/api/picture")).json();
    took.push(performance.now() - began);
  }
  return took;
}"""


def main(touches: int) -> None:
    """Run and print."""
    with chromium() as browser, tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), "solo")
        service = bench.rig.start()
        committed: dict[str, float] = {}
        publish = service.feed.publish

        def told(group: object) -> None:
            for entry in group:  # type: ignore[attr-defined]
                if entry.kind == "reading":
                    committed[str(entry.body["value"])] = time.time() * 1000
            publish(group)  # type: ignore[arg-type]

        service.feed.publish = told  # type: ignore[method-assign]
        tab = Tab(browser, bench.address()).ready()
        bench.rig.act("batch open north-bay perch")
        tab.page.evaluate(WATCH)
        for n in range(touches):
            bench.rig.touch(150 + n)
            tab.page.wait_for_timeout(150)
        tab.page.wait_for_timeout(500)
        shown = dict(tab.page.evaluate("window.shown"))
        delays = sorted(shown[value] - at for value, at in committed.items() if value in shown)
        floor = statistics.median(tab.page.evaluate(FLOOR))
        median, p95 = statistics.median(delays), delays[int(len(delays) * 0.95)]
        print(
            f"{len(delays)} of {touches} touches: commit → shown median {median:.0f} ms, p95 {p95:.0f} ms, most {delays[-1]:.0f} ms (goal 200)"
        )
        print(f"floor, a request for the picture and back: median {floor:.0f} ms; ratio {median / floor:.1f}")
        tab.context.close()
        bench.rig.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
