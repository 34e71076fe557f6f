"""Simulated days with their own truth: nothing silently wrong, and what was planted is in the ledger."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest
from msgspec.structs import replace as changed

from tests.simulator.audit import Audit, Report
from tests.simulator.run import Day, run_lab, run_row, run_shore, run_solo, run_tagged, run_tally
from tests.simulator.site import Site
from tests.simulator.troubles import LAB, ROW, SHORE, SOLO, TAGGED, TALLY, Trouble
from thwart.bench.state import Measurement

Run = Callable[[Day], tuple[Report, Site]]

RUNS: list[tuple[str, Run, Mapping[str, Trouble]]] = [
    ("solo", run_solo, SOLO),
    ("row", run_row, ROW),
    ("row with tags", run_tagged, TAGGED),
    ("lab", run_lab, LAB),
    ("shore", run_shore, SHORE),
    ("tally", run_tally, TALLY),
]
each = pytest.mark.parametrize(("run", "troubles"), [r[1:] for r in RUNS], ids=[r[0] for r in RUNS])


@each
def test_a_day_without_troubles_is_as_it_was(run: Run, troubles: Mapping[str, Trouble]) -> None:
    report, _ = run(Day(fish=30, seed=1, hard=0))
    assert (report.wrong, report.lost) == ([], [])
    assert report.unasked == report.readings >= 30


@each
def test_a_bad_day_has_nothing_silent(run: Run, troubles: Mapping[str, Trouble]) -> None:
    whole = Report()
    for seed in (2, 3):
        whole.add(run(Day(fish=60, seed=seed, hard=4))[0])
    assert whole.planted.total() > 10
    assert whole.silent == []
    assert whole.lost == []
    unseen = {name: n for name, n in whole.unseen.items() if n and troubles[name].unseen is None}
    assert unseen == {}, "planted, and nothing in the ledger shows it"
    if not any(t.slips for t in troubles.values()):
        assert whole.slipped == []


def test_the_audit_sees_a_value_that_belongs_to_another_fish() -> None:
    report, site = run_solo(Day(fish=5, seed=1, hard=0))
    masses = [m for m in site.records.objects.values() if isinstance(m, Measurement) and m.measurand == "whole_mass"]
    first, second = masses[:2]
    for m, other in ((first, second), (second, first)):
        site.records.objects["measurement", m.seq] = changed(m, reading_seq=other.reading_seq, value=other.value)
    assert report.silent == []
    assert {w.number for w in looked_through(site).silent} == {first.number, second.number}


def test_the_audit_sees_a_value_that_is_off() -> None:
    _, site = run_solo(Day(fish=5, seed=1, hard=0))
    seq, cause = next((s, c) for s, c in site.causes.items() if c.what == "total_length")
    site.causes[seq] = replace(cause, right=False)
    assert [w.what for w in looked_through(site).silent] == ["total_length"]


def looked_through(site: Site) -> Report:
    """A day looked through once more: every envelope holds the fish it was scanned for."""
    causes = [c for c in site.causes.values() if c.fish is not None]
    fishes = sorted({c.fish for c in causes if c.fish is not None}, key=lambda f: f.n)
    hold = {c.said: c.fish for c in causes if c.what == "label" and c.said is not None and c.fish is not None}
    return Audit(site, fishes, hold, SOLO).report()
