"""`thwart status` and `thwart act`: asking a running bench."""

from __future__ import annotations

import json
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from ..bench.acts import ACTS
from ..errors import ThwartError
from ..tomlfile import nearest
from .benches import bench_argument, bench_of
from .screen import act_table, status_picture


@click.command(epilog="Examples: thwart status lake-survey    thwart status --watch")
@bench_argument
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of a picture.")
@click.option("--watch", is_flag=True, help="Go on showing it until Ctrl-C.")
@click.option("--every", type=click.FloatRange(0.1, 60), default=1.0, show_default=True, metavar="SECONDS",
              help="How often to look, with --watch.")  # fmt: skip
def status(bench: Path | None, as_json: bool, watch: bool, every: float) -> None:
    """Show what a running bench holds.

    Fish in hand, what is wanted and asked, instruments, what to look at before the tray goes. That an instrument is there and when it was last heard are two facts: a silent one is not an absent one.
    """
    folder = bench_of(bench)
    last = None
    try:
        for picture in _looks(folder, every if watch else None):
            text = json.dumps(picture, ensure_ascii=False) if as_json else status_picture(picture, _width())
            if watch and not as_json and sys.stdout.isatty():
                click.clear()
            elif text == last:
                continue
            last = text
            click.echo(text)
            sys.stdout.flush()
    except KeyboardInterrupt:
        if not watch:
            raise


def _looks(folder: Path, every: float | None) -> Iterator[dict[str, Any]]:
    from ..service.control import Client

    client = Client(folder)
    try:
        while True:
            answer = client.ask(do="status")
            yield answer["status"]
            if every is None:
                return
            time.sleep(every)
    finally:
        client.close()


def _width() -> int:
    return shutil.get_terminal_size((80, 24)).columns


@click.command(
    context_settings={"ignore_unknown_options": True},
    epilog="Examples: thwart act lake-survey batch open north-bay    thwart act next    thwart act value whole_mass 412 g",
)
@click.argument("words", nargs=-1, metavar="[BENCH] WORDS...")
@click.option("--place", metavar="NAME", help="Where it is done; needed where the bench has several places.")
@click.option("--list", "list_acts", is_flag=True, help="Print the table of acts and end.")
def act(words: tuple[str, ...], place: str | None, list_acts: bool) -> None:
    """Do an act on a running bench, as a card or a pedal would.

    The first word is the bench folder unless it is the name of an act; then the bench is the folder you stand in. The
    command ends after the act is saved, and says what the bench says. An act that makes no sense now is refused: it
    changes nothing, and the exit code is 1.
    """
    if list_acts:
        click.echo(act_table(ACTS.values(), _width()))
        return
    folder, said = _bench_and_words(words)
    from ..service.control import Client

    client = Client(folder)
    try:
        answer = client.ask(do="act", act=said[0], args=list(said[1:]), place=place, via="cli")
    finally:
        client.close()
    for text in answer["said"] or ["done"]:
        click.echo(text)


def _bench_and_words(words: tuple[str, ...]) -> tuple[Path, tuple[str, ...]]:
    if words and words[0] not in ACTS:
        head, words = words[0], words[1:]
        if not Path(head).is_dir():
            near = nearest(head, ACTS)
            raise ThwartError(
                f"{head!r} is neither an act nor a bench folder" + (f"; {near}" if near else ""),
                "`thwart act --list` shows the acts",
            )
        folder = bench_of(head)
    else:
        folder = bench_of(None) if words else Path()
    if not words:
        raise click.UsageError("say which act, for instance `thwart act next`; `thwart act --list` shows them")
    return folder, words
