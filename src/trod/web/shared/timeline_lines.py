"""The lines of activity timelines, from deployments with what came, was visited and is foretold."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from trod import clock, wording
from trod.catalogue.answers.summary import Summary
from trod.catalogue.forecasts.forecasts import Forecast
from trod.catalogue.models import Deployment, Visit
from trod.web.shared.timelines import Ahead, Stay, Timeline


def ahead_of(told: Forecast) -> Ahead:
    """A forecast as the activity timeline draws it."""
    if told.found_on is not None:
        return Ahead(told.found_on, (1.0,), None, f"found on {wording.short_day(told.found_on)}: {told.found}")
    return Ahead(told.start, told.stopped, told.early, when(told))


def when(told: Forecast) -> str:
    """When a camera probably stops, in few words: by batteries and card."""
    if told.early is None:
        return "lasts longer than is foretold"
    if told.late is None:
        return f"probably stops after {wording.short_day(told.early)}"
    return f"probably stops {wording.short_day(told.early)} to {wording.short_day(told.late)}"


def timelines(
    deployments: list[Deployment],
    sums: dict[int, Summary],
    visits: dict[int, list[Visit]],
    zone: str,
    first: date,
    today: date,
    foretold: Mapping[str, Forecast] | None = None,
) -> list[Timeline]:
    """One line a site that had a camera in these days. Cameras side by side share the line, their sequences added."""

    def day(when: datetime) -> date:
        return clock.local(when, zone).date()

    by_site: dict[int, list[Deployment]] = {}
    for d in deployments:
        if (d.end is None or day(d.end) >= first) and day(d.start) <= today:
            by_site.setdefault(d.site_id, []).append(d)
    lines = []
    for of in by_site.values():
        counts: dict[date, int] = {}
        stays: list[Stay] = []
        gaps: list[tuple[date, date]] = []
        doubts: list[tuple[date, date]] = []
        ticks: list[date] = []
        for d in of:
            seen = sums[d.pk]
            for on, sequences, _ in seen.by_day:
                counts[on] = counts.get(on, 0) + sequences
            known = day(seen.known_to) if seen.known_to else None
            told = (foretold or {}).get(d.slug) if d.end is None else None
            end, ahead = day(d.end) if d.end else None, ahead_of(told) if told else None
            stays.append(Stay(day(d.start), end, known, str(d.camera), ahead, d.slug))
            # A gap shades only the days that lie in it wholly; the days at its ends had something.
            for stretches, into in ((seen.lost, gaps), (seen.open, doubts)):
                for begin, end, _ in stretches:
                    a, b = day(begin) + timedelta(days=1), day(end) - timedelta(days=1)
                    if b >= a:
                        into.append((a, b))
            ticks += [day(v.at) for v in visits.get(d.pk, ())]
        site = of[0].site
        lines.append(
            Timeline(
                site.name,
                site.get_absolute_url(),
                tuple(stays),
                counts,
                tuple(gaps),
                tuple(doubts),
                tuple(ticks),
            )
        )
    return sorted(lines, key=lambda line: line.name.casefold())
