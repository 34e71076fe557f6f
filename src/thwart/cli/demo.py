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


@click.command(epilog="Example: thwart demo --fish 20 --keep demo-bench")
@click.option(
    "--fish", type=click.IntRange(1, 5000), default=60, show_default=True, help="How many fish are worked up."
)
@click.option("--pace", type=click.FloatRange(0, 60), default=1.1, show_default=True, help="Seconds a fish at least.")
@click.option("--seed", type=int, default=1, show_default=True, help="Another seed is another day.")
@click.option(
    "--keep", type=click.Path(path_type=Path), help="Where to leave the bench folder; must not exist or be empty."
)
@click.option("--all", "everything", is_flag=True, help="Show everything that is said, not only a line a fish.")
def demo(fish: int, pace: float, seed: int, keep: Path | None, everything: bool) -> int:
    """Play a short lake survey through the real service.

    Simulated hands touch a board, lay fish on a scale that streams, and scan envelopes, over pseudo-terminals; now and
    then something goes wrong. At the end the ledger is compared with what the hands really did.
    """
    from ..demo.play import play
    from ..demo.screen import Screen

    folder = _folder(keep)
    click.echo(
        f"A short lake survey, invented: {fish} perch, roach, bream and pike; a board that prints on touch, a scale that\n"
        f"streams and a label scanner, simulated. The service itself (`thwart run`) is the real one and knows nothing of it.\n"
    )
    screen = Screen(lambda kind, text: click.echo(click.style(text, **_STYLES.get(kind, {}))), everything=everything)  # type: ignore[arg-type]
    result = play(folder, fish=fish, pace_s=pace, seed=seed, screen=screen)
    click.echo("\nWhat was planted, and what became of it:\n")
    click.echo(_table([("trouble", "at fish", "should be seen as", "in the ledger"),
                       *((p.name, str(p.fish), p.seen_as, "seen" if n else "NOT SEEN") for p, n in result.troubles)]))  # fmt: skip
    click.echo("\nThe ledger beside what the hands really did:\n")
    click.echo(_table([("number", "envelope", "species", "mm", "g", "in the ledger"), *result.rows]))
    unseen = sum(not n for _, n in result.troubles)
    click.echo(f"\n{len(result.rows) - result.wrong} of {len(result.rows)} fish are in the ledger as they were; "
               f"{len(result.troubles) - unseen} of {len(result.troubles)} troubles were seen.")  # fmt: skip
    click.echo(_ways(result.ledger))
    return 1 if result.wrong or unseen else 0


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


def _ways(ledger: Path) -> str:
    query = "SELECT number, species, total_length_mm, whole_mass_g, containers FROM specimens LIMIT 5"
    return f"""
Three ways to read the ledger (any of them also while the service runs):

  sqlite3 {ledger} "{query}"

  sqlite-utils query {ledger} "{query}" --table

  import pandas, sqlite3
  pandas.read_sql("SELECT * FROM specimens", sqlite3.connect("file:{ledger}?mode=ro", uri=True))

Every view and column: shared/database.md. The folder stays: {ledger.parent}"""
