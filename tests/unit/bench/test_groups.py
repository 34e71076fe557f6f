"""Species kept apart by sex or season: what each group is judged by, learns, loses and gets back."""

from __future__ import annotations

import random
from math import exp, log
from typing import Any

import pytest

from tests.benchkit import ROW, Play, check, folded, state_of
from tests.unit.bench.test_checks_live import LIVE, LN_A, MODEL, B, Live, mass
from thwart.bench import protocol
from thwart.bench.learning import lesson_of
from thwart.bench.memory import Lesson, kind_of, lines_of
from thwart.bench.state import Learned, Measurement, Specimen, Watch
from thwart.checks.specimen import kin
from thwart.checks.state import FIRST, State, learn
from thwart.entries import Entry
from thwart.errors import ThwartError

KIND = "perch|whole|fresh"
APART = LIVE.replace(MODEL, f'\n[species.perch.model]\napart = ["sex"]\n{MODEL}')
SEASONS = LIVE.replace(MODEL, f'\n[species.perch.model]\napart = ["sex", "season"]\n{MODEL}') + (
    "[seasons]\nspawning = [3, 4, 5]\nautumn = [9, 10]\n"
)
#: How much heavier a ripe female of this catch is.
RIPE = 1.15

#: The females' own relation, `RIPE` heavier.
FEMALES = MODEL.replace(f"ln_a = {LN_A}", f"ln_a = {LN_A + log(RIPE)}").rstrip() + '\ngroup = "F"\n'


class Sexed(Live):
    """A play of females and males."""

    def __init__(self, text: str = APART, **more: Any) -> None:
        super().__init__(text, **more)

    def one(self, sex: str, mm: int, times: float, *, late: bool = False) -> list[Entry]:
        self.act("species perch")
        if sex and not late:
            self.act(f"code sex {sex}")
        self.touch(mm)
        self.weigh(mass(mm, times * (RIPE if sex == "F" else 1.0)))
        if sex and late:
            self.act(f"code sex {sex}")
        if self.asked():
            self.act("stands")
        return self.act("next")

    def both(self, n: int, seed: int = 1) -> None:
        rng = random.Random(seed)
        for i in range(n):
            mm = round(exp(min(max(rng.gauss(log(220), 0.2), log(90)), log(400))))
            self.one("FM"[i % 2], mm, exp(rng.gauss(0.0, 0.05)))

    def learned(self, group: str = "") -> Learned:
        found = self.bench.get(Learned, kin(KIND, group))
        assert found is not None
        return found

    def same_as_the_checks_alone(self) -> None:
        """Every group has learned what the checks themselves learn of the fish as they are now."""
        state = State()
        things = [s for s in self.records.objects.values() if isinstance(s, Specimen) and s.learned and s.taught]
        for s in sorted(things, key=lambda s: s.learned or 0):
            lesson = lesson_of(self.bench, s)
            if lesson is not None and lesson.fish.kind == KIND:
                state = learn(state, lesson.fish, self.setup.protocol.checks, lesson.outcomes)
        for key, known in state.kinds.items():
            found = self.bench.get(Learned, key)
            assert found is not None
            assert lines_of(kind_of(found)) == lines_of(known)
        known_here = {k for k in self.bench.desk.kinds if (k + "|").startswith(KIND) and self.kind(k).fish}
        assert known_here == state.kinds.keys()

    def kind(self, key: str) -> Learned:
        found = self.bench.get(Learned, key)
        assert found is not None
        return found


def test_each_fish_teaches_its_kind_and_its_group_and_all_of_it_comes_back() -> None:
    play = Sexed()
    play.both(90)
    play.one("", 200, 1.0)
    assert (play.learned().fish, play.learned("F").fish, play.learned("M").fish) == (91, 45, 45)
    play.same_as_the_checks_alone()
    play.same_when_told_again()


def test_a_group_is_judged_by_its_own_relation_from_its_twentieth_fish_on() -> None:
    play = Sexed()
    setup, x = play.setup.protocol.checks, log(220)

    def expected(sex: str) -> float:
        kinds = {k: kind_of(play.kind(k)) for k in play.bench.desk.kinds}
        return State(kinds).relation(setup, KIND, "whole_mass", "total_length", sex).predict(x).mean

    play.both(2 * FIRST - 2)
    assert play.learned("F").fish == FIRST - 1
    assert expected("F") == expected("M") == expected("")
    play.both(2, seed=2)
    line = LN_A + B * x
    assert expected("F") - line == pytest.approx(log(RIPE), abs=0.03)
    assert expected("M") - line == pytest.approx(0.0, abs=0.03)
    assert expected("") - line == pytest.approx(log(RIPE) / 2, abs=0.03)


def test_a_group_with_a_prior_of_its_own_is_judged_by_it_from_the_first_fish_on() -> None:
    play = Sexed(APART.replace(MODEL, MODEL + FEMALES))
    verdicts = {}
    for sex in "FM":
        play.act("species perch")
        play.act(f"code sex {sex}")
        play.touch(220)
        play.weigh(mass(220, RIPE * 1.22))
        verdicts[sex] = play.measured("whole_mass").verdict
        if play.asked():
            play.act("stands")
        play.act("next")
    assert verdicts == {"F": 1, "M": 3}
    assert kind_of(play.learned("F")).relations["whole_mass|total_length"].known
    assert not kind_of(play.learned("M")).relations["whole_mass|total_length"].known
    play.both(30)
    play.same_as_the_checks_alone()
    play.same_when_told_again()


