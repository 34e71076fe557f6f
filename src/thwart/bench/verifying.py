"""The act `verify`: the next reading is of a known length or mass and shows whether its instrument is right. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from .. import units
from . import words
from .filling import answer, ask, said_value
from .judging import Finding
from .kernel import Refusal
from .parts import NUMBER, usage
from .setup import InstrumentSetup
from .state import Instrument, Reading

if TYPE_CHECKING:
    from .kernel import Bench

#: A known length or mass that wasn't measured within this is forgotten, lest a fish be taken for it.
FORGOTTEN_NS = 120_000_000_000
#: Why a reading of a known length or mass is no fish's.
WHY = "known"
#: How far off an instrument may be: the larger of so many divisions and so much, at least. Common practice, no source.
_DIVISIONS = {"length": 1, "mass": 2}
_LEAST_MM = Decimal(1)
_SHARE_OF_MASS = Decimal("0.005")


def verify(bench: Bench, place: str, args: Sequence[str]) -> None:
    """The next reading of that quantity at the place is of a known length or mass."""
    if len(args) != 2:
        raise usage("verify")
    number, unit_text = args
    unit = units.ucum(unit_text)
    if not NUMBER.fullmatch(number) or Decimal(number.replace(",", ".")) == 0:
        raise Refusal("not-a-number", act="verify", text=words.shown(number))
    quantity = None if unit is None else units.quantity_of(unit)
    measuring = [i for i in bench.setup.instruments.values() if place in i.places and i.kind == quantity]
    if unit is None or not measuring:
        raise Refusal("nothing-to-verify", text=words.shown(f"{number} {unit_text}"), place=place)
    known = f"{number.replace(',', '.')} {unit}"
    bench.decide("placed", None, place=place, set={"known": known, "known_ns": bench.input.stamp.mono_ns})
    bench.tell(None, place=place, code="verify", known=known)


def awaited(bench: Bench, setup: InstrumentSetup, arrived_ns: int) -> str | None:
    """The place of an instrument where a known length or mass of its quantity is to be measured, or None."""
    for name in setup.places:
        here = bench.place(name)
        if here.known is None or units.quantity_of(here.known.split()[1]) != setup.kind:
            continue
        if arrived_ns - (here.known_ns or 0) <= FORGOTTEN_NS:
            return name
    return None


def taken(bench: Bench, setup: InstrumentSetup, reading: Reading) -> bool:
    """Take a reading as that of the known length or mass, if one is awaited, or lies there still."""
    lying = [bench.need(Reading, seq) for seq in bench.instrument(setup.name).load_readings if seq != reading.seq]
    if any(r.why == WHY for r in lying):
        bench.decide("outcome", None, reading=reading.seq, event="same again", why="same-load", place=lying[-1].place)
        return True
    place = None if lying else awaited(bench, setup, reading.arrived_ns)
    if place is None:
        return False
    known = bench.place(place).known or ""
    number, unit = known.split()
    true, said = units.to_base(Decimal(number), unit), Decimal(reading.base_value or "0")
    off, allowed = said - true, _allowed(setup, true)
    passed = abs(off) <= allowed
    before = bench.instrument(setup.name)
    bench.decide("outcome", None, reading=reading.seq, event="belongs to none", why=WHY, place=place)
    told = {**said_value(reading), "known": known}
    bench.decide(
        "verified", None, place=place, **told, off=units.plain(off), passed=passed, reading=reading.seq,
        text=words.say(words.ANNOUNCED, "verified", told) if passed else None,
    )  # fmt: skip
    answer(
        bench,
        [q for q in bench.live_questions() if q.kind == "verify-failed" and q.args.get("instrument") == setup.name],
    )
    if not passed:
        base = units.BASE[units.quantity_of(unit)]
        args = {
            **told, "off": f"{off:+f} {base}", "allowed": f"{units.plain(allowed)} {base}", "since": _since(before),
        }  # fmt: skip
        ask(bench, place, None, Finding("verify-failed", 3, args), about=reading.seq)
    return True


def _allowed(setup: InstrumentSetup, true: Decimal) -> Decimal:
    """How far off a reading may be, base unit."""
    least = _LEAST_MM if setup.kind == "length" else true * _SHARE_OF_MASS
    return max(least, (setup.division or Decimal(0)) * _DIVISIONS[setup.kind])


def _since(before: Instrument) -> str:
    """The last time it was right: what it measured since is doubtful."""
    return str(before.last_verified_utc) if before.verified else "the beginning"
