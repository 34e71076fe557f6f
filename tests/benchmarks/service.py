"""The service's numbers beside a floor measured in the same run. `python -m tests.benchmarks.service [row …]`.

Rows: latency, slow-disk, streams, quiet, disk, disk-species, start, back, through. The floor is a bare pyserial loop with a pattern and one durable
insert a line. `latency` runs a second time with a disk whose sync takes 10 ms: an interposed library delays fsync and
fdatasync (LD_PRELOAD; needs gcc).
"""

from __future__ import annotations

import contextlib
import math
import os
import random
import re
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import serial

from thwart.announce.feed import Feed
from thwart.demo.instruments import Scale
from thwart.ledger import Ledger
from thwart.ports.simulated import PtyLine
from thwart.service.clerk import Clerk
from thwart.service.clock import Clock
from thwart.service.control import Client
from thwart.service.lines import Item
from thwart.service.service import Service
from thwart.shipped import shipped

_SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <time.h>
static void slow(void) { struct timespec t = {0, 10000000}; nanosleep(&t, 0); }
int fsync(int fd) { static int (*real)(int); if (!real) real = dlsym(RTLD_NEXT, "fsync"); slow(); return real(fd); }
int fdatasync(int fd) { static int (*real)(int); if (!real) real = dlsym(RTLD_NEXT, "fdatasync"); slow(); return real(fd); }
"""


def percentile(values: list[float], share: float) -> float:
    """The value below which a share of the values lies."""
    return sorted(values)[min(len(values) - 1, int(len(values) * share))]


def bench_folder(folder: Path, instruments: dict[str, tuple[str, Path]]) -> None:
    """A bench folder with these instruments (name → profile, port)."""
    text = (shipped("demo") / "solo" / "protocol.toml").read_text()
    for quantity, division in (("length", "1 mm"), ("mass", "1 g")):  # what has no instrument here comes by hand
        text = text.replace(f'quantity = "{quantity}"', f'quantity = "{quantity}"\nhand_division = "{division}"')
    (folder / "protocol.toml").write_text(text)
    lines = ['name = "benchmark"', 'places = ["table"]']
    for name, (profile, port) in instruments.items():
        lines += [f"[instruments.{name}]", f'profile = "{profile}"', f'port = "{port}"']
    (folder / "bench.toml").write_text("\n".join(lines) + "\n")


def perch(fish: int) -> Iterator[tuple[int, int]]:
    """Length (mm) and mass (g) of so many sound perch, by the protocol's own relation."""
    chance = random.Random(1)
    for _ in range(fish):
        length = round(math.exp(min(max(chance.gauss(math.log(220), 0.2), math.log(90)), math.log(400))))
        yield length, max(1, round(math.exp(-12.3255 + 3.15592 * math.log(length) + chance.gauss(0, 0.08))))


# ---- latency -------------------------------------------------------------------------------------------------------


class Floor:
    """The least that could do the job: read a line, match a pattern, one durable insert."""

    def __init__(self, port: str, path: Path) -> None:
        self.done: SimpleQueue[int] = SimpleQueue()
        self._port = serial.Serial(port, exclusive=True, timeout=None)
        self._path = path
        self._stop = False
        threading.Thread(target=self._loop, daemon=True).start()

    def _loop(self) -> None:
        db = sqlite3.connect(self._path, isolation_level=None)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute("CREATE TABLE line (id INTEGER PRIMARY KEY, raw BLOB, value TEXT)")
        pattern = re.compile(rb" *([0-9]+(?:\.[0-9]+)?) mm\r\n")
        while True:
            line = self._port.read_until(b"\r\n")
            if (match := pattern.fullmatch(line)) is None:
                continue
            db.execute("BEGIN IMMEDIATE")
            db.execute("INSERT INTO line (raw, value) VALUES (?, ?)", (line, match[1].decode()))
            db.execute("COMMIT")
            self.done.put(time.perf_counter_ns())


