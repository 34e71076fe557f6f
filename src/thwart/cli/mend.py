"""`thwart mend`: a later correction, whether the service runs or not."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from ..bench.acts import MEND_REASONS
from ..errors import ThwartError
from .acting import do_acts
from .benches import bench_of, ledger_of

_KINDS = ("value", "missing", "swap", "fields", "unit", "species", "slide")


@click.command(
    context_settings={"ignore_unknown_options": True},
    epilog="Examples: thwart mend lake-survey value 118 whole_mass 312 g misread --by ida --see 'photo 12'    "
    "thwart mend swap 118 119 whole_mass exchanged    thwart mend slide whole_mass 118 131 -1",
)
@click.argument("words", nargs=-1, metavar="[BENCH] KIND ARGS... REASON")
@click.option("--by", "who", metavar="NAME", help="Who corrects; else the recorder at the fish's place.")
@click.option("--see", "evidence", metavar="TEXT", help="What shows it: a photo, a page of the field book.")
def mend(words: tuple[str, ...], who: str | None, evidence: str | None) -> None:
    """Correct what was recorded.

    \b
    value NUMBER MEASURAND VALUE UNIT REASON   another value
    missing NUMBER MEASURAND WHY REASON        the value is none
    swap NUMBER NUMBER MEASURAND REASON        two fish have each other's value
    fields NUMBER MEASURAND MEASURAND REASON   two values of one fish are exchanged
    unit FROM TO MEASURAND UNIT REASON         a range was measured in another unit
    species NUMBER NAME REASON                 another species
    slide MEASURAND FROM TO +1|-1              a range slipped by one fish

    Nothing is overwritten: the old value stays in the record beside the new one, who, when, why and the evidence. A mend can be undone
    (`thwart act undo`). The species concerned is learned anew. Reasons: misread, misheard, mistyped, wrong-fish, exchanged, slipped,
    wrong-unit, wrong-species, not-tared, measured-again, other. Where no service runs on the bench it is done all the same.
    """
    folder, said = _folder_and_words(words)
    if said[0] == "slide":
        if who or evidence:
            raise click.UsageError("slide says itself why; leave out --by and --see")
        answers = [_do(folder, "slide", said[1:]) for _ in range(2)][1:]  # a range is moved by saying it twice
    else:
        more = (["by", who] if who else []) + (["see", *evidence.split()] if evidence else [])
        answers = [_do(folder, "mend", [*said, *more])]
    for text in answers[0]["said"] or ["done"]:
        click.echo(text)


def _folder_and_words(words: tuple[str, ...]) -> tuple[Path, list[str]]:
    folder = None
    if words and words[0] not in _KINDS:
        folder, words = words[0], words[1:]
    if not words or words[0] not in _KINDS:
        raise click.UsageError(f"say what to mend: {', '.join(_KINDS)}; reasons: {', '.join(MEND_REASONS)}")
    return bench_of(folder), list(words)


def _do(folder: Path, act: str, args: list[str]) -> Mapping[str, Any]:
    """Through the control port, or where no service runs on the bench by itself. Raises ThwartError with the refusal."""
    ledger_of(folder)
    (answer,) = do_acts(folder, [(act, args)])
    if not answer["ok"]:
        raise ThwartError(str(answer["error"]), str(answer["hint"]))
    return answer
