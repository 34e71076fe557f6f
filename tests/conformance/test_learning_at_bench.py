"""`thwart learn PORT`: a scripted person at a terminal of their own, an instrument at the far end of another.

Both terminals are real pseudo-terminals, the instrument's is read by real pyserial. A pseudo-terminal has no speed: the
simulated instrument reads the one that was set and sends what a real receiver would have made of its signal.
"""

from __future__ import annotations

import contextlib
import os
import pty
import re
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from tests.servicekit import until
from thwart.learn import learn, parse_shown
from thwart.ports import LineSettings, read_capture
from thwart.ports.simulated import PtyLine
from thwart.profiles import check_profile, load_profile
from thwart.wire import decode_frames

#: The real command, with a person who is quicker than most.
PROGRAM = """
import sys
from thwart.cli import run_command, teaching
teaching._HOLD_S, teaching._LISTEN_S, teaching._PRINT_S, teaching._QUIET_S = 0.25, 0.5, 1.0, 0.15
sys.exit(run_command(sys.argv[1:]))
"""
Deed = Callable[[], None]


class Person:
    """Types answers at a terminal when the words they wait for appear on it."""

    def __init__(self, folder: Path, *words: str, path: str = os.environ["PATH"]) -> None:
        self.seen = ""
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "learn", *words],
            stdin=slave, stdout=slave, stderr=slave, cwd=folder, start_new_session=True,
            env=os.environ | {"COLUMNS": "80", "TERM": "dumb", "PATH": path},
        )  # fmt: skip
        os.close(slave)
        self._read_up_to = 0

    def waits_for(self, words: str, seconds: float = 20.0) -> None:
        """Read until the words stand behind what was read before."""
        end = time.monotonic() + seconds
        while (at := _plain(self.seen).find(words, self._read_up_to)) < 0:
            assert time.monotonic() < end, f"never said {words!r}:\n{self.seen}"
            if select.select([self._master], [], [], 0.2)[0]:
                with contextlib.suppress(OSError):
                    self.seen += os.read(self._master, 65536).decode()
        self._read_up_to = at + len(words)

    def types(self, text: str) -> None:
        os.write(self._master, text.encode() + b"\n")

    def ended(self) -> int:
        """The exit code, everything read."""
        end = time.monotonic() + 20
        while time.monotonic() < end:
            try:
                data = os.read(self._master, 65536) if select.select([self._master], [], [], 0.1)[0] else None
            except OSError:
                break
            if data == b"":
                break
            self.seen += (data or b"").decode()
            if data is None and self.process.poll() is not None:
                break
        return self.process.wait(10)

    def plays(self, script: Sequence[tuple[str, Deed | None, str]]) -> None:
        """Wait for the words, do the deed, type the answer; for each."""
        for words, deed, answer in script:
            self.waits_for(words)
            if deed is not None:
                deed()
            self.waits_for(": ")
            self.types(answer)


def _plain(text: str) -> str:
    """The words without the terminal's line breaks and indents."""
    return re.sub(r"\s+", " ", text)


class Stream:
    """A scale that sends ten lines a second of what it shows."""

    def __init__(self, line: PtyLine, frame: Callable[[str, bool], bytes], pause_s: float = 0.02) -> None:
        self.shows, self.still = "0.0", True
        self._line, self._frame, self._pause_s = line, frame, pause_s
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        while not self._ends.wait(self._pause_s):
            self._line.send(self._frame(self.shows, self.still))

    def loads(self, *shown: str) -> Deed:
        """What the display shows on the way, the last one standing still."""

        def deed() -> None:
            for text in shown[:-1]:
                self.shows, self.still = text, False
                time.sleep(0.06)
            self.shows, self.still = shown[-1], False
            time.sleep(0.06)
            self.still = True
            time.sleep(0.1)

        return deed

    def close(self) -> None:
        self._ends.set()
        self._thread.join(5)


def scale_frame(shown: str, still: bool) -> bytes:
    if shown == "OL":
        return b"OL,+ 9999.9 g\r\n"
    sign = "-" if shown[0] == "-" else "+"
    return f"{'ST' if still else 'US'},{sign}{shown.lstrip('-'):>7} g\r\n".encode()


@pytest.fixture
def line(tmp_path: Path) -> Iterator[PtyLine]:
    made = PtyLine(tmp_path / "port", LineSettings(baud=4800))
    yield made
    made.close()


def meanings(folder: Path, name: str, data: bytes) -> list[tuple[object, ...]]:
    profile = load_profile(folder / f"{name}.toml")
    assert check_profile(profile) == []
    said: list[tuple[object, ...]] = []
    for one in decode_frames(profile, data):
        d = one.decoded
        said.append((one.rejected,) if d is None else (d.identifier or d.text, d.unit, d.condition, d.settled))
    return said


