"""Whatever is laid on and lifted, with time enough to rest: each load is one arrival, one reading of its mass, one emptying."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from thwart.wire import Arrival, Channel, Emptied, Reading

from ..wire_pan import MS, S, profile

#: Clearly more than the smallest load of five divisions: (grams, seconds on the pan, seconds empty after it, frames on the way up, frames on the way down)
loads = st.lists(
    st.tuples(
        st.integers(8, 5900),
        st.floats(1.2, 4.0),
        st.floats(1.2, 4.0),
        st.integers(0, 6),
        st.integers(0, 6),
    ),
    min_size=1,
    max_size=8,
)


def frames(
    masses: list[tuple[int, float, float, int, int]], every_ms: int, flicker: list[int], mark: bool
) -> list[tuple[int, bytes]]:
    """A pan with a ramp up and down and a last digit that flickers by one."""
    values: list[tuple[bool, float]] = [(True, 0.0)] * (1500 // every_ms)
    for grams, on, off, up, down in masses:
        values += [(False, grams * n / (up + 1)) for n in range(1, up + 1)]
        values += [(True, float(grams))] * round(on * 1000 / every_ms)
        values += [(False, grams * n / (down + 1)) for n in range(down, 0, -1)]
        values += [(True, 0.0)] * round(off * 1000 / every_ms)
    out = []
    for number, (still, grams_now) in enumerate(values):
        shown = round(grams_now) + (flicker[number % len(flicker)] if still else 0)
        out.append(
            (
                S + number * every_ms * MS,
                f"{'S' if still and mark else 'M' if mark else '?'} - +{shown:6.1f} g\r\n".encode(),
            )
        )
    return out


@pytest.mark.parametrize("by", ["mark", "window", "both"])
@given(
    masses=loads,
    every_ms=st.sampled_from([20, 50, 100, 200]),
    flicker=st.lists(st.sampled_from([0, 0, 1]), min_size=1, max_size=7),
)
@settings(max_examples=60)
def test_each_load_once(
    by: str, masses: list[tuple[int, float, float, int, int]], every_ms: int, flicker: list[int]
) -> None:
    channel = Channel(profile(by=by, window_ms=400))
    channel.opened(0)
    events = []
    for at_ns, raw in frames(masses, every_ms, flicker, mark=by != "window"):
        events += channel.feed(raw, at_ns)
    assert [type(event) for event in events] == [Arrival, Reading, Emptied] * len(masses)
    for (grams, *_), reading in zip(masses, events[1::3], strict=True):
        assert isinstance(reading, Reading)
        assert reading.value is not None
        assert reading.value - grams in (0, 1)
        assert reading.text is not None and Decimal(reading.text) == reading.value
        assert reading.zero_before in (0, 1)
        assert reading.spread in (0, 1)
        assert reading.plateau == 1
    times = [e.done_ns if isinstance(e, Reading) else e.at_ns for e in events if not isinstance(e, str)]
    assert times == sorted(times)
