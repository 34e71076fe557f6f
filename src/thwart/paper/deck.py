"""The cards of a protocol: which acts it can mean, what stands on each, in what order they hang. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from .. import units
from ..bench.acts import ACTS, MISSING_REASONS
from ..bench.labels import card as card_text
from ..bench.protocol import Measurand, Protocol, Slot, Species
from . import icons
from .sizes import PaperError

#: The tasks cards are grouped by, in the order in which they hang.
TASKS: Final = tuple(icons.PLATES)

#: Reasons a card is made for, by what is missing; the others can be typed. Common practice, no source.
_USUAL_REASONS: Final[dict[str, tuple[str, ...]]] = {
    "length": ("not-attempted", "broken"),
    "mass": ("not-attempted", "too-light", "mislaid"),
    "code": ("not-attempted", "could-not-tell"),
    "container": ("not-attempted", "not-found", "broken", "mislaid"),
}
#: In how many pieces a fish is measured or weighed that doesn't fit. Common practice, no source.
_PIECES: Final = {"length": ("2",), "mass": ("2", "3")}
#: Why a batch is closed, where nothing else is said. Common practice, no source.
CLOSE_REASONS: Final = ("done", "stopped")

Words = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Card:
    """One card: the words of an act, the task it belongs to, what a person reads on it and what is drawn."""

    said: tuple[str, ...]
    task: str
    title: str
    detail: str
    draw: icons.Drawing

    @property
    def text(self) -> str:
        """What its code says."""
        return card_text(self.said)

    @property
    def two_steps(self) -> bool:
        """Whether the act is said once and said again."""
        return ACTS[self.said[0]].two_steps


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a protocol doesn't say: who works here, which batches to open, why they close, all reasons or the usual ones."""

    people: Sequence[str] = ()
    batches: Sequence[str] = ()
    close_reasons: Sequence[str] = CLOSE_REASONS
    every_reason: bool = False


def deck(protocol: Protocol, words: Words, wishes: Wishes = Wishes()) -> list[Card]:
    """Every card of a protocol, by task. Raises PaperError for a name or reason that no card can hold."""
    made = [card for task in TASKS for card in _MAKERS[task](_Maker(protocol, words, wishes, task))]
    for one in made:
        try:
            one.text  # noqa: B018 (made now, so that its fault is told now)
        except ValueError:
            raise PaperError(
                f"no card can say {' '.join(one.said)!r}",
                "a card holds words of letters, digits, - and _: write the name or reason so",
            ) from None
    return made


@dataclass(frozen=True, slots=True)
class _Maker:
    """Makes the cards of one task."""

    protocol: Protocol
    words: Words
    wishes: Wishes
    task: str

    def plain(self, *said: str, **args: str) -> Card:
        """An act that means one thing: its words and drawing go by its name."""
        key = "-".join(said)
        return self.card(said, key, icons.ACTS[said], **args)

    def card(self, said: Sequence[str], key: str, draw: icons.Drawing, **args: str) -> Card:
        """A card with the words of a key."""
        title, detail = (self.words[f"{key}{more}"].format(**args) for more in ("", "-how"))
        return Card(tuple(said), self.task, title, detail, draw)

    def named(self, what: str) -> str:
        """A name of the protocol as people read it."""
        return self.words.get(f"name-{what}", what.replace("_", " ").replace(".", ", "))

    def slot(self, slot: Slot) -> str:
        """A measurand with its side and replicate as people read it."""
        side = self.words[slot.side] if slot.side in ("left", "right") else slot.side
        return " ".join(str(part) for part in (self.named(slot.measurand.name), side, slot.replicate) if part)

    @property
    def has_fish(self) -> bool:
        """Whether fish have numbers here."""
        return self.protocol.flow != "tally"

    def measured(self) -> Iterator[Measurand]:
        """What is measured at this bench."""
        for m in self.protocol.measurands:
            if self.has_fish or m.name == self.protocol.tally:
                yield m


