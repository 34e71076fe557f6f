"""The service begins, ends and goes on: as a process of its own."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.servicekit import Rig, until
from thwart.errors import BenchInUse
from thwart.service.lines import Item
from thwart.service.service import Service


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_stops_it_cleanly(bench: Rig, how: signal.Signals) -> None:
    bench.spawn()
    bench.act("batch open bay")
    bench.touch(212)
    bench.wait_for("measured")
    code, log = bench.end(how)
    assert code == 0, log
    assert bench.entries()[-1].kind == "stopped"
    assert not (bench.folder / "control.json").exists()
    assert all(re.match(r"time=\S+Z level=(info|warning) \w+=", line) for line in log.splitlines()), log
    assert 'event=said seq=11 sound=taken place=table text="1 total_length 212 mm"' in log
    Service(bench.folder)._let_go()  # the bench is free again


def test_a_stop_asked_before_the_start_is_over_is_kept(bench: Rig) -> None:
    service = Service(bench.folder)
    service.stop()
    service.start()
    assert service.wait() == 0
    assert bench.entries()[-1].kind == "stopped"


def test_after_a_kill_it_has_the_same_fish_and_asks(bench: Rig) -> None:
    bench.spawn()
    bench.act("batch open bay")
    bench.touch(212)
    bench.weigh(110)
    bench.wait_for("measured", lambda b: b["measurand"] == "whole_mass")
    bench.act("next")
    bench.touch(198)
    bench.wait_for("measured", lambda b: b["raw_value"] == "198")
    code, _ = bench.end(signal.SIGKILL)
    assert code == -signal.SIGKILL
    bench.spawn()
    hand = bench.hand()
    assert hand is not None
    assert (hand["number"], hand["taken"], hand["wanted"]) == (2, {"total_length": "198 mm"}, ["whole_mass"])
    asked = [e.body["text"] for e in bench.entries() if e.kind == "asked"]
    assert asked[-1] == "2, total_length 198 mm; whole_mass wanted: same fish?"
    bench.weigh(90)
    bench.wait_for("measured", lambda b: b["measurand"] == "whole_mass" and b["number"] == 2)
    assert bench.end(signal.SIGTERM)[0] == 0


def test_a_second_service_is_refused_and_the_first_goes_on(bench: Rig) -> None:
    bench.start()
    with pytest.raises(BenchInUse, match=f"another service runs on this bench .process {os.getpid()}."):
        Service(bench.folder)
    command = [sys.executable, "-m", "thwart", "run", str(bench.folder)]
    second = subprocess.run(command, capture_output=True, text=True)
    assert second.returncode == 4
    assert second.stderr.splitlines()[-1].startswith("  → `thwart status`")
    assert bench.act("batch open bay")["said"] == ["batch bay open", "fish 1"]


def test_a_start_that_fails_leaves_nothing_held(bench: Rig) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        text = (bench.folder / "bench.toml").read_text()
        (bench.folder / "bench.toml").write_text(f"control_port = {taken.getsockname()[1]}\n{text}")
        service = Service(bench.folder)
        with pytest.raises(Exception, match=r"control port \d+ can't be used"):
            service.start()
    bench.start()


def test_it_tells_systemd_that_it_is_ready_alive_and_stopping(bench: Rig, tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(20)
        bench.spawn(NOTIFY_SOCKET=str(tmp_path / "notify"), WATCHDOG_USEC="400000")
        heard = [manager.recv(100) for _ in range(3)]
        assert heard == [b"READY=1", b"WATCHDOG=1", b"WATCHDOG=1"]
        bench.end(signal.SIGTERM)
        until(lambda: manager.recv(100) == b"STOPPING=1")


def test_the_running_service_imports_nothing_heavy(bench: Rig) -> None:
    code = (
        "import sys; from thwart.cli.tree import cli; from thwart.cli import run; from thwart.service.service import Service;"
        "import click; cli.get_command(click.Context(cli), 'run');"
        "print(sorted({'pandas', 'numpy', 'scipy', 'sqlite_utils', 'usb', 'structlog', 'starlette', 'uvicorn', 'asyncio', 'ssl', 'rich'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout == "[]\n"


def test_a_fault_in_the_clerk_itself_ends_the_service_and_says_so(bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    service = bench.start()
    monkeypatch.setattr(service.ledger, "write", lambda *_: 1 / 0)
    bench.service = None
    service.inbox.put(Item("act", {"act": "pause", "args": [], "place": None, "via": "cli", "ids": ["x"]}))
    with pytest.raises(ZeroDivisionError):
        service.wait()
