"""From the shell into a command and out again: what a person sees when it fails, and the exit code."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

import click

from ..errors import ConfigError, ThwartError
from .tree import cli

#: Exit code of a command the person stopped (128 + SIGINT, the shell's convention).
INTERRUPTED = 130
#: Exit code of a fault of the program (EX_SOFTWARE of BSD's sysexits.h).
FAULT = 70


def main() -> NoReturn:
    """The program `thwart`."""
    # No plug-in of pydantic is ours; looking for some reads every installed package's metadata, and a start is to be short.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    sys.exit(run_command(sys.argv[1:]))


def run_command(args: Sequence[str]) -> int:
    """Run one command line. Returns its exit code; whatever goes wrong is told on stderr in a line a person can use."""
    try:
        code = _outcome(args)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read our output has enough (`thwart … | head`). Nothing more can be said there, at exit neither.
        with contextlib.suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return code


def _outcome(args: Sequence[str]) -> int:
    try:
        result = cli.main(args=list(args), prog_name="thwart", standalone_mode=False)
        return result if isinstance(result, int) else 0
    except click.Abort:
        click.echo("stopped", err=True)
        return INTERRUPTED
    except click.ClickException as wrong:
        wrong.show()
        return wrong.exit_code
    except ThwartError as trouble:
        tell(trouble)
        return trouble.exit_code
    except BrokenPipeError:
        raise
    except Exception as fault:
        from .trace import write_trace

        click.echo(f"thwart: a fault of the program, {type(fault).__name__}: {fault}", err=True)
        click.echo(f"  → please report it with the file {write_trace(fault)}", err=True)
        return FAULT


def tell(trouble: ThwartError) -> None:
    """What happened and what to do, on stderr. Faults of a file stand one a line."""
    problems = trouble.problems if isinstance(trouble, ConfigError) else ()
    for line in problems or trouble.message.splitlines():
        click.echo(f"thwart: {line}", err=True)
    if trouble.hint:
        click.echo(f"  → {trouble.hint}", err=True)
