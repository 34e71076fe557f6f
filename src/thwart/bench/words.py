"""English for every code the bench uses: the tables of its language file. The ledger stores it, the feed carries it. Pure.

`{names}` are the arguments of the code. What is said in another language is made from codes and arguments when it is
announced.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..languages import ENGLISH

#: Questions and notes: cause code → words.
QUESTIONS = ENGLISH.tables["questions"]
#: Refusals: why an input changed nothing → words.
REFUSALS = ENGLISH.tables["refusals"]
#: Why a reading is loose, stale, doubled or refused → words.
WHY = ENGLISH.tables["why"]
#: What is told beside decisions: confirmations and hints → words.
TOLD = ENGLISH.tables["told"]
#: What was decided → words.
ANNOUNCED = ENGLISH.tables["announced"]

#: What a person or a scanner said is shown up to so many characters.
_SHOWN = 60


def shown(text: object) -> str:
    """A text from outside as it is shown: cut where it is long."""
    whole = str(text)
    return whole if len(whole) <= _SHOWN else whole[:_SHOWN] + "…"


def say(table: Mapping[str, str], code: str, args: Mapping[str, Any]) -> str:
    """The words of a code. Raises KeyError for an unknown code or a missing argument: a fault of the program."""
    return table[code].format_map(args)
