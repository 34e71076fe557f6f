"""Flow `row`: each place its own fish, the queue between them, what may be the fish before again."""

from __future__ import annotations

import pytest

from tests.benchkit import ROW, Play, check, folded, kinds, refused, state_of
from thwart.bench.state import Measurement, Specimen

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


@pytest.fixture
def questioned(play: Play) -> Play:
    """1 has a length that is impossible, which was asked; it has gone on all the same."""
    play.act("species perch", place="board")
    play.touch(900)
    assert play.questions() == ["impossible"]
    return play


def test_a_question_keeps_no_place(questioned: Play) -> None:
    assert (at(questioned, "board"), queue(questioned, "scale")) == (2, [1])


def test_it_can_be_answered_until_the_next_fish_begins(questioned: Play) -> None:
    questioned.act("stands", place="board")
    assert questioned.questions("open", "quiet") == []
    assert questioned.values(1) == {"total_length": "900"}


def test_with_the_next_fish_it_is_kept_for_later(questioned: Play) -> None:
    questioned.act("species pike", place="board")
    assert questioned.questions() == ["impossible"]  # nothing was measured yet
    said = questioned.touch(200)
    assert next(d.body["text"] for d in said if d.kind == "told") == "keep 1 for later"
    assert (questioned.questions(), questioned.questions("quiet")) == ([], ["impossible"])
    assert questioned.values(2) == {"total_length": "200"}


def test_again_calls_it_back(questioned: Play) -> None:
    questioned.act("again", place="board")
    assert (at(questioned, "board"), queue(questioned, "scale")) == (1, [])
    questioned.touch(200)
    assert questioned.values(1) == {"total_length": "200"}
    assert (at(questioned, "board"), queue(questioned, "scale")) == (2, [1])
    assert questioned.questions("open", "quiet") == []
    check(questioned)
    assert state_of(folded(questioned)) == state_of(questioned.bench)


@pytest.mark.parametrize("words", ["value total_length 200 mm tape", "as total_length"])
def test_an_act_about_its_values_means_it(questioned: Play, words: str) -> None:
    questioned.act(words, place="board")
    if words.startswith("as"):
        questioned.touch(200)
        questioned.act("again", place="board")
    assert questioned.values(1) == {"total_length": "200"}
    assert (at(questioned, "board"), queue(questioned, "scale")) == (2, [1])


def test_calling_back_can_be_undone(questioned: Play) -> None:
    questioned.act("again", place="board")
    questioned.act("undo", place="board")
    assert (at(questioned, "board"), queue(questioned, "scale")) == (2, [1])
    assert questioned.questions() == ["impossible"]
    check(questioned)


def test_a_value_of_the_fish_before_is_swapped_there() -> None:
    text = ROW.replace(
        '[[measurands]]\nname = "whole_mass"',
        '[[measurands]]\nname = "fork_length"\nquantity = "length"\n\n[[measurands]]\nname = "whole_mass"',
        1,
    )
    play = Play('order = [["fork_length", "total_length"]]\n' + text, places=PLACES, serves=SERVES)
    play.touch(200)
    play.touch(220)
    assert (play.questions(), queue(play, "scale")) == (["order"], [1])
    play.act("swap", place="board")
    assert play.values(1) == {"total_length": "220", "fork_length": "200"}
    assert (play.questions(), queue(play, "scale"), at(play, "board")) == ([], [1], 2)
    check(play)


def test_a_fish_that_waits_before_the_knife_can_be_weighed_again(play: Play) -> None:
    play.touch(200)
    play.weigh(98)
    assert queue(play, "knife") == [1]
    play.act("again", place="scale")
    assert (at(play, "scale"), queue(play, "knife")) == (1, [])
    play.weigh(105)
    assert play.values(1)["whole_mass"] == "105"
    assert queue(play, "knife") == [1]


def test_once_another_has_begun_again_is_that_ones(questioned: Play) -> None:
    questioned.act("species pike", place="board")
    assert refused(questioned.act("again", place="board")) == "nothing-waiting"


# ---- out of step ---------------------------------------------------------------------------------------------------


def one(play: Play, mm: int, g: int, label: int) -> None:
    """A fish goes down the row, each place idle when it comes."""
    play.touch(mm)
    play.weigh(g)
    play.label(label)


def begin(play: Play, mm: int) -> None:
    """The next fish at the board: something is said of it, so that its touch is its own."""
    play.act("species perch", place="board")
    play.touch(mm)


