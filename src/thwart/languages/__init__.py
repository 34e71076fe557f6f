"""The words of each language: one TOML file each, same tables, same codes, same `{arguments}`. Holds no rules.

Entries store codes, arguments and the English; what is shown and said in another language is made from codes and
arguments when it is announced. `[words]` has the names of measurands, states and reasons that stand among the
arguments; what a protocol names itself stays as the protocol has it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import Any

#: The language of the ledger.
DEFAULT = "en"
#: The languages there are: the files beside this one.
LANGUAGES = ("en", "de")

_NUMBER = re.compile(r"[-+]?[0-9]+\.[0-9]+")


class Language:
    """One language's tables."""

    def __init__(self, code: str, tables: Mapping[str, Mapping[str, str]]) -> None:
        self.code = code
        self.tables = tables
        self.decimal = tables["language"]["decimal"]

    def say(self, table: str, code: str, args: Mapping[str, Any]) -> str:
        """The words of a code. Raises KeyError for an unknown code or a missing argument: a fault of the program."""
        return self.tables[table][code].format_map(args)

    def number(self, text: str) -> str:
        """A number written with a point, in the locale's form; anything else as it is."""
        return text.replace(".", self.decimal) if _NUMBER.fullmatch(text) else text


@lru_cache
def language(code: str) -> Language:
    """A language by its code. Raises KeyError for one there is no file of."""
    if code not in LANGUAGES:
        raise KeyError(code)
    text = resources.files(__name__).joinpath(f"{code}.toml").read_text(encoding="utf-8")
    return Language(code, tomllib.loads(text))
