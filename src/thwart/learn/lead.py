"""Leading a person at an instrument: what to do next, what the answer means, and the rows it makes. Pure."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from .. import units
from ..errors import ThwartError
from .evidence import HEADER, Shown, shown_value

Kind = Literal["mass", "length", "identifier"]
#: What a person calls a kind.
KINDS: Final[dict[str, Kind]] = {"scale": "mass", "board": "length", "reader": "identifier"}
#: Answers that are no number: what they say the instrument shows.
WORDS: Final[dict[str, Shown]] = {
    "over": "overload", "overload": "overload", "under": "underload", "underload": "underload", "error": "error",
}  # fmt: skip
_NUMBER = re.compile(r"([+-]?[\d.,\s]*\d|[+-]?\d+[.,])\s*([^\d\s.,+-].*)?")
_COMPOUND = re.compile(r"[+-]? *\d+ *[A-Za-z]+[ :]+\d+(?:[.,]\d+)? *[A-Za-z]+")


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. `expects`: what the display then shows; `optional`: Enter skips it."""

    do: str
    expects: Shown = "ok"
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the file of what was shown. An empty condition: nobody looked."""

    offset: int
    value: str
    unit: str
    condition: Shown | Literal[""]


_SCALE = (
    Step("Take everything off."),
    Step("Put 500 g on, or any load near that."),
    Step("Take it off."),
    Step("Put something light on, so that the display shows fewer digits."),
    Step("Make it show a value below zero: zero it with something on, then lift that off.", optional=True),
    Step("Press until it shows overload, and hold it there.", "overload", optional=True),
)
_BOARD = (
    Step("Touch 100 mm."),
    Step("Touch 300 mm."),
    Step("Touch as near to the stop as you can, so that it shows fewer digits."),
    Step("Touch near the far end, any place."),
)
_READER = (
    Step("Scan a label or tag, and type what it says."),
    Step("Scan another one."),
    Step("And a third, as different as you have."),
)
STEPS: Final[dict[Kind, tuple[Step, ...]]] = {"mass": _SCALE, "length": _BOARD, "identifier": _READER}
_UNITS: Final = {"mass": "g", "length": "mm"}


@dataclass(frozen=True, slots=True)
class Answer:
    """What was typed, understood."""

    value: str
    unit: str
    condition: Shown


def understood(text: str, step: Step, kind: Kind, unit: str) -> Answer:
    """What an answer says; `unit` is meant where a number comes without one ("" where none was named yet).

    Raises ThwartError, worded for the person at the instrument.
    """
    text = " ".join(text.split())
    if kind == "identifier":
        return Answer(text, "", "ok")
    if (condition := WORDS.get(text.lower())) is not None:
        return Answer("", "", condition)
    if _COMPOUND.fullmatch(text):
        value, code = shown_value(text, "")
        return Answer(text, "", _condition(value == 0 if code else False))
    match = _NUMBER.fullmatch(text)
    if match is None:
        if step.expects != "ok":
            # The display's own word for it, or dashes.
            return Answer("", "", step.expects)
        raise ThwartError(
            f"{text!r} is no number", "type what the display shows, as 412.5 g; or over, under, error, skip"
        )
    own = (match[2] or unit).strip()
    if not own:
        raise ThwartError("in which unit", f"type it behind the number, as {match[1]} {_UNITS[kind]}")
    if units.ucum(own) is None:
        raise ThwartError(f"{own!r} is no unit known here", f"known: {', '.join(units.FACTORS)}")
    value, _ = shown_value(match[1], own)
    if value is None:
        raise ThwartError(f"{match[1]!r} is no number", "type it as the display shows it, without remarks")
    return Answer(match[1], own, _condition(value == 0))


def _condition(zero: bool) -> Shown:
    return "zero" if zero else "ok"


def shown_text(rows: Sequence[Row]) -> str:
    """The file of what was shown."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows((row.offset, row.value, row.unit, row.condition) for row in rows)
    return out.getvalue()
