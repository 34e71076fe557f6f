"""Forms → layouts: one pattern for all that are written alike, marks for the words that tell them apart. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from .evidence import NUMBERED
from .fields import Digits, Lead, escape, loose_number, repeat, spaces
from .forms import Form, Reading, clockwork
from .places import Frame, Place
from .splitting import FILLS, MARKS, Style, parts_of

#: Words that say which load a number is, in any language of the trade we know.
_LOADS = {
    "GS": "gross", "GR": "gross", "GROSS": "gross", "BRUTTO": "gross", "NT": "net", "NET": "net", "NETT": "net",
    "NETTO": "net",
}  # fmt: skip
#: Marks that say nothing of the condition.
_ASIDE = {"normal", "gross", "net", "negative"}
#: The gravest of the conditions a form was seen under tells what it means.
_ORDER = ("ok", "zero", "moving", "underload", "overload", "error")


@dataclass(slots=True)
class Shape:
    """A layout in the making. `pieces` are patterns in the order of the frame; `words` says which are literal words."""

    pieces: list[str]
    words: dict[int, bytes]
    condition: str
    unit: str | None
    width: int | None
    place: Place | None
    frames: list[Frame]
    marks: dict[int, dict[bytes, str]] = field(default_factory=dict)
    why: str = ""

    @property
    def negative(self) -> bool:
        """Whether all its values are below zero, though no sign says so."""
        return self.place is not None and self.place.negative

    @property
    def template(self) -> tuple[object, ...]:
        """What shapes must share to become one layout."""
        blank = tuple("" if at in self.words else piece for at, piece in enumerate(self.pieces))
        place = self.place and (self.place.decimals, self.place.compound)
        return (blank, tuple(sorted(self.words)), self.unit, self.width, place)


def meaning(conditions: Iterable[str]) -> str:
    """What a form says that was seen under these conditions."""
    seen = set(conditions) - {"nothing"}
    for quiet in ("error", "overload", "underload"):
        if seen == {quiet}:
            return quiet
    if "ok" in seen:
        return "ok"
    return next((condition for condition in _ORDER if condition in seen), "ok")


def shapes(reading: Reading, *, fixed: bool, checked: bool) -> list[Shape]:
    """The shapes of all solved forms. `fixed`: the framing fixes the frames' length; `checked`: a check guards them."""
    _share_signs(reading.solved)
    families: dict[tuple[object, ...], list[Form]] = {}
    pools: dict[tuple[object, ...], list[Form]] = {}
    for form in reading.solved:
        families.setdefault(_family(form, reading), []).append(form)
        pools.setdefault(_before(form), []).append(form)
    ordered = [
        forms for key, forms in sorted(families.items(), key=lambda each: (each[0][-1] != "several", -len(_values(each[1]))))
    ]  # fmt: skip
    built: list[Shape] = []
    models: list[_Field] = []
    widths: set[int] = set()
    dropping = {key[-3] for key in families if key[-1] == "several"}
    fullest: dict[tuple[object, ...], tuple[bytes, ...]] = {}
    for forms in ordered:
        unit, implied, decimals = _family(forms[0], reading)[-3:]
        # Where one form drops zeros, so do the others of that unit.
        written = (unit, implied, "several" if unit in dropping else decimals)
        own = _field_of(
            forms, reading, fixed, checked, pools[_before(forms[0])], widths, fullest.get(written, ()), unit in dropping
        )
        fullest.setdefault(written, own.digits.cores)
        if own.wide:
            widths.update(form.width for form in forms if form.width is not None)
        known = next((m for m in models if m.fits(forms, own)), None)
        chosen = own if known is None or own.yielding or len(_values(forms)) > _FEW else known.adapted(own, forms)
        if known is None:
            models.append(own)
        for form in forms:
            built.append(_shape(form, forms, chosen, reading, fixed))
    return built


