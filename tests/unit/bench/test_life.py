"""A specimen's life: opening, closing, ends, numbers, trays, recall, batches, practice, pauses, people, restarts."""

from __future__ import annotations

import pytest

from tests.benchkit import FIRST, FORKED, SOLO, Play, check, kinds, refused
from thwart.bench.state import Batch, Coded, Measurement, Question, Specimen

CODED = SOLO + '\n[codes.maturity]\nscale = "six"\nvalues = { A = "immature", B = "developing" }\nrequired = true\n'


def whole(play: Play, mm: int = 212, g: int = 120) -> None:
    play.touch(mm)
    play.weigh(g)
    play.label(play.expected())


# ---- opening and closing -------------------------------------------------------------------------------------------


def test_opening_the_batch_opens_the_first_fish() -> None:
    play = Play()
    assert (play.fish.number, play.fish.state, play.fish.batch) == (1, "open", "bay")


def test_being_complete_closes_nothing_its_last_label_does() -> None:
    play = Play()
    play.touch(212)
    play.weigh(120)
    assert play.fish.number == 1
    assert play.fish.state == "ready"
    play.label(1)
    assert play.numbered(1).end == "complete"
    assert play.numbered(1).containers == ("K-00013",)
    assert play.fish.number == 2


def test_next_on_a_fish_without_readings_does_nothing() -> None:
    play = Play()
    assert kinds(play.act("next")) == ["told"]
    assert play.fish.number == 1


def test_next_closes_incomplete_and_says_what_lacks() -> None:
    play = Play()
    play.touch(212)
    play.act("next")
    assert play.numbered(1).end == "incomplete"
    note = next(q for q in play.bench.all(Question) if q.kind == "incomplete")
    assert note.text == "1 closed without whole_mass, container"
    assert note.state == "quiet"


def test_a_missing_value_counts_towards_ready_and_complete() -> None:
    play = Play(FORKED)
    play.touch(200)
    play.act("missing total_length broken")
    play.act("missing whole_mass not-attempted")
    assert play.fish.state == "ready"
    play.act("next")
    assert play.numbered(1).end == "complete"


def test_a_required_code_and_the_container_may_be_missing_with_a_reason() -> None:
    play = Play(CODED)
    play.touch(212)
    play.weigh(120)
    play.act("missing maturity could-not-tell")
    play.act("missing otolith not-found")
    play.act("next")
    assert play.numbered(1).end == "complete"
    coded = next(iter(play.bench.all(Coded)))
    assert (coded.code, coded.missing_reason, coded.scale) == (None, "could-not-tell", "six")


def test_missing_takes_the_value_back() -> None:
    play = Play()
    play.touch(9000)
    play.act("missing total_length broken")
    assert play.values(1) == {}
    assert play.fish.missing == {"total_length": "broken"}
    check(play)


def test_open_questions_move_to_the_quiet_list_and_it_is_said() -> None:
    play = Play()
    play.act("species perch")
    play.touch(700)
    assert play.questions() == ["impossible"]
    said = play.act("next")
    assert "keep 1 for later" in [d.body.get("text") for d in said]
    assert play.questions() == []
    assert "impossible" in play.questions("quiet")


def test_the_tray_of_ten_is_read_out() -> None:
    play = Play()
    for n in range(9):
        play.touch(200 + n)
        play.act("next")
    assert tray(play) == list(range(1, 10))
    play.touch(300)
    said = play.act("next")
    out = next(d for d in said if d.kind == "read-out")
    assert out.body["numbers"] == list(range(1, 11))
    assert len(out.body["texts"]) == 10
    assert tray(play) == []
    assert play.questions("quiet") == []
    assert play.questions("read-out") == ["incomplete"] * 10
    play.touch(200)
    play.act("next")
    assert tray(play) == [11]


def tray(play: Play) -> list[int]:
    return [play.bench.need(Specimen, ident).number for ident in play.here.tray]


# ---- ends ----------------------------------------------------------------------------------------------------------


def test_void_takes_two_steps_and_leaves_nothing_standing() -> None:
    play = Play()
    play.touch(212)
    assert kinds(play.act("void")) == ["armed", "told"]
    assert play.fish.number == 1
    play.act("void")
    fish = play.numbered(1)
    assert (fish.state, fish.end, dict(fish.values)) == ("closed", "void", {})
    assert (play.last_reading().outcome, play.last_reading().why) == ("loose", "void")
    assert play.fish.number == 2
    assert play.bench.need(Batch, "bay").measured == 0
    check(play)


