"""USB devices as ports. Path: the real pyusb over a faked bus (tests/fake_usb.py); no libusb, no kernel, no device."""

from __future__ import annotations

import errno
import os
import random
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.conformance.rigs import Recorder, read_all, wait_for
from tests.fake_usb import FakeBus, FakeDevice, FakeInterface
from tests.hid_samples import KEYBOARD, scale_descriptor, stream, typed
from thwart.errors import ConfigError, PortError
from thwart.ports import (
    Gone,
    LineSettings,
    Port,
    PortAbsent,
    PortAmbiguous,
    PortBusy,
    PortForbidden,
    PortStuck,
    Supervisor,
    UsbDevice,
    open_port,
    parse_spec,
    usbport,
)

LINE = LineSettings()
#: What comes first from a scale: the record of its descriptor.
HEAD = len(stream(descriptor=scale_descriptor()))


def scale(serial: str | None = None, sockets: tuple[int, ...] | None = (1,), **more: object) -> FakeDevice:
    interface = FakeInterface(descriptor=scale_descriptor(), driver=True)
    return FakeDevice(serial=serial, sockets=sockets, interfaces=[interface], **more)  # type: ignore[arg-type]


def opened(bus: FakeBus, name: str) -> Port:
    return bus.open(parse_spec(name), LINE)


