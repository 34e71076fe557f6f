"""`thwart run`: one bench, in the foreground, until told to stop."""

from __future__ import annotations

import gc
import logging
import random
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any

from .. import __version__
from ..announce.feed import Alarm, Committed, Feed, alarm_changes, follow_from
from ..announce.narrate import narrate
from ..announce.web.gate import Gate
from ..announce.web.listening import Listening
from ..config import Configured, read_bench
from ..errors import LedgerError, ThwartError
from ..ids import new_id
from ..languages import DEFAULT, LANGUAGES, language
from ..ledger import Ledger
from ..ledger.faults import holder
from ..ports import Supervisor
from .at_rest import answered, configuration, open_ledger
from .clerk import Clerk, groups
from .clock import Clock
from .control import Control
from .folder import CONTROL, SESSIONS, Lock, write_door
from .lines import Inbox, Item, Line
from .pages import Pages, admission, doors
from .saying import quoted
from .systemd import notify, watchdog_s

if TYPE_CHECKING:
    from ..announce.lamp import Lamps
    from ..announce.machine import Machine

log = logging.getLogger(__name__)

#: A commit held up for longer is said aloud.
_HELD_S = 1.0
#: A log of the database that grows beyond this has a reader that never lets go.
_WAL_ALARM = 64 * 1024 * 1024
_PRESENCE_S = 60.0
#: Groups a follower reads from the ledger at once.
_READ = 50


