"""The same checks over a past table: rows of text in, findings out, nothing kept but a sample for the fits. Pure.

The table is gone through twice: `survey` collects per species what a model is fitted from where the protocol has none,
and the step in which each of its columns is written; `findings` judges row after row, with the ration that `rationed` found on the sample. A row is never used to judge itself in
species of up to `LEAVE_OUT` fish; in larger ones one fish moves nothing.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import exp, isfinite, log
from operator import itemgetter
from typing import Literal

from thwart.units import quantity_of, ucum

from .finding import Finding
from .fit import Fitted, fit_relation
from .flags import Verdict
from .judge import asks_at, judge
from .model import LENGTHS, SpeciesModel, factor
from .numeric import six
from .ration import LEAST, Ration
from .relation import MEMORY, Sizes
from .sequence import Sequence, follow, heavier
from .specimen import Specimen, Value, kin
from .state import FIRST, Learned, Setup, State, all_pairs, mass_of, root_of
from .words import ADVICE, named, phrase

#: Fish kept per species for a fit; of larger species every second, fourth … row.
SAMPLE = 4000
LEAVE_OUT = 60
#: Fish before one that it is compared with.
_NEAR = 3
#: Of large samples every second, third … so many fish in a row are judged for the ration.
_BLOCK = 20
#: Sound fish that may be asked about beyond the share, so that one odd fish in thirty bends nothing.
_GRACE = 0.5
_UNBENT = Ration()
#: Share of a species' values in a column that must be multiples of a step for it to be the division there.
_MOST = 0.95
_STEPS = (100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.001)
_NUMBER = re.compile(r"([+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)(?:\s*([A-Za-z\"]+))?")

_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:(?:,\d{3})+\.|(?:\.\d{3})+,)\d")
#: What people write into a cell that has no value; no length or mass is below zero, so nines with a minus are such.
_MISSING = frozenset((
    "", "na", "n/a", "#n/a", "<na>", "n.a.", "nan", "nd", "n.d.", "null", "none", "missing", "unknown", ".", "..", "?", "*", "-", "--",
    *(f"-{nines}{end}" for nines in ("9", "99", "999", "9999", "99999") for end in ("", ".0")),
))  # fmt: skip

#: What programs write where a row has no species.
_NOBODY = frozenset(("NA", "<NA>", "NaN", "nan", "None", "NULL", "?", "-", "."))

Row = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Column:
    """Which column holds a measurand, and its unit (UCUM code)."""

    column: str
    unit: str


@dataclass(frozen=True)
class Layout:
    """Where a table's rows say what.

    `species` names a column, or `name` is the species of all rows; `measurands` maps a measurand to its column;
    `order` is whether the rows stand in the order the fish were handled, so that sequence tests make sense; `mature` the
    column of maturity and its codes (in any case) that say mature; `apart` columns by which the fish of a species are kept
    apart (sex).
    """

    measurands: Mapping[str, Column]
    species: str = ""
    name: str = ""
    order: bool = False
    mature: tuple[str, frozenset[str]] | None = None
    apart: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Read:
    """One row read: the specimen, what could not be read (measurand → text), what is empty."""

    specimen: Specimen
    unreadable: Mapping[str, str]
    missing: tuple[str, ...]


@dataclass
class Survey:
    """What the first pass learned of a table: rows by species (`every_row`), empty cells by measurand (`missing`) …"""

    rows: int = 0
    every_row: dict[str, int] = field(default_factory=dict)
    missing: dict[str, int] = field(default_factory=dict)
    points: dict[str, list[tuple[int, Specimen]]] = field(default_factory=dict)
    every: dict[str, int] = field(default_factory=dict)
    seen: dict[str, int] = field(default_factory=dict)
    sizes: dict[str, dict[str, Sizes]] = field(default_factory=dict)
    divisions: dict[tuple[str, str], float] = field(default_factory=dict)
    fitted: dict[str, list[Fitted]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RowFinding:
    """A finding on a row (its number) and the species it was recorded as."""

    row: int
    species: str
    finding: Finding


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell's number, its digits, the unit written in it (UCUM code, or empty), and what is wrong with it."""

    value: float | None
    text: str = ""
    unit: str = ""
    wrong: Literal["", "missing", "unreadable"] = ""


