"""`thwart cards` and `thwart labels`: what hangs on the wall, and what is stuck on envelopes and vials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from ..errors import NotFound, ThwartError
from .acting import do_acts
from .benches import bench_argument, bench_of


@click.command(
    epilog="Examples: thwart cards lake-survey --out cards.pdf    thwart cards --only species --only codes --language de"
)
@bench_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("cards.pdf"),
    show_default=True,
    metavar="FILE",
    help="The PDF.",
)
@click.option(
    "--paper",
    default="a4",
    show_default=True,
    metavar="NAME|WxH",
    help="a3, a4, a5, a6, letter, legal, tabloid, or mm.",
)
@click.option(
    "--symbol",
    type=click.Choice(["qr", "code128", "both"]),
    default="qr",
    show_default=True,
    help="Which code a card bears; scanners of one line read only code128.",
)
@click.option(
    "--beam",
    type=click.FloatRange(0, 200),
    default=50.0,
    show_default=True,
    metavar="MM",
    help="How wide the scanner's beam falls on the wall: codes stand further apart.",
)
@click.option("--only", multiple=True, metavar="TASK", help="Only the cards of this task; may be said again.")
@click.option(
    "--batch", "batches", multiple=True, metavar="NAME", help="A card that opens this batch; may be said again."
)
@click.option(
    "--close-reason",
    "close_reasons",
    multiple=True,
    metavar="REASON",
    help="A card that closes the batch for this reason instead of done and stopped; may be said again.",
)
@click.option(
    "--all-reasons", is_flag=True, help="Cards for every reason why a value is missing, not only the usual ones."
)
@click.option("--language", metavar="CODE", help="Language of the words; the bench's unless given.")
def cards(
    bench: Path | None, out: Path, paper: str, symbol: Any, beam: float, only: tuple[str, ...], batches: tuple[str, ...],
    close_reasons: tuple[str, ...], all_reasons: bool, language: str | None,
) -> None:  # fmt: skip
    """Print command cards.

    One card for each act this bench's protocol can mean, with large words, a drawing and a code, grouped by task. Print them in their own
    size (no "fit to page"), laminate them, and hang them apart.
    """
    from ..paper import deck, layout
    from ..paper.sizes import paper as paper_named
    from ..tomlfile import nearest

    configured = _configured(bench)
    words, code = _words(language or configured.config.language)
    unknown = [task for task in only if task not in deck.TASKS]
    if unknown:
        raise ThwartError(f"there is no task {unknown[0]!r}; {nearest(unknown[0], deck.TASKS, len(deck.TASKS))}")
    wishes = deck.Wishes(configured.config.people, batches, close_reasons or deck.CLOSE_REASONS, all_reasons)
    made = [card for card in deck.deck(configured.protocol, words, wishes) if not only or card.task in only]
    if not made:
        raise ThwartError("no cards: this protocol has none of that task", "leave out --only to print them all")
    size = paper_named(paper)
    name = configured.config.name
    pages = layout.sheets(made, size, words, bench=name, symbol=symbol, beam=beam)
    _write(out, layout.printed(pages, size, f"cards · {name}", code))
    click.echo(f"{out}: {len(made)} cards on {len(pages)} pages")
    if not configured.config.people and (not only or "people" in only):
        click.echo('no cards for people: name them in bench.toml, people = ["ida", "ben"]')
    click.echo("print in their own size; try one with the scanner from where you stand before you laminate them")


@click.command(
    epilog="Examples: thwart labels lake-survey --count 48 --sheet a4-3x8 --out labels.pdf    "
    "thwart labels --count 100 --kind vial --roll 50x25 --batch north-bay"
)
@bench_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("labels.pdf"),
    show_default=True,
    metavar="FILE",
    help="The PDF.",
)
@click.option(
    "--count", type=click.IntRange(1, 10_000), metavar="N", help="How many labels; one full sheet unless given."
)
@click.option("--first", metavar="LABEL", help="Begin with this label instead of the one after the last printed.")
@click.option("--again", is_flag=True, help="Print labels once more that were printed already.")
@click.option("--sheet", metavar="NAME", help="A sheet of labels: shipped, or of bench.toml.")
@click.option("--roll", metavar="WxH", help="A roll of labels so wide and high, in mm.")
@click.option(
    "--kind", type=click.Choice(["envelope", "vial"]), help="What they are stuck on; the protocol's unless given."
)
@click.option(
    "--symbol", type=click.Choice(["code128", "qr"]), help="Which code: code128 on envelopes, qr on vials unless given."
)
@click.option("--batch", default="", metavar="NAME", help="Printed on each; else room for the pen.")
@click.option("--species", default="", metavar="NAME", help="Printed on each; else room for the pen.")
@click.option(
    "--skip", type=click.IntRange(0), default=0, metavar="N", help="So many labels of the first sheet are used already."
)
@click.option("--language", metavar="CODE", help="Language of the words; the bench's unless given.")
@click.option("--ranges", is_flag=True, help="Only list what was printed so far, and what is left.")
def labels(
    bench: Path | None, out: Path, count: int | None, first: str | None, again: bool, sheet: str | None, roll: str | None,
    kind: str | None, symbol: Any, batch: str, species: str, skip: int, language: str | None, ranges: bool,
) -> None:  # fmt: skip
    """Print labels of envelopes and vials.

    Numbers go on where the last printed ones ended, within this bench's share of the series (bench.toml, labels.share), and the ledger keeps
    which were printed: no label comes twice unless --again says so.
    """
    from ..paper import labels as made
    from ..paper.grid import roll as roll_of
    from ..paper.grid import sheet_named

    configured = _configured(bench)
    folder, config = configured.folder, configured.config
    if configured.protocol.containers is None:
        raise ThwartError(
            f"{folder}: the protocol has no containers, so no labels", "add [containers] with a label to the protocol"
        )
    series = _series(configured)
    printed = series.ranges(_printed(folder))
    if ranges:
        _list(series, printed)
        return
    if (sheet is None) == (roll is None):
        raise click.UsageError("say --sheet NAME or --roll WxH")
    grid = sheet_named(sheet, config.labels.sheets) if sheet is not None else roll_of(str(roll))
    size = len(grid.cells())
    low = _first(series, printed, first)
    high = low + (count or size - skip) - 1
    if high > series.last:
        left = series.last - low + 1
        raise ThwartError(
            f"from {series.label(low)} on this bench has {left} labels left, not {high - low + 1}",
            f"print --count {left}, or widen the series in the protocol ({series.label(series.first)} to {series.label(series.last)})",
        )
    kind = kind or ("vial" if configured.protocol.containers.kind == "vial" else "envelope")
    words, code = _words(language or config.language)
    symbol = symbol or ("qr" if kind == "vial" else "code128")
    if species and species not in configured.protocol.species:
        from ..tomlfile import nearest

        raise NotFound(
            f"there is no species {species!r}; {nearest(species, configured.protocol.species)}", "see the protocol"
        )
    rows = made.rows_of(configured.protocol, words, batch=batch, species=species)
    note = made.note_of(configured.protocol.containers, kind, words)
    numbers = [series.label(number) for number in range(low, high + 1)]
    pdf = made.printed(numbers, grid, rows, note, symbol, title=f"labels · {config.name}", language=code, skip=skip)
    part = out.with_name(out.name + ".part")
    _write(part, pdf)
    try:
        (answer,) = do_acts(folder, [("printed", [numbers[0], numbers[-1], *(["again"] if again else [])])])
        if not answer["ok"]:
            raise ThwartError(str(answer["error"]), "say --again to print them once more, or leave --first out")
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    part.replace(out)
    click.echo(f"{out}: {len(numbers)} labels, {numbers[0]} to {numbers[-1]}, kept in the ledger as printed")
    shown = made.laid_out(numbers[0], grid.cells()[0], rows, note, symbol)
    lines = {item.text for item in shown if item.kind == "row"}
    left_out = [row.name for row in rows if not row.value and row.name not in lines]
    if left_out:
        click.echo(f"no room on this label for: {', '.join(left_out)}")
    if note:
        click.echo(f"{note}.")
    if kind == "vial":
        click.echo("Ethanol burns and formaldehyde harms: gloves, moving air, no flame, and your house's own rules.")
    click.echo("print in their own size; scan the first and the last before you stick any")


def _configured(bench: Path | None) -> Any:
    from ..config import read_bench

    return read_bench(bench_of(bench))


def _words(code: str) -> tuple[Mapping[str, str], str]:
    from ..languages import LANGUAGES, language
    from ..tomlfile import nearest

    if code not in LANGUAGES:
        raise NotFound(
            f"there is no language {code!r}; {nearest(code, LANGUAGES, len(LANGUAGES))}", "say --language en"
        )
    tables = language(code).tables
    return {**{f"name-{name}": said for name, said in tables["words"].items()}, **tables["paper"]}, code


def _series(configured: Any) -> Any:
    from ..bench.printing import Series

    containers = configured.protocol.containers
    if configured.config.labels.share is None:
        raise ThwartError(
            f"{configured.folder}: it isn't said which part of the labels {containers.label} is this bench's, and another bench might print the same",
            'add to bench.toml: [labels] share = "1/1" for the only bench; "1/3", "2/3" and "3/3" for three benches',
        )
    return Series(containers)


def _printed(folder: Path) -> list[str]:
    """The ranges the ledger knows, each `FIRST LAST`."""
    import sqlite3
    from contextlib import closing

    from ..service.folder import LEDGER

    path = folder / LEDGER
    if not path.is_file():
        return []
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=5)) as db:
        try:
            return [f"{a} {b}" for a, b in db.execute("SELECT first_label, last_label FROM printed")]
        except sqlite3.Error as error:
            raise ThwartError(
                f"{path}: what was printed can't be read: {error}", "`thwart audit` looks what is wrong with it"
            ) from None


def _first(series: Any, printed: Sequence[tuple[int, int]], first: str | None) -> int:
    """The number of the first label to print. Raises ThwartError."""
    if first is not None:
        number: int | None = series.number(first)
        if number is None or not series.first <= number <= series.last:
            raise ThwartError(
                f"{first} is no label of this bench ({series.label(series.first)} to {series.label(series.last)})",
                "look at its digits, its check character, and labels.share in bench.toml",
            )
        return number
    mine = [last for _, last in printed if series.first <= last <= series.last]
    number = max(mine, default=series.first - 1) + 1
    if number > series.last:
        raise ThwartError(
            f"all labels of this bench are printed ({series.label(series.first)} to {series.label(series.last)})",
            "widen the series in the protocol, or print some again: --first LABEL --again",
        )
    return number


def _list(series: Any, printed: Sequence[tuple[int, int]]) -> None:
    for low, high in printed:
        click.echo(f"{series.label(low)} to {series.label(high)}: {high - low + 1}")
    top = max((high for _, high in printed if series.first <= high <= series.last), default=series.first - 1)
    click.echo(f"left: {series.last - top} of {series.label(series.first)} to {series.label(series.last)}")


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise ThwartError(f"{path}: can't be written: {error.strerror}", "choose another --out") from None
