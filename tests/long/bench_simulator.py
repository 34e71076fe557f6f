"""Ten thousand simulated fish over all flows: is anything silently wrong, and what shows each planted trouble?

    python -m tests.long.bench_simulator [--fish 10000] [--hard 1] [--seed 0]

A fifth of the fish each go through solo, row (with tags), lab, shore (two people with one scanner, pedal and scale) and tally, in days of a hundred; `--hard` multiplies how
often things go wrong. A tenth as many again go through a row without tags, which is counted by itself: there a fish that
nobody accounts for shifts those behind it. Ends with 1 where something was silently wrong.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping

from tests.simulator.audit import Report
from tests.simulator.run import Day, run_lab, run_row, run_shore, run_solo, run_tagged, run_tally, summary, table
from tests.simulator.site import Site
from tests.simulator.troubles import LAB, ROW, SHORE, SOLO, TAGGED, TALLY, Trouble

A_DAY = 100
Run = Callable[[Day], tuple[Report, Site]]

FLOWS: tuple[tuple[str, Run, Mapping[str, Trouble]], ...] = (
    ("solo", run_solo, SOLO),
    ("row, fish carry tags", run_tagged, TAGGED),
    ("lab", run_lab, LAB),
    ("shore", run_shore, SHORE),
    ("tally", run_tally, TALLY),
)


def season(run: Run, fish: int, seed: int, hard: float) -> Report:
    """Days one after the other, each a bench of its own."""
    whole = Report()
    for day in range(max(1, fish // A_DAY)):
        whole.add(run(Day(A_DAY, seed + day, hard))[0])
    return whole


def told(name: str, report: Report, troubles: Mapping[str, Trouble]) -> None:
    """A flow's part of the print."""
    print(f"\n## {name}\n\n{summary(report)}\n\n{table(report, troubles)}\n")
    for wrong in report.silent[:20]:
        print("SILENT:", wrong)
    for fish in report.lost[:20]:
        print("LOST:", fish)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--fish", type=int, default=10_000)
    parser.add_argument("--hard", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    whole = Report()
    for name, run, troubles in FLOWS:
        report = season(run, given.fish // len(FLOWS), given.seed, given.hard)
        told(name, report, troubles)
        whole.add(report)
    print(f"\n## All five\n\n{summary(whole)}")
    told("row without tags, by itself", season(run_row, given.fish // 10, given.seed, given.hard), ROW)
    print("\n## What nobody at the bench can see\n")
    for name, _, troubles in (*FLOWS, ("row without tags", run_row, ROW)):
        for what, t in troubles.items():
            if why := t.unseen or t.slips:
                print(f"- {name}: {what}: {why}")
    return 1 if whole.silent or whole.lost else 0


if __name__ == "__main__":
    sys.exit(main())
