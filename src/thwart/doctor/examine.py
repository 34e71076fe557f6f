"""The whole examination, in the order in which troubles hide each other: a port that is forbidden can't be listened to."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..config import BENCH_FILE, Configured, Wired, read_bench
from ..errors import ConfigError, ThwartError
from ..ports import PortInfo, describe_ports, open_port
from ..ports.usbtree import SYS, UsbEntry, describe_usb, usb_entries
from ..service.control import Client
from ..service.folder import LEDGER, read_door
from . import adapters, computer, hearing
from .hearing import Opener, Tell
from .trouble import Trouble


@dataclass(frozen=True, slots=True)
class Report:
    """What is plugged in, what is wrong, and what was looked at without finding anything."""

    ports: list[PortInfo]
    troubles: list[Trouble]
    looked_at: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Running:
    """The bench's own service, where one runs: its process, and the picture of each instrument."""

    pid: int | None = None
    instruments: tuple[dict[str, Any], ...] = ()


def examine(
    folder: Path | None, listen_s: float = 0.0, sys: Path = SYS, opener: Opener = open_port, tell: Tell = lambda _: None
) -> Report:
    """Look at the computer, at what is plugged in and, with a bench folder, at its instruments, listening for `listen_s`.

    `tell` is told what is listened to now.
    """
    entries = usb_entries(sys)
    ports = [*describe_ports(), *describe_usb(sys)]
    troubles: list[Trouble] = list(computer.clock(time.time_ns(), None if folder is None else folder / LEDGER))
    looked_at = ["clock"]
    bench: Configured | None = None
    if folder is not None:
        looked_at += ["folder", "disk"]
        troubles += [
            *computer.writable(folder),
            *computer.disk(folder, computer.LEAST_BYTES),
            *computer.network_disk(folder),
        ]
        try:
            bench = read_bench(folder)
            looked_at.append(BENCH_FILE)
        except ConfigError as error:
            troubles += [
                Trouble("bench-file", str(folder), problem, "mend the line named") for problem in error.problems
            ]
    instruments = bench.instruments if bench is not None else ()
    running = _running(folder)
    troubles += computer.libusb([wired.spec for wired in instruments])
    devices: list[str] = []
    for wired in instruments:
        looked_at.append(wired.name)
        device, found = _instrument(wired, entries, running, listen_s, opener, tell)
        troubles += found
        devices += [device] if device is not None else []
    if bench is None:
        troubles += _unassigned(ports)
        devices = [port.device for port in ports if "/bus/usb/" not in port.device]
    troubles += adapters.seized(adapters.running_programs, devices, adapters.spared_by_rule)
    return Report(ports, troubles, looked_at)


def _running(folder: Path | None) -> Running:
    if folder is None:
        return Running()
    try:
        door = read_door(folder)
        client = Client(folder)
    except ThwartError:
        return Running()
    try:
        return Running(door.pid, tuple(client.ask(do="status")["status"]["instruments"]))
    except ThwartError:
        return Running(door.pid)
    finally:
        client.close()


def _instrument(
    wired: Wired, entries: Sequence[UsbEntry], running: Running, listen_s: float, opener: Opener, tell: Tell
) -> tuple[str | None, list[Trouble]]:
    """The serial device of an instrument, where it is one, and its troubles."""
    about = f"{wired.name} ({wired.port})"
    here, troubles = adapters.located(wired.name, wired.spec, entries)
    if here is not None:
        blocked = [*adapters.permission(about, here.device)]
        ours = frozenset() if running.pid is None else frozenset((running.pid,))
        blocked += adapters.in_use(about, here.device, ours)
        troubles += blocked
        if here.entry is not None:
            troubles += adapters.suspends(about, here.entry)
            troubles += adapters.latency(about, here.device, here.entry, wired.profile)
            troubles += adapters.descriptor(about, here.entry, wired.profile)
        if blocked:
            return _serial(here), troubles
    elif troubles:
        return None, troubles
    told = next((one for one in running.instruments if one["instrument"] == wired.name), None)
    if told is not None:
        troubles += hearing.reported(told)
    elif listen_s and running.pid is None:
        troubles += hearing.listened(wired, listen_s, opener, tell)
    return (None if here is None else _serial(here)), troubles


def _serial(here: adapters.Located) -> str | None:
    return None if "/bus/usb/" in here.device else here.device


def _unassigned(ports: Sequence[PortInfo]) -> Iterator[Trouble]:
    """Without a bench: the serial ports there are. Whose USB devices the others are, and for what, isn't known."""
    for port in ports:
        if "/bus/usb/" not in port.device:
            yield from adapters.permission(port.name, port.device)
            yield from adapters.in_use(port.name, port.device, frozenset())
    alike: dict[str, list[PortInfo]] = {}
    for port in ports:
        if port.usb is not None and "/bus/usb/" not in port.device:
            alike.setdefault(port.usb, []).append(port)
    for identity, several in alike.items():
        if len(several) > 1:
            names = ", ".join(port.name for port in several)
            cause = f"{len(several)} adapters are alike: this identity can't tell which one is meant"
            yield Trouble("identical", identity, cause, f"name them by their socket, and mark it: {names}")
