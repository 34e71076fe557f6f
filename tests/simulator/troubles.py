"""What goes wrong at a bench, how often, and what of it no bench can see.

Rates are per fish. They are ours: the few published ones (2.4 % of fish with any entry error in an automated work-up,
Bourque & Cairns 1994, NAJFM 14:650-655; 0.9 to 2.1 % of specimens mislabelled before barcodes, Talmon et al. 2011) only
say how large the whole may be. Common practice, no source, for the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Trouble:
    """`rate` per fish on an ordinary day; `unseen` says why nothing at the bench could tell it (None: it must be seen)."""

    rate: float
    unseen: str | None = None
    slips: str | None = None
    """In a row of unmarked fish: why those behind it may get their neighbours' values until somebody looks."""


SOLO: Mapping[str, Trouble] = {
    "doubled touch": Trouble(0.010),
    "re-touch": Trouble(0.008),
    "open mouth unnoticed": Trouble(0.002, "one touch, a plausible length, nothing before or after it"),
    "load before next": Trouble(0.003),
    "late scan": Trouble(0.003),
    "lifted early": Trouble(0.004),
    "leans, lets go": Trouble(0.003),
    "leans on the empty pan": Trouble(0.002),
    "leans throughout": Trouble(0.001, "hand and fish weigh as one, from arrival to emptying, within the limits"),
    "next laid before last lifted": Trouble(0.002),
    "hosing, paused": Trouble(0.004),
    "hosing": Trouble(0.003),
    "untared tray": Trouble(0.002),
    "pan swapped": Trouble(0.002),
    "stale load": Trouble(0.004),
    "neighbour's envelope": Trouble(0.003),
    "skipped envelope": Trouble(0.003),
    "used envelope": Trouble(0.002),
    "misread label": Trouble(0.003),
    "overboard": Trouble(0.002),
    "thrown away": Trouble(0.002),
    "undo by a helper": Trouble(0.002),
    "scale unplugged": Trouble(0.001),
    "board unplugged": Trouble(0.001),
    "power cut": Trouble(0.004),
    "wrong species, mended late": Trouble(0.003),
    "wrong species unnoticed": Trouble(0.001, "a wrong card said with full conviction; the limits admit both species"),
    "otoliths in the neighbour's envelope": Trouble(0.001, "the label scanned is the expected one; what lies inside isn't looked at"),
    "pedal twice": Trouble(0.003),
}  # fmt: skip


_KEPT_IN_A_ROW = (
    "doubled touch", "re-touch", "open mouth unnoticed", "lifted early", "leans, lets go", "leans on the empty pan",
    "leans throughout", "next laid before last lifted", "hosing, paused", "hosing", "neighbour's envelope", "skipped envelope",
    "used envelope", "misread label", "overboard", "thrown away", "undo by a helper", "scale unplugged", "board unplugged",
    "power cut", "wrong species, mended late",
)  # fmt: skip

_UNMARKED = "a fish is out of the row and nobody said so: the next one is taken for it, and so on"
_CHANGED = "two fish change places between two people, and nothing they carry says which is which"
_NEVER = "water or a hand makes a fish that never was, or takes the next one for it, and so on"

ROW: Mapping[str, Trouble] = {
    **{name: SOLO[name] for name in _KEPT_IN_A_ROW},
    "overboard": Trouble(SOLO["overboard"].rate, slips=_UNMARKED),
    "hosing": Trouble(SOLO["hosing"].rate, slips=_NEVER),
    "leans on the empty pan": Trouble(SOLO["leans on the empty pan"].rate, slips=_NEVER),
    "power cut": Trouble(SOLO["power cut"].rate, slips="the bench was dark and somebody went on: a fish passed unseen"),
    "overtaken": Trouble(0.002, _CHANGED, slips=_CHANGED),
    "too fast": Trouble(0.002),
    "skipped place": Trouble(0.003, slips=_UNMARKED),
    "leaves": Trouble(0.002),
    "thrown away": Trouble(SOLO["thrown away"].rate, slips=_UNMARKED),
    "dropped after the scale": Trouble(0.002, slips=_UNMARKED),
}  # fmt: skip

#: Where fish carry scanned tags, overtaking is seen.
TAGGED: Mapping[str, Trouble] = {
    **{name: Trouble(t.rate, t.unseen) for name, t in ROW.items()},
    "overtaken": Trouble(ROW["overtaken"].rate),
}

_KEPT_IN_THE_LAB = (
    "lifted early",
    "leans, lets go",
    "leans throughout",
    "misread label",
    "used envelope",
    "undo by a helper",
    "scale unplugged",
    "power cut",
)
LAB: Mapping[str, Trouble] = {
    **{name: SOLO[name] for name in _KEPT_IN_THE_LAB},
    "neighbour's jar": Trouble(0.003),
    "forgotten scan": Trouble(0.003),
    "printed twice": Trouble(0.005),
    "organ left out": Trouble(0.002, "the next organ's mass is within what the one left out could be, and nobody says that it is left out"),
    "organs changed over": Trouble(0.001, "two organs within each other's sizes, one printed for the other"),
    "knife on the balance": Trouble(0.002),
}  # fmt: skip

TALLY: Mapping[str, Trouble] = {
    "doubled touch": Trouble(0.010),
    "dragged over the board": Trouble(0.002, "a second touch half a second later is what the next fish looks like"),
    "re-touch": Trouble(0.005),
    "undo by a helper": Trouble(0.002),
    "open mouth unnoticed": Trouble(0.002, SOLO["open mouth unnoticed"].unseen),
    "hosing": Trouble(0.003, "one or two touches of water within the limits are what fish look like; from three within two seconds it is asked"),
    "hosing, paused": Trouble(0.004),
    "card forgotten": Trouble(0.002, "what was said sticks: fish of another species or sex are counted as said"),
    "beyond the limits": Trouble(0.002),
    "power cut": Trouble(0.004),
}  # fmt: skip

#: Two people with one pedal, one scanner and masses typed by hand.
SHORE: Mapping[str, Trouble] = {
    "eager": Trouble(0.010),
    "typed late": Trouble(0.004),
    "piece forgotten": Trouble(0.004),
    "neighbour's card": Trouble(
        0.004, "the neighbour's fish was done, or nothing was given to it yet: its `next` does no harm"
    ),
    "pedal twice": Trouble(0.006),
    "thrown away": Trouble(0.002),
}
