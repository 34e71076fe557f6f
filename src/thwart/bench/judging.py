"""What the checks say of a value just filled. Pure; changes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from .. import units
from .protocol import Protocol, Ratio, Slot
from .state import Measurement, Specimen


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's word on a value: verdict, cause code with its arguments, and whether it should be asked."""

    code: str
    verdict: Literal[1, 2, 3, 4]
    args: Mapping[str, Any]
    probability: str | None = None
    runner_up: str | None = None
    statistical: bool = False


def judge(
    protocol: Protocol, specimen: Specimen, slot: Slot, value: Decimal, others: Mapping[str, Measurement]
) -> list[Finding]:
    """Limits and order relations for `value` (base unit) in `slot`; `others` are the specimen's standing values by key."""
    unit = units.BASE[slot.measurand.quantity]
    name = slot.measurand.name
    said = {"number": specimen.number, "measurand": name, "value": units.plain(value), "unit": unit}
    if value <= 0:
        return [Finding("not-positive", 4, said)]
    return _limits(protocol, specimen, said, value) + _orders(protocol, said, value, others)


def _limits(protocol: Protocol, specimen: Specimen, said: Mapping[str, Any], value: Decimal) -> list[Finding]:
    species = protocol.species.get(specimen.species or "")
    limit = species.limits.get(said["measurand"]) if species else None
    if limit is None or species is None:
        return []
    spans: tuple[tuple[str, Literal[3, 4], Any], ...] = (("impossible", 4, limit.possible), ("unusual", 3, limit.usual))
    for code, verdict, span in spans:
        if span and not span[0] <= value <= span[1]:
            args = {**said, "species": species.title, "low": units.plain(span[0]), "high": units.plain(span[1])}
            return [Finding(code, verdict, args)]
    return []


def _orders(
    protocol: Protocol, said: Mapping[str, Any], value: Decimal, others: Mapping[str, Measurement]
) -> list[Finding]:
    """In a chain no value may be above the next one's."""
    found: list[Finding] = []
    name = said["measurand"]
    for chain in protocol.order:
        if name not in chain:
            continue
        at = chain.index(name)
        for other in others.values():
            if other.measurand not in chain or other.measurand == name:
                continue
            here, there = (name, value), (other.measurand, Decimal(other.value))
            low, high = (here, there) if chain.index(other.measurand) > at else (there, here)
            if low[1] > high[1]:
                args = {
                    "number": said["number"], "unit": said["unit"], "measurand": low[0], "value": units.plain(low[1]),
                    "other": high[0], "other_value": units.plain(high[1]),
                }  # fmt: skip
                found.append(Finding("order", 4, args))
    return found


def misfit(
    protocol: Protocol, specimen: Specimen, slot: Slot, value: Decimal, others: Mapping[str, Measurement]
) -> tuple[Ratio, Measurement] | None:
    """The ratio that a value would break, and the value it is compared with: the same thing measured again?"""
    species = protocol.species.get(specimen.species or "")
    ratio = species.ratios.get(slot.measurand.name) if species else None
    other = next((m for m in others.values() if ratio is not None and m.measurand == ratio.of), None)
    if ratio is None or other is None or Decimal(other.value) <= 0:
        return None
    return None if ratio.range[0] <= value / Decimal(other.value) <= ratio.range[1] else (ratio, other)
