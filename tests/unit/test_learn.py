"""Learning by small examples. The layouts are invented; tag forms are those printed by the R package ISO11784Tools."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.learncorpus.teach import Row, evidence, taught
from thwart.cli.capturing import evidence_of
from thwart.cli.learn import learn as command
from thwart.errors import ConfigError, ThwartError
from thwart.learn import Evidence, NeedMore, learn, parse_shown, profile_text
from thwart.learn.framings import framings
from thwart.ports.capture import Capture, Chunk
from thwart.profiles import Profile, check_profile, load_profile
from thwart.wire import decode_frames

STATUS: list[Row] = [
    (b"ST,GS,+   412.0,g\r\n" * 2, "412.0", "g", "ok"),
    (b"ST,GS,+    12.5,g\r\n" * 2, "12.5", "g", "ok"),
    (b"US,GS,+     3.5,g\r\n", "3.5", "g", "moving"),
    (b"ST,GS,+  1034.0,g\r\n" * 2, "1034.0", "g", "ok"),
    (b"OL,GS,+        ,g\r\n", "", "", "overload"),
]


def said(profile: Profile, raw: bytes) -> list[tuple[Decimal | None, str | None, str]]:
    return [
        (one.decoded.value, one.decoded.unit, one.decoded.condition) if one.decoded else (None, None, f"{one.rejected}")
        for one in decode_frames(profile, raw)
    ]


def test_another_digit_in_a_column_and_a_minus_for_a_plus_are_accepted() -> None:
    profile = taught(STATUS).profile
    assert said(profile, b"ST,GS,-   987.6,g\r\n") == [(Decimal("-987.6"), "g", "ok")]
    assert said(profile, b"US,GS,+  9999.9,g\r\n") == [(Decimal("9999.9"), "g", "moving")]
    assert said(profile, b"OL,GS,+        ,g\r\n") == [(None, None, "overload")]


@pytest.mark.parametrize(
    "raw",
    [
        b"UL,GS,-        ,g\r\n",  # a condition never shown
        b"UL,GS,+   412.0,g\r\n",
        b"ST,NT,+   412.0,g\r\n",  # a load never shown
        b"ST,GS,+   412.0,kg\r\n",  # a unit never shown
        b"ST,GS,+   412.00,g\r\n",
        b"ST,GS,+  412.0,g\r\n",  # a byte short of the columns
        b"ST,GS,    412.0,g\r\n",  # the sign always was there
        b"T,GS,+   412.0,g\r\n",
        b"ST,GS,+   4E2.0,g\r\n",
    ],
)
def test_what_was_never_shown_is_rejected(raw: bytes) -> None:
    assert said(taught(STATUS).profile, raw)[0][2] in ("layout", "value")


def test_the_file_reads_back_as_the_same_profile_with_proved_samples(tmp_path: Path) -> None:
    seen = evidence(STATUS)
    found = learn(seen, "scale")
    path = tmp_path / "scale.toml"
    path.write_text(profile_text(found, seen), encoding="utf-8")
    assert load_profile(path) == found.profile
    assert check_profile(found.profile) == []


def test_two_numbers_that_were_always_equal_are_asked_about() -> None:
    rows: list[Row] = [(f"G {v} N {v} g\r\n".encode(), v, "g", "ok") for v in ("412", "87", "1203", "55")]
    with pytest.raises(NeedMore) as asked:
        taught(rows)
    assert asked.value.exit_code == 3
    assert "several places" in asked.value.message
    assert "tare" in asked.value.asks[0]
    rows.append((b"G 912 N 500 g\r\n", "500", "g", "ok"))
    assert said(taught(rows).profile, b"G 800 N 312 g\r\n")[0][2] in ("ok", "layout")


def test_digits_that_read_the_same_backwards_are_asked_about() -> None:
    rows: list[Row] = [(f"={v}\r".encode(), v, "g", "ok") for v in ("44.44", "55.55", "12.21")]
    with pytest.raises(NeedMore) as asked:
        taught(rows)
    assert any("backwards" in ask for ask in asked.value.asks)


def test_only_zeros_settle_no_decimal_point() -> None:
    with pytest.raises(NeedMore):
        taught([(b"00000\r" * 3, "0", "g", "zero"), (b"00000\r", "0.0", "g", "ok")])


def test_a_status_digit_glued_to_the_number_that_never_changed_stays_as_it_was() -> None:
    rows: list[Row] = [
        (f"0{v.replace('.', ''):0>6}\r\n".encode(), v, "g", "ok") for v in ("2412.5", "87.0", "950.5", "1203.5")
    ]
    profile = taught(rows).profile
    assert said(profile, b"0013370\r\n") == [(Decimal("1337.0"), "g", "ok")]
    assert said(profile, b"1013370\r\n")[0][0] is None


def test_a_check_that_changes_without_any_account_is_no_profile() -> None:
    rows: list[Row] = [
        (f"{v:>7} g {c}\r\n".encode(), v, "g", "ok")
        for v, c in (("412.5", "Q"), ("87.0", "k"), ("950.5", "Z"), ("1203.5", "b"), ("33.0", "x"))
    ]
    with pytest.raises(NeedMore, match="bytes change"):
        taught(rows)


@pytest.mark.parametrize(
    ("printed", "shown"),
    [
        (("3E7.1CBE991A14", "3E7.02DFDC1C35", "3E7.02DFDC1C36"), ("999123456789012", "999012345678901", "999012345678902")),
        (("2858997D3B9F0001", "AC383BFB439F0001", "EC383BFB439F0001"), ("999123456789012", "999012345678901", "999012345678903")),
    ],
)  # fmt: skip
def test_tags_in_another_form_than_shown(printed: tuple[str, ...], shown: tuple[str, ...]) -> None:
    rows: list[Row] = [(f"{p}\r\n".encode(), s, "", "ok") for p, s in zip(printed, shown, strict=True)]
    profile = taught(rows).profile
    assert profile.kind == "identifier"
    assert [one.decoded.identifier for one in decode_frames(profile, rows[0][0]) if one.decoded] == [shown[0]]
    assert [one.decoded for one in decode_frames(profile, b"NOREAD\r\n")] == [None]


def test_silence_parts_frames_where_no_byte_does() -> None:
    chunks, rows, at, offset = [], "offset,value,unit,condition\n", 0, 0
    for value in ("412.5", "87.0", "1203.5", "33.1"):
        rows += f"{offset},{value},mm,ok\n"
        data = f"L {value:>6} mm".encode()
        chunks += [Chunk(at, data[:4]), Chunk(at + 2_000_000, data[4:])]
        at, offset = at + 900_000_000, offset + len(data)
    heard = Capture(tuple(chunks))
    profile = learn(evidence_of(heard, parse_shown(rows, offset, "shown.csv")), "board").profile
    assert said(profile, b"L  512.4 mm") == [(Decimal("512.4"), "mm", "ok")]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([(b"\x91\x13zq" * 9, "412", "g", "ok"), (b"pp\x05\x88" * 7, "87", "g", "ok")], "no structure"),
        ([(b"412 g\r\n", "412", "g", "ok"), (b"412 g\r\n", "87", "g", "ok")], "same bytes"),
        ([(b"  412 g\r\n", "412", "g", "ok"), (b"   87 g\r\n", "87", "g", "ok"), (b" 1203 g\r\n", "1203", "g", "ok"),
          (b"  555 g\r\n", "999", "g", "ok")], "row 4"),
        ([(b"412 g\r\n", "", "", "overload")], "no row says a value"),
    ],
)  # fmt: skip
def test_bad_input_says_what_is_wrong(rows: list[Row], words: str) -> None:
    with pytest.raises(ThwartError) as trouble:
        taught(rows)
    assert words in trouble.value.message
    assert trouble.value.hint


def test_one_sample_only_is_asked_about() -> None:
    with pytest.raises(NeedMore, match="only one value"):
        taught([(b"412 g\r\n", "412", "g", "ok")])


def test_readings_sent_while_overload_showed_are_no_profile() -> None:
    rows: list[Row] = [(f"{v:>7} g\r\n".encode(), v, "g", "ok") for v in ("412.5", "87.0", "1203.5")]
    rows.append((b" 1500.5 g\r\n 1501.5 g\r\n 1502.0 g\r\n", "", "", "overload"))
    profile = taught(rows).profile
    assert [condition for _, _, condition in said(profile, b" 1501.5 g\r\n")] == ["overload"]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("offset;value\n", "header"),
        ("offset,value,unit,condition\n", "no row"),
        ("offset,value,unit,condition\nx,1,g,ok\n", "no count of bytes"),
        ("offset,value,unit,condition\n9,1,g,ok\n2,1,g,ok\n", "rows go in order"),
        ("offset,value,unit,condition\n0,1,stone,ok\n", "isn't known"),
        ("offset,value,unit,condition\n0,1,g,fine\n", "none of ok"),
        ("offset,value,unit,condition\n999,1,g,ok\n", "behind the capture"),
        ("offset,value,unit,condition\n0,1,g\n", "needs 4 cells"),
    ],
)
def test_faults_of_the_shown_file_carry_their_line(text: str, problem: str) -> None:
    with pytest.raises(ConfigError, match=r"shown\.csv") as trouble:
        parse_shown(text, 20, "shown.csv")
    assert problem in "\n".join(trouble.value.problems)


def test_a_value_in_two_units() -> None:
    (seen,) = parse_shown("offset,value,unit,condition\n0,2 lb 3.5 oz,,ok\n", 9, "shown.csv")
    assert (seen.value, seen.unit) == (Decimal("35.5"), "[oz_av]")


def test_the_command_writes_a_proved_profile_and_spares_what_a_person_wrote(tmp_path: Path) -> None:
    seen = evidence(STATUS)
    capture, shown, out = tmp_path / "scale.bin", tmp_path / "shown.csv", tmp_path / "scale.toml"
    capture.write_bytes(seen.data)
    shown.write_text(
        "offset,value,unit,condition\n"
        + "".join(f"{o.offset},{o.text},{o.unit or ''},{o.condition}\n" for o in seen.observations)
    )
    given = ["--capture", str(capture), "--shown", str(shown), "--out", str(out)]
    assert CliRunner().invoke(command, given, catch_exceptions=False).exit_code == 0
    assert check_profile(load_profile(out)) == []
    assert CliRunner().invoke(command, given, catch_exceptions=False).exit_code == 0
    out.write_text('title = "mine"\n')
    with pytest.raises(ThwartError, match="exists already"):
        CliRunner().invoke(command, given, catch_exceptions=False)


def test_nothing_but_bytes_says_so() -> None:
    with pytest.raises(ThwartError, match="empty"):
        learn(Evidence(b"", ()), "x")


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1,234.5", "1234.5"), ("1.234,5", "1234.5"), ("12'345", "12345"), ("1 234,5", "1234.5"), ("1,234,567", "1234567"),
        ("-1,234.50", "-1234.50"), ("412,5", "412.5"), ("1,234", "1.234"),
    ],
)  # fmt: skip
def test_a_value_typed_with_its_thousands_apart(typed: str, value: str) -> None:
    (seen,) = parse_shown(f'offset,value,unit,condition\n0,"{typed}",g,ok\n', 9, "shown.csv")
    assert seen.value == Decimal(value)


def test_a_comma_before_three_digits_is_what_the_bytes_make_of_it() -> None:
    """Typed as shown, `1,234` may be more than a thousand or little more than one: the other rows tell."""
    grouped = [(f"S {v:>8} g\r\n".encode(), v, "g", "ok") for v in ("1,234", "21,507", "88", "9,960")]
    assert taught([(raw, f'"{v}"', u, c) for raw, v, u, c in grouped]).profile.layout[0].thousands == ","
    decimal = [(f"S {v:>8} kg\r\n".encode(), v, "kg", "ok") for v in ("1,234", "21,507", "0,088", "9,960")]
    assert taught([(raw, f'"{v}"', u, c) for raw, v, u, c in decimal]).profile.layout[0].decimal == ","


@pytest.mark.parametrize(
    ("frames", "further", "meaning"),
    [
        ([("(12.5) g\r\n", "-12.5"), ("412.0 g\r\n", "412.0"), ("7.5 g\r\n", "7.5")], "(87.0) g\r\n", "-87.0"),
        ([("N  12.5 g\r\n", "-12.5"), ("P 412.0 g\r\n", "412.0"), ("P   7.5 g\r\n", "7.5")], "N 187.0 g\r\n", "-187.0"),
        ([("1,012.5 g\r\n", "1012.5"), ("12.0 g\r\n", "12.0"), ("887.5 g\r\n", "887.5")], "22,345.5 g\r\n", "22345.5"),
        ([("W 12.25\r\n", "12.25"), ("W 3\r\n", "3"), ("W 150.5\r\n", "150.5")], "W 7.5\r\n", "7.5"),
    ],
)
def test_signs_thousands_and_dropped_zeros(frames: list[tuple[str, str]], further: str, meaning: str) -> None:
    profile = taught([(raw.encode(), value, "g", "ok") for raw, value in frames]).profile
    (heard,) = decode_frames(profile, further.encode())
    assert heard.decoded is not None
    assert heard.decoded.value == Decimal(meaning)


@pytest.mark.parametrize("noise", [b"\x80\xff", b"\xfe"])
def test_noise_on_every_frame_of_one_row_is_no_form(noise: bytes) -> None:
    def frame(value: str, mark: str = "ST") -> bytes:
        return f"{mark},{value:>7} g\r\n".encode()

    rows: list[Row] = [(frame(v) * 2, v, "g", "ok") for v in ("412.5", "87.0", "1250.5")]
    rows.append(
        (b"".join(noise[: 1 + n % 2] + frame(v, "US") for n, v in enumerate(("12.5", "44.0"))), "44.0", "g", "moving")
    )
    (heard,) = decode_frames(taught(rows).profile, frame("9.5", "US"))
    assert heard.decoded is not None
    assert (heard.decoded.text, heard.decoded.condition) == ("9.5", "moving")


def test_what_nobody_looked_at_is_left_out() -> None:
    """A row without value, unit and condition ends the one above."""
    text = "offset,value,unit,condition\n0,1.5,g,ok\n10,,,\n20,2.5,g,ok\n"
    assert [(o.offset, o.end) for o in parse_shown(text, 30, "shown.csv")] == [(0, 10), (20, 30)]


@pytest.mark.parametrize("fill", [b".", b"_", b"*"])
def test_fill_characters_give_way_to_digits_of_the_same_columns_only(fill: bytes) -> None:
    def line(number: bytes) -> bytes:
        return b"W " + number.rjust(8, fill) + b" g\r\n"

    rows = [(line(n) * 3, n.decode(), "g", "ok") for n in (b"12.5", b"403.8", b"7.1", b"98.6")]
    profile = taught(rows).profile

    def value(raw: bytes) -> str | None:
        (one,) = decode_frames(profile, raw)
        return None if one.decoded is None else str(one.decoded.value)

    assert value(line(b"5.0")) == "5.0"
    assert value(line(b"123456.7")) == "123456.7"
    other = b"_" if fill != b"_" else b"."
    for damaged in (line(b"12.5").replace(fill, b"", 1) if fill != b"." else b"W ...12.5 g\r\n",
                    b"W " + fill * 2 + other + fill + b"12.5 g\r\n", b"W " + fill * 3 + b" 12.5 g\r\n",
                    b"W     12.5 g\r\n", b"W " + fill * 5 + b"2.5" + fill + b"g\r\n"):  # fmt: skip
        assert value(damaged) is None, damaged


def test_a_status_digit_tells_movement_though_zero_was_shown_too() -> None:
    rows: list[Row] = [
        (b";0,000;kg;1;\r\n" * 2, "0.000", "kg", "zero"),
        (b";1,250;kg;1;\r\n" * 2, "1.250", "kg", "ok"),
        (b";12,345;kg;1;\r\n" * 2, "12.345", "kg", "ok"),
        (b";0,415;kg;0;\r\n" * 2, "0.415", "kg", "moving"),
    ]
    profile = taught(rows).profile
    assert said(profile, b";2,999;kg;0;\r\n") == [(Decimal("2.999"), "kg", "moving")]
    assert said(profile, b";2,999;kg;1;\r\n") == [(Decimal("2.999"), "kg", "ok")]


def test_a_sign_alone_tells_too_much_from_too_little() -> None:
    rows: list[Row] = [
        (b"I4 A 12.50 g\r\n", "12.50", "g", "ok"),
        (b"I4 A 412.34 g\r\n", "412.34", "g", "ok"),
        (b"I4 A 1203.71 g\r\n", "1203.71", "g", "ok"),
        (b"I4 +\r\n" * 2, "", "", "overload"),
        (b"I4 -\r\n" * 2, "", "", "underload"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"I4 +\r\n") == [(None, None, "overload")]
    assert said(profile, b"I4 -\r\n") == [(None, None, "underload")]


def test_frames_that_come_again_within_a_row_are_not_cut_across() -> None:
    rows: list[Row] = [
        (b"830000125\r" * 3, "12.5", "g", "ok"),
        (b"830004125\r" * 3, "412.5", "g", "ok"),
        (b"930000873\r" * 3, "87.3", "g", "moving"),
    ]
    assert {framing.length for framing in framings(evidence(rows))} == {None, 10, 5}


def test_a_check_over_the_bytes_that_pairs_of_digits_stand_for() -> None:
    """An LRC as field buses write it in text: the bytes, not the digits, sum to zero with it."""
    rows: list[Row] = []
    for grams in (38_412, 5_021, 60_233, 777):
        data = bytes([1, 3, 2]) + grams.to_bytes(2, "big")
        rows.append(
            (b":" + (data + bytes([-sum(data) & 0xFF])).hex().upper().encode() + b"\r\n", f"{grams}", "g", "ok")
        )
    profile = taught(rows).profile
    assert profile.checksum is not None
    assert profile.checksum.over == "pairs"
    assert said(profile, b":010302ABCD82\r\n:010302ABCD83\r\n") == [
        (Decimal(0xABCD), "g", "ok"),
        (None, None, "checksum"),
    ]


def test_a_status_digit_tells_movement_and_a_minus_beside_a_plus_that_never_changes() -> None:
    rows: list[Row] = [
        (b"\x02+8 000954000000\r", "95.4", "g", "moving"),
        (b"\x02+2 009720000000\r", "-972.0", "g", "ok"),
        (b"\x02+0 006794000000\r", "679.4", "g", "ok"),
        (b"\x02+0 000597000000\r", "59.7", "g", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"\x02+0 001231000000\r\x02+2 001231000000\r\x02-0 001231000000\r") == [
        (Decimal("123.1"), "g", "ok"),
        (Decimal("-123.1"), "g", "ok"),
        (None, None, "layout"),
    ]


PADDED: list[Row] = [
    (b"   412.5 g\r\n" * 2, "412.5", "g", "ok"),
    (b"    13.7 g\r\n" * 2, "13.7", "g", "ok"),
    (b"  1034.0 g\r\n" * 2, "1034.0", "g", "ok"),
    (b"-   88.6 g\r\n" * 2, "-88.6", "g", "ok"),
]


@pytest.mark.parametrize("cut", [1, 4, 5, 7, 9])
def test_a_capture_that_begins_within_a_frame_teaches_the_same(cut: int) -> None:
    whole = taught(PADDED).profile
    rows: list[Row] = [(PADDED[0][0][cut:], *PADDED[0][1:]), *PADDED[1:]]
    assert taught(rows).profile.layout == whole.layout


def test_a_capture_that_begins_within_the_only_frame_of_its_row() -> None:
    rows: list[Row] = [(raw[:12], value, unit, condition) for raw, value, unit, condition in PADDED]
    profile = taught([(rows[0][0][5:], *rows[0][1:]), *rows[1:]]).profile
    assert said(profile, b"   999.9 g\r\n") == [(Decimal("999.9"), "g", "ok")]


def test_a_mistyped_first_row_is_no_torn_frame() -> None:
    rows: list[Row] = [(PADDED[0][0], "512.5", "g", "ok"), *PADDED[1:]]
    with pytest.raises(ThwartError, match=r"row 1 .*contradicts"):
        taught(rows)


@pytest.mark.parametrize("shift", [-5, -2, 3, 5])
def test_rows_that_were_written_down_a_little_early_or_late(shift: int) -> None:
    rows: list[Row] = [(raw[:12], value, unit, condition) for raw, value, unit, condition in PADDED]
    data, shown = b"", "offset,value,unit,condition\n"
    for raw, value, unit, condition in rows:
        shown += f"{max(0, len(data) + shift) if data else 0},{value},{unit},{condition}\n"
        data += raw
    profile = learn(Evidence(data, parse_shown(shown, len(data), "shown.csv")), "learned").profile
    assert profile.layout == taught(rows).profile.layout


@pytest.mark.parametrize("still", [b"%s kg", b"%s KG", b"%s kg!"])
def test_a_moving_display_nobody_could_read(still: bytes) -> None:
    moving = {b"%s kg": b"%s   ", b"%s KG": b"%s kg", b"%s kg!": b"%s kg"}[still]
    rows: list[Row] = [
        (still % b"  12,456" + b"\r\n", "12.456", "kg", "ok"),
        (still % b"   0,731" + b"\r\n", "0.731", "kg", "ok"),
        (moving % b"   4,982" + b"\r\n", "", "", "moving"),
        (still % b" -23,044" + b"\r\n", "-23.044", "kg", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, moving % b"  17,305" + b"\r\n") == [(Decimal("17.305"), "kg", "moving")]
    assert said(profile, still % b"  17,305" + b"\r\n") == [(Decimal("17.305"), "kg", "ok")]


def test_a_status_digit_glued_to_a_number_nobody_could_read_never_becomes_a_part_of_it() -> None:
    rows: list[Row] = [(b"0%06d\r\n" % n, f"{n / 10}", "g", "ok") for n in (9343, 158, 27703, 2278)]
    with pytest.raises(ThwartError):
        taught([*rows, (b"1002186\r\n", "", "", "moving")])


def test_a_word_behind_a_lone_return_belongs_to_the_value_it_speaks_of() -> None:
    rows: list[Row] = [
        (b"   12.50\rstable\r\n" * 2, "12.50", "g", "ok"),
        (b"  412.34\rstable\r\n" * 2, "412.34", "g", "ok"),
        (b" 1203.71\rstable\r\n" * 2, "1203.71", "g", "ok"),
        (b"   87.30\rmotion\r\n" * 2, "87.30", "g", "moving"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"  512.00\rmotion\r\n") == [(Decimal("512.00"), "g", "moving")]
    assert said(profile, b"  512.00\rstable\r\n") == [(Decimal("512.00"), "g", "ok")]


def test_hexadecimal_in_twos_complement() -> None:
    """Worked by hand: -1.5 in tenths is -15, FFF1 in sixteen bits."""
    rows: list[Row] = [
        (b"0223\r\n", "54.7", "mm", "ok"),
        (b"FFF1\r\n", "-1.5", "mm", "ok"),
        (b"0C39\r\n", "312.9", "mm", "ok"),
        (b"000A\r\n", "1.0", "mm", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"FF06\r\n0100\r\n") == [(Decimal("-25.0"), "mm", "ok"), (Decimal("25.6"), "mm", "ok")]
    above = taught([row for row in rows if not row[1].startswith("-")]).profile
    assert said(above, b"FF06\r\n0100\r\n") == [(None, None, "layout"), (Decimal("25.6"), "mm", "ok")]


def test_idle_bytes_between_frames_mean_nothing_later_either() -> None:
    rows: list[Row] = [
        (b"\0   412.5 g\r\n", "412.5", "g", "ok"),
        (b"    13.7 g\r\n", "13.7", "g", "ok"),
        (b"\0\0  1034.0 g\r\n", "1034.0", "g", "ok"),
        (b"    88.6 g\r\n", "88.6", "g", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"\0\0\0   999.9 g\r\n\0    88.6 g\r\n") == [
        (Decimal("999.9"), "g", "ok"),
        (Decimal("88.6"), "g", "ok"),
    ]


def test_another_weight_in_the_line_may_be_below_zero_and_may_be_another() -> None:
    rows: list[Row] = [
        (b"G   -800.1 T     20.0 N   -820.1 g\r\n", "-820.1", "g", "ok"),
        (b"G   1497.5 T     20.0 N   1477.5 g\r\n", "1477.5", "g", "ok"),
        (b"G     92.5 T      7.5 N     85.0 g\r\n", "85.0", "g", "ok"),
        (b"G   1368.8 T     20.0 N   1348.8 g\r\n", "1348.8", "g", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"G  -1807.5 T    120.5 N  -1928.0 g\r\n") == [(Decimal("-1928.0"), "g", "ok")]


def test_a_counter_before_a_scan_counts_on() -> None:
    rows: list[Row] = [(b"%03d,LK-%04d\r\n" % (n + 98, n * 1237), f"LK-{n * 1237:04}", "", "ok") for n in range(1, 6)]
    heard = list(decode_frames(taught(rows).profile, b"104,LK-0042\r\n"))
    assert [one.decoded.identifier for one in heard if one.decoded] == ["LK-0042"]


def test_a_digit_before_the_number_says_that_it_is_below_zero() -> None:
    rows: list[Row] = [
        (b"FFFF000322420\r", "32.24", "mm", "ok"),
        (b"FFFF000979020\r", "97.90", "mm", "ok"),
        (b"FFFF800133220\r", "-13.32", "mm", "ok"),
        (b"FFFF002883720\r", "288.37", "mm", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"FFFF812345620\rFFFF012345620\rFFFF412345620\r") == [
        (Decimal("-1234.56"), "mm", "ok"),
        (Decimal("1234.56"), "mm", "ok"),
        (None, None, "layout"),
    ]


def test_a_byte_beside_packed_decimals_says_that_they_are_below_zero() -> None:
    rows: list[Row] = [
        (b"\xff\x31\x11\x00\x00", "113.1", "g", "ok"),
        (b"\xff\x15\x96\x05\x00", "5961.5", "g", "ok"),
        (b"\xff\x48\x89\x00\x80", "-894.8", "g", "ok"),
        (b"\xff\x44\x07\x00\x00", "74.4", "g", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"\xff\x01\x02\x03\x80\xff\x01\x02\x03\x00\xff\x01\x02\x03\x01") == [
        (Decimal("-3020.1"), "g", "ok"),
        (Decimal("3020.1"), "g", "ok"),
        (None, None, "layout"),
    ]


def test_what_a_check_leaves_out_never_hides_what_tells_movement() -> None:
    """The two letters of the unit cancel each other in an exclusive or: the check holds without them as well."""

    def frame(text: str) -> bytes:
        check = 0
        for byte in text.encode():
            check ^= byte
        return f"{text}{check:02x}\x03".encode()

    still, moving = ("N+,%09d MM", "N+,%09d mm")
    rows: list[Row] = [(frame(still % n), f"{n / 10}", "mm", "ok") for n in (11625, 2479, 1222)]
    rows += [(frame(moving % n), f"{n / 10}", "mm", "moving") for n in (467, 7504)]
    profile = taught(rows).profile
    assert said(profile, frame(moving % 148)) == [(Decimal("14.8"), "mm", "moving")]
    assert said(profile, frame("N+,000000148 KG"))[0][2] == "layout"


def test_a_zero_before_grouped_digits_is_a_status() -> None:
    rows: list[Row] = [
        (b"A  03.611,984kg\r\n", "3611.984", "kg", "ok"),
        (b"A  04.915,185kg\r\n", "4915.185", "kg", "ok"),
        (b"A  02.996,053kg\r\n", "2996.053", "kg", "ok"),
    ]
    profile = taught(rows).profile
    assert said(profile, b"A  14.860,946kg\r\nA  07.123,456kg\r\n") == [
        (None, None, "layout"),
        (Decimal("7123.456"), "kg", "ok"),
    ]


def test_two_frames_of_each_row_are_never_one() -> None:
    rows: list[Row] = [
        (b"\x02%s  %06d  g\x03" % (b"08:%02d:00" % n, n * 1237) * 2, f"{n * 1237 / 100:.2f}", "g", "ok")
        for n in range(1, 6)
    ]
    assert len(said(taught(rows).profile, rows[0][0])) == 2


def test_whole_grams_say_nothing_of_the_decimals_of_kilograms() -> None:
    rows: list[Row] = [
        (b"   1.372 1\r\n", "1.372", "kg", "ok"),
        (b"     621 0\r\n", "621", "g", "ok"),
        (b"   2.977 1\r\n", "2.977", "kg", "ok"),
        (b"    1725 0\r\n", "1725", "g", "ok"),
    ]
    assert said(taught(rows).profile, b"   0.464 1\r\n") == [(Decimal("0.464"), "kg", "ok")]


def test_zeros_that_were_not_typed_make_no_thousands() -> None:
    rows: list[Row] = [
        (b"   1.372 kg\r\n", "1.372", "kg", "ok"),
        (b"   5.000 kg\r\n", "5", "kg", "ok"),
        (b"   2.977 kg\r\n", "2.977", "kg", "ok"),
        (b"  11.204 kg\r\n", "11.204", "kg", "ok"),
    ]
    assert said(taught(rows).profile, b"   0.464 kg\r\n") == [(Decimal("0.464"), "kg", "ok")]
