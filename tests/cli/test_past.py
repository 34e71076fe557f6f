"""replay, audit, backup, rebuild, migrate: what was recorded."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run
from tests.servicekit import Rig
from thwart.bench import rules
from thwart.bench.kernel import Bench
from thwart.decide_again import decide_again, same_text
from thwart.ledger import Ledger
from thwart.service.clerk import groups


def test_replay_tells_the_day_as_it_was_told(run: Run, day: Rig) -> None:
    told = run("replay", day.folder)
    assert told.code == 0
    lines = told.out.splitlines()
    assert re.fullmatch(r"— \d{4}-\d\d-\d\d \(UTC\) —", lines[0])
    words = [re.fullmatch(r" *\d+  \d\d:\d\d:\d\d  (taken|look|asked|next|fault) +(.+)", line) for line in lines[1:]]
    assert None not in words
    said = [match[2] for match in words if match]
    for text in (
        "batch bay open",
        "fish 1",
        "1 total_length 212 mm",
        "1 whole_mass 110 g",
        "1 sex F",
        "container K-00013 holds 1",
    ):
        assert text in said
    later = run("replay", "--since", "20", day.folder).out
    assert "fish 1\n" not in later
    objects = [json.loads(line) for line in run("replay", "--json", day.folder).out.splitlines()]
    assert [o["seq"] for o in objects] == list(range(1, len(objects) + 1))


def test_a_day_decided_again_is_the_same(run: Run, day: Rig) -> None:
    again = run("replay", "--decide", day.folder)
    assert again.code == 0
    assert re.fullmatch(r"\d+ inputs, \d+ entries: all the same\n", again.out)


def test_a_rule_that_decides_otherwise_is_found_where_it_does(
    run: Run, day: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Bench.decide

    def decide(the_bench: Bench, kind: str, specimen_id: str | None, /, **body: Any) -> int:
        if kind == "measured" and body["raw_value"] == "110":
            body["value"] = "111"
        return real(the_bench, kind, specimen_id, **body)

    monkeypatch.setattr(Bench, "decide", decide)
    again = run("replay", "--decide", day.folder)
    assert again.code == 1
    lines = again.out.splitlines()
    assert any("measured: value: recorded 110, now 111" in line for line in lines)
    inputs = {line.partition(" (")[0] for line in lines[:-1]}
    assert len(inputs) == 1  # one difference doesn't make others
    assert re.search(r"entries: \d differences$", lines[-1])


def test_an_input_that_met_a_fault_is_decided_the_same_only_by_the_same_fault(
    run: Run, bench: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.start()
    bench.act("batch open bay")
    real = rules.decide

    def faulty(the_bench: Any, entry: Any) -> None:
        real(the_bench, entry)
        if entry.kind == "reading":
            raise KeyError("planted")

    monkeypatch.setattr(rules, "decide", faulty)
    bench.touch(212)
    bench.wait_for("told", lambda b: b["code"] == "fault")
    bench.stop()
    assert run("replay", "--decide", bench.folder).code == 0
    monkeypatch.setattr(rules, "decide", real)
    again = run("replay", "--decide", bench.folder)
    assert again.code == 1
    assert "the input is stored undecided" in again.out


def test_only_a_whole_ledger_can_be_decided_again(day: Rig) -> None:
    with Ledger.open(day.folder / "ledger.db", readonly=True) as ledger:
        from thwart.errors import ThwartError

        with pytest.raises(ThwartError, match="not the configuration a ledger begins with"):
            next(decide_again(groups(ledger.entries(3))))


@pytest.mark.parametrize(
    ("was", "now", "same"),
    [
        ("212", "212", True), ("212", "213", False), ("1000000", "1000001", False),
        ("0.0123456", "0.0123457", True), ("0.0123456", "0.0123458", False),
        ("1.00000", "0.999999", True), ("1.0", "1.00002", False), ("-1.5", "1.5", False), ("1e-7", "1.000001e-7", True),
        ("0.0", "0.00", True), ("p 0.0123456 of 12", "p 0.0123457 of 12", True), ("p 0.0123456 of 12", "p 0.0123456 of 13", False),
        ("perch", "roach", False), ("1.5 mm", "1.5 cm", False),
    ],
)  # fmt: skip
def test_numbers_agree_to_six_digits_one_unit_in_the_last(was: str, now: str, same: bool) -> None:
    assert same_text(was, now) is same


def test_audit_of_a_sound_day(run: Run, day: Rig) -> None:
    found = run("audit", day.folder)
    assert found.code == 0
    last = day.entries()[-1].seq
    assert found.out.startswith(f"{day.folder / 'ledger.db'} is sound: {last} entries, the last one's hash ")


def test_tables_that_were_changed_are_found_and_mended(run: Run, day: Rig) -> None:
    with sqlite3.connect(day.folder / "ledger.db") as db:
        db.execute("UPDATE measurement SET value = '999' WHERE measurand = 'whole_mass'")
    db.close()
    found = run("audit", day.folder)
    assert found.code == 1
    assert "value '999'" in found.err
    assert "`thwart rebuild`" in found.err
    mended = run("rebuild", day.folder)
    assert mended.code == 0
    assert "2 rows were different" in mended.out
    assert run("audit", day.folder).code == 0
    assert run("rebuild", day.folder).out.endswith("they were right before, too\n")


def test_backup_while_the_service_works(run: Run, day: Rig, tmp_path: Path) -> None:
    day.start()
    done = run("backup", day.folder, tmp_path / "copy.db")
    assert done.code == 0
    assert "read back and verified" in done.out
    assert run("audit", tmp_path / "copy.db").code == 0
    assert "1 total_length 212 mm" in run("replay", tmp_path / "copy.db").out
    checked = subprocess.run(["sha256sum", "-c", "copy.db.sha256"], cwd=tmp_path, capture_output=True, text=True)
    assert checked.stdout == "copy.db: OK\n"
    again = run("backup", day.folder, tmp_path / "copy.db")
    assert again.code == 6
    assert "exists already" in again.err


def test_backup_into_a_folder_names_the_file(
    run: Run, day: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "stick").mkdir()
    monkeypatch.chdir(day.folder)
    assert run("backup", tmp_path / "stick").code == 0
    names = sorted(path.name for path in (tmp_path / "stick").iterdir())
    assert re.fullmatch(r"lake-\d{8}T\d{6}Z\.db", names[0])
    assert names[1] == f"{names[0]}.sha256"


def test_long_work_shows_progress_on_a_terminal(day: Rig) -> None:
    reads, writes = os.openpty()
    command = [sys.executable, "-m", "thwart", "audit", str(day.folder)]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=writes)
    os.close(writes)
    shown = os.read(reads, 65536).decode()
    os.close(reads)
    assert done.returncode == 0
    assert "reading entries" in shown
    assert "comparing tables" in shown
    assert "100%" in shown


def test_elsewhere_it_is_silent(run: Run, day: Rig) -> None:
    assert run("audit", day.folder).err == ""
