"""The settler against a simulated pan whose truth is known, and against frames written by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from thwart.wire import Arrival, Channel, Emptied, Reading, WireEvent
from thwart.wire.settler import EVIDENCE_FIRST, EVIDENCE_LAST

from ...wire_pan import MS, Pan, S, arrivals, emptyings, grams, profile, readings, run, story, written

ZERO = [("S", 0.0)] * 4


def told(*values: tuple[str, float] | str, **settle: object) -> list[str]:
    """What frames written by hand, 100 ms apart after four at zero, tell."""
    return story(run(Channel(profile(**settle)), written([*ZERO, *values])))  # type: ignore[arg-type]


def still(value: float, count: int = 4) -> list[tuple[str, float]]:
    return [("S", value)] * count


# -- by simulated physics ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("marks", [True, False])
@pytest.mark.parametrize("mass", [7.0, 60.0, 412.0, 5400.0])
@pytest.mark.parametrize("rate", [5.0, 10.0, 50.0])
def test_a_fish_laid_and_lifted(marks: bool, mass: float, rate: float) -> None:
    """One arrival at the first frame that shows it, one reading of the true mass, one emptying; ringing tells nothing."""
    pan = Pan([(2.0, mass), (6.0, 0.0)], rate=rate)
    events = run(Channel(profile(marks=marks)), pan.frames(9.0))
    assert [type(event) for event in events] == [Arrival, Reading, Emptied]
    (arrival,), (reading,), (emptied,) = arrivals(events), readings(events), emptyings(events)
    assert 2.0 * S <= arrival.at_ns <= (2.0 + 1 / rate + 0.2) * S
    assert reading.arrived_ns == arrival.at_ns
    assert grams(reading) == pytest.approx(Decimal(mass), abs=1)
    assert reading.zero_before == 0
    assert reading.spread is not None and reading.spread <= 1
    assert reading.done_ns < 6 * S
    assert 6.0 * S <= emptied.at_ns <= 6.4 * S
    assert emptied.resting is not None and abs(emptied.resting) <= 1


def test_sixty_fish_in_a_row_none_lost_none_doubled() -> None:
    masses = [20.0 + 13 * (n * 7 % 60) for n in range(60)]
    loads = [(0.0, 0.0)]
    for n, mass in enumerate(masses):
        loads += [(2.0 + 4 * n, mass), (4.5 + 4 * n, 0.0)]
    events = run(Channel(profile()), Pan(loads, noise=0.2).frames(4 * 60 + 4))
    assert [grams(r) for r in readings(events)] == pytest.approx([Decimal(m) for m in masses], abs=1)
    assert len(arrivals(events)) == len(emptyings(events)) == 60


def test_swell_gives_a_timed_mean_with_its_spread() -> None:
    """8 % heave of 7 s: nothing rests within the noise, so the limit ends it; the mean over whole waves is near."""
    pan = Pan([(2.0, 800.0), (32.0, 0.0)], swell=0.08, swell_period=7.0)
    events = run(Channel(profile(window_ms=1000, limit_ms=14_900, marks=False)), pan.frames(36.0))
    first, *later = readings(events)
    assert first.settled == "timed"
    assert first.text is None
    assert first.raw == b""
    assert grams(first) == pytest.approx(Decimal(800), abs=10)
    assert first.spread == pytest.approx(Decimal(128), abs=12)
    assert first.samples > 200
    assert first.done_ns == arrivals(events)[0].at_ns + 14_900 * MS
    assert not later
    assert len(emptyings(events)) == 1


def test_baseline_drift_is_followed() -> None:
    """A gram in ten seconds: fish are still told from the baseline, and each reading carries the zero before it."""
    loads = [(0.0, 0.0)]
    for n in range(10):
        loads += [(20.0 * n + 10, 300.0), (20.0 * n + 14, 0.0)]
    events = run(Channel(profile()), Pan(loads, drift=0.1).frames(204.0))
    assert len(readings(events)) == len(arrivals(events)) == len(emptyings(events)) == 10
    for n, reading in enumerate(readings(events)):
        assert reading.zero_before is not None
        assert reading.zero_before == pytest.approx(Decimal(2 * n + 1), abs=1)


def test_a_fish_that_drips_is_one_plateau() -> None:
    """Slow creep at rest isn't a second settling, even past two divisions."""
    pan = Pan([(2.0, 900.0), (40.0, 0.0)], drift=-0.2)
    events = run(Channel(profile()), pan.frames(44.0))
    assert len(readings(events)) == 1


