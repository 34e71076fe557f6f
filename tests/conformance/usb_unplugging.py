"""A USB scale pulled and put back at random moments under load, up to its readings. Used small here and long in tests/long.

Path: the real pyusb over a faked bus; everything above it (port, supervisor, channel) is real.
"""

from __future__ import annotations

import random
import threading
import time

from tests.conformance.rigs import Recorder, wait_for
from tests.fake_usb import FakeBus, FakeDevice, FakeInterface
from tests.hid_samples import scale_descriptor
from thwart.ports import LineSettings, Supervisor, parse_spec
from thwart.profiles import from_mapping
from thwart.wire import Channel, Reading, Rejected

PROFILE = from_mapping(
    "each report",
    {
        "title": "each report is a reading", "kind": "mass", "mode": "prints", "emptied": "each", "unit": "g", "division": "1",
        "range": ["0", "70000"], "framing": {"reports": "scale"},
        "sample": [{"descriptor": scale_descriptor().hex(), "reports": ["03 04 02 00 01 00"], "text": "1", "unit": "g", "settled": True}],
    },
)  # fmt: skip


class Weigher(Recorder):
    """A listener with a channel: the numbers it reads, and what it refuses."""

    def __init__(self) -> None:
        super().__init__()
        self.channel = Channel(PROFILE)
        self.numbers: list[int] = []
        self.refused: list[Rejected] = []
        self.opened_ns: list[int] = []

    def on_open(self, at_ns: int) -> None:
        super().on_open(at_ns)
        self.opened_ns.append(time.monotonic_ns())
        self.channel.opened(at_ns)

    def on_bytes(self, data: bytes, at_ns: int) -> None:
        super().on_bytes(data, at_ns)
        for event in self.channel.feed(data, at_ns):
            if isinstance(event, Reading):
                self.numbers.append(int(event.text or "-1"))
            elif isinstance(event, Rejected):
                self.refused.append(event)


def unplug_scale_at_random(times: int, seed: int, away_s: float) -> tuple[int, list[float]]:
    """Pulled for up to `away_s`. Returns how many readings came, and for each replug how many seconds until the port was open again."""
    rng = random.Random(seed)
    device = FakeDevice(serial="S1", interfaces=[FakeInterface(descriptor=scale_descriptor(), driver=True)])
    bus = FakeBus(device)
    weigher = Weigher()
    supervisor = Supervisor(
        parse_spec("hid:1234:5678:S1"), LineSettings(), weigher, random.Random(seed), opener=bus.open
    )
    supervisor.start()
    stopped = threading.Event()

    def talk() -> None:
        number = 0
        while not stopped.is_set():
            burst = [b"\3\4\2\0" + (number + at).to_bytes(2, "little") for at in range(rng.choice((1, 3, 20)))]
            # Nothing is sent twice, or "none invented" could not be told: what found no host is not sent at all.
            if bus.send(device, *burst):
                number += len(burst)
            time.sleep(0.001)

    talker = threading.Thread(target=talk, daemon=True)
    talker.start()
    ready: list[float] = []
    for _ in range(times):
        wait_for(lambda: supervisor.state == "open" and weigher.calls[-1] == "bytes")
        time.sleep(rng.uniform(0.0, 0.02))
        lives = len(weigher.opened_ns)
        bus.pull(device)
        wait_for(lambda: supervisor.state != "open")
        time.sleep(rng.uniform(0.0, away_s))
        replugged_ns = time.monotonic_ns()
        bus.plug(device)
        wait_for(lambda n=lives: len(weigher.opened_ns) > n)  # type: ignore[misc]
        ready.append((weigher.opened_ns[-1] - replugged_ns) / 1e9)
    stopped.set()
    talker.join()
    wait_for(lambda: len(weigher.numbers) >= len(bus.received))
    assert supervisor.stop()  # a busy machine may still have been reading what was sent last
    received = [int.from_bytes(packet[4:], "little") for packet in bus.received]
    assert weigher.numbers == received, "a reading was lost, invented or turned round"
    assert weigher.refused == []
    assert len(weigher.lives) == times + 1
    assert device.interfaces[0].driver, "the scale was not given back"
    assert device.openings == 0
    return len(received), ready
