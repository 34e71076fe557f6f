"""`thwart demo` of each protocol, as a person starts it: everything planted is seen, nothing differs.

All four run at once, with little to do but to wait for scales to settle.
"""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from thwart.demo import lab, row, solo, tally

#: How many fish each needs for all its troubles, and the troubles.
RUNS: Mapping[str, tuple[int, set[str]]] = {
    "solo": (8, set(solo.TROUBLES)),
    "row": (8, set(row.TROUBLES)),
    "lab": (6, {*lab.FIRST, *lab.SECOND}),
    "tally": (12, set(tally.TROUBLES)),
}


@dataclass(frozen=True)
class Played:
    code: int
    out: str
    folder: Path

    def rows(self, query: str) -> list[tuple[object, ...]]:
        with closing(sqlite3.connect(f"file:{self.folder / 'ledger.db'}?mode=ro", uri=True)) as db:
            return db.execute(query).fetchall()


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mapping[str, Played]]:
    top = tmp_path_factory.mktemp("demo")
    running = {
        name: subprocess.Popen(
            [sys.executable, "-m", "thwart", "demo", "--protocol", name, "--fish", str(fish), "--pace", "0", "--seed", "3",
             "--keep", str(top / name)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )
        for name, (fish, _) in RUNS.items()
    }  # fmt: skip
    try:
        outs = {name: process.communicate(timeout=100)[0] for name, process in running.items()}
        yield {name: Played(running[name].returncode, out, top / name) for name, out in outs.items()}
    finally:
        for process in running.values():
            process.kill()


@pytest.mark.parametrize("name", list(RUNS))
def test_it_ends_well_and_every_trouble_is_seen(played: Mapping[str, Played], name: str) -> None:
    shown = played[name]
    assert shown.code == 0, shown.out
    troubles = shown.out.partition("What was planted")[2].partition("The ledger beside")[0]
    seen = set(re.findall(r"^(\S.*?)  +\d+  .*  seen$", troubles, re.M))
    assert seen == RUNS[name][1], shown.out
    assert "DIFFERS" not in shown.out
    assert "in vain" not in shown.out


def test_the_lab_adds_to_the_fish_that_were_made_ashore(played: Mapping[str, Played]) -> None:
    fish = played["lab"].rows(
        "SELECT number FROM specimens WHERE whole_mass_g > thawed_whole_mass_g AND thawed_whole_mass_g > thawed_gutted_mass_g"
        " AND otolith_mass_g < 0.1"
    )
    assert [n for (n,) in fish] == [1, 2, 3, 4, 5, 6]
    assert played["lab"].rows("SELECT preservation FROM batches") == [("thawed",)]


def test_the_row_has_three_places_and_one_ledger(played: Mapping[str, Played]) -> None:
    by = played["row"].rows(
        "SELECT measurand, place, count(DISTINCT number) FROM measurements GROUP BY 1, 2 ORDER BY 1"
    )
    assert by == [("total_length", "board", 8), ("whole_mass", "scale", 8)]


def test_the_tally_has_no_specimens(played: Mapping[str, Played]) -> None:
    assert played["tally"].rows("SELECT count(*) FROM specimens") == [(0,)]
    assert played["tally"].rows("SELECT sum(n) FROM tallies") == [(13,)]  # and the pike from the wrong basket
