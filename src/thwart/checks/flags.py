"""Verdicts: the primary flags 1, 2, 3, 4, 9 of IOC Manuals and Guides 54 vol. 3 (QARTOD), and which one wins. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum


class Verdict(IntEnum):
    """What is thought of a value."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3  # improbable
    FAIL = 4  # impossible
    MISSING = 9


#: From the one that wins over all to the one that wins over none; as ioos-qc's `qartod_compare`.
PRECEDENCE = (Verdict.FAIL, Verdict.SUSPECT, Verdict.PASS, Verdict.NOT_EVALUATED, Verdict.MISSING)
_RANK = {verdict: rank for rank, verdict in enumerate(PRECEDENCE)}


def worst(verdicts: Iterable[int]) -> Verdict:
    """The verdict that stands for several; MISSING where there are none."""
    return min((Verdict(v) for v in verdicts), key=_RANK.__getitem__, default=Verdict.MISSING)
