"""`trod rounds`: who is due for a visit, and a round planned, by the same calls as the page."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from trod import wording


@click.command(short_help="Say who is due for a visit, and plan a round.")
@click.option("--day", metavar="DAY", help="Plan a round for this day, like 2026-10-17. Without it: who is due.")
@click.option("--days", type=click.IntRange(1, 7), default=1, show_default=True, help="So many days in a row.")
@click.option(
    "--people", default="", metavar="NAMES", help="Who goes: names with commas; a semicolon parts those who go apart."
)
@click.option("--on-foot", is_flag=True, help="All of it on foot (default: by car where tracks allow, and on foot).")
@click.option(
    "--which",
    type=click.Choice(["pays", "all", "named"]),
    default="pays",
    show_default=True,
    help="Cameras worth the way, as many as there is room for, or those named by --site alone.",
)
@click.option("--site", "sites", multiple=True, metavar="NAME", help="This site in any case; may be given again.")
@click.option("--leave", multiple=True, metavar="NAME", help="This site not this time; may be given again.")
@click.option("--away", default="8:00-17:00", show_default=True, metavar="FROM-TO", help="Away from home between.")
@click.option(
    "--ahead", type=click.IntRange(1, 365), default=30, show_default=True, help="Days until somebody comes again."
)
@click.option("--lat", type=float, help="Start elsewhere: latitude.")
@click.option("--lon", type=float, help="Start elsewhere: longitude.")
@click.option("--name", default="", help="Keep the round under this name.")
@click.option("--gpx", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Write it for a hand-held.")
@click.option("--ics", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Write it for a calendar.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Write the sheet to print.")
@click.option("--csv", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Write a table to fill in.")
@click.option("--true-places", is_flag=True, help="Tell sensitive sites where they are; only if you may decide that.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def rounds(
    day: str | None,
    days: int,
    people: str,
    on_foot: bool,
    which: str,
    sites: tuple[str, ...],
    leave: tuple[str, ...],
    away: str,
    ahead: int,
    lat: float | None,
    lon: float | None,
    name: str,
    gpx: Path | None,
    ics: Path | None,
    pdf: Path | None,
    csv: Path | None,
    true_places: bool,
    as_json: bool,
) -> None:
    """Say who is due for a visit and by when, or plan a round for a day.

    What a visit saves is counted in camera-days until somebody comes again. In the files
    and in --json, where a sensitive site lies, and the times, ways and order that would tell it, are left out unless
    you say otherwise.

    \b
    Examples:
      trod rounds
      trod rounds --day 2026-10-17 --people "Ada, Ben" --pdf sheet.pdf --gpx round.gpx
      trod rounds --day 2026-10-17 --which all --name "West side"
    \b
    Exit statuses:
      0  done
      2  the command line was wrong
      3  it could not be planned; the message says why and what next

    --json gives: due (site, cameras, why, go_by, chance, saves_days), best_day, sentence; with --day also plan.
    """
    from trod.catalogue.start import ready

    ready("trod rounds")
    from datetime import UTC, datetime

    from trod import clock
    from trod.catalogue.forecasts import forecasts
    from trod.catalogue.models import Reserve, Round
    from trod.catalogue.rounds import round_papers
    from trod.catalogue.rounds import rounds as planning
    from trod.catalogue.who import machine_person
    from trod.errors import WrongInput
    from trod.field import round_sheet
    from trod.leaving.rounds import plain
    from trod.telling import ways
    from trod.units import system_of

    if day is None and (name or any((gpx, ics, pdf, csv))):
        raise click.UsageError("A file or a name needs a round: give --day.")
    for path in (gpx, ics, pdf, csv):  # before the round is kept, so that trying again keeps it once
        if path is not None and not path.absolute().parent.is_dir():
            raise WrongInput("file", got=str(path), needed="a name in a folder that is there")
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        raise WrongInput("reserve", got="none", needed="a reserve with cameras; begin with: trod serve")
    now = datetime.now(UTC)
    today = clock.local(now, reserve.zone).date()
    if forecasts.kept(reserve, now).stale:
        forecasts.make(reserve, now)
    if day is None:
        _tell_due(reserve, now, today, ahead, as_json)
        return
    wish = _wish(reserve, today, day, days, people, on_foot, which, sites, leave, away, ahead, lat, lon, name)
    planned = planning.plan(reserve, wish, now)
    row = Round(reserve=reserve)
    if name:
        row = planning.keep(reserve, wish, planned, by=machine_person(), now=now)
    else:  # on paper alone
        row = planning.unsaved(reserve, wish, planned, now)
    written = []
    sheet = round_papers.sheet(row, units=reserve.units, true_places=true_places)
    papers: tuple[tuple[Path | None, Callable[[], bytes]], ...] = (
        (gpx, lambda: round_papers.gpx_of(row, true_places=true_places).encode()),
        (ics, lambda: round_papers.calendar_of(row, true_places=true_places, now=now).encode()),
        (pdf, lambda: round_sheet.round_sheet_pdf(sheet)),
        (csv, lambda: round_sheet.round_sheet_csv(sheet).encode("utf-8-sig")),
    )
    for path, made in papers:
        if path is not None:
            write(path, made())
            written.append(str(path))
    if as_json:
        made_fit = plain(round_papers.fit_of(row, true_places=true_places))
        told = {"round": str(row.uuid) if name else None, "plan": made_fit, "written": written}
        told["assumed"] = list(ways.supposed(planned.supposed, planned.plan.ways, system_of(reserve.units)))
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    _tell_plan(planned, reserve.units)
    if name:
        click.echo(f"Kept as the round {row.name}. For a phone:")
        click.echo(f"  trod fieldform --round {json.dumps(row.name, ensure_ascii=False)} --out FILE.html")
    for path_told in written:
        click.echo(f"Written: {path_told}")


def _wish(
    reserve: Any,
    today: Any,
    day: str,
    days: int,
    people: str,
    on_foot: bool,
    which: str,
    sites: tuple[str, ...],
    leave: tuple[str, ...],
    away: str,
    ahead: int,
    lat: float | None,
    lon: float | None,
    name: str,
) -> Any:
    import re
    from datetime import date

    from trod.catalogue.rounds.wishes import Wish
    from trod.errors import WrongInput
    from trod.report import sentences

    try:
        first = date.fromisoformat(day)
    except ValueError:
        raise click.BadParameter(f"{day!r}: needed is a day like {today}", param_hint="--day") from None
    clock = r"(\d|[01]\d|2[0-4])[:.]([0-5]\d)"
    hours = re.fullmatch(rf"{clock}\s*(?:-|–|to)\s*{clock}", away.strip(), flags=re.ASCII)
    if hours is None:
        raise click.BadParameter(f"{away!r}: needed are two times like 8:00-17:00", param_hint="--away")
    if (lat is None) != (lon is None):
        raise click.UsageError("Give both --lat and --lon, or neither.")

    def slug(given: str) -> str:
        found = reserve.sites.filter(slug=given).first() or reserve.sites.filter(name__iexact=given).first()
        if found is None:
            known = ", ".join(reserve.sites.filter(retired=False).values_list("name", flat=True)[:20])
            raise WrongInput("site", got=given[:60], needed=f"one of {known}")
        return str(found.slug)

    return Wish(
        name=" ".join(str(sentences.clean(name)).split()) or f"Round of {wording.day_month(first)}",
        first=first,
        days=days,
        people=str(sentences.clean(people)),
        by_car=not on_foot,
        which=which,
        must=tuple(slug(s) for s in sites),
        leave=tuple(slug(s) for s in leave),
        from_min=int(hours[1]) * 60 + int(hours[2]),
        to_min=int(hours[3]) * 60 + int(hours[4]),
        next_days=ahead,
        start_latitude=lat,
        start_longitude=lon,
    )


def _tell_due(reserve: Any, now: Any, today: Any, ahead: int, as_json: bool) -> None:
    from trod.catalogue.rounds import due as dues

    found = dues.due(reserve, now, days=[today], next_days=ahead)
    best, why = dues.best_day(reserve, found, now)
    if as_json:
        told = {
            "best_day": best.isoformat() if best else None,
            "sentence": why,
            "ahead_days": ahead,
            "due": [
                {
                    "site": d.site.name,
                    "key": d.site.slug,
                    "cameras": [str(x.camera) for x in d.deployments],
                    "why": list(d.why),
                    "work": list(d.work),
                    "go_by": d.go_by.isoformat() if d.go_by else None,
                    "chance": d.chance(today),
                    "saves_days": max(d.saves, default=0.0),
                    "stopped": d.stopped,
                }
                for d in found
            ],
        }
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    if not found:
        click.echo("No camera stands anywhere, so nobody is due for a visit.")
        return
    if why:
        click.echo(why)
    wide = max(len(d.site.name) for d in found)
    click.echo(f"{'site':<{wide}}  {'go by':<11}  {'saves':>5}  why")
    for d in found:
        saves = max(d.saves, default=0.0)
        by = d.go_by.isoformat() if d.go_by else "–"
        number = wording.days_number(saves) if saves >= 0.05 else "–"
        click.echo(f"{d.site.name:<{wide}}  {by:<11}  {number:>5}  {'; '.join(d.why[:2])}")
    click.echo(f"A visit today saves so many camera-days until somebody comes again after {ahead} days.")


def _tell_plan(planned: Any, units: str) -> None:
    from trod.field import round_sheet
    from trod.planning.visit.kit import FOR_SITES
    from trod.telling import kit, measures, ways
    from trod.telling import rounds as told
    from trod.units import system_of

    system = system_of(units)
    click.echo(told.sentence(planned.plan, system))
    for n, trip in enumerate(planned.plan.trips):
        day = wording.weekday_day(trip.day)
        light = f"; {told.light(planned.light[n])}" if n < len(planned.light) else ""
        lengths = [
            f"{measures.way(metres, system)} {how}"
            for metres, how in ((trip.walk_m, "on foot"), (trip.drive_m, "by car"))
            if metres >= 10
        ]
        times = f"{round_sheet.clock(trip.leave)} to {round_sheet.clock(trip.home)}"
        click.echo(f"\n{day}, {trip.party.name}: {', '.join([times, *lengths])}{light}")
        for v in trip.visits:
            click.echo(f"  {v.number:>2}  {round_sheet.clock(v.arrive):>5}  {v.stop.name}: {v.stop.why}")
            for what in v.stop.work:
                click.echo(f"             - {what}")
        carry = [f"{i.what}: {i.number}" for i in kit.items(planned.kits[n]) if i.group in FOR_SITES]
        if carry:
            click.echo(f"  carry: {'; '.join(carry)}")
    if planned.plan.left_out:
        click.echo("\nLeft for another time:")
        for left in planned.plan.left_out:
            click.echo(f"  {left.stop.name}: {told.left_out(left, system)}")
    click.echo("")
    for words in ways.supposed(planned.supposed, planned.plan.ways, system):
        click.echo(words)
    click.echo("\nTell somebody your way and when you will be back. Times are plans, not duties.")


def write(path: Path, data: bytes) -> None:
    """Write a file whole or not at all. Raises ArchiveUnwritable when the place refuses."""
    from trod.errors import ArchiveUnwritable

    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as trouble:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise ArchiveUnwritable(f"{path}: {trouble.strerror or trouble}. Choose another place.") from trouble
