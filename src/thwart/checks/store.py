"""The folds' states as JSON and back, so that a bench resumes where it stopped. Pure.

What comes back equals what was stored: all floats in a state have six significant digits already.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import TypeAdapter

from .sequence import Sequence
from .state import State

VERSION = 1


@cache
def _state() -> TypeAdapter[State]:
    return TypeAdapter(State)


@cache
def _sequence() -> TypeAdapter[Sequence]:
    return TypeAdapter(Sequence)


def dump(state: State | Sequence) -> dict[str, Any]:
    """Plain dicts, lists, text and numbers."""
    if isinstance(state, State):
        plain = _state().dump_python(state, mode="json")
    else:
        plain = _sequence().dump_python(state, mode="json")
    return {"version": VERSION, **plain}


def load_state(data: dict[str, Any]) -> State:
    """What `dump` gave for a State. Raises ValueError for another version or shape."""
    return _state().validate_python(_of_version(data))


def load_sequence(data: dict[str, Any]) -> Sequence:
    """What `dump` gave for a Sequence. Raises ValueError for another version or shape."""
    return _sequence().validate_python(_of_version(data))


def _of_version(data: dict[str, Any]) -> dict[str, Any]:
    if data.get("version") != VERSION:
        raise ValueError(f"checks state of version {data.get('version')!r}; this program reads version {VERSION}")
    return {k: v for k, v in data.items() if k != "version"}
