"""`thwart model`: species models from past tables, and what they say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product
from math import exp
from pathlib import Path

import click

from ..checks.fit import Fitted, fit_relation
from ..checks.model import RelationPrior, SpeciesModel
from ..checks.numeric import t_quantile
from ..checks.relation import Relation
from ..checks.state import FIRST, Setup, all_pairs
from ..checks.table import Survey, survey, with_fits
from ..errors import NotFound, ThwartError
from ..past.models import load_models, model_text
from ..tomlfile import nearest
from .bars import Bars
from .columns import Source, source_of, table_options, writable

_SHOWN = 12


@click.group(epilog="Example: thwart model show protocol.toml")
def model() -> None:
    """Make species models from past tables, and show them."""


@model.command(
    epilog="Example: thwart model fit catch.csv --species sp --length tl:cm --mass w:g --source 'catch of 2024' --out lake.toml"
)
@table_options
@click.option("--source", "said", metavar="TEXT", help="Where the table comes from; stands with each relation.")
@click.option(
    "--weight",
    type=click.FloatRange(2, 2000),
    metavar="N",
    help="How many of the bench's own fish it counts for (as many as fitted, at most 40).",
)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE.toml", help="Write the models there, not to the screen."
)
@click.option("--plots", type=click.Path(path_type=Path), metavar="DIR", help="Draw plots into this folder.")
def fit(
    table: Path,
    species: str | None,
    lengths: tuple[str, ...],
    masses: tuple[str, ...],
    order: str | None,
    apart: tuple[str, ...],
    model: Path | None,
    said: str | None,
    weight: float | None,
    out: Path | None,
    plots: Path | None,
) -> None:
    """Make species models from a past table.

    For each species and pair of measurands: ln y on ln x, robustly, so that wrong values among the fish do little harm; rows beyond four scatters
    are named. The line is the median; the mean mass at a length is larger by the factor told (back-transformation). The models are TOML:
    tables to copy into a protocol, or a file for --model. What --model has already isn't fitted again.
    """
    source = source_of(table, species, lengths, masses, order, model, apart)
    if plots is not None:
        from ..past.plots import library

        library()
    with Bars("reading", "drawing") as bars:
        surveyed = survey(source.rows(bars), source.layout, source.setup)
        fitted, rows = _fits(surveyed, source.setup, said or f"fitted from {table.name}", weight)
        if not fitted:
            raise ThwartError(
                f"{table}: no species has three fish with two measurands to relate",
                "check --species, --length and --mass",
            )
        text = model_text(fitted, apart)
        if out is not None:
            writable(out).write_text(text, encoding="utf-8")
        else:
            click.echo(text)
        if plots is not None:
            _draw(source, surveyed, fitted, rows, plots, bars)
    for line in [*source.notes, *source.alike(), *_report(fitted, rows, surveyed)]:
        click.echo(line, err=out is None)
    if out is not None:
        click.echo(f"models: {out}")


Rows = Mapping[tuple[str, str, str, str], list[int]]


def _fits(surveyed: Survey, setup: Setup, said: str, weight: float | None) -> tuple[dict[str, list[Fitted]], Rows]:
    """Fits by species, of all its fish and of each group that has enough, and for each the rows of its fish."""
    fitted: dict[str, list[Fitted]] = {}
    rows: dict[tuple[str, str, str, str], list[int]] = {}
    for name, kept in sorted(surveyed.points.items()):
        known = setup.models.get(name)
        points: dict[tuple[str, str, str], list[tuple[float, float, float, float]]] = {}
        for number, fish in kept:
            values = fish.positive()
            for (y, x), group in product(all_pairs(values), sorted({"", fish.group})):
                if known is None or known.prior(y, x, "whole", "fresh", group) is None:
                    a, b = values[y], values[x]
                    points.setdefault((group, y, x), []).append((b.ln, a.ln, b.rounding, a.rounding))
                    rows.setdefault((name, group, y, x), []).append(number)
        fits = [
            fit_relation(y, x, p, said, group=group, weight=weight)
            for (group, y, x), p in sorted(points.items(), key=lambda one: one[0][0])
            if len(p) >= (FIRST if group else 3)
        ]
        if fits:
            fitted[name] = fits
    return fitted, rows


def _report(fitted: Mapping[str, list[Fitted]], rows: Rows, surveyed: Survey) -> Iterator[str]:
    for name, fits in fitted.items():
        for f in fits:
            p = f.prior
            yield (
                f"{name}{p.group and f', {p.group}'}: {_named(p.y)} on {_named(p.x)}, {f.fish} fish: b {p.b:.4g}, scatter {100 * p.scatter:.3g} %; "
                f"median {p.expected(exp(p.ln_centre)):.4g} {p.y_unit} at {exp(p.ln_centre):.4g} {p.x_unit}, mean {f.bias:.4g} times the median"
            )
            if f.free is not None:
                yield f"  the rows alone give b {f.free:.3g}, as no fish has: are columns and units right?"
            far = [rows[name, p.group, p.y, p.x][i] for i in f.far]
            if far:
                more = f" … and {len(far) - _SHOWN} more" if len(far) > _SHOWN else ""
                yield f"  beyond four scatters: row {', '.join(map(str, far[:_SHOWN]))}{more}"
    few = sorted(set(surveyed.seen) - set(fitted))
    if few:
        yield f"too few fish, or no two measurands to relate: {', '.join(few)}"


def _draw(
    source: Source, surveyed: Survey, fitted: Mapping[str, list[Fitted]], rows: Rows, folder: Path, bars: Bars
) -> None:
    from ..checks.table import read_row
    from ..past.plots import Drawn, draw

    marks = {
        rows[n, p.group, p.y, p.x][i]: "far"
        for n, fits in fitted.items()
        for f in fits
        for p in (f.prior,)
        for i in f.far
    }
    setup = with_fits(source.setup, fitted)
    drawn = Drawn()
    for at, row in enumerate(source.rows(bars), 1):
        drawn.add(at, read_row(at, row, source.layout, surveyed.divisions).specimen, setup, at in marks)
    for path in draw(folder, drawn, {source.number(at): cause for at, cause in marks.items()}):
        click.echo(f"plot: {path}", err=True)


@model.command(epilog="Example: thwart model show lake.toml perch")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("species", required=False)
def show(file: Path, species: str | None) -> None:
    """Show what species models say.

    FILE is a protocol or a file of models. For each relation: where it comes from, and what is expected at some sizes with the range that holds
    19 of 20 sound fish before the bench has learned from its own.
    """
    models = load_models(file)
    if species is not None and species not in models:
        raise NotFound(f"{file}: no species {species!r}; {nearest(species, models)}", f"species: {', '.join(models)}")
    for name, one in models.items():
        if species in (None, name):
            for line in _shown(name, one):
                click.echo(line)


def _shown(name: str, one: SpeciesModel) -> Iterator[str]:
    yield name
    for measurand, limits in one.limits.items():
        suspect = f", usual {limits.suspect[0]:g} to {limits.suspect[1]:g}" if limits.suspect else ""
        yield f"  {_named(measurand)}: possible {limits.fail[0]:g} to {limits.fail[1]:g} {limits.unit}{suspect}"
    if one.smallest_mature_mm is not None:
        yield f"  smallest mature: {one.smallest_mature_mm:g} mm ({one.smallest_mature_source or 'no source'})"
    for p in one.relations:
        yield from _of_relation(p)
    if not one.relations:
        yield "  no relations: the bench learns from its first 20 fish"


def _of_relation(p: RelationPrior) -> Iterator[str]:
    fish = f" from {p.fish} fish" if p.fish else ""
    group = f", {p.group}" if p.group else ""
    state = "" if (p.presentation, p.preservation) == ("whole", "fresh") else f" ({p.presentation}, {p.preservation})"
    yield f"  {_named(p.y)} on {_named(p.x)}{group}{state}: b {p.b:.4g}, scatter {100 * p.scatter:.3g} %{fish}, counts for {p.weight:g}"
    yield f"    source: {p.source}"
    relation = Relation.from_prior(p)
    for steps in (-2, -1, 0, 1, 2):
        ln_x = p.ln_centre + steps * p.spread_ln
        expected = relation.predict(ln_x)
        wide = t_quantile(0.975, expected.nu) * expected.scale
        yield (
            f"    at {exp(ln_x):.4g} {'g' if p.x.endswith('_mass') else 'mm'}: {exp(expected.mean):.4g} "
            f"({exp(expected.mean - wide):.4g} to {exp(expected.mean + wide):.4g}) {'g' if p.y.endswith('_mass') else 'mm'}"
        )


def _named(measurand: str) -> str:
    return measurand.replace("_", " ")
