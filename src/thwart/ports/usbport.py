"""A USB device as a port: its interfaces taken from the system's own driver, read by threads, and given back.

pyusb waits in a read that nothing but the device can end. So each endpoint has a thread that waits there and puts what
comes into a queue; the port's `read` waits on the queue, which `cancel` can end. The queue is bounded: when it is full
the thread waits, and the device with it, for USB asks a device only when somebody reads.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import queue
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import usb.core
import usb.util

from thwart.errors import PortError
from thwart.ports.faults import Gone, PortAbsent, PortBusy, PortStuck
from thwart.ports.identity import holders
from thwart.ports.permission import forbidden
from thwart.ports.spec import UsbDevice
from thwart.ports.streams import WRITE_LIMIT_S
from thwart.ports.usbidentity import Found, find, node_of
from thwart.ports.usblibrary import library
from thwart.records import DESCRIPTOR, REPORT, record

if TYPE_CHECKING:
    from usb.backend import IBackend

log = logging.getLogger("thwart.ports")

#: How long a thread waits in one read. Only a bound: bytes, unplugging and closing end it at once (Linux).
READ_MS = 1000
CONTROL_MS = 500
QUEUED = 1024
#: So many reads in a row that fail without the device being gone (it stalls, or sends more than it may) end the port.
MOST_FAULTS = 3
_HID = 0x03
_HID_DESCRIPTOR, _REPORT_DESCRIPTOR = 0x21, 0x22
_GET_DESCRIPTOR, _SET_PROTOCOL = 0x06, 0x0B
_BOOT = 1
_BULK, _INTERRUPT = usb.util.ENDPOINT_TYPE_BULK, usb.util.ENDPOINT_TYPE_INTR


@dataclass(frozen=True, slots=True)
class _Source:
    """An interface that is read, with its endpoints."""

    interface: int
    endpoint: int
    size: int
    out: int | None
    descriptor_size: int
    boot: bool
    rank: int
    """The less, the likelier it carries text: bulk endpoints before interrupt ones, HID interfaces last."""


def open_usb(spec: UsbDevice, backend: IBackend | None = None) -> UsbPort:
    """Open the device that `spec` means now.

    Raises PortError without libusb, PortAbsent, PortAmbiguous, PortForbidden, PortBusy, or PortError for a device that
    has nothing to read.
    """
    device = find(spec, library() if backend is None else backend)
    try:
        return UsbPort(spec, device)
    except usb.core.USBError as error:
        raise _trouble(spec, device, error) from None


class UsbPort:
    """An open USB device. Reports come as records, an interface's report descriptor before its first; text comes as it is."""

    def __init__(self, spec: UsbDevice, device: Found) -> None:
        """Take the device. Raises usb.core.USBError, PortError; it is given back then."""
        self._spec = spec
        self._device = device
        self._queue: queue.Queue[bytes | Gone] = queue.Queue(QUEUED)
        self._gone: Gone | None = None
        self._faults = 0
        self._lock = threading.Lock()
        self._closing = False
        self._claimed: list[int] = []
        self._taken: list[int] = []
        """Interfaces that the system's driver gave up for us."""
        self._threads: list[threading.Thread] = []
        try:
            sources = self._sources()
            for source in sources:
                self._take(source.interface)
            heads = [self._head(source) if spec.kind == "hid" else b"" for source in sources]
        except BaseException:
            self.close()
            raise
        self._out = next((source.out for source in sources if source.out is not None), None)
        for source, head in zip(sources, heads, strict=True):
            thread = threading.Thread(target=self._pump, args=(source, head), name=f"usb {spec}", daemon=True)
            self._threads.append(thread)
            thread.start()

    # ---- taking and giving back --------------------------------------------------------------------------------

    def _sources(self) -> list[_Source]:
        try:
            configuration = self._device.get_active_configuration()
        except usb.core.USBError as error:
            if error.errno is not None:
                raise
            # pyusb's word, without a number, for a device that nobody has configured yet.
            self._device.set_configuration()
            configuration = self._device.get_active_configuration()
        usable = [source for interface in configuration if (source := _source(interface, self._spec)) is not None]
        if self._spec.kind == "hid":
            if not usable:
                raise PortError(f"{self._spec} sends no reports (it has no HID interface)", _OTHER_KIND["hid"])
            return usable
        if not usable:
            raise PortError(f"{self._spec} has no bulk or interrupt endpoint to read", _OTHER_KIND["endpoint"])
        # Beside the one that carries text a device may have one for notices (CDC), and another that types.
        return sorted(usable, key=lambda source: source.rank)[:1]

    def _take(self, interface: int) -> None:
        """Claim an interface, taking it from the system's driver first: what it types must reach nobody else."""
        if self._driver_has(interface):
            self._device.detach_kernel_driver(interface)
            self._taken.append(interface)
        usb.util.claim_interface(self._device, interface)
        self._claimed.append(interface)

    def _driver_has(self, interface: int) -> bool:
        try:
            return bool(self._device.is_kernel_driver_active(interface))
        except NotImplementedError:
            return False
        except usb.core.USBError as error:
            if error.errno is not None:
                raise
            # A system that can't say (an emulated or remote bus): claiming shows it.
            return False

    def _head(self, source: _Source) -> bytes:
        """The record of an interface's report descriptor; none where the device doesn't give it."""
        number = source.interface
        if source.boot:
            # HID 1.11, 7.2.6: a host that wants reports as described should say so; what can't is in that mode anyway.
            with contextlib.suppress(usb.core.USBError):
                self._device.ctrl_transfer(0x21, _SET_PROTOCOL, 1, number, None, CONTROL_MS)
        try:
            given = self._device.ctrl_transfer(
                0x81, _GET_DESCRIPTOR, _REPORT_DESCRIPTOR << 8, number, source.descriptor_size, CONTROL_MS
            )
        except usb.core.USBError as error:
            if error.errno in (errno.ENODEV, errno.EIO):
                raise
            log.warning(
                'port=%s interface=%d reason="gives no report descriptor: %s"', self._spec, number, error.strerror
            )
            return b""
        return record(DESCRIPTOR, number, bytes(given))

    def close(self) -> None:
        """See Port."""
        with self._lock:
            if self._closing:
                return
            self._closing = True
        # Releasing ends the reads under way (Linux); elsewhere they end by their own limit.
        for interface in self._claimed:
            with contextlib.suppress(usb.core.USBError):
                usb.util.release_interface(self._device, interface)
        deadline = time.monotonic() + 2 * READ_MS / 1000
        for thread in self._threads:
            while thread.is_alive() and time.monotonic() < deadline:
                self._drain()
                thread.join(0.01)
        for interface in self._taken:
            with contextlib.suppress(usb.core.USBError, NotImplementedError):
                self._device.attach_kernel_driver(interface)
        with contextlib.suppress(usb.core.USBError):
            usb.util.dispose_resources(self._device)

    def _drain(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                self._queue.get_nowait()

    # ---- reading -----------------------------------------------------------------------------------------------

    def _pump(self, source: _Source, head: bytes) -> None:
        """Read one endpoint until the device is gone or the port is closed.

        `head` goes before the first report and not sooner: a device that comes and goes all night and never reports is
        then told once, as any port is that brings nothing.
        """
        faults = 0
        while not self._closing:
            try:
                data = self._device.read(source.endpoint, source.size, READ_MS).tobytes()
            except usb.core.USBTimeoutError:
                continue
            except usb.core.USBError as error:
                if self._closing:
                    return
                faults += 1
                if error.errno not in (errno.EPIPE, errno.EOVERFLOW) or faults > MOST_FAULTS:
                    self._queue.put(Gone(_reason(error)))
                    return
                self._count(source, error)
                continue
            faults = 0
            if data:
                said = record(REPORT, source.interface, data) if self._spec.kind == "hid" else data
                self._queue.put(head + said)
                head = b""

    def _count(self, source: _Source, error: usb.core.USBError) -> None:
        """A report was lost: counted as a line error is, and told in its place among the others."""
        self._faults += 1
        if error.errno == errno.EPIPE:
            with contextlib.suppress(usb.core.USBError):
                self._device.clear_halt(source.endpoint)
        self._queue.put(b"")

    def read(self, timeout_s: float) -> bytes:
        """See Port."""
        found = bytearray()
        with contextlib.suppress(queue.Empty):
            item = self._get(0.0 if self._gone is not None else timeout_s)
            while True:
                if isinstance(item, Gone):
                    self._gone = item
                else:
                    found += item
                item = self._queue.get_nowait()
        if self._gone is not None and not found:
            raise self._gone
        return bytes(found)

    def _get(self, timeout_s: float) -> bytes | Gone:
        return self._queue.get(timeout=timeout_s) if timeout_s > 0 else self._queue.get_nowait()

    def cancel(self) -> None:
        """See Port."""
        # A full queue ends a read by itself.
        with contextlib.suppress(queue.Full):
            self._queue.put_nowait(b"")

    def write(self, data: bytes) -> None:
        """See Port."""
        if self._out is None:
            raise PortStuck(
                f"{self._spec} takes no bytes: it has no endpoint for them", "use a profile that asks nothing"
            )
        try:
            sent = 0
            while sent < len(data):
                sent += self._device.write(self._out, data[sent:], round(WRITE_LIMIT_S * 1000))
        except usb.core.USBTimeoutError:
            raise PortStuck("the far end takes no bytes", "check that the instrument is on") from None
        except usb.core.USBError as error:
            raise Gone(f"{_reason(error)} on writing") from None

    def error_count(self) -> int | None:
        """See Port: reports that were lost."""
        return self._faults


_OTHER_KIND = {
    "hid": "a device that sends text is named endpoint:…, a serial adapter usb:…; `thwart ports` lists what is there",
    "endpoint": "a device that sends reports is named hid:…, a serial adapter usb:…; `thwart ports` lists what is there",
}


def _source(interface: Any, spec: UsbDevice) -> _Source | None:
    """How to read an interface, or None where it isn't of the kind."""
    if interface.bAlternateSetting or (spec.kind == "hid" and interface.bInterfaceClass != _HID):
        return None
    kinds = (_INTERRUPT,) if spec.kind == "hid" else (_BULK, _INTERRUPT)
    usable = [end for end in interface if usb.util.endpoint_type(end.bmAttributes) in kinds]
    into = [end for end in usable if end.bEndpointAddress & usb.util.ENDPOINT_IN]
    into.sort(key=lambda end: usb.util.endpoint_type(end.bmAttributes) != _BULK)
    out = [end.bEndpointAddress for end in usable if not end.bEndpointAddress & usb.util.ENDPOINT_IN]
    if not into:
        return None
    return _Source(
        interface=interface.bInterfaceNumber,
        endpoint=into[0].bEndpointAddress,
        # One packet: asked for more, a device whose reports fill a packet would be waited for. The wire puts reports
        # of several together.
        size=into[0].wMaxPacketSize & 0x7FF,
        out=out[0] if out else None,
        descriptor_size=_descriptor_size(bytes(interface.extra_descriptors)),
        boot=interface.bInterfaceSubClass == _BOOT,
        rank=2 * (interface.bInterfaceClass == _HID) + (usb.util.endpoint_type(into[0].bmAttributes) != _BULK),
    )


def _descriptor_size(extra: bytes) -> int:
    """The report descriptor's length by the HID descriptor among an interface's own (HID 1.11, 6.2.1)."""
    at = 0
    while at + 8 < len(extra) and extra[at]:
        if extra[at + 1] == _HID_DESCRIPTOR and extra[at + 6] == _REPORT_DESCRIPTOR:
            return int.from_bytes(extra[at + 7 : at + 9], "little")
        at += extra[at]
    return 4096


def _reason(error: usb.core.USBError) -> str:
    if error.errno == errno.ENODEV:
        return "unplugged"
    return f"{error.strerror or error}"


def _trouble(spec: UsbDevice, device: Found, error: usb.core.USBError) -> PortError:
    node = node_of(device)
    if error.errno in (errno.EACCES, errno.EPERM):
        return forbidden(f"{spec} ({node})", node)
    if error.errno == errno.EBUSY:
        who = ", ".join(str(holder) for holder in holders(node)) or "another program"
        return PortBusy(f"{spec} ({node}) is in use by {who}", "end that program, or give it another device")
    if error.errno in (errno.ENODEV, errno.ENOENT, errno.EIO):
        return PortAbsent(f"{spec} went while it was opened ({_reason(error)})", "plug it in again; try another cable")
    return PortError(f"{spec} can't be opened: {_reason(error)}", "pull it out and plug it in again")
