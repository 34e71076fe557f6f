"""Reports of weighing devices, by the Scale page (0x8D) of the USB-IF usage tables.

Sources: units 0x51 to 0x5C and states 0x71 to 0x78 in the tables' order, which a report gives as an index from 1. Two
payloads (20 g; 6452 tenths of an ounce) stand in a public interface note, which leaves the state open; the others were
computed with Python's `struct` as `<BBBbH`: report id, state, unit, exponent, weight.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from decimal import Decimal

import pytest

from tests.hid_samples import scale_descriptor, stream
from thwart.profiles import find_profile, from_mapping
from thwart.wire import Arrival, Channel, Decoded, Emptied, Reading, Rejected, decode_frames
from thwart.wire.hid import parse_descriptor
from thwart.wire.scale import DataReports

MS = 1_000_000


def decode(report: str, descriptor: bytes | None = None) -> Decoded | str | None:
    scale = DataReports(parse_descriptor(scale_descriptor() if descriptor is None else descriptor))
    return scale.decode(bytes.fromhex(report))


@pytest.mark.parametrize(
    ("report", "text", "unit", "condition", "settled"),
    [
        ("03 04 02 00 14 00", "20", "g", "ok", True),
        ("03 04 0B FF 34 19", "645.2", "[oz_av]", "ok", True),
        ("03 04 02 00 E8 03", "1000", "g", "ok", True),
        ("03 04 03 FD D2 04", "1.234", "kg", "ok", True),
        ("03 02 02 00 00 00", "0", "g", "zero", True),
        ("03 03 0C FE 90 01", "4.00", "[lb_av]", "moving", False),
        ("03 05 0B FF 37 00", None, None, "underload", None),
        ("03 06 02 00 00 00", None, None, "overload", None),
        ("03 01 02 00 E8 03", None, None, "error", None),
        ("03 07 02 00 E8 03", None, None, "error", None),
        ("03 08 02 00 E8 03", None, None, "needs-zero", None),
        ("03 04 02 02 0C 00", "1200", "g", "ok", True),
    ],
)
def test_payloads(report: str, text: str | None, unit: str | None, condition: str, settled: bool | None) -> None:
    for cut in (0, 1):  # as sent, and with the report id taken off by somebody
        scale = DataReports(parse_descriptor(scale_descriptor()))
        scale.decode(bytes.fromhex("03 04 02 00 00 00")[cut:])
        said = scale.decode(bytes.fromhex(report)[cut:])
        assert isinstance(said, Decoded)
        assert (said.text, said.unit, said.condition, said.settled) == (text, unit, condition, settled)
        assert said.value == (None if text is None else Decimal(text))


def test_every_unit_of_the_table() -> None:
    """In the tables' order. Tael has several values and the avoirdupois ton two, so neither is turned into a number."""
    wanted = ["mg", "g", "kg", "[car_m]", None, "[gr]", "[pwt_tr]", "t", None, "[oz_tr]", "[oz_av]", "[lb_av]"]
    for index, unit in enumerate(wanted, 1):
        said = decode(struct.pack("<BBBbH", 3, 4, index, 0, 5).hex())
        assert said == "value" if unit is None else isinstance(said, Decoded) and said.unit == unit


@pytest.mark.parametrize(
    ("report", "reason"),
    [
        ("03 00 02 00 E8 03", "value"),  # no state
        ("03 09 02 00 E8 03", "value"),  # a state that isn't in the list
        ("03 04 00 00 E8 03", "value"),  # no unit
        ("03 04 0D 00 E8 03", "value"),  # a unit that isn't in the list
        ("03 04 02 80 E8 03", "value"),  # an exponent outside its range
        ("03 04 02 7F E8 03", "value"),  # an exponent no scale can mean
        ("03 02 02 00 05 00", "value"),  # at zero, and five grams
        ("04 04 02 00 E8 03", "layout"),  # no such report
        ("03 04 02 00 E8 03 00", "layout"),
        ("03 04 02", "layout"),
        ("", "layout"),
    ],
)
def test_what_is_refused(report: str, reason: str) -> None:
    assert decode(report) == reason


