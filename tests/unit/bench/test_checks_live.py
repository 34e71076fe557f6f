"""The statistical checks at the live bench: questions, what answers them, what is learned, undone, mended, resumed."""

from __future__ import annotations

import random
from math import exp, log
from typing import Any

import pytest

from tests.benchkit import ROW, SOLO, Play, check, folded, refused, state_of
from thwart.bench.kernel import Bench
from thwart.bench.learning import lesson_of
from thwart.bench.memory import Lesson, follow_on, kind_of, lines_of, sequence_of
from thwart.bench.state import Learned, Measurement, Question, Specimen, Watch, from_json
from thwart.checks.sequence import Sequence
from thwart.checks.slip import SlipWatch
from thwart.checks.state import State, learn
from thwart.decide_again import decide_again
from thwart.entries import Entry, canonical

LN_A, B, SCATTER = -11.87, 3.1, 0.1
MODEL = f"""
[[species.perch.model.relations]]
y = "whole_mass"
x = "total_length"
y_unit = "g"
x_unit = "mm"
ln_a = {LN_A}
b = {B}
scatter_ln = {SCATTER}
fish = 56
source = "invented for this test"
"""
#: Perch have a model, pike have none; fish close by `next`.
LIVE = (
    SOLO.replace("[species.pike]", f"{MODEL}\n[species.pike]").replace("[containers]", "[containers]\nrequired = false")
    + "[numbers]\nlast = 9999999\n"
)


def mass(mm: float, times: float = 1.0) -> int:
    """The mass of a perch of a length, by the model."""
    return max(1, round(times * exp(LN_A + B * log(mm))))


class Live(Play):
    """A play whose entries begin with the configuration, as a ledger's do."""

    def __init__(self, text: str = LIVE, **more: Any) -> None:
        super().__init__(text, batch=False, **more)
        self.act("batch open bay")

    def start(self) -> list[Entry]:
        if not self.entries:
            self.put("configured", config_sha256="0", setup=self.setup.to_json())
        return super().start()

    def perch(self, mm: int, grams: int | None = None, *, answer: str = "", species: str = "perch") -> list[Entry]:
        """One fish, closed; returns what closing it decided."""
        self.act(f"species {species}")
        self.touch(mm)
        self.weigh(mass(mm) if grams is None else grams)
        if answer and self.asked():
            self.act(answer)
        return self.act("next")

    def lake(self, n: int, seed: int = 1, *, answer: str = "stands") -> None:
        """So many sound perch."""
        rng = random.Random(seed)
        for _ in range(n):
            mm = round(exp(min(max(rng.gauss(log(220), 0.2), log(90)), log(400))))
            self.perch(mm, mass(mm, exp(rng.gauss(0.0, SCATTER))), answer=answer)

    def asked(self) -> list[Question]:
        return self.bench.open_questions("table")

    def measured(self, key: str) -> Measurement:
        return self.bench.need(Measurement, self.fish.values[key])

    def same_when_told_again(self) -> None:
        """What was recorded gives the same state; what was decided is decided again."""
        assert state_of(folded(self)) == state_of(self.bench)
        other = Bench(self.setup, self.records, forget_after=self.forget_after)
        other.restore(self.bench.snapshot())
        assert state_of(other) == state_of(self.bench)
        grouped: list[list[Entry]] = []
        for entry in self.entries:
            if entry.input_seq is None:
                grouped.append([])
            grouped[-1].append(entry)
        assert [d for _, found in decide_again(grouped) for d in found] == []


# ---- one value ----------------------------------------------------------------------------------------------------


def test_a_mass_ten_times_too_large_is_asked_with_its_cause() -> None:
    play = Live()
    play.act("species perch")
    play.touch(200)
    play.weigh(mass(200, 10))
    (q,) = play.asked()
    assert (q.kind, q.verdict, q.runner_up is not None) == ("times_10", 3, True)
    assert float(q.probability or 0) > 0.9
    assert "most likely ten times too large" in q.text
    assert q.text.startswith(f"1: {mass(200, 10)} g at 200 mm is high")
    assert q.about == play.measured("whole_mass").seq
    assert (play.measured("whole_mass").verdict, play.measured("whole_mass").cause) == (3, "times_10")
    assert play.bench.desk.asked_statistical == 1
    check(play)


