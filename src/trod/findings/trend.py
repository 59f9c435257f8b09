"""Is it changing: the rate month by month, and a plain test of trend.

The test is a log-linear regression of detections per site and month on time, with effort as exposure, a level
of its own for each site (so that moving cameras about does not look like change) and, when the evidence spans
the same calendar months of two years, a level for each calendar month (so that season does not look like
change either). Scatter beyond chance widens its interval.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from scipy import stats

from trod.errors import NotEnoughEvidence
from trod.findings import localtime, rates
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.localtime import Floats
from trod.findings.rates import Interval
from trod.findings.runs import Scatter

LEVEL = 0.95
# Ours: fewer detections or months than this and a slope is guesswork.
FEWEST_DETECTIONS = 10
FEWEST_MONTHS = 3
# A month with less effort than this says nothing; it is listed but takes no part in the test.
FEWEST_DAYS = 1.0
YEAR_DAYS = 365.25
# Ours: an interval that reaches further than this up and down over the time it speaks of says nothing.
MOST_TIMES = 10.0


@dataclass(frozen=True, kw_only=True)
class MonthRate:
    """One month: detections, camera-days, and the rate per 100 of them with its intervals.

    rate, exact, shown are None in a month with under a day of effort.
    """

    month: date
    detections: tuple[Detection, ...]
    effort_days: float
    rate: float | None
    exact: Interval | None
    shown: Interval | None


def monthly(
    found: Sequence[Detection], effort: Effort, zone: str, scatter: Scatter | None = None
) -> tuple[MonthRate, ...]:
    """Every month from the first with effort or a detection to the last, those without effort included.

    scatter : how the weeks of the whole record scatter (`asking.scatter_of`). One month has too few weeks to tell
    how detections run, so all months take it from the record; a season in it is taken for runs, which makes the
    months' intervals too wide rather than too narrow.
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
        value = exact = shown = None
        if days >= FEWEST_DAYS:
            count = sum(1 for detection in here if effort.by_site.get(detection.site, 0.0) > 0)
            _, exact = rates.exact_rate(count, days)
            value, shown = rates.limited(count, days, scatter)
        out.append(MonthRate(month=month, detections=here, effort_days=days, rate=value, exact=exact, shown=shown))
    return tuple(out)


def _cells(found: Sequence[Detection], effort: Effort, zone: str) -> list[tuple[str, date, float, int]]:
    """(site, month, camera-days, detections) of every site-month with a day of effort or more, sorted."""
    counts: dict[tuple[str, date], int] = {}
    months = localtime.months_of([p.utc_s for p in found], zone)
    for detection, month in zip(found, months, strict=True):
        key = (detection.site, month)
        counts[key] = counts.get(key, 0) + 1
    return [
        (site, month, days, counts.get((site, month), 0))
        for (site, month), days in sorted(effort.by_site_month.items())
        if days >= FEWEST_DAYS
    ]


@dataclass(frozen=True, kw_only=True)
class Trend:
    """How the rate changes: a factor per year, its interval and p.

    with_season : whether calendar months had their own levels, so season is parted from change.
    index : scatter about the fit, over chance.
    cells, degrees : how many site-months, and how many are left to judge by.
    first, last : middle of the first and last month used.
    """

    factor_per_year: float
    interval: Interval
    p: float
    with_season: bool
    index: float
    cells: int
    degrees: int
    first: date
    last: date

    @property
    def factor(self) -> float:
        """The factor over the time told."""
        return float(self.factor_per_year**self.years_told)

    @property
    def factor_interval(self) -> Interval:
        """The interval of `factor`."""
        years = self.years_told
        return replace(self.interval, low=self.interval.low**years, high=self.interval.high**years)

    @property
    def years_told(self) -> float:
        """The length of time of which the change is told. [years]"""
        return years_told(with_season=self.with_season, first=self.first, last=self.last)


def years_told(*, with_season: bool, first: date, last: date) -> float:
    """A year when season is parted from change, else what was watched: nothing is foretold."""
    return 1.0 if with_season else max((last - first).days / YEAR_DAYS, 1 / 12)


