"""What the bench has learned of its fish: a left fold of numbers with six significant digits (`store` makes JSON). Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from .model import LENGTHS, SpeciesModel
from .ration import RATE, Ration
from .relation import Outcome, Relation, Sizes
from .specimen import Specimen, Value, kin

#: Fish of a species without a published prior before its relation may ask.
FIRST = 20
MASSES = ("whole_mass", "gutted_mass")


def root_of(values: Mapping[str, Value]) -> str | None:
    """The length that the others and the mass are compared with: the longest one there is."""
    for name in LENGTHS:
        if name in values:
            return name
    return None


def mass_of(values: Mapping[str, Value]) -> str | None:
    """The mass that stands for the fish: the whole one, or what there is."""
    for name in MASSES:
        if name in values:
            return name
    return None


def pairs_of(values: Mapping[str, Value]) -> list[tuple[str, str]]:
    """The relations `(y, x)` a fish is judged by: all on its root length, gutted mass on whole mass where it has both."""
    root = root_of(values)
    pairs = [(name, root) for name in LENGTHS if name in values and name != root] if root else []
    if root and "whole_mass" in values:
        pairs.append(("whole_mass", root))
    if "gutted_mass" in values:
        if "whole_mass" in values:
            pairs.append(("gutted_mass", "whole_mass"))
        elif root:
            pairs.append(("gutted_mass", root))
    return pairs


def all_pairs(values: Mapping[str, Value]) -> list[tuple[str, str]]:
    """The relations a fish can teach: those it is judged by, and those a fish with fewer values would be judged by."""
    lengths = [name for name in LENGTHS if name in values]
    pairs = [(y, x) for i, x in enumerate(lengths) for y in lengths[i + 1 :]]
    pairs += [(mass, x) for mass in MASSES if mass in values for x in lengths]
    if all(mass in values for mass in MASSES):
        pairs.append(("gutted_mass", "whole_mass"))
    return pairs


@dataclass(frozen=True)
class Setup:
    """What the protocol says: species models, the wanted rate of questions, tray masses known from declared pans (g), seasons."""

    models: Mapping[str, SpeciesModel] = field(default_factory=dict)
    rate: float = RATE
    trays: tuple[float, ...] = ()
    seasons: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """Seasons and their months (1 to 12)."""
    _begun: dict[tuple[str, str, str], Relation | None] = field(default_factory=dict, compare=False, repr=False)

    def begin(self, kind: str, y: str, x: str) -> Relation:
        """The relation of a kind of fish before the first one."""
        key = (kind, y, x)
        found = self._begun.get(key)
        if found is None:
            species, presentation, preservation = kind.rsplit("|", 2)
            model = self.models.get(species)
            prior = model.prior(y, x, presentation, preservation) if model else None
            found = self._begun[key] = Relation.from_prior(prior) if prior else Relation.vague(y, x)
        return found

    def begin_group(self, kind: str, y: str, x: str, group: str) -> Relation | None:
        """The relation of a group of a kind before its first fish, where the protocol has one of its own."""
        key = (kin(kind, group), y, x)
        if key not in self._begun:
            species, presentation, preservation = kind.rsplit("|", 2)
            model = self.models.get(species)
            prior = model.prior(y, x, presentation, preservation, group) if model else None
            self._begun[key] = Relation.from_prior(prior) if prior else None
        return self._begun[key]

    def apart(self, species: str) -> tuple[str, ...]:
        """What the fish of a species are kept apart by: coded fields, or `season`."""
        model = self.models.get(species)
        return model.apart if model is not None else ()

    def group(self, species: str, said: Callable[[str], str | None]) -> str:
        """The group a fish is in, by what is `said` of each thing its species is kept apart by; empty where one isn't known."""
        words = [said(name) or "" for name in self.apart(species)]
        return ",".join(words) if all(words) else ""

    def season(self, month: int) -> str | None:
        """The season a month (1 to 12) lies in."""
        return next((name for name, months in self.seasons.items() if month in months), None)

    def apart_line(self, species: str) -> str:
        """What a species is kept apart by in one text, seasons with their months: another one makes other groups."""
        seasons = ";".join(f"{name}:{','.join(map(str, months))}" for name, months in self.seasons.items())
        return " ".join(f"season({seasons})" if name == "season" else name for name in self.apart(species))


