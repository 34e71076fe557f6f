"""The protocol: what to take from each specimen, in what order, rounded how, with which species, codes and containers. Pure.

`read` turns the text of a TOML file into a `Protocol`; every fault is told at once.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from decimal import Decimal
from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from .. import tomlfile, units
from ..checks.model import Limits, SpeciesModel
from ..checks.specimen import MOST
from ..checks.state import Setup as CheckSetup
from ..tomlfile import Strict
from .labels import LabelError, Template

NAME = r"^[a-z][a-z0-9_]*$"
Name = Annotated[str, Field(pattern=NAME)]
Number = Annotated[Decimal, Field(allow_inf_nan=False)]

CheckScheme = Literal["mod-11-2", "mod-37-2", "mod-11-10", "mod-37-36", "mod-97-10", "luhn", "gs1"]

_LABEL_FAULTS = {
    "check-inside": "`?` (check character) may only stand at the end",
    "check-length": "the number of `?` at the end must fit the check scheme (mod-97-10: two, others: one, none: none)",
    "no-digits": "needs at least one `#` (digit that counts)",
    "two-runs": "the `#` must stand together",
}


class Rounding(Strict):
    """How a measurand is rounded: `rule` below or nearest, to a `step` with its unit (`"1 cm"`)."""

    rule: Literal["below", "nearest"]
    step: str

    @field_validator("step")
    @classmethod
    def _step(cls, text: str) -> str:
        _amount(text)
        return text

    @property
    def step_base(self) -> Decimal:
        """The step in mm or g."""
        value, unit = _amount(self.step)
        return units.to_base(value, unit)


def _amount(text: str) -> tuple[Decimal, str]:
    number, _, written = text.partition(" ")
    unit = units.ucum(written)
    try:
        value = Decimal(number)
    except ArithmeticError:
        value = Decimal(0)
    if unit is None or not value > 0:
        raise ValueError(f"{text!r}: write a positive number, a blank and a unit, as in '1 cm' or '0.1 g'")
    return value, unit


class Measurand(Strict):
    """One thing to measure. `sides` and `replicates` make several of it."""

    name: Name
    quantity: Literal["length", "mass"]
    required: bool = True
    rounding: Rounding | None = None
    sides: tuple[Name, ...] = ()
    replicates: Annotated[int, Field(ge=1, le=9)] = 1
    minimum: Number | None = None
    """Least value an instrument may route here, base unit."""
    maximum: Number | None = None
    hand_division: str | None = None
    """Division of what it is measured with by hand (`"5 g"`): a finer entry is refused."""

    @field_validator("hand_division")
    @classmethod
    def _hand(cls, text: str | None) -> str | None:
        if text is not None:
            _amount(text)
        return text

    @property
    def hand_division_base(self) -> Decimal | None:
        """The division by hand in mm or g."""
        if self.hand_division is None:
            return None
        value, unit = _amount(self.hand_division)
        return units.to_base(value, unit)

    def slots(self) -> list[Slot]:
        """Its slots in order: every side, every replicate."""
        return [
            Slot(self, side, replicate)
            for side in (self.sides or (None,))
            for replicate in (range(1, self.replicates + 1) if self.replicates > 1 else (None,))
        ]


class Slot:
    """A measurand with its side and replicate: what one reading can fill."""

    __slots__ = ("key", "measurand", "replicate", "side")

    def __init__(self, measurand: Measurand, side: str | None, replicate: int | None) -> None:
        self.measurand, self.side, self.replicate = measurand, side, replicate
        self.key = ".".join([measurand.name, *([side] if side else []), *([str(replicate)] if replicate else [])])

    @property
    def column(self) -> str:
        """Its column in the view `specimens`."""
        return f"{self.key.replace('.', '_')}_{units.BASE[self.measurand.quantity]}"


class Limit(Strict):
    """What is possible (outside: impossible) and what is usual (outside: suspect), base unit, bounds included."""

    possible: tuple[Number, Number] | None = None
    usual: tuple[Number, Number] | None = None

    @model_validator(mode="after")
    def _order(self) -> Limit:
        for name, span in (("possible", self.possible), ("usual", self.usual)):
            if span and not span[0] < span[1]:
                raise ValueError(f"{name}: the lower bound must be below the upper")
        if (
            self.possible
            and self.usual
            and not (self.possible[0] <= self.usual[0] and self.usual[1] <= self.possible[1])
        ):
            raise ValueError("usual must lie within possible")
        return self


class Ratio(Strict):
    """A length's ratio to another one: outside `range` (bounds included) a reading asks before it fills."""

    of: Name
    range: tuple[Number, Number]

    @model_validator(mode="after")
    def _order(self) -> Ratio:
        if not 0 < self.range[0] < self.range[1]:
            raise ValueError("range: two numbers above 0, the lower first")
        return self


