"""Said means saved, whatever holds the ledger up; and what happens on each class of error."""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.servicekit import Ear, Rig, until
from thwart.bench import rules
from thwart.errors import (
    BenchInUse,
    ConfigError,
    LedgerError,
    LedgerTooNew,
    LedgerTooOld,
    NotFound,
    PortError,
    ThwartError,
)
from thwart.ledger import LedgerBusy, LedgerCorrupt, LedgerForeign, LedgerFull, LedgerReadOnly
from thwart.ports import PortAbsent
from thwart.service import clerk
from thwart.service.policy import POLICIES, policy_of

_HOLD = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
"""


@contextmanager
def _held_by_another(bench: Rig) -> Iterator[int]:
    """Another program holds the ledger's write lock; its process id."""
    command = [sys.executable, "-c", _HOLD, str(bench.folder / "ledger.db")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        try:
            yield other.pid
        finally:
            other.stdin.close()
            other.wait()


def test_while_another_program_holds_the_ledger_nothing_is_said_and_nothing_lost(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    before = bench.entries()[-1].seq
    ear = Ear(bench, before)
    answers: list[dict[str, Any]] = []
    with _held_by_another(bench) as pid:
        bench.touch(212)
        status = until(lambda: (s := bench.status())["fault"] and s)
        assert status["saved"] is False
        assert f"process {pid}" in status["fault"]
        assert status["committed_seq"] == before
        asking = threading.Thread(target=lambda: answers.append(bench.act("measurer ida")))
        asking.start()
        asking.join(0.6)
        assert asking.is_alive()
        assert not answers
        assert not ear.heard
        assert bench.entries()[-1].seq == before
    asking.join(20)
    assert answers[0]["ok"] is True
    assert bench.wait_for("measured").body["raw_value"] == "212"
    assert bench.status()["saved"] is True
    until(lambda: ear.heard and ear.heard[-1]["seq"] == bench.entries()[-1].seq)
    assert ear.seqs() == list(range(before + 1, bench.entries()[-1].seq + 1))


def test_a_full_disk_is_waited_out(bench: Rig) -> None:
    service = bench.start()
    bench.act("batch open bay")
    service.ledger._db.execute("PRAGMA max_page_count = 1")  # the file as it is is the most it may be: SQLITE_FULL
    answers: list[dict[str, Any]] = []
    asking = threading.Thread(target=lambda: answers.append(bench.act("measurer " + "x" * 400)))
    asking.start()
    filling = threading.Event()

    def full() -> Any:
        bench.lines["scanner"].send(b"y" * 120 + b"\r")
        fault = bench.status()["fault"] or ""
        return "disk is full" in fault and fault

    assert until(full)
    filling.set()
    service.ledger._db.execute("PRAGMA max_page_count = 1000000")
    asking.join(20)
    assert answers[0]["ok"] is True
    until(lambda: bench.status()["saved"])


def test_a_fault_of_the_rules_keeps_the_input_and_the_service_goes_on(
    bench: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.start()
    bench.act("batch open bay")
    sound = rules.decide

    def faulty(the_bench: Any, entry: Any) -> None:
        sound(the_bench, entry)
        if entry.kind == "reading":
            raise KeyError("planted")

    monkeypatch.setattr(rules, "decide", faulty)
    bench.touch(212)
    told = bench.wait_for("told", lambda b: b["code"] == "fault")
    kept = {e.seq: e for e in bench.entries()}
    assert kept[told.input_seq].kind == "reading"
    assert kept[told.input_seq].body["value"] == "212"
    assert not any(e.kind == "measured" for e in kept.values())
    monkeypatch.setattr(rules, "decide", sound)
    bench.touch(240)
    assert bench.wait_for("measured").body["raw_value"] == "240"


def test_an_act_that_meets_a_fault_is_answered_as_failed(bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.start()
    monkeypatch.setattr(rules, "decide", lambda *_: 1 / 0)
    with pytest.raises(ThwartError, match="a fault of this program, ZeroDivisionError"):
        bench.act("batch open bay")
    assert [e.body["act"] for e in bench.entries() if e.kind == "act"] == ["batch"]


def test_a_stop_while_the_ledger_is_held_tries_on_and_then_says_what_is_lost(
    bench: Rig, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(clerk, "_LAST_TRIES_S", 0.5)
    bench.start()
    bench.act("batch open bay")
    with _held_by_another(bench), caplog.at_level(logging.ERROR):
        bench.touch(212)
        until(lambda: bench.status()["fault"])
        with pytest.raises(LedgerBusy):
            bench.stop()
    assert any(r.getMessage().startswith("lost inputs=") for r in caplog.records)


# ---- the table, row by row -----------------------------------------------------------------------------------------

_EXAMPLES: dict[type[BaseException], BaseException] = {
    LedgerBusy: LedgerBusy(Path("l"), None),
    LedgerFull: LedgerFull("full"),
    LedgerReadOnly: LedgerReadOnly("read-only"),
    LedgerTooOld: LedgerTooOld("old"),
    LedgerTooNew: LedgerTooNew("new"),
    LedgerCorrupt: LedgerCorrupt("corrupt"),
    LedgerForeign: LedgerForeign("foreign"),
    LedgerError: LedgerError("i/o"),
    BenchInUse: BenchInUse("in use"),
    PortError: PortAbsent("absent"),
    ConfigError: ConfigError("f", ["p"]),
    NotFound: NotFound("n"),
    ThwartError: ThwartError("t"),
    OSError: OSError(5, "i/o"),
}


def test_every_row_has_an_example() -> None:
    assert [cls for cls, _ in POLICIES] == list(_EXAMPLES)


@pytest.mark.parametrize("cls", list(_EXAMPLES), ids=lambda cls: cls.__name__)
def test_each_error_finds_its_row_and_ends_with_its_code(cls: type[BaseException]) -> None:
    error, row = _EXAMPLES[cls], dict(POLICIES)[cls]
    assert policy_of(error) is row
    if isinstance(error, ThwartError):
        assert error.exit_code == row.exit_code


def test_what_the_table_doesnt_know_stops() -> None:
    assert policy_of(ZeroDivisionError()).retry_s is None


@pytest.mark.parametrize(
    "cls", [cls for cls in _EXAMPLES if issubclass(cls, LedgerError | LedgerTooOld)], ids=lambda cls: cls.__name__
)
def test_the_clerk_does_what_the_row_says(
    cls: type[BaseException], bench: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    service = bench.start()
    real, troubles = service.ledger.commit, [_EXAMPLES[cls]]

    def commit() -> None:
        if troubles:
            service.ledger.rollback()
            raise troubles.pop()
        real()

    monkeypatch.setattr(service.ledger, "commit", commit)
    if dict(POLICIES)[cls].retry_s is not None:
        assert bench.act("batch open bay")["ok"] is True
        assert not troubles
        assert any(e.kind == "batch" for e in bench.entries())
    else:
        bench.service = None
        with pytest.raises(ThwartError, match=r"not saved: |went away|has stopped"):
            bench.act("batch open bay")
        with pytest.raises(cls):
            service.wait()
        assert not any(e.kind == "batch" for e in bench.entries())
