"""USB instruments over the real libusb. Path: real program, real pyusb, real libusb; emulated (umockdev): kernel and device."""

from __future__ import annotations

import errno
import json
from pathlib import Path
from typing import Any

import pytest

from tests.emulated_usb import BULK, Emulated, run
from tests.hid_samples import KEYBOARD, scale_descriptor, typed
from thwart.records import DESCRIPTOR, REPORT, record

#: Opens the port named, reads until it is gone or `seconds` are over, and prints what came: bytes, then the channel's events.
READ = """
import json, sys, time
from thwart.ports import Gone, LineSettings, open_port, parse_spec
from thwart.profiles import find_profile
from thwart.wire import Channel
name, profile, seconds, writes = sys.argv[1], sys.argv[2], float(sys.argv[3]), sys.argv[4:]
port = open_port(parse_spec(name), LineSettings())
channel = Channel(find_profile(profile))
channel.opened(time.monotonic_ns())
for text in writes:
    port.write(text.encode())
data, events, gone, end = b"", [], None, time.monotonic() + seconds
try:
    while (left := end - time.monotonic()) > 0:
        chunk, now = port.read(min(left, 0.05)), time.monotonic_ns()
        data += chunk
        events += channel.feed(chunk, now) + channel.wake(now)
except Gone as reason:
    gone = str(reason)
lost = port.error_count()
port.close()
told = [[type(e).__name__] + [str(getattr(e, k, None)) for k in ("text", "unit", "condition", "identifier", "reason")] for e in events]
print(json.dumps({"data": data.hex(), "events": told, "gone": gone, "lost": lost, "counts": [channel.counts.frames, channel.counts.rejected]}))
"""


def read(folder: Path, device: Emulated, name: str, profile: str, seconds: float, *writes: str) -> dict[str, Any]:
    said: dict[str, Any] = json.loads(run(folder, [device], "-c", READ, name, profile, str(seconds), *writes))
    return said


def test_a_weighing_device(tmp_path: Path) -> None:
    device = Emulated(report_descriptor=scale_descriptor(), serial="S-1").strings().described()
    reports = [bytes.fromhex(text) for text in ("030402000000", "030302FF5A00", "03040BFF1A04", "0306020000FF")]
    said = read(tmp_path, device.sends(*reports).pulled(), "hid:1234:5678:S-1", "usage-page-scale", 20)
    wanted = record(DESCRIPTOR, 0, scale_descriptor()) + b"".join(record(REPORT, 0, report) for report in reports)
    assert bytes.fromhex(said["data"]) == wanted
    assert said["counts"] == [4, 0]
    assert said["gone"] == "unplugged"


def test_a_load_on_a_weighing_device_settles(tmp_path: Path) -> None:
    device = Emulated(report_descriptor=scale_descriptor()).described()
    zero, still = bytes.fromhex("03020B000000"), bytes.fromhex("03040BFF3419")
    device.sends(*[zero] * 8, *[bytes.fromhex("03030BFF0A10")] * 2, *[still] * 12, *[zero] * 8, after_ms=60)
    said = read(tmp_path, device.pulled(), "hid:1234:5678", "usage-page-scale", 30)
    assert [event[:3] for event in said["events"]] == [
        ["Arrival", "None", "[oz_av]"], ["Reading", "645.2", "[oz_av]"], ["Emptied", "None", "[oz_av]"],
    ]  # fmt: skip


def test_a_scanner_on_the_keyboard_page(tmp_path: Path) -> None:
    device = Emulated(subclass=1, report_descriptor=KEYBOARD).described()
    # umockdev keeps no time: the first label comes with the opening, and may be taken for the rest of one.
    device.sends(*[bytes.fromhex(report) for report in typed("0\r2026S017F042\rA11\t")]).pulled()
    said = read(tmp_path, device, "hid:1234:5678", "usage-page-keyboard", 20)
    assert [event[4] for event in said["events"][1:]] == ["2026S017F042", "A11"]
    assert said["events"][0] in (
        ["Rejected", "None", "None", "None", "None", "torn"],
        ["Reading", "None", "None", "ok", "0", "None"],
    )


@pytest.mark.parametrize("kind", ["bulk", "interrupt"])
def test_a_text_endpoint_with_an_ordinary_profile(tmp_path: Path, kind: str) -> None:
    device = (
        Emulated(interface_class=0xFF, kind=BULK, size=64)
        if kind == "bulk"
        else Emulated(interface_class=0xFF, size=16)
    )
    device.sends(b"1.0 mm\r\n", b"142.5 mm\r\n", b"310", b".0 mm\r\n").pulled()
    said = read(tmp_path, device, "endpoint:1234:5678", "number-unit-length", 20)
    assert [event[1:3] for event in said["events"][1:]] == [["142.5", "mm"], ["310.0", "mm"]]


def test_a_stall_is_cleared_and_counted(tmp_path: Path) -> None:
    device = Emulated(report_descriptor=scale_descriptor()).described()
    device.sends(bytes.fromhex("030402000000")).fails(errno.EPIPE).sends(bytes.fromhex("030402000100")).pulled()
    said = read(tmp_path, device, "hid:1234:5678", "usage-page-scale", 20)
    assert (said["counts"], said["lost"], said["gone"]) == ([2, 0], 1, "unplugged")


