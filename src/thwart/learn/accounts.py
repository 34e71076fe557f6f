"""One account of all bytes: a way to frame them, a check, a way to write numbers → a profile, proved on every frame."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import ValidationError

from .. import units
from ..profiles.model import Checksum, Framing, Profile, from_mapping
from ..wire.checksums import verifier
from ..wire.decoder import Decoder, Outcome, margins
from ..wire.events import Decoded
from .evidence import NUMBERED, Evidence, Observation
from .fields import escape
from .forms import Form, Reading, read
from .framings import Cut
from .layouts import Shape, crossed, exact, layout_of, literal, meaning, merged, shapes, zeros
from .places import Frame
from .splitting import Style, parts_of

#: Of the frames of one row so many may say something else: damaged, or the display's last flicker.
_STRAY_SHARE = 0.2
#: What a frame costs that lies in no row wholly: cut in the right places, they lie in one.
_STRADDLING = 10
_QUIET = ("error", "overload", "underload")


@dataclass(slots=True)
class Account:
    """A profile that was built from one set of assumptions, and what it leaves unexplained."""

    framing: Framing
    check: Checksum | None
    reading: Reading
    profile: Profile | None = None
    shapes: list[Shape] = field(default_factory=list)
    chatter: list[str] = field(default_factory=list)
    unit: str | None = None
    bad: dict[int, str] = field(default_factory=dict)
    """Row → what is wrong with it under this account."""
    unexplained: float = 1.0
    """Share of the bytes in frames that mean nothing."""
    unclear: list[str] = field(default_factory=list)
    """What varies without any account: the form can't be learned."""
    cost: int = 0
    confused: list[frozenset[str]] = field(default_factory=list)
    """Conditions that are sent in the same words."""


@dataclass(frozen=True, slots=True)
class Aim:
    """What is to be learned: the kind, where it is told, and what is known beside the bytes."""

    kind: str | None
    unit: str | None
    line: dict[str, Any]
    foreign: bool = False
    """Whether frames may hold another unit than the rows name, without naming it."""


def take(cuts: Sequence[Cut], framing: Framing, check: Checksum | None) -> list[Frame]:
    """Frames without framing and check, each once per row; those whose check fails are left out."""
    holds = verifier(check) if check is not None else None
    head, tail = margins(framing, check)
    found: dict[tuple[bytes, int], Frame] = {}
    for one in cuts:
        if len(one.raw) < head + tail or (holds is not None and not holds(one.raw)):
            continue
        row = one.seen.number if one.seen is not None else 0
        found.setdefault((one.raw, row), Frame(one.raw[head : len(one.raw) - tail], one.raw, one.offset, one.seen))
    return list(found.values())


#: So many bytes of noise in front of a frame are looked behind.
_LONGEST_NOISE = 16


def account(
    evidence: Evidence, cuts: Sequence[Cut], torn: Sequence[Cut], framing: Framing, check: Checksum | None,
    style: Style, backwards: bool, aim: Aim,
) -> Account:  # fmt: skip
    """The account, once more without the noise that the first one showed to stand before some frames."""
    first = _account(evidence, cuts, torn, framing, check, style, backwards, aim)
    if first.profile is None or not first.bad or len(first.bad) == len(evidence.observations):
        return first
    cleaned = _cleaned(first.profile, cuts, first.unit)
    if cleaned == list(cuts):
        return first
    noise = [
        Cut(old.raw[: len(old.raw) - len(new.raw)], old.offset, old.seen, whole=False)
        for old, new in zip(cuts, cleaned, strict=True)
        if len(new.raw) < len(old.raw)
    ]
    second = _account(evidence, cleaned, [*torn, *noise], framing, check, style, backwards, aim)
    return second if len(second.bad) < len(first.bad) else first


def _cleaned(profile: Profile, cuts: Sequence[Cut], unit: str | None) -> list[Cut]:
    """Frames that mean nothing, cut to an end that says just what was shown."""
    decoder = Decoder(profile)
    out = []
    for one in cuts:
        if one.seen is not None and isinstance(decoder.decode(one.raw), str):
            for size in range(1, min(_LONGEST_NOISE, len(one.raw) - 1)):
                if one.raw[size - 1 : size].isdigit():
                    break  # a digit in front is no noise: it could belong to the number, or say what it means
                said = decoder.decode(one.raw[size:])
                if isinstance(said, Decoded) and not _row_problem(one.seen, [said], unit):
                    one = replace(one, raw=one.raw[size:], offset=one.offset + size)
                    break
        out.append(one)
    return out


