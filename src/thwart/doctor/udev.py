"""Narrow udev rules for the instruments of a bench: permission, no modem service, no sleep, no held-back bytes.

A rule names vendor, product and either the serial number or the socket, never vendor and product alone: those are shared
by all adapters of a kind, other people's too. After udev(7); the marks for the modem service after its own documentation
(from memory).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..config import Wired
from ..ports.spec import Replay, Rfc2217, Spec, Tcp, Usb, UsbDevice
from ..ports.usbtree import UsbEntry
from .adapters import candidates

#: Groups that own serial devices, by distribution; the first that exists is taken.
GROUPS = ("dialout", "uucp")
_HEAD = """\
# For the instruments of bench {bench}; made by `thwart doctor --write-udev`.
# Write it to /etc/udev/rules.d/70-thwart.rules, then: sudo udevadm control --reload && sudo udevadm trigger
"""


def serial_group() -> str:
    """The group that owns serial devices on this system."""
    try:
        import grp

        there = {group.gr_name for group in grp.getgrall()}
    except ImportError:
        there = set()
    return next((group for group in GROUPS if group in there), GROUPS[0])


def rules(bench: str, instruments: Sequence[Wired], entries: Sequence[UsbEntry], group: str) -> str:
    """The text of a rules file. An instrument that can't be told from others alike gets a remark and no rule."""
    out = [_HEAD.format(bench=_plain(bench))]
    for wired in instruments:
        if not isinstance(wired.spec, Tcp | Rfc2217 | Replay):
            out += ["", f"# {wired.name}: {_plain(wired.port)}", *_rule(wired.spec, entries, group)]
    return "\n".join(out) + "\n"


def _rule(spec: Spec, entries: Sequence[UsbEntry], group: str) -> list[str]:
    found = candidates(spec, entries)
    entry = found[0].entry if len(found) == 1 else None
    vid, pid, serial, socket = _identity(spec, entry)
    if vid is None:
        why = "no USB device" if found else "not plugged in"
        return [f"# no rule: {why}, so nothing is known to tell it from others by; plug it in and try again"]
    alike = [one for one in entries if (one.vid, one.pid, one.serial) == (vid, pid, serial)]
    pattern = _pattern(serial) if serial is not None and len(alike) <= 1 else None
    if pattern is not None:
        apart = f'ATTR{{serial}}=="{pattern}"'
    elif socket is not None:
        apart = f'KERNEL=="{socket}"'
    else:
        return [
            "# no rule: with vendor and product alone it would seize every device of this kind; plug it in alone and try",
            "# again, or name it by its serial number or its socket (@BUS-PORT)",
        ]
    kind = f'ATTR{{idVendor}}=="{vid:04x}", ATTR{{idProduct}}=="{pid:04x}", {apart}'
    parent = kind.replace("ATTR{", "ATTRS{").replace("KERNEL==", "KERNELS==")
    device = (
        f'SUBSYSTEM=="usb", ENV{{DEVTYPE}}=="usb_device", {kind}, ENV{{ID_MM_DEVICE_IGNORE}}="1", TEST=="power/control", '
        'ATTR{power/control}="on"'
    )
    if isinstance(spec, UsbDevice):
        return [f'{device}, GROUP="{group}", MODE="0660"']
    return [
        device,
        f'SUBSYSTEM=="tty", {parent}, GROUP="{group}", MODE="0660", ENV{{ID_MM_PORT_IGNORE}}="1"',
        f'SUBSYSTEM=="usb-serial", {parent}, TEST=="latency_timer", ATTR{{latency_timer}}="1"',
    ]


def _identity(spec: Spec, entry: UsbEntry | None) -> tuple[int | None, int, str | None, str | None]:
    """Vendor, product, serial number and socket: what the device that is there says, else what its name says."""
    if entry is not None:
        return entry.vid, entry.pid, entry.serial, entry.socket
    if isinstance(spec, Usb):
        return spec.vid, spec.pid, spec.serial, None
    if isinstance(spec, UsbDevice):
        return spec.vid, spec.pid, spec.serial, spec.socket
    return None, 0, None, None


def _pattern(serial: str) -> str | None:
    """The serial number as udev must write it to mean itself alone; None where it can't be written."""
    if not serial.isprintable() or re.search(r'["\\|]', serial):
        return None
    return re.sub(r"[*?\[]", lambda match: f"[{match[0]}]", serial)


def _plain(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)
