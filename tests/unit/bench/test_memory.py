"""What leaves memory and comes back: decisions carry it, folding asks nobody, the records may lag."""

from __future__ import annotations

import json

import pytest

from tests.benchkit import FORKED, SOLO, Play, check, folded, kinds, state_of
from thwart.bench.kernel import FORGET_AFTER, Bench
from thwart.bench.state import MemoryRecords, Specimen
from thwart.entries import Entry

CODED = FORKED + '[codes.sex]\nscale = "sex"\nvalues = { F = "female", M = "male" }\n'


def many(play: Play, fish: int) -> None:
    for n in range(fish):
        play.touch(200 + n % 50)
        play.touch(220 + n % 50)
        play.weigh(100 + n % 30)
        play.act("next")


def test_memory_doesnt_grow_with_the_ledger() -> None:
    play = Play(FORKED)
    many(play, 120)
    held = len(play.bench.objects)
    many(play, 120)
    assert len(play.bench.objects) < held * 1.3
    assert len(play.records.objects) > 2 * len(play.bench.objects)
    assert ("specimen", play.numbered(240).specimen_id) in play.bench.objects
    assert len(play.bench.mementos["table"]) < 20
    check(play)


def test_what_left_memory_comes_back_by_a_decision() -> None:
    play = Play(CODED)
    play.act("code sex F")
    many(play, FORGET_AFTER // 6 + 20)
    first = play.records.numbered(1)
    assert first is not None
    assert ("specimen", first) not in play.bench.objects
    said = play.act("code sex M of 1")
    assert set(kinds(said)[:-1]) == {"loaded"}
    assert kinds(said)[-1] == "coded"
    assert said[0].body["kind"] == "specimen"
    after = folded(play)  # it has no records to ask
    assert state_of(after) == state_of(play.bench)
    fish = after.need(Specimen, first)
    assert after.objects["coded", fish.codes["sex"]].code == "M"  # type: ignore[union-attr]
    check(play)


@pytest.mark.parametrize(
    "words", ["over whole_mass", "missing whole_mass broken", "stands", "again", "value whole_mass 5 g"]
)
def test_acts_on_an_old_fish_find_what_they_touch(words: str) -> None:
    play = Play(FORKED, forget_after=3)
    many(play, 30)
    play.act("recall 2")
    play.bench._sweep()
    play.act(words)
    play.act("undo")
    check(play)


@pytest.mark.parametrize("words", ["slide whole_mass 2 4 +1", "slide whole_mass 2 4 -1", "same-as 2", "split"])
def test_mends_of_old_fish_find_what_they_touch(words: str) -> None:
    play = Play(FORKED, forget_after=3)
    many(play, 40)
    play.touch(250)
    for _ in range(2):
        play.act(words)
    check(play)
    play.act("undo")
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_an_old_fish_recalled_undone_and_redone() -> None:
    play = Play(FORKED)
    many(play, FORGET_AFTER // 6 + 20)
    number = play.fish.number
    play.act("recall 2")
    play.touch(205)
    play.act("again")
    assert play.fish.number == 2
    assert play.values(2)["total_length"] == "205"
    for _ in range(3):
        play.act("undo")
    assert play.fish.number == number
    assert play.values(2)["total_length"] == "221"
    for _ in range(3):
        play.act("undo undo")
    assert play.values(2)["total_length"] == "205"
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_a_refused_look_at_an_old_fish_leaves_no_trace() -> None:
    play = Play(SOLO)
    play.touch(212)
    play.label(1)
    for n in range(FORGET_AFTER // 4 + 40):
        play.touch(212 + n % 9)
        play.weigh(100)
        play.label(play.expected())
    play.touch(230)
    assert ("container", "K-00013") not in play.bench.objects
    before = json.loads(play.bench.snapshot())
    assert kinds(play.label(1)) == ["refused"]
    after = json.loads(play.bench.snapshot())
    assert after["objects"] == before["objects"]


def test_a_snapshot_is_plain_json_and_restores_whole() -> None:
    play = Play(FORKED)
    many(play, 90)
    play.act("undo")
    kept = play.bench.snapshot()
    again = Bench(play.setup, MemoryRecords())
    again.restore(kept)
    assert state_of(again) == state_of(play.bench)


def test_a_fault_of_the_program_keeps_the_input_and_nothing_else() -> None:
    play = Play()
    play.touch(200)
    stamp = play.entries[-1].stamp
    entry = Entry(play.bench.seq + 1, "scan", None, None, stamp, {"instrument": "scanner"})  # without its text
    before = dict(play.bench.objects)
    with pytest.raises(KeyError):
        play.bench.take(entry)
    decisions, _ = play.bench.spoilt(entry, "a fault")
    assert kinds(decisions) == ["told"]
    assert play.bench.objects == before
    assert [d.seq for d in decisions] == [entry.seq + 1]


def test_a_fault_midway_takes_back_what_was_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    play = Play()
    play.touch(200)
    body = {"act": "next", "args": [], "place": None, "via": "cli", "ids": ["x"]}
    entry = Entry(play.bench.seq + 1, "act", None, None, play.entries[-1].stamp, body)
    before = dict(play.bench.objects)

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("thwart.bench.fish.read_out", broken)
    monkeypatch.setattr("thwart.bench.turns.open_next", broken)
    with pytest.raises(RuntimeError):
        play.bench.take(entry)
    assert play.bench.objects != before
    decisions, changed = play.bench.spoilt(entry, "a fault")
    assert kinds(decisions) == ["told"]
    assert play.bench.objects == before
    assert changed == {}


def test_a_setup_of_another_day_folds() -> None:
    play = Play(batch=False)
    setup = play.setup.to_json()
    setup["places"].append("attic")
    setup["instruments"][0]["port"] = "elsewhere"
    play.put("configured", config_sha256="abc", setup=setup)
    assert play.bench.place("attic").place == "attic"
    assert play.bench.instrument("board").port == "elsewhere"
    assert play.bench.desk.config_sha256 == "abc"
    assert state_of(folded(play)) == state_of(play.bench)
