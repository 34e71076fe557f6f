"""The sequence tests: each error planted in both directions and at its threshold, and catches with nothing wrong."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from math import exp, log

import pytest
from scipy import stats

from tests.long.checks_sequence import (
    START,
    board,
    catch,
    follow_all,
    heaped,
    masses,
    setup,
    stale,
    stuck,
    swapped,
    tray,
)
from tests.long.checks_slips import as_random, as_sorted, follow, setup_of, slipped
from tests.long.checks_slips import catch as lengths_and_masses
from thwart.bench.memory import Lesson, follow_on, followed, lines_of, sequence_of
from thwart.bench.state import Learned, Watch
from thwart.checks.heaping import Digits, follow_digits
from thwart.checks.level import HEIGHT, REFERENCE, LevelWatch, Residual, explain_level, follow_level, residual_of
from thwart.checks.repeats import Run, follow_repeats
from thwart.checks.sequence import FALSE_PER_1000, Sequence
from thwart.checks.sequence import follow as follow_sequence
from thwart.checks.slip import Slip, Swap, height
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, learn
from thwart.checks.words import CAUSES


def causes(spoilt: list, since: int = START) -> list[str]:  # type: ignore[type-arg]
    return [f.cause for i, f in follow_all(spoilt) if i >= since]


@pytest.mark.parametrize("direction", ["late", "early"])
def test_a_slip_is_found_with_its_direction_and_start(direction: str) -> None:
    found = 0
    for seed in range(12):
        fish = slipped(lengths_and_masses(34, 0.10, 0.15, 10, as_random, random.Random(seed)), 20, direction)[:-1]
        slips = [s for i, s in follow(fish, setup_of(0.10, 10)) if isinstance(s, Slip) and i >= 20]
        found += bool(slips) and slips[0].direction == direction and abs(int(slips[0].start) - 20) <= 1
    assert found >= 10


def test_sound_fish_give_no_slip_in_any_order() -> None:
    for order in (as_random, as_sorted):
        alarms = [
            one for seed in range(6)
            for _, one in follow(lengths_and_masses(200, 0.10, 0.15, 10, order, random.Random(seed)), setup_of(0.10, 10))
        ]  # fmt: skip
        assert len(alarms) <= 1


def test_one_odd_value_is_no_slip() -> None:
    for times in (10.0, 0.1, 2.0, 0.5):
        for seed in range(5):
            fish = lengths_and_masses(40, 0.10, 0.15, 10, as_random, random.Random(seed))
            fish[25] = (fish[25][0], fish[25][1] + log(times))
            assert not [s for _, s in follow(fish, setup_of(0.10, 10)) if isinstance(s, Slip)]


def test_an_exchanged_pair_is_mostly_a_swap() -> None:
    found = wrong = 0
    for seed in range(20):
        fish = lengths_and_masses(40, 0.10, 0.20, 10, as_random, random.Random(seed))
        (xa, ya), (xb, yb) = fish[25], fish[26]
        fish[25:27] = [(xa, yb), (xb, ya)]
        for _, one in follow(fish, setup_of(0.10, 10)):
            found += isinstance(one, Swap) and (one.first, one.second) == ("25", "26")
            wrong += isinstance(one, Slip)
    assert found >= 7  # a pair of like lengths can't be told
    assert wrong < found  # some begin like a slip


def test_alarm_height_falls_with_distance() -> None:
    heights = [height(a) for a in (0.0, 0.9, 1.8, 3.0, 6.0, 9.0, 15.0, 40.0)]
    assert heights == sorted(heights, reverse=True)
    assert heights[0] == 20.0


@pytest.mark.parametrize("grams", [30.0, -30.0])
def test_an_offset_after_a_tare(grams: float) -> None:
    found = 0
    for seed in range(5):
        rng = random.Random(seed)
        findings = [f for i, f in follow_all(tray(grams)(catch(160, rng), rng)) if i >= 120 and f.cause == "offset"]
        found += bool(findings) and (float(findings[0].arguments["grams"]) > 0) == (grams > 0)
    assert found >= 4


@pytest.mark.parametrize(("name", "spoil"), [("up", 1.15), ("down", 0.86)])
def test_masses_that_drift(name: str, spoil: float) -> None:
    rng = random.Random(5)
    found = [f for i, f in follow_all(masses(lambda f: f.mass * spoil)(catch(160, rng), rng)) if i >= START]
    first = next(f for f in found if f.cause in ("drift", "offset", "board_shift"))
    size = next(float(first.arguments[k]) for k in ("percent", "grams", "mm") if k in first.arguments)
    assert (size > 0) == ((name == "up") != (first.cause == "board_shift"))


def test_level_at_its_threshold() -> None:
    """Residuals exactly at the reference value never add up; a little above they do, after HEIGHT / excess fish."""
    state = State()
    for i in range(60):
        x = 5.0 + i / 60
        state = learn(
            state,
            Specimen(str(i), "perch", {"total_length": Value(exp(x)), "whole_mass": Value(exp(3 * x - 11))}),
            Setup(),
        )
    relation = state.relation(Setup(), "perch|whole|fresh", "whole_mass", "total_length")
    expected = relation.predict(5.5)
    for z, alarms in ((0.97 * REFERENCE, False), (REFERENCE + 0.5, True)):
        watch, found = LevelWatch(), []
        fish = Specimen(
            "1",
            "perch",
            {"total_length": Value(exp(5.5)), "whole_mass": Value(exp(expected.mean + z * expected.scale))},
        )
        for i in range(25):
            watch, one = follow_level(watch, fish, [fish] * i, state, Setup())
            found += [one] if one else []
        assert bool(found) == alarms


def test_run_length_of_the_level_sum() -> None:
    """Siegmund 1985: ARL = (exp(2kb) - 2kb - 1) / (2k²), b = h + 1.166; for k 0.5, h 5 two-sided 465 is tabled."""

    def two_sided(h: float) -> float:
        b = h + 1.166
        return (exp(2 * REFERENCE * b) - 2 * REFERENCE * b - 1) / (2 * REFERENCE**2) / 2

    assert two_sided(5.0) == pytest.approx(465, rel=0.02)
    assert two_sided(HEIGHT) == pytest.approx(5000, rel=0.03)


def test_normal_score_of_a_residual() -> None:
    """Wallace's transformation within 0.01 of the exact normal score (scipy)."""
    state = State()
    rng = random.Random(1)
    for i in range(25):
        x = rng.gauss(5.5, 0.2)
        values = {"total_length": Value(exp(x)), "whole_mass": Value(exp(3 * x - 11 + rng.gauss(0, 0.1)))}
        state = learn(state, Specimen(str(i), "perch", values), Setup())
    expected = state.relation(Setup(), "perch|whole|fresh", "whole_mass", "total_length").predict(5.5)
    for t in (-2.0, -0.5, 1.0, 2.2):
        values = {"total_length": Value(exp(5.5)), "whole_mass": Value(exp(expected.mean + t * expected.scale))}
        one = residual_of(Specimen("1", "perch", values), state, Setup())
        assert one is not None
        assert one.z == pytest.approx(stats.norm.ppf(stats.t.cdf(t, expected.nu)), abs=0.01)


