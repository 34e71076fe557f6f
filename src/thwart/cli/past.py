"""`thwart replay`, `audit`, `backup`, `rebuild`, `migrate`: what was recorded."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from .. import __version__
from ..announce.feed import Group, lines_of
from ..announce.narrate import narrate
from ..ledger import Ledger
from ..service.clerk import groups
from .benches import bench_argument, ledger_of

_SHOWN = 20


@click.command(epilog="Examples: thwart replay lake-survey | less    thwart replay --decide backup/ledger.db")
@bench_argument
@click.option("--decide", is_flag=True, help="Decide every input again and compare with what was decided then.")
@click.option("--since", type=click.IntRange(min=0), default=0, metavar="SEQ", help="Begin after this entry.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object an entry, as the feed sends them.")
def replay(bench: Path | None, decide: bool, since: int, as_json: bool) -> int:
    """Tell a recorded day again, or decide it again and compare.

    BENCH is a bench folder or a ledger file; a running service isn't disturbed. Without --decide, each thing that was
    said is a line: entry, time (UTC), sound, words. With --decide the recorded inputs go through the rules of this
    program with the recorded configuration; verdicts, causes, specimens and numbers (to 6 digits) must come out the
    same. Exit code 1 where they don't.
    """
    if decide and (since or as_json):
        raise click.UsageError(
            "--decide always takes the whole ledger, and prints differences: leave out --since and --json"
        )
    with Ledger.open(ledger_of(bench), readonly=True) as ledger:
        if decide:
            return _decide(ledger)
        day = ""
        for group in groups(ledger.entries(since)):
            if as_json:
                for line in lines_of(group):
                    click.echo(json.dumps(line, ensure_ascii=False))
                continue
            for said in narrate(group[0], group[1:]):
                utc = group[0].stamp.utc
                if utc[:10] != day:
                    day = utc[:10]
                    click.echo(f"— {day} (UTC) —")
                place = f"{said.place}: " if said.place else ""
                click.echo(f"{said.seq:>7}  {utc[11:19]}  {said.sound:<5}  {place}{said.text}")
    return 0


def _decide(ledger: Ledger) -> int:
    from ..decide_again import Difference, decide_again

    total = ledger.next_seq - 1
    found: list[Difference] = []
    inputs = 0
    versions: set[str] = set()
    with click.progressbar(length=total, label="deciding again", file=sys.stderr) as bar:

        def counted() -> Iterator[Group]:
            for group in groups(ledger.entries()):
                yield group
                bar.update(len(group))

        for group, differences in decide_again(counted()):
            inputs += 1
            found += differences
            if group[0].kind == "started":
                versions.add(str(group[0].body.get("version")))
    for d in found[:_SHOWN]:
        click.echo(f"entry {d.input_seq} ({d.kind}): {d.what}: recorded {d.recorded}, now {d.again}")
    if len(found) > _SHOWN:
        click.echo(f"… and {len(found) - _SHOWN} more")
    if found and versions - {__version__}:
        click.echo(f"written by thwart {', '.join(sorted(versions))}, decided again by {__version__}", err=True)
    click.echo(f"{inputs} inputs, {total} entries: " + (f"{len(found)} differences" if found else "all the same"))
    return 1 if found else 0
