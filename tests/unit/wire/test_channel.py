"""What a channel counts and passes on."""

from __future__ import annotations

from thwart.profiles import find_profile
from thwart.wire import Channel, Counts, Reading, Rejected

from ...wire_pan import MS, profile

BOARD = find_profile("number-unit-length")


def test_counts() -> None:
    """Refused frames count among the frames, so `rejected` over `frames` is the share that a wrong speed drives up."""
    chatty = BOARD.model_copy(update={"chatter": ("READY",)})
    channel = Channel(chatty)
    channel.opened(0)
    channel.feed(b"2 mm\r\n412 mm\r\nREADY\r\n4\x002 mm\r\n", 10 * MS)
    assert channel.counts == Counts(bytes=29, frames=4, unsettled=0, chatter=1, rejected=2)
    assert channel.last_frame_ns == 10 * MS
    channel.feed(b"41", 90 * MS)
    assert channel.last_frame_ns == 10 * MS
    (torn,) = channel.closed(100 * MS)
    assert torn == Rejected("torn", b"41", 90 * MS)
    channel.opened(200 * MS)
    assert channel.counts == Counts()


def test_a_reading_of_its_own() -> None:
    lagging = BOARD.model_copy(update={"lag_ms": 150})
    channel = Channel(lagging)
    channel.opened(0)
    assert channel.feed(b"  4", 300 * MS) == []
    (reading,) = channel.feed(b"12 mm\r\n", 320 * MS)
    assert isinstance(reading, Reading)
    assert (reading.text, reading.unit, reading.settled, reading.raw) == ("412", "mm", "each", b"  412 mm")
    assert (reading.arrived_ns, reading.done_ns) == (150 * MS, 320 * MS)


def test_printed_while_moving() -> None:
    """A scale that prints on its key although it moves: the reading says so."""
    printing = profile().model_copy(update={"mode": "prints", "emptied": "each"})
    channel = Channel(printing)
    channel.opened(0)
    moving, still, over = channel.feed(b"M G +  412.0 g\r\nS N +  415.0 g\r\nO\r\n", 300 * MS)
    assert isinstance(moving, Reading)
    assert isinstance(still, Reading)
    assert isinstance(over, Reading)
    assert (moving.settled, moving.condition, moving.load) == ("moving", "moving", "gross")
    assert (still.settled, still.condition, still.load) == ("mark", "ok", "net")
    assert (over.value, over.condition, over.settled) == (None, "overload", "each")


def test_one_wake_for_framer_and_settler() -> None:
    channel = Channel(profile(limit_ms=2000))
    channel.opened(0)
    assert channel.next_wake is None
    channel.feed(b"M - +  412.0 g\r\n", 500 * MS)
    assert channel.next_wake == 2500 * MS
    channel.feed(b"M - ", 600 * MS)
    assert channel.next_wake == 1600 * MS
    assert channel.wake(1600 * MS) == [Rejected("gap", b"M - ", 600 * MS)]
    assert channel.next_wake == 2500 * MS