def latency(count: int = 600) -> None:
    """Last byte in → durable commit returned: service and floor, interleaved."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours, bare = PtyLine(folder / "board.port"), PtyLine(folder / "floor.port")
        bench_folder(folder, {"board": ("number-unit-length", folder / "board.port")})
        floor = Floor(str(folder / "floor.port"), folder / "floor.db")
        service = Service(folder)
        done: SimpleQueue[int] = SimpleQueue()
        commit = service.ledger.commit

        def timed() -> None:
            commit()
            done.put(time.perf_counter_ns())

        service.start()
        client = Client(folder)
        client.ask(do="act", act="batch", args=["open", "b", "perch"])
        time.sleep(0.5)
        service.ledger.commit = timed  # type: ignore[method-assign]
        took: dict[str, list[float]] = {"thwart": [], "floor": []}
        for i in range(count):
            for who, line, queue in (("thwart", ours, done), ("floor", bare, floor.done)):
                data = f"{200 + i % 300:5d} mm\r\n".encode()
                sent = time.perf_counter_ns()
                line.send(data)
                took[who].append((queue.get(timeout=10) - sent) / 1e6)
                time.sleep(0.004)
            client.ask(do="act", act="next", args=[])
            while not done.empty():
                done.get()
        service.stop()
        service.wait()
        for share, label in ((0.1, "p10"), (0.5, "median"), (0.99, "p99")):
            a, b = percentile(took["thwart"], share), percentile(took["floor"], share)
            print(f"latency {label:<7} thwart {a:7.3f} ms   floor {b:7.3f} ms   over the floor {a - b:+7.3f} ms")


def slow_disk() -> None:
    """The same with a sync of 10 ms."""
    with tempfile.TemporaryDirectory() as name:
        shim = Path(name) / "slow.so"
        (Path(name) / "slow.c").write_text(_SHIM)
        subprocess.run(["gcc", "-shared", "-fPIC", "-o", str(shim), str(Path(name) / "slow.c"), "-ldl"], check=True)
        print("with a sync of 10 ms (interposed library):")
        env = {**os.environ, "LD_PRELOAD": str(shim)}
        subprocess.run([sys.executable, "-m", "tests.benchmarks.service", "latency-once"], env=env, check=True)


# ---- processes -----------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def running(folder: Path) -> Iterator[tuple[subprocess.Popen[bytes], float]]:
    """The service as a process; yields it and the seconds from exec to READY, of which `READY` keeps the processor's."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ready:
        address = str(folder / "notify")
        Path(address).unlink(missing_ok=True)
        ready.bind(address)
        ready.settimeout(60)
        began = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-m", "thwart", "run", str(folder)],
            env={**os.environ, "NOTIFY_SOCKET": address}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        while b"READY=1" not in ready.recv(500):
            pass
        took = time.perf_counter() - began
        READY["cpu"] = cpu_s(process.pid)
    try:
        yield process, took
    finally:
        STOPPED["written"] = written(process.pid)
        process.terminate()
        process.wait(20)


def cpu_s(pid: int) -> float:
    """CPU seconds a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def rss_mb(pid: int) -> float:
    """Resident memory, MB."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


_FEEDER = """
import sys, time
from pathlib import Path
from thwart.ports.simulated import PtyLine
from thwart.demo.instruments import Scale
folder, count, rate, seconds = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), float(sys.argv[4])
lines = [PtyLine(folder / f"s{i}.port") for i in range(count)]
print("made", flush=True)
sys.stdin.readline()
scale = Scale.__new__(Scale)
scale._load, scale._step, scale._changed, sent, end = 0.0, 0.0, time.monotonic() - 10, 0, time.monotonic() + seconds
due, turn = time.monotonic(), 0
while time.monotonic() < end and rate:
    turn += 1
    if turn % int(rate * 5) == 0:
        scale._step, scale._load = scale._load, 350.0 - scale._load
        scale._changed = time.monotonic()
    frame = scale.frame(time.monotonic())
    for line in lines:
        line.send(frame)
        sent += 1
    due += 1 / rate
    time.sleep(max(0.0, due - time.monotonic()))
print(sent, flush=True)
sys.stdin.readline()
"""


