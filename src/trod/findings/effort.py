"""How long was watched: camera-days, and the site-days that rates rest on; in all, by site, by month, by both.

A camera-day is 86 400 seconds of one camera watching: two cameras at one site for a day are two. A site-day is as long
of a site watched by one camera or more, for a second camera does not halve what comes to a site.
Months are the reserve's own calendar months, so a change to summer time neither adds nor loses effort.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np

from trod.findings import localtime
from trod.findings.localtime import Floats
from trod.findings.observations import Selection, Span, joined, without

DAY_S = 86_400.0


@dataclass(frozen=True, kw_only=True)
class Effort:
    """What was watched of a selection. Keys sorted; a site without effort is there with 0.

    camera_days, by_site, by_month, by_site_month : camera-days that count.
    site_days, site_days_by_site, site_days_by_site_month : site-days that count.
    proven, possible : site-days by site and month; without and with all the time of which nobody knows whether it was
    watched.
    """

    camera_days: float
    by_site: Mapping[str, float]
    by_month: Mapping[date, float]
    by_site_month: Mapping[tuple[str, date], float]
    gap_days_by_site: Mapping[str, float]
    site_days: float
    site_days_by_site: Mapping[str, float]
    site_days_by_site_month: Mapping[tuple[str, date], float]
    proven: Mapping[tuple[str, date], float]
    possible: Mapping[tuple[str, date], float]

    @property
    def doubled(self) -> tuple[str, ...]:
        """Sites at which two cameras or more watched at once."""
        return tuple(s for s, days in self.by_site.items() if days > self.site_days_by_site.get(s, 0.0) + 1e-6)

    @property
    def proven_days(self) -> float:
        """With the open time not counted."""
        return sum(self.proven.values())

    @property
    def possible_days(self) -> float:
        """With the open time counted."""
        return sum(self.possible.values())

    def ends(
        self, share: Callable[[tuple[str, date]], float] = lambda place: 1.0, month: date | None = None
    ) -> tuple[float, float, float]:
        """Site-days that count, proven and possible ones; of one month, or of all.

        share : of the days of each site and month, how much to take.
        """
        counted, proven, possible = (
            sum(days * share(place) for place, days in of.items() if month is None or place[1] == month)
            for of in (self.site_days_by_site_month, self.proven, self.possible)
        )
        return counted, proven, possible

    def to_dict(self) -> dict[str, object]:
        """Plain values in a fixed order, for JSON."""
        return {
            "camera_days": self.camera_days,
            "site_days": self.site_days,
            "proven_days": self.proven_days,
            "possible_days": self.possible_days,
            "sites": len([site for site, days in self.by_site.items() if days > 0]),
            "by_site": dict(self.by_site),
            "site_days_by_site": dict(self.site_days_by_site),
            "by_month": {month.isoformat()[:7]: days for month, days in self.by_month.items()},
            "gap_days": sum(self.gap_days_by_site.values()),
        }


def effort(selection: Selection) -> Effort:
    """Camera-days and site-days of the selection, in all the ways questions need them."""
    zone = selection.reserve.zone
    by_site: dict[str, float] = dict.fromkeys(selection.sites, 0.0)
    gaps: dict[str, float] = dict.fromkeys(selection.sites, 0.0)
    by_site_month: dict[tuple[str, date], float] = {}
    for site, spans in selection.watched.values():
        for start, end in spans:
            by_site[site] = by_site.get(site, 0.0) + (end - start) / DAY_S
            for month, a, b in months_of_span(start, end, zone):
                by_site_month[site, month] = by_site_month.get((site, month), 0.0) + (b - a) / DAY_S
    for site, gap in selection.gaps:
        gaps[site] = gaps.get(site, 0.0) + (gap.end_s - gap.start_s) / DAY_S
    once = _by_site_month(joined_by_site(selection.watched.values()), zone)
    site_days = dict.fromkeys(selection.sites, 0.0)
    for (site, _), days in once.items():
        site_days[site] = site_days.get(site, 0.0) + days
    proven, possible = _both_ends(selection)
    by_month: dict[date, float] = {}
    for (_, month), days in sorted(by_site_month.items()):
        by_month[month] = by_month.get(month, 0.0) + days
    return Effort(
        camera_days=sum(by_site[site] for site in sorted(by_site)),
        by_site=dict(sorted(by_site.items())),
        by_month=dict(sorted(by_month.items())),
        by_site_month=dict(sorted(by_site_month.items())),
        gap_days_by_site=dict(sorted(gaps.items())),
        site_days=sum(site_days[site] for site in sorted(site_days)),
        site_days_by_site=dict(sorted(site_days.items())),
        site_days_by_site_month=once,
        proven=proven,
        possible=possible,
    )


def _both_ends(selection: Selection) -> tuple[dict[tuple[str, date], float], dict[tuple[str, date], float]]:
    """Site-days by site and month with the open time not counted, and with it."""
    possible: list[tuple[str, tuple[Span, ...]]] = []
    for key in sorted({*selection.watched, *selection.open}):
        site, counted = selection.watched.get(key, ("", ()))
        site, unknown = selection.open.get(key, (site, ()))
        possible.append((site, joined((*counted, *unknown))))
    zone = selection.reserve.zone
    return _by_site_month(proven_by_site(selection), zone), _by_site_month(joined_by_site(possible), zone)


def proven_by_site(selection: Selection) -> dict[str, tuple[Span, ...]]:
    """Per site, the spans in which a camera is known to have watched: what nobody knows of is left out."""
    proven: list[tuple[str, tuple[Span, ...]]] = []
    for key in sorted({*selection.watched, *selection.open}):
        site, counted = selection.watched.get(key, ("", ()))
        site, unknown = selection.open.get(key, (site, ()))
        proven.append((site, without(counted, unknown)))
    return joined_by_site(proven)


def joined_by_site(watched: Iterable[tuple[str, tuple[Span, ...]]]) -> dict[str, tuple[Span, ...]]:
    """Per site, the spans in which one camera or more watched."""
    by_site: dict[str, list[Span]] = {}
    for site, spans in watched:
        by_site.setdefault(site, []).extend(spans)
    return {site: joined(spans) for site, spans in sorted(by_site.items())}


def _by_site_month(spans: Mapping[str, tuple[Span, ...]], zone: str) -> dict[tuple[str, date], float]:
    out: dict[tuple[str, date], float] = {}
    for site, own in spans.items():
        for start, end in own:
            for month, a, b in months_of_span(start, end, zone):
                out[site, month] = out.get((site, month), 0.0) + (b - a) / DAY_S
    return dict(sorted(out.items()))


def months_of_span(start_s: float, end_s: float, zone: str) -> list[tuple[date, float, float]]:
    """A watched span cut at the borders of the reserve's months: (month, from, to) of each piece. [UTC unix s]"""
    parts = []
    month = localtime.month_of(localtime.local_date(start_s, zone))
    while start_s < end_s:
        month_end = localtime.day_start_s(localtime.next_month(month), zone)
        stop = min(end_s, month_end)
        parts.append((month, start_s, stop))
        start_s, month = stop, localtime.next_month(month)
    return parts


