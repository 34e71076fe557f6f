"""The control port: who may speak, and what it makes of nonsense."""

from __future__ import annotations

import json
import select
import socket
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from tests.servicekit import Rig, until
from thwart.errors import ThwartError
from thwart.service.folder import read_door


@contextmanager
def _line_to(bench: Rig) -> Iterator[Any]:
    door = read_door(bench.folder)
    with socket.create_connection(("127.0.0.1", door.port), timeout=20) as link, link.makefile("rwb") as file:
        yield file


def _ask(file: Any, raw: bytes) -> Any:
    file.write(raw + b"\n")
    file.flush()
    return json.loads(file.readline())


def test_the_door_can_be_read_by_this_user_only_and_is_on_loopback(bench: Rig) -> None:
    bench.start()
    assert stat.S_IMODE((bench.folder / "control.json").stat().st_mode) == 0o600
    assert stat.S_IMODE((bench.folder / "service.lock").stat().st_mode) == 0o600
    assert bench.service is not None
    assert bench.service._control is not None
    assert bench.service._control._socket.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize("token", ['"wrong"', '""', "null", "5", '{"a": 1}', '"\\u00e4"', '"\\ud800"'])
def test_a_wrong_token_gets_nothing(bench: Rig, token: str) -> None:
    bench.start()
    with _line_to(bench) as file:
        answer = _ask(file, f'{{"token": {token}, "do": "status"}}'.encode())
        assert answer["ok"] is False
        assert "status" not in answer
        assert answer["error"] in ("wrong token", "one JSON object a line, at most 64 KiB")


@pytest.mark.parametrize(
    "raw", [b"", b"{", b"[]", b"5", b"nonsense", b"\xff\xfe", b"[" * 60_000, b'{"a":' * 10_000, b'"' + b"x" * 60_000 + b'"']
)  # fmt: skip
def test_nonsense_is_answered_and_the_line_stays_usable(bench: Rig, raw: bytes) -> None:
    bench.start()
    token = read_door(bench.folder).token
    with _line_to(bench) as file:
        assert _ask(file, raw) == {"ok": False, "error": "one JSON object a line, at most 64 KiB", "hint": ""}
        assert _ask(file, json.dumps({"token": token, "do": "status"}).encode())["ok"] is True


def test_a_huge_line_is_answered_and_ends_the_connection(bench: Rig) -> None:
    bench.start()
    with _line_to(bench) as file:
        answer = _ask(file, b"x" * 70_000)
        assert answer["ok"] is False
    assert bench.status()["saved"] is True


@pytest.mark.parametrize(
    ("request_", "error"),
    [
        ({"do": "dance"}, "unknown request 'dance'"),
        ({}, "unknown request None"),
        ({"do": "act", "act": "next", "args": "x"}, "args: a list of words"),
        ({"do": "act", "act": "next", "args": ["x"] * 65}, "args: a list of words"),
        ({"do": "act", "act": "nxt"}, "there is no act 'nxt'; did you mean next"),
        ({"do": "act", "act": "next", "place": "attic"}, "there is no place 'attic'; places: table"),
        ({"do": "act", "act": "next"}, "no batch is open: `batch open NAME` first"),
        ({"do": "act", "act": 5, "args": [None, {"a": []}]}, "there is no act '5'; "),
    ],
)
def test_a_request_that_makes_no_sense_says_so(bench: Rig, request_: dict[str, Any], error: str) -> None:
    bench.start()
    token = read_door(bench.folder).token
    with _line_to(bench) as file:
        answer = _ask(file, json.dumps({"token": token, **request_}).encode())
        assert answer["ok"] is False
        assert answer["error"].startswith(error)


def test_half_a_surrogate_pair_reaches_neither_bench_nor_ledger(bench: Rig) -> None:
    bench.start()
    token = read_door(bench.folder).token
    before = len(bench.entries())
    with _line_to(bench) as file:
        raw = json.dumps({"token": token, "do": "act", "act": "measurer", "args": ["\ud800"]}).encode()
        assert _ask(file, raw)["ok"] is False
    assert len(bench.entries()) == before
    assert bench.act("measurer ida")["ok"] is True


def test_more_connections_than_it_takes_are_told_so_and_those_before_work(bench: Rig) -> None:
    bench.start()
    port = read_door(bench.folder).port
    many = [socket.create_connection(("127.0.0.1", port), timeout=20) for _ in range(80)]
    try:
        # The ones taken are silent, the ones turned away were spoken to.
        turned_away = until(lambda: _spoken_to(many) if len(_spoken_to(many)) >= len(many) - 64 else None)
        assert len(turned_away) == len(many) - 64
        assert all(b"too many connections" in link.recv(500) for link in turned_away)
    finally:
        for link in many:
            link.close()
    assert until(lambda: _works(bench))


def _spoken_to(links: list[socket.socket]) -> list[socket.socket]:
    return select.select(links, [], [], 0)[0]


def _works(bench: Rig) -> bool:
    try:
        return bool(bench.status()["saved"])
    except ThwartError:
        return False


def test_a_client_that_goes_away_in_the_middle_hurts_nobody(bench: Rig) -> None:
    bench.start()
    for _ in range(5):
        with _line_to(bench) as file:
            file.write(b'{"token": "')
            file.flush()
    assert bench.act("batch open bay")["ok"] is True


def test_a_fault_of_the_program_is_answered(bench: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    service = bench.start()
    monkeypatch.setattr(service, "status", lambda: 1 / 0)
    with pytest.raises(ThwartError, match="a fault of the program, ZeroDivisionError"):
        bench.client().ask(do="status")
    assert bench.act("batch open bay")["ok"] is True
