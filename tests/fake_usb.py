"""A fake bus under the real pyusb: a `usb.backend.IBackend` whose devices tests plug, pull and make talk.

Faked is everything below pyusb: libusb, the kernel and its drivers, the devices. As Linux does it, a claim belongs to one
opening, releasing or unplugging ends the reads under way, and a packet counts as received once a read has returned it.
What pyusb should never do (read without a claim, use a closed opening) raises AssertionError.
"""

from __future__ import annotations

import errno
import itertools
import threading
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import usb.backend
import usb.core

from thwart.ports import LineSettings, Port, Spec, UsbDevice
from thwart.ports.usbport import open_usb

BULK, INTERRUPT = 2, 3
HID = 3


def _fail(number: int) -> usb.core.USBError:
    kind = usb.core.USBTimeoutError if number == errno.ETIMEDOUT else usb.core.USBError
    return kind(errno.errorcode[number], -1, number)


@dataclass
class FakeInterface:
    """One interface: a report descriptor makes it HID. `packets` are what the device has ready to be read."""

    descriptor: bytes | None = None
    boot: bool = False
    kind: int = INTERRUPT
    size: int = 8
    out: bool = False
    number: int = 0
    endpoint: int = 0x81
    driver: bool = False
    """Whether the system's own driver has it."""
    packets: deque[bytes | int] = field(default_factory=deque)
    """Bytes, or the number of an error."""
    written: bytearray = field(default_factory=bytearray)
    claimed_by: Any = None

    def __post_init__(self) -> None:
        self.bound_on_plugging = self.driver


@dataclass
class FakeDevice:
    """A device with its identity; `interfaces` get their numbers and endpoints on being plugged in."""

    vid: int = 0x1234
    pid: int = 0x5678
    serial: str | None = None
    interfaces: list[FakeInterface] = field(default_factory=lambda: [FakeInterface()])
    sockets: tuple[int, ...] | None = (1,)
    address: int = 0
    forbidden: bool = False
    configured: bool = True
    refuses_descriptor: int = 0
    protocol_set: list[int] = field(default_factory=list)
    openings: int = 0


@dataclass(eq=False)
class _Opening:
    device: FakeDevice
    closed: bool = False


