"""`trod rebuild`: the catalogue again from the archive's folders."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import click

from trod.commands.bar import Bar
from trod.errors import Stopped, WrongInput


@click.command(short_help="Make the catalogue anew from the archive.")
@click.option("--thumbnails", is_flag=True, help="Make all thumbnails anew too, not only those that are missing.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def rebuild(thumbnails: bool, yes: bool, as_json: bool) -> None:
    """Fill a fresh catalogue from the archive: records, pictures, sequences and every word that people said.

    The old catalogue is kept beside the new one as catalogue.sqlite3.before-TIME. (On PostgreSQL its tables
    are emptied instead; make a dump first.) Accounts stay, unless the old catalogue cannot be read.
    An archive of an older format is brought up to today's first; its papers as they were are kept in it.
    Nothing else may be at the data folder meanwhile: stop trod serve before you begin.

    \b
    Example:
      trod rebuild
    \b
    Exit statuses:
      0  all that the archive holds is back
      1  back, but something in the archive could not be read (it is told)
      2  the command line was wrong
      3  it could not be done: no archive, one of a newer format, something else is at
         the data folder, no room
    """
    from trod.catalogue import holders, home
    from trod.catalogue.papers.aside import told_of
    from trod.catalogue.start import ready
    from trod.catalogue.work import anew

    home.make()
    if not home.archive_root().is_dir():
        raise WrongInput("archive", got=str(home.archive_root()), needed=anew.NO_ARCHIVE)
    if anew.is_postgres() and not yes:
        click.confirm("The tables of the PostgreSQL catalogue will be emptied. Go on?", abort=True, err=True)
    now = datetime.now(UTC)
    holders.sign_in("trod rebuild")
    with holders.alone("trod rebuild"):
        broken = anew.prepare(now)
    ready("trod rebuild", settle=False)
    try:
        with Bar() as bar:
            done = anew.make("trod rebuild", bar, now=now, remake_thumbnails=thumbnails)
    except (Stopped, KeyboardInterrupt) as problem:
        raise Stopped(
            "Stopped; the new catalogue is not whole, and nothing is written with it. Say trod rebuild again."
        ) from problem
    made, aside = done.made, broken or done.before
    if as_json:
        told = {**made.as_json(), "before": str(aside) if aside else None}
        told["only_in_before"] = told_of(aside) if aside else ""
        told["upgraded"] = list(done.upgraded.papers) if done.upgraded else []
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        if done.upgraded:
            click.echo(done.upgraded.sentence)
        click.echo(f"The catalogue is back: {made.sentence}.")
        for sentence in made.trouble:
            click.echo(f"  {sentence}")
        if aside:
            click.echo(f"The old one is kept as {aside}.")
            if lost := told_of(aside):
                click.echo(lost)
    if made.trouble:
        click.get_current_context().exit(1)
