"""What each deployment's events come to, day by day: for the ribbons, the list of cameras and Today's needs.

One grouped query tells for all deployments whether anything changed; only those that did are computed anew
from their events. So a page costs the same whether there are a thousand pictures or a million.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import Count, Max, Min, Sum

from trod import watch
from trod.pictures import timeline as timelines
from trod.web.catalogue import watched
from trod.web.catalogue.watched import Came
from trod.web.models import Deployment, Event, Intake, Reserve, Visit

DAY_S = 86_400.0
MOST_KEPT = 5000


@dataclass(frozen=True)
class Summary:
    """One deployment, up to now.

    by_day : (local day, events, pictures), days with any, in order; time-lapse frames are no events.
    first_at, last_at : of its pictures. known_to : up to when its pictures are at home; None: nothing is yet.
    gaps, doubts : (from, to, reason); doubts may be no gaps. days_watched : camera-days up to known_to.
    """

    deployment: int
    by_day: tuple[tuple[date, int, int], ...] = ()
    events: int = 0
    pictures: int = 0
    first_at: datetime | None = None
    last_at: datetime | None = None
    known_to: datetime | None = None
    gaps: tuple[tuple[datetime, datetime, str], ...] = ()
    doubts: tuple[tuple[datetime, datetime, str], ...] = ()
    days_watched: float = 0.0

    @property
    def events_per_day(self) -> float | None:
        return self.events / self.days_watched if self.days_watched > 0 else None


_known: dict[int, tuple[Any, Summary]] = {}
_lock = threading.Lock()


def seconds(column: str) -> str:
    """An SQL expression: a time column as Unix seconds."""
    if connection.vendor == "sqlite":
        # 2440587.5 is 1970-01-01 00:00 UTC. A Julian day in a float is only good to some 20 µs; without rounding
        # an event could fall before the very moment it began.
        return f"ROUND((julianday({column}) - 2440587.5) * 86400.0, 3)"
    return f"EXTRACT(EPOCH FROM {column})::float8"


def _events(deployment: int) -> list[tuple[float, float, int, bool]]:
    """A deployment's events as (start, end, frames, time lapse). [Unix s]"""
    columns = f"{seconds('start_at')}, {seconds('end_at')}, frames, time_lapse"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {columns} FROM trod_event WHERE deployment_id = %s ORDER BY start_at",
            [deployment],
        )
        return cursor.fetchall()


def visits_by_deployment(deployments: Iterable[int]) -> dict[int, list[Visit]]:
    """Visits of these deployments, oldest first."""
    found: dict[int, list[Visit]] = {}
    for visit in Visit.objects.filter(deployment__in=list(deployments)).order_by("at"):
        found.setdefault(visit.deployment_id, []).append(visit)
    return found


def summaries(
    deployments: Iterable[Deployment],
    reserve: Reserve | None,
    now: datetime,
    visits: dict[int, list[Visit]] | None = None,
) -> dict[int, Summary]:
    """A summary for each deployment, by its number. A fixed number of queries, and one for each "
    "that changed."""
    deployments = list(deployments)
    if not deployments:
        return {}
    zone = reserve.zone if reserve else "UTC"
    numbers = [d.pk for d in deployments]
    if visits is None:
        visits = visits_by_deployment(numbers)
    totals = {
        row["deployment"]: row
        for row in Event.objects.filter(deployment__in=numbers)
        .order_by()
        .values("deployment")
        .annotate(
            n=Count("id"), last_id=Max("id"), frames=Sum("frames"), first=Min("start_at"), last=Max("end_at")
        )
    }
    homes: dict[int, datetime] = {}
    for number, at in Intake.objects.filter(deployment__in=numbers, state=Intake.State.WHOLE).values_list(
        "deployment", "started_at"
    ):
        homes[number] = max(at, homes.get(number, at))
    out = {}
    for d in deployments:
        came = tuple(
            Came(at=v.at, arrival=v.arrival, card_out=v.card_out_id is not None) for v in visits.get(d.pk, ())
        )
        key = (
            zone,
            d.start,
            d.end,
            d.time_lapse_h,
            homes.get(d.pk),
            tuple((totals.get(d.pk) or {}).values()),
            came,
        )
        held = _known.get(d.pk)
        if held is None or held[0] != key:
            held = (key, _compute(d, zone, homes.get(d.pk), came, d.pk in totals))
            with _lock:
                if len(_known) >= MOST_KEPT:
                    _known.clear()
                _known[d.pk] = held
        out[d.pk] = held[1]
    return out


def _compute(
    d: Deployment, zone: str, home: datetime | None, came: tuple[Came, ...], has_events: bool
) -> Summary:
    rows = _events(d.pk) if has_events else []
    last_s = max((row[1] for row in rows), default=None)
    known_s = watched.known_to(end=d.end, home=home, visits=came, last_s=last_s)
    if known_s is None:
        return Summary(d.pk)
    starts = np.array([row[0] for row in rows], dtype=float)
    ends = np.array([row[1] for row in rows], dtype=float)
    frames = np.array([row[2] for row in rows], dtype=int)
    lapse = np.array([bool(row[3]) for row in rows], dtype=bool)
    by_day: tuple[tuple[date, int, int], ...] = ()
    if rows:
        cuts = watch.day_starts_s(float(starts.min()), float(starts.max()) + 1, zone)
        events = np.histogram(starts[~lapse], bins=cuts)[0]
        shots = np.histogram(starts, bins=cuts, weights=frames)[0].astype(int)
        dates = [watch.local(datetime.fromtimestamp(cut, UTC), zone).date() for cut in cuts[:-1]]
        by_day = tuple((day, int(e), int(p)) for day, e, p in zip(dates, events, shots, strict=True) if e or p)
    gaps: tuple[tuple[datetime, datetime, str], ...] = ()
    doubts: tuple[tuple[datetime, datetime, str], ...] = ()
    days = 0.0
    line = watched.line(
        start=d.start,
        known_s=known_s,
        times=watched.Times(starts=starts, ends=ends, lapse=lapse),
        time_lapse_h=d.time_lapse_h,
        visits=came,
        zone=zone,
    )
    if line is not None:
        gaps, doubts, days = _told(line.gaps), _told(line.doubts), line.days
    return Summary(
        deployment=d.pk,
        by_day=by_day,
        events=int((~lapse).sum()) if rows else 0,
        pictures=int(frames.sum()) if rows else 0,
        first_at=_instant(float(starts.min())) if rows else None,
        last_at=_instant(last_s) if last_s is not None else None,
        known_to=_instant(known_s),
        gaps=gaps,
        doubts=doubts,
        days_watched=days,
    )


def _instant(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def _told(gaps: Iterable[timelines.Gap]) -> tuple[tuple[datetime, datetime, str], ...]:
    # Less than half a day is the ordinary silence before a card is pulled.
    return tuple((_instant(g.from_s), _instant(g.to_s), g.reason) for g in gaps if g.days >= 0.5)
