"""`thwart mend` and `thwart history`, with and without a running service."""

from __future__ import annotations

import json
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

from tests.cli.conftest import Run
from tests.servicekit import Rig
from thwart import starter


def test_a_mend_without_a_service_and_the_whole_story(day: Rig, run: Run) -> None:
    code, out, err = run(
        "mend", day.folder, "value", "1", "whole_mass", "118", "g", "misread", "--by", "ida", "--see", "photo 12"
    )
    assert (code, err) == (0, "")
    assert "1 whole_mass mended: 110 → 118" in out
    story = run("history", day.folder, "1").out
    lines = story.splitlines()
    order = [
        "reading   board sent", "value     1 total_length 212 mm → 212 mm (verdict 1)", "value     1 whole_mass 110 g",
        "act       code sex F", "decided   1 sex F", "decided   1 incomplete", "mended    1 whole_mass mended: 110 → 118 (misread, by ida, see photo 12)",
    ]  # fmt: skip
    at = [next(i for i, line in enumerate(lines) if text in line) for text in order]
    assert at == sorted(at)
    told = [json.loads(line) for line in run("history", day.folder, "1", "--json").out.splitlines()]
    assert {"reading", "value", "act", "mended"} <= {t["what"] for t in told}
    assert [t["seq"] for t in told] == sorted(t["seq"] for t in told)
    assert run("audit", day.folder).code == 0
    assert run("replay", "--decide", day.folder).code == 0


def test_a_mend_through_a_running_service(bench: Rig, run: Run) -> None:
    bench.start()
    bench.act("batch open bay")
    bench.touch(212)
    bench.wait_for("measured")
    bench.act("next")
    code, out, _ = run("mend", bench.folder, "value", "1", "total_length", "21.5", "cm", "misread")
    assert code == 0
    assert "212 → 215" in out
    code, out, err = run("mend", bench.folder, "value", "9", "total_length", "215", "mm", "misread")
    assert code == 1
    assert "there is no fish 9" in err
    assert "21.5 cm" in run("history", bench.folder, "1").out


def test_a_mend_after_the_service_was_killed(bench: Rig, run: Run) -> None:
    bench.spawn()
    bench.act("batch open bay")
    bench.act("value total_length 212 mm")
    bench.act("next")
    bench.end(signal.SIGKILL)
    assert (bench.folder / "control.json").is_file()
    assert run("mend", bench.folder, "value", "1", "total_length", "215", "mm", "misread").code == 0


def test_what_the_checks_find_stands_in_the_views(bench: Rig, run: Run) -> None:
    (bench.folder / "protocol.toml").write_text((Path(starter.__file__).parent / "protocol.toml").read_text())
    bench.start()
    for words in ("batch open bay perch", "value total_length 200 mm", "value whole_mass 827 g", "stands", "next"):
        bench.act(words)
    bench.stop()
    assert run("mend", bench.folder, "value", "1", "whole_mass", "82.7", "g", "mistyped", "--by", "ida").code == 0
    with closing(sqlite3.connect(bench.folder / "ledger.db")) as db:
        (found,) = db.execute(
            "SELECT measurand, verdict, cause, probability, runner_up, asked, answered_by FROM findings WHERE cause = 'times_10'"
        )
        assert found[:3] == ("whole_mass", 3, "times_10")
        assert 0.9 < found[3] <= 1.0
        assert found[4]
        assert found[5] == 1
        assert found[6] is not None
        (mended,) = db.execute("SELECT measurand, old_value, new_value, who, why FROM mends").fetchall()
        assert mended == ("whole_mass", "827", "82.7", "ida", "mistyped")
        (mass,) = db.execute("SELECT whole_mass_g FROM specimens WHERE number = 1").fetchone()
        assert mass == 82.7
    assert run("audit", bench.folder).code == 0
    assert run("replay", "--decide", bench.folder).code == 0


def test_a_refused_mend_without_a_service(day: Rig, run: Run) -> None:
    code, _, err = run("mend", day.folder, "species", "1", "shark", "wrong-species")
    assert code == 1
    assert "no species 'shark'" in err


def test_bad_words(day: Rig, run: Run) -> None:
    assert "say what to mend" in run("mend", day.folder).err
    assert "there is no fish 77" in run("history", day.folder, "77").err
    assert "expected [BENCH] NUMBER" in run("history", day.folder, "perch").err
