from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.servicekit import Rig, rig


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path / "lake") as made:
        yield made
