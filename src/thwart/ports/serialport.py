"""Serial ports through pyserial: opened exclusively, with the control lines set before opening, errors told apart."""

from __future__ import annotations

import contextlib
import errno
import os
import struct
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import serial

from thwart.errors import PortError
from thwart.ports.faults import Gone, PortAbsent, PortBusy, PortStuck
from thwart.ports.identity import holders
from thwart.ports.line import LineSettings
from thwart.ports.permission import forbidden
from thwart.ports.spec import Device, Usb
from thwart.ports.streams import WRITE_LIMIT_S, Stream, no_count

if TYPE_CHECKING:
    from thwart.ports.port import Port

if sys.platform != "win32":
    import fcntl
    import termios

    #: Linux's request for a line's counters; other systems keep none that can be asked for.
    TIOCGICOUNT: int | None = getattr(termios, "TIOCGICOUNT", None)

_PARITY = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}
# What pyserial lets through on opening, beside its own (which is an OSError).
_OPENING_FAULTS: tuple[type[Exception], ...] = (OSError, ValueError, OverflowError, NotImplementedError)
if sys.platform != "win32":
    _OPENING_FAULTS += (termios.error,)
_PSEUDO_TERMINALS = "/dev/pts/"
_ABSENT = frozenset({errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ENOTDIR, errno.EIO})
_BUSY = frozenset({errno.EBUSY, errno.EWOULDBLOCK, errno.EAGAIN})
_FORBIDDEN = frozenset({errno.EACCES, errno.EPERM})
# struct serial_icounter_struct of the Linux user-space header linux/serial.h: cts, dsr, rng, dcd, rx, tx, frame,
# overrun, parity, brk, buf_overrun, nine reserved.
_COUNTERS = struct.Struct("20i")
_LINE_ERRORS = slice(6, 11)


def apply_line(port: serial.SerialBase, line: LineSettings) -> None:
    """Give a pyserial port its settings, before it is opened: set later, the control lines would reset some devices."""
    port.baudrate = line.baud
    port.bytesize = line.data_bits
    port.parity = _PARITY[line.parity]
    port.stopbits = line.stop_bits
    port.xonxoff = line.flow == "xonxoff"
    port.rtscts = line.flow == "rtscts"
    port.dtr = line.dtr
    port.rts = line.rts


def open_serial(spec: Device | Usb, device: str, line: LineSettings, waitable: bool = sys.platform != "win32") -> Port:
    """Open `device`, which is what `spec` means now. Raises PortAbsent, PortBusy, PortForbidden or PortError.

    `waitable`: whether this system can wait on a serial port as on any file.
    """
    port = serial.Serial()
    port.port = device
    port.exclusive = True
    pseudo = os.path.realpath(device).startswith(_PSEUDO_TERMINALS)
    try:
        # Linux keeps a pseudo-terminal at eight bits without parity, and the C library refuses others on reopening, when
        # nothing else changes with them.
        apply_line(port, replace(line, data_bits=8, parity="none") if pseudo else line)
        port.open()
    except _OPENING_FAULTS as error:
        raise _trouble(spec, device, line, error) from None
    if sys.platform == "win32" or not waitable:
        return PlainSerialPort(port)
    descriptor = port.fileno()
    if not pseudo:
        # pyserial's lock keeps out programs that ask for the lock; this keeps out those that just open the device and
        # would take every second byte. Not on a pseudo-terminal: that one still refuses after we were killed.
        with contextlib.suppress(OSError):
            fcntl.ioctl(descriptor, termios.TIOCEXCL)
    return Stream(
        descriptor,
        partial(os.read, descriptor),
        partial(os.write, descriptor),
        port.close,
        end="unplugged (ready to read, but nothing there)",
        count=line_error_counter(descriptor),
    )


def line_error_counter(descriptor: int) -> Callable[[], int | None]:
    """How to ask for the sum of a line's framing, overrun, parity, break and buffer-overrun errors.

    Where the device doesn't count (a pseudo-terminal, some adapters), what is returned answers None without asking.
    """

    def count() -> int | None:
        assert TIOCGICOUNT is not None
        try:
            counters: bytes = fcntl.ioctl(descriptor, TIOCGICOUNT, bytes(_COUNTERS.size))
        except OSError:
            return None
        return sum(map(int, _COUNTERS.unpack(counters)[_LINE_ERRORS]))

    return no_count if TIOCGICOUNT is None or count() is None else count


class PlainSerialPort:
    """A serial port with nothing but pyserial's own calls, for systems where a port can't be waited on as a file."""

    def __init__(self, port: serial.Serial) -> None:
        self._port = port
        port.write_timeout = WRITE_LIMIT_S

    def read(self, timeout_s: float) -> bytes:
        """See Port."""
        data = b""
        try:
            self._port.timeout = max(timeout_s, 0.0)
            data = self._port.read(1)
            if data:
                data += self._port.read(self._port.in_waiting)
        except OSError as error:
            # What was read before goes out first; the next read finds the same error.
            if not data:
                raise Gone(str(error)) from None
        return data

    def write(self, data: bytes) -> None:
        """See Port."""
        try:
            self._port.write(data)
        except serial.SerialTimeoutException:
            raise PortStuck("the far end takes no bytes", "check flow control in the instrument's profile") from None
        except (serial.SerialException, OSError) as error:
            raise Gone(str(error)) from None

    def close(self) -> None:
        """See Port."""
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()

    def cancel(self) -> None:
        """See Port."""
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.cancel_read()

    def error_count(self) -> int | None:
        """See Port."""
        return None


def _trouble(spec: Device | Usb, device: str, line: LineSettings, error: Exception) -> PortError:
    name = str(spec) if str(spec) == device else f"{spec} ({device})"
    number = _error_number(error)
    if number in _ABSENT:
        return PortAbsent(
            f"{name} is not there ({os.strerror(number)})" if number != errno.ENOENT else f"{name} is not there",
            "plug it in and switch it on; `thwart ports` lists what is there",
        )
    if number in _BUSY:
        who = ", ".join(str(holder) for holder in holders(device)) or "another program"
        return PortBusy(f"{name} is in use by {who}", "end that program, or give it another port")
    if number in _FORBIDDEN:
        return forbidden(name, device)
    if number == errno.ENOTTY:
        return PortError(f"{name} is no serial port", "`thwart ports` lists the serial ports there are")
    return PortError(f"{name} can't be opened with {line}: {error}", "check the line settings in the profile")


def _error_number(error: Exception) -> int:
    # pyserial wraps the system's error; where it drops the number, the error it was raised from still has it.
    for seen in (error, error.__context__):
        if isinstance(seen, OSError) and seen.errno is not None:
            return seen.errno
        if sys.platform != "win32" and isinstance(seen, termios.error):
            return int(seen.args[0])
    return 0
