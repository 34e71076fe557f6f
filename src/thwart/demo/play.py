"""The demo as a whole: makes a bench folder, starts the service on it, lets the people work, compares."""

from __future__ import annotations

import contextlib
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from ..bench.protocol import read as read_protocol
from ..errors import ThwartError
from ..ports.simulated import SimulatedLine
from ..service.control import Client
from ..service.folder import CONTROL
from ..shipped import shipped
from .comparing import Result
from .hands import Book, Ears, Stage
from .instruments import Instrument, Scale, instrument, line
from .lab import Lab
from .row import Row
from .screen import Screen
from .show import Show
from .solo import Solo
from .tally import Tally

#: The demos by name.
SHOWS: dict[str, Callable[[], Show]] = {"solo": Solo, "row": Row, "lab": Lab, "tally": Tally}


def play(show: Show, folder: Path, *, fish: int, pace_s: float, seed: int, screen: Screen) -> Result:
    """Play a demo in an empty folder. Raises ThwartError where the service can't run."""
    book = Book(fish, pace_s, random.Random(seed), screen)
    since = 0
    for name, told, work in show.days():
        if told:
            screen.chapter(told)
        source = shipped("demo") / name
        shutil.copy(source / "protocol.toml", folder / "protocol.toml")
        with _instruments(source / "bench.toml", folder) as instruments, _service(folder):
            since = _day(folder, book, instruments, screen, since, work)
    with contextlib.closing(sqlite3.connect(f"file:{folder / 'ledger.db'}?mode=ro", uri=True)) as db:
        troubles = [(p, int(db.execute(p.query).fetchone()[0])) for p in sorted(book.planted, key=lambda p: p.fish)]
        return Result(show.compare(db), troubles, book.missed, folder / "ledger.db", show.query)


def _day(
    folder: Path,
    book: Book,
    instruments: dict[str, Instrument],
    screen: Screen,
    since: int,
    work: Callable[[Stage], None],
) -> int:
    """One day on a bench that runs. Returns the last entry that was heard."""
    protocol_file = folder / "protocol.toml"
    protocol = read_protocol(protocol_file.read_text(), str(protocol_file))
    screen.places = tuple(stop.place for stop in protocol.row)
    ears = Ears()
    listener = Client(folder)
    threading.Thread(target=_listen, args=(listener, ears, screen, since), name="ears", daemon=True).start()
    _await_instruments(folder, len(instruments))
    work(Stage(book, protocol, instruments, ears, folder))
    last = int(_ask(folder)["held"]["seq"])
    ears.wait(0, lambda e: int(e["seq"]) >= last, book.patience_s)
    listener.close()
    return last


@contextlib.contextmanager
def _instruments(bench_file: Path, folder: Path) -> Iterator[dict[str, Instrument]]:
    """The instruments of a bench file, simulated; the file is copied with their ports in place of the examples."""
    text = bench_file.read_text()
    lines: dict[str, SimulatedLine] = {}
    made: dict[str, Instrument] = {}
    for name, config in tomllib.loads(text)["instruments"].items():
        out = lines[name] = line(folder / f"{name}.port")
        decimals = len(str(config.get("division", 1)).partition(".")[2])
        made[name] = instrument(config["profile"], decimals, out)
        text = text.replace(f'port = "{config["port"]}"', f'port = "{out.port}"')
    (folder / "bench.toml").write_text(re.sub(r"(?m)^# The ports are examples.*\n", "", text))
    try:
        yield made
    finally:
        for one in made.values():
            if isinstance(one, Scale):
                one.stop()
        for out in lines.values():
            out.close()


@contextlib.contextmanager
def _service(folder: Path) -> Iterator[None]:
    """The service as a process of its own, as `thwart run` starts it."""
    log = (folder / "service.log").open("ab")
    process = subprocess.Popen([sys.executable, "-m", "thwart", "run", str(folder)], stdout=log, stderr=log)
    try:
        end = time.monotonic() + 20
        while not (folder / CONTROL).exists():
            if process.poll() is not None or time.monotonic() > end:
                raise ThwartError("the demo's service didn't start", (folder / "service.log").read_text()[-2000:])
            time.sleep(0.02)
        yield
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
        log.close()


def _listen(client: Client, ears: Ears, screen: Screen, since: int) -> None:
    with contextlib.suppress(ThwartError, OSError, ValueError):
        for entry in client.follow(since):
            screen.entry(entry)
            ears.hear(entry)


def _ask(folder: Path) -> dict[str, Any]:
    client = Client(folder)
    try:
        status: dict[str, Any] = client.ask(do="status")["status"]
        return status
    finally:
        client.close()


def _await_instruments(folder: Path, count: int) -> None:
    end = time.monotonic() + 10
    while time.monotonic() < end:
        if sum(i["present"] for i in _ask(folder)["instruments"]) == count:
            time.sleep(0.3)  # what comes right after opening a port could be torn, and is refused
            return
        time.sleep(0.05)
    raise ThwartError(
        "the demo's instruments didn't open", "run it again with --keep DIR and look at service.log there"
    )
