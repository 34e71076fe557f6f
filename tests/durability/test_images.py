"""No power cut loses what was announced; and this test can fail. Interposed library (gcc), any POSIX libc with it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.durability.cuts import cut
from tests.durability.images import Disk, Event, compiled, events

pytestmark = pytest.mark.skipif(
    shutil.which("gcc") is None, reason="GCC IS NOT INSTALLED: what a power cut leaves is not tested"
)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return compiled(tmp_path_factory.mktemp("recorder"))


def test_every_cut_keeps_what_was_announced(library: Path, tmp_path: Path) -> None:
    outcome = cut(library, tmp_path, 40)
    assert outcome.images > 250
    assert outcome.announced > 80
    assert (outcome.losing, outcome.broken) == (0, 0)
    # The database itself was written too, so cuts within a copying of the log were among them.
    assert sum(e.kind == "S" and e.name == "ledger.db" for e in events(tmp_path / "record")) >= 3


@pytest.mark.parametrize("wrong", [("--synchronous", "OFF"), ("--synchronous", "NORMAL"), ("--announce-first",)])
def test_a_wrong_writer_is_seen(library: Path, tmp_path: Path, wrong: tuple[str, ...]) -> None:
    assert cut(library, tmp_path, 20, *wrong).losing > 5


def test_the_disk_forgets_what_was_not_synced() -> None:
    disk = Disk({"f": bytearray(b"aaaa")})
    disk.take(Event("W", "f", 2, b"bbbb"))
    assert disk.durable == {"f": b"aaaa"}
    disk.take(Event("S", "f"))
    disk.take(Event("T", "f", 3))
    assert disk.durable == {"f": b"aabbbb"}
    disk.take(Event("S", "f"))
    assert disk.durable == {"f": b"aab"}
