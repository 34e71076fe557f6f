"""A day on an invented lake that leaves every kind of row, and what the views must hold of it.

Its entries are recorded in tests/data/contract/day.jsonl, and what the views hold of them in views.json; both are
fixed. So rules may change, the views' meaning can't. Where a column or view is *added*, make views.json anew from the
same entries, and read its difference: python -m tests.unit.ledger.golden_day views. A new version of the contract (or a
day with more in it) is made by: python -m tests.unit.ledger.golden_day day
"""

from __future__ import annotations

import json
import sqlite3
import sys
import tempfile
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from tests.benchkit import TALLY, Play, protocol
from tests.unit.ledger.making import told
from thwart.bench.state import Instrument
from thwart.entries import Entry, canonical_text, parsed
from thwart.ledger import Ledger, views

FOLDER = Path(__file__).parents[2] / "data" / "contract"
ENTRIES = FOLDER / "day.jsonl"
VIEWS = FOLDER / "views.json"

#: Columns of `specimens` beside the fixed ones: measurand key, unit.
MEASURANDS = (
    ("fork_length", "mm"), ("total_length", "mm"), ("whole_mass", "g"), ("gonad_mass.left", "g"),
    ("gonad_mass.right", "g"), ("liver_mass.1", "g"), ("liver_mass.2", "g"),
)  # fmt: skip

PROTOCOL = """
name = "golden day"
order = [["fork_length", "total_length"]]

[[measurands]]
name = "fork_length"
quantity = "length"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = { rule = "below", step = "1 cm" }

[[measurands]]
name = "whole_mass"
quantity = "mass"
rounding = { rule = "nearest", step = "5 g" }

[[measurands]]
name = "gonad_mass"
quantity = "mass"
required = false
sides = ["left", "right"]
maximum = 40

[[measurands]]
name = "liver_mass"
quantity = "mass"
required = false
replicates = 2
maximum = 40

[species.perch]
title = "perch"
limits.total_length = { possible = [30, 600], usual = [60, 450] }

[species.roach]
title = "roach"

[codes.sex]
scale = "sex"
values = { F = "female", M = "male" }

[codes.maturity]
scale = "six stages"
values = { "1" = "juvenile", "2" = "resting", "3" = "ripening" }

[containers]
label = "K-####?"
check = "mod-11-10"
structure = "otolith"
first = "K-00013"
dried = true

[structures.otolith]
"""


#: Everything stands at the table; at the bow they write by hand.
SERVES = dict.fromkeys(("board", "scale", "hand-scale", "scanner", "pedal"), ("table",))


class Day(Play):
    """A play whose readings carry times and evidence of their own."""

    def reading(self, instrument: str, value: str | None, unit: str, **more: Any) -> list[Entry]:
        ms = self.now // 1_000_000 + 640
        arrived = f"2026-05-04T{ms // 3_600_000:02d}:{ms // 60_000 % 60:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}Z"
        return super().reading(instrument, value, unit, arrived_utc=arrived, **more)

    def load(self, g: str, zero: str, rest: str) -> None:
        """A load on the scale that leaves another rest than it found."""
        self.lay(zero)
        self.reading("scale", g, "g", settled="window", zero_before=zero, samples=9, spread="0.5")
        self.lift(rest)


