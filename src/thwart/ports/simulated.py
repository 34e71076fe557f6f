"""Simulated instruments: the far end of a real pseudo-terminal or a real TCP connection, for the demo and for tests.

A pseudo-terminal has no speed, no parity and no error counters: bytes pass whatever either side has set. So a `PtyLine`
that was given its own settings reads the speed the host has set on the terminal and, where the two differ, sends what a
real receiver would have made of the signal (`misread`). That is as far as it goes: Linux keeps a pseudo-terminal at
eight bits without parity whatever is asked, so a wrong parity can't be seen on it; and line-error counters can't be had
at all, tests fake them at the system call and say so.

Where there are no pseudo-terminals (anything but POSIX) `TcpLine` offers the same over a loopback connection, without
settings.
"""

from __future__ import annotations

import contextlib
import os
import re
import socket
import sys
import threading
import time
from abc import ABC, abstractmethod
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from thwart.ports.line import LineSettings, Parity

if sys.platform != "win32":
    import select
    import termios
    import tty

#: How long a sender naps when the host reads more slowly than it sends.
_NAP_S = 0.02


class SimulatedLine(Protocol):
    """An instrument's end of a line."""

    @property
    def port(self) -> str:
        """The name under which the host opens this line."""

    @property
    def host_present(self) -> bool:
        """Whether the host has the line open."""

    def send(self, data: bytes, chunk: int | None = None, pause_s: float = 0.0) -> int:
        """Send `data`, in pieces of `chunk` bytes with a pause after each. Returns how many bytes went out.

        As on a real line, what is sent while nobody has it open, or after it was unplugged, is lost.
        """

    def receive(self, timeout_s: float) -> bytes:
        """What the host wrote, as soon as it wrote anything; b"" after `timeout_s` seconds."""

    def unplug(self) -> None:
        """Pull the plug."""

    def replug(self) -> None:
        """Put it back."""

    def close(self) -> None:
        """Unplug for good."""


class _Pieces(ABC):
    """Sending piece by piece and waiting for what comes, the same on every kind of line."""

    def send(self, data: bytes, chunk: int | None = None, pause_s: float = 0.0) -> int:
        """See SimulatedLine."""
        sent = 0
        size = chunk or len(data) or 1
        for start in range(0, len(data), size):
            piece = data[start : start + size]
            if not self._send_piece(piece):
                break
            sent += len(piece)
            if pause_s:
                time.sleep(pause_s)
        return sent

    def receive(self, timeout_s: float) -> bytes:
        """See SimulatedLine."""
        deadline = time.monotonic() + timeout_s
        while True:
            with contextlib.suppress(OSError):
                if data := self._read():
                    return data
            if time.monotonic() >= deadline:
                return b""
            time.sleep(_NAP_S)

    @abstractmethod
    def _send_piece(self, piece: bytes) -> bool:
        """Send it whole; False where nobody has the line open any more."""

    @abstractmethod
    def _read(self) -> bytes:
        """What has come, or nothing. Raises OSError where nobody is there."""


class PtyLine(_Pieces):
    """An instrument at the far end of a pseudo-terminal.

    `link` is a path that always leads to the terminal while it is plugged in, as a link below /dev/serial/by-id does;
    each replug comes back under another /dev/pts. `line` are the instrument's own settings: when given, what it sends
    is misread by a host that has set another speed.
    """

    def __init__(self, link: str | Path | None = None, line: LineSettings | None = None) -> None:
        self._link = Path(link) if link is not None else None
        self._line = line
        self._lock = threading.Lock()
        self._spare = _open_pty()
        self._master: int | None = None
        self.device = ""
        """The terminal's own path, /dev/pts/N; empty while unplugged."""
        self.replug()

    @property
    def port(self) -> str:
        """See SimulatedLine."""
        return str(self._link) if self._link else self.device

    @property
    def host_present(self) -> bool:
        """See SimulatedLine."""
        with self._lock:
            return self._master is not None and not _events(self._master, select.POLLIN) & select.POLLHUP

    def _send_piece(self, piece: bytes) -> bool:
        rest: bytes | None = None
        while True:
            with self._lock:
                if self._master is None or _events(self._master, select.POLLIN) & select.POLLHUP:
                    return False
                if rest is None:
                    rest = self._as_heard(piece, self._master)
                try:
                    rest = rest[os.write(self._master, rest) :]
                except BlockingIOError:
                    pass
                except OSError:
                    return False
            if not rest:
                return True
            time.sleep(_NAP_S)

    def _as_heard(self, piece: bytes, master: int) -> bytes:
        if self._line is None:
            return piece
        return misread(piece, self._line, replace(self._line, baud=host_baud(master)))

    def _read(self) -> bytes:
        # Without a host the terminal says EIO; that isn't an end, for the host may come.
        with self._lock:
            return os.read(self._master, 65536) if self._master is not None else b""

    def unplug(self) -> None:
        """See SimulatedLine. The host sees a hang-up; what it had not read yet is lost, as with a real adapter."""
        with self._lock:
            if self._master is None:
                return
            if self._link:
                self._link.unlink(missing_ok=True)
            os.close(self._master)
            self._master, self.device = None, ""

    def replug(self) -> None:
        """See SimulatedLine."""
        with self._lock:
            if self._master is not None:
                return
            # The next terminal is always opened while the last one still exists, so that their names differ.
            self._master, self.device = self._spare
            self._spare = _open_pty()
            if self._link:
                fresh = self._link.with_name(f".{self._link.name}.new")
                fresh.unlink(missing_ok=True)
                fresh.symlink_to(self.device)
                fresh.replace(self._link)

    def close(self) -> None:
        """See SimulatedLine."""
        self.unplug()
        with contextlib.suppress(OSError):
            os.close(self._spare[0])


