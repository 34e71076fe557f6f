"""`thwart learn`: a profile from bytes and from what a person saw."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ..errors import ThwartError
from ..learn import LEARNED, Evidence, parse_shown, profile_text
from ..learn import learn as infer
from ..ports.capture import Capture, read_bytes_or_capture
from ..profiles import check_profile, load_profile
from ..tomlfile import read_text

#: Pieces of a capture closer together than this are one read that was cut in two, not a silence.
_PAUSE_MS = 1.0


@click.command(
    epilog="Example: thwart learn --capture scale.capture --shown scale.csv --out pan-scale.toml",
)
@click.option("--capture", required=True, type=click.Path(path_type=Path), metavar="FILE",
              help="What the instrument sent: a file of `thwart listen --out`, or plain bytes.")  # fmt: skip
@click.option("--shown", required=True, type=click.Path(path_type=Path), metavar="FILE.csv",
              help="What it showed: offset,value,unit,condition.")  # fmt: skip
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="PROFILE.toml",
              help="The profile to write; its name is the file's.")  # fmt: skip
@click.option("--kind", type=click.Choice(["length", "mass", "identifier"]),
              help="What it measures; by default told from the unit, or from values that are no numbers.")  # fmt: skip
@click.option("--title", metavar="TEXT", help="The profile's title; by default one is made up from what was found.")
def learn(capture: Path, shown: Path, out: Path, kind: str | None, title: str | None) -> None:
    """Make a profile of an unknown instrument from bytes and from what its display showed.

    In the file of --shown each row says what the instrument showed while the bytes from its offset up to the next row's
    offset came. The condition is one of ok, zero, moving, overload, underload, error, nothing; value and unit may be
    empty; for a scanner or tag reader the value is the identifier. Four to six rows with values that differ in every
    digit usually do.

    The profile accepts the forms that were shown and rejects every other frame. Where what was shown can be understood
    in more than one way, nothing is written, the observations that would settle it are named, and the exit code is 3.
    """
    if out.suffix != ".toml":
        raise ThwartError(f"--out {out} must end in .toml", "a profile is named by its file: pan-scale.toml")
    if not _replaceable(out):
        raise ThwartError(
            f"{out} exists already, and wasn't written by `thwart learn`", "choose another name, or remove it"
        )
    heard = read_bytes_or_capture(capture)
    evidence = evidence_of(heard, parse_shown(read_text(shown), len(heard.data), str(shown)))
    learned = infer(evidence, out.stem, kind, _line(heard))
    if title:
        learned = learned.titled(title)
    _write(out, profile_text(learned, evidence))
    profile = load_profile(out)
    problems = check_profile(profile)
    if problems:
        out.unlink()
        raise ThwartError(
            "the profile fails its own samples: " + "; ".join(problems), "please report it with the capture"
        )
    samples = sum(not sample.chatter for sample in profile.sample)
    click.echo(f"{out}: {profile.title}; {len(profile.layout)} forms, {samples} samples, all proved")
    for note in learned.notes:
        click.echo(f"  {note}", err=True)


def _replaceable(out: Path) -> bool:
    """Whether nothing a person wrote would be lost."""
    return not out.exists() or (out.is_file() and read_text(out)[: len(LEARNED)] in ("", LEARNED))


def evidence_of(heard: Capture, observations: Any) -> Evidence:
    """A capture's bytes with the silences between its pieces."""
    silences = []
    offset = 0
    last: int | None = None
    for chunk in heard.chunks:
        if last is not None and (pause := (chunk.at_ns - last) / 1e6) > _PAUSE_MS:
            silences.append((offset, pause))
        last = chunk.at_ns
        offset += len(chunk.data)
    return Evidence(heard.data, observations, tuple(silences))


def _line(heard: Capture) -> dict[str, Any]:
    """The settings the capture was made with, as the keys of a profile; those every line has are left out."""
    line = heard.line
    if line is None:
        return {}
    usual = {"data_bits": 8, "parity": "none", "stop_bits": 1, "flow": "none", "dtr": True, "rts": True}
    given = {key: getattr(line, key) for key in ("baud", *usual)}
    return {key: value for key, value in given.items() if key == "baud" or value != usual[key]}


def _write(out: Path, text: str) -> None:
    """The whole file or none of it."""
    half = out.with_name(out.name + ".part")
    try:
        half.write_text(text, encoding="utf-8")
        half.replace(out)
    except OSError as error:
        raise ThwartError(f"{out} can't be written: {error.strerror}", "choose a folder you may write to") from None