def test_a_mass_ten_times_too_small_too_and_a_sound_one_not() -> None:
    play = Live()
    play.act("species perch")
    play.touch(300)
    play.weigh(mass(300, 0.1))
    assert [q.kind for q in play.asked()] == ["tenth"]
    play.act("next")
    play.act("species perch")
    play.touch(300)
    play.weigh(mass(300))
    assert play.asked() == []
    assert play.measured("whole_mass").verdict == 1


def test_what_stands_is_not_asked_again() -> None:
    play = Live()
    play.act("species perch")
    play.touch(200)
    play.weigh(mass(200, 10))
    play.act("stands is-so")
    assert play.measured("whole_mass").stood_by
    asked = play.bench.desk.asked
    play.act("species perch")
    play.act("value total_length 200 mm tape")
    assert play.bench.desk.asked == asked
    assert play.questions() == []


@pytest.mark.parametrize(("by", "stands"), [(0, True), (2, True), (3, False)])
def test_measured_again_within_two_divisions_stands(by: int, stands: bool) -> None:
    play = Live()
    play.act("species perch")
    play.touch(200)
    play.weigh(mass(200, 1.6))
    assert len(play.asked()) == 1
    first = play.measured("whole_mass").seq
    play.act("again")
    play.weigh(mass(200, 1.6) + by)
    now = play.measured("whole_mass")
    assert now.supersedes == first
    assert now.stood_by is stands
    assert (play.asked() == []) is stands
    assert now.verdict == 3
    check(play)


def test_a_right_value_takes_the_doubt_off_the_others() -> None:
    play = Live()
    play.act("species perch")
    play.touch(200)
    play.weigh(mass(280))
    assert play.measured("whole_mass").status == "questioned"
    play.act("value total_length 280 mm")
    assert play.questions() == []
    assert {m.verdict for m in (play.measured("whole_mass"), play.measured("total_length"))} == {1}
    assert play.measured("whole_mass").status == "stands"
    check(play)


def test_another_species_judges_anew() -> None:
    play = Live()
    play.act("species perch")
    play.touch(200)
    play.weigh(mass(200, 10))
    play.act("species pike")
    assert play.questions() == []
    assert play.measured("whole_mass").verdict == 2
    play.act("species perch")
    assert play.questions() == ["times_10"]


def test_impossible_says_what_is_likelier_than_not() -> None:
    play = Live()
    play.act("species perch")
    play.touch(200)
    play.weigh(mass(200, 100))
    (q,) = play.asked()
    assert (q.kind, q.verdict) == ("impossible", 4)
    assert "most likely" in q.text
    assert q.runner_up


# ---- without a model ----------------------------------------------------------------------------------------------


def test_without_a_model_the_verdict_is_2_and_said_once() -> None:
    play = Live()
    said = []
    for mm, grams in ((300, 200), (320, 230), (340, 260)):
        play.act("species pike")
        play.touch(mm)
        play.lay()
        said += [d.body["text"] for d in play.settle(grams) if d.kind == "told"]
        play.lift()
        assert (play.measured("whole_mass").verdict, play.measured("total_length").verdict) == (2, 1)
        play.act("next")
    assert len(said) == 1
    assert "no species model" in said[0]


def test_after_twenty_fish_a_species_without_a_model_is_judged() -> None:
    play = Live()
    for i in range(20):
        play.perch(200 + 7 * i, species="pike")
    play.act("species pike")
    play.touch(260)
    play.weigh(mass(260))
    assert play.measured("whole_mass").verdict == 1
    play.act("next")
    play.act("species pike")
    play.touch(260)
    play.weigh(mass(260, 2))
    assert len(play.asked()) == 1


def test_a_gutted_batch_is_another_kind() -> None:
    play = Live()
    play.perch(200)
    play.act("batch note bay presentation=gutted")
    play.perch(210)
    assert play.bench.desk.kinds == ("perch|whole|fresh", "perch|gutted|fresh")


# ---- learning -----------------------------------------------------------------------------------------------------


def learned(play: Play, kind: str = "perch|whole|fresh") -> Learned:
    found = play.bench.get(Learned, kind)
    assert found is not None
    return found


