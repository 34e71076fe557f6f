"""`thwart run`: the service in the foreground, and the systemd unit that runs it for good."""

from __future__ import annotations

import gc
import sys
from pathlib import Path

import click

from .benches import bench_argument, bench_of
from .journal import to_stderr


@click.command(
    epilog="Examples: thwart run lake-survey    thwart run --print-unit lake-survey > thwart-lake-survey.service"
)
@bench_argument
@click.option("--print-unit", is_flag=True, help="Print a systemd unit for this bench and end.")
@click.option("-q", "--quiet", is_flag=True, help="Log warnings and errors only.")
def run(bench: Path | None, print_unit: bool, quiet: bool) -> int:
    """Run a bench until it is told to stop.

    Ctrl-C or SIGTERM stops it cleanly. BENCH is a bench folder; without it, the folder you stand in. The log goes to stderr, one line of key=value an
    event: what is said, which port came or went. What was taken up before is taken up again: after a crash or a power cut each place says which fish it has.
    """
    folder = bench_of(bench)
    if print_unit:
        click.echo(unit(folder), nl=False)
        return 0
    to_stderr(quiet=quiet)
    gc.disable()  # what is made while starting stays: looking for garbage in it costs a tenth of the start
    from ..service.service import run as serve

    return serve(folder)


def unit(folder: Path) -> str:
    """The systemd unit for a bench folder, with this program and this user in it."""
    import getpass
    from importlib import resources

    text = resources.files("thwart.starter").joinpath("thwart.service").read_text(encoding="utf-8")
    program = Path(sys.argv[0]).absolute()
    command = f"{_quoted(program)}" if program.name == "thwart" else f"{_quoted(Path(sys.executable))} -m thwart"
    bench = folder.resolve()
    for mark, value in (
        ("@COMMAND@", command),
        ("@BENCH@", _quoted(bench)),
        ("@NAME@", bench.name.replace("%", "%%")),
        ("@USER@", getpass.getuser()),
    ):
        text = text.replace(mark, value)
    return text


def _quoted(path: Path) -> str:
    # systemd.syntax(7): a percent sign begins a specifier, blanks separate words, a backslash escapes.
    text = str(path).replace("%", "%%")
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"' if set(text) & set(' \t"\\') else text