def parse_cell(cell: object) -> Cell:
    """What is in a cell: see `parse_text`; numbers of a typed table are what they are."""
    if isinstance(cell, str):
        return parse_text(cell)
    if cell is None or (isinstance(cell, float) and cell != cell):
        return Cell(None, wrong="missing")
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return parse_text(f"{cell:.10g}")
    return parse_text(str(cell))


@lru_cache(maxsize=50_000)  # the same few lengths and masses come again and again
def parse_text(text: str) -> Cell:
    """A number with a decimal point or a decimal comma, with or without a unit after it. A mark of thousands is one only
    where the other mark follows it, as in 1,250.5 or 1.250,5."""
    text = text.strip()
    if text.lower() in _MISSING:
        return Cell(None, wrong="missing")
    if _THOUSANDS.match(text):
        point = max(text.rfind("."), text.rfind(","))
        text = re.sub("[.,]", "", text[:point]) + text[point:]
    found = _NUMBER.fullmatch(text)
    unit = ucum(found[2]) if found and found[2] else ""
    if not found or unit is None:
        return Cell(None, text, wrong="unreadable")
    plain = found[1].replace(",", ".")
    value = float(plain)
    return Cell(value, plain, unit) if isfinite(value) else Cell(None, text, wrong="unreadable")


_one = lru_cache(maxsize=None)(factor)
#: Units whose code nobody writes.
_WRITTEN = {"[in_i]": "in", "[ft_i]": "ft", "[lb_av]": "lb", "[oz_av]": "oz"}


def read_row(number: int, row: Row, layout: Layout, divisions: Mapping[tuple[str, str], float]) -> Read:
    """One row as the specimen `number`. Raises KeyError for a column that isn't there."""
    species = layout.name
    if layout.species:
        species = str(row[layout.species] if row[layout.species] is not None else "").strip()
        if species in _NOBODY:
            species = ""
    values, unreadable, missing = {}, {}, []
    for measurand, at in layout.measurands.items():
        cell = parse_cell(row[at.column])
        if cell.wrong == "missing":
            missing.append(measurand)
        elif cell.value is None or (cell.unit and quantity_of(cell.unit) != quantity_of(at.unit)):
            unreadable[measurand] = str(row[at.column]).strip()
        else:
            division, unit = divisions.get((species, measurand), 0.0), cell.unit or at.unit
            one, text = _one(unit), cell.text
            if division >= one and "." in text:  # a 36.0 among whole numbers is a program's, nobody wrote the 0
                text = text.rstrip("0").rstrip(".")
            values[measurand] = Value(cell.value * one, text, division, unit=_WRITTEN.get(unit, unit))
    mature = None
    if layout.mature is not None:
        column, codes = layout.mature
        mature = str(row[column] if row[column] is not None else "").strip().casefold() in codes
    fish = Specimen(str(number), species, values, mature=mature, group=_group(row, layout))
    return Read(fish, unreadable, tuple(missing))


def _group(row: Row, layout: Layout) -> str:
    words = [str(row[column] if row[column] is not None else "").strip() for column in layout.apart]
    return "" if any(word.lower() in _MISSING for word in words) else ",".join(words)


def survey(rows: Iterable[Row], layout: Layout, setup: Setup) -> Survey:
    """The first pass: samples per species, divisions per species and column, fits where `setup` has no relation."""
    out = Survey()
    for number, row in enumerate(rows, 1):
        out.rows = number
        read = read_row(number, row, layout, {})
        species = read.specimen.species
        out.every_row[species] = out.every_row.get(species, 0) + 1
        for measurand in read.missing:
            out.missing[measurand] = out.missing.get(measurand, 0) + 1
        sizes = out.sizes.setdefault(species, {})
        for measurand, value in read.specimen.positive().items():
            if measurand in LENGTHS:
                sizes[measurand] = sizes.get(measurand, Sizes()).learn(value.ln)
        if not species or len(read.specimen.positive()) < 2:
            continue
        seen = out.seen[species] = out.seen.get(species, 0) + 1
        every = out.every.setdefault(species, 1)
        if seen % every == 0:
            kept = out.points.setdefault(species, [])
            kept.append((number, read.specimen))
            if len(kept) >= SAMPLE:
                del kept[::2]
                out.every[species] = 2 * every
    for species, kept in out.points.items():
        for measurand, at in layout.measurands.items():
            one = factor(at.unit)
            seen_values = [v.value / one for _, s in kept if (v := s.positive().get(measurand))]
            out.divisions[species, measurand] = step_of(seen_values) * one
        kept[:] = [(n, _divided(s, out.divisions)) for n, s in kept]
        fits = _fits([s for _, s in kept], setup.models.get(species))
        if fits:
            out.fitted[species] = fits
    return out


