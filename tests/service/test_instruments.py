"""Instruments come, go, babble and speak at the wrong speed; the bench goes on."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from tests.servicekit import Rig, rig, until
from thwart.ports import LineSettings


def _instrument(bench: Rig, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(i for i in bench.status()["instruments"] if i["instrument"] == name)
    return found


def test_absent_at_the_start_is_a_state_and_it_is_taken_up_when_it_comes(bench: Rig) -> None:
    bench.lines["board"].unplug()
    bench.start()
    board = _instrument(bench, "board")
    assert board["present"] is False
    assert f"{bench.folder}/board.port is not there" in board["reason"]
    assert bench.act("batch open bay")["said"] == ["batch bay open", "fish 1"]
    bench.lines["board"].replug()
    bench.there()
    bench.touch(212)
    assert bench.wait_for("measured").body["raw_value"] == "212"
    told = [
        (e.body["present"], e.body["reason"])
        for e in bench.entries()
        if e.kind == "port" and e.body["instrument"] == "board"
    ]
    assert [present for present, _ in told] == [False, True]  # one entry a transition, whatever the retries


def test_unplugged_while_working_the_other_goes_on(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.lines["scale"].unplug()
    until(lambda: not _instrument(bench, "scale")["present"])
    bench.touch(212)
    bench.wait_for("measured")
    bench.lines["scale"].replug()
    bench.there()
    bench.weigh(110)
    taken = bench.wait_for("measured", lambda b: b["measurand"] == "whole_mass").body
    assert (taken["number"], taken["raw_value"]) == (1, "110")
    assert "unplugged" in next(e.body["reason"] for e in bench.entries() if e.kind == "port" and not e.body["present"])


def test_a_wrong_speed_is_said_aloud_once_and_shown(tmp_path: Path) -> None:
    with rig(tmp_path / "lake", own={"board": LineSettings(baud=4800)}) as bench:
        bench.start()
        bench.act("batch open bay")
        for mm in range(200, 260):
            bench.touch(mm)
        told = bench.wait_for("rejected", lambda b: b["mostly"])
        assert told.body["instrument"] == "board"
        assert _instrument(bench, "board")["mostly_rejected"]
        assert not any(e.kind == "measured" for e in bench.entries())
        from thwart.announce.narrate import narrate

        (said,) = narrate(told, [])
        assert said.sound == "fault"
        assert "more than half of what it sends: are the line settings right?" in said.text


def test_silence_is_not_absence(bench: Rig) -> None:
    bench.start()
    before = _instrument(bench, "board")
    assert (before["present"], before["last_frame_age_s"]) == (True, None)
    bench.act("batch open bay")
    bench.touch(212)
    bench.wait_for("measured")
    after = _instrument(bench, "board")
    assert after["present"] is True
    assert float(after["last_frame_age_s"]) >= 0


def test_a_label_whose_check_character_is_wrong_closes_nothing(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.touch(212)
    bench.lines["scanner"].send(b"K-00014\r")
    told = bench.wait_for("refused")
    assert told.body["text"] == "scan 'K-00014': its check character is wrong; scan it again or type it"
    hand = bench.hand()
    assert hand is not None
    assert (hand["number"], hand["containers"]) == (1, [])
    bench.lines["scanner"].send(b"K-00013\r")
    bench.wait_for("container")


def test_a_label_used_already_doesnt_close_another_fish(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.touch(201)
    bench.wait_for("measured")
    bench.lines["scanner"].send(b"K-00013\r")
    closed = bench.wait_for("closed").seq
    bench.touch(240)
    bench.wait_for("measured", after=closed)
    bench.lines["scanner"].send(b"K-00013\r")
    told = bench.wait_for("refused")
    assert told.body["text"] == "container K-00013 belongs to fish 1; scan the right one, or `recall 1`"
    hand = bench.hand()
    assert hand is not None
    assert (hand["number"], hand["containers"]) == (2, [])


def test_a_known_length_and_mass_stand_in_the_view_for_other_programs(bench: Rig) -> None:
    bench.start()

    def seen() -> dict[str, tuple[Any, bool]]:
        with closing(sqlite3.connect(f"file:{bench.folder}/ledger.db?mode=ro", uri=True)) as db:
            rows = db.execute(
                "SELECT instrument, verified, last_verified_utc FROM instruments WHERE instrument != 'scanner'"
            )
            return {name: (verified, when is not None) for name, verified, when in rows}

    assert bench.act("verify 300 mm")["said"] == ["the next reading is of 300 mm"]
    bench.touch(300)
    bench.wait_for("verified")
    assert seen() == {"board": (1, True), "scale": (None, False)}
    bench.act("verify 100 g")
    bench.weigh(90)
    bench.wait_for("verified", lambda b: b["instrument"] == "scale")
    assert seen() == {"board": (1, True), "scale": (0, True)}
    bench.act("knock")
    assert seen() == {"board": (1, True), "scale": (None, True)}
    bench.stop()
    bench.start()
    assert seen() == {"board": (1, True), "scale": (None, True)}
    assert bench.status()["held"]["verified"]["board"]["verified"] is True
