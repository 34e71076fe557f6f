"""A hundred unpluggings of a USB scale under load. By name: pytest -s tests/long/test_usb_unplugging.py

Path: the real pyusb over a faked bus.
"""

from __future__ import annotations

import pytest

from tests.conformance.usb_unplugging import unplug_scale_at_random


@pytest.mark.timeout(900)
def test_no_reading_is_lost_and_none_invented() -> None:
    readings, ready = unplug_scale_at_random(100, seed=11, away_s=0.6)
    ready.sort()
    print(f"\n{readings} readings; ready again after {ready[50]:.3f} s (median), {ready[-1]:.3f} s (longest of 100)")
