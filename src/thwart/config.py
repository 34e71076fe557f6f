"""The bench folder and its `bench.toml`: which places, which instruments on which ports, which protocol."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from ipaddress import IPv4Address
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from . import tomlfile, units
from .bench.acts import ACTS
from .bench.printing import Series
from .bench.protocol import Measurand, Name, Numbers, Protocol
from .bench.protocol import read as read_protocol
from .bench.setup import InstrumentSetup, Setup
from .errors import ConfigError, ThwartError
from .paper.grid import LabelSheet
from .ports import LineSettings, Poll, Replay, Spec, UsbDevice, parse_spec
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


class TabletConfig(Strict):
    """The page for tablets. Without this table there is none."""

    port: Annotated[int, Field(ge=1, le=65535)] = 8443
    address: str = "0.0.0.0"
    names: tuple[str, ...] = ()
    certificate: str | None = None
    key: str | None = None
    trusted_network: bool = False

    @field_validator("address")
    @classmethod
    def _ipv4(cls, address: str) -> str:
        try:
            return str(IPv4Address(address))
        except ValueError:
            raise ValueError("must be an IPv4 address of this machine, 0.0.0.0 for all of them") from None

    @model_validator(mode="after")
    def _consistent(self) -> TabletConfig:
        if (self.certificate is None) != (self.key is None):
            raise tomlfile.Faults(["certificate: certificate and key go together"])
        if self.certificate is None and not self.trusted_network:
            raise tomlfile.Faults([
                "trusted_network: a tablet needs certificate and key (TLS), or trusted_network = true where nobody "
                "else is on the network"
            ])  # fmt: skip
        return self


class PageConfig(Strict):
    """The page of the bench."""

    port: Annotated[int, Field(ge=0, le=65535)] = 0
    distance_m: Annotated[float, Field(ge=0.3, le=10)] = 2.0
    ppi: Annotated[float, Field(ge=50, le=600)] = 150.0
    theme: Literal["day", "night"] = "day"
    tablet: TabletConfig | None = None


class SoundConfig(Strict):
    """What is heard from this computer's own output. Without this table: nothing, only the pages sound."""

    silent: bool = False
    tones: bool = True
    speech: bool = True
    volume: Annotated[int, Field(ge=1, le=100)] = 80
    player: Literal["pw-play", "paplay", "aplay", "afplay"] | None = None
    voice: Literal["espeak-ng", "spd-say", "say"] | None = None


class LabelsConfig(Strict):
    """The labels this bench prints: its share of the protocol's series, and its own sheets."""

    share: Annotated[str, Field(pattern=r"^[1-9][0-9]?/[1-9][0-9]?$")] | None = None
    sheets: Mapping[str, LabelSheet] = {}

    @field_validator("share")
    @classmethod
    def _some(cls, share: str | None) -> str | None:
        if share is not None and not _part(share)[0] <= _part(share)[1]:
            raise ValueError(
                "write it as the part and the number of benches, '1/1' for the only one, '2/3' for the second of three"
            )
        return share


def _part(share: str) -> tuple[int, int]:
    nth, _, of = share.partition("/")
    return int(nth), int(of)


class NumbersConfig(Numbers):
    """The bench's block of specimen numbers, in place of the protocol's, and those of the survey's other benches."""

    others: Mapping[str, Numbers] = {}

    @model_validator(mode="after")
    def _apart(self) -> NumbersConfig:
        faults = []
        blocks: list[tuple[str, Numbers]] = [("this bench", self)]
        for name, block in self.others.items():
            faults += [
                f"others.{name}: {block.first} to {block.last} overlaps {said.first} to {said.last} of {whose}"
                for whose, said in blocks
                if block.first <= said.last and said.first <= block.last
            ]
            blocks.append((name, block))
        if faults:
            raise tomlfile.Faults(faults)
        return self


