"""`trod export`: the records as a folder of tables, for other programs and other people."""

from __future__ import annotations

import json
from pathlib import Path

import click

from trod.commands.bar import Bar


@click.command(short_help="Write the records into a folder of CSV files.")
@click.argument("dir", type=click.Path(file_okay=False, path_type=Path))
@click.option("--from", "first", default="", metavar="DAY", help="First day, like 2026-03-01.")
@click.option("--to", "last", default="", metavar="DAY", help="Last day, included.")
@click.option("--people", is_flag=True, help="List what shows people or vehicles too, and pictures nobody has reviewed.")
@click.option("--true-places", is_flag=True, help="Give sensitive sites where they are; only if you may decide that.")
@click.option("--as", "form", type=click.Choice(["tables", "package", "darwin-core"]), default="tables",
              show_default=True, help="Our own tables, a package of the open standard, or Darwin Core.")  # fmt: skip
@click.option("--pictures", is_flag=True, help="Copy the pictures into the package.")
@click.option("--design", default="opportunistic", show_default=True, metavar="WORD",
              help="How the sites were chosen, in the standard's word.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def export(
    dir: Path,
    first: str,
    last: str,
    people: bool,
    true_places: bool,
    form: str,
    pictures: bool,
    design: str,
    as_json: bool,
) -> None:
    """Write the records into DIR as CSV files, the sites as GPX and GeoJSON too.

    Sites, deployments, visits, effort, observations, species and the list of pictures.

    Every column is described in description.json and README.txt beside them. Sensitive sites are given as
    coarse cells; pictures that show people or vehicles, and those nobody has reviewed, are left out,
    unless you say otherwise. Pictures are not copied.

    With --as package the records are written as deployments.csv, media.csv, observations.csv and
    datapackage.json of the open camera-data standard (Camtrap DP 1.0.2), with --as darwin-core as a Darwin Core
    archive with its meta.xml; the same is left out. The standard wants to know how the sites were chosen:
    simpleRandom, systematicRandom, clusteredRandom, experimental, targeted or opportunistic.

    \b
    Examples:
      trod export records-2026 --from 2026-01-01 --to 2026-12-31
      trod export package-2026 --as package --design systematicRandom
    \b
    Exit statuses:
      0  written
      2  the command line was wrong
      3  not written: no reserve yet, a day that is none, or a place that cannot be written to

    --json gives: dir, rows (by table), people_left_out, not_reviewed_left_out, sensitive_shown; of a package also
    standing_left_out (deployments of which nothing came home) and pictures_copied.
    """
    from trod.catalogue.start import ready

    ready("trod export")
    from trod.errors import ArchiveUnwritable
    from trod.web.reports import exporting, package

    try:
        with Bar() as bar:

            def progress(name: str, rows: int) -> None:
                bar.step(rows, rows, f"Writing {name}")

            if form == "tables":
                told = exporting.export(
                    dir, first=first, last=last, people=people, show_sensitive=true_places, progress=progress
                )
            else:
                wish = package.Wish(
                    first=first, last=last, people=people, show_sensitive=true_places, pictures=pictures, design=design
                )
                write = package.export_package if form == "package" else package.export_darwin_core
                told = write(dir, wish, progress=progress)
    except OSError as trouble:
        raise ArchiveUnwritable(
            f"{trouble.filename or dir}: {trouble.strerror}. Choose another folder, or make room."
        ) from trouble
    if as_json:
        click.echo(json.dumps({"dir": str(dir), **told, "sensitive_shown": true_places}, ensure_ascii=False, indent=2))
        return
    click.echo(f"Written into {dir}:")
    for name, rows in told["rows"].items():
        click.echo(f"  {name}.csv  {rows} rows")
    if told["people_left_out"]:
        click.echo(f"Left out: {told['people_left_out']} pictures with people or vehicles (--people lists them).")
    if told["not_reviewed_left_out"]:
        click.echo(f"Left out: {told['not_reviewed_left_out']} pictures nobody has reviewed (--people lists them).")
