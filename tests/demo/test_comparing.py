"""The comparison at a demo's end must notice whatever isn't as it was: else it could never fail."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from threading import Event

import pytest

from thwart.demo.hands import together
from thwart.demo.lab import Done, Lab
from thwart.demo.lake import Fish, Insides
from thwart.demo.row import Carried, Row
from thwart.demo.show import Show
from thwart.demo.solo import Done as Ashore
from thwart.demo.solo import Solo
from thwart.demo.tally import Tally
from thwart.errors import ThwartError

PERCH = Fish("perch", 212, 105, "F")


@pytest.fixture
def db() -> Iterator[sqlite3.Connection]:
    """The columns of the ledger's views that the comparisons read, with one perch in them."""
    made = sqlite3.connect(":memory:")
    made.executescript(
        """
        CREATE TABLE specimens (specimen_id, number, containers, species, total_length_mm, whole_mass_g, thawed_whole_mass_g,
            thawed_gutted_mass_g, gonad_mass_left_g, gonad_mass_right_g, liver_mass_g, otolith_mass_g, "end");
        INSERT INTO specimens VALUES ('x', 1, 'E-1', 'perch', 212.0, 105.0, 102.5, 90.0, 3.1, NULL, 1.2, 0.0123, 'complete');
        CREATE TABLE containers (number, specimen_id);
        INSERT INTO containers VALUES ('E-1', 'x');
        CREATE TABLE codes (specimen_id, field, code, status);
        INSERT INTO codes VALUES ('x', 'sex', 'F', 'stands');
        CREATE TABLE tallies (species, sex, class_mm, n);
        INSERT INTO tallies VALUES ('perch', 'F', 210.0, 2), ('perch', 'M', 190.0, 1);
        """
    )
    yield made
    made.close()


def solo() -> Solo:
    show = Solo()
    show.done = [Ashore(PERCH, "E-1")]
    return show


def row() -> Row:
    show = Row()
    show.done = [Carried(0, PERCH, 1, "E-1")]
    return show


def lab() -> Lab:
    show = Lab()
    show.done = [Done(Ashore(PERCH, "E-1"), Insides(102.5, 90.0, 3.1, 2.9, 1.2, 0.0123), right_found=False)]
    return show


def tally() -> Tally:
    show = Tally()
    show.done = Counter({("perch", "F", 210): 2, ("perch", "M", 190): 1})
    return show


SHOWS: dict[str, Callable[[], Show]] = {"solo": solo, "row": row, "lab": lab, "tally": tally}


@pytest.mark.parametrize("name", list(SHOWS))
def test_what_is_as_it_was_is_so(name: str, db: sqlite3.Connection) -> None:
    table = SHOWS[name]().compare(db)
    assert table.wrong == 0
    assert {cells[-1] for cells in table.rows} == {"as it was"}
    assert {len(cells) for cells in table.rows} == {len(table.headings)}


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("solo", "UPDATE specimens SET total_length_mm = 213", "length 213"),
        ("solo", "UPDATE specimens SET whole_mass_g = NULL", "mass None"),
        ("solo", "UPDATE specimens SET species = 'roach'", "species roach"),
        ("solo", "UPDATE specimens SET \"end\" = 'incomplete'", "end incomplete"),
        ("solo", "DELETE FROM containers", "no such envelope"),
        ("solo", "INSERT INTO containers VALUES ('E-2', 'x')", "no such envelope was filled"),
        ("row", "UPDATE specimens SET whole_mass_g = 1050", "mass 1050"),
        ("row", "UPDATE codes SET code = 'M'", "sex M"),
        ("row", "UPDATE specimens SET containers = 'E-2'", "envelope E-2"),
        ("row", "UPDATE specimens SET number = 2", "no such fish"),
        ("lab", "UPDATE specimens SET gonad_mass_right_g = 2.9", "right 2.9"),
        ("lab", "UPDATE specimens SET otolith_mass_g = 0.0124", "otoliths 0.0124"),
        ("lab", "UPDATE specimens SET whole_mass_g = 102.5", "mass 102.5"),
        ("lab", "INSERT INTO specimens (number, containers) VALUES (2, 'E-2')", "1 fish more"),
        ("tally", "UPDATE tallies SET n = 3 WHERE sex = 'F'", "21 cm: 3"),
        ("tally", "UPDATE tallies SET class_mm = 200 WHERE sex = 'M'", "19 cm: 0, 20 cm: 1"),
        ("tally", "UPDATE tallies SET sex = NULL WHERE sex = 'M'", "nobody counted these"),
        ("tally", "DELETE FROM tallies", "21 cm: 0"),
    ],
)  # fmt: skip
def test_what_differs_is_named(name: str, change: str, said: str, db: sqlite3.Connection) -> None:
    db.execute(change)
    table = SHOWS[name]().compare(db)
    assert table.wrong >= 1
    assert any("DIFFERS" in cells[-1] and said in cells[-1] for cells in table.rows)
    assert {len(cells) for cells in table.rows} == {len(table.headings)}


def test_people_at_once_fail_at_once() -> None:
    """One who waits for another that has failed must not keep the demo."""
    done: list[str] = []
    together(lambda: done.append("one"), lambda: done.append("other"))
    assert sorted(done) == ["one", "other"]

    def waits() -> None:
        Event().wait(60)

    def fails() -> None:
        raise ThwartError("lost", "again")

    with pytest.raises(ThwartError, match="lost"):
        together(waits, fails)
