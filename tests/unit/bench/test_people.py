"""A name is one person's, in whatever capitals it is said."""

from __future__ import annotations

from msgspec.structs import replace

from tests.benchkit import Play, check, folded
from thwart.bench.kernel import Bench
from thwart.bench.state import Measurement


def said(play: Play) -> set[str | None]:
    """Who measured, of all that was measured."""
    return {m.measurer for m in play.records.objects.values() if isinstance(m, Measurement)}


def test_a_card_that_has_no_capitals_means_the_person_who_was_typed() -> None:
    play = Play()
    play.act("measurer Ida Berg")
    play.touch(212)
    play.act("measurer IDA berg")
    play.weigh(93)
    assert said(play) == {"Ida Berg"}
    check(play)


def test_the_first_spelling_stays_though_nobody_is_at_the_place_any_more() -> None:
    play = Play()
    play.act("measurer Zoë")
    play.act("pause")
    play.now += 3600 * 10**9
    play.act("resume")
    assert play.here.measurer is None
    play.act("recorder zoë")
    assert play.here.recorder == "Zoë"
    assert folded(play).desk.people == ("Zoë",)


def test_the_spelling_of_the_benchs_file_goes_before_what_is_said() -> None:
    play = Play()
    play.setup = replace(play.setup, people=("ida",))
    play.bench = Bench(play.setup, play.records)
    play.start()
    play.act("measurer Ida")
    assert play.here.measurer == "ida"


def test_who_mends_is_the_same_person() -> None:
    play = Play()
    play.act("recorder Ida")
    play.touch(212)
    mend = next(d for d in play.act("mend value 1 total_length 213 mm misread by ida") if d.kind == "mend")
    assert mend.body["who"] == "Ida"
    play.act("mend value 1 total_length 214 mm misread by Mia")
    mend = next(d for d in play.act("mend value 1 total_length 215 mm misread by mia") if d.kind == "mend")
    assert mend.body["who"] == "Mia"


def test_a_name_taken_back_is_spelt_anew() -> None:
    play = Play()
    play.act("measurer IDA")
    play.act("undo")
    play.act("measurer Ida")
    assert play.here.measurer == "Ida"
    check(play)


def test_people_with_different_names_are_different_people() -> None:
    play = Play()
    play.act("measurer ida")
    play.act("recorder ida-b")
    assert (play.here.measurer, play.here.recorder) == ("ida", "ida-b")
