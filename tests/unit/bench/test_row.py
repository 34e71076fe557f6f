"""Flow `row`: each place its own fish, the queue between them, what may be the fish before again."""

from __future__ import annotations

import pytest

from tests.benchkit import ROW, Play, kinds, refused
from thwart.bench.state import Specimen

PLACES = ("board", "scale", "knife")
SERVES = {"board": ("board",), "scale": ("scale",), "scanner": ("knife",), "pedal": ("board",), "hand-scale": ()}


@pytest.fixture
def play() -> Play:
    return Play(ROW, places=PLACES, serves=SERVES)


def at(play: Play, place: str) -> int | None:
    fish = play.bench.in_hand(place)
    return None if fish is None else fish.number


def hands(play: Play) -> list[int | None]:
    return [at(play, p) for p in PLACES]


def queue(play: Play, place: str) -> list[int]:
    return [play.bench.need(Specimen, ident).number for ident in play.bench.place(place).queue]


def test_only_the_first_place_opens_fish(play: Play) -> None:
    assert hands(play) == [1, None, None]


def test_a_fish_goes_down_the_row(play: Play) -> None:
    play.touch(200)
    assert (hands(play), queue(play, "scale")) == ([2, None, None], [1])
    play.lay()
    assert (hands(play), queue(play, "scale")) == ([2, 1, None], [])
    play.settle(98)
    assert at(play, "scale") == 1  # it goes on when it is lifted off
    play.lift()
    assert (hands(play), queue(play, "knife")) == ([2, None, None], [1])
    play.label(1)
    assert play.numbered(1).state == "closed"
    assert play.numbered(1).end == "complete"
    assert play.values(1) == {"total_length": "200", "whole_mass": "98"}
    assert hands(play) == [2, None, None]


def test_three_fish_at_once(play: Play) -> None:
    play.touch(200)
    play.lay()
    play.touch(210)
    play.settle(98)
    play.lift()
    play.lay()
    play.touch(220)
    play.label(1)
    play.settle(105)
    play.lift()
    play.lay()
    play.label(2)
    play.settle(120)
    play.lift()
    play.label(3)
    assert [play.values(n) for n in (1, 2, 3)] == [
        {"total_length": "200", "whole_mass": "98"},
        {"total_length": "210", "whole_mass": "105"},
        {"total_length": "220", "whole_mass": "120"},
    ]
    assert [play.numbered(n).end for n in (1, 2, 3)] == ["complete"] * 3


def test_a_full_queue_keeps_the_fish_and_says_so(play: Play) -> None:
    play.touch(200)
    play.lay()
    play.touch(210)  # waits before the scale
    said = play.touch(220)
    assert "asked" in kinds(said)  # 2 waits in plain sight: again, or next?
    play.act("next", place="board")
    assert play.values(3) == {"total_length": "220"}
    assert hands(play)[0] == 3
    assert queue(play, "scale") == [2]
    assert any(e.kind == "told" and e.body["code"] == "stays" for e in play.entries)
    play.settle(98)
    play.lift()
    assert hands(play)[0] == 3  # the scale is free, but 2 still waits before it
    play.lay()
    assert (hands(play), queue(play, "scale")) == ([4, 2, None], [3])


def test_a_further_touch_asks_and_again_is_the_fish_before(play: Play) -> None:
    play.touch(200)
    said = play.touch(206)
    assert [d.body["code"] for d in said if d.kind == "asked"] == ["again-or-next"]
    play.act("again", place="board")
    assert play.values(1) == {"total_length": "206"}
    assert play.values(2) == {}


def test_once_something_is_said_of_the_next_fish_a_touch_is_its(play: Play) -> None:
    play.touch(200)
    play.act("species perch", place="board")
    said = play.touch(206)
    assert "asked" not in kinds(said)
    assert play.values(1) == {"total_length": "200"}
    assert play.values(2) == {"total_length": "206"}


def test_once_the_next_place_has_it_a_touch_is_the_next_fish(play: Play) -> None:
    play.touch(200)
    play.lay()
    said = play.touch(206)
    assert "asked" not in kinds(said)
    assert play.values(2) == {"total_length": "206"}


