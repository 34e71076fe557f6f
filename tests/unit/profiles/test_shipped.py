"""Every shipped profile proves its samples, and a spoilt sample is noticed."""

from __future__ import annotations

from pathlib import Path

import pytest

from thwart.profiles import Profile, check_profile, load_profile, shipped_profiles
from thwart.wire import Channel, Reading, decode_frames

ALL = sorted(shipped_profiles())
#: Those that are read; lamps are written to (tests/unit/test_lamp.py).
NAMES = [name for name in ALL if not name.startswith("lamp-")]
MS = 1_000_000


@pytest.fixture(scope="module")
def profiles() -> dict[str, Profile]:
    return {name: load_profile(path) for name, path in shipped_profiles().items()}


def test_what_ships() -> None:
    """Named by layout and, where a layout serves several kinds, by kind; and all that the top-level folder holds."""
    folder = Path(__file__).parents[3] / "hardware_profiles"
    assert sorted(path.stem for path in folder.iterdir()) == ALL
    assert {
        "number-length", "number-mass", "number-unit-length", "number-unit-mass", "status-commas-mass",
        "signed-columns-mass", "leading-zeros-mass", "leading-zeros-length", "stx-etx-mass", "stx-etx-bcc-mass",
        "sentence-length", "print-out-mass", "print-out-silence-mass", "unit-when-still-mass", "decimal-comma-mass",
        "decimal-comma-length", "pounds-ounces-mass", "fixed-length-mass", "number-unit-asked-mass",
        "label-scanner", "label-scanner-symbology", "tag-reader", "key",
        "usage-page-scale", "usage-page-keyboard", "usage-page-keys", "lamp-letters", "lamp-relays",
    } == set(ALL)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_samples_hold(name: str, profiles: dict[str, Profile]) -> None:
    profile = profiles[name]
    assert check_profile(profile) == []
    assert any(sample.rejected is not None for sample in profile.sample), "shows what it refuses"


@pytest.mark.parametrize("name", NAMES)
def test_a_spoilt_sample_is_noticed(name: str, profiles: dict[str, Profile]) -> None:
    """Another text, identifier, condition, reason, or a byte too many: each is named with its sample."""
    profile = profiles[name]
    for number, sample in enumerate(profile.sample):
        spoilt: list[dict[str, object]] = [
            {"text": "999"},
            {"condition": "error"},
            {"identifier": "X"},
            {"rejected": "gap"},
            {"chatter": True},
        ]
        for change in spoilt:
            if sample.rejected is not None and "rejected" not in change:
                continue
            samples = list(profile.sample)
            samples[number] = sample.model_copy(update=change)
            problems = check_profile(profile.model_copy(update={"sample": tuple(samples)}))
            assert problems, change
            assert all(f"sample[{number}]" in problem or "no sample" in problem for problem in problems)


@pytest.mark.parametrize("name", NAMES)
def test_a_frame_cut_at_its_start_means_nothing(name: str, profiles: dict[str, Profile]) -> None:
    """At opening, a sample that lost its first bytes is refused, however well it would decode."""
    profile = profiles[name]
    for sample in profile.sample:
        for lost in range(1, len(sample.raw) - 1):
            channel = Channel(profile)
            channel.opened(0)
            events = channel.feed(sample.raw[lost:], 10 * MS) + channel.wake(3000 * MS)
            assert not [event for event in events if isinstance(event, Reading)]


@pytest.mark.parametrize("name", NAMES)
def test_a_whole_frame_after_silence_counts(name: str, profiles: dict[str, Profile]) -> None:
    profile = profiles[name]
    if profile.emptied == "stream":
        return
    for sample in profile.sample:
        channel = Channel(profile)
        channel.opened(0)
        events = channel.feed(sample.raw, 100 * MS) + channel.wake(600 * MS)
        (heard,) = decode_frames(profile, sample.raw)
        if heard.decoded is None:
            assert channel.counts.rejected == 1
            continue
        (event,) = events
        assert isinstance(event, Reading)
        assert (event.text, event.unit, event.identifier) == (sample.text, sample.unit, sample.identifier)
        assert (event.arrived_ns, event.settled) == (100 * MS - profile.lag_ns, "each")
