"""Patterns for what varies in a form: the shown number, its sign and padding, and numbers that mean nothing to us.

The rule of the closed world, column by column: a digit may be any other digit where the value was seen to stand; a place
that only ever held a padding zero stays zero where it could as well be something else.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from .splitting import FILLS, MARKS, Style, parts_of

#: A number that isn't padded may have so many digits more than the longest seen.
_GROWTH = 1
#: A counter may grow to so many digits.
_COUNTER = 6


def escape(raw: bytes) -> str:
    """Bytes as a pattern that matches just them."""
    out = []
    for byte in raw:
        char = chr(byte)
        if byte < 0x20 or byte >= 0x7F:
            out.append({9: r"\t", 10: r"\n", 13: r"\r"}.get(byte, f"\\x{byte:02x}"))
        else:
            out.append("\\" + char if char in r".^$*+?()[]{}|\-" and char != "-" else char)
    return "".join(out)


def spaces(counts: set[int], wide: bool, apart: bool = False) -> str:
    """A run of spaces: as many as were seen, or any number where the form's width holds them (`wide`)."""
    least, most = min(counts), max(counts)
    if least == most:
        return " " * least
    if wide:
        return " +" if apart else " *"
    return f" {{{max(least, 1) if apart else least},{most}}}"


def repeat(what: str, least: int, most: int | None) -> str:
    """`what` so many times."""
    if most is None:
        return what + ("*" if least == 0 else "+" if least == 1 else f"{{{least},}}")
    if least == most:
        return "" if most == 0 else what if most == 1 else f"{what}{{{most}}}"
    return f"{what}{{{least},{most}}}"


