"""`thwart learn`: a profile from what an instrument sends and what a person sees, at the bench or from files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from .. import tomlfile
from ..config import BENCH_FILE, BenchConfig
from ..errors import ConfigError, ThwartError
from ..learn import LEARNED, Evidence, Learned, parse_shown, profile_text
from ..learn import learn as infer
from ..ports import parse_spec, read_bytes_or_capture
from ..ports.spec import Replay, UsbDevice
from ..profiles import check_profile, load_profile
from ..tomlfile import read_text
from .benches import is_bench
from .capturing import evidence_of, line_keys
from .instruments import line_options, line_settings


@click.command(
    epilog="Examples: thwart learn /dev/ttyUSB0 --name pan-scale    "
    "thwart learn --capture scale.capture --shown scale.csv --out pan-scale.toml",
)
@click.argument("port", required=False)
@click.option("--name", metavar="NAME", help="The profile's name; without --out it is written to NAME.toml.")
@click.option("--out", type=click.Path(path_type=Path), metavar="PROFILE.toml",
              help="The profile to write; its name is the file's.")  # fmt: skip
@click.option("--kind", type=click.Choice(["length", "mass", "identifier"]),
              help="What it measures; by default asked, or told from what was shown.")  # fmt: skip
@click.option("--title", metavar="TEXT", help="The profile's title; by default one is made up from what was found.")
@click.option("--say", is_flag=True, help="Say each prompt aloud, where a speech program is installed.")
@click.option("--capture", type=click.Path(path_type=Path), metavar="FILE",
              help="From files: what it sent, a file of `thwart listen --out`, or plain bytes.")  # fmt: skip
@click.option("--shown", type=click.Path(path_type=Path), metavar="FILE.csv",
              help="From files: what it showed, offset,value,unit,condition.")  # fmt: skip
@line_options
def learn(
    port: str | None, name: str | None, out: Path | None, kind: str | None, title: str | None, say: bool,
    capture: Path | None, shown: Path | None, **settings: Any,
) -> None:  # fmt: skip
    """Make a profile of an unknown instrument from what it sends and what its display shows.

    With PORT at the bench: line settings are tried until text comes (or those given are taken), then you are led: what
    to put on, touch or scan; you type what the display shows. It stops asking when one explanation is left, and keeps
    what was sent and shown beside the profile.

    Without PORT from files: in the file of --shown each row says what the instrument showed while the bytes from its
    offset up to the next row's offset came. The condition is one of ok, zero, moving, overload, underload, error,
    nothing; value and unit may be empty; for a scanner or tag reader the value is the identifier. Four to six rows
    with values that differ in every digit usually do. Where they can be understood in more than one way, nothing is
    written, the observations that would settle it are named, and the exit code is 3.

    The profile accepts the forms that were shown and rejects every other frame.
    """
    if port is None and (capture is None or shown is None):
        raise click.UsageError("needs PORT, to learn at the instrument, or --capture with --shown, to learn from files")
    if port is not None and (capture is not None or shown is not None):
        raise click.UsageError("PORT is for learning at the instrument, --capture and --shown for learning from files")
    path = _target(name, out, at_bench=port is not None)
    if port is None:
        if say or any(value is not None for value in settings.values()):
            raise click.UsageError("--say and line settings are for learning at a PORT")
        assert capture is not None
        assert shown is not None
        _from_files(capture, shown, path, kind, title)
        return
    spec = parse_spec(port, "PORT")
    if isinstance(spec, UsbDevice) and spec.kind == "hid":
        raise ThwartError(
            f"{port} describes its own reports: there is nothing to learn",
            "take the profile usage-page-scale, usage-page-keyboard or usage-page-keys; docs/usb.md",
        )
    if isinstance(spec, Replay):
        raise ThwartError(f"{port} is a capture", "learn from files: --capture FILE --shown FILE.csv")
    from .teaching import teach

    tries = not any(value is not None for key, value in settings.items() if key not in ("dtr", "rts", "flow"))
    teach(
        spec, port, line_settings(None, settings), tries, kind, path, title, say,
        lambda learned, evidence: _finish(path, learned, evidence),
    )  # fmt: skip


def _from_files(capture: Path, shown: Path, out: Path, kind: str | None, title: str | None) -> None:
    heard = read_bytes_or_capture(capture)
    evidence = evidence_of(heard, parse_shown(read_text(shown), len(heard.data), str(shown)))
    learned = infer(evidence, out.stem, kind, line_keys(heard))
    _finish(out, learned.titled(title) if title else learned, evidence)


def _target(name: str | None, out: Path | None, *, at_bench: bool) -> Path:
    """The file to write, checked before anybody has put anything on a scale."""
    if out is None and name is None:
        if not at_bench:
            raise click.UsageError("needs --name NAME or --out PROFILE.toml")
        name = click.prompt("What shall the profile be called?", prompt_suffix=" ")
        assert name is not None
    if name is not None and (not name.strip() or Path(name).name != name or name.endswith(".toml")):
        raise ThwartError(f"--name {name!r} must be a plain word, as pan-scale", "the file's place goes into --out")
    if out is None:
        out = _folder() / f"{name}.toml"
    elif out.suffix != ".toml":
        raise ThwartError(f"--out {out} must end in .toml", "a profile is named by its file: pan-scale.toml")
    elif name is not None and out.stem != name:
        raise ThwartError(
            f"--name {name} and --out {out} differ", "a profile is named by its file: give one of the two"
        )
    if not _replaceable(out):
        raise ThwartError(
            f"{out} exists already, and wasn't written by `thwart learn`", "choose another name, or remove it"
        )
    if not out.parent.is_dir():
        raise ThwartError(f"there is no folder {out.parent}", "make it, or choose another")
    return out


def _folder() -> Path:
    """The profiles folder of the bench we stand in, else where we stand."""
    if not is_bench(Path()):
        return Path()
    try:
        folder = Path(tomlfile.load(BenchConfig, Path(BENCH_FILE)).profiles)
    except ConfigError:
        return Path()  # whether the bench file is sound isn't asked here
    folder.mkdir(exist_ok=True)
    return folder


def _finish(out: Path, learned: Learned, evidence: Evidence) -> None:
    """Write the profile and prove it by its own samples."""
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


def _write(out: Path, text: str) -> None:
    """The whole file or none of it."""
    half = out.with_name(out.name + ".part")
    try:
        half.write_text(text, encoding="utf-8")
        half.replace(out)
    except OSError as error:
        raise ThwartError(f"{out} can't be written: {error.strerror}", "choose a folder you may write to") from None
