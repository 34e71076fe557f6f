"""ports, listen, decode, profile: instruments before they are on a bench."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Outcome, Run
from tests.fake_usb import FakeBus, FakeDevice, FakeInterface
from tests.hid_samples import scale_descriptor
from tests.servicekit import until
from thwart.cli.instruments import _View
from thwart.ports import Capture, Chunk, Device, LineSettings, PortInfo, Usb, open_port, read_capture
from thwart.ports.capture import render
from thwart.ports.identity import Holder
from thwart.ports.simulated import PtyLine
from thwart.profiles import find_profile, shipped_profiles


@pytest.fixture
def line(tmp_path: Path) -> Iterator[PtyLine]:
    made = PtyLine(tmp_path / "port")
    yield made
    made.close()


def _speaking(line: PtyLine, pieces: list[bytes]) -> threading.Thread:
    def speak() -> None:
        until(lambda: line.host_present)
        threading.Event().wait(0.2)
        for piece in pieces:
            line.send(piece)
            threading.Event().wait(0.02)

    thread = threading.Thread(target=speak, daemon=True)
    thread.start()
    return thread


SCALE = [b"US,GS,+     10 g\r\n", b"ST,GS,+     20 g\r\n", b"ST,GS,+     20 g\r\n", b"??\r\n"]


def test_listen_shows_captures_and_names_the_profile_that_fits(run: Run, line: PtyLine, tmp_path: Path) -> None:
    _speaking(line, SCALE)
    heard = run("listen", line.port, "--seconds", "1", "--out", tmp_path / "c.txt", "--note", "wet", "--baud", "4800")
    assert heard.code == 0
    assert "53 54 2C 47 53 2C 2B" in heard.out
    assert "|ST,GS,+     20 g|" in heard.out
    assert f"listening to {line.port}, 4800 8N1" in heard.err
    fitting = heard.err.partition("profiles that explain it:\n")[2].splitlines()
    assert fitting[0].startswith("  status-commas-mass  ")
    capture = read_capture(tmp_path / "c.txt")
    assert capture.data == b"".join(SCALE)
    assert (capture.port, capture.note, capture.line) == (line.port, "wet", LineSettings(baud=4800))
    assert capture.started[10] == "T"


def test_listen_shows_what_a_profile_makes_of_each_frame(run: Run, line: PtyLine) -> None:
    _speaking(line, SCALE)
    heard = run("listen", line.port, "--seconds", "1", "--profile", "status-commas-mass")
    meanings = [row.strip() for row in heard.out.splitlines() if row.strip().startswith("= ")]
    assert meanings == [
        "= 10 g · moving, gross",
        "= 20 g · settled, gross",
        "= 20 g · settled, gross",
        "= rejected, layout",
    ]
    assert "status-commas-mass: 3 understood, 1 rejected" in heard.err


def test_listen_asks_an_instrument_that_only_answers(run: Run, line: PtyLine) -> None:
    asked: list[bytes] = []

    def answer() -> None:
        while not asked or len(b"".join(asked)) < 12:
            if got := line.receive(0.2):
                asked.append(got)
                line.send(b"   412.5 g\r\n")

    threading.Thread(target=answer, daemon=True).start()
    heard = run("listen", line.port, "--seconds", "1", "--profile", "number-unit-asked-mass")
    ask = find_profile("number-unit-asked-mass").ask
    assert ask is not None
    assert b"".join(asked).startswith(ask.command)
    assert heard.out


def test_a_wrong_speed_is_guessed_at(run: Run, tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "port", LineSettings(baud=4800))
    _speaking(line, SCALE * 3)
    heard = run("listen", line.port, "--seconds", "1")
    line.close()
    assert "most of it is no text: is 9600 the right speed?" in heard.err


def test_silence_is_told_with_what_it_may_mean(run: Run, line: PtyLine) -> None:
    heard = run("listen", line.port, "--seconds", "0.2")
    assert (heard.code, heard.out) == (0, "")
    assert "nothing came: is the instrument on" in heard.err


def test_listen_never_overwrites(run: Run, line: PtyLine, tmp_path: Path) -> None:
    (tmp_path / "c.txt").write_text("mine")
    refused = run("listen", line.port, "--seconds", "0.2", "--out", tmp_path / "c.txt")
    assert refused.code == 1
    assert "exists already" in refused.err
    assert (tmp_path / "c.txt").read_text() == "mine"


def test_reports_stand_on_lines_of_their_own_and_a_capture_of_them_decodes(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bus is faked under pyusb; port, capture and wire are real."""
    device = FakeDevice(interfaces=[FakeInterface(scale_descriptor())])
    bus = FakeBus(device)
    monkeypatch.setattr("thwart.cli.instruments.open_port", bus.open)

    def weigh() -> None:
        until(lambda: device.interfaces[0].claimed_by is not None)
        for report in ("03 04 02 00 E8 03", "03 06 02 00 00 00"):
            threading.Event().wait(0.1)
            bus.send(device, bytes.fromhex(report))

    threading.Thread(target=weigh, daemon=True).start()
    heard = run(
        "listen", "hid:1234:5678", "--seconds", "1", "--out", tmp_path / "c.txt", "--profile", "usage-page-scale"
    )
    assert "interface 0 describes its reports:" in heard.out
    assert "  03 04 02 00 E8 03  " in heard.out
    assert "= 1000 g · settled" in heard.out
    assert "no text" not in heard.err
    decoded = run("decode", "--profile", "usage-page-scale", tmp_path / "c.txt")
    assert [json.loads(row)["condition"] for row in decoded.out.splitlines()] == ["ok", "overload"]
    monkeypatch.setattr("thwart.cli.instruments.open_port", open_port)
    again = run("listen", f"replay:{tmp_path / 'c.txt'}", "--profile", "usage-page-scale")
    assert "= 1000 g · settled" in again.out


