"""Classes, rounded values and counts against pandas, and against what published manuals say of rounding.

Published: ICNAF, *Methods of Measuring Fish* (Canada): lengths to the nearest centimetre, cod counted in groups of 3 cm
and haddock in groups of 2 cm. Holden & Raitt (eds.), *Manual of Fisheries Science* part 2, FAO Fisheries Technical Paper
115, 1974 (as cited in teaching notes): to the centimetre below. USGS, *Methods for Sampling Fish Communities as Part of
the National Water-Quality Assessment Program*, Open-File Report 93-104: to the nearest millimetre. That a tie goes up is
common practice, without a source.
"""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.benchkit import SOLO, TALLY, Play
from tests.unit.ledger.making import told
from thwart import units

#: Steps in tenths of a millimetre: 1 mm, 5 mm, 1 cm, 2 cm, 3 cm.
STEPS = (10, 50, 100, 200, 300)


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("rule", ["below", "nearest"])
def test_classes_are_those_of_pandas(step: int, rule: units.Rule) -> None:
    """`pandas.cut` with bins closed on the left; for the nearest step they begin half a step lower."""
    chance = random.Random(step)
    tenths = [chance.randrange(0, 12_000) for _ in range(3000)]
    tenths += [edge + by for edge in range(0, 12_000, step // 2) for by in (-1, 0, 1) if edge + by >= 0]
    marks = np.arange(0, 12_000 + 2 * step, step)
    bins = marks if rule == "below" else marks - step // 2
    cut = pd.cut(tenths, bins=[*bins.tolist(), int(bins[-1]) + step], right=False, labels=marks.tolist())
    got = [units.rounded(Decimal(t) / 10, Decimal(step) / 10, rule) * 10 for t in tenths]
    assert [int(g) for g in got] == cut.astype(int).tolist()


@pytest.mark.parametrize(
    ("mm", "step", "rule", "expected"),
    [
        # FAO 115: the centimetre below.
        ("299", "10", "below", "290"),
        ("300", "10", "below", "300"),
        ("309.9", "10", "below", "300"),
        # ICNAF: 40 cm stands for 39.5 cm and what is above, up to 40.5 cm.
        ("394.9", "10", "nearest", "390"),
        ("395", "10", "nearest", "400"),
        ("404.9", "10", "nearest", "400"),
        ("405", "10", "nearest", "410"),
        # ICNAF: groups of 3 cm and of 2 cm.
        ("449", "30", "below", "420"),
        ("450", "30", "below", "450"),
        ("359", "20", "below", "340"),
        # OFR 93-104: the nearest millimetre.
        ("212.4", "1", "nearest", "212"),
        ("212.5", "1", "nearest", "213"),
    ],
)
def test_rounding_as_published(mm: str, step: str, rule: units.Rule, expected: str) -> None:
    assert units.rounded(Decimal(mm), Decimal(step), rule) == Decimal(expected)


@pytest.mark.parametrize(("rule", "step", "right"), [("below", 10, 0), ("nearest", 10, 5), ("below", 5, 0)])
def test_a_tally_is_what_pandas_counts(rule: str, step: int, right: int, tmp_path: Path) -> None:
    """From touches to the view, undone ones and switches of species and sex included."""
    text = TALLY.replace('{ rule = "below", step = "1 cm" }', f'{{ rule = "{rule}", step = "{step} mm" }}')
    play, chance = Play(text), random.Random(7)
    kept: list[tuple[str, str | None, int]] = []
    species, sex = "perch", None
    play.act("species perch")
    for _ in range(250):
        match chance.randrange(10):
            case 0:
                species = chance.choice(["perch", "roach"])
                play.act(f"species {species}")
            case 1:
                sex = chance.choice(["F", "M"])
                play.act(f"code sex {sex}")
            case 2:
                play.touch(chance.randrange(60, 300), after_ms=3000)
                play.act("undo")
            case _:
                mm = chance.randrange(60, 300)
                kept.append((species, sex, mm))
                play.touch(mm, after_ms=3000)
    truth = pd.DataFrame(kept, columns=["species", "sex", "mm"])
    bins = np.arange(0, 320, step)
    truth["class_mm"] = pd.cut(truth["mm"], (bins - right).tolist(), right=False, labels=bins[:-1].tolist()).astype(
        float
    )
    counted = truth.groupby(["species", "sex", "class_mm"], dropna=False).size().rename("n").reset_index()
    with closing(sqlite3.connect(told(tmp_path / "ledger.db", play.entries))) as db:
        seen = pd.read_sql("SELECT species, sex, class_mm, n FROM tallies", db)
    order = ["species", "sex", "class_mm"]
    pd.testing.assert_frame_equal(
        seen.sort_values(order).reset_index(drop=True), counted.sort_values(order).reset_index(drop=True)
    )
    assert seen["n"].sum() == len(kept)


def test_rounded_values_and_their_frequencies(tmp_path: Path) -> None:
    """A length-frequency table made of the view is the one pandas makes of the lengths as they were."""
    play, chance = Play(SOLO + "\n[numbers]\nlast = 99999\n"), random.Random(3)
    lengths = [chance.randrange(80, 400) for _ in range(60)]
    for mm in lengths:
        play.touch(mm, after_ms=3000)
        play.act("next")
    with closing(sqlite3.connect(told(tmp_path / "ledger.db", play.entries))) as db:
        seen = pd.read_sql("SELECT value, rounded_value FROM measurements ORDER BY seq", db)
    assert seen["value"].tolist() == lengths
    bins = np.arange(0, 420, 10)
    cut = pd.cut(pd.Series(lengths), bins.tolist(), right=False, labels=bins[:-1].tolist()).astype(float)
    pd.testing.assert_series_equal(seen["rounded_value"], cut, check_names=False)


def test_pieces_are_summed_exactly(tmp_path: Path) -> None:
    """In decimal: 0.1 + 0.2 is 0.3, whatever floats say."""
    chance = random.Random(5)
    for n in (2, 3, 9):
        grams = [str(Decimal(chance.randrange(1, 99_999)) / 10) for _ in range(n)]
        play = Play(SOLO)
        play.act(f"parts whole_mass {n}")
        for g in grams:
            play.weigh(g)
        (total,) = [Decimal(v) for k, v in play.values(1).items() if k == "whole_mass"]
        assert total == pd.Series([Decimal(g) for g in grams], dtype=object).sum()
