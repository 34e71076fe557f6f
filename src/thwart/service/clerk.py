"""The clerk: the one thread that takes inputs in order, has the bench decide, and makes each commit.

Said means saved: nothing is published or answered before the commit that holds it has returned. When a commit fails the
same entries are written again until it succeeds or the policy says stop; meanwhile inputs wait in the queue.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from queue import Empty
from typing import Any

from ..announce.feed import Feed, Group
from ..bench.kernel import Bench
from ..bench.setup import Setup
from ..bench.state import Key, Object
from ..entries import Entry
from ..errors import LedgerError
from ..ledger import Ledger
from .clock import Clock
from .lines import Inbox, Item
from .policy import policy_of
from .saying import quoted

log = logging.getLogger(__name__)

#: Inputs that share a commit at most.
_DRAIN = 256
#: A snapshot after so many entries keeps a start short.
SNAPSHOT_EVERY = 500
_IDLE_S = 2.0
#: A load that came or went, of which nothing is said, waits so long for company: a commit less to wear the card.
_HOLD_S = 0.5
#: How long a stop goes on trying to save what waits.
_LAST_TRIES_S = 5.0


@dataclass(slots=True)
class Pending:
    """An input decided but not yet durable."""

    entries: list[Entry]
    changed: dict[Key, Object | None]
    reply: Callable[[Any], None] | None

    @property
    def can_wait(self) -> bool:
        """Whether it says nothing to anyone: a load came or went. It shares the commit of what comes next."""
        quiet = self.reply is None and bool(self.entries) and self.entries[0].kind in ("arrival", "emptied")
        return quiet and all(d.kind in ("zeroed", "load") for d in self.entries[1:])


class Clerk:
    """Owns the bench and the ledger's pen."""

    def __init__(self, setup: Setup, ledger: Ledger, clock: Clock, inbox: Inbox, feed: Feed) -> None:
        self.bench = Bench(setup, ledger.records)
        self.ledger = ledger
        self.clock = clock
        self.inbox = inbox
        self.feed = feed
        self.fault: str | None = None
        self.committing_since: float | None = None
        self.committed_seq = 0
        self.stopping = False
        self._give_up_at = 0.0
        self._snapshot_at = 0
        self._idle: Callable[[], None] = lambda: None
        self.tared: Callable[[str], None] = lambda instrument: None
        """Called when an act declares the load of an instrument the tray."""

    # ---- start -------------------------------------------------------------------------------------------------

    def resume(self) -> None:
        """Take up the state where the ledger left it: the last snapshot and the entries since."""
        self.bench = resumed(self.bench.setup, self.ledger)
        self._snapshot_at = self.committed_seq = self.ledger.next_seq - 1

    def begin(self, items: Sequence[Item]) -> None:
        """Write the first inputs of a start. Raises LedgerError: a start that can't be recorded is none."""
        pending = [self._decide(item) for item in items]
        self._write(pending)
        self._publish(pending)

    # ---- the loop ----------------------------------------------------------------------------------------------

    def stop(self) -> None:
        """End once what waits now is written, or can't be for a while."""
        self._give_up_at = time.monotonic() + _LAST_TRIES_S
        self.stopping = True

    def run(self, idle: Callable[[], None]) -> None:
        """Work until stopped. `idle` is called when nothing has come for a while. Raises LedgerError where it must end."""
        self._idle = idle
        held: list[Pending] = []
        until = 0.0
        while True:
            items = self._gather(max(0.0, until - time.monotonic()) if held else _IDLE_S)
            if not items and not held and self.stopping:
                return
            if not held:
                until = time.monotonic() + _HOLD_S
            held += [p for item in items if (p := self._decide(item)).entries or p.reply]
            waits = all(p.can_wait for p in held) and time.monotonic() < until and not self.stopping
            if held and not waits:
                self._commit(held)
                held = []

    def _gather(self, at_most_s: float) -> list[Item]:
        items: list[Item] = []
        try:
            items.append(self.inbox.get(timeout=min(at_most_s, self._patience())))
            while len(items) < _DRAIN:
                items.append(self.inbox.get_nowait())
        except Empty:
            pass
        wake = self.bench.next_wake()
        if wake is not None and self.clock.mono_ns() >= wake:
            items.append(Item("wake", {}))
        if not items and at_most_s >= _IDLE_S:
            self._idle()
        return items

    def _patience(self) -> float:
        if self.stopping:
            return 0.0
        wake = self.bench.next_wake()
        if wake is None:
            return _IDLE_S
        return min(_IDLE_S, max(0.0, (wake - self.clock.mono_ns()) / 1e9))

    def _decide(self, item: Item) -> Pending:
        if item.kind == "look":
            return Pending([], {}, None if item.reply is None else _answered(item.reply, self.look(item.body)))
        entry = Entry(self.bench.seq + 1, item.kind, None, None, self.clock.stamp(), item.body)
        try:
            decisions, changed = self.bench.take(entry)
        except Exception as fault:  # a fault of ours must not lose what an instrument said
            log.exception("fault seq=%s kind=%s", entry.seq, entry.kind)
            decisions, changed = self.bench.spoilt(entry, fault_text(fault))
        if entry.kind == "wake" and not decisions:
            return Pending([], {}, None)
        return Pending([entry, *decisions], changed, item.reply)

    # ---- commit ------------------------------------------------------------------------------------------------

    def _write(self, pending: Sequence[Pending]) -> None:
        self.committing_since = time.monotonic()
        try:
            for p in pending:
                if p.entries:
                    self.ledger.write(p.entries, p.changed)
            self.ledger.commit()
        finally:
            self.committing_since = None

    def _commit(self, pending: list[Pending]) -> None:
        """Make it durable, then say it. Raises LedgerError where the policy says stop."""
        while True:
            try:
                self._write(pending)
                break
            except LedgerError as error:
                policy = policy_of(error)
                if self.fault is None:
                    log.error("not-saved reason=%s", quoted(error.message))
                self.fault = f"not saved: {error.message}"
                if policy.retry_s is None or (self.stopping and time.monotonic() > self._give_up_at):
                    log.error("lost inputs=%s", len(pending) + self.inbox.qsize())
                    raise
                time.sleep(policy.retry_s)
        if self.fault is not None:
            log.warning("saved-again")
            self.fault = None
        self._publish(pending)
        self._maybe_snapshot()

    def _publish(self, pending: Sequence[Pending]) -> None:
        for p in pending:
            if p.entries:
                self.committed_seq = p.entries[-1].seq
                self.feed.publish(p.entries)
                self._tell_lines(p.entries)
            if p.reply is not None:
                p.reply(p.entries)

    def _tell_lines(self, entries: Sequence[Entry]) -> None:
        """A person said that what lies on a scale is the tray: its line must take it for the baseline."""
        if entries[0].kind in ("act", "scan", "key"):
            for e in entries[1:]:
                if e.kind == "load" and "reading" not in e.body and "specimens" not in e.body:
                    self.tared(e.body["instrument"])

    def _maybe_snapshot(self) -> None:
        if self.committed_seq - self._snapshot_at >= SNAPSHOT_EVERY:
            self.snapshot()

    def snapshot(self) -> None:
        """Keep the state, so that a start need not fold the whole ledger. Failing at it loses nothing."""
        try:
            self.ledger.snapshot(self.bench.snapshot().decode(), self.committed_seq)
            self._snapshot_at = self.committed_seq
        except LedgerError as error:
            log.warning("no-snapshot reason=%s", quoted(error.message))

    # ---- looking -----------------------------------------------------------------------------------------------

    def look(self, body: Mapping[str, Any]) -> Mapping[str, Any]:
        """What the bench holds now, as plain values; of `lengths` of species, their bands. Only ever called in the clerk's thread."""
        if "lengths" in body:
            from .cloud import bands

            return bands(self.bench, body["lengths"])
        from .picture import picture

        return picture(self.bench)


def _answered(reply: Callable[[Any], None], value: Any) -> Callable[[Any], None]:
    return lambda _: reply(value)


def fault_text(fault: Exception) -> str:
    """What a fault is called where an input's rules failed."""
    return type(fault).__name__


def resumed(setup: Setup, ledger: Ledger) -> Bench:
    """A bench in the state the ledger's entries make: the last snapshot, then what came since."""
    bench = Bench(setup, ledger.records)
    kept = ledger.load_snapshot()
    after = 0
    if kept is not None:
        after, text = kept
        bench.restore(text)
    for _ in bench.fold(ledger.entries(after)):
        pass
    return bench


def groups(entries: Iterator[Entry]) -> Iterator[Group]:
    """Entries gathered by input."""
    group: list[Entry] = []
    for entry in entries:
        if entry.input_seq is None and group:
            yield group
            group = []
        group.append(entry)
    if group:
        yield group