def folded_anew(play: Live, kind: str = "perch|whole|fresh") -> dict[str, Any]:
    """What the checks themselves learn of the fish as they are now, in the order they were closed."""
    state, setup = State(), play.setup.protocol.checks
    things = [s for s in play.records.objects.values() if isinstance(s, Specimen) and s.learned and s.taught]
    for s in sorted(things, key=lambda s: s.learned or 0):
        lesson = lesson_of(play.bench, s)
        if lesson is not None and lesson.fish.kind == kind:
            assert Lesson.from_json(str(s.number), s.taught) == lesson
            state = learn(state, lesson.fish, setup, lesson.outcomes)
    return lines_of(state.kinds[kind])


def test_closed_fish_teach_and_all_of_it_comes_back() -> None:
    play = Live()
    play.lake(60)
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    assert learned(play).fish == 60
    play.same_when_told_again()


def test_practice_void_and_unknown_teach_nothing() -> None:
    play = Live()
    play.perch(200)
    before = learned(play)
    play.act("species perch")
    play.touch(210)
    play.act("void")
    play.act("void")
    play.perch(220, species="unknown")
    play.act("batch close done")
    play.act("practice on")
    play.act("batch open drill")
    play.perch(230)
    assert learned(play) == before


def test_lines_of_numbers_are_small() -> None:
    play = Live()
    play.lake(80)
    sizes = [len(canonical(e)) - len(canonical(Entry(e.seq, e.kind, e.input_seq, e.specimen_id, e.stamp, {})))
             for e in play.entries if e.kind == "learned"]  # fmt: skip
    assert sum(sizes) / len(sizes) < 800
    assert max(sizes) < 1100


def test_undo_takes_back_what_was_learned_and_redo_brings_it_again() -> None:
    play = Live()
    play.lake(5)
    before = learned(play)
    watch = play.bench.get(Watch, "table")
    play.act("species perch")
    play.touch(250)
    play.weigh(mass(250))
    play.act("next")
    after = learned(play)
    assert after.fish == 6
    play.act("undo")
    assert learned(play) == before
    assert play.bench.get(Watch, "table") == watch
    play.act("undo undo")
    assert learned(play) == after
    play.same_when_told_again()


def test_undo_where_another_place_learned_since_learns_anew() -> None:
    play = Play(LIVE, batch=False, places=("left", "right"), serves={"board": ("left",), "scale": ("left",)})
    play.act("batch open bay perch")
    for place in ("left", "right"):
        play.act("value total_length 200 mm", place)
        play.act("value whole_mass 100 g", place)
    play.act("next", "left")
    play.act("next", "right")
    assert learned(play).fish == 2
    play.act("undo", "left")
    assert learned(play).fish == 1
    assert state_of(folded(play)) == state_of(play.bench)


def test_a_late_value_makes_its_species_be_learned_anew() -> None:
    play = Live()
    play.lake(45)
    play.act("recall 10")
    play.act(f"value whole_mass {mass(float(play.values(10)['total_length']), 1.3)} g")
    if play.asked():
        play.act("stands")
    decisions = play.act("next")
    assert [d.kind for d in decisions if "learned" in d.kind] == ["relearned"]
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    play.same_when_told_again()


def test_a_late_species_teaches_the_other_one() -> None:
    play = Live()
    play.lake(12)
    play.act("species pike of 7")
    assert (learned(play).fish, learned(play, "pike|whole|fresh").fish) == (11, 1)
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    play.act("undo")
    assert learned(play).fish == 12
    play.same_when_told_again()


def test_another_prior_makes_a_species_be_learned_anew() -> None:
    play = Live()
    play.lake(6)
    other = Live(LIVE.replace(f"b = {B}", "b = 3.0"))
    play.setup = other.setup
    play.bench.reset(other.setup)
    decisions = play.put("configured", config_sha256="1", setup=other.setup.to_json())
    assert [d.kind for d in decisions] == ["relearned"]
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    play.same_when_told_again()


def test_what_is_learned_survives_when_old_fish_have_left_memory() -> None:
    play = Live(forget_after=20)
    play.lake(40)
    play.act("species pike of 3")
    assert learned(play).fish == 39
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    assert state_of(folded(play)) == state_of(play.bench)


# ---- the ration ---------------------------------------------------------------------------------------------------


