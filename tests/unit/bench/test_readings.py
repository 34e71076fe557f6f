"""Readings: filling, again or new, doubled, stale, late, unseen, tare, zero, what is no number, pauses."""

from __future__ import annotations

import pytest

from tests.benchkit import FORKED, SOLO, Play, check, kinds
from thwart.bench.state import Measurement, Question

RATIO = FORKED + '[species.roach]\ntitle = "roach"\nratios.total_length = { of = "fork_length", range = [1.05, 1.2] }\n'
OPENS = "opens_by_reading = true\n" + FORKED


def outcome(play: Play) -> tuple[str | None, str | None]:
    reading = play.last_reading()
    return reading.outcome, reading.why


def measurement(play: Play, number: int, key: str) -> Measurement:
    return play.bench.need(Measurement, play.numbered(number).values[key])


# ---- filling -------------------------------------------------------------------------------------------------------


def test_a_reading_fills_the_first_wanted_measurand_of_its_quantity() -> None:
    play = Play(FORKED)
    play.touch(200)
    play.weigh(100)
    play.touch(220)
    assert play.values(1) == {"fork_length": "200", "whole_mass": "100", "total_length": "220"}
    assert play.fish.state == "ready"  # gonads aren't required
    play.weigh(7)
    assert play.values(1)["gonad_mass.left"] == "7"


def test_what_could_have_been_filled_is_counted() -> None:
    play = Play(FORKED)
    first = next(d for d in play.touch(200) if d.kind == "measured")
    second = next(d for d in play.touch(220) if d.kind == "measured")
    assert (first.body["one_of"], second.body["one_of"]) == (2, 1)


def test_range_admits_or_not() -> None:
    play = Play(SOLO.replace('name = "whole_mass"', 'name = "whole_mass"\nminimum = 50\nmaximum = 500'))
    play.weigh(10)
    assert outcome(play) == ("loose", "out-of-range")
    play.weigh(501)
    assert outcome(play) == ("loose", "out-of-range")
    assert play.questions("quiet") == ["loose", "loose"]
    play.weigh(50)
    assert play.values(1) == {"whole_mass": "50"}


def test_an_instrument_serves_only_what_it_is_declared_for() -> None:
    from msgspec.structs import replace

    play = Play(FORKED)
    scale = replace(play.setup.instruments["scale"], serves=("gonad_mass",))
    play.setup.instruments["scale"] = scale  # type: ignore[index]
    play.weigh(7)
    assert play.values(1) == {"gonad_mass.left": "7"}


def test_as_overrides_for_the_next_reading_of_that_quantity_only() -> None:
    play = Play(FORKED)
    play.act("as total_length")
    play.weigh(100)  # a mass can't be meant
    play.touch(220)
    play.touch(200)
    assert play.values(1) == {"whole_mass": "100", "total_length": "220", "fork_length": "200"}


TWICE = FORKED.replace('sides = ["left", "right"]', 'sides = ["left", "right"]\nreplicates = 2')


def test_side_and_replicate_can_be_said_by_card_too() -> None:
    play = Play(TWICE)
    play.touch(200)
    play.card("as gonad_mass right 2")
    play.weigh(7)
    play.card("as gonad_mass.left.2")  # the same in dots
    play.weigh(6)
    play.card("missing gonad_mass right 1 broken")
    play.act("value gonad_mass left 1 5 g balance")
    assert play.values(1) == {
        "fork_length": "200",
        "gonad_mass.right.2": "7",
        "gonad_mass.left.2": "6",
        "gonad_mass.left.1": "5",
    }
    assert play.fish.missing == {"gonad_mass.right.1": "broken"}
    play.card("over gonad_mass right 1")
    assert play.fish.missing == {"gonad_mass.right.1": "beyond"}
    play.card("parts gonad_mass right 1 2")
    play.weigh(3)
    play.weigh(4)
    assert play.values(1)["gonad_mass.right.1"] == "7"
    check(play)


def test_of_a_name_without_side_or_replicate_the_first_wanted_is_meant() -> None:
    play = Play(TWICE)
    play.touch(200)
    play.card("as gonad_mass")
    play.weigh(7)
    play.card("as gonad_mass right")
    play.weigh(8)
    play.card("as gonad_mass right")
    play.weigh(9)
    assert [k for k in play.values(1) if "gonad" in k] == [
        "gonad_mass.left.1",
        "gonad_mass.right.1",
        "gonad_mass.right.2",
    ]


