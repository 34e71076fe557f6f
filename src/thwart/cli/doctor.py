"""`thwart doctor`: what is plugged in, what is wrong, and what to do about it; udev rules for a bench."""

from __future__ import annotations

import dataclasses
import json
import shutil
import sys
from pathlib import Path

import click

from .benches import bench_of, is_bench
from .screen import table, wrapped


@click.command(
    epilog="Examples: thwart doctor    thwart doctor lake-survey --listen 3    "
    "thwart doctor lake-survey --write-udev | sudo tee /etc/udev/rules.d/70-thwart.rules"
)
@click.argument("bench", required=False, type=click.Path(path_type=Path))
@click.option("--listen", "seconds", type=click.FloatRange(min=0), default=0.0, metavar="SECONDS",
              help="Open each instrument's port, hear what comes, and look for settings that make sense of it.")  # fmt: skip
@click.option("--write-udev", is_flag=True, help="Print udev rules for the instruments of the bench, and end.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
def doctor(bench: Path | None, seconds: float, write_udev: bool, as_json: bool) -> int:
    """Find what keeps instruments from working, and say how to mend it.

    Without BENCH, in a folder that is none, it looks at the computer and at the ports that are plugged in; with a bench
    folder at its instruments, its folder and its ledger too. Nothing is changed. The exit code is 1 where something is
    wrong. Ports are opened only with --listen, and not while the bench's service runs: then it is asked what it hears.
    """
    folder = bench_of(bench) if bench is not None or is_bench(Path()) else None
    if write_udev:
        click.echo(_rules(bench_of(bench)), nl=False)
        return 0
    from ..doctor import examine

    progress = _Progress()
    report = examine(folder, seconds, tell=progress)
    progress.done()
    if as_json:
        found = {
            "ports": [{**dataclasses.asdict(port)} for port in report.ports],
            "troubles": [dataclasses.asdict(trouble) for trouble in report.troubles],
            "looked_at": report.looked_at,
        }
        click.echo(json.dumps(found, ensure_ascii=False))
        return 1 if report.troubles else 0
    width = shutil.get_terminal_size((80, 24)).columns
    head = ("name", "device", "what it is", "in use by")
    rows = [(p.name, p.device, p.description, ", ".join(map(str, p.holders))) for p in report.ports]
    lines = table([head, *rows], width) if rows else ["no port is plugged in"]
    for trouble in report.troubles:
        lines += ["", *wrapped(f"{trouble.code}: {trouble.about}", width)]
        lines += wrapped(trouble.cause, width, first="  ", rest="  ")
        lines += wrapped(f"→ {trouble.fix}", width, first="  ", rest="    ")
    if not report.troubles:
        lines += ["", *wrapped(f"nothing wrong with: {', '.join(report.looked_at)}", width)]
    click.echo("\n".join(lines))
    return 1 if report.troubles else 0


class _Progress:
    """What is tried now, on stderr: over itself on a terminal, a line each elsewhere."""

    def __init__(self) -> None:
        self._over = sys.stderr.isatty()
        self._shown = 0

    def __call__(self, text: str) -> None:
        if self._over:
            click.echo("\r" + text.ljust(self._shown), nl=False, err=True)
            self._shown = len(text)
        else:
            click.echo(text, err=True)

    def done(self) -> None:
        """Clear the line."""
        if self._shown:
            click.echo("\r" + " " * self._shown + "\r", nl=False, err=True)


def _rules(folder: Path) -> str:
    from ..config import read_bench
    from ..doctor import rules
    from ..doctor.udev import serial_group
    from ..ports.usbtree import usb_entries

    bench = read_bench(folder)
    return rules(bench.config.name, bench.instruments, usb_entries(), serial_group())