def kept_files_say_the_same(folder: Path, name: str, kind: str) -> None:
    """What was saved beside the profile teaches the same profile again."""
    from thwart.cli.capturing import evidence_of, line_keys

    heard = read_capture(folder / f"{name}.capture")
    shown = (folder / f"{name}.csv").read_text()
    seen = evidence_of(heard, parse_shown(shown, len(heard.data), "shown.csv"))
    again = learn(seen, name, kind, line_keys(heard)).profile
    assert again.layout == load_profile(folder / f"{name}.toml").layout


def test_a_scale_that_streams_at_another_speed(line: PtyLine, tmp_path: Path) -> None:
    scale = Stream(line, scale_frame)
    person = Person(tmp_path, line.port, "--name", "pan", "--kind", "mass")
    person.plays([
        ("Take everything off.", None, "0.0 g"),
        ("Put 500 g on", scale.loads("120.5", "499.5", "500.0"), "500.0"),
        ("Take it off.", scale.loads("210.0", "0.0"), "0"),
        ("fewer digits", scale.loads("3.5", "12.5"), "12.5"),
        ("below zero", scale.loads("8.0", "-12.5"), "-12.5"),
        ("overload", scale.loads("1800.0", "OL"), "OL"),
    ])  # fmt: skip
    assert person.ended() == 0, person.seen
    scale.close()
    assert re.search(r"9600 8N1 +[0-9]+ bytes, no text", person.seen)
    assert re.search(r"4800 8N1 +text: \|", person.seen)
    for words in ("[instruments.scale]", 'profile = "pan"', f'port = "{line.port}"', "profile check pan.toml"):
        assert words in person.seen
    sent = b"".join(
        [scale_frame("1999.5", True), scale_frame("-0.5", False), scale_frame("OL", True), b"XX,+    1.0 g\r\n"]
    )
    assert meanings(tmp_path, "pan", sent) == [
        ("1999.5", "g", "ok", True), ("-0.5", "g", "moving", False), (None, None, "overload", None), ("layout",),
    ]  # fmt: skip
    assert load_profile(tmp_path / "pan.toml").line.baud == 4800
    assert load_profile(tmp_path / "pan.toml").mode == "streams"
    kept_files_say_the_same(tmp_path, "pan", "mass")


def test_a_scale_that_prints_on_a_key(line: PtyLine, tmp_path: Path) -> None:
    def prints(value: str) -> Deed:
        return lambda: void(line.send(f"N  {value:>7} kg\r\n".encode()))

    person = Person(tmp_path, line.port, "--name", "printer", "--kind", "mass")
    person.waits_for("sends nothing by itself: put something on and press its print key")
    prints("1.250")()
    person.waits_for("Once more, please")
    prints("1.250")()
    person.plays([
        ("Take everything off.", prints("0.000"), "0.000 kg"),
        ("Put 500 g on", prints("0.500"), "0.500"),
        ("Take it off.", None, "skip"),
        ("fewer digits", prints("0.075"), "0.075"),
        ("below zero", None, ""),
        ("overload", None, ""),
    ])  # fmt: skip
    assert person.ended() == 0, person.seen
    assert meanings(tmp_path, "printer", b"N   12.345 kg\r\nN   12?345 kg\r\n") == [
        ("12.345", "kg", "ok", None), ("layout",),
    ]  # fmt: skip
    assert load_profile(tmp_path / "printer.toml").mode == "prints"
    kept_files_say_the_same(tmp_path, "printer", "mass")


def test_a_board(line: PtyLine, tmp_path: Path) -> None:
    def touches(value: str) -> Deed:
        return lambda: void(line.send(f"L{value}\r".encode()))

    person = Person(tmp_path, line.port, "--name", "board", "--kind", "length", "--baud", "4800")
    person.waits_for("sends nothing by itself: touch it once")
    touches("55.5")()
    person.plays([
        ("Touch 100 mm.", touches("100.0"), "100.0"),
        ("in which unit", None, "100.0 mm"),
        ("Touch 300 mm.", touches("301.5"), "31.5"),
        ("Touch as near", None, "back"),
        ("taken back: 31.5 mm", touches("301.5"), "301.5"),
        ("Touch near the far end", touches("742.0"), "742.0"),
    ])  # fmt: skip
    assert person.ended() == 0, person.seen
    said = meanings(tmp_path, "board", b"L5.5\rL212.5\rL21x.5\r")
    assert said[1:] == [("212.5", "mm", "ok", None), ("layout",)]
    kept_files_say_the_same(tmp_path, "board", "length")


