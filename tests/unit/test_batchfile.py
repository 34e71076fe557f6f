"""A table of batches: encodings, separators, numbers, names, parents; everything wrong is named, nothing good is lost."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import jsonschema  # type: ignore[import-untyped]
import pytest

from thwart import batchfile
from thwart.batchfile import Plan, read_plan
from thwart.errors import ConfigError

ROOT = Path(__file__).parents[2]
SPECIES = ("perch", "roach", "pike")

GOOD = """\
batch,parent,kind,species,selection,preservation,presentation,total_mass_kg,sub_mass,counted
perch-3,haul-3,species,perch,random,iced,whole,12.4,800 g,
haul-3,,haul,,,,,48.5,,310
"""
WORDS = [
    ("haul-3", ("kind=haul", "total_mass=48.5kg", "counted=310")),
    (
        "perch-3",
        (
            "perch", "parent=haul-3", "kind=species", "selection=random", "preservation=iced", "presentation=whole",
            "total_mass=12.4kg", "sub_mass=800g",
        ),
    ),
]  # fmt: skip


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "trip.csv"


def plan(file: Path, data: str | bytes, known: tuple[str, ...] = ()) -> Plan:
    file.write_bytes(data if isinstance(data, bytes) else data.encode())
    return read_plan(file, SPECIES, known)


def faults(file: Path, data: str, known: tuple[str, ...] = ()) -> list[str]:
    return [fault.removeprefix(f"{file}:") for fault in plan(file, data, known).faults]


def words(plan: Plan) -> list[tuple[str, tuple[str, ...]]]:
    return [(row.batch, row.words) for row in plan.planned]


def semicolons(text: str) -> str:
    return text.replace(",", ";").replace("12.4", "12,4").replace("48.5", "48,5")


@pytest.mark.parametrize(
    "data",
    [
        GOOD.encode(),
        GOOD.encode("utf-8-sig"),
        GOOD.encode("utf-16"),
        GOOD.replace("\n", "\r\n").encode(),
        GOOD.replace("\n", "\r").encode(),
        GOOD.replace(",", "\t").encode(),
        GOOD.replace(",", ";").encode(),
        (GOOD + "\n , , , , , , , , , \n").encode(),
    ],
    ids=["utf-8", "byte order mark", "utf-16", "crlf", "cr", "tabs", "semicolons", "empty lines"],
)
def test_what_spreadsheets_save(file: Path, data: bytes) -> None:
    read = plan(file, data)
    assert read.faults == ()
    assert words(read) == WORDS


def test_a_decimal_comma_between_semicolons(file: Path) -> None:
    read = plan(file, semicolons(GOOD))
    assert read.faults == ()
    assert "total_mass=12,4kg" in read.planned[1].words


def test_quoted_cells_keep_what_they_hold(file: Path) -> None:
    read = plan(file, 'batch,selection\nbox-1,"first come, ""as they lay"""\n')
    assert words(read) == [("box-1", ('selection=first come, "as they lay"',))]


def test_letters_of_any_tongue(file: Path) -> None:
    assert words(plan(file, "batch,kind\nflåte-3,hål\n")) == [("flåte-3", ("kind=hål",))]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "trip.csv: its first line is empty; it must name the columns"),
        (b"\n\nbatch\n", "trip.csv: its first line is empty; it must name the columns"),
        (b"PK\x03\x04rest", "trip.csv: a workbook, not a table of text"),
        (b"batch,kind\nbox-1,h\xe5l\n", "trip.csv:2: not UTF-8 (byte 0xe5)"),
        (b"batch\0\n", "trip.csv: not a table of text"),
        (b"parent,kind\nx,y\n", "trip.csv:1: no column `batch`"),
        (b"batch,speces\n", "trip.csv:1: no column is called 'speces'; did you mean species?"),
        (b"batch,kind,kind\n", "trip.csv:1: kind stands twice"),
        (b"batch,total_mass,total_mass_kg\n", "trip.csv:1: total_mass stands twice"),
        (b'batch,kind\nbox-1,"haul\nbox-2,haul\n', "trip.csv:3: unexpected end of data"),
    ],
)
def test_a_fault_of_the_whole_file_leaves_all_out(file: Path, data: bytes, told: str) -> None:
    with pytest.raises(ConfigError) as error:
        plan(file, data)
    assert told in [problem.removeprefix(f"{file.parent}/") for problem in error.value.problems]