def test_lost_counts_what_was_measured() -> None:
    play = Play()
    play.touch(212)
    play.act("lost")
    play.act("lost")
    assert play.numbered(1).end == "lost"
    assert play.values(1) == {"total_length": "212"}
    assert play.bench.need(Batch, "bay").measured == 1


def test_what_was_said_once_lapses_by_wake() -> None:
    play = Play()
    play.act("void")
    due = play.bench.next_wake()
    assert due == play.now + 15_000_000_000
    play.now += 13_000_000_000
    assert play.put("wake") == []  # too early: nothing is kept of it
    play.now += 5_000_000_000
    assert kinds(play.put("wake")) == ["lapsed"]
    assert play.bench.next_wake() is None
    assert kinds(play.act("void")) == ["armed", "told"]


@pytest.mark.parametrize("between", ["lost", "touch", "measurer ida", "start"])
def test_what_was_said_once_lapses_by_anything_else_at_the_place(between: str) -> None:
    play = Play()
    play.act("void")
    if between == "touch":
        play.touch(200)
    elif between == "start":
        play.start()
    else:
        play.act(between)
    play.act("void")
    assert play.fish.number == 1


def test_undo_of_what_was_said_once_only_says_so() -> None:
    play = Play()
    play.touch(212)
    play.act("void")
    assert [d.body.get("text") for d in play.act("undo")][-1] == "void isn't done"
    assert play.values(1) == {"total_length": "212"}
    play.act("void")
    assert play.fish.number == 1


def test_a_void_fishs_container_is_used_up() -> None:
    play = Play(FIRST)
    play.label(1)
    play.act("void")
    play.act("void")
    assert play.here.in_hand is None
    container = play.bench.objects["container", "K-00013"]
    assert container.state == "void"  # type: ignore[union-attr]
    assert refused(play.label(1)) == "void-fish"


# ---- numbers -------------------------------------------------------------------------------------------------------


def test_when_the_numbers_are_used_up_the_last_fish_still_closes() -> None:
    play = Play(SOLO + "\n[numbers]\nfirst = 7\nlast = 8\n")
    assert play.fish.number == 7
    whole(play)
    play.touch(200)
    play.weigh(100)
    said = play.label(2)
    assert play.numbered(8).end == "complete"
    assert play.here.in_hand is None
    assert "numbers-used-up" in [d.body.get("code") for d in said]
    assert refused(play.act("next")) == "numbers-used-up"


def test_a_number_given_back_is_used_first() -> None:
    play = Play()
    play.touch(200)
    play.act("next")
    play.act("undo")
    assert play.bench.desk.free_numbers == (2,)
    assert play.bench.desk.next_number == 3
    play.act("next")
    assert play.fish.number == 2
    assert not play.bench.desk.free_numbers


# ---- recall --------------------------------------------------------------------------------------------------------


def test_recall_sets_aside_what_is_in_hand_and_brings_it_back() -> None:
    play = Play()
    play.touch(212)
    play.act("next")
    play.touch(300)
    play.act("recall 1")
    assert play.fish.number == 1
    assert play.fish.end is None
    play.weigh(120)
    assert play.fish.state == "ready"
    play.act("next")
    assert play.fish.number == 2
    assert play.values(1) == {"total_length": "212", "whole_mass": "120"}
    assert play.values(2) == {"total_length": "300"}
    assert play.bench.need(Batch, "bay").measured == 1
    check(play)


def test_recalls_nest() -> None:
    play = Play()
    for mm in (200, 210):
        play.touch(mm)
        play.act("next")
    play.act("recall 1")
    play.act("recall 2")
    assert len(play.here.aside) == 2
    play.act("next")
    play.act("next")
    assert play.fish.number == 3
    check(play)


def test_a_recalled_fish_is_routed_to_by_nothing_said_before() -> None:
    play = Play()
    play.touch(200)
    play.act("next")
    play.touch(300)
    play.act("again")
    play.act("recall 1")
    play.touch(205)
    assert play.values(1) == {"total_length": "200"}  # it asks
    assert "again-or-new" in play.questions()


