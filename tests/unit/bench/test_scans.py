"""Scans and keys: labels by role, in and out of order, series, confirm and skip, cards, pedals."""

from __future__ import annotations

import pytest

from tests.benchkit import FIRST, SOLO, Play, check, kinds, refused
from thwart.bench.labels import card
from thwart.bench.state import Container, Question

PLAIN = SOLO.replace('first = "K-00013"\n', "")
SERIES = SOLO + 'last = "K-00030"\n'


def fish(play: Play, mm: int = 212) -> None:
    play.touch(mm)
    play.weigh(100)


def container(play: Play, label: str) -> Container:
    found = play.records.objects["container", label]
    assert isinstance(found, Container)
    return found


def test_a_last_label_closes_and_opens_the_next() -> None:
    play = Play()
    fish(play)
    said = play.label(1)
    assert kinds(said) == ["container", "closed", "opened"]
    c = container(play, "K-00013")
    assert (c.specimen_id, c.structure, c.kind, c.state) == (
        play.numbered(1).specimen_id, "otolith", "envelope", "filled",
    )  # fmt: skip
    assert play.bench.desk.expected == "K-00021"


def test_a_first_label_opens_and_closes_the_one_before() -> None:
    play = Play(FIRST)
    assert play.here.in_hand is None
    play.label(1)
    assert play.fish.containers == ("K-00013",)
    fish(play)
    play.label(2)
    assert play.numbered(1).end == "complete"
    assert play.fish.containers == ("K-00021",)
    check(play)


def test_a_first_label_takes_the_empty_fish_that_next_opened() -> None:
    play = Play(FIRST)
    play.act("next")
    play.label(1)
    assert play.fish.number == 1
    assert play.fish.containers == ("K-00013",)


def test_a_closed_fishs_label_recalls_it_and_scanned_again_closes_it() -> None:
    play = Play()
    play.touch(212)
    play.label(1)
    play.label(1)
    assert play.fish.number == 1
    play.weigh(100)
    play.label(1)
    assert play.numbered(1).end == "complete"
    assert play.fish.number == 2
    check(play)


def test_a_label_ahead_is_said_and_asked_of_the_fish_just_closed() -> None:
    play = Play()
    fish(play)
    play.label(3)
    assert play.questions() == ["label-order"]
    text = next(q.text for q in play.bench.all(Question))
    assert text == "container K-00030 after K-00005: K-00013 to K-00021 left out, or is it a neighbour's?"
    assert play.numbered(1).state == "closed"
    assert play.bench.desk.expected == "K-00048"
    play.act("stands")
    assert play.questions() == []


def test_one_left_out_is_named() -> None:
    play = Play()
    fish(play)
    play.label(2)
    assert "K-00013 left out" in next(q.text for q in play.bench.all(Question))


def test_a_label_behind_is_said_and_moves_nothing_back() -> None:
    play = Play()
    fish(play)
    play.label(3)
    fish(play)
    play.label(1)
    assert play.questions()[-1] == "label-behind"
    assert play.bench.desk.expected == "K-00048"
    fish(play)
    assert "asked" not in kinds(play.label(4))


def test_without_a_known_series_no_order_is_known() -> None:
    play = Play(PLAIN)
    fish(play)
    play.scan("K-00030")
    fish(play)
    assert "asked" not in kinds(play.scan("K-00013"))


def test_confirm_takes_the_expected_one_past_those_used() -> None:
    play = Play()
    fish(play)
    play.act("confirm")
    assert play.numbered(1).containers == ("K-00013",)
    fish(play)
    play.label(3)
    fish(play)
    play.label(2)
    fish(play)
    play.act("confirm")
    assert play.numbered(4).containers == ("K-00048",)
    check(play)


def test_skip_leaves_one_out_for_good() -> None:
    play = Play()
    play.act("skip")
    assert container(play, "K-00013").state == "skipped"
    fish(play)
    assert refused(play.label(1)) == "label-skipped"
    play.act("confirm")
    assert play.numbered(1).containers == ("K-00021",)


def test_the_series_ends() -> None:
    play = Play(SERIES)
    for _ in range(2):
        play.act("skip")
    fish(play)
    assert kinds(play.act("confirm")) == ["container", "closed", "opened"]
    assert refused(play.act("confirm")) == "series-at-end"
    assert refused(play.label(4)) == "label-out-of-series"


