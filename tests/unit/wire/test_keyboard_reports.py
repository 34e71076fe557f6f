"""Reports of keyboard-page devices (page 0x07 of the HID Usage Tables) → text and names of keys."""

from __future__ import annotations

import pytest

from tests.hid_samples import KEYBOARD, stream, typed
from thwart.profiles import Profile, find_profile, from_mapping
from thwart.wire import Channel, Reading, Rejected, WireEvent, decode_frames
from thwart.wire.keyboard import CHARACTERS, Press, name_of

MS = 1_000_000

#: The table's own names (HID Usage Tables, page 0x07, as printed in the table file of hid-tools 0.12), from 04 on; "X and Y"
#: is the character without and with Shift.
LETTERS = "abcdefghijklmnopqrstuvwxyz"
NAMES = {
    0x1E: "1 and !", 0x1F: "2 and @", 0x20: "3 and #", 0x21: "4 and $", 0x22: "5 and %", 0x23: "6 and ^", 0x24: "7 and &",
    0x25: "8 and *", 0x26: "9 and (", 0x27: "0 and )", 0x2D: "- and _", 0x2E: "= and +", 0x2F: "[ and {", 0x30: "] and }",
    0x31: "\\ and |", 0x33: "; and :", 0x34: "' and \"", 0x35: "` and ~", 0x36: ", and <", 0x37: ". and >", 0x38: "/ and ?",
}  # fmt: skip
PAD = {
    0x54: "/", 0x55: "*", 0x56: "-", 0x57: "+", 0x59: "1", 0x5A: "2", 0x5B: "3", 0x5C: "4", 0x5D: "5", 0x5E: "6", 0x5F: "7",
    0x60: "8", 0x61: "9", 0x62: "0", 0x63: ".", 0x67: "=", 0xB0: "00", 0xB1: "000",
}  # fmt: skip


def test_the_published_table() -> None:
    wanted = {0x04 + at: (letter, letter.upper()) for at, letter in enumerate(LETTERS)}
    wanted |= {usage: tuple(name.split(" and ")) for usage, name in NAMES.items()}  # type: ignore[misc]
    wanted |= {usage: (text, text) for usage, text in PAD.items()}
    wanted |= {0x28: ("\r", "\r"), 0x58: ("\r", "\r"), 0x2B: ("\t", "\t"), 0x2C: (" ", " ")}
    assert wanted == CHARACTERS


def hear(
    *reports: str, profile: Profile | None = None, descriptor: bytes = KEYBOARD, every_ms: int = 8
) -> list[WireEvent]:
    """The events of reports that come one by one, the first 200 ms after opening, and of the silence after them."""
    channel = Channel(profile or find_profile("usage-page-keyboard"))
    channel.opened(0)
    events = channel.feed(stream(descriptor=descriptor), MS) if descriptor else []
    at_ms = 200
    for report in reports:
        events += channel.feed(stream(report), at_ms * MS)
        at_ms += every_ms
    return events + channel.wake((at_ms + 5000) * MS)


def scans(
    *reports: str, profile: Profile | None = None, descriptor: bytes = KEYBOARD, every_ms: int = 8
) -> list[str | None]:
    events = hear(*reports, profile=profile, descriptor=descriptor, every_ms=every_ms)
    return [event.identifier for event in events if isinstance(event, Reading)]


UP = "00 00 00 00 00 00 00 00"


def test_a_scan() -> None:
    """HID 1.11 appendix B.1 and the table: `A1` and Enter as a scanner sends them."""
    reports = ("02 00 04 00 00 00 00 00", UP, "00 00 1E 00 00 00 00 00", UP, "00 00 28 00 00 00 00 00", UP)
    (event,) = hear(*reports)
    assert isinstance(event, Reading)
    assert (event.identifier, event.raw, event.settled) == ("A1", b"A1", "each")
    assert event.arrived_ns == 200 * MS, "the first key's time"
    assert event.done_ns == 232 * MS


@pytest.mark.parametrize(("end", "every_ms"), [("\r", 8), ("\t", 8), ("", 8), ("\r", 0)])
def test_a_scan_ends_at_enter_at_tab_or_at_a_gap(end: str, every_ms: int) -> None:
    assert scans(*typed("2026S017F042" + end), every_ms=every_ms) == ["2026S017F042"]


def test_two_scans_parted_by_silence_alone() -> None:
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    events = channel.feed(stream(*typed("007"), descriptor=KEYBOARD), 200 * MS)
    events += channel.feed(stream(*typed("008")), 499 * MS)
    assert events == []
    assert channel.next_wake == 799 * MS
    (event,) = channel.wake(799 * MS)
    assert isinstance(event, Reading)
    assert (event.identifier, event.done_ns) == ("007008", 499 * MS), (
        "299 ms is no gap yet, and the end is the last key"
    )
    events = channel.feed(stream(*typed("009")), 1100 * MS) + channel.feed(stream(*typed("010")), 1400 * MS)
    events += channel.wake(2000 * MS)
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["009", "010"]