def test_void_of_a_recalled_fish_counts_it_out() -> None:
    play = Play()
    play.touch(200)
    play.act("next")
    play.act("recall 1")
    play.act("void")
    play.act("void")
    assert play.bench.need(Batch, "bay").measured == 0
    check(play)


def test_stands_reaches_the_questioned_value_of_a_recalled_fish() -> None:
    play = Play("tray = 1\n" + SOLO)
    play.act("species perch")
    play.touch(700)
    play.act("next")
    assert "impossible" in play.questions("read-out")
    play.act("recall 1")
    play.act("stands measured-twice")
    m = play.bench.need(Measurement, play.numbered(1).values["total_length"])
    assert (m.status, m.verdict) == ("stands", 4)


# ---- species and codes ---------------------------------------------------------------------------------------------


def test_species_is_for_the_fish_in_hand_else_for_the_next() -> None:
    play = Play(batch=True)
    play.act("species perch")
    play.touch(200)
    play.act("next")
    assert play.numbered(1).species == "perch"
    assert play.fish.species is None  # not sticky
    play = Play(FIRST)
    play.act("species perch")
    play.label(1)
    assert play.fish.species == "perch"


def test_species_is_sticky_in_a_single_species_batch_and_protocol() -> None:
    play = Play(batch=False)
    play.act("batch open bay perch")
    play.touch(200)
    play.act("next")
    assert play.fish.species == "perch"
    assert Play('single_species = "pike"\n' + SOLO, batch=True).fish.species == "pike"


def test_unknown_is_a_species() -> None:
    play = Play()
    play.act("species unknown")
    assert play.fish.species == "unknown"
    play.touch(5)
    assert play.questions() == []


def test_a_late_species_judges_anew_and_drops_what_isnt_taken() -> None:
    play = Play(FORKED)
    play.touch(400)
    play.touch(420)
    play.act("next")
    play.act("species eel of 1")
    assert "surplus" in play.questions()
    play.act("species eel of previous")
    assert play.questions().count("surplus") == 1


def test_a_late_species_asks_what_its_limits_say_and_takes_back_what_they_dont() -> None:
    play = Play()
    play.touch(700)
    assert play.questions() == []
    play.act("species perch")
    assert play.questions() == ["impossible"]
    m = play.bench.need(Measurement, play.fish.values["total_length"])
    assert (m.status, m.verdict, m.cause) == ("questioned", 4, "impossible")
    play.act("species pike")
    assert play.questions() == []
    m = play.bench.need(Measurement, play.fish.values["total_length"])
    assert (m.status, m.verdict, m.cause) == ("stands", 1, None)
    check(play)


def test_what_a_person_stood_by_is_never_asked_again() -> None:
    play = Play()
    play.act("species perch")
    play.touch(700)
    play.act("stands")
    play.act("species pike")
    play.act("species perch")
    play.weigh(100)
    assert play.questions() == []
    m = play.bench.need(Measurement, play.fish.values["total_length"])
    assert (m.status, m.verdict) == ("stands", 4)


def test_codes_also_late_and_of_the_previous() -> None:
    play = Play()
    play.act("stager ida")
    play.act("code sex f")
    play.act("code sex M")
    play.touch(200)
    play.act("next")
    play.act("code sex F of previous")
    play.act("code sex F of 2")
    codes = [(c.code, c.status, c.who, c.supersedes is None) for c in play.bench.all(Coded)]
    assert codes == [("F", "superseded", "ida", True), ("M", "superseded", "ida", False), ("F", "stands", "ida", False),
                     ("F", "stands", "ida", True)]  # fmt: skip
    check(play)


def test_a_late_code_completes_a_closed_fish() -> None:
    play = Play(CODED)
    whole(play)
    assert play.numbered(1).end == "incomplete"
    play.act("code maturity A of 1")
    assert play.numbered(1).end == "complete"
    assert "incomplete" not in play.questions("open", "quiet")


# ---- batches, practice, pause, people ------------------------------------------------------------------------------


def test_closing_a_batch_reads_out_fish_incomplete_and_containers() -> None:
    play = Play()
    whole(play)
    play.act("skip")
    whole(play)
    play.touch(300)
    said = play.act("batch close station done")
    end = next(d for d in said if d.kind == "batch").body
    assert (end["fish"], end["incomplete"], end["first"], end["last"], end["skipped"]) == (
        3, 1, "K-00013", "K-00030", ["K-00021"],
    )  # fmt: skip
    assert end["reason"] == "station done"
    assert play.questions("quiet", "open") == []
    batch = play.bench.need(Batch, "bay")
    assert (batch.measured, batch.end_reason) == (3, "station done")
    check(play)


