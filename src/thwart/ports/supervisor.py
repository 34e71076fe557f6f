"""One thread per port: open, read, hand over, let go at once when it is gone, try again. Nothing else waits for it.

| state | ends by | then |
| --- | --- | --- |
| closed | the opening succeeds | `on_open`, open; after a life that brought nothing: on trial |
|  | the opening fails | `on_refused` if the kind of trouble is new; wait; closed |
| on trial | bytes came, or 0.2 s went by | `on_open`, open |
|  | the port is gone | close it; wait; closed |
| open | bytes came | `on_line_error` if errors were counted, `on_bytes`, open |
|  | the listener's wake is due | `on_wake`, open |
|  | the port is gone | close it, `on_gone`, closed |
|  | a capture is at its end | `on_gone`, ended |
| any | `stop` | close it; no more calls |
"""

from __future__ import annotations

import contextlib
import logging
import random
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from thwart.errors import PortError, ThwartError
from thwart.ports.faults import Ended, Gone, PortAbsent, PortStuck
from thwart.ports.line import LineSettings
from thwart.ports.opening import open_port
from thwart.ports.port import Port
from thwart.ports.spec import Spec

log = logging.getLogger("thwart.ports")

#: How long a read blocks when nothing is due: only a bound, for bytes, hang-ups and `stop` end it at once.
IDLE_S = 5.0
FIRST_WAIT_S = 0.05
LONGEST_WAIT_S = 0.5
#: A port that lived shorter than this keeps the wait it had.
SETTLED_NS = 1_000_000_000
#: One that went this soon and brought no byte is on trial for as long when it is opened next: a converter that serves
#: somebody else accepts and hangs up, twice a second, all night. With the longest wait it stays well below a second.
TRIAL_NS = 200_000_000
STOP_LIMIT_S = 0.4
WRITES_KEPT = 64


class Listener(Protocol):
    """What a supervisor tells. All calls come from the port's own thread, with monotonic nanoseconds."""

    def on_open(self, at_ns: int) -> None:
        """The port is open; bytes read from now on were sent after (or torn by) this moment."""

    def on_bytes(self, data: bytes, at_ns: int) -> None:
        """`data` was read; `at_ns` is right after the read."""

    def on_line_error(self, at_ns: int) -> None:
        """The system counted line errors since the last read. Comes right before the bytes they may lie in, if any.

        The count may run ahead of the bytes: the damage lies in the frame under way, in any frame that has a byte in
        the bytes that follow, or at the very start of the bytes after those.
        """

    def on_gone(self, reason: str, at_ns: int) -> None:
        """The port that was open is not any more, and is closed already."""

    def on_refused(self, trouble: ThwartError, at_ns: int) -> None:
        """The port can't be opened, for another kind of reason than at the last attempt."""

    def on_wake(self, at_ns: int) -> None:
        """The time that `next_wake` gave has come."""

    def next_wake(self) -> int | None:
        """When to be woken next, or None. Asked after each of the other calls; a wake changes it."""


@dataclass(frozen=True, slots=True)
class Poll:
    """What an instrument that is asked must be sent, and how often."""

    command: bytes
    interval_s: float


