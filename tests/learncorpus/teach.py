"""Learning from a case, and from rows given by hand."""

from __future__ import annotations

from collections.abc import Sequence

from thwart.learn import Evidence, Learned, learn, parse_shown

from .model import Case

Row = tuple[bytes, str, str, str]


def evidence(rows: Sequence[Row], before: bytes = b"") -> Evidence:
    """Rows of (bytes, value, unit, condition) as a capture with its file of what was shown."""
    data, shown = before, "offset,value,unit,condition\n"
    for raw, value, unit, condition in rows:
        shown += f"{len(data)},{value},{unit},{condition}\n"
        data += raw
    return Evidence(data, parse_shown(shown, len(data), "shown.csv"))


def taught(rows: Sequence[Row], before: bytes = b"") -> Learned:
    """What is learned from rows given by hand."""
    return learn(evidence(rows, before), "learned")


def learned(case: Case) -> Learned:
    """What is learned from a case."""
    shown = parse_shown(case.shown, len(case.data), "shown.csv")
    return learn(Evidence(case.data, shown, tuple(case.silences)), "learned")
