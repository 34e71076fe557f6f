"""Troubles of the computer. Each test says whether the fault is real or faked."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.unit.doctor.systems import as_nobody
from tests.unit.ledger.samples import Survey
from thwart.doctor import computer
from thwart.ledger import Ledger
from thwart.ports import parse_spec, usblibrary


def at(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1e9)


def test_a_clock_before_the_program_was_made(tmp_path: Path) -> None:
    """Faked: the time itself, for the machine's clock is not ours to set."""
    (trouble,) = computer.clock(at("1970-01-01T00:05:00"), None)
    assert trouble.code == "clock"
    assert "1970-01-01T00:05Z, which is before this program was made" in trouble.cause
    assert "timedatectl set-time" in trouble.fix


def test_a_clock_behind_the_last_entry(tmp_path: Path) -> None:
    """Faked: the time. Real: the ledger."""
    path = tmp_path / "ledger.db"
    ledger = Ledger.create(path, "lake", "0198-test")
    entries, changed = Survey().input("start", {"version": "0"}, [])
    ledger.write(entries, changed)
    ledger.commit()
    ledger.close()
    (trouble,) = computer.clock(at("2026-04-30T08:00:00"), path)
    assert "the last entry of the ledger is of 2026-05-01T00:00Z: it went back" in trouble.cause
    assert list(computer.clock(at("2026-05-02T08:00:00"), path)) == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Real: a disk of one megabyte, where this user may mount one."""
    where = tmp_path / "small"
    where.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(where)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("mounting a small disk needs root; the test beside this one fakes the limit")
    yield where
    subprocess.run(["umount", str(where)], check=True)


def test_a_disk_that_is_nearly_full(small_disk: Path) -> None:
    (trouble,) = computer.disk(small_disk, computer.LEAST_BYTES)
    assert (trouble.code, trouble.about) == ("disk", str(small_disk))
    assert "only 1 MB are free" in trouble.cause


def test_a_disk_with_less_room_than_asked_for(tmp_path: Path) -> None:
    """Faked: how much is enough."""
    assert [trouble.code for trouble in computer.disk(tmp_path, least=1 << 62)] == ["disk"]
    assert list(computer.disk(tmp_path, least=1)) == []


def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    """Real: another user without rights."""
    folder = tmp_path / "lake"
    folder.mkdir()
    assert list(computer.writable(folder)) == []
    for parent in (tmp_path, *tmp_path.parents[:2]):
        parent.chmod(0o755)
    folder.chmod(0o555)
    (trouble,) = as_nobody(lambda: list(computer.writable(folder)))
    assert trouble.code == "folder"
    assert trouble.cause == "it can't be written by this user: Permission denied"
    assert f"{folder}" in trouble.fix


def test_a_ledger_that_may_not_be_written(tmp_path: Path) -> None:
    """Real: another user without rights on the file, though the folder is open to all."""
    folder = tmp_path / "lake"
    folder.mkdir()
    for parent in (tmp_path, *tmp_path.parents[:2]):
        parent.chmod(0o755)
    folder.chmod(0o777)
    (folder / "ledger.db").touch()
    (folder / "ledger.db").chmod(0o444)
    assert [trouble.code for trouble in as_nobody(lambda: list(computer.writable(folder)))] == ["folder"]


def test_a_folder_on_a_read_only_disk(small_disk: Path) -> None:
    """Real: a disk mounted for reading."""
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    (trouble,) = computer.writable(small_disk)
    assert "Read-only file system" in trouble.cause


MOUNTS = r"""22 1 8:1 / / rw,relatime - ext4 /dev/sda1 rw
31 22 0:40 / {share} rw,relatime shared:9 - {kind} server:/export rw,vers=4.2
"""


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "fuse.sshfs", "9p"])
def test_a_folder_on_a_network_share(tmp_path: Path, kind: str) -> None:
    """Faked: the list of mounts, in the form of proc(5)."""
    share = tmp_path / "on the share"
    (share / "lake").mkdir(parents=True)
    mounts = tmp_path / "mountinfo"
    mounts.write_text(MOUNTS.format(share=str(share).replace(" ", r"\040"), kind=kind))
    (trouble,) = computer.network_disk(share / "lake", mounts)
    assert trouble.code == "network-disk"
    assert f"{share} is a network share ({kind})" in trouble.cause
    assert list(computer.network_disk(tmp_path, mounts)) == []


def test_a_later_mount_hides_an_earlier_one(tmp_path: Path) -> None:
    """Faked: the list of mounts."""
    mounts = tmp_path / "mountinfo"
    mounts.write_text(
        MOUNTS.format(share=tmp_path, kind="nfs") + f"32 22 8:2 / {tmp_path} rw - ext4 /dev/sda2 rw\nnonsense\n"
    )
    assert list(computer.network_disk(tmp_path, mounts)) == []


def test_this_machines_own_disk_is_no_share(tmp_path: Path) -> None:
    """Real: this system's list of mounts."""
    assert list(computer.network_disk(tmp_path)) == []


def test_no_libusb(monkeypatch: pytest.MonkeyPatch) -> None:
    """Faked here; for real, in a process that has neither library, in test_ports_usb.py."""
    specs = [parse_spec("hid:1234:5678"), parse_spec("usb:1209:0001:A1")]
    monkeypatch.setattr(usblibrary, "found", lambda: None)
    (trouble,) = computer.libusb(specs)
    assert (trouble.code, trouble.about) == ("no-libusb", "hid:1234:5678")
    assert "apt install libusb-1.0-0" in trouble.fix
    assert list(computer.libusb(specs[1:])) == [], "a bench without USB instruments needs none"
