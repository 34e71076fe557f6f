"""`thwart check` and `thwart model`: real tables, planted errors, and every kind of bad input."""

from __future__ import annotations

import builtins
import csv
import random
import re
from math import exp, log
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run
from thwart.cli.check import COLUMNS
from thwart.ledger import Ledger
from thwart.past.models import load_species

DATA = Path(__file__).parents[1] / "data"
LAKE = (
    "--species", "species", "--length", "total_length_cm:cm", "--length", "fork_length_cm:cm:fork",
    "--length", "standard_length_cm:cm:standard", "--mass", "mass_g:g",
)  # fmt: skip
PERCH = ("--species", "perch", "--length", "tl:mm", "--mass", "w:g")


def found(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def table(path: Path, n: int = 60, **wrong: tuple[float, float]) -> Path:
    """Sound perch from row 1 on; `rN=(mm, g)` replaces row N."""
    rng = random.Random(3)
    lines = ["tl,w"]
    for row in range(1, n + 1):
        mm = round(exp(rng.gauss(log(220), 0.2)))
        g = round(exp(-11.87 + 3.1 * log(mm) + rng.gauss(0, 0.08)), 1)
        mm_, g_ = wrong.get(f"r{row}", (mm, g))
        lines.append(f"{mm_},{g_}")
    path.write_text("\n".join(lines) + "\n")
    return path


def test_the_lake_fish(tmp_path: Path, run: Run) -> None:
    out = tmp_path / "findings.csv"
    code, told, err = run("check", DATA / "lake_fish_159.csv", *LAKE, "--out", out)
    assert (code, err) == (0, "")
    rows = found(out)
    assert tuple(rows[0]) == COLUMNS
    verdicts = {int(r["row"]): int(r["verdict"]) for r in rows}
    assert verdicts[47] == 4  # its mass is 0, as published
    assert {verdicts.get(n, 1) for n in (109, 143)} <= {1, 3}
    assert "159 rows" in told
    assert "fitted from this table" in told
    assert "whole mass 1" in told  # row 14 has none


@pytest.mark.parametrize(
    ("wrong", "cause"),
    [((220, 1060.0), "times_10"), ((220, 10.6), "tenth"), ((22, 106.0), "tenth"), ((2200, 106.0), "times_10")],
)
def test_planted_errors_are_found_by_row_and_cause(
    tmp_path: Path, run: Run, wrong: tuple[float, float], cause: str
) -> None:
    out = tmp_path / "f.csv"
    assert run("check", table(tmp_path / "t.csv", r17=wrong), *PERCH, "--out", out).code == 0
    (hit,) = [r for r in found(out) if r["row"] == "17"]
    assert (hit["cause"], hit["verdict"]) == (cause, "3")
    assert float(hit["probability"]) > 0.5


def test_a_model_made_from_one_table_checks_another(tmp_path: Path, run: Run) -> None:
    model, out = tmp_path / "m.toml", tmp_path / "f.csv"
    source = table(tmp_path / "past.csv", r5=(200, 900.0))
    code, told, _ = run("model", "fit", source, *PERCH, "--source", "an invented catch", "--out", model)
    assert code == 0
    assert "beyond four scatters: row 5" in told
    assert "times the median" in told
    shown = run("model", "show", model, "perch").out
    assert "source: an invented catch" in shown
    assert "whole mass on total length: b 3.1" in shown or "b 3.0" in shown
    (tmp_path / "few.csv").write_text("art;laenge;gewicht\nPERCH;22,0;106,5\nperch;25,1;1620\n")
    code, told, _ = run(
        "check", tmp_path / "few.csv", "--species", "art", "--length", "laenge:cm", "--mass", "gewicht:g",
        "--model", model, "--out", out,
    )  # fmt: skip
    assert code == 0
    assert "fitted" not in told
    assert [(r["row"], r["cause"]) for r in found(out)] == [("2", "times_10")]


def test_the_models_of_a_protocol_serve_too(tmp_path: Path, run: Run) -> None:
    model = tmp_path / "m.toml"
    run("model", "fit", table(tmp_path / "t.csv"), *PERCH, "--out", model)
    protocol = tmp_path / "protocol.toml"
    protocol.write_text(
        'name = "p"\n[[measurands]]\nname = "total_length"\nquantity = "length"\n[[measurands]]\nname = "whole_mass"\n'
        'quantity = "mass"\n'
        + model.read_text().replace(
            'title = "perch"',
            'title = "perch"\nscientific = "Perca fluviatilis"\nlimits.total_length = { possible = [30, 600] }',
        )
    )
    assert "possible 30 to 600 mm" in run("model", "show", protocol).out
    (tmp_path / "x.csv").write_text("s,tl,w\nPerca fluviatilis,700,4000\n")
    out = tmp_path / "f.csv"
    run(
        "check",
        tmp_path / "x.csv",
        "--species",
        "s",
        "--length",
        "tl:mm",
        "--mass",
        "w:g",
        "--model",
        protocol,
        "--out",
        out,
    )
    assert [r["cause"] for r in found(out)] == ["beyond_limits"]


def test_the_order_of_a_column_finds_a_slip(tmp_path: Path, run: Run) -> None:
    path = table(tmp_path / "t.csv", 90)
    lines = [line.split(",") for line in path.read_text().splitlines()[1:]]
    for i in range(len(lines) - 1, 60, -1):
        lines[i][1] = lines[i - 1][1]
    rows = [f"{i},{mm},{g}" for i, (mm, g) in enumerate(lines, 1)]
    random.Random(1).shuffle(rows)
    path.write_text("n,tl,w\n" + "\n".join(rows) + "\n")
    out = tmp_path / "f.csv"
    assert run("check", path, *PERCH, "--order", "n", "--out", out).code == 0
    slips = [r for r in found(out) if r["cause"] == "slip"]
    assert slips  # it goes on, so it is found more than once
    at = int(rows[int(slips[0]["row"]) - 1].split(",")[0])
    assert 62 <= at <= 75
    assert "slip" not in run("check", path, *PERCH).out


@pytest.mark.parametrize("factor", [1.15, 0.87])
@pytest.mark.parametrize("known", [True, False])
def test_a_change_of_level_is_told_once_where_it_began(tmp_path: Path, run: Run, factor: float, known: bool) -> None:
    sound, changed = table(tmp_path / "sound.csv", 600), tmp_path / "changed.csv"
    rows = [line.split(",") for line in sound.read_text().splitlines()[1:]]
    masses = [float(g) * (factor if row > 300 else 1.0) for row, (_, g) in enumerate(rows, 1)]
    changed.write_text("tl,w\n" + "".join(f"{mm},{g:.1f}\n" for (mm, _), g in zip(rows, masses, strict=True)))
    model = ["--model", tmp_path / "m.toml"] if known else []
    assert run("model", "fit", sound, *PERCH, "--out", tmp_path / "m.toml").code == 0
    assert run("check", changed, *PERCH, *model, "--order", "rows", "--out", tmp_path / "f.csv").code == 0
    levels = [r for r in found(tmp_path / "f.csv") if r["cause"] in ("drift", "offset", "board_shift")]
    assert 1 <= len(levels) <= 3
    assert any(290 <= int(word) <= 312 for r in levels for word in re.findall(r"since about (\d+)", r["text"]))
    assert run("check", sound, *PERCH, *model, "--order", "rows", "--out", tmp_path / "g.csv").code == 0
    assert not [r for r in found(tmp_path / "g.csv") if r["cause"] in ("drift", "offset", "board_shift")]


def test_heights_and_weights_with_an_exchanged_row(tmp_path: Path, run: Run) -> None:
    """Davis's data of people (1990, Appetite 15:13-21; data set Davis of the R package carData): row 12 is 166 kg, 57 cm."""
    with (DATA / "davis_heights.csv").open(newline="") as file:
        names = next(csv.reader(line for line in file if not line.startswith("#")))
    mass = next(n for n in names if n.startswith("weight"))
    height = next(n for n in names if n.startswith("height"))
    out = tmp_path / "f.csv"
    code, _, err = run(
        "check",
        DATA / "davis_heights.csv",
        "--species",
        "people",
        "--length",
        f"{height}:cm",
        "--mass",
        f"{mass}:kg",
        "--out",
        out,
    )
    assert (code, err) == (0, "")
    hit = [r for r in found(out) if r["row"] == "12"]
    assert hit
    assert hit[0]["cause"] == "fields_exchanged"


def test_a_ledger_needs_no_columns_named(day: Any, run: Run) -> None:
    code, told, err = run("check", day.folder)
    assert (code, err) == (0, "")
    assert "1 row" in told
    with Ledger.open(day.folder / "ledger.db", readonly=True):
        pass


def test_plots(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "plots"
    code, told, _ = run("check", table(tmp_path / "t.csv", r17=(220, 1060.0)), *PERCH, "--plots", folder)
    assert code == 0
    assert {p.name for p in folder.iterdir()} == {
        "relation-perch.png", "residuals-perch.png", "digits-total_length.png", "digits-whole_mass.png",
    }  # fmt: skip
    assert all(p.read_bytes().startswith(b"\x89PNG") for p in folder.iterdir())
    assert f"plot: {folder}" in told


def test_parquet(tmp_path: Path, run: Run) -> None:
    import pyarrow
    from pyarrow import parquet

    rows = found(table(tmp_path / "t.csv", r17=(220, 1060.0)))
    path = tmp_path / "t.parquet"
    parquet.write_table(pyarrow.table({"tl": [float(r["tl"]) for r in rows], "w": [float(r["w"]) for r in rows]}), path)
    out = tmp_path / "f.csv"
    assert run("check", path, *PERCH, "--out", out).code == 0
    assert [r["cause"] for r in found(out) if r["row"] == "17"] == ["times_10"]
    path.write_bytes(path.read_bytes()[:200])
    assert "not a whole Parquet file" in run("check", path, *PERCH).err


@pytest.mark.parametrize(("library", "extra"), [("matplotlib", "plots"), ("pyarrow", "parquet")])
def test_a_library_that_isnt_there_is_named(
    tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch, library: str, extra: str
) -> None:
    real = builtins.__import__

    def without(name: str, *more: Any, **other: Any) -> Any:
        if name.split(".")[0] == library:
            raise ImportError(name)
        return real(name, *more, **other)

    monkeypatch.setattr(builtins, "__import__", without)
    path = table(tmp_path / "t.csv")
    if extra == "parquet":
        path.write_bytes(b"PAR1")
    code, _, err = run("check", path, *PERCH, "--plots", tmp_path / "p")
    assert code == 1
    assert library in err
    assert f"thwart[{extra}]" in err


@pytest.mark.parametrize(
    "protocol", ["demo/solo", "demo/row", "demo/shore-by-hand", "src/thwart/starter"], ids=lambda p: p.split("/")[-1]
)
def test_shipped_models_are_what_their_source_gives(tmp_path: Path, run: Run, protocol: str) -> None:
    """Fitted anew from the data set they name: `fish` of the R package rrcov 1.7-2, copied into tests/data."""
    fitted = tmp_path / "m.toml"
    assert run("model", "fit", DATA / "lake_fish_159.csv", *LAKE, "--out", fitted).code == 0
    anew = load_species(fitted)
    shipped = load_species(DATA.parents[1] / protocol / "protocol.toml")
    assert len(shipped) == 4
    for name, species in shipped.items():
        assert species.model is not None
        for relation in species.model.relations:
            made = anew[name].model
            assert made is not None
            source = made.prior(relation.y, relation.x, "whole", "fresh")
            assert source is not None
            assert source.model_copy(update={"weight": relation.weight, "source": relation.source}) == relation


# ---- bad input -----------------------------------------------------------------------------------------------------


def test_nothing_of_a_bad_table_is_dropped(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "bad.csv"
    sound = table(tmp_path / "t.csv", 30).read_text().splitlines()[1:]
    bad = ["22;7", "220;", ";106", "220;12,5 lb", "0;106", "-220;106", "220;heavy", "220;1e9999", "", "220"]
    path.write_text(
        "tl;w\n" + "\n".join(line.replace(",", ";").replace(".", ",") for line in sound) + "\n" + "\n".join(bad) + "\n"
    )
    out = tmp_path / "f.csv"
    code, told, err = run("check", path, *PERCH, "--out", out)
    assert (code, err) == (0, "")
    assert "39 rows" in told  # the empty line is none
    by_row = {int(r["row"]): r["cause"] for r in found(out)}
    assert by_row[35] == "not_positive"
    assert by_row[36] == "not_positive"
    assert (by_row[37], by_row[38]) == ("unreadable", "unreadable")
    assert by_row[34] in {"pound", "times_100", "unexplained", "stale", "times_10", "digit_off"}
    assert "empty: total length 1, whole mass 2" in told


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "its first line is empty"),
        ("tl,w\n", "0 rows"),
        ("tl,w\n220,106\n", "1 row"),
        ("tl,w\n" + "220,106\n" * 50, "50 rows"),
        ("tl,tl\n1,2\n", "stands twice"),
        ("len,mass\n1,2\n", "no column 'tl'"),
        ("\0\1\2", "not a text file"),
    ],
)
def test_odd_tables_are_told_and_nothing_breaks(tmp_path: Path, run: Run, text: str, said: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text)
    code, out, err = run("check", path, *PERCH, "--order", "rows")
    assert said in out + err
    assert code == (0 if " row" in said else 1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--species", "perch"], "say what is measured"),
        (["--length", "tl:mm"], "say which species"),
        (["--species", "perch", "--length", "tl"], "expected COL:UNIT"),
        (["--species", "perch", "--length", "tl:g"], "expected COL:UNIT"),
        (["--species", "perch", "--length", "tl:mm", "--length", "w:mm"], "given twice"),
        (["--species", "perch", "--length", "tl:mm", "--order", "nosuch"], "no column 'nosuch'"),
    ],
)
def test_options_that_make_no_sense(tmp_path: Path, run: Run, words: list[str], said: str) -> None:
    code, _, err = run("check", table(tmp_path / "t.csv", 5), *words)
    assert code in (1, 2)
    assert said in err


