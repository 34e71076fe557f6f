"""`thwart completion`: the script that lets a shell complete thwart's words."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class


@click.command(epilog="Example: thwart completion bash > ~/.local/share/bash-completion/completions/thwart")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print what makes a shell complete thwart's words.

    bash: write it to ~/.local/share/bash-completion/completions/thwart; zsh: to a file _thwart in a folder of $fpath;
    fish: to ~/.config/fish/completions/thwart.fish.
    """
    from .tree import cli

    kind = get_completion_class(shell)
    assert kind is not None, shell
    click.echo(kind(cli, {}, "thwart", "_THWART_COMPLETE").source())
