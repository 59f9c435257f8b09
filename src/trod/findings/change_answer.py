"""Is it changing: what happened in this record, what lasts beyond good and bad years, and the rate month by month."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from trod import __version__, wording
from trod.errors import NotEnoughEvidence
from trod.findings import asking, change_told, comparing, line_ups, months, reviewing, yearly
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.finding import Column, Finding
from trod.findings.line_ups import Watched
from trod.findings.months import MonthRate
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.rates import LEVEL, Interval
from trod.findings.reviewing import Reviewed
from trod.findings.yearly import YearlyChange
from trod.findings.yearly_fit import Factor

_ALL = Filter()
_PER = "per 100 camera-days"
COLUMNS = (
    Column(key="month", title="Month", kind="date"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="camera_days", title="Camera-days", kind="days"),
    Column(key="reviewed", title="Reviewed", kind="share"),
    Column(key="rate", title="Rate", kind="rate", unit=_PER),
    Column(key="low", title="From", kind="rate", unit=_PER),
    Column(key="high", title="To", kind="rate", unit=_PER),
    Column(key="exact_low", title="Exact Poisson from", kind="rate", unit=_PER),
    Column(key="exact_high", title="Exact Poisson to", kind="rate", unit=_PER),
)
LASTING = "lasting: good and bad years allowed for"
HAPPENED = "in this record: the luck of months allowed for, not that of years"
UNIT = "times as often each year"
_METHOD = (
    "Detections of each site, line-up of cameras and month are fitted together (penalised quasi-Poisson, McCullagh & "
    "Nelder 1989): a level for each line-up, a season common to all and one of its own, a drift of its own. What is "
    "left of each month's common level carries the change; luck that all share in a month, and that goes on into the "
    "next, is integrated out, and for what lasts also the luck of years, by the stated allowance. The factor is the "
    "middle of what fits, its ends hold 95 % of it. Rates by month allow for detections that come in runs; the exact "
    "Poisson limits (Garwood 1936) beside them hold only if animals come singly."
)
_ASSUMES = (
    "Each year changes the rate by the same factor; a crash that has mended since is told as little change.",
    "A camera of one line-up sees as well at the end as at the beginning: cover, battery and lens as they were.",
)


def change(evidence: Evidence, filter: Filter = _ALL) -> Finding:
    """Whether the rate is changing: two yearly factors in plain words, and the rate by month with its effort.

    Returns a Finding whose `value` is the lasting factor per year (1: no change), with what happened in this record
    among `other_intervals`; both None with the reason in the sentence where no factor can be told.
    Raises NotEnoughEvidence when no camera watched, or there is but one month of effort.
    """
    selection, found, worked = asking.prepare(evidence, filter)
    reviewed = Reviewed(selection)
    cells = line_ups.watched(selection, found, reviewed)
    rows = _months(selection, found, worked, reviewed)
    watched = [row for row in rows if row.effort_days >= months.FEWEST_DAYS]
    if len(watched) < 2:
        raise NotEnoughEvidence(
            f"{wording.plural(len(watched), 'month', words=True)} with a day of effort or more",
            need="change needs at least two months; widen the period",
        )
    name = asking.who(evidence, filter, found)
    told: YearlyChange | None = None
    trouble: NotEnoughEvidence | None = None
    try:
        told = _judged(selection, found, cells, reviewed)
    except NotEnoughEvidence as why:
        trouble = why
    period = ""
    if selection.first and selection.last:
        period = wording.period(selection.first, selection.last)
    if not found:
        sentence = f"{name} did not come by at all, {period}, so nothing can be said about change."
    elif told is not None:
        sentence = change_told.headline(name, told)
    else:
        assert trouble is not None
        sentence = change_told.refusal(name, trouble)
    outlooks = _outlooks(selection, cells)
    lines = [change_told.rests(told)] if told else []
    if found and (line := change_told.outlook(outlooks, _sites_seen(cells))):
        lines.append(line)
    return Finding(
        kind="change",
        question="Is it changing?",
        sentence=sentence,
        told=tuple(lines),
        value=math.exp(told.lasting.middle) if told else None,
        unit=UNIT,
        interval=_interval(told.lasting, LASTING) if told else None,
        other_intervals=(_interval(told.happened, HAPPENED),) if told else (),
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=selection.sentence,
        method=_METHOD,
        assumptions=(asking.WATCHED, *_ASSUMES, asking.NOT_NUMBERS, asking.SHORT_RUNS),
        cautions=(
            *asking.cautions_of(selection, found, reviewed),
            *_cautions(selection, worked, rows, cells, told, reviewed),
        ),
        columns=_columns(worked, rows),
        rows=tuple(_row(row) for row in rows),
        series={
            "change": _numbers(told, trouble, evidence.reserve.yearly_allowance),
            "outlook": {str(one.years): one.share for one in outlooks},
            "same_months": _same_months(selection, found, rows, reviewed),
        },
        made=__version__,
        **asking.opened(found),
    )


def _judged(selection: Selection, found: Sequence[Detection], cells: Watched, reviewed: Reviewed) -> YearlyChange:
    """Both factors; where it is not known how the reviewed ones were chosen, both ends of what waits are held."""
    allowance = selection.reserve.yearly_allowance
    if cells.record is None:
        raise NotEnoughEvidence("no month was watched for a day and reviewed", need="reviewed months")
    if reviewed.order == "unknown":
        none_left = line_ups.watched(selection, found, reviewed, "as if none").record
        assert none_left is not None  # it has all that the other has
        return yearly.bounded((cells.record, none_left), allowance)
    return yearly.what_the_record_says(cells.record, allowance)


def _months(
    selection: Selection, found: Sequence[Detection], worked: Effort, reviewed: Reviewed
) -> tuple[MonthRate, ...]:
    """The rate of every month, each detection carried up by what of its site, half of the day and month was reviewed."""
    plain = asking.scatter_of(selection, found)
    if reviewed.complete():
        return months.monthly(found, worked, selection.reserve.zone, plain)
    carried = reviewing.carried(selection, found, reviewed, watched=worked.possible)
    review = months.Review(
        carried=carried,
        whole=lambda place: reviewed.whole(*place),
        by_content=reviewed.order != "time",
        plain=plain,
    )
    scatter = asking.scatter_of(selection, found, carried=carried)
    return months.monthly(found, worked, selection.reserve.zone, scatter, review)


def _interval(factor: Factor, kind: str) -> Interval:
    return Interval(low=math.exp(factor.low), high=math.exp(factor.high), level=LEVEL, kind=kind)


def _sites_seen(cells: Watched) -> int:
    if cells.record is None:
        return 0
    return len(np.unique(cells.record.sites[cells.record.cells.seen > 0]))


def _outlooks(selection: Selection, cells: Watched) -> tuple[change_told.Outlook, ...]:
    """What sites like these would show in years to come, told beforehand."""
    if cells.record is None:
        return ()
    record = cells.record.only(yearly.usable(cells.record.cells))
    if not len(record.cells.seen):
        return ()
    halves = 2 if any(unit.half for unit in cells.units) else 1  # day and night of a site are one site's month
    seen = 30.0 * float(record.cells.seen.sum()) / float(record.cells.days.sum()) * halves
    return change_told.outlooks(
        sites=_sites_seen(cells),
        seen_a_month=seen,
        allowance=selection.reserve.yearly_allowance,
        months=yearly.span(record.cells),
    )


def _cautions(
    selection: Selection,
    worked: Effort,
    rows: Sequence[MonthRate],
    cells: Watched,
    told: YearlyChange | None,
    reviewed: Reviewed,
) -> list[str]:
    out = []
    if reviewed.order == "unknown":
        out.append(
            "It is not known how the reviewed sequences were chosen. So the change is told with both ends: as if those "
            "that wait were like the reviewed ones, and as if they held none."
        )
    if told is not None and "one-site" in told.cautions:
        out.append("One site holds more than half of all detections: what changed there looks like change everywhere.")
    if told is not None and "other-sites" in told.cautions:
        out.append("The sites watched at the end are mostly others than those watched at the beginning.")
    changed = sorted(
        {unit.site for unit in cells.units if len({u.line_up for u in cells.units if u.site == unit.site}) > 1}
    )
    if changed:
        names = wording.listed_at_most([selection.evidence.site(site).name for site in changed])
        out.append(
            f"At {names} the cameras changed (another number, model, setting or aim); each line-up has a level of its "
            "own, so only change within one counts."
        )
    if 0 < len([site for site, days in worked.by_site.items() if days > 0]) < yearly.FEWEST_SITES:
        out.append("One or two sites: a fallen tree or a new path at one of them looks like change everywhere.")
    bare = [row for row in rows if row.rate is None]
    if bare:
        out.append(
            f"{wording.plural(len(bare), 'month')} with less than a day of reviewed effort "
            f"{'has' if len(bare) == 1 else 'have'} no rate."
        )
    sites = [site for site, days in worked.by_site.items() if days > 0]
    partly = {
        row.month
        for row in rows
        if row.rate is not None and any(worked.by_site_month.get((site, row.month), 0) <= 0 for site in sites)
    }
    if partly:
        out.append(
            f"In {wording.plural(len(partly), 'month')} not every site was watched; the rate of such a month "
            "also depends on which were. The yearly change takes that into account, the monthly rates do not."
        )
    return out


def _row(row: MonthRate) -> dict[str, Any]:
    doors = asking.opened(row.detections)
    return {
        "month": row.month.isoformat()[:7],
        "detections": len(row.detections),
        "camera_days": row.effort_days,
        "reviewed": row.share,
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


def _numbers(told: YearlyChange | None, trouble: NotEnoughEvidence | None, allowance: float) -> dict[str, Any]:
    """Both factors with what they rest on; or which rule refused, and what is missing."""
    if told is None:
        return {
            "told": False,
            "rule": getattr(trouble, "rule", None),
            "have": trouble.have if trouble else None,
            "need": trouble.need if trouble else None,
            "yearly_allowance": allowance,
        }
    return {
        "told": True,
        "says": told.claim,
        "lasting": _factor(told.lasting),
        "happened": _factor(told.happened),
        "yearly_allowance": allowance,
        "scatter": told.scatter,
        "months": told.months,
        "sites": told.sites,
        "detections": told.detections,
        "left_out": told.left_out_days,
    }


def _factor(factor: Factor) -> dict[str, float]:
    return {
        "factor_per_year": math.exp(factor.middle), "low": math.exp(factor.low), "high": math.exp(factor.high),
    }  # fmt: skip


def _same_months(
    selection: Selection, found: Sequence[Detection], rows: Sequence[MonthRate], reviewed: Reviewed
) -> dict[str, Any] | None:
    """The same calendar months of the last two years that share any, each site compared with itself.

    The ratio is None, with the reason, where it cannot be told.
    """
    pair = months.same_months(rows)
    if len(pair) != 2:
        return None
    (early, before), (late, after) = sorted(pair.items())
    year_of = dict.fromkeys(before, early) | dict.fromkeys(after, late)
    parts = line_ups.parts(
        selection,
        found,
        reviewed,
        lambda site, line_up, month: (year_of[month], site, line_up) if month in year_of else None,
    )
    shared = sorted({key[1:] for key in parts if key[0] == late} & {key[1:] for key in parts if key[0] == early})
    a = [parts[late, *key] for key in shared]
    b = [parts[early, *key] for key in shared]
    if sum(seen for seen, _ in (*a, *b)) == 0:
        return None
    ratio = interval = p = None
    note = "Allows for detections that come in runs, and speaks of these very sites in these months."
    try:
        compared = comparing.here(
            [seen for seen, _ in a],
            [days for _, days in a],
            [seen for seen, _ in b],
            [days for _, days in b],
            asking.scatter_of(selection, found, part=year_of.get),
        )
        ratio, interval, p = compared.ratio, compared.interval, compared.p
    except NotEnoughEvidence as trouble:
        note = f"No comparison is given: {trouble}."
    return {
        "earlier": early,
        "later": late,
        "months": [month.month for month in after],
        "earlier_detections": round(sum(seen for seen, _ in b)),
        "later_detections": round(sum(seen for seen, _ in a)),
        "earlier_site_days": sum(days for _, days in b),
        "later_site_days": sum(days for _, days in a),
        "ratio": ratio,
        "interval": interval,
        "p": p,
        "note": note,
    }


def _columns(worked: Effort, rows: Sequence[MonthRate]) -> tuple[Column, ...]:
    """The columns that say something here, in the days that the rates are of."""
    shown = COLUMNS if any(row.share < 1 for row in rows) else tuple(c for c in COLUMNS if c.key != "reviewed")
    return asking.of_site_days(shown) if worked.doubled else shown
