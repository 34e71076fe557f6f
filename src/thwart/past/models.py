"""Species models in files: those of a protocol, and files of models alone as `thwart model fit` writes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from ..bench import protocol
from ..checks.fit import Fitted
from ..checks.model import RelationPrior, SpeciesModel
from ..tomlfile import Strict, parse, read_text, validate


class ModelFile(Strict):
    """A file that holds species only, each as in a protocol; names may be any text."""

    species: Mapping[str, protocol.Species]


def load_models(path: Path) -> dict[str, SpeciesModel]:
    """Species models with their limits, by name. Raises ConfigError with every fault."""
    return {name: _whole(species) for name, species in load_species(path).items()}


def load_species(path: Path) -> Mapping[str, protocol.Species]:
    """The species of a protocol or of a file of models. Raises ConfigError with every fault."""
    text, where = read_text(path), str(path)
    data = parse(text, where)
    if "measurands" in data:
        return protocol.read(text, where).species
    return validate(ModelFile, data, text, where).species


def _whole(species: protocol.Species) -> SpeciesModel:
    names = species.limits
    return species.whole_model({n: "mass" if n.endswith("_mass") else "length" for n in names})


def known_as(species: Mapping[str, protocol.Species]) -> dict[str, str]:
    """What a table may call a species (its name, title, scientific name in any case) → its name in the models."""
    out: dict[str, str] = {}
    for name, s in species.items():
        for said in (name, s.title, s.scientific):
            if said:
                out.setdefault(said.casefold(), name)
    return out


def model_text(fitted: Mapping[str, Sequence[Fitted]], apart: Sequence[str] = ()) -> str:
    """Fitted relations as TOML: a file of models, or tables to copy into a protocol; `apart` what made their groups."""
    parts = []
    for species, fits in fitted.items():
        name = species if _bare(species) else f'"{species}"'
        parts.append(f'[species.{name}]\ntitle = "{_quoted(species)}"\n')
        if any(f.prior.group for f in fits):
            listed = ", ".join(f'"{_quoted(one)}"' for one in apart)
            parts.append(f"[species.{name}.model]\napart = [{listed}]\n")
        parts += [_relation(name, f.prior) for f in fits]
    return "\n".join(parts)


def _relation(name: str, p: RelationPrior) -> str:
    lines = [f"[[species.{name}.model.relations]]"]
    for key, value in p.model_dump(exclude_defaults=True).items():
        lines.append(f'{key} = "{_quoted(value)}"' if isinstance(value, str) else f"{key} = {value}")
    return "\n".join(lines) + "\n"


def _bare(name: str) -> bool:
    return bool(name) and all(c.isascii() and (c.isalnum() or c in "_-") for c in name)


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')
