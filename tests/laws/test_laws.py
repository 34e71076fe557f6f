"""A test per law. Each goes red under its mutation in `mutations/` (`python -m tests.laws.mutate` applies them).

1 first stored, then judged · 2 said means saved · 3 no global current fish · 4 place and state pair, not the clock ·
5 order is a sequence number · 6 recorded decisions are the truth · 7 restart resumes the state, not the assumption ·
8 a silent instrument is not an absent one · 9 one port's trouble is its own · 10 any chunking, same frames ·
11 people overrule · 12 interruptions are rationed · 13 units live in names · 14 missing has a reason
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from decimal import Decimal
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest
from msgspec.structs import replace

from tests.benchkit import SOLO, Play, refused, state_of
from thwart.announce.feed import Feed
from thwart.bench.kernel import Bench
from thwart.bench.state import MemoryRecords, Reading, Specimen
from thwart.config import Wired
from thwart.entries import Entry
from thwart.ledger import Ledger
from thwart.ports import LineSettings, parse_spec
from thwart.profiles import find_profile
from thwart.service import lines
from thwart.service.clerk import Clerk, resumed
from thwart.service.clock import Clock
from thwart.service.lines import Item, Line
from thwart.units import rounded
from thwart.wire.channel import Channel
from thwart.wire.events import Reading as WireReading

PLACES = ("table",)


def a_line(profile: str, name: str = "board") -> tuple[Line, SimpleQueue[Item]]:
    inbox: SimpleQueue[Item] = SimpleQueue()
    wired = Wired(name, find_profile(profile), parse_spec("/dev/none"), "/dev/none", LineSettings(), None, PLACES)
    return Line(wired, inbox, Clock(None)), inbox


def drained(inbox: SimpleQueue[Item]) -> list[Item]:
    out = []
    while not inbox.empty():
        out.append(inbox.get())
    return out


class Desk:
    """A clerk with a real ledger and a real line of a board, without ports."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "ledger.db"
        self.play = Play(SOLO, batch=False)
        if not self.path.exists():
            Ledger.create(self.path, "bench", "00000000-0000-7000-8000-000000000001").close()
        self.ledger = Ledger.open(self.path)
        last = self.ledger.last_stamp
        self.inbox: SimpleQueue[Item] = SimpleQueue()
        self.feed = Feed()
        self.heard = self.feed.follow()
        self.clerk = Clerk(self.play.setup, self.ledger, Clock(last.utc if last else None), self.inbox, self.feed)
        self.clerk.resume()
        self.ids = 0

    def say(self, kind: str, **body: Any) -> None:
        self.ids += 1
        if kind in ("act", "scan", "key", "reading"):
            body["ids"] = [f"00000000-0000-7000-8000-{self.clerk.ledger.next_seq:06d}{self.ids:06d}"]
        self.inbox.put(Item(kind, body))

    def reading(self, value: str | None, instrument: str = "board", unit: str = "mm", **more: Any) -> None:
        body: dict[str, Any] = {
            "instrument": instrument, "raw": f"{value} {unit}\r\n", "value": value, "unit": unit, "base": value, "condition": "ok",
            "settled": "each", "load": None, "spread": None, "samples": 1, "zero_before": None, "plateau": 1,
            "arrived_ns": time.monotonic_ns() + self.ids * 10**9, "arrived_utc": "2026-05-04T00:00:00Z", "evidence": [],
        }  # fmt: skip
        self.say("reading", **{**body, **more})

    def work(self) -> None:
        """Until the queue is empty."""
        self.clerk.stopping = True
        self.clerk.run(lambda: None)
        self.clerk.stopping = False

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        db = sqlite3.connect(f"file:{self.path}?mode=ro", uri=True)
        try:
            return db.execute(sql).fetchall()
        finally:
            db.close()


def test_law_01_first_stored_then_judged(tmp_path: Path) -> None:
    """Whatever we think of a reading, what was said is in the ledger as it was said; the first value stays too."""
    desk = Desk(tmp_path)
    desk.say("started", version="0", config_sha256="0")
    desk.reading("150")  # no batch: loose
    desk.say("act", act="batch", args=["open", "bay"], place=None, via="cli")
    desk.reading("4000")  # impossible for every limit of the protocol once the species is known
    desk.reading("212")  # finds it filled
    desk.reading(None, condition="overload")
    desk.reading("99", settled="moving", condition="moving")
    desk.say("act", act="again", args=[], place=None, via="cli")
    desk.say(
        "rejected",
        instrument="board",
        mode="prints",
        reasons={"layout": 1},
        size=3,
        sha256="0",
        raw="a\xffb",
        mostly=False,
    )
    desk.work()
    inputs = desk.rows("SELECT data FROM entry WHERE kind IN ('reading', 'rejected') ORDER BY seq")
    assert [json.loads(row[0])["body"]["raw"] for row in inputs] == [
        "150 mm\r\n", "4000 mm\r\n", "212 mm\r\n", "None mm\r\n", "99 mm\r\n", "a\xffb",
    ]  # fmt: skip
    assert [r[0] for r in desk.rows("SELECT outcome FROM readings ORDER BY seq")].count(None) == 0
    measured = desk.rows("SELECT raw_value, status FROM measurements ORDER BY seq")
    assert measured == [("4000", "superseded"), ("212", "stands")] or ("4000", "superseded") in measured


