"""Batches prepared before a trip, as a table: read whole, every fault named by line and column, good rows kept.

Pure but for reading the file. What a row says becomes the words of `batch plan`, so the bench judges it once more.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field

from . import tomlfile, units
from .errors import ConfigError
from .tomlfile import Strict, nearest

#: Longest text of a cell.
LONGEST: Final = 100

_NAME = r"^[^\s=]{1,60}$"
_MASS = r"[0-9]{1,9}([.,][0-9]{1,9})? ?(g|kg|t)?"
_COUNT = r"[0-9]{1,9}"
_SEPARATORS: Final = ",;\t"
_ENCODED: Final = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))

Text = Annotated[str, Field(max_length=LONGEST)]


class Row(Strict):
    """One batch: a row of the table. An empty cell says nothing."""

    batch: Annotated[str, Field(pattern=_NAME, description="its name, without blanks and `=`")]
    parent: Annotated[str, Field(description="the batch it is part of: of this table, or known on the bench")] = ""
    kind: Annotated[Text, Field(description="`haul`, `landing`, `box` …")] = ""
    species: Annotated[str, Field(description="of the protocol; empty where it is mixed")] = ""
    selection: Annotated[Text, Field(description="how the animals were chosen")] = ""
    preservation: Annotated[Text, Field(description="`fresh`, `iced`, `frozen` …")] = ""
    presentation: Annotated[Text, Field(description="`whole`, `gutted` …")] = ""
    total_mass: Annotated[
        str,
        Field(pattern=_MASS, description="mass of the whole, with its unit: in the cell, or `total_mass_kg` as head"),
    ] = ""
    sub_mass: Annotated[
        str,
        Field(pattern=f"^({_MASS})?$", description="mass of the part that is worked up, likewise; not above the whole"),
    ] = ""
    counted: Annotated[str, Field(pattern=f"^({_COUNT})?$", description="animals counted and not measured")] = ""


COLUMNS: Final = tuple(Row.model_fields)
_WITH_UNIT: Final = {f"{name}_{unit}": (name, unit) for name in ("total_mass", "sub_mass") for unit in ("g", "kg", "t")}


@dataclass(frozen=True, slots=True)
class Planned:
    """A good row: its line in the file, the batch, and the words that say the rest to `batch plan`."""

    line: int
    batch: str
    parent: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """A table read: its good rows, parents before their parts, and what is wrong with the others."""

    planned: tuple[Planned, ...]
    faults: tuple[str, ...]


def schema_text() -> str:
    """The JSON Schema of a row, as it stands in `shared/batches.schema.json`."""
    return tomlfile.schema_text(Row)


def read_plan(path: Path, species: Collection[str], known: Collection[str]) -> Plan:
    """The batches of a table. `species` are the protocol's, `known` the bench's batches.

    Raises ConfigError with all that is wrong with the file as a whole: encoding, separator, names of columns.
    """
    text = _text(path)
    lines = text.split("\n", 1)
    separator = max(_SEPARATORS, key=lines[0].count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    table = _Table(path, separator, species, known)
    try:
        heads = [head.strip() for head in next(reader, [])]
        table.heads = _columns(path, heads)
        before = reader.line_num
        for cells in reader:
            if any(cell.strip() for cell in cells):
                table.row(before + 1, cells)
            before = reader.line_num
    except csv.Error as error:
        raise ConfigError(
            str(path), [f"{path}:{reader.line_num}: {error}"], "a quotation mark opened and not closed?"
        ) from None
    return table.plan()


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise ConfigError(str(path), [f"{path}: no such file"]) from None
    except OSError as error:
        raise ConfigError(str(path), [f"{path}: can't be read: {error.strerror}"]) from None
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise ConfigError(str(path), [f"{path}: a workbook, not a table of text"], "save it as CSV (UTF-8)")
    encoding = next((name for mark, name in _ENCODED if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise ConfigError(
            str(path), [f"{path}:{line}: not UTF-8 (byte {data[error.start]:#04x})"], "save it as CSV in UTF-8"
        ) from None
    if "\0" in text:
        raise ConfigError(str(path), [f"{path}: not a table of text"], "save it as CSV in UTF-8")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _columns(path: Path, heads: list[str]) -> list[tuple[str, str]]:
    """For each cell of a row its column and, where the head says it, its unit. Raises ConfigError."""
    known = [*COLUMNS, *_WITH_UNIT]
    found = [_WITH_UNIT.get(head, (head, "")) for head in heads]
    faults = [
        f"{path}:1: no column is called {head!r}; {nearest(head, known) or 'see below'}"
        for head in heads
        if head not in known
    ]
    twice = [name for name, n in Counter(name for name, _ in found).items() if n > 1 and name in COLUMNS]
    faults += [f"{path}:1: {name} stands twice" for name in twice]
    if not any(heads):
        faults = [f"{path}: its first line is empty; it must name the columns"]
    elif "batch" not in heads:
        faults.append(f"{path}:1: no column `batch`")
    tomlfile.complain(str(path), faults, f"columns: {', '.join(COLUMNS)}; nothing was recorded")
    return found


class _Table:
    """The rows gone through so far."""

    def __init__(self, path: Path, separator: str, species: Collection[str], known: Collection[str]) -> None:
        self.path, self.separator, self.species, self.known = path, separator, species, known
        self.heads: list[tuple[str, str]] = []
        self.good: dict[str, Planned] = {}
        self.lines: dict[str, list[int]] = {}
        self.faults: list[tuple[int, str]] = []
        self.marks: dict[str, int] = {}
        """Decimal mark → the first line that has it."""

    def row(self, line: int, cells: list[str]) -> None:
        """Take in a row."""
        if len(cells) != len(self.heads):
            fault = f"{len(cells)} cells, but the first line names {len(self.heads)} columns"
            self.faults.append((line, fault + ("; a decimal comma?" if self.separator == "," else "")))
            return
        said = {name: cell.strip() for (name, _), cell in zip(self.heads, cells, strict=True)}
        faults = [f"{name}: {fault}" for name, fault in self._faults_of(line, said)]
        if name := said["batch"]:
            self.lines.setdefault(name, []).append(line)
        if faults:
            self.faults += [(line, fault) for fault in faults]
            return
        pairs = [f"{key}={self._worded(key, unit, said[key])}" for key, unit in self.heads if self._is_pair(key, said)]
        words = (*([said["species"]] if said.get("species") else []), *pairs)
        self.good[name] = Planned(line, name, said.get("parent", ""), words)

    def _is_pair(self, key: str, said: Mapping[str, str]) -> bool:
        return key not in ("batch", "species") and said[key] != ""

    def _worded(self, key: str, unit: str, cell: str) -> str:
        return f"{cell}{unit}".replace(" ", "") if key.endswith("_mass") else cell

    def _faults_of(self, line: int, said: Mapping[str, str]) -> Iterator[tuple[str, str]]:
        """Column and fault of each cell."""
        for name, cell in said.items():
            if name == "batch" and not re.fullmatch(_NAME, cell):
                yield name, f"{cell!r}: a name of 1 to 60 characters without blanks and `=`" if cell else "is empty"
            elif len(cell) > LONGEST:
                yield name, f"longer than {LONGEST} characters"
            elif not cell.isprintable():
                yield name, f"{cell!r}: holds what can't be shown"
            elif name == "species" and cell and cell not in self.species and cell != "unknown":
                yield name, f"there is no species {cell!r} in the protocol; {nearest(cell, self.species)}"
            elif name == "counted" and cell and not re.fullmatch(_COUNT, cell):
                yield name, f"{cell!r} isn't a whole number"
        masses = {}
        for name, unit in self.heads:
            if name.endswith("_mass") and said[name]:
                fault = self._mass_fault(line, said[name], unit)
                if fault is not None:
                    yield name, fault
                else:
                    masses[name] = _grams(self._worded(name, unit, said[name]))
        if "sub_mass" in masses and masses["sub_mass"] > masses.get("total_mass", masses["sub_mass"]):
            yield "sub_mass", "is above total_mass"

    def _mass_fault(self, line: int, cell: str, unit: str) -> str | None:
        if not re.fullmatch(_MASS, cell):
            return f"{cell!r} isn't a mass, as in 12.4 kg"
        if bool(unit) == cell[-1].isalpha():
            return f"{cell!r}: {'its unit stands in the head already' if unit else 'add its unit: g, kg or t'}"
        mark = next((m for m in ",." if m in cell), None)
        if mark == "," and self.separator == ",":
            return f"{cell!r}: where commas stand between cells, numbers take a point"
        if mark is not None:
            first = self.marks.setdefault(mark, line)
            other = self.marks.get("," if mark == "." else ".")
            if other is not None and other <= first:
                return f"{cell!r}: line {other} has the other decimal mark; write all numbers alike"
        return None

    def plan(self) -> Plan:
        """The whole table: what only all rows together show."""
        for name, lines in self.lines.items():
            if len(lines) > 1:
                which = " and ".join(map(str, lines))
                self.faults.append((lines[0], f"batch: {name!r} stands in lines {which}: none of them is taken"))
                self.good.pop(name, None)
        by_lower: dict[str, list[str]] = {}
        for name in {*self.lines, *self.known}:
            by_lower.setdefault(name.lower(), []).append(name)
        for same in by_lower.values():
            for name in sorted(n for n in same if len(same) > 1 and n in self.good):
                other = next(n for n in sorted(same) if n != name)
                fault = f"batch: {name!r} and {other!r} differ by capitals only, and a card has none"
                self.faults.append((self.good.pop(name).line, fault))
        self._without_parents()
        return Plan(
            tuple(self._parents_first()), tuple(f"{self.path}:{line}: {fault}" for line, fault in sorted(self.faults))
        )

    def _without_parents(self) -> None:
        """Rows whose parent isn't there, or is wrong itself, and so on down."""
        there = {*self.good, *self.known}
        while lost := [p for p in self.good.values() if p.parent and (p.parent not in there or p.parent == p.batch)]:
            for row in lost:
                del self.good[row.batch]
                there = {*self.good, *self.known}
                if row.parent == row.batch:
                    fault = "it can't be a part of itself"
                elif row.parent in self.lines:
                    fault = f"the row of {row.parent!r} is wrong"
                else:
                    fault = f"there is no batch {row.parent!r}, here or on the bench; {nearest(row.parent, there)}"
                self.faults.append((row.line, f"parent: {fault.rstrip('; ')}"))

    def _parents_first(self) -> Iterator[Planned]:
        left = dict(self.good)
        while left:
            ready = [p for p in left.values() if p.parent not in left]
            if not ready:
                for row in left.values():
                    self.faults.append((row.line, f"parent: {row.batch!r} would be a part of itself by {row.parent!r}"))
                return
            for row in ready:
                del left[row.batch]
                yield row


def _grams(worded: str) -> Decimal:
    number = worded.rstrip("kgt")
    return units.to_base(Decimal(number.replace(",", ".")), worded[len(number) :])
