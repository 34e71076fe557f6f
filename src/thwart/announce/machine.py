"""What is heard from the computer the service runs on: tones and speech through its own sound programs.

One thread follows the feed, so nothing is heard before the commit that holds it. The newest wins: what still sounds is
ended by what comes, and nothing queues. The programs are the system's; one that fails or hangs is told of once and never
waited for.
"""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .feed import Alarm, Committed, Feed, Follower, alarm_changes, lines_of
from .following import Following
from .spoken import utterance
from .tones import wav

log = logging.getLogger(__name__)

#: Arguments of programs that play a file, the likeliest to work first.
PLAYERS: Mapping[str, tuple[str, ...]] = {
    "pw-play": ("{file}",),
    "paplay": ("{file}",),
    "aplay": ("-q", "{file}"),
    "afplay": ("{file}",),
}
#: Arguments of programs that speak; what is to be said comes on their standard input, or in place of `{words}`.
#: 150 words a minute: slower than their own pace, for ears in noise.
VOICES: Mapping[str, tuple[str, ...]] = {
    "espeak-ng": ("-v", "{language}", "-a", "{volume}", "-s", "150", "--stdin"),
    "spd-say": ("-w", "-l", "{language}", "-i", "{above}", "--", "{words}"),
    "say": ("-f", "-"),
}
#: A tone or a sentence that lasts longer is stuck.
_TONE_S, _SENTENCE_S = 3.0, 30.0
_URGENT = ("asked", "fault")
#: How soon the end of a program is seen, while one runs.
_LOOK_S = 0.02
_IDLE_S = 5.0
#: Of a program's complaints the last line says most.
_PIPE_BYTES, _COMPLAINT = 65_536, 200


@dataclass(frozen=True, slots=True)
class Loudness:
    """What is to be heard: tones, speech, each by which program (None: the first that is there), and how loud, 1 to 100."""

    tones: bool = True
    speech: bool = True
    player: str | None = None
    voice: str | None = None
    volume: int = 80


class Machine(Following):
    """The machine's own output; what is missing is told in the log, once."""

    def __init__(self, feed: Feed, loudness: Loudness, language: str, places: Sequence[str]) -> None:
        super().__init__(feed, "sound")
        self._language = language
        self._places = list(places)
        self._volume = loudness.volume
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._player = _Programs("player", PLAYERS, loudness.player) if loudness.tones else None
        self._voice = _Programs("voice", VOICES, loudness.voice) if loudness.speech else None
        self._running: _Running | None = None
        self._words = ""
        self._urgent = False

    def status(self) -> dict[str, str | None]:
        """By which programs tones are played and words spoken now; null where none is there."""
        programs = {"player": self._player, "voice": self._voice}
        return {what: p.first for what, p in programs.items() if p is not None}

    def _follow(self, follower: Follower) -> None:
        told: dict[str, Alarm] = {}
        try:
            while not self._stopping.is_set():
                groups, _ = follower.take(_LOOK_S if self._running is not None or self._words else _IDLE_S)
                said = _newest(groups, self._language)
                if said and self._yields(said):
                    said = ()
                for change in alarm_changes(told, self._feed.alarms, self._language):
                    said = change["said"]
                if said and not self._stopping.is_set():
                    self._begin(said)
                else:
                    self._go_on()
        finally:
            self._hush()
            if self._folder is not None:
                self._folder.cleanup()

    def _yields(self, said: Sequence[Mapping[str, Any]]) -> bool:
        """That an instrument is there, which is said to no place, doesn't end a question or a fault."""
        sound, place, _ = utterance(said)
        return sound == "next" and place is None and self._urgent and (self._running is not None or bool(self._words))

    def _begin(self, said: Sequence[Mapping[str, Any]]) -> None:
        """What is new ends what still sounds: first its tone, then its words."""
        sound, place, words = utterance(said)
        self._hush()
        self._urgent = sound in _URGENT
        self._words = words if self._voice is not None else ""
        if self._player is None:
            self._go_on()
            return
        nth = self._places.index(place) if place in self._places else 0
        try:
            file = self._file(sound, nth)
        except OSError as error:
            log.warning('no-tones reason="no room for a file: %s"', error.strerror)
            self._player = None
            return
        self._running = self._player.run({"file": file}, b"", _TONE_S)

    def _go_on(self) -> None:
        if self._running is not None:
            if not self._running.ended():
                return
            self._running = None
        if self._words and self._voice is not None:
            words, self._words = self._words, ""
            values = {
                "language": self._language, "volume": str(self._volume), "above": str(2 * self._volume - 100),
                "words": words,
            }  # fmt: skip
            self._running = self._voice.run(values, words.encode(), _SENTENCE_S)

    def _hush(self) -> None:
        self._words = ""
        if self._running is not None:
            self._running.kill()
            self._running = None

    def _file(self, sound: Any, nth: int) -> str:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="thwart-")
        path = Path(self._folder.name, f"{sound}-{nth}.wav")
        if not path.exists():
            path.write_bytes(wav(sound, nth, self._volume / 100))
        return str(path)