def test_a_prior_of_a_group_that_comes_changes_or_goes_has_it_learned_anew() -> None:
    play = Sexed()
    play.both(30)
    with_one = APART.replace(MODEL, MODEL + FEMALES)
    for text in (with_one, with_one.replace(FEMALES, FEMALES.replace(f"b = {B}", "b = 3.0")), APART):
        other = Sexed(text)
        play.setup = other.setup
        play.bench.reset(other.setup)
        decisions = play.put("configured", config_sha256="1", setup=other.setup.to_json())
        assert [d.body.get("group", "") for d in decisions if d.kind == "relearned"] == ["", "F", "M"]
        assert play.put("configured", config_sha256="2", setup=other.setup.to_json()) == []
        play.same_as_the_checks_alone()


def test_a_second_kind_taught_moves_the_ration_once() -> None:
    one, two = Sexed(LIVE), Sexed()
    for play in (one, two):
        play.both(10)  # both are judged by the pooled relation alone
    assert one.bench.desk.ration == two.bench.desk.ration
    assert one.bench.desk.ration


def test_a_sex_told_after_the_weight_has_it_judged_anew() -> None:
    play = Sexed()
    play.both(120)
    play.act("species perch")
    play.touch(220)
    play.weigh(mass(220, 1.3))  # 30 % above a male's, 13 % above a female's
    play.act("code sex M")
    before = play.measured("whole_mass")
    assert (before.verdict, len(play.asked())) == (3, 1)
    decisions = play.act("code sex F")
    assert any(d.kind == "judged" for d in decisions)
    assert (play.measured("whole_mass").verdict, play.measured("whole_mass").cause) == (1, None)
    assert not play.asked()
    play.act("undo")
    assert play.measured("whole_mass") == before
    assert len(play.asked()) == 1
    play.same_when_told_again()


def test_in_a_row_the_knife_tells_the_sex_and_the_weight_is_judged_anew() -> None:
    text = ROW.replace("[species.pike]", f'[species.perch.model]\napart = ["sex"]\n{MODEL}{FEMALES}[species.pike]')
    text = text.replace("[containers]", "[containers]\nrequired = false") + "[numbers]\nlast = 9999\n"
    places = ("board", "scale", "knife")
    play = Play(text, places=places, serves={"board": ("board",), "scale": ("scale",)}, batch=False)
    play.act("batch open bay perch")
    play.touch(220)
    play.act("next", "board")
    play.weigh(mass(220, 1.3))  # 13 % above a female's
    (weight,) = (m for m in play.bench.all(Measurement) if m.measurand == "whole_mass")
    assert weight.verdict == 3
    assert [q.place for q in play.bench.live_questions()] == ["scale"]
    play.act("next", "scale")
    play.act("code sex F", "knife")
    assert play.bench.need(Measurement, weight.seq).verdict == 1
    assert not play.bench.live_questions()
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)


def test_a_sex_told_of_a_closed_fish_teaches_its_group() -> None:
    play = Sexed()
    play.both(60)
    play.one("", 210, 1.0)
    assert (play.learned().fish, play.learned("M").fish) == (61, 30)
    before = {k: play.kind(k) for k in play.bench.desk.kinds}
    decisions = play.act("code sex M of previous")
    assert {(d.body["kind"], d.body.get("group", "")) for d in decisions if d.kind == "relearned"} == {
        (KIND, ""), (KIND, "F"), (KIND, "M"),
    }  # fmt: skip
    assert (play.learned().fish, play.learned("M").fish) == (61, 31)
    play.same_as_the_checks_alone()
    play.act("undo")
    assert {k: play.kind(k) for k in play.bench.desk.kinds} == before
    play.same_when_told_again()


def test_a_mended_sex_and_a_mended_species_refold_what_they_touch() -> None:
    play = Sexed(forget_after=20)
    play.both(50)
    assert play.numbered(3).taught["group"] == "F"
    play.act("code sex M of 3")
    assert (play.learned("F").fish, play.learned("M").fish) == (24, 26)
    assert play.numbered(3).taught["group"] == "M"
    play.same_as_the_checks_alone()
    play.act("species pike of 5")
    assert (play.learned().fish, play.learned("F").fish) == (49, 23)
    assert play.kind("pike|whole|fresh").fish == 1
    play.same_as_the_checks_alone()
    assert state_of(folded(play)) == state_of(play.bench)


