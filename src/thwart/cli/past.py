"""`thwart replay`, `audit`, `backup`, `rebuild`, `migrate`: what was recorded."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from .. import __version__
from ..announce.feed import lines_of
from ..announce.narrate import narrate
from ..errors import ThwartError
from ..ledger import Ledger
from ..service.clerk import groups
from ..service.folder import Lock
from .bars import Bars
from .benches import bench_argument, is_bench, ledger_of

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
        day, several = "", bool(since)
        for group in groups(ledger.entries(since)):
            if as_json:
                for line in lines_of(group):
                    click.echo(json.dumps(line, ensure_ascii=False))
                continue
            if group[0].kind == "configured":
                several = len(group[0].body["setup"]["places"]) > 1
            for said in narrate(group[0], group[1:]):
                utc = group[0].stamp.utc
                if utc[:10] != day:
                    day = utc[:10]
                    click.echo(f"— {day} (UTC) —")
                place = f"{said.place}: " if said.place and several else ""
                click.echo(f"{said.seq:>7}  {utc[11:19]}  {said.sound:<5}  {place}{said.text}")
    return 0


def _decide(ledger: Ledger) -> int:
    from ..decide_again import Difference, decide_again

    total = ledger.next_seq - 1
    found: list[Difference] = []
    inputs = 0
    versions: set[str] = set()
    with Bars("deciding again") as told:
        for group, differences in decide_again(groups(ledger.entries())):
            inputs += 1
            found += differences
            if group[0].kind == "started":
                versions.add(str(group[0].body.get("version")))
            told(group[-1].seq, total)
    for d in found[:_SHOWN]:
        click.echo(f"entry {d.input_seq} ({d.kind}): {d.what}: recorded {d.recorded}, now {d.again}")
    if len(found) > _SHOWN:
        click.echo(f"… and {len(found) - _SHOWN} more")
    if found and versions - {__version__}:
        click.echo(f"written by thwart {', '.join(sorted(versions))}, decided again by {__version__}", err=True)
    click.echo(f"{inputs} inputs, {total} entries: " + (f"{len(found)} differences" if found else "all the same"))
    return 1 if found else 0


@click.command(epilog="Example: thwart audit lake-survey")
@bench_argument
def audit(bench: Path | None) -> None:
    """Prove that the ledger is whole and agrees with itself.

    BENCH is a bench folder or a ledger file; a running service isn't disturbed, and nothing is changed. Looked at: the
    file, the chain of hashes through every entry, triggers and views, and whether the tables say what the entries say.
    Exit code 1 where anything is wrong.
    """
    from ..folding import Folding
    from ..ledger.audit import audit as look

    path = ledger_of(bench)
    with Bars("reading entries", "comparing tables") as told:
        report = look(path, Folding(), told)
    if not report.sound:
        for problem in report.problems:
            click.echo(f"thwart: {path}: {problem}", err=True)
        raise ThwartError(
            f"{path} is not sound", "tables that differ: `thwart rebuild`; anything else: go on with the last backup"
        )
    click.echo(f"{path} is sound: {report.entries} entries, the last one's hash {report.last_hash.hex()}")


@click.command(epilog="Example: thwart backup lake-survey /media/stick/lake-survey-day-1.db")
@click.argument("paths", nargs=-1, required=True, metavar="[BENCH] TO", type=click.Path(path_type=Path))
def backup(paths: tuple[Path, ...]) -> None:
    """Copy the ledger while the bench runs, and verify the copy.

    TO is a file that doesn't exist yet, or a folder: then the file is named after the bench and the time (UTC). The copy
    is one consistent state, read back whole; beside it stands its SHA-256, for `sha256sum -c`. A running service isn't
    disturbed. Copying ledger.db by other means while a service runs may give a broken file.
    """
    if len(paths) > 2:
        raise click.UsageError("expected [BENCH] TO")
    from ..ledger.backup import backup as copy_out

    path, to = ledger_of(paths[0] if len(paths) == 2 else None), paths[-1]
    if to.is_dir():
        to /= time.strftime(f"{path.resolve().parent.name}-%Y%m%dT%H%M%SZ.db", time.gmtime())
    with Bars("copying", "reading back") as told:
        copy = copy_out(path, to, told)
    click.echo(f"{copy.path}: {copy.entries} entries, read back and verified")
    click.echo(f"sha256 {copy.sha256}, last entry's hash {copy.last_hash.hex()}")


@click.command(epilog="Example: thwart rebuild lake-survey")
@bench_argument
def rebuild(bench: Path | None) -> None:
    """Make the ledger's tables anew from its entries.

    Entries are the record and stay as they are; tables can always be made again from them, all or nothing. The service
    must be stopped. Says what was different before.
    """
    from ..folding import Folding
    from ..ledger.rebuild import rebuild as remake

    path, fold = ledger_of(bench), Folding()
    with _alone(path), Bars("folding entries") as told:
        made = remake(path, fold, told, fold.snapshot)
    for line in made.differences:
        click.echo(f"was different: {line}")
    was = f"{len(made.differences)} rows were different" if made.differences else "they were right before, too"
    click.echo(f"{path}: tables made anew from {made.entries} entries; {was}")


@click.command(epilog="Example: thwart migrate lake-survey")
@bench_argument
def migrate(bench: Path | None) -> None:
    """Bring a ledger's tables to this version, after a backup.

    The backup lies beside it. Entries are never changed. The service must be stopped; `thwart run` says when a migration is needed. Where nothing
    is to be done, nothing is.
    """
    from ..folding import Folding
    from ..ledger.rebuild import migrate as bring_up

    path, fold = ledger_of(bench), Folding()
    with _alone(path), Bars("copying", "reading back", "folding entries") as told:
        made = bring_up(path, fold, told, fold.snapshot)
    if made is None:
        click.echo(f"{path} is of this version already")
    else:
        click.echo(f"{path}: tables brought to this version from {made.entries} entries; backup in {made.backup}")


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """No service may run on the bench meanwhile. Raises BenchInUse."""
    if not is_bench(path.parent):
        yield
        return
    with Lock(path.parent):
        yield
