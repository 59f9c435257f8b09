"""`trod restore`: bring back from a backup what the archive lacks."""

from __future__ import annotations

from pathlib import Path

import click

from trod.commands.backup import tell
from trod.commands.bar import Bar


@click.command(short_help="Bring back from a backup what the archive lacks.")
@click.argument("src", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def restore(src: Path, as_json: bool) -> None:
    """Copy from the backup SRC whatever bags and papers this TROD_HOME lacks, proving each copy.

    What is there and differs is told and left as it is. Afterwards say trod rebuild, so that the catalogue
    knows.

    \b
    Example:
      trod restore /media/ilka/trod-backup
      trod --home ~/trod-new restore /media/ilka/trod-backup
    \b
    Exit statuses:
      0  the archive now holds all that the backup holds
      1  some files are damaged in the backup, or differ and were left (they are told)
      2  the command line was wrong
      3  it could not be done
    """
    from trod.archive import backup as work
    from trod.web import home

    with Bar() as bar:
        report = work.restore(
            src, home.archive_root(), progress=lambda done, total: bar.step(done, total, "Bringing back")
        )
    tell(report.as_json(), as_json)
    if not as_json:
        click.echo("Now say: trod rebuild")
