"""The search: every way to frame, every check that holds, every way to write numbers; the simplest account wins."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from .. import units
from ..errors import ThwartError
from ..profiles.model import Checksum, Framing, from_mapping
from ..wire.decoder import Decoder
from ..wire.events import Decoded
from .accounts import Account, Aim, account
from .binary import binary_account
from .checks import checks
from .edges import aligned, is_torn, without_begin
from .evidence import NUMBERED, Evidence, Observation, regrouped, surely_grouped
from .found import Learned, NeedMore
from .framings import Cut, cut, framings
from .identifiers import identifier_account
from .samples import samples
from .splitting import MARKS, Style, styles_in

#: Once an account explains all rows and this share of the bytes, dearer framings aren't tried.
_WELL = 0.02
#: With more rows than this it isn't tried which one is odd.
_MOST_TRIED = 12
#: Where some frames hold noise, at least this share of them is without.
_CLEAN = 0.3
#: Controls that text has.
_TEXT = b"\r\n\t\x02\x03\x04\x0c\x1d\x1e"


def learn(evidence: Evidence, name: str, kind: str | None = None, line: dict[str, Any] | None = None) -> Learned:
    """Infer a profile. Raises NeedMore where accounts disagree, ThwartError where none explains what was shown."""
    if surely_grouped(evidence.observations) and (rows := regrouped(evidence.observations)) is not None:
        try:
            return learn(replace(evidence, observations=rows), name, kind, line)
        except NeedMore:
            raise
        except ThwartError:
            pass  # then `5` was typed for 5.000
    _usable(evidence)
    given = {o.unit for o in evidence.observations if o.unit}
    aim = Aim(kind, given.pop() if len(given) == 1 else None, line or {})
    if _means_identifiers(evidence, kind):
        return _identifiers(evidence, name, aim)
    evidence, best, rivals = _explained(evidence, aim)
    evidence, best, rivals = _at_edges(evidence, best, rivals, aim)
    if best is None or best.profile is None or best.bad:
        if (other := regrouped(evidence.observations)) is not None:
            with contextlib.suppress(ThwartError):
                learned = learn(Evidence(evidence.data, other, evidence.silences), name, kind, line)
                # What parts thousands on the display does so in the bytes, or nothing does.
                group = MARKS[learned.account.reading.style][1]
                if not group or all(
                    group in o.text for o, was in zip(other, evidence.observations, strict=True) if o != was
                ):
                    return learned
        if (raw := binary_account(evidence, name, aim)) is not None:
            return Learned(*raw, tuple(_notes(raw[1], evidence)))
        raise _odd_row(evidence, aim) or _failure(evidence, best)
    _settle(evidence, best, rivals)
    return _finished(evidence, best, name, aim)


def _identifiers(evidence: Evidence, name: str, aim: Aim) -> Learned:
    """The profile of a reader: of the bytes as they came, else without what a bad contact or torn rows add."""
    tries = [evidence, *filter(None, [_without_junk(evidence)]), *aligned(evidence)]
    tries += [
        later for first, later in without_begin(evidence)
        if evidence.observations[0].text.encode() not in first and later.observations[0].number > 1
    ]  # fmt: skip
    troubles: list[ThwartError] = []
    for one in tries:
        try:
            return identifier_account(one, name, aim)
        except NeedMore:
            raise
        except ThwartError as trouble:
            troubles.append(trouble)
    raise troubles[0]


def _sound(best: Account | None) -> bool:
    return best is not None and best.profile is not None and not best.bad and not best.unclear


def _at_edges(
    evidence: Evidence, best: Account | None, rivals: list[Account], aim: Aim
) -> tuple[Evidence, Account | None, list[Account]]:
    """The account of a capture that begins within a frame, or of rows that do, where the bytes as they are have none."""
    if best is not None and _sound(best) and not _opens_oddly(best):
        return evidence, best, rivals
    for first, later in without_begin(evidence):
        _, account, others = _explained(later, aim)
        if account is not None and _sound(account) and is_torn(first, evidence, account):
            return later, account, others
    if not _sound(best):
        for rows in aligned(evidence):
            _, account, others = _explained(rows, aim)
            if _sound(account):
                return rows, account, others
    return evidence, best, rivals


def _opens_oddly(best: Account) -> bool:
    """Whether the first frame has a form of its own, or is the only one of its form that is shorter than the others."""
    shape, opening = min(((s, f) for s in best.shapes for f in s.frames), key=lambda each: each[1].offset)
    sizes = {len(frame.body) for frame in shape.frames if frame is not opening}
    return not sizes or (len(sizes) == 1 and len(opening.body) < min(sizes))


def _explained(evidence: Evidence, aim: Aim) -> tuple[Evidence, Account | None, list[Account]]:
    """The best account with its rivals, and the bytes it is one of: without noise, where only those can be explained."""
    best, rivals = _search(evidence, aim)
    if best is None or best.bad:
        again, others = _search(evidence, replace(aim, foreign=True))
        if again is not None and not again.bad:
            best, rivals = again, others
    if (quiet := _without_junk(evidence)) is not None and (best is None or best.bad or best.unclear or _strange(best)):
        again, others = _search(quiet, aim)
        if again is not None and again.profile is not None and not again.bad and not again.unclear:
            failed = best is None or best.bad or best.unclear
            if failed or (best is not None and again.cost < best.cost and _reads(again, evidence)):
                evidence, best, rivals = quiet, again, others
    return evidence, best, rivals


def _usable(evidence: Evidence) -> None:
    rows = [o for o in evidence.observations if o.condition in NUMBERED and o.text]
    if not evidence.data:
        raise ThwartError("the capture is empty", "capture while the instrument sends: thwart listen PORT --out FILE")
    if not rows:
        raise ThwartError(
            "no row says a value", "put something on the instrument and write down what the display showed (ok rows)"
        )
    values = {o.text for o in rows}
    if len(values) == 1:
        raise NeedMore(
            f"only one value was shown ({values.pop()}): one sample can't tell what stays and what changes",
            ["show three more values that differ in every digit, one of them small and one large"],
        )
    seen: dict[bytes, Observation] = {}
    for o in rows:
        data = evidence.data[o.offset : o.end]
        other = seen.setdefault(data, o)
        if data and other.value != o.value:
            raise ThwartError(
                f"{other} and {o} hold the same bytes, but different values were shown",
                "one of the two was mistyped: look at both and correct the file",
            )


def _without_junk(evidence: Evidence) -> Evidence | None:
    """The evidence without bytes no text has: what a bad contact adds. None where there are none."""
    kept = [at for at, byte in enumerate(evidence.data) if 0x20 <= byte < 0x7F or byte in _TEXT]
    if len(kept) == len(evidence.data):
        return None
    where = {at: place for place, at in enumerate(kept)}
    places = []
    after = len(kept)
    for at in range(len(evidence.data), -1, -1):
        after = where.get(at, after)
        places.append(after)
    places.reverse()
    rows = tuple(replace(o, offset=places[o.offset], end=places[o.end]) for o in evidence.observations)
    silences = tuple((places[at], ms) for at, ms in evidence.silences)
    return Evidence(bytes(evidence.data[at] for at in kept), rows, silences)


def _strange(best: Account) -> bool:
    """Whether a form holds bytes that text has not."""
    return best.profile is not None and any(
        (byte < 0x20 and byte not in _TEXT) or byte >= 0x7F
        for shape in best.shapes for frame in shape.frames for byte in frame.body
    )  # fmt: skip


def _reads(best: Account, evidence: Evidence) -> bool:
    """Whether frames as they came mean something to an account that was made without some of their bytes."""
    assert best.profile is not None
    decoder = Decoder(best.profile)
    said = [
        isinstance(decoder.decode(one.raw), Decoded) for one in cut(evidence, best.framing)[0] if one.seen is not None
    ]
    return sum(said) >= _CLEAN * len(said)


def _means_identifiers(evidence: Evidence, kind: str | None) -> bool:
    if kind is not None:
        return kind == "identifier"
    rows = [o for o in evidence.observations if o.condition == "ok" and o.text]
    if any(o.unit for o in evidence.observations):
        return False
    return any(
        o.value is None or (len(o.text) >= 4 and o.text[0] == "0" and o.text.isdigit())
        or len(o.text) >= 9 for o in rows
    )  # fmt: skip


def _search(evidence: Evidence, aim: Aim) -> tuple[Account | None, list[Account]]:
    """The best account, and others of the same framing that explain all rows as well."""
    best: Account | None = None
    best_key: tuple[float, ...] = ()
    best_cuts: tuple[list[Cut], list[Cut]] = ([], [])
    for rank, framing in enumerate(framings(evidence)):
        cuts, torn = cut(evidence, framing)
        if not _promising(evidence, cuts):
            continue
        for check in _possible_checks(framing, cuts):
            whole = best is not None and best.profile is not None and best_key[:3] == (0, 0, 0)
            ways = (
                [(best.reading.style, best.reading.backwards)] if best is not None and whole else list(_ways(evidence))
            )
            found = _first_reading(evidence, cuts, torn, framing, check, aim, ways)
            key = _key(found, rank)
            if best is None or key < best_key:
                best, best_key, best_cuts = found, key, (cuts, torn)
    if best is None or best.bad or best.profile is None:
        return best, []
    rivals = [
        other
        for style, backwards in _ways(evidence)
        if (style, backwards) != (best.reading.style, best.reading.backwards)
        and (other := account(evidence, *best_cuts, best.framing, best.check, style, backwards, aim)).profile
        is not None
        and not other.bad
    ]
    return best, rivals


def _key(found: Account, rank: int) -> tuple[float, ...]:
    dark = max(0.0, round(found.unexplained - _WELL, 2))
    return (len(found.bad), len(found.unclear), dark, found.cost + rank * 2, rank)


def _promising(evidence: Evidence, cuts: Sequence[Cut]) -> bool:
    """Whether most rows with bytes hold a whole frame."""
    rows = {o.number for o in evidence.observations if o.end > o.offset and o.condition != "nothing"}
    return 2 * len({one.seen.number for one in cuts if one.seen is not None} & rows) > len(rows)


def _possible_checks(framing: Framing, cuts: Sequence[Cut]) -> Iterator[Checksum | None]:
    found = checks(framing, [one.raw for one in cuts if one.seen is not None])
    if framing.check_bytes:
        yield from found
        return
    yield None
    yield from found


def _ways(evidence: Evidence) -> Iterator[tuple[Style, bool]]:
    below = any(o.value is not None and o.value < 0 for o in evidence.observations)
    for style in styles_in(evidence.data):
        if below or style != "hex-signed":
            yield style, False
    for style in ("point", "comma", "plain"):
        yield style, True


def _first_reading(
    evidence: Evidence, cuts: Sequence[Cut], torn: Sequence[Cut], framing: Framing, check: Checksum | None, aim: Aim,
    ways: Sequence[tuple[Style, bool]],
) -> Account:  # fmt: skip
    """The first way to write numbers that explains all rows, else the best."""
    best: Account | None = None
    for style, backwards in ways:
        found = account(evidence, cuts, torn, framing, check, style, backwards, aim)
        if best is None or _key(found, 0) < _key(best, 0):
            best = found
        if found.profile is not None and not found.bad and not found.unclear:
            break
    assert best is not None
    return best


def _odd_row(evidence: Evidence, aim: Aim) -> ThwartError | None:
    """The one row without which all the others agree, where there is just one."""
    rows = [o for o in evidence.observations if o.value is not None and o.condition in NUMBERED]
    if not 3 <= len(rows) <= _MOST_TRIED:
        return None
    for odd in rows:
        others = tuple(o for o in evidence.observations if o is not odd)
        best, _ = _search(replace(evidence, observations=others), aim)
        if best is None or best.profile is None or best.bad or best.unclear:
            continue
        decoder = Decoder(best.profile)
        read = dict.fromkeys(
            said.text
            for one in cut(evidence, best.framing)[0]
            if one.seen is odd and isinstance(said := decoder.decode(one.raw), Decoded) and said.text is not None
        )
        says = f"its bytes read as {', '.join(read)}" if read else "its bytes say nothing of the kind"
        return ThwartError(
            f"{odd} contradicts the other rows: {says}",
            "if it was mistyped, correct it; if the display changed meanwhile, split the row or leave it out",
        )
    return None


def _failure(evidence: Evidence, best: Account | None) -> ThwartError:
    shown = {o.number: o for o in evidence.observations}
    if best is None or len(best.reading.explained) < 2:
        missing = [o for o in evidence.observations if o.condition in NUMBERED and o.value is not None]
        return ThwartError(
            "no structure was found: however the bytes are cut into frames, the shown values don't appear in them",
            "check the line settings (baud, parity) with `thwart listen`, that the offsets belong to this capture, and "
            f"that the values were typed as shown (first: {missing[0] if missing else 'none'})",
        )
    if 0 in best.bad:
        said = best.bad[0]
        if said == "no unit":
            return ThwartError(
                "neither the rows nor the bytes name a unit", "write the unit the display shows into the column unit"
            )
        return ThwartError(f"what was found makes no profile: {said}", "please report it with the capture")
    lines = [f"{shown[number]}: {said}" for number, said in sorted(best.bad.items()) if number in shown]
    return ThwartError(
        "not everything that was shown can be explained:\n" + "\n".join(lines),
        "if a value was mistyped, correct it; if the display changed within a row, split the row or leave it out",
    )


def _settle(evidence: Evidence, best: Account, rivals: Sequence[Account]) -> None:
    """Raise NeedMore where something that was shown can be understood in two ways."""
    asks: list[str] = []
    said: list[str] = []
    if best.reading.doubts:
        said += best.reading.doubts
        asks.append(
            "show a value while the other numbers of the display's line differ from it: with a tare or a container "
            "set, or simply another, larger value with all digits different"
        )
    values = {abs(o.value) for o in evidence.observations if o.value and o.condition in NUMBERED}
    if len(values) < 2:
        said.append("fewer than two values other than zero were shown")
        asks.append("show two more values that differ in every digit")
    for rival in rivals:
        frame = _disagree(best, rival)
        if frame is not None:
            said.append(f"{frame[0]!r} could mean {frame[1]} or {frame[2]}, and what was shown fits both")
            asks.append(f"show a value with different digits that isn't the same read backwards, {_telling(values)}")
    if best.unclear:
        said += best.unclear
        asks.append("show more values, each for longer, and say of each row whether the display stood still")
    if said:
        raise NeedMore("what was shown can be understood in more than one way:\n" + "\n".join(dict.fromkeys(said)),
                       list(dict.fromkeys(asks)))  # fmt: skip


def _telling(values: set[Decimal]) -> str:
    return f"for instance about {units.plain(max(values) * 2 + 13) if values else '137'}"


def _disagree(one: Account, other: Account) -> tuple[str, str, str] | None:
    """A frame of a shown form that two accounts read as different numbers."""
    assert one.profile is not None and other.profile is not None
    first = Decoder(one.profile.model_copy(update={"checksum": None, "framing": _bare(one.framing)}))
    second = Decoder(other.profile.model_copy(update={"checksum": None, "framing": _bare(other.framing)}))
    for shape in one.shapes:
        for frame in shape.frames[:6]:
            for turn in (1, 3, 7):
                body = bytes(
                    0x30 + (byte - 0x30 + turn * (at % 5 + 1)) % 10 if 0x30 <= byte <= 0x39 else byte
                    for at, byte in enumerate(frame.body)
                )
                a, b = first.decode(body), second.decode(body)
                if not isinstance(a, Decoded) or not isinstance(b, Decoded) or a.value is None or b.value is None:
                    continue
                if a.unit is None or b.unit is None or units.to_base(a.value, a.unit) != units.to_base(b.value, b.unit):
                    return body.decode("latin-1"), f"{a.text} {a.unit}", f"{b.text} {b.unit}"
    return None


def _bare(framing: Framing) -> Framing:
    """A framing that takes nothing off a frame, for bodies."""
    return Framing(terminators=(b"\n",), max_length=framing.max_length)


def _finished(evidence: Evidence, best: Account, name: str, aim: Aim) -> Learned:
    """The profile with samples, mode and title."""
    assert best.profile is not None
    cuts, _ = cut(evidence, best.framing)
    longest = max(len(one.raw) for one in cuts if one.seen is not None)
    limit = 32
    while limit < 2 * longest:
        limit *= 2
    heard: dict[int, int] = {}
    decoder = Decoder(best.profile)
    for one in cuts:
        if one.seen is not None and isinstance(decoder.decode(one.raw), Decoded):
            heard[one.seen.number] = heard.get(one.seen.number, 0) + 1
    streams = bool(heard) and sum(heard.values()) > 1.5 * len(heard)
    if best.framing.length is not None and not best.framing.start:
        streams = False
    framing = best.framing.model_copy(update={"max_length": limit})
    if aim.kind not in (None, best.profile.kind):
        raise ThwartError(
            f"--kind is {aim.kind}, but the unit {best.profile.unit} is one of {best.profile.kind}",
            "leave --kind out, or correct the unit in the rows",
        )
    data: dict[str, Any] = best.profile.model_dump(exclude_defaults=True, exclude={"name"})
    data |= {
        "title": _title(best, streams),
        "mode": "streams" if streams else "prints",
        "emptied": "stream" if streams else "each",
        "framing": framing.model_dump(exclude_defaults=True),
        "sample": samples(best.profile, cuts, evidence),
    }
    return Learned(from_mapping(name, data), best, tuple(_notes(best, evidence)))


def _title(best: Account, streams: bool) -> str:
    assert best.profile is not None
    what = "scale" if best.profile.kind == "mass" else "measuring board"
    marks = {
        m
        for layout in best.profile.layout
        for m in (*layout.says, *(v for t in layout.marks.values() for v in t.values()))
    }
    known = [m for m in ("settled", "moving", "zero", "overload", "underload", "error") if m in marks]
    tail = f", with marks for {', '.join(known)}" if known else ", without marks"
    return f"Learned from what it showed{tail}: a {what} that {'streams' if streams else 'prints'}"


def _notes(best: Account, evidence: Evidence) -> Iterator[str]:
    shown = {o.condition for o in evidence.observations}
    for condition in ("moving", "overload", "underload", "error"):
        if condition not in shown:
            yield f"{condition} was never shown: frames that say so in a way of their own are rejected"
    if any(
        re.search(r"\(\?:\[0-9\]\{\d+\}\| ", layout.pattern or "")
        for layout in (best.profile.layout if best.profile else ())
    ):
        yield "all numbers shown had the same length: shorter and longer ones are rejected until one is shown"
    for told in best.confused:
        yield f"{' and '.join(sorted(told))} are sent in the same words: taken for the gravest"
    moving = any("moving" in (*layout.says, *(m for t in layout.marks.values() for m in t.values()))
                 for layout in (best.profile.layout if best.profile else ()))  # fmt: skip
    if "moving" in shown and not moving:
        yield "the instrument doesn't mark movement: its frames look the same moving and at rest"
