"""What a lamp shows, and its profile."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]

from tests.benchkit import SOLO, Play
from thwart.announce.feed import lines_of
from thwart.announce.lamp import Fitted, Shown
from thwart.entries import Entry
from thwart.errors import ConfigError
from thwart.ports import PortAbsent
from thwart.profiles import Lamp, Profile, check_profile, find_profile, load_profile
from thwart.profiles.loading import schema_text

LETTERS = find_profile("lamp-letters")


class Post:
    """A lamp at the table, and everything it was sent."""

    def __init__(self, *places: str) -> None:
        self.sent: list[bytes] = []
        self.there = True
        assert LETTERS.lamp is not None
        self.shown = Shown(Fitted("lamp", places or ("table",), LETTERS.lamp, self._write))
        self.told = 0

    def _write(self, data: bytes) -> None:
        if not self.there:
            raise PortAbsent("gone", "plug it in")
        self.sent.append(data)

    def follow(self, play: Play, now: float) -> str:
        """Hear what came; what it shows then."""
        for group in groups(play.entries):
            if group[-1].seq > self.told:
                self.told = group[-1].seq
                self.shown.hear(lines_of(group), now)
        return self.shown.state

    def at(self, now: float) -> str:
        self.shown.pass_time(now)
        return self.shown.state


def groups(entries: list[Entry]) -> Iterator[list[Entry]]:
    group: list[Entry] = []
    for entry in entries:
        if entry.input_seq is None and group:
            yield group
            group = []
        group.append(entry)
    if group:
        yield group


def test_a_reading_is_shown_for_its_time_and_then_it_is_dark() -> None:
    play, lamp = Play(SOLO), Post()
    play.touch(212)
    assert lamp.follow(play, 10.0) == "taken"
    assert (lamp.at(11.9), lamp.at(12.0)) == ("taken", "off")
    assert lamp.sent[-2:] == [b"T\n", b"O\n"]


def test_a_question_is_shown_until_it_is_answered() -> None:
    play, lamp = Play(SOLO), Post()
    play.touch(212)
    play.touch(340)
    assert lamp.follow(play, 0.0) == "asked"
    assert lamp.at(1000.0) == "asked"
    play.weigh(300)
    lamp.follow(play, 1000.0)
    assert lamp.at(1010.0) == "asked", "what came meanwhile doesn't answer it"
    play.act("again")
    assert lamp.follow(play, 1020.0) in ("taken", "asked")
    assert not play.bench.open_questions("table")
    assert lamp.at(1040.0) == "off"


def test_a_question_the_next_fish_moved_to_the_quiet_list_is_shown_no_longer() -> None:
    play, lamp = Play(SOLO), Post()
    play.touch(212)
    play.touch(340)
    play.act("next")
    lamp.follow(play, 0.0)
    assert not play.bench.open_questions("table")
    assert lamp.at(3.0) == "off"


def test_undoing_leaves_no_question_lit() -> None:
    play, lamp = Play(SOLO), Post()
    play.touch(212)
    play.touch(340)
    lamp.follow(play, 0.0)
    play.act("undo")
    lamp.follow(play, 1.0)
    assert lamp.at(9.0) == ("asked" if play.bench.open_questions("table") else "off")


def test_a_lamp_shows_its_own_places_only() -> None:
    play, lamp = Play(SOLO), Post("knife")
    play.touch(212)
    play.touch(340)
    lamp.follow(play, 0.0)
    assert lamp.at(5.0) == "off"
    assert not {b"T\n", b"A\n"} & set(lamp.sent)


def test_an_alarm_is_fault_until_it_is_over() -> None:
    play, lamp = Play(SOLO), Post()
    lamp.shown.alarm(True, 0.0)
    play.touch(212)
    assert lamp.follow(play, 1.0) == "taken"
    assert lamp.at(4.0) == "fault"
    lamp.shown.alarm(True, 5.0)
    assert lamp.sent.count(b"F\n") == 2
    lamp.shown.alarm(False, 6.0)
    assert lamp.at(8.1) == "off"


def test_a_lamp_that_comes_back_is_sent_what_it_should_show() -> None:
    play, lamp = Play(SOLO), Post()
    lamp.there = False
    play.touch(212)
    play.touch(340)
    assert lamp.follow(play, 0.0) == "asked"
    assert lamp.sent == []
    lamp.there = True
    there = {"instrument": "lamp", "present": True, "reason": "", "profile": "lamp-letters", "port": "/dev/lamp"}
    play.put("port", **there)
    lamp.follow(play, 1.0)
    assert lamp.at(4.0) == "asked"
    assert lamp.sent[-1] == b"A\n"


# ---- the profile ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["lamp-letters", "lamp-relays"])
def test_shipped_lamps_are_sound(name: str) -> None:
    profile = find_profile(name)
    assert profile.kind == "lamp"
    assert check_profile(profile) == []


def test_frames_of_the_relays_carry_their_sums() -> None:
    lamp = find_profile("lamp-relays").lamp
    assert lamp is not None
    for state in ("off", "taken", "look", "asked", "next", "fault"):
        sent = getattr(lamp, state)
        frames = [sent[i : i + 4] for i in range(0, len(sent), 4)]
        assert [frame[1] for frame in frames] == [1, 2, 3]
        assert all(frame[0] == 0xA0 and sum(frame[:3]) % 256 == frame[3] for frame in frames)


GOOD = 'title = "x"\nkind = "lamp"\n[lamp]\noff = "0"\ntaken = "1"\nlook = "2"\nasked = "3"\nnext = "4"\nfault = "5"\n'


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (GOOD.replace('fault = "5"', 'fault = "1"'), "fault: is the same as taken"),
        (GOOD.replace('fault = "5"\n', ""), "fault"),
        (GOOD.replace('fault = "5"', 'fault = ""'), "fault"),
        (GOOD.replace('"lamp"\n', '"lamp"\nmode = "prints"\n'), "mode: belongs to what is read"),
        (GOOD.replace('"lamp"\n', '"lamp"\nunit = "g"\n'), "unit: belongs to what is read"),
        (GOOD.replace('kind = "lamp"', 'kind = "key"'), "framing"),
        ('title = "x"\nkind = "lamp"\n', "lamp: kind lamp and the table lamp belong together"),
        (GOOD + "hold_ms = 5\n", "hold_ms"),
        (GOOD.replace('off = "0"', 'off = "✗"'), "is no byte"),
    ],
)
def test_what_is_wrong_with_a_lamp_is_told_with_its_key(tmp_path, text: str, told: str) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "mine.toml").write_text(text)
    with pytest.raises(ConfigError) as caught:
        load_profile(tmp_path / "mine.toml")
    assert any(told in problem for problem in caught.value.problems), caught.value.problems


def test_an_instrument_has_no_lamp_and_still_needs_its_own_keys() -> None:
    import json
    import tomllib

    schema = json.loads(schema_text())
    Draft202012Validator.check_schema(schema)
    holds = Draft202012Validator(schema).is_valid
    lamp = tomllib.loads(GOOD)
    assert holds(lamp)
    assert not holds({**lamp, "mode": "prints"})
    assert not holds({key: value for key, value in lamp.items() if key != "lamp"})
    from thwart.profiles import shipped_profiles

    for path in shipped_profiles().values():
        data = tomllib.loads(path.read_text())
        assert holds(data), path
        assert data["kind"] == "lamp" or not holds({**data, "lamp": lamp["lamp"]}), path
        if data["kind"] != "lamp":
            assert not holds({key: value for key, value in data.items() if key != "sample"})


def test_what_is_fitted_is_what_the_profile_says() -> None:
    assert isinstance(LETTERS, Profile)
    assert isinstance(LETTERS.lamp, Lamp)
