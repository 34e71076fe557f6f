"""The invented catch: perch, roach, bream and pike with realistic lengths and masses. Knows nothing of the bench."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

#: Species → (log10 a, b, scatter of log10 mass, lengths mm from, mode, to). `a` and `b` give grams from centimetres of
#: total length: least squares on the data set `fish` of the R package rrcov 1.7-2 (159 fish of one lake). Lengths invented.
_KINDS = {
    "perch": (-2.2057, 3.1627, 0.0502, 120, 190, 380),
    "roach": (-2.1824, 3.1082, 0.0473, 110, 170, 300),
    "bream": (-2.1462, 3.1093, 0.0398, 180, 290, 470),
    "pike": (-2.6086, 3.2011, 0.0417, 300, 430, 680),
}
_SHARES = {"perch": 0.45, "roach": 0.3, "bream": 0.15, "pike": 0.1}


@dataclass(frozen=True, slots=True)
class Fish:
    """One fish as it is: length in whole millimetres, mass in whole grams."""

    species: str
    length_mm: int
    mass_g: int
    sex: str


def catch(count: int, rng: random.Random) -> list[Fish]:
    """So many fish in the order they come to hand."""
    out = []
    for species in rng.choices(list(_SHARES), list(_SHARES.values()), k=count):
        log_a, b, scatter, low, mode, high = _KINDS[species]
        length = round(rng.triangular(low, high, mode))
        mass = 10 ** (log_a + b * math.log10(length / 10) + rng.gauss(0, scatter))
        out.append(Fish(species, length, max(1, round(mass)), rng.choice("FM")))
    return out


@dataclass(frozen=True, slots=True)
class Insides:
    """A fish thawed and opened, in grams: to 0.01 g, the pair of otoliths to 0.0001 g."""

    thawed: float
    gutted: float
    gonad_left: float
    gonad_right: float
    liver: float
    otoliths: float


def opened(fish: Fish, rng: random.Random) -> Insides:
    """What a fish weighs thawed, and its parts.

    Thawing takes 2 to 4 % (freezing cost 925 cod 2.65 % of their mass: Freezing of Atlantic cod, J Fish Biol 95, 2019);
    the shares of the parts are invented.
    """
    thawed = fish.mass_g * rng.uniform(0.96, 0.98)
    gonads = thawed * (rng.uniform(0.03, 0.12) if fish.sex == "F" else rng.uniform(0.01, 0.04))
    left = gonads * rng.uniform(0.44, 0.56)
    liver = thawed * rng.uniform(0.008, 0.02)
    gutted = thawed - gonads - liver - thawed * rng.uniform(0.03, 0.06)
    return Insides(
        round(thawed, 2), round(gutted, 2), round(left, 2), round(gonads - left, 2), round(liver, 2),
        round(0.004 * math.sqrt(fish.mass_g) * rng.uniform(0.3, 0.4), 4),
    )  # fmt: skip