def test_a_repeated_character_is_two_presses_and_a_held_key_is_one() -> None:
    two, enter = "00 00 1F 00 00 00 00 00", "00 00 28 00 00 00 00 00"
    assert scans(two, UP, two, UP, enter) == ["22"]
    assert scans(two, two, two, UP, enter) == ["2"]


def test_keys_that_overlap_keep_their_order() -> None:
    """A fast scanner doesn't let go of one key before the next, or puts several into one report."""
    assert scans(
        "00 00 1E 00 00 00 00 00", "00 00 1E 1F 00 00 00 00", "00 00 1F 20 00 00 00 00", "00 00 28 00 00 00 00 00"
    ) == ["123"]
    assert scans("00 00 05 04 06 00 00 00", "00 00 28 00 00 00 00 00") == ["bac"]


@pytest.mark.parametrize("shift", ["02", "20"])
def test_shift_of_either_side(shift: str) -> None:
    reports = [f"{shift} 00 {usage:02X} 00 00 00 00 00" for usage in (0x04, 0x1F, 0x2D, 0x38)]
    assert scans(*[each for report in reports for each in (report, UP)]) == ["A@_?"]


def test_caps_lock_turns_letters_round_and_only_letters() -> None:
    caps, a, shift_a, one = (
        "00 00 39 00 00 00 00 00",
        "00 00 04 00 00 00 00 00",
        "02 00 04 00 00 00 00 00",
        "02 00 1E 00 00 00 00 00",
    )
    assert scans(*[each for report in (caps, a, shift_a, one, caps, a, shift_a) for each in (report, UP)]) == ["Aa!aA"]


def test_caps_lock_is_off_again_after_opening() -> None:
    channel = Channel(find_profile("usage-page-keyboard"))
    for _ in range(2):
        channel.opened(0)
        events = channel.feed(stream("00 00 39 00 00 00 00 00", UP, *typed("a\r"), descriptor=KEYBOARD), 200 * MS)
        assert [event.identifier for event in events if isinstance(event, Reading)] == ["A"]


def test_the_keypad_types_digits_whatever_num_lock_says() -> None:
    keys = [0x59, 0x62, 0x53, 0x63, 0x5D, 0xB0, 0x58]
    reports = [each for key in keys for each in (f"00 00 {key:02X} 00 00 00 00 00", UP)]
    wide = KEYBOARD.replace(bytes.fromhex("25 65 05 07 19 00 29 65"), bytes.fromhex("26 FF 00 05 07 19 00 29 FF"))
    assert scans(*reports, descriptor=wide) == ["10.500"]
    assert scans(*reports, descriptor=b"") == ["10.500"], "without a descriptor the boot layout holds, with all keys"


def test_backspace_takes_back() -> None:
    back = ("00 00 2A 00 00 00 00 00", UP)
    assert scans(*typed("129"), *back, *typed("3\r")) == ["123"]
    assert scans(*back, *typed("1"), *back, *back, *typed("2\r")) == ["2"]


def test_control_makes_the_separator_of_a_gs1_label() -> None:
    """GS (ASCII 1D) as terminals make it, Control and the right bracket: common practice, no source."""
    assert scans(*typed("01"), "01 00 30 00 00 00 00 00", UP, *typed("17\r")) == ["01\x1d17"]


@pytest.mark.parametrize(
    "key", ["00 00 01 01 01 01 01 01", "00 00 3A 00 00 00 00 00", "04 00 1E 00 00 00 00 00", "08 00 04 00 00 00 00 00"]
)
def test_text_with_a_key_that_is_no_character_is_refused_to_its_end(key: str) -> None:
    """Too many keys at once, F1, Alt, the system key: what came before and after them is no label any more."""
    events = hear(*typed("20"), key, UP, *typed("26\r"), *typed("next\r"))
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["next"]
    rejected = [(event.reason, event.raw) for event in events if isinstance(event, Rejected)]
    assert rejected == [("value", bytes.fromhex(key)), ("value", b"2026")]


def test_such_a_key_alone_spoils_nothing_after_a_silence() -> None:
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    events = channel.feed(stream("00 00 3A 00 00 00 00 00", UP, descriptor=KEYBOARD), 200 * MS)
    events += channel.feed(stream(*typed("12\r")), 900 * MS)
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["12"]


def test_the_rest_of_a_scan_that_was_under_way_at_opening_is_no_label() -> None:
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    events = channel.feed(stream(*typed("F042\r"), *typed("F043\r"), descriptor=KEYBOARD), 20 * MS)
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["F043"]
    assert [(event.reason, event.raw) for event in events if isinstance(event, Rejected)] == [("torn", b"F042")]


