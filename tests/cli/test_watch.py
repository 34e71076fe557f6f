"""`thwart watch` in a real terminal, of a real service."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.servicekit import Rig, rig, until


class Terminal:
    """A terminal of 80 × 24 with the command in it."""

    def __init__(self, folder: Path, **env: str) -> None:
        self.master, far = pty.openpty()
        self.far = far
        self.resize(80, 24)
        self.before = termios.tcgetattr(far)
        command = [sys.executable, "-m", "thwart", "watch", str(folder)]
        self.process = subprocess.Popen(
            command, stdin=far, stdout=far, stderr=far, env={**os.environ, "TERM": "xterm-256color", **env},
            start_new_session=True, preexec_fn=self._take,
        )  # fmt: skip
        self.output = ""
        threading.Thread(target=self._read, daemon=True).start()

    def _take(self) -> None:
        fcntl.ioctl(self.far, termios.TIOCSCTTY, 0)  # so that Ctrl-C reaches it as from a keyboard

    def _read(self) -> None:
        raw = b""
        while True:
            try:
                raw += os.read(self.master, 65536)
            except OSError:
                return
            self.output = raw.decode("utf-8", "replace")

    def resize(self, width: int, height: int) -> None:
        fcntl.ioctl(self.far, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))

    def shows(self, text: str, after: int = 0) -> int:
        """Waits until a text is on the screen; where the output stood then."""
        until(lambda: text in self.output[after:], f"{text!r} in {self.output[-2000:]!r}")
        return len(self.output)

    def type(self, keys: bytes) -> None:
        os.write(self.master, keys)

    def ended(self) -> int:
        return self.process.wait(20)

    def restored(self) -> bool:
        """The other screen is left, the cursor is there, and keys are echoed as before."""
        until(lambda: "\x1b[?1049l" in self.output, "the screen it came from")
        return (
            self.output.rindex("\x1b[?25h") > self.output.rindex("\x1b[?25l")
            and termios.tcgetattr(self.far) == self.before
        )

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        for fd in (self.master, self.far):
            with contextlib.suppress(OSError):
                os.close(fd)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path / "lake") as made:
        yield made


@contextlib.contextmanager
def terminal(folder: Path, **env: str) -> Iterator[Terminal]:
    made = Terminal(folder, **env)
    try:
        yield made
    finally:
        made.close()


def test_it_shows_the_bench_survives_a_restart_and_a_resize_and_quits_on_q(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    with terminal(bench.folder) as seen:
        seen.shows("batch bay")
        bench.touch(212)
        seen.shows("taken      total length 212 mm")
        bench.touch(340)
        at = seen.shows("now 340 mm: again or new?")
        bench.stop()
        at = seen.shows("NO SERVICE", at)
        seen.shows("FISH 1", at)
        bench.start()
        at = seen.shows("same fish?", at)
        seen.resize(50, 20)
        os.kill(seen.process.pid, signal.SIGWINCH)
        until(lambda: "─" * 50 in seen.output[at:].replace("─" * 51, ""), "a screen of 50 columns")
        seen.type(b"xq")
        assert seen.ended() == 0
        assert seen.restored()


@pytest.mark.parametrize("how", ["ctrl-c", "sigterm"])
def test_it_leaves_the_terminal_as_it_was(bench: Rig, how: str) -> None:
    with terminal(bench.folder) as seen:
        seen.shows("NO SERVICE")
        if how == "ctrl-c":
            seen.type(b"\x03")
        else:
            seen.process.send_signal(signal.SIGTERM)
        assert seen.ended() == 0
        assert seen.restored()


def test_a_dumb_terminal_gets_lines(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    with terminal(bench.folder, TERM="dumb") as seen:
        seen.shows("place table: FISH 1 (open)")
        bench.touch(212)
        seen.shows("place table: FISH 1 (open) · batch bay | last 1: total length 212 mm")
        seen.type(b"\x03")
        assert seen.ended() == 0
        assert "\x1b" not in seen.output
        assert "Traceback" not in seen.output


def test_into_a_file_it_prints_what_changes(bench: Rig) -> None:
    command = [sys.executable, "-m", "thwart", "watch", str(bench.folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline().startswith("bench: NO SERVICE: ")
        bench.start()
        assert process.stdout.readline() == "bench: lake · test solo, all saved\n"
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
    assert process.returncode == 0


def test_rich_is_imported_by_watch_alone() -> None:
    code = "import sys, thwart.service.service, thwart.cli.tree, thwart.cli.bench; print('rich' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
