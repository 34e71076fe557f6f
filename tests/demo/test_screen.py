"""What is shown of the feed: a line a fish, what wants a look, the place where there are several."""

from __future__ import annotations

from typing import Any

from thwart.demo.screen import Screen, fish_line
from thwart.demo.tally import Tally


def entry(
    kind: str, *said: tuple[str, str], place: str = "scale", ident: str | None = "x", **body: Any
) -> dict[str, Any]:
    told = [{"sound": sound, "text": text} for sound, text in said]
    return {"kind": kind, "place": place, "specimen_id": ident, "input": 1, "body": body, "said": told}


def shown(*entries: dict[str, Any], places: tuple[str, ...] = (), everything: bool = False) -> list[str]:
    lines: list[str] = []
    screen = Screen(
        lambda kind, text: lines.append(f"{kind}|{text.partition(' s  ')[2]}"), fish_line, everything=everything
    )
    screen.places = places
    for one in entries:
        screen.entry(one)
    return lines


LENGTH: dict[str, Any] = {"measurand": "total_length", "side": None, "raw_value": "212", "raw_unit": "mm"}
MASS: dict[str, Any] = {"measurand": "whole_mass", "side": None, "raw_value": "105", "raw_unit": "g"}
FISH = (
    entry("species", ("taken", "1 is perch"), species="perch"),
    entry("measured", ("taken", "1 total_length 212 mm"), **LENGTH),
    entry("coded", ("taken", "1 sex F"), field="sex", code="F"),
    entry("measured", ("taken", "1 whole_mass 105 g"), **MASS),
    entry("container", ("taken", "…"), number="E-1", state="filled"),
    entry("closed", ("next", "1 complete"), number=1, end="complete"),
)


def test_a_fish_is_a_line() -> None:
    assert shown(*FISH) == ["fish|fish   1  perch  F  212 mm     105 g   E-1  complete"]


def test_all_shows_what_is_said_instead() -> None:
    lines = shown(*FISH, everything=True)
    assert len(lines) == len(FISH)
    assert lines[1] == "taken|  taken   1 total_length 212 mm"


def test_what_wants_a_look_says_its_place_where_there_are_several() -> None:
    one = entry("asked", ("asked", "again, or next?"))
    assert shown(one) == ["asked|  asked   again, or next?"]
    assert shown(one, places=("board", "scale")) == ["asked|  asked   scale: again, or next?"]


def test_each_of_the_quiet_list_has_its_line() -> None:
    texts = ["27: changed · look", "28: loose"]
    said = ("look", "look before the tray goes: " + " · ".join(texts))
    (line,) = shown(entry("read-out", said, texts=texts))
    first, *rest = line.splitlines()
    assert first == "look|  look    look before the tray goes:"
    assert [one.strip() for one in rest] == texts


def test_a_tally_shows_every_tenth_touch_and_counts_what_was_taken_back() -> None:
    tally = Tally()

    def touch(nth: int) -> str | None:
        return tally.line({**entry("tallied", species="perch", sex="F"), "input": nth}, {})

    assert [touch(n) for n in range(1, 10)] == [None] * 9
    assert tally.line(entry("undone", of=9), {}) is None
    assert touch(10) is None
    assert touch(11) == "  10 counted   perch F 10"