def _account(
    evidence: Evidence, cuts: Sequence[Cut], torn: Sequence[Cut], framing: Framing, check: Checksum | None, style: Style,
    backwards: bool, aim: Aim,
) -> Account:  # fmt: skip
    """Build the account and prove it on all frames."""
    frames = take(cuts, framing, check)
    reading = read(frames, style, backwards, aim.unit, aim.foreign)
    out = Account(framing, check, reading)
    if not reading.solved:
        out.bad = {o.number: "its value doesn't appear" for o in evidence.observations if o.value is not None}
        return out
    counts = Counter(one.raw for one in cuts)
    quiet_twins = _twins(reading)
    fixed = framing.length is not None
    found = shapes(_without(reading, quiet_twins), fixed=fixed, checked=check is not None)
    found = _without_noise(found, counts)
    moves = _moves(found, reading)
    out.unit = _main_unit(found)
    number_like = _number_like(reading)
    exacts = [exact(form.frames, meaning(form.conditions)) for form in quiet_twins]
    mute, dull, out.confused = _mute(reading, counts, number_like, found)
    chatter = _chatter(cuts, dull, check, framing, counts)
    moves = moves or any(shape.condition == "moving" for shape in mute)
    final = crossed(merged(found, moves))
    still = [zero for shape in final if (zero := _zero(shape)) is not None]
    out.shapes = [*exacts, *mute, *still, *final]
    out.chatter = chatter
    out.unclear = _unclear(found, evidence)
    out.profile, problem = _profile(out, moves, aim, evidence)
    if out.profile is None:
        out.bad = {0: problem}
        return out
    _prove(out, evidence, cuts, torn)
    first, last = evidence.observations[0].offset, evidence.observations[-1].end
    straddling = sum(one.seen is None and first <= one.offset < last for one in cuts)
    out.cost = _cost(out, torn) + _STRADDLING * min(straddling, len(evidence.observations))
    return out


def _cost(out: Account, torn: Sequence[Cut]) -> int:
    """How much there is to say: the shorter account of the same bytes is the better one."""
    assert out.profile is not None
    framing, check = out.framing, out.check
    cost = sum(len(layout.pattern or "") + 12 * len(layout.marks) + 8 for layout in out.profile.layout)
    cost += sum(len(pattern) + 30 for pattern in out.profile.chatter)
    # Every alternative that was merely listed, not explained, is paid for.
    cost += 15 * sum((layout.pattern or "").count("|") for layout in out.profile.layout)
    cost += 15 * sum(m == "normal" for layout in out.profile.layout for t in layout.marks.values() for m in t.values())
    cost += {"point": 0, "comma": 4, "plain": 6, "hex": 20}.get(out.reading.style, 10) + (
        15 if out.reading.backwards else 0
    )
    cost += 3 * sum(one.offset > 0 for one in torn)
    if framing.length is not None:
        cost += 80 if framing.start else 100
    if check is not None:
        # That it holds is evidence by itself; a check of any value before a terminator would be cut by it one day.
        cost += -60
        if (
            check.written == "byte"
            and check.kind != "sum-folded"
            and not framing.check_bytes
            and framing.length is None
        ):
            cost += 160
    if framing.terminators and framing.terminators[0][:1] not in (b"\r", b"\n", b"\x03", b"\x04"):
        cost += 30
    return cost


def _twins(reading: Reading) -> list[Form]:
    """Forms seen with overload, underload or error that have the words of a reading: only the very bytes tell."""
    numbered = {(f.roles, f.words) for f in reading.solved if f.conditions & NUMBERED}
    return [
        f for f in reading.solved if f.conditions and not f.conditions & NUMBERED and (f.roles, f.words) in numbered
    ]


def _without(reading: Reading, forms: Sequence[Form]) -> Reading:
    kept = [form for form in reading.solved if not any(form is other for other in forms)]
    return Reading(reading.style, reading.backwards, kept, reading.mute)


