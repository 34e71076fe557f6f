"""The feed: without gap or duplicate, and never at the bench's cost."""

from __future__ import annotations

import json
import socket
from typing import Any

import pytest

from tests.servicekit import Ear, Rig, until
from thwart.announce.feed import Committed, Follower
from thwart.service.folder import read_door
from thwart.service.lines import Item


def test_a_follower_from_the_past_hears_everything_once(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.touch(212)
    bench.wait_for("measured")
    ear = Ear(bench, 0)
    bench.touch(250)
    last = bench.wait_for("asked").seq
    until(lambda: ear.heard and ear.heard[-1]["seq"] >= last)
    assert ear.seqs() == list(range(1, len(ear.heard) + 1))
    assert "1 total_length 212 mm" in [s["text"] for e in ear.heard for s in e["said"]]


def test_a_slow_follower_delays_nobody_and_catches_up(bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    service = bench.start()
    lagged: list[bool] = []
    take = Follower.take

    def watched(self: Follower, timeout_s: float) -> tuple[list[Committed], bool]:
        groups, lost = take(self, timeout_s)
        lagged.append(lost)
        return groups, lost

    monkeypatch.setattr(Follower, "take", watched)
    door = read_door(bench.folder)
    with socket.socket() as link:
        link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        link.settimeout(20)
        link.connect(("127.0.0.1", door.port))
        link.sendall(json.dumps({"token": door.token, "do": "follow", "since": 0}).encode() + b"\n")
        ids = iter(range(10**6))
        for n in range(1600):  # more than a follower may lag behind, and more bytes than the connection's buffers hold
            args = [("ida" if n % 2 else "ben") * 1000]
            body = {"act": "measurer", "args": args, "place": None, "via": "cli", "ids": [str(next(ids))]}
            service.inbox.put(Item("act", body))
        assert bench.act("batch open bay")["ok"] is True  # answered while the follower takes nothing
        last = bench.entries()[-1].seq
        assert last > 3200
        heard: list[int] = []
        with link.makefile("r") as lines:
            for line in lines:
                answer: dict[str, Any] = json.loads(line)
                if "entry" in answer:
                    heard.append(answer["entry"]["seq"])
                    if heard[-1] >= last:
                        break
        assert heard == list(range(1, last + 1))
    assert any(lagged)  # else this proves nothing


def test_a_follower_without_a_beginning_hears_what_comes(bench: Rig) -> None:
    bench.start()
    bench.act("batch open bay")
    ear = Ear(bench, since=-1)
    before = bench.entries()[-1].seq
    bench.act("measurer ida")
    until(lambda: ear.heard)
    assert ear.seqs()[0] == before + 1
