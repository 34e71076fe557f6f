"""What the checks say of a value just filled. Pure; changes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from .. import units
from .protocol import Protocol, Slot
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
    found: list[Finding] = []
    unit = units.BASE[slot.measurand.quantity]
    name = slot.measurand.name
    species = protocol.species.get(specimen.species or "")
    limit = species.limits.get(name) if species else None
    said = {"number": specimen.number, "measurand": name, "value": units.plain(value), "unit": unit}
    if limit is not None and species is not None:
        for code, span, verdict in (("impossible", limit.possible, 4), ("unusual", limit.usual, 3)):
            if span and not span[0] <= value <= span[1]:
                args = {**said, "species": species.title, "low": units.plain(span[0]), "high": units.plain(span[1])}
                found.append(Finding(code, 4 if verdict == 4 else 3, args))
                break
    for chain in protocol.order:
        if name not in chain:
            continue
        at = chain.index(name)
        for other in others.values():
            if other.measurand not in chain or other.measurand == name:
                continue
            below = chain.index(other.measurand) > at
            low, high = (value, Decimal(other.value)) if below else (Decimal(other.value), value)
            if low > high:
                pair = ((name, value), (other.measurand, Decimal(other.value)))
                first, second = pair if below else pair[::-1]
                args = {
                    "number": specimen.number, "unit": unit, "measurand": first[0], "value": units.plain(first[1]),
                    "other": second[0], "other_value": units.plain(second[1]),
                }  # fmt: skip
                found.append(Finding("order", 4, args))
    return found
