"""Report descriptors: HID 1.11, sections 5.3 to 6.2.2, and what a descriptor that lies does."""

from __future__ import annotations

import pytest

from tests.hid_samples import KEYBOARD, scale_descriptor
from thwart.wire.hid import Splitter, parse_descriptor


def parse(text: str) -> list[tuple[int, int, int, int]]:
    """(report id, offset, size, count) of each field of a sound descriptor."""
    descriptor = parse_descriptor(bytes.fromhex(text))
    assert descriptor.problems == ()
    return [(field.report_id, field.offset, field.size, field.count) for field in descriptor.fields]


def test_the_published_keyboard() -> None:
    """HID 1.11 appendix B.1: modifiers in byte 0, byte 1 reserved, six key codes from byte 2; eight bytes in all."""
    descriptor = parse_descriptor(KEYBOARD)
    assert descriptor.problems == ()
    assert descriptor.lengths == {0: 8}
    modifiers, reserved, keys = descriptor.fields
    assert (modifiers.offset, modifiers.size, modifiers.count, modifiers.array) == (0, 1, 8, False)
    assert (reserved.offset, reserved.size, reserved.constant) == (8, 8, True)
    assert (keys.offset, keys.size, keys.count, keys.array, keys.logical) == (16, 8, 6, True, (0, 101))
    assert list(modifiers.active(bytes.fromhex("0200000000000000"))) == [0x0700E1]
    assert next(keys.active(bytes.fromhex("0200040000000000"))) == 0x070004


def test_a_weighing_device() -> None:
    descriptor = parse_descriptor(scale_descriptor())
    assert descriptor.problems == ()
    assert descriptor.lengths == {3: 5}
    assert [field.offset for field in descriptor.fields] == [0, 8, 16, 24]
    assert descriptor.fields[3].logical == (0, 65535), "a maximum of FFFF in two bytes is not minus one here"
    assert descriptor.fields[2].logical == (-127, 127)
    assert descriptor.fields[0].collections == (0x8D0020, 0x8D0032)
    assert descriptor.pages() == {0x8D}


def test_push_and_pop_restore_all_globals() -> None:
    assert parse("05 01 75 08 95 02 A4 75 04 95 01 09 30 81 02 B4 09 31 81 02") == [(0, 0, 4, 1), (0, 4, 8, 2)]


def test_reports_with_ids_have_their_own_bits() -> None:
    assert parse("05 01 75 08 95 01 85 01 09 30 81 02 85 02 09 31 81 02 85 01 09 32 81 02") == [
        (1, 0, 8, 1), (2, 0, 8, 1), (1, 8, 8, 1),
    ]  # fmt: skip


def test_the_page_that_holds_at_the_main_item_counts_unless_the_usage_brings_its_own() -> None:
    descriptor = parse_descriptor(bytes.fromhex("75 08 95 02 05 01 09 30 0B 40 00 8D 00 05 07 81 02"))
    assert descriptor.fields[0].usages == ((0x070030, 0x070030), (0x8D0040, 0x8D0040))


def test_of_usages_between_delimiters_the_first_is_taken() -> None:
    descriptor = parse_descriptor(bytes.fromhex("05 01 75 08 95 01 A9 01 09 30 09 31 A9 00 09 32 81 02"))
    assert descriptor.fields[0].usages == ((0x010030, 0x010030), (0x010032, 0x010032))


def test_long_items_are_skipped() -> None:
    assert parse("05 01 FE 03 F0 AA BB CC 75 08 95 01 09 30 81 02") == [(0, 0, 8, 1)]


@pytest.mark.parametrize(("written", "exponent"), [("0F", -1), ("FF", -1), ("0D", -3), ("FD", -3), ("02", 2)])
def test_a_unit_exponent_is_a_signed_nibble(written: str, exponent: int) -> None:
    """HID 1.11, 6.2.2.7: codes 0 to 7, then 8 (-8) to F (-1). Many devices write a whole signed byte."""
    descriptor = parse_descriptor(bytes.fromhex(f"05 8D 55 {written} 75 08 95 01 09 40 81 02"))
    assert descriptor.fields[0].exponent == exponent


