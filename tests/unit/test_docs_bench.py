"""The pages about the bench say what the program does: acts, codes, closed lists, keys of the protocol, its schema."""

from __future__ import annotations

import re
import typing
from pathlib import Path

import pytest
from pydantic import BaseModel

from thwart.bench import acts, protocol, state, words
from thwart.bench.labels import card, is_card, read_card
from thwart.checkchars import SCHEMES

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
MODELS: dict[str, type[BaseModel]] = {
    "## Keys": protocol.Protocol,
    "### `[[measurands]]`": protocol.Measurand,
    "### `[species.NAME]`": protocol.Species,
    "### `[codes.FIELD]`": protocol.Codes,
    "### `[containers]`": protocol.Containers,
    "### `[numbers]`": protocol.Numbers,
    "### `[[row]]`": protocol.Stop,
    "### `[tags]`": protocol.Tags,
    "### `[structures.KIND]`": protocol.Structure,
}
LISTS = {
    "specimen state": typing.get_args(state.SpecimenState),
    "end of a specimen": typing.get_args(state.End),
    "outcome of a reading": typing.get_args(state.Outcome),
    "status of a measurement": typing.get_args(state.Status),
    "state of a question": typing.get_args(state.QuestionState),
    "state of a container": typing.get_args(state.ContainerState),
    "reason why a value is missing": acts.MISSING_REASONS,
    "why something is mended": acts.MEND_REASONS,
    "how a value came by hand": acts.HAND,
}


def section(page: str, heading: str) -> str:
    text = (DOCS / page).read_text()
    _, _, rest = text.partition(f"\n{heading}\n")
    assert rest, f"{page} has no {heading!r}"
    level = heading.split(" ")[0]
    return re.split(rf"(?m)^#{{1,{len(level)}}} ", rest)[0]


def rows(text: str) -> list[list[str]]:
    """The cells of the tables in a text, without their heads."""
    found = []
    for line in text.splitlines():
        if line.startswith("| ") and not line.startswith("| --- "):
            found.append([c.strip().replace("\\|", "|") for c in re.split(r"(?<!\\)\|", line)[1:-1]])
    return [row for row in found if row[0].startswith("`") or row[0] in LISTS]


def test_the_acts_are_those_of_the_table() -> None:
    assert acts.table() in (DOCS / "acts.md").read_text()


def test_every_example_of_an_act_is_that_act() -> None:
    for act in acts.ACTS.values():
        assert act.example.split()[0] == act.name


def test_the_cards_in_the_docs_are_valid() -> None:
    found = re.findall(r"(?m)^    (ACT\.\S+)$", (DOCS / "acts.md").read_text())
    assert len(found) == 2
    for text in found:
        assert is_card(text)
        assert card(read_card(text)) == text


@pytest.mark.parametrize(
    ("heading", "table"),
    [
        ("## Questions and notes", words.QUESTIONS),
        ("## Refusals", words.REFUSALS),
        ("## Why a reading was not taken", words.WHY),
    ],
)
def test_codes_and_their_words(heading: str, table: dict[str, str]) -> None:
    assert [(row[0], row[1]) for row in rows(section("reasons.md", heading))] == [
        (f"`{c}`", w) for c, w in table.items()
    ]


def test_closed_lists() -> None:
    found = {row[0]: tuple(re.findall(r"`([^`]+)`", row[1])) for row in rows(section("reasons.md", "## Closed lists"))}
    assert found == LISTS


@pytest.mark.parametrize("heading", sorted(MODELS))
def test_every_key_of_the_protocol(heading: str) -> None:
    text = section("protocol.md", heading).split("\n### ")[0]
    said = {row[0].strip("`"): row[1] for row in rows(text)}
    assert list(said) == list(MODELS[heading].model_fields)
    for name, field in MODELS[heading].model_fields.items():
        default = field.default
        if field.is_required():
            assert said[name] == "needed"
        elif isinstance(default, bool | int | str):
            shown = (
                str(default).lower()
                if isinstance(default, bool)
                else f'"{default}"'
                if isinstance(default, str)
                else default
            )
            assert said[name] == f"`{shown}`"
        elif isinstance(default, tuple) and default:
            assert said[name] == ", ".join(f"`{one}`" for one in default)
        elif not isinstance(default, BaseModel):
            assert said[name] == "none"


def test_keys_of_small_tables_are_named() -> None:
    text = (DOCS / "protocol.md").read_text()
    for model in (protocol.Rounding, protocol.Limit, protocol.Ratio):
        for key in model.model_fields:
            assert f"`{key}`" in text


def test_check_schemes() -> None:
    assert [row[0].strip("`") for row in rows(section("protocol.md", "## Labels"))] == list(SCHEMES)


def test_the_units_named_are_known() -> None:
    from thwart import units

    for unit in re.findall(r"`(\w+)`", section("protocol.md", "## Units")):
        assert unit == "value" or units.ucum(unit) is not None


def test_the_protocol_in_the_docs_loads() -> None:
    (text,) = re.findall(r"(?s)```toml\n(.*?)```", (DOCS / "protocol.md").read_text())
    assert protocol.read(text, "protocol.md").name == "lake survey"


def test_the_schema_is_current() -> None:
    """Make it anew: write `thwart.bench.protocol.schema_text()` to shared/protocol.schema.json."""
    assert (ROOT / "shared" / "protocol.schema.json").read_text() == protocol.schema_text()


def test_links_between_pages_lead_somewhere() -> None:
    for page in ("bench.md", "acts.md", "protocol.md", "reasons.md"):
        for target, anchor in re.findall(r"\]\(([\w./-]+)(?:#([\w-]+))?\)", (DOCS / page).read_text()):
            path = (DOCS / target).resolve()
            assert path.is_file(), f"{page}: {target}"
            if anchor:
                heads = re.findall(r"(?m)^#+ (.*)$", path.read_text())
                known = {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}
                assert anchor in known, f"{page}: #{anchor}"
