"""What is heard from the computer itself: after the commit, newest wins, and nothing it does delays the bench."""

from __future__ import annotations

import logging
import shutil
import sqlite3
import subprocess
import tempfile
import wave
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.benchkit import SOLO, Play
from tests.servicekit import Rig, rig, until
from thwart.announce import machine
from thwart.announce.feed import Alarm, Committed, Feed
from thwart.announce.machine import PLAYERS, VOICES, Loudness, Machine
from thwart.announce.spoken import speakable
from thwart.announce.tones import PATTERNS
from thwart.cli.screen import status_picture
from thwart.entries import Entry
from thwart.languages import LANGUAGES, language

SOUND = '[sound]\nplayer = "aplay"\nvoice = "espeak-ng"\n'


class Programs:
    """A folder of sound programs that write down what they were given."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        self.log = folder / "heard"
        self.log.touch()

    def add(self, name: str, then: str = "") -> None:
        """A program that notes its name, its arguments and its input, and then does as told."""
        path = self.folder / name
        path.write_text(f'#!/bin/sh\necho "{name} $* < $(cat)" >> {self.log}\n{then}\n')
        path.chmod(0o755)

    def heard(self) -> list[str]:
        return self.log.read_text().splitlines()

    def voice(self) -> list[str]:
        return [line.split(" < ")[1] for line in self.heard() if line.startswith("espeak-ng")]

    def tones(self) -> list[str]:
        return [Path(line.split(" < ")[0].split()[-1]).stem for line in self.heard() if not line.startswith("espeak")]


@pytest.fixture
def programs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Programs:
    made = Programs(tmp_path / "programs")
    monkeypatch.setenv("PATH", f"{made.folder}:/usr/bin:/bin")
    return made


@pytest.fixture
def loud(tmp_path: Path, programs: Programs) -> Iterator[Rig]:
    programs.add("aplay")
    programs.add("espeak-ng")
    with rig(tmp_path / "lake", bench=SOUND) as made:
        yield made


def fish(*touches: int) -> list[Committed]:
    """What a bench commits for touches of a board, the first opening included."""
    play = Play(SOLO)
    for mm in touches:
        play.touch(mm)
    groups: list[list[Entry]] = []
    for entry in play.entries:
        if entry.input_seq is None:
            groups.append([])
        groups[-1].append(entry)
    return [Committed(group) for group in groups if group[0].kind == "reading"]


@pytest.fixture
def started() -> Iterator[Callable[..., tuple[Feed, Machine]]]:
    made: list[Machine] = []

    def start(**more: object) -> tuple[Feed, Machine]:
        feed = Feed()
        one = Machine(feed, Loudness(**more), "en", ["table", "knife"])  # type: ignore[arg-type]
        made.append(one)
        one.start()
        return feed, one

    yield start
    for one in made:
        one.stop()


# ---- in the service ------------------------------------------------------------------------------------------------


def test_a_reading_is_a_tone_and_then_words(loud: Rig, programs: Programs) -> None:
    loud.start()
    loud.act("batch open bay")
    loud.touch(212)
    until(lambda: "one, two one two millimetres." in programs.voice(), "the words")
    heard = programs.heard()
    at = next(i for i, line in enumerate(heard) if "two one two" in line)
    assert heard[at - 1].startswith("aplay -q /")
    assert heard[at - 1].endswith("taken-0.wav < ")
    assert "espeak-ng -v en -a 80 -s 150 --stdin" in heard[at]
    assert loud.status()["sound"] == {"player": "aplay", "voice": "espeak-ng"}


def test_nothing_is_heard_of_a_reading_before_its_commit(loud: Rig, programs: Programs) -> None:
    loud.start()
    loud.act("batch open bay")
    until(lambda: any("bay" in words for words in programs.voice()), "the batch")
    holder = sqlite3.connect(loud.folder / "ledger.db", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    loud.touch(212)
    until(lambda: any("not saved" in words for words in programs.voice()), "that nothing is saved")
    assert programs.tones()[-1].startswith("fault-")
    assert not any("two one two" in words for words in programs.voice())
    holder.execute("COMMIT")
    holder.close()
    until(lambda: any("two one two" in words or "over" in words for words in programs.voice()), "what was saved")


def test_what_a_restart_asks_is_heard(loud: Rig, programs: Programs) -> None:
    loud.start()
    loud.act("batch open bay")
    loud.touch(212)
    loud.wait_for("measured")
    loud.stop()
    programs.log.write_text("")
    programs.add("espeak-ng", "sleep 1")  # while it speaks, the instruments are found
    loud.start()
    until(lambda: any("same fish?" in words for words in programs.voice()), "the question")


@pytest.mark.parametrize("table", ["", "[sound]\nsilent = true\n"])
def test_without_the_table_or_in_silence_no_program_is_started(tmp_path: Path, programs: Programs, table: str) -> None:
    programs.add("aplay")
    programs.add("espeak-ng")
    with rig(tmp_path / "lake", bench=table) as bench:
        bench.start()
        bench.act("batch open bay")
        bench.touch(212)
        bench.wait_for("measured")
        bench.stop()
    assert programs.heard() == []


def test_without_programs_it_is_said_once_and_the_rest_runs(
    tmp_path: Path, programs: Programs, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("PATH", str(programs.folder))
    with caplog.at_level(logging.WARNING), rig(tmp_path / "lake", bench="[sound]\n") as bench:
        bench.start()
        bench.act("batch open bay")
        bench.touch(212)
        bench.touch(214)
        bench.wait_for("asked")
        assert bench.status()["sound"] == {"player": None, "voice": None}
        shown = status_picture(bench.status(), 80).splitlines()
        assert "sound of this computer: player: none is installed, voice: none is installed" in shown
        bench.stop()
    told = [r.getMessage() for r in caplog.records if "not installed" in r.getMessage()]
    assert [text.split()[0] for text in told] == ["no-player", "no-voice"]
    assert all(name in told[1] for name in VOICES)


# ---- the thread itself ---------------------------------------------------------------------------------------------


def test_the_newest_wins_and_ends_what_still_speaks(
    programs: Programs, started: Callable[..., tuple[Feed, Machine]]
) -> None:
    programs.add("espeak-ng", f"echo $$ > {programs.folder}/pid; sleep 60 & echo $! > {programs.folder}/child; wait")
    feed, _ = started(tones=False)
    first, second = fish(212, 214)
    feed.publish(first.entries)
    until(lambda: len(programs.voice()) == 1 and (programs.folder / "child").exists(), "the first")
    child = int((programs.folder / "child").read_text())
    feed.publish(second.entries)
    until(lambda: len(programs.voice()) == 2, "the second")
    assert "two one four" in programs.voice()[1]
    until(lambda: gone(child), "what the first had started")


def gone(pid: int) -> bool:
    """Whether a process is over: an orphan's end may wait to be taken note of."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().split()[2] == "Z"
    except FileNotFoundError:
        return True


