"""The pages about commands, errors and the bench file say what the program does, and nothing else."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import click
import pytest
from pydantic import BaseModel

from tests.cli.test_program import commands
from thwart import config, errors
from thwart.cli.entry import FAULT, INTERRUPTED
from thwart.paper.grid import LabelSheet
from thwart.profiles import loading, shipped_profiles
from thwart.service.policy import POLICIES
from thwart.shipped import shipped

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


def _sections(page: str, level: str) -> dict[str, str]:
    """Heading → text, of one page."""
    parts = re.split(rf"(?m)^{level} (.+)$", (DOCS / page).read_text())
    return {heading: re.split(r"(?m)^#{1,3} ", text)[0] for heading, text in zip(parts[1::2], parts[2::2], strict=True)}


def _rows(text: str) -> list[list[str]]:
    cells = [[cell.strip() for cell in line[1:-1].split("|")] for line in text.splitlines() if line.startswith("| ")]
    return [row for row in cells if not row[0].startswith("---")]


def _tables(text: str) -> dict[str, list[list[str]]]:
    """First head cell → rows."""
    found: dict[str, list[list[str]]] = {}
    for block in re.findall(r"(?m)(?:^\|.*\n?)+", text):
        head, *rows = _rows(block)
        found[head[0]] = rows
    return found


LEAVES = {name: command for name, command in commands().items() if not isinstance(command, click.Group)}


def test_every_command_is_described_and_nothing_else() -> None:
    assert {heading.strip("`") for heading in _sections("commands.md", "###")} == set(LEAVES)


@pytest.mark.parametrize("name", list(LEAVES))
def test_every_option_is_described_and_nothing_else(name: str) -> None:
    section = _sections("commands.md", "###")[f"`{name}`"]
    described = {frozenset(re.findall(r"`(-[^`]+)`", row[0])) for row in _tables(section).get("option", [])}
    assert described == {
        frozenset(p.opts + p.secondary_opts) for p in LEAVES[name].params if isinstance(p, click.Option)
    }  # fmt: skip
    example = next(line for line in section.splitlines() if line.startswith("    thwart "))
    assert example.strip().startswith(name)


def test_the_keys_of_decode_are_described(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from thwart.cli import run_command

    (tmp_path / "raw").write_bytes(b"  412 mm\r\n")
    run_command(["decode", "--profile", "number-unit-length", str(tmp_path / "raw")])
    section = _sections("commands.md", "###")["`thwart decode`"]
    assert [row[0].strip("`") for row in _tables(section)["key"]] == list(json.loads(capsys.readouterr().out))


def test_every_exit_code_is_described() -> None:
    def classes(cls: type[errors.ThwartError]) -> set[int]:
        return {cls.exit_code, *(code for sub in cls.__subclasses__() for code in classes(sub))}

    described = {int(row[0]) for row in _tables(_sections("errors.md", "##")["Exit codes"])["code"]}
    assert described == classes(errors.ThwartError) | {0, click.UsageError.exit_code, FAULT, INTERRUPTED}


def test_the_policy_is_described_row_by_row() -> None:
    section = _sections("errors.md", "##")["What a running service does about trouble"]
    described = [(row[0].strip("`"), row[2], not row[1].startswith("ends")) for row in _tables(section)["trouble"]]
    assert described == [(cls.__name__, str(p.exit_code), p.retry_s is not None) for cls, p in POLICIES]


@pytest.mark.parametrize(
    ("heading", "level", "model"),
    [
        ("Keys", "##", config.BenchConfig),
        ("`[page]`", "###", config.PageConfig),
        ("`[page.tablet]`", "###", config.TabletConfig),
        ("`[sound]`", "###", config.SoundConfig),
        ("`[numbers]`", "###", config.NumbersConfig),
        ("`[labels]`", "###", config.LabelsConfig),
        ("`[labels.sheets.NAME]`", "###", LabelSheet),
        ("`[instruments.NAME]`", "###", config.InstrumentConfig),
        ("`[instruments.NAME.line]`", "###", config.LineOverride),
    ],
)
def test_every_key_of_the_bench_file_is_described(heading: str, level: str, model: type[BaseModel]) -> None:
    rows = _tables(_sections("bench-file.md", level)[heading])["key"]
    assert [row[0].strip("`") for row in rows] == list(model.model_fields)
    assert {row[0].strip("`") for row in rows if row[1] == "required"} == {
        name for name, field in model.model_fields.items() if field.is_required()
    }
    for row in rows:
        if re.fullmatch(r"`[^`]+`", row[1]):
            default: Any = model.model_fields[row[0].strip("`")].default
            assert row[1].strip("`").replace('"', "").strip("[]") == (
                default
                if isinstance(default, str)
                else str(default)
                if isinstance(default, int | float)
                else ", ".join(default)
            )


def test_the_bench_file_in_the_docs_is_sound(tmp_path: Path) -> None:
    text = re.search(r"```toml\n(.*?)```", (DOCS / "bench-file.md").read_text(), re.S)
    assert text is not None
    (tmp_path / "bench.toml").write_text(text[1])
    (tmp_path / "protocol.toml").write_text((ROOT / "src/thwart/starter/protocol.toml").read_text())
    assert len(config.read_bench(tmp_path).instruments) == 2


@pytest.mark.parametrize(
    ("name", "text"),
    [("bench", config.schema_text()), ("profile", loading.schema_text())],
)
def test_schemas_are_current(name: str, text: str) -> None:
    """Make one anew: write `schema_text()` of the model's module to shared/NAME.schema.json."""
    assert (ROOT / "shared" / f"{name}.schema.json").read_text() == text