def _without_noise(found: Sequence[Shape], counts: Counter[bytes]) -> list[Shape]:
    """Drop forms that are another form with something in front, seen once and not needed."""
    strong = [s for s in found if len(s.frames) > 1 or counts[s.frames[0].raw] > 1]
    kept = []
    for shape in found:
        frame = shape.frames[0]
        alone = len(shape.frames) == 1 and counts[frame.raw] == 1 and frame.seen is not None
        if alone and any(other is not shape and _ends_with(frame.body, other) for other in strong):
            elsewhere = any(
                f.seen is not None and frame.seen is not None and f.seen.number == frame.seen.number
                for other in strong
                for f in other.frames
            )
            if elsewhere or not _printable(frame.body):
                continue
        kept.append(shape)
    return kept


def _ends_with(body: bytes, shape: Shape) -> bool:
    pattern = "".join(shape.pieces).encode("latin-1")
    if shape.width is not None:
        return len(body) > shape.width and re.fullmatch(pattern, body[-shape.width :], re.DOTALL) is not None
    return re.fullmatch(b"(?:.+?)" + pattern, body, re.DOTALL) is not None


def _printable(body: bytes) -> bool:
    return all(0x20 <= byte < 0x7F or byte in b"\r\n\t\x02\x03" for byte in body)


def _moves(found: Sequence[Shape], reading: Reading) -> bool:
    return any(shape.condition == "moving" for shape in found)


def _main_unit(found: Sequence[Shape]) -> str | None:
    counts: Counter[str] = Counter()
    for shape in found:
        unit = shape.place.compound[1] if shape.place and shape.place.compound else shape.unit
        if unit is not None and shape.condition in NUMBERED:
            counts[unit] += len(shape.frames)
    return counts.most_common(1)[0][0] if counts else None


def _number_like(reading: Reading) -> re.Pattern[bytes] | None:
    cores = [core for f in reading.solved if f.place is not None for core in f.core(f.place.at)]
    if not cores:
        return None
    fractions = {len(parts_of(core, reading.style, backwards=False)[2]) for core in cores}
    if fractions == {0}:
        sizes = {len(core) for core in cores}
        return re.compile(rb"[0-9]{%d}" % max(sizes)) if max(sizes) >= 4 else None
    return re.compile(rb"[0-9]+\.[0-9]{%d}" % max(fractions))


def _mute(
    reading: Reading, counts: Counter[bytes], number_like: re.Pattern[bytes] | None, found: Sequence[Shape]
) -> tuple[list[Shape], list[Form], list[frozenset[str]]]:
    """Forms without a number that counts: what says a condition, chatter, and conditions that look alike."""
    said: list[Shape] = []
    chatter: list[Form] = []
    confused: list[frozenset[str]] = []
    usual = {byte for shape in found for frame in shape.frames for byte in frame.body}
    for form in reading.mute:
        heard = sum(counts[frame.raw] for frame in form.frames)
        clean = all(_printable(frame.body) or set(frame.body) <= usual for frame in form.frames)
        conditions = form.conditions
        if not clean and heard < 3:
            continue
        if (
            conditions
            and conditions <= set(_QUIET) | {"moving", "zero"}
            and (len(conditions) == 1 or conditions <= set(_QUIET))
        ):
            condition = next(c for c in (*_QUIET, "moving", "zero") if c in conditions)
            if len(conditions) > 1:
                confused.append(frozenset(conditions))
            if condition == "zero" and any(form.splits[0].numbers):
                continue
            rivals = [o for o in reading.mute if o is not form and o.rows & form.rows and o.conditions == conditions]
            if heard == 1 and any(sum(counts[f.raw] for f in o.frames) > 1 for o in rivals):
                continue
            said.append(literal(form, condition, number_like, reading.style))
        elif conditions == {"nothing"} or (heard >= 2 and len(form.rows) > 1 and _dull(form)):
            chatter.append(form)
    return said, chatter, confused


