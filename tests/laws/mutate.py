"""Breaks each law on purpose and watches its test go red.

`python -m tests.laws.mutate [NAME …]` applies each patch of `mutations/` to a copy of `src/`, runs the test the patch
names in its first line (`Test: tests/…::test_…`) against the copy, and fails where that test still passes, where the
patch no longer applies, or where the test fails without the patch.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MUTATIONS = Path(__file__).resolve().parent / "mutations"
_PASSED, _FAILED = 0, 1  # pytest's exit codes


def run_test(test: str, source: Path) -> tuple[int, str]:
    """Run one test with the package taken from `source`. Returns pytest's exit code and its last lines."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist", test],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(source)}, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout[-1500:]


def tried(patch: Path) -> str | None:
    """What is wrong with a mutation, or None where its test goes red as it should."""
    named = re.match(r"Test: (\S+)", patch.read_text())
    if named is None:
        return "its first line doesn't name a test"
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "src", Path(folder) / "src", ignore=shutil.ignore_patterns("__pycache__"))
        for top in ("hardware_profiles", "demo", "shared"):
            (Path(folder) / top).symlink_to(ROOT / top)
        applied = subprocess.run(
            ["patch", "-p1", "--no-backup-if-mismatch", "-i", str(patch)],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        if applied.returncode:
            return f"doesn't apply any more: {applied.stdout}{applied.stderr}"
        code, out = run_test(named[1], Path(folder) / "src")
    if code == _PASSED:
        return f"{named[1]} still passes with the law broken"
    if code != _FAILED:
        return f"{named[1]} didn't run (pytest exit code {code}): {out}"
    return None


def main(names: list[str]) -> int:
    """Try the named mutations, or all."""
    patches = [p for p in sorted(MUTATIONS.glob("*.patch")) if not names or p.stem in names]
    tests = sorted({m[1] for p in patches if (m := re.match(r"Test: (\S+)", p.read_text()))})
    with ThreadPoolExecutor(2) as pool:
        sound = dict(zip(tests, pool.map(lambda t: run_test(t, ROOT / "src"), tests), strict=True))
        broken = {t: out for t, (code, out) in sound.items() if code != _PASSED}
        for test, out in broken.items():
            print(f"{test}: fails without a mutation\n{out}")
        wrong = 0
        for patch, trouble in zip(patches, pool.map(tried, patches), strict=True):
            print(f"{patch.stem:<40} {'red, as it should be' if trouble is None else 'WRONG: ' + trouble}", flush=True)
            wrong += trouble is not None
    print(f"{len(patches) - wrong} passed, {wrong + len(broken)} failed")
    return 1 if wrong or broken or not patches else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
