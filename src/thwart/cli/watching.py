"""What `thwart watch` shows, as lines for a screen of any size. No meaning hangs on a style; words carry it all. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..announce.narrate import question
from ..languages import ENGLISH, Language
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
    words: Language = ENGLISH

    def say(self, code: str, **args: object) -> str:
        """The words of a code of the language's table `watch`."""
        return self.words.tables["watch"][code].format_map(args)

    def page(self, code: str) -> str:
        """The words of a code that the page has too; a code it doesn't know as it is."""
        return self.words.tables["page"].get(code) or code.partition("-")[2]

    def named(self, key: str) -> str:
        """What a measurand, or a state, is called."""
        words = self.words.tables["words"]
        return words.get(key) or " ".join(words.get(part) or part.replace("_", " ") for part in key.split("."))

    def asked(self, found: Mapping[str, Any]) -> str:
        """A question in this language."""
        return question(self.words, found.get("cause", ""), found.get("args", {}), found["text"])


def shown(text: object) -> str:
    """A text from outside on a screen: nothing in it can move the cursor."""
    return "".join(c if c.isprintable() else "·" for c in " ".join(str(text).split()))


def screen(view: View, width: int, height: int) -> list[Line]:
    """The whole screen, at most `height` lines of at most `width` columns: what matters least is left out first."""
    head, foot = _head(view, width), _foot(view, width)
    if view.status is None or view.status["held"] is None:
        return _cut([*head, *foot], height)
    held = view.status["held"]
    places = [_place(view, place, width, practice=held["practice"]) for place in held["places"]]
    room = max(0, height - len(head) - len(foot) - sum(map(len, places)))
    instruments = _instruments(view, view.status["instruments"], width)
    quiet = _quiet(view, held["quiet"], width, max(3, room - len(instruments)))
    lines = [*head]
    for place in places:
        lines += place
    lines += _cut([*quiet, *instruments], room)
    return _cut([*lines, *foot], height)


def plain(view: View) -> dict[str, str]:
    """What a line printer is told whenever one of these changes: by what it is about. Ages aren't, they always change."""
    bench = view.say("bench")
    if view.trouble:
        return {bench: shown(view.say("no-service", trouble=view.trouble))}
    if view.status is None:
        return {}
    if view.age_s > STALE_S:
        return {bench: view.say("no-answer")}
    status = view.status
    saved = view.say("saved") if status["saved"] else view.say("not-saved", fault=status["fault"])
    told = {bench: shown(f"{status['bench']} · {status['protocol']}, {saved}")}
    for i in status["instruments"]:
        what = view.say("there" if i["present"] else "not-there")
        told[view.say("instrument", name=i["instrument"])] = shown(f"{what} {i['reason'] or ''}".strip())
    held = status["held"]
    if held is None:
        return told
    for place in held["places"]:
        head, *facts = [" ".join(line.text.split()) for line in _place(view, place, 10_000, practice=held["practice"])]
        name = view.say("place", name=place["place"])
        told[name] = " | ".join([head.removeprefix(f"{shown(place['place'])} "), *facts])
    told[view.say("look")] = " · ".join(shown(view.asked(q)) for q in held["quiet"]) or view.say("nothing")
    return told


def _head(view: View, width: int) -> list[Line]:
    lines: list[Line] = []
    status = view.status
    if status is not None:
        lines += _paragraph(f"{status['bench']} · {status['protocol']}", width, "strong")
    if view.trouble:
        lines += _paragraph(view.say("no-service", trouble=view.trouble), width, "urgent")
        if status is not None:
            lines += _paragraph(view.say("old", age=age(view.age_s)), width, "urgent")
    elif status is None:
        lines += _paragraph(view.say("asking-it"), width, "plain")
    elif view.age_s > STALE_S:
        lines += _paragraph(view.say("stale", age=age(view.age_s)), width, "urgent")
    if status is not None and not view.trouble:
        saved = (
            view.say("saved-to", seq=status["committed_seq"])
            if status["saved"]
            else view.say("not-saved", fault=status["fault"])
        )
        waits = [view.say("waits", n=status["waiting_inputs"])] if status["waiting_inputs"] else []
        lines += _paragraph(", ".join([saved, *waits]), width, "quiet" if status["saved"] else "urgent")
    return [*lines, Line("─" * width, "quiet")]


def _foot(view: View, width: int) -> list[Line]:
    held = view.status["held"] if view.status is not None else None
    counts = [] if held is None else [
        view.say("closed", n=held["fish_closed"]), view.say("asked-times", n=held["asked"]),
        view.say("next-fish", number=held["next_number"]),
        *([view.say("next-container", label=held["expected_container"])] if held["expected_container"] else []),
        *([view.say("apart", numbers=", ".join(map(str, held["parked"])))] if held["parked"] else []),
    ]  # fmt: skip
    return _paragraph(" · ".join([*counts, view.say("quits")]), width, "quiet")


