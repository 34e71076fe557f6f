"""The supervisor with a scripted port and a clock that stands until told to move; and with real lines where threads meet."""

from __future__ import annotations

import logging
import random
import re
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.conformance.rigs import Recorder, supervise, wait_for
from thwart.errors import ThwartError
from thwart.ports import (
    Capture,
    CaptureWriter,
    Chunk,
    Ended,
    Gone,
    LineSettings,
    PortAbsent,
    PortBusy,
    PortStuck,
    Spec,
    Supervisor,
    parse_spec,
)
from thwart.ports.simulated import PtyLine, TcpLine
from thwart.ports.supervisor import IDLE_S, LONGEST_WAIT_S, Poll

MS = 1_000_000
SPEC = parse_spec("/dev/scripted")


class Clock:
    def __init__(self) -> None:
        self.now = 1_000_000_000

    def __call__(self) -> int:
        return self.now


class ScriptedPort:
    """Each step of the script is what one read does: bytes to return after some milliseconds, None to time out, a fault to
    raise. The script's end is the port's end."""

    def __init__(self, clock: Clock, script: list[tuple[int, bytes] | Exception | None]) -> None:
        self.clock = clock
        self.script = script
        self.timeouts: list[float] = []
        self.written: list[tuple[int, bytes]] = []
        self.errors: int | None = None
        self.stuck = False
        self.closed = 0

    def read(self, timeout_s: float) -> bytes:
        self.timeouts.append(timeout_s)
        step = self.script.pop(0) if self.script else Ended("end of the script")
        if isinstance(step, Exception):
            raise step
        if step is None:
            self.clock.now += round(timeout_s * 1e9)
            return b""
        after_ms, data = step
        self.clock.now += after_ms * MS
        if data.startswith(b"!"):
            self.errors = (self.errors or 0) + 1
        return data

    def write(self, data: bytes) -> None:
        if self.stuck:
            raise PortStuck("takes nothing")
        self.written.append((self.clock.now, data))

    def close(self) -> None:
        self.closed += 1

    def cancel(self) -> None: ...

    def error_count(self) -> int | None:
        return self.errors


class Opener:
    """Opens a series of ports; a fault in the series is raised instead."""

    def __init__(self, *series: ScriptedPort | ThwartError) -> None:
        self.series = list(series)
        self.asked = 0

    def __call__(self, spec: Spec, line: LineSettings) -> ScriptedPort:
        self.asked += 1
        item = self.series.pop(0)
        if isinstance(item, ThwartError):
            raise item
        return item