def test_signed_and_unsigned_values() -> None:
    signed = parse_descriptor(bytes.fromhex("05 01 15 80 25 7F 75 08 95 02 09 30 81 02")).fields[0]
    assert signed.values(bytes((0xFF, 0x80))) == [-1, -128]
    unsigned = parse_descriptor(bytes.fromhex("05 01 15 00 26 FF 00 75 08 95 02 09 30 81 02")).fields[0]
    assert unsigned.values(bytes((0xFF, 0x80))) == [255, 128]
    narrow = parse_descriptor(bytes.fromhex("05 01 15 01 25 08 75 08 95 02 09 30 81 02")).fields[0]
    assert narrow.values(bytes((9, 8))) == [None, 8], "outside the logical range there is no data (HID 1.11, 5.10)"


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "it describes no input"),
        ("05 01 A1 01 75 08 95 01 09 30 81 02", "a collection never ends"),
        ("05 01 75 08 95 01 09 30 81 02 C0", "a collection ends that never began"),
        ("05 01 75 08 95 01 09 30 81 02 B4", "a state is popped that was never pushed"),
        ("05 01 75 08 95 01 09 30 81 02 26 FF", "it ends inside the item at byte 10"),
        ("05 01 75 08 95 01 09 30 81 02 85 00", "report id 0: only 1 to 255 are"),
        ("05 01 75 08 95 01 09 30 81 02 85 01 09 31 81 02", "some reports have an id and some have none"),
        ("05 01 15 05 25 01 75 08 95 01 09 30 81 02", "logical minimum 5 is above the maximum 1"),
        ("05 01 75 08 96 FF FF 09 30 81 02", "report 0 would have 524280 bits"),
        ("05 01 75 08 95 01 29 05 81 02", "usage maximum 0x5 without a fitting minimum"),
    ],
)
def test_what_is_wrong_is_said(text: str, problem: str) -> None:
    assert problem in parse_descriptor(bytes.fromhex(text)).problems


def test_an_id_is_split_off_where_it_is_and_missed_where_it_is_not() -> None:
    kept, stripped = Splitter(parse_descriptor(scale_descriptor())), Splitter(parse_descriptor(scale_descriptor()))
    assert kept.split(bytes.fromhex("03040200E803")) == (3, bytes.fromhex("040200E803"))
    assert kept.split(bytes.fromhex("040200E803")) is None, "a device that sends ids doesn't stop sending them"
    assert stripped.split(bytes.fromhex("040200E803")) == (3, bytes.fromhex("040200E803"))
    assert stripped.split(bytes.fromhex("03040200E803")) is None
    assert kept.split(bytes.fromhex("05040200E803")) is None
    assert kept.split(b"") is None


def test_a_report_that_could_be_either_waits_for_one_that_shows_it() -> None:
    """Report 1 has five bytes and report 2 six: `01 …` of six bytes is the first with its id, or the second without."""
    text = "05 01 75 08 09 30 85 01 95 05 81 02 09 31 85 02 95 06 81 02"
    either = bytes.fromhex("010203040506")
    splitter = Splitter(parse_descriptor(bytes.fromhex(text)))
    assert splitter.split(either) is None
    assert splitter.split(b"\2" + either) == (2, either)
    assert splitter.split(either) == (1, either[1:])
    splitter = Splitter(parse_descriptor(bytes.fromhex(text)))
    assert splitter.split(either[:5]) is None, "it begins with an id: it may as well be a damaged or mislaid one"
    assert splitter.split(bytes.fromhex("0902030405")) == (1, bytes.fromhex("0902030405"))
    assert splitter.split(either) == (2, either)