def test_law_02_said_means_saved(tmp_path: Path) -> None:
    """Nothing is published or answered before the commit that holds it has returned; nothing while commits fail."""
    desk = Desk(tmp_path)
    answered: list[Any] = []
    at_commit: list[tuple[int, int]] = []
    real = desk.ledger.commit
    failures = iter([True, True])

    def commit() -> None:
        groups, _ = desk.heard.take(0)
        at_commit.append((len(groups), len(answered)))
        if next(failures, False):
            from thwart.ledger import LedgerBusy

            desk.ledger.rollback()
            raise LedgerBusy(desk.path, "a test")
        real()

    desk.ledger.commit = commit  # type: ignore[method-assign]
    desk.inbox.put(Item("started", {"version": "0", "config_sha256": "0"}, answered.append))
    worker = threading.Thread(target=lambda: desk.clerk.run(lambda: None))
    worker.start()
    deadline = time.monotonic() + 10
    while not answered and time.monotonic() < deadline:
        time.sleep(0.01)
    desk.clerk.stopping = True
    worker.join(10)
    assert at_commit == [(0, 0)] * 3
    groups, _ = desk.heard.take(1)
    assert [g.entries[0].kind for g in groups] == ["started"]
    assert len(answered) == 1
    assert desk.rows("SELECT count(*) FROM entry")[0][0] == len(groups[0].entries)


def test_law_03_no_global_current_fish() -> None:
    """Each place has its own fish; a label out of sequence is said aloud."""
    play = Play(SOLO, places=("left", "right"))
    play.act("batch open cove", place="right")
    play.act("value total_length 200 mm", place="left")
    play.act("value total_length 300 mm", place="right")
    play.act("next", place="right")
    play.act("value total_length 310 mm", place="right")
    left, right = play.bench.in_hand("left"), play.bench.in_hand("right")
    assert left is not None
    assert right is not None
    assert (play.values(left.number), play.values(right.number)) == ({"total_length": "200"}, {"total_length": "310"})
    one = Play(SOLO)
    one.touch(200)
    one.label(1)
    one.touch(210)
    assert "label-order" in [d.body.get("code") for d in one.label(3)]


def test_law_04_place_and_state_pair_not_the_clock() -> None:
    """A load belongs to the fish in hand when it arrived; equal values of two fish are two readings."""
    play = Play(SOLO)
    first = play.fish.number
    play.touch(200)
    play.lay()
    play.label(1)  # closes the first while its load is still settling
    second = play.fish.number
    play.settle(98)
    play.lift()
    assert play.values(first) == {"total_length": "200", "whole_mass": "98"}
    play.touch(200, after_ms=260)
    play.weigh(98)
    assert play.values(second) == {"total_length": "200", "whole_mass": "98"}
    assert [r.outcome for r in play.readings()] == ["taken"] * 4


def test_law_05_order_is_a_sequence_number(tmp_path: Path) -> None:
    """With the clock set back the service starts, says so, and order stays that of the sequence."""
    desk = Desk(tmp_path)
    desk.say("started", version="0", config_sha256="0")
    desk.work()
    ahead = replace(desk.clerk.clock.stamp(), utc="2098-01-01T00:00:00.000000Z")
    entry = Entry(desk.ledger.next_seq, "wake", None, None, ahead, {})
    desk.ledger.write([entry], {})
    desk.ledger.commit()
    desk.ledger.close()
    again = Desk(tmp_path)
    again.say("started", version="0", config_sha256="0")
    again.reading("150")
    again.work()
    rows = again.rows(
        "SELECT seq, json_extract(data, '$.at'), json_extract(data, '$.clock_ok'), kind FROM entry ORDER BY seq"
    )
    assert [r[0] for r in rows] == list(range(1, len(rows) + 1))
    started = [r for r in rows if r[3] == "started"]
    assert started[1][1] < ahead.utc
    assert [bool(r[2]) for r in started] == [True, False]
    groups, _ = again.heard.take(0)
    from thwart.announce.narrate import narrate

    assert any("clock" in s.text for g in groups for s in narrate(g.entries[0], g.entries[1:]))


