"""The words of each language: one TOML file each, same tables, same codes, same `{arguments}`. Holds no rules.

Entries store codes, arguments and the English; what is shown and said in another language is made from codes and
arguments when it is announced. `[words]` has the names of measurands, states and reasons that stand among the
arguments; what a protocol names itself stays as the protocol has it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

#: The language of the ledger.
DEFAULT = "en"
#: The languages there are: the files beside this one.
LANGUAGES = ("en", "de")

#: Arguments that stand as they came: labels, names, and what was typed.
_VERBATIM = frozenset({
    "act", "batch", "instrument", "label", "labels", "name", "place", "places", "tag", "text", "to", "usage",
})  # fmt: skip
_NUMBER = re.compile(r"[-+]?[0-9]+\.[0-9]+")
_PART = re.compile(r"(?<![\w.-])(?:[a-z]+(?:[_-][a-z]+)*|[-+]?[0-9]+\.[0-9]+)(?![\w.-])")
_NEAR = re.compile(r"did you mean (?P<mean>.*)\?|known: (?P<known>.*)")
_OF_FISH = re.compile(r"of fish ([0-9]+)")


class Done(str):
    """Text that is in its language already, and stands as it is."""

    __slots__ = ()


class Language:
    """One language's tables."""

    def __init__(self, code: str, tables: Mapping[str, Mapping[str, str]]) -> None:
        self.code = code
        self.tables = tables
        self._decimal = tables["language"]["decimal"]
        self._words = tables["words"]

    def say(self, table: str, code: str, args: Mapping[str, Any]) -> Done:
        """The words of a code, its arguments told in this language. Raises KeyError for an unknown code or a missing argument."""
        told = args if self.code == DEFAULT else {name: self._argument(name, value) for name, value in args.items()}
        return Done(self.tables[table][code].format_map(told))

    def number(self, text: str) -> str:
        """A number written with a point, in the locale's form; anything else as it is."""
        return text.replace(".", self._decimal) if _NUMBER.fullmatch(text) else text

    def phrase(self, text: str) -> str:
        """A text that holds codes and numbers (`total_length 198.5 mm`), told in this language."""
        return self._words.get(text) or _PART.sub(lambda part: self._words.get(part[0], self.number(part[0])), text)

    def reckoning(self, closed: Mapping[str, Any]) -> str:
        """What the closing of a batch reads out: containers first and last, void fish, skipped and unseen containers."""
        piece = self.tables["reckoning"]
        args = {
            "batch": closed["batch"], "fish": closed["fish"], "incomplete": closed["incomplete"],
            "labels": piece["no-labels"], "voids": piece["no-voids"], "skips": "", "misses": "",
        }  # fmt: skip
        if closed["first"] is not None:
            args["labels"] = piece["labels"].format(first=closed["first"], last=closed["last"])
        if closed["void"]:
            args["voids"] = piece["voids"].format(numbers=", ".join(map(str, closed["void"])))
        for code, labels in (("skips", closed["skipped"]), ("misses", closed["unseen"])):
            if labels:
                args[code] = piece[code].format(labels=", ".join(labels))
        return self.tables["announced"]["batch-close"].format_map(args)

    def _argument(self, name: str, value: Any) -> Any:
        if not isinstance(value, str) or isinstance(value, Done) or name in _VERBATIM:
            return value
        if name == "near":
            return self._near(value)
        if name == "whose" and (of := _OF_FISH.fullmatch(value)):
            return self.tables["near"]["of-fish"].format(number=of[1])
        return self.phrase(value)

    def _near(self, text: str) -> str:
        found = _NEAR.fullmatch(text)
        if found is None or found.lastgroup is None:
            return text
        return self.tables["near"][found.lastgroup].format(names=found[found.lastgroup])


@lru_cache
def language(code: str) -> Language:
    """A language by its code. Raises KeyError for one there is no file of."""
    if code not in LANGUAGES:
        raise KeyError(code)
    return Language(code, _read(Path(__file__).with_name(f"{code}.toml").read_text(encoding="utf-8")))


#: All that our files hold beside comments: tables, and strings of one line without escapes.
_LINE = re.compile(r"""^(?:\[(\w+)\]|(?:"([^"]+)"|([\w-]+)) = "([^"\\]*)")$""", re.MULTILINE)


def _read(text: str) -> dict[str, dict[str, str]]:
    """A file's tables, as a reader of all of TOML has them, which would make each start a twentieth longer."""
    tables: dict[str, dict[str, str]] = {}
    for name, quoted, bare, words in _LINE.findall(text):
        if name:
            table = tables[name] = {}
        else:
            table[quoted or bare] = words
    return tables


ENGLISH = language(DEFAULT)
