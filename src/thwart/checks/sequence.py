"""All tests that look at fish in their order at one place, as one left fold. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import msgspec

from .finding import Finding
from .flags import Verdict
from .heaping import Digits, follow_digits, whose
from .level import KEEP, Level, LevelWatch, follow_level
from .numeric import six
from .repeats import Run, follow_repeats
from .slip import Slip, SlipWatch, Swap, follow_slip
from .specimen import Specimen
from .state import MASSES, Setup, State, mass_of
from .stuck import StuckWatch, follow_stuck
from .words import ADVICE, named, phrase

#: False findings per 1,000 sound fish in random order each test keeps to; drift, offset and board_shift are one test
#: (0.2) and the one after a tare (0.2) (measured in `tests/long/checks_sequence.py`).
FALSE_PER_1000 = {
    "slip": 0.3,
    "swapped": 0.2,
    "stale_run": 0.1,
    "drift": 0.2,
    "offset": 0.2,
    "board_shift": 0.2,
    "heaping": 0.1,
    "species_stuck": 0.1,
}


class Sequence(msgspec.Struct, frozen=True):
    """What the tests remember: the last fish (nearest last), and each test's numbers.

    `runs` by measurand, `digits` by `heaping.whose`.
    """

    before: tuple[Specimen, ...] = ()
    slip: SlipWatch = SlipWatch()
    level: LevelWatch = LevelWatch()
    stuck: StuckWatch = StuckWatch()
    runs: Mapping[str, Run] = {}
    digits: Mapping[str, Digits] = {}


def follow(
    sequence: Sequence,
    fish: Specimen,
    state: State,
    setup: Setup,
    *,
    measurer: str = "",
    instruments: Mapping[str, str] = {},
    tared: bool = False,
    wary: bool = False,
) -> tuple[Sequence, list[Finding]]:
    """The sequence after one more finished fish, and what was found.

    `state` is as it was before this fish was learned; `measurer` and, by measurand, `instruments` name whose digits
    are counted; `tared` says that the scale was tared since the fish before,
    `wary` that nobody was asked about odd values when they came.
    """
    findings: list[Finding] = []
    before, values = sequence.before, fish.positive()
    mass = mass_of(values) or MASSES[0]
    slip, one = follow_slip(sequence.slip, fish, before, state, setup, wary=wary)
    if isinstance(one, Slip):
        arguments = {
            "direction": one.direction,
            "start": one.start,
            "end": one.end,
            "start_within_1": f"{one.within_one:.2g}",
        }
        findings.append(_finding(mass, "slip", arguments, one.surely))
    elif isinstance(one, Swap):
        findings.append(_finding(mass, "swapped", {"first": one.first, "second": one.second}, one.surely))
    level, change = follow_level(sequence.level, fish, before, state, setup, tared=tared)
    if change:
        findings.append(_of_level(mass, change))
    stuck, other = follow_stuck(sequence.stuck, fish, state, setup)
    if other:
        findings.append(_finding("species", "species_stuck", {"fits": other.fits, "start": other.start}, other.surely))
    runs: dict[str, Run] = {}
    digits = dict(sequence.digits)
    for name, value in values.items():
        run, long = follow_repeats(sequence.runs.get(name), name, fish, before)
        if run:
            runs[name] = run
            if long:
                findings.append(_finding(name, "stale_run", {"count": str(long), "start": run.start}, 1.0))
        key = whose(measurer, instrument := instruments.get(name, ""), name)
        digits[key], heaped = follow_digits(digits.get(key, _NO_DIGITS), value)
        if heaped:
            arguments = {
                "digits": heaped.digits,
                "chi_square": f"{heaped.chi_square:.4g}",
                "measurer": measurer,
                "instrument": instrument,
            }
            findings.append(replace(_finding(name, "heaping", arguments, 1.0), asks=False, tail=heaped.probability))
    return Sequence((*before, fish)[-KEEP:], slip, level, stuck, runs, digits), findings


_NO_DIGITS = Digits()
_SIZES = {"drift": "percent", "offset": "grams", "board_shift": "mm"}


def _of_level(mass: str, change: Level) -> Finding:
    arguments = {_SIZES[change.cause]: f"{change.size:+.3g}", "start": change.start, "end": change.end}
    return _finding("total_length" if change.cause == "board_shift" else mass, change.cause, arguments, change.surely)


def heavier(finding: Finding) -> bool | None:
    """Whether a change of level makes fish seem heavier for their length, or lighter; None of any other finding."""
    size = _SIZES.get(finding.cause)
    return None if size is None else finding.arguments[size].startswith("+") != (finding.cause == "board_shift")


def _finding(measurand: str, cause: str, arguments: dict[str, str], surely: float) -> Finding:
    of = "" if measurand == "species" else f"{named(measurand)}: "
    text = f"{of}{phrase(cause, arguments)} · {ADVICE[cause]}"
    return Finding(measurand, Verdict.SUSPECT, cause, arguments, six(surely), "", 0.0, ADVICE[cause], text, True)
