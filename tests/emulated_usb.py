"""Emulated USB devices for the real libusb: Debian's umockdev gives one process a bus of its own.

A device is described twice: as Linux's sysfs would show it (umockdev's device format: what `N:` and `H:` hold must be
upper-case hexadecimal), and by the traffic to play, a capture in libpcap's format with the kernel's `usbmon` packets
(Documentation/usb/usbmon.rst; link type 220, `LINKTYPE_USB_LINUX_MMAPPED`). Of umockdev's two ways to play traffic only the
capture answers control transfers, which strings and report descriptors need. Found out by trying (umockdev 0.17.16,
libusb 1.0.26, pyusb 1.3.1):

- transfers must be asked for in the order of the capture, with exactly its lengths; a read beyond its end times out;
- who has an interface (`USBDEVFS_GETDRIVER`) isn't emulated, so taking it from the system's driver is tested on the faked
  bus only; releasing doesn't end a read under way, so closing lasts until the read's own limit;
- pulling the plug is a completion with the status that Linux gives then, -ENODEV.
"""

from __future__ import annotations

import errno
import os
import shutil
import struct
import subprocess
import sys
import warnings
from dataclasses import dataclass, field
from pathlib import Path

import pytest

CONTROL, BULK, INTERRUPT = 2, 3, 1
#: The same in an endpoint descriptor.
_ATTRIBUTES = {BULK: 2, INTERRUPT: 3}


