"""What `thwart watch` shows, on screens of every size."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.benchkit import ROW, SOLO, TALLY, Play
from thwart.cli.watching import STALE_S, View, plain, screen, shown
from thwart.languages import language
from thwart.service.picture import picture

SERVES: dict[str, tuple[str, ...]] = {"board": ("board",), "scale": ("scale",), "hand-scale": ()}


def instrument(name: str, **more: Any) -> dict[str, Any]:
    return {
        "instrument": name, "present": True, "reason": None, "last_frame_age_s": "3.2", "mostly_rejected": False,
        "lost": 0, **more,
    }  # fmt: skip


def view(play: Play, *, age_s: float = 0.1, trouble: str = "", **more: Any) -> View:
    status = {
        "bench": "lake", "protocol": "test solo", "saved": True, "fault": None, "committed_seq": 12,
        "waiting_inputs": 0, "held": picture(play.bench),
        "instruments": [instrument("board"), instrument("scale", present=False, reason="unplugged")], **more,
    }  # fmt: skip
    return View(status, age_s, trouble)


def texts(found: View, width: int = 80, height: int = 24) -> list[str]:
    return [line.text for line in screen(found, width, height)]


def two_fish() -> Play:
    play = Play(SOLO)
    play.act("species perch")
    play.touch(212)
    play.act("next")
    play.touch(231)
    play.touch(340)
    return play


def test_a_place_shows_what_is_in_hand_last_taken_wanted_and_asked() -> None:
    whole = "\n".join(texts(view(two_fish())))
    for part in (
        "FISH 2", "batch bay", "last       340 mm (WAITS: ASKED)", "taken      total length 231 mm", "wanted     whole mass",
        "ASKED      2 has total_length 231 already, now 340 mm: again or new?", "answers: again, next",
        "look before the tray goes:", "  - 1 closed without", "board      there, heard 3.2 s ago",
        "scale      NOT THERE", "unplugged", "1 fish closed", "q quits", "all saved up to entry 12",
    ):  # fmt: skip
        assert part in whole, whole


def test_trouble_stale_and_not_saved_are_said_in_words() -> None:
    play = two_fish()
    gone = texts(view(play, age_s=61.0, trouble="no service runs on this bench"))
    assert "NO SERVICE: no service runs on this bench" in gone
    assert "What follows is 1 min old." in gone
    assert any("STALE: the bench was last heard 5.0 s ago." in line for line in texts(view(play, age_s=STALE_S + 2)))
    unsaved = texts(view(play, saved=False, fault="not saved: the disk is full", waiting_inputs=3))
    assert "NOT SAVED: not saved: the disk is full, 3 inputs wait" in unsaved
    assert texts(View(None, 9.0)) == ["asking the bench …", "─" * 80, "q quits"]
    held_up = texts(view(play, held=None, saved=False, fault="the clerk is held up"))
    assert any("NOT SAVED" in line for line in held_up)


def test_a_row_shows_every_place_and_a_tally_what_it_counts() -> None:
    row = Play(ROW, places=("board", "scale", "knife"), serves=SERVES)
    row.touch(200)
    whole = texts(view(row))
    assert [line.split()[0] for line in whole if "batch bay" in line] == ["board", "scale", "knife"]
    tally = Play(TALLY)
    tally.act("species perch")
    tally.touch(212)
    assert any("counting perch" in line for line in texts(view(tally)))


@pytest.mark.parametrize(("width", "height"), [(80, 24), (132, 50), (40, 12), (20, 5), (80, 1)])
def test_every_screen_is_filled_and_none_is_overrun(width: int, height: int) -> None:
    one = view(two_fish())
    assert one.status is not None
    one.status["held"]["quiet"] = [{"text": f"{n} closed without whole_mass, container"} for n in range(60)]
    found = texts(one, width, height)
    assert len(found) <= height
    assert all(len(line) <= width for line in found)
    if height >= 24:
        assert any(line.startswith("  … and ") for line in found), "that the quiet list goes on is said"
        assert found[-1].endswith("q quits")
        assert any(line.startswith("scale") for line in found), "instruments aren't pushed off by the quiet list"


def test_what_comes_from_outside_cannot_move_the_cursor() -> None:
    assert shown("a\x1b[2Jb\r\n c\u202e") == "a·[2Jb c·"
    play = two_fish()
    found = view(play)
    assert found.status is not None
    found.status["held"]["places"][0]["in_hand"]["containers"] = ["\x1b]0;x\x07"]
    found.status["instruments"][1]["reason"] = "\x1b[31mred"
    assert all(c.isprintable() for line in texts(found) for c in line)
    assert all(c.isprintable() for text in plain(found).values() for c in text)


def test_a_line_printer_is_told_what_changed_and_no_ages() -> None:
    play = two_fish()
    first = plain(view(play))
    assert first["bench"] == "lake · test solo, all saved"
    assert first["instrument scale"] == "NOT THERE unplugged"
    assert first["place table"].startswith("FISH 2 unknown (open) · batch bay | last 340 mm (WAITS: ASKED)")
    assert "1 closed without" in first["look before the tray goes"]
    assert (
        plain(view(play, age_s=2.0, committed_seq=99, instruments=[instrument("board", last_frame_age_s="9")]))[
            "place table"
        ]
        == first["place table"]
    )
    assert plain(view(play, trouble="gone")) == {"bench": "NO SERVICE: gone"}
    assert plain(view(play, age_s=9.0)) == {"bench": "STALE: the bench doesn't answer"}
    assert plain(View(None, 0.0)) == {}


def test_a_watch_speaks_the_bench_s_language() -> None:
    play = two_fish()
    found = view(play)
    german = View(found.status, found.age_s, "", language("de"))
    whole = "\n".join(texts(german))
    for part in (
        "FISCH 2", "Partie bay", "genommen   Totallänge 231 mm", "fehlt      Vollgewicht", "GEFRAGT    2 hat schon Totallänge 231",
        "ansehen, bevor die Wanne geht:", "NICHT DA", "q beendet",
    ):  # fmt: skip
        assert part in whole, whole
    lines = "\n".join(f"{name}: {text}" for name, text in plain(german).items())
    told = re.sub(
        r"again|next|table|scale|board|unplugged|lake|test solo|bay|whole_mass|unknown|envelope|container",
        "",
        whole + lines,
    )
    assert not re.search(
        r"\b(fish|batch|last|taken|wanted|asked|nothing|saved|there|heard|bench|place|instrument)\b", told
    ), told