def test_one_measurand_is_compared_with_nothing(tmp_path: Path, run: Run) -> None:
    told = run("check", table(tmp_path / "t.csv"), "--species", "perch", "--mass", "w:g").out
    assert "one measurand only" in told


def test_files_that_arent_there_or_are(tmp_path: Path, run: Run) -> None:
    assert "a folder without a ledger" in run("check", tmp_path, *PERCH).err
    assert "no such file" in run("check", tmp_path / "none.csv", *PERCH).err
    path = table(tmp_path / "t.csv")
    assert "is there already" in run("check", path, *PERCH, "--out", path).err
    (tmp_path / "m.toml").write_text(
        '[species.perch]\ntitle = "perch"\n[[species.perch.model.relations]]\ny = "whole_mass"\n'
    )
    err = run("check", path, *PERCH, "--model", tmp_path / "m.toml").err
    assert "m.toml" in err
    assert "b" in err
    assert "no species 'pirch'" in run("model", "show", DATA.parents[1] / "demo/solo/protocol.toml", "pirch").err
    (tmp_path / "order.csv").write_text("n,tl,w\nx,220,106\n")
    assert "no number to put the rows in order by" in run("check", tmp_path / "order.csv", *PERCH, "--order", "n").err


def test_a_model_with_impossible_values_is_told(tmp_path: Path, run: Run) -> None:
    model = tmp_path / "m.toml"
    run("model", "fit", table(tmp_path / "t.csv"), *PERCH, "--out", model)
    text = model.read_text()
    b = next(line for line in text.splitlines() if line.startswith("b = "))
    model.write_text(text.replace(b, "b = 31"))
    err = run("check", tmp_path / "t.csv", *PERCH, "--model", model).err
    assert "b" in err
    assert str(model) in err