def test_a_file_that_isnt_there(file: Path) -> None:
    with pytest.raises(ConfigError, match="no such file"):
        read_plan(file, SPECIES, ())
    with pytest.raises(ConfigError, match="can't be read"):
        read_plan(file.parent, SPECIES, ())


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("batch,kind\nbox 1,x", "2: batch: 'box 1': a name of 1 to 60 characters without blanks and `=`"),
        ("batch,kind\nbox=1,x", "2: batch: 'box=1': a name of 1 to 60 characters without blanks and `=`"),
        ("batch,kind\n,x", "2: batch: is empty"),
        ("batch,kind\nbox-1", "2: 1 cells, but the first line names 2 columns; a decimal comma?"),
        ("batch;kind\nbox-1;x;y", "2: 3 cells, but the first line names 2 columns"),
        ("batch,species\nb,pek", "2: species: there is no species 'pek' in the protocol; did you mean pike, perch?"),
        ("batch,counted\nb,3.5", "2: counted: '3.5' isn't a whole number"),
        ("batch,counted\nb,-3", "2: counted: '-3' isn't a whole number"),
        ("batch,total_mass\nb,heavy", "2: total_mass: 'heavy' isn't a mass, as in 12.4 kg"),
        ("batch,total_mass\nb,-1 kg", "2: total_mass: '-1 kg' isn't a mass, as in 12.4 kg"),
        ("batch,total_mass\nb,1e3 kg", "2: total_mass: '1e3 kg' isn't a mass, as in 12.4 kg"),
        ("batch,total_mass\nb,12.4", "2: total_mass: '12.4': add its unit: g, kg or t"),
        ("batch,total_mass_kg\nb,12.4 kg", "2: total_mass: '12.4 kg': its unit stands in the head already"),
        (
            'batch,total_mass_kg\nb,"1,234"',
            "2: total_mass: '1,234': where commas stand between cells, numbers take a point",
        ),
        (
            "batch;total_mass_kg;sub_mass_kg\na;12,4;1,1\nb;1.234;",
            "3: total_mass: '1.234': line 2 has the other decimal mark; write all numbers alike",
        ),
        ("batch,total_mass,sub_mass\nb,1 kg,1.2 kg", "2: sub_mass: is above total_mass"),
        ("batch,selection\nb," + "x" * 101, "2: selection: longer than 100 characters"),
        ("batch,selection\nb,a\x07b", "2: selection: 'a\\x07b': holds what can't be shown"),
        ("batch\nb\nc\nb", "2: batch: 'b' stands in lines 2 and 4: none of them is taken"),
        ("batch,parent\nb,b", "2: parent: it can't be a part of itself"),
        ("batch,parent\nb,haul-9", "2: parent: there is no batch 'haul-9', here or on the bench"),
        ("batch,parent,counted\nhaul,,x\nb,haul,", "3: parent: the row of 'haul' is wrong"),
        ("batch,parent\na,b\nb,c\nc,a", "2: parent: 'a' would be a part of itself by 'b'"),
    ],
)  # fmt: skip
def test_every_wrong_row_is_named(file: Path, row: str, told: str) -> None:
    assert told in faults(file, row + "\n")


def test_capitals_alone_make_no_other_batch(file: Path) -> None:
    assert faults(file, "batch\nhaul-3\nHaul-3\n") == [
        "2: batch: 'haul-3' and 'Haul-3' differ by capitals only, and a card has none",
        "3: batch: 'Haul-3' and 'haul-3' differ by capitals only, and a card has none",
    ]
    (fault,) = faults(file, "batch\nhaul-3\n", known=("HAUL-3",))
    assert "'HAUL-3'" in fault


def test_good_rows_are_kept_and_parents_come_first(file: Path) -> None:
    read = plan(
        file,
        "batch,parent,counted\nsub,perch,\nperch,haul,\nhaul,,\nlost,gone,\nwrong,,x\nchild,wrong,\ngrandchild,child,\nlate,old,\n",
        known=("old",),
    )
    assert [row.batch for row in read.planned] == ["haul", "late", "perch", "sub"]
    assert [fault.removeprefix(f"{file}:").split(":")[0] for fault in read.faults] == ["5", "6", "7", "8"]


def test_lines_are_those_of_the_file(file: Path) -> None:
    assert faults(file, 'batch,selection,counted\na,"two\nlines",\n\nb,,x\n') == [
        "2: selection: 'two\\nlines': holds what can't be shown",
        "5: counted: 'x' isn't a whole number",
    ]


# ---- the page and the schema ---------------------------------------------------------------------------------------


def test_every_column_is_described_and_nothing_else() -> None:
    page = (ROOT / "docs" / "batches.md").read_text()
    assert tuple(re.findall(r"(?m)^\| `(\w+)` \|", page)) == batchfile.COLUMNS


def test_the_table_on_the_page_is_sound(file: Path) -> None:
    (text,) = re.findall(r"(?s)```csv\n(.*?)```", (ROOT / "docs" / "batches.md").read_text())
    read = plan(file, text)
    assert (read.faults, len(read.planned)) == ((), 3)


def test_the_schema_is_current() -> None:
    """Make it anew: write `thwart.batchfile.schema_text()` to shared/batches.schema.json."""
    text = (ROOT / "shared" / "batches.schema.json").read_text()
    assert text == batchfile.schema_text()
    check = jsonschema.Draft202012Validator(json.loads(text))
    for row in csv.DictReader(io.StringIO(GOOD.replace("total_mass_kg", "total_mass").replace("12.4", "12.4 kg"))):
        check.validate(row)
    for wrong in ({"batch": "a b"}, {"kind": "haul"}, {"batch": "a", "counted": "x"}, {"batch": "a", "colour": "b"}):
        with pytest.raises(jsonschema.ValidationError):
            check.validate(wrong)