def test_silence_between_pieces_is_shown() -> None:
    view = _View(80, reports=False)
    assert view.piece(Chunk(0, b"  1 g\r\n"))[0].startswith("    0.000           20 20 31")
    assert view.piece(Chunk(1_000_000, b"  2 g"))[0].startswith("    0.001           20 20 32")
    assert view.piece(Chunk(201_000_000, b"\r\n"))[0].startswith("    0.201   +0.200  0D 0A")


def test_ctrl_c_ends_listening_and_the_capture_is_whole(line: PtyLine, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "thwart", "listen", line.port, "--out", str(tmp_path / "c.txt")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as listening:
        _speaking(line, SCALE).join()
        until(lambda: (tmp_path / "c.txt").exists() and len(read_capture(tmp_path / "c.txt").data) == 58)
        listening.send_signal(2)
        out, err = listening.communicate(timeout=20)
    assert listening.returncode == 0
    assert out.count("|ST,GS,+     20|") == 2
    assert max(map(len, out.splitlines())) <= 80
    assert "58 bytes in " in err


def test_a_port_that_isnt_there_is_5(run: Run, tmp_path: Path) -> None:
    refused = run("listen", tmp_path / "none")
    assert refused.code == 5
    assert refused.err.startswith(f"thwart: {tmp_path / 'none'} is not there\n  → plug it in")


def test_a_port_in_use_is_5_and_says_by_whom(run: Run, line: PtyLine) -> None:
    held = open_port(Device(line.device), LineSettings())
    try:
        refused = run("listen", line.port)
    finally:
        held.close()
    assert refused.code == 5
    assert f"(process {os.getpid()}" in refused.err


def test_a_port_without_permission_is_5_and_names_the_group(line: PtyLine) -> None:
    refused = as_nobody(["listen", line.device], forbidden=Path(line.device))
    assert refused.code == 5
    assert "permission" in refused.err
    assert "group" in refused.err


def as_nobody(words: list[str], forbidden: Path) -> Outcome:
    """A command run without rights to `forbidden`: everything is loaded first, then root's rights are put off."""
    forbidden.chmod(0 if not forbidden.is_dir() else 0o555)
    code = (
        "import os, sys\n"
        "from thwart.cli import run_command\n"
        "import thwart.cli.instruments, thwart.cli.run, thwart.service.service, thwart.cli.past, thwart.ledger.backup\n"
        "if os.geteuid() == 0: os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "sys.exit(run_command(sys.argv[1:]))"
    )
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True)
    return Outcome(done.returncode, done.stdout, done.stderr)