@pytest.mark.parametrize("words", ["as", "as gonad_mass up", "over", "parts gonad_mass", "value 5 g", "value g", "value", "value gonad_mass left 5 tape",
                                   "missing broken"])  # fmt: skip
def test_a_measurand_that_isnt_said_whole_is_refused(words: str) -> None:
    play = Play(TWICE)
    play.touch(200)
    assert kinds(play.act(words)) == ["refused"]


def test_as_lapses_at_next() -> None:
    play = Play(FORKED)
    play.touch(200)
    play.act("as whole_mass")
    play.act("next")
    assert play.here.route_as is None
    play.weigh(5)
    assert play.values(2) == {"whole_mass": "5"}


def test_as_a_filled_one_waits_and_again_gives_it_there() -> None:
    play = Play(FORKED)
    play.touch(200)
    play.act("as fork_length")
    play.touch(205)
    assert outcome(play) == ("waiting", None)
    play.act("again")
    assert play.values(1) == {"fork_length": "205"}
    check(play)


def test_a_species_may_drop_a_measurand() -> None:
    play = Play(FORKED)
    play.act("species eel")
    play.touch(400)
    assert play.values(1) == {"total_length": "400"}


def test_rounding_stands_beside_the_value() -> None:
    play = Play()
    play.touch(219)
    m = measurement(play, 1, "total_length")
    assert (m.value, m.rounded_value, m.raw_value, m.raw_unit) == ("219", "210", "219", "mm")


def test_a_value_is_kept_in_the_base_unit_beside_the_text_as_sent() -> None:
    play = Play()
    play.lay()
    play.reading("scale", "0.4120", "kg", settled="mark", zero_before="0")
    m = measurement(play, 1, "whole_mass")
    assert (m.value, m.unit, m.raw_value, m.raw_unit) == ("412", "g", "0.4120", "kg")


# ---- again or new --------------------------------------------------------------------------------------------------


def test_again_supersedes_and_both_are_kept() -> None:
    play = Play()
    play.touch(212)
    play.touch(215)
    assert outcome(play) == ("waiting", None)
    assert play.questions() == ["again-or-new"]
    play.act("again")
    assert play.values(1) == {"total_length": "215"}
    assert [r.outcome for r in play.readings()] == ["superseded", "taken"]
    statuses = sorted(m.status for m in play.bench.all(Measurement))
    assert statuses == ["stands", "superseded"]
    assert play.questions() == []
    check(play)


def test_next_starts_a_fish_with_the_waiting_reading_if_it_was_the_last_event() -> None:
    play = Play()
    play.touch(212)
    play.touch(300)
    play.act("next")
    assert play.values(1) == {"total_length": "212"}
    assert play.values(2) == {"total_length": "300"}
    assert play.fish.number == 2


def test_a_bounce_or_a_lift_is_no_event_between() -> None:
    play = Play()
    play.weigh(100)
    play.weigh(200)
    play.touch(212)
    play.touch(300)
    play.touch(300, after_ms=200)
    assert outcome(play) == ("doubled", "bounce")
    play.lift()
    play.act("next")
    assert play.values(2) == {"total_length": "300"}


def test_next_after_another_event_leaves_the_waiting_reading_behind() -> None:
    play = Play()
    play.touch(212)
    play.touch(300)
    play.weigh(120)
    play.act("next")
    assert play.values(2) == {}
    assert [r.outcome for r in play.readings()] == ["taken", "loose", "taken"]
    assert "again-or-new" in play.questions("quiet")


def test_a_waiting_reading_whose_new_fish_doesnt_want_it_is_noted() -> None:
    play = Play(FORKED)
    for mm in (200, 220, 230):
        play.touch(mm)
    play.bench.objects["specimen", play.fish.specimen_id] = play.fish
    narrow = FORKED.replace('name = "fork_length"', 'name = "fork_length"\nmaximum = 210').replace(
        'name = "total_length"', 'name = "total_length"\nmaximum = 225'
    )
    play = Play(narrow)
    for mm in (200, 220, 230):
        play.touch(mm)
    play.act("next")
    assert outcome(play) == ("loose", "left-behind")
    assert "left-behind" in play.questions("quiet")
    check(play)