def marks(play: Play, number: int) -> list[str]:
    return [q.kind for q in play.records.questions_of(play.numbered(number).specimen_id)]


def slipped(play: Play, masses: list[int]) -> None:
    """2 is thrown away after the board and nobody says so: each mass goes to the one before."""
    one(play, 200, 90, 1)
    begin(play, 210)
    for at_, g in enumerate(masses):
        begin(play, 220 + at_)
        play.weigh(g)
        play.label(at_ + 2)


def test_a_fish_nobody_accounted_for_makes_those_behind_it_suspect_when_the_batch_ends(play: Play) -> None:
    slipped(play, [100, 110, 120])
    assert play.values(2)["whole_mass"] == "100"  # really 3's
    play.act("batch close done")
    assert [marks(play, n).count("out-of-step") for n in (1, 2, 3, 4)] == [0, 1, 1, 1]
    for n in (2, 3, 4):
        m = play.bench.need(Measurement, play.numbered(n).values["whole_mass"])
        assert (m.verdict, m.cause, m.value) == (3, "out-of-step", str(80 + n * 10))
    assert play.numbered(5).end == "incomplete"  # it never came to the scale
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_a_break_proves_that_fish_and_numbers_are_in_step(play: Play) -> None:
    for n in range(1, 5):
        one(play, 200 + n, 90 + n, n)
        assert play.bench.place("scale").unbroken == (play.numbered(n).specimen_id,)
    begin(play, 210)
    play.act("batch close done")
    assert [marks(play, n).count("out-of-step") for n in (1, 2, 3)] == [0, 0, 0]


def test_after_twenty_without_a_break_it_is_asked(play: Play) -> None:
    slipped(play, list(range(100, 119)))
    assert "in-step" not in play.questions("open", "quiet", "read-out")
    begin(play, 300)
    said = play.lay()
    asked = [d.body["text"] for d in said if d.kind == "asked"]
    assert asked == [
        "22 (perch, total_length 300 mm) should come next at scale, after 20 without a break: does it? `stands`; `lost of 22` if it is gone"
    ]


def test_stands_says_they_are_in_step(play: Play) -> None:
    slipped(play, list(range(100, 119)))
    begin(play, 300)
    play.lay()
    play.act("stands", place="scale")
    assert play.bench.place("scale").unbroken == ()
    assert play.questions() == []
    check(play)


def test_one_that_is_gone_makes_those_since_the_break_suspect(play: Play) -> None:
    slipped(play, list(range(100, 119)))
    begin(play, 300)
    play.lay()
    play.act("lost of 22", place="scale")
    play.act("lost of 22", place="scale")
    assert (play.numbered(22).end, queue(play, "scale")) == ("lost", [])
    assert [marks(play, n).count("out-of-step") for n in (1, 2, 20, 21)] == [0, 1, 1, 1]
    check(play)


def test_one_load_too_many_makes_them_suspect_too(play: Play) -> None:
    slipped(play, [100])
    play.weigh(120)
    play.label(3)
    play.weigh(130)
    assert play.last_reading().outcome == "loose"
    assert [marks(play, n).count("out-of-step") for n in (1, 2, 3)] == [0, 1, 1]


def test_with_tags_order_tells_nothing() -> None:
    play = tagged_row()
    for name, mm in (("T01", 200), ("T02", 210), ("T03", 220)):
        tag(play, name, "board")
        play.touch(mm)
    play.act("batch close done")
    assert all("out-of-step" not in marks(play, n) for n in (1, 2, 3))


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
    assert (at(play, "scale"), queue(play, "knife"), play.questions()) == (None, [1], ["changed-on-the-pan"])
    return play


def test_the_tag_of_the_next_fish_puts_the_question_off() -> None:
    play = asked_about_at_the_scale()
    tag(play, "T02", "scale")
    assert at(play, "scale") == 2
    assert queue(play, "knife") == [1]
    assert "changed-on-the-pan" in play.questions("quiet")


def test_at_the_next_place_its_question_is_still_open_at_the_one_before() -> None:
    play = asked_about_at_the_scale()
    tag(play, "T01", "knife")
    assert (at(play, "scale"), at(play, "knife")) == (None, 1)
    play.act("again", place="scale")  # it can still be answered there
    assert play.values(1)["whole_mass"] == "140"


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
