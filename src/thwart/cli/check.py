"""`thwart check`: the bench's checks over a past table."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import click

from ..checks.finding import Finding
from ..checks.flags import Verdict
from ..checks.table import RowFinding, Survey, findings, rationed, read_row, summary_lines, survey
from .bars import Bars
from .columns import Source, source_of, table_options, writable

COLUMNS = ("row", "measurand", "verdict", "cause", "probability", "runner_up", "text")
_SHOWN = 20
#: What says something of many rows at once, and never asks.
_SUMS = ("heaping",)
_VERDICTS = {2: "not evaluated", 3: "suspect", 4: "impossible or unreadable"}


@click.command(
    epilog="Example: thwart check catch.csv --species sp --length tl:cm --length fl:cm:fork --mass w:g --out findings.csv"
)
@table_options
@click.option(
    "--mature",
    metavar="COL:CODE,…",
    help="The column of maturity and its codes that say mature, held against the smallest mature of --model.",
)
@click.option(
    "--quiet-list", "quiet", is_flag=True, help="Also what the bench would put onto its quiet list without asking."
)
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write the findings there.")
@click.option("--plots", type=click.Path(path_type=Path), metavar="DIR", help="Draw plots into this folder.")
def check(
    table: Path,
    species: str | None,
    lengths: tuple[str, ...],
    masses: tuple[str, ...],
    order: str | None,
    apart: tuple[str, ...],
    mature: str | None,
    model: Path | None,
    quiet: bool,
    out: Path | None,
    plots: Path | None,
) -> None:
    """Run the bench's checks over a past table.

    TABLE is a CSV file (any usual delimiter, decimal points or commas), a Parquet file, a ledger or a bench folder. Nothing in it is
    changed. Where --model has no relation for a species, one is fitted robustly from the table itself, and that is said. Tests that look at
    fish in their order (slips, exchanged pairs, drift, heaped digits …) run with --order only. Rows are counted from 1 without the line of names.
    """
    source = source_of(table, species, lengths, masses, order, model, apart, mature)
    drawing = None
    if plots is not None:
        from ..past.plots import Drawn, library

        library()
        drawing = Drawn()
    worst: list[RowFinding] = []
    total: Counter[tuple[int, str]] = Counter()
    untold: list[str] = []
    faint = 0
    with ExitStack() as stack:
        write = None
        if out is not None:
            write = csv.writer(stack.enter_context(writable(out).open("w", encoding="utf-8", newline="")))
            write.writerow(COLUMNS)
        bars = stack.enter_context(Bars("reading", "checking", "drawing"))
        surveyed = survey(source.rows(bars), source.layout, source.setup)
        ration = rationed(source.setup, surveyed)
        marks: dict[int, str] = {}
        for one in findings(source.rows(bars), source.layout, source.setup, surveyed, ration, source.number):
            f = one.finding
            if f.verdict == Verdict.SUSPECT and f.tail < 1.0 and not f.asks and f.cause not in _SUMS and not quiet:
                faint += 1
                continue
            total[f.verdict, f.cause] += 1
            if f.cause == "no_model":
                untold.append(one.species or "(none)")
            if f.verdict > 2:
                marks.setdefault(one.row, f.cause)
                worst.append(one)
                if len(worst) > 10 * _SHOWN:
                    worst = _worst(worst)
            if write is not None:
                write.writerow([one.row, f.measurand, int(f.verdict), f.cause, f.probability, f.runner_up, f.text])
        if drawing is not None:
            _gather(source, surveyed, drawing, marks, bars)
    for line in _summary(source, surveyed, total, _worst(worst)):
        click.echo(line)
    if faint:
        them = "1 row is" if faint == 1 else f"{faint} rows are"
        click.echo(
            f"{them} a little odd, and would not be asked about: --quiet-list lists {'it' if faint == 1 else 'them'}"
        )
    if ration.bend < 0.0:
        share = f"{100 * ration.threshold():.2g} %"
        click.echo(
            f"these fish scatter widely: listed is what less than {share} should exceed, so that 1 sound row in 50 is"
        )
    if untold:
        click.echo(f"not judged, for want of a model and of fish to fit one from: {', '.join(sorted(set(untold)))}")
    if out is not None:
        click.echo(f"findings: {out}")
    if drawing is not None and plots is not None:
        from ..past.plots import draw

        for path in draw(plots, drawing, marks):
            click.echo(f"plot: {path}")


def _worst(found: list[RowFinding]) -> list[RowFinding]:
    """The surest errors of what was found, surest first: what can't be, then by how probably all is as measured."""

    def doubt(f: Finding) -> float:
        return f.sound if f.tail < 1.0 else 1.0 - f.probability

    return sorted(found, key=lambda one: (-one.finding.verdict, doubt(one.finding), one.row))[:_SHOWN]


def _gather(source: Source, surveyed: Survey, drawing: Any, marks: dict[int, str], bars: Bars) -> None:
    from ..checks.table import with_fits

    setup = with_fits(source.setup, surveyed.fitted)
    for at, row in enumerate(source.rows(bars), 1):
        number = source.number(at)
        fish = read_row(number, row, source.layout, surveyed.divisions).specimen
        drawing.add(number, fish, setup, number in marks)


def _summary(
    source: Source, surveyed: Survey, total: Counter[tuple[int, str]], found: Iterable[RowFinding]
) -> Iterable[str]:
    sheet = source.sheet
    yield f"{sheet.path}: {surveyed.rows} row{'' if surveyed.rows == 1 else 's'}" + (
        "" if surveyed.rows else ": nothing to check"
    )
    yield from source.notes
    yield from source.alike()
    if source.layout.species:
        kinds = [f"{name or '(none)'} {seen}" for name, seen in sorted(surveyed.every_row.items())]
        yield f"species: {', '.join(kinds)}" if kinds else "species: none"
    yield from summary_lines(surveyed)
    if surveyed.missing:
        yield "empty: " + ", ".join(f"{m.replace('_', ' ')} {n}" for m, n in sorted(surveyed.missing.items()))
    shown = sum(n for (verdict, _), n in total.items() if verdict > 2)
    if shown > _SHOWN:
        yield f"the {_SHOWN} surest of {shown} findings:"
    for one in found:
        species = f" ({one.species})" if one.species and source.layout.species else ""
        yield f"row {one.row}{species}: {one.finding.text}"
    for verdict, said in sorted(_VERDICTS.items(), reverse=True):
        causes = {cause: n for (v, cause), n in total.items() if v == verdict}
        if causes:
            listed = ", ".join(f"{cause} {n}" for cause, n in sorted(causes.items(), key=lambda c: -c[1]))
            yield f"{sum(causes.values())} {said} (verdict {verdict}): {listed}"
    if not total:
        yield "nothing found"