def all_spans(selection: Selection) -> tuple[Span, ...]:
    """Every watched span of the selection, one after another, cameras not joined."""
    return tuple(span for _, spans in selection.watched.values() for span in spans)


def possible_at(selection: Selection) -> Callable[[str, float], bool]:
    """A question to ask often: may any camera at a site have watched at an instant?

    What counts as watched, and all the time of which nobody knows. Ends included.
    """
    return _lookup((*selection.watched.values(), *selection.open.values()))


def _lookup(watched: Iterable[tuple[str, tuple[Span, ...]]]) -> Callable[[str, float], bool]:
    merged = joined_by_site(watched)
    starts = {site: [start for start, _ in spans] for site, spans in merged.items()}

    def answer(site: str, utc_s: float) -> bool:
        at = bisect_right(starts.get(site, []), utc_s) - 1
        return at >= 0 and utc_s <= merged[site][at][1]

    return answer


def hours_by_clock(selection: Selection, bins: int = 288) -> Floats:
    """Camera-hours watched in each part of the local clock day.

    bins : parts of the day, of equal length, the first beginning at local midnight.
    Returns (bins,) [h]. The offset from UTC is taken at each piece of a day, so summer time is followed.
    """
    width_s = DAY_S / bins
    out = np.zeros(bins + 1)
    for start, end in all_spans(selection):
        # Whole days spread evenly; the two ragged ends and each change of the offset are done exactly.
        for a, b, offset in _constant_offset(start, end, selection.reserve.zone):
            x0, x1 = (a + offset) / width_s, (b + offset) / width_s
            whole = np.floor((x1 - x0) / bins)
            out[:bins] += whole * width_s
            x1 -= whole * bins
            edges = np.arange(np.floor(x0), np.ceil(x1) + 1)
            pieces = np.diff(np.clip(edges, x0, x1)) * width_s
            np.add.at(out, np.mod(edges[:-1], bins).astype(int), pieces)
    return out[:bins] / 3600.0


def _constant_offset(start_s: float, end_s: float, zone: str) -> list[tuple[float, float, float]]:
    """A span cut where the zone's offset changes: (start, end, offset), found to the quarter hour."""
    first = float(localtime.offsets_s(np.array([start_s]), zone)[0])
    last = float(localtime.offsets_s(np.array([end_s - 1e-3]), zone)[0])
    days = np.arange(start_s, end_s, 7 * DAY_S)
    if first == last and np.all(localtime.offsets_s(days, zone) == first):
        return [(start_s, end_s, first)]
    steps = np.append(np.arange(np.floor(start_s / 900) * 900, end_s, 900.0), end_s)
    offsets = localtime.offsets_s(steps[:-1], zone)
    turns = np.flatnonzero(np.diff(offsets)) + 1
    bounds = [start_s, *steps[turns].tolist(), end_s]
    return [(a, b, float(localtime.offsets_s(np.array([a]), zone)[0])) for a, b in pairwise(bounds) if b > a]
