"""Relations of groups (sexes) against statsmodels' least squares of each group and analysis of covariance; what they catch."""

from __future__ import annotations

import random
from math import exp, log, sqrt

import numpy as np
import pytest
import statsmodels.api as sm

from thwart.checks.judge import judge
from thwart.checks.model import RelationPrior, SpeciesModel
from thwart.checks.relation import Relation
from thwart.checks.specimen import Specimen, Value, kin
from thwart.checks.state import FIRST, Setup, State, learn

KIND, PAIR = "perch|whole|fresh", ("whole_mass", "total_length")
RIPE = 1.15


def fish(number: int, sex: str, ln_x: float, ln_y: float) -> Specimen:
    values = {"total_length": Value(exp(ln_x), typed=False), "whole_mass": Value(exp(ln_y), typed=False)}
    return Specimen(str(number), "perch", values, group=sex)


def catch(n: int, seed: int, scatter: float = 0.08, slope: float = 0.0) -> list[Specimen]:
    """Females and males in turn: females heavier by `RIPE` at 250 mm, and by `slope` more steeply."""
    rng, out = random.Random(seed), []
    for i in range(n):
        x, sex = rng.gauss(log(250), 0.25), "FM"[i % 2]
        more = log(RIPE) + slope * (x - log(250)) if sex == "F" else 0.0
        out.append(fish(i, sex, x, log(150) + 3.05 * (x - log(250)) + more + rng.gauss(0, scatter)))
    return out


def setup(weight: float = 10.0) -> Setup:
    prior = RelationPrior(
        y="whole_mass", x="total_length", y_unit="g", x_unit="mm", ln_a=log(150) - 3.05 * log(250), b=3.05,
        scatter_ln=0.1, weight=weight, source="invented",
    )  # fmt: skip
    return Setup({"perch": SpeciesModel(relations=(prior,), apart=("sex",))})


def taught(some: list[Specimen], using: Setup) -> State:
    state = State()
    for one in some:
        state = learn(state, one, using)
    return state


@pytest.mark.parametrize(("seed", "slope"), [(1, 0.0), (2, 0.3), (3, -0.3)])
@pytest.mark.parametrize("using", [Setup(), setup()])
def test_each_group_against_least_squares_of_that_group(seed: int, slope: float, using: Setup) -> None:
    """statsmodels OLS of ln mass on ln length within each sex: line, slope and scatter within its own uncertainty."""
    some = catch(400, seed, slope=slope)
    state = taught(some, using)
    for sex in "FM":
        x, y = np.array([(f.values[PAIR[1]].ln, f.values[PAIR[0]].ln) for f in some if f.group == sex]).T
        ols = sm.OLS(y, sm.add_constant(x)).fit()
        own = state.relation(using, KIND, *PAIR, sex)
        assert own.m1 == pytest.approx(ols.params[1], abs=float(ols.bse[1]))
        for at in np.quantile(x, [0.1, 0.5, 0.9]):
            said = ols.get_prediction([[1.0, at]])
            assert own.predict(at).mean == pytest.approx(said.predicted_mean[0], abs=float(said.se_mean[0]))
        assert own.scatter == pytest.approx(sqrt(ols.scale), rel=0.06)


def test_the_distance_of_groups_against_analysis_of_covariance() -> None:
    """statsmodels: ln mass on ln length and sex, one slope for both. The sexes' lines lie as far apart at the mean length."""
    some = catch(600, 5)
    state = taught(some, Setup())
    x = np.array([f.values[PAIR[1]].ln for f in some])
    y = np.array([f.values[PAIR[0]].ln for f in some])
    female = np.array([float(f.group == "F") for f in some])
    ancova = sm.OLS(y, sm.add_constant(np.column_stack([x, female]))).fit()
    at = float(x.mean())
    apart = [state.relation(Setup(), KIND, *PAIR, sex).predict(at).mean for sex in "FM"]
    assert apart[0] - apart[1] == pytest.approx(float(ancova.params[2]), abs=float(ancova.bse[2]))
    pooled = state.relation(Setup(), KIND, *PAIR)
    alone = sm.OLS(y, sm.add_constant(x)).fit()
    assert pooled.scatter == pytest.approx(sqrt(alone.scale), rel=0.06)