class FakeBus(usb.backend.IBackend):  # type: ignore[misc]
    """The bus. One lock and condition for everything: tests are small."""

    def __init__(self, *devices: FakeDevice) -> None:
        super().__init__()
        self.changed = threading.Condition()
        self.present: list[FakeDevice] = []
        self.enumerations = 0
        self._next = 1
        self.received: list[bytes] = []
        """Every packet that a read has returned, in order."""
        for device in devices:
            self.plug(device)

    # ---- what tests do -----------------------------------------------------------------------------------------

    def plug(self, device: FakeDevice) -> None:
        with self.changed:
            device.address, self._next = self._next, self._next + 1
            for number, interface in enumerate(device.interfaces):
                interface.number, interface.endpoint = number, 0x81 + number
                interface.packets.clear()
                interface.claimed_by = None
                interface.driver = interface.bound_on_plugging
            self.present.append(device)
            self.changed.notify_all()

    def pull(self, device: FakeDevice) -> None:
        with self.changed:
            if device in self.present:
                self.present.remove(device)
            self.changed.notify_all()

    def send(self, device: FakeDevice, *packets: bytes | int, interface: int = 0) -> bool:
        """Make packets ready; False where nobody has the device open, or it is pulled: a device keeps nothing for later."""
        with self.changed:
            target = device.interfaces[interface]
            if device not in self.present or target.claimed_by is None:
                return False
            target.packets.extend(packets)
            self.changed.notify_all()
            return True

    # ---- what pyusb asks ---------------------------------------------------------------------------------------

    def enumerate_devices(self) -> Iterator[FakeDevice]:
        self.enumerations += 1
        with self.changed:
            return iter(list(self.present))

    def get_device_descriptor(self, dev: FakeDevice) -> Any:
        return SimpleNamespace(
            bLength=18, bDescriptorType=1, bcdUSB=0x200, bDeviceClass=0, bDeviceSubClass=0, bDeviceProtocol=0,
            bMaxPacketSize0=64, idVendor=dev.vid, idProduct=dev.pid, bcdDevice=0x100, iManufacturer=0, iProduct=0,
            iSerialNumber=3 if dev.serial is not None else 0, bNumConfigurations=1, address=dev.address, bus=1,
            port_number=dev.sockets[-1] if dev.sockets else None, port_numbers=dev.sockets, speed=2,
        )  # fmt: skip

    def get_configuration_descriptor(self, dev: FakeDevice, config: int) -> Any:
        if config:
            raise IndexError
        return SimpleNamespace(
            bLength=9, bDescriptorType=2, wTotalLength=0, bNumInterfaces=len(dev.interfaces), bConfigurationValue=1,
            iConfiguration=0, bmAttributes=0x80, bMaxPower=50, extra_descriptors=[],
        )  # fmt: skip

    def get_interface_descriptor(self, dev: FakeDevice, intf: int, alt: int, config: int) -> Any:
        if alt or intf >= len(dev.interfaces):
            raise IndexError
        one = dev.interfaces[intf]
        hid = one.descriptor is not None
        # HID 1.11, 6.2.1: length, type, version, country, one descriptor of type 0x22, its length.
        extra = [9, 0x21, 0x11, 1, 0, 1, 0x22, *len(one.descriptor or b"").to_bytes(2, "little")] if hid else []
        return SimpleNamespace(
            bLength=9, bDescriptorType=4, bInterfaceNumber=one.number, bAlternateSetting=0, bNumEndpoints=1 + one.out,
            bInterfaceClass=HID if hid else 0xFF, bInterfaceSubClass=int(one.boot), bInterfaceProtocol=int(one.boot),
            iInterface=0, extra_descriptors=extra,
        )  # fmt: skip

    def get_endpoint_descriptor(self, dev: FakeDevice, ep: int, intf: int, alt: int, config: int) -> Any:
        one = dev.interfaces[intf]
        if ep > one.out:
            raise IndexError
        address = one.endpoint if ep == 0 else one.endpoint & 0x7F
        return SimpleNamespace(
            bLength=7, bDescriptorType=5, bEndpointAddress=address, bmAttributes=one.kind, wMaxPacketSize=one.size,
            bInterval=10, bRefresh=0, bSynchAddress=0, extra_descriptors=[],
        )  # fmt: skip

    def open_device(self, dev: FakeDevice) -> _Opening:
        with self.changed:
            if dev not in self.present:
                raise _fail(errno.ENODEV)
            if dev.forbidden:
                raise _fail(errno.EACCES)
            dev.openings += 1
            return _Opening(dev)

    def close_device(self, dev_handle: _Opening) -> None:
        with self.changed:
            assert not dev_handle.closed, "closed twice"
            dev_handle.closed = True
            dev_handle.device.openings -= 1
            for one in dev_handle.device.interfaces:
                if one.claimed_by is dev_handle:
                    one.claimed_by = None
            self.changed.notify_all()

    def _usable(self, handle: _Opening) -> FakeDevice:
        assert not handle.closed, "used after closing"
        if handle.device not in self.present:
            raise _fail(errno.ENODEV)
        return handle.device

    def get_configuration(self, dev_handle: _Opening) -> int:
        return int(self._usable(dev_handle).configured)

    def set_configuration(self, dev_handle: _Opening, config_value: int) -> None:
        self._usable(dev_handle).configured = True

    def claim_interface(self, dev_handle: _Opening, intf: int) -> None:
        with self.changed:
            one = self._usable(dev_handle).interfaces[intf]
            if one.driver or one.claimed_by not in (None, dev_handle):
                raise _fail(errno.EBUSY)
            one.claimed_by = dev_handle

    def release_interface(self, dev_handle: _Opening, intf: int) -> None:
        with self.changed:
            self._usable(dev_handle).interfaces[intf].claimed_by = None
            self.changed.notify_all()

    def is_kernel_driver_active(self, dev_handle: _Opening, intf: int) -> bool:
        return self._usable(dev_handle).interfaces[intf].driver

    def detach_kernel_driver(self, dev_handle: _Opening, intf: int) -> None:
        self._usable(dev_handle).interfaces[intf].driver = False

    def attach_kernel_driver(self, dev_handle: _Opening, intf: int) -> None:
        one = self._usable(dev_handle).interfaces[intf]
        assert one.claimed_by is None, "given back while it is held"
        one.driver = True

    def ctrl_transfer(
        self, dev_handle: _Opening, bmRequestType: int, bRequest: int, wValue: int, wIndex: int, data: Any, timeout: int
    ) -> int:
        device = self._usable(dev_handle)
        if (bmRequestType, bRequest) == (0x21, 0x0B):
            device.protocol_set.append(wValue)
            return 0
        answer = b""
        if (bmRequestType, bRequest, wValue >> 8) == (0x81, 6, 0x22):
            assert device.interfaces[wIndex].claimed_by is dev_handle
            if device.refuses_descriptor:
                raise _fail(device.refuses_descriptor)
            answer = device.interfaces[wIndex].descriptor or b""
        elif (bmRequestType, bRequest, wValue >> 8) == (0x80, 6, 3):
            text = b"\x09\x04" if wValue & 0xFF == 0 else (device.serial or "").encode("utf-16-le")
            answer = bytes((len(text) + 2, 3)) + text
        else:
            raise _fail(errno.EPIPE)
        answer = answer[: len(data)]
        for at, byte in enumerate(answer):
            data[at] = byte
        return len(answer)

    def clear_halt(self, dev_handle: _Opening, ep: int) -> None:
        self._usable(dev_handle)

    def intr_read(self, dev_handle: _Opening, ep: int, intf: int, buff: Any, timeout: int) -> int:
        deadline = time.monotonic() + timeout / 1000
        with self.changed:
            while True:
                one = self._usable(dev_handle).interfaces[intf]
                if one.claimed_by is not dev_handle:
                    raise _fail(errno.EIO)  # released under the read
                assert one.endpoint == ep
                if one.packets:
                    packet = one.packets.popleft()
                    if isinstance(packet, int):
                        raise _fail(packet)
                    assert len(packet) <= len(buff) == one.size
                    for at, byte in enumerate(packet):
                        buff[at] = byte
                    self.received.append(packet)
                    return len(packet)
                left = deadline - time.monotonic()
                if left <= 0:
                    raise _fail(errno.ETIMEDOUT)
                self.changed.wait(left)

    bulk_read = intr_read

    def intr_write(self, dev_handle: _Opening, ep: int, intf: int, data: Any, timeout: int) -> int:
        with self.changed:
            one = self._usable(dev_handle).interfaces[intf]
            assert ep == one.endpoint & 0x7F
            # Short writes happen: no more than a packet at a time.
            taken = data.tobytes()[: one.size]
            one.written += taken
            self.changed.notify_all()
            return len(taken)

    bulk_write = intr_write

    def open(self, spec: Spec, line: LineSettings) -> Port:
        """As `open_port`, on this bus."""
        assert isinstance(spec, UsbDevice)
        return open_usb(spec, self)