@dataclass(frozen=True, slots=True)
class Learned:
    """What is learned of one kind of fish, or a group of one: relations by `y|x`, sizes by measurand, how many fish."""

    relations: Mapping[str, Relation] = field(default_factory=dict)
    sizes: Mapping[str, Sizes] = field(default_factory=dict)
    fish: int = 0


@dataclass(frozen=True, slots=True)
class State:
    """All that is learned, by kind of fish and, for each group of one, by `kin`.

    `trays` are offsets (g) found by mends or offset findings.
    """

    kinds: Mapping[str, Learned] = field(default_factory=dict)
    ration: Ration = field(default_factory=Ration)
    trays: tuple[float, ...] = ()

    def relation(self, setup: Setup, kind: str, y: str, x: str, group: str = "") -> Relation:
        """The relation as now known: the group's own, where it began from a prior or has `FIRST` fish, else the pooled one."""
        if group:
            theirs = self.kinds.get(kin(kind, group))
            own = theirs.relations.get(f"{y}|{x}") if theirs else None
            own = own or setup.begin_group(kind, y, x, group)
            if own is not None and (own.known or own.fish >= FIRST):
                return own
        learned = self.kinds.get(kind)
        found = learned.relations.get(f"{y}|{x}") if learned else None
        return found if found is not None else setup.begin(kind, y, x)

    def sizes(self, kind: str, measurand: str) -> Sizes:
        """The sizes as now known."""
        learned = self.kinds.get(kind)
        found = learned.sizes.get(measurand) if learned else None
        return found if found is not None else _SIZES


_SIZES = Sizes()


def learn(
    state: State,
    fish: Specimen,
    setup: Setup,
    outcomes: Mapping[str, Outcome] | None = None,
    *,
    asked: bool = False,
    sound: float = 1.0,
) -> State:
    """The state after a fish that was finished.

    `fish` holds the values as they stand (a mended one as mended); `outcomes` says for a measurand that it stood or is
    still open (default: passed). `asked` is whether a statistical check asked about this fish and no value was mended
    since; where a relation may ask, it moves the ration. `sound` is how probably an asked fish is sound: 1 where a
    person let it stand, `Finding.sound` where nobody answered. A fish of unknown species teaches nothing.
    """
    outcomes = outcomes or {}
    values = fish.positive()
    if not fish.species or not values:
        return state
    kind = fish.kind
    judged = [state.relation(setup, kind, y, x, fish.group) for y, x in pairs_of(values)]
    if any(r.known or r.fish >= FIRST for r in judged):
        state = replace(state, ration=state.ration.after(asked, sound, setup.rate))
    old = state.kinds.get(kind, _NOTHING)
    relations, sizes = dict(old.relations), dict(old.sizes)
    theirs = state.kinds.get(kin(kind, fish.group), _NOTHING) if fish.group else _NOTHING
    own = dict(theirs.relations)
    for y, x in all_pairs(values):
        outcome: Outcome = next((outcomes[m] for m in (y, x) if outcomes.get(m, "passed") != "passed"), "passed")
        name, pair = f"{y}|{x}", (values[x].ln, values[y].ln, values[x].rounding, values[y].rounding)
        pooled = relations[name] = state.relation(setup, kind, y, x).learn(*pair, outcome)
        if fish.group:
            begun = own.get(name) or setup.begin_group(kind, y, x, fish.group)
            own[name] = _in_group(begun, pooled, pair, outcome)
    for name in LENGTHS:
        if name in values:
            sizes[name] = state.sizes(kind, name).learn(values[name].ln)
    kinds = {**state.kinds, kind: Learned(relations, sizes, old.fish + 1)}
    if fish.group:
        kinds[kin(kind, fish.group)] = Learned(own, {}, theirs.fish + 1)
    return replace(state, kinds=kinds)


def _in_group(
    own: Relation | None, pooled: Relation, pair: tuple[float, float, float, float], outcome: Outcome
) -> Relation:
    """A group's relation after one more fish. Without a prior of its own its first `FIRST` are gathered, then it begins
    where the pooled one stands."""
    if own is None:
        own = Relation.within(pooled)
    if own.known:
        return own.learn(*pair, outcome)
    if own.fish + 1 < FIRST:
        return own.gather(*pair, outcome)
    if own.fish + 1 == FIRST:
        own = replace(Relation.within(pooled), fish=own.fish, kept=own.kept)
    return own.learn(*pair, outcome)


_NOTHING = Learned()
