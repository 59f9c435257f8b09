"""`trod card`: take a card, or any folder of pictures, into the archive."""

from __future__ import annotations

import json
import signal
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from trod.commands.bar import Bar, is_terminal


@click.command(short_help="Take a card or a folder into the archive.")
@click.argument("path", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--camera", metavar="SERIAL", help="The camera's serial (or the name you gave it).")
@click.option("--site", metavar="NAME", help="The site it stood at.")
@click.option("--yes", is_flag=True, help="Do not ask. What is unknown comes in as unplaced.")
@click.option("--no-read-back", is_flag=True, help="Do not read each copy again from the disk to compare it.")
@click.option("--accept-changes", is_flag=True, help="Go on although the card changed since the import was begun.")
@click.option(
    "--accept-damaged",
    is_flag=True,
    help="Say that the damaged files are known and may go with the card; else it is not called safe to format.",
)
@click.option("--watch", is_flag=True, help="Stay, and import what comes to the folder, until Ctrl-C.")
@click.option("--every", type=click.FloatRange(0.2, 3600), default=10.0, show_default=True, metavar="SECONDS",
              help="How often --watch looks.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object (with --watch: one per bag, a line each).")
def card(
    path: Path,
    camera: str | None,
    site: str | None,
    yes: bool,
    no_read_back: bool,
    accept_changes: bool,
    accept_damaged: bool,
    watch: bool,
    every: float,
    as_json: bool,
) -> None:
    """Copy the pictures and clips below PATH into the archive, prove each copy, and read what they say.

    PATH is a card, its DCIM folder, or any folder of pictures. Nothing is ever written to it. Trod proposes
    the camera and deployment from serials, dates, the card's label and the last visits, and asks before it
    begins. A broken-off import goes on where it ended: give the same command again.

    A camera or site that is not known yet is made when both are named, and told.

    \b
    Examples:
      trod card /media/ilka/ESK-06-B
      trod card ~/Downloads/from-camera --camera TB3-40117 --site "Alder Track" --yes --json
      trod card /srv/cameras/north-gate --watch --yes
    \b
    Exit statuses:
      0  all of it is in the archive, and the card is safe to format
      1  it is in as far as it could be, but do not format the card; the last sentence says why
      2  the command line was wrong
      3  it could not be done, or nobody could be asked; the message says what is needed

    A picture or clip that is damaged on the card is kept as it is. More of it can perhaps be recovered from the card
    while that is not formatted, so the card is called safe only after somebody has said that the damage may go: on
    the card's page, or here with --accept-damaged.

    --json gives: bag, files, new, duplicates, damaged, foreign, bytes, seconds, safe_to_format, reasons, and more.
    """
    from trod.catalogue.start import ready

    ready("trod card --watch" if watch else "trod card")
    from trod.catalogue.imports.card_work import CardWork

    work = CardWork(
        path, camera=camera, site=site, yes=yes, read_back=not no_read_back, accept_changes=accept_changes,
        accept_damaged=accept_damaged, ask=is_terminal() and not as_json,
    )  # fmt: skip
    if watch:
        bad = _watch(work, every, as_json)
    else:
        with Bar() as bar:
            found = work.take(bar)
        _print(found, work.told, as_json)
        bad = not found["safe_to_format"]
    if bad:
        click.get_current_context().exit(1)


def _watch(work: Any, every_s: float, as_json: bool) -> bool:
    lasting = waiting = False  # what stands against formatting: for good, and only until the next batch
    # A shell that started us in the background has Ctrl-C switched off; a watcher must still be told to end.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    if not as_json:
        click.echo(f"Watching {work.path}; Ctrl-C ends it.", err=True)
    try:
        for found in work.watch(every_s, Bar):
            _print(found, work.told, as_json, lines=True)
            against = {reason["what"] for reason in found["reasons"]}
            lasting = lasting or bool(against - {"waiting"})
            waiting = "waiting" in against
    except KeyboardInterrupt:
        if not as_json:
            rest = " Files that may still grow are left for the next time." if waiting else ""
            click.echo(f"\nNo longer watching. What is told above is in the archive.{rest}", err=True)
    return lasting or waiting


def _print(found: dict[str, Any], told: list[str], as_json: bool, *, lines: bool = False) -> None:
    if as_json:
        click.echo(json.dumps({**found, "told": told}, ensure_ascii=False, indent=None if lines else 2))
        return
    where = found["bag"] or "nothing new, so no bag was made"
    click.echo(f"\n{where}")
    click.echo(
        f"  {found['files']} files, {found['bytes'] / 1e6:.1f} MB in {found['seconds']:.1f} s: "
        f"{found['new']} new, "
        f"{found['duplicates']} kept before, {found['damaged']} damaged, {found['foreign']} of another "
        "camera; "
        f"{found['sequences']} sequences"
    )
    for sentence in [*told, *found["notes"]]:
        click.echo(f"  – {sentence}")
    click.echo(f"  {found['sentence']}")
    if found["deployment"] is None and found["bag"]:
        click.echo("  It lies unplaced: open Cards in the browser (trod serve) to say where it comes from.")


def now() -> datetime:
    return datetime.now(UTC)