def _share_signs(solved: Sequence[Form]) -> None:
    """Where one form shows its sign in a gap, a minus in that gap of another is its sign too, and nothing else marks it.

    A plus that stays below zero is no sign.
    """
    below = [form for form in solved if form.place is not None and form.place.negative]
    for form in solved:
        place = form.place
        if place is not None and place.sign is not None and any(
            _before(other) == _before(form) and all(b"+" in gap for gap in other.gap(place.sign)) for other in below
        ):  # fmt: skip
            form.place = replace(place, sign=None)
    gaps = {
        (_before(form), form.place.sign - form.place.at)
        for form in solved
        if form.place is not None and form.place.sign is not None
    }
    for form in solved:
        for before, distance in gaps:
            place = form.place
            if place is None or not place.negative or before != _before(form):
                continue
            if all(b"-" in gap for gap in form.gap(place.at + distance)):
                form.place = replace(place, negative=False, sign=place.at + distance)


def _before(form: Form) -> tuple[object, ...]:
    """Forms with the same before the value write its sign and padding the same way, whatever the unit."""
    assert form.place is not None
    at = form.place.at
    return (at, tuple("loose" if role == "listed" else role for role in form.roles[:at]), form.place.minor is None)


def _values(forms: Sequence[Form]) -> set[tuple[bytes, ...]]:
    return {(core, *f.gap(f.place.at)[:0]) for f in forms if f.place is not None for core in f.core(f.place.at)}


def _family(form: Form, reading: Reading) -> tuple[object, ...]:
    """Forms whose number is written the same way: the same roles, the same unit, the same number of decimals."""
    place = form.place
    assert place is not None
    fractions = {_fraction(core, reading) for core in form.core(place.at)}
    decimals: object = tuple(fractions) if len(fractions) == 1 else "several"
    roles = tuple("word" if role == "listed" else role for role in form.roles)
    return (roles, place.at, place.minor, place.unit, place.decimals, decimals)


def _fraction(core: bytes, reading: Reading) -> int:
    return len(parts_of(core, reading.style, backwards=reading.backwards)[2])


@dataclass(slots=True)
class _Field:
    """The shown number with the gaps on both sides, as all forms of a family write it."""

    lead: Lead
    digits: Digits
    right: set[bytes]
    wide: bool
    apart: bool
    behind: bool
    """Spaces behind it give way to digits."""
    yielding: frozenset[int]
    """Gaps farther off, of spaces that give way to digits."""
    sign: int | None
    """Where the sign stands, counted from the value's left gap; None where none was seen."""
    signs: set[bytes]
    """What the gap of the sign was, where that isn't the one to the left."""

    @property
    def pattern(self) -> str:
        return self.lead.pattern(self.digits.pattern, self.wide, self.apart)

    @property
    def left_pad(self) -> bool:
        return len({len(gap) for gap in self.lead.gaps}) > 1

    @property
    def right_pad(self) -> bool:
        return len({len(gap) for gap in self.right}) > 1

    def fits(self, forms: Sequence[Form], own: _Field) -> bool:
        """Whether the forms' own frames have this field."""
        if own.digits.decimals != self.digits.decimals or any(form.width is None for form in forms):
            return False
        pattern = re.compile(self.pattern.encode("latin-1"))
        for form in forms:
            assert form.place is not None
            at = form.place.at
            for gap, core in zip(form.gap(at), form.core(at), strict=True):
                if pattern.fullmatch(gap + core) is None:
                    return False
        return True

    def adapted(self, own: _Field, forms: Sequence[Form]) -> _Field:
        """This field for forms that were seen too rarely to show it whole."""
        right = own.right | self.right if self.right_pad and all(not g.strip() for g in own.right) else own.right
        return replace(
            self, right=right, wide=self.wide or self.left_pad or self.right_pad, signs=own.signs | self.signs
        )


