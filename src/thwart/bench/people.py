"""Who measures, records and stages at a place. A name is one person's in whatever capitals it is said: a card has none. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from .parts import usage

if TYPE_CHECKING:
    from .kernel import Bench

#: What a person may be at a place.
ROLES = ("measurer", "recorder", "stager")


def called(bench: Bench, name: str) -> str:
    """A person's name as the bench's file spells it, else as it was said first."""
    known = (*bench.setup.people, *bench.desk.people)
    return next((k for k in known if k.casefold() == name.casefold()), name)


def person(role: str) -> Callable[[Bench, str, Sequence[str]], None]:
    """The act by which somebody takes a role."""

    def deed(bench: Bench, place: str, args: Sequence[str]) -> None:
        if not args:
            raise usage(role)
        name = called(bench, " ".join(args))
        bench.decide("placed", None, place=place, set={role: name})
        bench.tell(None, place=place, code=role, name=name)

    return deed
