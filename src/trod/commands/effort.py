"""`trod effort`: when every camera watched, by deployment, and by day as a CSV file."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command(short_help="When every camera watched: camera-days watched, lost, and open.")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--site", "sites", multiple=True, metavar="NAME", help="Only this site; may be given again.")
@click.option("--from", "first", default="", metavar="DAY", help="First day, like 2026-03-01.")
@click.option("--to", "last", default="", metavar="DAY", help="Last day, included.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def effort(file: Path | None, sites: tuple[str, ...], first: str, last: str, as_json: bool) -> None:
    """Tell of every deployment how many camera-days were watched, were lost, or are not known.

    With FILE, write effort by day into it as CSV: hours watched, open, lost and counted of every
    camera and local day, with the reasons.

    Silences are decided on the page Effort.

    \b
    Examples:
      trod effort
      trod effort effort-2026.csv --from 2026-01-01 --to 2026-12-31
    \b
    Exit statuses:
      0  told, or written
      2  the command line was wrong
      3  no reserve yet, a day or site that is none, or a place that cannot be written to

    --json gives: deployments (deployment, site, camera, watched_days, open_days, lost_days, counted_days), days (how
    many lines were written).
    """
    from trod.catalogue.start import ready

    ready("trod effort")
    from trod.catalogue.answers import answers, effort_days
    from trod.catalogue.models import Site
    from trod.errors import ArchiveUnwritable, WrongInput
    from trod.exchange import effort_days as table
    from trod.findings.watching import Day

    reserve = answers.the_reserve()
    known = dict(Site.objects.filter(reserve=reserve).order_by("name").values_list("slug", "name"))
    since, until = answers.day("from", first), answers.day("to", last)
    if since and until and since > until:
        raise WrongInput("from", got=since.isoformat(), needed="a first day on or before the last day")
    lines = effort_days.lines(reserve, sites=answers.pick("site", sites, known), first=since, last=until)
    days = [
        (d.site.slug, d.slug, d.camera.titled, day)
        for d, day in effort_days.by_day(lines, reserve.zone, first=since, last=until)
    ]
    by_deployment: dict[str, list[Day]] = {}
    for _, slug, _, day in days:
        by_deployment.setdefault(slug, []).append(day)
    told = []
    for line in lines:
        own = by_deployment.get(line.deployment.slug, [])
        told.append(
            {
                "deployment": line.deployment.slug,
                "site": line.deployment.site.slug,
                "camera": line.deployment.camera.titled,
                "watched_days": sum(day.watched_h for day in own) / 24,
                "open_days": sum(day.open_h for day in own) / 24,
                "lost_days": sum(day.lost_h for day in own) / 24,
                "counted_days": sum(day.counted_h for day in own) / 24,
            }
        )
    if file is not None:
        part = file.with_name(file.name + ".part")
        try:
            part.write_text(table.text(days), "utf-8", newline="")
            part.replace(file)
        except OSError as trouble:
            raise ArchiveUnwritable(f"{file}: {trouble.strerror}. Choose another place, or make room.") from trouble
    if as_json:
        click.echo(json.dumps({"deployments": told, "days": len(days) if file else 0}, ensure_ascii=False, indent=2))
        return
    width = max([len(str(row["deployment"])) for row in told], default=0)
    click.echo(f"{'':{width}}  watched     open     lost  camera-days")
    for row in told:
        numbers = "".join(f"{row[name]:9.1f}" for name in ("watched_days", "open_days", "lost_days"))
        click.echo(f"{row['deployment']:{width}}{numbers}")
    if file is not None:
        click.echo(f"Written into {file}: {len(days)} days.")
