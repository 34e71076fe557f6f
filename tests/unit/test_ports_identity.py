"""Identity, with a faked list of adapters: this machine has none to plug in. The links and /proc are real files."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from thwart.errors import PortError
from thwart.ports import (
    LineSettings,
    PortAbsent,
    PortAmbiguous,
    PortBusy,
    PortForbidden,
    describe_ports,
    open_port,
    parse_spec,
    resolve,
)
from thwart.ports import identity as identity_module
from thwart.ports.simulated import PtyLine


class FakeAdapters:
    """Faked: what pyserial's list_ports finds."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.present: list[ListPortInfo] = []
        self.by_path = folder / "by-path"
        self.by_path.mkdir()

    def plug(self, name: str, vid: int | None, pid: int | None, serial: str | None, socket: str = "") -> str:
        device = self.folder / name
        device.touch()
        info = ListPortInfo(str(device))
        info.vid, info.pid, info.serial_number = vid, pid, serial
        self.present.append(info)
        if socket:
            (self.by_path / socket).symlink_to(device)
        return str(device)


@pytest.fixture
def adapters(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> FakeAdapters:
    fake = FakeAdapters(tmp_path)
    monkeypatch.setattr(list_ports, "comports", lambda: list(fake.present))
    monkeypatch.setattr(identity_module, "BY_PATH", fake.by_path)
    monkeypatch.setattr(identity_module, "BY_ID", tmp_path / "nothing here")
    return fake


def test_an_adapter_is_found_by_its_serial_number_under_any_name(adapters: FakeAdapters) -> None:
    adapters.plug("ttyUSB0", 0x1209, 0x0001, "A1")
    second = adapters.plug("ttyUSB1", 0x1209, 0x0001, "A2")
    assert resolve(parse_spec("usb:1209:0001:A2")) == second
    adapters.present.pop()
    with pytest.raises(PortAbsent, match=r"usb:1209:0001:A2 is plugged in; of that kind there is: A1"):
        resolve(parse_spec("usb:1209:0001:A2"))
    back = adapters.plug("ttyUSB7", 0x1209, 0x0001, "A2")
    assert resolve(parse_spec("usb:1209:0001:A2")) == back


def test_without_serial_number_one_adapter_is_enough_and_two_are_too_many(adapters: FakeAdapters) -> None:
    only = adapters.plug("ttyUSB0", 0x1209, 0x0001, "A1")
    assert resolve(parse_spec("usb:1209:0001")) == only
    adapters.plug("ttyUSB1", 0x1209, 0x0001, "A2")
    with pytest.raises(PortAmbiguous, match="2 ports answer") as caught:
        resolve(parse_spec("usb:1209:0001"))
    assert caught.value.candidates == ("usb:1209:0001:A1", "usb:1209:0001:A2")
    assert "usb:1209:0001:A2" in caught.value.hint


def test_twins_are_told_apart_by_their_socket(adapters: FakeAdapters) -> None:
    """Cheap adapters have no serial number, or all the same one."""
    for serial in (None, "0001"):
        adapters.present.clear()
        for name in ("left", "right"):
            adapters.plug(f"tty{name}{serial}", 0x1209, 0x0002, serial, socket=f"pci-usb-{name}{serial}")
        with pytest.raises(PortAmbiguous) as caught:
            resolve(parse_spec("usb:1209:0002" + (f":{serial}" if serial else "")))
        wanted = tuple(str(adapters.by_path / f"pci-usb-{name}{serial}") for name in ("left", "right"))
        assert caught.value.candidates == wanted
        assert all(open_name in caught.value.hint for open_name in wanted)


def test_nothing_plugged_in_is_absent(adapters: FakeAdapters) -> None:
    with pytest.raises(PortAbsent) as caught:
        open_port(parse_spec("usb:1209:0001:A1"), LineSettings())
    assert caught.value.message == "no adapter usb:1209:0001:A1 is plugged in"


def test_each_port_is_listed_with_its_steadiest_name(adapters: FakeAdapters) -> None:
    adapters.plug("ttyUSB2", 0x1209, 0x0002, None, socket="pci-usb-2")
    adapters.plug("ttyUSB1", 0x1209, 0x0001, "A1", socket="pci-usb-1")
    built_in = adapters.plug("ttyS0", None, None, None)
    twins = [adapters.plug(f"ttyACM{n}", 0x1209, 0x0003, "X", socket=f"pci-usb-acm{n}") for n in (0, 1)]
    infos = {info.device: info for info in describe_ports()}
    names = [info.name for info in describe_ports()]
    paths = adapters.by_path
    assert names == [
        str(paths / "pci-usb-acm0"),
        str(paths / "pci-usb-acm1"),
        built_in,
        "usb:1209:0001:A1",
        str(paths / "pci-usb-2"),
    ]
    assert infos[twins[0]].usb == "usb:1209:0003:X"
    assert infos[built_in].usb is None
    assert all(resolve(parse_spec(name)) for name in names)


def test_the_list_tells_who_holds_a_port(adapters: FakeAdapters) -> None:
    device = adapters.plug("ttyUSB0", 0x1209, 0x0001, "A1")
    assert describe_ports()[0].holders == ()
    with Path(device).open():
        (holder,) = describe_ports()[0].holders
    assert holder.pid == os.getpid()


def test_another_programs_port_is_busy_and_it_is_named(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "instrument")
    take = "import sys, serial; p = serial.Serial(sys.argv[1], exclusive=True); print('open', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", take, line.port], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        with pytest.raises(PortBusy, match=rf"{line.port} is in use by python.* \(process {other.pid}\)"):
            open_port(parse_spec(line.port), LineSettings())
        other.communicate()
    line.close()


