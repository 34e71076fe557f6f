"""Undo and redo: state, current values and hands as before; numbers, counts and history not."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from msgspec.structs import replace

from tests.benchkit import FIRST, FORKED, ROW, SOLO, TALLY, Play, check, folded, refused, state_of
from thwart.bench.acts import ACTS
from thwart.bench.state import Batch, Coded, Container, Key, Measurement, Object, Place, Question, Reading, Specimen

TWO_CODES = FORKED + '[codes.sex]\nscale = "sex"\nvalues = { F = "female", M = "male" }\n'
THREE = ("board", "scale", "knife")
SERVES = {"board": ("board",), "scale": ("scale",), "scanner": ("knife",), "pedal": ("board",), "hand-scale": ()}
OTOLITHS = SOLO + "\n[structures.otolith]\nmost = 2\n\n[pans]\nblue = 120\n"
RATIO = FORKED.replace(
    'title = "perch"', 'title = "perch"\nratios.total_length = { of = "fork_length", range = [1.05, 1.2] }'
)


def before_and_now(play: Play) -> dict[Key, Object]:
    """What undo must bring back: specimens, current values and codes, containers, batches, places but for counters."""
    out: dict[Key, Object] = {}
    for key, thing in play.records.objects.items():
        match thing:
            case Specimen() | Container() | Batch():
                out[key] = thing
            case Measurement() if thing.status in ("stands", "questioned"):
                out[key] = thing
            case Coded() if thing.status == "stands":
                out[key] = thing
            case Place():
                out[key] = replace(
                    thing,
                    last_input=None,
                    last_key_ns=None,
                    last_ns=None,
                    paused_ns=None,
                    armed=None,
                    armed_until_ns=None,
                )
    return out


def touch(mm: int) -> Callable[[Play], object]:
    return lambda play: play.touch(mm)


def act(words: str) -> Callable[[Play], object]:
    return lambda play: play.act(words)


def blind(play: Play) -> object:
    return play.settle(412)


Steps = list[Callable[[Play], object]]
#: What leads there, and last what is undone. The name says the act or the reading kind.
CASES: list[tuple[str, str, Steps]] = [
    ("reading fills", SOLO, [touch(212)]),
    ("reading questioned", SOLO, [act("species perch"), touch(700)]),
    ("reading makes ready", SOLO, [lambda p: p.weigh(100), touch(212)]),
    ("reading waits", SOLO, [touch(212), touch(300)]),
    ("reading leaves one behind", SOLO, [touch(212), touch(300), touch(310)]),
    ("load unseen", SOLO, [blind]),
    ("load changed", SOLO, [lambda p: p.lay(), lambda p: p.settle(412), lambda p: p.settle(480)]),
    ("late settle", FORKED, [touch(200), touch(220), lambda p: p.lay(), act("next"), lambda p: p.settle(100)]),
    ("fits badly", RATIO, [act("species perch"), touch(200), touch(201)]),
    ("reopened and superseded", SOLO, [touch(212), act("again"), touch(213)]),
    ("opens by reading", "opens_by_reading = true\n" + SOLO, [touch(212), touch(300)]),
    ("scan closes", SOLO, [touch(212), lambda p: p.label(1)]),
    ("scan out of order", SOLO, [touch(212), lambda p: p.label(3)]),
    ("scan opens", FIRST, [lambda p: p.label(1)]),
    ("scan opens the second", FIRST, [lambda p: p.label(1), touch(212), lambda p: p.label(2)]),
    ("scan recalls", SOLO, [touch(212), lambda p: p.label(1), lambda p: p.label(1)]),
    ("scan closes a recalled one", SOLO, [touch(212), lambda p: p.label(1), act("recall 1"), lambda p: p.label(1)]),
    ("card", SOLO, [touch(212), lambda p: p.card("next")]),
    ("pedal", SOLO, [touch(212), lambda p: p.pedal("P1")]),
    ("batch", SOLO, [act("batch close done"), act("batch open cove perch")]),
    ("batch", SOLO, [touch(212), touch(300), act("batch close done")]),
    ("batch", SOLO, [touch(212), act("batch close done"), act("batch reopen bay more")]),
    ("practice", SOLO, [act("batch close done"), act("practice on")]),
    ("next", SOLO, [touch(212), act("next")]),
    ("next", SOLO, [touch(212), touch(300), act("next")]),
    ("next", SOLO, [touch(212), act("next"), act("recall 1"), act("next")]),
    ("next", SOLO, [act("species perch"), touch(700), act("next")]),
    ("again", SOLO, [touch(212), touch(300), act("again")]),
    ("again", SOLO, [touch(212), act("again")]),
    ("again", RATIO, [act("species perch"), touch(200), touch(201), act("again")]),
    ("again", "opens_by_reading = true\n" + SOLO, [touch(212), touch(300), act("again")]),
    ("stands", SOLO, [act("species perch"), touch(700), act("stands")]),
    ("stands", SOLO, [touch(212), touch(300), act("stands")]),
    ("stands", SOLO, [blind, act("stands")]),
    ("as", FORKED, [act("as total_length")]),
    ("digit", SOLO, [act("digit 4"), act("digit 1")]),
    ("typed", SOLO, [act("digit 4"), act("value whole_mass typed g")]),
    ("value", SOLO, [act("value whole_mass 100 g")]),
    ("value", SOLO, [touch(212), act("value total_length 213 mm")]),
    ("missing", SOLO, [act("missing whole_mass mislaid")]),
    ("missing", SOLO, [touch(212), act("missing total_length broken")]),
    ("missing", SOLO, [act("missing sex could-not-tell")]),
    ("code", SOLO, [act("code sex F")]),
    ("code", SOLO, [act("code sex F"), act("code sex M")]),
    ("code", SOLO, [touch(212), act("next"), act("code sex F of previous")]),
    ("species", SOLO, [touch(700), act("species perch")]),
    ("species", SOLO, [act("species perch"), touch(700), act("species pike")]),
    ("species", FIRST, [act("species perch")]),
    ("species", FORKED, [touch(200), act("species eel")]),
    ("confirm", SOLO, [touch(212), act("confirm")]),
    ("skip", SOLO, [act("skip")]),
    ("skip LABEL", SOLO, [touch(212), lambda p: p.label(3), act("skip K-00013")]),
    ("passed over", SOLO, [touch(212), lambda p: p.label(3)]),
    ("found", SOLO, [touch(212), lambda p: p.label(1), act("found K-00013 empty")]),
    ("found", SOLO, [act("found K-00030 full")]),
    ("found", SOLO, [act("missing container mislaid"), act("found K-00030 full"), act("found K-00030 full of 1")]),
    ("batch", SOLO, [act("batch close done"), act("batch plan cove kind=haul"), act("batch open cove")]),
    ("void", SOLO, [touch(212), act("void"), act("void")]),
    ("void", FIRST, [lambda p: p.label(1), touch(212), act("void"), act("void")]),
    ("lost", SOLO, [touch(212), act("lost"), act("lost")]),
    ("recall", SOLO, [touch(212), act("next"), touch(300), act("recall 1")]),
    ("swap", FORKED, [touch(220), touch(200), act("swap")]),
    ("tared", SOLO, [lambda p: p.lay(), lambda p: p.settle(500), act("tared")]),
    ("tared", SOLO, [lambda p: p.weigh(100), lambda p: p.lay(), lambda p: p.settle(500), act("tared")]),
    ("over", SOLO, [touch(212), act("over total_length")]),
    ("parts", SOLO, [act("parts whole_mass 2")]),
    ("parts, first", SOLO, [act("parts whole_mass 2"), lambda p: p.weigh(100)]),
    ("parts, last", SOLO, [act("parts whole_mass 2"), lambda p: p.weigh(100), lambda p: p.lay(), lambda p: p.settle(50)]),
    ("pool", SOLO, [act("pool 25")]),
    ("count", SOLO, [act("count 140"), act("count 3")]),
    ("structure", OTOLITHS, [act("structure otolith 1 left broken")]),
    ("move", SOLO, [touch(212), lambda p: p.label(1), act("move K-00013 K-00030")]),
    ("same-as", SOLO, [touch(212), act("next"), touch(213), act("same-as 1"), act("same-as 1")]),
    ("split", SOLO, [touch(212), touch(260), act("again"), act("split"), act("split")]),
    ("mend", SOLO, [touch(212), act("next"), act("mend value 1 total_length 221 mm misread by ida")]),
    ("slide", SOLO, [
        touch(212), act("next"), touch(213), act("next"), act("slide total_length 1 1 +1"),
        act("slide total_length 1 1 +1"),
    ]),
    ("pan", OTOLITHS, [act("pan blue")]),
    ("knock", SOLO, [lambda p: p.lay(), lambda p: p.settle(100), act("knock")]),
    ("verify", SOLO, [act("verify 300 mm"), touch(300)]),
    ("hosed", TALLY, [touch(212), lambda p: p.touch(87, after_ms=400), lambda p: p.touch(455, after_ms=400), act("hosed")]),
    ("counts", TALLY, [touch(212)]),
    ("leaves", ROW, [lambda p: p.act("code sex F", "board"), lambda p: p.act("leaves", "board")]),
    ("park", ROW, [lambda p: p.act("code sex F", "board"), lambda p: p.act("park", "board")]),
    ("back", ROW, [
        lambda p: p.act("code sex F", "board"), lambda p: p.act("park", "board"), lambda p: p.act("back 1", "board"),
    ]),
    ("row: goes on", ROW, [touch(212)]),
    ("pause", SOLO, [touch(212), touch(300), act("pause")]),
    ("resume", SOLO, [act("measurer ida"), act("pause"), act("resume")]),
    ("measurer", SOLO, [act("measurer ida")]),
    ("recorder", SOLO, [act("recorder ben")]),
    ("stager", SOLO, [act("stager ida")]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "steps"), [c[1:] for c in CASES], ids=[f"{c[0]}-{at}" for at, c in enumerate(CASES)])
def test_undo_brings_back_and_redo_does_again(text: str, steps: Steps) -> None:
    play = Play(text, places=THREE, serves=SERVES) if text == ROW else Play(text)
    for step in steps[:-1]:
        step(play)
    before = before_and_now(play)
    live = [(q.seq, q.state) for q in play.bench.live_questions()]
    number, expected = play.bench.desk.next_number, play.bench.desk.expected
    asked = play.bench.desk.asked
    steps[-1](play)
    after, counted = before_and_now(play), play.bench.desk
    place = "board" if text == ROW else None
    said = play.act("undo", place)
    assert next(d for d in said if d.kind == "undone").body["text"].startswith("taken back: ")
    assert before_and_now(play) == before
    old = [(q.seq, q.state) for q in play.bench.live_questions() if q.kind != "taken-back"]
    assert old == live
    assert play.bench.desk.expected == expected
    assert play.bench.desk.next_number == counted.next_number >= number
    assert play.bench.desk.asked == counted.asked >= asked
    check(play)
    play.act("undo undo", place)
    assert before_and_now(play) == after
    check(play)
    play.act("undo", place)
    assert before_and_now(play) == before
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_every_undoable_act_is_undone_here() -> None:
    undone = {name for name, _, _ in CASES}
    assert {a.name for a in ACTS.values() if a.undoable} <= undone


def test_an_undone_reading_is_loose_and_noted() -> None:
    play = Play()
    play.touch(212)
    said = play.act("undo")
    assert (play.last_reading().outcome, play.last_reading().why) == ("loose", "taken-back")
    note = next(d for d in said if d.kind == "noted")
    assert note.body["text"] == "212 mm from board is loose since 1 was taken back"
    assert play.questions("quiet") == ["taken-back"]
    assert [m.status for m in play.bench.all(Measurement)] == ["withdrawn"]


def test_a_taken_back_load_doesnt_come_back_by_settling_again() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.act("undo")
    play.settle(412, plateau=2)
    assert play.last_reading().outcome == "doubled"
    play.weigh(410)
    assert play.values(1) == {"whole_mass": "410"}


def test_undo_goes_further_back_each_time_and_redo_forward() -> None:
    play = Play()
    play.touch(212)
    play.weigh(100)
    play.act("code sex F")
    texts = [next(d for d in play.act("undo") if d.kind == "undone").body["text"] for _ in range(3)]
    assert texts == [
        "taken back: code sex F", "taken back: whole_mass 100 g of 1", "taken back: total_length 212 mm of 1",
    ]  # fmt: skip
    assert play.values(1) == {}
    for _ in range(3):
        play.act("undo undo")
    assert play.values(1) == {"total_length": "212", "whole_mass": "100"}
    assert refused(play.act("undo undo")) == "nothing-undone"


def test_after_something_new_there_is_nothing_to_redo() -> None:
    play = Play()
    play.touch(212)
    play.act("undo")
    play.touch(213)
    assert refused(play.act("undo undo")) == "nothing-undone"


def test_undo_by_card_and_pedal_goes_back_too() -> None:
    play = Play()
    play.touch(212)
    play.weigh(100)
    play.card("undo")
    play.pedal("P2")
    assert play.values(1) == {}
    play.card("undo undo")
    assert play.values(1) == {"total_length": "212"}


def test_what_is_older_than_the_previous_fish_is_a_mend() -> None:
    play = Play()
    for mm in (200, 210, 220):
        play.touch(mm)
        play.act("next")
    for _ in range(2):  # next and 220: then comes the opening of 3, which closed 2
        play.act("undo")
    assert play.fish.number == 3
    assert play.values(3) == {}
    assert refused(play.act("undo")) == "nothing-to-undo"
    assert play.values(2) == {"total_length": "210"}


def test_the_opening_of_the_first_batch_can_be_taken_back() -> None:
    play = Play()
    play.act("undo")
    assert play.here.batch is None
    assert play.records.numbered(1) is None
    assert refused(play.act("undo")) == "nothing-to-undo"


def test_a_number_returns_unless_its_container_was_confirmed() -> None:
    play = Play()
    play.touch(212)
    play.act("next")
    play.act("undo")
    assert play.bench.desk.free_numbers == (2,)
    play = Play(FIRST)
    play.label(1)
    play.act("undo")
    assert play.bench.desk.free_numbers == ()
    assert play.bench.desk.next_number == 2


def test_redo_is_refused_where_the_number_went_to_another_fish() -> None:
    play = Play(places=("left", "right"))
    play.act("value total_length 200 mm", "left")
    play.act("next", "left")
    play.act("undo", "left")
    play.act("value total_length 210 mm", "right")
    play.act("next", "right")
    assert refused(play.act("undo undo", "left")) == "undo-elsewhere"
    check(play)


def test_undo_at_one_place_leaves_the_other_alone() -> None:
    play = Play(places=("left", "right"))
    play.act("value total_length 200 mm", "left")
    play.act("next", "left")
    play.act("value total_length 210 mm", "right")
    play.act("next", "right")
    measured = play.bench.need(Batch, "bay").measured
    assert measured == 2
    play.act("undo", "left")
    assert play.bench.need(Batch, "bay").measured == 1
    assert play.values(2) == {"total_length": "210"}
    check(play)


def test_a_fish_worked_on_elsewhere_isnt_undone_from_under_it() -> None:
    play = Play(TWO_CODES, places=("left", "right"))
    play.act("value fork_length 200 mm", "left")
    play.act("code sex F of 1", "right")
    assert refused(play.act("undo", "left")) == "undo-elsewhere"
    play.act("undo", "right")
    play.act("undo", "left")
    assert play.values(1) == {}
    check(play)


def test_what_lies_on_the_scale_is_no_act_of_ours() -> None:
    play = Play()
    play.touch(212)
    play.lay()
    play.act("next")
    play.act("undo")
    play.settle(412)
    assert play.values(1)["whole_mass"] == "412"


def test_a_zero_that_moved_since_stays_moved() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.touch(212)
    play.lift("9")
    play.act("undo")
    m = play.bench.need(Measurement, play.fish.values["whole_mass"])
    assert (m.verdict, m.zero_after, play.fish.worst_verdict) == (3, "9", 3)
    check(play)


def test_interruptions_stay_counted_and_a_question_undone_is_answered_by_the_undo() -> None:
    play = Play()
    play.act("species perch")
    play.touch(700)
    said = play.act("undo")
    q = next(q for q in play.bench.all(Question) if q.kind == "impossible")
    assert (q.state, q.answered_by) == ("answered", said[0].input_seq)
    assert play.bench.desk.asked == 1


def test_undo_survives_a_restart_and_a_snapshot() -> None:
    from thwart.bench.kernel import Bench

    play = Play()
    play.touch(212)
    kept = play.bench.snapshot()
    play.bench = Bench(play.setup, play.records)
    play.bench.restore(kept)
    play.start()
    play.act("undo")
    assert play.values(1) == {}
    assert isinstance(play.bench.objects["reading", play.last_reading().seq], Reading)


def test_undo_takes_its_own_fish_out_of_a_queue_that_moved_on() -> None:
    long = ROW.replace('{ place = "scale" }', '{ place = "scale", queue = 3 }') + '\n[tags]\nlabel = "T-#"\n'
    play = Play(long, places=THREE, serves=SERVES)
    for mm in (200, 210, 220):
        play.act(f"value total_length {mm} mm", "board")
    play.lay()  # the first one is taken to the scale
    play.act("undo", "board")
    check(play)
    fish = play.bench.in_hand("board")
    assert fish is not None
    assert fish.number == 3
    assert [play.bench.need(Specimen, i).number for i in play.bench.place("scale").queue] == [2]


def test_a_fish_that_went_on_isnt_pulled_back_out_of_another_hand() -> None:
    play = Play(ROW, places=THREE, serves=SERVES)
    play.act("value total_length 200 mm", "board")
    play.lay()
    assert refused(play.act("undo", "board")) == "undo-elsewhere"
    check(play)
