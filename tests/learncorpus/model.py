"""What an invented instrument is, and how a learned profile is judged on it."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from thwart import units
from thwart.profiles import Profile
from thwart.wire import decode_frames


@dataclass(frozen=True)
class Said:
    """What an instrument shows at one moment."""

    value: Decimal | None
    unit: str | None
    condition: str = "ok"
    identifier: str | None = None


@dataclass
class Instrument:
    """`send` gives a frame's bytes for what is shown (n counts frames). `shows` lists the conditions it knows, the
    first `shown` of the rows of a case are drawn from `taught`; conditions beyond those stay unshown."""

    name: str
    send: Callable[[Said, int], bytes]
    decimals: dict[str, int]
    """Unit → decimals of the display."""
    largest: int
    negative: bool = False
    taught: Sequence[str] = ("ok",)
    untaught: Sequence[str] = ()
    marked: bool = True
    """Whether movement shows in the frame."""
    streams: bool = True
    chatter: bytes = b""
    fixed_width: bool = False
    """Whether a frame that lost a byte can be told from a whole one."""
    identifiers: Callable[[random.Random], str] | None = None
    silence: bool = False
    unit_in_moving: bool = True
    noise: bytes = b""
    """Bytes of which some stand before some frames, and before all of the last row, while it is taught."""
    drops: bool = False
    """Trailing zeros are dropped: a careful person shows it."""
    binary: bool = False
    """Its numbers are no text: a damaged byte is another number, unless a check tells."""


@dataclass
class Case:
    """One instrument with what was shown of it and what comes later."""

    instrument: Instrument
    data: bytes = b""
    shown: str = ""
    further: list[tuple[bytes, Said]] = field(default_factory=list)
    foreign: list[tuple[bytes, Said | None]] = field(default_factory=list)
    """Frames that must be refused; those damaged may still say what they said before, and nothing else."""
    silences: list[tuple[int, float]] = field(default_factory=list)


@dataclass
class Outcome:
    """How a profile did: `right` of `total` further frames; `wrong` numbers anywhere, each with its frame."""

    right: int = 0
    total: int = 0
    wrong: list[tuple[bytes, str]] = field(default_factory=list)
    missed: list[tuple[bytes, str]] = field(default_factory=list)


def value_of(rng: random.Random, instrument: Instrument, unit: str, negative: bool) -> Decimal:
    """A display's value: small, middling and large ones alike."""
    decimals = instrument.decimals[unit]
    first = next(iter(instrument.decimals))
    top = instrument.largest * 10 ** instrument.decimals[first]
    top = (
        int(
            units.from_base(units.to_base(Decimal(top).scaleb(-instrument.decimals[first]), first), unit).scaleb(
                decimals
            )
        )
        if unit in units.FACTORS
        else top
    )
    size = rng.choice((1, 1, 1, 3, 3, 10, 30))
    count = rng.randint(1, max(2, top // size))
    value = Decimal(count).scaleb(-decimals)
    return -value if negative else value


def case_of(instrument: Instrument, seed: int) -> Case:
    """Four to six rows of what was shown, then eighty further frames and some that must be refused."""
    rng = random.Random(seed)
    case = Case(instrument)
    if instrument.identifiers is not None:
        return _scans(case, rng)
    names = list(instrument.decimals)
    count = rng.randint(4, 6)
    plan = [*instrument.taught]
    while len(plan) < count or (plan.count("ok") < 3 and len(plan) < 6):
        plan.insert(0, "ok")
    rows = ["offset,value,unit,condition"]
    number = 0
    showed_minus = False
    seen: list[tuple[str, str]] = []
    values: set[Decimal] = set()
    for place, condition in enumerate(plan):
        unit = names[place % len(names)] if condition == "ok" else names[0]
        negative = instrument.negative and condition in ("ok", "moving") and place == 1
        showed_minus |= negative
        said = draw(rng, instrument, unit, condition, negative)
        if condition == "ok" and place == 0:
            # A careful person shows a large value first.
            while said.value is not None and abs(said.value) * 5 < instrument.largest and unit == names[0]:
                said = draw(rng, instrument, unit, condition, negative)
        if instrument.drops and condition == "ok" and place == 2 and said.value is not None:
            said = Said(said.value.quantize(Decimal(1)).quantize(said.value), said.unit, condition)
            if not said.value:
                said = Said(Decimal(7), said.unit, condition)
        if said.value is not None:
            values.add(said.value)
        seen.append((condition, unit))
        text = "" if said.value is None else format(said.value, "f")
        if condition == "moving" and not instrument.unit_in_moving:
            rows.append(f"{len(case.data)},{text},,{condition}")
        else:
            rows.append(f"{len(case.data)},{text},{said.unit or ''},{condition}")
        for turn in range(rng.randint(2, 4) if instrument.streams else 1):
            now = said
            if condition == "moving" and turn:
                now = draw(rng, instrument, unit, condition, negative)
            number += 1
            if instrument.silence and case.data:
                case.silences.append((len(case.data), 120.0))
            if instrument.noise and (place == len(plan) - 1 or rng.random() < 0.3):
                case.data += bytes(rng.choices(instrument.noise, k=rng.randint(1, 3)))
            case.data += instrument.send(now, number)
        if instrument.chatter and place % 2:
            case.data += instrument.chatter
    case.shown = "\n".join(rows) + "\n"
    for _ in range(80):
        condition, unit = rng.choice(seen)
        negative = showed_minus and condition in ("ok", "moving") and rng.random() < 0.2
        said = draw(rng, instrument, unit, condition, negative)
        number += 1
        case.further.append((instrument.send(said, number), said))
    for condition in instrument.untaught:
        for _ in range(6):
            number += 1
            case.foreign.append((instrument.send(draw(rng, instrument, names[0], condition, False), number), None))
    if not instrument.binary:
        case.foreign += list(_damaged(rng, case, instrument))
    return case


def draw(rng: random.Random, instrument: Instrument, unit: str, condition: str, negative: bool) -> Said:
    """Something the instrument can show."""
    if condition in ("overload", "underload", "error", "nothing"):
        return Said(None, None, condition)
    if condition == "zero":
        return Said(Decimal(0).scaleb(-instrument.decimals[unit]), unit, condition)
    return Said(value_of(rng, instrument, unit, negative), unit, condition)


def _scans(case: Case, rng: random.Random) -> Case:
    instrument = case.instrument
    assert instrument.identifiers is not None
    rows = ["offset,value,unit,condition"]
    for number in range(rng.randint(4, 6)):
        said = Said(None, None, "ok", instrument.identifiers(rng))
        rows.append(f"{len(case.data)},{said.identifier},,ok")
        case.data += instrument.send(said, number)
    if "error" in instrument.taught:
        rows.append(f"{len(case.data)},,,error")
        case.data += instrument.send(Said(None, None, "error"), 0)
    case.shown = "\n".join(rows) + "\n"
    for number in range(40):
        said = Said(None, None, "ok", instrument.identifiers(rng))
        case.further.append((instrument.send(said, number), said))
    for condition in instrument.untaught:
        case.foreign.append((instrument.send(Said(None, None, condition), 1), None))
    return case


def _damaged(rng: random.Random, case: Case, instrument: Instrument) -> Sequence[tuple[bytes, Said]]:
    """Frames with a digit turned into something else, cut short, or (where that can be seen) a byte lost."""
    out = []
    for raw, said in case.further[:24]:
        places = [at for at, byte in enumerate(raw) if 0x30 <= byte <= 0x39]
        if places and said.value is not None:
            at = rng.choice(places)
            out.append((raw[:at] + rng.choice((b"?", b"\x80", b"G")) + raw[at + 1 :], said))
            if instrument.fixed_width and len(raw) > 6:
                out.append((raw[:at] + raw[at + 1 :], said))
    return out


def outcome(case: Case, profile: Profile) -> Outcome:
    """Decode what comes later with a learned profile."""
    result = Outcome()
    stream = b""
    spans: list[tuple[int, int, Said]] = []
    for raw, said in case.further:
        spans.append((len(stream), len(stream) + len(raw), said))
        stream += raw
    pieces = [stream]
    if case.instrument.silence:
        pieces = [raw for raw, _ in case.further]
    heard: list[tuple[int, int, object]] = []
    base = 0
    for piece in pieces:
        heard += [(base + one.offset, base + one.offset + len(one.raw), one) for one in decode_frames(profile, piece)]
        base += len(piece)
    for first, last, said in spans:
        inside = [one for a, b, one in heard if a < last and b > first]
        _judge(result, case, stream[first:last], said, inside, profile)
    # What must be refused comes between sound frames, so that framing can't be blamed.
    lead = case.further[0][0]
    for raw, was in case.foreign:
        data = raw if case.instrument.silence else lead + raw + lead
        for one in decode_frames(profile, data):
            inside_it = case.instrument.silence or len(lead) <= one.offset < len(lead) + len(raw)
            if inside_it and one.decoded is not None and (one.decoded.value is not None or one.decoded.identifier):
                same = was is not None and one.decoded.value == was.value and one.decoded.unit == was.unit
                if not same and (case.instrument.silence or len(lead) + len(raw) >= one.offset + len(one.raw)):
                    result.wrong.append((raw, str(one.decoded.text or one.decoded.identifier)))
    return result


def _judge(result: Outcome, case: Case, raw: bytes, said: Said, heard: Sequence[object], profile: Profile) -> None:
    from thwart.wire import Heard

    result.total += 1
    meant = [one.decoded for one in heard if isinstance(one, Heard) and one.decoded is not None]
    if said.identifier is not None:
        found = [one.identifier for one in meant]
        if found == [said.identifier]:
            result.right += 1
        elif found:
            result.wrong.append((raw, str(found)))
        else:
            result.missed.append((raw, str([one.rejected for one in heard if isinstance(one, Heard)])))
        return
    numbers = [one for one in meant if one.value is not None]
    if said.value is None:
        if numbers:
            result.wrong.append((raw, str(numbers[0].text)))
        elif [one.condition for one in meant] == [said.condition]:
            result.right += 1
        else:
            result.missed.append((raw, f"not {said.condition}"))
        return
    good = True
    for one in numbers:
        assert one.value is not None and said.unit is not None
        same = (
            one.value == said.value
            if one.unit is None
            else units.to_base(one.value, one.unit) == units.to_base(said.value, said.unit)
        )
        if not same:
            good = False
            result.wrong.append((raw, f"{one.text} {one.unit}, not {said.value} {said.unit}"))
    if not numbers:
        result.missed.append((raw, str([getattr(one, "rejected", "") for one in heard])))
        return
    conditions = {one.condition for one in numbers}
    wanted = {said.condition} if said.condition != "moving" or case.instrument.marked else {"ok", "moving"}
    if said.condition in ("zero", "ok") and said.value == 0:
        wanted = {"zero", "ok"}
    if good and len(numbers) == 1 and conditions <= wanted:
        result.right += 1
    elif good:
        result.missed.append((raw, f"{conditions}, not {wanted}"))


def wide_corpus() -> list[Case]:
    """The second corpus, in a fixed order."""
    from .wide import wide

    return [case_of(one, 9000 + number) for number, one in enumerate(wide())]


def corpus() -> list[Case]:
    """Every case, in a fixed order."""
    from .fixed import fixed
    from .generated import generated

    instruments = [*generated(), *fixed()]
    return [case_of(one, 7000 + number) for number, one in enumerate(instruments)]
