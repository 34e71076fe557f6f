"""Other tools read while a writer writes; what `shared/` says and ships is true."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import subprocess
import sys
import time
import typing
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import jsonschema  # type: ignore[import-untyped]
import pandas as pd
import pytest
import sqlite_utils

from tests.unit.ledger.making import filled, spoil
from tests.unit.ledger.samples import Survey
from thwart.bench import state
from thwart.entries import INPUTS
from thwart.ledger import Ledger, views
from thwart.wire import events

SHARED = Path(__file__).parents[3] / "shared"
READERS = SHARED / "readers"

WRITER = """
import sys, time
from pathlib import Path
from tests.unit.ledger.samples import Survey
from thwart.ledger import Ledger
with Ledger.open(Path(sys.argv[1])) as ledger:
    survey = Survey(ledger.next_seq)
    def inputs():
        yield survey.start()
        yield survey.open_batch("while reading")
        yield from survey.fishes(100_000)
    for entries, changed in inputs():
        ledger.write(entries, changed)
        ledger.commit()
        print(ledger.next_seq - 1, flush=True)
        time.sleep(0.002)
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return filled(tmp_path / "ledger.db")


@pytest.fixture
def written(path: Path) -> Iterator[Path]:
    """A ledger another process is writing to all the time; fails if it could not go on."""
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True)
    assert writer.stdout is not None
    first = int(writer.stdout.readline())
    yield path
    assert writer.poll() is None, "the writer came to an end"
    assert int(writer.stdout.readline()) > first
    writer.kill()
    writer.communicate()


def test_pandas_reads_while_a_writer_writes(written: Path) -> None:
    with closing(sqlite3.connect(f"{written.as_uri()}?mode=ro", uri=True)) as db:
        for view in views.NAMES:
            pd.read_sql(f"SELECT * FROM {view}", db)
        seen = [len(pd.read_sql("SELECT * FROM changes", db)) for _ in range(5)]
        fish = pd.read_sql("SELECT * FROM specimens", db, parse_dates=["opened_utc"])
    assert seen == sorted(seen)
    assert fish["whole_mass_g"].dtype == "float64"
    assert str(fish["opened_utc"].dt.tz) == "UTC"


def test_sqlite_utils_reads_while_a_writer_writes(written: Path) -> None:
    with closing(sqlite3.connect(f"{written.as_uri()}?mode=ro", uri=True)) as connection:
        db = sqlite_utils.Database(connection)
        assert set(views.NAMES) <= set(db.view_names())
        assert db["specimens"].count >= 5
        assert next(iter(db.query("SELECT bench FROM about"))) == {"bench": "lake"}


@pytest.mark.skipif(shutil.which("sqlite3") is None, reason="THE PROGRAM sqlite3 IS NOT INSTALLED: not tested")
def test_the_sqlite3_program_reads_while_a_writer_writes(written: Path) -> None:
    for _ in range(3):
        done = subprocess.run(["sh", READERS / "fish.sh", written], capture_output=True, text=True, check=True)
        lines = done.stdout.splitlines()
        assert lines[0].startswith("specimen_id,number,batch,species,state,end,")
        assert len(lines) >= 6


def _r_reads() -> bool:
    r = shutil.which("Rscript")
    ask = "quit(status = !all(c('DBI', 'RSQLite') %in% rownames(installed.packages())))"
    return r is not None and subprocess.run([r, "-e", ask], capture_output=True).returncode == 0


@pytest.mark.skipif(not _r_reads(), reason="R WITH DBI AND RSQLite IS NOT INSTALLED: not tested")
def test_r_reads_while_a_writer_writes(written: Path) -> None:
    done = subprocess.run(["Rscript", READERS / "fish.R", written], capture_output=True, text=True, check=True)
    assert "whole_mass_g" in done.stdout
    assert re.search(r"^1 ", done.stdout, re.MULTILINE)
    assert re.search(r"opened\n1 .*\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", done.stdout)


