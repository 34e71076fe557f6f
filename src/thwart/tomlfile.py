"""Reading the TOML files a person writes: every fault at once, each with file, line, key and what is allowed."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from .errors import ConfigError


class Strict(BaseModel):
    """Base of all models of files: unknown keys are faults, values don't change after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Faults(ValueError):
    """What a model's own checks found: lines of `key.path: what is wrong`."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("; ".join(faults))
        self.faults = tuple(faults)


M = TypeVar("M", bound=BaseModel)
Loc = tuple[int | str, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+))*)\s*=""")


def _parts(dotted: str) -> Loc:
    return tuple(p.strip().strip("\"'") for p in re.findall(r"\"[^\"]*\"|'[^']*'|[^.\s]+", dotted))


def key_lines(text: str) -> dict[Loc, int]:
    """Line numbers (from 1) of tables and keys, by their path; arrays of tables carry their index."""
    lines: dict[Loc, int] = {}
    table: Loc = ()
    counts: dict[Loc, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(line):
            path: list[int | str] = []
            for part in _parts(header[2]):
                path.append(part)
                if tuple(path) in counts and len(path) < len(_parts(header[2])):
                    path.append(counts[tuple(path)])
            if header[1] == "[[":
                counts[tuple(path)] = counts.get(tuple(path), -1) + 1
                path.append(counts[tuple(path)])
            table = tuple(path)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            here = table
            for part in _parts(key[1]):
                here = (*here, part)
                lines.setdefault(here, number)
    return lines


def _line(lines: dict[Loc, int], loc: Loc) -> int | None:
    while loc:
        if loc in lines:
            return lines[loc]
        loc = loc[:-1]
    return None


def _allowed(model: type[BaseModel], loc: Loc) -> list[str]:
    """Keys allowed in the table that holds `loc`, as far as plain nesting of models can tell."""
    current: Any = model
    for part in loc[:-1]:
        if isinstance(part, int):
            continue
        field = current.model_fields.get(part) if isinstance(current, type) and issubclass(current, BaseModel) else None
        if field is None:
            continue
        found = [t for t in _leaves(field.annotation) if isinstance(t, type) and issubclass(t, BaseModel)]
        current = found[0] if found else None
        if current is None:
            return []
    if not (isinstance(current, type) and issubclass(current, BaseModel)):
        return []
    return sorted(f.alias or name for name, f in current.model_fields.items())


def _leaves(annotation: Any) -> Iterable[Any]:
    args = getattr(annotation, "__args__", None)
    if args:
        for arg in args:
            yield from _leaves(arg)
    else:
        yield annotation


def nearest(name: str, names: Iterable[str], most: int = 3) -> str:
    """A hint with the names nearest to `name`, or all of them where there are few, or nothing."""
    known = sorted(names)
    close = difflib.get_close_matches(name, known, n=most, cutoff=0.5)
    if close:
        return "did you mean " + ", ".join(close) + "?"
    return "known: " + ", ".join(known) if known and len(known) <= 12 else ""


def problems_of(error: ValidationError, model: type[BaseModel], lines: dict[Loc, int], where: str) -> list[str]:
    """One line per fault: `file:line: key.path: what is wrong; what is allowed`."""
    out = []
    faults = error.errors(include_url=False)
    for fault in faults:
        loc = tuple(p for p in fault["loc"] if not (isinstance(p, str) and p.startswith(("function-", "tagged-union"))))
        cause = fault.get("ctx", {}).get("error")
        if isinstance(cause, Faults):
            out += [told(where, lines, (*loc, *_path(text)), text.partition(": ")[2]) for text in cause.faults]
            continue
        if fault["type"] == "too_short" and any(f is not fault and f["loc"][: len(loc)] == loc for f in faults):
            continue  # it only seems too short because of what is wrong in it
        match fault["type"]:
            case "extra_forbidden":
                allowed = _allowed(model, loc)
                text = "unknown key" + (
                    f"; {nearest(str(loc[-1]), allowed) or 'allowed: ' + ', '.join(allowed)}" if allowed else ""
                )
            case "missing":
                text = "is missing"
            case kind:
                text = _PLAIN.get(kind, "") or fault["msg"].removeprefix("Value error, ").removeprefix("Input ")
                given = fault.get("input")
                if not isinstance(given, dict | list | BaseModel):
                    text += f" (is {given!r})"
        out.append(told(where, lines, loc, text))
    return out


#: Faults of type that a person meets, in their words; others stand as pydantic says them.
_PLAIN = {
    "string_type": "must be text in quotes",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "decimal_type": "must be a number",
    "decimal_parsing": "must be a number",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "tuple_type": "must be a list in [ ]",
    "mapping_type": "must be a table",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "too_short": "must not be empty",
}


def told(where: str, lines: dict[Loc, int], loc: Loc, text: str) -> str:
    """One fault as a line: file and line, key path, what is wrong."""
    path = "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in loc).lstrip(".") or "(whole file)"
    line = _line(lines, loc)
    return f"{f'{where}:{line}' if line else where}: {path}: {text}"


def _path(fault: str) -> Loc:
    path = fault.partition(": ")[0]
    return tuple(int(p) if p.isdecimal() else p for p in path.replace("[", ".").replace("]", "").split("."))


def parse(text: str, where: str) -> dict[str, Any]:
    """TOML text → plain dict. Raises ConfigError with the line the parser stopped at."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(
            where, [f"{where}: not valid TOML: {error}"], "mend the line named; strings need quotes"
        ) from None


def validate(model: type[M], data: dict[str, Any], text: str, where: str, context: dict[str, Any] | None = None) -> M:
    """`data` as a `model`. Raises ConfigError with all faults at once."""
    try:
        return model.model_validate(data, context=context)
    except ValidationError as error:
        raise ConfigError(where, problems_of(error, model, key_lines(text), where)) from None


def read_text(path: Path) -> str:
    """The file's text. Raises ConfigError where it can't be read."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise ConfigError(str(path), [f"{path}: no such file"]) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(str(path), [f"{path}: can't be read: {error}"]) from None


def load(model: type[M], path: Path, context: dict[str, Any] | None = None) -> M:
    """A TOML file as a `model`. Raises ConfigError with all faults at once."""
    text = read_text(path)
    return validate(model, parse(text, str(path)), text, str(path), context)


def complain(where: str, problems: Sequence[str], hint: str = "") -> None:
    """Raise ConfigError if there are problems."""
    if problems:
        raise ConfigError(where, problems, hint)


def schema_text(model: type[BaseModel], *, without: Sequence[str] = ()) -> str:
    """The JSON Schema of a file, as it stands in `shared/`. `without`: fields the file doesn't hold."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **model.model_json_schema()}
    schema["properties"] = {key: value for key, value in schema["properties"].items() if key not in without}
    schema["required"] = [key for key in schema["required"] if key not in without]
    return json.dumps(schema, indent=2, ensure_ascii=False, sort_keys=True) + "\n"
