"""What the doctor's tests stand on: a faked tree of /sys, instruments, and a way to be another user for a moment."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from thwart.config import Wired
from thwart.ports import LineSettings, parse_spec
from thwart.profiles import find_profile

T = TypeVar("T")
NOBODY = 65534


class FakeSys:
    """Faked: Linux's files on USB devices, written as the kernel lays them out."""

    def __init__(self, folder: Path) -> None:
        self.top = folder / "sys"
        self.devices = self.top / "bus/usb/devices"
        self.devices.mkdir(parents=True)

    def plug(
        self, socket: str, vid: str = "1209", pid: str = "0001", serial: str | None = "A1", tty: str = "", kind: str = "ff",
        descriptor: bytes = b"", control: str = "on", delay: str = "2000", latency: str = "", number: int = 2, whole: str = "00",
    ) -> Path:  # fmt: skip
        device, interface = self.devices / socket, self.devices / f"{socket}:1.0"
        (device / "power").mkdir(parents=True)
        interface.mkdir()
        facts = {
            "idVendor": vid, "idProduct": pid, "busnum": "1", "devnum": str(number), "bDeviceClass": whole, "product": "adapter",
            "power/control": control, "power/autosuspend_delay_ms": delay,
        }  # fmt: skip
        for name, text in facts.items():
            (device / name).write_text(f"{text}\n")
        if serial is not None:
            (device / "serial").write_text(f"{serial}\n")
        (interface / "bInterfaceClass").write_text(f"{kind}\n")
        if tty:
            (interface / tty if tty.startswith("ttyUSB") else interface / "tty" / tty).mkdir(parents=True)
        if latency:
            (interface / tty / "latency_timer").write_text(f"{latency}\n")
        if descriptor:
            (interface / "0003:1209:0001.0001").mkdir()
            (interface / "0003:1209:0001.0001/report_descriptor").write_bytes(descriptor)
        return device


def wired(name: str, port: str, profile: str = "number-unit-length", line: LineSettings | None = None) -> Wired:
    return Wired(name, find_profile(profile), parse_spec(port), port, line or LineSettings(), None, ("table",))


def as_nobody(work: Callable[[], T]) -> T:
    """What `work` answers for a user without any rights. Real: a child process of that user (of ours, where we aren't root)."""
    if os.geteuid() != 0:
        return work()
    into, out = os.pipe()
    child = os.fork()
    if child == 0:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
        try:
            answer = pickle.dumps(work())
        except BaseException as error:
            answer = pickle.dumps(error)
        os.write(out, answer)
        os._exit(0)
    os.close(out)
    with os.fdopen(into, "rb") as pipe:
        told = pickle.loads(pipe.read())
    os.waitpid(child, 0)
    if isinstance(told, BaseException):
        raise told
    return told  # type: ignore[no-any-return]
