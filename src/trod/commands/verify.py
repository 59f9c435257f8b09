"""`trod verify`: hold the archive against its manifests."""

from __future__ import annotations

import json
from pathlib import Path

import click

from trod.commands.bar import Bar
from trod.errors import WrongInput


@click.command(short_help="Read the archive again and compare it with its manifests.")
@click.option("--quick", is_flag=True, help="Names and sizes only; a changed byte is then not noticed.")
@click.option("--only", metavar="PATH", help="A site, a deployment or a bag, below the archive.")
@click.option("--at", type=click.Path(exists=True, file_okay=False, path_type=Path),
              help="Another archive folder, such as a backup.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def verify(quick: bool, only: str | None, at: Path | None, as_json: bool) -> None:
    """Read every file of every bag again and tell apart what is missing, changed, unreadable or unexpected.

    The cheap checks come first: papers, names, sizes; then every byte. Nothing is changed.

    \b
    Examples:
      trod verify
      trod verify --only heron-pool --json
    \b
    Exit statuses:
      0  every file is as its manifest says, and no other is there
      1  something is missing, changed, unreadable or unexpected
      2  the command line was wrong
      3  there is no archive to look at

    --json gives: files, missing, changed, unreadable, unexpected, and more.
    """
    from trod.archive.verify import verify as look
    from trod.web import home

    root = at or home.archive_root()
    if not root.is_dir():
        raise WrongInput("archive", got=str(root), needed="an archive; take a card in first (trod card PATH)")
    with Bar() as bar:
        found = look(
            root, quick=quick, only=only, progress=lambda done, total: bar.step(done, total, "Reading")
        )
    if as_json:
        click.echo(json.dumps(found.as_json(), ensure_ascii=False, indent=2))
    else:
        click.echo(found.sentence)
        for damage in (*found.missing, *found.changed, *found.unreadable, *found.unexpected):
            click.echo(f"  {damage}")
        for sentence in found.torn:
            click.echo(f"  {sentence}")
        for intake in found.unfinished:
            click.echo(f"  {intake.sentence}")
    if not found.ok:
        click.get_current_context().exit(1)
