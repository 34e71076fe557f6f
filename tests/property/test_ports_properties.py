"""Ports, in three sentences: what is written in a capture is read from it. No text makes the readers of names and captures
raise anything but their documented error. Equal settings hear what was sent, other settings never fail."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thwart.errors import ConfigError
from thwart.ports import Capture, Chunk, LineSettings, parse_spec
from thwart.ports.capture import MAGIC, parse, render
from thwart.ports.simulated import misread

lines = st.builds(
    LineSettings,
    baud=st.sampled_from((300, 1200, 4800, 9600, 19200, 115200)),
    data_bits=st.sampled_from((5, 6, 7, 8)),
    parity=st.sampled_from(("none", "even", "odd", "mark", "space")),
    stop_bits=st.sampled_from((1, 1.5, 2)),
    flow=st.sampled_from(("none", "xonxoff", "rtscts")),
    dtr=st.booleans(),
    rts=st.booleans(),
)
header_text = st.text(alphabet=st.characters(exclude_categories=("C", "Z")), max_size=30)
gaps = st.integers(0, 10**9)


@st.composite
def captures(draw: st.DrawFn) -> Capture:
    at_us, chunks = 0, []
    for gap, data in draw(st.lists(st.tuples(gaps, st.binary(min_size=1, max_size=70)), max_size=8)):
        at_us += gap
        chunks.append(Chunk(at_us * 1000, data))
    line = draw(st.none() | lines)
    return Capture(tuple(chunks), line, draw(header_text), draw(header_text), draw(header_text))


@given(captures())
@settings(max_examples=150)
def test_a_capture_reads_back_as_it_was_written(capture: Capture) -> None:
    assert parse(render(capture).encode(), "here") == capture


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: f"{MAGIC}\n{text}".encode("utf-8", "replace")))
@settings(max_examples=300)
def test_no_content_breaks_the_reader_of_captures(content: bytes) -> None:
    try:
        capture = parse(content, "here")
    except ConfigError as error:
        assert all(problem.startswith("here:") for problem in error.problems)
    else:
        assert parse(render(capture).encode(), "here").chunks == capture.chunks


@given(
    st.text(max_size=60)
    | st.builds(
        "".join, st.tuples(st.sampled_from(("usb:", "socket://", "rfc2217://", "replay:", "/")), st.text(max_size=40))
    )
)
@settings(max_examples=400)
def test_no_text_breaks_the_reader_of_names(text: str) -> None:
    try:
        spec = parse_spec(text)
    except ConfigError as error:
        assert error.problems
    else:
        assert parse_spec(str(spec)) == spec


@given(lines)
def test_settings_read_back_as_they_were_written(line: LineSettings) -> None:
    assert LineSettings.parse(str(line)) == line


@given(st.binary(max_size=40), lines, lines)
@settings(max_examples=200)
def test_hearing_is_deterministic_and_equal_settings_hear_what_was_sent(
    data: bytes, sent: LineSettings, heard: LineSettings
) -> None:
    assert misread(data, sent, sent) == data
    assert misread(data, sent, heard) == misread(data, sent, heard)


def test_a_misread_signal_differs() -> None:
    """Or the two properties above would hold for a wire that garbles nothing."""
    with pytest.raises(AssertionError):
        assert misread(b"1412.0 g", LineSettings(9600), LineSettings(4800)) == b"1412.0 g"
