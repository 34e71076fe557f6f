"""The capture file: what a port said and when, for people to read and for the program to play again.

    thwart capture 1
    port: usb:1209:0001:A1
    line: 9600 8N1 flow=none dtr=on rts=on
    started: 2026-05-04T08:15:00+02:00
    note: board, wet

         0.000000  31 34 32 2E 35 20 6D 6D 0D 0A                    |142.5 mm..|
         1.204518  31 30                                            |10|

The hexadecimal bytes are what counts; the text beside them is for the eye. A chunk longer than sixteen bytes goes on in
lines that have `+` for a time. Times are seconds after the start, to the microsecond. A line that starts with `#` is
somebody's remark.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Self

from thwart.errors import ConfigError, NotFound, ThwartError
from thwart.ports.line import LineSettings

MAGIC = "thwart capture 1"
PER_LINE = 16
_KEYS = ("port", "line", "started", "note")
_CHUNK = re.compile(r"(?P<time>\d+\.\d{6}|\+)  (?P<hex>[0-9A-F]{2}(?: [0-9A-F]{2})*) *(?:\|.*\|)?")
_HINT = "a capture is written by `thwart listen`; docs/ports.md describes the format"


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as one read returned them, `at_ns` nanoseconds after the capture's start."""

    at_ns: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Capture:
    """A whole capture. `started` is the date as its writer gave it; header fields that weren't given are empty."""

    chunks: tuple[Chunk, ...]
    line: LineSettings | None = None
    port: str = ""
    started: str = ""
    note: str = ""

    @property
    def data(self) -> bytes:
        """All bytes, without their times."""
        return b"".join(chunk.data for chunk in self.chunks)


class CaptureWriter:
    """Writes a capture as it happens; each chunk reaches the file at once, so an interrupted capture is a whole one."""

    def __init__(self, path: str | Path, header: Capture, start_ns: int) -> None:
        """Begin `path` with the header of `header`; its chunks are written too. Raises ThwartError if `path` exists."""
        self._start_ns = start_ns
        try:
            self._file = Path(path).open("x", encoding="utf-8", newline="\n")  # noqa: SIM115 (closed by close)
        except FileExistsError:
            raise ThwartError(f"{path} exists already", "choose another name; a capture never overwrites") from None
        except OSError as error:
            raise ThwartError(f"{path} can't be written: {error.strerror}", "choose another place") from None
        self._write(render(replace(header, chunks=())))
        for chunk in header.chunks:
            self._write(render_chunk(chunk))

    def chunk(self, data: bytes, at_ns: int) -> None:
        """Add what was read at `at_ns`, on the clock that `start_ns` was read from."""
        self._write(render_chunk(Chunk(at_ns - self._start_ns, data)))

    def _write(self, text: str) -> None:
        try:
            self._file.write(text)
            self._file.flush()
        except OSError as error:
            raise ThwartError(
                f"{self._file.name} can't be written: {error.strerror}", "what was written before stays readable"
            ) from None

    def close(self) -> None:
        """End the capture."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def render(capture: Capture) -> str:
    """The text of a capture. A note's line breaks become spaces."""
    values = {
        "port": capture.port,
        "line": str(capture.line) if capture.line else "",
        "started": capture.started,
        "note": capture.note,
    }
    head = [MAGIC, *(f"{key}: {' '.join(value.split())}" for key, value in values.items() if value), "", ""]
    return "\n".join(head) + "".join(render_chunk(chunk) for chunk in capture.chunks)


def render_chunk(chunk: Chunk) -> str:
    """The lines of one chunk; none for no bytes."""
    micros = chunk.at_ns // 1000
    time = f"{micros // 1_000_000}.{micros % 1_000_000:06}"
    lines = []
    for start in range(0, len(chunk.data), PER_LINE):
        piece = chunk.data[start : start + PER_LINE]
        text = "".join(chr(byte) if 32 <= byte < 127 else "." for byte in piece)
        lines.append(f"{time if start == 0 else '+':>13}  {piece.hex(' ').upper():<{PER_LINE * 3 - 1}}  |{text}|\n")
    return "".join(lines)


