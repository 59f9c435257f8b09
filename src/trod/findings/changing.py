"""Is it changing: what happened in this record, what lasts beyond good and bad years, and the rate month by month."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trod import wording
from trod.errors import NotEnoughEvidence
from trod.findings import asking, comparing, line_ups, months, reviewing, yearly
from trod.findings.comparing import Compared
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.line_ups import Watched
from trod.findings.months import MonthRate
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.reviewing import Reviewed
from trod.findings.yearly import YearlyChange

_ALL = Filter()
# Changes this large are looked out for when it is told beforehand what a record can show.
OUTLOOK_YEARS = (3, 5)


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """How often a record of so many years would show a halving in three years as lasting."""

    years: int
    share: float


@dataclass(frozen=True, kw_only=True)
class SameMonths:
    """The same calendar months of two years, each site compared with itself.

    earlier, later : the years, then their detections and site-days. compared : None, and `trouble`, where it cannot be
    told.
    """

    earlier: int
    later: int
    months: tuple[int, ...]
    earlier_detections: int
    later_detections: int
    earlier_site_days: float
    later_site_days: float
    compared: Compared | None
    trouble: NotEnoughEvidence | None


@dataclass(frozen=True, kw_only=True)
class Changing:
    """What the question of change comes to.

    told : both yearly factors; None, and `trouble`, where none can be told. rows : the rate of each month.
    outlooks : what `sites_seen` sites like these would show in years to come.
    """

    selection: Selection
    found: tuple[Detection, ...]
    worked: Effort
    reviewed: Reviewed
    cells: Watched
    rows: tuple[MonthRate, ...]
    told: YearlyChange | None
    trouble: NotEnoughEvidence | None
    outlooks: tuple[Outlook, ...]
    sites_seen: int
    same_months: SameMonths | None


def change(evidence: Evidence, filter: Filter = _ALL) -> Changing:
    """Whether the rate is changing: two yearly factors, and the rate by month; `telling.change` makes the answer of it.

    Raises NotEnoughEvidence when no camera watched, or there is but one month of effort.
    """
    selection, found, worked = asking.prepare(evidence, filter)
    reviewed = Reviewed(selection)
    cells = line_ups.watched(selection, found, reviewed)
    rows = rates_by_month(selection, found, worked, reviewed)
    watched = [row for row in rows if row.effort_days >= months.FEWEST_DAYS]
    if len(watched) < 2:
        raise NotEnoughEvidence(
            f"{wording.plural(len(watched), 'month', words=True)} with a day of effort or more",
            need="change needs at least two months; widen the period",
        )
    told: YearlyChange | None = None
    trouble: NotEnoughEvidence | None = None
    try:
        told = _judged(selection, found, cells, reviewed)
    except NotEnoughEvidence as why:
        trouble = why
    return Changing(
        selection=selection,
        found=found,
        worked=worked,
        reviewed=reviewed,
        cells=cells,
        rows=rows,
        told=told,
        trouble=trouble,
        outlooks=_outlooks(selection, cells),
        sites_seen=_sites_seen(cells),
        same_months=_same_months(selection, found, rows, reviewed),
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


def rates_by_month(
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


def _sites_seen(cells: Watched) -> int:
    if cells.record is None:
        return 0
    return len(np.unique(cells.record.sites[cells.record.cells.seen > 0]))


def _outlooks(selection: Selection, cells: Watched) -> tuple[Outlook, ...]:
    """What sites like these would show in years to come, told beforehand."""
    if cells.record is None:
        return ()
    record = cells.record.only(yearly.usable(cells.record.cells))
    if not len(record.cells.seen):
        return ()
    halves = 2 if any(unit.half for unit in cells.units) else 1  # day and night of a site are one site's month
    seen = 30.0 * float(record.cells.seen.sum()) / float(record.cells.days.sum()) * halves
    return outlooks(
        sites=_sites_seen(cells),
        seen_a_month=seen,
        allowance=selection.reserve.yearly_allowance,
        months=yearly.span(record.cells),
    )


def outlooks(*, sites: int, seen_a_month: float, allowance: float, months: int) -> tuple[Outlook, ...]:
    """Told beforehand for three and five years, and for two years more than there are; none when nothing was seen."""
    if sites < yearly.FEWEST_SITES or not seen_a_month > 0:
        return ()
    asked = sorted({*OUTLOOK_YEARS, min(max(3, math.ceil(months / 12) + 2), 12)})
    return tuple(
        Outlook(
            years=n,
            share=yearly.outlook(years=n, sites=sites, seen_a_month=seen_a_month, allowance=allowance),
        )
        for n in asked
    )


def _same_months(
    selection: Selection, found: Sequence[Detection], rows: Sequence[MonthRate], reviewed: Reviewed
) -> SameMonths | None:
    """The same calendar months of the last two years that share any, each site compared with itself.

    None where no month was watched in two years, or nothing seen in those.
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
    compared: Compared | None = None
    trouble: NotEnoughEvidence | None = None
    try:
        compared = comparing.here(
            [seen for seen, _ in a],
            [days for _, days in a],
            [seen for seen, _ in b],
            [days for _, days in b],
            asking.scatter_of(selection, found, part=year_of.get),
        )
    except NotEnoughEvidence as why:
        trouble = why
    return SameMonths(
        earlier=early,
        later=late,
        months=tuple(month.month for month in after),
        earlier_detections=round(sum(seen for seen, _ in b)),
        later_detections=round(sum(seen for seen, _ in a)),
        earlier_site_days=sum(days for _, days in b),
        later_site_days=sum(days for _, days in a),
        compared=compared,
        trouble=trouble,
    )
