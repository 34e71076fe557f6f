"""`thwart learn PORT`: the settings of an unknown instrument's line, and a person led to show what it can say."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final

import click

from ..announce.machine import VOICES
from ..doctor.hearing import SPEEDS
from ..errors import PortError, ThwartError
from ..learn import Evidence, Learned, NeedMore, learn, parse_shown
from ..learn.lead import KINDS, STEPS, Answer, Kind, Row, Step, shown_text, understood
from ..learn.settings import FEWEST_BYTES, format_of, makes_sense
from ..ports import Capture, CaptureWriter, Chunk, Ended, LineSettings, Port, Spec, describe_ports, open_port
from ..ports.spec import Device, Rfc2217, Usb
from .capturing import evidence_of, line_keys
from .screen import wrapped

#: How long is listened at a setting before an instrument counts as silent, and how long after its last byte.
_LISTEN_S, _QUIET_S = 1.5, 0.4
#: So many bytes tell whether they are text.
_ENOUGH = 48
#: While nothing comes for so long, what it may be is told.
_HINT_S = 20.0
#: After an answer the display must stand still so long, and until so many bytes came, and no longer than that.
_HOLD_S, _HOLD_BYTES, _HOLD_MOST_S = 1.2, 24, 4.0
#: A print comes within that time after its key.
_PRINT_S = 3.0
_MOST_ASKED = 6
_MEANS: Final = {"mass": "scale", "length": "board", "identifier": "reader"}


class Recording:
    """A port read in the background, into memory and into a capture; a port that went is opened again."""

    def __init__(self, spec: Spec, line: LineSettings, port: Port, writer: CaptureWriter, start_ns: int) -> None:
        self.line = line
        self.chunks: list[Chunk] = []
        self.size = 0
        self.trouble = ""
        """Why nothing can come now."""
        self._spec, self._port, self._writer, self._start_ns = spec, port, writer, start_ns
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._read, name=f"learn {spec}", daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._ends.is_set():
            try:
                data = self._port.read(0.1)
            except Ended:
                return
            except PortError as error:
                self.trouble = error.message
                self._port.close()
                self._reopen()
                continue
            if data:
                now = time.monotonic_ns()
                self._writer.chunk(data, now)
                self.chunks.append(Chunk(now - self._start_ns, data))
                self.size += len(data)

    def _reopen(self) -> None:
        while not self._ends.wait(0.25):
            try:
                self._port = open_port(self._spec, self.line)
            except PortError as error:
                self.trouble = error.message
            else:
                self.trouble = ""
                return

    def since(self, offset: int) -> bytes:
        """What came from `offset` on."""
        return b"".join(chunk.data for chunk in self.chunks)[offset:]

    def wait(self, offset: int, enough: int, least_s: float, most_s: float, quiet_s: float = 0.0) -> None:
        """Wait until `enough` bytes came after `offset`, `least_s` passed and it was quiet for `quiet_s`; at most `most_s`."""
        start = last = time.monotonic()
        size = self.size
        while (now := time.monotonic()) - start < most_s:
            if self.size != size:
                size, last = self.size, now
            if size - offset >= enough and now - start >= least_s and now - last >= quiet_s:
                return
            time.sleep(0.02)

    def close(self) -> None:
        """Stop reading."""
        self._ends.set()
        self._port.cancel()
        self._thread.join(2.0)
        self._port.close()


class Voice:
    """Says prompts aloud, where a program for it is installed; a new one ends the one before."""

    def __init__(self) -> None:
        found = next((name for name in VOICES if shutil.which(name)), None)
        if found is None:
            raise ThwartError(
                f"no speech program is installed ({', '.join(VOICES)})",
                "sudo apt install espeak-ng, or leave --say out",
            )
        self._program = found
        self._running: subprocess.Popen[bytes] | None = None

    def __call__(self, text: str) -> None:
        """Begin to say it."""
        if self._running is not None and self._running.poll() is None:
            self._running.terminate()
            self._running.wait()
        values = {"language": "en", "volume": "100", "above": "100", "words": text}
        command = [self._program, *(argument.format_map(values) for argument in VOICES[self._program])]
        self._running = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        assert self._running.stdin is not None
        with contextlib.suppress(OSError):
            self._running.stdin.write(text.encode())
            self._running.stdin.close()


def teach(
    spec: Spec, port_name: str, line: LineSettings, try_settings: bool, kind: str | None, out: Path, title: str | None,
    say: bool, finish: Callable[[Learned, Evidence], None],
) -> None:  # fmt: skip
    """Lead a person at the instrument and write the profile with `finish`. Raises PortError, ThwartError, click.Abort."""
    voice = Voice() if say else None
    capture, shown = out.with_suffix(".capture"), out.with_suffix(".csv")
    for path in (capture, shown):
        if path.exists():
            raise ThwartError(
                f"{path} exists already",
                f"finish it with `thwart learn --capture {capture} --shown {shown} --out {out}`, or choose another name",
            )
    told = _Told(voice)
    kind_code: Kind = KINDS[_asked_kind() if kind is None else _MEANS[kind]]
    with ExitStack() as open_things:
        line, port, heard = _settled_line(spec, line, try_settings, kind_code, told)
        open_things.callback(port.close)
        start_ns = time.monotonic_ns()
        header = Capture((), line, str(spec), datetime.now().astimezone().isoformat(timespec="seconds"), "thwart learn")
        writer = open_things.enter_context(CaptureWriter(capture, header, start_ns))
        recording = Recording(spec, line, port, writer, start_ns)
        open_things.callback(recording.close)
        lesson = _Lesson(recording, kind_code, told, shown, streams=_speaks_by_itself(recording, heard))
        try:
            learned, evidence = lesson.run(out.stem)
        except (click.Abort, KeyboardInterrupt, ThwartError):
            click.echo()
            if not lesson.rows:
                click.echo(f"what came so far is in {capture}", err=True)
                raise
            click.echo(f"nothing is lost: {capture} and {shown} hold what was sent and shown so far", err=True)
            click.echo(f"  → thwart learn --capture {capture} --shown {shown} --out {out}", err=True)
            raise
    finish(learned.titled(title) if title else learned, evidence)
    click.echo(f"what was sent: {capture}; what was shown: {shown}")
    click.echo(f"\nproved: thwart profile check {out}\n")
    click.echo("For bench.toml, and the profile into the bench's folder profiles/:\n")
    click.echo(
        f'    [instruments.{_MEANS[kind_code]}]\n    profile = "{out.stem}"\n    port = "{_steady(spec, port_name)}"'
    )


class _Told:
    """What is said to the person, on the screen and, with a voice, aloud."""

    def __init__(self, voice: Voice | None) -> None:
        self.voice = voice

    def __call__(self, text: str, *, first: str = "", rest: str = "") -> None:
        for row in wrapped(text, shutil.get_terminal_size((80, 24)).columns, first=first, rest=rest):
            click.echo(row)
        if self.voice is not None:
            self.voice(text)


def _asked_kind() -> str:
    found: str = click.prompt("What is it?", type=click.Choice(list(KINDS)), prompt_suffix=" ")
    return found


# ---- line settings ---------------------------------------------------------------------------------------------------


def _settled_line(
    spec: Spec, line: LineSettings, try_settings: bool, kind: Kind, told: _Told
) -> tuple[LineSettings, Port, bytes]:
    """The settings that make text of what comes, the port opened with them, and what came."""
    tries = _tries(line) if try_settings and isinstance(spec, Device | Usb | Rfc2217) else iter([line])
    prompted = False
    for one in tries:
        while True:
            port = open_port(spec, one)
            try:
                data, prompted = _first_bytes(port, kind, told, prompted)
            except BaseException:
                port.close()
                raise
            found = format_of(data)
            label = str(one).partition(" flow")[0]
            if makes_sense(data):
                click.echo(f"  {label:<12} text: {_preview(data)}")
                return one, port, data
            if found is not None and try_settings:
                click.echo(f"  {label:<12} text of seven bits with {found[1]} parity")
                one = replace(one, data_bits=found[0], parity=found[1])
                port.close()
                return one, open_port(spec, one), bytes(byte & 0x7F for byte in data)
            click.echo(f"  {label:<12} {len(data)} bytes, no text")
            port.close()
            break
    return _asked_line(spec, line, kind, told)


def _tries(line: LineSettings) -> Iterator[LineSettings]:
    yield line
    yield from (replace(line, baud=baud) for baud in SPEEDS if baud != line.baud)


def _asked_line(spec: Spec, line: LineSettings, kind: Kind, told: _Told) -> tuple[LineSettings, Port, bytes]:
    """What the instrument's own menu says, taken whether it makes sense or not: it may send no text at all."""
    told("No usual speed makes text of it. What does the instrument's own menu say? As 9600 8N1.")
    while True:
        text = click.prompt("  line settings", prompt_suffix=": ")
        try:
            given = LineSettings.parse(f"{' '.join(text.upper().split())} flow={line.flow} dtr=on rts=on")
        except ValueError:
            click.echo("  speed, data bits, parity N E or O, stop bits: 9600 8N1, 4800 7E1")
            continue
        given = replace(given, dtr=line.dtr, rts=line.rts)
        port = open_port(spec, given)
        data, _ = _first_bytes(port, kind, told, True)
        click.echo(f"  {'text' if makes_sense(data) else 'no text'}: {_preview(data)}")
        return given, port, data