def test_law12_one_question_in_fifty_over_two_thousand_sound_fish() -> None:
    play = Live()
    play.lake(2000, seed=5)
    desk = play.bench.desk
    assert desk.fish_closed == 2000
    assert 0.015 <= desk.asked_statistical / 2000 <= 0.025
    assert state_of(folded(play)) == state_of(play.bench)


def test_the_protocol_says_how_often() -> None:
    play = Live("one_question_in = 10\n" + LIVE)
    play.lake(400, seed=2)
    assert 0.07 <= play.bench.desk.asked_statistical / 400 <= 0.13


# ---- several fish -------------------------------------------------------------------------------------------------


def catch(seed: int, n: int) -> list[tuple[int, int]]:
    rng = random.Random(seed)
    fish = []
    for _ in range(n):
        mm = round(exp(rng.gauss(log(220), 0.25)))
        fish.append((mm, mass(mm, exp(rng.gauss(0.0, 0.07)))))
    return fish


def test_a_slip_is_found_and_slide_repairs_it() -> None:
    play = Live()
    play.lake(30)
    fish = catch(3, 14)
    late = [fish[0], *((mm, fish[i][1]) for i, (mm, _) in enumerate(fish[1:]))]  # each shows the mass of the one before
    found = []
    for mm, grams in late:
        found += [d for d in play.perch(mm, grams) if d.kind == "asked" and d.body["code"] == "slip"]
        if found:
            break
    assert found[0].body["args"]["direction"] == "late"
    act = found[0].body["text"].partition("`")[2].partition("`")[0].split()
    assert act[:2] == ["slide", "whole_mass"]
    assert abs(int(act[2]) - 32) <= 1
    for _ in range(2):
        play.act(" ".join(act))
    moved = play.numbered(int(act[2]) - 1)
    assert play.bench.need(Measurement, moved.values["whole_mass"]).how == "slid"
    assert lines_of(kind_of(learned(play))) == folded_anew(play)
    play.same_when_told_again()


def test_a_run_of_equal_masses_is_found() -> None:
    play = Live()
    play.lake(30)
    codes: list[str] = []
    for mm in (180, 260, 205, 300, 240):
        codes += [d.body["code"] for d in play.perch(mm, 140) if d.kind == "asked"]
    assert "stale_run" in codes


def test_masses_that_drift_are_found() -> None:
    play = Live()
    play.lake(30)
    codes = []
    for mm, grams in catch(4, 60):
        codes += [d.body["code"] for d in play.perch(mm, round(1.15 * grams)) if d.kind == "asked"]
    assert "drift" in codes


def test_what_a_wrong_zero_adds_after_a_tare_is_found() -> None:
    play = Live()
    play.lake(30)
    play.lay()
    play.settle(50)
    play.act("tared")
    play.lift()
    watch = play.bench.get(Watch, "table")
    assert watch is not None
    assert watch.tared
    codes = []
    for mm, grams in catch(6, 60):
        codes += [d.body["code"] for d in play.perch(mm, grams + 30) if d.kind == "asked"]
    assert "offset" in codes


def test_a_tray_that_was_tared_once_explains_a_mass() -> None:
    play = Live()
    play.lake(30)
    play.lay()
    play.settle(150)
    play.act("tared")
    play.lift()
    assert play.bench.desk.trays == ("150",)
    play.act("species perch")
    play.touch(220)
    play.weigh(mass(220) + 150)
    (q,) = play.asked()
    assert q.kind == "tray"
    assert q.args["offset"] == "150"


def test_the_species_that_stayed_set_is_found() -> None:
    play = Live()
    rng = random.Random(7)
    for _ in range(25):
        mm = round(rng.uniform(200, 380))
        play.perch(mm, mass(mm, 0.5 * exp(rng.gauss(0, 0.08))), species="pike", answer="stands")
    play.lake(25)
    codes = []
    for _ in range(12):
        mm = round(rng.uniform(200, 380))
        decisions = play.perch(mm, mass(mm, 0.5 * exp(rng.gauss(0, 0.08))))
        codes += [d.body["code"] for d in decisions if d.kind == "asked"]
    assert "species_stuck" in codes


