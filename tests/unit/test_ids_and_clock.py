"""UUIDs of version 7 (RFC 9562, A.6) and time labels (RFC 3339, 5.8)."""

import uuid
from datetime import datetime

import pytest

from thwart.ids import new_id, uuid7
from thwart.service.clock import Clock, utc_text


def test_the_published_uuid7() -> None:
    """RFC 9562, appendix A.6: 2022-02-22T14:22:22-05:00, rand_a CC3, rand_b 18C4DC0C0C07398F."""
    milliseconds = int(datetime.fromisoformat("2022-02-22T14:22:22-05:00").timestamp() * 1000)
    random = (0xCC3 << 62 | 0x18C4DC0C0C07398F).to_bytes(10)
    assert uuid7(milliseconds, random) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def test_new_ids_are_version_7_and_sort_as_made() -> None:
    made = [new_id(ms) for ms in range(1_700_000_000_000, 1_700_000_000_050)]
    assert made == sorted(made)
    assert {(uuid.UUID(i).version, uuid.UUID(i).variant) for i in made} == {(7, uuid.RFC_4122)}


@pytest.mark.parametrize(("ms", "random"), [(-1, bytes(10)), (1 << 48, bytes(10)), (0, bytes(9))])
def test_what_is_no_uuid7(ms: int, random: bytes) -> None:
    with pytest.raises(ValueError, match="48 bits"):
        uuid7(ms, random)


@pytest.mark.parametrize(
    ("text", "unix_ns", "ours"),
    [
        # RFC 3339, 5.8; seconds since 1970 as published beside the examples
        ("1985-04-12T23:20:50.52Z", 482_196_050_520_000_000, "1985-04-12T23:20:50.520000Z"),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000_000_000, "1996-12-20T00:39:57.000000Z"),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130_000_000, "1937-01-01T11:40:27.870000Z"),
    ],
)
def test_the_published_times(text: str, unix_ns: int, ours: str) -> None:
    """Negative times floor, so the fraction always counts forward."""
    assert utc_text(unix_ns) == ours
    assert datetime.fromisoformat(ours) == datetime.fromisoformat(text)


def test_a_clock_before_the_last_entry_is_not_believed() -> None:
    clock = Clock("2099-01-01T00:00:00.000000Z")
    stamp = clock.stamp()
    assert not stamp.clock_ok
    assert Clock(None).stamp().clock_ok
    assert Clock(None).utc(1_700_000_000_123_456_789) == utc_text(1_700_000_000_123_456_789)


def test_a_moment_just_past_gets_the_label_it_had() -> None:
    clock = Clock(None)
    mono, before = clock.mono_ns(), clock.stamp()
    assert (
        abs(datetime.fromisoformat(clock.utc_of(mono)).timestamp() - datetime.fromisoformat(before.utc).timestamp())
        < 0.5
    )