def test_too_few_fish_for_a_model(tmp_path: Path, run: Run) -> None:
    code, _, err = run("model", "fit", table(tmp_path / "t.csv", 2), *PERCH)
    assert code == 1
    assert "no species has three fish" in err


def test_a_line_no_fish_has_is_told_and_the_table_checked_all_the_same(tmp_path: Path, run: Run) -> None:
    """Wings of sparrows grow with mass to the power 0.9: what isn't a fish's length was a fault of the program once."""
    rng = random.Random(2)
    rows = [(mm, 14 * (mm / 27) ** 1.1 * exp(rng.gauss(0, 0.1))) for mm in (rng.uniform(20, 33) for _ in range(80))]
    path = tmp_path / "t.csv"
    path.write_text("tl,w\n" + "".join(f"{mm:.1f},{g:.1f}\n" for mm, g in rows))
    code, told, err = run("check", path, *PERCH)
    assert (code, err) == (0, "")
    assert "b 1.5 (the rows alone give" in told
    model = tmp_path / "m.toml"
    fitted = run("model", "fit", path, *PERCH, "--out", model)
    assert fitted.code == 0
    assert "the rows alone give b" in fitted.out
    assert run("model", "show", model).code == 0


def test_fish_that_scatter_widely_are_asked_about_no_oftener(tmp_path: Path, run: Run) -> None:
    """Scatter of t with 3 degrees of freedom: nominally one in twenty would be listed."""
    rng = random.Random(5)
    lines = ["tl,w"]
    for _ in range(1500):
        mm = round(exp(rng.gauss(log(220), 0.2)))
        wide = rng.gauss(0, 1) / (sum(rng.gauss(0, 1) ** 2 for _ in range(3)) / 3) ** 0.5
        lines.append(f"{mm},{exp(-11.87 + 3.1 * log(mm) + 0.08 * wide):.1f}")
    path, out, faint = tmp_path / "t.csv", tmp_path / "f.csv", tmp_path / "q.csv"
    path.write_text("\n".join(lines) + "\n")
    told = run("check", path, *PERCH, "--out", out).out
    assert len(found(out)) <= 0.03 * 1500
    assert "scatter widely" in told
    assert "the 20 surest of" in told
    run("check", path, *PERCH, "--quiet-list", "--out", faint)
    assert len(found(faint)) > len(found(out))
    assert {r["row"] for r in found(out)} < {r["row"] for r in found(faint)}