def _field_of(
    forms: Sequence[Form], reading: Reading, fixed: bool, checked: bool, pool: Sequence[Form], widths: set[int],
    others: tuple[bytes, ...], drops: bool,
) -> _Field:  # fmt: skip
    """`widths`: lengths of frames in which spaces give way to digits; `others`: numbers written the same way elsewhere;
    `drops`: trailing zeros are dropped in forms of this unit."""
    first = forms[0]
    place = first.place
    assert place is not None
    at = place.at
    own = [gap for form in forms for gap in form.gap(at)]
    cores = [core for form in forms for core in form.core(at)]
    right = {gap for form in forms for gap in form.gap(at + 1)}
    pooled = [(gap, core) for form in pool for gap, core in zip(form.gap(at), form.core(at), strict=True)]
    gaps = [gap for gap, _ in pooled]
    ends = {len(gap) + len(core) for gap, core in pooled}
    blanks = {_blank(gap) for gap in gaps}
    if len(ends) > 1 and len({len(gap) for gap in gaps}) > 1 and blanks != {_blank(gap) for gap in own}:
        gaps, blanks = own, {_blank(gap) for gap in own}
        ends = {len(gap) + len(core) for form in forms for gap, core in zip(form.gap(at), form.core(at), strict=True)}
    signs = {form.place.sign - at for form in pool if form.place is not None and form.place.sign is not None}
    sign = min(signs, key=lambda where: (where != 0, abs(where))) if signs else None
    zeros = any(len(core) > 1 and core[:1] == b"0" and core[1:2].isdigit() for core in cores)
    # Right-aligned: the value ends at one column and spaces give way to digits. Two spaces or more that never did so
    # may be just that, in numbers that all had the same length.
    lengths = {len(gap) for gap in gaps}
    # A sign with a column of its own speaks for columns throughout.
    columns = (
        {gap.strip() for form in pool for gap in form.gap(at + sign)} == {b"", b"-"} if sign and not zeros else False
    )
    left = len(ends) == 1 and (
        (max(blanks) > 0 and (len(lengths) > 1 or (not zeros and min(blanks) > 1))) or (columns and len(lengths) == 1)
    )
    tails = {len(gap) for gap in right if not gap.strip()}
    steady = len({len(core) for core in cores}) == 1 and tails and min(tails) > 1 and at + 1 < len(first.roles)
    behind = len(tails) > 1 or (not left and bool(steady))
    yielding = frozenset() if left or behind else _yielding(forms, at, widths)
    padded = left or behind or bool(yielding)
    seen = tuple(dict.fromkeys(cores))
    if left and len({len(core) for core in seen}) == 1:
        # That spaces give way to digits here shows in other forms of the same begin.
        fraction = {_fraction(core, reading) for core in seen}
        seen = tuple(dict.fromkeys((*seen, *(c for _, c in pooled if {_fraction(c, reading)} == fraction))))
    alone = len(seen) <= _FEW or len({len(core) for core in seen}) == 1
    if drops or (alone and len({len(core) for core in (*seen, *others)}) > 1):
        # How long numbers grow shows where more of them were seen.
        seen = tuple(dict.fromkeys((*seen, *others)))
    digits = Digits(
        seen, reading.style, reading.backwards, place.decimals, _shown(forms),
        padded and all(form.width is not None for form in forms), fixed and not padded,
        # Zeros where spaces give way to digits are no padding.
        (left and zeros) or (
            all(not gap for gap in gaps)
            and (at == 0 or first.roles[at - 1] in ("loose", "listed") or first.splits[0].cores[at - 1].isdigit())
        ),
        # A space before it could be the place of one more digit: then a shorter frame lost a byte.
        checked or (any(role == "word" for role in first.roles[:at]) and not max(blanks)),
        left, _known(forms),
    )  # fmt: skip
    apart = at > 0 and first.roles[at - 1] in ("loose", "listed") and b"" not in gaps
    elsewhere = {gap for form in pool for gap in form.gap(at + sign)[:]} if sign and at + sign >= 0 else set()
    lead = Lead(tuple(dict.fromkeys(gaps)), sign == 0, left, ends.pop() if len(ends) == 1 else None)
    return _Field(lead, digits, right, digits.padded, apart, behind, yielding, sign, elsewhere)


def _known(forms: Sequence[Form]) -> tuple[bytes, ...]:
    """The numbers of frames whose value was shown."""
    return tuple(
        core for form in forms if form.place is not None for frame, core in zip(form.frames, form.core(form.place.at), strict=True)
        if frame.seen is not None and frame.seen.value is not None
    )  # fmt: skip


def _blank(gap: bytes) -> int:
    """How many bytes of a gap stand for no digit: spaces, or what fills in their place."""
    return sum(byte == 0x20 or byte in FILLS for byte in gap)


