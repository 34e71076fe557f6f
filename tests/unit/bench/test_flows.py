"""Flows `tally` and `revisit`; pieces, pools, counts, pans; structures, containers, two fish on one number, slips."""

from __future__ import annotations

import pytest

from tests.benchkit import LAB, SOLO, TALLY, Play, check, kinds, refused
from thwart.bench.state import Batch, Container, Measurement, Pool, Specimen, Tally


def classes(play: Play) -> dict[tuple[str, str | None, str], int]:
    found = [t for t in play.records.objects.values() if isinstance(t, Tally) and t.n]
    return {(t.species, t.sex, t.class_mm): t.n for t in found}


def a_tally() -> Play:
    play = Play(TALLY)
    play.act("species perch")
    return play


def test_a_tally_counts_classes_by_species_and_sex_that_stick() -> None:
    play = a_tally()
    play.touch(212)
    play.touch(219, after_ms=3000)
    play.act("code sex f")
    play.touch(219, after_ms=3000)
    play.act("species roach")
    play.touch(121, after_ms=3000)
    assert classes(play) == {
        ("perch", None, "210"): 2,
        ("perch", "F", "210"): 1,
        ("roach", "F", "120"): 1,
    }
    assert [r.outcome for r in play.readings()] == ["taken"] * 4
    assert not [s for s in play.records.objects.values() if isinstance(s, Specimen)]


def test_a_bounce_is_counted_once() -> None:
    play = a_tally()
    play.touch(212)
    play.touch(212, after_ms=60)
    assert classes(play) == {("perch", None, "210"): 1}


def test_touches_every_2400_ms_are_no_water() -> None:
    play = a_tally()
    for mm in (212, 231, 198, 225, 240):
        play.touch(mm, after_ms=2400)
    assert play.questions() == []
    assert sum(classes(play).values()) == 5


def test_going_on_counting_says_that_there_was_no_water() -> None:
    play = a_tally()
    for mm in (212, 231, 198):
        play.touch(mm, after_ms=800)
    assert play.questions() == ["hosing"]
    play.touch(225, after_ms=800)
    assert play.questions() == ["hosing"]
    play.touch(240, after_ms=2400)
    assert play.questions("open", "quiet") == []
    assert sum(classes(play).values()) == 5
    check(play)


def test_undo_takes_back_the_last_touch_and_redo_counts_it_again() -> None:
    play = a_tally()
    play.touch(212)
    play.touch(215, after_ms=3000)
    play.act("undo")
    assert classes(play) == {("perch", None, "210"): 1}
    play.act("undo")
    assert classes(play) == {}
    play.act("undo undo")
    assert classes(play) == {("perch", None, "210"): 1}


def test_a_touch_taken_back_is_no_fishs_to_look_for() -> None:
    play = a_tally()
    play.touch(212)
    play.act("undo")
    assert play.questions("quiet") == []
    assert play.last_reading().outcome == "loose"


def test_a_tally_asks_only_beyond_the_limits() -> None:
    play = a_tally()
    assert "asked" in kinds(play.touch(700))
    assert classes(play) == {}
    play.act("stands")
    assert classes(play) == {("perch", None, "700"): 1}
    play.touch(800, after_ms=3000)
    play.touch(212, after_ms=3000)  # going on leaves it
    assert classes(play) == {("perch", None, "700"): 1, ("perch", None, "210"): 1}
    assert refused(play.act("next")) == "no-fish-in-a-tally"


def worked_up() -> tuple[Play, list[str]]:
    """Three fish with envelopes, then the same records under the lab's protocol."""
    shore = Play(SOLO)
    for mm in (200, 210, 220):
        shore.touch(mm)
        shore.weigh(90)
        shore.label(shore.fish.number)
    shore.act("batch close done")
    lab = Play(LAB, batch=False)
    lab.records.store(dict(shore.records.objects))
    lab.bench.restore(shore.bench.snapshot())
    lab.entries = list(shore.entries)
    lab.now = shore.now
    lab.bench.reset(lab.setup)
    return lab, [c for n in (1, 2, 3) for c in shore.numbered(n).containers]


