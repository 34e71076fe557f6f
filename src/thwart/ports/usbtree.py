"""What Linux knows of the USB devices that are plugged in, from its files below /sys: nothing is opened for it.

On other systems, and where no bus is, the list is empty.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from thwart.ports.identity import PortInfo, holders
from thwart.ports.spec import UsbDevice

SYS = Path("/sys")
HID, HUB = 0x03, 0x09


@dataclass(frozen=True, slots=True)
class UsbInterface:
    """One interface of a device: its class, its serial ports and the report descriptor, as far as drivers show them."""

    kind: int
    ttys: tuple[str, ...]
    descriptor: bytes


@dataclass(frozen=True, slots=True)
class UsbEntry:
    """One device. `socket` is where it is plugged in (`1-2.4`), `folder` its folder below /sys, `node` its file in /dev."""

    socket: str
    folder: Path
    vid: int
    pid: int
    serial: str | None
    title: str
    node: str
    interfaces: tuple[UsbInterface, ...]

    @property
    def ttys(self) -> tuple[str, ...]:
        """The names of its serial ports: `ttyUSB0`."""
        return tuple(tty for interface in self.interfaces for tty in interface.ttys)

    @property
    def is_hid(self) -> bool:
        """Whether it sends reports."""
        return any(interface.kind == HID for interface in self.interfaces)

    @property
    def identity(self) -> tuple[int, int, str | None]:
        """Vendor, product, serial number."""
        return self.vid, self.pid, self.serial


def usb_entries(sys: Path = SYS) -> list[UsbEntry]:
    """Every device present but hubs, by socket. `sys` is the top of the tree that is read."""
    folder = sys / "bus/usb/devices"
    names = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    found = (_entry(folder, name, names) for name in names if "-" in name and ":" not in name)
    return [entry for entry in found if entry is not None]


def describe_usb(sys: Path = SYS) -> list[PortInfo]:
    """The devices that `hid:` or `endpoint:` can name, with the name a bench file should use."""
    entries = [entry for entry in usb_entries(sys) if not entry.ttys]
    times = Counter(entry.identity for entry in entries)
    return [
        PortInfo(
            name=str(name_of(entry, alone=times[entry.identity] == 1)),
            device=entry.node,
            usb=f"{entry.vid:04X}:{entry.pid:04X}",
            by_id=(),
            by_path=(),
            holders=holders(entry.node),
            description=entry.title,
        )
        for entry in entries
    ]


def name_of(entry: UsbEntry, *, alone: bool) -> UsbDevice:
    """By its serial number where it has one that is its `alone`, else by its socket."""
    kind: Literal["hid", "endpoint"] = "hid" if entry.is_hid else "endpoint"
    by_serial = entry.serial is not None and alone
    return UsbDevice(
        kind, entry.vid, entry.pid, entry.serial if by_serial else None, None if by_serial else entry.socket
    )


def _entry(folder: Path, name: str, names: list[str]) -> UsbEntry | None:
    try:
        # The device may be pulled out between two of these; then it isn't there.
        vid, pid = int(_read(folder / name / "idVendor"), 16), int(_read(folder / name / "idProduct"), 16)
        bus, number = int(_read(folder / name / "busnum")), int(_read(folder / name / "devnum"))
    except ValueError:
        return None
    if _read(folder / name / "bDeviceClass") == f"{HUB:02x}":
        return None
    words = [_read(folder / name / word) for word in ("manufacturer", "product")]
    return UsbEntry(
        socket=name,
        folder=folder / name,
        vid=vid,
        pid=pid,
        serial=_read(folder / name / "serial") or None,
        title=" ".join(word for word in words if word),
        node=f"/dev/bus/usb/{bus:03d}/{number:03d}",
        interfaces=tuple(_interface(folder / other) for other in names if other.startswith(f"{name}:")),
    )


def _interface(folder: Path) -> UsbInterface:
    ttys: set[str] = set()
    for path in folder.glob("tty*"):
        # An adapter's driver makes a folder with the port's name, a modem's one called `tty` that holds it.
        ttys |= {inner.name for inner in path.iterdir()} if path.name == "tty" else {path.name}
    kind = _read(folder / "bInterfaceClass")
    return UsbInterface(int(kind, 16) if kind else 0, tuple(sorted(ttys)), _descriptor(folder))


def _descriptor(folder: Path) -> bytes:
    for path in sorted(folder.glob("*/report_descriptor")):
        try:
            return path.read_bytes()
        except OSError:
            return b""
    return b""


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""
