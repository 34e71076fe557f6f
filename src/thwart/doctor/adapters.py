"""Troubles of adapters and USB devices: absent, alike, forbidden, in use, seized, put to sleep, slow to hand over."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..ports.identity import BY_PATH, Holder, holders, links
from ..ports.permission import forbidden
from ..ports.spec import Device, Replay, Rfc2217, Spec, Tcp, Usb, UsbDevice
from ..ports.usbtree import UsbEntry, name_of
from ..profiles import Profile
from ..wire.hid import Descriptor, parse_descriptor
from ..wire.keyboard import PAGE as KEYBOARD_PAGE
from ..wire.scale import DataReports
from .trouble import Trouble

#: Programs that take adapters for modems or braille displays, by the name the system shows, and how to stop them.
SEIZING = {
    "ModemManager": (
        "modem",
        "let it leave the bench's adapters alone: thwart doctor BENCH --write-udev | sudo tee /etc/udev/rules.d/70-thwart.rules;"
        " or, with no modem here: sudo systemctl disable --now ModemManager",
    ),
    "brltty": (
        "braille display",
        "with no braille display here: sudo systemctl mask --now brltty.service brltty-udev.service, then plug the adapter in anew",
    ),
}


@dataclass(frozen=True, slots=True)
class Located:
    """Where an instrument's port is now: its device file and, where it is a USB device, what the system knows of it."""

    device: str
    entry: UsbEntry | None


def candidates(spec: Spec, entries: Sequence[UsbEntry]) -> list[Located]:
    """Everything that answers to a name now; for a name on the network or a file, nothing that can be looked at here."""
    if isinstance(spec, Device):
        device = os.path.realpath(spec.path)
        owner = next((entry for entry in entries if Path(device).name in entry.ttys), None)
        return [Located(device, owner)] if Path(device).exists() else []
    if isinstance(spec, Usb):
        alike = [entry for entry in entries if (entry.vid, entry.pid) == (spec.vid, spec.pid)]
        named = [entry for entry in alike if spec.serial in (None, entry.serial)]
        return [Located(f"/dev/{tty}", entry) for entry in named for tty in entry.ttys]
    if isinstance(spec, UsbDevice):
        return [
            Located(entry.node, entry)
            for entry in entries
            if (entry.vid, entry.pid) == (spec.vid, spec.pid)
            and (entry.is_hid if spec.kind == "hid" else not entry.ttys)
            and spec.serial in (None, entry.serial)
            and spec.socket in (None, entry.socket)
        ]
    return []


def located(name: str, spec: Spec, entries: Sequence[UsbEntry]) -> tuple[Located | None, list[Trouble]]:
    """The one device an instrument's port is, or why there is none."""
    if isinstance(spec, Tcp | Rfc2217 | Replay):
        return None, []
    found = candidates(spec, entries)
    if len(found) == 1:
        return found[0], []
    about = f"{name} ({spec})"
    if not found:
        fix = "plug it in and switch it on; `thwart ports` shows the names of what is there"
        return None, [Trouble("absent", about, "nothing that answers to this name is plugged in", fix)]
    names = better_names(spec, found)
    cause = f"{len(found)} devices answer to this name, and which one is meant can't be told"
    return None, [
        Trouble(
            "identical", about, cause, f"write one of these into bench.toml, and mark the socket: {', '.join(names)}"
        )
    ]


def better_names(spec: Spec, found: Sequence[Located]) -> list[str]:
    """Names that tell several devices apart."""
    serials = Counter(one.entry.serial for one in found if one.entry is not None)
    names = []
    for one in found:
        entry = one.entry
        unique = entry is not None and entry.serial is not None and serials[entry.serial] == 1
        if isinstance(spec, UsbDevice) and entry is not None:
            names.append(str(name_of(entry, alone=unique)))
        elif entry is not None and unique:
            names.append(str(Usb(entry.vid, entry.pid, entry.serial)))
        else:
            by_path = links(BY_PATH, one.device)
            names.append(by_path[0] if by_path else f"{one.device} in socket {entry.socket if entry else 'unknown'}")
    return names


def permission(about: str, device: str) -> Iterator[Trouble]:
    """Whether this user may open the device."""
    if not os.access(device, os.R_OK | os.W_OK, effective_ids=os.access in os.supports_effective_ids):
        refusal = forbidden(about, device)
        yield Trouble("no-permission", about, refusal.message, refusal.hint)


