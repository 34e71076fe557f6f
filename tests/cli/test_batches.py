"""`thwart batches load`: planned before the first day, at rest and beside the service; half wrong; again; taken up."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.servicekit import Rig

GOOD = "batch,parent,kind,species,preservation,total_mass_kg\nhaul-3,,haul,,,48.5\nperch-3,haul-3,species,perch,iced,12.4\n"
HALF = GOOD + "pike-3,haul-3,species,pik,,\nroach-3,haul-9,species,,,\nbox 4,,,,,\nhaul-4,,haul,,,7\n"


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    return tmp_path / "trip.csv"


def batches(bench: Rig) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(bench.folder / "ledger.db")) as db:
        return db.execute("SELECT batch, parent, state, species, total_mass_g FROM batches ORDER BY batch").fetchall()


PLANNED = [("haul-3", None, "planned", None, 48500.0), ("perch-3", "haul-3", "planned", "perch", 12400.0)]


def test_before_the_first_day(bench: Rig, run: Run, trip: Path) -> None:
    trip.write_text(GOOD)
    looked = run("batches", "load", "--check", trip, bench.folder)
    assert (looked.code, looked.out) == (0, "2 rows are sound\n")
    assert not (bench.folder / "ledger.db").exists()
    done = run("batches", "load", trip, bench.folder)
    assert (done.code, done.err) == (0, "")
    assert done.out == "batch haul-3 planned\nbatch perch-3 planned\n2 of 2 rows hold\n"
    assert batches(bench) == PLANNED
    assert run("audit", bench.folder).code == 0
    again = run("batches", "load", trip, bench.folder)
    assert (again.code, again.out.splitlines()[0]) == (0, "batch haul-3 is planned so already")


def test_half_wrong_the_good_ones_are_there_and_the_wrong_ones_are_named(bench: Rig, run: Run, trip: Path) -> None:
    trip.write_text(HALF)
    done = run("batches", "load", trip, bench.folder)
    assert done.code == 1
    assert done.out.splitlines()[-1] == "3 of 6 rows hold"
    assert [line.removeprefix(f"thwart: {trip}:") for line in done.err.splitlines()] == [
        "4: species: there is no species 'pik' in the protocol; did you mean pike?",
        "5: parent: there is no batch 'haul-9', here or on the bench; did you mean haul-4, haul-3?",
        "6: batch: 'box 4': a name of 1 to 60 characters without blanks and `=`",
        "  → mend these rows and load the file again; rows that are there already stay",
    ]
    assert batches(bench) == [PLANNED[0], ("haul-4", None, "planned", None, 7000.0), PLANNED[1]]
    trip.write_text(HALF.replace("pik,", "pike,").replace("haul-9", "haul-4").replace("box 4", "box-4"))
    assert run("batches", "load", trip, bench.folder).code == 0
    assert [row[0] for row in batches(bench)] == ["box-4", "haul-3", "haul-4", "perch-3", "pike-3", "roach-3"]


def test_beside_the_service_and_taken_up(bench: Rig, run: Run, trip: Path) -> None:
    bench.start()
    trip.write_text(GOOD)
    assert run("batches", "load", trip, bench.folder).code == 0
    bench.act("batch open perch-3")
    held = bench.hand()
    assert held is not None
    assert held["species"] == "perch"
    trip.write_text(GOOD.replace("12.4", "99"))
    again = run("batches", "load", trip, bench.folder)
    assert again.code == 1
    assert f"{trip}:3: batch perch-3 was opened already" in again.err
    bench.stop()
    assert batches(bench) == [PLANNED[0], ("perch-3", "haul-3", "open", "perch", 12400.0)]
    assert run("audit", bench.folder).code == 0
    assert run("replay", "--decide", bench.folder).code == 0


def test_a_fault_of_the_whole_file_records_nothing(bench: Rig, run: Run, trip: Path) -> None:
    trip.write_text(GOOD.replace("species,", "speces,", 1))
    done = run("batches", "load", trip, bench.folder)
    assert (done.code, done.out) == (1, "")
    assert "no column is called 'speces'" in done.err
    assert not (bench.folder / "ledger.db").exists()