def test_a_scanner(line: PtyLine, tmp_path: Path) -> None:
    def scans(label: str) -> Deed:
        return lambda: void(line.send(f"]C0{label}\r\n".encode()))

    person = Person(tmp_path, line.port, "--name", "scanner", "--kind", "identifier", "--baud", "4800")
    person.waits_for("scan something")
    scans("K-00001")()
    person.plays([
        ("Scan a label", scans("K-00213"), "K-00213"),
        ("another one", scans("K-05499"), "K-05499"),
        ("a third", scans("K-87760"), "K-87760"),
    ])  # fmt: skip
    assert person.ended() == 0, person.seen
    assert meanings(tmp_path, "scanner", b"]C0K-40312\r\n]C0K-4O312\r\n") == [
        ("K-40312", None, "ok", None), ("layout",),
    ]  # fmt: skip
    kept_files_say_the_same(tmp_path, "scanner", "identifier")


def test_two_explanations_are_settled_by_one_more_observation(line: PtyLine, tmp_path: Path) -> None:
    """Gross and net are equal until something else lies there: which one is meant must be asked."""
    tare = 0

    def prints(value: int) -> Deed:
        return lambda: void(line.send(f"G{value + tare:6d} N{value:6d} g\r\n".encode()))

    def with_tare() -> None:
        nonlocal tare
        tare = 250
        prints(4321)()

    person = Person(tmp_path, line.port, "--name", "two", "--kind", "mass", "--baud", "4800")
    person.waits_for("print key")
    prints(7)()
    person.plays([
        ("Take everything off.", prints(0), "0 g"),
        ("Put 500 g on", prints(500), "500"),
        ("Take it off.", None, "skip"),
        ("fewer digits", prints(12), "12"),
        ("below zero", None, ""),
        ("overload", None, ""),
        ("with a tare or a container", with_tare, "4321"),
    ])  # fmt: skip
    assert person.ended() == 0, person.seen
    assert meanings(tmp_path, "two", b"G   999 N   512 g\r\n") == [("512", "g", "ok", None)]


def test_prompts_are_spoken_where_a_speech_program_is(line: PtyLine, tmp_path: Path) -> None:
    """A stand-in for the speech program writes down what it is given to say."""
    said = tmp_path / "said"
    speaker = tmp_path / "bin" / "espeak-ng"
    speaker.parent.mkdir()
    speaker.write_text(f"#!/bin/sh\ncat >> {said}; echo >> {said}\n")
    speaker.chmod(0o755)
    person = Person(
        tmp_path, line.port, "--name", "board", "--kind", "length", "--baud", "4800", "--say",
        path=f"{speaker.parent}:{os.environ['PATH']}",
    )  # fmt: skip
    person.waits_for("touch it once")
    line.send(b"L55.5\r")
    person.waits_for("Touch 100 mm.")
    person.waits_for(": ")
    until(lambda: said.exists() and "Touch 100 mm." in said.read_text())
    os.killpg(person.process.pid, signal.SIGINT)
    assert person.ended() == 130


def test_ctrl_c_loses_nothing(line: PtyLine, tmp_path: Path) -> None:
    scale = Stream(line, scale_frame)
    person = Person(tmp_path, line.port, "--name", "pan", "--kind", "mass", "--baud", "4800")
    person.plays([
        ("Take everything off.", None, "0.0 g"),
        ("Put 500 g on", scale.loads("120.5", "500.0"), "500.0"),
    ])  # fmt: skip
    person.waits_for("Take it off.")
    os.killpg(person.process.pid, signal.SIGINT)
    assert person.ended() == 130
    scale.close()
    assert "thwart learn --capture pan.capture --shown pan.csv --out pan.toml" in _plain(person.seen)
    heard = read_capture(tmp_path / "pan.capture")
    assert b"ST,+  500.0 g\r\n" in heard.data
    shown = parse_shown((tmp_path / "pan.csv").read_text(), len(heard.data), "shown.csv")
    assert [(o.condition, o.text) for o in shown] == [("zero", "0.0"), ("moving", ""), ("ok", "500.0")]
    assert not (tmp_path / "pan.toml").exists()
    assert line.send(b"x") == 0, "the port was let go"


def test_without_a_speed_that_makes_text_the_menu_of_the_instrument_is_asked(tmp_path: Path) -> None:
    odd = PtyLine(tmp_path / "port", LineSettings(baud=300))
    scale = Stream(odd, scale_frame)
    person = Person(tmp_path, odd.port, "--name", "slow", "--kind", "mass")
    person.waits_for("What does the instrument's own menu say?", 40)
    person.types("three hundred")
    person.waits_for("speed, data bits, parity")
    person.types("300 8n1")
    person.waits_for("text: |")
    person.waits_for("Take everything off.")
    os.killpg(person.process.pid, signal.SIGINT)
    assert person.ended() == 130
    scale.close()
    odd.close()


def void(_: object) -> None:
    """A deed gives nothing back."""
