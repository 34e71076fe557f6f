"""The tree of commands. The root knows each command's name and one line about it, and loads the rest when it is run."""

from __future__ import annotations

import importlib
from dataclasses import dataclass

import click

from .. import __version__


@dataclass(frozen=True, slots=True)
class Entry:
    """Where a command is defined, and its line in `thwart --help`."""

    module: str
    title: str


#: Commands in the order `thwart --help` shows them: from the first day to the last.
COMMANDS = {
    "demo": Entry("demo", "Play a short lake survey through the real service."),
    "init": Entry("init", "Make a bench folder with a commented bench.toml and protocol.toml."),
    "ports": Entry("instruments", "List the serial ports and USB instruments that are plugged in."),
    "doctor": Entry("doctor", "Find what keeps instruments from working, and say how to mend it."),
    "listen": Entry("instruments", "See and capture what a port says."),
    "decode": Entry("instruments", "Show what a profile makes of a capture, as JSON lines."),
    "learn": Entry("learn", "Make a profile of an unknown instrument from what it sends and what its display shows."),
    "profile": Entry("profiles", "List, show and check instrument profiles."),
    "run": Entry("run", "Run a bench until it is told to stop."),
    "status": Entry("bench", "Show what a running bench holds."),
    "watch": Entry("watch", "Show a running bench in this terminal, until q or Ctrl-C."),
    "page": Entry("page", "Show where a running bench's page is, and let browsers and tablets in."),
    "act": Entry("bench", "Do an act on a running bench, as a card or a pedal would."),
    "numbers": Entry("numbers", "Compare the specimen numbers of several benches."),
    "batches": Entry("batches", "Plan batches from a table prepared before the trip."),
    "cards": Entry("paper", "Print command cards."),
    "labels": Entry("paper", "Print labels of envelopes and vials."),
    "replay": Entry("past", "Tell a recorded day again, or decide it again and compare."),
    "audit": Entry("past", "Prove that the ledger is whole and agrees with itself."),
    "backup": Entry("past", "Copy the ledger while the bench runs, and verify the copy."),
    "rebuild": Entry("past", "Make the ledger's tables anew from its entries."),
    "migrate": Entry("past", "Bring a ledger's tables to this version, after a backup."),
    "mend": Entry("mend", "Correct what was recorded."),
    "history": Entry("history", "Tell one fish's whole story, in order."),
    "check": Entry("check", "Run the bench's checks over a past table."),
    "model": Entry("model", "Make species models from past tables, and show them."),
    "completion": Entry("completion", "Print what makes a shell complete thwart's words."),
}


class Tree(click.Group):
    """A group whose commands are imported when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the table's order."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, its module imported now."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        module = importlib.import_module(f".{entry.module}", __package__)
        command: click.Command = getattr(module, cmd_name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, but a wrong name is answered with the nearest ones."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from ..tomlfile import nearest

            near = nearest(args[0], COMMANDS) or "`thwart --help` lists them"
            raise click.UsageError(f"there is no command {args[0]!r}; {near}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of commands, without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.title) for name, entry in COMMANDS.items()])


@click.group(
    cls=Tree,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Each command has its own --help with an example. First look: thwart demo",
)
@click.version_option(__version__, "-V", "--version", prog_name="thwart", message="%(prog)s %(version)s")
def cli() -> None:
    """The clerk of a fish-sampling bench.

    Reads boards, scales and scanners, gives each reading to the fish in hand, stores it, and says so only then; what
    looks wrong is asked while the fish can still be measured again.
    """
