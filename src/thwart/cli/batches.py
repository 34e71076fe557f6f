"""`thwart batches`: what is planned before the trip."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import click

from ..errors import ConfigError
from .benches import bench_argument, bench_of


@click.group(epilog="Example: thwart batches load trip.csv lake-survey")
def batches() -> None:
    """Plan batches from a table prepared before the trip."""


@batches.command(epilog="Examples: thwart batches load trip.csv lake-survey    thwart batches load --check trip.csv")
@click.argument("file", type=click.Path(path_type=Path))
@bench_argument
@click.option("--check", is_flag=True, help="Only say what is wrong with the file; record nothing.")
def load(file: Path, bench: Path | None, check: bool) -> None:
    """Record the batches of a CSV file as planned; `batch open NAME` then takes each up with all that the file says of it.

    The first line names the columns: batch, and any of parent, kind, species, selection, preservation, presentation, total_mass, sub_mass,
    counted. The whole file is checked first. Good rows are recorded; every wrong one is named with line, column and reason, and the exit code
    is 1: mend them and load the file again, what is there already stays as it is. A fault in the first line leaves all out. Works whether the
    service runs or not.
    """
    folder = bench_of(bench)
    from ..batchfile import read_plan
    from ..config import read_bench
    from .acting import do_acts

    plan = read_plan(file, read_bench(folder).protocol.species, _known(folder))
    faults = list(plan.faults)
    acts = [("batch", ["plan", row.batch, *row.words]) for row in plan.planned]
    done = 0
    if plan.planned and not check:
        for row, answer in zip(plan.planned, do_acts(folder, acts), strict=True):
            if answer["ok"]:
                done += 1
                click.echo("; ".join(answer["said"]))
            else:
                faults.append(f"{file}:{row.line}: {answer['error']}")
    good = f"{len(plan.planned)} rows are sound" if check else f"{done} of {done + len(faults_lines(faults))} rows hold"
    click.echo(good)
    if faults:
        raise ConfigError(
            str(file), faults, "mend these rows and load the file again; rows that are there already stay"
        )


def faults_lines(faults: list[str]) -> set[str]:
    """The lines that faults name."""
    return {fault.split(": ", 1)[0] for fault in faults}


def _known(folder: Path) -> set[str]:
    """Names of the bench's batches; none before its first day."""
    from ..service.folder import LEDGER

    path = folder / LEDGER
    if not path.is_file():
        return set()
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db:
        return {name for (name,) in db.execute("SELECT batch FROM batches")}
