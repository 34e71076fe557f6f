"""A lamp on a real pseudo-terminal, written to by the real service through pyserial."""

from __future__ import annotations

import signal
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.servicekit import Rig, rig, until
from thwart.ports.simulated import PtyLine

LETTERS = {"off": "O", "taken": "T", "look": "L", "asked": "A", "next": "N", "fault": "F"}


class Lit(Rig):
    """A bench with a lamp, whose hold is short."""

    got = ""

    def shows(self, state: str) -> bool:
        """Whether the last letter the lamp got is that of a state."""
        self.got += self.lines["lamp"].receive(0.05).decode()
        return self.got.split()[-1:] == [LETTERS[state]]

    def have(self, state: str) -> None:
        until(lambda: self.shows(state), f"{state}; got {self.got!r}")


@pytest.fixture
def lit(tmp_path: Path) -> Iterator[Lit]:
    bench = Lit(tmp_path / "lake")
    lamp = bench.folder / "lamp.toml"
    states = "".join(f'{state} = "{letter}\\n"\n' for state, letter in LETTERS.items())
    lamp.write_text(f'title = "a lamp"\nkind = "lamp"\n[lamp]\nhold_ms = 300\n{states}')
    bench.lines["lamp"] = PtyLine(bench.folder / "lamp.port")
    with (bench.folder / "bench.toml").open("a") as file:
        file.write(f'[instruments.lamp]\nprofile = "lamp.toml"\nport = "{bench.folder}/lamp.port"\n')
    try:
        yield bench
    finally:
        bench.close()


def test_it_shows_what_is_announced_and_is_dark_when_the_service_has_stopped(lit: Lit) -> None:
    lit.start()
    lit.act("batch open bay")
    lit.have("off")
    lit.touch(212)
    lit.wait_for("measured")
    lit.have("off")
    assert "T" in lit.got.split()[-2:]
    lit.touch(340)
    lit.have("asked")
    assert lit.stop() == 0
    lit.have("off")


def test_it_is_dark_after_a_signal_too(lit: Lit) -> None:
    lit.spawn()
    lit.act("batch open bay")
    lit.touch(212)
    lit.touch(340)
    lit.have("asked")
    code, _ = lit.end(signal.SIGTERM)
    assert code == 0
    lit.have("off")


def test_pulled_out_and_plugged_in_again_it_shows_what_it_should(lit: Lit) -> None:
    lit.start()
    lit.act("batch open bay")
    lit.lines["lamp"].unplug()
    gone = lit.wait_for("port", lambda b: b["instrument"] == "lamp" and not b["present"])
    lit.touch(212)
    lit.touch(340)
    lit.wait_for("asked")
    lit.got = ""
    lit.lines["lamp"].replug()
    lit.wait_for("port", lambda b: b["instrument"] == "lamp" and b["present"], after=gone.seq)
    lit.have("asked")


def test_what_it_answers_means_nothing(lit: Lit) -> None:
    lit.start()
    lit.act("batch open bay")
    lit.lines["lamp"].send(b"ok\r\n\x00\xff 212 mm\r\n")
    until(lambda: next(i for i in lit.status()["instruments"] if i["instrument"] == "lamp")["chatter"], "its answer")
    lit.touch(212)
    lit.wait_for("measured")
    assert not [
        e
        for e in lit.entries()
        if e.kind in ("rejected", "scan", "key") or (e.body.get("instrument") == "lamp" and e.kind == "reading")
    ]


def test_one_that_takes_nothing_delays_nobody(lit: Lit) -> None:
    """Nobody reads the far end: the terminal's buffer is full after some kilobytes, and the bench goes on."""
    text = (lit.folder / "lamp.toml").read_text()
    for state, letter in LETTERS.items():
        text = text.replace(f'{state} = "{letter}\\n"', f'{state} = "{letter * 63}\\n"')
    (lit.folder / "lamp.toml").write_text(text)
    lit.start()
    lit.act("batch open bay")
    for n in range(150):
        lit.act("pause" if n % 2 == 0 else "resume")
    lit.touch(212)
    lit.wait_for("measured")
    assert lit.stop() == 0


def test_nothing_is_shown_of_a_reading_before_its_commit(lit: Lit) -> None:
    lit.start()
    lit.act("batch open bay")
    lit.have("off")
    lit.got = ""
    holder = sqlite3.connect(lit.folder / "ledger.db", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    lit.touch(212)
    lit.have("fault")
    assert "T" not in lit.got
    holder.execute("COMMIT")
    holder.close()
    lit.have("off")


def test_a_lamp_serves_no_measurand(tmp_path: Path) -> None:
    from thwart.config import read_bench
    from thwart.errors import ConfigError

    with rig(tmp_path / "lake") as bench:
        with (bench.folder / "bench.toml").open("a") as file:
            file.write('[instruments.lamp]\nprofile = "lamp-letters"\nport = "/dev/lamp"\nserves = ["total_length"]\n')
        with pytest.raises(ConfigError) as caught:
            read_bench(bench.folder)
    assert any("serves" in problem for problem in caught.value.problems)