def test_a_fish_nothing_was_given_to_ends_with_its_batch() -> None:
    play = Play()
    play.act("batch close done")
    assert play.records.numbered(1) is None
    play.act("batch open cove")
    assert play.fish.number == 1


def test_a_reopened_batch_goes_on() -> None:
    play = Play()
    whole(play)
    play.act("batch close done")
    play.act("batch reopen bay one more")
    assert play.bench.need(Batch, "bay").closed_utc is None
    assert play.fish.number == 2


def test_practice_marks_batch_fish_and_values() -> None:
    play = Play(batch=False)
    play.act("practice on")
    play.act("batch open try")
    play.touch(200)
    assert play.bench.need(Batch, "try").practice
    assert play.fish.practice
    assert play.bench.need(Measurement, play.fish.values["total_length"]).practice
    play.act("batch close done")
    play.act("practice off")
    play.act("batch open real")
    assert not play.fish.practice


def test_people_are_written_with_what_they_did() -> None:
    play = Play()
    play.act("measurer ida of the lake")
    play.act("recorder ben")
    play.touch(200)
    m = play.bench.need(Measurement, play.fish.values["total_length"])
    assert (m.measurer, m.recorder) == ("ida of the lake", "ben")


@pytest.mark.parametrize(("minutes", "kept"), [(19, True), (20, False)])
def test_people_arent_inherited_after_twenty_minutes(minutes: int, kept: bool) -> None:
    play = Play()
    play.act("measurer ida")
    play.act("pause")
    play.now += minutes * 60 * 10**9 - 10**9
    play.act("resume")
    assert play.here.measurer == ("ida" if kept else None)


def test_a_pause_over_a_boot_is_of_unknown_length() -> None:
    play = Play()
    play.act("measurer ida")
    play.act("pause")
    play.start()  # the same boot
    play.act("resume")
    assert play.here.measurer == "ida"
    play.act("pause")
    play.boot = "another"
    play.start()
    play.act("resume")
    assert play.here.measurer is None


def test_a_pause_leaves_the_waiting_reading_behind() -> None:
    play = Play()
    play.touch(200)
    play.touch(300)
    play.act("pause")
    assert play.last_reading().outcome == "loose"
    check(play)


# ---- restart -------------------------------------------------------------------------------------------------------


def test_a_restart_asks_whether_it_is_the_same_fish() -> None:
    play = Play()
    play.touch(212)
    asked = play.start()
    assert [d.body["text"] for d in asked if d.kind == "asked"] == [
        "1, total_length 212 mm; whole_mass wanted: same fish?"
    ]
    play.start()
    assert play.questions() == ["same-fish"]
    play.act("stands")
    assert play.questions() == []
    play.weigh(100)
    assert play.values(1)["whole_mass"] == "100"


def test_next_answers_the_question_of_the_restart() -> None:
    play = Play()
    play.touch(212)
    play.start()
    play.act("next")
    assert "same-fish" not in play.questions("open", "quiet")


def test_an_empty_fish_isnt_asked_about() -> None:
    play = Play()
    assert play.start() == []


# ---- hand entries and swap -----------------------------------------------------------------------------------------


def test_a_hand_entry_says_how_and_gets_the_same_checks() -> None:
    play = Play()
    play.act("species perch")
    play.act("value total_length 70,5 cm tape")
    m = play.bench.need(Measurement, play.fish.values["total_length"])
    assert (m.value, m.raw_value, m.raw_unit, m.how, m.instrument, m.reading_seq) == (
        "705", "70,5", "cm", "tape", None, None,
    )  # fmt: skip
    assert play.questions() == ["impossible"]
    play.act("value total_length 20.5 cm")
    assert play.questions() == []
    assert play.values(1) == {"total_length": "205"}
    assert play.bench.need(Measurement, play.fish.values["total_length"]).how == "pad"


def test_a_hand_entry_must_fit_the_declared_division() -> None:
    play = Play(FORKED)
    assert refused(play.act("value whole_mass 412 g")) == "not-the-division"
    play.act("value whole_mass 0.415 kg balance")
    assert play.values(1) == {"whole_mass": "415"}


