"""`thwart ports`, `thwart listen`, `thwart decode`: what is plugged in, what it says, and what a profile makes of it."""

from __future__ import annotations

import json
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from ..ports import (
    Capture,
    CaptureWriter,
    Chunk,
    Ended,
    LineSettings,
    Port,
    describe_ports,
    open_port,
    parse_spec,
    read_bytes_or_capture,
)
from ..ports.capture import PER_LINE, read_capture
from ..ports.spec import Replay, Spec, UsbDevice
from ..ports.usbtree import describe_usb
from ..profiles import Profile, load_profile, shipped_profiles
from ..records import DESCRIPTOR, RecordReader
from ..wire.channel import Ear, Heard
from .profiles import profile_named
from .screen import table, wrapped

#: Bytes at the end of what was heard by which fitting profiles are looked for.
_JUDGED = 32_768
_SHOWN = 6
#: Shorter silences are those between the pieces of one message.
_SILENCE_S = 0.005


@click.command(epilog="Example: thwart ports")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON array instead of a table.")
def ports(as_json: bool) -> None:
    """List the serial ports and USB instruments that are plugged in.

    The first column is the name to write into bench.toml: it means the same adapter whichever socket it is in, where
    the adapter can be told apart at all. Network ports (socket://, rfc2217://) don't show here.
    """
    found = [*describe_ports(), *describe_usb()]
    if as_json:
        rows: list[dict[str, Any]] = [
            {
                "name": p.name, "device": p.device, "usb": p.usb, "by_id": list(p.by_id), "by_path": list(p.by_path),
                "description": p.description, "in_use_by": [{"pid": h.pid, "program": h.program} for h in p.holders],
            }
            for p in found
        ]  # fmt: skip
        click.echo(json.dumps(rows, ensure_ascii=False))
        return
    if not found:
        click.echo("no serial port is plugged in")
        return
    head = ("name", "device", "what it is", "in use by")
    cells = [(p.name, p.device, p.description, ", ".join(str(h) for h in p.holders)) for p in found]
    click.echo("\n".join(table([head, *cells], _width())))


