"""What deciding costs: microseconds of processor time per input of an ordinary cycle (touch, arrival, settled load, emptied, label).

    python -m tests.benchmarks.bench [fish]

The floor is the JSON of the same input's body, made in the same run. The last lines show that the cost doesn't grow
with what the ledger holds, nor with many questions on the quiet list.
"""

from __future__ import annotations

import json
import sys
from time import thread_time_ns

from tests.benchkit import SOLO, Play
from thwart.entries import Entry, Stamp

SERIES = SOLO.replace("K-####?", "K-######?").replace("K-00013", "K-0000017") + "[numbers]\nlast = 9999999\n"


def cycle(play: Play, n: int) -> list[tuple[str, dict[str, object]]]:
    """The inputs of one fish, made before the clock runs."""
    label = play.bench.desk.expected or "K-0000017"
    base: dict[str, object] = {
        "condition": "ok", "spread": None, "samples": 1, "plateau": 1, "arrived_utc": "2026-05-04T00:00:00Z", "load": None,
    }  # fmt: skip
    mm, g = str(180 + n * 7 % 90), str(90 + n * 13 % 80)
    at = play.now
    return [
        ("reading", {**base, "instrument": "board", "raw": f"{mm} mm\r\n", "value": mm, "unit": "mm", "base": mm,
                     "settled": "each", "zero_before": None, "arrived_ns": at + 1_000_000_000}),
        ("arrival", {"instrument": "scale", "places": ["table"], "baseline": "0", "at_ns": at + 2_000_000_000}),
        ("reading", {**base, "instrument": "scale", "raw": f"{g} g\r\n", "value": g, "unit": "g", "base": g,
                     "settled": "mark", "zero_before": "0", "arrived_ns": at + 2_000_000_000}),
        ("emptied", {"instrument": "scale", "resting": "0", "at_ns": at + 3_000_000_000}),
        ("scan", {"instrument": "scanner", "text": label}),
    ]  # fmt: skip


def run(play: Play, fish: int) -> tuple[dict[str, list[int]], list[int]]:
    """Nanoseconds per input by kind, and of the floor."""
    spent: dict[str, list[int]] = {}
    floor: list[int] = []
    for n in range(fish):
        for kind, body in cycle(play, n):
            play.now += 1_000_000_000
            play.ids += 1
            body["ids"] = [f"00000000-0000-7000-8000-{play.ids:012d}"]
            entry = Entry(
                play.bench.seq + 1, kind, None, None, Stamp("2026-05-04T00:00:00Z", play.now, "boot", True), body
            )
            start = thread_time_ns()
            json.dumps(body, sort_keys=True)
            between = thread_time_ns()
            _, changed = play.bench.take(entry)
            end = thread_time_ns()
            play.records.store(changed)
            floor.append(between - start)
            spent.setdefault(f"{kind} {body.get('instrument')}", []).append(end - between)
    return spent, floor


def median(values: list[int]) -> float:
    return sorted(values)[len(values) // 2] / 1000


def mean(values: list[int]) -> float:
    return sum(values) / len(values) / 1000


def main(fish: int = 2000) -> None:
    play = Play(SERIES)
    run(play, 100)
    spent, floor = run(play, fish)
    print(f"{'input':<18}{'median µs':>10}{'mean µs':>10}{'× floor':>9}")
    for kind, values in spent.items():
        print(f"{kind:<18}{median(values):>10.1f}{mean(values):>10.1f}{median(values) / median(floor):>9.1f}")
    everything = [v for values in spent.values() for v in values]
    print(f"{'all':<18}{median(everything):>10.1f}{mean(everything):>10.1f}{median(everything) / median(floor):>9.1f}")
    print(
        f"floor: {median(floor):.1f} µs; objects in memory: {len(play.bench.objects)}, in the records: {len(play.records.objects)}"
    )
    for held in (0, 200, 2000):
        noted = Play("tray = 100\n" + SERIES, batch=False)
        for n in range(held):
            noted.reading("board", str(500 + n % 7), "mm")
            noted.act("batch open b0 unknown") if n == 0 else None
            noted.act("again") if n > 2 and n % 50 == 0 else None
        if held == 0:
            noted.act("batch open b0 unknown")
        spent, _ = run(noted, 60)
        everything = [v for values in spent.values() for v in values]
        print(
            f"after {held} readings that waited: {mean(everything):.1f} µs, {len(noted.bench.live_questions())} on lists"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