def test_a_hand_entry_of_a_side() -> None:
    play = Play(FORKED)
    play.act("value gonad_mass 5 g")
    play.act("value gonad_mass 6 g")
    assert play.values(1) == {"gonad_mass.left": "5", "gonad_mass.right": "6"}
    play.act("value gonad_mass.left 7 g")
    assert play.values(1)["gonad_mass.left"] == "7"


def test_a_broken_order_asks_and_swap_mends_it() -> None:
    play = Play(FORKED, batch=True)
    play.touch(220)
    play.touch(200)
    assert play.questions() == ["order"]
    assert "`swap`" in next(q.text for q in play.bench.all(Question))
    play.act("swap")
    assert play.values(1) == {"fork_length": "200", "total_length": "220"}
    assert play.questions() == []
    assert [r.outcome for r in play.readings()] == ["taken", "taken"]
    how = [play.bench.need(Measurement, s) for s in play.fish.values.values()]
    assert [(m.how, m.instrument, m.verdict) for m in how] == [("swapped", "board", 1)] * 2
    check(play)
    play.act("swap")
    assert play.questions() == ["order"]
    check(play)


def test_a_broken_order_that_stands_isnt_asked_again() -> None:
    play = Play(FORKED)
    play.touch(220)
    play.touch(200)
    play.act("stands")
    play.weigh(100)
    play.act("species perch")
    assert play.questions() == []


# ---- several places ------------------------------------------------------------------------------------------------


def test_a_batch_is_opened_and_closed_at_every_place() -> None:
    play = Play(places=("left", "right"))
    assert [play.bench.place(n).batch for n in ("left", "right")] == ["bay", "bay"]
    left, right = play.bench.in_hand("left"), play.bench.in_hand("right")
    assert left is not None
    assert right is not None
    assert (left.number, right.number) == (1, 2)
    play.act("value total_length 200 mm", "right")
    said = play.act("batch close done")
    assert [d.body["op"] for d in said if d.kind == "batch"] == ["leave", "close"]
    assert [play.bench.place(n).batch for n in ("left", "right")] == [None, None]
    check(play)


def test_a_place_can_join_a_batch() -> None:
    play = Play(places=("left", "right"), batch=False)
    play.act("batch open bay", "left")
    assert play.bench.place("right").batch is None
    play.act("batch open bay", "right")
    assert play.bench.place("right").batch == "bay"
    check(play)


def test_a_shared_instrument_serves_the_one_place_that_wants_it() -> None:
    play = Play(places=("left", "right"))
    play.touch(200)
    assert (play.last_reading().outcome, play.last_reading().why) == ("loose", "which-place")
    play.act("value total_length 210 mm", "left")
    play.touch(200)
    right = play.bench.in_hand("right")
    assert right is not None
    assert play.values(right.number) == {"total_length": "200"}
    check(play)


def test_a_shared_scanner_and_pedal_mean_the_one_place_that_holds_a_fish() -> None:
    play = Play(places=("left", "right"), batch=False)
    play.act("batch open bay", "right")
    play.act("value total_length 210 mm", "right")
    assert "closed" in kinds(play.label(1))
    play.act("value total_length 215 mm", "right")
    assert "closed" in kinds(play.pedal())
    play.act("value total_length 215 mm", "right")
    assert "closed" in kinds(play.card("next"))
    check(play)


def test_one_places_fish_is_nothing_to_the_other() -> None:
    play = Play(places=("left", "right"))
    play.act("value total_length 210 mm", "left")
    play.act("next", "left")
    assert play.bench.place("right").in_hand is not None
    assert play.bench.place("right").previous is None
    assert refused(play.act("code sex F of previous", "right")) == "unknown-fish"


def test_another_species_or_sex_of_a_fish_with_readings_is_noted() -> None:
    play = Play()
    play.act("species perch")
    play.act("species pike")  # the card before was misread: nothing was measured yet
    assert play.questions("quiet") == []
    play.touch(212)
    play.act("code sex F")
    play.act("species perch")  # the next fish's, said too early?
    play.act("code sex M")
    assert play.questions("quiet") == ["said-otherwise", "said-otherwise"]
    play.label(1)
    play.act("species pike of previous")
    assert play.questions("quiet").count("said-otherwise") == 2
