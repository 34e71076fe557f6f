"""Kill -9 of the real service at random moments while readings flow: what was said is in the ledger, and it resumes."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.benchkit import SOLO
from thwart.errors import ThwartError
from thwart.ledger import Ledger
from thwart.ports.simulated import PtyLine
from thwart.service.control import Client
from thwart.service.folder import CONTROL, read_door

SOUND = "import sys; from pathlib import Path; from thwart.service.service import run; sys.exit(run(Path(sys.argv[1])))"

#: The same service with law 2 broken: it publishes and answers, and commits a moment later.
SAID_BEFORE_SAVED = """
import sys, time
from pathlib import Path
from thwart.service.clerk import Clerk
from thwart.service.service import run
write = Clerk._write
def late(self, pending):
    self._publish(pending)
    time.sleep(0.03)
    write(self, pending)
Clerk._write = late
sys.exit(run(Path(sys.argv[1])))
"""


@dataclass
class Killed:
    """What happened over some kills: announced entries that weren't there afterwards, and how much was announced."""

    announced: int = 0
    lost: list[tuple[int, str]] = field(default_factory=list)
    resumed_wrong: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def kill_often(folder: Path, times: int, seed: int, program: str, audit: Callable[[Path], list[str]]) -> Killed:
    """Start, feed, kill at a random moment, look; so many times on one bench folder."""
    rng = random.Random(seed)
    board = PtyLine(folder / "board.port")
    by_hand = SOLO.replace('quantity = "mass"', 'quantity = "mass"\nhand_division = "1 g"')
    (folder / "protocol.toml").write_text(by_hand)
    (folder / "bench.toml").write_text(
        f'name = "killed"\n[instruments.board]\nprofile = "number-unit-length"\nport = "{folder}/board.port"\n'
    )
    result = Killed()
    held_before: tuple[int, Any] | None = None
    for _ in range(times):
        heard: dict[int, tuple[str, Any]] = {}
        process = _start(folder, program)
        client = Client(folder)
        picture = client.ask(do="status")["status"]["held"]["places"][0]["in_hand"]
        if held_before is not None:
            # What the killed one had said of the fish in hand holds, or something later that it had saved but not said.
            last_said, in_hand = held_before
            with Ledger.open(folder / "ledger.db", readonly=True) as ledger:
                later = [
                    e
                    for e in ledger.entries(last_said)
                    if e.kind not in ("started", "asked", "port", "configured", "question")
                ]
            if not later and in_hand != (picture and picture["number"]):
                result.resumed_wrong.append(f"in hand {picture}, was {in_hand}")
        listener = threading.Thread(target=_listen, args=(folder, heard), daemon=True)
        listener.start()
        stop = threading.Event()
        feeder = threading.Thread(target=_feed, args=(folder, board, stop, random.Random(rng.random())), daemon=True)
        feeder.start()
        time.sleep(rng.uniform(0.15, 0.6))
        process.kill()
        process.wait()
        stop.set()
        feeder.join(5)
        listener.join(5)
        with Ledger.open(folder / "ledger.db", readonly=True) as ledger:
            stored = {e.seq: (e.kind, e.body) for e in ledger.entries()}
        result.announced += len(heard)
        result.lost += [(seq, what[0]) for seq, what in heard.items() if stored.get(seq) != what]
        opened = [(seq, b["number"]) for seq, (kind, b) in stored.items() if kind == "opened"]
        held_before = (max(stored, default=0), opened[-1][1]) if opened else None
        if result.lost:
            break
        result.problems += audit(folder / "ledger.db")
    board.close()
    return result


def _start(folder: Path, program: str) -> subprocess.Popen[bytes]:
    (folder / CONTROL).unlink(missing_ok=True)
    log = (folder / "log").open("ab")
    process = subprocess.Popen([sys.executable, "-c", program, str(folder)], stdout=log, stderr=log)
    end = time.monotonic() + 20
    while time.monotonic() < end:
        try:
            read_door(folder)
            return process
        except ThwartError:
            assert process.poll() is None, (folder / "log").read_text()
            time.sleep(0.01)
    raise AssertionError("the service didn't start")


def _listen(folder: Path, heard: dict[int, tuple[str, Any]]) -> None:
    try:
        for entry in Client(folder).follow(0):
            heard[entry["seq"]] = (entry["kind"], entry["body"])
    except (ThwartError, OSError, ValueError):
        pass  # it was killed


def _feed(folder: Path, board: PtyLine, stop: threading.Event, rng: random.Random) -> None:
    try:
        client = Client(folder)
        if client.ask(do="status")["status"]["held"]["places"][0]["batch"] is None:
            client.ask(do="act", act="batch", args=["open", "bay"])
        while not stop.is_set():
            board.send(f"{rng.randint(100, 400):5d} mm\r\n".encode())
            time.sleep(rng.uniform(0.0, 0.02))
            client.ask(do="act", act="next", args=[])
    except (ThwartError, OSError, ValueError):
        pass  # it was killed