@contextlib.contextmanager
def fed(folder: Path, count: int, rate: float, seconds: float) -> Iterator[subprocess.Popen[str]]:
    """Simulated scales in a process of their own."""
    feeder = subprocess.Popen(
        [sys.executable, "-c", _FEEDER, str(folder), str(count), str(rate), str(seconds)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert feeder.stdout is not None
    assert feeder.stdout.readline() == "made\n"
    try:
        yield feeder
    finally:
        feeder.kill()
        feeder.wait()


def many(count: int, rate: float, seconds: float, label: str) -> None:
    """So many scales at so many lines a second: CPU, memory, growth, loss."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with fed(folder, count, rate, seconds) as feeder:
            bench_folder(folder, {f"s{i}": ("status-commas-mass", folder / f"s{i}.port") for i in range(count)})
            with running(folder) as (process, _):
                time.sleep(1.5)
                assert feeder.stdin is not None
                assert feeder.stdout is not None
                feeder.stdin.write("go\n")
                feeder.stdin.flush()
                time.sleep(2)
                cpu, began, memory = cpu_s(process.pid), time.perf_counter(), rss_mb(process.pid)
                time.sleep(seconds - 3)
                share = (cpu_s(process.pid) - cpu) / (time.perf_counter() - began)
                grown = rss_mb(process.pid) - memory
                sent = int(feeder.stdout.readline())
                time.sleep(0.5)
                status = Client(folder).ask(do="status")["status"]["instruments"]
                got = sum(i["frames"] + sum(i["rejected"].values()) for i in status)
                lost = sum(i["lost"] for i in status)
                print(
                    f"{label:<28} {share * 100:5.2f} % of one core   {rss_mb(process.pid):5.1f} MB resident ({grown:+.1f} MB)   "
                    f"sent {sent}, seen {got}, lost {lost}"
                )


def streams() -> None:
    """16 scales streaming 50 lines a second each."""
    many(16, 50, 20, "16 scales x 50 lines/s")


def quiet() -> None:
    """16 ports on which nothing comes."""
    many(16, 0, 33, "16 quiet ports")


def disk_species() -> None:
    """The same where each fish gets its species by an act."""
    disk(by_act=True)


def disk(fish: int = 120, *, by_act: bool = False) -> None:
    """Bytes written to disk a reading, by the kernel's count, log copies into the database included."""
    with tempfile.TemporaryDirectory(dir=os.environ.get("BENCH_DISK")) as name:
        folder = Path(name)
        board, out = PtyLine(folder / "board.port"), PtyLine(folder / "scale.port")
        bench_folder(
            folder,
            {
                "board": ("number-unit-length", folder / "board.port"),
                "scale": ("status-commas-mass", folder / "scale.port"),
            },
        )
        scale = Scale(out)
        with running(folder) as (process, _):
            client = Client(folder)
            client.ask(do="act", act="batch", args=["open", "b"] if by_act else ["open", "b", "perch"])
            time.sleep(0.5)
            before, readings = written(process.pid), 0
            for length, mass in perch(fish):
                if by_act:
                    client.ask(do="act", act="species", args=["perch"])
                board.send(f"{length:5d} mm\r\n".encode())
                scale.put(mass)
                time.sleep(0.55)
                scale.put(0)
                time.sleep(0.55)
                client.ask(do="act", act="next", args=[])
                readings += 2
        db = sqlite3.connect(folder / "ledger.db")
        taken = db.execute("SELECT count(*) FROM readings WHERE outcome = 'taken'").fetchone()[0]
        scale.stop()
        print(f"disk{', species by an act' if by_act else ''}: {STOPPED['written'] - before:,} bytes for {taken} readings of {readings}: "
              f"{(STOPPED['written'] - before) / max(1, taken) / 1024:.1f} KiB a reading (closing the ledger included)")  # fmt: skip


#: What the last process that `running` ended had written.
STOPPED = {"written": 0}
#: Processor seconds the last process that `running` began had used when it was ready.
READY = {"cpu": 0.0}


def written(pid: int) -> int:
    """Bytes a process had the kernel write to disk."""
    lines = dict(line.split(": ") for line in Path(f"/proc/{pid}/io").read_text().splitlines())
    return int(lines["write_bytes"]) - int(lines["cancelled_write_bytes"])


# ---- start, back, through ------------------------------------------------------------------------------------------


def _filled(folder: Path, fish: int) -> int:
    """Write a day of so many fish into the folder's ledger through the clerk. Returns the entries."""
    service = Service(folder)
    service.clerk.resume()
    clerk = service.clerk
    clerk.inbox.put(Item("started", {"version": "0", "config_sha256": "0"}))
    put_fish(clerk, fish)
    clerk.stopping = True
    clerk.run(lambda: None)
    clerk.snapshot()
    entries = clerk.committed_seq
    service.ledger.close()
    service._lock.release()
    return entries


def put_fish(clerk: Clerk, fish: int) -> int:
    """Queue the inputs of so many fish (touch, arrival, mass, emptied, next). Returns the readings queued."""
    ids = iter(f"00000000-0000-7000-8000-{n:012d}" for n in range(10**12))
    put = clerk.inbox.put
    put(
        Item(
            "act",
            {
                "act": "batch",
                "args": ["open", f"b{time.monotonic_ns()}", "perch"],
                "place": None,
                "via": "cli",
                "ids": [next(ids)],
            },
        )
    )
    for n, (length, mass) in enumerate(perch(fish)):
        at = n * 20 * 10**9
        common: dict[str, Any] = {
            "condition": "ok", "load": None, "spread": None, "samples": 5, "plateau": 1, "zero_before": None, "evidence": [],
            "arrived_utc": "2026-05-04T06:00:00.000000Z",
        }  # fmt: skip
        put(Item("reading", {**common, "instrument": "board", "raw": f"  {length} mm\r\n", "value": str(length), "unit": "mm", "base": str(length),
                             "settled": "each", "arrived_ns": at, "ids": [next(ids)]}))  # fmt: skip
        put(Item("arrival", {"instrument": "scale", "places": ["table"], "at_ns": at + 10**9, "baseline": "0"}))
        put(Item("reading", {**common, "instrument": "scale", "raw": f"ST,GS,+{mass:>8},g\r\n", "value": str(mass), "unit": "g", "base": str(mass),
                             "settled": "mark", "arrived_ns": at + 10**9, "zero_before": "0", "ids": [next(ids)]}))  # fmt: skip
        put(Item("emptied", {"instrument": "scale", "at_ns": at + 10**9, "resting": "0"}))
        put(Item("act", {"act": "next", "args": [], "place": None, "via": "pedal", "ids": [next(ids)]}))
    return fish * 2


def _solo(folder: Path) -> None:
    bench_folder(
        folder,
        {"board": ("number-unit-length", folder / "b.port"), "scale": ("status-commas-mass", folder / "s.port")},
    )


def start() -> None:
    """exec → READY, by length of the ledger."""
    for fish in (0, 2000, 20000):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            _solo(folder)
            entries = _filled(folder, fish) if fish else 0
            took, processor = [], []
            for _ in range(5):
                with running(folder) as (_, seconds):
                    took.append(seconds)
                    processor.append(READY["cpu"])
            bare = [_python() for _ in range(5)]
            print(
                f"start → ready, {entries:>7} entries: {statistics.median(took):.3f} s, of which processor "
                f"{statistics.median(processor):.2f} s (bare python {statistics.median(bare):.3f} s)"
            )


def _python() -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", "pass"], check=True)
    return time.perf_counter() - began


def back() -> None:
    """Instrument plugged in again → ready to read."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        line = PtyLine(folder / "b.port")
        bench_folder(folder, {"board": ("number-unit-length", folder / "b.port")})
        service = Service(folder)
        service.start()
        took: list[float] = []
        for _ in range(20):
            while not service.lines[0].present:
                time.sleep(0.001)
            line.unplug()
            while service.lines[0].present:
                time.sleep(0.001)
            time.sleep(0.7)
            line.replug()
            began = time.perf_counter()
            while not service.lines[0].present:
                time.sleep(0.001)
            took.append(time.perf_counter() - began)
        service.stop()
        service.wait()
        print(
            f"instrument back → ready: median {statistics.median(took):.3f} s, worst {max(took):.3f} s of {len(took)}"
        )


def through(fish: int = 5000) -> None:
    """Readings a second through bench and ledger, and into a bare table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _solo(folder)
        from thwart.config import read_bench

        Ledger.create(folder / "ledger.db", "b", "00000000-0000-7000-8000-000000000001").close()
        ledger = Ledger.open(folder / "ledger.db")
        clerk = Clerk(read_bench(folder).setup, ledger, Clock(None), SimpleQueue(), Feed())
        clerk.resume()
        clerk.inbox.put(Item("started", {"version": "0", "config_sha256": "0"}))
        readings = put_fish(clerk, fish)
        clerk.stopping = True
        began, processor = time.perf_counter(), time.process_time()
        clerk.run(lambda: None)
        took, processor = time.perf_counter() - began, time.process_time() - processor
        ledger.close()
        db = sqlite3.connect(folder / "floor.db", isolation_level=None)
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute("CREATE TABLE line (id INTEGER PRIMARY KEY, raw BLOB, value TEXT)")
        began = time.perf_counter()
        for i in range(0, readings, 100):
            db.execute("BEGIN IMMEDIATE")
            for n in range(i, i + 100):
                db.execute("INSERT INTO line (raw, value) VALUES (?, ?)", (b"  212 mm\r\n", str(n)))
            db.execute("COMMIT")
        bare = time.perf_counter() - began
        print(
            f"through the ledger: {readings / took:,.0f} readings/s ({processor / readings * 1e6:.0f} µs of processor time and "
            f"{clerk.committed_seq / readings:.2f} entries each, with arrivals, emptyings and acts; bare table {readings / bare:,.0f}/s)"
        )


ROWS: dict[str, Callable[[], None]] = {
    "latency": latency,
    "slow-disk": slow_disk,
    "streams": streams,
    "quiet": quiet,
    "disk": disk,
    "disk-species": disk_species,
    "start": start,
    "back": back,
    "through": through,
}

if __name__ == "__main__":
    if sys.argv[1:] == ["latency-once"]:
        latency(200)
    else:
        for row in sys.argv[1:] or ROWS:
            ROWS[row]()
