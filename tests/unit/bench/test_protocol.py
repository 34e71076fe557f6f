"""Reading a protocol: every fault at once, each with its line and key; what it says of slots."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.benchkit import FORKED, SOLO, Play
from thwart.bench.protocol import Protocol, read
from thwart.bench.setup import Setup
from thwart.errors import ConfigError

HEAD = 'name = "p"\n[[measurands]]\nname = "total_length"\nquantity = "length"\n'


def faults(text: str) -> str:
    with pytest.raises(ConfigError) as raised:
        read(text, "lake.toml")
    return str(raised.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "name"),
        (HEAD + "colour = 3\n", "colour"),
        (HEAD + 'rounding = { rule = "up", step = "1 cm" }\n', "rule"),
        (HEAD + 'rounding = { rule = "below", step = "1 stone" }\n', "'1 stone'"),
        (HEAD + 'rounding = { rule = "below", step = "0 cm" }\n', "'0 cm'"),
        (HEAD + 'hand_division = "five"\n', "'five'"),
        (HEAD + "replicates = 0\n", "replicates"),
        (HEAD + '[[measurands]]\nname = "total_length"\nquantity = "length"\n', "stands twice"),
        (HEAD + '[[measurands]]\nname = "container"\nquantity = "mass"\n', "envelope or vial"),
        ('order = [["fork_length", "total_length"]]\n' + HEAD, "'fork_length' is no measurand"),
        ('order = [["total_length", "whole_mass"]]\n' + HEAD + '[[measurands]]\nname = "whole_mass"\nquantity = "mass"\n',
         "can't be compared"),
        ('single_species = "perhc"\n' + HEAD + '[species.perch]\ntitle = "perch"\n', "perch"),
        (HEAD + '[species.unknown]\ntitle = "?"\n', "unknown"),
        (HEAD + '[species.perch]\ntitle = "perch"\ndrop = ["girth"]\n', "girth"),
        (HEAD + '[species.perch]\ntitle = "perch"\nlimits.girth = { possible = [1, 2] }\n', "girth"),
        (HEAD + '[species.perch]\ntitle = "perch"\nlimits.total_length = { possible = [3, 2] }\n', "lower bound"),
        (HEAD + '[species.perch]\ntitle = "perch"\nlimits.total_length = { possible = [3, 9], usual = [2, 5] }\n', "within"),
        (HEAD + '[species.perch]\ntitle = "perch"\nratios.total_length = { of = "girth", range = [1, 2] }\n', "girth"),
        (HEAD + '[species.perch]\ntitle = "perch"\nratios.total_length = { of = "total_length", range = [2, 1] }\n', "range"),
        (HEAD + '[codes.total_length]\nscale = "s"\nvalues = { A = "a" }\n', "measurand too"),
        (HEAD + "[numbers]\nfirst = 9\nlast = 3\n", "first"),
        (HEAD + '[containers]\nlabel = "ACT.##"\n', "command card"),
        (HEAD + '[containers]\nlabel = "K-?#"\ncheck = "luhn"\n', "at the end"),
        (HEAD + '[containers]\nlabel = "K-##"\ncheck = "luhn"\n', "number of `?`"),
        (HEAD + '[containers]\nlabel = "K"\n', "at least one"),
        (HEAD + '[containers]\nlabel = "#-#"\n', "stand together"),
        (HEAD + '[containers]\nlabel = "K-##"\nfirst = "X"\n', "doesn't fit"),
        (HEAD + '[containers]\nlabel = "K-##?"\ncheck = "luhn"\nfirst = "K-111"\n', "check character is wrong"),
        (HEAD + '[containers]\nlabel = "K-##"\nfirst = "K-09"\nlast = "K-08"\n', "before last"),
        ("tray = 0\n" + HEAD, "tray"),
    ],
)  # fmt: skip
def test_a_fault_is_named(text: str, said: str) -> None:
    told = faults(text)
    assert "lake.toml" in told
    assert said in told


def test_all_faults_are_told_at_once() -> None:
    told = faults('tray = 0\nname = 3\n[[measurands]]\nname = "A"\nquantity = "volume"\n')
    assert all(key in told for key in ("tray", "name", "quantity"))


def test_slots_in_order_with_sides_and_replicates() -> None:
    protocol = read(FORKED.replace('sides = ["left", "right"]', 'sides = ["left", "right"]\nreplicates = 2'), "p")
    keys = [s.key for s in protocol.slots]
    assert keys == [
        "fork_length", "total_length", "whole_mass", "gonad_mass.left.1", "gonad_mass.left.2", "gonad_mass.right.1",
        "gonad_mass.right.2",
    ]  # fmt: skip
    assert protocol.slot_by_key["gonad_mass.right.2"].column == "gonad_mass_right_2_g"
    assert protocol.slots_for("eel")[0].key == "total_length"
    assert [s.key for s in protocol.slots_for("unknown")] == [s.key for s in protocol.slots_for(None)] == keys


def test_steps_are_exact() -> None:
    protocol = read(SOLO, "p")
    rounding = protocol.measurands[0].rounding
    assert rounding is not None
    assert rounding.step_base == Decimal(10)
    assert read(FORKED, "p").measurands[2].hand_division_base == 5


def test_a_setup_comes_back_from_its_json() -> None:
    setup = Play(FORKED, places=("left", "right")).setup
    assert Setup.from_json(setup.to_json()) == setup
    assert Protocol.model_validate(setup.to_json()["protocol"]) == setup.protocol
