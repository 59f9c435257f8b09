"""The rate month by month, and the last two years that watched the same months.

What waits for review is not counted as nothing: the effort of a month is taken by the share of its sequences that was
reviewed, each site's day and night for itself (`reviewing.Reviewed`). A month of which nothing was reviewed has no rate.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from trod.findings import localtime, rates
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.rates import Days, Interval, Least, Seen
from trod.findings.reviewing import Carried
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


@dataclass(frozen=True, kw_only=True)
class Review:
    """What of the record was reviewed, for rates by month.

    carried : the weights of all detections. whole : the share of a site's month that was reviewed.
    by_content : what was reviewed may have been picked by what is in it; plain : then the scatter of what was found.
    """

    carried: Carried
    whole: Callable[[tuple[str, date]], float]
    by_content: bool
    plain: Scatter | None


def monthly(
    found: Sequence[Detection],
    effort: Effort,
    zone: str,
    scatter: Scatter | None = None,
    review: Review | None = None,
) -> tuple[MonthRate, ...]:
    """Every month from the first with effort or a detection to the last, those without effort included.

    scatter : how the weeks of the whole record scatter (`asking.scatter_of`). One month has too few weeks to tell
    how detections run, so all months take it from the record; a season in it is taken for runs, which makes the
    months' intervals too wide rather than too narrow.
    review : where something waits for review, or could not be named.
    """
    by_month: dict[date, list[int]] = {}
    for n, month in enumerate(localtime.months_of([p.utc_s for p in found], zone)):
        by_month.setdefault(month, []).append(n)
    known = sorted(set(by_month) | set(effort.by_month))
    if not known:
        return ()
    return tuple(
        _month(month, found, by_month.get(month, []), effort, scatter, review)
        for month in localtime.months_between(known[0], known[-1])
    )


def _month(
    month: date,
    found: Sequence[Detection],
    here: Sequence[int],
    effort: Effort,
    scatter: Scatter | None,
    review: Review | None,
) -> MonthRate:
    """here : which of the detections are of this month."""
    counted = [n for n in here if effort.by_site.get(found[n].site, 0.0) > 0]
    every = Days(*effort.ends(month=month))
    seen, days, least, share = Seen.whole(len(counted)), every, None, 1.0
    reviewed_days = every.counted
    if review is not None:
        whole = Days(*effort.ends(review.whole, month))
        reviewed_days = whole.counted
        if counted:
            weights = [float(review.carried.weights[n]) for n in counted]
            seen = Seen(found=len(counted), carried=sum(weights), largest=max(weights), single=review.carried.single)
            days = Days(*effort.ends(lambda place: float(place not in review.carried.left_out), month))
            if review.by_content:
                least = Least(count=len(counted), scatter=review.plain, days=every)
            share = len(counted) / sum(weights)
        else:
            days = whole
            share = whole.counted / every.counted if every.counted > 0 else 1.0
    value = exact = shown = None
    if reviewed_days >= FEWEST_DAYS and not days.tell_too_little:
        exact = rates.singly(seen, days.counted)
        value, shown = rates.limited(seen, days, scatter, least=least)
    return MonthRate(
        month=month,
        detections=tuple(found[n] for n in here),
        effort_days=every.counted,
        share=share,
        rate=value,
        exact=exact,
        shown=shown,
    )


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
