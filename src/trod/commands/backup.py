"""`trod backup`: a second copy of the archive."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import click

from trod.commands.bar import Bar


@click.command(short_help="Copy what is new in the archive to another disk.")
@click.argument("dest", type=click.Path(file_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def backup(dest: Path, as_json: bool) -> None:
    """Bring a copy of the archive in DEST up to date; each file is read back and compared.

    What is not as the archive's register says is told and not copied, so a damaged or emptied paper never
    takes the place of a good one. Nothing in DEST is ever deleted, and no bag that differs is overwritten;
    earlier states of ledger, sidecars and words are kept. A backup is laid out like the archive: trod
    verify --at DEST looks it through. It is the archive that is copied: a catalogue that does
    not fit it is told and changes nothing.

    \b
    Example:
      trod backup /media/ilka/trod-backup
    \b
    Exit statuses:
      0  DEST now holds all that the archive holds
      1  some files are damaged in the archive or missing there, were refused, or
         papers hold less than their copy did (they are told)
      2  the command line was wrong
      3  it could not be done: no room, DEST cannot be written
    """
    from trod.catalogue.start import ready

    ready("trod backup", settle=False)
    from trod.catalogue.work import backup as work

    with Bar() as bar:
        found = work.backup(dest, bar, now=datetime.now(UTC))
    tell(found, as_json)


def tell(found: dict[str, object], as_json: bool) -> None:
    """Print what a backup or a restore did, and end with 1 when something was left out."""
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
    else:
        click.echo(str(found["sentence"]))
        if found.get("catalogue"):
            click.echo(f"  {found['catalogue']}")
        for name in ("damaged", "refused", "fewer"):
            for item in found[name]:  # type: ignore[attr-defined]
                path = "" if name == "damaged" else f"{item['path']}: "
                click.echo(f"  {path}{item['sentence']}")
    if not found["ok"]:
        click.get_current_context().exit(1)
