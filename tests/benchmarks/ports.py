"""What ports cost: sixteen quiet ones, a reconnect, a byte's way from the far end to the listener. By name:

    python -m tests.benchmarks.ports

Latency is printed beside its floor, a bare pyserial loop on the same kind of terminal in the same run, interleaved.
"""

from __future__ import annotations

import logging
import random
import statistics
import tempfile
import threading
import time
from pathlib import Path

import serial

from tests.conformance.rigs import KINDS, Recorder, make_line, supervise, wait_for
from thwart.ports.simulated import PtyLine

QUIET_S = 10.0
ROUNDS = 400
REPLUGS = 15


class Stamps(Recorder):
    def __init__(self) -> None:
        super().__init__()
        self.arrived = threading.Event()
        self.at_ns = 0

    def on_bytes(self, data: bytes, at_ns: int) -> None:
        self.at_ns = time.monotonic_ns()
        self.arrived.set()


def quiet(kind: str, folder: Path) -> float:
    """Share of one core, in percent, that sixteen open, silent ports cost."""
    lines = [make_line(kind, folder / str(number)) for number in range(16)]
    recorders = [Recorder() for _ in lines]
    supervisors = [supervise(kind, line.port, recorder) for line, recorder in zip(lines, recorders, strict=True)]
    wait_for(lambda: all(supervisor.state == "open" for supervisor in supervisors))
    cpu, wall = time.process_time(), time.monotonic()
    time.sleep(QUIET_S)
    share = 100 * (time.process_time() - cpu) / (time.monotonic() - wall)
    for supervisor in supervisors:
        supervisor.stop()
    for line in lines:
        line.close()
    return share


def reconnect(kind: str, folder: Path) -> list[float]:
    """Seconds from the plug being put back to the port open again, after the plug was out for half a second."""
    line = make_line(kind, folder)
    recorder = Recorder()
    supervisor = supervise(kind, line.port, recorder)
    took = []
    rng = random.Random(1)
    for _ in range(REPLUGS):
        wait_for(lambda: supervisor.state == "open")
        line.unplug()
        time.sleep(0.5 + rng.random() / 2)
        start = time.monotonic()
        line.replug()
        wait_for(lambda: supervisor.state == "open")
        took.append(time.monotonic() - start)
    supervisor.stop()
    line.close()
    return took


def latency(folder: Path) -> tuple[list[int], list[int]]:
    """Microseconds from sending ten bytes to having them: through a supervisor, and through a bare pyserial loop."""
    ours, bare = PtyLine(folder / "ours"), PtyLine(folder / "bare")
    stamps = Stamps()
    supervisor = supervise("pty", ours.port, stamps)
    floor = serial.Serial(bare.port, exclusive=True, timeout=None)
    floor_at: list[int] = []
    arrived = threading.Event()

    def loop() -> None:
        while True:
            data = floor.read(1)
            data += floor.read(floor.in_waiting)
            floor_at.append(time.monotonic_ns())
            arrived.set()

    threading.Thread(target=loop, daemon=True).start()
    wait_for(lambda: ours.host_present and bare.host_present)
    results: tuple[list[int], list[int]] = ([], [])
    for _ in range(ROUNDS):
        time.sleep(0.004)
        stamps.arrived.clear()
        start = time.monotonic_ns()
        ours.send(b"142.5 mm\r\n")
        stamps.arrived.wait()
        results[0].append((stamps.at_ns - start) // 1000)
        time.sleep(0.004)
        arrived.clear()
        start = time.monotonic_ns()
        bare.send(b"142.5 mm\r\n")
        arrived.wait()
        results[1].append((floor_at[-1] - start) // 1000)
    supervisor.stop()
    ours.close()
    return results


def main() -> None:
    logging.disable()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number in range(16):
            (folder / str(number)).mkdir()
        ours, floor = latency(folder)
        for what, values in (("supervised", ours), ("bare pyserial", floor)):
            cuts = statistics.quantiles(values, n=100)
            print(f"bytes sent -> at the listener, {what:13}: median {cuts[49]:6.0f} us, p99 {cuts[98]:6.0f} us")
        for kind in KINDS:
            took = reconnect(kind, folder)
            print(f"back -> open again, {kind:8}: median {statistics.median(took):.3f} s, longest {max(took):.3f} s")
        for kind in KINDS:
            print(f"sixteen quiet ports, {kind:8}: {quiet(kind, folder):.3f} % of one core")


if __name__ == "__main__":
    main()
