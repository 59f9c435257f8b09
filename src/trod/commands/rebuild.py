"""`trod rebuild`: the catalogue again from the archive's folders."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime

import click

from trod.commands.bar import Bar
from trod.errors import Stopped


@click.command(short_help="Make the catalogue anew from the archive.")
@click.option(
    "--thumbnails", is_flag=True, help="Make all thumbnails anew too, not only those that are missing."
)
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def rebuild(thumbnails: bool, yes: bool, as_json: bool) -> None:
    """Fill a fresh catalogue from the archive: records, pictures, events and every word that people said.

    The old catalogue is kept beside the new one as catalogue.sqlite3.before-TIME. (On PostgreSQL its tables
    are emptied instead; make a dump first.) Accounts are not in the archive: make them again with trod serve.
    Stop trod serve before you begin.

    \b
    Example:
      trod rebuild
    \b
    Exit statuses:
      0  all that the archive holds is back
      1  back, but something in the archive could not be read (it is told)
      2  the command line was wrong
      3  it could not be done
    """
    from trod.web.catalogue.aside import set_aside
    from trod.web.home import home

    postgres = bool(os.environ.get("TROD_DATABASE_URL"))
    aside = None
    if postgres:
        if not yes:
            click.confirm(
                "The tables of the PostgreSQL catalogue will be emptied. Go on?", abort=True, err=True
            )
    else:
        aside = set_aside(home(), datetime.now(UTC))
    from trod.web.start import ready

    ready("trod rebuild")
    from trod.web.catalogue import rebuild as work

    if postgres:
        work.empty_all()
    try:
        with Bar() as bar:
            made = work.rebuild(bar, remake_thumbnails=thumbnails)
    except (Stopped, KeyboardInterrupt):
        click.echo(
            f"Stopped; the new catalogue is not whole. Say trod rebuild again. The old one is {aside}.",
            err=True,
        )
        raise
    if as_json:
        click.echo(
            json.dumps(
                {**made.as_json(), "before": str(aside) if aside else None}, ensure_ascii=False, indent=2
            )
        )
    else:
        shown = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in made.counts.items() if count)
        click.echo(f"The catalogue is back: {shown or 'the archive is empty'}.")
        for sentence in made.trouble:
            click.echo(f"  {sentence}")
        if aside:
            click.echo(f"The old one is kept as {aside}.")
    if made.trouble:
        click.get_current_context().exit(1)