def test_a_mark_that_comes_too_early_is_noticed() -> None:
    """Marked still while it creeps up: the first reading was wrong, and the change on the pan is told."""
    creeping = [("S", 400.0 + n) for n in range(13)]
    assert told(*creeping, *still(412)) == ["arrived", "402.0", "405.0 (2)", "408.0 (3)", "411.0 (4)"]


def test_a_mark_is_believed_over_two_divisions_the_window_over_one() -> None:
    flicker = [("S", 412.0), ("S", 414.0)] * 8
    assert told(*flicker) == ["arrived", "412.0"]
    assert told(*ZERO, *flicker, by="window") == ["arrived"]
    assert told(*ZERO, *flicker, by="window", noise="2") == ["arrived", "412.0"]


def test_next_fish_laid_before_the_last_is_lifted() -> None:
    pan = Pan([(2.0, 412.0), (5.0, 1000.0), (8.0, 588.0), (11.0, 0.0)])
    events = run(Channel(profile()), pan.frames(14.0))
    assert story(events) == ["arrived", "412.0", "1000.0 (2)", "588.0 (3)", "emptied"]
    assert len({r.arrived_ns for r in readings(events)}) == 1


def test_a_bump_is_no_reading() -> None:
    """Touched for a quarter of a second: an arrival and an emptying, without a number."""
    events = run(Channel(profile(marks=False)), Pan([(2.0, 300.0), (2.25, 0.0)]).frames(6.0))
    assert set(story(events)) == {"arrived", "emptied"}
    assert len(arrivals(events)) == len(emptyings(events))


@pytest.mark.parametrize("rate", [10.0, 50.0])
def test_noise_alone_tells_nothing(rate: float) -> None:
    pan = Pan([(0.0, 0.0)], noise=0.8, rate=rate)
    assert run(Channel(profile(noise="4")), pan.frames(60.0)) == []


# -- by hand -------------------------------------------------------------------------------------------------------


def test_the_text_of_the_last_frame_marked() -> None:
    events = run(Channel(profile(frames=3)), written([*ZERO, ("M", 400), ("S", 412), ("S", 413), ("S", 412)]))
    (reading,) = readings(events)
    assert (reading.text, reading.value) == ("412.0", Decimal("412.0"))
    assert (reading.samples, reading.spread) == (3, Decimal(1))
    assert reading.raw == b"S - +  412.0 g"
    assert reading.settled == "mark"


def test_the_window_s_median_frame() -> None:
    values = [("?", v) for v in [0, 0, 0, 0, 0, 0, 0, 412, 413, 412, 413, 413, 413]]
    events = run(Channel(profile(window_ms=500, by="window")), written(values))
    (reading,) = readings(events)
    assert (reading.text, reading.samples, reading.spread) == ("413.0", 6, Decimal(1))
    assert reading.settled == "window"


def test_a_flicker_of_the_mark_on_the_way_is_no_rest() -> None:
    assert told(("M", 90), ("S", 200), ("S", 290), ("M", 380), *still(412)) == ["arrived", "412.0"]


