"""The rate month by month, and the last two years that watched the same months.

What waits for review is not counted as nothing: the effort of a month is taken by the share of its sequences that was
reviewed, each site's day and night for itself (`reviewing.Reviewed`). A month of which nothing was reviewed has no rate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from trod.findings import localtime, rates
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.rates import Days, Interval, Seen
from trod.findings.runs import Scatter

# A month with less effort than this says nothing; it is listed without a rate.
FEWEST_DAYS = 1.0


@dataclass(frozen=True, kw_only=True)
class MonthRate:
    """One month: detections, camera-days, and the rate per 100 of them with its intervals.

    share : of the effort, how much stands behind the detections found; the rest waits for review. rate, exact, shown
    are None in a month with under a day of reviewed effort.
    """

    month: date
    detections: tuple[Detection, ...]
    effort_days: float
    share: float
    rate: float | None
    exact: Interval | None
    shown: Interval | None


def monthly(
    found: Sequence[Detection],
    effort: Effort,
    zone: str,
    scatter: Scatter | None = None,
    shares: Mapping[date, float] | None = None,
) -> tuple[MonthRate, ...]:
    """Every month from the first with effort or a detection to the last, those without effort included.

    scatter : how the weeks of the whole record scatter (`asking.scatter_of`). One month has too few weeks to tell
    how detections run, so all months take it from the record; a season in it is taken for runs, which makes the
    months' intervals too wide rather than too narrow.
    shares : of each month's effort, how much was reviewed; 1 where it is not named.
    """
    by_month: dict[date, list[Detection]] = {}
    months_found = localtime.months_of([p.utc_s for p in found], zone)
    for detection, month in zip(found, months_found, strict=True):
        by_month.setdefault(month, []).append(detection)
    known = sorted(set(by_month) | set(effort.by_month))
    if not known:
        return ()
    out = []
    for month in localtime.months_between(known[0], known[-1]):
        here = tuple(by_month.get(month, []))
        days = effort.by_month.get(month, 0.0)
        share = (shares or {}).get(month, 1.0)
        value = exact = shown = None
        if days * share >= FEWEST_DAYS:
            count = sum(1 for detection in here if effort.by_site.get(detection.site, 0.0) > 0)
            _, exact = rates.exact_rate(count, days * share)
            value, shown = _limited(count, days * share, effort, month, scatter)
        out.append(
            MonthRate(month=month, detections=here, effort_days=days, share=share, rate=value, exact=exact, shown=shown)
        )
    return tuple(out)


def _limited(
    count: int, days: float, effort: Effort, month: date, scatter: Scatter | None
) -> tuple[float | None, Interval | None]:
    """The rate of a month with its interval; none where too little of it is known to have been watched."""
    whole = effort.by_month[month]
    proven, possible = (
        sum(of for (_, when), of in ends.items() if when == month) * days / whole
        for ends in (effort.proven, effort.possible)
    )
    known = Days(counted=days, proven=proven, possible=possible)
    if known.tell_too_little:
        return None, None
    return rates.limited(Seen.whole(count), known, scatter)


def same_months(rows: Sequence[MonthRate]) -> Mapping[int, tuple[date, ...]]:
    """Per year, the calendar months that both of the last two years that share any have watched. Empty without."""
    watched = {row.month for row in rows if row.rate is not None}
    years = sorted({month.year for month in watched})
    for late in reversed(years):
        for early in reversed([y for y in years if y < late]):
            shared = sorted(m.month for m in watched if m.year == late and date(early, m.month, 1) in watched)
            if shared:
                return {year: tuple(date(year, number, 1) for number in shared) for year in (early, late)}
    return {}
