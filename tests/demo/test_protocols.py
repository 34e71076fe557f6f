"""The worked protocols: each loads with its bench file, and every measurand has an instrument or is declared by hand."""

from __future__ import annotations

import click
import pytest

from tests.benchkit import Play, refused
from thwart.bench.acts import ACTS
from thwart.bench.filling import serves
from thwart.bench.protocol import Slot
from thwart.cli.demo import demo
from thwart.config import Configured, read_bench
from thwart.demo.play import SHOWS
from thwart.shipped import shipped

WORKED = ("lab", "row", "shore-by-hand", "solo", "tally")


def bench(name: str) -> Configured:
    return read_bench(shipped("demo") / name)


def given_by(b: Configured, slot: Slot, place: str | None = None) -> list[str]:
    """The instruments that give a slot, at a place or anywhere."""
    return [
        i.name for i in b.setup.instruments.values() if serves(i, slot, None) and (place is None or place in i.places)
    ]


def test_these_are_all() -> None:
    assert sorted(p.parent.name for p in shipped("demo").glob("*/bench.toml")) == sorted(WORKED)
    assert sorted(p.parent.name for p in shipped("demo").glob("*/protocol.toml")) == sorted(WORKED)
    assert set(SHOWS) == set(WORKED) - {"shore-by-hand"}


def test_the_command_names_them_and_says_how_many_fish_each_takes() -> None:
    options = {p.name: p for p in demo.params if isinstance(p, click.Option)}
    choice = options["name"].type
    assert isinstance(choice, click.Choice)
    assert list(choice.choices) == list(SHOWS)
    *first, last = [str(show().fish) for show in SHOWS.values()]
    assert f"[default: {', '.join(first)} or {last}]" in str(options["fish"].help)


@pytest.mark.parametrize("name", WORKED)
def test_every_measurand_is_served_or_declared_by_hand(name: str) -> None:
    b = bench(name)
    for slot in b.protocol.slots:
        assert given_by(b, slot) or slot.measurand.hand_division, slot.key


@pytest.mark.parametrize("name", WORKED)
def test_each_limit_lies_within_what_its_instruments_show(name: str) -> None:
    b = bench(name)
    for code, species in b.protocol.species.items():
        for measurand, limit in species.limits.items():
            giving = [i for i in b.setup.instruments.values() for s in b.protocol.slots
                      if s.measurand.name == measurand and serves(i, s, None)]  # fmt: skip
            for i in giving:
                assert limit.possible is not None
                assert i.division is not None
                assert limit.possible[0] >= i.division / 10, (code, measurand, i.name)


def test_in_the_row_each_place_has_what_it_takes() -> None:
    b = bench("row")
    for stop in b.protocol.row:
        for slot in b.protocol.slots:
            if slot.measurand.name in stop.measurands:
                assert given_by(b, slot, stop.place), (stop.place, slot.key)
    assert {s.place for s in b.protocol.row} == set(b.config.places)


def test_in_the_lab_no_balance_can_give_what_is_the_others() -> None:
    b = bench("lab")
    for slot in b.protocol.slots:
        assert len(given_by(b, slot)) <= 1, slot.key
    masses = [s.key for s in b.protocol.slots if given_by(b, s)]
    assert masses == [
        "thawed_whole_mass", "thawed_gutted_mass", "gonad_mass.left", "gonad_mass.right", "liver_mass", "otolith_mass",
    ]  # fmt: skip
    assert bench("solo").protocol.containers == b.protocol.containers  # the envelopes of the survey


def test_keys_mean_acts_of_one_step() -> None:
    for name in WORKED:
        for i in bench(name).config.instruments.values():
            for words in i.keys.values():
                assert not ACTS[words.split()[0]].two_steps


def test_by_hand_a_fish_is_worked_up_without_scale_or_scanner() -> None:

    play = Play((shipped("demo") / "shore-by-hand" / "protocol.toml").read_text())
    play.act("species perch")
    play.touch(200)
    play.touch(212, after_ms=3000)
    assert refused(play.act("value whole_mass 412 g balance")) == "not-the-division"
    play.act("value whole_mass 115 g balance")
    play.act("confirm")
    play.act("species pike")
    play.touch(430, after_ms=3000)
    play.act("value whole_mass 0.645 kg balance")
    play.act("skip")
    play.act("confirm")
    assert play.values(1) == {"fork_length": "200", "total_length": "212", "whole_mass": "115"}
    assert play.values(2) == {"total_length": "430", "whole_mass": "645"}
    assert [play.numbered(n).end for n in (1, 2)] == ["complete", "complete"]
    assert [play.numbered(n).containers for n in (1, 2)] == [("B-0001",), ("B-0003",)]
