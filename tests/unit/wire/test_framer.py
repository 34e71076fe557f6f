"""Framing by hand: opening, line errors, silence, the size limit."""

from __future__ import annotations

import pytest

from thwart.profiles import Framing
from thwart.wire import Frame
from thwart.wire.framer import FRESH_PAUSES, SILENCE_NS, Framer, framer_for

MS = 1_000_000
CRLF: dict[str, object] = {"terminators": ["\r\n"], "max_length": 16}
STX: dict[str, object] = {"start": "\x02", "end": "\x03", "max_length": 16}
BCC: dict[str, object] = {**STX, "check_bytes": 1}
FIXED: dict[str, object] = {"length": 4, "max_length": 8}
FIXED_START: dict[str, object] = {"start": "\x02", "length": 4, "max_length": 8}
GAP: dict[str, object] = {"gap_ms": 50, "max_length": 16}


def opened(framing: dict[str, object], at_ms: float = 0) -> Framer:
    framer = framer_for(Framing.model_validate(framing))
    framer.opened(round(at_ms * MS))
    return framer


def short(frames: list[Frame]) -> list[bytes | tuple[str, bytes]]:
    return [frame.raw if frame.fault is None else (frame.fault, frame.raw) for frame in frames]


def test_torn_first_frame_that_would_decode() -> None:
    """`1412.0 g` cut by the opening: `12.0 g` is kept as torn, the next frame counts."""
    framer = opened(CRLF)
    assert short(framer.feed(b"12.0 g\r\n1412.0 g\r\n", 30 * MS)) == [("torn", b"12.0 g"), b"1412.0 g"]


@pytest.mark.parametrize(("silence_ns", "trusted"), [(SILENCE_NS - 1, False), (SILENCE_NS, True)])
def test_silence_before_the_first_byte(silence_ns: int, trusted: bool) -> None:
    """Opening the port isn't silence itself: the clock starts there."""
    framer = opened(CRLF, 7)
    first = framer.feed(b"412 mm\r\n", 7 * MS + silence_ns)
    assert short(first) == ([b"412 mm"] if trusted else [("torn", b"412 mm")])
    assert short(framer.feed(b"413 mm\r\n", 7 * MS + silence_ns + 1)) == [b"413 mm"]


def test_silence_after_the_first_byte_doesn_t_help() -> None:
    """What comes after a stall in a torn frame is its rest, not a frame."""
    framer = opened(CRLF)
    assert framer.feed(b"14", 20 * MS) == []
    assert short(framer.feed(b"12.0 g\r\n", 320 * MS)) == [("torn", b"1412.0 g")]


def test_times_of_a_frame() -> None:
    framer = opened(CRLF)
    framer.feed(b"41", 200 * MS)
    (first, second) = framer.feed(b"2 mm\r\n77 mm\r\n8", 210 * MS)
    assert (first.first_ns, first.last_ns, first.offset) == (200 * MS, 210 * MS, 0)
    assert (second.first_ns, second.last_ns, second.offset) == (210 * MS, 210 * MS, 8)
    (third,) = framer.feed(b"8 mm\r\n", 230 * MS)
    assert (third.raw, third.first_ns, third.last_ns, third.offset) == (b"88 mm", 210 * MS, 230 * MS, 15)


def test_blank_lines_and_filler_are_no_frames() -> None:
    framer = opened({**CRLF, "filler": "\r\n\x00"})
    assert short(framer.feed(b"\x00\r\n\r\n412 mm\r\n\r\n\x00413 mm\r\n", 200 * MS)) == [b"412 mm", b"413 mm"]


