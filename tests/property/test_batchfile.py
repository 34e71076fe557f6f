"""Whatever is in a file of batches: it is read or refused with a reason, and each row is planned or named, never both."""

from __future__ import annotations

import csv
import io
import re
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.benchkit import SOLO, Play
from thwart.batchfile import COLUMNS, read_plan
from thwart.errors import ConfigError

BUDGET = settings(max_examples=80)

SPECIES = ("perch", "pike")
cells = st.one_of(
    st.sampled_from(["", "", "haul-1", "haul-2", "box-1", "Box-1", "perch", "pike", "12.4 kg", "12,4 kg", "800", "x y", "3"]),
    st.text(st.characters(exclude_characters="\r"), max_size=8),
)  # fmt: skip
tables = st.tuples(
    st.lists(st.sampled_from([c for c in COLUMNS if c != "batch"]), unique=True, max_size=5),
    st.lists(st.lists(cells, min_size=6, max_size=6), max_size=6),
    st.sampled_from(",;\t"),
)


def written(data: bytes) -> Path:
    with tempfile.NamedTemporaryFile(suffix=".csv", delete=False) as file:
        file.write(data)
    return Path(file.name)


@BUDGET
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode)))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    path = written(data)
    try:
        read_plan(path, SPECIES, ())
    except ConfigError as error:
        assert error.problems
    finally:
        path.unlink()


@BUDGET
@given(tables)
def test_each_row_is_planned_or_named_and_the_bench_takes_what_is_planned(
    table: tuple[list[str], list[list[str]], str],
) -> None:
    columns, rows, separator = table
    text = io.StringIO()
    heads = ["batch", *columns]
    out = csv.writer(text, delimiter=separator, lineterminator="\n")
    out.writerow(heads)
    starts = []
    for row in rows:
        starts.append(text.getvalue().replace("\r\n", "\n").replace("\r", "\n").count("\n") + 1)
        out.writerow(row[: len(heads)])
    path = written(text.getvalue().encode("utf-8", "surrogatepass"))
    try:
        plan = read_plan(path, SPECIES, ())
    except ConfigError:
        return  # NUL, half a surrogate pair: no table
    finally:
        path.unlink()
    good = {row.line for row in plan.planned}
    wrong = {int(re.match(r".*?\.csv:(\d+): ", fault)[1]) for fault in plan.faults}  # type: ignore[index]
    assert not good & wrong
    blank = {line for line, row in zip(starts, rows, strict=True) if not any(c.strip() for c in row[: len(heads)])}
    twice = {
        int(n)
        for fault in plan.faults
        if "stands in lines" in fault
        for n in re.findall(r"\d+", fault.partition("stands in lines")[2])
    }
    assert set(starts) - blank <= good | wrong | twice
    play = Play(SOLO, batch=False)
    seen: set[str] = set()
    for planned in plan.planned:
        assert not planned.parent or planned.parent in seen
        seen.add(planned.batch)
        said = play.put("act", act="batch", args=["plan", planned.batch, *planned.words], place=None, via="cli")
        assert [d.kind for d in said] == ["batch-planned"], said
