"""The program as a whole: names, help, exit codes, and what a person sees of a fault."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.shell_completion import BashComplete

from tests.cli.conftest import Run
from thwart import __version__
from thwart.cli import entry
from thwart.cli.tree import COMMANDS, cli
from thwart.errors import ThwartError


def commands() -> dict[str, click.Command]:
    """Every command by its full name."""
    found: dict[str, click.Command] = {}

    def walk(name: str, command: click.Command) -> None:
        found[name] = command
        if isinstance(command, click.Group):
            context = click.Context(command)
            for word in command.list_commands(context):
                inner = command.get_command(context, word)
                assert inner is not None
                walk(f"{name} {word}", inner)

    walk("thwart", cli)
    return found


@pytest.mark.parametrize("name", [name for name in commands() if name != "thwart"])
def test_every_help_has_an_example_that_names_the_command(run: Run, name: str) -> None:
    shown = run(*name.split()[1:], "--help")
    assert shown.code == 0
    epilog = shown.out[shown.out.rindex("Example") :]
    assert name in " ".join(epilog.split())


def test_the_root_tells_what_each_command_tells() -> None:
    for name, known in COMMANDS.items():
        command = commands()[f"thwart {name}"]
        assert (command.help or "").split("\n\n")[0].replace("\n", " ").strip() == known.title


def test_the_root_help_lists_all_without_loading_any() -> None:
    code = (
        "import sys; from thwart.cli import run_command; run_command(['--help']);"
        "print([m for m in sys.modules if m.startswith('thwart.') and m.count('.') > 1 or 'pydantic' in m][:9], file=sys.stderr)"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert all(f"  {name} " in shown.stdout for name in COMMANDS)
    assert eval(shown.stderr) == ["thwart.cli.tree", "thwart.cli.entry"]


def test_version(run: Run) -> None:
    assert run("--version") == (0, f"thwart {__version__}\n", "")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["sttus"], "there is no command 'sttus'; did you mean status?"),
        (["xyzzy"], "there is no command 'xyzzy'; `thwart --help` lists them"),
        (["run", "--fast"], "No such option"),
        (["backup"], "Missing argument"),
        (["backup", "a", "b", "c"], "expected [BENCH] TO"),
        (["listen", "p", "--baud", "x"], "is not a valid integer"),
        (["replay", "--decide", "--json"], "leave out --since and --json"),
    ],
)
def test_a_wrong_command_line_is_2(run: Run, words: list[str], said: str) -> None:
    refused = run(*words)
    assert refused.code == 2
    assert said in refused.err


def test_what_a_person_stops_is_130(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("thwart.profiles.shipped_profiles", interrupted)
    monkeypatch.setattr("thwart.cli.profiles.shipped_profiles", interrupted)
    stopped = run("profile", "list")
    assert (stopped.code, stopped.err.strip()) == (130, "stopped")


def test_a_fault_of_the_program_is_one_line_and_a_file(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("thwart.cli.profiles.shipped_profiles", lambda: 1 / 0)
    failed = run("profile", "list")
    assert failed.code == 70
    first, second = failed.err.splitlines()
    assert first == "thwart: a fault of the program, ZeroDivisionError: division by zero"
    file = Path(second.removeprefix("  → please report it with the file "))
    assert "Traceback" in file.read_text()
    assert __version__ in file.read_text()


def test_trouble_is_told_with_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    entry.tell(ThwartError("it leaks", "bail"))
    assert capsys.readouterr().err == "thwart: it leaks\n  → bail\n"


def test_a_reader_that_has_enough_is_no_fault() -> None:
    """`thwart … | head -1`, when head is gone already."""
    reads, writes = os.pipe()
    os.close(reads)
    command = [sys.executable, "-m", "thwart", "profile", "list"]
    shown = subprocess.run(command, stdout=writes, stderr=subprocess.PIPE, text=True)
    os.close(writes)
    assert (shown.returncode, shown.stderr) == (1, "")


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_a_script(run: Run, shell: str) -> None:
    printed = run("completion", shell)
    assert printed.code == 0
    assert f"_THWART_COMPLETE={shell}_complete" in printed.out


def test_a_shell_completes_commands_and_options() -> None:
    complete = BashComplete(cli, {}, "thwart", "_THWART_COMPLETE")
    assert {item.value for item in complete.get_completions([], "re")} == {"replay", "rebuild"}
    assert {"--json", "--watch", "--every"} <= {item.value for item in complete.get_completions(["status"], "--")}
    assert {item.value for item in complete.get_completions(["profile"], "")} == {"list", "show", "check"}


def test_the_log_is_one_line_an_event_whatever_is_logged(capsys: pytest.CaptureFixture[str]) -> None:
    import logging

    from thwart.cli.journal import KeyValue

    def line(message: str, *args: object, **more: object) -> str:
        record = logging.LogRecord("x", logging.INFO, "f", 1, message, args, None)
        record.exc_info = more.get("exc_info")  # type: ignore[assignment]
        return KeyValue().format(record)

    stamp = r"time=\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z level=info "
    assert re.fullmatch(stamp + r"event=ready bench=lake", line("ready bench=%s", "lake"))
    assert re.fullmatch(stamp + r"port=/dev/x state=open", line("port=/dev/x state=open"))
    assert re.fullmatch(stamp + r'event="two words"', line("two\nwords"))
    try:
        1 / 0  # noqa: B018
    except ZeroDivisionError as fault:
        told = line("fault seq=1", exc_info=(type(fault), fault, fault.__traceback__))
    assert re.fullmatch(stamp + r'event=fault seq=1 fault="ZeroDivisionError: division by zero" trace=(\S+)', told)
    Path(told.rpartition("=")[2]).unlink()