#: Of a form with no more values than these, those of other forms say how long its numbers may be.
_FEW = 3


def _yielding(forms: Sequence[Form], at: int, widths: set[int]) -> frozenset[int]:
    """Gaps that aren't next to the number, of spaces that give way to its digits: the frames keep their length."""
    own = {form.width for form in forms}
    if None in own or len(own) > 1:
        return frozenset()
    gaps = {
        gap: {text for form in forms for text in form.gap(gap)}
        for gap in range(len(forms[0].roles) + 1)
        if gap not in (at, at + 1)
    }
    blank = {gap: {len(text) for text in texts} for gap, texts in gaps.items() if not any(t.strip() for t in texts)}
    varying = [gap for gap, sizes in blank.items() if len(sizes) > 1 and not _fills(forms, gap)]
    if varying:
        return frozenset(varying)
    if own <= widths and len(_values(forms)) <= _FEW:
        # Seen too rarely to show it, in frames as long as those that do: the widest gap, the nearer to the number.
        wide = [gap for gap, sizes in blank.items() if min(sizes) > 1 and not _fills(forms, gap)]
        return frozenset(sorted(wide, key=lambda gap: (gap > at, abs(gap - at)))[:1])
    return frozenset()


def _fills(forms: Sequence[Form], gap: int) -> bool:
    """Whether the gap belongs to another number, which ends at one column whatever its length."""
    return gap < len(forms[0].roles) and forms[0].roles[gap] in ("loose", "listed", "minor")


def _shown(forms: Sequence[Form]) -> int | None:
    """Most decimals the display showed for these frames; None where it showed another unit than they hold."""
    most = 0
    for form in forms:
        for frame in form.frames:
            seen = frame.seen
            if seen is not None and seen.value is not None and seen.condition in NUMBERED:
                if form.place is None or seen.unit not in (None, form.place.unit):
                    return None
                most = max(most, -int(seen.value.as_tuple().exponent))
    return most


def _shape(form: Form, family: Sequence[Form], number: _Field, reading: Reading, fixed: bool) -> Shape:
    place = form.place
    assert place is not None
    pieces: list[str] = []
    words: dict[int, bytes] = {}
    sign_gap = None if number.sign is None or number.sign == 0 else place.at + number.sign
    for at, role in enumerate(form.roles):
        gaps = {gap for one in family for gap in one.gap(at)}
        if role == "value":
            text = number.pattern
            pieces += ["", text.replace("(?P<number>", "(?P<major>") if place.minor is not None else text]
            continue
        apart = at > 0 and form.roles[at - 1] not in ("word",) and role not in ("word",)
        wide = form.width is not None and (number.wide or fixed)
        if at == sign_gap:
            pieces.append(_sign(gaps | number.signs))
        elif at in number.yielding:
            pieces.append(" +" if apart else " *")
        elif role == "loose" and (columned := _columned(form, at, reading.style)) is not None:
            pieces += ["", columned]
            continue
        elif at == place.at + 1:
            own = {g for one in family for g in one.gap(at)}
            pieces.append(" *" if number.behind and number.wide else _gap(number.right, number.wide, apart, own))
        elif role == "minor" and wide and all(gap and not gap.strip() for gap in gaps):
            # The smaller unit's digits give way to spaces as well.
            pieces.append(" +")
        elif (
            role == "loose" and form.width is not None and b"  " in b"".join(gaps) and not any(g.strip() for g in gaps)
        ):
            pieces.append(" +" if apart else " *")
        elif role == "loose" and {gap.strip() for gap in gaps} in ({b"", b"-"}, {b"+", b"-"}, {b"", b"+", b"-"}):
            bare = {len(gap.strip(b"+-")) for gap in gaps}
            pieces.append(
                _gap({b" " * size for size in bare}, wide, apart, gaps) + ("[+-]?" if b"+" in b"".join(gaps) else "-?")
            )
        else:
            pieces.append(_gap(gaps, wide, apart, gaps))
        if role == "word":
            core = form.splits[0].cores[at]
            words[len(pieces)] = core
            pieces.append(escape(core))
        elif role == "minor":
            minor = Digits(tuple(dict.fromkeys(c for one in family for c in one.core(at))), reading.style,
                           False, None, None, True, False, False)  # fmt: skip
            pattern = minor.pattern.replace("[0-9]+", "[0-9]{1,2}", 1)
            pieces.append(f"(?P<minor>{pattern})")
        elif role == "loose":
            pieces.append(_loose(form, at, reading.style))
        else:
            pieces.append(_listed(form.core(at)))
    last = len(form.roles)
    tail = {gap for one in family for gap in one.gap(last)}
    if last in number.yielding:
        pieces.append(" *")
    elif last == sign_gap:
        pieces.append(_sign(tail | number.signs))
    elif last == place.at + 1:
        pieces.append(_gap(number.right, number.wide or fixed, False, tail))
    else:
        pieces.append(_gap(tail, form.width is not None and (number.wide or fixed), False, tail))
    floats = any("*" in piece or "+" in piece.replace("[+-]", "").replace("\\+", "") for piece in pieces)
    # Numbers that all had one length, or fewer digits and spaces in its place: together they fill the same columns.
    floats |= any("}| {1," in piece and "(?:[0-9]{1," not in piece for piece in pieces)
    kept = form.width if all(one.width is not None for one in family) else None
    width = kept if floats else None
    return Shape(pieces, words, meaning(form.conditions), place.unit, width, place, form.frames)