def fields(*parts: str, before: str = "") -> bytes:
    return bytes.fromhex(f"05 8D 09 20 A1 01 {before} 09 32 A1 02" + "".join(parts) + "C0 C0")


STATE = "15 01 25 08 75 08 95 01 19 71 29 78 81 00"
UNIT = "15 01 25 0C 75 08 95 01 19 51 29 5C 81 00"
SCALING = "15 81 25 7F 75 08 95 01 09 41 81 02"
WEIGHT = "15 00 26 FF FF 75 10 95 01 09 40 81 02"
#: Bits 0 to 7, one for each state.
STATE_BITS = "15 00 25 01 75 01 95 08 19 71 29 78 81 02"


@pytest.mark.parametrize(
    ("layout", "report", "wanted"),
    [
        ((WEIGHT, SCALING, UNIT, STATE), "E8 03 FF 02 04", ("100.0", "g", "ok", True)),
        # A weight of 32 bits, four bits of nothing in the middle, a state of four bits.
        (("15 00 27 FF FF FF 7F 75 20 95 01 09 40 81 02", "75 04 95 01 81 03", "15 01 25 08 75 04 95 01 19 71 29 78 81 00", UNIT),
         "40 E2 01 00 40 02", ("123456", "g", "ok", True)),
        # Bits: stable and at zero is zero; stable and over the limit is over the limit.
        ((STATE_BITS, UNIT, SCALING, WEIGHT), "0A 02 00 00 00", ("0", "g", "zero", True)),
        ((STATE_BITS, UNIT, SCALING, WEIGHT), "28 02 00 00 00", (None, None, "overload", None)),
        # Bits for the units as well: kilogram alone; gram and kilogram at once is no unit.
        ((STATE, "15 00 25 01 75 01 95 0C 19 51 29 5C 81 02", "75 04 95 01 81 03", SCALING, WEIGHT),
         "04 04 00 FD D2 04", ("1.234", "kg", "ok", True)),
        ((STATE, "15 00 25 01 75 01 95 0C 19 51 29 5C 81 02", "75 04 95 01 81 03", SCALING, WEIGHT), "04 06 00 FD D2 04", "value"),
        # No unit field, but HID's own unit: grams (0101) to the power of ten 0F, which is minus one.
        ((STATE, "66 01 01 55 0F", WEIGHT), "04 D2 04", ("123.4", "g", "ok", True)),
        # No unit anywhere, and a unit said twice.
        ((STATE, WEIGHT), "04 D2 04", "layout"),
        ((STATE, UNIT, "66 01 01", WEIGHT), "04 02 D2 04", "layout"),
        # A state of its own field is not needed: rest is then told from the numbers.
        ((UNIT, SCALING, WEIGHT), "02 00 E8 03", ("1000", "g", "ok", None)),
        # Two weights, a weight in a list, a weight on a scale of its own.
        ((STATE, UNIT, WEIGHT, WEIGHT), "04 02 01 00 02 00", "layout"),
        ((STATE, UNIT, "15 01 25 01 75 10 95 01 09 40 81 00"), "04 02 01 00", "layout"),
        ((STATE, UNIT, "35 00 46 10 27 " + WEIGHT), "04 02 01 00", "layout"),
    ],
)  # fmt: skip
def test_no_layout_is_assumed(layout: Iterable[str], report: str, wanted: object) -> None:
    said = decode(report, fields(*layout))
    assert (
        (said.text, said.unit, said.condition, said.settled) == wanted if isinstance(said, Decoded) else said == wanted
    )


def test_the_weight_of_another_report_is_no_load() -> None:
    """The limit of the scale is given in a report of its own (0x34), with weight, unit and exponent as in the data report."""
    limit = "09 34 A1 02 85 04" + UNIT + SCALING + WEIGHT + "C0"
    descriptor = bytes.fromhex(
        "05 8D 09 20 A1 01" + limit + "09 32 A1 02 85 03" + STATE + UNIT + SCALING + WEIGHT + "C0 C0"
    )
    assert parse_descriptor(descriptor).problems == ()
    scale = DataReports(parse_descriptor(descriptor))
    said = scale.decode(bytes.fromhex("03 04 02 00 E8 03"))
    assert isinstance(said, Decoded)
    assert said.text == "1000"
    assert scale.decode(bytes.fromhex("04 03 00 05 00")) is None


