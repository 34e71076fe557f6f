"""What tones, speech and lamps cost the bench. `python -m tests.benchmarks.sound [touches]`.

Touches (`touching`) with nothing heard, with a player and a voice that end at once (two programs started for each touch),
with ones that hang for ever (each is ended by the touch that follows), and with a lamp that nobody reads. The ratios of
percentiles to those of the silent bench tell what is lost. A touch comes every 150 ms, faster than at any bench; the
programs start on the same cores.
"""

from __future__ import annotations

import contextlib
import os
import random
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.touching import BLOCK, tell, touching
from thwart.announce.lamp import Fitted, Lamps
from thwart.announce.machine import Loudness, Machine
from thwart.ports import LineSettings, Supervisor, parse_spec
from thwart.ports.simulated import PtyLine
from thwart.profiles import find_profile
from thwart.service.service import Service

KINDS = ("silent", "sound", "stuck", "lamp")


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
        programs(folder)
        with touching(folder) as bench:
            took = bench.take(
                KINDS, lambda kind: heard(kind, bench.service, folder), max(2, count // BLOCK), pause_s=0.075
            )
    tell(took, "silent", "silence")
    print(f"touches  {len(took['silent'])} of each; cores {os.cpu_count()}, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