def test_a_silent_device_is_open_and_gone_by_nobody(tmp_path: Path) -> None:
    device = Emulated(report_descriptor=scale_descriptor()).described().sends(bytes.fromhex("030402000000"))
    said = read(tmp_path, device, "hid:1234:5678", "usage-page-scale", 1.2)
    assert (said["gone"], said["counts"]) == (None, [1, 0])


def test_twins_are_told_apart_by_their_socket(tmp_path: Path) -> None:
    twins = [Emulated(report_descriptor=scale_descriptor(), socket=socket).described() for socket in (1, 3)]
    twins[1].sends(bytes.fromhex("030402000100")).pulled()
    attempt = "from thwart.ports import *\ntry: open_port(parse_spec('hid:1234:5678'), LineSettings())\nexcept PortAmbiguous as e: print(e.candidates)"
    assert run(tmp_path, twins, "-c", attempt) == "('hid:1234:5678@1-1', 'hid:1234:5678@1-3')\n"
    said = json.loads(run(tmp_path, twins, "-c", READ, "hid:1234:5678@1-3", "usage-page-scale", "20"))
    assert said["counts"] == [1, 0]


def test_an_absent_device_says_what_is_there_of_its_kind(tmp_path: Path) -> None:
    device = Emulated(report_descriptor=scale_descriptor(), serial="S-1").strings().strings()
    attempt = "from thwart.ports import *\ntry: open_port(parse_spec('hid:1234:5678:S-2'), LineSettings())\nexcept PortAbsent as e: print(e.message)"
    assert run(tmp_path, [device], "-c", attempt) == (
        "no device hid:1234:5678:S-2 is plugged in; of that kind there is: hid:1234:5678:S-1\n"
    )


def test_ports_and_doctor_see_the_device(tmp_path: Path) -> None:
    """The commands themselves: what is plugged in by its steadiest name, and whether its descriptor fits the profile."""
    device = Emulated(report_descriptor=scale_descriptor(), serial="S-1")
    (port,) = [port for port in json.loads(run(tmp_path, [device], "-m", "thwart", "ports", "--json")) if port["usb"]]
    assert (port["name"], port["device"]) == ("hid:1234:5678:S-1", "/dev/bus/usb/001/002")
    lake = tmp_path / "lake"
    run(tmp_path, [], "-m", "thwart", "init", str(lake))
    text = (lake / "bench.toml").read_text().partition("[instruments.board]")[0]
    (lake / "bench.toml").write_text(
        text + '[instruments.scale]\nprofile = "usage-page-scale"\nport = "hid:1234:5678:S-1"\n'
        '[instruments.other]\nprofile = "usage-page-scale"\nport = "hid:1234:5678:S-2"\n'
    )
    protocol = (lake / "protocol.toml").read_text()
    by_hand = protocol.replace('quantity = "length"', 'quantity = "length"\nhand_division = "1 mm"')
    (lake / "protocol.toml").write_text(by_hand)
    found = json.loads(run(tmp_path, [device], "-m", "thwart", "doctor", str(lake), "--json", code=1))
    assert [one["about"] for one in found["troubles"] if one["code"] == "absent"] == ["other (hid:1234:5678:S-2)"]
    rules = run(tmp_path, [device], "-m", "thwart", "doctor", str(lake), "--write-udev")
    assert rules.count('ATTR{serial}=="S-1"') == 1


def test_a_bench_runs_on_it(tmp_path: Path) -> None:
    """The whole service: a fish is weighed on an emulated scale, through the real libusb into the ledger."""
    device = Emulated(report_descriptor=scale_descriptor()).described()
    zero, still = bytes.fromhex("030202000000"), bytes.fromhex("03040200F401")
    device.sends(*[zero] * 8, *[still] * 12, *[zero] * 8).pulled()
    lake = tmp_path / "lake"
    run(tmp_path, [], "-m", "thwart", "init", str(lake))
    text = (lake / "bench.toml").read_text().partition("[instruments.board]")[0]
    (lake / "bench.toml").write_text(
        text
        + '[instruments.scale]\nprofile = "usage-page-scale"\nport = "hid:1234:5678"\n'
        + f'[instruments.board]\nprofile = "number-unit-length"\nport = "{tmp_path}/absent"\n'
    )
    code = (
        "import sys, time; from pathlib import Path; from thwart.service.service import Service\n"
        "service = Service(Path(sys.argv[1])); service.start(); end = time.monotonic() + 20\n"
        "from thwart.ledger import Ledger\n"
        "def kinds():\n"
        "    with Ledger.open(Path(sys.argv[1]) / 'ledger.db', readonly=True) as ledger:\n"
        "        return [(e.kind, e.body.get('value'), e.body.get('unit')) for e in ledger.entries()]\n"
        "while time.monotonic() < end and not any(k == 'emptied' for k, *_ in kinds()): time.sleep(0.05)\n"
        "service.stop(); service.wait(); print([one for one in kinds() if one[0] in ('arrival', 'reading', 'emptied')])"
    )
    assert run(tmp_path, [device], "-c", code, str(lake)) == (
        "[('arrival', None, None), ('reading', '500', 'g'), ('emptied', None, None)]\n"
    )
