"""Sexes kept apart through a service and its ledger: a restart, decided again, audit, rebuild, another protocol."""

from __future__ import annotations

import sqlite3

from tests.cli.conftest import Run
from tests.servicekit import Rig
from tests.unit.bench.test_checks_live import LIVE, mass
from tests.unit.bench.test_groups import APART, KIND, RIPE
from thwart.bench.memory import kind_of
from thwart.bench.state import Learned
from thwart.checks.specimen import kin


def fish(bench: Rig, sex: str, mm: int) -> None:
    for act in (
        "species perch", f"code sex {sex}", f"value total_length {mm} mm",
        f"value whole_mass {mass(mm, RIPE if sex == 'F' else 1.0)} g", "next",
    ):  # fmt: skip
        bench.act(act)


def learned(bench: Rig) -> dict[str, Learned]:
    assert bench.service is not None
    the_bench = bench.service.clerk.bench
    found = {key: the_bench.get(Learned, key) for key in the_bench.desk.kinds}
    return {key: one for key, one in found.items() if one is not None}


def test_what_groups_learned_is_in_the_ledger(run: Run, bench: Rig) -> None:
    (bench.folder / "protocol.toml").write_text(APART)
    bench.start()
    bench.act("batch open bay")
    for i in range(24):
        fish(bench, "FFFFM"[i % 5], 150 + 8 * i)
    bench.act("code sex F of 5")  # said wrongly, and of a fish long closed
    before = learned(bench)
    assert {key: one.fish for key, one in before.items()} == {KIND: 24, kin(KIND, "F"): 21, kin(KIND, "M"): 3}
    assert kind_of(before[kin(KIND, "F")]).relations["whole_mass|total_length"].kept
    bench.stop()
    bench.start()
    assert learned(bench) == before
    bench.stop()
    assert run("replay", "--decide", bench.folder).out.endswith("all the same\n")
    assert run("audit", bench.folder).code == 0
    with sqlite3.connect(bench.folder / "ledger.db") as db:
        db.execute("UPDATE specimen SET taught = '{}' WHERE number = 3")
    db.close()
    assert run("audit", bench.folder).code == 1
    assert "was different" in run("rebuild", bench.folder).out
    (bench.folder / "protocol.toml").write_text(LIVE)  # kept apart no longer
    bench.start()
    assert {key: one.fish for key, one in learned(bench).items()} == {KIND: 24, kin(KIND, "F"): 0, kin(KIND, "M"): 0}
    bench.stop()
    (bench.folder / "protocol.toml").write_text(APART)  # and once more
    bench.start()
    assert learned(bench) == before
    bench.stop()
    assert run("audit", bench.folder).code == 0
    assert run("replay", "--decide", bench.folder).out.endswith("all the same\n")