class Service:
    """One bench at work. `start`, then `wait`; `stop` from any thread or a signal."""

    def __init__(self, folder: Path) -> None:
        """Reads the configuration and takes the bench. Raises ThwartError."""
        self.configured: Configured = read_bench(folder)
        self.folder = folder
        self._lock = Lock(folder)
        try:
            self.ledger = open_ledger(self.configured)
        except BaseException:
            self._lock.release()
            raise
        last = self.ledger.last_stamp
        self.clock = Clock(last.utc if last is not None else None)
        self.inbox: Inbox = SimpleQueue()
        self.feed = Feed()
        self.clerk = Clerk(self.configured.setup, self.ledger, self.clock, self.inbox, self.feed)
        self.lines = [Line(wired, self.inbox, self.clock) for wired in self.configured.instruments]
        by_name = {line.wired.name: line for line in self.lines}

        def tared(instrument: str) -> None:
            if instrument in by_name:
                by_name[instrument].tared = True

        self.clerk.tared = tared
        self._supervisors = [_supervised(line) for line in self.lines]
        self._control: Control | None = None
        self._listening: Listening | None = None
        self._machine: Machine | None = None
        self._lamps: Lamps | None = None
        self._stop_asked = threading.Event()
        self._stopped = threading.Event()
        self._failed: BaseException | None = None
        self._present_at = 0.0

    # ---- life --------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Resume the state, record the start, open the ports and the control port. Raises ThwartError."""
        try:
            self._take_up()
        except BaseException:
            self._let_go()
            raise
        threading.Thread(target=self._clerk, name="clerk", daemon=True).start()
        for supervisor in self._supervisors:
            supervisor.start()
        threading.Thread(target=self._watch, name="watch", daemon=True).start()
        threading.Thread(target=self._tell, name="log", daemon=True).start()
        notify("READY=1")
        name, seq = self.configured.config.name, self.clerk.committed_seq
        assert self._listening is not None
        page = f"http://127.0.0.1:{self._listening.doors[0].port}/"
        log.info("ready bench=%s folder=%s seq=%s page=%s", quoted(name), quoted(self.folder), seq, page)

    def _take_up(self) -> None:
        self.clerk.resume()
        slots = {s.column: s for s in self.configured.protocol.slots}
        self.ledger.define_specimens_view(
            (s.key, "mm" if s.measurand.quantity == "length" else "g") for s in slots.values()
        )
        self._sound()
        self._light()
        sha256, items = configuration(self.clerk.bench)
        self.clerk.begin([*items, Item("started", {"version": __version__, "config_sha256": sha256})])
        self._control = Control(self.configured.config.control_port, self._answer)
        config = self.configured.config
        self.gate = Gate(self.folder / SESSIONS)
        cookie = "thwart-" + self.ledger.identity()[1][-12:]
        self._listening = Listening(doors(self.configured), Pages(self), self.gate, config.language, cookie)
        self._control.start(write_door(self.folder, self._control.port, self._listening.doors[0].port).token)
        self._listening.start()

    def _sound(self) -> None:
        """Before anything is said: what a restart asks is heard, too."""
        config = self.configured.config
        if config.sound is None or config.sound.silent:
            return
        from ..announce.machine import Loudness, Machine

        loudness = Loudness(**config.sound.model_dump(exclude={"silent"}))
        self._machine = Machine(self.feed, loudness, config.language, config.places)
        self._machine.start()

    def _light(self) -> None:
        """The lamps, where there are any."""
        fitted = [
            (s, line.wired) for s, line in zip(self._supervisors, self.lines, strict=True) if line.wired.profile.lamp
        ]
        if not fitted:
            return
        from ..announce.lamp import Fitted, Lamps

        lamps = [Fitted(w.name, w.places, w.profile.lamp, s.write) for s, w in fitted if w.profile.lamp is not None]
        self._lamps = Lamps(self.feed, lamps)
        self._lamps.start()

    def _let_go(self) -> None:
        if self._lamps is not None:
            self._lamps.stop()
        if self._machine is not None:
            self._machine.stop()
        if self._listening is not None:
            self._listening.stop()
        if self._control is not None:
            self._control.stop()
        (self.folder / CONTROL).unlink(missing_ok=True)
        self.ledger.close()
        self._lock.release()

    def wait(self) -> int:
        """Until stopped. Returns the exit code. Raises what ended it, if anything did."""
        while not self._stopped.wait(1.0):
            pass
        if self._failed is not None:
            raise self._failed
        return 0

    def stop(self, *_: object) -> None:
        """Stop cleanly: ports first, then what waits is written, then the stop itself. May be called at any time."""
        self._stop_asked.set()

    def _stop(self) -> None:
        notify("STOPPING=1")
        for supervisor in self._supervisors:
            supervisor.stop()
        self.inbox.put(Item("stopped", {"version": __version__}))
        self.clerk.stop()

    def _clerk(self) -> None:
        try:
            self.clerk.run(self._rest)
            self._presence()
            self.clerk.snapshot()
        except BaseException as fault:
            self._failed = fault
        finally:
            for supervisor in self._supervisors:
                supervisor.stop()
            self._let_go()
            log.info("stopped seq=%s", self.clerk.committed_seq)
            self._stopped.set()

    def _tell(self) -> None:
        """What is said goes into the log as well, in a thread of its own: a log that is held up must not hold the bench."""
        follower = self.feed.follow()
        while not self._stopped.is_set():
            groups, lost = follower.take(1.0)
            if lost:
                log.warning("log-lagged")
            for group in groups:
                for s in narrate(group.entries[0], group.entries[1:]):
                    place = f" place={s.place}" if s.place else ""
                    log.info("said seq=%s sound=%s%s text=%s", s.seq, s.sound, place, quoted(s.text))

    # ---- idle moments and the watch ----------------------------------------------------------------------------

    def _rest(self) -> None:
        """In the clerk's thread, when nothing came for a while."""
        if time.monotonic() - self._present_at > _PRESENCE_S:
            self._presence()
        try:
            self.ledger.checkpoint_when_idle()
        except LedgerError as error:
            log.warning("no-checkpoint reason=%s", quoted(error.message))

    def _presence(self) -> None:
        self._present_at = time.monotonic()
        try:
            for line in self.lines:
                if line.channel.last_frame_ns is not None:
                    self.ledger.mark_presence(line.wired.name, self.clock.utc_of(line.channel.last_frame_ns))
        except LedgerError as error:
            log.warning("no-presence reason=%s", quoted(error.message))

    def _watch(self) -> None:
        """Says aloud what the clerk itself can't while it is held up; tells systemd that all is well while it isn't."""
        every = watchdog_s()
        while not self._stopped.is_set():
            if self._stop_asked.wait(min(0.25 if self._busy() else 1.0, every or 1.0)):
                if not self.clerk.stopping:
                    self._stop()
                self._stopped.wait(0.25)
            held = self.clerk.committing_since
            stuck = held is not None and time.monotonic() - held > _HELD_S
            self._alarm("held", stuck, lambda: {"holder": self._holder()})
            self._alarm("reader", self.ledger.wal_bytes() > _WAL_ALARM, dict)
            self._alarm(
                "fault",
                self.clerk.fault is not None,
                lambda: {"reason": str(self.clerk.fault).removeprefix("not saved: ")},
            )
            if every is not None and held is None:
                notify("WATCHDOG=1")

    def _busy(self) -> bool:
        return self.clerk.committing_since is not None or self.clerk.fault is not None

    def _alarm(self, name: str, on: bool, args: Callable[[], Mapping[str, str]]) -> None:
        if on and name not in self.feed.alarms:
            alarm = Alarm(name, args(), self.clock.utc_of(self.clock.mono_ns()))
            self.feed.set_alarm(name, alarm)
            log.error("alarm name=%s reason=%s", name, quoted(language(DEFAULT).say("alarms", name, alarm.args)))
        elif not on and name in self.feed.alarms:
            self.feed.set_alarm(name, None)
            log.warning("over name=%s", name)

    def _holder(self) -> str:
        return holder(self.ledger.path) or "the disk"

    # ---- control -----------------------------------------------------------------------------------------------

    def _answer(self, request: Mapping[str, Any]) -> Iterator[Mapping[str, Any] | str]:
        match request.get("do"):
            case "act":
                yield self._act(request)
            case "status":
                yield {"ok": True, "status": self.status()}
            case "follow":
                yield from self._follow(request.get("since"), request.get("language", DEFAULT))
            case "page":
                yield {"ok": True, "page": self._page(request)}
            case other:
                raise ThwartError(f"unknown request {other!r}", "act, status, follow or page")

    def _ask(self, kind: str, body: dict[str, Any], timeout_s: float) -> Any:
        done: SimpleQueue[Any] = SimpleQueue()
        self.inbox.put(Item(kind, body, done.put))
        end = time.monotonic() + timeout_s
        while time.monotonic() < end and not self._stopped.is_set():
            try:
                return done.get(timeout=min(0.25, timeout_s))
            except Empty:
                continue
        why = self.clerk.fault or ("the service has stopped" if self._stopped.is_set() else "the service is busy")
        after = (
            "not done" if self._stopped.is_set() else "it will be done when it can; `thwart status` says why it waits"
        )
        raise ThwartError(why, after)

    def _act(self, request: Mapping[str, Any]) -> Mapping[str, Any]:
        args = request.get("args", [])
        if not isinstance(args, list) or len(args) > 64:
            raise ThwartError("args: a list of words")
        place = request.get("place")
        via = str(request.get("via", "cli"))[:20]
        return self.act(str(request.get("act", "")), args, None if place is None else str(place), via)

    def act(self, act: str, args: Sequence[Any], place: str | None, via: str, code: str = DEFAULT) -> Mapping[str, Any]:
        """Do an act; the answer comes after its commit. Raises ThwartError where that takes too long."""
        ids = [new_id(self.clock.now_ms()) for _ in self.configured.config.places]
        body = {"act": act, "args": [str(a)[:500] for a in args], "place": place, "via": via, "ids": ids}
        return answered(self._ask("act", body, 20.0), code)

    def look(self) -> Mapping[str, Any]:
        """What the bench holds now. Raises ThwartError while the clerk is held up."""
        held: Mapping[str, Any] = self._ask("look", {}, 1.0)
        return held

    def bands(self, lengths: Mapping[str, tuple[float, float]]) -> Mapping[str, Any]:
        """The length-mass bands of species, from and to a length, mm. Raises ThwartError while the clerk is held up."""
        found: Mapping[str, Any] = self._ask("look", {"lengths": lengths}, 1.0)
        return found

    def status(self) -> dict[str, Any]:
        """Everything `thwart status` shows."""
        now = self.clock.mono_ns()
        try:
            held: Any = self.look()
        except ThwartError:
            held = None
        return {
            "bench": self.configured.config.name,
            "version": __version__,
            "protocol": self.configured.protocol.name,
            "saved": self.clerk.fault is None and held is not None,
            "fault": self.clerk.fault or (None if held is not None else "the clerk is held up"),
            "committed_seq": self.clerk.committed_seq,
            "waiting_inputs": self.inbox.qsize(),
            "wal_bytes": self.ledger.wal_bytes(),
            "page": f"http://127.0.0.1:{self._listening.doors[0].port}/" if self._listening is not None else None,
            "sound": self._machine.status() if self._machine is not None else None,
            "held": held,
            "instruments": [line.status(now) for line in self.lines],
        }

    def _page(self, request: Mapping[str, Any]) -> Mapping[str, Any]:
        assert self._listening is not None
        return admission(self._listening.doors, self.configured.config.page.tablet, self.gate, request)

    def _follow(self, since: Any, code: Any) -> Iterator[Mapping[str, Any] | str]:
        if code not in LANGUAGES:
            raise ThwartError(f"there is no language {code!r}", "known: " + ", ".join(LANGUAGES))
        start = since if isinstance(since, int) and since >= 0 else self.clerk.committed_seq
        assert self._control is not None
        told: dict[str, Alarm] = {}
        for group in follow_from(self.feed, start, self.read, self._control.stopping):
            for change in alarm_changes(told, self.feed.alarms, code):
                yield {"ok": True, **change}
            if group is None:
                yield {"ok": True}
                continue
            for seq, text in group.texts(code, start):
                yield f'{{"ok": true, "entry": {text}}}'
                start = seq

    def read(self, after: int) -> list[Committed]:
        """Some of the groups that hold entries after one; none where it is the last. Raises LedgerError."""
        with Ledger.open(self.ledger.path, readonly=True) as ledger:
            first = next(ledger.entries(after), None)
            if first is None:
                return []
            found = groups(ledger.entries((first.input_seq or first.seq) - 1))
            return [Committed(group) for group in islice(found, _READ)]


def _supervised(line: Line) -> Supervisor:
    """What keeps a line's port open; a lamp goes dark when it is let go."""
    w = line.wired
    dark = w.profile.lamp.off if w.profile.lamp is not None else b""
    return Supervisor(w.spec, w.line, line, random.Random(), w.poll, farewell=dark)


def run(folder: Path) -> int:
    """Run a bench until SIGTERM or SIGINT. Raises ThwartError."""
    service = Service(folder)
    for sign in (signal.SIGTERM, signal.SIGINT):
        signal.signal(sign, service.stop)
    service.start()
    gc.freeze()
    gc.enable()
    return service.wait()
