"""Plain text for a terminal of any width. No meaning hangs on colour; words carry it all. Pure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from ..bench.acts import Act


def status_picture(status: Mapping[str, Any], width: int) -> str:
    """What `thwart status` shows, at most `width` columns wide."""
    held = status["held"]
    saved = "all saved" if status["saved"] else f"NOT SAVED: {status['fault']}"
    waiting = f", {status['waiting_inputs']} inputs wait" if status["waiting_inputs"] else ""
    lines = wrapped(f"{status['bench']} · {status['protocol']} · thwart {status['version']}", width)
    lines += wrapped(f"{saved} up to entry {status['committed_seq']}{waiting}", width)
    if held is not None:
        for place in held["places"]:
            lines += ["", *_place(place, practice=held["practice"], width=width)]
    lines += ["", *_instruments(status["instruments"], width)]
    if status["sound"] is not None:
        parts = [f"{what}: {program or 'none is installed'}" for what, program in status["sound"].items()]
        lines += ["", *wrapped(f"sound of this computer: {', '.join(parts)}", width, rest="  ")]
    if held is not None:
        if held["quiet"]:
            lines += ["", "look before the tray goes:"]
            for question in held["quiet"]:
                lines += wrapped(question["text"], width, first="  - ", rest="    ")
        counts = [
            f"{held['fish_closed']} fish closed",
            f"asked {held['asked']} times",
            f"next fish {held['next_number']}",
            *([f"next container {held['expected_container']}"] if held["expected_container"] else []),
        ]
        lines += ["", *wrapped(" · ".join(counts), width)]
    return "\n".join(lines)


def _place(place: Mapping[str, Any], *, practice: bool, width: int) -> list[str]:
    fish = place["in_hand"]
    if fish is not None:
        head = f"fish {fish['number']}" + (f" ({fish['species']})" if fish["species"] else "") + f", {fish['state']}"
    else:
        head = "nothing in hand"
    batch = f"batch {place['batch']}" if place["batch"] else "no batch open: `thwart act batch open NAME`"
    notes = [batch, *(["practice"] if practice else []), *(["PAUSED"] if place["paused"] else [])]
    lines = wrapped(f"{place['place']}: {head} · {' · '.join(notes)}", width, rest="  ")
    facts: list[tuple[str, str]] = []
    if fish is not None:
        facts.append(("taken", ", ".join(f"{k} {v}" for k, v in fish["taken"].items()) or "nothing yet"))
        facts.append(("wanted", ", ".join(fish["wanted"]) or "nothing more"))
        if fish["containers"]:
            facts.append(("container", ", ".join(fish["containers"])))
    facts += [("asked", question["text"]) for question in place["questions"]]
    people = [f"{role} {place[role]}" for role in ("measurer", "recorder", "stager") if place[role]]
    if people:
        facts.append(("people", ", ".join(people)))
    for name, text in facts:
        lines += wrapped(text, width, first=f"  {name:<10}", rest=" " * 12)
    return lines


def _instruments(instruments: Sequence[Mapping[str, Any]], width: int) -> list[str]:
    if not instruments:
        return ["no instruments in bench.toml"]
    rows = [
        (
            i["instrument"],
            "there" if i["present"] else "not there",
            "never" if i["last_frame_age_s"] is None else f"{age(float(i['last_frame_age_s']))} ago",
            str(i["frames"]),
            str(sum(i["rejected"].values())),
        )
        for i in instruments
    ]
    head = ("instrument", "port", "last heard", "frames", "rejected")
    lines = table([head, *rows], width)
    for i in instruments:
        name, notes = i["instrument"], []
        if not i["present"] and i["reason"]:
            notes.append(i["reason"])
        if i["mostly_rejected"]:
            reasons = ", ".join(f"{n} × {reason}" for reason, n in i["rejected"].items())
            notes.append(f"more than half of what it sends is rejected ({reasons}): are the line settings right?")
        if i["lost"]:
            notes.append(f"{i['lost']} readings lost: the ledger couldn't follow")
        for note in notes:
            lines += wrapped(f"{name}: {' '.join(note.split())}", width, first="  - ", rest="    ")
    return lines


def age(seconds: float) -> str:
    """How long ago, in the unit that says most."""
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} s" if seconds >= 10 else f"{seconds:.1f} s"


def act_table(acts: Iterable[Act], width: int) -> str:
    """The table of acts, by group."""
    groups: dict[str, list[Act]] = {}
    for act in acts:
        groups.setdefault(act.group, []).append(act)
    lines: list[str] = []
    for group, members in groups.items():
        lines += [*([""] if lines else []), f"{group}:"]
        for act in members:
            effect = act.effect + ("; said twice to do it" if act.two_steps else "")
            lines += wrapped(f"{act.name} {act.usage}".rstrip(), width, first="  ", rest="      ")
            lines += wrapped(f"{effect}. Example: {act.example}", width, first="      ", rest="      ")
    return "\n".join(lines)


def table(rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Rows in columns, the first row being the head; where they don't fit, `name: value` lines instead."""
    sizes = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    if sum(sizes) + 2 * (len(sizes) - 1) <= width:
        return ["  ".join(cell.ljust(size) for cell, size in zip(row, sizes, strict=True)).rstrip() for row in rows]
    head, *body = rows
    lines = []
    for row in body:
        named = ", ".join(f"{name} {cell}" for name, cell in zip(head[1:], row[1:], strict=True) if cell)
        lines += wrapped(f"{row[0]}: {named}", width, rest="  ")
    return lines


def wrapped(text: str, width: int, *, first: str = "", rest: str = "") -> list[str]:
    """One paragraph as lines; a word longer than the screen stands whole."""
    return textwrap.wrap(
        text,
        max(width, 20),
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]
