"""What a person reads when the file, the disk or another program is in the way. Real faults, no imitation."""

from __future__ import annotations

import os
import re
import resource
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.unit.ledger.making import dump, filled
from tests.unit.ledger.samples import Survey, fold
from thwart.errors import LedgerError, ThwartError
from thwart.ledger import Ledger, LedgerBusy, LedgerCorrupt, LedgerForeign, LedgerFull, LedgerReadOnly
from thwart.ledger.audit import audit
from thwart.ledger.faults import MEANING, holder, translated

ROOT = os.geteuid() == 0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return filled(tmp_path / "ledger.db")


def test_no_ledger(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="there is no ledger at") as told:
        Ledger.open(tmp_path / "ledger.db")
    assert "thwart init" in told.value.hint
    assert not (tmp_path / "ledger.db").exists()


@pytest.mark.parametrize("content", [b"", b"species;length\nperch;212\n" * 50, b"SQLite format 3\x00" + bytes(600)])
def test_not_a_ledger(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "ledger.db").write_bytes(content)
    with pytest.raises(LedgerError, match=r"ledger\.db is (not a ledger|damaged)"):
        Ledger.open(tmp_path / "ledger.db")
    assert (tmp_path / "ledger.db").read_bytes() == content


def test_another_programs_database(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "ledger.db") as db:
        db.execute("CREATE TABLE entry (seq)")
    for readonly in (False, True):
        with pytest.raises(LedgerForeign, match="is not a ledger"):
            Ledger.open(tmp_path / "ledger.db", readonly=readonly)


def test_a_damaged_end_is_seen_at_start(path: Path) -> None:
    text = path.read_bytes()
    at = text.rindex(b'"act":"code"')
    path.write_bytes(text[:at] + b'"act":"Code"' + text[at + 12 :])
    with pytest.raises(LedgerCorrupt, match=r"is damaged: entry \d+ doesn't fit its hash") as told:
        Ledger.open(path)
    assert "thwart audit" in told.value.hint


def test_damage_is_never_a_traceback(path: Path) -> None:
    whole = path.read_bytes()
    survey = Survey(10_000)
    for at in range(0, len(whole), 512):
        path.write_bytes(whole[:at] + bytes(512) + whole[at + 512 :])
        for extra in ("-wal", "-shm"):
            Path(f"{path}{extra}").unlink(missing_ok=True)
        try:
            with Ledger.open(path) as ledger:
                survey.seq = ledger.next_seq
                ledger.write(*survey.open_batch())
                ledger.commit()
                list(ledger.entries())
        except ThwartError as fault:
            assert str(path) in fault.message
            assert fault.hint


# -- another program ---------------------------------------------------------------------------------------------------

HOLD = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def held(path: Path) -> Iterator[subprocess.Popen[str]]:
    program = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert program.stdout is not None
    assert program.stdout.readline() == "held\n"
    yield program
    program.kill()
    program.communicate()


def test_held_by_another_program_at_start(path: Path, held: subprocess.Popen[str]) -> None:
    with pytest.raises(LedgerBusy, match=rf"is held by another program \(python\S*, process {held.pid}\)") as told:
        Ledger.open(path)
    assert told.value.holder is not None
    assert "tried again" in told.value.hint