def _gap(gaps: set[bytes], wide: bool, apart: bool, own: set[bytes]) -> str:
    if len(gaps) == 1:
        return escape(next(iter(gaps)))
    if any(gap.strip() for gap in gaps):
        return "(?:" + "|".join(escape(gap) for gap in sorted(own)) + ")" if len(own) > 1 else escape(next(iter(own)))
    return spaces({len(gap) for gap in gaps}, wide, apart)


def _sign(gaps: set[bytes]) -> str:
    """The gap that holds the sign, apart from its number."""
    chars = {char for gap in gaps for char in gap.decode("latin-1") if char in "+-"}
    sign = "+-" if "+" in chars else "-"
    heads = {gap[: min((gap.find(c) for c in (b"+", b"-") if c in gap), default=0)] for gap in gaps if gap.strip()}
    tails = {gap[max(gap.rfind(b"+"), gap.rfind(b"-")) + 1 :] for gap in gaps if gap.strip()}
    if not heads:
        return spaces({len(gap) for gap in gaps}, wide=False)
    head, tail = min(heads, key=len), min(tails, key=len)
    if len(heads) > 1 or len(tails) > 1:
        return f" *(?P<sign>[{sign}]?) *"
    if all(gap.strip() for gap in gaps):
        return f"{escape(head)}(?P<sign>[{sign}]){escape(tail)}"
    bare = {len(gap) for gap in gaps if not gap.strip()}
    if bare == {len(head) + len(tail) + 1}:
        return f"{escape(head)}(?P<sign>[ {sign}]){escape(tail)}"
    return (
        f"{escape(head)}(?P<sign>[{sign}]?){escape(tail)}"
        if bare == {len(head) + len(tail)}
        else f" *(?P<sign>[{sign}]?) *"
    )


def _columned(form: Form, at: int, style: Style) -> str | None:
    """A number that means nothing to us and always ends at one column, spaces giving way to digits; None for others."""
    pairs = form.pairs_at.get(at) or tuple(zip(form.gap(at), form.core(at), strict=True))
    gaps = {gap for gap, _ in pairs}
    ends = {len(gap) + len(core) for gap, core in pairs}
    parts = {
        (bool(point), len(rest)) for _, core in pairs for _, point, rest in [parts_of(core, style, backwards=False)]
    }
    signs = {gap.strip() for gap in gaps} - {b""}
    if len(ends) > 1 or len(gaps) == 1 or not signs <= {b"+", b"-"} or len(parts) > 1:
        return None
    # A minus may stand where a plus stood, and next to the digits or in a column of its own.
    held = "+-" if b"+" in signs else "-" if signs else ""
    ((point, decimals),) = parts
    size = ends.pop() - (decimals + 1 if point else 0)
    tail = escape(MARKS[style][0].encode()) + repeat("[0-9]", decimals, decimals) if point else ""
    return f"{repeat(f'[ 0-9{held}]', size - 1, size - 1)}[0-9]{tail}"


