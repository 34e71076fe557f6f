"""The argument BENCH: a bench folder, by default the one we stand in."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from ..config import BENCH_FILE
from ..errors import NotFound
from ..service.folder import LEDGER

F = TypeVar("F", bound=Callable[..., Any])


def is_bench(folder: Path) -> bool:
    """Whether a folder is a bench folder."""
    return (folder / BENCH_FILE).is_file()


def bench_of(text: str | Path | None) -> Path:
    """The bench folder that is meant. Raises NotFound where it is none."""
    folder = Path(text or ".")
    if is_bench(folder):
        return folder
    if text is None:
        raise NotFound(
            f"no bench named, and this folder is none (it holds no {BENCH_FILE})",
            "go into a bench folder or name one; `thwart init FOLDER` makes one",
        )
    what = f"no {BENCH_FILE} in it" if folder.is_dir() else "no such folder"
    raise NotFound(f"{folder}: {what}", f"`thwart init {folder}` makes a bench folder")


def ledger_of(text: str | Path | None) -> Path:
    """The ledger file of a bench folder, or the file itself. Raises NotFound where there is none yet."""
    if text is not None and Path(text).is_file():
        return Path(text)
    # A backup or a copied ledger lies in folders that are no benches, too.
    path = Path(text or ".") / LEDGER
    if not path.is_file():
        bench_of(text)
        raise NotFound(f"{path.parent}: no {LEDGER} yet", f"`thwart run {path.parent}` makes it")
    return path


def bench_argument(command: F) -> F:
    """The argument BENCH."""
    return click.argument("bench", required=False, type=click.Path(path_type=Path))(command)