def _chatter(
    cuts: Sequence[Cut], dull: Sequence[Form], check: Checksum | None, framing: Framing, counts: Counter[bytes]
) -> list[str]:
    """Patterns of whole frames that came whatever was shown; some have no check where readings do."""
    head, tail = margins(framing, check)
    patterns = []
    for form in dull:
        ends = {(frame.raw[:head], frame.raw[len(frame.raw) - tail :]) for frame in form.frames}
        if len(ends) == 1:
            ((before, after),) = ends
            body = "".join(literal(form, "nothing", None, "point").pieces)
            patterns.append(escape(before) + body + escape(after))
    if check is not None:
        holds = verifier(check)
        rows: dict[bytes, set[int]] = {}
        for one in cuts:
            if one.seen is not None and not holds(one.raw) and _printable(one.raw):
                rows.setdefault(one.raw, set()).add(one.seen.number)
        patterns += [escape(raw) for raw, numbers in rows.items() if len(numbers) > 1 and counts[raw] > 1]
    return patterns


def _dull(form: Form) -> bool:
    """Whether the form never changes, whatever was shown: a heading, a line of dashes."""
    return len({frame.body for frame in form.frames}) == 1 or not any(form.splits[0].numbers)


def _zero(shape: Shape) -> Shape | None:
    """A form for zeros alone, where zero was shown in rows of its own and the form says nothing else of it."""
    zero = [f for f in shape.frames if f.seen is not None and f.seen.condition == "zero"]
    other = [
        f for f in shape.frames
        if f.seen is not None and f.seen.condition in ("ok", "moving") and (f.seen.value is None or not f.seen.value)
    ]  # fmt: skip
    zero_ok = [f for f in zero if f.seen is not None and f.seen.value == 0]
    marked = any("zero" in m.values() for m in shape.marks.values())
    if not zero_ok or len(zero_ok) < len(zero) or other or shape.condition != "ok" or marked:
        return None
    if shape.place is None or shape.place.minor is not None:
        return None
    made = zeros(shape)
    telling = [at for at, texts in shape.marks.items() if set(texts.values()) - {"normal", "gross", "net"}]
    for at in telling:
        words = {f_word for f_word, said in shape.marks[at].items() if said in ("settled", "normal")}
        made.marks = {**made.marks}
        del made.marks[at]
        made.pieces[at] = "(?:" + "|".join(map(escape, words)) + ")" if len(words) > 1 else escape(next(iter(words)))
    return made