def test_which_change_explains() -> None:
    rng = random.Random(2)

    def fish(shift: str) -> list[Residual]:
        out = []
        for i in range(150):
            mm = rng.uniform(120, 500)
            grams = 80 * (mm / 200) ** 3
            move = {"drift": 0.15, "offset": 8 / grams, "board_shift": -3 * 6 / mm}[shift]
            z = min(max((move + rng.gauss(0, 0.1)) / 0.1, -2.5), 2.5)
            out.append(Residual(str(i), z, 0.1, grams, mm, 3.0))
        return out

    for cause in ("drift", "offset", "board_shift"):
        one = explain_level(fish(cause))
        assert (one.cause, one.surely > 0.5) == (cause, True)


def told_of(lengths: list[float], division: float) -> list[int]:
    """The lengths of the runs that were told, fish by fish (0: none)."""
    run: Run | None = None
    before: list[Specimen] = []
    told = []
    for i, mm in enumerate(lengths):
        fish = Specimen(str(i), "perch", {"total_length": Value(mm, division=division)})
        run, long = follow_repeats(run, "total_length", fish, before)
        before = [*before[-39:], fish]
        told.append(long)
    return told


def test_equal_values_in_a_row() -> None:
    assert "stale_run" in causes(stale(catch(130, random.Random(3)), random.Random(3)))
    rng = random.Random(4)  # length classes of 1 cm repeat often by chance
    assert sum(n > 0 for n in told_of([float(round(rng.gauss(250, 40), -1)) for _ in range(2000)], 10.0)) <= 1


def test_repeats_at_their_threshold() -> None:
    """Division 1, spread about 30: chance about 0.01 a pair, so the third equal value is rare enough, the second not."""
    rng = random.Random(1)
    sound = [float(round(rng.gauss(200, 30))) for _ in range(100)]
    assert told_of([*sound, 260.0, 260.0, 260.0, 260.0], 1.0)[100:] == [0, 0, 3, 0]