def test_stands_keeps_the_first_value() -> None:
    play = Play()
    play.touch(212)
    play.touch(300)
    play.act("stands")
    assert play.values(1) == {"total_length": "212"}
    assert outcome(play) == ("loose", "left-behind")
    check(play)


def test_again_without_a_waiting_reading_opens_the_last_measurand() -> None:
    play = Play()
    play.touch(212)
    play.weigh(120)
    play.act("again")
    play.touch(215)  # not what was opened: it asks
    assert outcome(play) == ("waiting", None)
    play.weigh(130)
    assert play.values(1) == {"total_length": "212", "whole_mass": "130"}
    check(play)


def test_a_measurand_said_to_be_missing_is_asked_about_when_its_reading_comes() -> None:
    play = Play()
    play.act("missing whole_mass mislaid")
    play.weigh(120)
    assert outcome(play) == ("waiting", None)
    play.act("again")
    assert play.values(1) == {"whole_mass": "120"}
    assert play.fish.missing == {}
    check(play)


# ---- doubled, stale, changed ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mm", "ms", "expected"),
    [
        (212, 249, "doubled"),
        (213, 100, "doubled"),
        (211, 100, "doubled"),
        (214, 100, "waiting"),
        (212, 250, "waiting"),
        (212, 260, "waiting"),
    ],
)
def test_a_bounce_is_within_the_dead_time_and_within_one_division(mm: int, ms: int, expected: str) -> None:
    play = Play()
    play.touch(212)
    play.touch(mm, after_ms=ms)
    assert outcome(play)[0] == expected


def test_two_equal_values_of_two_fish_are_two_readings() -> None:
    play = Play()
    play.touch(212)
    play.act("next")
    play.touch(212)
    play.weigh(100)
    assert play.values(2) == {"total_length": "212", "whole_mass": "100"}


def test_times_of_another_start_arent_compared() -> None:
    play = Play()
    play.touch(212)
    play.start()
    play.touch(212, after_ms=100)
    assert outcome(play)[0] == "waiting"


def test_a_load_that_settles_again_is_doubled() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.settle(414, plateau=2)
    assert outcome(play) == ("doubled", "same-load")
    assert play.values(1) == {"whole_mass": "412"}


def test_a_load_that_changed_on_the_pan_is_asked_and_both_are_kept() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.settle(468, plateau=2)
    assert outcome(play) == ("waiting", None)
    assert play.questions() == ["changed-on-the-pan"]
    play.settle(469, plateau=3)  # still what waits
    play.act("again")
    assert play.values(1) == {"whole_mass": "468"} or play.values(1) == {"whole_mass": "469"}
    check(play)


def test_next_starts_no_fish_with_a_load_that_changed() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.settle(468, plateau=2)
    play.act("next")
    assert play.values(2) == {}
    assert "changed-on-the-pan" in play.questions("quiet")


def test_the_load_of_the_fish_before_is_stale() -> None:
    play = Play()
    play.touch(212)
    play.lay()
    play.settle(412)
    play.act("next")
    play.settle(412, plateau=2)
    assert outcome(play) == ("stale", "load-before")
    play.settle(500, plateau=3)
    assert outcome(play) == ("stale", "load-before")
    assert "changed-on-the-pan" in play.questions("quiet")
    assert play.values(2) == {}


def test_a_load_belongs_to_the_fish_in_hand_when_it_arrived() -> None:
    play = Play()
    play.touch(212)
    play.lay()
    play.act("next")
    assert play.numbered(1).end == "incomplete"
    assert "incomplete" in play.questions("quiet")
    play.settle(412)
    assert play.values(1) == {"total_length": "212", "whole_mass": "412"}
    assert play.values(2) == {}
    assert play.numbered(1).end == "incomplete"  # no container
    check(play)


def test_a_late_settle_completes_the_closed_fish() -> None:
    play = Play(FORKED)
    play.touch(200)
    play.touch(220)
    play.lay()
    play.act("next")
    assert play.numbered(1).end == "incomplete"
    play.settle(412)
    assert play.numbered(1).end == "complete"
    assert "incomplete" not in play.questions("open", "quiet")
    check(play)


def test_a_load_laid_too_early_goes_to_the_quiet_list() -> None:
    play = Play()
    play.touch(212)
    play.weigh(100)
    play.lay()
    play.act("next")
    play.settle(300)
    assert outcome(play) == ("loose", "fish-before")
    assert play.questions("quiet").count("loose") == 1


