"""One suite over every kind of port: a terminal (two ways to read it), TCP, and a real RFC 2217 server.

The contract, in one sentence: what the far end sent while the port was open comes out of `read` complete, in order and
unchanged; a far end that is no more raises Gone; nothing else happens.
"""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conformance.rigs import KINDS, Recorder, make_line, open_on, opener, read_all, supervise, wait_for
from thwart.ports import Gone, LineSettings, PortAbsent, PortBusy, parse_spec
from thwart.ports.simulated import PtyLine, SimulatedLine

EVERY_BYTE = bytes(range(256))
# pyserial 3.5 starts its Telnet reader the old way.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")


@pytest.fixture(params=KINDS)
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def line(kind: str, tmp_path: Path) -> Iterator[SimulatedLine]:
    made = make_line(kind, tmp_path)
    yield made
    made.close()


def bursts(data: bytes, seed: int) -> Iterator[bytes]:
    rng = random.Random(seed)
    at = 0
    while at < len(data):
        size = rng.choice((1, 2, 7, 64, 300))
        yield data[at : at + size]
        at += size


def test_every_byte_value_arrives_whole(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    line.send(EVERY_BYTE)
    assert read_all(port, 256) == EVERY_BYTE
    port.close()


def test_bytes_sent_one_by_one_arrive_in_order(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    sender = threading.Thread(target=line.send, args=(EVERY_BYTE, 1, 0.0005))
    sender.start()
    assert read_all(port, 256) == EVERY_BYTE
    sender.join()
    port.close()


@pytest.mark.parametrize("seed", [1, 2])
def test_bytes_sent_in_bursts_arrive_in_order(kind: str, line: SimulatedLine, seed: int) -> None:
    sent = random.Random(seed).randbytes(5000)
    port = open_on(kind, line)

    def send() -> None:
        for burst in bursts(sent, seed):
            line.send(burst, pause_s=0.001)

    sender = threading.Thread(target=send)
    sender.start()
    assert read_all(port, len(sent)) == sent
    sender.join()
    port.close()


def test_a_burst_of_256_kib_is_not_lost(kind: str, line: SimulatedLine) -> None:
    sent = random.Random(3).randbytes(256 * 1024)
    port = open_on(kind, line)
    sender = threading.Thread(target=line.send, args=(sent,))
    sender.start()
    assert read_all(port, len(sent)) == sent
    sender.join()
    port.close()


def test_a_read_takes_what_is_there_and_does_not_wait_for_more(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    line.send(b"142")
    # Were it to wait for more, this would outlast the suite's own limit.
    first = port.read(1000.0)
    assert first
    assert first + read_all(port, 3 - len(first)) == b"142"
    port.close()


def test_silence_is_no_bytes(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    assert port.read(0.0) == b""
    assert port.read(0.01) == b""
    port.close()


def test_cancel_ends_a_read_under_way(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(port.read(1000.0)))
    reader.start()
    port.cancel()
    reader.join(20)
    assert read == [b""]
    line.send(b"after")
    assert read_all(port, 5) == b"after"
    port.close()


def test_unplugging_ends_a_read_under_way(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    timer = threading.Timer(0.05, line.unplug)
    timer.start()
    with pytest.raises(Gone) as caught:
        port.read(1000.0)
    assert caught.value.reason
    with pytest.raises(Gone):
        port.read(1000.0)
    port.close()


def test_closing_twice_is_once_and_cancel_after_it_is_nothing(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    port.close()
    port.close()
    port.cancel()


def test_the_instrument_hears_what_is_written(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    port.write(EVERY_BYTE)
    heard = b""
    while len(heard) < 256 and (more := line.receive(20.0)):
        heard += more
    assert heard == EVERY_BYTE
    port.close()


def test_writing_to_what_is_gone_says_gone(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    line.unplug()
    with pytest.raises(Gone):
        # TCP learns of it from the answer to the first write.
        for _ in range(1000):
            port.write(b"W\r\n")
            port.read(0.01)
    port.close()


def test_what_is_not_there_is_absent(kind: str, line: SimulatedLine) -> None:
    line.unplug()
    with pytest.raises(PortAbsent) as caught:
        opener(kind)(parse_spec(line.port), LineSettings())
    assert line.port in caught.value.message
    assert caught.value.hint


def test_it_can_be_opened_again_after_a_replug(kind: str, line: SimulatedLine) -> None:
    port = open_on(kind, line)
    device = line.device if isinstance(line, PtyLine) else None
    line.unplug()
    with pytest.raises(Gone):
        port.read(1000.0)
    port.close()
    line.replug()
    if isinstance(line, PtyLine):
        assert line.device != device, "the simulated replug must come back under another name, or this proves little"
    port = open_on(kind, line)
    line.send(b"again")
    assert read_all(port, 5) == b"again"
    port.close()


@pytest.mark.parametrize("other", ["pty", "plain"])
def test_an_open_terminal_is_refused_to_others_and_its_holder_named(tmp_path: Path, other: str) -> None:
    line = PtyLine(tmp_path / "instrument")
    port = open_on(other, line)
    with pytest.raises(PortBusy, match="this program itself") as caught:
        open_on("pty", line)
    assert caught.value.exit_code == 5
    line.send(b"still mine")
    assert read_all(port, 10) == b"still mine"
    port.close()
    open_on("pty", line).close()
    line.close()


@pytest.mark.parametrize("network", ["tcp", "rfc2217"])
def test_bytes_that_came_before_the_connection_closed_are_read_first(network: str, tmp_path: Path) -> None:
    """A terminal can't promise that: on a hang-up the system itself throws away what was not read."""
    line = make_line(network, tmp_path)
    sent = random.Random(4).randbytes(20_000)
    port = open_on(network, line)
    got = bytearray()
    line.send(sent)
    if network == "rfc2217":
        # The server's own pump must have passed everything on before its plug is pulled.
        got += read_all(port, 1)
        wait_for(lambda: port._queue.qsize() + len(got) >= len(sent))  # type: ignore[attr-defined]
    line.unplug()
    with pytest.raises(Gone):
        while True:
            got += port.read(20.0)
    assert bytes(got) == sent
    port.close()
    line.close()


def test_supervised_absent_at_the_start_is_normal(kind: str, line: SimulatedLine) -> None:
    line.unplug()
    recorder = Recorder()
    supervisor = supervise(kind, line.port, recorder)
    wait_for(lambda: recorder.calls)
    assert recorder.calls == ["refused"]
    line.replug()
    wait_for(lambda: supervisor.state == "open" and line.host_present)
    line.send(b"here")
    wait_for(lambda: recorder.lives[-1] == b"here")
    assert recorder.calls == ["refused", "open", "bytes"]
    assert supervisor.stop()


def test_supervised_unplug_and_replug(kind: str, line: SimulatedLine) -> None:
    recorder = Recorder()
    supervisor = supervise(kind, line.port, recorder)
    for number in range(1, 4):
        wait_for(lambda: supervisor.state == "open" and line.host_present)
        line.send(b"%d" % number)
        wait_for(lambda n=number: recorder.lives[-1] == b"%d" % n)  # type: ignore[misc]
        line.unplug()
        wait_for(lambda: recorder.calls[-1] in ("gone", "refused"))
        line.replug()
    wait_for(lambda: supervisor.state == "open")
    assert supervisor.stop()
    assert recorder.lives == [b"1", b"2", b"3", b""]
    assert recorder.calls.count("gone") == 3
    assert len(recorder.threads) == 1
    assert recorder.times == sorted(recorder.times)


def test_supervised_every_byte_of_a_burst_is_handed_over(kind: str, line: SimulatedLine) -> None:
    sent = random.Random(5).randbytes(32 * 1024)
    recorder = Recorder()
    supervisor = supervise(kind, line.port, recorder)
    wait_for(lambda: supervisor.state == "open" and line.host_present)
    line.send(sent)
    wait_for(lambda: len(recorder.lives[-1]) >= len(sent))
    assert recorder.lives == [sent]
    assert supervisor.stop()


def test_supervised_stop_ends_the_thread_and_the_calls(kind: str, line: SimulatedLine) -> None:
    recorder = Recorder()
    supervisor = supervise(kind, line.port, recorder)
    wait_for(lambda: supervisor.state == "open" and line.host_present)
    assert supervisor.stop()
    calls = list(recorder.calls)
    wait_for(lambda: not line.host_present)
    assert recorder.calls == calls == ["open"]


def test_supervised_writes_go_out_in_order(kind: str, line: SimulatedLine) -> None:
    supervisor = supervise(kind, line.port, Recorder())
    wait_for(lambda: supervisor.state == "open" and line.host_present)
    for word in (b"one ", b"two ", b"three"):
        supervisor.write(word)
    heard = b""
    while len(heard) < 13 and (more := line.receive(20.0)):
        heard += more
    assert heard == b"one two three"
    assert supervisor.stop()


def test_the_set_baud_message_is_the_standards() -> None:
    """RFC 2217: IAC SB COM-PORT-OPTION(44) SET-BAUDRATE(1), four bytes in network order, IAC SE. 9600 is 0x2580."""
    from tests.conformance.rfc2217_line import Rfc2217Line

    line = Rfc2217Line()
    port = open_on("rfc2217", line, LineSettings(baud=9600, data_bits=7, parity="even", stop_bits=2))
    heard = bytes(line.heard)
    port.close()
    line.close()
    wanted = ["FFFA2C0100002580FFF0", "FFFA2C0207FFF0", "FFFA2C0303FFF0", "FFFA2C0402FFF0"]
    at = [heard.find(bytes.fromhex(message)) for message in wanted]
    assert -1 not in at
    assert at == sorted(at), "the recommended order is baud, size, parity, stop"


def test_a_remote_line_is_really_set() -> None:
    """The instrument behind the server speaks at 4800 baud and is understood only once the server's port is set so."""
    from tests.conformance.rfc2217_line import Rfc2217Line

    settings = LineSettings(baud=4800)
    line = Rfc2217Line(settings)
    for tried, understood in ((settings, True), (LineSettings(), False)):
        port = open_on("rfc2217", line, tried)
        line.send(b"  1412.0 g\r\n")
        got = port.read(20.0)
        while more := port.read(0.1):
            got += more
        assert (got == b"  1412.0 g\r\n") is understood
        port.close()
        wait_for(lambda: not line.host_present)
    line.close()
