"""Twenty unpluggings of a USB scale under load. Path: the real pyusb over a faked bus."""

from __future__ import annotations

from tests.conformance.usb_unplugging import unplug_scale_at_random


def test_no_reading_is_lost_and_none_invented() -> None:
    readings, ready = unplug_scale_at_random(20, seed=3, away_s=0.1)
    assert readings > 200
    assert len(ready) == 20
