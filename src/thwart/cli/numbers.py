"""`thwart numbers`: do benches give the same numbers?"""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import ThwartError
from .benches import bench_of


@click.command(epilog="Example: thwart numbers lake-survey /media/stick/stern-day-1.db")
@click.argument("benches", nargs=-1, metavar="[BENCH]...", type=click.Path(path_type=Path))
def numbers(benches: tuple[Path, ...]) -> None:
    """Compare the specimen numbers of several benches.

    Each BENCH is a bench folder, a ledger or a backup. Said of each: its block of numbers and what it used of it. Said of all, with exit code 1:
    blocks that overlap, numbers that two of them gave, numbers of one in the block of another. Practice isn't counted.
    """
    from ..past.numbers import bench_at, clashes

    found = [bench_at(path if path.is_file() else bench_of(path)) for path in benches or (bench_of(None),)]
    for bench in found:
        click.echo(bench.said)
    if told := list(clashes(found)):
        raise ThwartError("\n".join(told), "give each bench a block of its own ([numbers] in bench.toml)")
