"""Troubles of adapters. Each test says whether the fault is real or faked; there is no USB bus on the machines that test."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from tests.hid_samples import KEYBOARD, scale_descriptor
from tests.unit.doctor.systems import FakeSys, as_nobody, wired
from thwart.doctor import adapters
from thwart.doctor.trouble import Code
from thwart.ports import parse_spec
from thwart.ports.simulated import PtyLine
from thwart.ports.usbtree import describe_usb, usb_entries
from thwart.profiles import find_profile


@pytest.fixture
def fake(tmp_path: Path) -> FakeSys:
    return FakeSys(tmp_path)


@pytest.fixture
def line(tmp_path: Path) -> Iterator[PtyLine]:
    made = PtyLine(tmp_path / "port")
    yield made
    made.close()


# ---- which device is meant (faked: /sys) ---------------------------------------------------------------------------


def test_what_is_plugged_in(fake: FakeSys) -> None:
    fake.plug("1-1", tty="ttyUSB0")
    fake.plug("1-2", tty="ttyACM0", serial="A2")
    fake.plug("1-3.1", pid="0002", serial="S1", kind="03", number=7)
    fake.plug("1-3.2", pid="0002", serial="twin", kind="03", number=8)
    fake.plug("1-3.3", pid="0002", serial="twin", kind="03", number=9)
    fake.plug("1-4", pid="0003", serial=None, number=10)
    fake.plug("1-5", whole="09")
    entries = usb_entries(fake.top)
    assert [(entry.socket, entry.ttys) for entry in entries][:2] == [("1-1", ("ttyUSB0",)), ("1-2", ("ttyACM0",))]
    assert [entry.socket for entry in entries][-1] == "1-4", "a hub is no instrument"
    assert [port.name for port in describe_usb(fake.top)] == [
        "hid:1209:0002:S1", "hid:1209:0002@1-3.2", "hid:1209:0002@1-3.3", "endpoint:1209:0003@1-4",
    ]  # fmt: skip
    assert describe_usb(fake.top)[0].device == "/dev/bus/usb/001/007"
    for port in describe_usb(fake.top):
        assert str(parse_spec(port.name)) == port.name


def test_an_instrument_that_is_absent(fake: FakeSys) -> None:
    fake.plug("1-1", tty="ttyUSB0")
    entries = usb_entries(fake.top)
    here, none = adapters.located("board", parse_spec("usb:1209:0001:A1"), entries)
    assert here is not None
    assert (here.device, none) == ("/dev/ttyUSB0", [])
    for port in ("usb:1209:0001:A2", "hid:1209:0001", "/dev/serial/by-id/none"):
        nowhere, (trouble,) = adapters.located("board", parse_spec(port), entries)
        assert nowhere is None
        assert (trouble.code, trouble.about) == ("absent", f"board ({port})")


def test_what_is_on_the_network_is_not_looked_for(fake: FakeSys) -> None:
    assert adapters.located("board", parse_spec("socket://127.0.0.1:4001"), []) == (None, [])


@pytest.mark.parametrize(
    ("serials", "port", "names"),
    [
        (("A1", "A2"), "usb:1209:0001", ["usb:1209:0001:A1", "usb:1209:0001:A2"]),
        ((None, None), "usb:1209:0001", ["/dev/ttyUSB0 in socket 1-1", "/dev/ttyUSB1 in socket 1-2"]),
        (("0", "0"), "usb:1209:0001:0", ["/dev/ttyUSB0 in socket 1-1", "/dev/ttyUSB1 in socket 1-2"]),
    ],
)
def test_adapters_that_are_alike(fake: FakeSys, serials: tuple[str | None, ...], port: str, names: list[str]) -> None:
    for number, serial in enumerate(serials):
        fake.plug(f"1-{number + 1}", serial=serial, tty=f"ttyUSB{number}")
    _, (trouble,) = adapters.located("board", parse_spec(port), usb_entries(fake.top))
    assert trouble.code == "identical"
    assert ", ".join(names) in trouble.fix


def test_usb_instruments_that_are_alike(fake: FakeSys) -> None:
    for number in (1, 2):
        fake.plug(f"1-{number}", serial="0", kind="03", number=number)
    _, (trouble,) = adapters.located("scale", parse_spec("hid:1209:0001:0"), usb_entries(fake.top))
    assert "hid:1209:0001@1-1, hid:1209:0001@1-2" in trouble.fix


# ---- permission and holders (real) ---------------------------------------------------------------------------------


def test_no_permission_names_the_group_to_join(line: PtyLine) -> None:
    """Real: a terminal of another user, asked for by a user without rights."""
    Path(line.device).chmod(0o660)
    assert list(adapters.permission("board", line.device)) == []
    if os.geteuid() != 0:
        Path(line.device).chmod(0o000)
    (trouble,) = as_nobody(lambda: list(adapters.permission("board", line.device)))
    group = Path(line.device).group()
    assert trouble.code == "no-permission"
    assert group in trouble.cause
    assert f"sudo usermod -aG {group}" in trouble.fix or "--write-udev" in trouble.fix


def test_a_port_that_another_program_holds(line: PtyLine) -> None:
    """Real: another process has the terminal open."""
    code = "import os, sys, time; os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY); print(flush=True); time.sleep(60)"
    child = subprocess.Popen([sys.executable, "-c", code, line.device], stdout=subprocess.PIPE)
    try:
        assert child.stdout is not None
        child.stdout.readline()
        (trouble,) = adapters.in_use("board", line.device, frozenset())
        assert trouble.code == "in-use"
        assert f"process {child.pid}" in trouble.cause
        assert trouble.fix.endswith(f"kill {child.pid}")
        assert list(adapters.in_use("board", line.device, frozenset((child.pid,)))) == [], (
            "our own service is no trouble"
        )
    finally:
        child.kill()
        child.communicate()
    assert list(adapters.in_use("board", line.device, frozenset())) == []


# ---- services that grab adapters -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("program", "fix"), [("ModemManager", "--write-udev"), ("brltty", "systemctl mask --now brltty.service")]
)
def test_a_service_that_grabs_adapters(tmp_path: Path, program: str, fix: str) -> None:
    """Real: a process of that name, seen in /proc. (It is `sleep` under that name: the service itself isn't here.)"""
    sleeper = shutil.which("sleep")
    assert sleeper is not None
    shutil.copy(sleeper, tmp_path / program)
    child = subprocess.Popen([str(tmp_path / program), "60"])
    try:
        end = time.monotonic() + 20
        while program not in adapters.running_programs() and time.monotonic() < end:
            time.sleep(0.01)
        (trouble,) = adapters.seized(adapters.running_programs, ["/dev/ttyUSB0"], adapters.spared_by_rule)
        assert (trouble.code, trouble.about) == ("seized", program)
        assert f"process {child.pid}" in trouble.cause
        assert "/dev/ttyUSB0" in trouble.cause
        assert fix in trouble.fix
        assert list(adapters.seized(adapters.running_programs, [], adapters.spared_by_rule)) == []
    finally:
        child.kill()
        child.wait()


def test_an_adapter_that_a_rule_already_spares(tmp_path: Path, line: PtyLine) -> None:
    """Faked: udev's database. Real: the device number it is looked up by."""
    number = Path(line.device).stat().st_rdev
    entry = tmp_path / f"c{os.major(number)}:{os.minor(number)}"

    def spared(device: str) -> bool:
        return adapters.spared_by_rule(device, tmp_path)

    entry.write_text("E:ID_BUS=usb\n")
    assert len(list(adapters.seized(lambda: {"ModemManager": 1}, [line.device], spared))) == 1
    entry.write_text("E:ID_BUS=usb\nE:ID_MM_PORT_IGNORE=1\n")
    assert list(adapters.seized(lambda: {"ModemManager": 1}, [line.device], spared)) == []
    assert len(list(adapters.seized(lambda: {"brltty": 1}, [line.device], spared))) == 1, (
        "that mark is the modem service's"
    )


# ---- sleep, latency, descriptor (faked: /sys) ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("control", "delay", "codes"), [("auto", "2000", ["suspends"]), ("auto", "-1000", []), ("on", "2000", [])]
)
def test_a_device_that_is_put_to_sleep(fake: FakeSys, control: str, delay: str, codes: list[str]) -> None:
    fake.plug("1-1", control=control, delay=delay)
    (entry,) = usb_entries(fake.top)
    troubles = list(adapters.suspends("board", entry))
    assert [trouble.code for trouble in troubles] == codes
    if troubles:
        assert f"echo on | sudo tee {fake.devices}/1-1/power/control" in troubles[0].fix