def poisson_regression(y: Floats, design: Floats, exposure: Floats) -> tuple[Floats, Floats, Floats]:
    """Log-linear Poisson fit by iteratively reweighted least squares.

    y, exposure : (cells,); design : (cells, terms). Returns (coefficients, their Poisson covariance, fitted).
    Raises NotEnoughEvidence when it does not settle (a site or month with nothing seen has no finite level).
    References : McCullagh & Nelder (1989) §2.5.
    """
    offset = np.log(exposure)
    mu: Floats = np.asarray(y + 0.1, dtype=float)
    beta: Floats = np.zeros(design.shape[1])
    for step in range(60):
        eta = np.log(mu)
        work = eta - offset + (y - mu) / mu
        weighted = design * mu[:, None]
        # Least squares on the normal equations: a few hundred unknowns at most, and columns may be collinear.
        new = np.asarray(np.linalg.lstsq(design.T @ weighted, weighted.T @ work, rcond=None)[0], dtype=float)
        mu = np.exp(np.clip(design @ new + offset, -40, 40))
        if step and np.max(np.abs(new - beta)) < 1e-10:
            break
        beta = new
    else:
        raise NotEnoughEvidence("the fit did not settle", need="more months, or sites seen in more of them")
    information = design.T @ (design * mu[:, None])
    return new, np.asarray(np.linalg.pinv(information, hermitian=True), dtype=float), mu


def _rank(design: Floats) -> int:
    """Rank by the cross product: quick for many cells, and exact enough for columns of noughts and ones."""
    return int(np.linalg.matrix_rank(design.T @ design, hermitian=True)) if design.size else 0


def _robust(design: Floats, y: Floats, mu: Floats, covariance: Floats) -> Floats:
    """Covariance of the coefficients from the residuals themselves, each blown up by its leverage (HC3).

    References : J. G. MacKinnon & H. White (1985) Some heteroskedasticity-consistent covariance matrix
    estimators with improved finite sample properties, J. Econometrics 29:305–325 (from memory), on the
    Poisson score.
    """
    leverage = mu * np.sum((design @ covariance) * design, axis=1)
    residual = (y - mu) / np.maximum(1.0 - leverage, 1e-3)
    score = design * residual[:, None]
    return np.asarray(covariance @ (score.T @ score) @ covariance, dtype=float)


