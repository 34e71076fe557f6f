"""`thwart init`: a bench folder to begin with."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import click

from ..errors import LedgerError, ThwartError

FILES = ("bench.toml", "protocol.toml")


@click.command(epilog="Example: thwart init lake-survey")
@click.argument("folder", type=click.Path(path_type=Path))
def init(folder: Path) -> None:
    """Make a bench folder with a commented bench.toml and protocol.toml.

    The protocol is that of a small lake survey: perch, roach, bream and pike; total length in whole centimetres,
    whole mass, sex, maturity, and an otolith envelope that closes each fish. Nothing is ever overwritten.
    """
    there = [name for name in FILES if (folder / name).exists()]
    if there:
        raise ThwartError(f"{folder} holds {' and '.join(there)} already", "nothing was touched; choose another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in FILES:
            text = resources.files("thwart.starter").joinpath(name).read_text(encoding="utf-8")
            with (folder / name).open("x", encoding="utf-8") as file:
                file.write(text)
    except OSError as trouble:
        raise LedgerError(f"{folder}: can't be written: {trouble.strerror}", "choose another place") from None
    click.echo(
        f"made {folder} with {' and '.join(FILES)}\n"
        "next:\n"
        "  1. thwart ports              what is plugged in, and the name to use for it\n"
        "  2. thwart listen PORT        touch the board, lay something on the scale: which profile fits\n"
        f"  3. write both into {folder / 'bench.toml'}\n"
        f"  4. thwart run {folder}\n"
        f"  5. in another terminal: thwart act {folder} batch open first-day"
    )
