"""Which USB device answers to a name now: by vendor and product, then serial number, then the socket it is in."""

from __future__ import annotations

import errno
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import usb.core
import usb.util

from thwart.ports.faults import PortAbsent, PortAmbiguous, PortForbidden
from thwart.ports.permission import forbidden
from thwart.ports.spec import UsbDevice

if TYPE_CHECKING:
    from usb.backend import IBackend

#: A usb.core.Device; pyusb has no types.
Found = Any


def find(spec: UsbDevice, backend: IBackend) -> Found:
    """The one device that `spec` means now.

    Raises PortAbsent when none answers, PortAmbiguous with better names when several do, PortForbidden when the serial
    number is needed and can't be read.
    """
    alike: list[Found] = list(usb.core.find(find_all=True, backend=backend, idVendor=spec.vid, idProduct=spec.pid))
    here = [device for device in alike if spec.socket is None or socket_of(device) == spec.socket]
    matching = here if spec.serial is None else [device for device in here if serial_of(device, spec) == spec.serial]
    if len(matching) == 1:
        return matching[0]
    if matching:
        raise _ambiguous(spec, matching)
    others = sorted(str(_named(spec, device, alike)) for device in alike)
    raise PortAbsent(
        f"no device {spec} is plugged in" + (f"; of that kind there is: {', '.join(others)}" if others else ""),
        "plug it in and switch it on; `thwart ports` lists what is there",
    )


def socket_of(device: Found) -> str | None:
    """Where it is plugged in, as Linux writes it (`1-2.4`); None where the system doesn't say."""
    return f"{device.bus}-{'.'.join(map(str, device.port_numbers))}" if device.port_numbers else None


def node_of(device: Found) -> str:
    """Linux's file for the device."""
    return f"/dev/bus/usb/{device.bus:03d}/{device.address:03d}"


def serial_of(device: Found, spec: UsbDevice) -> str | None:
    """Its serial number; None where it has none or doesn't give it. Raises PortForbidden."""
    if not device.iSerialNumber:
        return None
    try:
        # Not pyusb's own attribute: that one takes a refusal for a device without languages.
        languages = usb.util.get_langids(device)
        return str(usb.util.get_string(device, device.iSerialNumber, languages[0])) if languages else None
    except usb.core.USBError as error:
        if error.errno in (errno.EACCES, errno.EPERM):
            raise forbidden(str(spec), node_of(device)) from None
        return None
    except (UnicodeError, NotImplementedError):
        return None
    finally:
        usb.util.dispose_resources(device)


def _named(spec: UsbDevice, device: Found, alike: Sequence[Found]) -> UsbDevice:
    """The best name for one of several devices: its serial number where that is its alone, else its socket."""
    try:
        serials = [serial_of(other, spec) for other in alike]
    except PortForbidden:
        serials = []
    serial = serials[alike.index(device)] if serials else None
    if serial is not None and serials.count(serial) == 1:
        return UsbDevice(spec.kind, spec.vid, spec.pid, serial)
    return UsbDevice(spec.kind, spec.vid, spec.pid, socket=socket_of(device))


def _ambiguous(spec: UsbDevice, matching: Sequence[Found]) -> PortAmbiguous:
    names = tuple(sorted(str(_named(spec, device, matching)) for device in matching))
    apart = len(set(names)) == len(names)
    return PortAmbiguous(
        f"{len(names)} devices answer to {spec}; which one is meant can't be told",
        "name the one that is meant:\n    " + "\n    ".join(names)
        if apart
        else "this system doesn't tell their sockets either: leave only one plugged in",
        names,
    )
