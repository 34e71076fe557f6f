"""What the page shows is made of what the bench holds: answers, what came last, the cloud of lengths and masses."""

from __future__ import annotations

from math import exp, log

import pytest

from tests.benchkit import SOLO, Play
from thwart.bench.acts import ACTS
from thwart.bench.words import QUESTIONS
from thwart.checks.words import CAUSES
from thwart.service.cloud import WITHIN
from thwart.service.picture import ANSWERS, picture

MODEL = """
[[species.perch.model.relations]]
y = "whole_mass"
x = "total_length"
y_unit = "g"
x_unit = "mm"
ln_a = -12.3255
b = 3.15592
scatter_ln = 0.10946
centre = 279.996
spread_ln = 0.340373
fish = 56
source = "data set fish of the R package rrcov 1.7-2"
"""


def test_every_answer_is_an_act_and_every_question_one_the_bench_asks() -> None:
    assert {act for answers in ANSWERS.values() for act in answers} <= set(ACTS)
    assert set(ANSWERS) <= {*QUESTIONS, *CAUSES}


def test_what_came_last_whatever_became_of_it() -> None:
    play = Play(SOLO, batch=False)

    def last() -> tuple[object, ...]:
        found = picture(play.bench)["places"][0]["last"]
        return (found["value"], found["what"], found["why"], found["measurand"])

    assert picture(play.bench)["places"][0]["last"] is None
    play.touch(212)
    assert last() == ("212", "loose", "no-batch", None)
    play.act("batch open bay perch")
    play.touch(198)
    assert last() == ("198", "taken", None, "total_length")
    play.touch(187)
    assert last() == ("187", "waiting", None, None)
    play.act("again")
    assert last() == ("187", "taken", None, "total_length")
    play.act("value whole_mass 88 g balance")
    assert last() == ("88", "taken", None, "whole_mass")
    play.act("undo")
    assert last() == ("88", "withdrawn", None, "whole_mass")


def test_band_is_the_published_relation_before_the_first_fish() -> None:
    """Line and scatter of perch: data set fish of the R package rrcov 1.7-2, as the protocol states them."""
    play = Play(SOLO + MODEL, batch="perch")
    play.touch(280)
    cloud = picture(play.bench)["places"][0]["cloud"]
    assert cloud["this"] == [280.0, None]
    assert WITHIN == 0.95
    for length, low, high in cloud["band"]:
        middle = log(low * high) / 2
        assert middle == pytest.approx(-12.3255 + 3.15592 * log(length), abs=0.002)
        # About 1.96 deviations of 0.109 either way, a little more for 64 degrees of freedom and the line's own doubt.
        assert 1.96 * 0.109 < log(high / low) / 2 < (2.4 if 220 < length < 350 else 3.5) * 0.109
    play.act("value whole_mass 250 g")
    assert picture(play.bench)["places"][0]["cloud"]["this"] == [280.0, 250.0]
    assert exp(-12.3255 + 3.15592 * log(280)) == pytest.approx(234, abs=2)


def test_no_cloud_without_a_species() -> None:
    play = Play(SOLO + MODEL)
    play.touch(280)
    assert picture(play.bench)["places"][0]["cloud"] is None