def line_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that set a serial line, for every command that opens one."""
    for option in reversed((
        click.option("--baud", type=click.IntRange(50, 4_000_000), help="Speed; default the profile's, or 9600."),
        click.option("--data-bits", type=click.Choice(["5", "6", "7", "8"]), help="Bits of a character; default 8."),
        click.option("--parity", type=click.Choice(["none", "even", "odd", "mark", "space"]), help="Default none."),
        click.option("--stop-bits", type=click.Choice(["1", "1.5", "2"]), help="Default 1."),
        click.option("--flow", type=click.Choice(["none", "xonxoff", "rtscts"]), help="Flow control; default none."),
        click.option("--dtr/--no-dtr", default=None, help="Control line DTR at opening; default on."),
        click.option("--rts/--no-rts", default=None, help="Control line RTS at opening; default on."),
    )):  # fmt: skip
        command = option(command)
    return command


@click.command(
    epilog="Examples: thwart listen /dev/ttyUSB0 --baud 4800    "
    "thwart listen usb:1234:0001:SCALE --profile status-commas-mass --out scale.capture"
)
@click.argument("port")
@click.option("--profile", "profile_name", metavar="NAME", help="Show what this profile makes of each frame, too.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="Write a capture; never overwrites.")
@click.option("--note", default="", metavar="TEXT", help="A remark for the capture's header.")
@click.option("--seconds", type=click.FloatRange(min=0, min_open=True), help="End after so long (else: Ctrl-C).")
@line_options
def listen(
    port: str, profile_name: str | None, out: Path | None, note: str, seconds: float | None, **settings: Any
) -> None:
    """See and capture what a port says.

    Each piece with its time in seconds, the silence before it, its bytes in hexadecimal and as text. Line settings are the profile's where one is given; options overrule them. At the end it names the profiles that
    explain what came. Ctrl-C is the normal end.
    """
    spec = parse_spec(port, "PORT")
    profile = None if profile_name is None else profile_named(profile_name)
    line = line_settings(profile, settings)
    with ExitStack() as open_things:
        opened = open_port(spec, line)
        open_things.callback(opened.close)
        start_ns = time.monotonic_ns()
        header = Capture((), line, str(spec), datetime.now().astimezone().isoformat(timespec="seconds"), note)
        writer = None if out is None else open_things.enter_context(CaptureWriter(out, header, start_ns))
        click.echo(f"listening to {spec}, {line}; Ctrl-C ends", err=True)
        chunks: list[Chunk] = []
        judge = None if profile is None else _Judge(profile)
        view = _View(_width(), reports=_sends_reports(spec))
        try:
            for at_ns, data in _heard(opened, profile, start_ns, seconds):
                if data:
                    chunks.append(Chunk(at_ns - start_ns, data))
                    click.echo("\n".join(view.piece(chunks[-1])))
                    if writer is not None:
                        writer.chunk(data, at_ns)
                if judge is not None:
                    judge.show(data, at_ns - start_ns)
        except (KeyboardInterrupt, Ended):
            pass
    _sum_up(chunks, line, judge, reports=_sends_reports(spec))


def _sends_reports(spec: Spec) -> bool:
    """Whether what comes are records of reports, not bytes of text."""
    if isinstance(spec, Replay):
        return read_capture(spec.path).port.startswith("hid:")
    return isinstance(spec, UsbDevice) and spec.kind == "hid"


class _View:
    """What came, as lines for the eye: time, silence before it, hexadecimal beside text, as wide as the terminal.

    Of reports each stands on lines of its own, without the record's head.
    """

    def __init__(self, width: int, *, reports: bool) -> None:
        self._per_line = max(4, min(PER_LINE, (width - 23) // 4))
        self._reader = RecordReader() if reports else None
        self._last_ns: int | None = None

    def piece(self, chunk: Chunk) -> list[str]:
        """The lines of one piece."""
        head = f"{chunk.at_ns / 1e9:9.3f} "
        silence = 0.0 if self._last_ns is None else (chunk.at_ns - self._last_ns) / 1e9
        self._last_ns = chunk.at_ns
        head += f"{'+' + format(silence, '.3f') if silence >= _SILENCE_S else '':>8}"
        if self._reader is None:
            return self._bytes(head, chunk.data)
        lines = []
        for one in self._reader.feed(chunk.data):
            if one.kind == DESCRIPTOR:
                lines.append(f"{head}  interface {one.interface} describes its reports:")
                head = " " * len(head)
            lines += self._bytes(head, one.payload)
            head = " " * len(head)
        left, _ = self._reader.rest() if self._reader.broken else (b"", 0)
        return lines + (self._bytes(head, left) if left else [])

    def _bytes(self, head: str, data: bytes) -> list[str]:
        lines = []
        for start in range(0, len(data), self._per_line):
            piece = data[start : start + self._per_line]
            text = "".join(chr(byte) if 32 <= byte < 127 else "." for byte in piece)
            lines.append(f"{head}  {piece.hex(' ').upper():<{self._per_line * 3 - 1}}  |{text}|")
            head = " " * len(head)
        return lines


def _heard(port: Port, profile: Profile | None, start_ns: int, seconds: float | None) -> Iterator[tuple[int, bytes]]:
    """What comes and when, with an empty piece now and then so that silence can mean something."""
    end_ns = None if seconds is None else start_ns + int(seconds * 1e9)
    ask = None if profile is None else profile.ask
    ask_ns = start_ns
    while end_ns is None or time.monotonic_ns() < end_ns:
        if ask is not None and time.monotonic_ns() >= ask_ns:
            port.write(ask.command)
            ask_ns = time.monotonic_ns() + int(ask.interval_ms * 1e6)
        data = port.read(0.05)
        yield time.monotonic_ns(), data


def line_settings(profile: Profile | None, given: dict[str, Any]) -> LineSettings:
    """The settings to open a port with: options before the profile's, those before the usual ones."""
    own = {} if profile is None else profile.line.model_dump(exclude={"latency_ms"})
    chosen = {key: value for key, value in given.items() if value is not None}
    for key, kind in (("data_bits", int), ("stop_bits", float)):
        if key in chosen:
            chosen[key] = kind(chosen[key])
    return replace(LineSettings(), **own | chosen)


