"""A browser's part in the tests of the pages: real HTTP on loopback, cookies kept, events read as they come."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import httpx

from tests.servicekit import PATIENCE_S, Rig
from thwart.announce.web.gate import Role


def address(rig: Rig, door: int = 0) -> str:
    """Where the page of a service in this process is; door 1 is the tablet's."""
    assert rig.service is not None
    assert rig.service._listening is not None
    made = rig.service._listening.doors[door]
    return f"{made.entrance.scheme}://127.0.0.1:{made.port}"


def key(rig: Rig, role: Role = "act") -> str:
    """A key of this start."""
    assert rig.service is not None
    return rig.service.gate.key(role)


def stranger(rig: Rig, door: int = 0, **more: Any) -> httpx.Client:
    """A browser that the bench doesn't know, on a page of the bench's own origin."""
    base = address(rig, door)
    return httpx.Client(base_url=base, headers={"origin": base}, timeout=PATIENCE_S, **more)


@contextlib.contextmanager
def browser(rig: Rig, role: Role = "act", door: int = 0, **more: Any) -> Iterator[httpx.Client]:
    """A browser that came in by a key."""
    with stranger(rig, door, **more) as client:
        answer = client.post("/api/enter", json={"key": key(rig, role)})
        assert answer.json() == {"ok": True, "role": role}
        yield client


@dataclass(frozen=True, slots=True)
class Event:
    """A server-sent event."""

    kind: str
    id: str | None
    data: Any


def events(client: httpx.Client, **params: Any) -> contextlib.AbstractContextManager[Iterator[Event]]:
    """Follow the feed over HTTP."""

    @contextlib.contextmanager
    def following() -> Iterator[Iterator[Event]]:
        with client.stream("GET", "/api/feed", params=params) as answer:
            assert answer.status_code == 200, answer.read()
            yield _events(answer)

    return following()


def _events(answer: httpx.Response) -> Iterator[Event]:
    """HTML Living Standard, 9.2.6: fields up to an empty line are one event."""
    data: list[str] = []
    kind, ident = "message", None
    for line in answer.iter_lines():
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if not line:
            if data:
                yield Event(kind, ident, json.loads("\n".join(data)))
            kind, ident, data = "message", None, []
        elif name == "event":
            kind = value
        elif name == "id":
            ident = value
        elif name == "data":
            data.append(value)
        else:
            assert name == "retry", line


def entries(found: Iterator[Event], last: int) -> Iterator[dict[str, Any]]:
    """Entries of the feed up to one."""
    for event in found:
        if event.kind == "message":
            assert event.id == str(event.data["seq"])
            yield event.data
            if event.data["seq"] >= last:
                return
