"""The feed: committed entries, and alarms, to whoever follows. A slow or dead follower never delays the bench.

The form of its objects is `shared/feed.schema.json`. Entries come in groups: an input with the decisions it led to. What
is said of a group is worked out once a language, by the first follower that wants it, never by the clerk.
"""

from __future__ import annotations

import json
import re
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..entries import Entry
from ..languages import DEFAULT, language
from .narrate import narrate
from .spoken import speakable, spoken

#: Groups a follower may lag behind before it must catch up from the ledger.
_LAG = 1000

_ENDS = re.compile("[\x85\u2028\u2029]")

Group = Sequence[Entry]


class Committed:
    """A committed group: an input with its decisions, and its objects, made when first wanted."""

    __slots__ = ("_made", "entries")

    def __init__(self, entries: Group) -> None:
        self.entries = entries
        self._made: dict[str, list[tuple[int, str]]] = {}

    @property
    def last(self) -> int:
        """Seq of its last entry."""
        return self.entries[-1].seq

    def texts(self, code: str, since: int) -> list[tuple[int, str]]:
        """(seq, JSON text) of its entries after `since`, in a language. Two threads may make the same: no harm."""
        made = self._made.get(code)
        if made is None:
            made = [(o["seq"], one_line(o)) for o in lines_of(self.entries, code)]
            self._made[code] = made
        return made if since < self.entries[0].seq else [(seq, text) for seq, text in made if seq > since]


@dataclass(frozen=True, slots=True)
class Alarm:
    """Something that hinders the bench now, whose words are made from code and arguments. No entry: it may be why none is written."""

    code: str
    args: Mapping[str, str]
    at_utc: str

    def to_json(self, on: bool, code: str = DEFAULT) -> dict[str, Any]:
        """As an object of the feed: it began (`on`), or is over."""
        words = language(code)
        text = (
            words.say("alarms", self.code, self.args)
            if on
            else words.say("alarms", "over", {"what": words.say("alarms", self.code, self.args)})
        )
        said = [{"sound": "fault" if on else "next", "text": text, "spoken": speakable(text, words), "place": None}]
        return {"alarm": self.code, "on": on, "at_utc": self.at_utc, "said": said}


def one_line(thing: Mapping[str, Any]) -> str:
    """JSON on one line, whatever a reader takes for the end of a line (Unicode has more of them than JSON escapes)."""
    text = json.dumps(thing, ensure_ascii=False)
    return text if text.isascii() else _ENDS.sub(lambda end: f"\\u{ord(end[0]):04x}", text)


def alarm_changes(told: dict[str, Alarm], now: Mapping[str, Alarm], code: str = DEFAULT) -> list[dict[str, Any]]:
    """What a follower that was told of some alarms must hear now; `told` is brought up to date."""
    over = [a.to_json(False, code) for name, a in told.items() if name not in now]
    begun = [a.to_json(True, code) for name, a in now.items() if name not in told]
    told.clear()
    told.update(now)
    return over + begun


class Follower:
    """One reader of the feed. `take` waits for groups; where it lagged, it is told to catch up from the ledger."""

    def __init__(self, wake: Callable[[], None] | None = None) -> None:
        """`wake`: called (in the clerk's thread) when something came; for readers that don't wait in `take`."""
        self._groups: deque[Committed] = deque()
        self._event = threading.Event()
        self._lock = threading.Lock()
        self._lost = False
        self._wake = wake

    def offer(self, group: Committed) -> None:
        """Called by the clerk: never waits."""
        with self._lock:
            if len(self._groups) >= _LAG:
                self._groups.clear()
                self._lost = True
            self._groups.append(group)
        self.stir()

    def stir(self) -> None:
        """Something is to be looked at: groups, or alarms."""
        if not self._event.is_set():
            self._event.set()
            if self._wake is not None:
                self._wake()

    def take(self, timeout_s: float) -> tuple[list[Committed], bool]:
        """What came, and whether something was missed before it."""
        self._event.wait(timeout_s)
        with self._lock:
            groups, lost = list(self._groups), self._lost
            self._groups.clear()
            self._lost = False
            self._event.clear()
        return groups, lost


class Feed:
    """Fans committed groups out, and says which alarms are on."""

    def __init__(self) -> None:
        self._followers: list[Follower] = []
        self._lock = threading.Lock()
        self.alarms: Mapping[str, Alarm] = {}
        """Replaced as a whole, so that any thread may read it."""

    def follow(self, wake: Callable[[], None] | None = None) -> Follower:
        """A new follower, told of everything committed from now on."""
        follower = Follower(wake)
        with self._lock:
            self._followers = [*self._followers, follower]
        return follower

    def leave(self, follower: Follower) -> None:
        """The follower goes."""
        with self._lock:
            self._followers = [f for f in self._followers if f is not follower]

    def publish(self, group: Group) -> None:
        """An input and its decisions, committed."""
        committed = Committed(group)
        for follower in self._followers:
            follower.offer(committed)

    def set_alarm(self, name: str, alarm: Alarm | None) -> None:
        """An alarm is on, or (None) over."""
        now = {n: a for n, a in self.alarms.items() if n != name}
        self.alarms = now if alarm is None else {**now, name: alarm}
        for follower in self._followers:
            follower.stir()


def follow_from(
    feed: Feed, since: int, read: Callable[[int], Sequence[Committed]], stop: Callable[[], bool]
) -> Iterator[Committed | None]:
    """All groups that hold entries after `since`, without a gap: first from the ledger, then as they come.

    None: nothing new for a second, or alarms changed. `read` gives some groups after an entry, and none where it is the last.
    """
    follower = feed.follow()
    try:
        behind = True
        while not stop():
            groups, lost = ([], False) if behind else follower.take(1.0)
            if behind or lost:
                while found := read(since):
                    for group in found:
                        yield group
                        since = group.last
                behind = False
            for group in groups:
                if group.last > since:
                    yield group
                    since = group.last
            yield None
    finally:
        feed.leave(follower)


def lines_of(group: Group, code: str = DEFAULT) -> list[dict[str, Any]]:
    """A group as the feed's objects: each entry, with what is said of it in a language."""
    said: dict[int, list[dict[str, str | None]]] = {}
    words, by_seq = language(code), {e.seq: e for e in group}
    for s in narrate(group[0], group[1:], words):
        voice = spoken(s.text, by_seq.get(s.seq), words)
        said.setdefault(s.seq, []).append({"sound": s.sound, "text": s.text, "spoken": voice, "place": s.place})
    return [
        {
            "seq": e.seq, "kind": e.kind, "input": e.input_seq, "specimen_id": e.specimen_id, "at_utc": e.stamp.utc,
            "place": e.body.get("place"), "body": e.body, "said": said.get(e.seq, []),
        }
        for e in group
    ]  # fmt: skip
