"""Scanners and tag readers: what stands around the identifier, and which characters it is made of."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from pydantic import ValidationError

from ..errors import ThwartError
from ..profiles.model import Profile, from_mapping
from ..wire import tags
from ..wire.decoder import Decoder
from ..wire.events import Decoded
from .accounts import Account, Aim, take
from .checks import checks
from .evidence import Evidence, Observation
from .fields import escape, repeat
from .forms import Reading, independent
from .found import Learned, NeedMore
from .framings import cut, framings
from .places import Frame
from .samples import samples

_SYMBOLOGY = re.compile(rb"(.*?)(\][A-Za-z][0-9A-Za-z])", re.DOTALL)
_TAG = re.compile(rb"[0-9]{3}[ ._-]?[0-9]{12}|[0-9A-Fa-f]{3}\.[0-9A-Fa-f]{10}|[0-9A-Fa-f]{16}")
_DIGITS = re.compile(rb"[0-9]+")
_CLASSES = ((str.isdigit, "[0-9]"), (str.isupper, "[A-Z]"), (str.islower, "[a-z]"))


def identifier_account(evidence: Evidence, name: str, aim: Aim) -> Learned:
    """The profile of an instrument that sends identifiers. Raises ThwartError or NeedMore."""
    best: tuple[tuple[float, ...], Profile, Account] | None = None
    missing: dict[int, Observation] = {}
    rows = {o.number: o for o in evidence.observations if o.condition == "ok" and o.text}
    for rank, framing in enumerate(framings(evidence)):
        cuts, torn = cut(evidence, framing)
        raws = [one.raw for one in cuts if one.seen is not None]
        found = checks(framing, raws)
        for check in found if framing.check_bytes else [None, *found]:
            frames = take(cuts, framing, check)
            fits = _fits(frames)
            heard = {f.seen.number for f, *_ in fits if f.seen is not None}
            if len(heard) < len(rows):
                if not missing or len(rows) - len(heard) < len(missing):
                    missing = {n: o for n, o in rows.items() if n not in heard}
                continue
            layouts = _layouts(fits) + _said(frames, fits)
            data: dict[str, Any] = {
                "title": _title(layouts), "kind": "identifier", "mode": "prints", "emptied": "each",
                "framing": framing.model_dump(exclude_defaults=True), "layout": layouts,
                "sample": [{"frame": "x", "chatter": True}], "line": aim.line,
            }  # fmt: skip
            if check is not None:
                data["checksum"] = check.model_dump(exclude_defaults=True) | {"kind": check.kind}
            try:
                profile = from_mapping(name, data)
            except ValidationError:
                continue
            if not _proved(profile, frames):
                continue
            cost = sum(len(layout["pattern"]) for layout in layouts) + (20 if check is not None else 0)
            key = (sum(len(one.raw) for one in torn), cost + 2 * rank, rank)
            if best is None or key < best[0]:
                best = (key, profile, Account(framing, check, Reading("point", False)))
    if best is None:
        lines = "; ".join(map(str, missing.values())) if missing else "none of them"
        raise ThwartError(
            f"no way to cut the bytes into frames shows every identifier (not found: {lines})",
            "type each identifier exactly as the reader's display or the label shows it",
        )
    _, profile, account = best
    if len({o.text for o in rows.values()}) < 2:
        raise NeedMore("only one identifier was shown", ["scan two more, as different as they come"])
    cuts, _ = cut(evidence, profile.framing)
    longest = max(len(one.raw) for one in cuts)
    limit = 32
    while limit < 2 * longest:
        limit *= 2
    data = profile.model_dump(exclude_defaults=True, exclude={"name"})
    data |= {
        "mode": "prints", "emptied": "each",
        "framing": profile.framing.model_copy(update={"max_length": limit}).model_dump(exclude_defaults=True),
        "sample": samples(profile, cuts, evidence),
    }  # fmt: skip
    return Learned(from_mapping(name, data), account, ())


def _fits(frames: Sequence[Frame]) -> list[tuple[Frame, bytes, bytes, bytes, bool]]:
    """Frames that hold the row's identifier: what stands before it, it, what after, and whether it is a coded tag."""
    out = []
    for frame in frames:
        seen = frame.seen
        if seen is None or seen.condition != "ok" or not seen.text:
            continue
        text = seen.text.encode("utf-8")
        at = frame.body.find(text)
        if at >= 0:
            out.append((frame, frame.body[:at], text, frame.body[at + len(text) :], False))
            continue
        wanted = tags.canonical(seen.text) or seen.text
        for match in _TAG.finditer(frame.body):
            if tags.canonical(match[0].decode()) == wanted:
                out.append((frame, frame.body[: match.start()], match[0], frame.body[match.end() :], True))
                break
    return out


