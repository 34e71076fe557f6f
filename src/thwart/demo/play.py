"""The demo as a whole: makes a bench folder, starts the service on it, lets the hands work, compares, shows."""

from __future__ import annotations

import contextlib
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from ..bench.protocol import read as read_protocol
from ..errors import ThwartError
from ..service.control import Client
from ..service.folder import CONTROL
from ..shipped import shipped
from .hands import Done, Ears, Hands, Planted, plan
from .instruments import Board, Scale, Scanner, line
from .lake import catch
from .screen import Screen

_BENCH = """\
# Made by `thwart demo`: simulated instruments on pseudo-terminals.
name = "demo bench"
places = ["table"]

[instruments.board]
profile = "number-unit-length"
port = {board!r}

[instruments.scale]
profile = "status-commas-mass"
port = {scale!r}

[instruments.scanner]
profile = "label-scanner"
port = {scanner!r}
"""


@dataclass(frozen=True, slots=True)
class Result:
    """How the day ended: rows of the comparison, how many fish differ, what was planted and how often it was seen."""

    rows: list[tuple[str, ...]]
    wrong: int
    troubles: list[tuple[Planted, int]]
    ledger: Path


def play(folder: Path, *, fish: int, pace_s: float, seed: int, screen: Screen) -> Result:
    """Play the demo in an empty folder. Raises ThwartError where the service can't run."""
    rng = random.Random(seed)
    protocol_file = shipped("demo") / "solo" / "protocol.toml"
    shutil.copy(protocol_file, folder / "protocol.toml")
    containers = read_protocol(protocol_file.read_text(), str(protocol_file)).containers
    assert containers is not None
    assert containers.first is not None
    lines = {name: line(folder / f"{name}.port") for name in ("board", "scale", "scanner")}
    (folder / "bench.toml").write_text(_BENCH.format(**{name: made.port for name, made in lines.items()}))
    scale = Scale(lines["scale"])
    try:
        with _service(folder) as client:
            ears = Ears()
            listener = Client(folder)
            threading.Thread(target=_listen, args=(listener, ears, screen), name="ears", daemon=True).start()
            hands = Hands(
                Board(lines["board"]), scale, Scanner(lines["scanner"]), ears, containers.template, containers.first, rng,
                pace_s, screen.hands,
            )  # fmt: skip
            _await_instruments(client, len(lines))
            client.ask(do="act", act="batch", args=["open", "north-bay"])
            hands.work(catch(fish, rng), plan(fish, rng))
            client.ask(do="act", act="batch", args=["close", "all", "worked", "up"])
            time.sleep(0.2)
            listener.close()
    finally:
        scale.stop()
        for made in lines.values():
            made.close()
    if hands.missed:
        screen.hands(f"never heard of: {', '.join(hands.missed)}")
    return _compare(folder / "ledger.db", hands)


@contextlib.contextmanager
def _service(folder: Path) -> Iterator[Client]:
    """The service as a process of its own, as `thwart run` starts it."""
    log = (folder / "service.log").open("wb")
    process = subprocess.Popen([sys.executable, "-m", "thwart", "run", str(folder)], stdout=log, stderr=log)
    try:
        end = time.monotonic() + 20
        while not (folder / CONTROL).exists():
            if process.poll() is not None or time.monotonic() > end:
                raise ThwartError("the demo's service didn't start", (folder / "service.log").read_text()[-2000:])
            time.sleep(0.02)
        client = Client(folder)
        yield client
        client.close()
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
        log.close()


def _listen(client: Client, ears: Ears, screen: Screen) -> None:
    with contextlib.suppress(ThwartError, OSError, ValueError):
        for entry in client.follow(0):
            screen.entry(entry)
            ears.hear(entry)


def _await_instruments(client: Client, count: int) -> None:
    end = time.monotonic() + 10
    while time.monotonic() < end:
        status = client.ask(do="status")["status"]
        if sum(i["present"] for i in status["instruments"]) == count:
            time.sleep(0.3)  # what comes right after opening a port could be torn, and is refused
            return
        time.sleep(0.05)
    raise ThwartError(
        "the demo's instruments didn't open", "run it again with --keep DIR and look at service.log there"
    )


def _compare(path: Path, hands: Hands) -> Result:
    """The ledger against what the hands really did, read as any other program would read it."""
    with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        found = {
            row[0]: row[1:]
            for row in db.execute(
                """SELECT c.number, s.number, s.species, s.total_length_mm, s.whole_mass_g, s.end
                   FROM containers c JOIN specimens s USING (specimen_id)"""
            )
        }
        troubles = [(p, int(db.execute(p.query).fetchone()[0])) for p in hands.planted]
    rows, wrong = [], 0
    for done in hands.done:
        row, right = _row(done, found.pop(done.label, None))
        rows.append(row)
        wrong += not right
    for label, left in found.items():
        rows.append((str(left[0]), label, "?", "?", "?", "in the ledger, but no such envelope was filled"))
        wrong += 1
    return Result(rows, wrong, troubles, path)


def _row(done: Done, found: tuple[object, ...] | None) -> tuple[tuple[str, ...], bool]:
    fish = done.fish
    if found is None:
        return ("-", done.label, fish.species, str(fish.length_mm), str(fish.mass_g), "NOT IN THE LEDGER"), False
    number, species, length, mass, end = found
    faults = []
    if species != fish.species:
        faults.append(f"species {species}")
    if length is None or Decimal(str(length)) != fish.length_mm:
        faults.append(f"length {length}")
    if mass is None or Decimal(str(mass)) != fish.mass_g:
        faults.append(f"mass {mass}")
    if end != "complete":
        faults.append(f"end {end}")
    said = "as it was" if not faults else "DIFFERS: " + ", ".join(faults)
    return (str(number), done.label, fish.species, str(fish.length_mm), str(fish.mass_g), said), not faults
