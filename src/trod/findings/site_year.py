"""One site's calendar year: what was watched, what came, month by month and week by week."""

from __future__ import annotations

from calendar import isleap
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from trod.findings import effort, localtime
from trod.findings.detections import Detection, detections
from trod.findings.effort import DAY_S
from trod.findings.observations import Evidence, Filter, Selection, Span, cut, joined, select, without

WEEKS = 52  # counted from 1 January; the last has a day or two more


@dataclass(frozen=True, kw_only=True)
class Part:
    """A month, or a week, of the year: its days, and what is known of them.

    watched : site-days that count as watched: proven ones and a part of the open ones. proven : beyond doubt. open : of
    which nobody knows. lost : not watched, though a camera stood there. waiting : sequences that wait for review. [d]
    """

    first: date
    days: int
    watched: float
    proven: float
    open: float
    lost: float
    waiting: int


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of animal: its detections by month (12) and by week (52)."""

    species: str
    name: str
    by_month: tuple[tuple[Detection, ...], ...]
    by_week: tuple[int, ...]

    @property
    def found(self) -> tuple[Detection, ...]:
        return tuple(one for month in self.by_month for one in month)


@dataclass(frozen=True, kw_only=True)
class Quiet:
    """A day or more without a sign of life of a deployment's camera. open : nobody knows whether it watched."""

    deployment: str
    first: date
    last: date
    reason: str
    open: bool


@dataclass(frozen=True, kw_only=True)
class SiteYear:
    """A site's year as facts.

    kinds : by detections, most first. quiet : stretches that reach into the year, by their first day. unnamed :
    sequences with an animal that nobody could name.
    """

    site: str
    year: int
    selection: Selection
    months: tuple[Part, ...]
    weeks: tuple[Part, ...]
    kinds: tuple[Kind, ...]
    quiet: tuple[Quiet, ...]
    unnamed: int

    @property
    def days(self) -> int:
        return 366 if isleap(self.year) else 365

    @property
    def watched(self) -> float:
        """Site-days that count as watched. [d]"""
        return sum(month.watched for month in self.months)


def years(evidence: Evidence, site: str) -> tuple[int, ...]:
    """The years of which a site has anything: watched or open time, or a sequence."""
    own = [d for d in evidence.deployments if d.site == site]
    ends = [at for d in own for span in d.watched for at in span]
    ends += [at for d in own for gap in (*d.open, *d.gaps) for at in (gap.start_s, gap.end_s)]
    ends += [o.utc_s for o in evidence.observations if o.site == site]
    ends += [u.utc_s for u in evidence.unseen if u.site == site]
    if not ends:
        return ()
    first, last = (localtime.local_date(at, evidence.reserve.zone).year for at in (min(ends), max(ends)))
    return tuple(range(first, last + 1))


def site_year(evidence: Evidence, site: str, year: int) -> SiteYear:
    """A site's year, whatever is known of it; a year of which nothing is known has parts of nought."""
    selection = select(evidence, Filter(sites=(site,), first=date(year, 1, 1), last=date(year, 12, 31)))
    found = detections(selection.animals, selection.filter.independence_min)
    zone = selection.reserve.zone
    names = evidence.species_names()
    kinds: dict[str, tuple[list[list[Detection]], list[int]]] = {}
    for one in found:
        day = localtime.local_date(one.utc_s, zone)
        months, weeks = kinds.setdefault(one.species, ([[] for _ in range(12)], [0] * WEEKS))
        months[day.month - 1].append(one)
        weeks[_week(day)] += 1
    starts = [date(year, month, 1) for month in range(1, 13)]
    first = date(year, 1, 1).toordinal()
    week_starts = [date.fromordinal(first + 7 * n) for n in range(WEEKS)]
    end = date(year + 1, 1, 1)
    spans = _spans(selection, site)
    waits = [localtime.local_date(one.utc_s, zone) for one in selection.unseen]
    rows = [
        Kind(species=key, name=names.get(key, key), by_month=tuple(map(tuple, of[0])), by_week=tuple(of[1]))
        for key, of in kinds.items()
    ]
    return SiteYear(
        site=site,
        year=year,
        selection=selection,
        months=_parts(starts, end, spans, waits, zone),
        weeks=_parts(week_starts, end, spans, waits, zone),
        kinds=tuple(sorted(rows, key=lambda kind: (-len(kind.found), kind.name))),
        quiet=_quiet(evidence, site, year),
        unnamed=len({o.sequence for o in selection.others if o.what in ("unknown", "animal")}),
    )


def _quiet(evidence: Evidence, site: str, year: int) -> tuple[Quiet, ...]:
    zone = evidence.reserve.zone
    start, end = localtime.day_start_s(date(year, 1, 1), zone), localtime.day_start_s(date(year + 1, 1, 1), zone)
    out = [
        Quiet(
            deployment=deployment.slug,
            first=localtime.local_date(gap.start_s, zone),
            last=localtime.local_date(gap.end_s, zone),
            reason=gap.reason,
            open=is_open,
        )
        for deployment in evidence.deployments
        if deployment.site == site
        for gaps, is_open in ((deployment.open, True), (deployment.gaps, False))
        for gap in gaps
        if gap.end_s - gap.start_s >= DAY_S and gap.end_s > start and gap.start_s < end
    ]
    return tuple(sorted(out, key=lambda one: (one.first, one.deployment, one.last)))


def _week(day: date) -> int:
    return min((day - date(day.year, 1, 1)).days // 7, WEEKS - 1)


def _spans(selection: Selection, site: str) -> Mapping[str, tuple[Span, ...]]:
    """Watched, open and lost spans of the site: open where no other camera is known to have watched; lost likewise."""
    watched = effort.joined_by_site(selection.watched.values()).get(site, ())
    proven = effort.proven_by_site(selection).get(site, ())
    unknown = joined([span for _, spans in selection.open.values() for span in spans])
    lost = joined([(gap.start_s, gap.end_s) for _, gap in selection.gaps])
    return {
        "watched": watched,
        "proven": proven,
        "open": without(unknown, proven),
        "lost": without(without(lost, watched), unknown),
    }


def _parts(
    starts: list[date], end: date, spans: Mapping[str, tuple[Span, ...]], waits: list[date], zone: str
) -> tuple[Part, ...]:
    out = []
    for first, after in zip(starts, [*starts[1:], end], strict=True):
        a, b = localtime.day_start_s(first, zone), localtime.day_start_s(after, zone)
        lengths = {name: sum(y - x for x, y in cut(own, a, b)) / DAY_S for name, own in spans.items()}
        waiting = sum(first <= day < after for day in waits)
        out.append(Part(first=first, days=(after - first).days, waiting=waiting, **lengths))
    return tuple(out)
