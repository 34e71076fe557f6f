"""A bench file and its protocol together: what the one asks the other must be able to give."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from tests.benchkit import FORKED, ROW, SOLO, TALLY
from thwart.config import Configured, read_bench
from thwart.errors import ConfigError

BOARD = '[instruments.board]\nprofile = "number-unit-length"\nport = "/dev/a"\n'
SCALE = '[instruments.scale]\nprofile = "status-commas-mass"\nport = "/dev/b"\n'
HEAD = 'name = "lake"\nplaces = ["board", "scale", "knife"]\n'


def read(tmp_path: Path, bench: str, protocol: str) -> Configured:
    (tmp_path / "bench.toml").write_text(bench)
    (tmp_path / "protocol.toml").write_text(protocol.lstrip())
    return read_bench(tmp_path)


def faults(tmp_path: Path, bench: str, protocol: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        read(tmp_path, bench, protocol)
    return [problem.removeprefix(f"{tmp_path}/") for problem in caught.value.problems]


def test_a_measurand_nothing_gives_is_refused_with_its_line_and_what_to_do(tmp_path: Path) -> None:
    assert faults(tmp_path, 'name = "lake"\n' + BOARD, SOLO) == [
        "protocol.toml:9: measurands[1].name: no instrument in bench.toml gives whole_mass: add one of kind mass or name it in "
        "the `serves` of one; where it is entered by hand, say so by its hand_division"
    ]


def test_what_is_entered_by_hand_needs_no_instrument(tmp_path: Path) -> None:
    by_hand = SOLO.replace('quantity = "mass"', 'quantity = "mass"\nhand_division = "5 g"')
    assert read(tmp_path, 'name = "lake"\n' + BOARD, by_hand).protocol.measurands[1].hand_division == "5 g"


def test_every_measurand_is_looked_at_and_optional_ones_too(tmp_path: Path) -> None:
    scale = SCALE + 'serves = ["whole_mass"]\n'
    found = faults(tmp_path, 'name = "lake"\n' + scale, FORKED)
    assert [f.partition("gives ")[2].partition(":")[0] for f in found] == ["fork_length", "total_length", "gonad_mass"]


def test_a_row_needs_its_places(tmp_path: Path) -> None:
    bench = 'name = "lake"\nplaces = ["board", "scales", "knife"]\n' + BOARD + SCALE
    assert faults(tmp_path, bench, ROW) == [
        "protocol.toml:3: row[1].place: there is no place 'scale' in bench.toml; did you mean scales?"
    ]


def test_faults_of_places_and_instruments_are_told_at_once(tmp_path: Path) -> None:
    bench = 'name = "lake"\nplaces = ["board", "knife"]\n' + BOARD
    found = faults(tmp_path, bench, ROW)
    assert [f.partition(": ")[2].partition(":")[0] for f in found] == ["row[1].place", "measurands[1].name"]
    found = faults(tmp_path, bench + SCALE.replace("status-commas", "status-comas"), ROW)
    assert [f.partition(": ")[2].partition(":")[0] for f in found] == ["instruments.scale.profile", "row[1].place"]


def test_an_instrument_beside_the_row_serves_nothing(tmp_path: Path) -> None:
    bench = HEAD.replace('"knife"', '"knife", "desk"') + BOARD + SCALE + 'places = ["desk"]\n'
    (fault,) = faults(tmp_path, bench, ROW)
    assert "measurands[1].name: scale, which gives whole_mass, stands at no place of the row" in fault


def test_a_place_takes_only_what_its_instruments_give(tmp_path: Path) -> None:
    protocol = ROW.replace('{ place = "knife" }', '{ place = "knife", measurands = ["whole_mass"] }')
    bench = HEAD + BOARD + SCALE + 'places = ["scale"]\n'
    (fault,) = faults(tmp_path, bench, protocol)
    assert "row[2].measurands: knife takes whole_mass, but scale isn't there" in fault
    assert read(tmp_path, bench.replace('["scale"]\n', '["scale", "knife"]\n'), protocol)


def test_a_tally_counts_what_an_instrument_says(tmp_path: Path) -> None:
    by_hand = TALLY.replace('quantity = "length"', 'quantity = "length"\nhand_division = "1 cm"')
    (fault,) = faults(tmp_path, 'name = "lake"\n' + SCALE, by_hand)
    assert fault == (
        "protocol.toml:3: tally: no instrument in bench.toml gives total_length: add one of kind length or name it in the "
        "`serves` of one"
    )
    assert read(tmp_path, 'name = "lake"\n' + BOARD, TALLY).protocol.tally == "total_length"


def test_a_division_of_the_bench_file_holds_for_the_settling_too(tmp_path: Path) -> None:
    """Else the smallest load of a fine balance would be that of the coarse one its profile was made for."""
    fine = '[instruments.scale]\nprofile = "unit-when-still-mass"\nport = "/dev/b"\ndivision = 0.0001\n'
    bench = read(tmp_path, 'name = "lake"\n' + BOARD + fine, SOLO)
    (wired,) = [w for w in bench.instruments if w.name == "scale"]
    assert wired.profile.division == bench.setup.instruments["scale"].division == Decimal("0.0001")