def busy_day() -> Play:
    play = Play(SOLO)
    play.act("species perch")
    play.touch(212)
    play.weigh(98)
    play.touch(214)
    play.act("again")
    play.label(1)
    play.touch(150)
    play.act("next")
    play.act("undo")
    play.weigh(20)
    play.label(3)
    play.act("code sex F of previous")
    play.start()
    play.touch(180)
    play.act("missing whole_mass mislaid")
    play.label(4)
    return play


def test_law_06_recorded_decisions_are_the_truth() -> None:
    """Folding what was recorded gives the live state; deciding the inputs again gives the same decisions."""
    play = busy_day()
    folded = Bench(play.setup, records := MemoryRecords())
    for _, changed in folded.fold(play.entries):
        records.store(changed)
    assert state_of(folded) == state_of(play.bench)
    assert records.objects == play.records.objects
    again = Bench(play.setup, records := MemoryRecords())
    made: list[Entry] = []
    for entry in play.entries:
        if entry.input_seq is None:
            decisions, changed = again.take(entry)
            records.store(changed)
            made += [entry, *decisions]
    assert made == play.entries


def test_law_07_restart_resumes_the_state_not_the_assumption(tmp_path: Path) -> None:
    """After a restart the same fish is in hand and is asked about; a load nobody saw arrive waits for a word."""
    play = Play(SOLO)
    play.touch(212)
    asked = [d.body["code"] for d in play.start() if d.kind == "asked"]
    assert asked == ["same-fish"]
    play.put("port", instrument="scale", present=True, profile="p", port="port-scale")
    number = play.fish.number
    play.settle(98, zero_before=None)
    assert play.last_reading().outcome == "waiting"
    assert play.values(number) == {"total_length": "212"}
    play.act("stands")
    assert play.values(number) == {"total_length": "212", "whole_mass": "98"}
    desk = Desk(tmp_path)
    desk.say("started", version="0", config_sha256="0")
    desk.say("act", act="batch", args=["open", "bay"], place=None, via="cli")
    desk.reading("212")
    desk.work()
    live = state_of(desk.clerk.bench)
    desk.ledger.close()
    with Ledger.open(desk.path) as ledger:
        assert state_of(resumed(desk.play.setup, ledger)) == live


def test_law_08_a_silent_instrument_is_not_an_absent_one() -> None:
    """Presence of the port and age of the last frame are two facts."""
    line, _ = a_line("number-unit-length")
    assert line.status(0)["present"] is False
    line.on_open(0)
    day = 86_400 * 10**9
    silent = line.status(day)
    assert (silent["present"], silent["last_frame_age_s"]) == (True, None)
    line.on_bytes(b"  212 mm\r\n", 10**9)
    old = line.status(day)
    assert (old["present"], old["last_frame_age_s"]) == (True, "86399.0")
    line.on_gone("unplugged", day)
    gone = line.status(day)
    assert (gone["present"], gone["last_frame_age_s"]) == (False, "86399.0")


def test_law_09_one_ports_trouble_is_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """A full queue holds no port up, and what it cost is an input of its own."""
    monkeypatch.setattr(lines, "QUEUE_LIMIT", 3)
    line, inbox = a_line("number-unit-length")
    line.on_open(0)
    for i in range(1, 11):
        line.on_bytes(b"  212 mm\r\n", i * 10**9)
    assert [item.kind for item in drained(inbox)] == ["port", "reading", "reading"]
    line.on_bytes(b"  213 mm\r\n", 20 * 10**9)
    told = drained(inbox)
    assert [item.kind for item in told] == ["overflow", "reading"]
    assert told[0].body == {"instrument": "board", "lost": 8}


@pytest.mark.parametrize("profile", ["number-unit-length", "status-commas-mass", "stx-etx-bcc-mass", "label-scanner"])
def test_law_10_any_chunking_same_frames(profile: str) -> None:
    """One read, byte by byte, or in threes: the same events."""
    made = find_profile(profile)
    data = b"".join(s.raw for s in made.sample) * 5 + b"x" * 300 + b"".join(s.raw for s in made.sample)

    def events(size: int) -> list[Any]:
        channel = Channel(made)
        channel.opened(0)
        start = 10**9
        out: list[Any] = []
        for at in range(0, len(data), size):
            out += channel.feed(data[at : at + size], start)
        return [(type(e).__name__, e.raw) if hasattr(e, "raw") else e for e in out]

    whole = events(len(data))
    assert whole
    assert events(1) == whole
    assert events(3) == whole