@dataclass
class Emulated:
    """One device: its descriptors, and the traffic in the order it will be asked for."""

    interface_class: int = 3
    subclass: int = 0
    kind: int = INTERRUPT
    size: int = 8
    report_descriptor: bytes = b""
    serial: str = ""
    socket: int = 1
    out: bool = False
    _packets: list[bytes] = field(default_factory=list)
    _id: int = 0
    _at_us: int = 0

    @property
    def sysfs(self) -> str:
        return f"/sys/devices/mockusb/usb1/1-{self.socket}"

    @property
    def address(self) -> int:
        return self.socket + 1

    # ---- traffic -----------------------------------------------------------------------------------------------

    def strings(self) -> Emulated:
        """The languages and the serial number are asked for."""
        self.control_in(bytes.fromhex("8006000300 00FE00"), bytes.fromhex("04030904"))
        text = self.serial.encode("utf-16-le")
        return self.control_in(bytes.fromhex("800603030904FE00"), bytes((len(text) + 2, 3)) + text)

    def described(self) -> Emulated:
        """The report descriptor is asked for; a boot interface is told before to report as it says."""
        if self.subclass:
            self._transfer(CONTROL, 0x00, setup=bytes.fromhex("210B010000000000"))
        size = len(self.report_descriptor).to_bytes(2, "little")
        return self.control_in(bytes.fromhex("810600220000") + size, self.report_descriptor)

    def control_in(self, setup: bytes, answer: bytes) -> Emulated:
        self._transfer(CONTROL, 0x80, setup=setup, asked=int.from_bytes(setup[6:], "little"), data=answer)
        return self

    def sends(self, *packets: bytes, after_ms: int = 20) -> Emulated:
        for packet in packets:
            self._transfer(self.kind, 0x81, asked=self.size, data=packet, after_ms=after_ms)
        return self

    def fails(self, number: int) -> Emulated:
        self._transfer(self.kind, 0x81, asked=self.size, status=-number, after_ms=20)
        return self

    def pulled(self) -> Emulated:
        return self.fails(errno.ENODEV)

    def _transfer(
        self,
        kind: int,
        endpoint: int,
        setup: bytes = b"",
        asked: int = 0,
        data: bytes = b"",
        status: int = 0,
        after_ms: int = 1,
    ) -> None:
        self._id += 1
        self._packet("S", kind, endpoint, setup, b"", -errno.EINPROGRESS, asked)
        self._at_us += after_ms * 1000
        self._packet("C", kind, endpoint, b"", data, status, len(data))

    def _packet(
        self, event: str, kind: int, endpoint: int, setup: bytes, data: bytes, status: int, length: int
    ) -> None:
        self._at_us += 100
        seconds, micros = divmod(self._at_us, 1_000_000)
        no_setup, no_data = (0 if setup else ord("-")), (0 if data else ord("<") if endpoint & 0x80 else ord(">"))
        head = struct.pack(
            "<QBBBBHbbqiiII8siiII", self._id, ord(event), kind, endpoint, self.address, 1, no_setup, no_data, seconds, micros,
            status, length, len(data), setup or bytes(8), 8 if kind == INTERRUPT else 0, 0, 0, 0,
        )  # fmt: skip
        size = len(head) + len(data)
        self._packets.append(struct.pack("<IIII", seconds, micros, size, size) + head + data)

    # ---- files -------------------------------------------------------------------------------------------------

    def descriptors(self) -> bytes:
        """Device, configuration, interface, HID (HID 1.11, 6.2.1) and endpoints (USB 2.0, chapter 9.6)."""
        device = struct.pack(
            "<BBHBBBBHHHBBBB", 18, 1, 0x200, 0, 0, 0, 8, 0x1234, 0x5678, 0x100, 0, 0, 3 if self.serial else 0, 1
        )
        hid = b""
        if self.report_descriptor:
            hid = struct.pack("<BBHBBBH", 9, 0x21, 0x111, 0, 1, 0x22, len(self.report_descriptor))
        ends = [0x81, 0x01] if self.out else [0x81]
        endpoints = b"".join(struct.pack("<BBBBHB", 7, 5, end, _ATTRIBUTES[self.kind], self.size, 10) for end in ends)
        interface = struct.pack("<9B", 9, 4, 0, 0, len(ends), self.interface_class, self.subclass, self.subclass, 0)
        body = interface + hid + endpoints
        return device + struct.pack("<BBHBBBBB", 9, 2, 9 + len(body), 1, 1, 0, 0x80, 50) + body

    def write(self, folder: Path) -> list[str]:
        """The options of umockdev-run that make this device."""
        hexadecimal = self.descriptors().hex().upper()
        node = f"bus/usb/001/{self.address:03d}"
        lines = [
            f"P: /devices/mockusb/usb1/1-{self.socket}", f"N: {node}={hexadecimal}", f"E: DEVNAME=/dev/{node}", "E: DEVTYPE=usb_device",
            "E: SUBSYSTEM=usb", "E: BUSNUM=001", f"E: DEVNUM={self.address:03d}", "E: MAJOR=189", f"E: MINOR={self.socket}",
            "A: busnum=1\\n", f"A: devnum={self.address}\\n", "A: bConfigurationValue=1\\n", "A: speed=12\\n", "A: idVendor=1234\\n",
            "A: idProduct=5678\\n", *([f"A: serial={self.serial}\\n"] if self.serial else []), f"H: descriptors={hexadecimal}",
            "",
            f"P: /devices/mockusb/usb1/1-{self.socket}/1-{self.socket}:1.0", "E: DEVTYPE=usb_interface", "E: SUBSYSTEM=usb",
            f"A: bInterfaceClass={self.interface_class:02x}\\n", f"A: bInterfaceProtocol={self.subclass:02x}\\n", "",
        ]  # fmt: skip
        described, traffic = folder / f"device{self.socket}.umockdev", folder / f"device{self.socket}.pcap"
        described.write_text("\n".join(lines))
        traffic.write_bytes(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 262144, 220) + b"".join(self._packets))
        return ["-d", str(described), "-p", f"{self.sysfs}={traffic}"]


def missing() -> str:
    """Why the real libusb can't be tried here; empty where it can."""
    if shutil.which("umockdev-run") is None:
        return "umockdev-run is not installed (Debian: umockdev)"
    return ""


def run(folder: Path, devices: list[Emulated], *arguments: str, code: int = 0) -> str:
    """What a Python process prints that has these devices on its bus."""
    if why := missing():
        told = f"NOT TESTED with the real libusb: {why}"
        if os.environ.get("CI"):
            pytest.fail(told)
        warnings.warn(told, stacklevel=2)
        pytest.skip(told)
    options = [option for device in devices for option in device.write(folder)]
    done = subprocess.run(
        ["umockdev-run", *options, "--", sys.executable, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == code, f"{done.stdout}\n{done.stderr}"
    return done.stdout
