"""The writer: what goes in comes out, in order, whole or not at all."""

from __future__ import annotations

import json
import sqlite3
import typing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from tests.unit.ledger.samples import Survey
from thwart.bench.state import KINDS, MemoryRecords, Object, Records, Specimen
from thwart.entries import ORIGIN, Entry, Stamp, canonical, canonical_text, chained, parsed
from thwart.errors import LedgerError
from thwart.ledger import Ledger
from thwart.ledger.connect import PAGE_SIZE
from thwart.ledger.faults import LedgerCorrupt
from thwart.ledger.schema import PARTLY, PROJECTED, TABLES


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger.db"


def filled(path: Path) -> tuple[Ledger, Survey]:
    ledger, survey = Ledger.create(path, "lake", "0190"), Survey()
    for entries, changed in survey.everything():
        ledger.write(entries, changed)
    ledger.commit()
    return ledger, survey


def test_an_empty_ledger(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        assert (ledger.next_seq, ledger.last_hash, ledger.last_stamp) == (1, ORIGIN, None)
        assert ledger.identity() == ("lake", "0190")
        assert ledger.load_snapshot() is None
        assert list(ledger.entries()) == []
    assert sorted(p.name for p in path.parent.iterdir()) == ["ledger.db"]
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA page_size").fetchone() == (PAGE_SIZE,)
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_create_never_overwrites(path: Path) -> None:
    path.write_text("precious")
    with pytest.raises(LedgerError, match="exists already"):
        Ledger.create(path, "lake", "0190")
    assert path.read_text() == "precious"


def test_the_writer_syncs_every_commit(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        assert ledger._db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL


def test_entries_come_back_equal_and_chained(path: Path) -> None:
    ledger, _ = filled(path)
    expected = [entry for entries, _ in Survey().everything() for entry in entries]
    with ledger:
        head = ledger.last_hash
        assert ledger.next_seq == len(expected) + 1
    with Ledger.open(path, readonly=True) as again:
        assert list(again.entries()) == expected
        assert list(again.entries(after_seq=5)) == expected[5:]
        assert again.last_stamp == expected[-1].stamp
        before = ORIGIN
        for entry in expected:
            before = chained(before, canonical(entry))
        assert again.last_hash == head == before


def test_objects_come_back_equal(path: Path) -> None:
    ledger, survey = filled(path)
    with ledger:
        kinds = set()
        for key, thing in survey.now.items():
            if key[0] in PROJECTED:
                kinds.add(key[0])
                assert ledger.records.get(key) == thing
            else:
                assert ledger.records.get(key) is None
        assert kinds == set(PROJECTED)


def test_mappings_are_spelt_one_way(path: Path) -> None:
    # Else a fold, whose mappings come from sorted text, would seem to differ from what it was folded from.
    with Ledger.create(path, "lake", "0190") as ledger:
        survey = Survey()
        entries, changed = survey.open_fish()
        (fish,) = changed.values()
        assert isinstance(fish, Specimen)
        fish = replace(fish, values={"whole_mass": 3, "fork_length": 9, "gonad_mass.left": 4})
        ledger.write(entries, {("specimen", fish.specimen_id): fish})
        ledger.commit()
        assert ledger.records.get(("specimen", fish.specimen_id)) == fish
        (stored,) = ledger._db.execute('SELECT "values" FROM specimen').fetchone()
        assert stored == '{"fork_length":9,"gonad_mass.left":4,"whole_mass":3}'


def test_records_answer_as_memory_does(path: Path) -> None:
    ledger, survey = filled(path)
    memory = MemoryRecords()
    memory.store(typing.cast("dict[typing.Any, Object | None]", survey.now))
    with ledger:
        records: Records = ledger.records
        fishes = [thing for thing in survey.now.values() if isinstance(thing, Specimen)]
        for fish in fishes:
            assert records.numbered(fish.number) == memory.numbered(fish.number) == fish.specimen_id
            assert list(records.measurements_of(fish.specimen_id)) == memory.measurements_of(fish.specimen_id)
            assert list(records.questions_of(fish.specimen_id)) == memory.questions_of(fish.specimen_id)
        for batch in ("lake-1", "dry-run", "nowhere"):
            assert list(records.specimens_of(batch)) == memory.specimens_of(batch)
        assert records.numbered(4711) is None
        assert records.get(("specimen", "nobody")) is None


def test_every_look_up_uses_an_index(path: Path) -> None:
    ledger, survey = filled(path)
    fish = next(iter(thing for thing in survey.now.values() if isinstance(thing, Specimen)))
    asked: list[str] = []
    with ledger:
        ledger._db.set_trace_callback(asked.append)
        for key in survey.now:
            ledger.records.get(key)
        ledger.records.numbered(3)
        list(ledger.records.measurements_of(fish.specimen_id))
        list(ledger.records.questions_of(fish.specimen_id))
        list(ledger.records.specimens_of("lake-1"))
        ledger._db.set_trace_callback(None)
        assert len(set(asked)) > 10
        for statement in set(asked):
            plan = [row[3] for row in ledger._db.execute(f"EXPLAIN QUERY PLAN {statement}")]
            assert not any(step.startswith("SCAN") for step in plan), (statement, plan)


def test_tables_have_the_fields_of_their_objects(path: Path) -> None:
    assert set(PROJECTED) == set(KINDS) - {"place", "desk", "instrument", "learned", "watch"}
    with Ledger.create(path, "lake", "0190") as ledger:
        for kind in (*PROJECTED, *PARTLY):
            columns = [row[1] for row in ledger._db.execute(f"PRAGMA table_info({kind})")]
            fields = list(KINDS[kind].__struct_fields__)
            assert columns == fields if kind in PROJECTED else set(columns) < set(fields)


def test_the_first_field_is_the_key() -> None:
    survey = Survey()
    list(survey.everything())
    for (kind, name), thing in survey.now.items():
        if kind in TABLES:
            assert getattr(thing, TABLES[kind].key.name) == name


def test_a_field_no_column_is_made_for_is_refused() -> None:
    from thwart.ledger.schema import _store

    with pytest.raises(TypeError, match="no column is made for"):
        _store(float)
    with pytest.raises(TypeError, match="no column is made for"):
        _store(int | str)


def test_an_indexed_field_may_change(path: Path) -> None:
    # The quick upsert leaves indexed columns alone; where one did change the row is replaced whole.
    with Ledger.create(path, "lake", "0190") as ledger:
        survey = Survey()
        entries, changed = survey.open_fish()
        ledger.write(entries, changed)
        (fish,) = changed.values()
        assert isinstance(fish, Specimen)
        moved = replace(fish, number=77, batch="other", species="bream")
        ledger.write([], {("specimen", fish.specimen_id): moved})
        assert ledger.records.get(("specimen", fish.specimen_id)) == moved
        assert ledger.records.numbered(77) == fish.specimen_id
        assert ledger.records.numbered(fish.number) is None
        assert list(ledger.records.specimens_of("other")) == [moved]
        assert list(ledger.records.specimens_of("lake-1")) == []


def test_objects_are_removed(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        survey = Survey()
        entries, changed = survey.open_fish()
        ledger.write(entries, changed)
        ledger.write([], dict.fromkeys(changed))
        assert [ledger.records.get(key) for key in changed] == [None]


def test_nothing_is_seen_by_others_before_the_commit(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger, Ledger.open(path, readonly=True) as reader:
        entries, changed = Survey().open_batch()
        ledger.write(entries, changed)
        assert ledger.records.get(("batch", "lake-1")) is not None
        assert reader.records.get(("batch", "lake-1")) is None
        assert list(reader.entries()) == []
        ledger.commit()
        assert reader.records.get(("batch", "lake-1")) is not None
        assert list(reader.entries()) == entries


def test_rollback_leaves_nothing_and_the_batch_can_be_written_again(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        entries, changed = Survey().start()
        ledger.write(entries, changed)
        ledger.rollback()
        assert (ledger.next_seq, ledger.last_hash, ledger.last_stamp) == (1, ORIGIN, None)
        assert list(ledger.entries()) == []
        ledger.write(entries, changed)
        ledger.commit()
        assert list(ledger.entries()) == entries


def test_an_error_within_a_write_undoes_all_since_the_last_commit(path: Path) -> None:
    survey = Survey()
    first, second = survey.start(), survey.open_batch()
    with Ledger.create(path, "lake", "0190") as ledger:
        ledger.write(*first)
        ledger.commit()
        head = (ledger.next_seq, ledger.last_hash)
        ledger.write(*second)
        with pytest.raises(ValueError, match="entry 99 can't follow entry 4"):
            ledger.write([replace(second[0][0], seq=99)], {})
        assert (ledger.next_seq, ledger.last_hash) == head
        assert ledger.records.get(("batch", "lake-1")) is None
        ledger.write(*second)
        ledger.commit()
        assert list(ledger.entries()) == first[0] + second[0]


@pytest.mark.parametrize("statement", ["UPDATE entry SET kind = 'x'", "DELETE FROM entry WHERE seq = 3"])
def test_entries_are_append_only(path: Path, statement: str) -> None:
    ledger, _ = filled(path)
    ledger.close()
    with sqlite3.connect(path) as db, pytest.raises(sqlite3.IntegrityError, match="entries are never"):
        db.execute(statement)


@pytest.mark.parametrize("seq", [1, 5, 1000, None])
def test_entries_can_not_be_replaced_nor_leave_a_gap(path: Path, seq: int | None) -> None:
    # REPLACE removes rows without firing a DELETE trigger.
    ledger, _ = filled(path)
    ledger.close()
    with sqlite3.connect(path) as db, pytest.raises(sqlite3.IntegrityError, match="in order and without a gap"):
        db.execute("INSERT OR REPLACE INTO entry VALUES (?, 'x', NULL, NULL, '{}', x'00')", (seq,))


def test_the_last_two_snapshots_are_kept(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        survey = Survey()
        for state in ("a", "b", "c"):
            ledger.write(*(survey.start()))
            ledger.snapshot(state, ledger.next_seq - 1)
            ledger.commit()
    with Ledger.open(path, readonly=True) as again:
        assert again.load_snapshot() == (6, "c")
        assert again.load_snapshot(before=6) == (4, "b")
        assert again.load_snapshot(before=4) is None


def test_snapshots_of_earlier_versions_are_plain_text_and_what_is_damaged_is_told(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        ledger.write(*Survey().start())
        ledger.snapshot("whole", 2)
        with sqlite3.connect(path) as other:
            other.execute("UPDATE snapshot SET state = 'as it was'")
        assert ledger.load_snapshot() == (2, "as it was")
        with sqlite3.connect(path) as other:
            other.execute("UPDATE snapshot SET state = x'789c00'")
        with pytest.raises(LedgerCorrupt, match="snapshot 2 can't be read"):
            ledger.load_snapshot()


def test_a_snapshot_is_never_ahead_of_the_entries(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        ledger.write(*Survey().start())
        ledger.snapshot("whole", 2)
        ledger.rollback()
        assert ledger.load_snapshot() == (2, "whole")
        assert ledger.next_seq == 3


def test_another_programs_entries_are_noticed(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        survey = Survey()
        with Ledger.open(path) as other:
            other.write(*survey.start())
            other.commit()
        with pytest.raises(LedgerError, match="another program added entries"):
            ledger.write(*Survey().start())


def test_another_programs_harmless_commit_is_not(path: Path) -> None:
    with Ledger.create(path, "lake", "0190") as ledger:
        with Ledger.open(path) as other:
            other.mark_presence("scale", "2026-05-01T08:00:00Z")
            other.commit()
        ledger.write(*Survey().start())
        ledger.commit()
        assert list(ledger.entries()) == Survey().start()[0]


plain = st.none() | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.text()
bodies = st.dictionaries(
    st.text(),
    st.recursive(plain, lambda x: st.lists(x, max_size=3) | st.dictionaries(st.text(), x, max_size=3)),
    max_size=4,
)


@settings(max_examples=60)
@given(bodies, st.text(), st.text(), st.none() | st.text(), st.none() | st.integers(-(2**63), 2**63 - 1), st.booleans())
def test_canonical_text_is_sorted_json(
    body: dict[str, Any], utc: str, kind: str, specimen: str | None, given: int | None, clock_ok: bool
) -> None:
    entry = Entry(7, kind, given, specimen, Stamp(utc, 12, "b", clock_ok), body)
    text = canonical_text(entry)
    assert text == json.dumps(json.loads(text), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    assert parsed(text) == entry


def test_canonical_text() -> None:
    entry = Entry(
        7, "reading", None, None, Stamp("2026-05-01T08:00:00.000Z", 12, "b", False), {"raw": "é\x00", "a": [1, "2.50"]}
    )
    text = (
        '{"at":"2026-05-01T08:00:00.000Z","body":{"a":[1,"2.50"],"raw":"é\\u0000"},"boot":"b","clock_ok":false,'
        '"input":null,"kind":"reading","mono_ns":12,"seq":7,"specimen":null,"v":1}'
    )
    assert canonical_text(entry) == text
    assert canonical(entry) == text.encode()
    assert parsed(text) == entry


@pytest.mark.parametrize("body", [{"a": 0.5}, {"a": [1, {"b": 0.5}]}, {"a": (0.5,)}, {"a": float("nan")}])
def test_no_float_gets_in(body: dict[str, object]) -> None:
    with pytest.raises(TypeError, match="float"):
        canonical_text(Entry(1, "act", None, None, Stamp("", 0, "", True), body))


@pytest.mark.parametrize("text", ["", "[]", "{}", "nonsense", '{"seq":1}'])
def test_what_is_not_an_entry_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not an entry"):
        parsed(text)


def test_a_float_in_stored_text_is_refused() -> None:
    text = canonical_text(Entry(1, "act", None, None, Stamp("", 0, "", True), {"a": 15}))
    with pytest.raises(ValueError, match="float"):
        parsed(text.replace("15", "1.5"))
