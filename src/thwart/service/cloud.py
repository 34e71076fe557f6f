"""The length–mass picture: the fish of a species as points, the band of its model, and this fish. Reads memory only."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import exp, log
from typing import Any

from ..bench.filling import standing
from ..bench.judging import fish_of, state_of
from ..bench.kernel import Bench
from ..bench.protocol import Protocol
from ..bench.state import Measurement, Place, Specimen
from ..checks.numeric import t_quantile
from ..checks.specimen import Specimen as Fish
from .memory import Memory

#: Share of sound fish within the band.
WITHIN = 0.95
#: Points shown, the latest ones, and steps of the band.
_POINTS = 120
_STEPS = 16
#: Where the largest fish is so many times the smallest, the fish say how far the band is drawn; else the model does.
_SPAN = 1.5


def cloud(bench: Bench, memory: Memory, here: Place, in_hand: Specimen | None) -> dict[str, Any] | None:
    """Points, band and this fish, in mm and g; None where the protocol takes no length and mass, or no fish is known.

    This fish is the one in hand, or the one before as long as nothing is known of it.
    """
    drawn = axes(bench.setup.protocol)
    fish = in_hand if in_hand is not None and in_hand.values else None
    if fish is None:
        before = bench.get(Specimen, here.previous) if here.previous is not None else None
        fish = before if before is not None and before.values else in_hand
    if drawn is None or fish is None or fish.species in (None, "unknown"):
        return None
    x, y = drawn
    points = _points(bench, memory, fish, x, y)
    values = standing(bench, fish)
    this = [None if key not in values else float(values[key].value) for key in (x, y)]
    lengths = [p[0] for p in points] + ([this[0]] if this[0] is not None else [])
    return {
        "species": fish.species, "number": fish.number, "x": x, "y": y, "this": this, "points": points,
        "within": WITHIN, "band": _band(bench, fish_of(bench, fish, {}), x, y, lengths),
    }  # fmt: skip


@lru_cache(maxsize=256)
def _half_width(nu: float) -> float:
    return t_quantile(0.5 + WITHIN / 2, nu)


def axes(protocol: Protocol) -> tuple[str, str] | None:
    """The protocol's first length and first mass that a fish has one of."""
    if protocol.flow == "tally":
        return None
    plain = [m for m in protocol.measurands if not m.sides and m.replicates == 1]
    x = next((m.name for m in plain if m.quantity == "length"), None)
    y = next((m.name for m in plain if m.quantity == "mass"), None)
    return None if x is None or y is None else (x, y)


def _points(bench: Bench, memory: Memory, fish: Specimen, x: str, y: str) -> list[tuple[float, float, int]]:
    """Length, mass and worst verdict of the other fish of its species that are in memory."""
    others = [
        s
        for s in memory.specimens
        if s.species == fish.species and s.specimen_id != fish.specimen_id and x in s.values and y in s.values
        and s.end not in ("void", "same-as")
    ]  # fmt: skip
    found: list[tuple[float, float, int]] = []
    for s in sorted(others, key=lambda s: s.opened_seq)[-_POINTS:]:
        a, b = (bench.objects.get(("measurement", s.values[key])) for key in (x, y))
        if isinstance(a, Measurement) and isinstance(b, Measurement) and float(a.value) > 0 and float(b.value) > 0:
            found.append((float(a.value), float(b.value), s.worst_verdict or 1))
    return found


def bands(bench: Bench, lengths: Mapping[str, tuple[float, float]]) -> dict[str, Any]:
    """Species → its band over lengths, mm: of whole fresh fish, as most are. The protocol must have axes."""
    found = axes(bench.setup.protocol)
    assert found is not None
    return {
        species: _band(bench, Fish("", species), *found, list(span))
        for species, span in lengths.items()
        if species in bench.setup.protocol.species
    }


def _band(bench: Bench, fish: Fish, x: str, y: str, lengths: list[float]) -> list[tuple[float, float, float]]:
    """Length, and the masses between which `WITHIN` of sound fish lie; none where nothing is known of the kind."""
    setup = bench.setup.protocol.checks
    state = state_of(bench)
    relation = state.relation(setup, fish.kind, y, x, fish.group)
    if not relation.known and relation.fish == 0:
        return []
    centre = exp(relation.x0)
    if not lengths or max(lengths) < _SPAN * min(lengths):
        lengths = [*lengths, centre * 0.6, centre * 1.5]
    low, high = min(lengths) * 0.9, max(lengths) * 1.1
    made = []
    for step in range(_STEPS + 1):
        ln_x = log(low) + (log(high) - log(low)) * step / _STEPS
        expected = relation.predict(ln_x)
        half = _half_width(round(expected.nu, 1)) * expected.scale
        made.append((round(exp(ln_x), 1), round(exp(expected.mean - half), 3), round(exp(expected.mean + half), 3)))
    return made