def test_law_11_people_overrule() -> None:
    """`stands` accepts what was questioned, and no rule asks about that value again."""
    play = Play(SOLO)
    play.act("species perch")
    play.touch(612)
    assert play.questions() == ["impossible"]
    seq = play.fish.values["total_length"]
    play.act("stands measured-twice")
    m = play.records.objects["measurement", seq]
    assert (m.status, m.verdict) == ("stands", 4)  # type: ignore[union-attr]
    play.weigh(1000)
    play.act("code sex F")
    play.act("species perch")
    assert play.questions() == []
    assert play.questions("open", "quiet", "answered").count("impossible") == 1


def test_law_12_interruptions_are_rationed() -> None:
    """A question never blocks: the next fish moves it to the quiet list, where the tray reads it out. All are counted."""
    play = Play(SOLO)
    play.act("species perch")
    play.touch(612)
    play.act("missing whole_mass mislaid")
    before = play.bench.desk.asked
    assert before == 1
    play.label(1)
    assert play.fish.number == 2
    assert play.questions("quiet") == ["impossible"]
    for n in range(2, 11):
        play.touch(200)
        play.weigh(90)
        play.label(n)
    assert play.questions("quiet") == []
    assert play.questions("read-out") == ["impossible"]
    assert play.bench.desk.asked == before


def test_law_13_units_live_in_names(tmp_path: Path) -> None:
    """Value and unit as sent stand beside the base unit; conversion and rounding are decimal, from the text as sent."""
    play = Play(SOLO)
    play.act("value total_length 0.57 m tape")
    m = play.records.objects["measurement", play.fish.values["total_length"]]
    assert (m.raw_value, m.raw_unit, m.value, m.unit, m.rounded_value) == ("0.57", "m", "570", "mm", "570")  # type: ignore[union-attr]
    assert rounded(Decimal("0.57"), Decimal("0.01"), "below") == Decimal("0.57")
    assert rounded(Decimal("0.29"), Decimal("0.01"), "below") == Decimal("0.29")
    play.weigh("98.7654321")
    m = play.records.objects["measurement", play.fish.values["whole_mass"]]
    assert (m.raw_value, m.value) == ("98.7654321", "98.7654321")  # type: ignore[union-attr]
    path = tmp_path / "ledger.db"
    Ledger.create(path, "bench", "00000000-0000-7000-8000-000000000001").close()
    with Ledger.open(path) as ledger:
        slots = play.setup.protocol.slots
        ledger.define_specimens_view((s.key, "mm" if s.measurand.quantity == "length" else "g") for s in slots)
    names = [d[0] for d in sqlite3.connect(path).execute("SELECT * FROM specimens").description]
    assert {"total_length_mm", "whole_mass_g"} <= set(names)


def test_law_14_missing_has_a_reason() -> None:
    """A missing value has one of the reasons; beyond the instrument is never a number."""
    play = Play(SOLO)
    assert refused(play.act("missing whole_mass whatever")) == "unknown-reason"
    assert refused(play.act("missing whole_mass")) == "arguments"
    play.reading("scale", "30000", "g", condition="overload", settled="mark")
    assert play.last_reading().outcome == "refused"
    assert play.fish.values == {}
    play.act("missing whole_mass beyond")
    play.touch(200)
    assert play.fish.missing == {"whole_mass": "beyond"}
    assert play.fish.state == "ready"


def test_the_wire_gives_no_number_beyond_the_instrument() -> None:
    """Law 14 on the wire: an overload line is a condition without a value."""
    channel = Channel(find_profile("status-commas-mass"))
    channel.opened(0)
    out: list[Any] = channel.feed(b"ST,GS,+     0.0,g\r\n" * 5, 10**9)
    for i in range(10):
        out += channel.feed(b"OL,GS,+        ,g\r\n", (2 + i) * 10**9)
    told = [e for e in out if isinstance(e, WireReading)]
    assert told
    assert all(e.value is None and e.condition == "overload" for e in told)


def test_every_reading_is_at_one_specimen_at_most() -> None:
    """Laws 1 and 4 over a day: every reading has an outcome; none is taken twice."""
    play = busy_day()
    readings = [r for r in play.records.objects.values() if isinstance(r, Reading)]
    assert all(r.outcome is not None for r in readings)
    fish = [s for s in play.records.objects.values() if isinstance(s, Specimen)]
    values = [seq for s in fish for seq in s.values.values()]
    assert len(values) == len(set(values))