def _place(view: View, place: Mapping[str, Any], width: int, *, practice: bool) -> list[Line]:
    fish, counting = place["in_hand"], place["counting"]
    if counting is not None:
        what = " ".join(filter(None, [view.named(counting["species"] or ""), counting["sex"]]))
        head = view.say("counting", what=what or view.say("nothing-yet"))
    elif fish is not None:
        species = f" {view.named(fish['species'])}" if fish["species"] else ""
        head = f"{view.say('fish', number=fish['number'])}{species} ({view.say('state-' + fish['state'])})"
    else:
        head = view.say("nothing-in-hand")
    notes = [view.say("batch", batch=place["batch"]) if place["batch"] else view.say("no-batch")]
    notes += [view.say("practice")] * practice + [view.say("paused")] * place["paused"]
    lines = _fact(place["place"], f"{head} · {' · '.join(notes)}", width, "strong")
    if (last := place["last"]) is not None:
        lines += _fact(view.say("last"), _last(view, last), width, "strong")
    if fish is not None:
        taken = ", ".join(f"{view.named(key)} {view.words.phrase(value)}" for key, value in fish["taken"].items())
        lines += _fact(view.say("taken"), taken or view.say("nothing-yet"), width)
        wanted = ", ".join(map(view.named, fish["wanted"]))
        lines += _fact(view.say("wanted"), wanted or view.say("nothing-more"), width)
        if fish["containers"]:
            lines += _fact(view.named("container"), ", ".join(fish["containers"]), width)
    if place["queue"]:
        lines += _fact(view.say("waiting"), ", ".join(map(str, place["queue"])), width)
    if place["armed"]:
        lines += _fact(view.say("twice"), view.say("say-again", act=place["armed"]), width, "urgent")
    for asked in place["questions"]:
        lines += _fact(view.say("asked"), view.asked(asked), width, "urgent")
        if asked["answers"]:
            lines += _fact("", view.say("answers", acts=", ".join(asked["answers"])), width)
    return lines


def _last(view: View, last: Mapping[str, Any]) -> str:
    value = f"{view.words.number(str(last['value']))} {last['unit']}".strip()
    name = f"{view.named(last['measurand'])} " if last["measurand"] else ""
    whose = f"{last['number']}: " if last["number"] is not None else ""
    what = [] if last["what"] == "taken" else [view.page(f"outcome-{last['what']}").upper()]
    what += [view.page(f"why-{last['why']}")] if last["why"] else []
    what += [view.say("questioned")] if last["questioned"] else []
    return f"{whose}{name}{value}" + (f" ({', '.join(what)})" if what else "")


def _quiet(view: View, questions: Sequence[Mapping[str, Any]], width: int, most: int) -> list[Line]:
    """The quiet list in at most so many lines; how many more there are is said."""
    if not questions:
        return []
    lines = [Line(f"{view.say('look')}:"[:width], "strong")]
    for at, asked in enumerate(questions):
        item = [Line(text) for text in wrapped(shown(view.asked(asked)), width, first="  - ", rest="    ")]
        if len(lines) + len(item) + (at + 1 < len(questions)) > most:
            return [*lines, Line(f"  {view.say('more', n=len(questions) - at)}"[:width])]
        lines += item
    return lines


def _instruments(view: View, instruments: Iterable[Mapping[str, Any]], width: int) -> list[Line]:
    lines: list[Line] = []
    for i in instruments:
        heard = i["last_frame_age_s"]
        notes = [view.say("there" if i["present"] else "not-there")]
        notes += [view.say("never-heard") if heard is None else view.say("heard", age=age(float(heard)))]
        notes += [i["reason"]] if i["reason"] and not i["present"] else []
        notes += [view.say("mostly-rejected")] if i["mostly_rejected"] else []
        notes += [view.say("lost", n=i["lost"])] if i["lost"] else []
        lines += _fact(i["instrument"], ", ".join(notes), width, "plain" if i["present"] else "urgent")
    return lines


def _fact(name: str, text: str, width: int, style: Style = "plain") -> list[Line]:
    first = f"{shown(name):<{_MARGIN - 1}} "
    found = wrapped(shown(text), width, first=first, rest=" " * _MARGIN)
    return [Line(line[:width], style) for line in found]


def _paragraph(text: str, width: int, style: Style) -> list[Line]:
    return [Line(line[:width], style) for line in wrapped(shown(text), width)]


def _cut(lines: list[Line], height: int) -> list[Line]:
    return lines if len(lines) <= height else [*lines[: max(0, height - 1)], Line("…")][:height]
