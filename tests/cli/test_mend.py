"""`thwart mend` and `thwart history`, with and without a running service."""

from __future__ import annotations

import json

from tests.cli.conftest import Run
from tests.servicekit import Rig


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
        "act       code sex F", "decided   1 sex F", "decided   1 complete", "mended    1 whole_mass mended: 110 → 118 (misread, by ida, see photo 12)",
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


def test_a_refused_mend_without_a_service(day: Rig, run: Run) -> None:
    code, _, err = run("mend", day.folder, "species", "1", "shark", "wrong-species")
    assert code == 1
    assert "no species 'shark'" in err


def test_bad_words(day: Rig, run: Run) -> None:
    assert "say what to mend" in run("mend", day.folder).err
    assert "there is no fish 77" in run("history", day.folder, "77").err
    assert "expected [BENCH] NUMBER" in run("history", day.folder, "perch").err
