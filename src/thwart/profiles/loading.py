"""Finding and reading profiles: a user's folders first, then the shipped ones."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..errors import ConfigError, NotFound
from ..tomlfile import nearest, parse, read_text, validate
from ..tomlfile import schema_text as schema_of
from .model import Profile

_PACKAGE = Path(__file__).resolve().parents[1]
#: Installed, the shipped profiles lie inside the package; in a checkout, at its top level.
_SHIPPED = (_PACKAGE / "data" / "hardware_profiles", _PACKAGE.parents[1] / "hardware_profiles")


def load_profile(path: Path) -> Profile:
    """The profile in a file; its name is the file's stem. Raises ConfigError with all faults at once."""
    text = read_text(path)
    data = parse(text, str(path))
    if "name" in data:
        raise ConfigError(str(path), [f"{path}: name: a profile is named by its file ({path.stem}); remove the key"])
    return validate(Profile, {**data, "name": path.stem}, text, str(path))


def schema_text() -> str:
    """The JSON Schema of a profile's file, as it stands in `shared/profile.schema.json`."""
    return schema_of(Profile, without=("name",))


def shipped_profiles() -> dict[str, Path]:
    """Name → file of every profile that comes with the program, by name."""
    folder = next((folder for folder in _SHIPPED if folder.is_dir()), None)
    return {} if folder is None else _profiles_in(folder)


def find_profile(name: str, folders: Sequence[Path] = ()) -> Profile:
    """The profile of that name from the first folder that has it, else the shipped one.

    Raises NotFound with the nearest names, ConfigError where the file has faults.
    """
    known = shipped_profiles()
    for folder in reversed(folders):
        known |= _profiles_in(folder)
    if name not in known:
        raise NotFound(f"no profile is named {name!r}", nearest(name, known) or "`thwart profile list` shows all")
    return load_profile(known[name])


def _profiles_in(folder: Path) -> dict[str, Path]:
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}
