"""One way to open whatever a port's name means, and what every open port can do."""

from __future__ import annotations

from typing import Protocol

from thwart.ports import network, replay, serialport
from thwart.ports.identity import resolve
from thwart.ports.line import LineSettings
from thwart.ports.spec import Replay, Rfc2217, Spec, Tcp, UsbDevice


class Port(Protocol):
    """An open port. One thread reads, writes and closes it; `cancel` may be called from any other."""

    def read(self, timeout_s: float) -> bytes:
        """Whatever has come, as soon as anything has; b"" after `timeout_s` seconds or `cancel`. Raises Gone."""

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises Gone, or PortStuck when the far end takes nothing for a moment."""

    def close(self) -> None:
        """Let go at once, so that a replugged adapter gets its old name back. Never raises; twice is once."""

    def cancel(self) -> None:
        """Make the read under way, or else the next one, return at once."""

    def error_count(self) -> int | None:
        """Framing, parity, overrun and break errors since the system started to count; None where it doesn't."""


def open_port(spec: Spec, line: LineSettings) -> Port:
    """Open what `spec` means now.

    Raises PortAbsent, PortAmbiguous, PortBusy, PortForbidden or another PortError; a capture that can't be read raises
    ConfigError.
    """
    if isinstance(spec, Replay):
        return replay.ReplayPort.from_file(spec.path)
    if isinstance(spec, UsbDevice):
        # Imported here, for most benches have none and libusb need not be looked for.
        from thwart.ports.usbport import open_usb

        return open_usb(spec)
    if isinstance(spec, Tcp):
        return network.open_tcp(spec)
    if isinstance(spec, Rfc2217):
        return network.Rfc2217Port(spec, line)
    return serialport.open_serial(spec, resolve(spec), line)