def test_both_mark_and_window() -> None:
    values = [("?", 412.0)] * 9
    assert told(*values, by="both", window_ms=300) == ["arrived"]
    events = run(Channel(profile(by="both", window_ms=300)), written([*ZERO, *values, ("S", 412)]))
    assert story(events) == ["arrived", "412.0"]
    assert readings(events)[0].samples == 4
    assert told(*still(200, 3), *still(412), by="both", window_ms=300) == ["arrived", "412.0"]


def test_second_plateau_only_beyond_two_divisions() -> None:
    assert told(*still(412), *still(414), ("M", 440), *still(414)) == ["arrived", "412.0"]
    assert told(*still(412), ("M", 440), *still(468)) == ["arrived", "412.0", "468.0 (2)"]


@pytest.mark.parametrize(("left", "gone"), [(82.0, True), (84.0, False)])
def test_fallen_by_eighty_percent(left: float, gone: bool) -> None:
    """412 g: 82.4 g is a fifth. What remains at rest below that is the new resting value."""
    after = told(*still(412), ("M", 300), *still(left))[2:]
    assert after == (["emptied"] if gone else [f"{left} (2)"])


def test_a_slam_of_one_frame_is_no_emptying() -> None:
    assert told(*still(412), ("M", 20), *still(412)) == ["arrived", "412.0"]


def test_next_fish_laid_before_the_zero_rests() -> None:
    """The first is told as emptied, without a resting value, before the second arrives."""
    down = [("M", 150.0), ("M", 3.0), ("M", 1.0), ("M", 2.0)]
    events = run(Channel(profile()), written([*ZERO, *still(412), *down, ("M", 200), *still(60)]))
    assert story(events) == ["arrived", "412.0", "emptied", "arrived", "60.0"]
    assert emptyings(events)[0].resting is None
    assert readings(events)[1].zero_before == 0


def test_a_small_fish_after_a_large_one_is_not_taken_for_its_remains() -> None:
    events = told(*still(2000), ("M", 3), ("M", 1), ("M", 0), ("M", 200), *still(210))
    assert events == ["arrived", "2000.0", "emptied", "arrived", "210.0"]


def test_the_zero_before_and_after() -> None:
    events = run(Channel(profile()), written([*ZERO, *still(412), ("M", 100), *still(6), *still(350)]))
    assert emptyings(events)[0].resting == 6
    assert [r.zero_before for r in readings(events)] == [0, 6]
    assert arrivals(events)[1].baseline == 6


def test_a_load_present_at_opening() -> None:
    """No arrival and no zero before it, so that the bench can tell; a rise on it makes it a baseline, as a tray would be."""
    channel = Channel(profile())
    events = run(channel, written(still(350)))
    assert story(events) == ["350.0"]
    assert readings(events)[0].zero_before is None
    assert readings(events)[0].arrived_ns == S
    events = run(channel, written(still(762), 2 * S), opened=False)
    assert story(events) == ["arrived", "762.0"]
    assert readings(events)[0].zero_before == 350
    events = run(channel, written(still(350), 3 * S), opened=False)
    assert story(events) == ["emptied"]
    events = run(channel, written([("M", 100), *still(0)], 4 * S), opened=False)
    assert story(events) == ["emptied"]


def test_a_load_present_at_opening_that_was_bumped_is_emptied_all_the_same() -> None:
    events = run(Channel(profile()), written([*still(350), ("M", 380), *still(350), ("M", 200), *still(0)]))
    assert story(events) == ["350.0", "arrived", "emptied", "emptied"]
    assert [e.resting for e in emptyings(events)] == [350, 0]
    events = run(Channel(profile()), written([*still(350), ("M", 380), *still(350), *still(0), *still(412)]))
    assert story(events)[-2:] == ["arrived", "412.0"]


def test_a_load_present_at_opening_is_emptied() -> None:
    assert story(run(Channel(profile()), written([*still(350), ("M", 90), *still(1)]))) == ["350.0", "emptied"]


