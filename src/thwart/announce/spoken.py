"""What a voice says of a committed entry: which fish, what value, digits singly. Pure.

A number in words is heard wrong more easily than its digits one by one (fifteen, fifty), so every number and every label
is read digit by digit, in figures' own names, and a unit in full. The words are those of the language file's table
`[spoken]`. Nothing is left that a voice program could take for a command of its own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from ..entries import Entry
from ..languages import Language

#: The sounds, from what can wait to what can't.
URGENCY = ("next", "taken", "look", "asked", "fault")
#: Longer than this nobody at the bench listens; the page has it whole.
_LONGEST = 240

_TOKEN = re.compile(
    r"""(?P<number>(?<![\w.,:])[-−+±]?\d+(?:[.,]\d+)?(?![\w])(?![-:.,]\d))(?:\s?(?P<unit>\[\w+\]|°?[A-Za-zµ%]+)(?!\w))?"""
    r"""|(?P<label>(?=[\w./:-]*\d)[^\W_](?:[\w./:-]*[^\W_])?)"""
    r"""|(?P<word>[^\W\d_]+(?:['’][^\W\d_]+)*)"""
    r"""|(?P<sign>[→×·…+=%±])"""
    r"""|(?P<pause>[.,;:?!]|\s[–—-]\s|[()])""",
    re.VERBOSE,
)
_SIGNS = {"-": "minus", "−": "minus", "+": "plus", "±": "±", ".": "point", ",": "point"}
_RUNS = re.compile(r"\d|[^\W\d_]+")


def spoken(text: str, entry: Entry | None, words: Language) -> str:
    """An announcement as a voice says it: of a measurement its own short form, else the text made speakable.

    Of a tally's fish nothing: it comes faster than speech, and its tone is enough.
    """
    if entry is not None:
        if entry.kind == "tallied":
            return ""
        if entry.kind == "measured":
            return _measured(entry.body, words)
    return speakable(text, words)


def speakable(text: str, words: Language) -> str:
    """A text as a voice says it: digits singly, units and signs in words, labels spelled."""
    said: list[str] = []
    figures = False
    for m in _TOKEN.finditer(text):
        kind = m.lastgroup if m["number"] is None else "number"
        if figures and kind in ("number", "label"):
            _pause(said, ",")  # or fish 1 with 2 otoliths would be fish 12
        figures = kind == "label" or (kind == "number" and m["unit"] is None)
        match kind:
            case "number":
                said.append(_number(m["number"], words))
                if m["unit"] is not None:
                    unit = _unit(m["unit"], m["number"], words)
                    said.append(m["unit"] if unit is None else unit)
            case "label":
                said.append(_spelled(m["label"], words))
            case "word":
                said.append(m["word"])
            case "sign":
                said.append(words.tables["spoken"].get(m["sign"], ""))
            case _:
                mark = m["pause"].strip()
                _pause(said, mark if mark in ("?", ".", "!") else ",")
    while said and said[-1] == ",":
        said.pop()
    return _shortened(
        " ".join(s for s in said if s).replace(" ,", ",").replace(" ?", "?").replace(" .", ".").replace(" !", "!")
    )


def _measured(b: Mapping[str, Any], words: Language) -> str:
    """Fish, measurand where the reading could have been another, side, value."""
    table = words.tables["spoken"]
    parts = [_number(str(b["number"]), words)]
    # Entries from before the bench kept count don't say: then it is named.
    if b.get("one_of", 2) > 1 or b["how"] != "instrument":
        parts.append(_name(b["measurand"], words))
    if b["side"]:
        parts.append(_name(b["side"], words))
    raw = str(b["raw_value"])
    unit = _unit(b["raw_unit"], raw, words)
    parts.append(f"{_number(raw, words)} {b['raw_unit'] if unit is None else unit}")
    if b["supersedes"] is not None:
        parts.append(table["again"])
    return ", ".join(parts)


def _pause(said: list[str], mark: str) -> None:
    if said and said[-1] not in (",", "?", ".", "!"):
        said.append(mark)
    elif said and mark != ",":
        said[-1] = mark


def _number(text: str, words: Language) -> str:
    """`-0.5` → minus zero point five."""
    table = words.tables["spoken"]
    return " ".join(table[str(int(c)) if c.isdecimal() else _SIGNS[c]] for c in text)


def _unit(unit: str, number: str, words: Language) -> str | None:
    """A unit's name, as the number before it wants it; None for what is no unit."""
    table = words.tables["spoken"]
    one = number.lstrip("+-−") == "1"
    return table.get(f"{unit} one" if one else unit) if f"{unit} one" in table else None


def _spelled(label: str, words: Language) -> str:
    """`LK-0214` → L K zero two one four; letters that make a word stay one."""
    table = words.tables["spoken"]
    said = []
    for run in _RUNS.findall(label):
        if run.isdecimal():
            said.append(table[str(int(run))])
        else:
            said.append(table.get(run) or (" ".join(run) if run.isupper() else run))
    return " ".join(said)


def _name(code: str, words: Language) -> str:
    return speakable(words.tables["words"].get(code, code.replace("_", " ")), words)


def _shortened(text: str) -> str:
    if len(text) <= _LONGEST:
        return text
    return text[: text.rfind(" ", 0, _LONGEST)].rstrip(", ")


def utterance(said: Sequence[Mapping[str, Any]]) -> tuple[str, str | None, str]:
    """What of one input's announcements is heard: the most urgent sound, its place, and the words.

    That the next fish is open is told only where nothing else is. Raises ValueError where nothing is said.
    """
    first = max(said, key=lambda s: URGENCY.index(s["sound"]))
    matters = [s for s in said if s["sound"] != "next"] or said
    sentences = [s["spoken"] for s in matters if s["spoken"]]
    return first["sound"], first["place"], " ".join(s if s.endswith(("?", ".", "!")) else f"{s}." for s in sentences)