def test_values_are_told_in_the_units_of_the_table(tmp_path: Path, run: Run) -> None:
    rng = random.Random(4)
    lines = ["tl,w"]
    for _ in range(60):
        inch = rng.uniform(8, 16)
        lines.append(f"{inch:.1f},{0.0004 * inch**3.1 * exp(rng.gauss(0, 0.08)):.3f}")
    lines.append("12.0,8.879")
    path = tmp_path / "t.csv"
    path.write_text("\n".join(lines) + "\n")
    told = run("check", path, "--species", "perch", "--length", "tl:in", "--mass", "w:lb").out
    assert "row 61: 8.879 lb at 12.0 in is high · most likely ten times too large" in told


def test_rows_named_in_a_finding_are_rows_of_the_file(tmp_path: Path, run: Run) -> None:
    """In an order of its own, the fish before is named by its row in the file."""
    path = table(tmp_path / "t.csv", 60)
    lines = path.read_text().splitlines()[1:]
    lines[40] = f"{int(lines[40].split(',')[0]) + 120},{lines[39].split(',')[1]}"
    path.write_text("n,tl,w\n" + "".join(f"{i},{line}\n" for i, line in reversed(list(enumerate(lines)))))
    told = run("check", path, *PERCH, "--order", "n").out
    assert "still the value of 21" in told  # fish 39 stands in row 21, fish 40 in row 20
    assert "row 20:" in told


