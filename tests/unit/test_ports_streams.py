"""What a read of nothing, EIO and a far end that takes nothing become; counters faked at the system call."""

from __future__ import annotations

import errno
import fcntl
import os
import socket
import struct
import termios
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.conformance.rigs import Recorder, open_on, supervise, wait_for
from thwart.ports import Gone, LineSettings, PortAbsent, PortStuck, Rfc2217, open_port, parse_spec
from thwart.ports.line import Flow
from thwart.ports.simulated import PtyLine, SimulatedLine, TcpLine
from thwart.ports.streams import Stream

pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")


@pytest.fixture
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    yield ours, theirs
    theirs.close()
    ours.close()


def test_a_read_of_nothing_is_gone_with_the_reason(pair: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = pair
    stream = Stream(ours, lambda size: b"", ours.send, ours.close, end="unplugged")
    theirs.send(b"ready")
    with pytest.raises(Gone, match="unplugged"):
        stream.read(1000.0)
    stream.close()


@pytest.mark.parametrize("number", [errno.EIO, errno.ENXIO, errno.ENODEV, errno.EBADF, errno.ECONNRESET])
def test_an_error_on_reading_is_gone_with_its_name(pair: tuple[socket.socket, socket.socket], number: int) -> None:
    ours, theirs = pair

    def receive(size: int) -> bytes:
        raise OSError(number, os.strerror(number))

    def send(data: bytes) -> int:
        raise OSError(number, os.strerror(number))

    stream = Stream(ours, receive, send, ours.close, end="unplugged")
    theirs.send(b"ready")
    with pytest.raises(Gone, match=os.strerror(number)):
        stream.read(1000.0)
    with pytest.raises(Gone, match=os.strerror(number)):
        stream.write(b"W")
    stream.close()


def test_readiness_without_bytes_yet_is_no_end(pair: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = pair

    def receive(size: int) -> bytes:
        raise BlockingIOError(errno.EAGAIN, "not yet")

    stream = Stream(ours, receive, ours.send, ours.close, end="unplugged")
    theirs.send(b"ready")
    assert stream.read(1000.0) == b""
    stream.close()


def test_a_real_hang_up_of_a_terminal_is_gone(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "instrument")
    port = open_on("pty", line)
    line.unplug()
    with pytest.raises(Gone):
        port.read(1000.0)
    port.close()
    line.close()


@pytest.mark.parametrize("kind", ["pty", "plain", "tcp"])
def test_a_far_end_that_takes_nothing_is_stuck_not_gone(kind: str, tmp_path: Path) -> None:
    line = TcpLine() if kind == "tcp" else PtyLine(tmp_path / "instrument")
    port = open_on(kind, line)
    with pytest.raises(PortStuck):
        port.write(b"x" * 50_000_000)
    line.send(b"alive")
    data = b""
    while len(data) < 5:
        data += port.read(20.0)
    assert data == b"alive"
    port.close()
    line.close()


@pytest.mark.parametrize("kind", ["pty", "plain"])
@pytest.mark.parametrize("flow", ["none", "xonxoff", "rtscts"])
def test_speed_stop_bits_and_flow_reach_the_terminal(kind: str, flow: Flow, tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "instrument")
    port = open_on(kind, line, LineSettings(4800, stop_bits=2, flow=flow))
    assert line._master is not None
    iflag, _, cflag, lflag, ispeed, ospeed, _ = termios.tcgetattr(line._master)
    assert (ispeed, ospeed) == (termios.B4800, termios.B4800)
    assert cflag & termios.CSTOPB
    assert bool(cflag & termios.CRTSCTS) is (flow == "rtscts")
    assert bool(iflag & termios.IXON) is bool(iflag & termios.IXOFF) is (flow == "xonxoff")
    assert not lflag & (termios.ICANON | termios.ECHO), "no line is ever edited or sent back"
    port.close()
    line.close()


@pytest.mark.parametrize(("dtr", "rts"), [(True, False), (False, True)])
def test_control_lines_are_never_set_otherwise_than_asked(
    dtr: bool, rts: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Watched at the ioctl, which a pseudo-terminal then refuses: it has no control lines."""
    seen: list[tuple[int, int]] = []
    real = fcntl.ioctl

    def watch(descriptor: int, request: int, *rest: Any) -> Any:
        if request in (termios.TIOCMBIS, termios.TIOCMBIC):
            seen.append((request, struct.unpack("I", rest[0])[0]))
        return real(descriptor, request, *rest)

    # Each line's refusal would end pyserial's attempt to set the next, so the refusal is left out.
    monkeypatch.setattr("serial.serialposix.fcntl.ioctl", lambda *args: _unrefused(watch, *args))
    line = PtyLine(tmp_path / "instrument")
    open_on("pty", line, LineSettings(dtr=dtr, rts=rts)).close()
    wanted = [(dtr, termios.TIOCM_DTR), (rts, termios.TIOCM_RTS)]
    assert seen == [(termios.TIOCMBIS if on else termios.TIOCMBIC, bit) for on, bit in wanted]
    line.close()


def _unrefused(call: Callable[..., Any], descriptor: int, request: int, *rest: Any) -> Any:
    try:
        return call(descriptor, request, *rest)
    except OSError:
        if request not in (termios.TIOCMBIS, termios.TIOCMBIC):
            raise
        return rest[0]


def test_remote_control_lines_and_flow_are_set_as_asked() -> None:
    """RFC 2217, SET-CONTROL (5): no flow control 1, hardware 3; DTR on 8, off 9; RTS on 11, off 12."""
    from tests.conformance.rfc2217_line import Rfc2217Line

    for settings, wanted, unwanted in (
        (LineSettings(dtr=False, rts=True), (1, 9, 11), (8, 12)),
        (LineSettings(dtr=True, flow="rtscts"), (3, 8), (1, 9)),
    ):
        line = Rfc2217Line()
        port = open_on("rfc2217", line, settings)
        heard = bytes(line.heard)
        port.close()
        line.close()
        assert all(bytes.fromhex(f"FFFA2C05{value:02X}FFF0") in heard for value in wanted)
        assert not any(bytes.fromhex(f"FFFA2C05{value:02X}FFF0") in heard for value in unwanted)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can look past the flag")
def test_an_adapter_is_kept_from_programs_that_do_not_ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the terminal's own flag. A pseudo-terminal, which plays the adapter here, is spared it: there it outlives us."""
    line = PtyLine(tmp_path / "instrument")
    open_on("pty", line).close()
    assert not _exclusive(line)
    monkeypatch.setattr("thwart.ports.serialport._PSEUDO_TERMINALS", "/none of them/")
    port = open_on("pty", line)
    assert _exclusive(line)
    port.close()
    line.close()


def _exclusive(line: PtyLine) -> bool:
    # Opened by root in the tests, whom the flag doesn't keep out. TIOCGEXCL of Linux's asm-generic/ioctls.h.
    descriptor = os.open(line.device, os.O_RDWR | os.O_NOCTTY)
    try:
        return struct.unpack("i", fcntl.ioctl(descriptor, 0x80045440, bytes(4))) == (1,)
    finally:
        os.close(descriptor)


class FakeCounters:
    """Faked at the ioctl: a line's error counters, which a pseudo-terminal hasn't."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.frame = self.overrun = self.parity = self.brk = self.buf_overrun = 0
        self._real = fcntl.ioctl
        monkeypatch.setattr("thwart.ports.serialport.fcntl.ioctl", self._ioctl)

    def _ioctl(self, descriptor: int, request: int, *rest: Any) -> Any:
        if request != termios.TIOCGICOUNT:
            return self._real(descriptor, request, *rest)
        # rx and tx count bytes, the first four count modem lines: none of them is an error.
        counts = (9, 9, 9, 9, 1000, 1000, self.frame, self.overrun, self.parity, self.brk, self.buf_overrun)
        return struct.pack("20i", *counts, *[0] * 9)


def test_every_kind_of_line_error_is_counted_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counters = FakeCounters(monkeypatch)
    line = PtyLine(tmp_path / "instrument")
    port = open_on("pty", line)
    assert port.error_count() == 0
    for number, name in enumerate(("frame", "overrun", "parity", "brk", "buf_overrun"), 1):
        setattr(counters, name, 1)
        assert port.error_count() == number
    port.close()
    line.close()


def test_where_nobody_counts_there_is_no_number(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "instrument")
    port = open_on("pty", line)
    assert port.error_count() is None
    port.close()
    line.close()


def test_counted_errors_reach_the_listener_with_their_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counters = FakeCounters(monkeypatch)
    counters.parity = 3
    line = PtyLine(tmp_path / "instrument")
    recorder = Recorder()
    supervisor = supervise("pty", line.port, recorder)
    wait_for(lambda: line.host_present and recorder.lives)
    line.send(b"good")
    wait_for(lambda: recorder.lives[-1] == b"good")
    counters.frame += 1
    line.send(b"torn")
    wait_for(lambda: recorder.lives[-1] == b"goodtorn")
    assert recorder.calls == ["open", "bytes", "line error", "bytes"]
    assert supervisor.stop()
    line.close()


def test_a_silent_network_peer_is_watched(tmp_path: Path) -> None:
    """A pulled cable can't be had on a loopback; that TCP was told to ask after a quiet peer can be seen."""
    line = TcpLine()
    port = open_port(parse_spec(line.port), LineSettings())
    assert isinstance(port, Stream)
    link = port._file
    assert isinstance(link, socket.socket)
    assert link.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
    assert link.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) == 5
    port.close()
    line.close()


def test_what_a_peer_sends_on_connecting_is_not_dropped() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=lambda: server.accept()[0].sendall(b"142.5 mm\r\n"), daemon=True).start()
        port = open_port(parse_spec(f"socket://127.0.0.1:{server.getsockname()[1]}"), LineSettings())
        data = b""
        while len(data) < 10:
            data += port.read(20.0)
        assert data == b"142.5 mm\r\n"
        port.close()


def test_a_peer_that_speaks_no_rfc2217_is_told_so() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
        with pytest.raises(PortAbsent, match="RFC2217"):
            open_port(Rfc2217("127.0.0.1", number), LineSettings())


def test_line_errors_the_far_end_reports_are_counted() -> None:
    """RFC 2217: the client sets the mask with command 10 (break 16, framing 8, parity 4, overrun 2); the server reports
    with command 6 + 100. Data ready (1) is no error."""
    from tests.conformance.rfc2217_line import Rfc2217Line

    line = Rfc2217Line()
    port = open_on("rfc2217", line)
    wait_for(lambda: bytes.fromhex("FFFA2C0A1EFFF0") in line.heard)
    client = line._client
    assert client is not None
    assert port.error_count() is None
    client.write(bytes.fromhex("FFFA2C6A01FFF0") + b"fine")
    assert port.read(20.0)[:1] == b"f"
    assert port.error_count() is None
    client.write(bytes.fromhex("FFFA2C6A08FFF0 FFFA2C6A14FFF0"))
    wait_for(lambda: port.read(0.01) is not None and port.error_count() == 2)
    port.close()
    line.close()


def test_malformed_telnet_ends_the_port_instead_of_silencing_it() -> None:
    """IAC SE (FF F0, RFC 854) without a beginning: pyserial's reader thread dies of it."""
    from tests.conformance.rfc2217_line import Rfc2217Line

    line = Rfc2217Line()
    port = open_on("rfc2217", line)
    client = line._client
    assert client is not None
    client.write(b"before\xff\xf0after")
    data = b""
    with pytest.raises(Gone):
        while True:
            data += port.read(20.0)
    assert data == b"before"
    port.close()
    line.close()


def test_no_descriptor_is_left_open(tmp_path: Path) -> None:
    from tests.conformance.rfc2217_line import Rfc2217Line

    def count() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    lines: tuple[SimulatedLine, ...] = (PtyLine(tmp_path / "instrument"), TcpLine(), Rfc2217Line())
    for kind, line in zip(("pty", "tcp", "rfc2217"), lines, strict=True):
        before = count()
        for _ in range(3):
            port = open_on(kind, line)
            line.unplug()
            with pytest.raises(Gone):
                port.read(1000.0)
            port.close()
            line.replug()
            time.sleep(0.05)
        wait_for(lambda b=before, k=line: not k.host_present and count() <= b)  # type: ignore[misc]
        line.close()
