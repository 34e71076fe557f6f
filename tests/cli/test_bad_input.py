"""Bad input, end to end: one clear line a fault, saying what, where and what to do; nothing recorded is lost."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.cli.test_instruments import as_nobody
from tests.service.test_saving import _held_by_another
from tests.servicekit import Rig
from tests.unit.ledger.old_ledger import age
from thwart.bench.labels import CARD_PREFIX

BENCH = """name = "lake"

[instruments.board]
profile = "number-unit-length"
port = "/dev/board"

[instruments.scale]
profile = "status-commas-mass"
port = "/dev/scale"
"""


def _folder(run: Run, tmp_path: Path, bench: str = BENCH, protocol: Callable[[str], str] = lambda text: text) -> Path:
    run("init", tmp_path / "b")
    (tmp_path / "b" / "bench.toml").write_text(bench)
    file = tmp_path / "b" / "protocol.toml"
    file.write_text(protocol(file.read_text()))
    return tmp_path / "b"


@pytest.mark.parametrize(
    ("old", "new", "faults"),
    [
        ('name = "lake"', "", ["bench.toml: name: is missing"]),
        ('name = "lake"', "name = 5", ["bench.toml:1: name: must be text in quotes (is 5)"]),
        ('name = "lake"', 'name = "lake"\nplces = ["a"]', ["bench.toml:2: plces: unknown key; did you mean places"]),
        ('port = "/dev/board"', 'prot = "/dev/board"',
         ["bench.toml:3: instruments.board.port: is missing", "bench.toml:5: instruments.board.prot: unknown key; did you mean port, "]),
        ("/dev/scale", "/dev/board",
         ["bench.toml:9: instruments.scale.port: /dev/board is the port of board already; two instruments can't share one"]),
        ("number-unit-length", "number-unit-lenght",
         ["bench.toml:4: instruments.board.profile: no profile is named 'number-unit-lenght'; did you mean number-unit-length"]),
        ('"/dev/board"', '"ttyUSB0"',
         ["bench.toml:5: instruments.board.port: 'ttyUSB0' is no port: a device path starts at the root: /dev/ttyUSB0"]),
        ('"/dev/board"', '"/dev/board"\nplaces = ["tabel"]',
         ["bench.toml:6: instruments.board.places: there is no place 'tabel'; did you mean table?"]),
        ('"/dev/board"', '"/dev/board"\nserves = ["lenth", "whole_mass"]',
         ["bench.toml:6: instruments.board.serves: there is no measurand 'lenth'; did you mean",
          "bench.toml:6: instruments.board.serves: whole_mass is a mass, profile number-unit-length gives length"]),
        ('"/dev/board"', '"/dev/board"\nline = { baud = "fast", bits = 8 }',
         ["bench.toml:6: instruments.board.line.baud: must be a whole number (is 'fast')",
          "bench.toml:6: instruments.board.line.bits: unknown key; did you mean"]),
        ('"/dev/board"', '"/dev/board"\nkeys = { K1 = "nxt" }',
         ["bench.toml:6: instruments.board.keys.K1: there is no act 'nxt'; did you mean next"]),
        ('"/dev/board"', '"/dev/board"\nkeys = { K1 = "next" }',
         ["bench.toml:6: instruments.board.keys: profile number-unit-length is of kind length; only keys and pedals have keys"]),
        ('name = "lake"', "name = lake", ["bench.toml: not valid TOML: Invalid value (at line 1, column 8)"]),
    ],
)  # fmt: skip
def test_faults_of_the_bench_file(run: Run, tmp_path: Path, old: str, new: str, faults: list[str]) -> None:
    folder = _folder(run, tmp_path, BENCH.replace(old, new, 1))
    refused = run("run", folder)
    assert refused.code == 1
    told = [row.removeprefix(f"thwart: {folder}/") for row in refused.err.splitlines() if row.startswith("thwart: ")]
    assert len(told) == len(faults), refused.err
    for fault in faults:
        assert any(row.startswith(fault) for row in told), refused.err
    assert not (folder / "ledger.db").exists()


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('quantity = "mass"', 'quantity = "weight"', "measurands[1].quantity: should be 'length' or 'mass' (is 'weight')"),
        ("[species.perch]", "colour = 3\n[species.perch]", "measurands[1].colour: unknown key"),
        ('title = "perch"\n', "", "species.perch.title: is missing"),
        ("possible = [30, 600]", "possible = [600, 30]", "species.perch.limits.total_length: possible: the lower bound must be"),
        ("limits.total_length = { possible = [30, 600]", "limits.totl_length = { possible = [30, 600]",
         "species.perch.limits: 'totl_length' is no measurand; did you mean total_length?"),
        ('step = "1 cm"', 'step = "1 ell"', "measurands[0].rounding.step: '1 ell': write a positive number, a blank and a unit"),
        ('label = "L-####?"', 'label = "L-####"', "containers: label: the number of `?` at the end must fit"),
        ('structure = "otolith"', 'structure = "otolith"\nfirst = "L-00012"',
         "containers: first: 'L-00012': its check character is wrong"),
    ],
)  # fmt: skip
def test_faults_of_the_protocol(run: Run, tmp_path: Path, old: str, new: str, fault: str) -> None:
    folder = _folder(run, tmp_path, protocol=lambda text: text.replace(old, new, 1))
    refused = run("run", folder)
    assert refused.code == 1
    row = next((row for row in refused.err.splitlines() if fault in row), refused.err)
    where = row.removeprefix(f"thwart: {folder}/protocol.toml:")
    assert where != row, refused.err
    assert where.partition(":")[0].isdecimal()


def test_a_label_that_could_be_a_card_is_refused(run: Run, tmp_path: Path) -> None:
    label = f'label = "{CARD_PREFIX}####?"'
    folder = _folder(run, tmp_path, protocol=lambda text: text.replace('label = "L-####?"', label))
    refused = run("run", folder)
    assert refused.code == 1
    assert "could be read as a command card; begin it with something else" in refused.err


def test_all_faults_of_all_files_at_once(run: Run, tmp_path: Path) -> None:
    bench = BENCH.replace("/dev/board", "board").replace("status-commas-mass", "status-comas-mass") + "x = 1\n"
    folder = _folder(run, tmp_path, bench, lambda text: text.replace('title = "perch"', "title = 1"))
    told = run("run", folder).err
    for fault in ("instruments.scale.x: unknown key", "species.perch.title: must be text in quotes (is 1)"):
        assert fault in told
    (folder / "bench.toml").write_text(bench.replace("x = 1\n", ""))
    told = run("run", folder).err
    for fault in ("'board' is no port", "no profile is named 'status-comas-mass'", "species.perch.title: must be text"):
        assert fault in told


@pytest.mark.parametrize(("words", "said"), [
    (["run", "nowhere"], "nowhere: no such folder\n  → `thwart init nowhere` makes a bench folder"),
    (["status", "."], ".: no bench.toml in it"),
    (["run"], "no bench named, and this folder is none"),
    (["audit"], "no bench named, and this folder is none"),
    (["replay", "nowhere"], "nowhere: no such folder"),
])  # fmt: skip
def test_no_bench_there(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], said: str) -> None:
    monkeypatch.chdir(tmp_path)
    refused = run(*words)
    assert refused.code == 1
    assert said in refused.err


def test_a_bench_that_never_ran_has_no_ledger(run: Run, bench: Rig) -> None:
    for command in ("audit", "replay", "rebuild", "migrate"):
        refused = run(command, bench.folder)
        assert refused.code == 1
        assert f"no ledger.db yet\n  → `thwart run {bench.folder}` makes it" in refused.err


# ---- the ledger ----------------------------------------------------------------------------------------------------


def _run_process(bench: Rig) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "thwart", "run", str(bench.folder)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60)


def test_an_older_ledger_asks_for_migrate_and_then_runs(run: Run, day: Rig) -> None:
    age(day.folder / "ledger.db")
    refused = _run_process(day)
    assert refused.returncode == 3
    assert f"run `thwart migrate {day.folder}`" in refused.stderr
    done = run("migrate", day.folder)
    assert done.code == 0
    assert "ledger-before-migration-from-0.db" in done.out
    assert (day.folder / "ledger-before-migration-from-0.db").exists()
    assert run("migrate", day.folder).out.endswith("is of this version already\n")
    assert run("audit", day.folder).code == 0
    day.start()
    hand = day.hand()
    assert hand is not None
    assert hand["number"] == 2


def test_a_newer_ledger_is_refused_and_left_as_it_is(run: Run, day: Rig) -> None:
    path = day.folder / "ledger.db"
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 999")
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    before = path.read_bytes()
    for command in ("run", "audit", "replay", "migrate", "rebuild"):
        refused = run(command, day.folder)
        assert refused.code == 6
        assert "was written by a newer thwart" in refused.err
    assert path.read_bytes() == before


def test_a_corrupt_ledger_is_refused_by_run_and_found_by_audit(run: Run, day: Rig) -> None:
    path = day.folder / "ledger.db"
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    data = path.read_bytes()
    assert b'"value":"212"' in data
    path.write_bytes(data.replace(b'"value":"212"', b'"value":"213"'))
    refused = run("run", day.folder)
    assert refused.code == 6
    assert "is damaged: entry" in refused.err
    assert "`thwart audit`" in refused.err
    found = run("audit", day.folder)
    assert found.code == 1
    assert "doesn't fit its hash" in found.err
    assert found.err.splitlines()[-2].endswith("is not sound")


def test_something_else_than_a_ledger(run: Run, bench: Rig) -> None:
    (bench.folder / "ledger.db").write_bytes(b"not a database" * 100)
    refused = run("run", bench.folder)
    assert refused.code == 6
    assert "is not a ledger" in refused.err


def test_a_ledger_held_by_another_program_names_it(run: Run, day: Rig) -> None:
    with _held_by_another(day) as pid:
        for command in ("run", "rebuild"):
            refused = run(command, day.folder)
            assert refused.code == 6
            assert f"process {pid}" in refused.err
    assert run("rebuild", day.folder).code == 0


def test_a_service_in_the_way_is_4(run: Run, day: Rig) -> None:
    day.start()
    age_before = (day.folder / "ledger.db").stat().st_mtime_ns
    for command in ("run", "rebuild", "migrate"):
        refused = run(command, day.folder)
        assert refused.code == 4
        assert f"(process {os.getpid()})" in refused.err
    assert (day.folder / "ledger.db").stat().st_mtime_ns == age_before


def test_a_folder_that_cant_be_written(run: Run) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        run("init", folder / "b")
        refused = as_nobody(["run", str(folder / "b")], forbidden=folder / "b")
        (folder / "b").chmod(0o755)
    assert refused.code == 6
    assert f"{folder / 'b'}: can't be written: Permission denied" in refused.err
    assert "owner or rights" in refused.err
