"""Units, exact conversion and rounding, in decimal from the text as sent. Pure.

Codes are UCUM's (case-sensitive); factors are those of the UCUM 2.2 table (2024-06-17), checked in
`tests/unit/test_units.py`. Base units are mm and g.
"""

from __future__ import annotations

from decimal import ROUND_FLOOR, ROUND_HALF_UP, Context, Decimal
from typing import Literal

Quantity = Literal["length", "mass"]
Rule = Literal["below", "nearest"]

#: Wide enough that no conversion of an instrument's digits is ever rounded.
EXACT = Context(prec=60)

#: UCUM code → (quantity, factor to the base unit).
FACTORS: dict[str, tuple[Quantity, Decimal]] = {
    "mm": ("length", Decimal(1)),
    "cm": ("length", Decimal(10)),
    "m": ("length", Decimal(1000)),
    "[in_i]": ("length", Decimal("25.4")),
    "[ft_i]": ("length", Decimal("304.8")),
    "ug": ("mass", Decimal("0.000001")),
    "mg": ("mass", Decimal("0.001")),
    "g": ("mass", Decimal(1)),
    "kg": ("mass", Decimal(1000)),
    "t": ("mass", Decimal(1000000)),
    "[car_m]": ("mass", Decimal("0.2")),
    "[gr]": ("mass", Decimal("0.06479891")),
    "[pwt_tr]": ("mass", Decimal("1.55517384")),
    "[oz_tr]": ("mass", Decimal("31.1034768")),
    "[oz_av]": ("mass", Decimal("28.349523125")),
    "[lb_av]": ("mass", Decimal("453.59237")),
    "[ston_av]": ("mass", Decimal("907184.74")),
    "[lton_av]": ("mass", Decimal("1016046.9088")),
}

#: What instruments and people write → UCUM code. Looked up as written, then in lower case.
WRITTEN: dict[str, str] = {
    **{code: code for code in FACTORS},
    "MM": "mm", "CM": "cm", "KG": "kg", "Kg": "kg", "G": "g", "gm": "g", "gr": "g", "MG": "mg",
    "in": "[in_i]", "inch": "[in_i]", '"': "[in_i]", "ft": "[ft_i]",
    "lb": "[lb_av]", "lbs": "[lb_av]", "oz": "[oz_av]", "ozt": "[oz_tr]", "dwt": "[pwt_tr]", "ct": "[car_m]",
    "GN": "[gr]", "gn": "[gr]",
}  # fmt: skip

BASE: dict[Quantity, str] = {"length": "mm", "mass": "g"}


def ucum(written: str) -> str | None:
    """The UCUM code for a unit as written (`" KG"` → `kg`), or None where it isn't known."""
    text = written.strip()
    return WRITTEN.get(text) or WRITTEN.get(text.lower())


def quantity_of(unit: str) -> Quantity:
    """`length` or `mass` for a UCUM code. Raises KeyError for an unknown one."""
    return FACTORS[unit][0]


def to_base(value: Decimal, unit: str) -> Decimal:
    """Exactly `value` in mm or g. Raises KeyError for an unknown UCUM code."""
    return EXACT.multiply(value, FACTORS[unit][1])


def from_base(value: Decimal, unit: str) -> Decimal:
    """`value` (mm or g) in `unit`; up to 60 digits where the quotient doesn't end."""
    return EXACT.divide(value, FACTORS[unit][1])


def rounded(value: Decimal, step: Decimal, rule: Rule) -> Decimal:
    """`value` to a multiple of `step`: to the unit `below`, or to the `nearest` (a tie goes up).

    Decimal throughout, so 0.57 m in centimetres below is 57, not 56.
    """
    mode = ROUND_FLOOR if rule == "below" else ROUND_HALF_UP
    count = EXACT.divide(value, step).quantize(Decimal(1), rounding=mode, context=EXACT)
    return EXACT.multiply(count, step)


def plain(value: Decimal) -> str:
    """The number as text without exponent and without trailing zeros after the point (`412.50` → `412.5`)."""
    if value == 0:
        return "0"
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