def _hand(make: _Maker) -> Iterator[Card]:
    if make.has_fish:
        yield make.plain("next")
        yield make.plain("again")
    yield make.plain("stands")
    yield make.plain("undo")
    yield make.plain("undo", "undo")
    if make.has_fish and len(make.protocol.slots) > 1:
        yield make.plain("swap")


def _ends(make: _Maker) -> Iterator[Card]:
    if make.has_fish:
        if make.protocol.flow == "row":
            yield make.plain("leaves")
        yield make.plain("park")
        yield make.plain("back")
        yield make.plain("lost")
        yield make.plain("void")
        yield make.plain("split")


def _species(make: _Maker) -> Iterator[Card]:
    if make.protocol.single_species is not None and len(make.protocol.species) == 1:
        return
    for name, one in make.protocol.species.items():
        draw = icons.species(one.title[:3].upper(), _depth(one, make.protocol))
        yield Card(("species", name), make.task, one.title, one.scientific or "", draw)
    if make.protocol.species:
        yield make.card(("species", "unknown"), "species-unknown", icons.species("?", 0.36))


def _depth(species: Species, protocol: Protocol) -> float:
    """How deep a fish is drawn, of its length: a heavy one deeper, by its published mass at a length."""
    quantity = {m.name: m.quantity for m in protocol.measurands}
    for r in species.model.relations if species.model else ():
        a = r.a if r.a is not None else 10.0**r.log10_a if r.log10_a is not None else 2.718281828 ** (r.ln_a or 0.0)
        if quantity.get(r.y) == "mass" and quantity.get(r.x) == "length" and r.centre:
            grams = a * r.centre**r.b * float(units.to_base(Decimal(1), r.y_unit))
            mm = r.centre * float(units.to_base(Decimal(1), r.x_unit))
            stout = 1e5 * grams / mm**3  # Fulton's condition, about 1 for a perch
            return float(min(0.52, max(0.2, 0.36 * stout)))
    return 0.36


def _codes(make: _Maker) -> Iterator[Card]:
    signs = {("sex", "F"): icons.female, ("sex", "M"): icons.male}
    for field, codes in make.protocol.codes.items():
        for code, meaning in codes.values.items():
            draw = signs.get((field, code)) or icons.code(code)
            yield Card(("code", field, code), make.task, meaning, f"{make.named(field)} {code}", draw)


def _measure(make: _Maker) -> Iterator[Card]:
    slots = [s for s in make.protocol.slots if make.has_fish]
    for slot in slots:
        m = slot.measurand
        if sum(s.measurand.quantity == m.quantity for s in slots) < 2:
            continue  # a reading of this quantity can go nowhere else
        draw = icons.measurand(m.name, m.quantity, slot.side, slot.replicate)
        yield Card(("as", *slot.key.split(".")), make.task, make.slot(slot), make.words["as-how"], draw)
    for m in make.measured():
        if make.has_fish and m.required:
            what = make.named(m.name)
            yield make.card(("over", m.name), f"over-{m.quantity}", icons.over(m.name, m.quantity), what=what)
            for n in _PIECES[m.quantity]:
                yield make.card(("parts", m.name, n), "parts", icons.parts(n), what=what, n=n)


def _numbers(make: _Maker) -> Iterator[Card]:
    for n in "0123456789":
        yield make.card(("digit", n), "digit", icons.digit(n), n=n)
    yield make.card(("digit", "point"), "digit-point", icons.digit("."))
    if make.has_fish:
        for slot in make.protocol.slots:
            unit, how = {"length": ("mm", "tape"), "mass": ("g", "balance")}[slot.measurand.quantity]
            said = ("value", *slot.key.split("."), "typed", unit, how)
            yield make.card(said, "value", icons.by_hand, what=make.slot(slot), unit=unit)
        yield make.card(("recall", "typed"), "recall", icons.numbered)
        yield make.card(("same-as", "typed"), "same-as", icons.same)
    for quantity in sorted({m.quantity for m in make.measured()}):
        unit = units.BASE[quantity]
        yield make.card(("verify", "typed", unit), "verify", icons.known, unit=unit)
    yield make.card(("count", "typed"), "count", icons.several)
    if any(m.quantity == "mass" for m in make.protocol.measurands):
        yield make.card(("pool", "typed"), "pool", icons.together)