# ---- names ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "spec"),
    [
        ("hid:1234:5678", UsbDevice("hid", 0x1234, 0x5678)),
        ("hid:1234:5678:A1", UsbDevice("hid", 0x1234, 0x5678, "A1")),
        ("hid:1234:5678@1-2.4", UsbDevice("hid", 0x1234, 0x5678, None, "1-2.4")),
        ("endpoint:1234:5678:A:1@b@2-1", UsbDevice("endpoint", 0x1234, 0x5678, "A:1@b", "2-1")),
        ("hid:1234:5678:you@home", UsbDevice("hid", 0x1234, 0x5678, "you@home")),
    ],
)
def test_names(text: str, spec: UsbDevice) -> None:
    assert parse_spec(text) == spec
    assert str(spec) == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hid:", "vendor number must be four hexadecimal digits"),
        ("hid:1234", "product number must be four hexadecimal digits"),
        ("hid:1234:5678:", "the serial number after the last colon is empty"),
        ("hid:1234:5678@", "after the @ stands the socket"),
        ("hid:1234:5678@1-", "after the @ stands the socket"),
        ("endpoint:1234:5678@3", "after the @ stands the socket"),
    ],
)
def test_names_that_are_none(text: str, said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        parse_spec(text)


def test_a_device_is_found_by_its_serial_number_in_any_socket() -> None:
    first, second = scale("A1"), scale("A2", sockets=(2, 4))
    bus = FakeBus(first, second)
    opened(bus, "hid:1234:5678:A2").close()
    assert (first.interfaces[0].driver, second.interfaces[0].driver) == (True, True)
    bus.pull(second)
    with pytest.raises(
        PortAbsent, match="no device hid:1234:5678:A2 is plugged in; of that kind there is: hid:1234:5678:A1"
    ):
        opened(bus, "hid:1234:5678:A2")
    second.sockets = (3,)
    bus.plug(second)
    opened(bus, "hid:1234:5678:A2").close()
    assert (first.openings, second.openings) == (0, 0)


def test_without_serial_number_one_is_enough_and_two_are_too_many() -> None:
    bus = FakeBus(scale("A1"))
    opened(bus, "hid:1234:5678").close()
    bus.plug(scale("A2", sockets=(2,)))
    with pytest.raises(PortAmbiguous, match="2 devices answer") as caught:
        opened(bus, "hid:1234:5678")
    assert caught.value.candidates == ("hid:1234:5678:A1", "hid:1234:5678:A2")


@pytest.mark.parametrize("serial", [None, "000000"])
def test_twins_are_told_apart_by_their_socket(serial: str | None) -> None:
    left, right = scale(serial, sockets=(1,)), scale(serial, sockets=(2, 4))
    bus = FakeBus(left, right)
    with pytest.raises(PortAmbiguous) as caught:
        opened(bus, "hid:1234:5678" + (f":{serial}" if serial else ""))
    assert caught.value.candidates == ("hid:1234:5678@1-1", "hid:1234:5678@1-2.4")
    port = opened(bus, "hid:1234:5678@1-2.4")
    assert (left.openings, right.openings) == (0, 1)
    port.close()


def test_twins_whose_sockets_the_system_does_not_tell_are_refused_with_the_reason() -> None:
    bus = FakeBus(scale(sockets=None), scale(sockets=None))
    with pytest.raises(PortAmbiguous, match="which one is meant can't be told") as caught:
        opened(bus, "hid:1234:5678")
    assert "leave only one plugged in" in caught.value.hint


# ---- reports -------------------------------------------------------------------------------------------------------


def test_the_descriptor_comes_first_and_then_the_reports() -> None:
    device = scale()
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    bus.send(device, bytes.fromhex("03040200E803"), bytes.fromhex("03040200E903"))
    wanted = stream("03 04 02 00 E8 03", "03 04 02 00 E9 03", descriptor=scale_descriptor())
    assert read_all(port, len(wanted)) == wanted
    port.close()


def test_a_device_that_comes_and_goes_without_a_report_is_told_once() -> None:
    """As a port that keeps hanging up is: the descriptor alone proves nothing."""
    device = scale()
    bus = FakeBus(device)
    recorder = Recorder()
    supervisor = Supervisor(parse_spec("hid:1234:5678"), LINE, recorder, random.Random(1), opener=bus.open)
    supervisor.start()
    for _ in range(5):
        wait_for(lambda: device.openings)
        bus.pull(device)
        wait_for(lambda: not device.openings)
        bus.plug(device)
    assert [call for call in recorder.calls if call != "refused"] == ["open", "gone"]
    assert supervisor.stop()


def test_all_interfaces_of_a_scanner_are_taken_so_that_nothing_types_into_what_has_the_focus() -> None:
    consumer = bytes.fromhex("050C0901A101150025017508950109E98102C0")
    parts = [
        FakeInterface(KEYBOARD, boot=True, driver=True),
        FakeInterface(consumer, driver=True),
        FakeInterface(driver=True),
    ]
    device = FakeDevice(interfaces=parts)
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    assert [part.driver for part in parts] == [False, False, True], (
        "the third is no HID interface and stays the system's"
    )
    assert device.protocol_set == [1], "the boot keyboard is told to report as its descriptor says"
    bus.send(device, bytes.fromhex("0000040000000000"), interface=0)
    bus.send(device, b"\1", interface=1)
    heads = stream(descriptor=KEYBOARD) + stream(descriptor=consumer, interface=1)
    key, volume = stream("00 00 04 00 00 00 00 00"), stream("01", interface=1)
    data = read_all(port, len(heads) + len(key) + len(volume))
    first, second = heads[: -len(consumer) - 4] + key, heads[-len(consumer) - 4 :] + volume
    assert data in (first + second, second + first), "two endpoints have no order between them"
    port.close()
    assert [part.driver for part in parts] == [True, True, True], "what was taken is given back"
    assert device.openings == 0


def test_a_device_that_nobody_configured_is_configured() -> None:
    device = scale(configured=False)
    bus = FakeBus(device)
    opened(bus, "hid:1234:5678").close()
    assert device.configured


def test_a_device_without_a_report_descriptor_still_brings_its_reports(caplog: pytest.LogCaptureFixture) -> None:
    device = scale(refuses_descriptor=errno.EPIPE)
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    assert "gives no report descriptor" in caplog.text
    bus.send(device, b"\3\4")
    assert read_all(port, 6) == stream("03 04")
    port.close()


def test_opening_it_twice_is_refused_and_the_first_goes_on() -> None:
    device = scale()
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    with pytest.raises(PortBusy, match="is in use by another program"):
        opened(bus, "hid:1234:5678")
    assert (device.openings, device.interfaces[0].driver) == (1, False)
    bus.send(device, b"\3")
    assert read_all(port, HEAD + 5).endswith(b"\3")
    port.close()


def test_no_permission_says_what_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    bus = FakeBus(scale("A1", forbidden=True))
    for name in ("hid:1234:5678", "hid:1234:5678:A1"):
        with pytest.raises(PortForbidden, match=r"no permission to open hid:1234:5678") as caught:
            opened(bus, name)
        assert caught.value.hint


@pytest.mark.parametrize(
    ("name", "device", "said"),
    [
        ("hid:1234:5678", FakeDevice(), "sends no reports"),
        ("endpoint:1234:5678", FakeDevice(interfaces=[FakeInterface(kind=1)]), "no bulk or interrupt endpoint"),
    ],
)
def test_the_wrong_kind_of_name_is_said(name: str, device: FakeDevice, said: str) -> None:
    bus = FakeBus(device)
    with pytest.raises(PortError, match=said) as caught:
        opened(bus, name)
    assert "is named" in caught.value.hint
    assert device.openings == 0


def test_text_is_read_from_the_bulk_endpoint_beside_the_one_for_notices() -> None:
    """As the communication class has it: an interrupt endpoint for notices, and an interface of its own for data."""
    notices = FakeInterface(number=0, endpoint=0x83)
    data = FakeInterface(number=1, endpoint=0x81, kind=2, size=64)
    device = FakeDevice(interfaces=[notices, data])
    bus = FakeBus(device)
    port = opened(bus, "endpoint:1234:5678")
    bus.send(device, b"  412 g\r\n", interface=1)
    assert port.read(1.0) == b"  412 g\r\n"
    assert notices.claimed_by is None
    port.close()


def test_a_device_that_stalls_is_asked_again_and_the_loss_counted() -> None:
    device = scale()
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    assert port.error_count() == 0
    bus.send(device, errno.EPIPE, b"\3", errno.EOVERFLOW, b"\4")
    assert read_all(port, HEAD + 10).endswith(b"\3" + stream("04"))
    assert port.error_count() == 2
    port.close()


def test_a_device_that_goes_on_stalling_is_gone() -> None:
    device = scale()
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    bus.send(device, b"\3", *[errno.EPIPE] * 4)
    assert read_all(port, HEAD + 5).endswith(b"\3")
    with pytest.raises(Gone, match="EPIPE"):
        while True:
            port.read(20.0)
    port.close()
    assert device.interfaces[0].driver


def test_what_was_received_before_the_plug_was_pulled_is_read_first() -> None:
    device = scale()
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    for number in range(50):
        bus.send(device, bytes((3, number)))
    wait_for(lambda: len(bus.received) == 50)
    bus.pull(device)
    got = read_all(port, HEAD + 50 * 6)
    assert got[-50 * 6 :] == stream(*(f"03 {number:02X}" for number in range(50)))
    with pytest.raises(Gone, match="unplugged"):
        port.read(20.0)
    port.close()
    assert device.openings == 0


def test_a_full_queue_holds_the_device_up_and_closing_still_ends_at_once() -> None:
    device = scale()
    bus = FakeBus(device)
    port = opened(bus, "hid:1234:5678")
    bus.send(device, *[b"\3"] * (usbport.QUEUED * 2))
    wait_for(lambda: len(bus.received) >= usbport.QUEUED)
    port.cancel()
    assert len(port.read(0.0)) > usbport.QUEUED
    port.close()
    assert device.openings == 0
    assert not [thread for thread in threading.enumerate() if thread.name == "usb hid:1234:5678"]


def test_a_scale_takes_no_bytes() -> None:
    bus = FakeBus(scale())
    port = opened(bus, "hid:1234:5678")
    with pytest.raises(PortStuck, match="no endpoint for them"):
        port.write(b"W\r\n")
    port.close()


def test_supervised_a_stall_is_told_before_the_bytes_after_it() -> None:
    device = FakeDevice(interfaces=[FakeInterface(KEYBOARD, boot=True)])
    bus = FakeBus(device)
    recorder = Recorder()
    supervisor = Supervisor(parse_spec("hid:1234:5678"), LINE, recorder, random.Random(1), opener=bus.open)
    supervisor.start()
    wait_for(lambda: supervisor.state == "open")
    bus.send(device, bytes(8))
    wait_for(lambda: recorder.calls == ["open", "bytes"])
    bus.send(device, errno.EPIPE, *[bytes.fromhex(report) for report in typed("1\r")])
    wait_for(lambda: recorder.calls == ["open", "bytes", "line error", "bytes"])
    assert supervisor.stop()


# ---- the library ---------------------------------------------------------------------------------------------------


def run_python(code: str, **env: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env={**os.environ, **env}, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == "", done.stderr
    return done.stdout.strip()


NONE = "import ctypes.util, sys; ctypes.util.find_library = lambda name: None; "
OPEN = "from thwart.ports import *; open_port(parse_spec('hid:1234:5678'), LineSettings())"


def test_without_any_libusb_the_message_says_what_to_install() -> None:
    """Real: a process in which neither the system nor a package has the library."""
    code = (
        NONE
        + f"sys.modules['libusb_package'] = None\ntry:\n    {OPEN}\nexcept Exception as e: print(type(e).__name__, e.exit_code, e)"
    )
    said = run_python(code)
    assert said.startswith("PortError 5 USB instruments need the library libusb")
    assert "apt install libusb-1.0-0" in said


def test_the_packaged_libusb_is_taken_where_the_system_has_none() -> None:
    """Real: pyusb loads the library inside the package and asks it for devices."""
    pytest.importorskip(
        "libusb_package", reason="LOUD: libusb-package isn't installed, so the packaged library is not tried"
    )
    code = NONE + "from thwart.ports import usblibrary\nprint(usblibrary.found()[1])\n"
    code += "import usb.core; print(list(usb.core.find(find_all=True, backend=usblibrary.library(), idVendor=1, idProduct=1)))"
    assert run_python(code) == "libusb-package\n[]"


def test_a_bench_without_usb_never_looks_for_the_library() -> None:
    assert run_python("import thwart.service.service, sys; print('usb' in sys.modules)") == "False"


def test_open_port_uses_the_library_found(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    device = scale()
    monkeypatch.setattr(usbport, "library", lambda: FakeBus(device))
    open_port(parse_spec("hid:1234:5678"), LINE).close()
