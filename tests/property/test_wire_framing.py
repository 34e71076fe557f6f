"""Any chunking of any bytes gives the same frames; no bytes raise; silence is a function of (byte, time)."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thwart.profiles import Framing, Profile, load_profile, shipped_profiles
from thwart.wire import Frame
from thwart.wire.framer import Framer, framer_for

MS = 1_000_000
PROFILES = {name: load_profile(path) for name, path in shipped_profiles().items()}

#: Every way of framing, with awkward bytes: check bytes that look like terminators, terminators that share bytes.
FRAMINGS = {
    "crlf": Framing.model_validate({"terminators": ("\r\n",), "max_length": 8}),
    "cr": Framing.model_validate({"terminators": ("\r",), "max_length": 8}),
    "crlf-or-lf": Framing.model_validate({"terminators": ("\r\n", "\n"), "max_length": 8, "filler": "\r"}),
    "three": Framing(terminators=("aab", "ab", "cc"), max_length=6, filler=""),
    "blank-line": Framing.model_validate({"terminators": ("\r\n\r\n",), "max_length": 12}),
    "stx-etx": Framing.model_validate({"start": "\x02", "end": "\x03", "max_length": 8}),
    "stx-etx-bcc": Framing.model_validate({"start": "\x02", "end": "\x03", "check_bytes": 1, "max_length": 8}),
    "ab-bc-2": Framing(start="ab", end="bc", check_bytes=2, max_length=9, filler=" "),
    "fixed": Framing.model_validate({"length": 4, "max_length": 8}),
    "fixed-start": Framing.model_validate({"start": "\x02", "length": 4, "max_length": 8}),
    "fixed-start-2": Framing(start="ab", length=5, max_length=7),
}
ALPHABET = b"\x02\x03\r\nabc 1"
noise = st.one_of(
    st.binary(max_size=60),
    st.lists(st.sampled_from(ALPHABET), max_size=80).map(bytes),
)


def fed(framer: Framer, data: bytes, cuts: list[int], at: list[int]) -> list[Frame]:
    """Feed `data` cut at `cuts`, each piece at its time."""
    out: list[Frame] = []
    edges = sorted({0, *(cut % (len(data) + 1) for cut in cuts), len(data)})
    for number, (first, last) in enumerate(itertools.pairwise(edges)):
        out += framer.feed(data[first:last], at[min(number, len(at) - 1)])
    return out


def what(frames: list[Frame]) -> list[tuple[str | None, bytes, int]]:
    return [(frame.fault, frame.raw, frame.offset) for frame in frames]


@pytest.mark.parametrize("way", FRAMINGS)
@given(
    data=noise,
    cuts=st.lists(st.integers(0, 200), max_size=12),
    steps=st.lists(st.integers(0, 90), min_size=1, max_size=14),
    trusted=st.booleans(),
)
@settings(max_examples=70)
def test_any_chunking_gives_the_same_frames(
    way: str, data: bytes, cuts: list[int], steps: list[int], trusted: bool
) -> None:
    start = 200 * MS if trusted else 10 * MS
    times = [start]
    for step in steps:
        times.append(times[-1] + step * MS)
    whole, cut, single = (framer_for(FRAMINGS[way]) for _ in range(3))
    for framer in (whole, cut, single):
        framer.opened(0)
    expected = whole.feed(data, start) + whole.closed()
    assert what(fed(cut, data, cuts, times) + cut.closed()) == what(expected)
    assert what(fed(single, data, list(range(len(data))), [start]) + single.closed()) == what(expected)


@pytest.mark.parametrize("way", FRAMINGS)
@given(data=noise, trusted=st.booleans())
@settings(max_examples=40)
def test_no_byte_is_lost_or_doubled(way: str, data: bytes, trusted: bool) -> None:
    """Frames and rejects lie in order at their offsets; between them there are only terminators and filler."""
    framing = FRAMINGS[way]
    framer = framer_for(framing)
    framer.opened(0)
    place = 0
    between = b"".join(framing.terminators) + framing.filler
    for frame in framer.feed(data, 200 * MS if trusted else 0) + framer.closed():
        assert data[frame.offset : frame.offset + len(frame.raw)] == frame.raw
        assert frame.offset >= place
        assert not data[place : frame.offset].strip(between)
        place = frame.offset + len(frame.raw)
    assert not data[place:].strip(between)


@given(data=st.lists(st.sampled_from(b"\r\nab"), max_size=60).map(bytes))
@settings(max_examples=100)
def test_terminators_agree_with_splitting(data: bytes) -> None:
    """Where no frame is too long the frames are what bytes.split and re.split give."""
    for terminators, filler, pattern in (((b"\r\n",), b"", rb"\r\n"), ((b"\r\n", b"\n"), b"", rb"\r\n|\n")):
        framer = framer_for(Framing(terminators=terminators, filler=filler, max_length=100))
        framer.opened(0)
        expected = [part for part in re.split(pattern, data)[:-1] if part]
        assert [frame.raw for frame in framer.feed(data, 200 * MS)] == expected


@given(data=st.binary(max_size=40), check=st.integers(0, 255))
def test_a_check_byte_may_be_anything(data: bytes, check: int) -> None:
    """CR, LF, STX, ETX or a digit after ETX belongs to the frame and ends it."""
    body = bytes(b for b in data if b not in b"\x02\x03")
    one = b"\x02" + body + b"\x03" + bytes([check])
    framer = framer_for(Framing(start=b"\x02", end=b"\x03", check_bytes=1, max_length=64))
    framer.opened(0)
    assert what(framer.feed(one + b"\r\n" + one + one, 200 * MS)) == [
        (None, one, 0),
        (None, one, len(one) + 2),
        (None, one, 2 * len(one) + 2),
    ]


@given(
    pieces=st.lists(st.tuples(st.binary(min_size=1, max_size=6), st.integers(0, 120)), min_size=1, max_size=20),
    wakes=st.lists(st.integers(0, 2000), max_size=8),
)
@settings(max_examples=80)
def test_framing_by_silence_is_a_function_of_byte_and_time(pieces: list[tuple[bytes, int]], wakes: list[int]) -> None:
    """Cut byte by byte or not, woken or not: a frame is a run of bytes with less than the gap between them."""
    framing = Framing(gap_ms=50, max_length=16)
    whole, single = framer_for(framing), framer_for(framing)
    runs: list[bytes] = []
    got: list[Frame] = []
    other: list[Frame] = []
    now = 1000
    for framer in (whole, single):
        framer.opened(0)
    due = sorted(wakes)
    for data, pause in pieces:
        now += pause
        while due and 1000 + due[0] <= now:
            other += single.wake((1000 + due.pop(0)) * MS)
        if runs and pause < 50:
            runs[-1] += data
        else:
            runs.append(data)
        got += whole.feed(data, now * MS)
        for byte in data:
            other += single.feed(bytes([byte]), now * MS)
    got += whole.wake((now + 50) * MS)
    other += single.wake((now + 50) * MS)
    assert what(got) == what(other)
    assert [(f.raw, f.first_ns, f.last_ns) for f in got] == [(f.raw, f.first_ns, f.last_ns) for f in other]
    expected: list[tuple[str | None, bytes]] = []
    for run in runs:
        parts = [run[place : place + 16] for place in range(0, len(run), 16)]
        expected += [("too-long" if len(run) > 16 else None, part) for part in parts]
    assert [(frame.fault, frame.raw) for frame in got] == expected


@pytest.mark.parametrize("name", PROFILES)
@given(data=st.data())
@settings(max_examples=15)
def test_shipped_profiles_frame_the_same_in_any_chunking(name: str, data: st.DataObject) -> None:
    profile: Profile = PROFILES[name]
    if profile.framing.style not in ("terminators", "start-end", "length"):
        return
    good = st.sampled_from([sample.raw for sample in profile.sample])
    torn = st.tuples(good, st.integers(0, 20)).map(lambda pair: pair[0][pair[1] :])
    stream = b"".join(data.draw(st.lists(st.one_of(good, torn, st.binary(max_size=12)), max_size=12)))
    cuts = data.draw(st.lists(st.integers(0, 400), max_size=10))
    at = data.draw(st.sampled_from([10 * MS, 500 * MS]))
    whole, cut = framer_for(profile.framing), framer_for(profile.framing)
    whole.opened(0)
    cut.opened(0)
    assert what(fed(cut, stream, cuts, [at])) == what(whole.feed(stream, at))