def test_held_by_another_program_while_running(path: Path) -> None:
    with Ledger.open(path) as ledger:
        assert ledger.busy_since is None
        program = subprocess.Popen(
            [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        try:
            assert program.stdout is not None
            assert program.stdout.readline() == "held\n"
            batch = Survey(ledger.next_seq).open_batch()
            before = time.monotonic()
            for _ in range(3):
                with pytest.raises(LedgerBusy, match=f"process {program.pid}"):
                    ledger.write(*batch)
                since = ledger.busy_since
                assert since is not None
                assert before <= since <= time.monotonic()
        finally:
            program.kill()
            program.communicate()
        ledger.write(*batch)
        ledger.commit()
        assert ledger.busy_since is None
    assert audit(path, fold).sound


def test_nobody_holds_it(path: Path) -> None:
    assert holder(path) is None
    with Ledger.open(path):
        assert holder(path) is None


def test_a_reader_does_not_hold_up_the_writer_but_its_log_is_seen_to_grow(path: Path) -> None:
    with Ledger.open(path) as ledger, sqlite3.connect(path, isolation_level=None) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM specimens").fetchone()
        survey = Survey(ledger.next_seq)
        ledger.write(*survey.start())
        log = 0
        for n in range(6):
            for entries, changed in survey.fishes(40):
                ledger.write(entries, changed)
            ledger.commit()
            ledger._db.execute("PRAGMA wal_checkpoint(PASSIVE)")
            assert ledger.wal_bytes() > log, n
            log = ledger.wal_bytes()
        reader.execute("COMMIT")
        ledger._db.execute("PRAGMA wal_checkpoint(PASSIVE)")
        ledger.write(*survey.open_fish())
        ledger.commit()
        assert ledger.wal_bytes() == log  # begun anew from its start, so it grows no more


def test_the_log_is_copied_when_idle(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("thwart.ledger.store._COMMITS_BEFORE_IDLE_CHECKPOINT", 40)
    with Ledger.open(path) as ledger:
        survey = Survey(ledger.next_seq)
        size = path.stat().st_size
        for n in range(50):
            ledger.write(*survey.open_fish())
            ledger.commit()
            if n == 30:
                ledger.checkpoint_when_idle()
                assert path.stat().st_size == size  # not worth it yet
        ledger.checkpoint_when_idle()
        assert path.stat().st_size > size


# -- the disk ----------------------------------------------------------------------------------------------------------


def fill_until_full(path: Path) -> None:
    """Write until the disk is full, try the same batch again, and once there is room again."""
    with Ledger.open(path) as ledger:
        survey = Survey(ledger.next_seq)
        ledger.write(*survey.start())
        ledger.commit()
        committed = ledger.next_seq - 1
        with pytest.raises(LedgerFull, match=f"{re.escape(str(path))} can't grow: the disk is full") as told:
            while True:
                batch = survey.open_fish()
                ledger.write(*batch)
                ledger.commit()
                committed = ledger.next_seq - 1
        assert "free some space" in told.value.hint
        for _ in range(2):
            with pytest.raises(LedgerFull):
                ledger.write(*batch)
                ledger.commit()
        assert ledger.next_seq == committed + 1
        (path.parent / "ballast").unlink()
        ledger.write(*batch)
        ledger.commit()
        assert ledger.next_seq > committed + 1
    report = audit(path, fold)
    assert report.problems == ()
    assert report.entries > committed


@pytest.mark.skipif(
    not ROOT or shutil.which("mount") is None, reason="NEEDS ROOT TO MOUNT A SMALL DISK: not tested here"
)
def test_a_full_disk(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "none", disk], capture_output=True, text=True)
    if mounted.returncode:
        pytest.skip(f"A SMALL DISK COULD NOT BE MOUNTED: {mounted.stderr.strip()}")
    try:
        filled(disk / "ledger.db")
        (disk / "ballast").write_bytes(bytes(300_000))
        fill_until_full(disk / "ledger.db")
    finally:
        subprocess.run(["umount", disk], check=True)


LIMITED = """
import resource, signal, sys
from pathlib import Path
from tests.unit.ledger.samples import Survey
from thwart.errors import LedgerError
from thwart.ledger import Ledger
path = Path(sys.argv[1])
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with Ledger.open(path) as ledger:
    survey = Survey(ledger.next_seq)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, resource.RLIM_INFINITY))
    try:
        while True:
            batch = survey.open_fish()
            ledger.write(*batch)
            ledger.commit()
    except LedgerError as fault:
        print(fault)
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    ledger.write(*batch)
    ledger.commit()
"""


@pytest.mark.skipif(not hasattr(resource, "RLIMIT_FSIZE"), reason="no file size limit on this system")
def test_a_write_the_system_refuses(path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, check=True)
    assert "can't be read or written: the system reports an input/output error" in done.stdout
    assert "check the disk" in done.stdout
    assert audit(path, fold).sound


AS_NOBODY = """
import os, sys
from pathlib import Path
from thwart.errors import LedgerError
from thwart.ledger import Ledger
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
path = Path(sys.argv[1])
try:
    {attempt}
    print("no error")
except LedgerError as fault:
    print(type(fault).__name__, fault.exit_code, fault)
"""


def as_nobody(path: Path, attempt: str) -> str:
    """What a program without rights on the folder is told."""
    for folder in path.parents:  # the temporary folders of tests are their owner's alone
        if folder != Path("/tmp") and str(folder).startswith("/tmp/"):
            folder.chmod(0o755)
    script = AS_NOBODY.replace("{attempt}", attempt)
    done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True)
    if "ModuleNotFoundError" in done.stderr or "Permission denied" in done.stderr:
        pytest.skip("THE UNPRIVILEGED USER CAN'T REACH THIS PYTHON OR ITS MODULES: not tested here")
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_read_only_folder(path: Path) -> None:
    path.parent.chmod(0o555)
    path.chmod(0o444)
    said = as_nobody(path, "Ledger.open(path)")
    assert said.startswith(f"LedgerReadOnly 6 {path} can't be written: the file or its folder is read-only"), said
    assert f"write permission on {path.parent}" in said
    # reading it is fine, though no log can be put beside it
    assert as_nobody(path, "print(len(list(Ledger.open(path, readonly=True).entries())))").endswith("no error\n")
    path.parent.chmod(0o755)


def test_a_read_only_folder_at_the_making(path: Path) -> None:
    path.parent.chmod(0o555)
    said = as_nobody(path.with_name("new.db"), "Ledger.create(path, 'lake', '0190')")
    assert said.startswith(f"LedgerReadOnly 6 {path.with_name('new.db')} can't be written"), said
    path.parent.chmod(0o755)


def test_a_read_only_file(path: Path) -> None:
    path.chmod(0o444)
    path.parent.chmod(0o777)
    said = as_nobody(path, "Ledger.open(path)")
    assert said.startswith(f"LedgerReadOnly 6 {path} can't be written"), said


# -- the table ---------------------------------------------------------------------------------------------------------


def test_every_code_has_words() -> None:
    kinds = {
        sqlite3.SQLITE_FULL: LedgerFull,
        sqlite3.SQLITE_READONLY: LedgerReadOnly,
        sqlite3.SQLITE_CORRUPT: LedgerCorrupt,
        sqlite3.SQLITE_NOTADB: LedgerForeign,
        sqlite3.SQLITE_BUSY: LedgerBusy,
        sqlite3.SQLITE_IOERR: LedgerError,
    }
    for code in [*MEANING, *kinds]:
        fault = sqlite3.OperationalError("words of the library")
        fault.sqlite_errorcode = code | (3 << 8)  # an extended code means what its primary one does
        told = translated(Path("/nowhere/ledger.db"), fault)
        assert type(told) is kinds.get(code, type(told))
        assert "/nowhere/ledger.db" in told.message
        assert told.hint


def test_no_error_of_the_library_escapes(path: Path) -> None:
    with Ledger.open(path) as ledger:
        ledger._db.execute("DROP TABLE measurement")
        with pytest.raises(LedgerError):
            ledger.records.get(("measurement", 3))
        with pytest.raises(LedgerError):
            ledger.records.measurements_of("x")


def test_a_failed_batch_leaves_the_file_as_it_was(path: Path) -> None:
    before = dump(path)
    with Ledger.open(path) as ledger:
        survey = Survey(ledger.next_seq)
        with pytest.raises(TypeError, match="float"):
            for n in range(50):
                entries, changed = survey.start()
                entries[0].body["n"] = 0.5 if n == 49 else n
                ledger.write(entries, changed)
    assert dump(path) == before


def test_threads_may_hand_the_ledger_over(path: Path) -> None:
    with Ledger.open(path) as ledger:
        batch = Survey(ledger.next_seq).open_batch("from a thread")

        def work() -> None:
            ledger.write(*batch)
            ledger.commit()

        clerk = threading.Thread(target=work)
        clerk.start()
        clerk.join()
        assert ledger.records.get(("batch", "from a thread")) is not None
