"""Plots of a checked table, as PNG files: mass on length with the findings marked, residuals in order, last digits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field
from math import log
from pathlib import Path
from typing import Any

from ..checks.heaping import last_digit
from ..checks.numeric import antilog
from ..checks.relation import Relation
from ..checks.specimen import Specimen
from ..checks.state import MASSES, Setup, State, root_of
from ..errors import ThwartError

#: Points drawn per species: of larger tables every second, fourth … row, and every row with a finding.
MOST = 5000
_DIGITS_FROM = 30
#: Crosses with their row and cause beside them.
_NAMED = 25


@dataclass
class Drawn:
    """What is drawn: per species (row, mm, g, residual in scatters); last digits per measurand."""

    points: dict[str, list[tuple[int, float, float, float]]] = field(default_factory=dict)
    names: dict[str, tuple[str, str]] = field(default_factory=dict)
    digits: dict[str, list[int]] = field(default_factory=dict)
    every: dict[str, int] = field(default_factory=dict)
    relations: dict[str, Relation] = field(default_factory=dict)

    def add(self, row: int, fish: Specimen, setup: Setup, marked: bool) -> None:
        """Take in a row."""
        values = fish.positive()
        for name, value in values.items():
            digit = last_digit(value)
            if digit is not None:
                self.digits.setdefault(name, [0] * 10)[digit] += 1
        root = root_of(values)
        mass = next((m for m in MASSES if m in values), None)
        if root is None or mass is None or not fish.species:
            return
        every = self.every.setdefault(fish.species, 1)
        if row % every and not marked:
            return
        self.relations[fish.species] = State().relation(setup, fish.kind, mass, root)
        own = State().relation(setup, fish.kind, mass, root, fish.group)
        expected = own.predict(values[root].ln)
        away = (values[mass].ln - expected.mean) / expected.scale
        kept = self.points.setdefault(fish.species, [])
        self.names[fish.species] = (root, mass)
        kept.append((row, values[root].value, values[mass].value, away))
        if len(kept) >= 2 * MOST:
            del kept[::2]
            self.every[fish.species] = 2 * every


def library() -> Any:
    """matplotlib, drawing to files only. Raises ThwartError where it isn't installed."""
    try:
        import matplotlib
    except ImportError:
        raise ThwartError(
            "plots need matplotlib, which isn't installed", "pip install 'thwart[plots]', or leave out --plots"
        ) from None
    matplotlib.use("Agg")
    from matplotlib import pyplot

    return pyplot


def draw(folder: Path, drawn: Drawn, marks: Mapping[int, str]) -> list[Path]:
    """Draw everything into a folder; `marks` are rows with findings and their causes. Returns the files."""
    pyplot = library()
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for species, points in sorted(drawn.points.items()):
        name = "".join(c if c.isalnum() else "-" for c in species)
        root, mass = drawn.names[species]
        line = drawn.relations[species]
        made.append(_relation(pyplot, folder / f"relation-{name}.png", species, points, marks, root, mass, line))
        made.append(_residuals(pyplot, folder / f"residuals-{name}.png", species, points, marks))
    for measurand, counts in sorted(drawn.digits.items()):
        if sum(counts) >= _DIGITS_FROM:
            made.append(_digits(pyplot, folder / f"digits-{measurand}.png", measurand, counts))
    return made


def _relation(
    pyplot: Any,
    path: Path,
    species: str,
    points: Sequence[Any],
    marks: Mapping[int, str],
    root: str,
    mass: str,
    relation: Relation,
) -> Path:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    figure, axes = pyplot.subplots(figsize=(8, 6))
    _scatter(axes, [(row, mm, g) for row, mm, g, _ in points], marks, _farthest(points, marks))
    ends = [min(mm for _, mm, _, _ in points), max(mm for _, mm, _, _ in points)]
    axes.plot(ends, [antilog(relation.predict(log(mm)).mean) for mm in ends], color="C0", linewidth=1, zorder=0)
    axes.set(xscale="log", yscale="log", xlabel=f"{root.replace('_', ' ')}, mm", ylabel=f"{mass.replace('_', ' ')}, g")
    axes.set_title(f"{species}: {len(points)} fish and the line they are compared with")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())
    return _save(pyplot, figure, path)


def _residuals(pyplot: Any, path: Path, species: str, points: Sequence[Any], marks: Mapping[int, str]) -> Path:
    figure, axes = pyplot.subplots(figsize=(8, 4))
    in_order = [(row, row, min(max(away, -8.0), 8.0)) for row, _, _, away in points]
    _scatter(axes, in_order, marks, _farthest(points, marks))
    axes.axhline(0.0, color="0.5", linewidth=1)
    axes.set(
        xlabel="row", ylabel="residual of ln mass, in scatters (±8 at most)", title=f"{species}: residuals in order"
    )
    return _save(pyplot, figure, path)


def _farthest(points: Sequence[Any], marks: Mapping[int, str]) -> set[int]:
    """The marked rows with a name beside them: those farthest from the line, as many as can be read."""
    odd = sorted((-abs(away), row) for row, _, _, away in points if row in marks)
    return {row for _, row in odd[:_NAMED]}


def _scatter(axes: Any, points: Sequence[tuple[int, float, float]], marks: Mapping[int, str], named: Set[int]) -> None:
    """Points, those of `marks` as crosses; what `named` holds is written beside its cross."""
    plain = [(x, y) for row, x, y in points if row not in marks]
    odd = [(row, x, y) for row, x, y in points if row in marks]
    axes.scatter([x for x, _ in plain], [y for _, y in plain], s=8, color="0.4")
    axes.scatter([x for _, x, _ in odd], [y for _, _, y in odd], s=28, marker="x", color="C3")
    for row, x, y in odd:
        if row not in named:
            continue
        axes.annotate(
            f"{row} {marks[row].replace('_', ' ')}", (x, y), fontsize=7, xytext=(3, 3), textcoords="offset points"
        )


def _digits(pyplot: Any, path: Path, measurand: str, counts: Sequence[int]) -> Path:
    figure, axes = pyplot.subplots(figsize=(6, 4))
    axes.bar(range(10), counts, color="0.4")
    axes.axhline(sum(counts) / 10, color="C3", linewidth=1)
    axes.set(
        xticks=range(10), xlabel="last digit", ylabel="values", title=f"{measurand.replace('_', ' ')}: last digits"
    )
    return _save(pyplot, figure, path)


def _save(pyplot: Any, figure: Any, path: Path) -> Path:
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    pyplot.close(figure)
    return path