@dataclass(frozen=True, slots=True)
class Digits:
    """What the digits of a number looked like in all frames that show it the same way.

    `padded`: spaces fill a fixed width before or after it. `fixed`: the frame's length is fixed. `open_left`: nothing
    that bounds the number stands before it, so that its first column could be something else. `told`: a frame that lost
    bytes can be told, by its check or by what stands before the number. `decimals`: implied ones, None where a point is written. `shown`: most decimals the display showed, None where they can't be compared.
    """

    cores: tuple[bytes, ...]
    style: Style
    backwards: bool
    decimals: int | None
    shown: int | None
    padded: bool
    fixed: bool
    open_left: bool
    told: bool = False
    filled: bool = False
    """Spaces before it give way to digits, whether or not the frame keeps its length."""
    known: tuple[bytes, ...] = ()
    """Those of the cores whose value is known: what others have in the first column may be something else."""

    @property
    def pattern(self) -> str:
        """The number without sign."""
        if self.style in ("hex", "hex-signed"):
            return self._hex()
        parts = [parts_of(core, self.style, backwards=self.backwards) for core in self.cores]
        mark = MARKS[self.style][0]
        wholes, points, fractions = ([part[i] for part in parts] for i in range(3))
        pieces = [*self._whole(wholes, implied=self.decimals or 0), *self._fraction(points, fractions, mark)]
        return "".join(reversed(pieces) if self.backwards else pieces)

    def _whole(self, texts: Sequence[str], implied: int) -> list[str]:
        if MARKS[self.style][1]:
            led = [len(text) > 1 and text[0] == "0" for text in texts]
            # Grouped numbers aren't padded with zeros: one in front is something else, which stays.
            return ["0" if all(led) else "0?" if any(led) else "", self._grouped(max(map(len, texts)) - any(led))]
        sizes = {len(text) for text in texts}
        least, most = min(sizes), max(sizes)
        zeros = any(len(text) > 1 + implied and text[0] == "0" for text in texts)
        tail = 0
        if implied and self.shown is not None and self.shown < implied:
            surplus = implied - self.shown
            tail = surplus if all(text.endswith("0" * surplus) for text in texts) else 0
        end = ["0" * tail] if tail else []
        steady = len({len(core) for core in self.cores}) == 1 and least > 1 and not implied and not self.backwards
        if zeros or (self.fixed and not steady) or (
            implied and len(sizes) == 1 and any(t[:1] == "0" and len(t) > 1 for t in texts)
        ):  # fmt: skip
            if len(sizes) > 1:
                return [repeat("[0-9]", least - tail, most - tail), *end]
            known = [parts_of(core, self.style, backwards=self.backwards)[0] for core in self.known]
            held = int(self.open_left and all(text[:1] == "0" for text in known or texts) and most > 1 + implied)
            return [*(["0"] * held), repeat("[0-9]", most - held - tail, most - held - tail), *end]
        low = min(least, 1 + implied) - tail
        body = repeat("[0-9]", max(low, 0), None if self.padded else most - tail + _GROWTH)
        if steady and not self.padded and not self.filled:
            # All had the same length. A zero or spaces may fill the place of a missing digit and mean the same. A frame
            # that is shorter or longer could be one that lost or gained a byte, unless that can be told.
            bare = repeat("[0-9]", 1, most + _GROWTH) if self.told and not self.fixed else f"[0-9]{{{most}}}"
            return [f"(?:{bare}| {{1,{most - 1}}}[0-9]{{1,{most}}})", *end]
        return [body, *end]

    def _grouped(self, most: int) -> str:
        """Whole parts with thousands set apart: how they are written follows from how large they are."""
        group = escape(MARKS[self.style][1].encode())
        times = repeat(f"(?:{group}[0-9]{{3}})", 0, None if self.padded else (most + _GROWTH - 1) // 3)
        return "[0-9]{1,3}" + times

    def _fraction(self, points: Sequence[str], texts: Sequence[str], mark: str) -> list[str]:
        if not any(points):
            return []
        sizes = {len(text) for text in texts}
        point = "\\." if mark == "." else mark
        if len(sizes) == 1:
            size = sizes.pop()
            shown = size if self.shown is None else min(self.shown, size)
            held = size - shown if all(text[shown:] == "0" * (size - shown) for text in texts) else 0
            body = [repeat("[0-9]", size - held, size - held), "0" * held]
            return [point, *(piece for piece in body if piece)]
        some = [len(text) for point, text in zip(points, texts, strict=True) if point]
        # Decimals that come and go are zeros that are dropped; the mark goes with the last one.
        inner = repeat("[0-9]", 1, max(some))
        whole = inner + point if self.backwards else point + inner
        return [f"(?:{whole})?"]

    def _hex(self) -> str:
        joined = b"".join(self.cores)
        letters = "a-f" if re.search(rb"[a-f]", joined) else "A-F"
        sizes = {len(core) for core in self.cores}
        zeros = any(len(core) > 1 and core.startswith(b"0") for core in self.cores)
        if len(sizes) == 1 and (zeros or self.fixed or not self.padded or self.style == "hex-signed"):
            if self.style == "hex" and all(core[:1] < b"8" for core in self.cores):
                # Where nothing below zero was shown, the bit that could be a sign stays as it was.
                return "[0-7]" + repeat(f"[0-9{letters}]", max(sizes) - 1, max(sizes) - 1)
            return repeat(f"[0-9{letters}]", max(sizes), max(sizes))
        return repeat(f"[0-9{letters}]", min(sizes), None if self.padded else max(sizes) + _GROWTH)


@dataclass(frozen=True, slots=True)
class Lead:
    """What stands between a number and the word before it, in every frame: spaces and perhaps its sign.

    `signed`: the sign stands here. `filled`: digits grow leftwards into the spaces, which together with them always
    take `ends` bytes (None where that changes).
    """

    gaps: tuple[bytes, ...]
    signed: bool
    filled: bool
    ends: int | None

    def pattern(self, digits: str, wide: bool, apart: bool) -> str:
        """The gap with the group `number` behind it. `wide`: the form's width holds the spaces."""
        if any(byte in FILLS for gap in self.gaps for byte in gap):
            return self._filled_up(digits)
        chars = {char for gap in self.gaps for char in gap.decode("latin-1") if char in "+-"} if self.signed else set()
        if not self.signed and len(set(self.gaps)) == 1 and not self.filled:
            return escape(self.gaps[0]) + f"(?P<number>{digits})"
        always = all(b"+" in gap or b"-" in gap for gap in self.gaps)
        if self.filled and not wide and (exact := self._in_columns(digits, chars, always)) is not None:
            return exact
        if not chars:
            return self._pad({len(gap) for gap in self.gaps}, wide, apart) + f"(?P<number>{digits})"
        # A minus may stand where a plus stood.
        sign = "[+-]" if "+" in chars else "-"
        parts = [match for gap in self.gaps if (match := re.fullmatch(rb"( *)([+-]?)( *)", gap))]
        befores = {len(part[1]) for part in parts if part[2]}
        afters = {len(part[3]) for part in parts if part[2]}
        bare = {len(part[0]) for part in parts if not part[2]}
        column = len(befores) == 1 and all(size > min(befores) for size in bare)
        floating = afters == {0}
        same = len({len(gap) for gap in self.gaps}) == 1
        optional = sign if always else sign + "?"
        if column and (not floating or wide or same):
            first = min(befores)
            rest = {size - first - 1 for size in bare} | afters
            if floating and (rest != {0} or self.filled):
                # In a column of its own or next to the digits: nothing shown tells, and both read the same.
                return f"{self._pad({first, first + 1}, wide, apart)}(?P<number>{optional}{self._pad(rest, wide, False)}{digits})"
            one = sign if always else f"[ {sign.strip('[]')}]"
            if floating and not always and (steady := re.match(r"\(\?:\[0-9\]\{(\d+)\}\| ", digits)):
                # Where spaces stand in the place of digits, the sign may stand next to them as well.
                rest_of = digits[digits.index(")") + 1 :]
                near = f" {{1,{int(steady[1]) - 1}}}{sign}[0-9]{{1,{int(steady[1]) - 1}}}{rest_of}"
                return f"{' ' * first}(?P<number>{one}{digits}|{near})"
            return f"{' ' * first}(?P<number>{one}{self._pad(rest, wide, False)}{digits})"
        before = self._pad(befores | bare, wide, apart)
        inner = "" if floating else self._pad(afters | {0}, wide, False)
        return f"{before}(?P<number>{optional}{inner}{digits})"

    def _filled_up(self, digits: str) -> str:
        """Fill characters give way to digits; only where the form keeps its width, else just what was seen."""
        fills = {bytes([byte]) for gap in self.gaps for byte in gap if byte in FILLS}
        heads = {gap.rstrip(FILLS) for gap in self.gaps}
        if len(fills) > 1 or len(heads) > 1 or not self.filled:
            return "(?:" + "|".join(map(escape, sorted(set(self.gaps)))) + f")(?P<number>{digits})"
        return f"{escape(heads.pop())}{escape(fills.pop())}*(?P<number>{digits})"

    def _pad(self, counts: set[int], wide: bool, apart: bool) -> str:
        if wide and self.filled:
            return " +" if apart else " *"
        return spaces(counts, wide, apart)

    def _in_columns(self, digits: str, chars: set[str], always: bool) -> str | None:
        """Spaces and digits in their exact columns; None where the number has no fixed end part."""
        match = re.fullmatch(r"\[0-9\](?:\+|\*|\{[0-9,]+\})?((?:\\\.|,)\[0-9\](?:\{[0-9]+\})?0*|)", digits)
        if match is None or self.ends is None:
            return None
        tail = match[1]
        size = re.search(r"\{([0-9]+)\}", tail)
        fraction = (int(size[1]) if size else 1) + 1 + len(tail) - len(tail.rstrip("0")) if tail else 0
        body = self.ends - fraction
        if body < 3 or (always and any(gap[:1] not in (b"+", b"-") for gap in self.gaps)):
            return None
        if always:
            sign = "[+-]" if "+" in chars else "-"
            return f"(?P<number>{sign}[ 0-9]{{{body - 2}}}[0-9]{tail})"
        extra = ("+" if "+" in chars else "") + ("-" if chars else "")
        return f"(?P<number>[ 0-9{extra}]{{{body - 1}}}[0-9]{tail})"


def loose_number(cores: Sequence[bytes], style: Style) -> str:
    """Any number of the kind seen: for a counter, a clock, another weight in the line."""
    if style in ("hex", "hex-signed"):
        sizes = {len(core) for core in cores}
        return repeat("[0-9A-Fa-f]", min(sizes), max(sizes))
    mark = MARKS[style][0] or "."
    parts = [parts_of(core, style, backwards=False) for core in cores]
    wholes, fractions = {len(part[0]) for part in parts}, {len(part[2]) for part in parts if part[1]}
    padded = any(len(part[0]) > 1 and part[0][0] == "0" for part in parts)
    most = max(wholes) if len(wholes) == 1 and padded else max(wholes) + _GROWTH
    if not fractions and not padded:
        most = max(most, _COUNTER)
    out = repeat("[0-9]", most if padded and len(wholes) == 1 else min(min(wholes), 1), most)
    if fractions:
        tail = ("\\." if mark == "." else mark) + repeat("[0-9]", min(fractions), max(fractions))
        out += tail if all(part[1] for part in parts) else f"(?:{tail})?"
    return out
