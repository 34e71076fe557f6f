"""One way to open whatever a port's name means."""

from __future__ import annotations

from thwart.ports import network, replay, serialport
from thwart.ports.identity import resolve
from thwart.ports.line import LineSettings
from thwart.ports.port import Port
from thwart.ports.spec import Replay, Rfc2217, Spec, Tcp, UsbDevice


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
