"""A day at a bench: make the world, work up the catch, look through the ledger; and the table of troubles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from . import lab, row, shore, solo, tally
from .audit import Audit, Report
from .instruments import Balance, Board, Pan
from .people import Envelopes
from .protocols import FIELD_PROTOCOL, LAB_PROTOCOL, SHORE_PROTOCOL, SOLO_PROTOCOL, TALLY_PROTOCOL, row_protocol
from .site import Site
from .troubles import LAB, ROW, SHORE, SOLO, TAGGED, TALLY, Trouble
from .world import Fish, World, catch


@dataclass(frozen=True)
class Day:
    """What is simulated: `hard` multiplies how often things go wrong."""

    fish: int
    seed: int
    hard: float = 1.0
    pace: float = 0.0
    """How many real seconds a second lasts: for a real service."""
    make: Callable[[World, str, str], Site] = Site


def plan(world: World, troubles: Mapping[str, Trouble], hard: float) -> str | None:
    """What goes wrong with a fish: one thing at most."""
    draw = world.rng.random()
    for name, trouble in troubles.items():
        draw -= trouble.rate * hard
        if draw < 0:
            return name
    return None


def planned(world: World, fishes: list[Fish], troubles: Mapping[str, Trouble], hard: float) -> list[Fish]:
    """What goes wrong with each; with the last one nothing, since some troubles need a fish that follows."""
    for fish in fishes[:-1]:
        fish.trouble = plan(world, troubles, hard)
    return fishes


def run_solo(day: Day) -> tuple[Report, Site]:
    world = World(day.seed)
    site = day.make(world, solo.BENCH, SOLO_PROTOCOL)
    fishes = planned(world, catch(day.fish, world.rng), SOLO, day.hard)
    envelopes = Envelopes(site)
    person = solo.Solo(
        site, "table", envelopes=envelopes, board=Board(site, "board"), pan=Pan(site, "scale"), pedal="pedal"
    )
    world.person(person.work(fishes))
    world.run(day.pace)
    site.close()
    return Audit(site, fishes, envelopes.hold, SOLO).report(), site


def run_row(day: Day, *, tags: bool = False) -> tuple[Report, Site]:
    world = World(day.seed)
    site = day.make(world, row.BENCH, row_protocol(tags))
    troubles = TAGGED if tags else ROW
    fishes = planned(world, catch(day.fish, world.rng), troubles, day.hard)
    hands = row.Row(site, fishes, tags=tags)
    hands.start()
    world.run(day.pace)
    hands.end()
    site.close()
    return Audit(site, fishes, hands.envelopes.hold, troubles).report(), site


def run_tagged(day: Day) -> tuple[Report, Site]:
    """A row whose fish carry scanned tags."""
    return run_row(day, tags=True)


def run_lab(day: Day) -> tuple[Report, Site]:
    world = World(day.seed)
    site = day.make(
        world,
        lab.BENCH.replace('serves = ["thawed_whole_mass", "thawed_gutted_mass"]', "").replace(
            'serves = ["gonad_mass", "liver_mass"]', ""
        ),
        FIELD_PROTOCOL,
    )
    fishes = catch(day.fish, world.rng)
    envelopes = Envelopes(site)
    board = Board(site, "board")
    world.person(lab.Field(site, "table", envelopes=envelopes, board=board, pan=Pan(site, "scale")).work(fishes))
    world.run(day.pace)
    site.ears.clear()
    site.becomes(lab.BENCH, LAB_PROTOCOL)
    planned(world, fishes, LAB, day.hard)
    person = lab.Lab(site, "table", envelopes=envelopes, board=board, pan=Pan(site, "scale"))
    person.balance = Balance(site, "balance")
    person.labels = {fish.n: label for label, fish in envelopes.hold.items()}
    world.person(person.work([f for f in fishes if f.n in person.labels]))
    world.run(day.pace)
    site.close()
    return Audit(site, fishes, envelopes.hold, LAB).report(), site


def run_shore(day: Day) -> tuple[Report, Site]:
    """Two people share pedal and scanner; the odd fish go to the left place, which has the scale."""
    world = World(day.seed)
    site = day.make(world, shore.BENCH, SHORE_PROTOCOL)
    fishes = planned(world, catch(day.fish, world.rng), SHORE, day.hard)
    envelopes, pan = Envelopes(site), Pan(site, "scale")
    for at, place in enumerate(("left", "right")):
        board = Board(site, f"board_{place}")
        person = shore.Shore(site, place, envelopes=envelopes, board=board, pan=None if at else pan, pedal="pedal")
        world.person(person.work(fishes[at::2]))
    world.run(day.pace)
    site.act("batch close all worked up", None, None)
    site.close()
    return Audit(site, fishes, {}, SHORE).report(), site


def run_tally(day: Day) -> tuple[Report, Site]:
    world = World(day.seed)
    site = day.make(world, tally.BENCH, TALLY_PROTOCOL)
    fishes = planned(world, catch(day.fish, world.rng), TALLY, day.hard)
    # It keeps no envelopes; the stack stands for nothing here.
    person = tally.Tally(site, "table", envelopes=Envelopes(site), board=Board(site, "board"))
    world.person(person.work(fishes))
    world.run(day.pace)
    site.close()
    audit = Audit(site, fishes, {}, TALLY)
    report = audit.report()
    audit.tallied(report)
    return report, site


def table(report: Report, troubles: Mapping[str, Trouble]) -> str:
    """The table of troubles: how many, seen as what."""
    lines = ["| trouble | planted | seen | seen as |", "| --- | --- | --- | --- |"]
    for name in sorted(report.planted):
        n = report.planted[name]
        signs = ", ".join(f"{sign} {k}" for sign, k in report.seen[name].most_common(5))
        seen = "by nature not" if troubles[name].unseen else f"{n - report.unseen[name]}"
        lines.append(f"| {name} | {n} | {seen} | {signs} |")
    return "\n".join(lines)


def summary(report: Report) -> str:
    """The numbers."""
    r = report
    return "\n".join(
        [
            f"{r.fish} fish, {r.specimens} specimens, {r.values} values, codes, species and containers stand",
            f"wrong: {len(r.wrong)}; of these asked, noted or suspect: {len(r.wrong) - len(r.silent) - len(r.by_nature) - len(r.slipped)},"
            f" silent by nature: {len(r.by_nature)}, behind a slip: {len(r.slipped)}, SILENT: {len(r.silent)}; fish lost silently: {len(r.lost)}",
            f"{r.readings} touches and loads of fish ({r.same} more were the same once again): given unasked {r.unasked / max(1, r.readings):.2%}, asked {r.asked / max(1, r.readings):.2%},"
            f" set aside {r.set_aside / max(1, r.readings):.2%}; of {r.sound} sound ones given unasked {r.sound_unasked / max(1, r.sound):.2%}",
        ]
    )