def _divided(fish: Specimen, divisions: Mapping[tuple[str, str], float]) -> Specimen:
    values = {m: replace(v, division=divisions[fish.species, m]) for m, v in fish.values.items()}
    return Specimen(fish.number, fish.species, values, group=fish.group)


def step_of(values: list[float]) -> float:
    """The largest step (in the values' own unit) nearly all values are multiples of; 0 for none."""
    for step in _STEPS:
        if values and sum(abs(v / step - round(v / step)) < 1e-6 for v in values) >= _MOST * len(values):
            return step
    return 0.0


def _fits(fish: list[Specimen], model: SpeciesModel | None) -> list[Fitted]:
    """Fits of all relations the species model lacks and these fish can give: from three on, of groups from `FIRST` on."""
    fits = _fits_of(fish, model, "", 3)
    for group in sorted({one.group for one in fish} - {""}):
        fits += _fits_of([one for one in fish if one.group == group], model, group, FIRST)
    return fits


def _fits_of(fish: list[Specimen], model: SpeciesModel | None, group: str, least: int) -> list[Fitted]:
    points: dict[tuple[str, str], list[tuple[float, float, float, float]]] = {}
    for one in fish:
        values = one.positive()
        for y, x in all_pairs(values):
            a, b = values[y], values[x]
            points.setdefault((y, x), []).append((b.ln, a.ln, b.rounding, a.rounding))
    source = "fitted from this table"
    return [
        fit_relation(y, x, pairs, source, group=group, weight=min(float(len(pairs)), MEMORY))
        for (y, x), pairs in points.items()
        if len(pairs) >= least and not (model and model.prior(y, x, "whole", "fresh", group))
    ]


def with_fits(setup: Setup, fitted: Mapping[str, list[Fitted]]) -> Setup:
    """The setup with fitted relations among those of its models."""
    models = dict(setup.models)
    for species, fits in fitted.items():
        model = models.get(species, SpeciesModel())
        models[species] = model.model_copy(update={"relations": (*model.relations, *(f.prior for f in fits))})
    return replace(setup, models=models, _begun={})


def rationed(setup: Setup, surveyed: Survey) -> Ration:
    """The ration with which no more than the wanted share of sound fish is asked about, as the bench would have found it.

    Real fish scatter more widely than the model says; what each of the sample asks at, and how probably it is sound all
    the same, gives the threshold. It is never above the wanted share, since few odd fish are no reason to doubt more.
    """
    whole = with_fits(setup, surveyed.fitted)
    state = _state(surveyed)
    sample = sorted((pair for kept in surveyed.points.values() for pair in kept), key=itemgetter(0))
    before: deque[tuple[int, Specimen]] = deque(maxlen=_NEAR)
    levels: list[tuple[float, float]] = []
    judged = 0
    every = 1 + len(sample) // SAMPLE
    for at, (number, fish) in enumerate(sample):
        near = [one for n, one in before if n >= number - _NEAR]
        before.append((number, fish))
        if at // _BLOCK % every or not (
            asked := asks_at(fish, near, state, _without(number, fish, setup, whole, surveyed))
        ):
            continue
        judged += 1
        if asked[0] < 1.0:
            levels.append(asked)
    sound = 0.0
    for level, share in sorted(levels):
        sound += share
        if sound > setup.rate * judged + _GRACE:
            return Ration(six(max(log(max(level, 1e-9)), LEAST)))
    return Ration()


def _state(surveyed: Survey, ration: Ration = _UNBENT) -> State:
    kinds = {f"{name}|whole|fresh": Learned(sizes=sizes) for name, sizes in surveyed.sizes.items()}
    return State(kinds, ration)