class Supervisor:
    """Keeps one port open as long as it can be, in a thread of its own, and tells its listener what happens."""

    def __init__(
        self,
        spec: Spec,
        line: LineSettings,
        listener: Listener,
        rng: random.Random,
        poll: Poll | None = None,
        clock: Callable[[], int] = time.monotonic_ns,
        opener: Callable[[Spec, LineSettings], Port] = open_port,
        farewell: bytes = b"",
    ) -> None:
        """`rng` spreads the retries of many ports; `clock` gives monotonic nanoseconds; `farewell` is sent at `stop`."""
        self.spec = spec
        self._line = line
        self._listener = listener
        self._rng = rng
        self._poll = poll
        self._farewell = farewell
        self._clock = clock
        self._opener = opener
        self._port: Port | None = None
        self._state = "closed"
        self._proven = True
        self._stopping = threading.Event()
        self._writes: deque[bytes] = deque()
        self._thread = threading.Thread(target=self._run, name=f"port {spec}", daemon=True)

    @property
    def state(self) -> str:
        """closed, open, gone, absent, ambiguous, busy, forbidden, failed or ended."""
        return self._state

    def start(self) -> None:
        """Begin. Returns at once, whether the port is there or not."""
        self._thread.start()

    def stop(self) -> bool:
        """Let go of the port and make no more calls; False if its thread is still caught in one after 0.4 s.

        What a read has returned by then is still handed over. A caught thread (a listener that doesn't return, a host
        name that doesn't resolve) can't hinder the program from ending, and closes the port as soon as it is free.
        """
        self._stopping.set()
        self._interrupt()
        if self._thread.is_alive():
            self._thread.join(STOP_LIMIT_S)
        return not self._thread.is_alive()

    def write(self, data: bytes) -> None:
        """Have `data` sent by the port's thread, soon and in order. Raises PortAbsent while the port isn't open."""
        if self._state != "open":
            raise PortAbsent(f"{self.spec} is not open now ({self._state})", "plug it in, then try again")
        if len(self._writes) >= WRITES_KEPT:
            raise PortStuck(f"{self.spec} takes no bytes; {WRITES_KEPT} messages wait", "check that it is switched on")
        self._writes.append(data)
        self._interrupt()

    def _interrupt(self) -> None:
        port = self._port
        if port is not None:
            port.cancel()

    def _run(self) -> None:
        wait_s = FIRST_WAIT_S
        while not self._stopping.is_set():
            opened_ns = self._clock()
            try:
                port = self._opener(self.spec, self._line)
            except ThwartError as trouble:
                self._refused(trouble)
            except OSError as error:
                # Of our own needs, such as one descriptor more than this process may have.
                self._refused(PortError(f"{self.spec} can't be opened: {error.strerror}"))
            else:
                opened_ns = self._clock()
                self._port = port
                gone = self._serve(port, opened_ns)
                self._port = None
                if gone is None or self._stopping.is_set():
                    return
                if self._state == "open":
                    self._enter(gone.state, gone.reason)
                    self._listener.on_gone(gone.reason, self._clock())
                if isinstance(gone, Ended):
                    return
                if self._clock() - opened_ns >= SETTLED_NS:
                    wait_s = FIRST_WAIT_S
            self._rest(wait_s * self._rng.uniform(0.5, 1.0))
            wait_s = min(wait_s * 2, LONGEST_WAIT_S)

    def _serve(self, port: Port, opened_ns: int) -> Gone | None:
        """Read `port` until it is gone (returned) or `stop` was called (None). It is closed on return."""
        try:
            if self._stopping.is_set():
                return None
            self._writes.clear()
            if self._proven:
                self._announce(opened_ns)
            self._proven = False
            self._read_loop(port, opened_ns)
            if self._farewell:
                with contextlib.suppress(PortStuck):
                    port.write(self._farewell)
        except Gone as gone:
            return gone
        except Exception as fault:
            # A fault of ours in one callback must cost the bench neither this instrument nor the others.
            log.exception("port=%s state=failed", self.spec)
            return Gone(f"fault in this program: {fault!r}")
        finally:
            # First of all: while a dead port is held open, the adapter comes back under another name.
            port.close()
        return None

    def _announce(self, opened_ns: int) -> None:
        if self._state != "open":
            self._enter("open")
            self._listener.on_open(opened_ns)

    def _read_loop(self, port: Port, opened_ns: int) -> None:
        errors = port.error_count()
        poll_ns = self._clock() if self._poll else None
        stuck = False
        while not self._stopping.is_set():
            if poll_ns is not None and self._poll is not None and self._clock() >= poll_ns:
                self._writes.append(self._poll.command)
                # From now, not from when it was due: a port that was slow isn't asked twice in a row.
                poll_ns = self._clock() + int(self._poll.interval_s * 1e9)
            if self._writes:
                stuck = self._send(port, stuck)
            data = port.read(self._idle_s(poll_ns, None if self._proven else opened_ns + TRIAL_NS))
            at_ns = self._clock()
            if not self._proven and (data or at_ns - opened_ns >= TRIAL_NS):
                self._proven = True
                self._announce(opened_ns)
            counted = port.error_count()
            if counted != errors:
                errors = counted
                if self._state == "open":
                    self._listener.on_line_error(at_ns)
            if data:
                self._listener.on_bytes(data, at_ns)
            self._wake_if_due()

    def _send(self, port: Port, stuck: bool) -> bool:
        try:
            while self._writes:
                port.write(self._writes.popleft())
        except PortStuck as trouble:
            if not stuck:
                log.warning('port=%s state=stuck reason="%s"', self.spec, trouble.message)
            return True
        if stuck:
            log.info("port=%s state=open", self.spec)
        return False

    def _idle_s(self, *others_ns: int | None) -> float:
        due = [at for at in (self._listener.next_wake(), *others_ns) if at is not None]
        return max(0.0, min((min(due) - self._clock()) / 1e9, IDLE_S)) if due else IDLE_S

    def _wake_if_due(self) -> None:
        wake_ns = self._listener.next_wake()
        now = self._clock()
        if wake_ns is not None and now >= wake_ns and not self._stopping.is_set():
            self._listener.on_wake(now)

    def _rest(self, seconds: float) -> None:
        """Wait before the next attempt to open; the listener's wakes don't wait for that."""
        until_ns = self._clock() + int(seconds * 1e9)
        while (left_ns := until_ns - self._clock()) > 0:
            if self._stopping.wait(min(left_ns / 1e9, self._idle_s(until_ns))):
                return
            self._wake_if_due()

    def _refused(self, trouble: ThwartError) -> None:
        state = getattr(trouble, "state", "failed")
        if state != self._state and not self._stopping.is_set():
            self._enter(state, trouble.message)
            self._listener.on_refused(trouble, self._clock())

    def _enter(self, state: str, reason: str = "") -> None:
        """One line in the log for each change, never for a retry."""
        self._state = state
        level = logging.INFO if state in ("open", "ended") else logging.WARNING
        if reason:
            log.log(level, 'port=%s state=%s reason="%s"', self.spec, state, reason.replace('"', "'"))
        else:
            log.log(level, "port=%s state=%s", self.spec, state)
