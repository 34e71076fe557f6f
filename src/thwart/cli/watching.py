"""What `thwart watch` shows, as lines for a screen of any size. No meaning hangs on a style; words carry it all. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from .screen import age, wrapped

#: How a line is shown where the terminal can: never the only thing that says something.
Style = Literal["plain", "strong", "urgent", "quiet"]
#: The bench was not heard for so long: what is shown may no longer be so.
STALE_S = 3.0
#: Columns of the names before facts.
_MARGIN = 11


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the screen."""

    text: str
    style: Style = "plain"


@dataclass(frozen=True, slots=True)
class View:
    """What was last heard of a bench: `thwart status`'s picture (None: nothing yet), how old it is, what is wrong now."""

    status: Mapping[str, Any] | None
    age_s: float
    trouble: str = ""


def shown(text: object) -> str:
    """A text from outside on a screen: nothing in it can move the cursor."""
    return "".join(c if c.isprintable() else "·" for c in " ".join(str(text).split()))


def screen(view: View, width: int, height: int) -> list[Line]:
    """The whole screen, at most `height` lines of at most `width` columns: what matters least is left out first."""
    head, foot = _head(view, width), _foot(view, width)
    if view.status is None or view.status["held"] is None:
        return _cut([*head, *foot], height)
    held = view.status["held"]
    places = [_place(place, width, practice=held["practice"]) for place in held["places"]]
    room = max(0, height - len(head) - len(foot) - sum(map(len, places)))
    instruments = _instruments(view.status["instruments"], width)
    quiet = _quiet(held["quiet"], width, max(3, room - len(instruments)))
    lines = [*head]
    for place in places:
        lines += place
    lines += _cut([*quiet, *instruments], room)
    return _cut([*lines, *foot], height)


def plain(view: View) -> dict[str, str]:
    """What a line printer is told whenever one of these changes: by what it is about. Ages aren't, they always change."""
    if view.trouble:
        return {"bench": shown(f"NO SERVICE: {view.trouble}")}
    if view.status is None:
        return {}
    if view.age_s > STALE_S:
        return {"bench": "STALE: the bench doesn't answer"}
    saved = "all saved" if view.status["saved"] else f"NOT SAVED: {view.status['fault']}"
    told = {"bench": shown(f"{view.status['bench']} · {view.status['protocol']}, {saved}")}
    for i in view.status["instruments"]:
        what = "there" if i["present"] else "NOT THERE"
        told[f"instrument {i['instrument']}"] = shown(" ".join([what, *([i["reason"]] if i["reason"] else [])]))
    held = view.status["held"]
    if held is None:
        return told
    for place in held["places"]:
        head, *facts = [" ".join(line.text.split()) for line in _place(place, 10_000, practice=held["practice"])]
        told[f"place {place['place']}"] = " | ".join([head.removeprefix(f"{shown(place['place'])} "), *facts])
    told["look before the tray goes"] = " · ".join(shown(q["text"]) for q in held["quiet"]) or "nothing"
    return told


def _head(view: View, width: int) -> list[Line]:
    lines: list[Line] = []
    status = view.status
    if status is not None:
        lines += _paragraph(f"{status['bench']} · {status['protocol']}", width, "strong")
    if view.trouble:
        lines += _paragraph(f"NO SERVICE: {view.trouble}", width, "urgent")
        if status is not None:
            lines += _paragraph(f"What follows is {age(view.age_s)} old.", width, "urgent")
    elif status is None:
        lines.append(Line("asking the bench …"))
    elif view.age_s > STALE_S:
        lines += _paragraph(f"STALE: the bench was last heard {age(view.age_s)} ago.", width, "urgent")
    if status is not None and not view.trouble:
        waits = f", {status['waiting_inputs']} inputs wait" if status["waiting_inputs"] else ""
        if status["saved"]:
            lines += _paragraph(f"all saved up to entry {status['committed_seq']}{waits}", width, "quiet")
        else:
            lines += _paragraph(f"NOT SAVED: {status['fault']}{waits}", width, "urgent")
    return [*lines, Line("─" * width, "quiet")]


def _foot(view: View, width: int) -> list[Line]:
    held = view.status["held"] if view.status is not None else None
    counts = [] if held is None else [
        f"{held['fish_closed']} fish closed", f"asked {held['asked']} times", f"next fish {held['next_number']}",
        *([f"next container {held['expected_container']}"] if held["expected_container"] else []),
        *([f"set apart {', '.join(map(str, held['parked']))}"] if held["parked"] else []),
    ]  # fmt: skip
    return _paragraph(" · ".join([*counts, "q quits"]), width, "quiet")