def _loose(form: Form, at: int, style: Style) -> str:
    texts = form.seen_at.get(at) or form.core(at)
    if clockwork(form.splits[0], at) and len({len(text) for text in texts}) == 1:
        return repeat("[0-9]", len(texts[0]), len(texts[0]))
    return loose_number(texts, style)


def _listed(cores: Sequence[bytes]) -> str:
    different = sorted(set(cores))
    return escape(different[0]) if len(different) == 1 else "(?:" + "|".join(map(escape, different)) + ")"


def merged(found: Sequence[Shape], moves: bool) -> list[Shape]:
    """Shapes that differ in their words only become one with marks. `moves`: movement was shown, so the rest is rest."""
    out: list[Shape] = []
    by_template: dict[tuple[object, ...], list[Shape]] = {}
    for shape in found:
        by_template.setdefault(shape.template, []).append(shape)
    for together in by_template.values():
        out += _together(together, moves)
    return out


def crossed(found: Sequence[Shape]) -> list[Shape]:
    """Shapes for values below zero, marked as by brackets: with each condition's word that the others were seen with."""
    out = [_signed(shape, found) for shape in found]
    for at, shape in enumerate(out):
        if shape.negative and not shape.marks and shape.place is not None:
            out[at] = next((made for other in found if (made := _crossing(shape, other)) is not None), shape)
    return out


def _signed(shape: Shape, found: Sequence[Shape]) -> Shape:
    """A minus may stand where a plus stood, also where both are letters."""
    if shape.place is None or shape.condition == "zero" or shape.negative:
        return shape
    front, _ = _sides(shape)
    for other in found:
        if other is shape or other.place is None or not front:
            continue
        sides, _ = _sides(other)
        for here, there in zip(reversed(front), reversed(sides), strict=False):
            table = other.marks.get(there, {})
            if "negative" in table.values() and here not in shape.marks and shape.words[here] in table:
                return replace(shape, marks={**shape.marks, here: table})
    return shape


def _crossing(shape: Shape, other: Shape) -> Shape | None:
    """The shape with the other's marks, where they differ by nothing but the words that say it is below zero."""
    if other.negative or not other.marks or shape.unit != other.unit:
        return None
    added = _added(shape, other)
    if added is None or not any(added):
        return None
    marks: dict[int, dict[bytes, str]] = {}
    for here, there, extra in zip(_sides(shape), _sides(other), added, strict=True):
        for at, wanted in zip([at for at in here if at not in extra], there, strict=True):
            if wanted in other.marks:
                marks[at] = other.marks[wanted]
    return replace(shape, marks=marks, condition=other.condition)


def _added(shape: Shape, other: Shape) -> tuple[list[int], list[int]] | None:
    """The shape's words the other hasn't, on both sides of the number; None where they differ otherwise."""
    found = []
    for here, there in zip(_sides(shape), _sides(other), strict=True):
        extra, matched = [], 0
        for at in here:
            wanted = there[matched] if matched < len(there) else None
            if wanted is not None and (
                shape.words[at] == other.words[wanted] or shape.words[at] in other.marks.get(wanted, {})
            ):
                matched += 1
            else:
                extra.append(at)
        if matched < len(there):
            return None
        found.append(extra)
    return found[0], found[1]


def _sides(shape: Shape) -> tuple[list[int], list[int]]:
    """The words before the number, and those behind it from the frame's end."""
    assert shape.place is not None
    value = 2 * shape.place.at + 1
    return [at for at in sorted(shape.words) if at < value], [
        at for at in sorted(shape.words, reverse=True) if at > value
    ]


