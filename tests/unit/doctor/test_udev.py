"""Udev rules: narrow or none. Faked: what is plugged in; that udev acts on a rule can't be tried here."""

from __future__ import annotations

import fnmatch
import grp
import re
from pathlib import Path

import pytest

from tests.unit.doctor.systems import FakeSys, wired
from thwart.doctor import rules
from thwart.doctor.udev import GROUPS, serial_group
from thwart.ports.usbtree import usb_entries


@pytest.fixture
def fake(tmp_path: Path) -> FakeSys:
    return FakeSys(tmp_path)


def lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if line and not line.startswith("#")]


def made(fake: FakeSys, port: str, profile: str = "number-unit-length") -> str:
    return rules("lake", [wired("it", port, profile)], usb_entries(fake.top), "dialout")


def test_a_serial_adapter_by_its_serial_number(fake: FakeSys) -> None:
    fake.plug("1-1", tty="ttyUSB0")
    fake.plug("1-2", tty="ttyUSB1", serial="other people's")
    device, tty, timer = lines(made(fake, "usb:1209:0001:A1"))
    who = 'ATTRS{idVendor}=="1209", ATTRS{idProduct}=="0001", ATTRS{serial}=="A1"'
    assert tty == f'SUBSYSTEM=="tty", {who}, GROUP="dialout", MODE="0660", ENV{{ID_MM_PORT_IGNORE}}="1"'
    assert device.startswith(
        f'SUBSYSTEM=="usb", ENV{{DEVTYPE}}=="usb_device", {who.replace("ATTRS", "ATTR")}, ENV{{ID_MM_DEVICE_IGNORE}}="1"'
    )
    assert 'ATTR{power/control}="on"' in device
    assert timer.startswith(f'SUBSYSTEM=="usb-serial", {who}, ')
    assert timer.endswith('ATTR{latency_timer}="1"')


def test_a_usb_instrument(fake: FakeSys) -> None:
    (line,) = lines(made(fake, "hid:1209:0002:S1", "usage-page-scale"))
    assert line.endswith('GROUP="dialout", MODE="0660"')
    assert 'ATTR{serial}=="S1"' in line
    (line,) = lines(made(fake, "hid:1209:0002@1-2.4", "usage-page-scale"))
    assert 'KERNEL=="1-2.4"' in line


@pytest.mark.parametrize("serial", [None, "twin"])
def test_without_a_serial_number_of_its_own_the_socket_is_named(fake: FakeSys, serial: str | None) -> None:
    fake.plug("1-1", tty="ttyUSB0", serial=serial)
    fake.plug("1-2", tty="ttyUSB1", serial=serial)
    text = made(fake, "/dev/ttyUSB1")
    assert lines(text) == [] and "not plugged in" in text, "there is no such file here"
    alone = FakeSys(fake.top / "alone")
    alone.plug("1-2", tty="ttyUSB1", serial=None)
    assert all('=="1-2"' in line for line in lines(made(alone, "usb:1209:0001")))


@pytest.mark.parametrize("port", ["usb:1209:0001", "hid:1209:0001"])
def test_never_by_vendor_and_product_alone(fake: FakeSys, port: str) -> None:
    profile = "usage-page-scale" if port.startswith("hid") else "number-unit-length"
    assert "it would seize every device of this kind" in made(fake, port, profile)
    assert lines(made(fake, port, profile)) == []
    fake.plug("1-1", tty="ttyUSB0", serial=None)
    fake.plug("1-2", tty="ttyUSB1", serial=None)
    assert lines(made(fake, port, profile)) == [], "two that are alike: neither is seized"


@pytest.mark.parametrize("serial", ["A*", "A?1", "[A]", "*", "A-1.b:c d"])
def test_a_serial_number_with_wildcards_means_itself_alone(fake: FakeSys, serial: str) -> None:
    text = made(fake, f"usb:1209:0001:{serial}")
    (pattern,) = {match for line in lines(text) for match in re.findall(r'ATTRS?\{serial\}=="([^"]*)"', line)}
    assert fnmatch.fnmatchcase(serial, pattern)
    assert not any(fnmatch.fnmatchcase(other, pattern) for other in ("A1", "AX1", "A", "B", ""))


@pytest.mark.parametrize("serial", ['A"1', "A|B", "A\\1"])
def test_a_serial_number_that_can_not_be_written_makes_no_rule(fake: FakeSys, serial: str) -> None:
    assert lines(made(fake, f"usb:1209:0001:{serial}")) == []
    fake.plug("1-7", tty="ttyUSB0", serial=serial)
    assert all('=="1-7"' in line for line in lines(made(fake, f"usb:1209:0001:{serial}"))), "then by its socket"


def test_a_network_port_and_a_name_that_is_no_usb_device_get_no_rule(fake: FakeSys, tmp_path: Path) -> None:
    (tmp_path / "port").touch()
    assert lines(made(fake, "socket://127.0.0.1:4001")) == []
    assert "no USB device" in made(fake, str(tmp_path / "port"))


def test_the_group_is_this_systems() -> None:
    there = {group.gr_name for group in grp.getgrall()}
    assert serial_group() == next((group for group in GROUPS if group in there), "dialout")
