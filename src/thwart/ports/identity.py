"""Which device answers to a name now, and what is plugged in. Asked anew on each attempt to open: names move on replug.

USB identities come from pyserial's `list_ports`. The links below /dev/serial and the holders in /proc are Linux's; on
other systems those two lists are empty and nothing else changes.
"""

from __future__ import annotations

import contextlib
import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from serial.tools import list_ports

from thwart.ports.faults import PortAbsent, PortAmbiguous
from thwart.ports.spec import Device, Replay, Spec, Usb

if TYPE_CHECKING:
    from serial.tools.list_ports_common import ListPortInfo

BY_ID = Path("/dev/serial/by-id")
BY_PATH = Path("/dev/serial/by-path")
PROC = Path("/proc")


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has the device open."""

    pid: int
    program: str

    def __str__(self) -> str:
        if self.pid == os.getpid():
            return f"this program itself (process {self.pid}, {self.program})"
        return f"{self.program} (process {self.pid})"


@dataclass(frozen=True, slots=True)
class PortInfo:
    """One serial port present now. `name` is the steadiest name for it, ready to be written into a bench file."""

    name: str
    device: str
    usb: str | None
    by_id: tuple[str, ...]
    by_path: tuple[str, ...]
    holders: tuple[Holder, ...]
    description: str


def resolve(spec: Spec) -> str:
    """The device path, URL or file that `spec` means now.

    Raises PortAbsent when no adapter answers to a USB identity, PortAmbiguous when several do. Whether a path, host or
    file is really there shows on opening it.
    """
    if isinstance(spec, Replay):
        return spec.path
    if not isinstance(spec, Usb):
        return str(spec)
    alike = [port for port in list_ports.comports() if (port.vid, port.pid) == (spec.vid, spec.pid)]
    matching = [port for port in alike if spec.serial is None or port.serial_number == spec.serial]
    if len(matching) == 1:
        return str(matching[0].device)
    if matching:
        raise _ambiguous(spec, matching)
    others = sorted(str(port.serial_number) for port in alike)
    raise PortAbsent(
        f"no adapter {spec} is plugged in" + (f"; of that kind there is: {', '.join(others)}" if others else ""),
        "plug it in, or choose another with `thwart ports`",
    )


def describe_ports() -> list[PortInfo]:
    """Every serial port present, ordered by device, with the name a bench file should use."""
    ports = sorted(list_ports.comports())
    usb = {port.device: _usb_of(port) for port in ports}
    times = Counter(str(identity) for identity in usb.values() if identity)
    infos = []
    for port in ports:
        identity = usb[port.device]
        by_id, by_path = links(BY_ID, port.device), links(BY_PATH, port.device)
        unique = identity is not None and identity.serial is not None and times[str(identity)] == 1
        infos.append(
            PortInfo(
                name=str(identity) if unique else (*by_path, port.device)[0],
                device=port.device,
                usb=str(identity) if identity else None,
                by_id=by_id,
                by_path=by_path,
                holders=holders(port.device),
                description="" if port.description == "n/a" else port.description,
            )
        )
    return infos


def links(folder: Path, device: str) -> tuple[str, ...]:
    """The links in `folder` that lead to `device`; none where the folder doesn't exist."""
    target = os.path.realpath(device)
    with contextlib.suppress(OSError):
        return tuple(str(link) for link in sorted(folder.iterdir()) if os.path.realpath(link) == target)
    return ()


def holders(device: str) -> tuple[Holder, ...]:
    """The processes that have `device` open, as far as /proc lets this user see."""
    target = os.path.realpath(device)
    found = []
    with contextlib.suppress(OSError):
        for process in os.scandir(PROC):
            if process.name.isdecimal() and _has_open(f"{process.path}/fd", target):
                found.append(Holder(int(process.name), _program(Path(process.path))))
    return tuple(sorted(found, key=lambda holder: holder.pid))


def _has_open(folder: str, target: str) -> bool:
    # Another user's process can't be read, and a process may end while it is looked at: both say "not known". Without
    # pathlib, for a busy port is asked about at each attempt to open it, and that is more than twice as fast.
    with contextlib.suppress(OSError):
        for descriptor in os.scandir(folder):
            with contextlib.suppress(OSError):
                if os.readlink(descriptor.path) == target:  # noqa: PTH115
                    return True
    return False


def _program(process: Path) -> str:
    try:
        return (process / "comm").read_text().strip()
    except OSError:
        return "a program"


def _usb_of(port: ListPortInfo) -> Usb | None:
    if port.vid is None or port.pid is None:
        return None
    return Usb(port.vid, port.pid, port.serial_number or None)


def _ambiguous(spec: Usb, matching: Sequence[ListPortInfo]) -> PortAmbiguous:
    apart = [(*links(BY_PATH, port.device), port.device)[0] for port in sorted(matching)]
    serials = {port.serial_number for port in matching}
    if spec.serial is None and None not in serials and len(serials) == len(matching):
        apart = [str(Usb(spec.vid, spec.pid, port.serial_number)) for port in sorted(matching)]
    names = tuple(str(Device(name)) for name in apart)
    return PortAmbiguous(
        f"{len(names)} ports answer to {spec}; which one is meant can't be told",
        "name the one that is meant:\n    " + "\n    ".join(names),
        names,
    )
