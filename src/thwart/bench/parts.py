"""Small parts of acts: which place, which fish, which slot an act means, and how it is refused. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..tomlfile import nearest
from . import row, words
from .acts import ACTS
from .filling import wanted
from .fish import of_its_side
from .kernel import Refusal
from .protocol import Slot
from .state import Specimen

if TYPE_CHECKING:
    from .kernel import Bench

#: Acts by which people set right what was asked about values.
_OF_VALUES = ("as", "value", "missing", "swap")
#: What may be said of a fish that nothing was given to yet; everything else, and a label, is about one that is worked on.
#: `next` isn't: a pedal pressed twice would close the neighbour's fish.
_OF_ANY = frozenset(ACTS) - {"again", "stands", "confirm", "swap", "split"}
#: A number as people write it: nothing else that Python would take for one.
NUMBER = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,9})?")


def place_for(bench: Bench, body: Mapping[str, Any]) -> str:
    """The place an act names, or the one place it can mean. Raises Refusal."""
    name = body.get("place")
    everywhere = bench.setup.places
    if name is not None:
        if name not in everywhere:
            raise Refusal("unknown-place", place=words.shown(name), places=", ".join(everywhere))
        return str(name)
    places = [p for p in body.get("places") or everywhere if p in everywhere]
    if len(places) == 1:
        return places[0]
    could = {p: fish for p in places if (fish := _next_in_hand(bench, p)) is not None}
    if len(could) > 1 and str(body["act"]) not in _OF_ANY:
        could = {p: fish for p, fish in could.items() if fish.given}
    if len(could) == 1:
        return str(next(iter(could)))
    raise Refusal("which-place", act=words.shown(body["act"]), places=", ".join(places))


def _next_in_hand(bench: Bench, place: str) -> Specimen | None:
    """The fish an act at a place would be about: the one in hand, in a row the one that waits for an empty hand."""
    here = bench.place(place)
    ident = here.in_hand or (here.queue[0] if here.queue else None)
    return None if ident is None else bench.need(Specimen, ident)


def near(name: str, names: Iterable[str], most: int = 3) -> str:
    """A hint with the names nearest to what a person said."""
    return nearest(words.shown(name), names, most)


def usage(act: str) -> Refusal:
    """The refusal of an act whose arguments are wrong."""
    return Refusal("arguments", act=act, usage=ACTS[act].usage)


def fish_in_hand(bench: Bench, place: str, act: str) -> Specimen:
    """The specimen in hand, in a row the queue's head where the hand is empty. Raises Refusal where there is none.

    An act about values means the fish that went on, as long as something asked of it here is open and no other began.
    """
    if act in _OF_VALUES and (before := row.asked_before(bench, place)) is not None:
        return row.call_back(bench, place, before)
    fish = row.take_head(bench, place)
    if fish is None:
        raise Refusal("nothing-in-hand", act=act, place=place)
    return fish


def slot_named(bench: Bench, act: str, name: str, specimen: Specimen | None = None) -> Slot:
    """A slot by key, or the first wanted one of a measurand (or its side) with several. Raises Refusal."""
    protocol = bench.setup.protocol
    if (slot := protocol.slot_by_key.get(name)) is not None:
        return slot
    of_name = [s for s in protocol.slots if s.key.startswith(f"{name}.")]
    if not of_name:
        raise Refusal("unknown-measurand", act=act, name=words.shown(name), near=near(name, protocol.slot_by_key))
    free = [s for s in wanted(bench, specimen) if s in of_name] if specimen else []
    return (free or of_name)[0]


def said_key(words: Sequence[str]) -> str:
    """A measurand as it was said, with side and replicate in words of their own (as on cards) or with dots."""
    return ".".join(words)


def split_of(bench: Bench, place: str, act: str, args: Sequence[str]) -> tuple[list[str], Specimen | None]:
    """Split off `of NUMBER` or `of previous`. The specimen is None where none was named."""
    if "of" not in args:
        return list(args), None
    at = list(args).index("of")
    rest = list(args[at + 1 :])
    if len(rest) != 1:
        raise usage(act)
    if rest[0] == "previous":
        ident = bench.place(place).previous
        if ident is None:
            raise Refusal("unknown-fish", number="previous")
        return list(args[:at]), not_void(of_its_side(bench, bench.need(Specimen, ident)))
    return list(args[:at]), not_void(numbered(bench, rest[0]))


def not_void(specimen: Specimen) -> Specimen:
    """The specimen itself. Raises Refusal where it never was one."""
    if specimen.end == "void":
        raise Refusal("void-fish", number=specimen.number)
    return specimen


def numbered(bench: Bench, text: str) -> Specimen:
    """The specimen that bears a number as written. Raises Refusal."""
    specimen = bench.numbered(int(text)) if NUMBER.fullmatch(text) and text.isdecimal() else None
    if specimen is None:
        raise Refusal("unknown-fish", number=words.shown(text))
    return of_its_side(bench, specimen)


def no_args(act: str, args: Sequence[str]) -> None:
    """Raises Refusal where an act without arguments was given some."""
    if args:
        raise usage(act)
