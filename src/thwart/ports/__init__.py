"""The outside world: serial lines, TCP, RFC 2217, USB devices, captures played back; their identity, hot-plug and reconnecting.

Holds: port names and what they resolve to, opening and reading ports, one supervising thread per port, the capture
file, and (imported by name only) simulated instruments. May not: interpret a byte, decide anything, touch the ledger
or the bench. Bytes come out with the monotonic time they were read at, and that is all this room knows about them.
"""

from thwart.ports.capture import Capture, CaptureWriter, Chunk, read_bytes_or_capture, read_capture
from thwart.ports.faults import Ended, Gone, PortAbsent, PortAmbiguous, PortBusy, PortForbidden, PortStuck
from thwart.ports.identity import Holder, PortInfo, describe_ports, resolve
from thwart.ports.line import LineSettings
from thwart.ports.opening import open_port
from thwart.ports.port import Port
from thwart.ports.spec import Device, Replay, Rfc2217, Spec, Tcp, Usb, UsbDevice, parse_spec
from thwart.ports.supervisor import Listener, Poll, Supervisor

__all__ = [
    "Capture",
    "CaptureWriter",
    "Chunk",
    "Device",
    "Ended",
    "Gone",
    "Holder",
    "LineSettings",
    "Listener",
    "Poll",
    "Port",
    "PortAbsent",
    "PortAmbiguous",
    "PortBusy",
    "PortForbidden",
    "PortInfo",
    "PortStuck",
    "Replay",
    "Rfc2217",
    "Spec",
    "Supervisor",
    "Tcp",
    "Usb",
    "UsbDevice",
    "describe_ports",
    "open_port",
    "parse_spec",
    "read_bytes_or_capture",
    "read_capture",
    "resolve",
]
