"""Acts about batches: planned, opened, noted, closed with a reckoning, reopened. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .. import units
from ..languages import ENGLISH
from . import mends, row, words
from .fish import (
    close_fish,
    keep_for_later,
    leave_behind,
    open_next,
    opens_by_itself,
    read_out,
)
from .kernel import Refusal
from .parts import NUMBER, near, place_for, usage
from .state import Batch, Container, Specimen

if TYPE_CHECKING:
    from .kernel import Bench


def batch(bench: Bench, body: Mapping[str, Any], args: Sequence[str]) -> None:
    """A batch is the bench's: without a place an act concerns every place it can."""
    named = [place_for(bench, body)] if body.get("place") is not None else None
    places = named or [p for p in body.get("places") or bench.setup.places if p in bench.setup.places]
    match list(args):
        case ["open", name, *rest]:
            named_ = [word for word in rest if "=" not in word]
            if len(named_) > 1:
                raise usage("batch")
            known_of = _known_of_batch(bench, name, [word for word in rest if "=" in word])
            opened = _batch_open(bench, places, name, named_[0] if named_ else None)
            if known_of:
                bench.decide("batch-noted", None, place=places[0], batch=opened, set=known_of)
        case ["plan", name, *rest]:
            named_ = [word for word in rest if "=" not in word]
            if len(named_) > 1:
                raise usage("batch")
            _batch_plan(bench, name, named_[0] if named_ else None, [word for word in rest if "=" in word])
        case ["drop", name]:
            known = _known_batch(bench, name)
            if known.opened_utc is not None:
                raise Refusal("batch-begun", batch=known.batch)
            parts = sorted(b.batch for b in bench.all(Batch) if b.parent == known.batch)
            if parts:
                raise Refusal("batch-parts", batch=known.batch, parts=", ".join(parts))
            bench.decide(
                "batch-dropped",
                None,
                batch=known.batch,
                text=words.say(words.ANNOUNCED, "batch-dropped", {"batch": known.batch}),
            )
        case ["note", name, *rest] if rest and all("=" in word for word in rest):
            known = _known_batch(bench, name)
            known_of = _known_of_batch(bench, known.batch, rest)
            bench.decide("batch-noted", None, place=places[0], batch=known.batch, set=known_of)
        case ["close", *reason] if reason:
            _batch_close(bench, places, " ".join(reason))
        case ["reopen", name, *reason] if reason:
            known = _known_batch(bench, name)
            if known.opened_utc is None:
                raise Refusal("batch-planned", batch=known.batch)
            if known.closed_utc is None:
                raise Refusal("already", act="batch reopen")
            _not_mixed(bench, known)
            free = _free(bench, places)
            for at, place in enumerate(free):
                op = "join" if at else "reopen"
                text = _batch_text(op, name, place)
                bench.decide("batch", None, place=place, op=op, batch=name, reason=" ".join(reason), text=text)
            _open_at(bench, free)
        case _:
            raise usage("batch")


#: What may be said of a batch beside its fish: key of the act → field.
BATCH_KEYS = {
    "parent": "parent", "kind": "kind", "selection": "selection", "preservation": "preservation",
    "presentation": "presentation", "total_mass": "total_mass_g", "sub_mass": "sub_mass_g", "counted": "counted",
}  # fmt: skip


def _known_batch(bench: Bench, name: str) -> Batch:
    """The batch of a name. Raises Refusal."""
    known = bench.batch_called(name)
    if known is None:
        raise Refusal("unknown-batch", batch=words.shown(name))
    return known


def _not_mixed(bench: Bench, known: Batch) -> None:
    """Practice and the survey share no batch. Raises Refusal."""
    if known.practice != bench.desk.practice:
        what, turn = ("is practice", "on") if known.practice else ("isn't practice", "off")
        raise Refusal("practice-other", batch=known.batch, what=what, turn=turn)


def _batch_plan(bench: Bench, name: str, species: str | None, pairs: Sequence[str]) -> None:
    """A batch that is to come: `batch open` takes it up with all that is said of it here. Said again, it is replaced."""
    known = bench.batch_called(name)
    if known is not None and known.opened_utc is not None:
        raise Refusal("batch-begun", batch=known.batch)
    name = name if known is None else known.batch
    planned = _known_of_batch(bench, name, pairs)
    if species is not None:
        planned["species"] = mends.known_species(bench, species)
    if known is not None and all(getattr(known, n) == planned.get(n) for n in (*BATCH_KEYS.values(), "species")):
        bench.tell(None, place=None, code="planned", batch=name)
        return
    bench.decide(
        "batch-planned",
        None,
        batch=name,
        set=planned,
        text=words.say(words.ANNOUNCED, "batch-planned", {"batch": name}),
    )


def _known_of_batch(bench: Bench, batch: str, pairs: Sequence[str]) -> dict[str, Any]:
    """`key=value` words as fields of a batch; masses with their unit (`total_mass=12.4kg`). Raises Refusal."""
    fields: dict[str, Any] = {}
    for pair in pairs:
        name, _, value = pair.partition("=")
        if name not in BATCH_KEYS:
            raise Refusal("batch-key", name=words.shown(name), near=near(name, BATCH_KEYS, 8))
        if name.endswith("_mass"):
            number = value.rstrip("kgtKGT")
            unit = units.ucum(value[len(number) :])
            if unit is None or not NUMBER.fullmatch(number):
                raise Refusal("not-a-number", act="batch", text=words.shown(value))
            value = units.plain(units.to_base(Decimal(number.replace(",", ".")), unit))
        elif name == "counted":
            if not (NUMBER.fullmatch(value) and value.isdecimal()):
                raise Refusal("not-a-number", act="batch", text=words.shown(value))
            fields[BATCH_KEYS[name]] = int(value)
            continue
        fields[BATCH_KEYS[name]] = value[:100]
    if "parent" in fields:
        fields["parent"] = _known_parent(bench, batch, fields["parent"]).batch
        _no_circle(bench, batch, fields["parent"])
    return fields


