"""The feed over both transports: every entry once, in order, whatever breaks; alarms; its schema."""

from __future__ import annotations

import contextlib
import itertools
import json
import random
import signal
import socket
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import jsonschema  # type: ignore[import-untyped]
import pytest

from tests.servicekit import Ear, Rig, until
from tests.unit.test_narrate import a_full_day
from tests.webkit import Event, address, browser, entries, events, key
from thwart.announce.feed import Alarm, lines_of
from thwart.announce.web import listening, stream
from thwart.bench.effects import EFFECTS
from thwart.entries import INPUTS, Entry
from thwart.languages import LANGUAGES, language
from thwart.service.folder import read_door
from thwart.service.lines import Item

SCHEMA = json.loads((Path(__file__).parents[2] / "shared" / "feed.schema.json").read_text())
POINTS = 200


VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def valid(thing: Any) -> None:
    VALIDATOR.validate(thing)


# ---- resuming ------------------------------------------------------------------------------------------------------


class Busy:
    """Acts, one after the other, until told to stop."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        service = self._rig.service
        assert service is not None
        service.act("batch", ["open", "bay"], None, "test")
        acts = (("measurer", "ida"), ("value", "total_length", "212", "mm", "tape"), ("undo",))
        for nth in itertools.count():
            if self._stop.wait(0.01):
                return
            act, *args = acts[nth % 3]
            body = {
                "act": act,
                "args": args,
                "place": None,
                "via": "test",
                "ids": [f"00000000-0000-7000-8000-{nth:012d}"],
            }
            service.inbox.put(Item("act", body))

    def stop(self) -> int:
        """The last entry."""
        self._stop.set()
        self._thread.join()
        assert self._rig.service is not None
        self._rig.service.act("measurer", ["last"], None, "test")
        return self._rig.service.clerk.committed_seq


def _hang_up(link: socket.socket) -> None:
    """Vanish without a word: what was under way is thrown away on both sides (a reset)."""
    link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
    link.close()


def _more(link: socket.socket, most: int) -> bytes:
    """What comes next; the service never hangs up on a reader of its own accord."""
    some = link.recv(most)
    assert some, "the service hung up"
    return some


def _over_http(rig: Rig, since: int) -> tuple[socket.socket, bytes, bytes]:
    host = address(rig).removeprefix("http://")
    name, _, port = host.partition(":")
    link = socket.create_connection((name, int(port)), timeout=20)
    asked = f"GET /api/feed?since={since} HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {key(rig)}\r\n\r\n"
    return link, asked.encode(), b'data: {"seq"'


def _over_control(rig: Rig, since: int) -> tuple[socket.socket, bytes, bytes]:
    door = read_door(rig.folder)
    link = socket.create_connection(("127.0.0.1", door.port), timeout=20)
    return (
        link,
        json.dumps({"token": door.token, "do": "follow", "since": since}).encode() + b"\n",
        b'{"ok": true, "entry": {"seq"',
    )


def _heard(some: bytes, mark: bytes) -> list[int]:
    """Entries in what came; a line that was cut is as good as never sent."""
    lines = some[: some.rfind(b"\n") + 1].split(b"\n")
    things = [json.loads(line.removeprefix(b"data: ")) for line in lines if line.startswith(mark)]
    return [thing.get("entry", thing)["seq"] for thing in things]


@pytest.mark.parametrize("over", [_over_http, _over_control])
def test_killed_at_200_random_points_a_reader_hears_every_entry_once_and_in_order(bench: Rig, over: Any) -> None:
    bench.start()
    rng = random.Random(6)
    busy = Busy(bench)
    heard: list[int] = []
    cut_inside = 0
    for _ in range(POINTS):
        link, asked, mark = over(bench, heard[-1] if heard else 0)
        link.sendall(asked)
        some, size = b"", rng.randrange(300, 4000)
        while len(some) < size or mark not in some:
            some += _more(link, rng.randrange(1, 2048))
        _hang_up(link)
        heard += _heard(some, mark)
        cut_inside += bool(heard) and _is_decision(bench, heard[-1] + 1)
    last = busy.stop()
    link, asked, mark = over(bench, heard[-1])
    link.sendall(asked)
    some = b""  # however little is left: nothing more is written, so no size may be waited for
    while f'"seq": {last},'.encode() not in some or not some.endswith(b"\n"):
        some += _more(link, 65536)
    _hang_up(link)
    heard += _heard(some, mark)
    assert heard == list(range(1, len(heard) + 1))
    assert heard[-1] >= last > POINTS
    assert cut_inside > 10  # between an input and its decisions: that is where it is hard


def _is_decision(rig: Rig, seq: int) -> bool:
    with contextlib.closing(sqlite3.connect(f"file:{rig.folder / 'ledger.db'}?mode=ro", uri=True)) as db:
        row = db.execute("SELECT input_seq FROM entry WHERE seq = ?", (seq,)).fetchone()
    return row is not None and row[0] is not None


def test_after_a_kill_of_the_service_the_browser_goes_on_where_it_was(bench: Rig) -> None:
    bench.spawn()
    client, _ = _came_in(bench)
    with events(client, since=0) as found:
        first = [e["seq"] for e in entries(found, 3)]
    bench.end(signal.SIGKILL)
    bench.spawn()
    client.base_url = httpx.URL(_page(bench))
    client.headers = httpx.Headers({"last-event-id": str(first[-1])})
    last = bench.entries()[-1].seq
    with events(client, since=0) as found:  # the browser repeats the address; Last-Event-ID counts
        first += [e["seq"] for e in entries(found, last)]
    assert first == list(range(1, last + 1))


def _page(rig: Rig) -> str:
    client = rig.client()
    return str(client.ask(do="page")["page"]["address"])


def _came_in(rig: Rig) -> tuple[httpx.Client, str]:
    page = rig.client().ask(do="page")["page"]
    origin = page["address"].rstrip("/")
    client = httpx.Client(base_url=origin, headers={"origin": origin}, timeout=20)
    assert client.post("/api/enter", json={"key": page["link"].partition("#key=")[2]}).json()["ok"]
    return client, origin


# ---- what stands in it ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_kind_of_entry_fits_the_schema(code: str) -> None:
    seen: set[str] = set()
    for play in a_full_day():
        group: list[Entry] = []
        for entry in [*play.entries, None]:
            if (entry is None or entry.input_seq is None) and group:
                for line in lines_of(group, code):
                    valid(line)
                    valid({"ok": True, "entry": line})
                    seen.add(line["kind"])
                group = []
            if entry is not None:
                group.append(entry)
    assert len(seen) > 40
    assert seen <= {*INPUTS, *EFFECTS}


@pytest.mark.parametrize("table", ["alarms"])
def test_every_alarm_and_its_end_fit_the_schema(table: str) -> None:
    for code in LANGUAGES:
        for name in language(code).tables[table]:
            if name != "over":
                alarm = Alarm(name, {"holder": "sqlite3", "reason": "disk full"}, "2026-05-04T08:15:00.123456Z")
                assert name in SCHEMA["$defs"]["alarm"]["properties"]["alarm"]["description"]
                valid(alarm.to_json(True, code))
                valid({"ok": True, **alarm.to_json(False, code)})


@pytest.mark.parametrize(
    "wrong", [{}, {"ok": False}, {"seq": 1}, {"alarm": "held"}, {"ok": True, "entry": {}}, {"ok": True, "more": 1}]
)
def test_the_schema_refuses_what_is_none(wrong: dict[str, Any]) -> None:
    with pytest.raises(jsonschema.ValidationError):
        valid(wrong)


def test_what_really_comes_fits_the_schema_in_the_language_asked_for(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.touch(212)
    last = bench.wait_for("measured").seq
    with browser(bench) as client, events(client, since=0, language="de") as found:
        heard = list(entries(found, last))
    for line in heard:
        valid(line)
    said = [s["text"] for e in heard for s in e["said"]]
    assert "Partie bay offen" in said
    assert "1 Totallänge 212 mm" in said
    lines: Iterator[dict[str, Any]] = bench.client().follow(0)
    assert [next(lines)["seq"] for _ in heard] == [e["seq"] for e in heard]


# ---- beside the entries --------------------------------------------------------------------------------------------


def test_a_reader_hears_that_all_is_well(bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "ALIVE_S", 0.05)
    bench.start()
    with browser(bench) as client, events(client) as found:
        first = next(found)
        assert first.kind == "alive"
        assert first.id == str(first.data["committed_seq"])  # where a reader that came late goes on from
        again = next(e for e in found if e.kind == "alive")
        assert again.id is None
        valid(first.data)


def _until_alarm(found: Iterator[Event], on: bool) -> Any:
    return next(e.data for e in found if e.kind == "alarm" and e.data["on"] is on)


def test_that_nothing_is_saved_and_its_end_reach_the_followers_and_the_picture(bench: Rig) -> None:
    bench.start()
    ear = Ear(bench)
    with browser(bench) as client, events(client, language="de") as found:
        holder = sqlite3.connect(bench.folder / "ledger.db", isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        bench.touch(212)
        begun = _until_alarm(found, True)
        valid(begun)
        assert begun["said"][0]["sound"] == "fault"
        assert begun["said"][0]["text"].startswith("nicht gespeichert")
        assert [a["alarm"] for a in client.get("/api/picture").json()["alarms"]]
        with browser(bench) as late, events(late) as other:  # who comes meanwhile hears it at once
            assert _until_alarm(other, True)["said"][0]["text"].startswith("not saved")
        holder.execute("ROLLBACK")
        over = _until_alarm(found, False)
        assert over["alarm"] == begun["alarm"]
        assert over["said"][0]["text"].startswith("vorbei: ")
    holder.close()
    until(lambda: bench.status()["saved"])
    assert ear.alarms[0]["on"] is True
    until(lambda: ear.alarms[-1]["on"] is False)
    assert {a["alarm"] for a in ear.alarms if a["on"]} == {a["alarm"] for a in ear.alarms if not a["on"]}


def test_a_reader_that_takes_nothing_delays_nobody_and_catches_up(bench: Rig) -> None:
    service = bench.start()
    door = address(bench).removeprefix("http://")
    with socket.socket() as link:
        link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        link.settimeout(20)
        link.connect(("127.0.0.1", int(door.rpartition(":")[2])))
        asked = f"GET /api/feed?since=0 HTTP/1.1\r\nHost: {door}\r\nAuthorization: Bearer {key(bench)}\r\n\r\n"
        link.sendall(asked.encode())
        link.recv(64)
        ids = iter(range(10**6))
        for n in range(1600):  # more than a reader may lag behind, and more bytes than the connection's buffers hold
            args = [("ida" if n % 2 else "ben") * 300]
            service.inbox.put(
                Item("act", {"act": "measurer", "args": args, "place": None, "via": "cli", "ids": [str(next(ids))]})
            )
        assert bench.act("batch open bay")["ok"] is True
        last = bench.entries()[-1].seq
        with link.makefile("rb") as lines:
            heard: list[int] = []
            while not heard or heard[-1] < last:
                line = next(lines)
                if line.startswith(b'data: {"seq"'):
                    heard.append(json.loads(line.removeprefix(b"data: "))["seq"])
    assert heard == list(range(1, last + 1))


def test_a_reader_that_never_takes_anything_is_let_go(bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "USER_TIMEOUT_S", 0.5)
    service = bench.start()
    assert service._listening is not None
    door = service._listening.doors[0]
    with socket.socket() as link:
        link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        link.connect(("127.0.0.1", door.port))
        asked = f"GET /api/feed?since=0 HTTP/1.1\r\nHost: 127.0.0.1:{door.port}\r\nAuthorization: Bearer {key(bench)}\r\n\r\n"
        link.sendall(asked.encode())
        ids = iter(range(10**6))

        def let_go() -> bool:
            for _ in range(20):
                body = {"act": "measurer", "args": ["ida" * 1000], "place": None, "via": "cli", "ids": [str(next(ids))]}
                service.inbox.put(Item("act", body))
            hub = service._listening.hub if service._listening is not None else None
            return hub is not None and hub.served > 0 and hub.readers == 0

        until(let_go, "the reader let go")


def test_the_service_stops_at_once_with_readers_hanging_on(bench: Rig) -> None:
    bench.start()
    ear = Ear(bench)
    with browser(bench) as client, events(client, since=0) as found:
        next(found)
        assert bench.stop() == 0
        assert [e.kind for e in found if e.kind != "message"] == []  # the stream ends, whole
    until(lambda: ear.heard)