class BenchConfig(Strict):
    """The file `bench.toml`."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    protocol: str = "protocol.toml"
    profiles: str = "profiles"
    places: Annotated[tuple[Name, ...], Field(min_length=1)] = ("table",)
    control_port: Annotated[int, Field(ge=0, le=65535)] = 0
    language: Literal["en", "de"] = "en"
    page: PageConfig = PageConfig()
    sound: SoundConfig | None = None
    people: tuple[Annotated[str, Field(pattern=r"^[a-z][a-z0-9_-]*$")], ...] = ()
    labels: LabelsConfig = LabelsConfig()
    numbers: NumbersConfig | None = None
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
            raise tomlfile.Faults(faults)
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


def schema_text() -> str:
    """The JSON Schema of a bench file, as it stands in `shared/bench.schema.json`."""
    return tomlfile.schema_text(BenchConfig)


def read_bench(folder: Path) -> Configured:
    """A bench folder's configuration. Raises ConfigError with every fault of every file at once."""
    path = folder / BENCH_FILE
    if not path.is_file():
        what = "no such folder" if not folder.exists() else f"no {BENCH_FILE} in it"
        raise ConfigError(str(folder), [f"{folder}: {what}"], f"`thwart init {folder}` makes a bench folder")
    text = tomlfile.read_text(path)
    data = tomlfile.parse(text, str(path))
    problems: list[str] = []
    config: BenchConfig | None = None
    protocol: Protocol | None = None
    try:
        config = tomlfile.validate(BenchConfig, data, text, str(path))
    except ConfigError as error:
        problems += error.problems
    protocol_path = folder / (config.protocol if config is not None else str(data.get("protocol", "protocol.toml")))
    try:
        protocol = read_protocol(tomlfile.read_text(protocol_path), str(protocol_path))
    except ConfigError as error:
        problems += error.problems
    wired: list[Wired] = []
    lines = tomlfile.key_lines(text)
    for name in config.instruments if config is not None else ():
        assert config is not None
        one, faults = _wire(folder, config, protocol, name)
        wired += one
        for key, fault in faults:
            problems.append(tomlfile.told(str(path), lines, ("instruments", name, key), fault) if key else fault)
    if config is not None and protocol is not None:
        problems += _misplaced(config, protocol, protocol_path)
        if config.numbers is not None:
            block = Numbers(first=config.numbers.first, last=config.numbers.last)
            protocol = protocol.model_copy(update={"numbers": block})
        try:
            protocol = _sharing(config.labels.share, protocol)
        except ValueError as error:
            problems.append(tomlfile.told(str(path), lines, ("labels", "share"), str(error)))
        if len(wired) == len(config.instruments):  # else what is missing may be what has a fault
            problems += _unserved(config, protocol, wired, protocol_path)
    tomlfile.complain(str(path), problems)
    assert config is not None
    assert protocol is not None
    setups = {w.name: _setup(w, config.instruments[w.name]) for w in wired}
    return Configured(
        folder, config, protocol, tuple(wired), Setup(config.name, protocol, config.places, setups, config.people)
    )


def _sharing(share: str | None, protocol: Protocol) -> Protocol:
    """The protocol with the bench's share as its series of containers. Raises ValueError where there can't be one."""
    if share is None:
        return protocol
    if protocol.containers is None:
        raise ValueError("the protocol has no containers to share labels of")
    first, last = Series(protocol.containers).part(*_part(share))
    containers = protocol.containers.model_copy(update={"first": first, "last": last})
    return protocol.model_copy(update={"containers": containers})


def _misplaced(config: BenchConfig, protocol: Protocol, path: Path) -> Iterator[str]:
    """Places of a row that this bench doesn't have."""
    lines = tomlfile.key_lines(tomlfile.read_text(path))
    for at, stop in enumerate(protocol.row):
        if stop.place not in config.places:
            fault = f"there is no place {stop.place!r} in {BENCH_FILE}; {tomlfile.nearest(stop.place, config.places)}"
            yield tomlfile.told(str(path), lines, ("row", at, "place"), fault)


def _unserved(config: BenchConfig, protocol: Protocol, wired: Sequence[Wired], path: Path) -> Iterator[str]:
    """Measurands that no instrument of this bench can give where they are taken."""
    lines = tomlfile.key_lines(tomlfile.read_text(path))
    places = {stop.place for stop in protocol.row} or set(config.places)
    for at, m in enumerate(protocol.measurands):
        loc: tuple[int | str, ...] = ("measurands", at, "name")
        if protocol.flow == "tally" and m.name != protocol.tally:
            continue  # a tally takes nothing else
        serving = [w for w in wired if _can_serve(config.instruments[w.name], w.profile, m)]
        names = " and ".join(w.name for w in serving)
        by_hand = m.hand_division is not None and m.name != protocol.tally
        if not serving and not by_hand:
            ways = f"add one of kind {m.quantity} or name it in the `serves` of one"
            if m.name == protocol.tally:
                loc = ("tally",)
            else:
                ways += "; where it is entered by hand, say so by its hand_division"
            yield tomlfile.told(str(path), lines, loc, f"no instrument in {BENCH_FILE} gives {m.name}: {ways}")
        elif serving and not by_hand and places.isdisjoint(p for w in serving for p in w.places):
            fault = f"{names}, which gives {m.name}, stands at no place of the row: see its `places` in {BENCH_FILE}"
            yield tomlfile.told(str(path), lines, loc, fault)
        for nth, stop in enumerate(protocol.row):
            asked = m.name in stop.measurands and stop.place in config.places
            if asked and serving and not by_hand and not any(stop.place in w.places for w in serving):
                fault = f"{stop.place} takes {m.name}, but {names} isn't there: see its `places` in {BENCH_FILE}"
                yield tomlfile.told(str(path), lines, ("row", nth, "measurands"), fault)