def test_a_group_begins_where_the_pooled_relation_stands() -> None:
    some = [one for one in catch(400, 7) if one.group == "F"]
    males = [one for one in catch(400, 8) if one.group == "M"]
    state = taught(males + some[: FIRST - 1], Setup())
    key = kin(KIND, "F")
    gathered = state.kinds[key].relations["|".join(PAIR)]
    assert (gathered.fish, len(gathered.kept)) == (FIRST - 1, FIRST - 1)
    assert state.relation(Setup(), KIND, *PAIR, "F") is state.relation(Setup(), KIND, *PAIR)
    state = learn(state, some[FIRST - 1], Setup())
    pooled, own = state.relation(Setup(), KIND, *PAIR), state.relation(Setup(), KIND, *PAIR, "F")
    assert own.start == Relation.within(pooled).start
    assert own.start[:2] == (pooled.m0, pooled.m1)
    assert state.kinds[key].fish == own.fish == FIRST


def test_one_pair_may_have_a_group_of_its_own_while_another_has_not() -> None:
    """Relations count their own fish: a length taken only later is judged by the pooled one for its first twenty."""
    state = taught(catch(60, 9), Setup())
    with_fork = fish(0, "F", log(250), log(170))
    with_fork = Specimen("60", "perch", {**with_fork.values, "fork_length": Value(230.0, typed=False)}, group="F")
    state = learn(state, with_fork, Setup())
    assert state.relation(Setup(), KIND, *PAIR, "F").fish == 31
    assert state.relation(Setup(), KIND, "fork_length", "total_length", "F").fish == 1
    own = state.kinds[kin(KIND, "F")].relations["fork_length|total_length"]
    assert state.relation(Setup(), KIND, "fork_length", "total_length", "F") is not own


def test_more_errors_are_caught_apart_than_pooled_at_the_same_rate_of_questions() -> None:
    """Masses a fifth off either way, ripe females 15 % heavier, scatter 6 %."""
    caught, asked = {}, {}
    for apart in (False, True):
        using, found, sound = setup(), 0, 0
        sample = catch(700, 11, scatter=0.06)
        sample = sample if apart else [Specimen(f.number, f.species, f.values) for f in sample]
        state = State()
        for one in sample[:300]:
            state = learn(state, one, using)
        for i, one in enumerate(sample[300:]):
            asks = any(f.asks for f in judge(one, [], state, using))
            sound += asks
            off = exp(0.2 if i % 4 < 2 else -0.2)
            mass = one.values["whole_mass"]
            wrong = Specimen(
                one.number,
                one.species,
                {**one.values, "whole_mass": Value(mass.value * off, typed=False)},
                group=one.group,
            )
            found += any(f.asks for f in judge(wrong, [], state, using))
            state = learn(state, one, using, {"whole_mass": "stood"} if asks else {}, asked=asks)
        caught[apart], asked[apart] = found / 400, sound / 400
    assert 0.01 <= asked[True] <= 0.035
    assert caught[True] >= caught[False] + 0.15, caught


def test_a_group_seen_elsewhere_has_nothing_here() -> None:
    """Where only another group was learned, or the fish is in none, the pooled relation judges."""
    state = taught([one for one in catch(200, 3) if one.group == "F"], setup())
    pooled = state.relation(setup(), KIND, *PAIR)
    assert state.relation(setup(), KIND, *PAIR, "M") is pooled
    assert state.relation(setup(), KIND, *PAIR, "") is pooled
    assert state.relation(setup(), "pike|whole|fresh", *PAIR, "F").fish == 0


def test_a_fish_of_a_group_moves_the_ration_once() -> None:
    one, none = catch(1, 1)[0], catch(1, 1)[0]
    none = Specimen(none.number, none.species, none.values)
    assert learn(State(), one, setup()).ration == learn(State(), none, setup()).ration


def test_groups_and_seasons_of_a_setup() -> None:
    seasons = {"spring": (3, 4, 5), "winter": (12, 1, 2)}
    both = Setup({"perch": SpeciesModel(apart=("sex", "season"))}, seasons=seasons)
    said = {"sex": "F", "season": both.season(1)}
    assert both.group("perch", said.get) == "F,winter"
    assert both.group("perch", {"sex": "F", "season": both.season(7)}.get) == ""
    assert both.group("pike", said.get) == ""
    assert both.apart_line("perch") == "sex season(spring:3,4,5;winter:12,1,2)"