def _together(found: list[Shape], moves: bool) -> Iterator[Shape]:
    varied = [at for at in found[0].words if len({shape.words[at] for shape in found}) > 1]
    if not varied:
        first = found[0]
        conditions = {shape.condition for shape in found}
        yield replace(first, frames=[f for s in found for f in s.frames], condition=meaning(conditions))
        return
    if len(varied) == 1 or _factors(found, varied):
        telling = _telling(found, varied)
        below = next((at for at in varied if at != telling and _decides(found, at, _below)), None)
        if telling is not None and below is None and len({shape.negative for shape in found}) > 1:
            yield from map(replace, found)
            return
        marks: dict[int, dict[bytes, str]] = {}
        for at in varied:
            texts = dict.fromkeys(shape.words[at] for shape in found)
            if at == telling:
                marks[at] = {t: _mark(next(s.condition for s in found if s.words[at] == t), moves) for t in texts}
            elif at == below and len({shape.negative for shape in found}) > 1:
                minus = {shape.words[at] for shape in found if shape.negative}
                marks[at] = {t: "negative" if t in minus else "normal" for t in texts}
            else:
                marks[at] = {t: _load_word(t) or "normal" for t in texts}
        frames = [frame for shape in found for frame in shape.frames]
        condition = "ok" if telling is not None else found[0].condition
        yield replace(found[0], marks=marks, frames=frames, condition=condition)
        return
    # The words change together: only the combinations that were shown count. Keep the finest one as the mark.
    kept = max(varied, key=lambda at: len({s.words[at] for s in found}))
    parts: dict[tuple[bytes, ...], list[Shape]] = {}
    for shape in found:
        parts.setdefault(tuple(shape.words[at] for at in varied if at != kept), []).append(shape)
    if len(parts) == len(found):
        for shape in found:
            yield replace(shape)
        return
    for part in parts.values():
        yield from _together(part, moves)


def _telling(found: Sequence[Shape], varied: Sequence[int]) -> int | None:
    """The word that tells the condition; None where the condition doesn't change, or no single word tells it."""
    if len({shape.condition for shape in found}) == 1:
        return None
    return next((at for at in varied if _decides(found, at)), None)


def _condition(shape: Shape) -> object:
    return shape.condition


def _below(shape: Shape) -> object:
    return shape.negative


def _decides(found: Sequence[Shape], at: int, what: Callable[[Shape], object] = _condition) -> bool:
    said: dict[bytes, set[object]] = {}
    for shape in found:
        said.setdefault(shape.words[at], set()).add(what(shape))
    return all(len(each) == 1 for each in said.values())


def _factors(found: Sequence[Shape], varied: Sequence[int]) -> bool:
    """Whether the words vary by themselves: one tells the condition, each other was seen to change without it.

    One may tell that the number is below zero.
    """
    telling = _telling(found, varied)
    signs = len({shape.negative for shape in found}) > 1
    if signs and not any(at != telling and _decides(found, at, _below) for at in varied):
        return False
    if telling is None and not signs:
        return False
    if telling is not None and any(at != telling and _decides(found, at) for at in varied):
        return False
    for at in varied:
        if at == telling:
            continue
        changes = any(
            a.words[at] != b.words[at] and all(a.words[o] == b.words[o] for o in varied if o != at)
            for a in found
            for b in found
        )
        if not changes:
            return False
    return True


def _mark(condition: str, moves: bool) -> str:
    if condition == "ok":
        return "settled" if moves else "normal"
    return condition


def layout_of(shape: Shape, moves: bool, profile_unit: str | None, style: Style, backwards: bool) -> dict[str, Any]:
    """The layout as the keys of a profile's file."""
    pieces = list(shape.pieces)
    marks: dict[str, dict[str, str]] = {}
    for at, texts in sorted(shape.marks.items()):
        name = _name(texts, marks)
        pieces[at] = f"(?P<{name}>" + "|".join(escape(text) for text in texts) + ")"
        marks[name] = {text.decode("latin-1"): said for text, said in texts.items()}
    layout: dict[str, Any] = {"pattern": "".join(pieces)}
    if shape.width is not None:
        layout["width"] = shape.width
    place = shape.place
    if place is not None:
        mark, group = MARKS[style]
        if mark == "," and "," in layout["pattern"]:
            layout["decimal"] = ","
        if group:
            layout["thousands"] = group
        if place.decimals:
            layout["decimals"] = place.decimals
        if style in ("hex", "hex-signed"):
            layout["digits"] = style
        elif backwards:
            layout["digits"] = "reversed"
        if place.compound is not None:
            layout["compound"] = list(place.compound)
        elif place.unit is not None and place.unit != profile_unit:
            layout["unit"] = place.unit
    below = "negative" if shape.negative and not any("negative" in texts.values() for texts in marks.values()) else None
    says = [said for said in [_says(shape, moves, marks), _load(shape), below] if said]
    if says:
        layout["says"] = says
    if marks:
        layout["marks"] = marks
    return layout