def _can_serve(i: InstrumentConfig, profile: Profile, m: Measurand) -> bool:
    return profile.kind == m.quantity and (i.serves is None or m.name in i.serves)


def _wire(
    folder: Path, config: BenchConfig, protocol: Protocol | None, name: str
) -> tuple[list[Wired], list[tuple[str, str]]]:
    """The instrument, or what is wrong: key and fault; without a key the fault says itself where it lies."""
    i = config.instruments[name]
    faults: list[tuple[str, str]] = []
    try:
        profile = _profile(folder, config, i.profile)
        if i.division is not None and profile.division is not None:
            profile = profile.model_copy(update={"division": i.division})
        faults += _misfits(i, profile, protocol)
    except ConfigError as error:
        faults += [("", problem) for problem in error.problems]
    except ThwartError as error:
        faults.append(("profile", f"{error.message}; {error.hint}"))
    try:
        spec = parse_spec(i.port)
    except ConfigError as error:
        faults += [("port", problem.removeprefix("port: ")) for problem in error.problems]
    if not faults:
        faults += [("port", fault) for fault in _port_misfits(profile, spec)]
    if faults:
        return [], faults
    return [Wired(name, profile, spec, i.port, _line(profile, i.line), _poll(profile), i.places or config.places)], []


def _profile(folder: Path, config: BenchConfig, name: str) -> Profile:
    if name.endswith(".toml"):
        return load_profile(folder / name)
    return find_profile(name, [folder / config.profiles])


def _misfits(i: InstrumentConfig, profile: Profile, protocol: Protocol | None) -> Iterator[tuple[str, str]]:
    """What an instrument can't do that the file says it does: key, fault."""
    if i.keys and profile.kind != "key":
        yield "keys", f"profile {profile.name} is of kind {profile.kind}; only keys and pedals have keys"
    if protocol is None or i.serves is None:
        return
    known = {m.name: m.quantity for m in protocol.measurands}
    for measurand in i.serves:
        if measurand not in known:
            yield "serves", f"there is no measurand {measurand!r}; {tomlfile.nearest(measurand, known)}"
        elif known[measurand] != profile.kind:
            yield "serves", f"{measurand} is a {known[measurand]}, profile {profile.name} gives {profile.kind}"


def _port_misfits(profile: Profile, spec: Spec) -> Iterator[str]:
    """Reports need a port that brings reports, and text one that brings text."""
    brings = isinstance(spec, UsbDevice) and spec.kind == "hid"
    if profile.framing.reports is not None and not brings and not isinstance(spec, Replay):
        yield f"profile {profile.name} reads a USB device's reports; its port is named hid:VID:PID, not {spec}"
    if profile.framing.reports is None and brings:
        yield f"{spec} brings reports, which profile {profile.name} can't read; take one of the profiles usage-page-…"


def _line(profile: Profile, override: LineOverride) -> LineSettings:
    given = {key: value for key, value in override.model_dump().items() if value is not None}
    own = profile.line.model_dump(exclude={"latency_ms"})
    return LineSettings(**{**own, **given})


def _poll(profile: Profile) -> Poll | None:
    if profile.ask is None:
        return None
    return Poll(profile.ask.command, profile.ask.interval_ms / 1000)


def _setup(wired: Wired, i: InstrumentConfig) -> InstrumentSetup:
    profile = wired.profile

    def base(value: Decimal | None) -> Decimal | None:
        return None if value is None or profile.unit is None else units.to_base(value, profile.unit)

    low, high = profile.range or (None, None)
    return InstrumentSetup(
        name=wired.name,
        profile=profile.name,
        port=i.port,
        kind=profile.kind,
        emptied=profile.emptied,
        places=wired.places,
        serves=i.serves,
        division=base(profile.division),
        minimum=base(low),
        maximum=base(high),
        keys=i.keys,
    )