@pytest.mark.parametrize(("held", "codes"), [("255", ["latency"]), ("16", []), ("1", []), ("", [])])
def test_an_adapter_that_holds_bytes_back(fake: FakeSys, held: str, codes: list[str]) -> None:
    """The profile counts with 16 ms, which is what adapters do that nobody told otherwise (from memory)."""
    fake.plug("1-1", tty="ttyUSB0", latency=held)
    (entry,) = usb_entries(fake.top)
    troubles = list(adapters.latency("board", "/dev/ttyUSB0", entry, wired("board", "/dev/ttyUSB0").profile))
    assert [trouble.code for trouble in troubles] == codes
    if troubles:
        assert "for up to 255 ms" in troubles[0].cause
        assert "ttyUSB0/latency_timer" in troubles[0].fix


@pytest.mark.parametrize(
    ("profile", "descriptor", "cause"),
    [
        ("usage-page-scale", scale_descriptor(), ""),
        ("usage-page-scale", KEYBOARD, "its report descriptor lays out no weight"),
        ("usage-page-scale", scale_descriptor()[:-1], "its report descriptor is faulty: a collection never ends"),
        ("usage-page-scale", b"", ""),
        ("usage-page-keyboard", KEYBOARD, ""),
        ("usage-page-keyboard", scale_descriptor(), "its report descriptor lays out no keys"),
        ("number-unit-length", KEYBOARD, ""),
    ],
)
def test_a_descriptor_that_does_not_fit_the_profile(fake: FakeSys, profile: str, descriptor: bytes, cause: str) -> None:
    fake.plug("1-1", kind="03", descriptor=descriptor)
    (entry,) = usb_entries(fake.top)
    troubles = list(adapters.descriptor("scale", entry, find_profile(profile)))
    assert [trouble.cause for trouble in troubles] == ([cause] if cause else [])


def test_every_trouble_is_in_the_table() -> None:
    table = (Path(__file__).parents[3] / "docs/doctor.md").read_text()
    assert re.findall(r"^\| `([a-z-]+)` \|", table, re.MULTILINE) == list(get_args(Code))
