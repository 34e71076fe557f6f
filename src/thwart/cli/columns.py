"""The options that say what a past table's columns hold, shared by `thwart check` and `thwart model fit`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import click

from ..checks.model import SpeciesModel
from ..checks.state import Setup
from ..checks.table import Column, Layout
from ..errors import ThwartError
from ..past.models import known_as, load_models, load_species
from ..past.sheet import Progress, Row, Sheet, is_ledger, ledger_measurands, open_sheet
from ..units import quantity_of, ucum

F = TypeVar("F", bound=Callable[..., Any])

_LENGTHS = ("total", "fork", "standard")
_MASSES = ("whole", "gutted", "gonad", "liver")


def table_options(command: F) -> F:
    """TABLE and what its columns hold."""
    for option in reversed((
        click.argument("table", type=click.Path(path_type=Path)),
        click.option("--species", metavar="COL|NAME", help="The column of species, or the species of all rows."),
        click.option("--length", "lengths", multiple=True, metavar="COL:UNIT[:total|fork|standard]",
                     help="A column of lengths, its unit, and which length (total)."),
        click.option("--mass", "masses", multiple=True, metavar="COL:UNIT[:whole|gutted|gonad|liver]",
                     help="A column of masses, its unit, and which mass (whole)."),
        click.option("--order", metavar="COL|rows", help="A column of numbers in the order the fish were handled, or `rows` where they stand so."),
        click.option("--apart", multiple=True, metavar="COL",
                     help="A column (sex) by which each species' fish are kept apart where there are 20 of each."),
        click.option("--model", "model", type=click.Path(path_type=Path), metavar="FILE",
                     help="A protocol, or a file of `thwart model fit`, with species models."),
    )):  # fmt: skip
        command = option(command)
    return command


@dataclass
class Source:
    """A table with what its columns hold, the models for it, and what should be told about either."""

    sheet: Sheet
    layout: Layout
    setup: Setup
    notes: list[str]
    order: list[int] | None = None
    """The rows (from 0) in the order in which they are gone through; None: as they stand."""
    names: dict[str, str] = field(default_factory=dict)
    """What a species may be called, in small letters → its name in the models, or as the table wrote it first."""
    spellings: dict[str, set[str]] = field(default_factory=dict)

    def rows(self, progress: Progress = lambda done, total: None) -> Iterator[Row]:
        """The rows in the order in which they are checked, their species named as the models name them."""
        if self.order is None:
            yield from map(self._named, self.sheet.rows(progress))
            return
        columns = [c.column for c in self.layout.measurands.values()]
        columns += [self.layout.species] if self.layout.species else []
        columns += [self.layout.mature[0]] if self.layout.mature else []
        columns += self.layout.apart
        held = [{c: row[c] for c in columns} for row in self.sheet.rows()]
        for done, at in enumerate(self.order, 1):
            progress(done, len(self.order))
            yield self._named(held[at])

    def number(self, row: int) -> int:
        """The data row (from 1) of the file that is the `row`-th in order."""
        return row if self.order is None else self.order[row - 1] + 1

    def _named(self, row: Row) -> Row:
        column = self.layout.species
        if not column:
            return row
        said = str(row[column] or "").strip()
        name = self.names.setdefault(said.casefold(), said)
        if name != said and name not in self.setup.models:
            self.spellings.setdefault(name, set()).add(said)
        return row if name == row[column] else {**row, column: name}

    def alike(self) -> Iterator[str]:
        """Which species were written in several ways, once the rows were gone through."""
        for name, others in sorted(self.spellings.items()):
            yield f"taken for {name}: {', '.join(sorted(others))}"


def source_of(
    table: Path,
    species: str | None,
    lengths: Sequence[str],
    masses: Sequence[str],
    order: str | None,
    model: Path | None,
    apart: Sequence[str] = (),
    mature: str | None = None,
) -> Source:
    """The table and its layout. Raises ThwartError and click.UsageError with what is wrong in it."""
    if (table / "ledger.db").is_file():
        table = table / "ledger.db"
    sheet = open_sheet(table)
    notes = list(sheet.notes)
    measurands = _measurands(lengths, masses)
    ledger = is_ledger(table)
    if ledger and not measurands:
        measurands = {m: Column(*at) for m, at in ledger_measurands(sheet.columns).items()}
    if not measurands:
        raise click.UsageError(
            f"say what is measured: --length COL:UNIT, --mass COL:UNIT; columns: {', '.join(sheet.columns)}"
        )
    if ledger and species is None:
        species = "species"
    if species is None:
        raise click.UsageError(f"say which species: --species COL or NAME; columns: {', '.join(sheet.columns)}")
    sheet.need([*(c.column for c in measurands.values()), *apart])
    if len(measurands) == 1:
        notes.append(
            "one measurand only: with no other to compare it with, limits and factors of ten are all that can be seen"
        )
    column = species if species in sheet.columns else ""
    models: dict[str, SpeciesModel] = {}
    names: dict[str, str] = {}
    if model is not None:
        models, names = load_models(model), known_as(load_species(model))
    name = "" if column else names.get(species.casefold(), species)
    if not column:
        notes.append(f"no column {species!r}: every row is taken for {name}")
    if ledger and order is None:
        order = "rows"
    perm = None
    if order is not None and order != "rows":
        sheet.need([order])
        perm = sheet.in_order_of(order)
        if perm == list(range(len(perm))):
            perm = None
    layout = Layout(measurands, column, name, order is not None, _mature(mature, sheet), tuple(apart))
    if not apart and (fields := sorted({one for m in models.values() for one in m.apart})):
        notes.append(
            f"the models keep fish apart by {', '.join(fields)}, and no --apart names a column: they are judged together"
        )
    return Source(sheet, layout, Setup(models), notes, perm, names)


def _measurands(lengths: Sequence[str], masses: Sequence[str]) -> dict[str, Column]:
    out: dict[str, Column] = {}
    for texts, quantity, kinds in ((lengths, "length", _LENGTHS), (masses, "mass", _MASSES)):
        for text in texts:
            column, unit, kind = _parts(text, quantity, kinds)
            measurand = f"{kind}_{quantity}"
            if measurand in out:
                raise click.UsageError(f"--{quantity} {text}: {measurand.replace('_', ' ')} is given twice")
            out[measurand] = Column(column, unit)
    return out


def _parts(text: str, quantity: str, kinds: Sequence[str]) -> tuple[str, str, str]:
    words = text.split(":")
    kind = words.pop() if len(words) > 2 and words[-1] in kinds else kinds[0]
    column, _, written = ":".join(words).rpartition(":")
    unit = ucum(written)
    if not column or unit is None or quantity_of(unit) != quantity:
        units = "mm, cm, m, in" if quantity == "length" else "g, kg, mg, lb, oz"
        raise click.UsageError(
            f"--{quantity} {text}: expected COL:UNIT[:{'|'.join(kinds)}], as in length:{units.split(',')[0]}; units: {units}"
        )
    return column, unit, kind


def _mature(text: str | None, sheet: Sheet) -> tuple[str, frozenset[str]] | None:
    if text is None:
        return None
    column, _, codes = text.rpartition(":")
    said = frozenset(code.strip().casefold() for code in codes.split(",") if code.strip())
    if not column or not said:
        raise click.UsageError(f"--mature {text}: expected COL:CODE,CODE, as in maturity:3,4,5")
    sheet.need([column])
    return column, said


def writable(path: Path) -> Path:
    """A file to write that isn't there yet. Raises ThwartError."""
    if path.exists():
        raise ThwartError(f"{path} is there already", "name a new file, or remove it first")
    if not path.absolute().parent.is_dir():
        raise ThwartError(f"{path.parent}: no such folder", "make it first")
    return path