def in_use(about: str, device: str, ours: frozenset[int]) -> Iterator[Trouble]:
    """Whether a program other than the bench's own service (process ids `ours`) has the device open."""
    others: list[Holder] = [holder for holder in holders(device) if holder.pid not in ours]
    if others:
        who = ", ".join(str(holder) for holder in others)
        ends = " ".join(str(holder.pid) for holder in others)
        yield Trouble("in-use", about, f"{who} has it open", f"close that program, or end it: kill {ends}")


def seized(
    running: Callable[[], dict[str, int]], adapters: Sequence[str], spared: Callable[[str], bool]
) -> Iterator[Trouble]:
    """Services that grab adapters, where there are adapters that are not `spared` by a rule."""
    exposed = [adapter for adapter in adapters if not spared(adapter)]
    programs = running() if adapters else {}
    for program, (taken_for, fix) in SEIZING.items():
        at_risk = exposed if program == "ModemManager" else adapters
        if program in programs and at_risk:
            cause = f"{program} runs (process {programs[program]}) and may open {', '.join(at_risk)} to see whether it is a {taken_for}"
            yield Trouble("seized", program, cause, fix)


def running_programs(proc: Path = Path("/proc")) -> dict[str, int]:
    """Name → process id of what runs here."""
    found = {}
    for folder in proc.iterdir() if proc.is_dir() else ():
        if folder.name.isdecimal():
            try:
                found[(folder / "comm").read_text().strip()] = int(folder.name)
            except OSError:
                continue  # it has ended meanwhile
    return found


def spared_by_rule(device: str, run_udev: Path = Path("/run/udev/data")) -> bool:
    """Whether a udev rule already keeps modem services off a device (udev's database)."""
    try:
        number = Path(device).stat().st_rdev
        text = (run_udev / f"c{os.major(number)}:{os.minor(number)}").read_text()
    except OSError:
        return False
    return any(line in text.splitlines() for line in ("E:ID_MM_DEVICE_IGNORE=1", "E:ID_MM_PORT_IGNORE=1"))


def suspends(about: str, entry: UsbEntry) -> Iterator[Trouble]:
    """Whether the system puts the device to sleep when it is quiet (Linux: Documentation/driver-api/usb/power-management)."""
    control = entry.folder / "power/control"
    if _read(control) == "auto" and _number(entry.folder / "power/autosuspend_delay_ms", -1) >= 0:
        cause = "the system puts it to sleep when it is quiet, and the first bytes after that can be lost"
        fix = f"now: echo on | sudo tee {control}; for good: the rules of thwart doctor --write-udev"
        yield Trouble("suspends", about, cause, fix)


def latency(about: str, device: str, entry: UsbEntry, profile: Profile) -> Iterator[Trouble]:
    """Whether the adapter holds bytes back longer than the profile counts with."""
    timer = next(iter(entry.folder.parent.glob(f"{entry.socket}:*/{Path(device).name}/latency_timer")), None)
    held_ms = _number(timer, 0) if timer is not None else 0
    if timer is not None and held_ms > profile.line.latency_ms:
        cause = f"the adapter holds bytes back for up to {held_ms} ms; profile {profile.name} counts with {profile.line.latency_ms:g}"
        fix = f"now: echo 1 | sudo tee {timer}; for good: the rules of thwart doctor --write-udev"
        yield Trouble("latency", about, cause, fix)


def descriptor(about: str, entry: UsbEntry, profile: Profile) -> Iterator[Trouble]:
    """Whether a USB device's own description of its reports fits the profile. Only while the system's driver shows it."""
    if profile.framing.reports is None or profile.framing.descriptor:
        return
    parsed = [parse_descriptor(interface.descriptor) for interface in entry.interfaces if interface.descriptor]
    if not parsed or any(_fits(one, profile) for one in parsed):
        return
    wrong = "; ".join(problem for one in parsed for problem in one.problems)
    wanted = "a weight" if profile.framing.reports == "scale" else "keys"
    cause = (
        f"its report descriptor is faulty: {wrong}"
        if wrong
        else f"its report descriptor lays out no {wanted.removeprefix('a ')}"
    )
    fix = f"profile {profile.name} needs {wanted}: take another profile, or give the right descriptor in a profile of your own"
    yield Trouble("descriptor", about, cause, f"{fix} (framing.descriptor)")


def _fits(one: Descriptor, profile: Profile) -> bool:
    if profile.framing.reports == "scale":
        return DataReports(one).any
    return not one.problems and KEYBOARD_PAGE in one.pages()


def _read(path: Path) -> str:
    try:
        return path.read_text().strip()
    except OSError:
        return ""


def _number(path: Path, missing: int) -> int:
    text = _read(path)
    return int(text) if text.lstrip("-").isdecimal() else missing
