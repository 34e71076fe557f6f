"""`thwart page`: what it prints lets a browser in."""

from __future__ import annotations

import json
import re
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.servicekit import Rig, rig
from thwart.cli import run_command


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def bench(tmp_path: Path, port: int) -> Iterator[Rig]:
    text = f'[page.tablet]\nport = {port}\naddress = "127.0.0.1"\ntrusted_network = true\n'
    with rig(tmp_path / "lake", bench=text) as made:
        yield made


def _run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = run_command(["page", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_the_link_brings_in_with_the_role_asked_for(bench: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    bench.start()
    for role in ("act", "look"):
        code, out, _ = _run(capsys, str(bench.folder), "--role", role)
        assert code == 0
        found = re.search(r"page +(http://127\.0\.0\.1:\d+)/#key=(\S+)\nlead's page +\1/lead#key=\2\n", out)
        assert found is not None
        answer = httpx.post(f"{found[1]}/api/enter", json={"key": found[2]}, headers={"origin": found[1]})
        assert answer.json() == {"ok": True, "role": role}
    assert "code" not in out


def test_a_code_for_a_tablet_and_to_be_forgotten(bench: Rig, port: int, capsys: pytest.CaptureFixture[str]) -> None:
    bench.start()
    _, out, _ = _run(capsys, str(bench.folder), "--pair", "look")
    assert f"tablet       http://127.0.0.1:{port}/\n" in out
    assert re.search(r"code +\d{6}   \(role look, good for 300 s, once\)", out)
    _, out, _ = _run(capsys, str(bench.folder), "--json", "--pair", "act", "--forget")
    page = json.loads(out)
    assert (page["role"], page["code_role"], page["forgot"]) == ("act", "act", 0)
    origin = f"http://127.0.0.1:{port}"
    answer = httpx.post(f"{origin}/api/enter", json={"code": page["code"]}, headers={"origin": origin})
    assert answer.json()["role"] == "act"
    assert "forgotten    browsers and tablets: 1" in _run(capsys, str(bench.folder), "--forget")[1]


def test_without_a_service_or_a_page_for_tablets_it_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with rig(tmp_path / "pond") as made:
        code, _, err = _run(capsys, str(made.folder))
        assert (code, "no service runs on this bench" in err) == (1, True)
        made.start()
        code, _, err = _run(capsys, str(made.folder), "--pair", "act")
        assert (code, "this bench has no page for tablets" in err, "[page.tablet]" in err) == (1, True, True)