def _newest(groups: Sequence[Committed], language: str) -> Sequence[Mapping[str, Any]]:
    """What of groups that came together is heard: the newest, but a question or a fault is not lost to what came with it."""
    best: Sequence[Mapping[str, Any]] = ()
    for group in groups:
        said = [s for line in lines_of(group.entries, language) for s in line["said"]]
        if said and (not best or utterance(said)[0] in _URGENT or utterance(best)[0] not in _URGENT):
            best = said
    return best


class _Running:
    """A program under way, and when it counts as stuck."""

    def __init__(self, programs: _Programs, process: subprocess.Popen[bytes], limit_s: float) -> None:
        self._programs, self._process = programs, process
        self._until = time.monotonic() + limit_s

    def ended(self) -> bool:
        """Whether it is over; a stuck one is ended."""
        code = self._process.poll()
        if code is None:
            if time.monotonic() < self._until:
                return False
            self.kill()
            self._programs.failed("is stuck, and was ended")
            return True
        complaint = self._complaint()
        # One of them says that there is no output, and yet ends as if all were well.
        if code != 0 or complaint.startswith("error"):
            self._programs.failed(f"ended with {code}: {complaint or 'without a word'}")
        self._close()
        return True

    def kill(self) -> None:
        """End it and all it started."""
        with contextlib.suppress(OSError):
            os.killpg(self._process.pid, signal.SIGKILL)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(0.2)  # it may be caught in the kernel, where no signal reaches
        self._close()

    def _complaint(self) -> str:
        assert self._process.stderr is not None
        # A program it started may hold its end open: what isn't there yet isn't waited for.
        os.set_blocking(self._process.stderr.fileno(), False)
        with contextlib.suppress(OSError):
            said = os.read(self._process.stderr.fileno(), _PIPE_BYTES).decode("utf-8", "replace").split("\n")
            return next((" ".join(line.split())[:_COMPLAINT] for line in reversed(said) if line.strip()), "")
        return ""

    def _close(self) -> None:
        for pipe in (self._process.stdin, self._process.stderr):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


class _Programs:
    """Programs that can do one thing; the first that works does it. Of each, what is wrong is told once."""

    def __init__(self, what: str, known: Mapping[str, tuple[str, ...]], wanted: str | None) -> None:
        self._what, self._known = what, known
        self._found = [name for name in ([wanted] if wanted else known) if shutil.which(name)]
        self._told: set[str] = set()
        if not self._found:
            names = wanted or ", ".join(known)
            log.warning('no-%s reason="not installed: %s"', what, names)

    @property
    def first(self) -> str | None:
        """The program that is tried next."""
        return self._found[0] if self._found else None

    def run(self, values: Mapping[str, str], given: bytes, limit_s: float) -> _Running | None:
        """Start the first; None where there is none, or it can't be."""
        if not self._found:
            return None
        name = self._found[0]
        command = [name, *(arg.format_map(values) for arg in self._known[name])]
        try:
            process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                start_new_session=True,
            )
        except OSError as error:
            self.failed(f"can't be started: {error.strerror}")
            return None
        assert process.stdin is not None
        with contextlib.suppress(OSError):
            process.stdin.write(given)  # shorter than a pipe is deep, so it never waits
            process.stdin.close()
        return _Running(self, process, limit_s)

    def failed(self, why: str) -> None:
        """The first of them failed: the next time another is tried."""
        name = self._found.pop(0)
        self._found.append(name)
        if name not in self._told:
            self._told.add(name)
            log.warning('%s-failed program=%s reason="%s"', self._what, name, why.replace('"', "'"))