def test_going_negative_is_no_load_and_coming_back_is_none_either() -> None:
    """A tared tray is lifted off (350 g less than nothing), put back, then used."""
    away = [("M", -100.0), *still(-350)]
    back = [("M", -100.0), *still(0)]
    assert told(*away) == []
    assert told(*away, *back) == ["arrived", "emptied"]
    assert told(*away, *back, ("M", 300), *still(412)) == ["arrived", "emptied", "arrived", "412.0"]


def test_a_fish_laid_with_the_tray() -> None:
    events = run(Channel(profile()), written([*ZERO, ("M", -200), *still(-350), ("M", 100), *still(412)]))
    assert story(events) == ["arrived", "412.0"]
    assert readings(events)[0].zero_before == -350


def test_zeroed_under_load() -> None:
    """Without a mark zeroing looks like an emptying; taking the load off then shows less than nothing."""
    events = run(Channel(profile()), written([*ZERO, *still(412), *still(0), *still(-412), ("M", -300), *still(-100)]))
    assert story(events) == ["arrived", "412.0", "emptied", "arrived", "-100.0"]
    assert readings(events)[1].zero_before == -412


def test_taring_by_the_net_mark_is_no_emptying() -> None:
    channel = Channel(profile())
    events = run(channel, written([*ZERO, *still(350)], mark="G"))
    assert story(events) == ["arrived", "350.0"]
    events = run(channel, written([*still(0), ("M", 200), *still(412), *still(0)], 3 * S, mark="N"), opened=False)
    assert story(events) == ["tare 350.0", "arrived", "412.0", "emptied"]
    assert [r.load for r in readings(events)] == ["tare", "net"]
    events = run(channel, written([*still(350), *still(762)], 6 * S, mark="G"), opened=False)
    assert story(events) == ["arrived", "762.0"]
    assert readings(events)[0].zero_before == 350


def test_a_frame_that_names_the_tare() -> None:
    channel = Channel(profile())
    run(channel, written([*ZERO, *still(350)]))
    events = run(channel, written([("S", 350.0)], 3 * S, mark="B"), opened=False)
    assert story(events) == ["tare 350.0"]
    assert readings(events)[0].load == "tare"
    assert story(run(channel, written([*still(0), *still(412)], 4 * S), opened=False)) == ["arrived", "412.0"]


def test_a_person_says_tared() -> None:
    channel = Channel(profile())
    run(channel, written([*ZERO, *still(350)]))
    assert story(channel.tared(3 * S)) == ["tare 350.0"]
    assert channel.tared(3 * S) == []
    assert story(run(channel, written(still(0), 4 * S), opened=False)) == []
    assert story(run(channel, written(still(412), 5 * S), opened=False)) == ["arrived", "412.0"]


def test_overload_is_told_once_and_is_no_number() -> None:
    events = run(Channel(profile()), written([*ZERO, ("M", 900), *["O"] * 30, ("M", 900), *still(0)]))
    assert story(events) == ["arrived", "overload", "emptied"]
    reading = readings(events)[0]
    assert reading.condition == "overload"
    assert (reading.value, reading.text, reading.zero_before) == (None, None, Decimal(0))


def test_a_flash_of_overload_while_a_fish_is_thrown_on() -> None:
    assert told("O", "O", ("M", 700), *still(412)) == ["arrived", "412.0"]


def test_overload_then_a_load_within_range() -> None:
    assert told(*["O"] * 12, ("M", 800), *still(412)) == ["arrived", "overload", "412.0 (2)"]


def test_underload_means_what_lay_there_is_gone() -> None:
    assert told(*still(412), *["U"] * 12, *still(0)) == ["arrived", "412.0", "emptied", "underload"]


def test_an_error_is_told_and_changes_nothing() -> None:
    assert told(*still(412), *["E"] * 12, *still(412), *still(0)) == ["arrived", "412.0", "error", "emptied"]


