"""Any order of writing, committing, giving up, asking and opening anew agrees with a plain dict."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.ledger.samples import Input, Survey, fold
from thwart.bench.state import MemoryRecords, Specimen
from thwart.ledger import Ledger
from thwart.ledger.audit import audit
from thwart.ledger.schema import PROJECTED

INPUTS: list[Input] = list(Survey().everything())
KEYS = sorted({key for _, changed in INPUTS for key in changed}, key=str)
FISH = sorted({str(name) for kind, name in KEYS if kind == "specimen"})


def agree(ledger: Ledger, memory: MemoryRecords) -> None:
    """Every question is answered alike."""
    for key in KEYS:
        assert key[0] not in PROJECTED or ledger.records.get(key) == memory.get(key)
    for fish in FISH:
        assert ledger.records.measurements_of(fish) == memory.measurements_of(fish)
        assert ledger.records.questions_of(fish) == memory.questions_of(fish)
        known = memory.get(("specimen", fish))
        if isinstance(known, Specimen):
            assert ledger.records.numbered(known.number) == fish
    assert ledger.records.specimens_of("lake-1") == memory.specimens_of("lake-1")


def remembered(inputs: list[Input]) -> MemoryRecords:
    memory = MemoryRecords()
    for _, changed in inputs:
        memory.store(changed)
    return memory


@settings(max_examples=25)
@given(st.lists(st.sampled_from(["write"] * 4 + ["commit", "rollback", "ask", "open anew", "snapshot"]), max_size=60))
def test_any_order(steps: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.db"
        ledger = Ledger.create(path, "lake", "0190")
        committed = written = 0
        for step in steps:
            match step:
                case "write" if written < len(INPUTS):
                    ledger.write(*INPUTS[written])
                    written += 1
                case "commit":
                    ledger.commit()
                    committed = written
                case "snapshot":
                    ledger.snapshot("{}", ledger.next_seq - 1)
                    committed = written
                case "rollback":
                    ledger.rollback()
                    written = committed
                case "ask":
                    agree(ledger, remembered(INPUTS[:written]))
                case "open anew":
                    ledger.close()
                    ledger = Ledger.open(path)
                    written = committed
            assert ledger.next_seq == 1 + sum(len(entries) for entries, _ in INPUTS[:written])
        ledger.close()
        with Ledger.open(path, readonly=True) as again:
            agree(again, remembered(INPUTS[:committed]))
            assert list(again.entries()) == [e for entries, _ in INPUTS[:committed] for e in entries]
        assert audit(path, fold).problems == ()