def _place(place: Mapping[str, Any], width: int, *, practice: bool) -> list[Line]:
    fish, counting = place["in_hand"], place["counting"]
    if counting is not None:
        head = f"counting {counting['species'] or 'nothing yet'}" + (f" {counting['sex']}" if counting["sex"] else "")
    elif fish is not None:
        head = f"FISH {fish['number']}" + (f" {fish['species']}" if fish["species"] else "") + f" ({fish['state']})"
    else:
        head = "nothing in hand"
    notes = [f"batch {place['batch']}" if place["batch"] else "no batch open"]
    notes += ["PRACTICE"] * practice + ["PAUSED"] * place["paused"]
    lines = _fact(place["place"], f"{head} · {' · '.join(notes)}", width, "strong")
    if (last := place["last"]) is not None:
        lines += _fact("last", _last(last), width, "strong")
    if fish is not None:
        taken = ", ".join(f"{_named(key)} {value}" for key, value in fish["taken"].items())
        lines += _fact("taken", taken or "nothing yet", width)
        lines += _fact("wanted", ", ".join(map(_named, fish["wanted"])) or "nothing more", width)
        if fish["containers"]:
            lines += _fact("container", ", ".join(fish["containers"]), width)
    if place["queue"]:
        lines += _fact("waiting", ", ".join(map(str, place["queue"])), width)
    if place["armed"]:
        lines += _fact("TWICE", f"{place['armed']}: say it again to do it", width, "urgent")
    for question in place["questions"]:
        lines += _fact("ASKED", question["text"], width, "urgent")
        if question["answers"]:
            lines += _fact("", "answers: " + ", ".join(question["answers"]), width)
    return lines


def _last(last: Mapping[str, Any]) -> str:
    value = f"{last['value']} {last['unit']}".strip()
    name = f"{_named(last['measurand'])} " if last["measurand"] else ""
    whose = f"{last['number']}: " if last["number"] is not None else ""
    what = [] if last["what"] == "taken" else [last["what"].upper()]
    what += [last["why"]] if last["why"] else []
    what += ["questioned"] if last["questioned"] else []
    return f"{whose}{name}{value}" + (f" ({', '.join(what)})" if what else "")


def _quiet(questions: Sequence[Mapping[str, Any]], width: int, most: int) -> list[Line]:
    """The quiet list in at most so many lines; how many more there are is said."""
    if not questions:
        return []
    lines = [Line("look before the tray goes:", "strong")]
    for at, question in enumerate(questions):
        item = [Line(text) for text in wrapped(shown(question["text"]), width, first="  - ", rest="    ")]
        if len(lines) + len(item) + (at + 1 < len(questions)) > most:
            return [*lines, Line(f"  … and {len(questions) - at} more")]
        lines += item
    return lines


def _instruments(instruments: Iterable[Mapping[str, Any]], width: int) -> list[Line]:
    lines: list[Line] = []
    for i in instruments:
        heard = "never heard" if i["last_frame_age_s"] is None else f"heard {age(float(i['last_frame_age_s']))} ago"
        notes = ["there" if i["present"] else "NOT THERE", heard]
        notes += [i["reason"]] if i["reason"] and not i["present"] else []
        notes += ["more than half of what it sends is rejected"] if i["mostly_rejected"] else []
        notes += [f"{i['lost']} readings lost"] if i["lost"] else []
        lines += _fact(i["instrument"], ", ".join(notes), width, "plain" if i["present"] else "urgent")
    return lines


def _named(key: str) -> str:
    return key.replace("_", " ")


def _fact(name: str, text: str, width: int, style: Style = "plain") -> list[Line]:
    first = f"{shown(name):<{_MARGIN - 1}} "
    found = wrapped(shown(text), width, first=first, rest=" " * _MARGIN)
    return [Line(line[:width], style) for line in found]


def _paragraph(text: str, width: int, style: Style) -> list[Line]:
    return [Line(line[:width], style) for line in wrapped(shown(text), width)]


def _cut(lines: list[Line], height: int) -> list[Line]:
    return lines if len(lines) <= height else [*lines[: max(0, height - 1)], Line("…")][:height]