def findings(
    rows: Iterable[Row],
    layout: Layout,
    setup: Setup,
    surveyed: Survey,
    ration: Ration = _UNBENT,
    numbered: Callable[[int], int] = int,
) -> Iterator[RowFinding]:
    """The second pass. Findings are verdicts 2 (said once per species), 3 and 4; a text that is no number is a 4.

    `ration` as `rationed` gave it; `numbered` gives the number of the n-th row, where they don't come as they stand.
    """
    whole = with_fits(setup, surveyed.fitted)
    sequence = Sequence()
    state = along = _state(surveyed, ration)
    said: set[str] = set()
    leaning: bool | None = None
    for at, row in enumerate(rows, 1):
        number = numbered(at)
        read = read_row(number, row, layout, surveyed.divisions)
        fish = read.specimen
        for measurand, text in read.unreadable.items():
            yield RowFinding(number, fish.species, _unreadable(measurand, text))
        using = _without(at, fish, setup, whole, surveyed)
        for finding in judge(fish, sequence.before[-_NEAR:], state, using):
            yield RowFinding(number, fish.species, finding)
        if fish.species and fish.kind not in said:
            said.add(fish.kind)
            learned = replace(state.kinds[fish.kind], fish=1)
            state = replace(state, kinds={**state.kinds, fish.kind: learned})
        if layout.order:
            sequence, more = follow(sequence, fish, along, whole, wary=True)
            along = _along(along, fish, whole)
            for one in more:
                # At the bench somebody looks at the scale; here one change would be told again until it is learned.
                if (now := heavier(one)) is None or now is not leaning:
                    yield RowFinding(number, fish.species, one)
                leaning = leaning if now is None else now


def _along(state: State, fish: Specimen, setup: Setup) -> State:
    """The state with the one relation that drift and offsets are seen against learned from one more row, as at the bench."""
    values = fish.positive()
    x, y = root_of(values), mass_of(values)
    if not (x and y and fish.species):
        return state
    kind = kin(fish.kind, fish.group)
    learned = state.kinds.get(kind, Learned())
    now = state.relation(setup, fish.kind, y, x, fish.group).learn(
        values[x].ln, values[y].ln, values[x].rounding, values[y].rounding
    )
    kinds = {**state.kinds, kind: Learned({**learned.relations, f"{y}|{x}": now}, learned.sizes, learned.fish)}
    return State(kinds, state.ration, state.trays)


def _without(number: int, fish: Specimen, setup: Setup, whole: Setup, surveyed: Survey) -> Setup:
    """The setup with this fish's species fitted from the others, where there are few and the fit is the table's."""
    kept = surveyed.points.get(fish.species, [])
    if fish.species not in surveyed.fitted or len(kept) > LEAVE_OUT or all(n != number for n, _ in kept):
        return whole
    fits = _fits([s for n, s in kept if n != number], setup.models.get(fish.species))
    return with_fits(setup, {**surveyed.fitted, fish.species: fits})


def _unreadable(measurand: str, text: str) -> Finding:
    arguments = {"text": text}
    said = f"{named(measurand)}: {phrase('unreadable', arguments)} · {ADVICE['unreadable']}"
    return Finding(measurand, Verdict.FAIL, "unreadable", arguments, 1.0, "", 0.0, ADVICE["unreadable"], said, True)


def summary_lines(surveyed: Survey) -> list[str]:
    """What was fitted from the table itself, said in words."""
    out = []
    for species, fits in sorted(surveyed.fitted.items()):
        for f in fits:
            p = f.prior
            slope = f"b {p.b:.4g}"
            if f.free is not None:
                slope += f" (the rows alone give {f.free:.3g}, as no fish has: are columns and units right?)"
            out.append(
                f"{species}{p.group and f', {p.group}'}: {named(p.y)} on {named(p.x)} fitted from this table, {f.fish} fish: {slope}, "
                f"scatter {100 * p.scatter:.2g} %, {len(f.far)} left out; "
                f"{_plain(p.expected(exp(p.ln_centre)))} {p.y_unit} at {_plain(exp(p.ln_centre))} {p.x_unit}"
            )
    return out


def _plain(value: float) -> str:
    """Three digits, and never a power of ten for what is weighed or measured every day."""
    return f"{value:.0f}" if 1e3 <= value < 1e9 else f"{value:.3g}"