def day() -> list[Entry]:
    """The day, as the bench decides it now."""
    play = Day(PROTOCOL, batch=False, places=("table", "bow"), serves=SERVES)
    act = play.act
    act("batch plan haul-9 kind=haul")
    act("batch plan haul-3 kind=haul total_mass=48.5kg counted=310")
    act("practice on", "bow")
    act("batch open dry-run", "bow")
    act("value fork_length 100 mm", "bow")
    act("code sex F", "bow")
    act("batch close enough", "bow")
    act("practice off", "bow")
    play.touch(77)  # nobody's
    act(
        "batch open box-1 perch parent=haul-3 kind=box selection=random preservation=iced presentation=whole total_mass=21kg sub_mass=9.5kg",
        "table",
    )
    for role, who in (("measurer", "ida"), ("recorder", "ben"), ("stager", "mia")):
        act(f"{role} {who}", "table")
    play.reading("board", "20.1", "cm")
    play.touch(212, after_ms=3000)
    play.load("1033", "0", "1")
    play.load("12.5", "1", "1")
    act("code sex F", "table")
    act("code maturity 2", "table")
    act("structure otolith 2 both whole", "table")
    act("value gonad_mass.right 11.5 g balance", "table")
    act("value liver_mass.1 8.1 g balance", "table")
    act("value liver_mass.2 8.3 g balance", "table")
    play.scan("K-00013")
    play.touch(221, after_ms=3000)
    play.touch(231, after_ms=3000)
    play.touch(231, after_ms=60)  # a bounce
    play.lay("1")
    play.settle("98", zero_before="1", samples=7)
    play.settle("98", zero_before="1", samples=5, plateau=2)  # the same load
    play.lift("1")
    act("code sex M of previous", "table")
    act("code sex M", "table")
    act("missing maturity could-not-tell", "table")
    play.scan("K-00048")  # two passed over
    act("skip K-00021", "table")
    play.touch(2120, after_ms=3000)  # a digit too many
    act("again", "table")
    play.touch(212, after_ms=3000)
    play.touch(2410, after_ms=3000)
    play.touch(241, after_ms=3000)
    act("again", "table")
    play.load("140", "1", "1")
    play.scan("K-00056")
    play.touch(188, after_ms=3000)
    play.touch(620, after_ms=3000)  # beyond what is possible, and so it is
    act("stands measured-twice", "table")
    act("value whole_mass 2.5 kg balance", "table")
    act("code sex F", "table")
    act("move K-00056 K-00064", "table")
    act("next", "table")
    play.touch(240, after_ms=3000)
    act("lost", "table")
    act("lost", "table")
    play.touch(241, after_ms=3000)
    play.scan("K-00089")
    act("recall 7", "table")
    act("void", "table")
    act("void", "table")
    play.touch(205, after_ms=3000)
    act("missing whole_mass not-attempted", "table")
    act("same-as 2", "table")
    act("same-as 2", "table")
    play.touch(230, after_ms=3000)
    act("species roach", "table")
    act("found K-00013 empty broken", "table")
    act("found K-00072 full", "table")
    act("mend value 2 whole_mass 89 g misread by ida see photo 12")
    act("mend value 3 whole_mass 97 g misheard by mia")
    act("undo", "table")
    act("mend value 3 fork_length 222 mm misheard by mia")
    act("undo", "table")
    act("undo undo", "table")
    act("pool 25", "table")
    play.lay("1")
    play.reading("scale", "0.3105", "kg", settled="window", zero_before="1", samples=9, spread="0.5")
    play.lift("1")
    act("count 40", "table")
    act("batch open box-2 roach kind=box parent=haul-3", "bow")
    act("value fork_length 150 mm tape", "bow")
    act("code sex F", "bow")
    act("code sex M", "bow")
    act("value liver_mass 80 g", "bow")
    _counting(play)
    _printing(play)
    return play.entries


def _counting(play: Day) -> None:
    """The same bench counts length classes in the afternoon."""
    play.act("batch close station-done", "table")
    here, there = play.setup.places, play.setup.instruments
    play.bench.setup = play.setup = type(play.setup)(play.setup.bench, protocol(TALLY), here, there)
    play.act("batch open lot-1", "table")
    play.act("species perch", "table")
    for mm in (121, 129, 140):
        play.touch(mm, after_ms=3000)
    play.act("code sex F", "table")
    play.touch(125, after_ms=3000)
    play.act("species roach", "table")
    play.touch(96, after_ms=3000)


def _printing(play: Day) -> None:
    """In the evening labels for the next day."""
    here, there = play.setup.places, play.setup.instruments
    play.bench.setup = play.setup = type(play.setup)(play.setup.bench, protocol(PROTOCOL), here, there)
    play.act("printed K-00013 K-00249")
    play.act("printed K-00208 K-00304 again")


def recorded() -> list[Entry]:
    """The day's entries as they are committed."""
    return [parsed(line) for line in ENTRIES.read_text().splitlines()]


def ledger_of_the_day(path: Path, entries: Iterable[Entry]) -> Path:
    """A real ledger of the day, with what doesn't come from entries."""
    told(path, entries)
    with Ledger.open(path) as ledger:
        ledger.define_specimens_view(MEASURANDS)
        ledger.mark_presence("board", "2026-05-04T00:10:00.000Z")
        board = Instrument("board", "number-unit-length", "usb:1234:0001:BOARD", True)
        seen = replace(board, last_verified_utc="2026-05-03T16:00:00.000Z", verified=True)
        failed = replace(seen, instrument="scale", port="usb:1234:0001:SCALE", present=False, verified=False)
        ledger.write([], {("instrument", "board"): seen, ("instrument", "scale"): failed})
        ledger.commit()
    return path


def contents(path: Path) -> dict[str, list[dict[str, Any]]]:
    """View → its rows, in order of their first column, with every column."""
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
        return {name: rows_of(db, name) for name in views.NAMES}


def rows_of(db: sqlite3.Connection, view: str) -> list[dict[str, Any]]:
    """A view's rows, in an order that its columns' order has no part in."""
    found = db.execute(f"SELECT * FROM {view}")
    names = [d[0] for d in found.description]
    rows = [dict(zip(names, row, strict=True)) for row in found]
    return sorted(rows, key=lambda row: json.dumps(row, sort_keys=True))


def main(what: str) -> None:
    if what == "day":
        ENTRIES.write_text("".join(canonical_text(entry) + "\n" for entry in day()))
    with tempfile.TemporaryDirectory() as folder:
        held = contents(ledger_of_the_day(Path(folder) / "ledger.db", recorded()))
    lines = (
        f"{json.dumps(name)}: [\n" + ",\n".join(f" {json.dumps(row, ensure_ascii=False)}" for row in rows) + "\n]"
        for name, rows in held.items()
    )
    VIEWS.write_text("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main(sys.argv[1])
