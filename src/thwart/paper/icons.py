"""The drawings on cards. One language: the plate's shape says the task, what is drawn on it says the act.

A black fish is the one in hand, an outlined one isn't there (yet, any more); snout to the left, as fish lie on a board.
An arrow is a movement, a dashed line something missing, a struck-out thing one that never was. Everything is black on
white, and means the same there.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from .page import Pen

Drawing = Callable[[Pen], None]


# ---- plates: the task ----------------------------------------------------------------------------------------------


def _polygon(pen: Pen, corners: int, turn: float, radius: float = 47) -> None:
    angles = [math.radians(turn + 360 * n / corners) for n in range(corners)]
    pen.line(*((radius * math.cos(a), radius * math.sin(a)) for a in angles), fill=False)


def _circle(pen: Pen) -> None:
    pen.disc(0, 0, 47, fill=False)


def _octagon(pen: Pen) -> None:
    _polygon(pen, 8, 22.5)


def _lens(pen: Pen) -> None:
    top = ((-22, 38), (22, 38), (48, 0))
    bottom = ((22, -38), (-22, -38), (-48, 0))
    pen.curve((-48, 0), ((-30, 42), (30, 42), top[2]), ((30, -42), (-30, -42), bottom[2]), fill=False)


def _diamond(pen: Pen) -> None:
    _polygon(pen, 4, 0, 48)


def _square(pen: Pen) -> None:
    pen.line((-44, -44), (44, -44), (44, 44), (-44, 44), fill=False)


def _key(pen: Pen) -> None:
    pen.line((-47, -42), (47, -42), (34, 42), (-34, 42), fill=False)


def _hollow(pen: Pen) -> None:
    pen.stroke(3.5, dashes=(8, 5))
    _square(pen)
    pen.stroke(3.5)


def _envelope_plate(pen: Pen) -> None:
    pen.line((-47, -38), (47, -38), (47, 26), (36, 42), (-36, 42), (-47, 26), fill=False)
    pen.line((-47, 26), (47, 26))


def _hexagon(pen: Pen) -> None:
    _polygon(pen, 6, 0, 48)


def _house(pen: Pen) -> None:
    pen.line((-42, -45), (42, -45), (42, 14), (0, 46), (-42, 14), fill=False)


def _shield(pen: Pen) -> None:
    pen.curve((-42, 44), ((-14, 44), (14, 44), (42, 44)), ((42, -6), (36, -34), (0, -47)), ((-36, -34), (-42, -6), (-42, 44)),
              fill=False)  # fmt: skip


#: Task → its plate.
PLATES: Final[dict[str, Drawing]] = {
    "hand": _circle,
    "ends": _octagon,
    "species": _lens,
    "codes": _diamond,
    "measure": _square,
    "numbers": _key,
    "missing": _hollow,
    "containers": _envelope_plate,
    "batch": _hexagon,
    "bench": _house,
    "people": _shield,
}


#: Where the middle of a drawing lies on a plate and how large it is, where that isn't as it comes.
_ROOM: Final[dict[str, tuple[float, float, float]]] = {
    "ends": (0, 0, 0.86),
    "batch": (0, 0, 0.95),
    "containers": (0, -3, 1.0),
    "bench": (0, -3, 0.95),
    "numbers": (0, -2, 0.86),
    "people": (0, 3, 0.92),
}


def plate(pen: Pen, task: str) -> None:
    """The plate of a task."""
    pen.stroke(3.5)
    PLATES[task](pen)


def on_plate(pen: Pen, task: str, draw: Drawing) -> None:
    """A plate and what is drawn on it, as large as the plate has room."""
    plate(pen, task)
    with pen.smaller(*_ROOM.get(task, (0, 0, 1.0))):
        draw(pen)


# ---- things --------------------------------------------------------------------------------------------------------


def fish(pen: Pen, x: float = 0, y: float = 0, length: float = 60, *, fill: bool = True, deep: float = 0.36) -> None:
    """A fish with its middle at a point; the fork of its tail lies at 0.41 of its length right of the middle."""
    half, up = length / 2, length * deep / 2
    root = 0.24 * length
    pen.curve(
        (x - half, y),
        ((x - half * 0.55, y + up * 1.35), (x + root * 0.2, y + up * 1.2), (x + root, y + up * 0.22)),
        ((x + root + 0.06 * length, y + up * 0.3), (x + half * 0.9, y + up * 0.95), (x + half, y + up)),
        ((x + half * 0.86, y + up * 0.5), (x + half * 0.82, y + up * 0.2), (x + half * 0.82, y)),
        ((x + half * 0.82, y - up * 0.2), (x + half * 0.86, y - up * 0.5), (x + half, y - up)),
        ((x + half * 0.9, y - up * 0.95), (x + root + 0.06 * length, y - up * 0.3), (x + root, y - up * 0.22)),
        ((x + root * 0.2, y - up * 1.2), (x - half * 0.55, y - up * 1.35), (x - half, y)),
        fill=fill,
    )
    pen.disc(x - half * 0.62, y + up * 0.22, max(1.6, length * 0.035), ink="white" if fill else "black")


def pan(pen: Pen, y: float = -30, width: float = 56) -> None:
    """A scale."""
    half = width / 2
    pen.line((-half, y + 12), (half, y + 12))
    pen.line((0, y + 12), (0, y + 4))
    pen.line((-half * 0.7, y - 6), (half * 0.7, y - 6), (half * 0.55, y + 4), (-half * 0.55, y + 4), fill=True)


def ruler(pen: Pen, left: float, right: float, y: float) -> None:
    """A length from one point to another."""
    pen.line((left, y), (right, y))
    pen.line((left, y - 7), (left, y + 7))
    pen.line((right, y - 7), (right, y + 7))


def envelope(pen: Pen, x: float, y: float, width: float, *, fill: bool = False) -> None:
    """An envelope."""
    w, h = width / 2, width * 0.33
    pen.line((x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h), fill=fill)
    pen.line((x - w, y + h), (x, y - h * 0.1), (x + w, y + h))


def box(pen: Pen, *, lid: float) -> None:
    """A fish box, its lid open by so many degrees."""
    pen.line((-26, -30), (26, -30), (30, 0), (-30, 0), fill=False)
    at = math.radians(lid)
    pen.line((-30, 6), (-30 + 60 * math.cos(at), 6 + 60 * math.sin(at)))


def tick(pen: Pen, x: float = 0, y: float = 0, size: float = 30) -> None:
    """A tick."""
    pen.line((x - size * 0.5, y), (x - size * 0.12, y - size * 0.38), (x + size * 0.55, y + size * 0.45))


def cross(pen: Pen, size: float = 30, x: float = 0, y: float = 0) -> None:
    """A thing struck out: a white edge keeps the stroke apart from what it strikes."""
    pen.line((x - size, y - size), (x + size, y + size))
    pen.line((x - size, y + size), (x + size, y - size))


def turn(pen: Pen, radius: float, *, back: bool) -> None:
    """A circle that goes round: against the clock for what is taken back, with it for what is done again."""
    start, sweep, towards = (-140, 268, 222) if back else (-40, -268, -42)
    pen.bow(0, 0, radius, start, sweep)
    end = math.radians(140 if back else 40)
    pen.head(radius * math.cos(end), radius * math.sin(end), towards, 24)


def waves(pen: Pen, y: float, width: float = 56) -> None:
    """Water."""
    step = width / 4
    x = -width / 2
    bends = []
    for nth in range(4):
        up = 7 if nth % 2 == 0 else -7
        bends.append(((x + step / 3, y + up), (x + 2 * step / 3, y + up), (x + step, y)))
        x += step
    pen.curve((-width / 2, y), *bends)


def otolith(pen: Pen, x: float, y: float, *, fill: bool = True, size: float = 22) -> None:
    """An ear stone."""
    pen.curve((x - size, y - size * 0.1), ((x - size * 0.6, y + size * 0.75), (x + size * 0.6, y + size * 0.6), (x + size, y)),
              ((x + size * 0.5, y - size * 0.55), (x - size * 0.4, y - size * 0.75), (x - size, y - size * 0.1)), fill=fill)  # fmt: skip


def crack(pen: Pen, x: float, y: float, height: float) -> None:
    """A white crack through a black thing."""
    # drawn as a white band, so that it shows on black and on white paper alike
    h = height / 2
    left = [(x - 4, y + h), (x + 5, y + h * 0.3), (x - 5, y - h * 0.25), (x + 3, y - h)]
    pen.gap(*left)


def bust(pen: Pen) -> None:
    """A person."""
    pen.disc(0, 20, 12)
    pen.curve((-26, -14), ((-26, 8), (26, 8), (26, -14)), fill=True)


# ---- acts ----------------------------------------------------------------------------------------------------------


def _next(pen: Pen) -> None:
    fish(pen, -3, 14, 56)
    pen.arrow((-30, -18), (32, -18), size=22)


def _again(pen: Pen) -> None:
    turn(pen, 31, back=False)
    ruler(pen, -15, 15, 0)


def _stands(pen: Pen) -> None:
    pen.line((-28, -24), (28, -24))
    pen.stroke(9)
    tick(pen, -2, 8, 46)


def _swap(pen: Pen) -> None:
    pen.arrow((-30, 12), (30, 12), size=22)
    pen.arrow((30, -12), (-30, -12), size=22)


def _undo(pen: Pen) -> None:
    pen.stroke(7)
    turn(pen, 27, back=True)


def _redo(pen: Pen) -> None:
    pen.stroke(7)
    turn(pen, 27, back=False)
    pen.disc(0, 0, 6)


def _void(pen: Pen) -> None:
    pen.stroke(4)
    fish(pen, 0, 0, 62, fill=False)
    pen.stroke(7)
    cross(pen, 24)


def _lost(pen: Pen) -> None:
    fish(pen, 0, 26, 42)
    pen.arrow((0, 12), (0, -14), size=18)
    waves(pen, -22)
    waves(pen, -34, 40)


def _split(pen: Pen) -> None:
    fish(pen, 8, 18, 48)
    fish(pen, 8, -18, 48, fill=False)
    pen.line((-38, 0), (-28, 0), (-24, 12))
    pen.line((-28, 0), (-24, -12))


def _leaves(pen: Pen) -> None:
    for x in (-30, 30):
        pen.disc(x, 18, 5)
    fish(pen, 0, 18, 38)
    pen.arrow((0, 4), (0, -34), size=20)


def _park(pen: Pen) -> None:
    pen.line((-32, 2), (-32, -28), (32, -28), (32, 2))
    fish(pen, 0, -12, 48)
    pen.arrow((0, 36), (0, 4), size=18)


def _back(pen: Pen) -> None:
    pen.line((-32, 2), (-32, -28), (32, -28), (32, 2))
    fish(pen, 0, -12, 48, fill=False)
    pen.arrow((0, 2), (0, 38), size=18)


def _confirm(pen: Pen) -> None:
    pen.stroke(8)
    tick(pen, 0, -6, 42)


def _skip(pen: Pen) -> None:
    pen.stroke(4)
    envelope(pen, 0, -18, 30)
    pen.stroke(5)
    pen.bow(0, -12, 29, 165, -130)
    pen.head(29 * math.cos(math.radians(30)), -12 + 29 * math.sin(math.radians(30)), -68, 18)


def _open(pen: Pen) -> None:
    box(pen, lid=38)


def _close(pen: Pen) -> None:
    box(pen, lid=0)
    tick(pen, 0, -15, 18)


def _practice(pen: Pen) -> None:
    fish(pen, 0, 6, 62, fill=False)
    pen.stroke(5, dashes=(9, 7))
    pen.line((-29, -24), (29, -24))


def _no_practice(pen: Pen) -> None:
    fish(pen, 0, 6, 62)
    pen.line((-28, -24), (28, -24))


def _pause(pen: Pen) -> None:
    for x in (-22, 8):
        pen.line((x, -28), (x + 14, -28), (x + 14, 18), (x, 18), fill=True)


def _hosed(pen: Pen) -> None:
    for x, y in ((-22, 8), (0, 20), (22, 8), (-11, -12), (11, -12)):
        pen.line((x, y + 9), (x + 6, y - 3), (x, y - 8), (x - 6, y - 3), fill=True)
    pen.stroke(6)
    pen.line((-34, -28), (34, -28))


def _resume(pen: Pen) -> None:
    pen.line((-18, -30), (28, -5), (-18, 20), fill=True)


def _tared(pen: Pen) -> None:
    pan(pen, -28)
    pen.letters("0", 0, 4, 40, 26)


def _knock(pen: Pen) -> None:
    pan(pen, -30)
    pen.line((-6, 24), (6, 8), (-6, 2), (6, -12))
    pen.line((-26, 4), (-18, -10))
    pen.line((26, 4), (18, -10))


#: Acts that mean one thing → their drawing.
ACTS: Final[dict[tuple[str, ...], Drawing]] = {
    ("next",): _next,
    ("again",): _again,
    ("stands",): _stands,
    ("swap",): _swap,
    ("undo",): _undo,
    ("undo", "undo"): _redo,
    ("void",): _void,
    ("lost",): _lost,
    ("split",): _split,
    ("leaves",): _leaves,
    ("park",): _park,
    ("back",): _back,
    ("confirm",): _confirm,
    ("skip",): _skip,
    ("practice", "on"): _practice,
    ("practice", "off"): _no_practice,
    ("pause",): _pause,
    ("resume",): _resume,
    ("hosed",): _hosed,
    ("tared",): _tared,
    ("knock",): _knock,
    ("batch", "open"): _open,
    ("batch", "close"): _close,
}


def species(letters: str, deep: float) -> Drawing:
    """A fish as deep as the species, with the first letters of its name."""

    def draw(pen: Pen) -> None:
        fish(pen, 0, 9, 66, deep=deep)
        pen.letters(letters, 0, -18, 44, 13)

    return draw


def code(letters: str) -> Drawing:
    """A code as it is written; the two signs of biology for the sexes."""

    def draw(pen: Pen) -> None:
        pen.letters(letters, 0, 0, 44 if len(letters) > 1 else 34, 36 if len(letters) < 3 else 22)

    return draw


def female(pen: Pen) -> None:
    """The sign of Venus."""
    pen.stroke(7)
    pen.disc(0, 11, 15, fill=None)
    pen.line((0, -4), (0, -32))
    pen.line((-12, -19), (12, -19))


def male(pen: Pen) -> None:
    """The sign of Mars."""
    pen.stroke(7)
    pen.disc(-6, -7, 15, fill=None)
    pen.line((5, 4), (21, 20))
    pen.line((6, 20), (21, 20), (21, 5))


def measurand(name: str, quantity: str, side: str | None, nth: int | None) -> Drawing:
    """What is measured: a length along a fish, or what lies on a scale; a disc with the side and the replicate."""

    def draw(pen: Pen) -> None:
        if quantity == "length":
            _length(pen, name)
        else:
            _mass(pen, name)
        mark = ((side or "")[:1] + (str(nth) if nth else "")).upper()
        if mark:
            pen.disc(-30 if side == "left" else 30, 30, 10)
            pen.letters(mark, -30 if side == "left" else 30, 30, 15, 11, ink="white")

    return draw


def _length(pen: Pen, name: str) -> None:
    fish(pen, 0, 10, 72)
    end = {"fork": 0.41, "standard": 0.25}.get(name.partition("_")[0], 0.5) * 72
    ruler(pen, -36, end, -20)
    if end < 36:
        pen.stroke(2.5, dashes=(4, 3))
        pen.line((end, -12), (end, 10))
        pen.stroke(5)


def _mass(pen: Pen, name: str) -> None:
    pan(pen, -32, 66)
    kind = next((part for part in ("gonad", "liver", "otolith", "gutted") if part in name), "whole")
    if kind == "gonad":
        for x in (-11, 11):
            pen.curve((x, -8), ((x - 14, -4), (x - 12, 24), (x, 26)), ((x + 12, 24), (x + 14, -4), (x, -8)), fill=True)
    elif kind == "liver":
        pen.curve((-24, -6), ((-26, 22), (8, 26), (26, 4)), ((14, 2), (6, -10), (-24, -6)), fill=True)
    elif kind == "otolith":
        otolith(pen, 0, 4)
    else:
        fish(pen, 0, 4, 62, fill=kind == "whole")


def over(name: str, quantity: str) -> Drawing:
    """What goes beyond the instrument."""

    def draw(pen: Pen) -> None:
        if quantity == "length":
            pen.line((-34, -14), (16, -14))
            pen.line((16, -26), (16, -2))
            fish(pen, 0, 14, 70)
            pen.arrow((20, -14), (40, -14), size=16)
        else:
            pan(pen, -32, 60)
            pen.arrow((0, -8), (0, 36), size=24)

    return draw


def digit(mark: str) -> Drawing:
    """A digit as on a key, or the decimal mark."""

    def draw(pen: Pen) -> None:
        if mark.isdigit():
            pen.letters(mark, 0, -2, 46, 50)
        else:
            pen.disc(0, -20, 8)

    return draw


def by_hand(pen: Pen) -> None:
    """A number that a pen writes."""
    pen.letters("123", 0, 14, 48, 20)
    pen.stroke(4)
    pen.line((-24, -26), (16, -14), (20, -20), (-20, -32), fill=False)


def known(pen: Pen) -> None:
    """A measure with its marks, and that it is right."""
    pen.stroke(4)
    pen.line((-34, -6), (34, -6), (34, -26), (-34, -26), fill=False)
    for x in (-20, -6, 8, 22):
        pen.line((x, -6), (x, -16))
    pen.stroke(7)
    pen.line((-16, 16), (-4, 4), (22, 30))


def several(pen: Pen) -> None:
    """So many animals."""
    for x, y in ((-16, 24), (16, 9), (-16, -6)):
        fish(pen, x, y, 38)
    pen.letters("123", 0, -32, 50, 17)


def together(pen: Pen) -> None:
    """So many animals on a scale at once."""
    pan(pen, -34, 60)
    for x, y in ((-16, 8), (16, -6)):
        fish(pen, x, y, 36)
    pen.letters("123", 0, 31, 46, 16)


def numbered(pen: Pen) -> None:
    """A fish by its number."""
    fish(pen, 0, 14, 60)
    pen.letters("123", 0, -20, 50, 18)


def same(pen: Pen) -> None:
    """Two fish that are one."""
    fish(pen, 0, 31, 44)
    pen.line((-8, 16), (8, 16))
    pen.line((-8, 8), (8, 8))
    fish(pen, 0, -8, 44, fill=False)
    pen.letters("123", 0, -31, 50, 13)


def parts(n: str) -> Drawing:
    """One value in pieces."""

    def draw(pen: Pen) -> None:
        fish(pen, 0, 14, 70)
        for x in (-3,) if n == "2" else (-12, 8):
            pen.gap((x + 3, 32), (x - 3, -4))
        pen.letters(f"{n} ×", 0, -20, 44, 18)

    return draw


def missing(reason: str, quantity: str) -> Drawing:
    """What is missing above, and why below."""

    def draw(pen: Pen) -> None:
        with pen.smaller(0, 25, 0.62):
            _WANTED[quantity](pen)
        with pen.smaller(0, -16, 0.68):
            _REASONS[reason](pen)

    return draw


def _code_wanted(pen: Pen) -> None:
    pen.line((-26, 0), (0, 24), (26, 0), (0, -24), fill=False)


def _mass_wanted(pen: Pen) -> None:
    pan(pen, 0)


#: What is missing, by its quantity or kind → its sign.
_WANTED: Final[dict[str, Drawing]] = {
    "length": lambda pen: ruler(pen, -50, 50, 0),
    "mass": _mass_wanted,
    "code": _code_wanted,
    "container": lambda pen: envelope(pen, 0, 0, 56),
}


def _not_found(pen: Pen) -> None:
    pen.disc(-6, 8, 20, fill=None)
    pen.line((10, -8), (28, -28))


def _broken(pen: Pen) -> None:
    otolith(pen, 0, 0, size=38)
    crack(pen, 0, 0, 64)


def _mislaid(pen: Pen) -> None:
    pen.disc(-30, 0, 9)
    pen.line((-12, 0), (-4, 0))
    pen.line((8, 0), (16, 0))
    pen.letters("?", 36, 0, 30, 44)


def _too_light(pen: Pen) -> None:
    pen.curve((-30, -26), ((-18, 12), (6, 28), (34, 32)), ((28, 2), (10, -18), (-30, -26)), fill=False)
    pen.line((-38, -34), (16, 16))


def _beyond(pen: Pen) -> None:
    pen.line((-40, 0), (12, 0))
    pen.line((12, -16), (12, 16))
    pen.arrow((14, 0), (46, 0), size=26)


#: Why there is no value → its sign.
_REASONS: Final[dict[str, Drawing]] = {
    "not-attempted": lambda pen: pen.line((-26, 0), (26, 0)),
    "not-found": _not_found,
    "could-not-tell": lambda pen: pen.letters("?", 0, 0, 50, 56),
    "broken": _broken,
    "mislaid": _mislaid,
    "too-light": _too_light,
    "beyond": _beyond,
}


def structure(taken: int, condition: str | None, side: str | None) -> Drawing:
    """So many of a structure: black where whole, cracked where broken, faceted in another condition; none: dashed."""

    def draw(pen: Pen) -> None:
        mark = side[:1].upper() if side in ("left", "right") else ""
        if taken == 0:
            pen.stroke(4, dashes=(7, 5))
            otolith(pen, 0, 0, fill=False, size=30)
            return
        size = 26 if taken == 1 else 18
        high = 2 if mark else 0
        for x in (0.0,) if taken == 1 else (-21.0, 21.0):
            otolith(pen, x, high, size=size, fill=condition in (None, "whole", "broken"))
            if condition == "broken":
                crack(pen, x, high, size * 1.9)
            elif condition not in (None, "whole"):
                pen.line(
                    (x - size * 0.45, high - size * 0.2), (x, high + size * 0.35), (x + size * 0.45, high - size * 0.2)
                )
        if mark:
            pen.letters(mark, 0, -25, 30, 13)

    return draw


def tare_pan(name: str) -> Drawing:
    """A declared pan."""

    def draw(pen: Pen) -> None:
        pan(pen, -30)
        pen.curve((-24, 4), ((-18, -16), (18, -16), (24, 4)), fill=False)
        pen.letters(name[:2].upper(), 0, 12, 30, 12)

    return draw


def person(role: str, name: str) -> Drawing:
    """A person and what they do: measuring, writing, looking."""

    def draw(pen: Pen) -> None:
        bust(pen)
        pen.stroke(4)
        if role == "measurer":
            ruler(pen, -18, 18, -27)
        elif role == "recorder":
            pen.line((-16, -34), (12, -20), (16, -26), (-12, -38), fill=False)
        else:
            pen.curve((-18, -27), ((-8, -18), (8, -18), (18, -27)), ((8, -36), (-8, -36), (-18, -27)), fill=False)
            pen.disc(0, -27, 3.5)

    return draw


def twice(pen: Pen) -> None:
    """Two cards: scan it, and scan it again."""
    pen.stroke(6)
    pen.line((-40, -14), (16, -14), (16, 40), (-40, 40), fill=False)
    pen.line((-16, -40), (40, -40), (40, 14), (-16, 14), fill=True)
    pen.letters("2", 12, -13, 40, 34, ink="white")
