"""Containers from the stack to the view: torn, skipped, passed over, re-used, out of order, empty, orphan, two fish on one number."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from tests.benchkit import LAB, SOLO, Play, check, folded, kinds, refused, state_of
from tests.unit.ledger.making import told
from thwart.bench.state import Batch, Container

OTOLITHS = SOLO.replace("[containers]", "[containers]\ndried = true") + "\n[structures.otolith]\nmost = 2\n"


def fish(play: Play, label: int | None = None) -> None:
    play.touch(212)
    play.weigh(100)
    if label is not None:
        play.label(label)


def view(play: Play, path: Path, sql: str) -> list[dict[str, Any]]:
    """What other programs read of it; and that folding gives what the bench holds."""
    check(play)
    assert state_of(folded(play)) == state_of(play.bench)
    with closing(sqlite3.connect(told(path / "ledger.db", play.entries))) as db:
        db.row_factory = sqlite3.Row
        return [dict(row) for row in db.execute(sql)]


def containers(play: Play, path: Path) -> dict[str, tuple[Any, ...]]:
    """Number → (the fish's number, state)."""
    sql = (
        "SELECT c.number, s.number AS fish, c.state FROM containers c LEFT JOIN specimens s USING (specimen_id) "
        "ORDER BY c.number"
    )
    return {row["number"]: (row["fish"], row["state"]) for row in view(play, path, sql)}


def test_filled_with_what_was_got_of_the_structure(tmp_path: Path) -> None:
    play = Play(OTOLITHS)
    fish(play)
    play.act("structure otolith 2 both whole")
    play.label(1)
    (row,) = view(play, tmp_path, "SELECT * FROM containers")
    kept = {k: row[k] for k in ("number", "structure", "taken", "side", "condition", "kind", "dried", "state")}
    assert kept == {
        "number": "K-00013", "structure": "otolith", "taken": 2, "side": "both", "condition": "whole",
        "kind": "envelope", "dried": 1, "state": "filled",
    }  # fmt: skip


def test_passed_over_is_expected_until_it_turns_up(tmp_path: Path) -> None:
    play = Play()
    fish(play, 4)  # 1, 2 and 3 stuck together
    play.act("skip K-00021")
    fish(play)
    play.scan("K-00030")
    assert "label-behind" in play.questions()
    assert containers(play, tmp_path) == {
        "K-00013": (None, "expected"),
        "K-00021": (None, "skipped"),
        "K-00030": (2, "filled"),
        "K-00048": (1, "filled"),
    }


def test_a_new_stack_leaves_nothing_to_turn_up(tmp_path: Path) -> None:
    play = Play()
    fish(play, 500)
    assert len(containers(play, tmp_path)) == 1
    assert play.questions() == ["label-order"]


def test_skipped(tmp_path: Path) -> None:
    play = Play()
    play.act("skip")
    fish(play, 2)
    assert containers(play, tmp_path) == {"K-00013": (None, "skipped"), "K-00021": (1, "filled")}


def test_torn_and_moved(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    play.act("move K-00013 K-00021")
    fish(play)
    assert refused(play.label(1)) == "label-torn"
    play.label(3)
    assert containers(play, tmp_path) == {
        "K-00013": (None, "torn"), "K-00021": (1, "filled"), "K-00030": (2, "filled"),
    }  # fmt: skip


def test_used_again_is_refused_and_changes_nothing(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    fish(play)
    assert refused(play.label(1)) == "label-used"
    play.label(2)
    assert containers(play, tmp_path) == {"K-00013": (1, "filled"), "K-00021": (2, "filled")}


def test_void(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    play.label(1)
    play.act("void")
    play.act("void")
    assert containers(play, tmp_path) == {"K-00013": (1, "void")}


def test_found_empty_later_stays_its_fishs_and_says_so(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    play.act("batch close done")
    play.act("batch open next-day")
    said = play.act("found K-00013 empty not-found")
    assert kinds(said) == ["loaded", "container-found", "mend"] or kinds(said) == ["container-found", "mend"]
    assert play.numbered(1).missing == {"container": "not-found"}
    assert play.numbered(1).end == "complete"
    (row,) = view(
        play, tmp_path, "SELECT c.state, s.missing, s.containers FROM containers c JOIN specimens s USING (specimen_id)"
    )
    assert row == {"state": "empty", "missing": '{"container":"not-found"}', "containers": "K-00013"}


def test_found_full_after_all(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    play.act("found K-00013 empty")
    play.act("found K-00013 full")
    assert play.numbered(1).missing == {}
    rows = view(play, tmp_path, "SELECT m.old_value, m.new_value, m.why FROM mends m ORDER BY seq")
    assert [tuple(r.values()) for r in rows] == [
        ("filled", "empty", "container found empty"),
        ("empty", "filled", "container found full"),
    ]


def test_an_orphan_found_later_gets_its_fish(tmp_path: Path) -> None:
    play = Play()
    fish(play)
    play.act("missing container mislaid")
    play.act("next")
    play.act("found K-00030 full")
    assert play.questions("quiet") == ["orphan"]
    assert containers(play, tmp_path) == {"K-00030": (None, "orphan")}
    (tmp_path / "ledger.db").unlink()
    play.act("found K-00030 full of 1")
    assert play.questions("open", "quiet") == []
    assert (play.numbered(1).containers, play.numbered(1).missing) == (("K-00030",), {})
    assert containers(play, tmp_path) == {"K-00030": (1, "filled")}


def test_what_was_torn_turns_up_in_an_orphan(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    play.act("found K-00030 full")
    play.act("move K-00013 K-00030")
    assert play.questions("open", "quiet") == []
    assert containers(play, tmp_path) == {"K-00013": (None, "torn"), "K-00030": (1, "filled")}


def test_an_orphan_in_place_of_one_found_empty(tmp_path: Path) -> None:
    play = Play()
    fish(play, 1)
    play.act("found K-00013 empty")
    play.act("found K-00030 full")
    play.act("found K-00030 full of 1")
    assert containers(play, tmp_path) == {"K-00013": (1, "empty"), "K-00030": (1, "filled")}
    assert play.numbered(1).containers == ("K-00013", "K-00030")


def test_an_unused_one_seen_empty_is_still_to_be_had(tmp_path: Path) -> None:
    play = Play()
    play.act("found K-00013 empty")
    fish(play)
    assert "asked" not in kinds(play.label(1))
    assert containers(play, tmp_path) == {"K-00013": (1, "filled")}


def test_an_orphan_can_be_scanned_for_the_fish_in_hand(tmp_path: Path) -> None:
    play = Play()
    play.act("found K-00013 full")
    fish(play, 1)
    assert play.questions("open", "quiet") == ["label-behind"]
    assert containers(play, tmp_path) == {"K-00013": (1, "filled")}


def test_an_orphan_in_a_pass_over_earlier_fish(tmp_path: Path) -> None:
    play = Play(LAB, batch=False)
    assert refused(play.label(9)) == "label-orphan"
    (label,) = [str(e.body["text"]) for e in play.entries if e.kind == "scan"]
    play.act(f"found {label} full")
    assert containers(play, tmp_path) == {label: (None, "orphan")}


def test_two_fish_on_one_number(tmp_path: Path) -> None:
    play = Play()
    play.touch(200)
    play.touch(260, after_ms=3000)
    play.act("again")
    play.weigh(90)
    play.act("split")
    play.act("split")
    play.weigh(180)
    play.label(1)
    play.label(2)
    assert containers(play, tmp_path) == {"K-00013": (2, "filled"), "K-00021": (1, "filled")}


def test_a_batch_that_closes_reads_out_fish_incomplete_containers_and_void() -> None:
    play = Play()
    fish(play, 1)
    fish(play, 3)  # 2 is passed over
    fish(play)
    play.act("skip")
    play.label(5)
    play.touch(230)
    play.act("void")
    play.act("void")
    play.touch(240)
    play.act("same-as 1")
    play.act("same-as 1")
    play.touch(300)
    end = next(d for d in play.act("batch close done") if d.kind == "batch").body
    assert end["text"] == (
        "batch bay: 4 fish, 1 incomplete; containers K-00013 to K-00056; void 4; skipped K-00048; not seen K-00021"
    )
    assert {k: end[k] for k in ("fish", "incomplete", "first", "last", "void", "skipped", "unseen")} == {
        "fish": 4, "incomplete": 1, "first": "K-00013", "last": "K-00056", "void": [4], "skipped": ["K-00048"],
        "unseen": ["K-00021"],
    }  # fmt: skip
    assert play.bench.need(Batch, "bay").measured == 4
    check(play)


def test_a_batch_without_anything_reads_that_out() -> None:
    play = Play()
    end = next(d for d in play.act("batch close done") if d.kind == "batch").body
    assert end["text"] == "batch bay: 0 fish, 0 incomplete; no containers; none void"


def test_what_turned_up_isnt_read_out_as_unseen() -> None:
    play = Play()
    fish(play, 2)
    fish(play, 1)
    end = next(d for d in play.act("batch close done") if d.kind == "batch").body
    assert end["unseen"] == []
    assert play.bench.need(Container, "K-00013").state == "filled"