def _known_parent(bench: Bench, batch: str, name: str) -> Batch:
    """The batch that one is to be a part of, planned, open or closed. Raises Refusal."""
    known = bench.batch_called(name)
    if known is None:
        there = [b.batch for b in bench.all(Batch) if b.batch != batch]
        raise Refusal("unknown-parent", batch=words.shown(batch), parent=words.shown(name), near=near(name, there))
    return known


def _no_circle(bench: Bench, batch: str, parent: str | None) -> None:
    """A batch is no part of itself. Raises Refusal."""
    seen = {batch}
    while parent is not None:
        if parent in seen:
            raise Refusal("batch-circle", batch=words.shown(batch), parent=words.shown(parent))
        seen.add(parent)
        above = bench.get(Batch, parent)
        parent = None if above is None else above.parent


def _batch_text(op: str, name: str, place: str) -> str:
    return words.say(words.ANNOUNCED, f"batch-{op}", {"batch": name, "place": place})


def _free(bench: Bench, places: Sequence[str]) -> list[str]:
    """The places without an open batch. Raises Refusal where there is none."""
    free = [p for p in places if bench.place(p).batch is None]
    if not free:
        raise Refusal("batch-open", batch=bench.place(places[0]).batch)
    return free


def _open_at(bench: Bench, places: Sequence[str]) -> None:
    for place in places:
        if bench.place(place).in_hand is None and opens_by_itself(bench):
            open_next(bench, place, by="batch")


def _batch_open(bench: Bench, places: Sequence[str], name: str, species: str | None) -> str:
    """Open a batch, or what was planned of it; answers its name."""
    free = _free(bench, places)
    known = bench.batch_called(name)
    begun = known is not None and known.opened_utc is not None
    if known is not None:
        if begun and (known.closed_utc is not None or species is not None):
            raise Refusal("batch-used", batch=known.batch)
        _not_mixed(bench, known)
        name = known.batch
    if species is not None:
        species = mends.known_species(bench, species)
    for at, place in enumerate(free):
        op = "join" if at or begun else "open"
        planned = None
        text = _batch_text(op, name, place)
        if op == "open" and known is not None and species not in (None, known.species) and known.species is not None:
            planned = known.species
            text = words.say(
                words.ANNOUNCED, "batch-open-other", {"batch": name, "species": species, "planned": planned}
            )
        bench.decide(
            "batch", None, place=place, op=op, batch=name, species=species, practice=bench.desk.practice,
            planned=planned, text=text,
        )  # fmt: skip
    _open_at(bench, free)
    return name


def _batch_close(bench: Bench, places: Sequence[str], reason: str) -> None:
    names = {batch for p in places if (batch := bench.place(p).batch) is not None}
    if not names:
        raise Refusal("no-batch")
    for name in sorted(names):
        everywhere = [p for p in bench.setup.places if bench.place(p).batch == name]
        row.look_for_left_over(bench, name)
        for place in everywhere:
            while (fish := row.take_head(bench, place) or _from_parked(bench, place, name)) is not None:
                if fish.given:
                    close_fish(bench, place, fish)
                else:
                    leave_behind(bench, place)
                    bench.decide("unopened", fish.specimen_id, place=place, number=fish.number)
            keep_for_later(bench, place)
            read_out(bench, place)
        for place in everywhere[:-1]:
            bench.decide(
                "batch",
                None,
                place=place,
                op="leave",
                batch=name,
                text=words.say(words.ANNOUNCED, "batch-leave", {"batch": name}),
            )
        bench.decide(
            "batch", None, place=everywhere[-1], op="close", batch=name, reason=reason, **_reckoning(bench, name)
        )


def _from_parked(bench: Bench, place: str, batch: str) -> Specimen | None:
    """What was set apart of a batch that closes comes in hand to be closed."""
    if bench.place(place).in_hand is not None:
        return bench.in_hand(place)
    mine = [s for i in bench.desk.parked if (s := bench.need(Specimen, i)).batch == batch]
    if not mine:
        return None
    row.back(bench, place, mine[0])
    return bench.in_hand(place)


def _reckoning(bench: Bench, name: str) -> dict[str, Any]:
    """What closing a batch reads out."""
    fishes = bench.specimens_of(name)
    ends = [s.end for s in fishes]
    # A void fish's container is used up all the same, and lies in the stack between the others.
    labels = sorted(label for s in fishes for label in s.containers)
    batch = bench.need(Batch, name)
    skipped = sorted(batch.skipped)
    unseen = sorted(label for label in batch.passed if bench.need(Container, label).state == "expected")
    void = sorted(s.number for s in fishes if s.end == "void")
    count = sum(end not in ("void", "same-as") for end in ends)
    first, last = (labels[0], labels[-1]) if labels else (None, None)
    found = {
        "fish": count, "incomplete": ends.count("incomplete"), "first": first, "last": last, "void": void,
        "skipped": skipped, "unseen": unseen,
    }  # fmt: skip
    return {**found, "text": ENGLISH.reckoning({**found, "batch": name})}
