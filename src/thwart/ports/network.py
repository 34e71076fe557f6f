"""Ports on the network: bare TCP, and RFC 2217."""

from __future__ import annotations

import contextlib
import queue
import socket

import serial
from serial import rfc2217

from thwart.ports.faults import Gone, PortAbsent
from thwart.ports.line import LineSettings
from thwart.ports.serialport import apply_line
from thwart.ports.spec import Rfc2217, Tcp
from thwart.ports.streams import Stream

CONNECT_LIMIT_S = 3.0
# RFC 2217, NOTIFY-LINESTATE: break detect 16, framing 8, parity 4, overrun 2.
_LINE_ERRORS = 16 | 8 | 4 | 2
# A pulled network cable sends nothing, so TCP itself must ask: after 5 s of quiet, every 2 s, gone after 3 unanswered.
_KEEPALIVE = {"TCP_KEEPIDLE": 5, "TCP_KEEPINTVL": 2, "TCP_KEEPCNT": 3}


def open_tcp(spec: Tcp) -> Stream:
    """Connect to `spec`. Raises PortAbsent, whatever the reason: what doesn't answer is not there."""
    # Not pyserial's socket handler (3.5). Asked for many bytes it waits for all of them, and it knows of one waiting
    # byte at most; it drops what the peer sent on connecting; its read can't be cancelled; closing sleeps 0.3 s and
    # leaks the socket if the peer left first. What would be left of it are the two calls below.
    try:
        link = socket.create_connection((spec.host, spec.port), timeout=CONNECT_LIMIT_S)
    except OSError as error:
        raise _absent(spec, error) from None
    _watch(link)
    link.setblocking(False)
    return Stream(link, link.recv, link.send, link.close, end="connection closed by the far end")


class _Remote(rfc2217.Serial):
    """pyserial's client (3.5) with two faults mended, and the line errors counted that the far end reports."""

    line_errors: int | None = None
    """None until the far end reports one: not every server does."""

    _socket: socket.socket | None
    _read_buffer: queue.Queue[bytes | None]

    def _telnet_read_loop(self) -> None:
        # A malformed Telnet command ends pyserial's reader with a traceback and leaves the port silent for ever.
        with contextlib.suppress(Exception):
            super()._telnet_read_loop()  # type: ignore[misc]
        self._read_buffer.put(None)

    def _telnet_process_subnegotiation(self, suboption: bytes) -> None:
        option, command, state = suboption[0:1], suboption[1:2], suboption[2:3]
        if option == rfc2217.COM_PORT_OPTION and command == rfc2217.SERVER_NOTIFY_LINESTATE and state:
            if state[0] & _LINE_ERRORS:
                self.line_errors = (self.line_errors or 0) + 1
                self._read_buffer.put(b"")
        else:
            super()._telnet_process_subnegotiation(suboption)  # type: ignore[misc]

    def close(self) -> None:
        # pyserial's own sleeps 0.3 s after each close, and leaks the socket if the peer left first.
        self.is_open = False
        if self._socket is not None:
            with contextlib.suppress(OSError):
                self._socket.shutdown(socket.SHUT_RDWR)
            self._socket.close()


class Rfc2217Port:
    """A remote serial port. pyserial speaks the protocol in a thread of its own and queues the bytes it finds."""

    def __init__(self, spec: Rfc2217, line: LineSettings) -> None:
        """Connect, negotiate and set the line. Raises PortAbsent."""
        self._port = _Remote()
        self._port.port = str(spec)
        try:
            apply_line(self._port, line)
            self._port.open()
            self._port.rfc2217_send_subnegotiation(rfc2217.SET_LINESTATE_MASK, bytes([_LINE_ERRORS]))
        except (OSError, ValueError) as error:
            raise _absent(spec, error) from None
        self._queue = self._port._read_buffer
        self._ended = False
        assert self._port._socket is not None
        _watch(self._port._socket)

    def read(self, timeout_s: float) -> bytes:
        """See Port."""
        # From pyserial's queue rather than through its read: that one raises as soon as its thread has ended, even with
        # bytes still queued, and can't be cancelled. In the queue b"" wakes and None ends.
        if self._ended:
            raise Gone("connection closed by the far end")
        found = bytearray()
        with contextlib.suppress(queue.Empty):
            item = self._queue.get(timeout=timeout_s) if timeout_s > 0 else self._queue.get_nowait()
            while item is not None:
                found += item
                item = self._queue.get_nowait()
            self._ended = True
        if self._ended and not found:
            raise Gone("connection closed by the far end")
        return bytes(found)

    def write(self, data: bytes) -> None:
        """See Port."""
        try:
            self._port.write(data)
        except (serial.SerialException, OSError) as error:
            raise Gone(str(error)) from None

    def cancel(self) -> None:
        """See Port."""
        self._queue.put(b"")

    def close(self) -> None:
        """See Port."""
        self._port.close()

    def error_count(self) -> int | None:
        """See Port."""
        return self._port.line_errors


def _watch(link: socket.socket) -> None:
    link.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    for name, value in _KEEPALIVE.items():
        if hasattr(socket, name):
            link.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)


def _absent(spec: Tcp | Rfc2217, error: Exception) -> PortAbsent:
    # The system's own word for it, which pyserial wraps into a sentence with a number.
    words = (getattr(seen, "strerror", None) for seen in (error, error.__context__))
    return PortAbsent(
        f"{spec} can't be reached: {next((word for word in words if word), error)}",
        "check the address, the network and that the far end is switched on and serves nobody else",
    )
