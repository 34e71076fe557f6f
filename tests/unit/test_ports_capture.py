import math
import threading
from pathlib import Path

import pytest

from thwart.errors import ConfigError, NotFound, ThwartError
from thwart.ports import (
    Capture,
    CaptureWriter,
    Chunk,
    Ended,
    LineSettings,
    open_port,
    parse_spec,
    read_bytes_or_capture,
    read_capture,
)
from thwart.ports.replay import ReplayPort

MS = 1_000_000
TEXT = """\
thwart capture 1
port: usb:1209:0001:A1
line: 4800 7E2 flow=rtscts dtr=off rts=on
started: 2026-05-04T08:15:00+02:00
note: board, wet

# the perch of the first haul
     0.000000  31 34 32 2E 35 20 6D 6D 0D 0A                    |142.5 mm..|
     1.204518  00 01 02 03 04 05 06 07 08 09 0A 0B 0C 0D 0E 0F  |................|
            +  7C                                               |||
"""
WHOLE = Capture(
    chunks=(Chunk(0, b"142.5 mm\r\n"), Chunk(1_204_518_000, bytes(range(16)) + b"|")),
    line=LineSettings(4800, 7, "even", 2, "rtscts", dtr=False),
    port="usb:1209:0001:A1",
    started="2026-05-04T08:15:00+02:00",
    note="board, wet",
)


def test_the_documented_file_reads_as_it_looks(tmp_path: Path) -> None:
    path = tmp_path / "capture"
    path.write_text(TEXT)
    assert read_capture(path) == WHOLE
    assert read_capture(path).data == b"142.5 mm\r\n" + bytes(range(16)) + b"|"


def test_what_is_written_is_that_file(tmp_path: Path) -> None:
    path = tmp_path / "capture"
    start = 77 * MS
    with CaptureWriter(path, Capture((), WHOLE.line, WHOLE.port, WHOLE.started, WHOLE.note), start) as writer:
        for chunk in WHOLE.chunks:
            writer.chunk(chunk.data, start + chunk.at_ns)
    assert path.read_text() == TEXT.replace("# the perch of the first haul\n", "")


def test_an_interrupted_capture_is_whole_up_to_there(tmp_path: Path) -> None:
    path = tmp_path / "capture"
    writer = CaptureWriter(path, Capture(()), 0)
    writer.chunk(b"first", 5 * MS)
    assert read_capture(path).chunks == (Chunk(5 * MS, b"first"),)
    writer.close()


def test_a_capture_never_overwrites(tmp_path: Path) -> None:
    path = tmp_path / "capture"
    path.write_text("mine")
    with pytest.raises(ThwartError, match="exists already"):
        CaptureWriter(path, Capture(()), 0)
    with pytest.raises(ThwartError, match="can't be written"):
        CaptureWriter(tmp_path / "no folder" / "capture", Capture(()), 0)
    assert path.read_text() == "mine"


def test_every_fault_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "capture"
    path.write_text(
        "thwart capture 1\n"
        "colour: red\n"
        "line: 9600 8N1\n"
        "note: a\n"
        "note: b\n"
        "\n"
        "            +  31\n"
        "     1.000000  31\n"
        "     0.500000  31\n"
        "     1.5  31\n"
        "     2.000000  3\n"
        "     2.000000  31 zz\n"
    )
    with pytest.raises(ConfigError) as caught:
        read_capture(path)
    where = [(int(problem.split(":")[1]), problem.split(": ", 1)[1]) for problem in caught.value.problems]
    assert [line for line, _ in where] == [2, 3, 5, 7, 9, 10, 11, 12]
    assert "port, line, started, note" in where[0][1]
    assert "given twice" in where[2][1]
    assert "before the chunk above" in where[4][1]


@pytest.mark.parametrize("content", [b"", b"142.5 mm\r\n", b"thwart capture 2\n", b"thwart capture 1\n\n\xff\n"])
def test_what_is_no_capture_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "capture"
    path.write_bytes(content)
    with pytest.raises(ConfigError):
        read_capture(path)


def test_what_is_not_there_or_no_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        read_capture(tmp_path / "none")
    with pytest.raises(NotFound):
        open_port(parse_spec(f"replay:{tmp_path / 'none'}"), LineSettings())
    with pytest.raises(ThwartError, match="can't be read"):
        read_capture(tmp_path)


def test_raw_bytes_are_accepted_where_only_bytes_matter(tmp_path: Path) -> None:
    path = tmp_path / "raw"
    path.write_bytes(b"\xff142.5 mm\r\n")
    assert read_bytes_or_capture(path) == Capture((Chunk(0, b"\xff142.5 mm\r\n"),))
    path.write_bytes(b"")
    assert read_bytes_or_capture(path) == Capture(())
    path.write_text(TEXT)
    assert read_bytes_or_capture(path) == WHOLE


class Clock:
    now = 0

    def __call__(self) -> int:
        return self.now


def played(pace: float) -> list[int]:
    """At which millisecond each chunk comes, with a clock that moves a millisecond per read."""
    clock = Clock()
    port = ReplayPort(Capture((Chunk(0, b"a"), Chunk(10 * MS, b"b"), Chunk(30 * MS, b"c"))), pace, clock)
    times = []
    with pytest.raises(Ended):
        while True:
            if port.read(0.0):
                times.append(clock.now // MS)
            else:
                clock.now += MS
    return times


def test_a_capture_plays_with_its_gaps_or_at_a_pace() -> None:
    assert played(1.0) == [0, 10, 30]
    assert played(2.0) == [0, 5, 15]
    assert played(0.5) == [0, 20, 60]
    assert played(math.inf) == [0, 0, 0]
    with pytest.raises(ValueError, match="above zero"):
        ReplayPort(WHOLE, 0.0)


def test_a_replay_waits_can_be_cancelled_and_takes_no_commands() -> None:
    port = ReplayPort(Capture((Chunk(0, b"a"), Chunk(3_600_000 * MS, b"b"))))
    assert port.read(1.0) == b"a"
    assert port.read(0.01) == b""
    threading.Timer(0.05, port.cancel).start()
    assert port.read(1000.0) == b""
    port.write(b"W\r\n")
    assert port.error_count() is None
    port.close()


def test_a_bad_line_setting_is_named() -> None:
    for text in ("9600 9N1 flow=none dtr=on rts=on", "9600 8N1", "0 8N1 flow=none dtr=on rts=on"):
        with pytest.raises(ValueError, match="not line settings"):
            LineSettings.parse(text)
