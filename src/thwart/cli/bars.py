"""Progress of long work, on a terminal only."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from types import TracebackType
from typing import Any, Self

import click


class Bars:
    """One bar after another, named by `labels`; called with how many of how many are done. Silent where stderr is no terminal."""

    def __init__(self, *labels: str) -> None:
        self._labels = list(labels)
        self._bar: Any = None
        self._total = 0
        self._done = 0
        self._open = ExitStack()
        self._shown = sys.stderr.isatty()

    def __call__(self, done: int, total: int) -> None:
        """So much is done. Less than before, or of another total: the next piece of work began."""
        if not self._shown or not total:
            return
        if self._bar is None or total != self._total or done < self._done or self._done == self._total:
            self._open.close()
            label = self._labels.pop(0) if len(self._labels) > 1 else self._labels[0]
            bar = click.progressbar(length=total, label=label, file=sys.stderr)
            self._bar, self._total, self._done = self._open.enter_context(bar), total, 0
        self._bar.update(done - self._done)
        self._done = done

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, tb: TracebackType | None) -> None:
        self._open.close()