def _missing(make: _Maker) -> Iterator[Card]:
    if not make.has_fish:
        return
    things: list[tuple[str, str, str]] = [(m.name, m.quantity, make.named(m.name)) for m in make.protocol.measurands]
    things += [(field, "code", make.named(field)) for field in make.protocol.codes]
    if make.protocol.containers is not None:
        things.append(("container", "container", make.named(make.protocol.containers.kind)))
    for name, kind, what in things:
        for reason in MISSING_REASONS if make.wishes.every_reason else _USUAL_REASONS[kind]:
            title = make.words["missing"].format(what=what)
            yield Card(
                ("missing", name, reason),
                make.task,
                title,
                make.words[f"missing-{reason}"],
                icons.missing(reason, kind),
            )


def _containers(make: _Maker) -> Iterator[Card]:
    containers = make.protocol.containers
    if not make.has_fish:
        return
    if containers is not None and containers.first is not None:
        kind = make.named(containers.kind)
        yield make.plain("confirm", kind=kind)
        yield make.plain("skip", kind=kind)
    for kind, structure in make.protocol.structures.items():
        for n in range(min(structure.most, 2), -1, -1):
            yield _structure(make, kind, n)
        if structure.most == 2:
            for side in ("left", "right"):
                yield _structure(make, kind, 1, side)
        for condition in structure.conditions[1:]:
            yield _structure(make, kind, min(structure.most, 2), None, condition)


def _structure(make: _Maker, kind: str, n: int, side: str | None = None, condition: str | None = None) -> Card:
    said = ("structure", kind, str(n), *(w for w in (side, condition) if w))
    title = make.words["structure" if n else "missing"].format(n=n, what=make.named(kind))
    more = (
        make.words[side]
        if side
        else make.named(condition)
        if condition
        else make.words["structure-got" if n else "structure-none"]
    )
    return Card(said, make.task, title, more, icons.structure(n, condition, side))


def _batch(make: _Maker) -> Iterator[Card]:
    for name in make.wishes.batches:
        yield make.card(("batch", "open", name), "batch-open", icons.ACTS["batch", "open"], batch=name)
    for reason in make.wishes.close_reasons:
        draw = icons.ACTS["batch", "close"]
        yield make.card(("batch", "close", reason), "batch-close", draw, reason=make.named(reason))
    yield make.plain("practice", "on")
    yield make.plain("practice", "off")


def _bench(make: _Maker) -> Iterator[Card]:
    yield make.plain("pause")
    yield make.plain("resume")
    if any(m.quantity == "length" for m in make.measured()):
        yield make.plain("hosed")
    if any(m.quantity == "mass" for m in make.measured()):
        yield make.plain("tared")
        yield make.plain("knock")
    for name in make.protocol.pans:
        yield make.card(("pan", name), "pan", icons.tare_pan(name), pan=make.named(name))


def _people(make: _Maker) -> Iterator[Card]:
    for role in ("measurer", "recorder", "stager"):
        for name in make.wishes.people:
            yield make.card((role, name), role, icons.person(role, name), name=name[:1].upper() + name[1:])


_MAKERS: Final[dict[str, Callable[[_Maker], Iterator[Card]]]] = {
    "hand": _hand,
    "ends": _ends,
    "species": _species,
    "codes": _codes,
    "measure": _measure,
    "numbers": _numbers,
    "missing": _missing,
    "containers": _containers,
    "batch": _batch,
    "bench": _bench,
    "people": _people,
}
