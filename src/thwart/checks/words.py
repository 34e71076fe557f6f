"""English for findings, made from codes by the tables of the language file. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from ..languages import ENGLISH

#: What each cause means, as the end of "most likely …". Keys are the closed list of cause codes.
CAUSES = ENGLISH.tables["causes"]
#: What to do about each cause.
ADVICE = ENGLISH.tables["advice"]

#: Arguments that hold a measurand's code.
_MEASURANDS = frozenset({"small", "large", "with", "was", "taken_as"})


def named(measurand: str) -> str:
    """`whole_mass` → `whole mass`."""
    return measurand.replace("_", " ")


def phrase(cause: str, arguments: Mapping[str, str]) -> str:
    """What `cause` means, with its arguments. Raises KeyError for an unknown code or a missing argument."""
    return CAUSES[cause].format(**{k: named(v) if k in _MEASURANDS else v for k, v in arguments.items()})
