"""A real RFC 2217 server (pyserial's own server half) in front of a simulated instrument on a pseudo-terminal."""

from __future__ import annotations

import contextlib
import socket
import threading

import serial
from serial.rfc2217 import PortManager

from thwart.ports.line import LineSettings
from thwart.ports.simulated import PtyLine


class _ServersPort(serial.Serial):
    """The server's serial port. A pseudo-terminal has no modem lines, so what can't be asked or set is left out."""

    _bytesize: int
    _parity: str

    cts = property(lambda self: True)
    dsr = property(lambda self: True)
    ri = property(lambda self: False)
    cd = property(lambda self: True)

    def _reconfigure_port(self, force_update: bool = False) -> None:
        # Nor has it data bits or parity: Linux refuses anything but eight and none.
        asked = self._bytesize, self._parity
        self._bytesize, self._parity = 8, serial.PARITY_NONE
        try:
            super()._reconfigure_port(force_update)  # type: ignore[misc]
        finally:
            self._bytesize, self._parity = asked

    def _update_dtr_state(self) -> None: ...

    def _update_rts_state(self) -> None: ...


class _Client:
    """One connection. PortManager wants an object with a `write` that threads may share."""

    def __init__(self, link: socket.socket) -> None:
        self.link = link
        self._lock = threading.Lock()

    def write(self, data: bytes) -> None:
        with self._lock, contextlib.suppress(OSError):
            self.link.sendall(data)


class Rfc2217Line:
    """A SimulatedLine: the instrument is a PtyLine, the plug that is pulled is the network's."""

    def __init__(self, line: LineSettings | None = None) -> None:
        self.instrument = PtyLine(line=line)
        self.heard = bytearray()
        """Every byte the client sent, Telnet and all."""
        self._serial = _ServersPort(self.instrument.device, timeout=None)
        self._client: _Client | None = None
        self._listener: socket.socket | None = None
        self._number = 0
        self._closing = False
        self.replug()
        self._pump = threading.Thread(target=self._to_client, daemon=True)
        self._pump.start()

    @property
    def port(self) -> str:
        return f"rfc2217://127.0.0.1:{self._number}"

    @property
    def host_present(self) -> bool:
        return self._client is not None

    def send(self, data: bytes, chunk: int | None = None, pause_s: float = 0.0) -> int:
        return self.instrument.send(data, chunk, pause_s)

    def receive(self, timeout_s: float) -> bytes:
        return self.instrument.receive(timeout_s)

    def unplug(self) -> None:
        listener, client = self._listener, self._client
        self._listener = self._client = None
        if listener is not None:
            # Shut down first: closing alone doesn't wake the thread that accepts.
            with contextlib.suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            listener.close()
        if client is not None:
            with contextlib.suppress(OSError):
                client.link.shutdown(socket.SHUT_RDWR)

    def replug(self) -> None:
        if self._listener is None:
            self._listener = socket.create_server(("127.0.0.1", self._number))
            self._number = self._listener.getsockname()[1]
            threading.Thread(target=self._serve, args=(self._listener,), daemon=True).start()

    def close(self) -> None:
        self._closing = True
        self.unplug()
        self._serial.cancel_read()
        self._pump.join(5)
        self._serial.close()
        self.instrument.close()

    def _serve(self, listener: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while True:
                link, _ = listener.accept()
                link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                client = _Client(link)
                self._manager = PortManager(self._serial, client)  # type: ignore[arg-type]
                self._client = client
                self._from_client(client)
                if self._client is client:
                    self._client = None
                link.close()

    def _from_client(self, client: _Client) -> None:
        with contextlib.suppress(OSError):
            while data := client.link.recv(4096):
                self.heard += data
                payload = b"".join(self._manager.filter(data))
                if payload:
                    self._serial.write(payload)

    def _to_client(self) -> None:
        while not self._closing:
            try:
                data = self._serial.read(1)
                data += self._serial.read(self._serial.in_waiting)
            except serial.SerialException:
                # A client's purge, in the other thread, may take the bytes between pyserial's look and its read.
                continue
            client = self._client
            if data and client is not None:
                client.write(b"".join(self._manager.escape(data)))