def test_a_pass_over_earlier_fish() -> None:
    play, labels = worked_up()
    play.scan(labels[1])
    assert play.fish.number == 2
    play.weigh(4)
    play.weigh(5)
    play.scan(labels[0])
    assert play.fish.number == 1
    assert play.values(2)["gonad_mass.left"] == "4"
    assert play.values(2)["gonad_mass.right"] == "5"
    assert play.numbered(2).state == "closed"
    play.scan(labels[0])  # put away
    assert play.here.in_hand is None
    assert refused(play.label(9)) == "label-orphan"
    assert play.records.numbered(4) is None


def test_a_weight_without_a_scan_is_loose_in_a_pass() -> None:
    play, _ = worked_up()
    play.weigh(4)
    assert play.last_reading().outcome == "loose"


def test_over_then_parts() -> None:
    play = Play(SOLO)
    play.act("over total_length")
    assert play.fish.missing == {"total_length": "beyond"}
    play.act("parts total_length 2")
    play.touch(600)
    play.touch(431, after_ms=3000)
    assert play.values(1) == {"total_length": "1031"}
    m = play.records.objects["measurement", play.fish.values["total_length"]]
    assert isinstance(m, Measurement)
    assert (m.how, m.raw_value) == ("parts", "1031")
    assert play.fish.missing == {}
    assert [r.outcome for r in play.readings()] == ["taken", "taken"]
    assert refused(play.act("parts total_length 0")) == "arguments"
    assert refused(play.act("parts total_length 5000")) == "too-many"


def test_a_pool_is_one_mass_for_many_and_never_a_fishs() -> None:
    play = Play(SOLO)
    play.act("pool 25")
    play.weigh(310)
    (pool,) = [p for p in play.records.objects.values() if isinstance(p, Pool)]
    assert (pool.n, pool.value, pool.measurand, pool.status) == (25, "310", "whole_mass", "stands")
    assert play.fish.values == {}
    play.act("undo")
    (pool,) = [p for p in play.records.objects.values() if isinstance(p, Pool)]
    assert pool.status == "withdrawn"
    assert play.here.pool == 25


def test_count() -> None:
    play = Play(SOLO)
    play.act("count 140")
    play.act("count 3")
    assert play.bench.need(Batch, "bay").counted == 143
    play.act("undo")
    assert play.bench.need(Batch, "bay").counted == 140


def test_what_is_known_of_a_batch() -> None:
    play = Play(SOLO, batch=False)
    play.act("batch plan haul-3")
    play.act("batch open bay perch parent=haul-3 selection=random preservation=fresh total_mass=12.4kg")
    batch = play.bench.need(Batch, "bay")
    assert (batch.parent, batch.selection, batch.preservation, batch.total_mass_g) == (
        "haul-3",
        "random",
        "fresh",
        "12400",
    )
    play.act("batch note bay presentation=gutted sub_mass=800g counted=12")
    batch = play.bench.need(Batch, "bay")
    assert (batch.presentation, batch.sub_mass_g, batch.counted) == ("gutted", "800", 12)
    assert refused(play.act("batch note bay colour=blue")) == "batch-key"
    assert refused(play.act("batch note bay total_mass=heavy")) == "not-a-number"
    assert refused(play.act("batch note cove kind=haul")) == "unknown-batch"


OTOLITHS = SOLO + "\n[structures.otolith]\nmost = 2\n\n[pans]\nblue = 120\nred = 150\n"


def test_structures_stand_at_the_fish_and_at_its_container() -> None:
    play = Play(OTOLITHS)
    play.touch(200)
    play.weigh(90)
    play.act("structure otolith 1 left broken")
    assert play.fish.structures == {"otolith": {"taken": 1, "side": "left", "condition": "broken"}}
    play.label(1)
    (c,) = [c for c in play.records.objects.values() if isinstance(c, Container)]
    assert (c.structure, c.taken, c.side, c.condition) == ("otolith", 1, "left", "broken")
    assert refused(play.act("structure otolith 3")) == "too-many"
    assert refused(play.act("structure scale 1")) == "unknown-structure"
    assert refused(play.act("structure otolith 1 middle")) == "arguments"


