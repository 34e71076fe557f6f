"""The simulated days through the real service: pseudo-terminals, its threads, a ledger on disk; time compressed.

    python -m tests.long.bench_simulator_service [--fish 300] [--hard 1] [--pace 0.25] [--flow solo,row,lab,shore,tally]

So many fish of each flow, all flows at once, each in a process of its own. `--pace` is how many real seconds a simulated
one lasts; below about 0.2 two touches of one fish come within the dead time of a bounce. A quarter of an hour for solo,
longer for the lab. Ends with 1 where something was silently wrong.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from tests.simulator.audit import Report
from tests.simulator.real import RealSite
from tests.simulator.run import Day, run_lab, run_shore, run_solo, run_tagged, run_tally, summary, table
from tests.simulator.site import Site
from tests.simulator.troubles import LAB, SHORE, SOLO, TAGGED, TALLY, Trouble

FLOWS: Mapping[str, tuple[Callable[[Day], tuple[Report, Site]], Mapping[str, Trouble]]] = {
    "solo": (run_solo, SOLO),
    "row": (run_tagged, TAGGED),
    "lab": (run_lab, LAB),
    "shore": (run_shore, SHORE),
    "tally": (run_tally, TALLY),
}


def one(flow: str, fish: int, hard: float, pace: float, seed: int) -> int:
    """One flow, here."""
    run, troubles = FLOWS[flow]
    with tempfile.TemporaryDirectory() as folder:
        day = Day(
            fish, seed, hard, pace, lambda world, bench, text: RealSite(world, Path(folder) / "bench", bench, text)
        )
        report, _ = run(day)
    print(f"\n## {flow}, through the service\n\n{summary(report)}\n\n{table(report, troubles)}")
    for wrong in report.silent:
        print("SILENT:", wrong)
    for lost in report.lost:
        print("LOST:", lost)
    return 1 if report.silent or report.lost else 0


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--fish", type=int, default=300)
    parser.add_argument("--hard", type=float, default=1.0)
    parser.add_argument("--pace", type=float, default=0.25)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--flow", default=",".join(FLOWS))
    given = parser.parse_args()
    flows = given.flow.split(",")
    if len(flows) == 1:
        return one(flows[0], given.fish, given.hard, given.pace, given.seed)
    options = [
        "--fish",
        str(given.fish),
        "--hard",
        str(given.hard),
        "--pace",
        str(given.pace),
        "--seed",
        str(given.seed),
    ]
    command = [sys.executable, "-m", "tests.long.bench_simulator_service", *options]
    running = [subprocess.Popen([*command, "--flow", flow]) for flow in flows]
    return max(process.wait() for process in running)


if __name__ == "__main__":
    sys.exit(main())
