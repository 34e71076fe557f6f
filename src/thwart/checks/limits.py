"""Limits, order of measurands and size at maturity: what is impossible (4) or improbable (3) without any statistics. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, log

from .flags import Verdict
from .model import ORDER, Limits, SpeciesModel, factor
from .specimen import LEAST, MOST, Specimen

#: A shorter length may exceed a longer one by a division of each; an equality within rounding is no fault.
_SLACK = 1.0 + 1e-12


@dataclass(frozen=True, slots=True)
class Broken:
    """A limit or order that doesn't hold."""

    measurand: str
    verdict: Verdict
    cause: str
    arguments: dict[str, str]


def within(value: float | None, limits: Limits) -> Verdict:
    """The verdict of one value (in mm or g); the limits themselves pass; None or NaN is missing."""
    if value is None or value != value:
        return Verdict.MISSING
    one = factor(limits.unit)
    low, high = limits.fail
    if not _between(value, low * one, high * one):
        return Verdict.FAIL
    if limits.suspect and not _between(value, limits.suspect[0] * one, limits.suspect[1] * one):
        return Verdict.SUSPECT
    return Verdict.PASS


def ln_span(limits: Limits) -> tuple[float, float]:
    """ln of the least and the greatest possible value (mm or g), their last bits left open."""
    low, high = (value * factor(limits.unit) for value in limits.fail)
    return (log(low) - 1e-12 if low > 0.0 else -inf), (log(high) + 1e-12 if high > 0.0 else -inf)


def _between(value: float, low: float, high: float) -> bool:
    """Limits in another unit are products of floats: compare with their last bits left open."""
    slack = 1e-12 * max(abs(low), abs(high), abs(value))
    return low - slack <= value <= high + slack


def broken(specimen: Specimen, model: SpeciesModel | None) -> list[Broken]:
    """All limits and orders this specimen breaks, worst first."""
    out: list[Broken] = []
    values = specimen.values
    spans = model.spans if model else {}
    for name, v in values.items():
        if not isfinite(v.value) or v.value <= 0.0:
            out.append(Broken(name, Verdict.FAIL, "not_positive", {"value": v.digits}))
        elif not LEAST <= v.value <= MOST:
            arguments = {"low": f"{LEAST:g}", "high": f"{MOST:g}", "unit": "mm or g"}
            out.append(Broken(name, Verdict.FAIL, "beyond_limits", arguments))
        elif model and name in spans and not spans[name][0] <= v.value <= spans[name][1]:
            limits = model.limits[name]
            verdict = within(v.value, limits)
            if verdict != Verdict.PASS:
                low, high = limits.fail if verdict == Verdict.FAIL else limits.suspect or limits.fail
                arguments = {"low": f"{low:g}", "high": f"{high:g}", "unit": limits.unit}
                out.append(Broken(name, verdict, "beyond_limits", arguments))
    for small, large, may_equal in ORDER if len(values) > 1 else ():
        if small not in values or large not in values:
            continue
        a, b = values[small], values[large]
        slack = (a.division + b.division) / 2.0
        if a.value > (b.value + slack) * _SLACK or (not may_equal and a.value >= b.value and not slack):
            out.append(Broken(small, Verdict.FAIL, "order", {"small": small, "large": large}))
    if specimen.mature and model and model.smallest_mature_mm is not None:
        for name in ("total_length", "fork_length", "standard_length"):
            if name in values:
                if 0.0 < values[name].value < model.smallest_mature_mm:
                    smallest = {"smallest": f"{model.smallest_mature_mm:g}"}
                    out.append(Broken(name, Verdict.SUSPECT, "below_mature", smallest))
                break
    return sorted(out, key=lambda b: -b.verdict)