def test_a_fish_that_waits_before_a_later_place_is_not_in_sight_of_the_first(play: Play) -> None:
    play.touch(200)
    play.lay()
    play.settle(98)
    play.lift()
    assert queue(play, "knife") == [1]
    assert "asked" not in kinds(play.touch(206))
    assert play.values(2) == {"total_length": "206"}


def test_a_load_on_an_empty_row_is_loose_and_noted(play: Play) -> None:
    play.lay()
    play.settle(98)
    assert play.last_reading().outcome == "loose"
    assert play.questions("quiet") == ["loose"]


def test_a_questioned_value_keeps_the_fish_until_it_is_answered(play: Play) -> None:
    play.act("species perch", place="board")
    play.touch(900)
    assert at(play, "board") == 1
    play.act("stands", place="board")
    assert (at(play, "board"), queue(play, "scale")) == (2, [1])


def test_a_load_while_the_fish_before_waits_for_the_knife_may_be_it_again(play: Play) -> None:
    play.touch(200)
    play.weigh(644)  # a hand on the pan
    assert queue(play, "knife") == [1]
    play.lay()
    said = play.settle(98)
    assert [d.body["code"] for d in said if d.kind == "asked"] == ["again-or-next"]
    play.act("again", place="scale")
    assert play.values(1)["whole_mass"] == "98"


def test_a_fish_that_has_gone_on_leaves_from_where_it_waits(play: Play) -> None:
    play.touch(200)
    assert refused(play.act("leaves", place="board")) == "no-readings"
    play.act("leaves", place="scale")
    assert play.numbered(1).end == "incomplete"
    assert at(play, "board") == 2


def test_leaves_closes_it_where_it_is(play: Play) -> None:
    play.touch(200)
    play.lay()
    play.act("leaves", place="scale")
    assert play.numbered(1).end == "incomplete"
    assert hands(play) == [2, None, None]
    assert refused(play.act("leaves", place="scale")) == "nothing-in-hand"


def test_park_and_back(play: Play) -> None:
    play.touch(200)
    play.lay()
    play.settle(98)
    play.act("park", place="scale")
    assert hands(play) == [2, None, None]
    play.lift()
    play.act("back", place="knife")
    assert at(play, "knife") == 1
    assert refused(play.act("back 1", place="knife")) == "not-parked"
    play.label(1)
    assert play.numbered(1).end == "complete"


def test_next_sends_on_what_is_not_complete(play: Play) -> None:
    play.act("code sex F", place="board")
    play.act("next", place="board")
    assert (hands(play), queue(play, "scale")) == ([2, None, None], [1])
    play.lay()
    play.settle(98)
    play.lift()
    play.act("code sex M", place="knife")
    assert play.numbered(1).codes
    play.act("next", place="knife")
    assert play.numbered(1).end == "incomplete"


def test_species_that_skip_a_place() -> None:
    text = ROW.replace('{ place = "scale" }', '{ place = "scale", species = ["perch"] }')
    play = Play(text, places=PLACES, serves=SERVES)
    play.act("species pike", place="board")
    play.touch(400)
    assert (queue(play, "scale"), queue(play, "knife")) == ([], [1])


def test_closing_the_batch_closes_all_that_is_on_the_row(play: Play) -> None:
    play.touch(200)
    play.lay()
    play.touch(210)
    play.act("park", place="scale")
    play.act("batch close done")
    assert [play.numbered(n).end for n in (1, 2)] == ["incomplete", "incomplete"]
    assert hands(play) == [None, None, None]
    assert play.records.numbered(3) is None


def test_undo_at_the_board_while_it_still_waits(play: Play) -> None:
    play.touch(200)
    play.act("undo", place="board")
    assert (hands(play), queue(play, "scale")) == ([1, None, None], [])
    assert play.values(1) == {}
    play.touch(205)
    play.lay()
    play.settle(98)
    assert refused(play.act("undo", place="board")) in ("undo-elsewhere",)