def test_a_unit_changed_on_the_way() -> None:
    """The scale is switched to kilograms under the load: the same load, told in its first unit; then in the new one."""
    channel = Channel(profile())
    run(channel, written([*ZERO, *still(412)]))
    kg = [b"S - +0.412 kg\r\n"] * 4 + [b"S - +0.000 kg\r\n"] * 4 + [b"S - +1.250 kg\r\n"] * 4
    events = run(channel, [((30 + n) * 100 * MS, raw) for n, raw in enumerate(kg)], opened=False)
    assert story(events) == ["emptied", "arrived", "1.250"]
    assert readings(events)[0].unit == "kg"
    assert readings(events)[0].zero_before == Decimal("0.000")


def test_arrival_is_less_the_lag() -> None:
    lagging = profile().model_copy(update={"lag_ms": 300})
    events = run(Channel(lagging), written([*ZERO, *still(412)]))
    assert arrivals(events)[0].at_ns == S + 4 * 100 * MS - 300 * MS
    assert readings(events)[0].arrived_ns == arrivals(events)[0].at_ns


def test_evidence_is_bounded_and_keeps_both_ends() -> None:
    moving = [("M", 100.0 + n) for n in range(90)]
    events = run(Channel(profile(limit_ms=60_000)), written([*ZERO, *moving, *still(412)]))
    (reading,) = readings(events)
    assert len(reading.evidence) == EVIDENCE_FIRST + EVIDENCE_LAST == 64
    assert reading.evidence[0] == (0, b"M - +  100.0 g")
    assert reading.evidence[-1][1] == reading.raw


def test_limit_and_wake() -> None:
    """A stream that falls silent with an unsettled load: the wake gives the timed mean of what was seen."""
    channel = Channel(profile(limit_ms=2000, window_ms=200))
    assert story(run(channel, written([*ZERO, *[("M", 400.0 + n % 3 * 10) for n in range(9)]]))) == ["arrived"]
    assert channel.next_wake == S + 400 * MS + 2000 * MS
    assert channel.wake(channel.next_wake - 1) == []
    (reading,) = channel.wake(channel.next_wake)
    assert isinstance(reading, Reading)
    assert reading.settled == "timed"
    assert (reading.value, reading.spread, reading.samples) == (Decimal(411), Decimal(20), 7)
    assert channel.next_wake is None


def test_taken_off_and_then_silence() -> None:
    channel = Channel(profile(limit_ms=2000))
    assert story(run(channel, written([*ZERO, *still(412), *[("M", 2.0)] * 4]))) == ["arrived", "412.0"]
    assert channel.next_wake is not None
    (emptied,) = channel.wake(channel.next_wake)
    assert isinstance(emptied, Emptied)
    assert emptied.resting is None


def test_the_port_went_with_a_load_on() -> None:
    channel = Channel(profile())
    run(channel, written([*ZERO, *still(412)]))
    assert channel.closed(3 * S) == []
    events = run(channel, written(still(412), 10 * S))
    assert story(events) == ["412.0"]
    assert readings(events)[0].zero_before is None


def test_unsettled_frames_are_counted() -> None:
    channel = Channel(profile(frames=3))
    run(channel, written([*ZERO, ("M", 100), ("M", 300), *still(412)]))
    assert channel.counts.frames == 10
    assert channel.counts.unsettled == 2 + 2 + 2


def test_frames_seconds_apart_leave_nothing_due_in_the_past() -> None:
    """A fall that the second low frame proves, longer ago than the limit, is over with that frame."""
    channel = Channel(profile(marks=False, window_ms=300, limit_ms=1500))
    channel.opened(0)
    events: list[WireEvent] = []
    for at_ms, shown in ((100, 0.0), (500, 4.0), (3500, 0.0), (6500, 0.0)):
        events += channel.feed(f"S - +{shown:6.1f} g\r\n".encode(), at_ms * MS)
    assert [event.at_ns for event in emptyings(events)] == [3500 * MS]
    assert channel.next_wake is None
