"""The simulated peers themselves: what a receiver with other settings hears, drawn by hand; plugs and links."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from tests.conformance.rigs import open_on, read_all, wait_for
from thwart.ports import Gone, LineSettings
from thwart.ports.simulated import PtyLine, SimulatedLine, TcpLine, misread, simulated_line


def test_a_receiver_twice_as_fast_reads_each_bit_twice() -> None:
    """0x55 goes out as 0 1010 1010 1 (start, lowest bit first, stop). At twice the speed that is 00 11 00 11 0 ...: start
    0, then 0 1 1 0 0 1 1 0 which is 0x66, then a missing stop bit; the next start is the fall after it."""
    heard = misread(b"U", LineSettings(4800), LineSettings(9600))
    assert heard[0] == 0x66


def test_a_receiver_four_times_slower_skips_bits() -> None:
    """0x00 is low for nine bits. Slow bits are looked at after 2, 6, 10 ... of those: start, one low bit, then high."""
    assert misread(b"\x00", LineSettings(9600), LineSettings(2400)) == b"\xfe"


@pytest.mark.parametrize(("sent", "heard"), [(b"0", 0x30), (b"1", 0xB1), (b"A", 0x41), (b"C", 0xC3), (b"\r", 0x8D)])
def test_even_parity_heard_without_parity_is_the_eighth_bit(sent: bytes, heard: int) -> None:
    """By the definition of even parity: the eighth bit makes the number of ones even."""
    assert misread(sent, LineSettings(9600, 7, "even"), LineSettings(9600)) == bytes([heard])
    assert heard.bit_count() % 2 == 0


def test_other_parities_by_their_definitions() -> None:
    for parity, heard in (("odd", 0x31), ("mark", 0xB1), ("space", 0x31)):
        assert misread(b"1", LineSettings(9600, 7, parity), LineSettings(9600)) == bytes([heard])  # type: ignore[arg-type]


def test_a_wrong_speed_is_heard_wrong_on_a_real_terminal_and_the_right_one_right(tmp_path: Path) -> None:
    own = LineSettings(4800)
    line = PtyLine(tmp_path / "instrument", own)
    sent = b"  1412.0 g\r\n"
    for tried in (LineSettings(4800), LineSettings(9600), LineSettings(4800)):
        port = open_on("pty", line, tried)
        line.send(sent)
        wanted = misread(sent, own, tried)
        assert read_all(port, len(wanted)) == wanted
        assert (wanted == sent) is (tried == own)
        port.close()
        wait_for(lambda: not line.host_present)
    line.close()


def test_a_profile_with_seven_bits_opens_on_a_terminal_all_the_same(tmp_path: Path) -> None:
    """Linux refuses seven bits and parity on a pseudo-terminal; the demo's and anybody's socat would be unusable."""
    settings = LineSettings(4800, 7, "even", 2)
    line = PtyLine(tmp_path / "instrument", settings)
    for _ in range(2):
        port = open_on("pty", line, settings)
        line.send(b"142.5")
        assert read_all(port, 5) == b"142.5"
        port.close()
    line.close()


@pytest.fixture(params=["pty", "tcp"])
def line(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SimulatedLine]:
    made = PtyLine(tmp_path / "instrument") if request.param == "pty" else TcpLine()
    yield made
    made.close()


def test_what_is_sent_while_nobody_listens_is_lost(line: SimulatedLine) -> None:
    assert line.send(b"lost") == 0
    line.unplug()
    assert line.send(b"lost") == 0
    assert line.receive(0.0) == b""


def test_plugs_may_be_pulled_and_put_twice(line: SimulatedLine) -> None:
    name = line.port
    for _ in range(2):
        line.replug()
    for _ in range(2):
        line.unplug()
    assert not line.host_present
    line.replug()
    assert line.port == name


def test_the_link_leads_to_another_terminal_each_time_and_nowhere_between(tmp_path: Path) -> None:
    link = tmp_path / "instrument"
    line = PtyLine(link)
    seen = []
    for _ in range(4):
        assert str(link.readlink()) == line.device
        seen.append(line.device)
        line.unplug()
        assert not link.is_symlink()
        line.replug()
    assert all(one != other for one, other in pairwise(seen))
    line.close()
    assert not link.is_symlink()


def test_without_a_link_the_terminal_itself_is_the_port() -> None:
    line = PtyLine()
    assert line.port == line.device
    line.close()
    assert line.port == ""


def test_a_send_under_way_ends_when_the_host_leaves(tmp_path: Path) -> None:
    line = simulated_line(tmp_path / "instrument")
    port = open_on("pty", line)
    port.close()
    assert line.send(b"x" * 1_000_000) < 1_000_000
    port = open_on("pty", line)
    line.unplug()
    with pytest.raises(Gone):
        port.read(20.0)
    port.close()
    line.close()