def test_the_http_publisher_reads_while_a_writer_writes(written: Path) -> None:
    program = Path(sys.executable).with_name("datasette")
    server = subprocess.Popen(
        [program, "serve", written, "--host", "127.0.0.1", "--port", "0"], stderr=subprocess.PIPE, text=True
    )
    try:
        assert server.stderr is not None
        address = next(m[0] for line in server.stderr if (m := re.search(r"http://127\.0\.0\.1:\d+", line)))
        counts = []
        for _ in range(3):
            with urllib.request.urlopen(
                f"{address}/ledger.json?sql=select+count(*)+as+n+from+changes&_shape=array"
            ) as got:
                counts.append(json.load(got)[0]["n"])
            time.sleep(0.05)
        with urllib.request.urlopen(f"{address}/ledger/specimens.json?_shape=array&_size=3") as got:
            assert len(json.load(got)) == 3
    finally:
        server.kill()
        server.wait()
        if server.stderr is not None:
            server.stderr.close()
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]


def test_the_readers_for_python(path: Path) -> None:
    table = subprocess.run(
        [sys.executable, READERS / "fish.py", path], capture_output=True, text=True, check=True
    ).stdout
    assert "whole_mass_g" in table
    assert len(table.splitlines()) == 6
    whole = subprocess.run(
        [sys.executable, READERS / "verify.py", path], capture_output=True, text=True, check=True
    ).stdout
    with Ledger.open(path, readonly=True) as ledger:
        assert whole == f"{ledger.next_seq - 1} entries, whole; the last one's hash is {ledger.last_hash.hex()}\n"


def test_changes_are_followed(path: Path) -> None:
    reader = subprocess.Popen([sys.executable, READERS / "follow.py", path, "3"], stdout=subprocess.PIPE, text=True)
    try:
        assert reader.stdout is not None
        assert reader.stdout.readline().split()[0] == "4"
        with Ledger.open(path) as ledger:
            last = ledger.next_seq
            ledger.write(*Survey(last).open_batch("later"))
            ledger.commit()
        assert any(line.split()[0] == str(last) for line in reader.stdout)
    finally:
        reader.kill()
        reader.communicate()


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE entry SET data = data || ' ' WHERE seq = 9", "entry 9 doesn't fit its hash"),
        ("UPDATE entry SET hash = zeroblob(32) WHERE seq = 2", "entry 2 doesn't fit its hash"),
        ("DELETE FROM entry WHERE seq = 9", "entry 9 is absent"),
    ],
)
def test_the_independent_verifier_sees_what_was_spoilt(path: Path, statement: str, told: str) -> None:
    spoil(path, statement)
    done = subprocess.run([sys.executable, READERS / "verify.py", path], capture_output=True, text=True)
    assert (done.returncode, done.stderr.strip()) == (1, told)


def test_the_verifier_knows_nothing_of_the_program() -> None:
    text = (READERS / "verify.py").read_text()
    assert "thwart" not in text
    assert len(text.splitlines()) <= 21


def test_entries_follow_their_schema(path: Path) -> None:
    schema = json.loads((SHARED / "entry.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    check = jsonschema.Draft202012Validator(schema)
    assert schema["then"]["properties"]["kind"]["enum"] == list(INPUTS)
    with closing(sqlite3.connect(path)) as db:
        texts = [text for (text,) in db.execute("SELECT data FROM entry")]
    assert len(texts) > 20
    for text in texts:
        check.validate(json.loads(text))
    entry = json.loads(texts[0])
    for wrong in (
        {**entry, "kind": "opened"},
        {**entry, "body": {"a": 0.5}},
        {**entry, "seq": 0},
        {**entry, "x": 1},
        {},
    ):
        with pytest.raises(jsonschema.ValidationError):
            check.validate(wrong)


@pytest.mark.parametrize(
    "words",
    [
        state.SpecimenState, state.End, state.Outcome, state.Status, state.QuestionState, state.ContainerState,
        events.Settled, events.Condition,
    ],
)  # fmt: skip
def test_every_word_of_the_closed_lists_is_told(words: object) -> None:
    text = (SHARED / "database.md").read_text()
    assert [w for w in typing.get_args(words) if f"`{w}`" not in text] == []