def test_every_command_in_the_docs_exists() -> None:
    for page in DOCS.glob("*.md"):
        for words in re.findall(
            r"(?m)^ {4}(?:\$ )?thwart ([a-z]+(?: [a-z]+)?)|`thwart ([a-z]+(?: [a-z]+)?)", page.read_text()
        ):
            first, _, second = (words[0] or words[1]).partition(" ")
            if first == "capture":
                continue  # the first line of a capture file
            assert f"thwart {first}" in commands(), f"{page.name}: thwart {first}"
            if first == "profile" and second:
                assert f"thwart profile {second}" in commands(), page.name


def test_every_profile_named_in_the_pages_exists() -> None:
    for page in ("commands.md", "bench-file.md", "getting-started.md", "service.md"):
        for name in re.findall(r'--profile ([a-z-]+)|profile = "([a-z-]+)"', (DOCS / page).read_text()):
            assert (name[0] or name[1]) in shipped_profiles(), page


def test_links_lead_somewhere() -> None:
    for page in (
        "commands.md",
        "errors.md",
        "bench-file.md",
        "getting-started.md",
        "service.md",
        "page.md",
        "feed.md",
        "languages.md",
    ):
        for link in re.findall(r"\]\(([^)#]+)\)", (DOCS / page).read_text()):
            assert (DOCS / link).exists(), f"{page}: {link}"


def test_what_follows_a_bench_hears_is_described() -> None:
    from thwart.languages import ENGLISH

    page = (DOCS / "feed.md").read_text()
    tables = _tables(page)
    assert {row[0].strip("`") for row in tables["alarm"]} == set(ENGLISH.tables["alarms"]) - {"over"}
    schema = json.loads((ROOT / "shared" / "feed.schema.json").read_text())
    assert [row[0].strip("`") for row in tables["key"]] == schema["$defs"]["said"]["required"]
    example = "".join(line.strip() for line in page.split("data: ")[1].split("```")[0].splitlines())
    assert set(json.loads(example.replace("{…}", "{}"))) == set(schema["$defs"]["entry"]["required"])


def test_every_table_of_a_language_file_is_described() -> None:
    from thwart.languages import ENGLISH

    rows = _tables((DOCS / "languages.md").read_text())["table"]
    assert {name for row in rows for name in re.findall("`([a-z]+)`", row[0])} == set(ENGLISH.tables)


def test_the_starter_travels_in_the_package() -> None:
    assert shipped("shared").is_dir()
    from importlib import resources

    for name in ("bench.toml", "protocol.toml", "thwart.service"):
        assert resources.files("thwart.starter").joinpath(name).is_file()