def test_the_labels_own_digits_end_too() -> None:
    play = Play(SOLO.replace("K-####?", "K-#?").replace("K-00013", "K-94"))
    fish(play)
    assert kinds(play.act("confirm")) == ["container", "closed", "opened"]
    assert refused(play.act("confirm")) == "series-at-end"


def test_another_protocols_expected_label_is_forgotten() -> None:
    play = Play()
    fish(play)
    play.act("confirm")
    other = Play(SOLO.replace("K-####?", "EN-##").replace('check = "mod-11-10"\n', "").replace("K-00013", "EN-07"))
    other.bench.objects["desk", "desk"] = play.bench.desk
    fish(other)
    other.act("confirm")
    assert other.fish.containers == () or other.bench.desk.expected == "EN-08"
    assert other.bench.desk.expected == "EN-08"


def test_a_used_label_is_refused_while_the_fish_in_hand_has_readings() -> None:
    play = Play()
    fish(play)
    play.label(1)
    play.touch(300)
    said = play.label(1)
    assert refused(said) == "label-used"
    assert "belongs to fish 1" in said[0].body["text"]


# ---- cards and keys ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", ["next", "code sex f", "missing whole_mass mislaid", "measurer ida", "undo undo"])
def test_a_card_does_what_its_words_say(words: str) -> None:
    said, typed = Play(), Play()
    for play, way in ((said, said.card), (typed, typed.act)):
        play.touch(212)
        play.act("species perch")
        way(words)
    strip = [(e.kind, e.body.get("text"), e.body.get("code")) for e in said.entries if e.input_seq is not None]
    assert strip == [(e.kind, e.body.get("text"), e.body.get("code")) for e in typed.entries if e.input_seq is not None]


def test_a_card_is_read_whatever_its_case() -> None:
    play = Play()
    play.touch(212)
    assert "closed" in kinds(play.scan(card(["next"]).lower()))


def test_a_pedal_has_a_dead_time() -> None:
    play = Play()
    play.touch(212)
    play.pedal()
    play.touch(213, after_ms=100)
    assert refused(play.pedal(after_ms=500)) == "dead-time"
    assert play.fish.number == 2
    play.pedal(after_ms=701)
    assert play.fish.number == 3


def test_a_bounce_is_the_same_press_and_silent() -> None:
    play = Play()
    play.touch(212)
    play.pedal()
    for _ in range(5):
        assert [d.kind for d in play.pedal(after_ms=12)] == ["key"]
    assert play.fish.number == 2
    play.touch(213)
    play.pedal(after_ms=800)
    assert play.fish.number == 3


@pytest.mark.parametrize("every_ms", [33, 100, 240])
def test_a_foot_that_stays_on_the_pedal_does_its_act_once(every_ms: int) -> None:
    """Keys that repeat while they are held: after half a second, then many times a second."""
    play = Play()
    play.touch(212)
    play.pedal()
    play.touch(213, after_ms=1)
    heard = [refused(play.pedal(after_ms=500))] if every_ms else []
    for _ in range(40):
        decisions = play.pedal(after_ms=every_ms)
        assert [d.kind for d in decisions] == ["key"]
    assert heard == ["dead-time"]
    assert play.fish.number == 2, "next was done once"
    play.pedal(after_ms=701)
    assert play.fish.number == 3


def test_a_destructive_act_by_pedal_needs_a_second_press_and_bounces_are_none() -> None:
    play = Play()
    play.touch(212)
    assert "armed" in kinds(play.pedal("P5"))
    assert kinds(play.pedal("P5", after_ms=15)) == ["key"]
    assert refused(play.pedal("P5", after_ms=400)) == "dead-time"
    assert play.fish.number == 1
    assert play.bench.place("table").armed == "void", "what was no press takes nothing back"
    play.pedal("P5", after_ms=800)
    assert play.numbered(1).end == "void"


def test_the_dead_time_is_the_protocols() -> None:
    play = Play("pedal_dead_time_ms = 0\n" + SOLO)
    play.touch(212)
    play.pedal()
    play.touch(213, after_ms=1)
    play.pedal(after_ms=1)
    assert play.fish.number == 3


def test_times_of_another_start_arent_compared_for_a_pedal() -> None:
    play = Play()
    play.touch(212)
    play.pedal()
    play.start()
    play.touch(213)
    assert "closed" in kinds(play.pedal(after_ms=100))