def test_an_exchanged_pair_is_found_and_mended() -> None:
    play, rng, found = Live(), random.Random(12), []
    play.lake(30, seed=5)
    for mms in ((230, 330), (325, 240)):
        grams = [mass(mm, exp(rng.gauss(0, 0.03))) for mm in mms]
        for mm, g in zip((*mms, 260, 285), (grams[1], grams[0], mass(260), mass(285)), strict=True):
            found += [d for d in play.perch(mm, g, answer="stands") if d.body.get("code") == "swapped"]
    assert [d.body["args"]["first"] for d in found] == ["31", "35"]
    assert {d.kind for d in found} == {"asked"}
    assert "`mend swap 31 32 whole_mass exchanged`" in found[0].body["text"]
    play.act("mend swap 31 32 whole_mass exchanged")
    check(play)
    play.same_when_told_again()


def test_in_a_row_without_tags_it_was_the_fish_that_changed_places_and_what_was_taken_before_is_mended() -> None:
    text = ROW.replace("[species.pike]", f"{MODEL}\n[species.pike]").replace(
        "[containers]", "[containers]\nrequired = false"
    )
    serves = {"board": ("board",), "scale": ("scale",), "scanner": ("knife",), "hand-scale": (), "pedal": ()}
    play, rng = Live(text, places=("board", "scale", "knife"), serves=serves), random.Random(12)
    found: list[Entry] = []

    def pass_on(mm: int, grams: int) -> None:
        play.act("species perch", "board")
        play.touch(mm)
        play.weigh(grams)
        while play.bench.open_questions("scale"):
            play.act("stands", "scale")
        found.extend(d for d in play.act("next", "knife") if d.body.get("code") == "swapped")
        found.extend(d for d in play.label(play.expected()) if d.body.get("code") == "swapped")

    for _ in range(30):
        mm = round(exp(min(max(rng.gauss(log(220), 0.2), log(90)), log(400))))
        pass_on(mm, mass(mm, exp(rng.gauss(0.0, SCATTER))))
    assert found == []
    for mm, grams in ((230, mass(330)), (330, mass(230)), (260, mass(260)), (285, mass(285))):
        pass_on(mm, grams)
    (one,) = found
    assert "`mend swap 31 32 total_length exchanged`" in one.body["text"]
    play.act("mend swap 31 32 total_length exchanged")
    assert (play.values(31)["total_length"], play.values(32)["total_length"]) == ("330", "230")
    check(play)


def test_heaped_digits_are_told_of_the_one_who_measured() -> None:
    play, rng, noted = Live(), random.Random(3), []
    for i in range(100):
        play.act("measurer " + ("ida" if i < 50 else "olaf"))
        mm = round(rng.uniform(150, 350))
        mm = mm if i < 50 else 5 * round(mm / 5)
        noted += [d for d in play.perch(mm, answer="stands") if d.body.get("code") == "heaping"]
    assert [(d.kind, d.body["measurand"], d.body["args"]["measurer"]) for d in noted] == [
        ("noted", "total_length", "olaf")
    ]


def test_heaped_digits_are_told_of_the_instrument_they_were_read_off() -> None:
    """One person, a board and a tape: what the tape's digits are is no matter of the board's."""
    play, rng, noted = Live(), random.Random(4), []
    play.act("measurer ida")
    for i in range(130):
        mm = round(rng.uniform(150, 350))
        play.act("species perch")
        if i % 2:
            play.act(f"value total_length {5 * round(mm / 5)} mm")
        else:
            play.touch(mm)
        play.weigh(mass(mm))
        if play.asked():
            play.act("stands")
        noted += [d for d in play.act("next") if d.body.get("code") == "heaping"]
    assert [(d.body["measurand"], d.body["args"]["instrument"]) for d in noted] == [("total_length", "")]
    watch = play.bench.get(Watch, "table")
    assert watch is not None
    counted = {key: sum(digits.counts) for key, digits in sequence_of(watch).digits.items()}
    assert counted == {"ida|board|total_length": 65, "ida|total_length": 65, "ida|scale|whole_mass": 130}
    said = [e.body["instruments"] for e in play.entries if e.kind == "learned" and "instruments" in e.body]
    assert said[0] == {"total_length": "board", "whole_mass": "scale"}
    assert said[1:] == [{"total_length": "board" if i % 2 else ""} for i in range(129)]
    play.same_when_told_again()


