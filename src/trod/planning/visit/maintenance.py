"""What keeping cameras costs and shows: how often a site loses one, how long batteries last, what a year costs.

`trod.telling.maintenance` words it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Literal

import numpy as np

from trod.errors import WrongInput
from trod.planning.ground.weather import Climate
from trod.planning.visit.upkeep import hazard_from_log

YEAR_DAYS = 365.25
DAY_S = 86_400.0

Span = tuple[datetime, datetime]


# How often -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class LossRate:
    """Incidents that stopped a camera, for each year that one camera stands.

    per_year, low, high : with 90 % limits, exact for Poisson counts (Garwood 1936, Biometrika 28:437–442).
    """

    incidents: int
    camera_years: float
    per_year: float
    low: float
    high: float


def loss_rate(incidents: int, camera_days: float) -> LossRate | None:
    """How often a year a camera is stopped, from a log. None where no camera stood.

    incidents : those that stopped a camera. camera_days : that cameras stood there, watching or not.
    """
    if camera_days <= 0:
        return None
    found = hazard_from_log(incidents, camera_days)
    years = camera_days / YEAR_DAYS
    return LossRate(
        incidents=incidents,
        camera_years=years,
        per_year=incidents / years,
        low=found.low * YEAR_DAYS,
        high=found.high * YEAR_DAYS,
    )


# Batteries -----------------------------------------------------------------------------------------------------

SetEnd = Literal["dead", "changed", "still in", "retrieved"]


@dataclass(frozen=True, kw_only=True)
class BatteryVisit:
    """What one visit says of a camera's batteries. kind : of those put in, by IEC designation; empty when not noted."""

    at: datetime
    changed: bool = False
    dead: bool = False
    percent: float | None = None
    kind: str = ""
    number: int | None = None


@dataclass(frozen=True, kw_only=True)
class BatterySet:
    """One set of batteries in a camera.

    days : in the field, without the time at home. end : found dead, changed with power left, or still in. percent :
    as last shown before the end. night_c : mean of the nights' minima in that time, None when the reserve's nights
    are not known. fresh : whether a change was noted at its beginning; else it is the set the camera came with.
    """

    start: datetime
    until: datetime
    kind: str
    number: int | None
    days: float
    end: SetEnd
    percent: float | None
    night_c: float | None
    fresh: bool


def field_days(start: datetime, until: datetime, spans: Iterable[Span]) -> float:
    """Days between two instants that lie within the spans a camera stood. [d]"""
    total = 0.0
    for a, b in spans:
        total += max(0.0, (min(b, until) - max(a, start)).total_seconds())
    return total / DAY_S


def battery_sets(
    visits: Iterable[BatteryVisit], spans: Sequence[Span], now: datetime, *, climate: Climate | None = None
) -> tuple[BatterySet, ...]:
    """The sets of batteries of one camera, oldest first.

    spans : when it stood; the last may end at `now`. A set begins when batteries were changed, or when the camera first
    went out. A camera found without power ends a set as dead although the change may come later.
    """
    if not spans:
        return ()
    ordered = sorted(visits, key=lambda v: v.at)
    begin = min(a for a, _ in spans)
    out: list[BatterySet] = []
    kind, number, fresh, percent, dead_at = "", None, False, None, None

    def close(until: datetime, end: SetEnd) -> None:
        days = field_days(begin, until, spans)
        if days <= 0:
            return
        night = None if climate is None else _mean_night_c(begin, until, spans, climate)
        out.append(
            BatterySet(
                start=begin, until=until, kind=kind, number=number, days=days, end=end, percent=percent,
                night_c=night, fresh=fresh,
            )
        )  # fmt: skip

    for visit in ordered:
        if visit.dead and dead_at is None:
            dead_at = visit.at
        if visit.percent is not None and dead_at is None:
            percent = visit.percent
        if visit.changed:
            close(dead_at or visit.at, "dead" if dead_at else "changed")
            begin, kind, number, fresh = visit.at, visit.kind, visit.number, True
            percent, dead_at = None, None
    stands = max(b for _, b in spans) >= now
    close(dead_at or now, "dead" if dead_at else "still in" if stands else "retrieved")
    return tuple(out)


