"""A hundred unpluggings of every kind of port at random moments under load. By name: pytest tests/long/test_ports_unplugging.py"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.conformance.rigs import KINDS
from tests.conformance.unplugging import unplug_at_random


@pytest.mark.timeout(900)
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
@pytest.mark.parametrize("kind", KINDS)
def test_no_byte_read_is_lost_and_none_invented(kind: str, tmp_path: Path) -> None:
    lives, read = unplug_at_random(kind, tmp_path, 100, seed=7)
    print(f"{kind}: {lives} lives, {read} bytes read")
    assert lives >= 66