def test_sorted_sizes_repeat_rightly() -> None:
    assert not any(told_of([float(100 + i // 3) for i in range(300)], 1.0))
    rng = random.Random(5)
    heaps = [sorted(float(round(rng.gauss(220, 40))) for _ in range(60)) for _ in range(40)]
    assert sum(n > 0 for n in told_of([mm for heap in heaps for mm in heap], 1.0)) <= 1  # 8 by mean squares


@pytest.mark.parametrize("step", [2.0, 5.0, 10.0])
def test_heaping(step: float) -> None:
    rng = random.Random(3)
    assert "heaping" in causes(heaped(step)(catch(120, rng), rng), 0)


def test_heaping_is_excused_by_resolution() -> None:
    digits, told = Digits(), []
    rng = random.Random(2)
    for _ in range(400):
        digits, one = follow_digits(digits, Value(round(rng.uniform(2, 90)) * 100.0, division=100.0))
        told.append(one)
    assert not any(told)
    digits = Digits()
    for _ in range(400):  # within few divisions digits aren't even, and nobody is to blame
        digits, one = follow_digits(digits, Value(float(round(rng.uniform(200, 215))), division=1.0))
        told.append(one)
    assert not any(told)


def test_a_stuck_species_both_ways() -> None:
    rng = random.Random(6)
    spoilt = stuck(catch(130, rng), rng)
    assert "species_stuck" in causes(spoilt)
    other = [replace(f, recorded="perch" if f.recorded else "", species="roach" if f.recorded else f.species,
                     mass=f.mass * 0.72 if f.recorded else f.mass) for f in spoilt]  # fmt: skip
    assert "species_stuck" in causes(other)
    assert "species_stuck" not in causes(catch(200, random.Random(8)), 0)


def test_sound_fish_stay_quiet() -> None:
    assert len([f for seed in range(3) for f in follow_all(catch(400, random.Random(seed)))]) <= 2


def test_every_test_has_words_and_a_rate() -> None:
    assert set(FALSE_PER_1000) <= set(CAUSES)


def test_a_swapped_pair_through_the_whole_sequence() -> None:
    named = [c for seed in range(8) for c in causes(swapped(catch(140, random.Random(seed)), random.Random(seed)))]
    assert "swapped" in named
    rng = random.Random(1)
    assert "board_shift" in causes(board(14)(catch(160, rng), rng)) or "drift" in causes(
        board(14)(catch(160, rng), rng)
    )


def test_the_sequence_survives_a_restart() -> None:
    """What a ledger keeps of each fish gives the same sequence back, and so the same findings."""
    state, using, watch, direct = State(), setup(), Watch("table"), Sequence()
    kinds: dict[str, Learned] = {}
    for i, one in enumerate(stale(catch(160, random.Random(9)), random.Random(9))):
        values = {
            "total_length": Value(float(round(one.length)), f"{one.length:.0f}", 1.0, typed=False),
            "whole_mass": Value(round(one.mass, 1), f"{one.mass:.1f}", 0.1, typed=False),
        }
        fish = Specimen(str(i), one.species, values)
        kept = sequence_of(watch)
        assert kept == direct
        expected = follow_sequence(direct, fish, state, using, measurer="ida", tared=one.tared)
        assert follow_sequence(kept, fish, state, using, measurer="ida", tared=one.tared) == expected
        direct = expected[0]
        entry = json.loads(json.dumps(followed(watch, direct, "ida")))
        watch = follow_on(watch, entry, str(i), Lesson(fish, {}).to_json(), kinds)
        state = learn(state, fish, using)
        kinds = {name: Learned(name, **lines_of(kind)) for name, kind in state.kinds.items()}


def test_a_slip_is_told_once_and_the_next_one_again() -> None:
    fish = lengths_and_masses(120, 0.07, 0.20, 10, as_random, random.Random(3))
    once = slipped(fish, 20, "late")[:80]
    assert len([one for _, one in follow(once, setup_of(0.07, 10)) if isinstance(one, Slip)]) == 1
    masses_late = [y for _, y in slipped(fish, 20, "late")]
    twice = [(x, masses_late[i] if i < 50 else y) for i, (x, y) in enumerate(fish)]
    twice = [*twice[:80], *slipped(twice, 80, "late")[80:]]
    starts = [int(one.start) for _, one in follow(twice, setup_of(0.07, 10)) if isinstance(one, Slip)]
    assert len(starts) == 2
    assert abs(starts[0] - 20) <= 1
    assert abs(starts[1] - 80) <= 1
