"""A profile's regular expressions: matched on bytes, in linear time, so no pattern a user writes can hang the service."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Protocol, cast

import re2


class _Match(Protocol):
    def groups(self) -> tuple[bytes | None, ...]: ...


class _Compiled(Protocol):
    groupindex: Mapping[bytes, int]
    groups: int

    def fullmatch(self, text: bytes) -> _Match | None: ...


class Compiled:
    """A compiled pattern: `groups` names its fields in order, `fullmatch` gives their bytes."""

    __slots__ = ("_pattern", "_places", "groups")

    def __init__(self, pattern: _Compiled) -> None:
        self._pattern = pattern
        named = sorted((place, name.decode("latin-1")) for name, place in pattern.groupindex.items())
        self.groups = tuple(name for _, name in named)
        self._places = tuple(place - 1 for place, _ in named)

    def fullmatch(self, raw: bytes) -> dict[str, bytes | None] | None:
        """Field → bytes where the whole of `raw` fits (None for a group that took no part), else None."""
        match = self._pattern.fullmatch(raw)
        if match is None:
            return None
        found = match.groups()
        return {name: found[place] for name, place in zip(self.groups, self._places, strict=True)}


@lru_cache(maxsize=512)
def compiled(pattern: str) -> Compiled:
    """Compile a pattern. Raises ValueError, worded for the person who wrote it."""
    options = re2.Options()
    options.encoding = re2.Options.Encoding.LATIN1
    options.dot_nl = True
    options.log_errors = False
    try:
        raw = pattern.encode("latin-1")
    except UnicodeEncodeError:
        raise ValueError("a pattern matches bytes: write those above 7F as \\x80 to \\xff") from None
    try:
        return Compiled(cast(_Compiled, re2.compile(raw, options)))
    except re2.error as error:
        said = error.args[0] if error.args else b""
        reason = said.decode("latin-1") if isinstance(said, bytes) else str(said)
        raise ValueError(
            f"not a usable pattern: {reason}; look-around and back-references aren't allowed, so that matching takes linear time"
        ) from None