class TcpLine(_Pieces):
    """An instrument behind a TCP connection on this machine; one host at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listener: socket.socket | None = None
        self._host: socket.socket | None = None
        self._number = 0
        self.replug()

    @property
    def port(self) -> str:
        """See SimulatedLine."""
        return f"socket://127.0.0.1:{self._number}"

    @property
    def host_present(self) -> bool:
        """See SimulatedLine."""
        return self._connection() is not None

    def _send_piece(self, piece: bytes) -> bool:
        while piece:
            host = self._connection()
            if host is None:
                return False
            try:
                piece = piece[host.send(piece) :]
            except BlockingIOError:
                time.sleep(_NAP_S)
            except OSError:
                return False
        return True

    def _read(self) -> bytes:
        host = self._connection()
        return host.recv(65536) if host is not None else b""

    def _connection(self) -> socket.socket | None:
        """The host's connection, taking one that waits and dropping one that has ended."""
        with self._lock:
            if self._host is not None and _ended(self._host):
                self._host.close()
                self._host = None
            if self._host is None and self._listener is not None:
                with contextlib.suppress(BlockingIOError):
                    self._host = self._listener.accept()[0]
                    self._host.setblocking(False)
                    self._host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return self._host

    def unplug(self) -> None:
        """See SimulatedLine."""
        with self._lock:
            for end in (self._listener, self._host):
                if end is not None:
                    end.close()
            self._listener = self._host = None

    def replug(self) -> None:
        """See SimulatedLine. The port's number stays."""
        with self._lock:
            if self._listener is None:
                self._listener = socket.create_server(("127.0.0.1", self._number), backlog=1)
                self._listener.setblocking(False)
                self._number = self._listener.getsockname()[1]

    def close(self) -> None:
        """See SimulatedLine."""
        self.unplug()


def simulated_line(link: str | Path, line: LineSettings | None = None) -> SimulatedLine:
    """A pseudo-terminal reached through `link` where the system has them, else a loopback connection."""
    return TcpLine() if sys.platform == "win32" else PtyLine(link, line)


def host_baud(master: int) -> int:
    """The speed the host has set on the terminal whose master end is `master`; 0 where it is none of the usual ones."""
    speed = termios.tcgetattr(master)[5]
    usual = {getattr(termios, name): int(name[1:]) for name in dir(termios) if re.fullmatch(r"B\d+", name)}
    return usual.get(speed, 0)


def misread(data: bytes, sent: LineSettings, heard: LineSettings) -> bytes:
    """What a receiver set to `heard` makes of `data` sent back to back with `sent`.

    The signal is drawn as a real one goes over the wire (idle high; start bit low, data bits lowest first, parity, stop
    bits high) and sampled in the middle of each bit the receiver believes in, from each falling edge on. Equal settings
    give equal bytes. Deterministic. Like a real receiver it delivers characters whose stop bit was wrong.
    """
    if _waveform_settings(sent) == _waveform_settings(heard):
        return data
    levels = b"".join(_levels(byte, sent) for byte in data)
    per_bit = sent.baud / (heard.baud or 1)
    believed = 1 + heard.data_bits + (heard.parity != "none")
    received = bytearray()
    at = 0.0
    while (start := levels.find(0, int(at))) >= 0:
        edge = max(at, float(start))
        samples = [_sample(levels, edge + (bit + 0.5) * per_bit) for bit in range(believed + 1)]
        received.append(sum(level << bit for bit, level in enumerate(samples[1 : 1 + heard.data_bits])))
        at = edge + (believed + 0.5) * per_bit
        if not samples[-1]:
            # No stop bit: the line must go high before another start can be seen.
            high = levels.find(1, int(at))
            at = float(high if high >= 0 else len(levels))
    return bytes(received)


def _waveform_settings(line: LineSettings) -> tuple[int, int, Parity]:
    return line.baud, line.data_bits, line.parity


def _levels(byte: int, line: LineSettings) -> bytes:
    bits = [byte >> bit & 1 for bit in range(line.data_bits)]
    parity = {"none": [], "even": [sum(bits) % 2], "odd": [1 - sum(bits) % 2], "mark": [1], "space": [0]}[line.parity]
    return bytes([0, *bits, *parity, *[1] * round(line.stop_bits + 0.1)])


def _sample(levels: bytes, at: float) -> int:
    return levels[int(at)] if at < len(levels) else 1


def _open_pty() -> tuple[int, str]:
    master, slave = os.openpty()
    tty.setraw(slave)
    device = os.ttyname(slave)
    # Held open here, the slave would hide from the instrument whether the host is there.
    os.close(slave)
    os.set_blocking(master, False)
    return master, device


def _events(descriptor: int, wanted: int) -> int:
    poll = select.poll()
    poll.register(descriptor, wanted)
    ready = poll.poll(0)
    return ready[0][1] if ready else 0


def _ended(connection: socket.socket) -> bool:
    try:
        return connection.recv(1, socket.MSG_PEEK) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True
