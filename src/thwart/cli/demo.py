"""`thwart demo`: a first look, through the real service."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from ..errors import ThwartError

_STYLES: dict[str, dict[str, bool | str]] = {
    "hands": {"fg": "cyan"},
    "asked": {"fg": "yellow", "bold": True},
    "fault": {"fg": "red", "bold": True},
    "look": {"fg": "yellow"},
}


@click.command(epilog="Example: thwart demo --protocol row --fish 20 --keep demo-bench")
@click.option(
    "--protocol", "name", type=click.Choice(["solo", "row", "lab", "tally"]), default="solo", show_default=True,
    help="Which of the worked protocols: one person, three in a row, passes in the lab, length frequencies.",
)  # fmt: skip
@click.option("--fish", type=click.IntRange(1, 5000), help="How many fish.  [default: 60, 40, 14 or 60]")
@click.option("--pace", type=click.FloatRange(0, 60), help="Seconds a fish at least.  [default: as fits the protocol]")
@click.option("--seed", type=int, default=1, show_default=True, help="Another seed is another day.")
@click.option(
    "--keep", type=click.Path(path_type=Path), help="Where to leave the bench folder; must not exist or be empty."
)
@click.option("--all", "everything", is_flag=True, help="Show everything that is said, not only a line a fish.")
def demo(name: str, fish: int | None, pace: float | None, seed: int, keep: Path | None, everything: bool) -> int:
    """Play a short lake survey through the real service.

    Simulated people touch a board, lay fish on a scale that streams, and scan envelopes, over pseudo-terminals; now and
    then something goes wrong. At the end the ledger is compared with what they really did.
    """
    from ..demo.play import SHOWS, play
    from ..demo.screen import Screen, wrapped

    folder = _folder(keep)
    show = SHOWS[name]()
    count = show.fish if fish is None else fish
    intro = (
        f"{show.intro.format(fish=count)} The service itself (`thwart run`) is the real one and knows nothing of it."
    )
    click.echo(f"{wrapped(' '.join(intro.split()), '')}\n")
    screen = Screen(
        lambda kind, text: click.echo(click.style(text, **_STYLES.get(kind, {}))),  # type: ignore[arg-type]
        show.line,
        everything=everything,
    )
    result = play(show, folder, fish=count, pace_s=show.pace_s if pace is None else pace, seed=seed, screen=screen)
    unseen = sum(not n for _, n in result.troubles)
    if result.troubles:
        click.echo("\nWhat was planted, and what became of it:\n")
        click.echo(_table([("trouble", "at fish", "should be seen as", "in the ledger"),
                           *((p.name, str(p.fish), p.seen_as, "seen" if n else "NOT SEEN") for p, n in result.troubles)]))  # fmt: skip
    table = result.table
    click.echo("\nThe ledger beside what was really done:\n")
    click.echo(_table([table.headings, *table.rows]))
    click.echo(f"\n{len(table.rows) - table.wrong} of {len(table.rows)} {table.what} are in the ledger as they were; "
               f"{len(result.troubles) - unseen} of {len(result.troubles)} troubles were seen.")  # fmt: skip
    if result.missed:
        click.echo(f"Waited for in vain: {', '.join(result.missed)}.")
    click.echo(_ways(result.ledger, result.query))
    return 1 if table.wrong or unseen or result.missed else 0


def _folder(keep: Path | None) -> Path:
    if keep is None:
        return Path(tempfile.mkdtemp(prefix="thwart-demo-"))
    if keep.exists() and (not keep.is_dir() or any(keep.iterdir())):
        raise ThwartError(f"{keep} is there already and not an empty folder", "nothing was touched; choose another")
    try:
        keep.mkdir(parents=True, exist_ok=True)
    except OSError as trouble:
        raise ThwartError(f"{keep}: can't be made: {trouble.strerror}", "choose another place") from None
    return keep.resolve()


def _table(rows: list[tuple[str, ...]]) -> str:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([lines[0], "-" * sum((*widths, 2 * len(widths) - 2)), *lines[1:]])


def _ways(ledger: Path, query: str) -> str:
    return f"""
Three ways to read the ledger (any of them also while the service runs):

  sqlite3 {ledger} "{query}"

  sqlite-utils query {ledger} "{query}" --table

  import pandas, sqlite3
  pandas.read_sql("{query}", sqlite3.connect("file:{ledger}?mode=ro", uri=True))

Every view and column: shared/database.md. The folder stays: {ledger.parent}"""