def _mean_night_c(start: datetime, until: datetime, spans: Iterable[Span], climate: Climate) -> float:
    """Mean of the nights' minima over the days in the field. [°C]"""
    days: list[np.ndarray] = []
    for a, b in spans:
        low, high = max(a, start), min(b, until)
        if high > low:
            first = low.timetuple().tm_yday
            days.append(first + np.arange(max(1, round((high - low).total_seconds() / DAY_S))))
    return float(np.mean(climate.night_minimum_c(np.concatenate(days))))


# A year's costs --------------------------------------------------------------------------------------------

CostKind = Literal["batteries", "cards", "other", "incidents"]


@dataclass(frozen=True, kw_only=True)
class Spent:
    """Something used or lost. site : its key, empty where none. amount : None when its price is not known."""

    kind: CostKind
    site: str
    amount: float | None


@dataclass
class CostLine:
    """What one site cost in a year. camera_days : that cameras stood there, watching or not."""

    site: str
    batteries: float = 0.0
    cards: float = 0.0
    other: float = 0.0
    incidents: float = 0.0
    travel: float = 0.0
    visits: int = 0
    camera_days: float = 0.0

    @property
    def total(self) -> float:
        """All of it together."""
        return self.batteries + self.cards + self.other + self.incidents + self.travel

    @property
    def per_camera_day(self) -> float | None:
        """For each day that one camera stood; None where none stood."""
        return self.total / self.camera_days if self.camera_days > 0 else None


@dataclass(frozen=True)
class YearCosts:
    """A year by site, the most costly first, and all together. unpriced : things without a price, by kind."""

    lines: tuple[CostLine, ...]
    whole: CostLine
    unpriced: Mapping[str, int] = field(default_factory=dict)
    travel_unknown: bool = False


def year_costs(
    spent: Iterable[Spent],
    *,
    visits: Mapping[str, int],
    camera_days: Mapping[str, float],
    travel_km: float | None = None,
    price_per_km: float | None = None,
) -> YearCosts:
    """Add a year up by site. Travel is shared out by the number of visits (ours: the log has no ways).

    visits, camera_days : by site. What belongs to no site stands in the line whose site is empty.
    """
    for name, value in (("travel_km", travel_km), ("price_per_km", price_per_km)):
        if value is not None and not 0 <= value < 1e9:
            raise WrongInput(name, got=value, needed="a number, 0 or more, or nothing")
    lines: dict[str, CostLine] = {}

    def line(site: str) -> CostLine:
        return lines.setdefault(site, CostLine(site))

    unpriced: dict[str, int] = defaultdict(int)
    for one in spent:
        if one.amount is None:
            unpriced[one.kind] += 1
            line(one.site)
        else:
            here = line(one.site)
            setattr(here, one.kind, getattr(here, one.kind) + one.amount)
    for site, n in visits.items():
        line(site).visits = n
    for site, days in camera_days.items():
        if days > 0:
            line(site).camera_days = days
    travel = None if travel_km is None or price_per_km is None else travel_km * price_per_km
    total_visits = sum(visits.values())
    if travel:
        if total_visits:
            for site, n in visits.items():
                line(site).travel = travel * n / total_visits
        else:
            line("").travel = travel
    whole = CostLine("")
    for each in lines.values():
        for name in ("batteries", "cards", "other", "incidents", "travel", "visits", "camera_days"):
            setattr(whole, name, getattr(whole, name) + getattr(each, name))
    ordered = sorted(lines.values(), key=lambda c: (c.site == "", -c.total, c.site))
    return YearCosts(tuple(ordered), whole, dict(unpriced), travel is None)


def year_span(year: int, now: datetime) -> Span:
    """A calendar year's instants in UTC, ending now where it is not over."""
    start = datetime(year, 1, 1, tzinfo=UTC)
    return start, max(start, min(datetime(year + 1, 1, 1, tzinfo=UTC), now))


def years_between(first: date, last: date) -> tuple[int, ...]:
    """Calendar years from the newest to the oldest."""
    return tuple(range(last.year, first.year - 1, -1))
