"""`trod report`: the report as a PDF and as a folder of tables, by the same call as the page."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command(short_help="Make a report as a PDF, and its tables as CSV.")
@click.option("--from", "first", default="", metavar="DAY", help="First day, like 2026-03-01.")
@click.option("--to", "last", default="", metavar="DAY", help="Last day, included.")
@click.option("--site", "sites", multiple=True, metavar="NAME", help="Only this site; may be given again.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of the paper.")
@click.option("--title", default="", help="What stands on top (default: the reserve's name).")
@click.option(
    "--species-pages",
    type=click.IntRange(0, 12),
    default=3,
    show_default=True,
    help="How many species, the most frequent first, get pages of their own.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.pdf",
    help="Where the PDF goes (default: into the folder reports of the data folder).",
)
@click.option(
    "--csv",
    "csv_folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write the tables into this folder.",
)
@click.option("--true-places", is_flag=True, help="Show sensitive sites where they are; only if you may decide that.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def report(
    first: str,
    last: str,
    sites: tuple[str, ...],
    paper: str,
    title: str,
    species_pages: int,
    out: Path | None,
    csv_folder: Path | None,
    true_places: bool,
    as_json: bool,
) -> None:
    """Make a report on a period: map, effort, species, hours, months, the cameras' condition, the methods.

    Sensitive sites are drawn as squares of about 2 km unless you say otherwise. No person is shown.

    \b
    Example:
      trod report --from 2026-01-01 --to 2026-03-31 --out winter.pdf --csv winter-tables
    \b
    Exit statuses:
      0  the report is made
      2  the command line was wrong
      3  not made: not enough evidence, a name that is not known, or a place that cannot be written to

    --json gives: pdf, bytes, tables, sentence, filter, period, camera_days, sensitive_shown.
    """
    from trod.catalogue.start import ready

    ready("trod report")
    from datetime import UTC, datetime

    from trod.catalogue.answers import making
    from trod.catalogue.who import machine_person
    from trod.errors import ArchiveUnwritable

    now = datetime.now(UTC)
    wish = making.Wish(
        first=first,
        last=last,
        sites=sites,
        paper=paper,
        title=title,
        most_species=species_pages,
        tables=csv_folder is None,
        show_sensitive=true_places,
    )
    data = making.data_of(wish, now=now)
    tables: tuple[Path, ...] = ()
    try:
        if out is None:
            name = making.make(wish, by=machine_person(), now=now, data=data)
            pdf = making.file_of(name, "pdf")
            assert pdf is not None
            out = pdf
        else:
            part = out.with_name(f".{out.name}.part")
            part.write_bytes(making.pdf_of(data))
            part.replace(out)
        if csv_folder is not None:
            tables = making.tables_of(data, csv_folder)
    except OSError as trouble:
        raise ArchiveUnwritable(
            f"{trouble.filename or out}: {trouble.strerror}. Choose another place with --out or --csv."
        ) from trouble
    if as_json:
        told = {
            "pdf": str(out),
            "bytes": out.stat().st_size,
            "tables": [str(path) for path in tables],
            "sentence": data.comes.sentence,
            "filter": {"sentence": data.filter_sentence},
            "period": data.period,
            "camera_days": data.effort.camera_days,
            "sensitive_shown": data.show_sensitive,
        }
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    click.echo(data.comes.sentence)
    click.echo(f"The report on {data.period} is {out}")
    if tables:
        click.echo(f"Its tables, {len(tables)} files, are in {csv_folder}")
