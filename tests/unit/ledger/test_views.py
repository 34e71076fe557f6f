"""The views other programs read, and that shared/database.md tells every column of them."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace

from tests.unit.ledger.samples import Survey
from thwart.bench.state import Measurement, Reading, Specimen
from thwart.ledger import Ledger, views

DOCUMENT = Path(__file__).parents[3] / "shared" / "database.md"


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.create(tmp_path / "ledger.db", "lake", "0190") as made:
        yield made


def rows(ledger: Ledger, sql: str) -> list[dict[str, object]]:
    with sqlite3.connect(ledger.path) as db:
        db.row_factory = sqlite3.Row
        return [dict(row) for row in db.execute(sql)]


def columns(ledger: Ledger, view: str) -> list[str]:
    with sqlite3.connect(ledger.path) as db:
        return [row[1] for row in db.execute(f"PRAGMA table_info({view})")]


def fill(ledger: Ledger) -> Survey:
    survey = Survey()
    for entries, changed in survey.everything():
        ledger.write(entries, changed)
    ledger.commit()
    return survey


def documented() -> dict[str, list[str]]:
    """View → columns, from the tables under the `## view` headings."""
    found: dict[str, list[str]] = {}
    view = ""
    for line in DOCUMENT.read_text().splitlines():
        if heading := re.fullmatch(r"## `(\w+)`.*", line):
            view = heading[1]
        elif line.startswith("## "):
            view = ""
        elif view and (cell := re.match(r"\| `(\w+)` \|", line)):
            found.setdefault(view, []).append(cell[1])
    return found


def test_the_document_tells_every_view_and_column_and_no_other(ledger: Ledger) -> None:
    assert documented() == {view: columns(ledger, view) for view in views.NAMES}


def test_the_contract_version_is_told(ledger: Ledger) -> None:
    assert rows(ledger, "SELECT * FROM about") == [{"contract_version": 1, "bench": "lake", "bench_id": "0190"}]
    assert f"contract_version` is {views.CONTRACT_VERSION}" in DOCUMENT.read_text()


def test_every_view_can_be_read_when_empty(ledger: Ledger) -> None:
    for view in views.NAMES:
        if view != "about":
            assert rows(ledger, f"SELECT * FROM {view}") == []


def test_specimens(ledger: Ledger) -> None:
    survey = fill(ledger)
    assert ledger.define_specimens_view([("whole_mass", "g"), ("total_length", "mm"), ("gonad_mass.left", "g")])
    got = rows(ledger, "SELECT * FROM specimens ORDER BY number")
    fishes = [t for t in survey.now.values() if isinstance(t, Specimen) and not t.practice]
    assert [row["number"] for row in got] == [fish.number for fish in fishes] == [1, 2, 3, 4, 5]
    fish, row = fishes[4], got[4]
    mass, gonad = (survey.now["measurement", fish.values[key]] for key in ("whole_mass", "gonad_mass.left"))
    assert isinstance(mass, Measurement)
    assert isinstance(gonad, Measurement)
    assert row == {
        "specimen_id": fish.specimen_id,
        "number": 5,
        "batch": "lake-1",
        "species": "roach",
        "state": "closed",
        "end": "complete",
        "opened_utc": fish.opened_utc,
        "closed_utc": fish.closed_utc,
        "containers": "E-0101, E-0102",
        "worst_verdict": 1,
        "place": "table",
        "same_as": None,
        "missing": "{}",
        "structures": "{}",
        "whole_mass_g": float(mass.value),
        "total_length_mm": None,
        "gonad_mass_left_g": float(gonad.value),
    }


def test_the_specimens_view_shows_the_latest_that_stands(ledger: Ledger) -> None:
    survey = Survey()
    ledger.define_specimens_view([("whole_mass", "g")])
    for entries, changed in [survey.start(), survey.open_fish(), *survey.stream_load(), *survey.stream_load()]:
        ledger.write(entries, changed)
    ledger.commit()
    assert survey.fish is not None
    latest = survey.now["measurement", survey.fish.values["whole_mass"]]
    assert isinstance(latest, Measurement)
    (row,) = rows(ledger, "SELECT * FROM specimens")
    assert row["whole_mass_g"] == float(latest.value)
    assert len(rows(ledger, "SELECT * FROM measurements")) == 2


def test_columns_are_only_added(ledger: Ledger) -> None:
    fixed = columns(ledger, "specimens")
    assert ledger.define_specimens_view([("total_length", "mm")])
    assert not ledger.define_specimens_view([("total_length", "mm")])
    assert not ledger.define_specimens_view([])
    assert ledger.define_specimens_view([("gonad_mass.left.2", "g"), ("total_length", "mm")])
    assert columns(ledger, "specimens") == [*fixed, "total_length_mm", "gonad_mass_left_2_g"]
    with Ledger.open(ledger.path, readonly=True):
        pass  # what was added is what a later start expects


def test_two_keys_never_share_a_column(ledger: Ledger) -> None:
    with pytest.raises(
        ValueError, match=r"gonad_mass\.left and gonad\.mass\.left would share the column gonad_mass_left_g"
    ):
        ledger.define_specimens_view([("gonad_mass.left", "g"), ("gonad.mass.left", "g")])
    assert "gonad_mass_left_g" not in columns(ledger, "specimens")


def test_a_reader_follows_a_changed_view(ledger: Ledger) -> None:
    with sqlite3.connect(ledger.path) as db:
        before = len(db.execute("SELECT * FROM specimens").description)
        ledger.define_specimens_view([("total_length", "mm")])
        assert len(db.execute("SELECT * FROM specimens").description) == before + 1


def test_practice_reaches_no_view_but_changes(ledger: Ledger) -> None:
    survey = fill(ledger)
    practised = [t for t in survey.now.values() if isinstance(t, Specimen) and t.practice]
    assert len(practised) == 1
    for view in views.NAMES:
        found = rows(ledger, f"SELECT * FROM {view}")
        texts = [str(value) for row in found for value in row.values()]
        hits = [text for text in texts if text in (practised[0].specimen_id, "E-9999", "dry-run")]
        assert bool(hits) == (view == "changes"), view
    assert len(rows(ledger, "SELECT * FROM measurements")) == 6
    assert len(rows(ledger, "SELECT * FROM readings")) == 6
    assert len(rows(ledger, "SELECT * FROM codes")) == 1
    assert len(rows(ledger, "SELECT * FROM findings")) == 1
    assert len(rows(ledger, "SELECT * FROM batches")) == 1


def test_rows_without_a_specimen_stay(ledger: Ledger) -> None:
    survey = fill(ledger)
    reading = next(t for t in survey.now.values() if isinstance(t, Reading))
    loose = replace(reading, seq=9999, specimen_id=None, outcome="loose")
    ledger.write([], {("reading", 9999): loose})
    ledger.commit()
    assert [row["outcome"] for row in rows(ledger, "SELECT * FROM readings WHERE seq = 9999")] == ["loose"]


def test_numbers_are_numbers_and_raw_text_is_kept(ledger: Ledger) -> None:
    fill(ledger)
    (row,) = rows(ledger, "SELECT * FROM measurements ORDER BY seq LIMIT 1")
    assert isinstance(row["value"], float)
    assert isinstance(row["raw_value"], str)
    assert (row["zero_before"], row["zero_after"], row["measurer"]) == (0.0, 0.0, "mn")
    (reading,) = rows(ledger, "SELECT * FROM readings ORDER BY seq LIMIT 1")
    assert reading["value"] == row["raw_value"]
    assert reading["base_value"] == row["value"]
    (finding,) = rows(ledger, "SELECT * FROM findings")
    assert (finding["cause"], finding["probability"]) == ("tenfold", 0.012)
    assert finding["text"] == "41.2 g is a tenth of what this length says"


def test_counts_of_all_places_make_one_row_a_class(ledger: Ledger) -> None:
    fill(ledger)
    assert rows(ledger, "SELECT * FROM tallies") == [
        {"batch": "lake-1", "species": "perch", "sex": "F", "measurand": "total_length", "class_mm": 120.0, "n": 3}
    ]
    pools = rows(ledger, "SELECT * FROM pools")
    assert [(p["n"], p["value"], p["raw_value"]) for p in pools] == [(3, 61.5, "61.5")] * 3


def test_a_mend_is_seen(ledger: Ledger) -> None:
    survey = fill(ledger)
    body = {"measurand": "whole_mass", "old_value": "412.0", "new_value": "142.0", "who": "mn", "why": "digits swapped"}
    entries, changed = survey.input("act", {"act": "mend"}, [])
    mend = replace(entries[0], seq=survey.seq, kind="mend", input_seq=entries[0].seq, specimen_id=None, body=body)
    ledger.write([*entries, mend], changed)
    ledger.commit()
    assert rows(ledger, "SELECT * FROM mends") == [
        {"seq": mend.seq, "specimen_id": None, **body, "evidence": None, "at_utc": mend.stamp.utc, "undone_by": None}
    ]


def test_presence_is_seen(ledger: Ledger) -> None:
    fill(ledger)
    ledger.mark_presence("scale", "2026-05-01T08:00:00Z")
    ledger.mark_presence("scale", "2026-05-01T08:00:30Z")
    ledger.commit()
    seen = {
        row["instrument"]: (row["present"], row["last_frame_utc"]) for row in rows(ledger, "SELECT * FROM instruments")
    }
    assert seen == {"scale": (1, "2026-05-01T08:00:30Z"), "board": (0, None)}


def test_changes_can_be_followed(ledger: Ledger) -> None:
    fill(ledger)
    all_ = rows(ledger, "SELECT * FROM changes ORDER BY seq")
    assert [row["seq"] for row in all_] == list(range(1, ledger.next_seq))
    assert rows(ledger, "SELECT * FROM changes WHERE seq > 10 ORDER BY seq") == all_[10:]
    assert all_[0]["at_utc"] == "2026-05-01T00:00:00.100Z"


LOOK_UPS = [
    "SELECT * FROM specimens WHERE specimen_id = 'x'",
    "SELECT * FROM specimens WHERE number = 118",
    "SELECT * FROM specimens WHERE batch = 'x'",
    "SELECT * FROM measurements WHERE specimen_id = 'x'",
    "SELECT * FROM measurements WHERE number = 118",
    "SELECT * FROM measurements WHERE seq = 118",
    "SELECT * FROM readings WHERE seq = 118",
    "SELECT * FROM codes WHERE specimen_id = 'x'",
    "SELECT * FROM codes WHERE number = 118",
    "SELECT * FROM containers WHERE number = 'x'",
    "SELECT * FROM containers WHERE specimen_id = 'x'",
    "SELECT * FROM findings WHERE specimen_id = 'x'",
    "SELECT * FROM batches WHERE batch = 'x'",
    "SELECT * FROM mends WHERE seq > 118",
    "SELECT * FROM changes WHERE seq > 118",
]


@pytest.mark.parametrize("sql", LOOK_UPS)
def test_a_look_up_never_walks_through_a_table(ledger: Ledger, sql: str) -> None:
    ledger.define_specimens_view([("whole_mass", "g"), ("gonad_mass.left", "g")])
    with sqlite3.connect(ledger.path) as db:
        plan = [row[3] for row in db.execute(f"EXPLAIN QUERY PLAN {sql}")]
    # The specimen's few containers are listed by json_each, which is a walk through one row's text.
    walks = [s for s in plan if s.startswith("SCAN") and "json_each" not in s and "entry_mend" not in s]
    assert walks == [], plan
