"""When every camera watched, as a record: by deployment and by day, with what nobody knows yet.

Read from the lines that are kept (`catalogue.rows.rollups`), never from pictures.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from trod.catalogue.models import Deployment, Reserve
from trod.catalogue.rows import rollups, watched
from trod.findings import watching
from trod.findings.watching import Day, Watching


@dataclass(frozen=True, kw_only=True)
class Line:
    """One deployment with its time; None where nothing of it is at home."""

    deployment: Deployment
    watching: Watching | None


def lines(
    reserve: Reserve, *, sites: tuple[str, ...] = (), first: date | None = None, last: date | None = None
) -> list[Line]:
    """The deployments of a reserve by site and start, with when each watched.

    A fixed number of queries, and some more for each whose line is to be worked out anew.

    sites : slugs; empty means all. first, last : only deployments that stood on one of these local days.
    """
    rows = Deployment.objects.filter(site__reserve=reserve).select_related("site", "camera")
    if sites:
        rows = rows.filter(site__slug__in=sites)
    found = [
        d
        for d in rows.order_by("site__name", "start", "slug")
        if (last is None or d.start.astimezone(reserve.zone_info).date() <= last)
        and (first is None or d.end is None or d.end.astimezone(reserve.zone_info).date() >= first)
    ]
    rests = watched.rests_on(found, reserve.zone)
    kept, texts = rollups.kept(rests, reserve.zone), rollups.lines(rests)
    return [
        Line(
            deployment=d,
            watching=rollups.line_of(d.pk, rests[d.pk], kept.get(d.pk), texts.get(d.pk, "") if d.pk in kept else "")[1],
        )
        for d in found
    ]


def by_day(every: list[Line], zone: str, *, first: date | None = None, last: date | None = None) -> Iterator[
    tuple[Deployment, Day]
]:  # fmt: skip
    """Every day of every deployment in a period, in the order of the lines."""
    for line in every:
        if line.watching is None:
            continue
        for day in watching.by_day(line.watching, zone):
            if (first is None or day.day >= first) and (last is None or day.day <= last):
                yield line.deployment, day