def test_hawks_with_true_errors(tmp_path: Path, run: Run) -> None:
    """908 hawks (data set Hawks of the R package Stat2Data): wings of 37.2 mm for 372, masses of 101 g for 1010 and 56 for 560."""
    out = tmp_path / "f.csv"
    code, told, err = run(
        "check", DATA / "hawks.csv", "--species", "species", "--length", "wing_mm:mm", "--mass", "mass_g:g", "--out", out,
    )  # fmt: skip
    assert (code, err) == (0, "")
    rows = {int(r["row"]): (r["measurand"], r["cause"]) for r in found(out)}
    assert rows[61] == ("total_length", "tenth")
    assert rows[23] == rows[511] == ("whole_mass", "tenth")
    assert rows[59] == ("total_length", "digits_exchanged")  # 241 for 421
    assert {279, 908, 645, 490, 703} < set(
        rows
    )  # wings of 111 and 199 mm, masses of 235 to 280 g among red-tailed hawks
    assert len(rows) <= 45
    assert told.index("row 61 (RT)") < told.index("row 188 (CH)")  # the surest first


def test_penguins_have_no_errors_and_long_names(tmp_path: Path, run: Run) -> None:
    """344 penguins (data set penguins_raw of the R package palmerpenguins), checked before they were published."""
    code, told, err = run(
        "check", DATA / "penguins.csv", "--species", "Species", "--length", "Flipper Length (mm):mm",
        "--mass", "Body Mass (g):g", "--plots", tmp_path / "p",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "Gentoo penguin (Pygoscelis papua) 124" in told
    assert "empty: total length 2, whole mass 2" in told
    assert told.count("\nrow ") <= 4
    assert len(list((tmp_path / "p").iterdir())) == 8


@pytest.mark.parametrize(
    ("encoding", "before", "note"),
    [
        ("utf-16", "", "read as utf-16"),
        ("latin-1", "", "read as cp1252"),
        ("utf-8", "# a lake, 2024\n# two\n", "2 lines of #"),
    ],
)
def test_files_as_programs_write_them(tmp_path: Path, run: Run, encoding: str, before: str, note: str) -> None:
    rows = [r.split(",") for r in table(tmp_path / "t.csv", 40, r9=(220, 1060.0)).read_text().splitlines()[1:]]
    written = ("Flußbarsch", "FLUSSBARSCH ", "flussbarsch")
    lines = [f"{written[i % 3]};{mm};{float(g):.1f}".replace(".", ",") for i, (mm, g) in enumerate(rows)]
    path, out = tmp_path / "x.csv", tmp_path / "f.csv"
    path.write_bytes((before + "Art;Länge;Gewicht\r\n" + "\r\n".join(lines) + "\r\n").encode(encoding))
    code, told, err = run(
        "check", path, "--species", "Art", "--length", "Länge:mm", "--mass", "Gewicht:g", "--out", out
    )
    assert (code, err) == (0, "")
    assert note in told
    assert "taken for Flußbarsch: FLUSSBARSCH, flussbarsch" in told
    assert "40 rows" in told
    assert [r["cause"] for r in found(out) if r["row"] == "9"] == ["times_10"]


def sexes(path: Path, n: int = 400, **wrong: float) -> Path:
    """Perch in turn female (15 % heavier) and male, every tenth of unknown sex; `rN=times` makes row N so many times as heavy."""
    rng = random.Random(5)
    lines = ["tl,w,sex"]
    for row in range(1, n + 1):
        mm, sex = round(exp(rng.gauss(log(220), 0.2))), "FM"[row % 2]
        g = exp(-11.87 + 3.1 * log(mm) + rng.gauss(0, 0.04)) * (1.15 if sex == "F" else 1.0) * wrong.get(f"r{row}", 1.0)
        lines.append(f"{mm},{g:.1f},{'NA' if row % 10 == 0 else sex}")
    path.write_text("\n".join(lines) + "\n")
    return path


def test_sexes_kept_apart_find_what_is_hidden_between_them(tmp_path: Path, run: Run) -> None:
    """A male 15 % too heavy is a female's weight, a female 15 % too light a male's."""
    source, hit = sexes(tmp_path / "t.csv", r17=1.16, r58=1 / 1.16), {}
    for apart in ((), ("--apart", "sex")):
        out = tmp_path / f"{len(apart)}.csv"
        code, told, _ = run("check", source, *PERCH, *apart, "--out", out)
        assert code == 0
        hit[apart] = {r["row"] for r in found(out)}
        assert ("perch, F: whole mass on total length fitted from this table" in told) == bool(apart)
    assert not {"17", "58"} & hit[()]
    assert {"17", "58"} <= hit["--apart", "sex"]


def test_a_model_of_sexes_goes_into_a_protocol_and_checks_another_table(tmp_path: Path, run: Run) -> None:
    model, out = tmp_path / "m.toml", tmp_path / "f.csv"
    source = sexes(tmp_path / "past.csv")
    code, told, _ = run(
        "model", "fit", source, *PERCH, "--apart", "sex", "--source", "an invented catch", "--out", model
    )
    assert code == 0
    assert "perch, M: whole mass on total length, " in told
    made = load_species(model)["perch"].model
    assert made is not None
    assert (made.apart, [r.group for r in made.relations]) == (("sex",), ["", "F", "M"])
    at = {r.group: r.expected(220.0) for r in made.relations}
    assert at["F"] / at["M"] == pytest.approx(1.15, abs=0.02)
    assert "total length, F: b" in run("model", "show", model).out
    few = sexes(tmp_path / "few.csv", n=10, r3=1.22)  # too few to fit a group from: the model's relations judge
    assert run("check", few, *PERCH, "--model", model, "--apart", "sex", "--out", out).code == 0
    assert [r["row"] for r in found(out)] == ["3"]
    told = run("check", few, *PERCH, "--model", model).out
    assert "the models keep fish apart by sex, and no --apart names a column: they are judged together" in told


def test_a_column_to_keep_apart_by_that_isnt_there(tmp_path: Path, run: Run) -> None:
    code, _, err = run("check", sexes(tmp_path / "t.csv", n=30), *PERCH, "--apart", "sexx")
    assert code != 0
    assert "sexx" in err
    assert "sex" in err.replace("sexx", "")


def test_a_small_group_is_judged_without_the_row_itself(tmp_path: Path, run: Run) -> None:
    """Twenty females, one of them far too heavy: it doesn't hide in a line fitted through itself."""
    out = tmp_path / "f.csv"
    source = sexes(tmp_path / "t.csv", n=44, r22=1.35)
    assert run("check", source, *PERCH, "--apart", "sex", "--out", out).code == 0
    assert "22" in {r["row"] for r in found(out)}


def test_rows_in_order_of_dates(tmp_path: Path, run: Run) -> None:
    lines = table(tmp_path / "t.csv", 60).read_text().splitlines()[1:]
    lines[40] = f"{int(lines[40].split(',')[0]) + 120},{lines[39].split(',')[1]}"
    dated = [f"2024-05-{1 + i // 10:02}T10:{i % 10:02},{line}" for i, line in enumerate(lines)]
    (tmp_path / "d.csv").write_text("at,tl,w\n" + "\n".join(reversed(dated)) + "\n")
    assert "still the value of 21" in run("check", tmp_path / "d.csv", *PERCH, "--order", "at").out
    (tmp_path / "d.csv").write_text("at,tl,w\n" + "\n".join([*dated, "7,220,106"]) + "\n")
    assert "row 61: at is '7'" in run("check", tmp_path / "d.csv", *PERCH, "--order", "at").err


def test_rows_without_a_species(tmp_path: Path, run: Run) -> None:
    (tmp_path / "t.csv").write_text("sp,tl,w\nNA,220,106\n,220,106\n-,220,0\n")
    told = run("check", tmp_path / "t.csv", "--species", "sp", "--length", "tl:mm", "--mass", "w:g").out
    assert "species: (none) 3" in told
    assert "row 3: whole mass 0 g: not above zero" in told
