"""Species models as a protocol's TOML carries them: limits, order, relations with their priors and sources. Pure.

```toml
[perch]
smallest_mature_mm = 90
[perch.limits.total_length]
unit = "mm"
fail = [20, 600]        # beyond: impossible (verdict 4); the limits themselves pass
suspect = [40, 500]     # beyond: improbable (verdict 3)
[[perch.relations]]
y = "whole_mass"
x = "total_length"
y_unit = "g"
x_unit = "cm"
log10_a = -2.2057       # or ln_a, or a
b = 3.1627
scatter_log10 = 0.0502  # or scatter_ln: residual standard deviation of log y
fish = 56               # how many it was fitted from
weight = 20             # how many of our own fish it counts for
source = "where it was published"
```
"""

from __future__ import annotations

from functools import cached_property
from math import exp, log
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from thwart.tomlfile import Strict
from thwart.units import FACTORS

from .numeric import normal_quantile

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
LN10 = log(10.0)

#: The powers of length that a mass can grow with.
SLOPES = (1.5, 4.5)
#: Lengths of a fish, from the longest to the shortest: a shorter one is never more than a longer one.
LENGTHS = ("total_length", "fork_length", "standard_length")
#: (the smaller, the larger, whether they may be equal).
ORDER: tuple[tuple[str, str, bool], ...] = (
    ("fork_length", "total_length", True),
    ("standard_length", "total_length", True),
    ("standard_length", "fork_length", True),
    ("gutted_mass", "whole_mass", False),
    ("gonad_mass", "whole_mass", False),
    ("liver_mass", "whole_mass", False),
)


def factor(unit: str) -> float:
    """mm or g in one `unit` (UCUM code). Raises ValueError for an unknown one."""
    if unit not in FACTORS:
        raise ValueError(f"unknown unit {unit!r}; known: {', '.join(sorted(FACTORS))}")
    return float(FACTORS[unit][1])


class Limits(Strict):
    """What one measurand can be, in `unit`; the limits themselves are inside. As ioos-qc's `gross_range_test`."""

    unit: str
    fail: tuple[Finite, Finite]
    suspect: tuple[Finite, Finite] | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        factor(self.unit)
        low, high = self.fail
        if low > high:
            raise ValueError(f"fail: {low} is above {high}")
        if self.suspect and not low <= self.suspect[0] <= self.suspect[1] <= high:
            raise ValueError(f"suspect {list(self.suspect)} must rise and lie inside fail {list(self.fail)}")
        return self