def _name(texts: dict[bytes, str], taken: dict[str, Any]) -> str:
    said = set(texts.values())
    name = "still" if said <= {"settled", "moving"} else "load" if said <= {"gross", "net", "normal"} else "status"
    while name in taken:
        name += "_"
    return name


def _says(shape: Shape, moves: bool, marks: dict[str, dict[str, str]]) -> str | None:
    if any(set(m.values()) - _ASIDE for m in marks.values()):
        return None
    return _mark(shape.condition, moves) if shape.condition != "ok" or moves else None


def _load(shape: Shape) -> str | None:
    """The load a constant word names, where just one does."""
    if shape.condition not in NUMBERED:
        return None
    constant = [word for at, word in shape.words.items() if at not in shape.marks]
    named = {load for word in constant if (load := _load_word(word))}
    tare = any(word.upper() in (b"TARE", b"TARA", b"PT", b"TR") for word in constant)
    return named.pop() if len(named) == 1 and not tare else None


def _load_word(word: bytes) -> str | None:
    text = word.decode("latin-1")
    # Two letters of mixed case are a unit with a status more likely than a load.
    return _LOADS.get(text.upper()) if len(text) > 2 or text.isupper() else None


def zeros(shape: Shape) -> Shape:
    """The same shape for nothing but zeros."""
    return replace(
        shape,
        pieces=[
            re.sub("0-9(?:A-F|a-f)?", "0", piece.replace("[0-9]", "0")) if "(?P<number>" in piece else piece
            for piece in shape.pieces
        ],
        condition="zero",
    )


def literal(form: Form, condition: str, number_like: re.Pattern[bytes] | None, style: Style) -> Shape:
    """A form without a reading: its words as they are, its longer numbers loose where several were seen."""
    pieces: list[str] = []
    words: dict[int, bytes] = {}
    for at, core in enumerate(form.splits[0].cores):
        gaps = set(form.gap(at))
        if form.roles[at] == "loose" and (columned := _columned(form, at, style)) is not None:
            pieces += ["", columned]
            continue
        # Spaces before a number that means nothing to us give way to its digits.
        yields = form.roles[at] == "loose" and not any(gap.strip() for gap in gaps) and min(map(len, gaps)) > 1
        pieces.append(spaces({1, *map(len, gaps)}, False) if yields else _gap(gaps, False, False, gaps))
        texts = form.core(at)
        if not form.splits[0].numbers[at]:
            words[len(pieces)] = core
            pieces.append(escape(core))
        elif form.roles[at] == "loose":
            pieces.append(_loose(form, at, style))
        elif (len(set(texts)) > 1 and max(map(len, texts)) >= 3) or (
            condition != "error" and number_like is not None and number_like.fullmatch(core)
        ):
            pieces.append(loose_number(texts, style))
        else:
            pieces.append(_listed(texts))
    gaps = set(form.gap(len(form.splits[0].cores)))
    pieces.append(_gap(gaps, False, False, gaps))
    return Shape(pieces, words, condition, None, None, None, form.frames)


def exact(frames: Sequence[Frame], condition: str) -> Shape:
    """These very frames and no other."""
    bodies = sorted({frame.body for frame in frames})
    pattern = "|".join(escape(body) for body in bodies)
    return Shape([f"(?:{pattern})" if len(bodies) > 1 else pattern], {}, condition, None, None, None, list(frames))


def division(decimals: int) -> Decimal:
    """The last digit's step."""
    return Decimal(1).scaleb(-decimals)


__all__ = [
    "Shape",
    "crossed",
    "division",
    "exact",
    "layout_of",
    "literal",
    "meaning",
    "merged",
    "repeat",
    "shapes",
    "zeros",
]
