"""Acts that are done whether a service runs on the bench or not."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import ThwartError


def do_acts(folder: Path, acts: Sequence[tuple[str, Sequence[str]]]) -> Iterator[Mapping[str, Any]]:
    """Through the control port, or where no service runs on the bench by itself; the answers in order.

    A refused act answers `ok` false with `error` and `hint`. Raises ThwartError where none can be done.
    """
    from ..service.at_rest import acts_at_rest
    from ..service.control import Client
    from ..service.folder import CONTROL

    client = None
    if (folder / CONTROL).is_file():
        with contextlib.suppress(ThwartError):  # its service was killed; one that lives holds the lock, told below
            client = Client(folder)
    if client is None:
        yield from acts_at_rest(folder, acts)
        return
    try:
        for act, args in acts:
            try:
                yield client.ask(do="act", act=act, args=list(args), place=None, via="cli")
            except ThwartError as error:
                yield {"ok": False, "error": error.message, "hint": error.hint}
    finally:
        client.close()