def test_after_next_gave_a_waiting_load_to_the_new_fish_it_is_that_ones() -> None:
    play = Play()
    play.weigh(100)
    play.lay()
    play.settle(300)
    play.act("next")
    assert play.values(2) == {"whole_mass": "300"}
    play.settle(301, plateau=2)
    assert outcome(play) == ("doubled", "same-load")


def test_a_load_of_a_void_fish_is_loose() -> None:
    play = Play()
    play.lay()
    play.act("void")
    play.act("void")
    play.settle(300)
    assert outcome(play) == ("loose", "void")


def test_an_instrument_that_cant_show_its_clearing_is_asked() -> None:
    play = Play()
    play.reading("hand-scale", "100", "g")
    play.act("next")
    play.reading("hand-scale", "100", "g")
    assert play.questions() == ["same-value"]
    play.act("stands")
    assert play.values(2) == {"whole_mass": "100"}
    play.act("next")
    play.reading("hand-scale", "105", "g")
    assert play.values(3) == {"whole_mass": "105"}


# ---- loads nobody saw ----------------------------------------------------------------------------------------------


def test_a_load_at_start_counts_after_an_act_only() -> None:
    play = Play()
    play.settle(412)
    assert outcome(play) == ("waiting", None)
    assert play.questions() == ["load-at-start"]
    play.settle(412, plateau=2)
    assert outcome(play) == ("doubled", "same-load")
    play.act("stands")
    assert play.values(1) == {"whole_mass": "412"}
    play.settle(412, plateau=3)
    assert outcome(play) == ("doubled", "same-load")
    check(play)


def test_a_load_at_start_counts_after_an_emptying() -> None:
    play = Play()
    play.settle(412)
    play.lift()
    play.weigh(413)
    assert play.values(1) == {"whole_mass": "413"}


def test_a_load_at_start_starts_no_fish() -> None:
    play = Play()
    play.settle(412)
    assert kinds(play.act("next")) == ["told"]
    play.touch(212)
    play.act("next")
    assert play.values(2) == {}


def test_back_leaves_behind_what_waits_for_the_empty_fish() -> None:
    play = Play()
    play.touch(212)
    play.act("park")
    play.settle(412)
    play.act("back")
    assert outcome(play) == ("loose", "left-behind")
    check(play)


def test_after_a_replug_a_load_is_unseen_again() -> None:
    play = Play()
    play.lay()
    for present in (False, True):
        play.put("port", instrument="scale", present=present, reason="", profile="p", port="port-scale")
    play.settle(412)
    assert play.questions() == ["load-at-start"]


# ---- tare and zero -------------------------------------------------------------------------------------------------


def test_a_tare_mark_makes_the_load_the_baseline() -> None:
    play = Play()
    play.lay()
    play.settle(500, load="tare")
    assert outcome(play) == ("tare", "tare")
    play.weigh(120)
    assert play.values(1) == {"whole_mass": "120"}


def test_tared_takes_the_tray_back_out_of_the_fish() -> None:
    play = Play()
    play.touch(212)
    play.lay()
    play.settle(500)
    assert play.numbered(1).state == "ready"
    play.act("tared")
    assert outcome(play) == ("tare", "tare")
    assert play.values(1) == {"total_length": "212"}
    assert play.fish.state == "open"
    play.weigh(120)
    assert play.values(1)["whole_mass"] == "120"
    check(play)


def test_tared_of_a_waiting_and_of_a_loose_tray() -> None:
    play = Play()
    play.weigh(100)
    play.lay()
    play.settle(500)
    play.act("tared")
    assert outcome(play) == ("tare", "tare")
    assert play.here.waiting is None
    assert play.questions() == []
    play.act("batch close done")
    play.lay()
    play.settle(500)
    assert outcome(play)[0] == "loose"
    play.act("tared")
    assert outcome(play) == ("tare", "tare")


def test_tared_of_a_scale_that_prints() -> None:
    play = Play()
    play.reading("hand-scale", "500", "g")
    play.lift()  # the streaming scale is clear
    play.act("tared")
    assert outcome(play) == ("tare", "tare")
    assert play.values(1) == {}


def test_the_rest_of_another_tray_is_no_moved_zero() -> None:
    play = Play()
    play.weigh(100)
    play.lay()
    play.settle(500)
    play.act("tared")
    play.lay("500")
    play.settle(620)
    play.lift("500")
    assert "zero-moved" not in play.questions("open", "quiet")