@pytest.mark.parametrize("framing", [CRLF, STX, FIXED_START, GAP], ids=["crlf", "stx", "fixed", "gap"])
def test_a_line_error_refuses_the_frame_in_progress(framing: dict[str, object]) -> None:
    framer = opened(framing)
    begun, rest, good = {
        "terminators": (b"14", b"12.0 g\r\n", b"500.0 g\r\n"),
        "end": (b"\x0214", b"12.0\x03", b"\x02500.0\x03"),
        "length": (b"\x02a", b"bc", b"\x02xyz"),
        "gap_ms": (b"14", b"12.0 g", b"500.0 g"),
    }[next(key for key in ("terminators", "end", "length", "gap_ms") if key in framing)]
    now = 200 * MS
    framer.feed(begun, now)
    assert short(framer.line_error(now)) == [("line-error", begun)]
    heard = short(framer.feed(rest, now + 10 * MS))
    heard += short(framer.feed(good + good, now + 90 * MS))
    heard += short(framer.wake(now + 500 * MS)) + short(framer.closed())
    assert heard[0] == ("line-error", rest.rstrip(b"\r\n"))
    assert all(isinstance(one, bytes) for one in heard[1:])
    assert len(heard) > 1


def test_a_line_error_between_frames_refuses_the_next() -> None:
    framer = opened(CRLF)
    framer.feed(b"412 mm\r\n", 200 * MS)
    assert framer.line_error(210 * MS) == []
    assert short(framer.feed(b"4x2 mm\r\n413 mm\r\n", 220 * MS)) == [("line-error", b"4x2 mm"), b"413 mm"]


def test_a_line_error_long_before_the_next_frame_costs_nothing() -> None:
    framer = opened(CRLF)
    framer.feed(b"412 mm\r\n", 200 * MS)
    framer.line_error(210 * MS)
    assert short(framer.feed(b"413 mm\r\n", 310 * MS)) == [b"413 mm"]


def test_an_interrupted_frame_never_joins_the_next() -> None:
    """`14`, then nothing for a second, then `12.0 g`: neither `1412.0 g` nor `12.0 g` may come of it."""
    framer = opened(CRLF)
    framer.feed(b"14", 200 * MS)
    assert framer.next_wake == 1200 * MS
    assert framer.wake(1199 * MS) == []
    assert short(framer.wake(1200 * MS)) == [("gap", b"14")]
    assert framer.next_wake is None
    assert short(framer.feed(b"12.0 g\r\n500.0 g\r\n", 1500 * MS)) == [("gap", b"12.0 g"), b"500.0 g"]


def test_a_glitch_costs_no_later_frame() -> None:
    """One stray byte when the instrument is switched on; the first touch comes much later and counts."""
    framer = opened(CRLF)
    framer.feed(b"\x00", 200 * MS)
    assert short(framer.wake(1200 * MS)) == [("gap", b"\x00")]
    later = (200 + FRESH_PAUSES * 1000) * MS
    assert short(framer.feed(b"412 mm\r\n", later)) == [b"412 mm"]


def test_the_pause_is_the_profile_s() -> None:
    framer = opened({**CRLF, "pause_ms": 3000})
    framer.feed(b"41", 200 * MS)
    assert short(framer.feed(b"2 mm\r\n", 3100 * MS)) == [b"412 mm"]


def test_size_limit() -> None:
    framer = opened(CRLF)
    exactly, over = b"a" * 16, b"b" * 17
    assert short(framer.feed(exactly + b"\r\n" + over + b"\r\nc\r\n", 200 * MS)) == [
        exactly,
        ("too-long", b"b" * 16),
        ("too-long", b"b"),
        b"c",
    ]


@pytest.mark.parametrize("framing", [CRLF, STX, BCC, FIXED, FIXED_START, GAP])
@pytest.mark.parametrize("byte", [b"a", b"\x02", b"\x03", b"\r"])
def test_the_buffer_is_bounded(framing: dict[str, object], byte: bytes) -> None:
    framer = opened(framing)
    for number in range(400):
        framer.feed(byte * 7, number * MS)
        assert len(framer._buffer) <= 24


@pytest.mark.parametrize("framing", [CRLF, STX, BCC, FIXED, FIXED_START])
def test_a_capture_at_once_is_the_same_as_in_pieces(framing: dict[str, object]) -> None:
    """More bytes than a block: half a megabyte of good, torn and overlong frames."""
    data = (b"412 mm\r\n\x02500\x03x" + bytes(range(256)) + b"z" * 40 + b"\x02abc\x02abc") * 1500
    whole, pieces = opened(framing), opened(framing)
    expected = whole.feed(data, 200 * MS)
    got = [frame for place in range(0, len(data), 777) for frame in pieces.feed(data[place : place + 777], 200 * MS)]
    assert got == expected
    assert len(expected) > 1500


