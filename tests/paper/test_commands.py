"""`thwart cards` and `thwart labels` as they are run, with and without a service; the ledger knows what was printed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.cli.conftest import Run, bench, run  # noqa: F401 (fixtures)
from tests.paper.looking import codes, pages
from tests.servicekit import Rig
from thwart import starter

STARTER = Path(starter.__file__).parent


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """The bench that `thwart init` makes, with a share and people."""
    made = tmp_path / "lake"
    made.mkdir()
    (made / "protocol.toml").write_text((STARTER / "protocol.toml").read_text())
    text = (STARTER / "bench.toml").read_text().replace('# people = ["ida", "ben"]', 'people = ["ida"]')
    (made / "bench.toml").write_text(text + '\n[labels]\nshare = "1/2"\n')
    yield made


def ranges(folder: Path) -> list[tuple[str, str, int, int]]:
    with closing(sqlite3.connect(folder / "ledger.db")) as db:
        return db.execute("SELECT first_label, last_label, n, again FROM printed ORDER BY seq").fetchall()


def seen(pdf: Path, dpi: float = 200) -> list[str]:
    return [code.text for image in pages(pdf.read_bytes(), dpi) for code in codes(image, dpi)]


def test_cards_of_the_starter(folder: Path, run: Run, tmp_path: Path) -> None:  # noqa: F811
    out = tmp_path / "wall.pdf"
    told = run("cards", folder, "--out", out, "--only", "people", "--only", "hand", "--language", "de")
    assert (told.code, told.err) == (0, "")
    assert {"ACT.NEXT.G"} < set(seen(out, 100))
    assert any(text.startswith("ACT.STAGER.IDA.") for text in seen(out, 100))
    assert not (folder / "ledger.db").exists()
    first = out.read_bytes()
    run("cards", folder, "--out", out, "--only", "people", "--only", "hand", "--language", "de")
    assert out.read_bytes() == first  # the same bench gives the same bytes


def test_labels_before_the_first_day_and_the_next_ones(folder: Path, run: Run, tmp_path: Path) -> None:  # noqa: F811
    out = tmp_path / "l.pdf"
    told = run("labels", folder, "--sheet", "a4-3x8", "--count", 5, "--out", out)
    assert (told.code, told.err) == (0, "")
    assert len(seen(out)) == 5
    assert run("labels", folder, "--sheet", "a4-3x8", "--skip", 20, "--out", out).code == 0
    assert len(seen(out)) == 4
    assert [(n, again) for *_, n, again in ranges(folder)] == [(5, 0), (4, 0)]
    assert ranges(folder)[1][0] == sorted(seen(out))[0]
    assert run("labels", folder, "--ranges").out.splitlines()[-1].startswith("left: 4990 of ")
    assert run("audit", folder).code == 0


def test_again_must_be_said_and_is_kept(folder: Path, run: Run, tmp_path: Path) -> None:  # noqa: F811
    out = tmp_path / "l.pdf"
    run("labels", folder, "--roll", "70x37", "--count", 3, "--out", out)
    first, last, *_ = ranges(folder)[0]
    before = out.read_bytes()
    told = run("labels", folder, "--roll", "70x37", "--count", 2, "--first", last, "--out", out)
    assert told.code == 1
    assert f"labels {last} to {last} were printed already" in told.err
    assert "--again" in told.err
    assert out.read_bytes() == before  # the file of before is left, and no half one beside it
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["l.pdf"]
    assert run("labels", folder, "--roll", "70x37", "--count", 2, "--first", first, "--again", "--out", out).code == 0
    assert [again for *_, again in ranges(folder)] == [0, 1]


def test_labels_through_a_running_service(bench: Rig, run: Run, tmp_path: Path) -> None:  # noqa: F811
    text = (bench.folder / "bench.toml").read_text()
    (bench.folder / "bench.toml").write_text(text + '[labels]\nshare = "1/1"\n')
    bench.start()
    told = run("labels", bench.folder, "--roll", "70x37", "--count", 1, "--out", tmp_path / "l.pdf")
    assert (told.code, told.err) == (0, "")
    (label,) = seen(tmp_path / "l.pdf")
    assert ranges(bench.folder) == [(label, label, 1, 0)]
    bench.act("batch open bay")
    bench.touch(212)
    run("cards", bench.folder, "--only", "hand", "--out", tmp_path / "c.pdf")
    assert "ACT.NEXT.G" in seen(tmp_path / "c.pdf", 100)


def test_two_benches_print_no_label_twice(folder: Path, run: Run, tmp_path: Path) -> None:  # noqa: F811
    other = tmp_path / "other"
    other.mkdir()
    for name in ("bench.toml", "protocol.toml"):
        (other / name).write_text((folder / name).read_text().replace('share = "1/2"', 'share = "2/2"'))
    found = []
    for one in (folder, other):
        run("labels", one, "--sheet", "a4-3x8", "--out", tmp_path / "l.pdf")
        found += seen(tmp_path / "l.pdf")
    assert len(found) == len(set(found)) == 48


@pytest.mark.parametrize(
    ("words", "says", "hint"),
    [
        (["labels", "--sheet", "a4-3x8", "--count", "9000"], "4999 labels left, not 9000", "--count 4999"),
        (["labels", "--sheet", "b4"], "there is no sheet 'b4'", "labels.sheets.NAME"),
        (["labels", "--roll", "10x10"], "too small for the Code 128 code", "needs"),
        (["labels", "--roll", "70x37", "--first", "L-99994"], "is no label of this bench", "share"),
        (["labels", "--roll", "70x37", "--species", "perhc"], "there is no species 'perhc'; did you mean perch", ""),
        (["labels", "--roll", "70x37", "--batch", "бухта"], "can't be printed", ""),
        (["labels", "--roll", "70x37", "--language", "fr"], "there is no language 'fr'", "--language en"),
        (["labels", "--roll", "70x37", "--out", "/nowhere/l.pdf"], "can't be written", "--out"),
        (["cards", "--paper", "b9"], "there is no paper 'b9'", "100x150"),
        (["cards", "--only", "fish"], "there is no task 'fish'", ""),
        (["cards", "--batch", "bay/2"], "no card can say 'batch open bay/2'", "letters"),
        (["cards", "--paper", "60x60"], "too small for a card", "or more"),
        (["cards", "--only", "containers", "--paper", "a6", "--symbol", "both"], "too small for a card", "qr"),
    ],
)  # fmt: skip
def test_what_cannot_be_printed_says_what_to_do(folder: Path, run: Run, words: list[str], says: str, hint: str) -> None:  # noqa: F811
    told = run(words[0], folder, *words[1:])
    assert told.code == 1
    assert says in told.err
    assert hint in told.err
    assert not (folder / "ledger.db").exists()


def test_without_a_share_nothing_is_printed(folder: Path, run: Run) -> None:  # noqa: F811
    text = (folder / "bench.toml").read_text()
    (folder / "bench.toml").write_text(text.replace('share = "1/2"', ""))
    told = run("labels", folder, "--roll", "70x37")
    assert told.code == 1
    assert 'share = "1/1"' in told.err
    (folder / "bench.toml").write_text(text.replace("1/2", "3/2"))
    told = run("labels", folder, "--roll", "70x37")
    assert "labels.share" in told.err
    assert "'2/3' for the second of three" in told.err


def test_a_block_that_is_used_up(folder: Path, run: Run, tmp_path: Path) -> None:  # noqa: F811
    text = (folder / "protocol.toml").read_text()
    (folder / "protocol.toml").write_text(text.replace('label = "L-####?"', 'label = "L-#?"'))
    out = tmp_path / "l.pdf"
    assert run("labels", folder, "--roll", "70x37", "--count", 4, "--out", out).code == 0
    told = run("labels", folder, "--roll", "70x37", "--out", out)
    assert told.code == 1
    assert "all labels of this bench are printed" in told.err
    assert "widen the series" in told.err