def test_a_mass_on_a_scale_that_does_not_rest_at_zero_is_suspect() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.lift()
    play.label(1)
    play.lay("-9")
    play.settle(403, zero_before="-9")
    m = measurement(play, 2, "whole_mass")
    assert (m.verdict, m.cause, m.status) == (3, "zero-moved", "stands")


def test_a_zero_that_moved_makes_masses_suspect() -> None:
    play = Play()
    play.lay()
    play.settle(412)
    play.lift("6")
    assert play.questions() == ["zero-moved"]
    m = measurement(play, 1, "whole_mass")
    assert (m.verdict, m.cause, m.status, m.zero_before, m.zero_after) == (3, "zero-moved", "stands", "0", "6")
    text = next(q.text for q in play.bench.all(Question))
    assert "zero moved +6 g" in text
    check(play)


def test_two_divisions_are_no_moved_zero() -> None:
    play = Play(batch="perch")
    play.lay()
    play.settle(412)
    play.lift("-2")
    assert play.questions() == []
    assert measurement(play, 1, "whole_mass").verdict == 1


def test_a_zero_that_drifted_while_empty_is_said_at_the_next_arrival() -> None:
    play = Play()
    play.weigh(100)
    play.act("next")
    play.lay("-5")
    assert play.questions() == ["zero-moved"]


# ---- what is no number ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("condition", ["overload", "underload", "error"])
def test_beyond_the_instrument_is_never_a_number(condition: str) -> None:
    play = Play()
    play.lay()
    play.settle(99999, condition=condition)
    assert outcome(play)[0] == "refused"
    assert play.values(1) == {}
    assert play.questions() == ["beyond-instrument"]


@pytest.mark.parametrize("act", ["missing whole_mass beyond", "value whole_mass 5200 g pad"])
def test_beyond_the_instrument_is_answered_by_value_or_missing(act: str) -> None:
    play = Play()
    play.lay()
    play.reading("scale", None, "g", condition="overload")
    play.act(act)
    assert play.questions("open") in ([], ["impossible"])
    check(play)


def test_a_frame_without_a_number_is_refused() -> None:
    play = Play()
    play.reading("board", None, "mm")
    assert outcome(play) == ("refused", "error")


def test_a_moving_print_is_refused_and_asked_until_the_next_one() -> None:
    play = Play()
    play.reading("board", "200", "mm", settled="moving")
    assert outcome(play) == ("refused", "moving")
    assert play.questions() == ["moving"]
    play.touch(201)
    assert play.values(1) == {"total_length": "201"}
    assert play.questions() == []


def test_a_refused_print_can_be_repeated_at_once() -> None:
    play = Play()
    play.reading("board", "200", "mm", settled="moving")
    play.touch(200, after_ms=100)
    assert outcome(play) == ("taken", None)


@pytest.mark.parametrize("value", ["0", "-3"])
def test_a_value_not_above_zero_is_impossible(value: str) -> None:
    play = Play()
    play.lay()
    play.settle(value)
    assert play.questions() == ["not-positive"]
    assert measurement(play, 1, "whole_mass").verdict == 4


# ---- nobody's ------------------------------------------------------------------------------------------------------


def test_without_a_batch_and_in_a_pause_readings_are_loose_and_nothing_is_asked() -> None:
    play = Play(batch=False)
    play.touch(200)
    assert outcome(play) == ("loose", "no-batch")
    play.reading("board", "200", "mm", settled="moving")
    play.act("batch open bay")
    play.act("pause")
    play.touch(200)
    assert outcome(play) == ("loose", "paused")
    play.reading("board", None, "mm", condition="error")
    assert play.questions("open", "quiet") == []


def test_a_load_laid_in_a_pause_is_nobodys() -> None:
    play = Play()
    play.act("pause")
    play.lay()
    play.act("resume")
    play.settle(412)
    assert outcome(play) == ("loose", "no-fish")
    assert play.values(1) == {}


def test_an_unknown_instrument_is_stored_and_loose() -> None:
    play = Play()
    play.reading("ghost", "200", "mm")
    assert outcome(play) == ("loose", "not-wanted")
    check(play)