class InstantEvent(threading.Event):
    """Waiting moves the clock and takes no time."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self.clock = clock
        self.waits: list[float] = []

    def wait(self, timeout: float | None = None) -> bool:
        assert timeout is not None
        self.waits.append(timeout)
        self.clock.now += max(1, round(timeout * 1e9))
        return self.is_set()


def run(
    clock: Clock, listener: Recorder, *series: ScriptedPort | ThwartError, poll: Poll | None = None, seed: int = 1
) -> InstantEvent:
    """Run a supervisor over the series to its end, in this thread."""
    supervisor = Supervisor(SPEC, LineSettings(), listener, random.Random(seed), poll, clock, Opener(*series))
    event = InstantEvent(clock)
    supervisor._stopping = event
    supervisor._run()
    return event


def test_a_quiet_port_is_left_alone_for_seconds() -> None:
    clock = Clock()
    port = ScriptedPort(clock, [None, None, None])
    run(clock, Recorder(), port)
    assert port.timeouts == [0.2, IDLE_S, IDLE_S, IDLE_S], "after its first moment"
    assert IDLE_S >= 2


def test_a_wake_shortens_the_read_and_comes_when_due() -> None:
    clock = Clock()
    recorder = Recorder()
    recorder.wake = clock.now + 100 * MS
    port = ScriptedPort(clock, [(30, b"x"), None, None])
    start = clock.now
    run(clock, recorder, port)
    assert port.timeouts == pytest.approx([0.1, 0.07, IDLE_S, IDLE_S])
    assert recorder.calls == ["open", "bytes", "wake", "gone"]
    assert [at - start for at in recorder.times[:3]] == [0, 30 * MS, 100 * MS]


def test_bytes_that_came_go_before_a_wake_that_is_late() -> None:
    clock = Clock()
    recorder = Recorder()
    recorder.wake = clock.now - 5 * MS
    port = ScriptedPort(clock, [(0, b"x")])
    run(clock, recorder, port)
    assert port.timeouts[0] == 0.0
    assert recorder.calls == ["open", "bytes", "wake", "gone"]


def test_wakes_come_while_the_port_is_away() -> None:
    clock = Clock()
    recorder = Recorder()
    recorder.wake = clock.now + 20 * MS
    due = recorder.wake
    run(clock, recorder, PortAbsent("away"), PortAbsent("away"), ScriptedPort(clock, []))
    assert recorder.calls == ["refused", "wake", "open", "gone"]
    assert recorder.times[1] == pytest.approx(due, abs=2)


def test_bytes_carry_the_time_right_after_their_read() -> None:
    clock = Clock()
    recorder = Recorder()
    run(clock, recorder, ScriptedPort(clock, [(7, b"x")]))
    assert recorder.times[1] - recorder.times[0] == 7 * MS


def test_a_counted_line_error_is_told_before_the_bytes_it_may_lie_in() -> None:
    clock = Clock()
    recorder = Recorder()
    port = ScriptedPort(clock, [(1, b"fine"), (1, b"!torn"), (1, b"fine")])
    port.errors = 4
    run(clock, recorder, port)
    assert recorder.calls == ["open", "bytes", "line error", "bytes", "gone"]
    assert recorder.times[2] == recorder.times[3]


def test_an_instrument_that_is_asked_is_asked_at_once_and_then_at_its_interval() -> None:
    clock = Clock()
    start = clock.now
    first = ScriptedPort(clock, [(20, b"1"), None, (20, b"2"), None, Gone("unplugged")])
    second = ScriptedPort(clock, [])
    run(clock, Recorder(), first, second, poll=Poll(b"W\r\n", 0.2))
    assert [(at - start) // MS for at, _ in first.written] == [0, 200, 400]
    assert {command for _, command in first.written} == {b"W\r\n"}
    assert len(second.written) == 1


def test_a_far_end_that_takes_nothing_is_said_once_and_the_port_kept(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, "thwart.ports")
    clock = Clock()
    port = ScriptedPort(clock, [None, None, None])
    port.stuck = True
    recorder = Recorder()
    run(clock, recorder, port, poll=Poll(b"W", 0.2))
    assert recorder.calls == ["open", "gone"]
    assert [message for message in caplog.messages if "stuck" in message] == [
        'port=/dev/scripted state=stuck reason="takes nothing"'
    ]


def test_a_lost_port_is_closed_before_anything_else() -> None:
    clock = Clock()
    port = ScriptedPort(clock, [Gone("unplugged")])
    closed_at_gone = []

    class Watcher(Recorder):
        def on_gone(self, reason: str, at_ns: int) -> None:
            closed_at_gone.append(port.closed)
            super().on_gone(reason, at_ns)

    run(clock, Watcher(), port, ScriptedPort(clock, []))
    assert closed_at_gone[0] == 1


def test_retries_are_capped_spread_and_repeatable() -> None:
    def waits(seed: int) -> list[float]:
        clock = Clock()
        return run(clock, Recorder(), *[PortAbsent("away")] * 40, ScriptedPort(clock, []), seed=seed).waits

    first, other = waits(1), waits(2)
    assert first == waits(1)
    assert first != other, "two ports must not retry in step"
    assert max(first) <= LONGEST_WAIT_S == 0.5
    assert first[0] <= 0.05
    assert min(first[5:]) >= 0.25 * (1 - 1e-6)


def test_a_port_that_closes_at_once_is_not_opened_at_full_speed() -> None:
    clock = Clock()
    series = [ScriptedPort(clock, [Gone("busy elsewhere")]) for _ in range(20)]
    recorder = Recorder()
    waits = run(clock, recorder, *series, ScriptedPort(clock, [(5, b"x")])).waits
    assert min(waits[5:]) >= 0.25 * (1 - 1e-6)
    assert recorder.calls == ["open", "gone", "open", "bytes", "gone"], "nor is it told each time"


def test_a_port_on_trial_is_open_after_holding_for_a_moment() -> None:
    clock = Clock()
    recorder = Recorder()
    holding = ScriptedPort(clock, [None, None])
    run(clock, recorder, ScriptedPort(clock, [Gone("busy elsewhere")]), holding)
    assert holding.timeouts == [0.2, IDLE_S, IDLE_S]
    assert recorder.calls == ["open", "gone", "open", "gone"]


def test_what_was_to_be_written_to_a_lost_port_is_not_written_to_the_next() -> None:
    clock = Clock()
    supervisor = Supervisor(SPEC, LineSettings(), recorder := Recorder(), random.Random(1), None, clock)

    class Late(Recorder):
        def on_gone(self, reason: str, at_ns: int) -> None:
            supervisor._writes.append(b"too late")

    supervisor._listener = Late()
    next_port = ScriptedPort(clock, [(1, b"x")])
    supervisor._opener = Opener(ScriptedPort(clock, [Gone("unplugged")]), next_port)
    supervisor._stopping = InstantEvent(clock)
    supervisor._run()
    assert next_port.written == []
    assert recorder.calls == []


def test_a_port_that_lived_is_tried_again_soon() -> None:
    clock = Clock()
    lived = ScriptedPort(clock, [(2000, b"x"), Gone("unplugged")])
    waits = run(clock, Recorder(), *[PortAbsent("away")] * 9, lived, ScriptedPort(clock, [])).waits
    assert waits[-1] <= 0.05


def test_the_log_has_one_line_per_change_and_none_per_retry(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG, "thwart.ports")
    clock = Clock()
    recorder = Recorder()
    run(
        clock,
        recorder,
        *[PortAbsent("not there")] * 50,
        *[PortBusy('in use by "p"')] * 50,
        ScriptedPort(clock, [(5, b"x"), Gone("unplugged")]),
        *[PortAbsent("not there")] * 50,
        ScriptedPort(clock, []),
    )
    assert caplog.messages == [
        'port=/dev/scripted state=absent reason="not there"',
        "port=/dev/scripted state=busy reason=\"in use by 'p'\"",
        "port=/dev/scripted state=open",
        'port=/dev/scripted state=gone reason="unplugged"',
        'port=/dev/scripted state=absent reason="not there"',
        "port=/dev/scripted state=open",
        'port=/dev/scripted state=ended reason="end of the script"',
    ]
    assert all(re.fullmatch(r'port=\S+ state=[a-z]+( reason="[^"]*")?', message) for message in caplog.messages)
    assert recorder.calls == ["refused", "refused", "open", "bytes", "gone", "refused", "open", "gone"]


def test_a_fault_in_a_callback_costs_neither_the_port_nor_the_thread(caplog: pytest.LogCaptureFixture) -> None:
    clock = Clock()

    class Faulty(Recorder):
        def on_bytes(self, data: bytes, at_ns: int) -> None:
            if data == b"bad":
                raise ZeroDivisionError("planted")
            super().on_bytes(data, at_ns)

    recorder = Faulty()
    first = ScriptedPort(clock, [(1, b"bad"), (1, b"never read")])
    run(clock, recorder, first, ScriptedPort(clock, [(1, b"good")]))
    assert first.closed == 1
    assert "planted" in recorder.reasons[0]
    assert recorder.lives == [b"", b"good"]


def test_a_shortage_of_our_own_is_told_and_waited_out() -> None:
    clock = Clock()
    recorder = Recorder()
    opener = Opener(ScriptedPort(clock, []))
    shortages = [OSError(24, "Too many open files")] * 3

    def short_at_first(spec: Spec, line: LineSettings) -> ScriptedPort:
        if shortages:
            raise shortages.pop()
        return opener(spec, line)

    supervisor = Supervisor(SPEC, LineSettings(), recorder, random.Random(1), None, clock, short_at_first)
    supervisor._stopping = InstantEvent(clock)
    supervisor._run()
    assert recorder.calls == ["refused", "open", "gone"]
    assert "Too many open files" in str(recorder.troubles[0])


def test_what_was_read_when_stop_came_is_still_handed_over() -> None:
    clock = Clock()
    recorder = Recorder()
    recorder.wake = clock.now

    class StopsInRead(ScriptedPort):
        def read(self, timeout_s: float) -> bytes:
            supervisor._stopping.set()
            return super().read(timeout_s)

    port = StopsInRead(clock, [(1, b"last"), (1, b"never read")])
    supervisor = Supervisor(SPEC, LineSettings(), recorder, random.Random(1), None, clock, Opener(port))
    supervisor._run()
    assert recorder.calls == ["open", "bytes"]
    assert recorder.lives == [b"last"]
    assert port.closed == 1


def test_a_port_lost_while_stopping_is_not_told() -> None:
    clock = Clock()
    recorder = Recorder()

    class StopsInRead(ScriptedPort):
        def read(self, timeout_s: float) -> bytes:
            supervisor._stopping.set()
            return super().read(timeout_s)

    port = StopsInRead(clock, [Gone("unplugged")])
    supervisor = Supervisor(SPEC, LineSettings(), recorder, random.Random(1), None, clock, Opener(port))
    supervisor._run()
    assert recorder.calls == ["open"]


def test_a_capture_is_played_once_and_then_ended(tmp_path: Path) -> None:
    path = tmp_path / "capture"
    CaptureWriter(path, Capture((Chunk(0, b"one"), Chunk(2 * MS, b"two"))), 0).close()
    recorder = Recorder()
    supervisor = supervise("pty", f"replay:{path}", recorder)
    wait_for(lambda: supervisor.state == "ended")
    supervisor._thread.join()
    assert recorder.lives == [b"onetwo"]
    assert recorder.calls == ["open", "bytes", "gone"]


def test_a_write_to_what_is_not_open_is_refused() -> None:
    supervisor = Supervisor(SPEC, LineSettings(), Recorder(), random.Random(1))
    with pytest.raises(PortAbsent, match="/dev/scripted is not open"):
        supervisor.write(b"W")
    assert supervisor.stop()


@pytest.fixture
def two_lines(tmp_path: Path) -> Iterator[tuple[PtyLine, TcpLine]]:
    lines = PtyLine(tmp_path / "quiet"), TcpLine()
    yield lines
    for line in lines:
        line.close()


def _say_fifty(line: PtyLine, heard: Callable[[], bytes]) -> None:
    for number in range(50):
        line.send(b"%02d\n" % number)
        wait_for(lambda n=number: heard().endswith(b"%02d\n" % n))  # type: ignore[misc]


def test_one_ports_flood_does_not_hold_up_another(two_lines: tuple[PtyLine, TcpLine]) -> None:
    quiet, loud = two_lines
    heard, flood = Recorder(), Recorder()
    supervisors = supervise("pty", quiet.port, heard), supervise("tcp", loud.port, flood)
    wait_for(lambda: quiet.host_present and loud.host_present and heard.lives)
    done = threading.Event()

    def pour() -> None:
        while not done.is_set():
            loud.send(b"x" * 100_000)

    pourer = threading.Thread(target=pour)
    pourer.start()
    wait_for(lambda: flood.lives and flood.lives[-1])
    before = len(flood.lives[-1])
    _say_fifty(quiet, lambda: bytes(heard.lives[-1]))
    assert len(flood.lives[-1]) > before, "the flood must go on meanwhile, or this proves nothing"
    done.set()
    pourer.join()
    assert all(supervisor.stop() for supervisor in supervisors)


def test_a_listener_that_does_not_return_holds_up_its_own_port_only(two_lines: tuple[PtyLine, TcpLine]) -> None:
    quiet, stuck = two_lines
    release = threading.Event()

    class Stuck(Recorder):
        def on_bytes(self, data: bytes, at_ns: int) -> None:
            super().on_bytes(data, at_ns)
            release.wait()

    heard, held = Recorder(), Stuck()
    good, bad = supervise("pty", quiet.port, heard), supervise("tcp", stuck.port, held)
    wait_for(lambda: quiet.host_present and stuck.host_present and heard.lives)
    stuck.send(b"x")
    wait_for(lambda: "bytes" in held.calls)
    _say_fifty(quiet, lambda: bytes(heard.lives[-1]))
    assert not bad.stop(), "stop must return although the thread can't"
    release.set()
    wait_for(lambda: not stuck.host_present)
    assert good.stop()