def read_capture(path: str | Path) -> Capture:
    """Read a capture file. Raises NotFound if it isn't there, ConfigError naming every faulty line otherwise."""
    return parse(_bytes(path), str(path))


def read_bytes_or_capture(path: str | Path) -> Capture:
    """Read a capture, or any other file as one chunk of bytes at time zero. Raises as read_capture does."""
    content = _bytes(path)
    if content.startswith(MAGIC.encode()):
        return parse(content, str(path))
    return Capture(chunks=(Chunk(0, content),) if content else ())


def parse(content: bytes, where: str) -> Capture:
    """Read the text of a capture that stands in `where`. Raises ConfigError with all faults, each with its line."""
    try:
        lines = content.decode("utf-8").splitlines()
    except UnicodeDecodeError as error:
        number = content.count(b"\n", 0, error.start) + 1
        raise ConfigError(where, [f"{where}:{number}: not UTF-8 text"], _HINT) from None
    if not lines or lines[0] != MAGIC:
        raise ConfigError(where, [f"{where}:1: a capture begins with the line {MAGIC!r}"], _HINT)
    problems: list[str] = []
    numbered = [(number, line) for number, line in enumerate(lines, 1) if not line.startswith("#")][1:]
    body = next((at for at, (_, line) in enumerate(numbered) if not line.strip()), len(numbered))
    header = _parse_header(numbered[:body], where, problems)
    chunks = tuple(_parse_chunks(numbered[body:], where, problems))
    if problems:
        raise ConfigError(where, problems, _HINT)
    return replace(header, chunks=chunks)


def _parse_header(lines: list[tuple[int, str]], where: str, problems: list[str]) -> Capture:
    values: dict[str, str] = {}
    settings = None
    for number, line in lines:
        key, colon, value = line.partition(": ")
        if not colon or key not in _KEYS:
            problems.append(f"{where}:{number}: expected 'KEY: VALUE' with KEY one of {', '.join(_KEYS)}, not {line!r}")
        elif key in values:
            problems.append(f"{where}:{number}: {key!r} is given twice")
        else:
            values[key] = value.strip()
            if key == "line":
                try:
                    settings = LineSettings.parse(value.strip())
                except ValueError as error:
                    problems.append(f"{where}:{number}: {error}")
    return Capture(
        chunks=(),
        line=settings,
        port=values.get("port", ""),
        started=values.get("started", ""),
        note=values.get("note", ""),
    )


def _parse_chunks(lines: list[tuple[int, str]], where: str, problems: list[str]) -> Iterator[Chunk]:
    at_ns: int | None = None
    data = bytearray()
    for number, line in lines:
        if not line.strip():
            continue
        match = _CHUNK.fullmatch(line.strip())
        if match is None:
            problems.append(f"{where}:{number}: expected 'SECONDS  HEX BYTES  |text|', not {line.strip()!r}")
            continue
        if match["time"] == "+":
            if at_ns is None:
                problems.append(f"{where}:{number}: '+' continues a chunk, but none came before")
            data += bytes.fromhex(match["hex"])
            continue
        seconds, micros = match["time"].split(".")
        time_ns = (int(seconds) * 1_000_000 + int(micros)) * 1000
        if at_ns is not None:
            yield Chunk(at_ns, bytes(data))
            if time_ns < at_ns:
                problems.append(f"{where}:{number}: time {match['time']} lies before the chunk above")
        at_ns, data = time_ns, bytearray.fromhex(match["hex"])
    if at_ns is not None:
        yield Chunk(at_ns, bytes(data))


def _bytes(path: str | Path) -> bytes:
    try:
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise NotFound(f"{path} is not there", "check the name of the capture file") from None
    except OSError as error:
        raise ThwartError(f"{path} can't be read: {error.strerror}", "check that it is a file you may read") from None
