"""English for findings, made from codes by one table of templates. Pure."""

from __future__ import annotations

from collections.abc import Mapping

#: What each cause means, as the end of "most likely …". Keys are the closed list of cause codes.
CAUSES: dict[str, str] = {
    "as_measured": "an unusual fish",
    "times_10": "ten times too large",
    "tenth": "ten times too small",
    "times_100": "a hundred times too large",
    "hundredth": "a hundred times too small",
    "times_1000": "a thousand times too large",
    "thousandth": "a thousand times too small",
    "inch": "inches and millimetres or centimetres mixed up",
    "pound": "pounds or ounces mixed up with kilograms or grams",
    "digits_exchanged": "two digits exchanged: {digits}",
    "digit_off": "one digit wrong: {digits}",
    "length_type": "{was} taken as {taken_as}",
    "fields_exchanged": "exchanged with {with}",
    "tray": "{offset} g too much on the pan: tray not tared",
    "lifted_early": "lifted early",
    "stale": "still the value of {number}",
    "neighbour": "the value of {number}",
    "other_on_pan": "the fish before still on the pan",
    "wrong_species": "another species: {fits}",
    "presentation": "{was}, not {declared}",
    "unexplained": "wrong in some other way",
    "beyond_limits": "outside {low} to {high} {unit}",
    "order": "{small} above {large}",
    "not_positive": "not above zero",
    "below_mature": "mature below the smallest mature, {smallest} mm",
    "unreadable": "not a number: {text}",
    "no_model": "no species model for this state",
    "slip": "values slipped by one fish ({direction}) since {start}",
    "swapped": "values of {first} and {second} exchanged",
    "stale_run": "{count} equal values in a row since {start}",
    "drift": "drifted by {percent} % since about {start}",
    "offset": "{grams} g off since about {start}",
    "board_shift": "lengths {mm} mm off since about {start}",
    "heaping": "last digits heaped at {digits}",
    "species_stuck": "species stuck since {start}: they fit {fits}",
}

#: What to do about each cause.
ADVICE: dict[str, str] = {
    "as_measured": "look again",
    "times_10": "check the point and the unit",
    "tenth": "check the point and the unit",
    "times_100": "check the point and the unit",
    "hundredth": "check the point and the unit",
    "times_1000": "check the unit",
    "thousandth": "check the unit",
    "inch": "check the unit",
    "pound": "check the unit",
    "digits_exchanged": "read again",
    "digit_off": "read again",
    "length_type": "measure again",
    "fields_exchanged": "swap them",
    "tray": "tare and weigh again",
    "lifted_early": "weigh again",
    "stale": "measure again",
    "neighbour": "check which fish",
    "other_on_pan": "clear the pan and weigh again",
    "wrong_species": "check the species",
    "presentation": "check the presentation",
    "unexplained": "measure again",
    "beyond_limits": "measure again",
    "order": "measure both again or swap them",
    "not_positive": "measure again",
    "below_mature": "check maturity and length",
    "unreadable": "see the original",
    "no_model": "nothing to compare with",
    "slip": "stop and match fish and values; slide the range",
    "swapped": "swap them",
    "stale_run": "check the instrument",
    "drift": "check the instruments with a known length and mass",
    "offset": "tare, then check with a known mass",
    "board_shift": "check the board with a known length",
    "heaping": "read to the last digit",
    "species_stuck": "set the species",
}

#: Arguments that hold a measurand's code.
_MEASURANDS = frozenset({"small", "large", "with", "was", "taken_as"})


def named(measurand: str) -> str:
    """`whole_mass` → `whole mass`."""
    return measurand.replace("_", " ")


def phrase(cause: str, arguments: Mapping[str, str]) -> str:
    """What `cause` means, with its arguments. Raises KeyError for an unknown code or a missing argument."""
    return CAUSES[cause].format(**{k: named(v) if k in _MEASURANDS else v for k, v in arguments.items()})