class Species(Strict):
    """A species of the protocol: its names, what it lacks, its limits, the ratios of its lengths."""

    title: str
    scientific: str | None = None
    drop: tuple[Name, ...] = ()
    limits: Mapping[Name, Limit] = {}
    ratios: Mapping[Name, Ratio] = {}
    model: SpeciesModel | None = None
    """Relations between its lengths and masses, with their sources; its limits stand in `limits`."""

    @field_validator("model")
    @classmethod
    def _limits_once(cls, model: SpeciesModel | None) -> SpeciesModel | None:
        if model is not None and model.limits:
            raise ValueError("limits stand in species.NAME.limits, not in its model")
        return model

    def whole_model(self, quantities: Mapping[str, Literal["length", "mass"]]) -> SpeciesModel:
        """Its model with its limits, as the checks want it."""
        limits = {
            name: Limits(
                unit=units.BASE[quantities[name]],
                fail=_floats(limit.possible) if limit.possible else (0.0, MOST),
                suspect=_floats(limit.usual) if limit.usual else None,
            )
            for name, limit in self.limits.items()
        }
        return (self.model or SpeciesModel()).model_copy(update={"limits": limits})


def _floats(span: tuple[Decimal, Decimal]) -> tuple[float, float]:
    return float(span[0]), float(span[1])


class Codes(Strict):
    """A coded field (sex, maturity …): its scale and closed list of codes with their meaning."""

    scale: str
    values: Mapping[str, str]
    required: bool = False
    mature: tuple[str, ...] = ()
    """The codes that say a fish was mature, for the smallest mature of its species."""

    @model_validator(mode="after")
    def _of_its_values(self) -> Self:
        if strange := [code for code in self.mature if code not in self.values]:
            raise ValueError(f"mature: no such code: {', '.join(strange)}; codes: {', '.join(self.values)}")
        return self


class _Labelled(Strict):
    """What bears a label: a template (`#` counts, `@` a letter, `?` the check character) and its check scheme."""

    label: str
    check: CheckScheme | None = None

    @cached_property
    def template(self) -> Template:
        """The label's template."""
        return Template(self.label, self.check)

    @model_validator(mode="after")
    def _readable(self) -> Self:
        try:
            template = self.template
        except LabelError as error:
            raise ValueError(f"label: {_LABEL_FAULTS[error.code]}") from None
        if template.could_be_card():
            raise ValueError(f"label: {self.label!r} could be read as a command card; begin it with something else")
        return self


class Containers(_Labelled):
    """The envelope or vial each specimen gets. `role`: `first` (its scan opens) or `last` (its scan closes)."""

    kind: Name = "envelope"
    role: Literal["first", "last"] = "last"
    structure: Name | None = None
    first: str | None = None
    """First label of the series: makes out-of-order labels known, and `confirm` and `skip` possible."""
    last: str | None = None
    required: bool = True
    dried: bool | None = None
    """Whether what they hold is kept dry; None: not said."""

    @model_validator(mode="after")
    def _valid(self) -> Containers:
        template = self.template
        for name, label in (("first", self.first), ("last", self.last)):
            if label is not None:
                try:
                    template.read(label)
                except LabelError as error:
                    why = "its check character is wrong" if error.code == "check" else f"it doesn't fit {self.label!r}"
                    raise ValueError(f"{name}: {label!r}: {why}") from None
        if self.first and self.last and template.count(self.first) > template.count(self.last):
            raise ValueError("first must come before last")
        return self


class Numbers(Strict):
    """The bench's block of specimen numbers."""

    first: Annotated[int, Field(ge=1)] = 1
    last: Annotated[int, Field(ge=1)] = 999_999

    @model_validator(mode="after")
    def _order(self) -> Numbers:
        if self.first > self.last:
            raise ValueError("first must not be above last")
        return self


