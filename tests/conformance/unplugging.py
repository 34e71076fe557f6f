"""Plugs pulled and put back at random moments under load, and what must hold then. Used small here and long in tests/long."""

from __future__ import annotations

import random
import threading
import time
from pathlib import Path

from tests.conformance.rigs import Recorder, make_line, opener, wait_for
from thwart.ports import LineSettings, Port, Spec, Supervisor, parse_spec
from thwart.ports.simulated import SimulatedLine


class Tee:
    """A port that keeps what its reads returned: the truth that the listener's bytes are held against."""

    def __init__(self, port: Port) -> None:
        self._port = port
        self.data = bytearray()
        self.write, self.cancel, self.close, self.error_count = port.write, port.cancel, port.close, port.error_count

    def read(self, timeout_s: float) -> bytes:
        data = self._port.read(timeout_s)
        self.data += data
        return data


class Talker(threading.Thread):
    """Sends one long random text in bursts until its plug is pulled; the next plugging sends another text."""

    def __init__(self, line: SimulatedLine, rng: random.Random) -> None:
        super().__init__(daemon=True)
        self.line = line
        self.rng = rng
        self.text = rng.randbytes(200_000)
        self.sent = 0
        self.stopped = threading.Event()

    def run(self) -> None:
        while not self.stopped.is_set() and self.sent < len(self.text):
            burst = self.text[self.sent : self.sent + self.rng.choice((1, 5, 40, 500))]
            went = self.line.send(burst)
            # Nothing may be sent again, or "none invented" could not be told: what found no host is skipped.
            self.sent += len(burst) if went == 0 else went
            time.sleep(0.001)


def unplug_at_random(kind: str, folder: Path, times: int, seed: int) -> tuple[int, int]:
    """Returns how many lives the port had and how many bytes were read."""
    rng = random.Random(seed)
    line = make_line(kind, folder)
    tees: list[Tee] = []

    def open_teed(spec: Spec, settings: LineSettings) -> Port:
        tees.append(Tee(opener(kind)(spec, settings)))
        return tees[-1]

    recorder = Recorder()
    supervisor = Supervisor(parse_spec(line.port), LineSettings(), recorder, random.Random(seed), opener=open_teed)
    supervisor.start()
    texts: list[bytes] = []
    for number in range(times):
        lives = len(recorder.lives)
        talker = Talker(line, rng)
        talker.start()
        if number % 3:
            # Two of three plugs stay until they were used; the third may be pulled before it was even seen.
            wait_for(lambda n=lives: len(recorder.lives) > n and len(recorder.lives[-1]) > 100)  # type: ignore[misc]
        time.sleep(rng.uniform(0.0, 0.03))
        line.unplug()
        talker.stopped.set()
        talker.join()
        texts.append(talker.text)
        wait_for(lambda: supervisor.state != "open")
        time.sleep(rng.uniform(0.0, 0.03))
        line.replug()
    wait_for(lambda: supervisor.state == "open")
    assert supervisor.stop()
    line.close()

    # A port on trial that went without a byte is no life.
    told, read = ([bytes(data) for data in all_data if data] for all_data in (recorder.lives, (t.data for t in tees)))
    assert told == read, "a byte read was lost"
    at = 0
    for life in recorder.lives:
        # A piece of one plugging's text, unbroken: none invented, none missing between, none carried over.
        while life and at < len(texts) and life not in texts[at]:
            at += 1
        assert not life or at < len(texts), "bytes came that were not sent in one piece"
    return len(recorder.lives), sum(len(life) for life in recorder.lives)
