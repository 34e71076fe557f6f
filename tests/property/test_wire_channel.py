"""No bytes, at any times and with any calls between, make a channel raise or give anything but its documented events."""

from __future__ import annotations

from decimal import Decimal
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thwart.profiles import load_profile, shipped_profiles
from thwart.wire import Arrival, Channel, Emptied, Reading, Rejected, RejectReason, WireEvent, decode_frames
from thwart.wire.events import Settled

from ..wire_pan import profile as pan_profile

MS = 1_000_000
PROFILES = {name: load_profile(path) for name, path in shipped_profiles().items()} | {
    "pan-window": pan_profile(marks=False, window_ms=300, limit_ms=1500),
    "pan-both": pan_profile(by="both", window_ms=300, limit_ms=1500),
    "pan-mark": pan_profile(frames=2, limit_ms=800, window_ms=200),
}
REASONS = set(get_args(RejectReason))
SETTLED = set(get_args(Settled))


def check(events: list[WireEvent]) -> None:
    for event in events:
        match event:
            case Reading():
                assert event.settled in SETTLED
                assert event.arrived_ns <= event.done_ns
                assert len(event.evidence) <= 64
                assert event.text is None or Decimal(event.text) == event.value
                assert event.value is None or event.condition not in ("overload", "underload", "error")
                assert event.spread is None or event.spread >= 0
            case Rejected():
                assert event.reason in REASONS
                assert event.raw
            case Arrival() | Emptied():
                assert event.unit is not None


def bytes_for(name: str) -> st.SearchStrategy[bytes]:
    if name.startswith("pan"):
        grams = st.sampled_from([0, 0, 1, -3, 4, 60, 400, 412, 413, 812, -350])
        mark = st.sampled_from("----GN")
        return st.tuples(st.sampled_from("SSM?"), mark, grams).map(
            lambda t: f"{t[0]} {t[1]} {'-' if t[2] < 0 else '+'}{abs(t[2]):6.1f} g\r\n".encode()
        ) | st.sampled_from([b"O\r\n", b"U\r\n", b"E\r\n", b"S B +  12.0 g\r\n"])
    good = st.sampled_from([sample.raw for sample in PROFILES[name].sample])
    torn = st.tuples(good, st.integers(1, 12)).map(lambda pair: pair[0][pair[1] :])
    return st.one_of(good, torn, st.binary(max_size=40))


@pytest.mark.parametrize("name", PROFILES)
@given(data=st.data())
@settings(max_examples=12)
def test_nothing_raises(name: str, data: st.DataObject) -> None:
    channel = Channel(PROFILES[name])
    now = 0
    channel.opened(now)
    for _ in range(data.draw(st.integers(0, 25))):
        now += data.draw(st.sampled_from([0, 1, 20, 50, 100, 100, 400, 3000, 20_000])) * MS
        match data.draw(st.sampled_from(["feed"] * 12 + ["wake", "error", "tared", "closed", "opened"])):
            case "feed":
                events = channel.feed(data.draw(bytes_for(name)), now)
            case "wake":
                events = channel.wake(now)
            case "error":
                events = channel.line_error(now)
            case "tared":
                events = channel.tared(now)
            case "closed":
                events = channel.closed(now)
            case _:
                channel.opened(now)
                events = []
        check(events)
        assert channel.next_wake is None or channel.next_wake > now - 1


@pytest.mark.parametrize("name", ["pan-window", "pan-both", "pan-mark", "print-out-silence-mass"])
@given(data=st.data())
@settings(max_examples=12)
def test_waking_changes_nothing_but_the_delay(name: str, data: st.DataObject) -> None:
    """Woken at every moment it asks for, or never: the events are the same, with the same times."""
    punctual, late = Channel(PROFILES[name]), Channel(PROFILES[name])
    got: list[WireEvent] = []
    other: list[WireEvent] = []
    now = 1000 * MS
    for channel in (punctual, late):
        channel.opened(0)
    for _ in range(data.draw(st.integers(0, 25))):
        now += data.draw(st.sampled_from([1, 50, 100, 100, 100, 400, 3000])) * MS
        while (due := punctual.next_wake) is not None and due <= now:
            got += punctual.wake(due)
        chunk = data.draw(bytes_for(name))
        got += punctual.feed(chunk, now)
        other += late.feed(chunk, now)
    end = now + 60_000 * MS
    while (due := punctual.next_wake) is not None and due <= end:
        got += punctual.wake(due)
    other += late.wake(end)
    assert got == other


@pytest.mark.parametrize("name", shipped_profiles())
@given(data=st.binary(max_size=120))
@settings(max_examples=15)
def test_decoding_any_bytes(name: str, data: bytes) -> None:
    for heard in decode_frames(PROFILES[name], data, from_start=False):
        assert heard.rejected is None or heard.rejected in REASONS
        assert data[heard.offset : heard.offset + len(heard.raw)] == heard.raw