class Stop(Strict):
    """One place of a row. `queue` is how many fish may wait before it; more than one only where fish carry scanned tags."""

    place: Name
    measurands: tuple[Name, ...] = ()
    """What is taken here; none named: all that an instrument of this place serves."""
    species: tuple[Name, ...] = ()
    """Only these go on to this place; none named: all."""
    queue: Annotated[int, Field(ge=1, le=20)] = 1


class Tags(_Labelled):
    """Reusable tags that a fish carries through a row, scanned at each place."""


class Structure(Strict):
    """A structure that is taken (otolith, scale, fin clip): the most of it there can be, and the conditions it is found in."""

    most: Annotated[int, Field(ge=1, le=99)] = 2
    conditions: tuple[str, ...] = ("whole", "broken", "crystallised")


class Protocol(Strict):
    """The whole protocol of a bench."""

    name: Annotated[str, Field(min_length=1)]
    flow: Literal["solo", "row", "tally", "revisit"] = "solo"
    row: tuple[Stop, ...] = ()
    tally: Name | None = None
    """The measurand a tally counts in classes; its rounding says which."""
    tags: Tags | None = None
    structures: Mapping[Name, Structure] = {}
    pans: Mapping[Name, Annotated[Decimal, Field(ge=0, allow_inf_nan=False)]] = {}
    """Declared tare pans and their masses in g."""
    measurands: Annotated[tuple[Measurand, ...], Field(min_length=1)]
    order: tuple[tuple[Name, ...], ...] = ()
    """Order relations: in each, a value may not be above the next one's (`standard_length, fork_length, total_length`)."""
    species: Mapping[Name, Species] = {}
    single_species: Name | None = None
    """Species of every fish unless said otherwise."""
    codes: Mapping[Name, Codes] = {}
    seasons: Mapping[Name, Annotated[tuple[Annotated[int, Field(ge=1, le=12)], ...], Field(min_length=1)]] = {}
    """Seasons and their months, for species that are kept apart by `season`; months in none are of no season."""
    containers: Containers | None = None
    numbers: Numbers = Numbers()
    opens_by_reading: bool = False
    pedal_dead_time_ms: Annotated[int, Field(ge=0, le=5000)] = 700
    pause_keeps_people_min: Annotated[int, Field(ge=0)] = 20
    tray: Annotated[int, Field(ge=1, le=100)] = 10
    one_question_in: Annotated[int, Field(ge=10, le=1000)] = 50
    """Statistical checks ask about one in so many sound fish."""

    @model_validator(mode="after")
    def _names(self) -> Protocol:
        faults = []
        names = [m.name for m in self.measurands]
        faults += [f"measurands: {n!r} stands twice" for n in sorted({n for n in names if names.count(n) > 1})]
        for i, chain in enumerate(self.order):
            faults += [
                f"order[{i}]: {n!r} is no measurand; {tomlfile.nearest(n, names)}" for n in chain if n not in names
            ]
        quantities = {m.name: m.quantity for m in self.measurands}
        faults += [
            f"order[{i}]: lengths and masses can't be compared"
            for i, chain in enumerate(self.order)
            if len({quantities[n] for n in chain if n in quantities}) > 1
        ]
        faults += [f"codes: {n!r} is a measurand too" for n in self.codes if n in names]
        if "container" in names or "container" in self.codes:
            faults.append("'container' means the envelope or vial, and can't be a measurand or a coded field")
        for code, species in self.species.items():
            ratios = [*species.ratios, *(r.of for r in species.ratios.values())]
            for where, used in (("drop", species.drop), ("limits", species.limits), ("ratios", ratios)):
                faults += [
                    f"species.{code}.{where}: {n!r} is no measurand; {tomlfile.nearest(n, names)}"
                    for n in used
                    if n not in names
                ]
        faults += self._group_faults()
        faults += self._flow_faults(names)
        if self.single_species and self.single_species not in self.species:
            faults.append(
                f"single_species: {self.single_species!r} is not in species; {tomlfile.nearest(self.single_species, self.species)}"
            )
        if "unknown" in self.species:
            faults.append("species: 'unknown' is always there and can't be defined")
        if faults:
            raise tomlfile.Faults(faults)
        return self

    def _group_faults(self) -> list[str]:
        months = [month for season in self.seasons.values() for month in season]
        faults = [f"seasons: month {m} stands twice" for m in sorted({m for m in months if months.count(m) > 1})]
        if self.seasons and "season" in self.codes:
            faults.append("codes: 'season' is the season of [seasons] and can't be a coded field beside it")
        known = [*self.codes, *(["season"] if self.seasons else [])]
        for code, species in self.species.items():
            for name in species.model.apart if species.model else ():
                if name == "season" and name not in known:
                    faults.append(f"species.{code}.model.apart: 'season' needs [seasons] with the months of each")
                elif name not in known:
                    faults.append(
                        f"species.{code}.model.apart: {name!r} is no coded field; {tomlfile.nearest(name, known)}"
                    )
            faults += self._relation_faults(code, species.model) if species.model else []
        return faults

    def _relation_faults(self, code: str, model: SpeciesModel) -> list[str]:
        words = [
            [*self.codes[name].values] if name in self.codes else [*self.seasons] if name == "season" else []
            for name in model.apart
        ]
        groups = {",".join(group) for group in itertools.product(*words)}
        return [
            f"species.{code}.model.relations[{i}].group: {r.group!r} is no group; {tomlfile.nearest(r.group, groups)}"
            for i, r in enumerate(model.relations)
            if r.group and r.group not in groups
        ]

    def _flow_faults(self, names: list[str]) -> list[str]:
        faults = []
        places = [stop.place for stop in self.row]
        if (self.flow == "row") != bool(self.row):
            faults.append("row: a flow `row` names its places in order, and no other flow does")
        if self.flow == "row" and (len(places) < 2 or len(set(places)) < len(places)):
            faults.append("row: needs at least two places, each once")
        for i, stop in enumerate(self.row):
            faults += [
                f"row[{i}].measurands: {n!r} is no measurand; {tomlfile.nearest(n, names)}"
                for n in stop.measurands
                if n not in names
            ]
            faults += [
                f"row[{i}].species: {n!r} is not in species; {tomlfile.nearest(n, self.species)}"
                for n in stop.species
                if n not in self.species
            ]
            if stop.queue > 1 and self.tags is None:
                faults.append(f"row[{i}].queue: more than one may wait only where fish carry scanned tags (see tags)")
        if (self.flow == "tally") != (self.tally is not None):
            faults.append("tally: a flow `tally` names the measurand it counts, and no other flow does")
        elif self.tally is not None:
            counted = next((m for m in self.measurands if m.name == self.tally), None)
            if counted is None:
                faults.append(f"tally: {self.tally!r} is no measurand; {tomlfile.nearest(self.tally, names)}")
            elif counted.rounding is None:
                faults.append(f"tally: {self.tally} needs a rounding: its step is the width of a class")
        if self.tags and self.containers and self.tags.template.overlaps(self.containers.template):
            faults.append("tags.label: could be read as a container's label; begin it with something else")
        return faults

    def position(self, place: str) -> int | None:
        """Where in the row a place stands (from 0), or None."""
        return next((i for i, stop in enumerate(self.row) if stop.place == place), None)

    @cached_property
    def checks(self) -> CheckSetup:
        """What the statistical checks go by: species models with limits, the rate of questions, declared pans."""
        quantities = {m.name: m.quantity for m in self.measurands}
        models = {name: s.whole_model(quantities) for name, s in self.species.items() if s.model or s.limits}
        trays = tuple(float(g) for g in self.pans.values() if g > 0)
        return CheckSetup(models, 1.0 / self.one_question_in, trays, self.seasons)

    @cached_property
    def slots(self) -> tuple[Slot, ...]:
        """Every slot in protocol order."""
        return tuple(slot for m in self.measurands for slot in m.slots())

    @cached_property
    def slot_by_key(self) -> dict[str, Slot]:
        """Slots by key."""
        return {slot.key: slot for slot in self.slots}

    @cached_property
    def _slots_by_species(self) -> dict[str | None, tuple[Slot, ...]]:
        return {
            code: tuple(s for s in self.slots if s.measurand.name not in species.drop)
            for code, species in self.species.items()
        }

    def slots_for(self, species: str | None) -> tuple[Slot, ...]:
        """The slots wanted of a species (None or unknown: all)."""
        return self._slots_by_species.get(species, self.slots)


def schema_text() -> str:
    """The JSON Schema of a protocol, as it stands in `shared/protocol.schema.json`."""
    return tomlfile.schema_text(Protocol)


def read(text: str, where: str) -> Protocol:
    """A protocol from its TOML text. Raises ConfigError with all faults at once."""
    return tomlfile.validate(Protocol, tomlfile.parse(text, where), text, where)
