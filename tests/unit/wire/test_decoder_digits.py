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