def _first_bytes(port: Port, kind: Kind, told: _Told, prompted: bool) -> tuple[bytes, bool]:
    """Enough bytes to judge a setting by. Asks the person to make it send where it doesn't by itself."""
    do = {"mass": "put something on and press its print key", "length": "touch it once",
          "identifier": "scan something"}[kind]  # fmt: skip
    data = b""
    start = hinted = last = time.monotonic()
    if prompted:
        told(f"Once more, please: {do}.", first="  ", rest="  ")
    while True:
        more = port.read(0.1)
        now = time.monotonic()
        if more:
            data, last = data + more, now
        if len(data) >= _ENOUGH or (len(data) >= FEWEST_BYTES and now - last >= _QUIET_S and now - start >= _QUIET_S):
            return data, prompted
        if not data and not prompted and now - start >= _LISTEN_S:
            told(f"It sends nothing by itself: {do}.", first="  ", rest="  ")
            prompted = True
        if now - max(hinted, last) >= _HINT_S:
            told(
                "Nothing yet: is it switched on, the cable in, and does its menu say that it sends?",
                first="  ",
                rest="  ",
            )
            hinted = now


def _speaks_by_itself(recording: Recording, heard: bytes) -> bool:
    recording.wait(0, 1, 0.0, _LISTEN_S)
    return recording.size > 0


