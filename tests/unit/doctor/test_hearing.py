"""Listening. Real: pseudo-terminals through pyserial; the wrong speed is what a receiver makes of the signal (ports.simulated)."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.unit.doctor.systems import wired
from thwart.doctor import hearing
from thwart.ports import LineSettings, Port, Spec, open_port
from thwart.ports.simulated import PtyLine


@contextmanager
def talking(line: PtyLine, text: bytes) -> Iterator[None]:
    stopped = threading.Event()

    def talk() -> None:
        while not stopped.is_set():
            line.send(text)
            stopped.wait(0.01)

    talker = threading.Thread(target=talk, daemon=True)
    talker.start()
    try:
        yield
    finally:
        stopped.set()
        talker.join()
        line.close()


def test_a_wrong_speed_is_seen_and_the_right_one_found(tmp_path: Path) -> None:
    """Real, as far as a pseudo-terminal can: the instrument speaks at 4800 baud, the bench file says 9600."""
    line = PtyLine(tmp_path / "port", LineSettings(baud=4800))
    scale = wired("scale", line.port, "number-unit-mass")
    with talking(line, b"     412 g\r\n"):
        (trouble,) = hearing.listened(scale, 0.4, open_port)
    assert trouble.code == "wrong-line"
    assert "were rejected by profile number-unit-mass at 9600 8N1" in trouble.cause
    assert "write line = { baud = 4800 } under [instruments.scale]" in trouble.fix


def test_what_makes_sense_is_no_trouble(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "port", LineSettings())
    with talking(line, b"     412 g\r\n"):
        assert list(hearing.listened(wired("scale", line.port, "number-unit-mass"), 0.4, open_port)) == []


def test_a_profile_that_fits_at_no_setting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    line = PtyLine(tmp_path / "port")
    monkeypatch.setattr(hearing, "SPEEDS", (9600, 4800))
    monkeypatch.setattr(hearing, "FORMATS", ())
    with talking(line, b"something else\r\n"):
        (trouble,) = hearing.listened(wired("scale", line.port, "number-unit-mass"), 0.3, open_port)
    assert (trouble.code, "no usual setting" in trouble.fix) == ("wrong-line", True)


def test_a_silent_instrument(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "port")
    (trouble,) = hearing.listened(wired("scale", line.port, "number-unit-mass"), 0.2, open_port)
    assert trouble.code == "silent"
    assert list(hearing.listened(wired("board", line.port, "number-unit-length"), 0.2, open_port)) == [], (
        "a board says nothing untouched"
    )
    line.close()


def test_line_errors(tmp_path: Path) -> None:
    """Faked: the count, for a pseudo-terminal counts none."""
    line = PtyLine(tmp_path / "port")

    def counting(spec: Spec, settings: LineSettings) -> Port:
        port = open_port(spec, settings)
        counts = iter((3, 8))
        port.error_count = lambda: next(counts)  # type: ignore[method-assign]
        return port

    with talking(line, b"     412 g\r\n"):
        (trouble,) = hearing.listened(wired("scale", line.port, "number-unit-mass"), 0.2, counting)
    assert trouble.code == "line-errors"
    assert "counted 5 parity, framing or overrun errors" in trouble.cause


def test_a_port_that_can_not_be_opened_is_told_elsewhere(tmp_path: Path) -> None:
    assert list(hearing.listened(wired("board", str(tmp_path / "none")), 0.1, open_port)) == []


def test_settings_are_tried_from_the_likely_to_the_unlikely() -> None:
    tries = list(hearing.settings_to_try(LineSettings()))
    assert [str(line)[:8] for line in tries[:3]] == ["4800 8N1", "2400 8N1", "1200 8N1"]
    assert len(set(tries)) == len(tries) == len(hearing.SPEEDS) * len(hearing.FORMATS) - 1
    assert LineSettings() not in tries


@pytest.mark.parametrize(
    ("rejected", "frames", "mostly", "codes"),
    [
        ({}, 100, False, []),
        ({"layout": 15, "torn": 70}, 100, False, []),
        ({"layout": 30}, 100, False, ["wrong-line"]),
        ({"layout": 3}, 3, True, ["wrong-line"]),
        ({"line-error": 2}, 100, False, ["line-errors"]),
    ],
)
def test_what_a_running_service_hears(rejected: dict[str, int], frames: int, mostly: bool, codes: list[str]) -> None:
    status = {
        "instrument": "scale",
        "port": "p",
        "profile": "x",
        "rejected": rejected,
        "frames": frames,
        "mostly_rejected": mostly,
    }
    assert [trouble.code for trouble in hearing.reported(status)] == codes
