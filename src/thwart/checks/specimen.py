"""What a check is given: values in base units with the digits they were shown as, and the fish they belong to. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log, sqrt

#: Below a nanogram and beyond 1,000 km or 1,000 t nothing is a fish's measurement, whatever the species model says.
LEAST, MOST = 1e-9, 1e9
_TWELFTH_ROOT = sqrt(12.0)


def kin(kind: str, group: str) -> str:
    """The key of what is learned of a group of a kind of fish; of all of the kind where there is none."""
    return f"{kind}||{group}" if group else kind


@dataclass(frozen=True, slots=True)
class Value:
    """One value of one measurand.

    `value` in mm or g; `text` the digits as shown, in the unit as sent (empty: those of `value`); `division` the
    smallest step in mm or g (0: not known); `typed` whether a person read or typed it, so that digits can be off;
    `stands` whether a person let it stand, after which nothing asks about it again; `unit` that of `text` as
    people write it, to name the value in words (empty: it is named in mm or g).
    """

    value: float
    text: str = ""
    division: float = 0.0
    typed: bool = True
    stands: bool = False
    unit: str = ""

    @property
    def digits(self) -> str:
        """The digits as shown."""
        return self.text or f"{self.value:.10g}"

    @property
    def rounding(self) -> float:
        """Standard deviation of ln value that the division alone causes."""
        return self.division / (self.value * _TWELFTH_ROOT) if self.value > 0.0 else 0.0

    @property
    def ln(self) -> float:
        """ln of the value; only for values above 0."""
        return log(self.value)


@dataclass(frozen=True, slots=True)
class Specimen:
    """One fish as it stands: its number, species (empty: not known) and values by measurand.

    `group` is what it is kept apart by (its sex, the season), where its species is and that is known.
    """

    number: str
    species: str
    values: Mapping[str, Value] = field(default_factory=dict)
    presentation: str = "whole"
    preservation: str = "fresh"
    mature: bool | None = None
    group: str = ""

    @property
    def kind(self) -> str:
        """The key of what is learned: species in this presentation and preservation."""
        return f"{self.species}|{self.presentation}|{self.preservation}"

    def positive(self) -> Mapping[str, Value]:
        """The values that can be a measurement at all."""
        for v in self.values.values():
            if not LEAST <= v.value <= MOST:
                return {name: v for name, v in self.values.items() if LEAST <= v.value <= MOST}
        return self.values
