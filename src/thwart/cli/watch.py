"""`thwart watch`: a running bench in a terminal, as long as one looks."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sys
import threading
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ..config import BENCH_FILE
from ..errors import ThwartError
from ..languages import DEFAULT, LANGUAGES, Language, language
from .benches import bench_argument, bench_of
from .watching import Line, Style, View, plain, screen

if TYPE_CHECKING:
    from rich.text import Text

#: The screen is made anew this often while nothing comes, for the ages on it.
_EVERY_S = 0.5
#: However much comes, not more often than this.
_AT_MOST_S = 0.1
_AGAIN_S = 0.5
_STYLES: dict[Style, str] = {"plain": "", "strong": "bold", "urgent": "bold reverse", "quiet": "dim"}


@click.command(epilog="Examples: thwart watch lake-survey    thwart watch lake-survey > watch.log")
@bench_argument
def watch(bench: Path | None) -> None:
    """Show a running bench in this terminal, until q or Ctrl-C.

    Each place with the fish in hand, what came last, what is wanted and asked; what to look at before the tray goes;
    the instruments, and when each was last heard. A service that is started again is found again. Where the output is
    no terminal, or a dumb one, a line is printed whenever something changes.
    """
    folder = bench_of(bench)
    looking = Looking(folder, _words_of(folder))
    looking.start()
    try:
        if sys.stdout.isatty() and os.environ.get("TERM", "dumb") != "dumb":
            _on_screen(looking)
        else:
            _line_by_line(looking)
    except KeyboardInterrupt:
        pass
    finally:
        looking.stop()


def _words_of(folder: Path) -> Language:
    """The bench's language. Its file may be gone or broken while its service runs: English then."""
    try:
        code = tomllib.loads((folder / BENCH_FILE).read_text(encoding="utf-8")).get("language", DEFAULT)
    except (OSError, ValueError):
        code = DEFAULT
    return language(code if code in LANGUAGES else DEFAULT)


class Looking:
    """Looks at a bench in threads of its own: the screen goes on when the service doesn't answer."""

    def __init__(self, folder: Path, words: Language) -> None:
        self._folder = folder
        self._words = words
        self._stopping = threading.Event()
        self._news = threading.Event()
        self._changed = threading.Event()
        self._status: dict[str, Any] | None = None
        self._at = time.monotonic()
        self._trouble = ""

    def start(self) -> None:
        """Begin to look."""
        threading.Thread(target=self._look, name="look", daemon=True).start()
        threading.Thread(target=self._follow, name="follow", daemon=True).start()

    def stop(self) -> None:
        """Look no more. What still waits for an answer ends with the program."""
        self._stopping.set()
        self._news.set()

    def wait(self, seconds: float) -> None:
        """Until something was seen, or so long."""
        self._changed.wait(seconds)
        self._changed.clear()

    def view(self) -> View:
        """What was seen last."""
        return View(self._status, time.monotonic() - self._at, self._trouble, self._words)

    def _look(self) -> None:
        from ..service.control import Client

        while not self._stopping.is_set():
            try:
                client = Client(self._folder)
            except ThwartError as error:
                self._say(error.message)
                self._stopping.wait(_AGAIN_S)
                continue
            try:
                while not self._stopping.is_set():
                    status = client.ask(do="status")["status"]
                    self._status, self._at, self._trouble = status, time.monotonic(), ""
                    self._changed.set()
                    self._news.wait(_EVERY_S)
                    self._news.clear()
                    self._stopping.wait(_AT_MOST_S)
            except (ThwartError, OSError, ValueError) as error:
                self._say(error.message if isinstance(error, ThwartError) else self._words.tables["watch"]["went-away"])
                self._stopping.wait(_AGAIN_S)
            finally:
                client.close()

    def _follow(self) -> None:
        """What is committed is looked at at once."""
        from ..service.control import Client

        while not self._stopping.is_set():
            with contextlib.suppress(ThwartError, OSError, ValueError):
                client = Client(self._folder)
                try:
                    since = client.ask(do="status")["status"]["committed_seq"]
                    for _ in client.follow(since, self._stopping.is_set):
                        self._news.set()
                finally:
                    client.close()
            self._stopping.wait(_AGAIN_S)

    def _say(self, trouble: str) -> None:
        if trouble != self._trouble:
            self._trouble = trouble
            self._changed.set()


# ---- on a screen ---------------------------------------------------------------------------------------------------


def _on_screen(looking: Looking) -> None:
    from rich.console import Console
    from rich.live import Live

    # A shell that exported COLUMNS and LINES mustn't hide that the window was made larger or smaller.
    known = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    console = Console(highlight=False, _environ=known)
    ended = threading.Event()
    before = signal.signal(signal.SIGTERM, lambda *_: ended.set())
    try:
        with _keys() as keys, Live(console=console, screen=True, auto_refresh=False) as live:
            while not ended.is_set():
                width, height = console.size
                live.update(_text(screen(looking.view(), width, height)), refresh=True)
                looking.wait(_EVERY_S if keys is None else _AT_MOST_S)
                if keys is not None and _pressed(keys) in ("q", "Q", "\x03", ""):
                    return
    finally:
        signal.signal(signal.SIGTERM, before)


def _text(lines: list[Line]) -> Text:
    from rich.text import Text

    text = Text(no_wrap=True, overflow="crop", end="")
    for at, line in enumerate(lines):
        text.append(("\n" if at else "") + line.text, _STYLES[line.style])
    return text


@contextlib.contextmanager
def _keys() -> Iterator[int | None]:
    """The keyboard, a key at a time and unechoed; None where there is none. Put back as it was."""
    if not sys.stdin.isatty():
        yield None
        return
    import termios
    import tty

    keyboard = sys.stdin.fileno()
    before = termios.tcgetattr(keyboard)
    try:
        tty.setcbreak(keyboard)
        yield keyboard
    finally:
        termios.tcsetattr(keyboard, termios.TCSADRAIN, before)


def _pressed(keyboard: int) -> str | None:
    """The key that was pressed, "" where the keyboard is gone, None where nothing was."""
    if not select.select([keyboard], [], [], 0)[0]:
        return None
    try:
        return os.read(keyboard, 1).decode("latin-1")
    except OSError:
        return ""


# ---- line by line --------------------------------------------------------------------------------------------------


def _line_by_line(looking: Looking) -> None:
    told: dict[str, str] = {}
    while True:
        for name, text in plain(looking.view()).items():
            if told.get(name) != text:
                click.echo(f"{name}: {text}")
                told[name] = text
        sys.stdout.flush()
        looking.wait(_EVERY_S)
