"""Numbers by single digits, for hands that scan cards: `digit` after `digit`, then an act that says `typed`. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from .kernel import Refusal
from .parts import NUMBER, usage

if TYPE_CHECKING:
    from .kernel import Bench

#: What stands in an act's arguments for the number that was typed.
TYPED = "typed"
#: The word on a card for the decimal mark.
POINT = "point"
#: A number typed longer ago than this is forgotten.
FORGOTTEN_NS = 60_000_000_000

_SO_FAR = re.compile(r"[0-9]{1,9}(?:\.[0-9]{0,9})?")


def digit(bench: Bench, place: str, args: Sequence[str]) -> None:
    """One more digit, or the decimal mark. Raises Refusal."""
    if len(args) != 1 or not (args[0] == POINT or re.fullmatch("[0-9]", args[0])):
        raise usage("digit")
    number = _fresh(bench, place) + ("." if args[0] == POINT else args[0])
    if not _SO_FAR.fullmatch(number):
        raise Refusal("not-a-number", act="digit", text=number)
    bench.decide("placed", None, place=place, set={"typed": number, "typed_ns": bench.input.stamp.mono_ns})
    bench.tell(None, place=place, code="typed", number=number)


def filled_in(bench: Bench, place: str, act: str, args: list[str]) -> list[str]:
    """The arguments with the typed number where they say `typed`. Raises Refusal where none was typed."""
    if TYPED not in args:
        return args
    number = _fresh(bench, place).removesuffix(".")
    if not NUMBER.fullmatch(number):
        raise Refusal("nothing-typed", act=act)
    return [number if word == TYPED else word for word in args]


def used_up(bench: Bench, place: str, act: str) -> None:
    """An act was done: a number typed before it is done with, whether the act took it or not."""
    if act not in ("digit", "undo") and bench.place(place).typed:
        bench.decide("placed", None, place=place, set={"typed": "", "typed_ns": None})


def _fresh(bench: Bench, place: str) -> str:
    here = bench.place(place)
    old = here.typed_ns is None or bench.input.stamp.mono_ns - here.typed_ns > FORGOTTEN_NS
    return "" if old else here.typed