# ---- the lesson ------------------------------------------------------------------------------------------------------


class _Lesson:
    """The rows as they grow, and the questions."""

    def __init__(self, recording: Recording, kind: Kind, told: _Told, shown: Path, *, streams: bool) -> None:
        self.rows: list[Row] = []
        self._rec, self._kind, self._told, self._path, self._streams = recording, kind, told, shown, streams
        self._unit = ""
        self._number = 0
        self._end = recording.size

    def run(self, name: str) -> tuple[Learned, Evidence]:
        """Ask until what was shown has one explanation. Raises click.Abort, ThwartError."""
        what = _MEANS[self._kind]
        self._told(f"A {what} that {'sends all the time' if self._streams else 'sends when asked to'}.")
        click.echo()
        if self._kind != "identifier":
            hint = (
                "Wait until the display stands still, then type what it shows, as 412.5 g. "
                if self._streams
                else "Then type what it shows (or, without a display, what you did), as 412.5 g. "
            )
            self._told(f"{hint}Other answers: over, under, error; skip; back takes the last one back.")
            click.echo()
        for step in STEPS[self._kind]:
            self._observe(step)
        for _ in range(_MOST_ASKED):
            try:
                return self._learned(name)
            except NeedMore as more:
                for said in more.message.splitlines():
                    self._told(said)
                self._observe(Step(more.asks[0][:1].upper() + more.asks[0][1:] + "."))
            except ThwartError as wrong:
                for said in wrong.message.splitlines():
                    self._told(said)
                if wrong.hint:
                    self._told(wrong.hint, first="  → ", rest="    ")
                if not self._leave_out():
                    self._observe(Step("Show one more value, any that you haven't shown."))
        return self._learned(name)

    def _learned(self, name: str) -> tuple[Learned, Evidence]:
        heard = Capture(tuple(self._rec.chunks), self._rec.line)
        evidence = evidence_of(heard, parse_shown(shown_text(self.rows), len(heard.data), str(self._path)))
        return learn(evidence, name, self._kind, line_keys(heard)), evidence

    def _observe(self, step: Step) -> None:
        """One row, or none where it is skipped."""
        self._number += 1
        mark = f"{self._number:>2}  "
        again = False
        while True:
            self._told(step.do, first=mark if not again else " " * 4, rest=" " * 4)
            again = True
            started = self._rec.size
            answer = self._answer(step)
            if answer is None:
                return
            if answer == "back":
                self._take_back()
                continue
            assert isinstance(answer, Answer)
            if self._taken(answer, started):
                return

    def _answer(self, step: Step) -> Answer | str | None:
        ask = "it says" if self._kind == "identifier" else "the display shows"
        skip = " (Enter: skip)" if step.optional else ""
        while True:
            text = click.prompt(f"    {ask}{skip}", default="", show_default=False, prompt_suffix=": ").strip()
            if text == "skip" or (not text and step.optional):
                return None
            if text == "back":
                return text
            if not text:
                continue
            try:
                answer = understood(text, step, self._kind, self._unit)
            except ThwartError as wrong:
                self._told(f"{wrong.message}: {wrong.hint}", first="    ", rest="    ")
                continue
            self._unit = answer.unit or self._unit
            return answer

    def _taken(self, answer: Answer, started: int) -> bool:
        """Whether bytes came for the row; it is written then."""
        rec = self._rec
        before = len(self.rows)
        if self._streams:
            mark = rec.size
            click.echo("    keep it so …")
            rec.wait(mark, _HOLD_BYTES, _HOLD_S, _HOLD_MOST_S)
            if mark > self._end:
                # What came while the load changed: readings on their way, or, before a condition, anything.
                moved = answer.condition in ("ok", "zero") and before
                self.rows.append(Row(self._end, "", "", "moving" if moved else ""))
        else:
            mark = self._end
            rec.wait(mark, 1, 0.0, 0.0 if rec.size > started else _PRINT_S, _QUIET_S)
            rec.wait(mark, 1, _QUIET_S, _PRINT_S, _QUIET_S)
        data = rec.since(mark)
        if not data:
            del self.rows[before:]
            why = f" ({rec.trouble})" if rec.trouble else ""
            self._told(f"Nothing came{why}. Once more, please, or skip:", first="    ", rest="    ")
            return False
        self.rows.append(Row(mark, answer.value, answer.unit, answer.condition))
        self._end = rec.size
        # Nobody looked at what comes after the last row, until there is a next one.
        self._save([*self.rows, Row(self._end, "", "", "")] if self._streams else self.rows)
        click.echo(f"    {len(data)} bytes heard: {_preview(data)}")
        return True

    def _take_back(self) -> None:
        """The last observation counts no more; its bytes stay in the capture, and nobody looked."""
        if not self.rows:
            click.echo("    there is nothing to take back")
            return
        last = self.rows.pop()
        begin = last.offset
        if self.rows and self.rows[-1].condition == "moving":
            begin = self.rows.pop().offset
        self.rows.append(Row(begin, "", "", ""))
        self._save(self.rows)
        self._end = self._rec.size
        shown = " ".join(part for part in (last.value, last.unit) if part) or last.condition
        click.echo(f"    taken back: {shown}. Now again:")

    def _leave_out(self) -> bool:
        """Ask which row was mistyped; whether one is left out now."""
        for number, row in enumerate(self.rows, 1):
            if row.condition not in ("", "moving"):
                shown = " ".join(part for part in (row.value, row.unit, row.condition) if part)
                end = self.rows[number].offset if number < len(self.rows) else self._end
                click.echo(
                    f"    row {number:<3} {shown:<24} {_preview(self._rec.since(row.offset)[: end - row.offset])}"
                )
        text = click.prompt(
            "    leave a row out? (number; Enter: no)", default="", show_default=False, prompt_suffix=" "
        )
        if not text.strip().isdigit() or not 1 <= int(text) <= len(self.rows):
            return False
        at = int(text) - 1
        self.rows[at] = Row(self.rows[at].offset, "", "", "")
        self._save(self.rows)
        return True

    def _save(self, rows: Sequence[Row]) -> None:
        half = self._path.with_name(self._path.name + ".part")
        try:
            half.write_text(shown_text(rows), encoding="utf-8")
            half.replace(self._path)
        except OSError as error:
            raise ThwartError(
                f"{self._path} can't be written: {error.strerror}", "free the disk, or choose another folder"
            ) from None


def _preview(data: bytes) -> str:
    """The last whole line of what came, for the eye."""
    lines = [line for line in data.replace(b"\r", b"\n").replace(b"\x03", b"\n").split(b"\n") if line.strip()]
    text = (lines[-2] if len(lines) > 2 else lines[-1] if lines else data)[:36]
    return "|" + "".join(chr(byte) if 32 <= byte < 127 else "." for byte in text) + "|"


def _steady(spec: Spec, given: str) -> str:
    """The name that stays through a replug, where the port has one."""
    if not isinstance(spec, Device):
        return given
    here = Path(given).resolve()
    return next((port.name for port in describe_ports() if Path(port.device) == here), given)
