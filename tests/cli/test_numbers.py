"""Blocks of specimen numbers: declared and overlapping, used twice, used of another's block, a block of the bench file."""

from __future__ import annotations

from pathlib import Path

from tests.benchkit import SOLO, Play
from tests.cli.conftest import Run
from tests.unit.ledger.making import told
from thwart.config import read_bench


def bench(path: Path, numbers: str = "", fish: int = 0, first: int = 1) -> Path:
    """A bench folder whose ledger has so many fish from a number on."""
    path.mkdir()
    (path / "bench.toml").write_text(f'name = "{path.name}"\n{numbers}')
    (path / "protocol.toml").write_text(
        'name = "by hand"\n[[measurands]]\nname = "total_length"\nquantity = "length"\nhand_division = "1 mm"\n'
    )
    if fish:
        play = Play(SOLO + f"\n[numbers]\nfirst = {first}\n")
        for _ in range(fish - 1):
            play.touch(212)
            play.act("next")
        told(path / "ledger.db", play.entries)
    return path


BOW = "[numbers]\nfirst = 1\nlast = 499\n"
STERN = "[numbers]\nfirst = 500\nlast = 999\n"


def test_the_block_of_the_bench_file_goes_before_the_protocols(tmp_path: Path) -> None:
    path = bench(tmp_path / "bow", BOW + "others.stern = { first = 500, last = 999 }\n")
    assert read_bench(path).protocol.numbers.last == 499
    assert read_bench(bench(tmp_path / "plain")).protocol.numbers.last == 999_999


def test_declared_blocks_that_overlap_are_refused_at_the_start(run: Run, tmp_path: Path) -> None:
    others = "others.stern = { first = 499, last = 999 }\nothers.port = { first = 900, last = 1500 }\n"
    path = bench(tmp_path / "bow", BOW + others)
    done = run("run", path)
    assert done.code == 1
    assert f"{path}/bench.toml:5: numbers.others.stern: 499 to 999 overlaps 1 to 499 of this bench" in done.err
    assert "numbers.others.port: 900 to 1500 overlaps 499 to 999 of stern" in done.err
    assert not (path / "ledger.db").exists()


def test_one_bench_says_what_it_used(run: Run, tmp_path: Path) -> None:
    done = run("numbers", bench(tmp_path / "bow", BOW, fish=3))
    assert (done.code, done.out) == (0, "bow: block 1 to 499; 3 used, 1 to 3\n")
    assert run("numbers", bench(tmp_path / "new", BOW)).out == "new: block 1 to 499; none used\n"


def test_benches_apart(run: Run, tmp_path: Path) -> None:
    benches = bench(tmp_path / "bow", BOW, 3), bench(tmp_path / "stern", STERN, 2, 500)
    done = run("numbers", *benches)
    assert (done.code, done.err) == (0, "")
    assert done.out == "bow: block 1 to 499; 3 used, 1 to 3\nstern: block 500 to 999; 2 used, 500 to 501\n"


def test_two_benches_that_began_at_the_same_number(run: Run, tmp_path: Path) -> None:
    done = run("numbers", bench(tmp_path / "bow", fish=3), bench(tmp_path / "stern", fish=5))
    assert done.code == 1
    assert done.err.splitlines() == [
        "thwart: bow and stern both have fish 1 to 3",
        "thwart: the blocks of bow and stern share 1 to 999999",
        "  → give each bench a block of its own ([numbers] in bench.toml)",
    ]


def test_numbers_of_another_block(run: Run, tmp_path: Path) -> None:
    """Used before the blocks were given."""
    stern = bench(tmp_path / "stern", STERN, 2)
    done = run("numbers", bench(tmp_path / "bow", BOW + "others.mid = { first = 1500, last = 1600 }\n"), stern)
    assert "stern used 1 to 2, of the block of bow" in done.err
    mid = bench(tmp_path / "mid", BOW + "others.stern = { first = 500, last = 999 }\n", 2, 700)
    done = run("numbers", mid)
    assert done.code == 1
    assert "mid used 700 to 701, of the block of stern" in done.err


def test_a_ledger_or_backup_of_another_bench(run: Run, tmp_path: Path) -> None:
    other = bench(tmp_path / "stern", fish=2) / "ledger.db"
    done = run("numbers", bench(tmp_path / "bow", BOW, 3), other)
    assert "ledger.db: block not known; 2 used, 1 to 2" in done.out
    assert "bow and ledger.db both have fish 1 to 2" in done.err
    (tmp_path / "notes").write_text("not a ledger")
    assert "not a ledger that can be read" in run("numbers", tmp_path / "notes").err