def test_undo_takes_back_both_and_redo_brings_them_again() -> None:
    play = Sexed()
    play.both(39)
    before = (play.learned(), play.learned("F"), play.learned("M"), play.bench.get(Watch, "table"))
    play.one("M", 230, 1.0)  # the twentieth: the group begins
    after = (play.learned(), play.learned("F"), play.learned("M"), play.bench.get(Watch, "table"))
    assert after[2].fish == FIRST
    play.act("undo")
    assert (play.learned(), play.learned("F"), play.learned("M"), play.bench.get(Watch, "table")) == before
    play.act("undo undo")
    assert (play.learned(), play.learned("F"), play.learned("M"), play.bench.get(Watch, "table")) == after
    play.same_when_told_again()


def test_a_group_whose_last_fish_left_is_empty() -> None:
    play = Sexed()
    play.one("M", 200, 1.0)
    play.one("F", 210, 1.0)
    play.act("code sex M of 2")
    assert (play.learned("F").fish, play.learned("F").relations, play.learned("M").fish) == (0, {}, 2)
    play.one("F", 220, 1.0)
    assert play.learned("F").fish == 1
    play.same_as_the_checks_alone()
    play.same_when_told_again()


def test_another_protocol_makes_other_groups_of_the_same_fish() -> None:
    play = Sexed(LIVE, forget_after=20)
    play.both(50)
    assert play.bench.desk.kinds == (KIND,)
    for text, groups in ((APART, {"F", "M"}), (SEASONS, {"F,spawning", "M,spawning"}), (LIVE, set())):
        other = Sexed(text)
        play.setup = other.setup
        play.bench.reset(other.setup)
        decisions = play.put("configured", config_sha256=str(len(text)), setup=other.setup.to_json())
        relearned = {d.body.get("group", "") for d in decisions if d.kind == "relearned"}
        assert relearned >= {"", *groups}
        assert {lk.group for k in play.bench.desk.kinds if (lk := play.kind(k)).fish} == {"", *groups}
        assert play.put("configured", config_sha256="again", setup=other.setup.to_json()) == []
        play.same_as_the_checks_alone()
    assert state_of(folded(play)) == state_of(play.bench)


def test_the_season_is_that_of_the_month_a_fish_was_opened_in() -> None:
    play = Sexed(SEASONS)
    play.one("F", 200, 1.0)
    assert play.numbered(1).opened_utc.startswith("2026-05-")
    assert play.numbered(1).taught["group"] == "F,spawning"
    autumn = Sexed(SEASONS.replace("[3, 4, 5]", "[3, 4]"))
    autumn.one("F", 200, 1.0)
    assert "group" not in autumn.numbered(1).taught  # May lies in no season


def test_a_lesson_tells_its_group() -> None:
    play = Sexed()
    play.one("F", 200, 1.0)
    lesson = lesson_of(play.bench, play.numbered(1))
    assert lesson is not None
    assert lesson.to_json()["group"] == "F"
    assert Lesson.from_json("1", lesson.to_json()) == lesson


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('apart = ["sex"]', 'apart = ["sexx"]', "species.perch.model.apart: 'sexx' is no coded field; did you mean sex?"),
        ('apart = ["sex"]', 'apart = ["season"]', "species.perch.model.apart: 'season' needs [seasons]"),
        ('apart = ["sex"]', 'apart = ["sex", "sex"]', "apart: sex stands twice"),
        (MODEL, MODEL + FEMALES.replace('"F"', '"female"'), "model.relations[1].group: 'female' is no group; known: F, M"),
        (f'apart = ["sex"]\n{MODEL}', MODEL + FEMALES, "relations of groups (F), and apart doesn't say of what"),
        (MODEL, MODEL + FEMALES + FEMALES, "more than one relation for whole_mass|total_length|whole|fresh|F"),
        ("[numbers]", "[seasons]\na = [1, 2]\nb = [2]\n[numbers]", "seasons: month 2 stands twice"),
        ("[numbers]", "[seasons]\na = [13]\n[numbers]", "less than or equal to 12"),
        ("[numbers]", "[seasons]\na = []\n[numbers]", "seasons.a"),
        (
            "[numbers]", '[seasons]\na = [1]\n[codes.season]\nscale = "s"\nvalues = { a = "a" }\n[numbers]',
            "codes: 'season' is the season of [seasons]",
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_with_groups_is_said(old: str, new: str, said: str) -> None:
    with pytest.raises(ThwartError) as fault:
        protocol.read(APART.replace(old, new), "protocol.toml")
    assert said in str(fault.value)


def test_apart_catches_more_and_asks_as_often() -> None:
    """Ripe females 15 % heavier: masses a quarter off are caught more often than by the pooled relation."""
    caught = {}
    for text in (LIVE, APART):
        play = Sexed(text)
        play.both(200)
        rng, found = random.Random(7), 0
        for i in range(60):
            sex, sign = "FM"[i % 2], (-1 if i % 4 < 2 else 1)
            mm = round(exp(rng.gauss(log(220), 0.15)))
            play.act("species perch")
            play.act(f"code sex {sex}")
            play.touch(mm)
            times = exp(rng.gauss(0.0, 0.05) + sign * 0.18)
            play.weigh(mass(mm, times * (RIPE if sex == "F" else 1.0)))
            found += bool(play.asked())
            play.act("void")
            play.act("void")
        caught[text] = found
    assert caught[APART] >= caught[LIVE] + 12, caught
