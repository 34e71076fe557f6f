"""The bench folder and its `bench.toml`: which places, which instruments on which ports, which protocol."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from . import tomlfile, units
from .bench.acts import ACTS
from .bench.protocol import Name, Protocol
from .bench.protocol import read as read_protocol
from .bench.setup import InstrumentSetup, Setup
from .errors import ConfigError, ThwartError
from .ports import LineSettings, Poll, Spec, parse_spec
from .profiles import Profile, find_profile, load_profile
from .tomlfile import Strict

BENCH_FILE = "bench.toml"


class LineOverride(Strict):
    """Line settings that differ from the profile's, as the instrument's own menu was set."""

    baud: Annotated[int, Field(ge=50, le=4_000_000)] | None = None
    data_bits: Literal[5, 6, 7, 8] | None = None
    parity: Literal["none", "even", "odd", "mark", "space"] | None = None
    stop_bits: Annotated[float, Field(ge=1, le=2, multiple_of=0.5)] | None = None
    flow: Literal["none", "xonxoff", "rtscts"] | None = None
    dtr: bool | None = None
    rts: bool | None = None


class InstrumentConfig(Strict):
    """One instrument of the bench."""

    profile: str
    port: str
    places: tuple[Name, ...] = ()
    serves: tuple[Name, ...] | None = None
    division: Annotated[Decimal, Field(gt=0, allow_inf_nan=False)] | None = None
    keys: Mapping[str, str] = {}
    line: LineOverride = LineOverride()


class BenchConfig(Strict):
    """The file `bench.toml`."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    protocol: str = "protocol.toml"
    profiles: str = "profiles"
    places: Annotated[tuple[Name, ...], Field(min_length=1)] = ("table",)
    control_port: Annotated[int, Field(ge=0, le=65535)] = 0
    instruments: Mapping[Name, InstrumentConfig] = {}

    @model_validator(mode="after")
    def _consistent(self) -> BenchConfig:
        faults = []
        by_port: dict[str, str] = {}
        for name, i in self.instruments.items():
            if i.port in by_port:
                faults.append(
                    f"instruments.{name}.port: {i.port} is the port of {by_port[i.port]} already; two instruments can't share one"
                )
            by_port.setdefault(i.port, name)
            faults += [
                f"instruments.{name}.places: there is no place {p!r}; {tomlfile.nearest(p, self.places)}"
                for p in i.places
                if p not in self.places
            ]
            for key, words in i.keys.items():
                act = words.split()[0] if words.split() else ""
                if act not in ACTS:
                    faults.append(
                        f"instruments.{name}.keys.{key}: there is no act {act!r}; {tomlfile.nearest(act, ACTS)}"
                    )
        if faults:
            raise ValueError("; ".join(faults))
        return self


@dataclass(frozen=True, slots=True)
class Wired:
    """One instrument, ready to be opened."""

    name: str
    profile: Profile
    spec: Spec
    port: str
    line: LineSettings
    poll: Poll | None
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Configured:
    """A bench folder, read and checked whole."""

    folder: Path
    config: BenchConfig
    protocol: Protocol
    instruments: tuple[Wired, ...]
    setup: Setup


def read_bench(folder: Path) -> Configured:
    """A bench folder's configuration. Raises ConfigError with every fault of every file at once."""
    path = folder / BENCH_FILE
    if not path.is_file():
        what = "no such folder" if not folder.exists() else f"no {BENCH_FILE} in it"
        raise ConfigError(str(folder), [f"{folder}: {what}"], f"`thwart init {folder}` makes a bench folder")
    text = tomlfile.read_text(path)
    config = tomlfile.validate(BenchConfig, tomlfile.parse(text, str(path)), text, str(path))
    lines = tomlfile.key_lines(text)
    problems: list[str] = []
    protocol: Protocol | None = None
    try:
        protocol_path = folder / config.protocol
        protocol = read_protocol(tomlfile.read_text(protocol_path), str(protocol_path))
    except ConfigError as error:
        problems += error.problems
    wired: list[Wired] = []
    setups: dict[str, InstrumentSetup] = {}
    for name, i in config.instruments.items():
        where = f"{path}:{lines.get(('instruments', name), lines.get(('instruments',), 1))}"
        try:
            profile = _profile(folder, config, i.profile)
            spec = parse_spec(i.port, f"instruments.{name}.port")
        except ConfigError as error:
            problems += [p if p.startswith(str(folder)) else f"{where}: {p}" for p in error.problems]
            continue
        except ThwartError as error:
            problems.append(f"{where}: instruments.{name}.profile: {error.message}; {error.hint}")
            continue
        places = i.places or config.places
        problems += [f"{where}: {p}" for p in _misfits(name, i, profile, protocol)]
        wired.append(Wired(name, profile, spec, i.port, _line(profile, i.line), _poll(profile), places))
        setups[name] = _setup(name, i, profile, places)
    tomlfile.complain(str(path), problems)
    assert protocol is not None
    setup = Setup(config.name, protocol, config.places, setups)
    return Configured(folder, config, protocol, tuple(wired), setup)


def _profile(folder: Path, config: BenchConfig, name: str) -> Profile:
    if name.endswith(".toml"):
        return load_profile(folder / name)
    return find_profile(name, [folder / config.profiles])


def _misfits(name: str, i: InstrumentConfig, profile: Profile, protocol: Protocol | None) -> list[str]:
    """What an instrument can't do that the file says it does."""
    out = []
    if i.keys and profile.kind != "key":
        out.append(
            f"instruments.{name}.keys: profile {profile.name} is of kind {profile.kind}, only keys and pedals have keys"
        )
    if protocol is None or i.serves is None:
        return out
    known = {m.name: m.quantity for m in protocol.measurands}
    for measurand in i.serves:
        if measurand not in known:
            out.append(
                f"instruments.{name}.serves: there is no measurand {measurand!r}; {tomlfile.nearest(measurand, known)}"
            )
        elif known[measurand] != profile.kind:
            out.append(
                f"instruments.{name}.serves: {measurand} is a {known[measurand]}, profile {profile.name} gives {profile.kind}"
            )
    return out


def _line(profile: Profile, override: LineOverride) -> LineSettings:
    given = {key: value for key, value in override.model_dump().items() if value is not None}
    own = profile.line.model_dump(exclude={"latency_ms"})
    return LineSettings(**{**own, **given})


def _poll(profile: Profile) -> Poll | None:
    if profile.ask is None:
        return None
    return Poll(profile.ask.command, profile.ask.interval_ms / 1000)


def _setup(name: str, i: InstrumentConfig, profile: Profile, places: tuple[str, ...]) -> InstrumentSetup:
    def base(value: Decimal | None) -> Decimal | None:
        return None if value is None or profile.unit is None else units.to_base(value, profile.unit)

    low, high = profile.range or (None, None)
    return InstrumentSetup(
        name=name,
        profile=profile.name,
        port=i.port,
        kind=profile.kind,
        emptied=profile.emptied,
        places=places,
        serves=i.serves,
        division=base(i.division if i.division is not None else profile.division),
        minimum=base(low),
        maximum=base(high),
        keys=i.keys,
    )