def trend(found: Sequence[Detection], effort: Effort, zone: str) -> Trend:
    """The factor by which the rate changes in a year.

    Raises NotEnoughEvidence under 10 detections, 3 months with effort, nothing left to judge the scatter by, or when a
    tenth and ten times the rate would both fit at the end of the time it speaks of.
    Notes : quasi-Poisson: standard errors times √φ, φ = Pearson's χ²/df but not under 1; Student's t on df.
    Where animals come in clusters the scatter grows faster than the mean, which √φ alone does not follow, so
    the robust standard error (HC3) is used when it is the larger. Months are taken as independent given
    the fit; long runs of them make the interval too narrow.
    """
    cells = _cells(found, effort, zone)
    seen = {site for site, _, _, count in cells if count}
    cells = [cell for cell in cells if cell[0] in seen]  # a site with none has no level and tells no slope
    total = sum(count for *_, count in cells)
    months = sorted({month for _, month, _, _ in cells})
    if total < FEWEST_DETECTIONS or len(months) < FEWEST_MONTHS:
        raise NotEnoughEvidence(
            f"{total} detections in {len(months)} months with effort",
            need=f"a trend needs at least {FEWEST_DETECTIONS} detections and {FEWEST_MONTHS} months",
        )
    with_season = _spans_two_years(months)
    if with_season:
        kept = {m.month for m in months if sum(1 for other in months if other.month == m.month) > 1}
        seen_months = {month.month for _, month, _, count in cells if count}
        cells = [c for c in cells if c[1].month in kept & seen_months]
        sites_left = {site for site, _, _, count in cells if count}
        cells = [c for c in cells if c[0] in sites_left]
        months = sorted({month for _, month, _, _ in cells})
    design, names = _design(cells, with_season=with_season)
    y = np.array([float(count) for *_, count in cells])
    exposure = np.array([days for _, _, days, _ in cells])
    rank = _rank(design)
    degrees = len(cells) - rank
    slope_known = _rank(np.delete(design, 0, axis=1)) < rank
    if degrees < 1 or not slope_known or y.sum() < FEWEST_DETECTIONS:
        raise NotEnoughEvidence(
            f"{len(cells)} site-months for {len(names)} unknowns",
            need="a trend needs the same sites watched over more months",
        )
    beta, covariance, mu = poisson_regression(y, design, exposure)
    index = float(np.sum((y - mu) ** 2 / mu)) / degrees
    error = math.sqrt(max(covariance[0, 0] * max(index, 1.0), _robust(design, y, mu, covariance)[0, 0]))
    slope = float(beta[0])
    wide = float(stats.t.ppf((1 + LEVEL) / 2, degrees)) * error
    told = years_told(with_season=with_season, first=_middle(months[0]), last=_middle(months[-1]))
    if not wide * told <= math.log(MOST_TIMES):  # also catches nan
        raise NotEnoughEvidence(
            f"with {total} detections in {len(months)} months a tenth of the rate and ten times it would both fit",
            need="more detections, or more sites watched over more months",
        )
    return Trend(
        factor_per_year=math.exp(slope),
        interval=Interval(
            low=math.exp(slope - wide),
            high=math.exp(slope + wide),
            level=LEVEL,
            kind="quasi-Poisson regression on site and month",
        ),
        p=float(2 * stats.t.sf(abs(slope) / error, degrees)),
        with_season=with_season,
        index=index,
        cells=len(cells),
        degrees=degrees,
        first=_middle(months[0]),
        last=_middle(months[-1]),
    )


def _middle(month: date) -> date:
    return month.replace(day=15)


def _spans_two_years(months: Sequence[date]) -> bool:
    """Whether at least three calendar months were watched in more than one year."""
    years: dict[int, set[int]] = {}
    for month in months:
        years.setdefault(month.month, set()).add(month.year)
    return sum(1 for found in years.values() if len(found) > 1) >= 3


def _design(cells: Sequence[tuple[str, date, float, int]], *, with_season: bool) -> tuple[Floats, list[str]]:
    """Columns: time in years from the middle, one level per site, and per calendar month but the first."""
    years = np.array([(_middle(month) - date(2000, 1, 1)).days / YEAR_DAYS for _, month, _, _ in cells])
    columns: list[Floats] = [years - years.mean()]
    names = ["time"]
    for site in sorted({site for site, *_ in cells}):
        columns.append(np.array([1.0 if s == site else 0.0 for s, *_ in cells]))
        names.append(site)
    if with_season:
        for number in sorted({month.month for _, month, _, _ in cells})[1:]:
            columns.append(np.array([1.0 if m.month == number else 0.0 for _, m, _, _ in cells]))
            names.append(f"month {number}")
    return np.column_stack(columns), names


def same_months(rows: Sequence[MonthRate]) -> Mapping[int, tuple[tuple[date, ...], int, float]]:
    """Per year, over the calendar months that every compared year watched: (months, detections, camera-days).

    Only the last two years that share at least one watched month are compared. Empty when there are none.
    """
    watched = {row.month: row for row in rows if row.effort_days >= FEWEST_DAYS}
    years = sorted({month.year for month in watched})
    for late in reversed(years):
        for early in reversed([y for y in years if y < late]):
            shared = sorted(m.month for m in watched if m.year == late and date(early, m.month, 1) in watched)
            if shared:
                return {
                    year: (
                        tuple(date(year, number, 1) for number in shared),
                        sum(len(watched[date(year, number, 1)].detections) for number in shared),
                        sum(watched[date(year, number, 1)].effort_days for number in shared),
                    )
                    for year in (early, late)
                }
    return {}
