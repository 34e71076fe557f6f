"""The feed: committed entries to whoever follows. A slow or dead follower never delays the bench."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from ..entries import Entry
from .narrate import narrate

#: Groups (an input with its decisions) a follower may lag behind before it must catch up from the ledger.
_LAG = 1000

Group = Sequence[Entry]


class Follower:
    """One reader of the feed. `take` waits for groups; where it lagged, it is told to catch up."""

    def __init__(self) -> None:
        self._groups: deque[Group] = deque()
        self._event = threading.Event()
        self._lock = threading.Lock()
        self._lost = False

    def offer(self, group: Group) -> None:
        """Called by the clerk: never waits."""
        with self._lock:
            if len(self._groups) >= _LAG:
                self._groups.clear()
                self._lost = True
            self._groups.append(group)
        self._event.set()

    def take(self, timeout_s: float) -> tuple[list[Group], bool]:
        """What came, and whether something was missed before it."""
        self._event.wait(timeout_s)
        with self._lock:
            groups, lost = list(self._groups), self._lost
            self._groups.clear()
            self._lost = False
            self._event.clear()
        return groups, lost


class Feed:
    """Fans committed groups out."""

    def __init__(self) -> None:
        self._followers: list[Follower] = []
        self._lock = threading.Lock()

    def follow(self) -> Follower:
        """A new follower, told of everything committed from now on."""
        follower = Follower()
        with self._lock:
            self._followers = [*self._followers, follower]
        return follower

    def leave(self, follower: Follower) -> None:
        """The follower goes."""
        with self._lock:
            self._followers = [f for f in self._followers if f is not follower]

    def publish(self, group: Group) -> None:
        """An input and its decisions, committed."""
        for follower in self._followers:
            follower.offer(group)


def follow_from(
    feed: Feed, since: int, read: Callable[[int], Iterator[Group]], stop: Callable[[], bool]
) -> Iterator[Group | None]:
    """All groups after entry `since`, without a gap: first from the ledger, then as they come. None: nothing new yet."""
    follower = feed.follow()
    try:
        caught_up = False
        while not stop():
            groups, lost = ([], True) if not caught_up else follower.take(1.0)
            if lost:
                for group in read(since):
                    since = group[-1].seq
                    yield group
                caught_up = True
            for group in groups:
                if group[0].seq > since:
                    since = group[-1].seq
                    yield group
            yield None
    finally:
        feed.leave(follower)


def lines_of(group: Group) -> list[dict[str, Any]]:
    """A group as the feed's objects: each entry, with what is said of it."""
    said: dict[int, list[dict[str, str | None]]] = {}
    for s in narrate(group[0], group[1:]):
        said.setdefault(s.seq, []).append({"sound": s.sound, "text": s.text})
    return [
        {
            "seq": e.seq, "kind": e.kind, "input": e.input_seq, "specimen_id": e.specimen_id, "at_utc": e.stamp.utc,
            "place": e.body.get("place"), "body": e.body, "said": said.get(e.seq, []),
        }
        for e in group
    ]  # fmt: skip
