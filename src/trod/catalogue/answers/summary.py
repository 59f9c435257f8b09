"""What each deployment's sequences come to, day by day.

For the activity timelines, the list of cameras and Today's needs.

It is read from the daily sums that are kept (`catalogue.rows.rollups`), and held in memory as long as their revision
stands; only a deployment whose sums cannot be trusted is counted from its sequences. So a page costs the same whether
there are a thousand pictures or a million.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import connection
from django.db.models import Count, Max, Min, Sum

from trod.catalogue.models import DaySum, Deployment, Reserve, Sequence, Visit
from trod.catalogue.rows import rollups, watched
from trod.catalogue.rows.watched import Rests
from trod.findings.watching import Stretch, Watching

DAY_S = 86_400.0
MOST_KEPT = 5000


@dataclass(frozen=True)
class Summary:
    """One deployment, up to now.

    by_day : (local day, sequences, pictures), days with any, in order; time-lapse frames are no sequences.
    first_at, last_at : of its pictures. known_to : up to when its pictures are at home; None: nothing is yet.
    lost, open : (from, to, reason) of what was not watched, and of what nobody knows. days_watched : camera-days that
    count up to known_to; proven_days : beyond doubt; open_days : of what nobody knows.
    """

    deployment: int
    by_day: tuple[tuple[date, int, int], ...] = ()
    sequences: int = 0
    pictures: int = 0
    first_at: datetime | None = None
    last_at: datetime | None = None
    known_to: datetime | None = None
    lost: tuple[tuple[datetime, datetime, str], ...] = ()
    open: tuple[tuple[datetime, datetime, str], ...] = ()
    days_watched: float = 0.0
    proven_days: float = 0.0
    open_days: float = 0.0

    @property
    def sequences_per_day(self) -> float | None:
        return self.sequences / self.days_watched if self.days_watched > 0 else None


_known: dict[int, tuple[Any, Summary]] = {}
_lock = threading.Lock()


def seconds(column: str) -> str:
    """An SQL expression: a time column as Unix seconds."""
    if connection.vendor == "sqlite":
        # 2440587.5 is 1970-01-01 00:00 UTC. A Julian day in a float is only good to some 20 µs; without rounding
        # a sequence could fall before the very moment it began.
        return f"ROUND((julianday({column}) - 2440587.5) * 86400.0, 3)"
    return f"EXTRACT(EPOCH FROM {column})::float8"


def visits_by_deployment(deployments: Iterable[int]) -> dict[int, list[Visit]]:
    """Visits of these deployments, oldest first."""
    found: dict[int, list[Visit]] = {}
    for visit in Visit.objects.filter(deployment__in=list(deployments)).order_by("at"):
        found.setdefault(visit.deployment_id or 0, []).append(visit)
    return found


def summaries(
    deployments: Iterable[Deployment],
    reserve: Reserve | None,
) -> dict[int, Summary]:
    """A summary for each deployment, by its number.

    A fixed number of queries, and one for each that is to be counted afresh.
    """
    deployments = list(deployments)
    if not deployments:
        return {}
    zone = reserve.zone if reserve else "UTC"
    numbers = [d.pk for d in deployments]
    kept = rollups.kept(numbers, zone)
    totals: dict[int, tuple[Any, ...]] = {number: ("kept", row.times) for number, row in kept.items()}
    if len(kept) < len(numbers):
        totals |= _counted([number for number in numbers if number not in kept])
    every = watched.rests_on(deployments, zone)
    out, stale = {}, []
    for d in deployments:
        rests = every[d.pk]
        key = (rests, totals.get(d.pk, ()))
        held = _known.get(d.pk)
        if held is not None and held[0] == key:
            out[d.pk] = held[1]
        else:
            stale.append((d.pk, rests, key))
    if stale:
        of_kept = [number for number, _, _ in stale if number in kept]
        days, lines = (_days(of_kept), rollups.lines(of_kept)) if of_kept else ({}, {})
        for number, rests, key in stale:
            row = kept.get(number)
            if row is None:
                made = _compute(number, rests)
            else:
                known_s, line = rollups.line_of(number, rests, row, lines.get(number, ""))
                of = tuple(days.get(number, ()))
                made = _summary(number, known_s, line, of, row.sequences, row.pictures, row.first_at, row.last_at)
            out[number] = made
            with _lock:
                if len(_known) >= MOST_KEPT:
                    _known.clear()
                _known[number] = (key, made)
    return out


def _counted(numbers: list[int]) -> dict[int, tuple[Any, ...]]:
    """What shows whether the sequences of these deployments changed: a grouped query over all of them."""
    rows = Sequence.objects.filter(deployment__in=numbers).order_by().values("deployment")
    counted = rows.annotate(
        n=Count("id"), last_id=Max("id"), frames=Sum("frames"), first=Min("start_at"), last=Max("end_at")
    )
    return {row[0]: row[1:] for row in counted.values_list("deployment", "n", "last_id", "frames", "first", "last")}


def _days(numbers: list[int]) -> dict[int, list[tuple[date, int, int]]]:
    """The kept days of these deployments, in order."""
    found: dict[int, list[tuple[date, int, int]]] = {}
    rows = DaySum.objects.filter(deployment__in=numbers).order_by("deployment", "day")
    for number, day, sequences, pictures in rows.values_list("deployment", "day", "sequences", "pictures"):
        found.setdefault(number, []).append((day, sequences, pictures))
    return found


def _compute(number: int, rests: Rests) -> Summary:
    """A summary counted from sequences."""
    rows = rollups.read(Sequence.objects.filter(deployment=number))
    known_s, line = rollups.work_out(number, rests, rows)
    days = tuple((one.day, one.sequences, one.pictures) for one in rollups.count_days(number, rows, {}, rests.zone))
    ends = bool(len(rows.starts))
    return _summary(
        number,
        known_s,
        line,
        days,
        int((~rows.lapse).sum()),
        int(rows.frames.sum()),
        _instant(float(rows.starts.min())) if ends else None,
        _instant(float(rows.ends.max())) if ends else None,
    )


def _summary(
    number: int,
    known_s: float | None,
    line: Watching | None,
    days: tuple[tuple[date, int, int], ...],
    sequences: int,
    pictures: int,
    first_at: datetime | None,
    last_at: datetime | None,
) -> Summary:
    if known_s is None:
        return Summary(number)
    return Summary(
        deployment=number,
        by_day=days,
        sequences=sequences,
        pictures=pictures,
        first_at=first_at,
        last_at=last_at,
        known_to=_instant(known_s),
        lost=_told(line.lost) if line else (),
        open=_told(line.open) if line else (),
        days_watched=line.days if line else 0.0,
        proven_days=line.proven_days if line else 0.0,
        open_days=line.open_days if line else 0.0,
    )


def _instant(at_s: float) -> datetime:
    return datetime.fromtimestamp(at_s, UTC)


def _told(stretches: Iterable[Stretch]) -> tuple[tuple[datetime, datetime, str], ...]:
    # Less than half a day is the ordinary silence before a card is pulled.
    return tuple((_instant(g.from_s), _instant(g.to_s), g.reason) for g in stretches if g.days >= 0.5)
