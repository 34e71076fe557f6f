"""A table of fish in a file: CSV of any usual kind, Parquet, or a ledger. Gone through row by row, as often as wanted."""

from __future__ import annotations

import csv
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from datetime import UTC, datetime
from math import isfinite, nan
from pathlib import Path
from typing import Any

from ..errors import ConfigError, NotFound, ThwartError
from ..tomlfile import nearest

Row = Mapping[str, object]
#: Told how many of how many rows are done.
Progress = Callable[[int, int], None]

_DELIMITERS = ";\t,|"
_ENCODINGS = ("utf-8-sig", "cp1252")
_WIDE = (b"\xff\xfe", b"\xfe\xff")
_EVERY = 500
_FIRST_DAY = datetime(1900, 1, 1, tzinfo=UTC)
_BATCH = 2000


class Sheet:
    """A table: its `columns` and, again and again, its rows. `notes` are oddities of the file to tell."""

    def __init__(self, path: Path, columns: Sequence[str], rows: Callable[[], Iterator[Row]], count: int) -> None:
        self.path = path
        self.columns = tuple(columns)
        self.count = count
        self.notes: list[str] = []
        self._rows = rows

    def rows(self, progress: Progress = lambda done, total: None) -> Iterator[Row]:
        """The rows in order."""
        done = 0
        for done, row in enumerate(self._rows(), 1):
            if done % _EVERY == 0:
                progress(done, self.count)
            yield row
        progress(done, max(done, self.count))

    def need(self, names: Sequence[str]) -> None:
        """Raises ConfigError for every column that isn't there, all at once."""
        missing = [n for n in dict.fromkeys(names) if n not in self.columns]
        if missing:
            lines = [f"{self.path}: no column {n!r}; {nearest(n, self.columns) or 'see below'}" for n in missing]
            raise ConfigError(str(self.path), lines, f"columns there: {', '.join(self.columns)}")

    def in_order_of(self, column: str) -> list[int]:
        """The rows (from 0) in order of a column's numbers or ISO dates. Raises ThwartError where one holds none."""
        keys: list[tuple[float, int]] = []
        dated = 0
        for at, row in enumerate(self.rows()):
            text = str(row[column] if row[column] is not None else "").strip().replace(",", ".")
            key, is_date = _place(text)
            dated += is_date
            if not isfinite(key) or dated not in (0, at + 1):
                raise ThwartError(
                    f"{self.path}: row {at + 1}: {column} is {text!r}, no number to put the rows in order by",
                    "leave out --order, or name a column of numbers or of dates as 2024-05-31",
                )
            keys.append((key, at))
        return [at for _, at in sorted(keys)]


def _place(text: str) -> tuple[float, bool]:
    """Where a number or an ISO date (or date and time) puts a row, and whether it is a date; NaN for neither."""
    try:
        return float(text), False
    except ValueError:
        pass
    try:
        return (datetime.fromisoformat(text).replace(tzinfo=UTC) - _FIRST_DAY).total_seconds(), True
    except ValueError:
        return nan, False


def open_sheet(path: Path) -> Sheet:
    """The table in a file, by what it holds. Raises ThwartError where it holds none."""
    if not path.is_file():
        said = "a folder without a ledger" if path.is_dir() else "no such file"
        raise NotFound(f"{path}: {said}", "name a CSV or Parquet file, or a ledger")
    with path.open("rb") as file:
        head = file.read(16)
    try:
        if head.startswith(b"SQLite format 3"):
            return _ledger(path)
        if head.startswith(b"PAR1"):
            return _parquet(path)
        return _csv(path)
    except OSError as error:
        raise ThwartError(f"{path}: can't be read: {error.strerror}", "") from None


# ---- CSV -----------------------------------------------------------------------------------------------------------


