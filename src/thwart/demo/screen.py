"""What the demo shows while it runs: a line a fish (or every ten touches), and every trouble as it is said."""

from __future__ import annotations

import shutil
import textwrap
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

Echo = Callable[[str, str], None]
Fish = dict[str, str]
#: What a demo shows of an entry of the feed, given what was gathered of its fish so far; None: nothing.
Line = Callable[[Mapping[str, Any], Fish], str | None]

_INDENT = " " * 20


class Screen:
    """Turns the feed and the people's doings into lines. `echo` is given a kind (`fish`, `hands` or a sound) and the text."""

    def __init__(self, echo: Echo, line: Line, *, everything: bool) -> None:
        self._echo = echo
        self._line_of = line
        self._everything = everything
        self._began = time.monotonic()
        self.places: tuple[str, ...] = ()
        """The places of the bench: where there are several, each line of one says which."""
        self._fish: dict[str, Fish] = {}
        self._lock = threading.Lock()

    def _line(self, kind: str, text: str) -> None:
        with self._lock:
            self._echo(kind, wrapped(f"{time.monotonic() - self._began:6.1f} s  {text}"))

    def chapter(self, text: str) -> None:
        """A new day begins."""
        with self._lock:
            self._echo("fish", f"\n{text}\n")

    def hands(self, text: str, place: str) -> None:
        """What the simulated people do that isn't routine."""
        self._line("hands", f"  hands   {self._at(place)}{text}")

    def _at(self, place: str | None) -> str:
        if len(self.places) < 2:
            return ""
        return (f"{place}: " if place else "").ljust(max(map(len, self.places)) + 2)

    def _text(self, entry: Mapping[str, Any], text: str) -> str:
        """What is said, without a place's name that stands before it already."""
        return _folded(entry, text.removeprefix(f"{entry['place']}: ") if len(self.places) > 1 else text)

    def entry(self, entry: Mapping[str, Any]) -> None:
        """One entry of the feed."""
        for said in entry["said"]:
            if self._everything or said["sound"] in ("look", "asked", "fault"):
                self._line(
                    said["sound"], f"  {said['sound']:<7} {self._at(entry['place'])}{self._text(entry, said['text'])}"
                )
        if not self._everything and (text := self._line_of(entry, self._gather(entry))) is not None:
            self._line("fish", text)

    def _gather(self, entry: Mapping[str, Any]) -> Fish:
        body = entry["body"]
        fish = self._fish.setdefault(entry["specimen_id"] or "", {})
        match entry["kind"]:
            case "measured":
                key = ".".join(filter(None, (body["measurand"], body["side"])))
                fish[key] = f"{body['raw_value']} {body['raw_unit']}"
            case "missing":
                fish[body["name"]] = body["reason"]
            case "species":
                fish["species"] = body["species"]
            case "coded":
                fish[body["field"]] = body["code"] or "-"
            case "container" if body["state"] == "filled":
                fish["container"] = body["number"]
            case _:
                pass
        return fish


def wrapped(text: str, indent: str = _INDENT) -> str:
    """Lines no wider than the terminal, broken between words; what isn't shown on one stays as it is."""
    wide = shutil.get_terminal_size((10_000, 24)).columns
    return "\n".join(
        textwrap.fill(line, wide, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
        for line in text.split("\n")
    )


def _folded(entry: Mapping[str, Any], text: str) -> str:
    """What is read out of a tray has many parts: each on a line of its own."""
    if entry["kind"] != "read-out":
        return text
    first, *_ = parts = entry["body"]["texts"]
    return text.partition(first)[0].rstrip() + "".join(f"\n{_INDENT}{part}" for part in parts)


def fish_line(entry: Mapping[str, Any], fish: Fish) -> str | None:
    """A line for each fish that is closed: number, species, sex where it is told, length, mass, envelope."""
    if entry["kind"] != "closed" or "total_length" not in fish:
        return None
    sex = f"{fish['sex']} " if "sex" in fish else ""
    return (
        f"fish {entry['body']['number']:>3}  {fish.get('species', '?'):<6} {sex}{fish['total_length']:>7}"
        f" {fish.get('whole_mass', '-'):>9}   {fish.get('container', '-')}  {entry['body']['end']}"
    )
