"""What USB instruments cost: `python -m tests.benchmarks.usb`. Prints frames a second, and the idle share of one core.

The idle share is measured on the faked bus (threads, queue, supervisor and pyusb are real) beside the same on quiet
pseudo-terminals; looking for an absent device through the real libusb, among ten emulated ones, where umockdev is there.
"""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.conformance.rigs import Recorder, wait_for
from tests.emulated_usb import Emulated, missing, run
from tests.fake_usb import FakeBus, FakeDevice, FakeInterface
from tests.hid_samples import KEYBOARD, scale_descriptor, stream, typed
from thwart.ports import LineSettings, Supervisor, open_port, parse_spec
from thwart.ports.simulated import PtyLine
from thwart.profiles import find_profile
from thwart.wire import Channel

PORTS = 16
QUIET_S = 10.0
LOOKS = """
import time
from thwart.ports import *
spec, times = parse_spec('hid:1209:0001'), []
for _ in range(200):
    start = time.perf_counter()
    try: open_port(spec, LineSettings())
    except PortAbsent: pass
    times.append(time.perf_counter() - start)
print(sorted(times)[100])
"""


def frames_a_second() -> None:
    still = [f"03 04 02 00 {value & 255:02X} {value >> 8:02X}" for value in range(5000)]
    cases = (
        ("usage-page-scale", scale_descriptor(), still * 10, 1),
        ("usage-page-keyboard", KEYBOARD, typed("2026S017F042\r") * 2000, 26),
    )
    for name, descriptor, reports, reports_in_frame in cases:
        channel = Channel(find_profile(name))
        channel.opened(0)
        channel.feed(stream(descriptor=descriptor), 1)
        chunks = [stream(*reports[at : at + 16]) for at in range(0, len(reports), 16)]
        start = time.perf_counter()
        for number, chunk in enumerate(chunks):
            channel.feed(chunk, 200_000_000 + number * 1_000_000)
        seconds = time.perf_counter() - start
        frames = len(reports) / reports_in_frame
        assert channel.counts.frames == frames
        print(f"{name}: {len(reports) / seconds:,.0f} reports a second, {frames / seconds:,.0f} frames a second")


def idle_share(start: Callable[[int], Supervisor]) -> float:
    supervisors = [start(number) for number in range(PORTS)]
    wait_for(lambda: all(one.state == "open" for one in supervisors))
    began, used = time.monotonic(), time.process_time()
    time.sleep(QUIET_S)
    share = (time.process_time() - used) / (time.monotonic() - began)
    for one in supervisors:
        one.stop()
    return share


def idle() -> None:
    bus = FakeBus(*(FakeDevice(pid=number, interfaces=[FakeInterface(scale_descriptor())]) for number in range(PORTS)))
    lines = [PtyLine() for _ in range(PORTS)]

    def usb(number: int) -> Supervisor:
        spec = parse_spec(f"hid:1234:{number:04X}")
        return started(Supervisor(spec, LineSettings(), Recorder(), random.Random(number), opener=bus.open))

    def terminal(number: int) -> Supervisor:
        spec = parse_spec(lines[number].port)
        return started(Supervisor(spec, LineSettings(), Recorder(), random.Random(number), opener=open_port))

    print(
        f"{PORTS} quiet USB ports: {idle_share(usb):.2%} of one core; {PORTS} quiet terminals: {idle_share(terminal):.2%}"
    )


def started(supervisor: Supervisor) -> Supervisor:
    supervisor.start()
    return supervisor


def looks() -> None:
    if why := missing():
        print(f"looking for an absent device: not measured, {why}")
        return
    with tempfile.TemporaryDirectory() as folder:
        devices = [Emulated(report_descriptor=scale_descriptor(), socket=socket) for socket in range(1, 11)]
        seconds = float(run(Path(folder), devices, "-c", LOOKS))
    print(f"one look for an absent device among ten: {seconds * 1e3:.2f} ms; at most 4 a second")


if __name__ == "__main__":
    frames_a_second()
    idle()
    looks()