def test_stop_is_silence(programs: Programs, started: Callable[..., tuple[Feed, Machine]]) -> None:
    programs.add("espeak-ng", f"echo $$ > {programs.folder}/pid; sleep 60")
    feed, one = started(tones=False)
    feed.publish(fish(212)[0].entries)
    until(lambda: (programs.folder / "pid").exists(), "the voice")
    one.stop()
    assert gone(int((programs.folder / "pid").read_text()))
    assert not one._thread.is_alive()


def test_a_stuck_program_is_ended_told_of_once_and_the_next_is_tried(
    programs: Programs,
    started: Callable[..., tuple[Feed, Machine]],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(machine, "_TONE_S", 0.2)
    programs.add("pw-play", "sleep 60")
    programs.add("aplay")
    feed, _ = started(speech=False)
    groups = fish(212, 214)
    with caplog.at_level(logging.WARNING):
        for n in range(4):
            feed.publish(groups[n % 2].entries)
            until(lambda n=n: len(programs.heard()) == n + 1, f"tone {n}")  # type: ignore[misc]
            if n == 0:
                until(lambda: caplog.records, "the complaint")
    assert [line.split()[0] for line in programs.heard()] == ["pw-play", "aplay", "aplay", "aplay"]
    (told,) = [r.getMessage() for r in caplog.records]
    assert told == 'player-failed program=pw-play reason="is stuck, and was ended"'


@pytest.mark.parametrize(
    ("end", "told"),
    [
        ("echo 'looking for one' >&2; echo 'no such device' >&2; exit 3", "ended with 3: no such device"),
        ("exit 1", "ended with 1: without a word"),
        # espeak-ng 1.51 without an output, as it was seen to end.
        ("echo 'ALSA lib: no cards' >&2; echo 'error: No such file' >&2", "ended with 0: error: No such file"),
    ],
)
def test_a_failing_program_is_told_of_once_with_its_own_words(
    programs: Programs,
    started: Callable[..., tuple[Feed, Machine]],
    caplog: pytest.LogCaptureFixture,
    end: str,
    told: str,
) -> None:
    programs.add("espeak-ng", end)
    feed, _ = started(tones=False)
    groups = fish(212, 214)
    with caplog.at_level(logging.WARNING):
        for n in range(3):
            feed.publish(groups[n % 2].entries)
            until(lambda n=n: len(programs.heard()) == n + 1, f"words {n}")  # type: ignore[misc]
        until(lambda: caplog.records, "the complaint")
    assert [r.getMessage() for r in caplog.records] == [f'voice-failed program=espeak-ng reason="{told}"']


def test_words_follow_where_the_player_cannot_be_started(
    programs: Programs, started: Callable[..., tuple[Feed, Machine]]
) -> None:
    (programs.folder / "aplay").write_text("no program at all")
    (programs.folder / "aplay").chmod(0o755)
    programs.add("espeak-ng")
    feed, _ = started(player="aplay")
    feed.publish(fish(212)[0].entries)
    until(lambda: programs.voice(), "the words")


def test_without_room_for_the_tones_the_voice_goes_on(
    programs: Programs,
    started: Callable[..., tuple[Feed, Machine]],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", "/dev/full/nowhere")
    programs.add("aplay")
    programs.add("espeak-ng")
    feed, _ = started()
    with caplog.at_level(logging.WARNING):
        for nth, group in enumerate(fish(212, 214)):
            feed.publish(group.entries)
            until(lambda nth=nth: len(programs.voice()) == nth + 1, "the words")  # type: ignore[misc]
    assert [r.getMessage().split()[0] for r in caplog.records] == ["no-tones"]
    assert programs.tones() == []


def test_a_question_is_not_lost_to_what_came_with_it() -> None:
    taken, asked = fish(212, 340)
    newest = machine._newest([asked, taken], "en")
    assert any("again or new" in s["spoken"] for s in newest)
    assert any("three four zero" in s["spoken"] for s in machine._newest([taken, asked], "en"))
    first, second = fish(212), fish(230)
    assert any("two three zero" in s["spoken"] for s in machine._newest([*first, *second], "en"))


def test_an_alarm_and_its_end_are_heard(programs: Programs, started: Callable[..., tuple[Feed, Machine]]) -> None:
    programs.add("aplay")
    programs.add("espeak-ng")
    feed, _ = started()
    feed.set_alarm("held", Alarm("held", {"holder": "another program"}, ""))
    until(lambda: programs.voice() == ["not saved, held by another program."], "the alarm")
    feed.set_alarm("held", None)
    until(lambda: programs.tones() == ["fault-0", "next-0"], "its end")


def test_each_place_has_its_pitch(programs: Programs, started: Callable[..., tuple[Feed, Machine]]) -> None:
    programs.add("aplay")
    feed, _ = started(speech=False)
    (group,) = fish(212)
    for e in group.entries:
        e.body["place"] = "knife"
    feed.publish(group.entries)
    until(lambda: programs.tones() == ["taken-1"], "the tone")


# ---- a real voice --------------------------------------------------------------------------------------------------


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")
@pytest.mark.parametrize("code", LANGUAGES)
def test_the_real_voice_speaks_each_figure(tmp_path: Path, code: str) -> None:
    """Our command for it, writing a file: a number of three figures takes longer than one, and its own pace is heeded."""

    def seconds(text: str) -> float:
        out = tmp_path / "said.wav"
        values = {"language": code, "volume": "80", "above": "60", "words": text}
        command = ["espeak-ng", *(arg.format_map(values) for arg in VOICES["espeak-ng"]), "-w", str(out)]
        subprocess.run(command, input=text.encode(), check=True, timeout=20, capture_output=True)
        with wave.open(str(out)) as file:
            return float(file.getnframes() / file.getframerate())

    words = language(code)
    one, three = seconds(speakable("214, 7 mm", words)), seconds(speakable("214, 777 mm", words))
    assert three - one > 0.3, "two figures more, at 150 words a minute some 0.4 s each"
    assert 1.0 < three < 6.0


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")
def test_the_real_voice_reads_words_as_words(tmp_path: Path) -> None:
    """What it would say, as phonemes: our words come out as words, none spelled, nothing taken for a command."""
    table = language("en").tables["spoken"]
    for text in (table["mm"], table["7"], table["point"]):
        said = subprocess.run(
            ["espeak-ng", "-v", "en", "-q", "-x", "--stdin"], input=text.encode(), capture_output=True, check=True, timeout=20
        )  # fmt: skip
        assert len(said.stdout.split()) == 1, said.stdout


def test_the_known_programs_are_those_of_the_bench_file() -> None:
    from typing import get_args

    from thwart.config import SoundConfig

    for field, known in (("player", PLAYERS), ("voice", VOICES)):
        literal = get_args(SoundConfig.model_fields[field].annotation)[0]
        assert get_args(literal) == tuple(known)
    assert set(PATTERNS) == {"taken", "look", "asked", "next", "fault"}