def _unclear(found: Sequence[Shape], evidence: Evidence) -> list[str]:
    """Words that change from row to row though the condition doesn't: no account explains them."""
    out = []
    groups: dict[tuple[object, ...], list[Shape]] = {}
    for shape in found:
        if shape.condition in ("ok", "zero"):
            groups.setdefault((shape.condition, shape.unit), []).append(shape)
    for (condition, _), together in groups.items():
        rows = {f.seen.number for s in together for f in s.frames if f.seen is not None}
        if len(together) > max(2, (len(rows) + 1) // 2):
            example = [s.frames[0].body.decode("latin-1") for s in together[:3]]
            out.append(
                f"{len(together)} different forms for {len(rows)} rows of {condition}: bytes change that neither the "
                f"value nor the condition explains, as in {', '.join(map(repr, example))}"
            )
    return out


def _profile(out: Account, moves: bool, aim: Aim, evidence: Evidence) -> tuple[Profile | None, str]:
    """The profile, without samples yet."""
    unit = out.unit
    if unit is None:
        return None, "no unit"
    kind = units.quantity_of(unit)
    values = [units.from_base(units.to_base(o.value, o.unit or unit), unit) for o in evidence.observations
              if o.value is not None and o.condition in NUMBERED]  # fmt: skip
    layouts = [layout_of(shape, moves, unit, out.reading.style, out.reading.backwards) for shape in out.shapes]
    per_row = Counter(f.seen.number for s in out.shapes for f in s.frames if f.seen is not None)
    data = {
        "title": "learned", "kind": kind, "mode": "prints", "emptied": "each", "unit": unit,
        "division": _division(out), "range": ranged(values),
        "framing": out.framing.model_dump(exclude_defaults=True),
        "layout": layouts,
        "chatter": out.chatter,
        "sample": [{"frame": "x", "chatter": True}],
    }  # fmt: skip
    if per_row and len(evidence.data):
        data["line"] = aim.line
    if out.check is not None:
        data["checksum"] = out.check.model_dump(exclude_defaults=True) | {"kind": out.check.kind}
    try:
        return from_mapping("learned", data), ""
    except ValidationError as error:
        return None, str(error.errors()[0]["msg"])


def _division(out: Account) -> str:
    reading = out.reading
    decimals = 0
    for form in reading.solved:
        place = form.place
        if place is None or (place.unit != out.unit and place.compound is None):
            continue
        if place.decimals is not None:
            decimals = max(decimals, place.decimals)
        else:
            at = place.minor if place.minor is not None else place.at
            for core in form.core(at):
                decimals = max(decimals, len(parts_of(core, reading.style, backwards=reading.backwards)[2]))
    return format(units.EXACT.scaleb(1, -decimals), "f")


def ranged(values: Sequence[Any]) -> list[str]:
    """What an instrument surely measures that showed these values: up to the power of ten above them."""
    high = max((abs(value) for value in values), default=1)
    top = 10
    while top <= high:
        top *= 10
    low = min(0, *(int(value) - 1 if value < 0 else 0 for value in values), 0)
    return [str(low), str(top)]


def _prove(out: Account, evidence: Evidence, cuts: Sequence[Cut], torn: Sequence[Cut]) -> None:
    """Decode every frame with the profile itself and hold it against what was shown."""
    assert out.profile is not None
    decoder = Decoder(out.profile)
    by_row: dict[int, list[Outcome]] = {}
    total = dark = 0
    for one in cuts:
        said = decoder.decode(one.raw)
        total += len(one.raw)
        dark += len(one.raw) if isinstance(said, str) else 0
        if one.seen is not None:
            by_row.setdefault(one.seen.number, []).append(said)
    lost = sum(len(one.raw) for one in torn)
    out.unexplained = (dark + lost) / max(1, total + lost)
    for seen in evidence.observations:
        alike = next((told for told in out.confused if seen.condition in told), frozenset((seen.condition,)))
        problem = _row_problem(seen, by_row.get(seen.number, []), out.unit, alike)
        if problem:
            out.bad[seen.number] = problem


def _row_problem(
    seen: Observation, said: Sequence[Outcome], unit: str | None, alike: frozenset[str] = frozenset()
) -> str:
    """What is wrong with a row, or nothing. `alike`: conditions that are sent in the same words as the row's."""
    meant = [one for one in said if isinstance(one, Decoded)]
    numbers = [one for one in meant if one.value is not None]
    if seen.condition == "nothing":
        return ""
    if seen.condition in _QUIET:
        if numbers:
            return f"its bytes read as {numbers[0].text}, though it showed {seen.condition}"
        if said and not any(one.condition in (seen.condition, *alike) for one in meant):
            return f"nothing in its bytes says {seen.condition}"
        return ""
    if seen.value is None:
        return "" if meant or not said else "its bytes mean nothing"
    if seen.condition == "moving" and numbers and all(one.settled for one in numbers):
        return "its frames say that it stands still"
    right = [one for one in numbers if _equal(one, seen, unit)]
    if not right and seen.condition == "moving" and numbers:
        # Nobody can write down each value that flies by.
        return ""
    if not right:
        other = ", ".join(dict.fromkeys(one.text or "" for one in numbers))
        return f"its bytes read as {other}" if other else "its value doesn't appear in its bytes"
    wrong = len(numbers) - len(right)
    if seen.condition != "moving" and wrong > _STRAY_SHARE * len(numbers):
        odd = next(one for one in numbers if not _equal(one, seen, unit))
        return f"some of its frames read as {odd.text}"
    if seen.condition == "moving" or not any(one.condition == "moving" for one in right):
        return ""
    return "its frames say that it moves"


def _equal(one: Decoded, seen: Observation, unit: str | None) -> bool:
    assert one.value is not None and seen.value is not None
    own = seen.unit or unit
    if one.unit is None or own is None:
        return one.value == seen.value
    if units.quantity_of(one.unit) != units.quantity_of(own):
        return False
    return units.to_base(one.value, one.unit) == units.to_base(seen.value, own)
