"""`thwart profile`: instrument profiles listed, shown and proved."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from .. import tomlfile
from ..config import BENCH_FILE, BenchConfig
from ..errors import ConfigError, ThwartError
from ..profiles import Profile, check_profile, find_profile, load_profile, shipped_profiles
from .benches import is_bench
from .screen import table


@click.group(epilog="Example: thwart profile list")
def profile() -> None:
    """List, show and check instrument profiles.

    Those of the bench folder you stand in come before the ones that come with the program.
    """


@profile.command("list", epilog="Example: thwart profile list")
def list_() -> None:
    """List every profile with its kind and what it is."""
    rows = []
    for path in known_profiles().values():
        one = load_profile(path)
        rows.append((one.name, one.kind, one.title))
    width = shutil.get_terminal_size((80, 24)).columns
    # Titles are sentences: rather a line that runs on than one name a paragraph.
    longest = max((sum(map(len, row)) for row in rows), default=0) + 4
    click.echo(
        "\n".join(table([("name", "kind", "what it is"), *rows], width if width < 60 else max(width, longest + 40)))
    )


@profile.command(epilog="Example: thwart profile show number-unit-length > profiles/my-board.toml")
@click.argument("name")
def show(name: str) -> None:
    """Print a profile's file, to read it or to begin one of your own."""
    path = _path_of(name)
    click.echo(tomlfile.read_text(path), nl=False)


@profile.command(epilog="Examples: thwart profile check    thwart profile check profiles/my-board.toml")
@click.argument("names", nargs=-1, metavar="[NAME]...")
def check(names: tuple[str, ...]) -> None:
    """Prove profiles by their own sample frames: each must mean exactly what the profile says it means.

    Without a name, all of them. A name is a profile's name or its file. Exit code 1 where one fails.
    """
    problems: list[str] = []
    for path in [_path_of(name) for name in names] or known_profiles().values():
        try:
            one = load_profile(path)
            found = check_profile(one)
        except ConfigError as error:
            problems += error.problems
            continue
        problems += found
        if not found:
            click.echo(f"{one.name}: {len(one.sample)} samples, all as stated")
    if problems:
        raise ConfigError("profiles", problems, "mend the profile, or the meaning its sample states")


def profile_named(name: str) -> Profile:
    """A profile by name or by file. Raises NotFound with the nearest names, ConfigError for a faulty file."""
    return load_profile(_path_of(name))


def known_profiles() -> dict[str, Path]:
    """Name → file: the shipped ones, and over them those of the bench folder we stand in."""
    own = {path.stem: path for folder in _own_folders() for path in folder.glob("*.toml")}
    return dict(sorted((shipped_profiles() | own).items()))


def _path_of(name: str) -> Path:
    path = Path(name)
    if path.suffix == ".toml":
        if not path.is_file():
            raise ThwartError(f"{path}: no such file", "name a profile's file, or a profile of `thwart profile list`")
        return path
    known = known_profiles()
    if name not in known:
        find_profile(name, _own_folders())  # raises, with the nearest names
    return known[name]


def _own_folders() -> list[Path]:
    here = Path()
    if not is_bench(here):
        return []
    try:
        name = tomlfile.load(BenchConfig, here / BENCH_FILE).profiles
    except ConfigError:
        name = "profiles"  # whether the bench file is sound isn't asked here
    return [here / name]