ATTEMPT = """
import os, pwd, sys
from thwart.ports import LineSettings, open_port, parse_spec
nobody = pwd.getpwnam("nobody")
os.setgroups([])
os.setgid(nobody.pw_gid)
os.setuid(nobody.pw_uid)
try:
    open_port(parse_spec(sys.argv[1]), LineSettings())
except Exception as error:
    print(type(error).__name__)
    print(error)
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a terminal to another group")
@pytest.mark.parametrize(
    ("group", "mode", "told"),
    [(20, 0o660, "sudo usermod -aG {group} nobody"), (0, 0o600, "udev rule")],
    ids=["group may", "group may not"],
)
def test_no_permission_names_the_group_and_what_to_do(tmp_path: Path, group: int, mode: int, told: str) -> None:
    import grp

    line = PtyLine()
    os.chown(line.device, 0, group)
    Path(line.device).chmod(mode)
    # The child gives up its rights only after the imports: the interpreter may lie where nobody may read.
    done = subprocess.run([sys.executable, "-c", ATTEMPT, line.device], capture_output=True, text=True, check=False)
    device = line.device
    line.close()
    kind, message = done.stdout.split("\n", 1)
    name = grp.getgrgid(group).gr_name
    assert kind == PortForbidden.__name__
    assert device in message
    assert name in message
    assert told.format(group=name) in message


def test_a_file_that_is_no_port_says_so(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("no port")
    with pytest.raises(PortError, match="no serial port"):
        open_port(parse_spec(str(file)), LineSettings())
    with pytest.raises(PortAbsent):
        open_port(parse_spec(str(file / "below")), LineSettings())


def test_settings_an_adapter_refuses_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A pseudo-terminal, taken for an adapter here, refuses seven bits with an error pyserial doesn't wrap, unless the
    speed is changed in the same call."""
    monkeypatch.setattr("thwart.ports.serialport._PSEUDO_TERMINALS", "/none of them/")
    line = PtyLine(tmp_path / "instrument")
    open_port(parse_spec(line.port), LineSettings(4800)).close()
    with pytest.raises(PortError, match="can't be opened with 4800 7E1"):
        open_port(parse_spec(line.port), LineSettings(4800, 7, "even"))
    line.close()


def test_a_speed_the_system_refuses_is_told_with_the_settings(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "instrument")
    with pytest.raises(PortError, match="can't be opened with -1 8N1"):
        open_port(parse_spec(line.port), LineSettings(baud=-1))
    line.close()
