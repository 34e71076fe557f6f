"""Numbers written last digit first or in hexadecimal, a pattern's width, and the end bytes before check bytes."""

from __future__ import annotations

from typing import Any

import pytest

from thwart.profiles import Profile, from_mapping
from thwart.wire import decode_frames


def profile(framing: dict[str, Any], layout: dict[str, Any], **more: Any) -> Profile:
    return from_mapping("p", {
        "title": "t", "kind": "mass", "mode": "prints", "emptied": "each", "unit": "g", "division": "0.1",
        "range": ["0", "1000"], "framing": framing, "layout": [layout], "sample": [{"frame": "x", "chatter": True}],
    } | more)  # fmt: skip


def said(one: Profile, raw: bytes) -> str | None:
    (heard,) = decode_frames(one, raw)
    return heard.decoded.text if heard.decoded else heard.rejected


@pytest.mark.parametrize(
    ("layout", "raw", "text"),
    [
        ({"pattern": "(?P<number>[0-9.]+)", "digits": "reversed"}, b"5.21400\r", "00412.5"),
        ({"pattern": "(?P<number>[0-9]+)", "digits": "reversed", "decimals": 1}, b"521400\r", "00412.5"),
        ({"pattern": "(?P<number>[0-9]+)(?P<sign>[ -])", "digits": "reversed", "decimals": 1}, b"5214-\r", "-412.5"),
        ({"pattern": "(?P<number>[0-9A-F]+)", "digits": "hex"}, b"0DCE\r", "3534"),
        ({"pattern": "(?P<number>[0-9a-f]+)", "digits": "hex", "decimals": 1}, b"0003\r", "0.3"),
        ({"pattern": "(?P<number>[0-9G]+)", "digits": "hex"}, b"0G\r", "value"),
        # Two's complement in as many bits as there are digits, worked by hand.
        ({"pattern": "(?P<number>[0-9A-F]+)", "digits": "hex-signed", "decimals": 1}, b"7FFF\r", "3276.7"),
        ({"pattern": "(?P<number>[0-9A-F]+)", "digits": "hex-signed", "decimals": 1}, b"8000\r", "-3276.8"),
        ({"pattern": "(?P<number>[0-9A-F]+)", "digits": "hex-signed", "decimals": 1}, b"FFF1\r", "-1.5"),
        ({"pattern": "(?P<number>[0-9A-F]+)", "digits": "hex-signed", "decimals": 1}, b"00FFF1\r", "6552.1"),
        ({"pattern": "(?P<number>[0-9,.]+)", "thousands": ","}, b"1,234,567.5\r", "1234567.5"),
        ({"pattern": "(?P<number>[0-9,.]+)", "thousands": ".", "decimal": ","}, b"12.345,6\r", "12345.6"),
        ({"pattern": "(?P<number>-?[0-9']+)", "thousands": "'"}, b"-1'234\r", "-1234"),
        ({"pattern": "(?P<number>[0-9,.]+)", "thousands": ","}, b"1,23,4.5\r", "value"),
        ({"pattern": "(?P<number>[0-9,.]+)", "thousands": ","}, b"1234,567.5\r", "value"),
        ({"pattern": r"\((?P<number>[0-9.]+)\)", "says": ["negative"]}, b"(12.5)\r", "-12.5"),
        (
            {"pattern": "(?P<s>[NP])(?P<number>[0-9.]+)", "marks": {"s": {"N": "negative", "P": "normal"}}},
            b"N12.5\r",
            "-12.5",
        ),
        (
            {"pattern": "(?P<s>[NP])(?P<number>[0-9.]+)", "marks": {"s": {"N": "negative", "P": "normal"}}},
            b"P12.5\r",
            "12.5",
        ),
        ({"pattern": " *(?P<number>[0-9]+)", "width": 6}, b"   412\r", "412"),
        ({"pattern": " *(?P<number>[0-9]+)", "width": 6}, b"  412\r", "layout"),
    ],
)
def test_digits_and_width(layout: dict[str, Any], raw: bytes, text: str) -> None:
    assert said(profile({"terminators": ["\r"]}, layout), raw) == text


def test_an_end_that_the_check_leaves_out_is_cut_off_once() -> None:
    # ISO 1745's block check, here without the ETX: the exclusive or of `412` is 37.
    one = profile(
        {"start": "\x02", "end": "\x03", "check_bytes": 1},
        {"pattern": "(?P<number>[0-9]+)"},
        checksum={"kind": "xor", "written": "byte", "first": 1, "uncounted": 1},
    )
    assert said(one, b"\x02412\x037") == "412"


@pytest.mark.parametrize(
    ("digits", "order", "decimals", "size", "raw", "text"),
    [
        ("bcd", "high-first", 1, 3, "00 41 25", "412.5"),
        ("bcd", "low-first", 1, 3, "25 41 00", "412.5"),
        ("bcd", "high-first", 1, 3, "00 4A 25", "value"),
        ("unsigned", "high-first", 0, 2, "01 9C", "412"),
        ("signed", "low-first", 1, 2, "F6 FF", "-1.0"),
        ("signed", "high-first", 2, 3, "FF FF FF", "-0.01"),
        # IEEE 754: 412.5 and 0.1, the nearest four bytes can hold; the next one up is no tenth.
        ("float", "high-first", 1, 4, "43 CE 40 00", "412.5"),
        ("float", "low-first", 1, 4, "CD CC CC 3D", "0.1"),
        ("float", "low-first", 1, 4, "CE CC CC 3D", "value"),
        ("float", "high-first", 1, 4, "7F C0 00 00", "value"),
    ],
)
def test_numbers_that_are_no_text(digits: str, order: str, decimals: int, size: int, raw: str, text: str) -> None:
    layout = {"pattern": f"\\x02(?P<number>.{{{size}}})", "digits": digits, "order": order, "decimals": decimals}
    one = profile({"start": "\u0002", "length": 1 + size, "filler": ""}, layout)
    assert said(one, b"\x02" + bytes.fromhex(raw)) == text