def _layouts(fits: Sequence[tuple[Frame, bytes, bytes, bytes, bool]]) -> list[dict[str, Any]]:
    around = Counter((_words(before), _words(after), tag) for _, before, _, after, tag in fits)
    layouts = []
    for (start, end, tag), _ in around.most_common():
        alike = [(b, t, a) for _, b, t, a, k in fits if (_words(b), _words(a), k) == (start, end, tag)]
        befores, afters = [b for b, _, _ in alike], [a for _, _, a in alike]
        texts = [t.decode("latin-1") for _, t, _ in alike]
        head, tail = _beside(befores), _beside(afters)
        if match := _SYMBOLOGY.fullmatch(befores[0]):
            head = _beside([b[: len(b) - 3] for b in befores]) + f"(?P<symbology>{escape(match[2])})"
        layout: dict[str, Any] = {"pattern": f"{head}(?P<identifier>{characters(texts)}){tail}"}
        if tag:
            layout["identifier"] = "animal-tag"
        layouts.append(layout)
    return layouts


def _words(text: bytes) -> bytes:
    """The text with any number for each of its numbers, but for what names the symbology."""
    match = _SYMBOLOGY.fullmatch(text)
    before, named = (match[1], match[2]) if match else (text, b"")
    return _DIGITS.sub(b"0", before) + named


def _beside(texts: Sequence[bytes]) -> str:
    """What stands beside identifiers, all of the same words: a number that counts or varies freely may go on doing so."""
    runs = [_DIGITS.findall(text) for text in texts]
    words = _DIGITS.split(texts[0])
    out = escape(words[0])
    for at, word in enumerate(words[1:]):
        numbers = [run[at] for run in runs]
        different = sorted(set(numbers))
        if independent(numbers, 1):
            out += repeat("[0-9]", min(map(len, numbers)), max(map(len, numbers)))
        else:
            out += escape(different[0]) if len(different) == 1 else "(?:" + "|".join(map(escape, different)) + ")"
        out += escape(word)
    return out


def characters(texts: Sequence[str]) -> str:
    """A pattern for identifiers like these: run by run where all have the same runs, else by the characters seen."""
    runs = [[(kind, "".join(chars)) for kind, chars in groupby(text, _kind)] for text in texts]
    kinds = {tuple(kind for kind, _ in run) for run in runs}
    sizes = {len(text) for text in texts}
    hexadecimal = all(re.fullmatch(r"[0-9A-F.]+", text) for text in texts) and any(re.search("[A-F]", t) for t in texts)
    if len(kinds) == 1 and not hexadecimal:
        out = []
        for at, kind in enumerate(next(iter(kinds))):
            parts = [run[at][1] for run in runs]
            lengths = {len(part) for part in parts}
            if kind not in ("[0-9]", "[A-Z]", "[a-z]") or (len(set(parts)) == 1 and kind != "[0-9]"):
                out.append(escape(parts[0].encode("latin-1")) if len(set(parts)) == 1 else _some(parts))
            else:
                out.append(repeat(kind, min(lengths), max(lengths)))
        return "".join(out)
    if hexadecimal and len(sizes) == 1:
        dots = [{at for at, char in enumerate(text) if char == "."} for text in texts]
        if all(one == dots[0] for one in dots):
            size, out, last = sizes.pop(), [], 0
            for dot in sorted(dots[0]):
                out += [repeat("[0-9A-F]", dot - last, dot - last), "\\."]
                last = dot + 1
            return "".join([*out, repeat("[0-9A-F]", size - last, size - last)])
    return repeat(_set(texts), min(sizes), max(sizes))


def _kind(char: str) -> str:
    return next((name for test, name in _CLASSES if char.isascii() and test(char)), char)


def _some(parts: Sequence[str]) -> str:
    return "(?:" + "|".join(escape(part.encode("latin-1")) for part in sorted(set(parts))) + ")"


def _set(texts: Sequence[str]) -> str:
    used = set("".join(texts))
    names = [name[1:-1] for test, name in _CLASSES if any(c.isascii() and test(c) for c in used)]
    rest = sorted(c for c in used if _kind(c) == c)
    return "[" + "".join(names) + "".join(escape(c.encode("latin-1")) if c not in "-" else "\\-" for c in rest) + "]"


def _said(frames: Sequence[Frame], fits: Sequence[tuple[Frame, bytes, bytes, bytes, bool]]) -> list[dict[str, Any]]:
    """Frames that came while the reader showed an error: just these bytes. (A scan always is an identifier.)"""
    held = {id(frame) for frame, *_ in fits}
    bodies = dict.fromkeys(
        f.body for f in frames if f.seen is not None and f.seen.condition == "error" and id(f) not in held
    )
    return [{"pattern": escape(body), "says": ["error"]} for body in bodies]


def _proved(profile: Profile, frames: Sequence[Frame]) -> bool:
    decoder = Decoder(profile)
    for frame in frames:
        said = decoder.decode(frame.raw)
        seen = frame.seen
        if not isinstance(said, Decoded) or seen is None or said.identifier is None:
            continue
        if seen.condition != "ok" or (seen.text and said.identifier not in (seen.text, tags.canonical(seen.text))):
            return False
    return True


def _title(layouts: Sequence[dict[str, Any]]) -> str:
    tag = any("identifier" in layout for layout in layouts)
    return (
        f"Learned from what it showed: a {'tag reader' if tag else 'reader'} that sends each {'tag' if tag else 'scan'}"
    )