def test_a_torn_container_is_moved() -> None:
    play = Play(SOLO)
    play.touch(200)
    play.weigh(90)
    play.label(1)
    (old,) = play.numbered(1).containers
    new = play.setup.protocol.containers.template.moved(old, 4)  # type: ignore[union-attr]
    assert new is not None
    play.act(f"move {old} {new}")
    assert play.numbered(1).containers == (new,)
    assert play.bench.need(Container, old).state == "torn"
    assert play.bench.need(Container, new).specimen_id == play.numbered(1).specimen_id
    assert [e.body["new_value"] for e in play.entries if e.kind == "mend"] == [new]
    assert refused(play.act(f"move {old} {new}")) == "unknown-container"
    assert refused(play.act(f"move {new} {new}")) == "container-taken"


def test_same_as() -> None:
    play = Play(SOLO)
    play.touch(200)
    play.weigh(90)
    play.label(1)
    play.touch(201)
    play.act("same-as 1")
    assert play.fish.number == 2  # said once
    play.act("same-as 1")
    assert (play.numbered(2).end, play.numbered(2).same_as) == ("same-as", 1)
    assert play.fish.number == 3


def test_split_gives_what_was_measured_again_a_number_of_its_own() -> None:
    play = Play(SOLO)
    play.touch(200)
    play.touch(260, after_ms=3000)
    play.act("again")
    play.weigh(90)
    play.act("split")
    play.act("split")
    assert play.values(1) == {"total_length": "200", "whole_mass": "90"}
    assert play.values(2) == {"total_length": "260"}
    assert play.fish.number == 2
    assert play.questions("quiet") == ["split", "split"]
    assert [play.numbered(n).worst_verdict for n in (1, 2)] == [3, 3]
    play.weigh(180)
    play.label(1)
    assert play.fish.number == 1  # what was set aside comes back
    play.label(2)
    assert play.numbered(1).end == "complete"


def four_fish() -> Play:
    play = Play(SOLO)
    for mm, g in ((200, 90), (210, 100), (220, 110), (230, 120)):
        play.touch(mm)
        play.weigh(g)
        play.label(play.fish.number)
    return play


def masses(play: Play) -> list[str | None]:
    return [play.values(n).get("whole_mass") for n in (1, 2, 3, 4)]


def test_slide_sets_a_slip_by_one_right() -> None:
    play = four_fish()
    play.act("slide whole_mass 2 3 +1")
    assert masses(play) == ["90", "100", "110", "120"]
    play.act("slide whole_mass 2 3 +1")
    assert masses(play) == ["90", None, "100", "110"]
    mends = [(e.body["number"], e.body["old_value"], e.body["new_value"]) for e in play.entries if e.kind == "mend"]
    assert mends == [(3, "110", "100"), (4, "120", "110"), (2, "100", None)]
    raw = [
        m.raw_value for m in play.records.objects.values() if isinstance(m, Measurement) and m.status == "superseded"
    ]
    assert {"110", "120"} <= set(raw)  # nothing is overwritten
    play.act("undo")
    assert masses(play) == ["90", "100", "110", "120"]


def test_slide_the_other_way() -> None:
    play = four_fish()
    for _ in range(2):
        play.act("slide whole_mass 2 4 -1")
    assert masses(play) == ["100", "110", "120", None]


@pytest.mark.parametrize("words", ["slide whole_mass 2 3", "slide whole_mass 3 2 +1", "slide whole_mass 2 3 +2"])
def test_slide_says_how_it_is_used(words: str) -> None:
    play = four_fish()
    play.act(words)
    assert refused(play.act(words)) == "arguments"


def test_a_knock_makes_suspect_what_was_weighed_since_the_last_good_zero() -> None:
    play = Play(SOLO)
    play.touch(200)
    play.lay()
    play.settle(90)
    play.act("knock")
    m = play.records.objects["measurement", play.fish.values["whole_mass"]]
    assert isinstance(m, Measurement)
    assert (m.value, m.status, m.verdict, m.cause) == ("90", "stands", 3, "knock")


def test_a_pan_that_was_changed_is_named() -> None:
    play = Play(OTOLITHS)
    play.act("pan blue")
    play.touch(200)
    play.lay(zero="0")
    play.settle(90)
    play.lift(resting="30")
    assert "pan-changed" in play.questions()
    assert refused(play.act("pan green")) == "unknown-pan"