def test_start_bytes_seen_again_end_a_torn_frame() -> None:
    framer = opened(STX)
    assert short(framer.feed(b"\x0214\x02500 g\x03", 200 * MS)) == [("torn", b"\x0214"), b"\x02500 g\x03"]


def test_rest_without_start_is_torn() -> None:
    framer = opened(STX)
    assert short(framer.feed(b"\x02a\x03\r\n12.0 g\x03\r\n\x02b\x03", 200 * MS)) == [
        b"\x02a\x03",
        ("torn", b"12.0 g\x03\r\n"),
        b"\x02b\x03",
    ]


def test_a_check_byte_that_looks_like_stx_or_etx() -> None:
    framer = opened(BCC)
    data = b"\x02a\x03\x03\x02b\x03\x02\x02c\x03\r\x02d\x03\n"
    assert short(framer.feed(data, 200 * MS)) == [data[i : i + 4] for i in range(0, 16, 4)]


def test_opened_on_a_check_byte_that_looks_like_stx() -> None:
    framer = opened(BCC)
    assert short(framer.feed(b"\x02\x02500 g\x03x\x02600 g\x03y", 10 * MS)) == [
        ("torn", b"\x02\x02500 g\x03x"),
        b"\x02600 g\x03y",
    ]


def test_fixed_length_with_start_finds_its_place() -> None:
    framer = opened(FIXED_START)
    assert short(framer.feed(b"yz\x02abc\x02def\x02", 10 * MS)) == [("torn", b"yz"), b"\x02abc", b"\x02def"]
    assert short(framer.feed(b"g?\x02hij\x02klm\x02", 20 * MS)) == [
        b"\x02g?\x02",
        ("torn", b"hij"),
        b"\x02klm",
    ]


def test_fixed_length_without_start_needs_silence() -> None:
    framer = opened(FIXED)
    assert short(framer.feed(b"efabcd", 10 * MS)) == []
    assert short(framer.feed(b"abcdefgh", 110 * MS)) == [("torn", b"efabcd"), b"abcd", b"efgh"]
    framer.feed(b"ab", 150 * MS)
    assert short(framer.wake(1150 * MS)) == [("gap", b"ab")]
    assert short(framer.feed(b"cd", 1500 * MS)) == []
    assert short(framer.feed(b"abcd", 1600 * MS)) == [("gap", b"cd"), b"abcd"]


def test_framing_by_silence() -> None:
    framer = opened(GAP)
    framer.feed(b"41", 200 * MS)
    framer.feed(b"2", 249 * MS)
    assert framer.next_wake == 299 * MS
    assert framer.wake(298 * MS) == []
    (frame,) = framer.wake(299 * MS)
    assert (frame.raw, frame.first_ns, frame.last_ns) == (b"412", 200 * MS, 249 * MS)
    framer.feed(b"77", 400 * MS)
    assert short(framer.feed(b"88", 450 * MS)) == [b"77"]
    assert short(framer.closed()) == [("torn", b"88")]


def test_framing_by_silence_distrusts_what_it_was_opened_in() -> None:
    framer = opened(GAP)
    framer.feed(b"2.0 g", 30 * MS)
    assert short(framer.feed(b"412.0 g", 90 * MS)) == [("torn", b"2.0 g")]
    assert short(framer.wake(140 * MS)) == [b"412.0 g"]


def test_the_port_goes_in_a_frame() -> None:
    framer = opened(CRLF)
    framer.feed(b"41", 200 * MS)
    assert short(framer.closed()) == [("torn", b"41")]
    framer.opened(300 * MS)
    assert short(framer.feed(b"2 mm\r\n", 310 * MS)) == [("torn", b"2 mm")]
