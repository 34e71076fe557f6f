"""Faults in a profile's file: each names its file, line and key, and says what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from thwart.errors import ConfigError, NotFound
from thwart.profiles import find_profile, load_profile, shipped_profiles
from thwart.wire.patterns import compiled

BASE = shipped_profiles()["number-unit-mass"].read_text(encoding="utf-8")
SCAN = shipped_profiles()["label-scanner"].read_text(encoding="utf-8")
LENGTHS = shipped_profiles()["fixed-length-mass"].read_text(encoding="utf-8")


def faults(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_profile(path)
    return list(caught.value.problems)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('mode = "streams"', 'mode = "stream"', ":3: mode: should be 'streams', 'prints' or 'asked'"),
        ("division = 1\n", "", "needs unit, division and range"),
        ("division = 1\n", "division = 0\n", "division: should be greater than 0"),
        ('unit = "g"\n', 'unit = "gram"\n', "unit: unknown unit; known (UCUM codes): mm, cm,"),
        ('unit = "g"\n', 'unit = "mm"\n', "unit: mm is no unit of mass"),
        ("range = [0, 15000]", "range = [9, 9]", "range: the smallest value must be below the largest"),
        ("max_length = 32", "max_lenght = 32", "framing.max_lenght: unknown key; did you mean max_length"),
        ('terminators = ["\\r\\n"]', "", "framing.terminators: needs exactly one of terminators, start with end, length, gap_ms (has none)"),
        ('terminators = ["\\r\\n"]', 'terminators = ["\\r\\n"]\ngap_ms = 50', "(has terminators and gap_ms)"),
        ('terminators = ["\\r\\n"]', 'terminators = ["\\r\\n", "\\r"]', "would cut b'\\r\\n' short"),
        ('terminators = ["\\r\\n"]', 'terminators = ["\\r\\n", "\\r\\n"]', "terminators: one is there twice"),
        ('terminators = ["\\r\\n"]', 'terminators = [""]', "terminators: one is empty"),
        ('terminators = ["\\r\\n"]', 'terminators = ["\u20ac"]', "is no byte: write bytes above 7F as"),
        ('terminators = ["\\r\\n"]', 'terminators = ["\\n"]\ncheck_bytes = 1', "check_bytes: stand after end"),
        ('terminators = ["\\r\\n"]', 'start = "\\u0002"', "exactly one of"),
        ('terminators = ["\\r\\n"]', 'start = "\\u0002"\nend = "\\u0002"', "start: must differ from end"),
        ('terminators = ["\\r\\n"]', 'start = "a"\nend = "b"\ncheck_bytes = 1', "check_bytes: need a checksum of that width"),
        ('terminators = ["\\r\\n"]', "gap_ms = 47", "gap_ms: 47 is below three times line.latency_ms (16)"),
        ('terminators = ["\\r\\n"]', "length = 12", "length: without start the first frame of a stream"),
        ('terminators = ["\\r\\n"]', "length = 64", "at most max_length"),
        ("(?P<unit>kg|g)", "(?P<unit>kg|g)(?=x)", "invalid perl operator: (?=; look-around and back-references aren't allowed"),
        ("(?P<unit>kg|g)", "(?P<unit>kg|g", "missing ): "),
        ("(?P<unit>kg|g)", "(?P<unti>kg|g)", "field without meaning: unti; give it marks, or name it one of number, net,"),
        ("(?P<unit>kg|g)'", "(?P<unit>kg|g)'\nunit = 'g'", "unit: is in the frame or implied, not both"),
        ("(?P<unit>kg|g)'", "(?P<unit>kg|g)'\ncolumns = { number = [1, 2] }", "needs either a pattern or columns"),
        ("(?P<unit>kg|g)'", "(?P<unit>kg|g)'\ncompound = ['[lb_av]', '[oz_av]']", "compound: goes with the fields major and minor"),
        ("(?P<number>", "(?P<net>", None),
        ("(?P<number>", "(?P<gross>", "gross: gross and tare are proofs of net"),
        ("(?P<number>", "(?P<identifier>.)(?P<number>", "identifier: a frame holds an identifier or a number"),
        ("[layout.marks.state]", "[layout.marks.stat]", "marks: given for a field that isn't there: stat"),
        ('OVER = "overload"', 'OVER = "over"', ":19: layout[1].marks.state.OVER: should be 'normal', 'settled'"),
        ('by = "window"', 'by = "mark"', "settle.by: is mark, but no layout has a mark that means settled"),
        ("limit_ms = 12000", "limit_ms = 500", "settle.limit_ms: is below window_ms"),
        ("[framing]", "[ask]\ncommand = '?'\n[framing]", "ask: mode asked and the table ask belong together"),
        ('emptied = "stream"', 'emptied = "each"', "emptied: stream belongs with frames that keep coming"),
        ('mode = "streams"', 'mode = "prints"', "emptied: stream belongs with frames that keep coming"),
        ('frame = "    OVER  \\r\\n"', 'hex = "4g"', "sample[3].hex: pairs of hexadecimal digits"),
        ('frame = "    OVER  \\r\\n"', "", "sample[3].frame: needs one of frame, hex, reports"),
        ("[framing]", "[line]\nstop_bits = 3\n[framing]", "line.stop_bits: 1, 1.5 or 2 (is 3)"),
        ("title", 'name = "x"\ntitle', "a profile is named by its file (mine); remove the key"),
        ("title =", "title", "not valid TOML"),
        ("[[sample]]", "[[smaple]]", "unknown key; did you mean sample, settle?"),
    ],
)  # fmt: skip
def test_faults(tmp_path: Path, old: str, new: str, said: str | None) -> None:
    assert old in BASE
    path = tmp_path / "mine.toml"
    if said is None:
        path.write_text(BASE.replace(old, new), encoding="utf-8")
        load_profile(path)
        return
    problems = faults(tmp_path, BASE.replace(old, new))
    assert any(said in problem for problem in problems), problems
    assert all(problem.startswith(str(path)) for problem in problems)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('emptied = "each"', 'emptied = "each"\nunit = "g"', "kind identifier has no unit, division or range"),
        ('emptied = "each"', 'emptied = "stream"', "kind identifier can't be emptied by stream"),
        ("(?P<identifier>", "(?P<number>", "layout: none has an identifier"),
    ],
)
def test_faults_of_a_scanner(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert any(said in problem for problem in faults(tmp_path, SCAN.replace(old, new)))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('written = "hex"', 'written = "octal"', "checksum.written: should be 'hex', 'byte'"),
        ('kind = "sum"', 'kind = "crc"', "checksum.kind: should be 'xor', 'xor-7'"),
        ("length = 12", 'end = "\\u0003"', "checksum.trailing: the check lies before framing.end"),
        ("length = 12", "length = 1", "length: must be above that of start"),
    ],
)
def test_faults_of_checks_and_lengths(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert any(said in problem for problem in faults(tmp_path, LENGTHS.replace(old, new, 1)))


def test_all_faults_at_once(tmp_path: Path) -> None:
    text = BASE.replace('mode = "streams"', "mode = 1").replace("max_length = 32", "max_length = 0")
    assert len(faults(tmp_path, text)) == 2


def test_finding(tmp_path: Path) -> None:
    """A user's folder wins over the shipped one, the first folder over the second; near names are offered."""
    first, second = tmp_path / "a", tmp_path / "b"
    for folder, title in ((first, "first"), (second, "second")):
        folder.mkdir()
        (folder / "label-scanner.toml").write_text(SCAN.replace("A label as it stands", title), encoding="utf-8")
    assert find_profile("label-scanner").title.startswith("A label")
    assert find_profile("label-scanner", [first, second]).title.startswith("first")
    assert find_profile("label-scanner", [tmp_path / "none", second]).title.startswith("second")
    assert find_profile("key", [first]).name == "key"
    with pytest.raises(NotFound, match="no profile is named 'lable-scaner'") as caught:
        find_profile("lable-scaner")
    assert "label-scanner" in caught.value.hint


def test_unreadable(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="no such file"):
        load_profile(tmp_path / "absent.toml")


def test_a_pattern_can_t_hang() -> None:
    """The classic that takes exponential time where matching backtracks."""
    assert compiled("(a|aa)+b").fullmatch(b"a" * 5000) is None
    assert compiled("(?:(?:a*)*)*b").fullmatch(b"a" * 5000) is None


def test_patterns_match_bytes() -> None:
    assert compiled(r"(?P<x>\xb0.)").fullmatch(b"\xb0\n") == {"x": b"\xb0\n"}
    assert compiled("(?P<x>\u00b0)?y").fullmatch(b"y") == {"x": None}
    with pytest.raises(ValueError, match="matches bytes"):
        compiled("\u20ac")