def test_a_lost_report_costs_the_scan_it_may_have_belonged_to() -> None:
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    events = channel.feed(stream(*typed("20"), descriptor=KEYBOARD), 200 * MS)
    events += channel.line_error(210 * MS) + channel.feed(stream(*typed("26\r"), *typed("27\r")), 211 * MS)
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["27"]
    assert {event.reason for event in events if isinstance(event, Rejected)} == {"line-error"}


def test_a_scan_cut_by_unplugging_is_torn() -> None:
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    channel.feed(stream(*typed("20"), descriptor=KEYBOARD), 200 * MS)
    assert [(event.reason, event.raw) for event in channel.closed(210 * MS) if isinstance(event, Rejected)] == [
        ("torn", b"20")
    ]


def test_what_never_ends_is_too_long() -> None:
    events = hear(*typed("a" * 300 + "\r"), *typed("b\r"))
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["b"]
    assert {event.reason for event in events if isinstance(event, Rejected)} == {"too-long"}


def test_reports_of_another_length_are_refused_and_spoil_the_scan() -> None:
    events = hear(*typed("1"), "00 00 1E", *typed("2\r"))
    assert [(event.reason, event.raw) for event in events if isinstance(event, Rejected)] == [
        ("layout", b"\0\0\x1e"),
        ("layout", b"12"),
    ]


def test_volume_keys_of_the_same_device_mean_nothing() -> None:
    consumer = bytes.fromhex("05 0C 09 01 A1 01 15 00 25 01 75 08 95 01 09 E9 81 02 C0")
    channel = Channel(find_profile("usage-page-keyboard"))
    channel.opened(0)
    events = channel.feed(stream(descriptor=KEYBOARD) + stream("01", descriptor=consumer, interface=1), 200 * MS)
    events += channel.feed(stream(*typed("12\r")), 201 * MS)
    assert [event.identifier for event in events if isinstance(event, Reading)] == ["12"]


def test_a_caliper_that_types_its_number() -> None:
    """Typed text goes through the ordinary layouts, so a number is as good as a label."""
    mapping = {
        "title": "x", "kind": "length", "mode": "prints", "emptied": "each", "unit": "mm", "division": "0.01", "range": ["0", "150"],
        "framing": {"reports": "keyboard", "terminators": ["\r"]}, "layout": [{"pattern": r"(?P<number>[0-9]+\.[0-9]{2})"}],
        "sample": [{"reports": typed("12\r"), "rejected": "layout"}],
    }  # fmt: skip
    events = hear(*typed("12"), "00 00 37 00 00 00 00 00", UP, *typed("34\r"), profile=from_mapping("mine", mapping))
    assert [(event.text, event.unit) for event in events if isinstance(event, Reading)] == [("12.34", "mm")]


def test_without_a_gap_an_unfinished_text_is_refused() -> None:
    mapping = {
        "title": "x", "kind": "identifier", "mode": "prints", "emptied": "each",
        "framing": {"reports": "keyboard", "terminators": ["\r"]}, "layout": [{"pattern": "(?P<identifier>.+)"}],
        "sample": [{"reports": typed("12\r"), "identifier": "12"}],
    }  # fmt: skip
    events = hear(*typed("12"), profile=from_mapping("mine", mapping))
    assert [(event.reason, event.raw) for event in events if isinstance(event, Rejected)] == [("gap", b"12")]


@pytest.mark.parametrize(
    ("press", "name"),
    [
        (Press(0x3E), "F5"), (Press(0x68), "F13"), (Press(0x04), "A"), (Press(0x1E), "1"), (Press(0x59), "PAD1"),
        (Press(0x58), "PADENTER"), (Press(0x2C), "SPACE"), (Press(0x97), "KEY97"), (Press(0x4E, frozenset({0xE0})), "CTRL+PAGEDOWN"),
        (Press(0x04, frozenset({0xE6, 0xE1})), "SHIFT+ALT+A"),
    ],
)  # fmt: skip
def test_names_of_keys(press: Press, name: str) -> None:
    assert name_of(press) == name


def test_a_pedal_is_one_word_for_each_press() -> None:
    profile = find_profile("usage-page-keys")
    f5, f6 = "00 00 3E 00 00 00 00 00", "00 00 3F 00 00 00 00 00"
    assert scans(f5, f5, UP, f5, UP, f6, UP, profile=profile) == ["F5", "F5", "F6"]


def test_offsets_are_those_of_the_stream() -> None:
    data = stream(*typed("12\r"), *typed("345\r"), *typed("6"), descriptor=KEYBOARD)
    heard = list(decode_frames(find_profile("usage-page-keyboard"), data))
    assert [one.raw for one in heard] == [b"12", b"345", b"6"]
    first = len(stream(descriptor=KEYBOARD))
    assert [one.offset for one in heard] == [first, first + 6 * 12, first + 14 * 12]
