"""`thwart page`: where a running bench's page is, and how a browser gets in."""

from __future__ import annotations

import json
from pathlib import Path

import click

from .benches import bench_argument, bench_of


@click.command(epilog="Examples: thwart page lake-survey    thwart page --pair act    thwart page --open")
@bench_argument
@click.option(
    "--role", type=click.Choice(["act", "look"]), default="act", show_default=True, help="What the link allows."
)
@click.option("--pair", type=click.Choice(["act", "look"]), help="Make a pairing code for a tablet, with this role.")
@click.option("--forget", is_flag=True, help="Forget every browser and tablet: each must come in anew.")
@click.option("--open", "opens", is_flag=True, help="Open the link in this computer's browser.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def page(bench: Path | None, role: str, pair: str | None, forget: bool, opens: bool, as_json: bool) -> None:
    """Show where a running bench's page is, and let browsers and tablets in.

    The link is for a browser on this computer, and good until the service stops; whoever came in by it stays in. A
    tablet comes in by a pairing code, where bench.toml has a [page.tablet]: six digits, good once and for five minutes.
    """
    folder = bench_of(bench)
    from ..service.control import Client

    client = Client(folder)
    try:
        answer = client.ask(do="page", role=role, pair=pair, forget=forget)
    finally:
        client.close()
    if as_json:
        click.echo(json.dumps(answer["page"], ensure_ascii=False))
    else:
        for line in _told(answer["page"]):
            click.echo(line)
    if opens:
        click.launch(answer["page"]["link"])


def _told(found: dict[str, object]) -> list[str]:
    lines = [f"page         {found['link']}", f"lead's page  {found['lead']}"]
    tablet = found["tablet"]
    if isinstance(tablet, list):
        lines += [f"tablet       {address}" for address in tablet]
    if found["code"] is not None:
        lines.append(
            f"code         {found['code']}   (role {found['code_role']}, good for {found['code_lasts_s']} s, once)"
        )
    if found["forgot"] is not None:
        lines.append(f"forgotten    browsers and tablets: {found['forgot']}")
    return lines
