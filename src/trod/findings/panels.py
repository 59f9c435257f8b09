"""Sites, seasons or years side by side: one small part of the record each, all on one scale.

Each part is asked for itself, with the same rules as the whole: the rate month by month with its intervals, or the curve
over the day with its band. A part that says too little is told so, and is not drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from trod.errors import NotEnoughEvidence
from trod.findings import activity, asking, changing, day_curve, runs
from trod.findings.day_curve import Curve
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.months import MonthRate
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.reviewing import Reviewed
from trod.findings.seasons import Stretch, stretches

By = Literal["site", "season", "year"]
Show = Literal["months", "hours"]
# Ours: under so many detections a part is told and not drawn, as no curve over the day is.
FEWEST = day_curve.FEWEST
FEWEST_DAYS = 1.0
LEVEL = 0.95
DRAWS = 20  # of the curve's bootstrap, of which nothing is shown here


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One part. key : a site's slug, or a season's or year's key.

    stretch : None for a site. days : site-days that count. waiting : sequences that wait for review.
    state : drawn; none (nothing seen); few (too few detections); refused (with why); unwatched (under a day).
    most_if_none : with none seen, detections per 100 proven site-days that this still allows (95 %).
    months, curve : what is drawn; of months those of the part alone.
    """

    key: str
    name: str
    stretch: Stretch | None
    found: tuple[Detection, ...]
    days: float
    waiting: int
    state: Literal["drawn", "none", "few", "refused", "unwatched"]
    why: NotEnoughEvidence | None = None
    most_if_none: float | None = None
    months: tuple[MonthRate, ...] = ()
    curve: Curve | None = None


@dataclass(frozen=True, kw_only=True)
class Panels:
    """All parts, sites by name, seasons and years newest first. selection : of all that was asked for."""

    selection: Selection
    found: tuple[Detection, ...]
    worked: Effort
    by: By
    show: Show
    panels: tuple[Panel, ...]


def panels(evidence: Evidence, asked: Filter, *, by: By, show: Show) -> Panels:
    """The parts of a question side by side. Raises NotEnoughEvidence when no camera watched at all."""
    selection, found, worked = asking.prepare(evidence, asked, counts_do=True)
    allowed = runs.none_seen(asking.scatter_of(selection, found), LEVEL)
    if by == "site":
        names = {slug: evidence.site(slug).name for slug in (*asked.sites, *selection.sites)}
        keys = sorted(names, key=lambda slug: (names[slug].casefold(), slug))
        out = [_panel(evidence, replace(asked, sites=(slug,)), slug, names[slug], None, show, allowed) for slug in keys]
    else:
        assert selection.first is not None and selection.last is not None
        own = stretches(by, selection.first, selection.last, evidence.reserve.latitude_deg)
        out = [_panel(evidence, _within(asked, one), one.key, one.name, one, show, allowed) for one in reversed(own)]
    return Panels(selection=selection, found=found, worked=worked, by=by, show=show, panels=tuple(out))


def alone(known: Panels) -> dict[str, Filter]:
    """The filter of each part, by its key."""
    asked = known.selection.filter
    return {
        panel.key: replace(asked, sites=(panel.key,)) if panel.stretch is None else _within(asked, panel.stretch)
        for panel in known.panels
    }


def parts_at_most(evidence: Evidence, asked: Filter, by: By) -> int:
    """How many parts there can be, told from the deployments alone; how long it takes goes by these."""
    if by == "site":
        return len(asked.sites) or len(evidence.sites)
    ends = [at for d in evidence.deployments for span in d.watched for at in span]
    years = (max(ends) - min(ends)) / (365.25 * 86_400) if ends else 0.0
    return 1 + int(years * (1 if by == "year" else 4))


def _within(asked: Filter, one: Stretch) -> Filter:
    """The filter of a stretch, cut to the days asked for."""
    first = max(one.first, asked.first) if asked.first else one.first
    last = min(one.last, asked.last) if asked.last else one.last
    return replace(asked, first=first, last=last)


def _panel(
    evidence: Evidence, asked: Filter, key: str, name: str, stretch: Stretch | None, show: Show, allowed: float
) -> Panel:
    """allowed : detections that a part with none still allows."""
    try:
        selection, found, worked = asking.prepare(evidence, asked, counts_do=True)
    except NotEnoughEvidence:
        return Panel(key=key, name=name, stretch=stretch, found=(), days=0.0, waiting=0, state="unwatched")
    plain = Panel(
        key=key,
        name=name,
        stretch=stretch,
        found=found,
        days=worked.site_days,
        waiting=len(selection.unseen),
        state="few",
    )
    if worked.site_days < FEWEST_DAYS:
        return replace(plain, state="unwatched")
    if not found:
        proven = worked.proven_days
        most = 100 * allowed / proven if proven >= FEWEST_DAYS and not plain.waiting else None
        return replace(plain, state="none", most_if_none=most)
    if len(found) < FEWEST:
        return plain
    if show == "hours":
        try:
            return replace(plain, state="drawn", curve=activity.by_clock(selection, found, draws=DRAWS))
        except NotEnoughEvidence as trouble:
            return replace(plain, state="refused", why=trouble)
    rows = changing.rates_by_month(selection, found, worked, Reviewed(selection))
    if not any(row.rate is not None for row in rows):
        return replace(plain, state="refused", why=_NO_RATE)
    return replace(plain, state="drawn", months=rows)


_NO_RATE = NotEnoughEvidence(
    "too little is known to have been watched and reviewed for a rate", need="months watched for a day and reviewed"
)


def months_of(known: Panels) -> tuple[date, ...]:
    """The months of the common axis when sites are side by side: from the first to the last with a rate."""
    told = sorted({row.month for panel in known.panels for row in panel.months})
    return tuple(told)


def top_of(known: Panels) -> float:
    """The top of the one scale: an end that goes beyond twice the highest value is cut there."""
    values: list[float] = []
    highs: list[float] = []
    for panel in known.panels:
        for row in panel.months:
            if row.rate is not None:
                values.append(row.rate)
                highs.append(row.shown.high if row.shown else row.rate)
        if panel.curve is not None:
            seen = panel.curve.watched
            values += panel.curve.density[seen].tolist()
            highs += panel.curve.high[seen].tolist()
    if not values:
        return 1.0
    return max(min(high, 2 * max(values)) for high in highs) or 1.0