def tagged_row() -> Play:
    text = ROW.replace('{ place = "scale" }', '{ place = "scale", queue = 3 }').replace(
        '{ place = "knife" }', '{ place = "knife", queue = 3 }'
    )
    return Play(text + '\n[tags]\nlabel = "T##"\n', places=PLACES, serves={**SERVES, "scanner": PLACES})


def tag(play: Play, text: str, place: str) -> list[object]:
    return list(play.put("scan", instrument="scanner", text=text, place=place))


def test_tags_let_more_wait_and_overtake() -> None:
    play = tagged_row()
    for name, mm in (("T01", 200), ("T02", 210), ("T03", 220)):
        tag(play, name, "board")
        play.touch(mm)
        if play.questions():
            play.act("next", place="board")
    assert queue(play, "scale")[:2] == [1, 2]
    tag(play, "T02", "scale")
    assert at(play, "scale") == 2
    assert "overtaken" in play.questions("quiet")
    play.lay()
    play.settle(105)
    play.lift()
    assert play.values(2)["whole_mass"] == "105"
    assert refused(play.put("scan", instrument="scanner", text="T02", place="board")) == "tag-elsewhere"


def test_a_tagged_fish_taken_without_a_scan_is_noted() -> None:
    play = tagged_row()
    tag(play, "T01", "board")
    play.touch(200)
    play.lay()
    assert at(play, "scale") == 1
    assert play.questions("quiet") == ["unscanned"]


def test_a_scan_brings_a_fish_that_found_no_room() -> None:
    play = tagged_row()
    for name, mm in (("T01", 200), ("T02", 210), ("T03", 220), ("T04", 230), ("T05", 240)):
        tag(play, name, "board")
        play.touch(mm)
        if play.questions():
            play.act("next", place="board")
    stays = at(play, "board")
    assert stays is not None
    bearer = play.numbered(stays)
    assert bearer.tag is not None
    tag(play, bearer.tag, "scale")
    assert at(play, "scale") == stays
    assert "overtaken" in play.questions("quiet")


def asked_about_at_the_scale() -> Play:
    """1 was weighed again and it was asked: done there and lifted off, but for the question; 2 waits."""
    play = tagged_row()
    tag(play, "T01", "board")
    play.touch(200)
    tag(play, "T01", "scale")
    play.lay()
    play.settle(98)
    play.settle(140)
    play.lift()
    tag(play, "T02", "board")
    play.touch(300)
    assert (at(play, "scale"), play.questions()) == (1, ["changed-on-the-pan"])
    return play


def test_the_tag_of_the_next_fish_puts_the_question_off() -> None:
    play = asked_about_at_the_scale()
    tag(play, "T02", "scale")
    assert at(play, "scale") == 2
    assert queue(play, "knife") == [1]
    assert "changed-on-the-pan" in play.questions("quiet")


def test_the_tag_at_the_next_place_puts_the_question_off() -> None:
    play = asked_about_at_the_scale()
    tag(play, "T01", "knife")
    assert (at(play, "scale"), at(play, "knife")) == (None, 1)
    assert "changed-on-the-pan" in play.questions("quiet")


def test_the_day_folds_as_it_was_decided(play: Play) -> None:
    from tests.benchkit import state_of
    from thwart.bench.kernel import Bench
    from thwart.bench.state import MemoryRecords

    play.touch(200)
    play.lay()
    play.touch(206)
    play.settle(98)
    play.lift()
    play.label(1)
    play.act("undo", place="knife")
    folded = Bench(play.setup, records := MemoryRecords())
    for _, changed in folded.fold(play.entries):
        records.store(changed)
    assert state_of(folded) == state_of(play.bench)


def test_whether_to_pause_keeps_no_fish(play: Play) -> None:
    """Three touches within two seconds propose a pause; that says nothing of the fish that was touched last."""
    play.touch(200, after_ms=400)
    play.touch(206, after_ms=400)
    play.touch(212, after_ms=400)
    assert "hosing" in play.questions()
    play.act("again", place="board")
    play.lay()
    play.touch(150)
    assert (hands(play), queue(play, "scale")) == ([3, 1, None], [2])
