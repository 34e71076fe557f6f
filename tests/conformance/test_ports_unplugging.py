"""Thirty unpluggings at random moments under load, on a terminal, on TCP and on a faked USB bus at the same time."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.conformance.unplugging import unplug_at_random


def test_no_byte_read_is_lost_and_none_invented(tmp_path: Path) -> None:
    with ThreadPoolExecutor() as pool:
        runs = [
            pool.submit(unplug_at_random, kind, tmp_path, 30, seed)
            for seed, kind in enumerate(("pty", "tcp", "usb"), 1)
        ]
        for run in runs:
            lives, read = run.result()
            assert lives >= 20
            assert read > 2000