class RelationPrior(Strict):
    """A published `y = a x^b` with its scatter: where the bench starts, before it has seen a fish.

    `a` is in the units named; exactly one of `a`, `log10_a`, `ln_a` is given, and of `scatter_ln`, `scatter_log10`
    (residual standard deviation of log y). `describes` says what the line is: the median (a least-squares fit of
    logs), the mean (back-transformed with exp(s²/2), Sprugel 1983), or the 75th percentile (a standard-weight
    equation). `group` is whose it is where its species is kept apart (a sex). `centre` is the x the fit is surest at, in `x_unit`; `spread_ln` the standard deviation of ln x there.
    """

    y: str
    x: str
    y_unit: str
    x_unit: str
    a: Positive | None = None
    log10_a: Finite | None = None
    ln_a: Finite | None = None
    b: Annotated[float, Field(gt=-10, lt=10)]
    scatter_ln: Annotated[float, Field(gt=0, lt=2)] | None = None
    scatter_log10: Annotated[float, Field(gt=0, lt=1)] | None = None
    centre: Positive | None = None
    spread_ln: Annotated[float, Field(gt=0, lt=3)] = 0.25
    fish: Annotated[int, Field(ge=2)] | None = None
    weight: Annotated[float, Field(ge=2, le=2000)] = 10.0
    describes: Literal["median", "mean", "percentile_75"] = "median"
    presentation: str = "whole"
    preservation: str = "fresh"
    group: str = ""
    source: Annotated[str, Field(min_length=3)]

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        for unit in (self.x_unit, self.y_unit):
            factor(unit)
        if sum(v is not None for v in (self.a, self.log10_a, self.ln_a)) != 1:
            raise ValueError("give exactly one of a, log10_a, ln_a")
        if (self.scatter_ln is None) == (self.scatter_log10 is None):
            raise ValueError("give exactly one of scatter_ln, scatter_log10")
        if self.x == self.y:
            raise ValueError(f"x and y are both {self.x}")
        if self.y.endswith("_mass") and self.x.endswith("_length") and not SLOPES[0] <= self.b <= SLOPES[1]:
            raise ValueError(f"b = {self.b}: a mass grows with length to a power between {SLOPES[0]} and {SLOPES[1]}")
        return self

    @property
    def scatter(self) -> float:
        """Residual standard deviation of ln y."""
        return self.scatter_ln if self.scatter_ln is not None else LN10 * (self.scatter_log10 or 0.0)

    @property
    def ln_centre(self) -> float:
        """ln of the x (mm or g) the fit is surest at; 250 of them where the source doesn't say."""
        return log(self.centre * factor(self.x_unit)) if self.centre is not None else log(250.0)

    @property
    def ln_a_base(self) -> float:
        """ln a of the median line, for x and y in mm and g."""
        if self.a is not None:
            ln_a = log(self.a)
        elif self.log10_a is not None:
            ln_a = LN10 * self.log10_a
        else:
            assert self.ln_a is not None
            ln_a = self.ln_a
        ln_a += log(factor(self.y_unit)) - self.b * log(factor(self.x_unit))
        if self.describes == "mean":
            ln_a -= self.scatter**2 / 2
        elif self.describes == "percentile_75":
            ln_a -= normal_quantile(0.75) * self.scatter
        return ln_a

    def expected(self, x: float) -> float:
        """The median y (mm or g) at `x` (mm or g)."""
        return exp(self.ln_a_base + self.b * log(x))


class SpeciesModel(Strict):
    """All a protocol knows of a species."""

    limits: dict[str, Limits] = Field(default_factory=dict)
    relations: tuple[RelationPrior, ...] = ()
    apart: tuple[str, ...] = ()
    """What its fish are kept apart by once there are enough of each: coded fields of the protocol, or `season`."""
    smallest_mature_mm: Positive | None = None
    smallest_mature_source: str = ""

    @model_validator(mode="after")
    def _once(self) -> Self:
        seen = [(r.y, r.x, r.presentation, r.preservation, r.group) for r in self.relations]
        if twice := sorted({"|".join(k) for k in seen if seen.count(k) > 1}):
            raise ValueError(f"more than one relation for {', '.join(twice)}")
        if not self.apart and (theirs := sorted({r.group for r in self.relations if r.group})):
            raise ValueError(f"relations of groups ({', '.join(theirs)}), and apart doesn't say of what")
        if twice := sorted({name for name in self.apart if self.apart.count(name) > 1}):
            raise ValueError(f"apart: {', '.join(twice)} stands twice")
        return self

    @cached_property
    def spans(self) -> dict[str, tuple[float, float]]:
        """Per measurand what surely isn't beyond its limits, in mm or g: the narrower of them, their last bits left out."""
        out = {}
        for name, limits in self.limits.items():
            low, high = (v * factor(limits.unit) for v in limits.suspect or limits.fail)
            out[name] = (low + 1e-9 * abs(low), high - 1e-9 * abs(high))
        return out

    def prior(self, y: str, x: str, presentation: str, preservation: str, group: str = "") -> RelationPrior | None:
        """The relation for fish in this state (of this group), if there is one."""
        for r in self.relations:
            if (r.y, r.x, r.presentation, r.preservation, r.group) == (y, x, presentation, preservation, group):
                return r
        return None
