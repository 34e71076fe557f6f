"""A learned profile → the text of its file, with comments that say why. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ..profiles.model import Layout
from .evidence import Evidence
from .found import Learned

#: How every learned file begins.
LEARNED = "# Learned from "
_HEAD = ("title", "kind", "mode", "emptied", "unit", "division", "range", "lag_ms")
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\r": "\\r", "\n": "\\n", "\t": "\\t"}
_STYLES = {
    "terminators": "Each frame ends with these bytes.",
    "start-end": "Each frame runs from the start byte to the end byte.",
    "length": "Each frame has the same number of bytes; nothing ends it.",
    "gap": "Silence parts the frames; no byte does.",
}


def profile_text(learned: Learned, evidence: Evidence) -> str:
    """The whole file. Read again it gives the same profile."""
    profile = learned.profile
    data: dict[str, Any] = profile.model_dump(mode="json", exclude_defaults=True, exclude={"name"})
    rows = evidence.observations
    lines = [
        f"{LEARNED}{len(evidence.data)} bytes and {len(rows)} rows of what the instrument showed meanwhile.",
        "# It accepts the forms that were shown and rejects every other frame; teach it again with more rows to widen it.",
        *(f"# Note: {note}." for note in learned.notes),
        "",
    ]
    for key in _HEAD:
        if key in data:
            if key == "range":
                lines.append("# The power of ten above what was shown: set it to what the instrument can measure.")
            value = [_bare(v) for v in data[key]] if key == "range" else data[key]
            lines.append(f"{key} = {_bare(value) if key == 'division' else _value(value)}")
    if data.get("line"):
        lines += ["", "[line]", *_pairs(data["line"])]
    lines += ["", f"# {_STYLES[profile.framing.style]}", "[framing]", *_pairs(data["framing"])]
    if profile.checksum is not None:
        lines += ["", "# Found by trying: it holds on all frames and changes with them.", "[checksum]",
                  *_pairs({"kind": profile.checksum.kind, **data["checksum"]})]  # fmt: skip
    if profile.chatter:
        lines += ["", "# Came whatever was shown, and says nothing of it.", f"chatter = {_patterns(profile.chatter)}"]
        # A key of the top level must stand before the first table.
        lines = _moved_up(lines)
    for layout, given in zip(profile.layout, data["layout"], strict=True):
        lines += ["", *(f"# {remark}" for remark in _remarks(layout)), "[[layout]]", *_layout(given)]
    for given in data["sample"]:
        lines += ["", "[[sample]]", *_pairs(given)]
    return "\n".join(lines) + "\n"


def _moved_up(lines: list[str]) -> list[str]:
    chatter = lines[-3:]
    rest = lines[:-3]
    first = next(at for at, line in enumerate(rest) if line.startswith("["))
    while rest[first - 1].startswith("#"):
        first -= 1
    return [*rest[: first - 1], *chatter, "", *rest[first:]]


def _remarks(layout: Layout) -> Iterator[str]:
    said = {m for marks in layout.marks.values() for m in marks.values()} | set(layout.says)
    fields = layout.fields
    if "number" in fields or "major" in fields:
        what = "The number is what the display showed"
        if layout.decimals:
            what += f", its last {layout.decimals} digit{'s' if layout.decimals > 1 else ''} after an implied point"
        if layout.digits == "reversed":
            what += ", its last digit first"
        if layout.digits in ("hex", "hex-signed"):
            what += ", in hexadecimal"
        if layout.digits == "hex-signed":
            what += ", below zero in two's complement"
        yield what + "."
        if "negative" in layout.says:
            yield "Seen only with values below zero: the form itself says so."
        if layout.width is not None:
            yield f"All frames of this form had {layout.width} bytes: what pads the number gives way to digits."
        if "settled" in said or "moving" in said:
            yield "The marks are those seen while the display stood still or moved."
        if said == {"zero"}:
            yield "Zeros were shown as zero, and nothing else marks it."
    elif said & {"overload", "underload", "error"}:
        yield f"Seen only while {', '.join(sorted(said))} was shown; it holds no number that counts."


def _layout(given: Mapping[str, Any]) -> Iterator[str]:
    for key, value in given.items():
        if key == "pattern":
            yield f"pattern = {_pattern(value)}"
        elif key != "marks":
            yield f"{key} = {_value(value)}"
    for field, marks in given.get("marks", {}).items():
        yield f"[layout.marks.{field}]"
        yield from (f"{_string(text)} = {_string(meaning)}" for text, meaning in marks.items())


def _patterns(patterns: tuple[str, ...]) -> str:
    return "[" + ", ".join(_pattern(pattern) for pattern in patterns) + "]"


def _pattern(pattern: str) -> str:
    plain = "'" not in pattern and pattern.isprintable()
    return f"'{pattern}'" if plain else _string(pattern)


def _pairs(table: Mapping[str, Any]) -> Iterator[str]:
    for key, value in table.items():
        yield f"{key} = {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(v if isinstance(v, _Bare) else _value(v) for v in value) + "]"
    return str(value)


class _Bare(str):
    """Text that stands in the file as it is: a number."""


def _bare(value: Any) -> _Bare:
    return _Bare(str(value))


def _string(text: str) -> str:
    return '"' + "".join(_ESCAPES.get(c) or (c if c.isprintable() else f"\\u{ord(c):04x}") for c in text) + '"'
