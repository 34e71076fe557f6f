from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.servicekit import Rig, rig
from thwart.cli import run_command


class Outcome(NamedTuple):
    code: int
    out: str
    err: str


Run = Callable[..., Outcome]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command line in this process, 100 columns wide."""
    monkeypatch.setenv("COLUMNS", "100")
    # `thwart run` takes over the process's log: give it back afterwards.
    root = logging.getLogger()
    monkeypatch.setattr(root, "handlers", list(root.handlers))
    monkeypatch.setattr(root, "level", root.level)
    monkeypatch.setattr(threading, "excepthook", threading.excepthook)

    def command(*words: object) -> Outcome:
        capsys.readouterr()
        code = run_command([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Outcome(code, out, err)

    return command


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path / "lake") as made:
        yield made


@pytest.fixture
def day(bench: Rig) -> Rig:
    """A bench that worked for a while and was stopped."""
    bench.start()
    bench.act("batch open bay")
    bench.touch(212)
    bench.wait_for("measured")
    bench.weigh(110)
    bench.wait_for("measured", lambda b: b["measurand"] == "whole_mass")
    bench.act("code sex F")
    bench.lines["scanner"].send(b"K-00013\r")
    bench.wait_for("closed")
    bench.touch(250)
    bench.wait_for("measured", lambda b: b["raw_value"] == "250")
    bench.act("undo")
    bench.stop()
    return bench