def test_a_shifted_board_is_found() -> None:
    play, rng, codes = Live(), random.Random(7), []
    play.lake(60)
    for _ in range(60):
        mm = round(exp(rng.gauss(log(220), 0.25)))
        decisions = play.perch(mm + 14, mass(mm, exp(rng.gauss(0, 0.06))), answer="stands")
        codes += [d.body["code"] for d in decisions if d.kind in ("asked", "noted") and d.body.get("code")]
    assert "board_shift" in codes


MATURITY = """
[codes.maturity]
scale = "maturity"
values = { 1 = "immature", 4 = "running" }
mature = ["4"]
"""


def test_a_fish_mature_below_the_smallest_mature_is_noted() -> None:
    text = LIVE.replace("[species.pike]", "[species.perch.model]\nsmallest_mature_mm = 90\n[species.pike]") + MATURITY
    play = Live(text)
    for mm, code in ((85, "1"), (90, "4"), (85, "4")):
        play.act("species perch")
        play.touch(mm)
        play.weigh(mass(mm))
        play.act(f"code maturity {code}")
        noted = [d for d in play.act("next") if d.kind == "noted"]
        assert [d.body["code"] for d in noted] == (["below_mature"] if (mm, code) == (85, "4") else [])
    assert noted[0].body["verdict"] == 3
    late = [d for d in play.act("code maturity 4 of 1") if d.kind == "noted"]
    assert [(d.body["code"], d.body["args"]["number"]) for d in late] == [("below_mature", 1)]
    assert not [d for d in play.act("code maturity 4 of 1") if d.kind == "noted"]
    play.same_when_told_again()


def test_an_unknown_species_is_not_evaluated() -> None:
    play = Live()
    play.act("species unknown")
    play.touch(200)
    play.weigh(5000)
    assert [play.measured(m).verdict for m in ("total_length", "whole_mass")] == [2, 2]
    play.act("species perch")
    assert [play.measured(m).verdict for m in ("total_length", "whole_mass")] == [1, 4]


def test_a_tray_that_weighing_again_confirmed_is_remembered() -> None:
    play = Live()
    play.act("species perch")
    play.touch(140)
    play.weigh(mass(140) + 80)
    (q,) = play.asked()
    play.act("again")
    play.weigh(mass(140))
    play.act("next")
    assert q.kind == "tray"
    assert play.bench.desk.trays == ("80",)


def test_what_the_sequence_tests_remember_comes_back_whole() -> None:
    play = Live()
    play.act("measurer ida")
    play.lake(90, seed=11)
    watch = play.bench.get(Watch, "table")
    assert watch is not None
    sequence = sequence_of(watch)
    assert [fish.number for fish in sequence.before] == [str(n) for n in range(51, 91)]
    assert len(sequence.level.recent) == 40
    assert sum(sequence.digits["ida|scale|whole_mass"].counts) == 90


def test_entries_of_the_older_form_still_fold() -> None:
    """They carried the tests' numbers whole under `watch`; of these the fish alone are kept."""
    taught = {"kind": "perch|whole|fresh", "total_length": "210 1", "whole_mass": "128 1"}
    old = {
        "slip": "1 0 0 0 0 0 16", "last": "1 0 perch|whole|fresh total_length whole_mass 5.3 0.001 4.8 0.002",
        "level": "0 0 0 0 0 -1", "repeats": {"total_length": "210 2756 1 1 1 0"}, "digits": {"|total_length": "0"},
    }  # fmt: skip
    watch = follow_on(Watch("table"), {"watch": old, "taught": taught}, "1", taught, {})
    assert [fish.number for fish in sequence_of(watch).before] == ["1"]
    assert sequence_of(watch).slip == SlipWatch()
    snapshot = {"place": "table", "slip": "1 0 0 0 0 0 16", "steps": ["1 0 0 0"], "before": [{"number": "1", **taught}]}
    again = from_json("watch", snapshot)
    assert isinstance(again, Watch)
    assert sequence_of(again) == Sequence()


def test_an_act_that_is_refused_leaves_what_is_learned() -> None:
    play = Live()
    play.lake(3)
    before = learned(play)
    assert refused(play.act("species nosuch of 2")) == "unknown-species"
    assert learned(play) == before