def _csv(path: Path) -> Sheet:
    encoding, count = _decodable(path)
    before = 0
    with path.open(encoding=encoding, newline="") as file:
        first = file.readline()
        while first.startswith("#") and not set(first.split(" ")[0]) & set(
            _DELIMITERS
        ):  # what a table is about, before its names
            before += 1
            first = file.readline()
    if not first.strip():
        raise ThwartError(f"{path}: its first line is empty", "the first line must name the columns")
    if "\0" in first:
        raise ThwartError(f"{path}: not a text file", "name a CSV or Parquet file, or a ledger")
    delimiter = max(_DELIMITERS, key=first.count)
    columns = [name.strip() for name in next(csv.reader([first], delimiter=delimiter))]
    twice = sorted({c for c in columns if columns.count(c) > 1 and c})
    if twice:
        raise ThwartError(f"{path}: column {', '.join(map(repr, twice))} stands twice", "give each column its own name")

    def rows() -> Iterator[Row]:
        with path.open(encoding=encoding, newline="") as file:
            for _ in range(before):
                file.readline()
            reader = csv.reader(file, delimiter=delimiter)
            next(reader)
            try:
                for cells in reader:
                    if cells:  # an empty line is no row
                        yield dict(zip(columns, [*cells, *[None] * (len(columns) - len(cells))], strict=False))
            except csv.Error as error:
                raise ThwartError(f"{path}: line {reader.line_num}: {error}", "is it a CSV file?") from None

    sheet = Sheet(path, columns, rows, count - before)
    if before:
        sheet.notes.append(f"{before} line{'' if before == 1 else 's'} of # before the names of the columns left out")
    if encoding != "utf-8-sig":
        sheet.notes.append(f"not UTF-8: read as {encoding}")
    return sheet


def _decodable(path: Path) -> tuple[str, int]:
    """The first usual encoding that reads the whole file, and how many lines come after the first."""
    with path.open("rb") as raw:
        wide = raw.read(2) in _WIDE
    for encoding in ("utf-16",) if wide else _ENCODINGS:
        try:
            with path.open(encoding=encoding, newline="") as file:
                return encoding, max(0, sum(1 for _ in file) - 1)
        except UnicodeDecodeError:
            continue
    raise ThwartError(f"{path}: neither UTF-8 nor {_ENCODINGS[-1]}", "save it as UTF-8")


# ---- Parquet -------------------------------------------------------------------------------------------------------


def _parquet(path: Path) -> Sheet:
    try:
        from pyarrow import ArrowException, parquet
    except ImportError:
        raise ThwartError(
            f"{path}: Parquet needs pyarrow, which isn't installed",
            "pip install 'thwart[parquet]', or save the table as CSV",
        ) from None

    try:
        about = parquet.ParquetFile(path)
    except ArrowException as error:
        raise ThwartError(f"{path}: not a whole Parquet file: {error}", "") from None

    def rows() -> Iterator[Row]:
        for batch in parquet.ParquetFile(path).iter_batches(batch_size=_BATCH):
            yield from batch.to_pylist()

    return Sheet(path, about.schema_arrow.names, rows, about.metadata.num_rows)


# ---- a ledger ------------------------------------------------------------------------------------------------------


def _ledger(path: Path) -> Sheet:
    """The view `specimens` of a ledger in the order in which fish were opened, and no others than closed ones."""
    query = "SELECT * FROM specimens WHERE state = 'closed' AND \"end\" NOT IN ('void', 'same-as') ORDER BY number"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)

    try:
        with closing(connect()) as db:
            columns = [str(d[0]) for d in db.execute(f"{query} LIMIT 0").description]
            (count,) = db.execute(f"SELECT count(*) FROM ({query})").fetchone()
    except sqlite3.Error as error:
        raise ThwartError(f"{path}: not a ledger with specimens: {error}", "see `thwart audit`") from None

    def rows() -> Iterator[Row]:
        with closing(connect()) as db:
            for row in db.execute(query):
                yield dict(zip(columns, row, strict=True))

    return Sheet(path, columns, rows, int(count))


def is_ledger(path: Path) -> bool:
    """Whether a file is a database, so that its columns are known."""
    with path.open("rb") as file:
        return file.read(15) == b"SQLite format 3"


def ledger_measurands(columns: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Measurand → column and unit, from the columns of `specimens`."""
    known = ("total_length", "fork_length", "standard_length", "whole_mass", "gutted_mass", "gonad_mass", "liver_mass")
    units: dict[str, Any] = {"_length": "mm", "_mass": "g"}
    out = {}
    for name in known:
        unit = units[name[name.rindex("_") :]]
        if f"{name}_{unit}" in columns:
            out[name] = (f"{name}_{unit}", unit)
    return out