def test_a_state_report_of_its_own_tells_trouble_and_nothing_else() -> None:
    state = "09 33 A1 02 85 05" + STATE + "C0"
    descriptor = bytes.fromhex("05 8D 09 20 A1 01" + state + "09 32 A1 02 85 03" + UNIT + SCALING + WEIGHT + "C0 C0")
    assert decode("05 04", descriptor) is None
    said = decode("05 06", descriptor)
    assert isinstance(said, Decoded)
    assert said.condition == "overload"


def test_a_descriptor_that_lies_gives_no_number() -> None:
    """It says three bytes of weight and sends two; or it never ends its collections: nothing in it is believed."""
    assert (
        decode("03 04 02 00 E8 03", fields(STATE, UNIT, SCALING, WEIGHT.replace("75 10", "75 18"), before="85 03"))
        == "layout"
    )
    assert decode("03 04 02 00 E8 03", scale_descriptor()[:-1]) == "layout"
    assert decode("03 04 02 00 E8 03", b"") == "layout"


def load(channel: Channel, *reports: str, from_ms: int) -> list[object]:
    out: list[object] = []
    for at, report in enumerate(reports):
        out += channel.feed(stream(report), (from_ms + at * 100) * MS)
    return out


def test_a_load_through_the_channel() -> None:
    """Zero, moving, settled at 500 g, taken off: the settler hears a weighing device as it hears any stream."""
    channel = Channel(find_profile("usage-page-scale"))
    channel.opened(0)
    assert channel.feed(stream(descriptor=scale_descriptor()), MS) == []
    zero, rising, still = "03 02 02 00 00 00", "03 03 02 00 2C 01", "03 04 02 00 F4 01"
    events = load(channel, *[zero] * 8, from_ms=100)
    events += load(channel, *[rising] * 3, *[still] * 10, from_ms=900)
    events += load(channel, *[zero] * 10, from_ms=2200)
    kinds = [type(event) for event in events]
    assert kinds == [Arrival, Reading, Emptied]
    reading = events[1]
    assert isinstance(reading, Reading)
    assert (reading.text, reading.unit, reading.settled, reading.zero_before) == ("500", "g", "mark", Decimal(0))
    assert reading.raw == bytes.fromhex(still)
    assert channel.counts.rejected == 0


def test_over_the_limit_is_told_once_and_without_a_number() -> None:
    channel = Channel(find_profile("usage-page-scale"))
    channel.opened(0)
    channel.feed(stream(descriptor=scale_descriptor()), MS)
    events = load(channel, *["03 02 02 00 00 00"] * 8, *["03 06 02 00 FF FF"] * 20, from_ms=100)
    readings = [event for event in events if isinstance(event, Reading)]
    assert [(reading.condition, reading.value) for reading in readings] == [("overload", None)]


def test_what_needs_zeroing_is_told() -> None:
    channel = Channel(find_profile("usage-page-scale"))
    channel.opened(0)
    channel.feed(stream(descriptor=scale_descriptor()), MS)
    readings = [
        event for event in load(channel, *["03 08 02 00 00 00"] * 20, from_ms=100) if isinstance(event, Reading)
    ]
    assert [(reading.condition, reading.value) for reading in readings] == [("needs-zero", None)]


def test_another_interface_of_the_device_is_not_the_scale() -> None:
    channel = Channel(find_profile("usage-page-scale"))
    channel.opened(0)
    buttons = bytes.fromhex("05 0C 09 01 A1 01 15 00 25 01 75 08 95 01 09 E9 81 02 C0")
    channel.feed(stream(descriptor=buttons, interface=0) + stream(descriptor=scale_descriptor(), interface=1), MS)
    assert channel.feed(stream("01", interface=0), 2 * MS) == []
    channel.feed(stream("03 04 02 00 E8 03", interface=1), 3 * MS)
    assert (channel.counts.frames, channel.counts.rejected) == (1, 0)


