"""What the demo shows while it runs: a line a fish, and every trouble as it is said."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

Echo = Callable[[str, str], None]


class Screen:
    """Turns the feed and the hands' doings into lines. `echo` is given a kind (`fish`, `hands` or a sound) and the text."""

    def __init__(self, echo: Echo, *, everything: bool) -> None:
        self._echo = echo
        self._everything = everything
        self._began = time.monotonic()
        self._fish: dict[str, dict[str, str]] = {}

    def _line(self, kind: str, text: str) -> None:
        self._echo(kind, f"{time.monotonic() - self._began:6.1f} s  {text}")

    def hands(self, text: str) -> None:
        """What the simulated hands do that isn't routine."""
        self._line("hands", f"  hands   {text}")

    def entry(self, entry: Mapping[str, Any]) -> None:
        """One entry of the feed."""
        for said in entry["said"]:
            if self._everything or said["sound"] in ("look", "asked", "fault"):
                self._line(said["sound"], f"  {said['sound']:<7} {said['text']}")
        if not self._everything:
            self._gather(entry)

    def _gather(self, entry: Mapping[str, Any]) -> None:
        ident, body = entry["specimen_id"], entry["body"]
        if ident is None:
            return
        fish = self._fish.setdefault(ident, {})
        match entry["kind"]:
            case "measured":
                fish[body["measurand"]] = f"{body['raw_value']} {body['raw_unit']}"
            case "species":
                fish["species"] = body["species"]
            case "container":
                fish["container"] = body["number"]
            case "closed" if fish.get("total_length"):
                self._line(
                    "fish",
                    f"fish {body['number']:>3}  {fish.get('species', '?'):<6} {fish.get('total_length', '-'):>7}"
                    f" {fish.get('whole_mass', '-'):>9}   {fish.get('container', '-')}  {body['end']}",
                )
            case _:
                pass
