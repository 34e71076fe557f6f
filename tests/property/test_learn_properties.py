"""What must not matter: noise, how a capture was cut, one more sample that agrees."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.learncorpus.teach import Row, evidence, taught
from thwart.cli.capturing import evidence_of
from thwart.learn import learn, parse_shown
from thwart.ports.capture import Capture, Chunk
from thwart.profiles import Profile
from thwart.wire import decode_frames

VALUES = ("1412.5", "87.0", "-950.5", "3.5")
FURTHER = ("1999.5", "-12.0", "0.5", "745.0")


def frame(value: str, mark: str = "S") -> bytes:
    body = f"{mark} {'-' if value[0] == '-' else '+'}{value.lstrip('-'):>7} g".encode()
    return b"\x02" + body + b"\x03\r\n"


def rows() -> list[Row]:
    shown: list[Row] = [(frame(v) * 2, v, "g", "ok") for v in VALUES]
    return [*shown, (frame("44.0", "M") * 2, "44.0", "g", "moving")]


def meant(profile: Profile) -> list[str | None]:
    data = b"".join(frame(v) for v in FURTHER) + frame("1.5", "M") + frame("1.5", "X")
    return [one.decoded.text if one.decoded else None for one in decode_frames(profile, data)]


RIGHT = ["1999.5", "-12.0", "0.5", "745.0", "1.5", None]
#: What a bad contact or a hot plug adds; without start bytes, which would begin a frame.
noise = st.binary(max_size=9).map(lambda data: bytes(b for b in data if b not in b"\x02\x03"))


@settings(max_examples=12)
@given(st.lists(noise, min_size=6, max_size=6))
def test_noise_before_between_and_after_changes_nothing(pieces: list[bytes]) -> None:
    noisy: list[Row] = [(raw + more, *rest) for (raw, *rest), more in zip(rows(), pieces, strict=False)]  # type: ignore[misc]
    profile = taught(noisy, before=pieces[-1]).profile
    assert [text and text.lstrip("+") for text in meant(profile)] == RIGHT


@settings(max_examples=10)
@given(st.lists(st.integers(1, 40), min_size=1, max_size=12))
def test_how_the_capture_was_cut_changes_nothing(sizes: list[int]) -> None:
    seen = evidence(rows())
    chunks, at, turn = [], 0, 0
    while at < len(seen.data):
        size = sizes[turn % len(sizes)]
        chunks.append(Chunk(turn * 3_000_000, seen.data[at : at + size]))
        at, turn = at + size, turn + 1
    shown = "offset,value,unit,condition\n" + "".join(
        f"{o.offset},{o.text},{o.unit or ''},{o.condition}\n" for o in seen.observations
    )
    heard = evidence_of(Capture(tuple(chunks)), parse_shown(shown, len(seen.data), "shown.csv"))
    assert learn(heard, "learned").profile == learn(seen, "learned").profile


@settings(max_examples=12)
@given(st.integers(-19999, 29999), st.sampled_from("SM"), st.integers(1, 3))
def test_one_more_sample_that_agrees_keeps_a_right_profile_right(tenths: int, mark: str, times: int) -> None:
    value = f"{tenths / 10:.1f}"
    more: Row = (frame(value, mark) * times, value, "g", "ok" if mark == "S" else "moving")
    assert [text and text.lstrip("+") for text in meant(taught([*rows(), more]).profile)] == RIGHT
