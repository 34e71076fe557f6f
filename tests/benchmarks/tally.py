"""Does a tally leave a queue? `python -m tests.benchmarks.tally [touches]`.

Boards on pseudo-terminals, the real service, classes counted. Each touch is timed from its bytes to its published
commit. First at the pace of a practised hand, a touch each 2.4 s; then the same 20, 100 and 200 times as fast; then
bursts of 15 events at each of four places at once, as fast as 15 a minute and 50 times that. A queue would show as
the last touches waiting longer than the first. The floor, in the same run, is a bare loop that reads the same lines and
makes one durable insert of each.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from pathlib import Path

from tests.benchmarks.service import Floor, percentile
from thwart.ports.simulated import PtyLine
from thwart.service.control import Client
from thwart.service.service import Service

PROTOCOL = """
name = "tally"
flow = "tally"
tally = "total_length"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = { rule = "below", step = "1 cm" }

[species.perch]
title = "perch"
limits.total_length = { possible = [20, 9999] }
"""
PLACES = 4
BEAT_S = 2.4


class Bench:
    """A service with four boards, each at a place of its own, and who follows what it commits."""

    def __init__(self, folder: Path) -> None:
        self.lines = [PtyLine(folder / f"board{i}.port") for i in range(PLACES)]
        text = f'name = "tally"\nplaces = {[f"p{i}" for i in range(PLACES)]}\n'.replace("'", '"')
        for i in range(PLACES):
            text += f'[instruments.board{i}]\nprofile = "number-unit-length"\nport = "{folder}/board{i}.port"\nplaces = ["p{i}"]\n'
        (folder / "bench.toml").write_text(text)
        (folder / "protocol.toml").write_text(PROTOCOL)
        self.service = Service(folder)
        self.follower = self.service.feed.follow()
        self.service.start()
        Client(folder).ask(do="act", act="batch", args=["open", "b", "perch"])
        time.sleep(0.5)
        self.sent: dict[tuple[str, str], float] = {}
        self.took: list[tuple[float, float]] = []
        self._ends = False
        self._ear = threading.Thread(target=self._hear, daemon=True)
        self._ear.start()

    def _hear(self) -> None:
        while not self._ends:
            groups, lost = self.follower.take(0.2)
            now = time.perf_counter()
            assert not lost
            for group in groups:
                entry = group.entries[0]
                sent = self.sent.pop((str(entry.body.get("instrument")), str(entry.body.get("value"))), None)
                if entry.kind == "reading" and sent is not None:
                    self.took.append((sent, now - sent))

    def touch(self, place: int, mm: int) -> None:
        """One touch: every value once, so that it is known again."""
        self.sent[f"board{place}", str(mm)] = time.perf_counter()
        self.lines[place].send(f"{mm:5d} mm\r\n".encode())

    def taken(self) -> list[float]:
        """Milliseconds of each touch since the last time, in the order they were sent."""
        end = time.monotonic() + 30
        while self.sent and time.monotonic() < end:
            time.sleep(0.01)
        assert not self.sent, f"{len(self.sent)} touches never came out"
        out, self.took = [took * 1e3 for _, took in sorted(self.took)], []
        return out

    def stop(self) -> None:
        self._ends = True
        self.service.stop()
        self.service.wait()
        self._ear.join()


def said(label: str, took: list[float]) -> None:
    """A row: how long, and whether the last tenth waited longer than the first."""
    tenth = max(1, len(took) // 10)
    first, last = sum(took[:tenth]) / tenth, sum(took[-tenth:]) / tenth
    print(
        f"| {label} | {len(took)} | {percentile(took, 0.5):.2f} | {percentile(took, 0.99):.2f} | {first:.2f} | {last:.2f} |"
    )


def paced(bench: Bench, places: int, touches: int, beat_s: float, start: int) -> list[float]:
    """So many touches at each of the places, one each `beat_s`."""
    due = time.perf_counter()
    for n in range(touches):
        for place in range(places):
            bench.touch(place, start + n * 3 % 7000)
        due += beat_s
        time.sleep(max(0.0, due - time.perf_counter()))
    return bench.taken()


def floor(folder: Path, touches: int, beat_s: float) -> list[float]:
    """The bare loop at the same beat."""
    line = PtyLine(folder / "floor.port")
    bare = Floor(str(folder / "floor.port"), folder / "floor.db")
    time.sleep(0.3)
    took = []
    for n in range(touches):
        sent = time.perf_counter_ns()
        line.send(f"{200 + n:5d} mm\r\n".encode())
        took.append((bare.done.get(timeout=10) - sent) / 1e6)
        time.sleep(beat_s)
    return took


def main(touches: int = 400) -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        bench = Bench(Path(name))
        print(
            "| touches | n | median ms | p99 ms | first tenth ms | last tenth ms |\n| --- | ---: | ---: | ---: | ---: | ---: |"
        )
        said("floor, every 24 ms", floor(Path(name), touches, BEAT_S / 100))
        said("one each 2.4 s", paced(bench, 1, 8, BEAT_S, 200))
        for faster in (20, 100, 200):
            said(f"{faster} times as fast", paced(bench, 1, touches, BEAT_S / faster, 1000 + faster))
        said(f"15 a minute at each of {PLACES} places", paced(bench, PLACES, 4, 4.0, 300))
        said(f"bursts of 15 at {PLACES} places, 50 times as fast", paced(bench, PLACES, 15, 4.0 / 50, 600))
        bench.stop()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