class _Judge:
    """Shows what a profile makes of each frame, and counts."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.counts: Counter[str] = Counter()
        self._ear = Ear(profile)
        self._ear.opened(0)

    def show(self, data: bytes, at_ns: int) -> None:
        """One piece, or none: silence."""
        heard = self._ear.feed(data, at_ns) if data else self._ear.wake(at_ns)
        for one in heard:
            meaning = meaning_of(one)
            self.counts["rejected" if one.rejected else "understood" if one.decoded else "chatter"] += 1
            text = " ".join(str(v) for v in (meaning["value"], meaning["unit"], meaning["identifier"]) if v is not None)
            marks = [] if meaning["condition"] == "ok" else [meaning["condition"]]
            marks += [] if meaning["reason"] is None else [meaning["reason"]]
            marks += [{True: "settled", False: "moving"}[meaning["settled"]]] if meaning["settled"] is not None else []
            marks += [] if meaning["load"] is None else [meaning["load"]]
            click.echo(" " * 18 + "  = " + " · ".join(part for part in (text, ", ".join(dict.fromkeys(marks))) if part))


def _sum_up(chunks: Sequence[Chunk], line: LineSettings, judge: _Judge | None, *, reports: bool) -> None:
    data = b"".join(chunk.data for chunk in chunks)
    if not data:
        click.echo(
            "nothing came: is the instrument on, set to send, and on this port? some only answer when asked", err=True
        )
        return
    click.echo(f"{len(data)} bytes in {len(chunks)} pieces", err=True)
    if judge is not None:
        counts = ", ".join(f"{n} {what}" for what, n in judge.counts.most_common())
        click.echo(f"{judge.profile.name}: {counts or 'no whole frame yet'}", err=True)
        return
    strange = sum(not (32 <= byte < 127 or byte in b"\r\n\t\x02\x03\x1d") for byte in data)
    if strange * 2 > len(data) and not reports:
        click.echo(f"most of it is no text: is {line.baud} the right speed? try --baud, --parity", err=True)
    fitting = [f"{p.name}  {p.title}" for p in _fitting(chunks)]
    click.echo("profiles that explain it:" if fitting else "no shipped profile explains it", err=True)
    for text in fitting[:_SHOWN]:
        for row in wrapped(text, _width(), first="  ", rest="      "):
            click.echo(row, err=True)


def _fitting(chunks: Sequence[Chunk]) -> list[Profile]:
    """Shipped profiles that understand most of it. Those with a number first: anything printable could be a label."""
    size, first = 0, len(chunks)
    while first and size < _JUDGED:
        first -= 1
        size += len(chunks[first].data)
    found = []
    for path in shipped_profiles().values():
        profile = load_profile(path)
        heard = frames_of(profile, Capture(tuple(chunks[first:])))
        understood = sum(one.decoded is not None for one in heard)
        refused = sum(one.rejected not in (None, "torn") for one in heard)
        if understood and refused * 3 <= understood:
            found.append((profile.unit is None, refused / understood, -understood, profile.name, profile))
    return [profile for *_, profile in sorted(found, key=lambda each: each[:4])]


@click.command(epilog="Example: thwart decode --profile status-commas-mass scale.capture | head -3")
@click.option("--profile", "profile_name", required=True, metavar="NAME", help="A profile's name, or its file.")
@click.argument("capture", type=click.Path(path_type=Path))
def decode(profile_name: str, capture: Path) -> None:
    """Show what a profile makes of a capture, as JSON lines.

    CAPTURE is a file of `thwart listen --out`, or any file of plain bytes. One object a frame: offset, raw, value,
    unit, settled, condition, load, identifier, symbology, reason; null where it doesn't apply. What can't be explained
    has the condition "rejected" and a reason; what the profile names as chatter has the condition "chatter".
    """
    profile = profile_named(profile_name)
    for one in frames_of(profile, read_bytes_or_capture(capture)):
        click.echo(json.dumps(meaning_of(one), ensure_ascii=False))


def frames_of(profile: Profile, capture: Capture) -> list[Heard]:
    """The frames of a capture, framed by its own times. Without times the first byte is taken to begin a frame."""
    ear = Ear(profile)
    timed = len(capture.chunks) > 1 or capture.line is not None
    if timed:
        ear.opened(0)
    else:
        ear.trust()
    heard: list[Heard] = []
    for chunk in capture.chunks:
        heard += ear.feed(chunk.data, chunk.at_ns)
    return heard + ear.closed()


def meaning_of(heard: Heard) -> dict[str, Any]:
    """A frame's meaning as plain JSON values. `value` is the number as sent, as text; `raw` one code point a byte."""
    said = heard.decoded
    return {
        "offset": heard.offset,
        "raw": heard.raw.decode("latin-1"),
        "value": said.text if said else None,
        "unit": said.unit if said else None,
        "settled": said.settled if said else None,
        "condition": said.condition if said else "rejected" if heard.rejected else "chatter",
        "load": said.load if said else None,
        "identifier": said.identifier if said else None,
        "symbology": said.symbology if said else None,
        "reason": heard.rejected,
    }


def _width() -> int:
    return shutil.get_terminal_size((80, 24)).columns