def test_a_descriptor_in_the_profile_stands_in_for_a_device_that_lies() -> None:
    mapping = {
        "title": "x", "kind": "mass", "mode": "prints", "emptied": "each", "unit": "g", "division": "1", "range": ["0", "5000"],
        "framing": {"reports": "scale", "descriptor": scale_descriptor().hex()},
        "sample": [{"reports": ["03 04 02 00 E8 03"], "text": "1000", "unit": "g", "settled": True}],
    }  # fmt: skip
    channel = Channel(from_mapping("mine", mapping))
    channel.opened(0)
    events = channel.feed(stream("03 04 02 00 E8 03", descriptor=scale_descriptor()[:20], interface=1), MS)
    assert [event.text for event in events if isinstance(event, Reading)] == ["1000"]


def test_text_where_reports_were_expected_is_refused_and_bounded() -> None:
    channel = Channel(find_profile("usage-page-scale"))
    channel.opened(0)
    events = channel.feed(b"   412.5 g\r\n" * 100, MS) + channel.feed(b"more", 2 * MS) + channel.closed(3 * MS)
    assert all(isinstance(event, Rejected) and event.reason == "layout" and len(event.raw) <= 256 for event in events)
    assert sum(len(event.raw) for event in events if isinstance(event, Rejected)) == 1204


def test_offsets_and_raw_bytes_are_those_of_the_stream() -> None:
    data = stream("03 04 02 00 E8 03", "03 04 02 00 E9 03", descriptor=scale_descriptor())
    heard = list(decode_frames(find_profile("usage-page-scale"), data))
    assert [one.raw.hex(" ").upper() for one in heard] == ["03 04 02 00 E8 03", "03 04 02 00 E9 03"]
    assert [data[one.offset + 4 :][: len(one.raw)] for one in heard] == [one.raw for one in heard]


#: The same layout with twelve bytes behind it that mean nothing: 18 bytes with the report's id.
LONG = scale_descriptor()[:-2] + bytes.fromhex("75 08 95 0C 81 01 C0 C0")


@pytest.mark.parametrize(
    ("packets", "said"),
    [
        (("03 04 02 00 E8 03 00 00", "00 00 00 00 00 00 00 00", "00 00"), ["1000"]),
        (("03 04 02 00 E8 03 00 00 00 00 00 00 00 00 00 00", "00 00"), ["1000"]),
        (("03 04 02 00 E8 03 00 00 00 00 00 00 00 00 00 00 00 00",), ["1000"]),
        # A packet that isn't full is the last of its report: this one is too short, and doesn't spoil the next.
        (("03 04 02 00 E8 03 00", "03 04 02 00 E8 03 00 00 00 00 00 00 00 00 00 00", "00 00"), ["layout", "1000"]),
        (("03 04 02 00 E8 03 00 00", "00 00 00 00 00 00 00 00"), ["torn"]),
    ],
)
def test_a_report_longer_than_a_packet_is_put_together(packets: tuple[str, ...], said: list[str]) -> None:
    data = stream(descriptor=LONG) + stream(*packets)
    heard = list(decode_frames(find_profile("usage-page-scale"), data))
    assert [one.decoded.text if one.decoded else one.rejected for one in heard] == said


def test_a_part_that_was_lost_spoils_its_report_only() -> None:
    channel = Channel(find_profile("usage-page-scale"))
    channel.opened(0)
    channel.feed(stream(descriptor=LONG) + stream("03 04 02 00 E8 03 00 00"), 1)
    assert [one.reason for one in channel.line_error(2) if isinstance(one, Rejected)] == ["line-error"]
    channel.feed(stream("03 04 02 00 E9 03 00 00", "00 00 00 00 00 00 00 00", "00 00"), 3)
    assert channel.counts.rejected == 1
    assert channel.counts.frames == 2
