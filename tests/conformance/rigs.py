"""The kinds of port that one suite is run over, and what they have in common to a test."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable
from pathlib import Path

from tests.conformance.rfc2217_line import Rfc2217Line
from tests.fake_usb import UsbLine, open_on_bus
from thwart.errors import ThwartError
from thwart.ports import Device, LineSettings, Listener, Port, Spec, Supervisor, open_port, parse_spec
from thwart.ports.serialport import open_serial
from thwart.ports.simulated import PtyLine, SimulatedLine, TcpLine

KINDS = ("pty", "plain", "tcp", "rfc2217", "usb")
PATIENCE_S = 20.0


def make_line(kind: str, folder: Path) -> SimulatedLine:
    if kind in ("pty", "plain"):
        return PtyLine(folder / "instrument")
    if kind == "usb":
        return UsbLine()
    return TcpLine() if kind == "tcp" else Rfc2217Line()


def open_plain(spec: Spec, line: LineSettings) -> Port:
    """As on a system where a port can't be waited on as a file: through pyserial's own calls only."""
    assert isinstance(spec, Device)
    return open_serial(spec, spec.path, line, waitable=False)


def opener(kind: str) -> Callable[[Spec, LineSettings], Port]:
    return {"plain": open_plain, "usb": open_on_bus}.get(kind, open_port)


def open_on(kind: str, line: SimulatedLine, settings: LineSettings | None = None) -> Port:
    port = opener(kind)(parse_spec(line.port), settings or LineSettings())
    wait_for(lambda: line.host_present)
    return port


def read_all(port: Port, count: int) -> bytes:
    data = b""
    deadline = time.monotonic() + PATIENCE_S
    while len(data) < count and time.monotonic() < deadline:
        data += port.read(1.0)
    return data


def wait_for(condition: Callable[[], object]) -> None:
    """Wait until `condition` holds; fails after twenty seconds, so that a broken port fails rather than hangs."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.002)


class Recorder(Listener):
    """A listener that keeps everything it is told: for each life of the port the bytes read in it."""

    def __init__(self) -> None:
        self.lives: list[bytearray] = []
        self.calls: list[str] = []
        self.troubles: list[ThwartError] = []
        self.reasons: list[str] = []
        self.times: list[int] = []
        self.threads: set[int] = set()
        self.wake: int | None = None

    def _note(self, call: str, at_ns: int) -> None:
        self.calls.append(call)
        self.times.append(at_ns)
        self.threads.add(threading.get_ident())

    def on_open(self, at_ns: int) -> None:
        self.lives.append(bytearray())
        self._note("open", at_ns)

    def on_bytes(self, data: bytes, at_ns: int) -> None:
        self.lives[-1] += data
        if self.calls[-1] != "bytes":
            self._note("bytes", at_ns)

    def on_line_error(self, at_ns: int) -> None:
        self._note("line error", at_ns)

    def on_gone(self, reason: str, at_ns: int) -> None:
        self.reasons.append(reason)
        self._note("gone", at_ns)

    def on_refused(self, trouble: ThwartError, at_ns: int) -> None:
        self.troubles.append(trouble)
        self._note("refused", at_ns)

    def on_wake(self, at_ns: int) -> None:
        self.wake = None
        self._note("wake", at_ns)

    def next_wake(self) -> int | None:
        return self.wake


def supervise(kind: str, port: str, listener: Listener, seed: int = 1) -> Supervisor:
    supervisor = Supervisor(parse_spec(port), LineSettings(), listener, random.Random(seed), opener=opener(kind))
    supervisor.start()
    return supervisor
