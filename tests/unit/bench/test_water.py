"""Hosing: a run of touches that no hand can measure so fast is taken back at once, and so put back."""

from __future__ import annotations

from collections.abc import Sequence

from tests.benchkit import TALLY, Play, check, folded, refused, state_of
from thwart.bench.state import Tally


def a_tally() -> Play:
    return Play(TALLY, batch="perch")


def counted(play: Play) -> dict[str, int]:
    """Animals by class, empty ones apart."""
    return {t.class_mm: t.n for t in play.records.objects.values() if isinstance(t, Tally) and t.n}


def hose(play: Play, lengths: Sequence[int] = (212, 87, 455, 212)) -> None:
    for mm in lengths:
        play.touch(mm, after_ms=400)


def test_what_a_run_counted_is_taken_back_at_once_and_put_back_by_undo() -> None:
    play = a_tally()
    play.touch(212)
    play.now += 3 * 10**9
    hose(play)
    play.now += 3 * 10**9
    assert counted(play) == {"210": 3, "80": 1, "450": 1}
    said = play.act("hosed")
    assert "water: 4 touches taken back (212 mm, 87 mm, 455 mm, 212 mm)" in [d.body.get("text") for d in said]
    assert counted(play) == {"210": 1}
    assert [(r.outcome, r.why) for r in play.readings()] == [("taken", None), *[("loose", "hosed")] * 4]
    assert play.questions("open", "quiet") == []
    play.act("undo")
    assert counted(play) == {"210": 3, "80": 1, "450": 1}
    assert {r.outcome for r in play.readings()} == {"taken"}
    play.act("undo undo")
    assert counted(play) == {"210": 1}
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_a_pause_takes_nothing_off_a_tally_and_hosed_can_be_said_in_it() -> None:
    play = a_tally()
    hose(play, (212, 87, 455))
    play.act("pause")
    assert play.questions("open", "quiet") == []
    assert counted(play) == {"210": 1, "80": 1, "450": 1}
    play.act("hosed")
    assert counted(play) == {}
    check(play)


def test_in_solo_a_pause_that_was_proposed_takes_it_back() -> None:
    play = Play()
    hose(play)
    play.act("pause")
    assert play.values(1) == {}
    check(play)


def test_a_run_can_be_taken_back_though_counting_went_on() -> None:
    play = a_tally()
    play.touch(205)
    play.now += 3 * 10**9
    hose(play)
    play.touch(231, after_ms=2400)
    play.touch(245, after_ms=2400)
    assert play.questions() == []
    play.act("hosed")
    assert counted(play) == {"200": 1, "230": 1, "240": 1}
    assert refused(play.act("hosed")) == "no-run"
    play.act("undo")
    play.act("undo")  # the last touch
    assert counted(play) == {"200": 1, "210": 2, "80": 1, "450": 1, "230": 1}
    check(play)


def test_a_run_of_long_ago_isnt_meant() -> None:
    play = a_tally()
    hose(play)
    play.now += 120 * 10**9
    play.touch(231)
    assert refused(play.act("hosed")) == "no-run"


def test_touches_at_the_pace_of_a_hand_are_no_run() -> None:
    play = a_tally()
    for mm in (212, 231, 198, 225, 240):
        play.touch(mm, after_ms=1100)
    assert refused(play.act("hosed")) == "no-run"
    assert sum(counted(play).values()) == 5


def test_water_beyond_the_limits_waits_for_nobody() -> None:
    play = a_tally()
    hose(play, (212, 87, 455, 1900))
    assert "class-beyond" in play.questions()
    play.act("hosed")
    assert counted(play) == {}
    assert play.here.waiting is None
    assert play.questions("open", "quiet") == []
    check(play)


def test_of_the_fish_in_hand_what_water_gave_is_wanted_again() -> None:
    play = Play()
    play.weigh(93)
    play.now += 3 * 10**9
    hose(play)
    play.act("hosed")
    assert play.values(1) == {"whole_mass": "93"}
    play.touch(212)
    assert play.values(1) == {"whole_mass": "93", "total_length": "212"}
    check(play)


def test_bounces_and_touches_before_a_start_are_no_run() -> None:
    play = a_tally()
    for mm in (212, 212, 212, 231):
        play.touch(mm, after_ms=100)
    assert refused(play.act("hosed")) == "no-run"
    hose(play)
    play.start()
    assert refused(play.act("hosed")) == "no-run"