#: One bus for all lines, as in a computer; each line is another product on it.
BUS = FakeBus()
_PRODUCTS = itertools.count(1)


def open_on_bus(spec: Spec, line: LineSettings) -> Port:
    """As `open_port`, on the bus that lines are plugged into."""
    return BUS.open(spec, line)


class UsbLine:
    """A text device on a bulk endpoint as a SimulatedLine, so that the suite over all kinds of port runs over it too."""

    def __init__(self) -> None:
        self.device = FakeDevice(pid=next(_PRODUCTS), interfaces=[FakeInterface(kind=BULK, size=64, out=True)])
        self.bus = BUS
        self.port = f"endpoint:1234:{self.device.pid:04X}"
        self._read = 0
        BUS.plug(self.device)

    @property
    def host_present(self) -> bool:
        with self.bus.changed:
            return self.device in self.bus.present and self.device.interfaces[0].claimed_by is not None

    def send(self, data: bytes, chunk: int | None = None, pause_s: float = 0.0) -> int:
        sent = 0
        for start in range(0, len(data), chunk or 64):
            piece = data[start : start + (chunk or 64)]
            if not self.bus.send(self.device, *(piece[at : at + 64] for at in range(0, len(piece), 64))):
                break
            sent += len(piece)
            if pause_s:
                time.sleep(pause_s)
        return sent

    def receive(self, timeout_s: float) -> bytes:
        written = self.device.interfaces[0].written
        with self.bus.changed:
            self.bus.changed.wait_for(lambda: len(written) > self._read, timeout_s)
            data = bytes(written[self._read :])
            self._read += len(data)
            return data

    def unplug(self) -> None:
        self.bus.pull(self.device)

    def replug(self) -> None:
        self.bus.plug(self.device)

    def close(self) -> None:
        self.unplug()