@pytest.mark.parametrize(
    ("port", "why"), [("ttyUSB0", "starts at the root: /dev/ttyUSB0"), ("xyz", "none of the forms")]
)
def test_a_name_that_is_no_port(run: Run, port: str, why: str) -> None:
    refused = run("listen", port)
    assert refused.code == 1
    assert why in refused.err
    assert "usb:VID:PID:SERIAL" in refused.err


# ---- ports ---------------------------------------------------------------------------------------------------------


def test_ports_shows_the_name_to_use(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    info = PortInfo(
        str(Usb(0x1234, 1, "SCALE")), "/dev/ttyUSB0", "usb:1234:0001:SCALE", ("/dev/serial/by-id/a",), (), (Holder(7, "cat"),), "adapter"
    )  # fmt: skip
    monkeypatch.setattr("thwart.cli.instruments.describe_ports", lambda: [info])
    assert run("ports").out.splitlines() == [
        "name                 device        what it is  in use by",
        "usb:1234:0001:SCALE  /dev/ttyUSB0  adapter     cat (process 7)",
    ]
    (row,) = json.loads(run("ports", "--json").out)
    assert (row["name"], row["in_use_by"]) == ("usb:1234:0001:SCALE", [{"pid": 7, "program": "cat"}])
    monkeypatch.setattr("thwart.cli.instruments.describe_ports", lambda: [])
    assert run("ports").out == "no serial port is plugged in\n"
    assert run("ports", "--json").out == "[]\n"


# ---- decode --------------------------------------------------------------------------------------------------------


def _decoded(run: Run, file: Path, profile: object) -> list[dict[str, Any]]:
    done = run("decode", "--profile", profile, file)
    assert done.code == 0, done.err
    return [json.loads(row) for row in done.out.splitlines()]


def test_decode_gives_each_frame_with_its_meaning_or_the_reason(run: Run, tmp_path: Path) -> None:
    (tmp_path / "raw").write_bytes(b"  412 mm\r\n\xfft\r\n57.5 cm\r\n 4")
    rows = _decoded(run, tmp_path / "raw", "number-unit-length")
    nothing = {"load": None, "identifier": None, "symbology": None}
    assert rows == [
        {"offset": 0, "raw": "  412 mm", "value": "412", "unit": "mm", "settled": None, "condition": "ok", "reason": None, **nothing},
        {"offset": 10, "raw": "\xfft", "value": None, "unit": None, "settled": None, "condition": "rejected", "reason": "layout", **nothing},
        {"offset": 14, "raw": "57.5 cm", "value": "57.5", "unit": "cm", "settled": None, "condition": "ok", "reason": None, **nothing},
        {"offset": 23, "raw": " 4", "value": None, "unit": None, "settled": None, "condition": "rejected", "reason": "torn", **nothing},
    ]  # fmt: skip


def test_a_capture_is_framed_by_its_own_times(run: Run, tmp_path: Path) -> None:
    """A profile framed by silence, and the torn rule at the opening, need the times."""
    profile = find_profile("print-out-silence-mass")
    sample = next(s.raw for s in profile.sample if s.rejected is None and not s.chatter)
    half = len(sample) // 2
    second = 10**9
    chunks = (Chunk(second, sample[:half]), Chunk(second + 10**7, sample[half:]), Chunk(4 * second, sample))
    (tmp_path / "c.txt").write_text(render(Capture(chunks, LineSettings())))
    rows = _decoded(run, tmp_path / "c.txt", "print-out-silence-mass")
    assert [row["condition"] for row in rows] == ["ok", "ok"]
    torn = Capture((Chunk(10**6, b"12 mm\r\n"), Chunk(second, b"412 mm\r\n")), LineSettings())
    (tmp_path / "t.txt").write_text(render(torn))
    rows = _decoded(run, tmp_path / "t.txt", "number-unit-length")
    assert [(row["value"], row["reason"]) for row in rows] == [(None, "torn"), ("412", None)]


@pytest.mark.parametrize("name", sorted(shipped_profiles()))
def test_every_sample_decodes_to_what_it_states(run: Run, tmp_path: Path, name: str) -> None:
    profile = find_profile(name)
    for sample in profile.sample:
        (tmp_path / "raw").write_bytes(sample.raw)
        (row,) = _decoded(run, tmp_path / "raw", name)
        if sample.rejected is not None:
            assert (row["condition"], row["reason"]) == ("rejected", sample.rejected)
        elif sample.chatter:
            assert (row["condition"], row["reason"]) == ("chatter", None)
        else:
            assert (row["value"], row["unit"], row["settled"]) == (sample.text, sample.unit, sample.settled)
            assert (row["condition"], row["identifier"]) == (sample.condition, sample.identifier)


def test_decode_takes_a_profile_by_its_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(shipped_profiles()["number-unit-length"].read_text())
    (tmp_path / "raw").write_bytes(b"  412 mm\r\n")
    assert _decoded(run, tmp_path / "raw", tmp_path / "mine.toml")[0]["value"] == "412"


@pytest.mark.parametrize("words", [["decode", "--profile", "nmber-length", "x"], ["profile", "show", "nmber-length"],
                                   ["listen", "/dev/x", "--profile", "nmber-length"], ["profile", "check", "nmber-length"]])  # fmt: skip
def test_a_profile_that_isnt_there_is_answered_with_the_nearest(run: Run, words: list[str]) -> None:
    refused = run(*words)
    assert refused.code == 1
    assert refused.err.startswith("thwart: no profile is named 'nmber-length'\n  → did you mean number-length")


@pytest.mark.parametrize(
    ("text", "said"),
    [(None, "is not there"), ("thwart capture 1\nport: x\n\nnonsense\n", ":4: expected 'SECONDS  HEX BYTES")],
)
def test_a_capture_that_isnt_one(run: Run, tmp_path: Path, text: str | None, said: str) -> None:
    if text is not None:
        (tmp_path / "c").write_text(text)
    refused = run("decode", "--profile", "number-length", tmp_path / "c")
    assert refused.code == 1
    assert said in refused.err


# ---- profile -------------------------------------------------------------------------------------------------------


def test_profile_list_show_and_check(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    listed = run("profile", "list").out
    assert all(name in listed for name in shipped_profiles())
    shown = run("profile", "show", "number-length")
    assert shown.out == shipped_profiles()["number-length"].read_text()
    checked = run("profile", "check")
    assert checked.code == 0
    assert checked.out.count("all as stated") == len(shipped_profiles())
    (tmp_path / "bench.toml").write_text('name = "x"\nprofiles = "mine"\n')
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "my-board.toml").write_text(shown.out)
    monkeypatch.chdir(tmp_path)
    assert "my-board" in run("profile", "list").out
    assert run("profile", "check", "my-board").code == 0


def test_a_profile_that_doesnt_mean_what_its_samples_say(run: Run, tmp_path: Path) -> None:
    text = shipped_profiles()["number-unit-length"].read_text().replace('text = "412"', 'text = "413"')
    (tmp_path / "mine.toml").write_text(text)
    refused = run("profile", "check", tmp_path / "mine.toml")
    assert refused.code == 1
    assert "thwart: mine: sample[0]: text: stated '413', decoded '412'" in refused.err


def test_a_profile_with_faults_shows_them_all_with_their_lines(run: Run, tmp_path: Path) -> None:
    text = shipped_profiles()["number-unit-length"].read_text()
    text = text.replace('kind = "length"', 'kind = "lenth"\nspeed = 3').replace("baud = 9600", 'baud = "fast"')
    (tmp_path / "mine.toml").write_text(text)
    refused = run("profile", "check", tmp_path / "mine.toml")
    at = {row.split(": ")[2]: row.split(": ")[1].rpartition(":")[2] for row in refused.err.splitlines() if ": " in row}
    lines = text.splitlines()
    assert at["kind"] == str(lines.index('kind = "lenth"') + 1)
    assert at["speed"] == str(lines.index("speed = 3") + 1)
    assert at["line.baud"] == str(lines.index('baud = "fast"') + 1)
    assert "should be 'length', 'mass', 'identifier'" in refused.err
