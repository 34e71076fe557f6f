"""`thwart doctor` on a bench. Real: pseudo-terminals, services, processes; there is no USB bus here (tests/conformance has one)."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run
from tests.servicekit import rig, until
from thwart.doctor import adapters, computer
from thwart.ports import LineSettings, open_port, parse_spec


@pytest.fixture(autouse=True)
def quiet_computer(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the machine that tests is like is not what is tested here."""
    monkeypatch.setattr(adapters, "running_programs", lambda: {})
    monkeypatch.setattr(computer, "LEAST_BYTES", 1)


def troubles(run: Run, *words: object) -> list[dict[str, Any]]:
    told = run("doctor", *words, "--json")
    found: list[dict[str, Any]] = json.loads(told.out)["troubles"]
    assert told.code == (1 if found else 0)
    return found


def test_nothing_wrong(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake") as bench:
        told = run("doctor", bench.folder)
        assert (told.code, told.err) == (0, "")
        assert "nothing wrong with: clock, folder, disk, bench.toml, board, scale, scanner" in told.out


def test_an_absent_instrument_and_how_it_is_told(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake") as bench:
        bench.lines["scale"].unplug()
        told = run("doctor", bench.folder)
        assert told.code == 1
        assert "absent: scale" in told.out
        assert "→ plug it in" in told.out
        assert [(one["code"], one["about"]) for one in troubles(run, bench.folder)] == [
            ("absent", f"scale ({bench.folder}/scale.port)")
        ]


def test_a_port_in_use(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake") as bench:
        port = open_port(parse_spec(f"{bench.folder}/board.port"), LineSettings())
        (one,) = troubles(run, bench.folder, "--listen", "0.1")[:1]
        assert one["code"] == "in-use"
        assert "this program itself" in one["cause"]
        port.close()


def test_the_benchs_own_service_is_no_trouble_and_is_asked_what_it_hears(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake", own={"scale": LineSettings(baud=4800)}) as bench:
        bench.start()
        assert troubles(run, bench.folder, "--listen", "0.2") == []
        for _ in range(40):
            bench.weigh(412)
        (one,) = until(lambda: troubles(run, bench.folder))
        assert (one["code"], one["about"]) == ("wrong-line", f"scale ({bench.folder}/scale.port)")


def test_listening_finds_the_speed(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake", own={"scale": LineSettings(baud=4800)}) as bench:
        stopped = threading.Event()

        def talk() -> None:
            while not stopped.wait(0.01):
                bench.lines["scale"].send(b"ST,GS,+    412 g\r\n")

        talker = threading.Thread(target=talk, daemon=True)
        talker.start()
        told = run("doctor", bench.folder, "--listen", "0.4", "--json")
        stopped.set()
        talker.join()
        found = {one["code"]: one for one in json.loads(told.out)["troubles"]}
        assert "scale: listening for 0.4 s" in told.err
        assert "scale: 4800 8N1, 1 of 39" in told.err
        assert "write line = { baud = 4800 } under [instruments.scale]" in found["wrong-line"]["fix"]


def test_a_bench_file_with_faults_is_told_and_the_rest_goes_on(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake", bench="nonsense = 1\n") as bench:
        (one,) = troubles(run, bench.folder)
        assert one["code"] == "bench-file"
        assert "nonsense: unknown key" in one["cause"]


def test_without_a_bench(tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    told = run("doctor")
    assert told.code in (0, 1), "what is plugged into the machine that tests is its own affair"
    told = run("doctor", tmp_path)
    assert (told.code, "no bench.toml in it" in told.err) == (1, True)
    assert run("doctor", "--write-udev").code == 1


def test_rules(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake") as bench:
        text = (bench.folder / "bench.toml").read_text()
        (bench.folder / "bench.toml").write_text(text.replace(f"{bench.folder}/board.port", "usb:1209:0001:A1"))
        told = run("doctor", bench.folder, "--write-udev")
        assert told.code == 0
        rules = [line for line in told.out.splitlines() if line and not line.startswith("#")]
        assert len(rules) == 3
        assert all('{serial}=="A1"' in line for line in rules)
        assert "# scale" in told.out


def test_another_kind_of_port_than_the_profile_needs(tmp_path: Path, run: Run) -> None:
    with rig(tmp_path / "lake") as bench:
        text = (bench.folder / "bench.toml").read_text()
        for port, profile, said in (
            ("hid:1209:0001", "number-unit-length", "brings reports, which profile number-unit-length can't read"),
            (
                f"{bench.folder}/board.port",
                "usage-page-scale",
                "reads a USB device's reports; its port is named hid:VID:PID",
            ),
        ):
            changed = text.replace(f"{bench.folder}/board.port", port).replace("number-unit-length", profile)
            (bench.folder / "bench.toml").write_text(changed)
            assert any(said in one["cause"] for one in troubles(run, bench.folder))


def test_help_names_every_option(run: Run) -> None:
    told = run("doctor", "--help")
    assert all(word in told.out for word in ("--listen", "--write-udev", "--json", "exit code is 1"))
