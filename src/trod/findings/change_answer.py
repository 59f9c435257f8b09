"""Is it changing: the answer by months."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trod import __version__
from trod.errors import NotEnoughEvidence
from trod.findings import asking, rates, wording
from trod.findings import trend as trends
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.finding import Column, Finding
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.trend import MonthRate, Trend

_ALL = Filter()
_PER = "per 100 camera-days"
COLUMNS = (
    Column(key="month", title="Month", kind="date"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="camera_days", title="Camera-days", kind="days"),
    Column(key="rate", title="Rate", kind="rate", unit=_PER),
    Column(key="low", title="From", kind="rate", unit=_PER),
    Column(key="high", title="To", kind="rate", unit=_PER),
    Column(key="exact_low", title="Exact Poisson from", kind="rate", unit=_PER),
    Column(key="exact_high", title="Exact Poisson to", kind="rate", unit=_PER),
)
_ONE_YEAR = (
    "The evidence does not cover the same months of two years, so season and lasting change cannot be told "
    "apart: animals that move with the seasons look the same as animals that grow more or fewer."
)


def change(evidence: Evidence, filter: Filter = _ALL) -> Finding:
    """Whether the rate is changing: rate by month, effort under each, and a plain test of trend.

    Returns a Finding whose `value` is the factor by which the rate changes in a year, or over what was watched when
    season cannot be parted from change (1: no change), or None with the reason among the cautions when no trend
    can be fitted.
    Raises NotEnoughEvidence when no camera watched, or there is but one month of effort.
    """
    selection, found, worked = asking.prepare(evidence, filter)
    zone = selection.reserve.zone
    months = trends.monthly(found, worked, zone, asking.scatter_of(selection, found))
    watched = [row for row in months if row.rate is not None]
    if len(watched) < 2:
        raise NotEnoughEvidence(
            f"{wording.plural(len(watched), 'month', words=True)} with a day of effort or more",
            need="change needs at least two months; widen the period",
        )
    name = asking.who(evidence, filter, found)
    cautions = asking.cautions_of(selection, found)
    trend = None
    try:
        trend = trends.trend(found, worked, zone)
    except NotEnoughEvidence as trouble:
        cautions.append(f"No trend is given: {trouble}.")
    cautions += _cautions(worked, months, trend)

    period = ""
    if selection.first and selection.last:
        period = wording.period(selection.first, selection.last)
    if not found:
        sentence = f"{name} did not come by at all, {period}, so nothing can be said about change."
    elif trend is None:
        sentence = f"Too little is known to say whether {asking.inside(name)} came more or less often, {period}."
    else:
        sentence = _sentence(name, trend, period)
    season = " and each calendar month" if trend and trend.with_season else ""
    return Finding(
        kind="change",
        question="Is it changing?",
        sentence=sentence,
        value=trend.factor if trend else None,
        unit="times as often after one year" if trend is None or trend.with_season else "times as often at its end",
        interval=trend.factor_interval if trend else None,
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=selection.sentence,
        method=(
            "Rates per 100 camera-days by calendar month. Their interval allows for detections that come in runs, as "
            "the weeks of a site scatter over the whole record; the exact Poisson limits (Garwood 1936) beside it "
            "hold only if animals come singly. Trend: log-linear quasi-Poisson regression of detections per site and "
            "month on time, "
            f"effort as exposure, a level for each site{season} (McCullagh & Nelder 1989), with the robust "
            "standard error HC3 (MacKinnon & White 1985) where it is the larger."
        ),
        assumptions=(
            asking.WATCHED,
            asking.STEADY_DETECTION,
            asking.NOT_NUMBERS,
            asking.SHORT_RUNS,
            "The rate changes by the same factor at every site, evenly over time.",
            "Months are independent of one another once site"
            + (", season" if season else "")
            + " and trend are taken out.",
        ),
        cautions=tuple(cautions),
        columns=COLUMNS,
        rows=tuple(_row(row) for row in months),
        series={"trend": _trend(trend), "same_months": _same_months(selection, found, months)},
        made=__version__,
        **asking.opened(found),
    )


def _cautions(worked: Effort, months: Sequence[MonthRate], trend: Trend | None) -> list[str]:
    out = []
    if trend is not None and not trend.with_season:
        out.append(_ONE_YEAR)
    sites = [site for site, days in worked.by_site.items() if days > 0]
    if len(sites) < 3:
        out.append("One or two sites: a fallen tree or a new path at one of them looks like change everywhere.")
    bare = [row for row in months if row.rate is None]
    if bare:
        out.append(
            f"{wording.plural(len(bare), 'month')} with less than a day of effort "
            f"{'has' if len(bare) == 1 else 'have'} no rate."
        )
    partly = {
        row.month
        for row in months
        if row.rate is not None and any(worked.by_site_month.get((site, row.month), 0) <= 0 for site in sites)
    }
    if partly:
        out.append(
            f"In {wording.plural(len(partly), 'month')} not every site was watched; the rate of such a month "
            "also depends on which were. The trend takes that into account, the monthly rates do not."
        )
    return out


def _row(row: MonthRate) -> dict[str, Any]:
    doors = asking.opened(row.detections)
    return {
        "month": row.month.isoformat()[:7],
        "detections": len(row.detections),
        "camera_days": row.effort_days,
        "rate": row.rate,
        "low": row.shown.low if row.shown else None,
        "high": row.shown.high if row.shown else None,
        "level": row.shown.level if row.shown else None,
        "interval_kind": row.shown.kind if row.shown else None,
        "exact_low": row.exact.low if row.exact else None,
        "exact_high": row.exact.high if row.exact else None,
        "pictures": doors["pictures"],
        "sequence_keys": doors["sequences"],
    }


def _trend(trend: Trend | None) -> dict[str, Any] | None:
    if trend is None:
        return None
    return {
        "factor_per_year": trend.factor_per_year,
        "interval": trend.interval,
        "p": trend.p,
        "with_season": trend.with_season,
        "scatter": trend.index,
        "site_months": trend.cells,
        "degrees": trend.degrees,
        "from": trend.first.isoformat()[:7],
        "to": trend.last.isoformat()[:7],
    }


def _same_months(selection: Selection, found: Sequence[Detection], months: Sequence[MonthRate]) -> dict[str, Any] | None:
    """The same calendar months of the last two years that share any, side by side.

    The ratio and its interval allow for runs; they are None, with the reason, where too few weeks tell of them.
    """
    pair = trends.same_months(months)
    if len(pair) != 2 or sum(part[1] for part in pair.values()) == 0:
        return None
    (early, a), (late, b) = sorted(pair.items())
    year_of = {month: year for year, part in pair.items() for month in part[0]}
    scatter = asking.scatter_of(selection, found, part=year_of.get)
    ratio = interval = None
    note = "Allows for detections that come in runs, and speaks of these very sites in these months."
    try:
        ratio, interval = rates.ratio_by_runs(count_a=b[1], effort_a=b[2], count_b=a[1], effort_b=a[2], scatter=scatter)
    except NotEnoughEvidence as trouble:
        note = f"No comparison is given: {trouble}."
    singly = rates.ratio_of_rates(count_a=b[1], effort_a=b[2], count_b=a[1], effort_b=a[2])
    return {
        "earlier": early,
        "later": late,
        "months": [month.month for month in b[0]],
        "earlier_detections": a[1],
        "later_detections": b[1],
        "earlier_camera_days": a[2],
        "later_camera_days": b[2],
        "ratio": ratio,
        "interval": interval,
        "only_if_they_come_singly": singly.interval,
        "note": note,
    }


def _sentence(name: str, trend: Trend, period: str) -> str:
    """The change in words: per year when season is parted, else over what was watched."""
    factor, low, high = trend.factor, trend.factor_interval.low, trend.factor_interval.high
    within = "from year to year, season taken out" if trend.with_season else f"over {period}"
    ends = f"{_factor(low)} to {_factor(high)} times"
    if low <= 1 <= high:
        return (
            f"No clear change in how often {asking.inside(name)} came {within}: the rate became "
            f"{_factor(factor)} times what it was, and anything from {ends} would fit (95 %)."
        )
    word = "more" if factor > 1 else "less"
    return f"{name} came {word} often {within}: the rate became {_factor(factor)} times what it was ({ends}, 95 %)."


def _factor(value: float) -> str:
    return wording.number(value, 2) if value < 1000 else "over a thousand"
