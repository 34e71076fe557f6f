"""What tones, speech and lamps cost the bench. `python -m tests.benchmarks.sound [touches]`.

A board's touches through the real service: last byte written to the pseudo-terminal → durable commit returned. Measured
with nothing heard, with a player and a voice that end at once (two programs started for each touch), with ones that hang
for ever (each is ended by the touch that follows), and with a lamp that nobody reads; in blocks that take turns, so that
the machine's moods fall on all alike. The ratios of percentiles to those of the silent bench tell what is lost. A touch
comes every 150 ms, faster than at any bench; the programs start on the same cores.
"""

from __future__ import annotations

import contextlib
import os
import random
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from queue import SimpleQueue

from tests.benchmarks.service import bench_folder, percentile
from thwart.announce.lamp import Fitted, Lamps
from thwart.announce.machine import Loudness, Machine
from thwart.errors import ThwartError
from thwart.ports import LineSettings, Supervisor, parse_spec
from thwart.ports.simulated import PtyLine
from thwart.profiles import find_profile
from thwart.service.service import Service

KINDS = ("silent", "sound", "stuck", "lamp")
BLOCK = 60


class Deaf:
    """The listener of a port from which nothing is wanted."""

    def _nothing(self, *_: object) -> None:
        return None

    on_open = on_bytes = on_line_error = on_gone = on_refused = on_wake = next_wake = _nothing


def programs(folder: Path) -> None:
    """A player and a voice that end at once, and ones that never do."""
    for kind, body in (("sound", "exit 0"), ("stuck", "exec sleep 1000")):
        (folder / kind).mkdir()
        for name in ("aplay", "espeak-ng"):
            path = folder / kind / name
            path.write_text(f"#!/bin/sh\n{body}\n")
            path.chmod(0o755)


@contextlib.contextmanager
def heard(kind: str, service: Service, folder: Path) -> Iterator[None]:
    """One way of being heard at work."""
    if kind == "silent":
        yield
    elif kind == "lamp":
        sends = find_profile("lamp-relays").lamp
        assert sends is not None
        line = PtyLine(folder / "lamp.port")
        port = Supervisor(parse_spec(str(folder / "lamp.port")), LineSettings(), Deaf(), random.Random(1))
        port.start()
        lamps = Lamps(service.feed, [Fitted("lamp", ("table",), sends, port.write)])
        lamps.start()
        yield
        lamps.stop()
        port.stop()
        line.close()
    else:
        path = os.environ["PATH"]
        os.environ["PATH"] = f"{folder / kind}:/usr/bin:/bin"
        machine = Machine(service.feed, Loudness(player="aplay", voice="espeak-ng"), "en", ["table"])
        machine.start()
        yield
        machine.stop()
        os.environ["PATH"] = path


def main(count: int = 1200) -> None:
    """Take turns, and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        board = PtyLine(folder / "board.port")
        bench_folder(folder, {"board": ("number-unit-length", folder / "board.port")})
        programs(folder)
        service = Service(folder)
        done: SimpleQueue[int] = SimpleQueue()
        commit = service.ledger.commit

        def timed() -> None:
            commit()
            done.put(time.perf_counter_ns())

        service.start()
        service.act("batch", ["open", "b"], None, "cli")
        time.sleep(0.5)
        service.ledger.commit = timed  # type: ignore[method-assign]
        took: dict[str, list[float]] = {kind: [] for kind in KINDS}
        for block in range(max(2, count // BLOCK)):
            for kind in KINDS if block % 2 else reversed(KINDS):
                with heard(kind, service, folder):
                    for i in range(BLOCK):
                        while not done.empty():
                            done.get()
                        sent = time.perf_counter_ns()
                        board.send(f"{200 + i % 300:5d} mm\r\n".encode())
                        took[kind].append((done.get(timeout=10) - sent) / 1e6)
                        time.sleep(0.1)
                        if i % 2:
                            with contextlib.suppress(ThwartError):
                                service.act("next", [], None, "cli")
                        time.sleep(0.05)
        service.stop()
        service.wait()
        board.close()
    for kind in KINDS:
        for share, label in ((0.5, "median"), (0.9, "p90"), (0.99, "p99")):
            ours, none = percentile(took[kind], share), percentile(took["silent"], share)
            print(f"{kind:<8} {label:<7} {ours:7.3f} ms   ratio to silence {ours / none:5.2f}")
    print(f"touches  {len(took['silent'])} of each; cores {os.cpu_count()}, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
