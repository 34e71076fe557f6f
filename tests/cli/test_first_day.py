"""init, run, status, act: what a new user meets first."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.servicekit import Rig, until
from thwart.bench.acts import ACTS
from thwart.cli.screen import act_table, age, status_picture, table
from thwart.config import read_bench


def test_init_makes_a_bench_that_is_sound_and_that_runs(run: Run, tmp_path: Path) -> None:
    made = run("init", tmp_path / "lake")
    assert made.code == 0
    assert f"thwart run {tmp_path / 'lake'}" in made.out
    bench = read_bench(tmp_path / "lake")
    assert set(bench.protocol.species) == {"perch", "roach", "bream", "pike"}
    assert [s.column for s in bench.protocol.slots] == ["total_length_mm", "whole_mass_g"]
    assert (bench.protocol.measurands[0].rounding or pytest.fail()).step == "1 cm"
    assert set(bench.protocol.codes) == {"sex", "maturity"}
    assert bench.protocol.containers is not None
    assert (bench.protocol.containers.role, bench.protocol.containers.structure) == ("last", "otolith")
    service = subprocess.Popen([sys.executable, "-m", "thwart", "run", str(tmp_path / "lake")], stderr=subprocess.PIPE)
    until(lambda: (tmp_path / "lake" / "control.json").exists())
    until(lambda: run("status", tmp_path / "lake").code == 0)
    shown = run("status", tmp_path / "lake").out
    assert "no adapter usb:1234:0001:BOARD is plugged in" in " ".join(shown.split())
    service.send_signal(signal.SIGTERM)
    assert service.wait(20) == 0
    assert service.stderr is not None
    service.stderr.close()


def test_init_overwrites_nothing(run: Run, tmp_path: Path) -> None:
    (tmp_path / "protocol.toml").write_text("mine")
    refused = run("init", tmp_path)
    assert refused.code == 1
    assert f"thwart: {tmp_path} holds protocol.toml already" in refused.err
    assert (tmp_path / "protocol.toml").read_text() == "mine"
    assert not (tmp_path / "bench.toml").exists()


def test_init_where_nothing_can_be_made(run: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    refused = run("init", tmp_path / "file" / "bench")
    assert refused.code == 6
    assert "can't be written" in refused.err


def test_status_shows_the_fish_what_is_wanted_and_asked(run: Run, bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.act("measurer ida")
    bench.touch(212)
    bench.wait_for("measured")
    bench.touch(250)
    bench.wait_for("asked")
    shown = run("status", bench.folder).out
    for line in (
        "lake · test solo · thwart ",
        "all saved up to entry ",
        "table: fish 1, open · batch bay",
        "  taken     total_length 212 mm",
        "  wanted    whole_mass",
        "  asked     1 has total_length 212 already, now 250 mm: again or new?",
        "  people    measurer ida",
    ):
        assert line in shown
    as_json = json.loads(run("status", "--json", bench.folder).out)
    assert as_json["held"]["places"][0]["in_hand"]["taken"] == {"total_length": "212 mm"}


def test_status_without_a_service_says_how_to_start_it(run: Run, bench: Rig) -> None:
    refused = run("status", bench.folder)
    assert refused == (
        1, "", f"thwart: {bench.folder}: no service runs on this bench\n  → start it with `thwart run {bench.folder}`\n",
    )  # fmt: skip


def test_status_after_the_service_was_killed(run: Run, bench: Rig) -> None:
    bench.spawn()
    bench.end(signal.SIGKILL)
    refused = run("status", bench.folder)
    assert refused.code == 1
    assert "no service answers on this bench (it may have been killed)" in refused.err


def test_watching_shows_each_change_until_interrupted(bench: Rig) -> None:
    bench.start()
    command = [sys.executable, "-m", "thwart", "status", "--watch", "--every", "0.1", "--json", str(bench.folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as watching:
        assert watching.stdout is not None
        first = json.loads(watching.stdout.readline())
        bench.act("batch open bay")
        second = until(lambda: (p := json.loads(watching.stdout.readline()))["held"]["batches"] and p)  # type: ignore[union-attr]
        watching.send_signal(signal.SIGINT)
        watching.communicate(timeout=20)
        assert watching.returncode == 0
    assert (first["held"]["batches"], second["held"]["batches"]) == ([], ["bay"])


@pytest.mark.parametrize("width", [24, 40, 60, 80, 200])
def test_pictures_fit_any_terminal(bench: Rig, width: int) -> None:
    bench.lines["scale"].unplug()
    bench.start()
    bench.act("batch open bay")
    bench.touch(212)
    bench.wait_for("measured")
    # A path can't be broken; every other line fits.
    for text in (status_picture(bench.status(), width), act_table(ACTS.values(), width)):
        assert all(len(line) <= width or len(line.split()) <= 2 for line in text.splitlines()), text


def test_ages_and_tables() -> None:
    assert [age(s) for s in (0.4, 9.96, 61, 7200, 200_000)] == ["0.4 s", "10.0 s", "1 min", "2 h", "2 d"]
    rows = [("name", "state"), ("board", "there")]
    assert table(rows, 80) == ["name   state", "board  there"]
    assert table(rows, 8) == ["board: state there"]


def test_act_says_what_the_bench_says(run: Run, bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.start()
    assert run("act", bench.folder, "batch", "open", "bay") == (0, "batch bay open\nfish 1\n", "")
    monkeypatch.chdir(bench.folder)
    assert run("act", "value", "whole_mass", "412", "g").out == "1 whole_mass 412 g (pad)\n"
    assert run("act", "--place", "table", "pause").code == 0
    assert run("act", "as", "total_length").out.strip()


@pytest.mark.parametrize(
    ("words", "error"),
    [
        ("next", "no batch is open: `batch open NAME` first"),
        ("species prch", "there is no species 'prch' in this protocol; did you mean perch"),
        ("value whole_mas 4 g", "value: there is no measurand 'whole_mas'; did you mean whole_mass?"),
        ("value whole_mass four g", "value: 'four' isn't a number"),
        ("recall 7", "there is no fish 7"),
        ("resume", "resume: so it is already"),
        ("undo undo", "undo undo: nothing was taken back just now"),
        ("batch", "batch: expected `batch "),
        ("--place attic next", "there is no place 'attic'; places: table"),
    ],
)
def test_an_act_that_makes_no_sense_now_is_refused(run: Run, bench: Rig, words: str, error: str) -> None:
    bench.start()
    if not words.endswith("next"):
        bench.act("batch open bay")
    refused = run("act", bench.folder, *words.split())
    assert refused.code == 1, refused
    assert refused.err.startswith(f"thwart: {error}")
    assert refused.out == ""


@pytest.mark.parametrize(
    ("words", "code", "error"),
    [
        (["nxt"], 1, "'nxt' is neither an act nor a bench folder; did you mean next"),
        (["next"], 1, "no bench named, and this folder is none (it holds no bench.toml)"),
        ([], 2, "say which act"),
        (["."], 1, "no bench.toml in it"),
    ],
)
def test_act_without_a_bench_or_an_act(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], code: int, error: str
) -> None:
    monkeypatch.chdir(tmp_path)
    refused = run("act", *words)
    assert refused.code == code
    assert error in refused.err


def test_the_list_of_acts_names_every_act_with_its_arguments(run: Run) -> None:
    shown = " ".join(run("act", "--list").out.split())
    for act in ACTS.values():
        assert f"{act.name} {act.usage}".strip() in shown
        assert f"Example: {act.example}" in shown


def test_the_unit_is_sandboxed_and_sound(run: Run, bench: Rig, tmp_path: Path) -> None:
    text = run("run", "--print-unit", bench.folder).out
    for setting in (
        "Type=notify", "WatchdogSec=30", "Restart=on-failure", "ProtectSystem=strict", "PrivateTmp=yes",
        f"ReadWritePaths={bench.folder}", "NoNewPrivileges=yes", "DeviceAllow=char-ttyUSB rw", "DevicePolicy=closed",
    ):  # fmt: skip
        assert f"{setting}\n" in text
    assert "@" not in text.replace("SystemCallFilter=@system-service", "")
    unit = tmp_path / "thwart-lake.service"
    unit.write_text(text)
    try:
        verdict = subprocess.run(["systemd-analyze", "verify", str(unit)], capture_output=True, text=True)
    except FileNotFoundError:
        pytest.skip("no systemd here")
    assert [line for line in verdict.stderr.splitlines() if "thwart-lake" in line] == []
    assert verdict.returncode == 0, verdict.stderr


def test_a_bench_with_blanks_and_percents_in_its_name_makes_a_sound_unit(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "my 100% lake"
    run("init", folder)
    text = run("run", "--print-unit", folder).out
    assert f'ReadWritePaths="{tmp_path}/my 100%% lake"' in text
    assert f' run "{tmp_path}/my 100%% lake"' in text


def test_colour_is_never_written(run: Run, bench: Rig) -> None:
    bench.start()
    for words in (["status", bench.folder], ["act", "--list"], ["--help"], ["profile", "list"]):
        assert "\x1b" not in run(*words).out
