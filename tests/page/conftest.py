"""One browser for all tests of the pages, and a bench a test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.kit import Bench, Tab, chromium


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    with chromium() as made:
        yield made


@pytest.fixture
def bench_of(tmp_path: Path) -> Iterator[Callable[..., Bench]]:
    """Makes a running bench; it ends with the test."""
    made: list[Bench] = []

    def make(demo: str = "solo", **more: Any) -> Bench:
        folder = tmp_path / f"bench{len(made)}"
        folder.mkdir()
        bench = Bench(folder, demo, **more)
        made.append(bench)
        bench.rig.start()
        return bench

    yield make
    for bench in made:
        bench.rig.close()


@pytest.fixture
def tab_of(browser: Any) -> Iterator[Callable[..., Tab]]:
    """Opens the page of a bench; tabs are closed, and their faults found, with the test."""
    made: list[Tab] = []

    def open_one(
        bench: Bench, role: str = "act", *, lead: bool = False, unknown: bool = False, query: str = "", **more: Any
    ) -> Tab:
        address = bench.address(role, lead=lead)
        if unknown:
            address = address.partition("#")[0]
        tab = Tab(browser, address.replace("#", f"{query}#"), **more)
        made.append(tab)
        return tab if lead else tab.ready()

    yield open_one
    for tab in made:
        tab.close()
