"""Printed labels: which part of a series is a bench's, and the act `printed`, which keeps what was printed. Pure.

Paper isn't taken back: `printed` can't be undone, and what was printed is printed again only where that is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from . import words
from .kernel import Refusal
from .labels import LabelError
from .parts import usage
from .protocol import Containers

if TYPE_CHECKING:
    from .kernel import Bench


class Series:
    """The labels of containers as one row of numbers. Raises ValueError where it isn't said what its letters are."""

    def __init__(self, containers: Containers) -> None:
        self.template = containers.template
        text = self.template.text
        if containers.first is None and "@" in text:
            raise ValueError(f"the letters of {text} aren't said: give the `first` label of the series")
        self._like = containers.first or text.replace("#", "0")
        self.first = self.template.count(containers.first) if containers.first else 1
        self.last = self.template.count(containers.last) if containers.last else 10 ** text.count("#") - 1

    def label(self, number: int) -> str:
        """The label with a number. Raises ValueError for one that has too many digits."""
        label = self.template.moved(self._like, number - self.template.count(self._like))
        if label is None:
            raise ValueError(f"{self.template.text} has no label {number}")
        return label

    def number(self, label: str) -> int | None:
        """The number of a label of this series, else None."""
        if not self.template.fits(label):
            return None
        number = self.template.count(label)
        return number if self.label(number) == label else None

    def part(self, nth: int, of: int) -> tuple[str, str]:
        """First and last label of the nth of `of` equal parts. Raises ValueError where they would be empty."""
        each = (self.last - self.first + 1) // of
        if each < 1:
            raise ValueError(f"{self.last - self.first + 1} labels can't be shared by {of} benches")
        start = self.first + (nth - 1) * each
        return self.label(start), self.label(self.last if nth == of else start + each - 1)

    def ranges(self, printed: Iterable[str]) -> list[tuple[int, int]]:
        """Ranges written `FIRST LAST` as numbers, in order; those of another series are passed over."""
        both = [[self.number(label) for label in one.split(" ", 1)] for one in printed]
        return sorted((low, high) for low, high in both if low is not None and high is not None)


def printed(bench: Bench, args: Sequence[str]) -> None:
    """`printed FIRST LAST [again]`: labels were printed. Raises Refusal."""
    if len(args) not in (2, 3) or list(args[2:]) not in ([], ["again"]):
        raise usage("printed")
    containers = bench.setup.protocol.containers
    try:
        series = Series(containers) if containers is not None else None
    except ValueError:  # its letters aren't said
        series = None
    if containers is None or series is None:
        raise Refusal("no-containers", act="printed")
    low, high = (_number(series, text.upper()) for text in args[:2])
    if low > high:
        raise usage("printed")
    known = series.ranges(bench.desk.printed)
    before = [(a, b) for a, b in known if a <= high and low <= b]
    if before and len(args) == 2:
        a, b = max(low, before[0][0]), min(high, before[0][1])
        raise Refusal("printed-before", first=series.label(a), last=series.label(b))
    touching = {(a, b) for a, b in known if a <= high + 1 and low <= b + 1}
    one = min(low, *(a for a, _ in touching), low), max(high, *(b for _, b in touching), high)
    joined = [f"{series.label(a)} {series.label(b)}" for a, b in sorted({*known, one} - touching | {one})]
    others = [p for p in bench.desk.printed if not series.ranges([p])]
    first, last = series.label(low), series.label(high)
    bench.decide(
        "printed", None, first=first, last=last, n=high - low + 1, again=bool(before), kind=containers.kind,
        ranges=[*others, *joined],
    )  # fmt: skip
    bench.tell(None, place=None, code="printed-again" if before else "printed", first=first, last=last)


def _number(series: Series, label: str) -> int:
    """The number of a label of this bench's series. Raises Refusal."""
    try:
        series.template.read(label)
    except LabelError as error:
        raise Refusal("label-check" if error.code == "check" else "not-known", text=words.shown(label)) from None
    number = series.number(label)
    if number is None or not series.first <= number <= series.last:
        first, last = series.label(series.first), series.label(series.last)
        raise Refusal("label-out-of-series", label=label, first=first, last=last)
    return number