def test_without_a_fish_a_reading_is_loose() -> None:
    play = Play(SOLO.replace("[containers]", '[containers]\nrole = "first"'))
    play.touch(200)
    assert outcome(play) == ("loose", "no-fish")
    play.weigh(200)
    assert outcome(play) == ("loose", "no-fish")


def test_three_touches_in_two_seconds_propose_a_pause_once() -> None:
    play = Play()
    play.touch(200, after_ms=5000)
    play.touch(250, after_ms=900)
    assert "hosing" not in play.questions()
    play.touch(300, after_ms=900)
    assert "hosing" in play.questions()
    play.touch(350, after_ms=900)
    assert play.questions().count("hosing") == 1
    play.act("pause")
    assert "hosing" not in play.questions("open", "quiet")


def test_drops_during_a_pause_propose_none_after_it() -> None:
    play = Play(SOLO)
    play.act("pause")
    play.touch(113, after_ms=100)
    play.touch(487, after_ms=100)
    play.now -= 900_000_000
    play.act("resume")
    play.touch(212, after_ms=100)
    assert "hosing" not in play.questions()


def test_three_touches_in_more_than_two_seconds_and_bounces_propose_nothing() -> None:
    play = Play(FORKED)
    play.touch(200, after_ms=5000)
    play.touch(220, after_ms=1000)
    play.touch(230, after_ms=1000)
    assert "hosing" not in play.questions()
    play = Play(FORKED)
    play.touch(200, after_ms=5000)
    play.touch(200, after_ms=100)
    play.touch(220, after_ms=1000)
    assert "hosing" not in play.questions()


# ---- ratios --------------------------------------------------------------------------------------------------------


def test_a_ratio_out_of_range_asks_before_it_fills() -> None:
    play = Play(RATIO)
    play.act("species roach")
    play.touch(200)
    play.touch(202)  # the mouth was open: fork length again
    assert outcome(play) == ("waiting", None)
    assert play.questions() == ["ratio"]
    play.act("again")
    assert play.values(1) == {"fork_length": "202"}
    play.touch(222)
    assert play.values(1) == {"fork_length": "202", "total_length": "222"}
    check(play)


def test_a_ratio_out_of_range_stands_when_a_person_says_so() -> None:
    play = Play(RATIO)
    play.act("species roach")
    play.touch(200)
    play.touch(300)
    play.act("stands")
    assert play.values(1) == {"fork_length": "200", "total_length": "300"}
    assert play.questions() == []
    check(play)


# ---- opening by a reading ------------------------------------------------------------------------------------------


def test_a_reading_opens_a_fish_where_the_protocol_has_it_so() -> None:
    play = Play(OPENS)
    for mm in (200, 220):
        play.touch(mm)
    play.touch(300)
    assert play.values(1) == {"fork_length": "200", "total_length": "220"}
    assert play.fish.number == 2
    assert play.fish.provisional
    play.touch(330)  # a different measurand
    assert not play.fish.provisional
    check(play)


def test_a_provisional_fish_is_offered_back_as_again() -> None:
    play = Play("opens_by_reading = true\n" + SOLO)
    play.touch(200)
    play.touch(203)
    assert play.values(2) == {"total_length": "203"}
    play.act("again")
    assert play.fish.number == 1
    assert play.values(1) == {"total_length": "203"}
    assert play.records.numbered(2) is None
    assert play.bench.desk.free_numbers == (2,)
    check(play)
    play.act("undo")
    assert play.fish.number == 2
    assert play.values(1) == {"total_length": "200"}
    check(play)


def test_a_second_touch_of_a_provisional_fish_asks_and_next_makes_it_a_fish() -> None:
    play = Play("opens_by_reading = true\n" + SOLO)
    play.touch(200)
    play.touch(300)
    play.touch(400)
    assert outcome(play) == ("waiting", None)
    play.act("next")
    assert [play.values(n) for n in (1, 2, 3)] == [{"total_length": v} for v in ("200", "300", "400")]
    assert not play.numbered(2).provisional
    check(play)


def test_again_on_a_second_touch_of_a_provisional_fish_goes_to_the_fish_before() -> None:
    play = Play("opens_by_reading = true\n" + SOLO)
    play.touch(200)
    play.touch(300)
    play.touch(202)
    play.act("again")
    assert play.fish.number == 1
    assert play.values(1) == {"total_length": "202"}
    assert [r.outcome for r in play.readings()] == ["superseded", "loose", "taken"]
    check(play)
