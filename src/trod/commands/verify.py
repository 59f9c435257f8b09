"""`trod verify`: hold the archive against its register and its manifests."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trod.commands.bar import Bar
from trod.errors import WrongInput

if TYPE_CHECKING:
    from trod.archive.verify import VerifyReport

SHOWN = 5  # wrong modes that are printed one by one; --json gives all


@click.command(short_help="Read the archive again and compare it with its register and manifests.")
@click.option("--quick", is_flag=True, help="Leave out the pictures' bytes; a changed one is then not noticed.")
@click.option("--only", metavar="PATH", help="A site, a deployment or a bag, below the archive.")
@click.option("--at", type=click.Path(exists=True, file_okay=False, path_type=Path),
              help="Another archive folder, such as a backup.")  # fmt: skip
@click.option("--register", "enrol", is_flag=True,
              help="First put under the register what lies there and is not in it, and close it to others.")  # fmt: skip
@click.option("--accept", metavar="PATH", multiple=True,
              help="First let the register say of this paper or bag what lies there now.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def verify(quick: bool, only: str | None, at: Path | None, enrol: bool, accept: tuple[str, ...], as_json: bool) -> None:
    """Look at every paper and every file of every bag again.

    What is missing, changed, unreadable or unexpected is told apart.

    The cheap checks come first: papers and bags against the register, names, sizes; then every byte. Nothing is
    changed, unless you say --register or --accept: from then on what lies there is what must be there, so look at
    it first.

    \b
    Examples:
      trod verify
      trod verify --only heron-pool --json
      trod verify --accept ledger.json
    \b
    Exit statuses:
      0  every paper and file is as register and manifests say, and no other is there
      1  something is missing, changed, unreadable or unexpected, words are not in
         the catalogue, or the archive is not under a register yet
      2  the command line was wrong
      3  there is no archive to look at, or its register cannot be written

    Papers that others can read are told, and do not change the status: they lose nothing, and a disk without
    modes, such as a stick with FAT, can never have them right.

    --json gives: files, missing, changed, unreadable, unexpected, registered, begun, permissions, unknown_words,
    and more.
    """
    from trod.archive import papers, standing
    from trod.archive.verify import verify as look
    from trod.catalogue import home

    root = at or home.archive_root()
    if not root.is_dir():
        raise WrongInput("archive", got=str(root), needed="an archive; import a card first (trod card PATH)")
    told = []
    if enrol:
        told.append(f"{papers.enrol(root, renew=True)} papers and bags were put under the register.")
        standing.close_to_others(root)
    for path in accept:
        papers.accept(root, path.strip("/"))
        told.append(f"{path}: the register now says what lies there.")
    with Bar() as bar:
        found = look(root, quick=quick, only=only, progress=lambda done, total: bar.step(done, total, "Reading"))
    if at is None and only is None:
        found = replace(found, unknown_words=_unknown_words(root))
    if as_json:
        click.echo(json.dumps(found.as_json(), ensure_ascii=False, indent=2))
    else:
        for sentence in told:
            click.echo(sentence)
        _tell(found)
    if not found.ok:
        click.get_current_context().exit(1)


def _tell(found: VerifyReport) -> None:
    click.echo(found.sentence)
    for damage in (*found.missing, *found.changed, *found.unreadable, *found.unexpected):
        click.echo(f"  {damage}")
    for sentence in (*found.torn, *found.begun):
        click.echo(f"  {sentence}")
    for path, count in found.unknown_words.items():
        click.echo(f"  {path}: {count} words that the catalogue does not know")
    for card_import in found.unfinished:
        click.echo(f"  {card_import.sentence}")
    if found.permissions:
        click.echo(f"{len(found.permissions)} papers or folders can be read by others:")
        for sentence in found.permissions[:SHOWN]:
            click.echo(f"  {sentence}")


def _unknown_words(root: Path) -> dict[str, int]:
    """{path: how many words of it the catalogue lacks}; empty where there is no catalogue that could be asked."""
    from trod.catalogue.start import look_in

    if not look_in():
        return {}
    from trod.catalogue.identifications import unknown

    return unknown.words(root)
