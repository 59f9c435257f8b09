"""The yearly factor of a record of months, with and without an allowance for good and bad years.

What a record of site-months knows comes in two steps. First a penalised log-linear fit takes out how rich each unit
(a site with one line-up of cameras) is, the season, each unit's own season and its own drift; what is left is how
much the record knows of the common level of every month (`J`, `q`). Then the luck that all units share in a month,
which goes on from month to month, and the luck of whole years are integrated out on a grid, without random numbers.

Two answers come of one fit. *Happened* allows for the luck of months only: it speaks of this record. *Lasting* also
allows for years that differ by themselves, by a stated size that no record of a few years can tell: it alone may
speak of more or fewer.

The model of scatter is quasi-Poisson, P. McCullagh & J. A. Nelder (1989) Generalized Linear Models, 2nd ed., §9.2 (from
memory); the penalties, the grid and its prior are ours. How often it holds is measured by benchmarks/coverage_change.py
and told in docs/models/change.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings.localtime import Floats

Ints = NDArray[np.int64]
MONTHS_A_YEAR = 12
MOST_ALLOWANCE = 1.0
LEVEL = 0.95
# Ours: how far units, calendar months, a unit's own season and its own yearly drift may differ (log scale).
UNIT_SD, MONTH_SD, OWN_SEASON_SD, OWN_DRIFT_SD = 2.0, 1.0, 0.5, 0.1
# Ours: the luck that all units share in a month, and how much of it goes on into the next.
MONTH_LUCK = (0.0, 0.1, 0.2, 0.3, 0.45, 0.65, 0.9)
GOES_ON = (0.0, 0.3, 0.6, 0.8)
LUCK_PRIOR_SD = 0.5
FIT_STEPS = 60
SCATTER_ROUNDS = 4


@dataclass(frozen=True, kw_only=True)
class Cells:
    """A record as cells, one for each unit and month that was watched.

    unit, month : (cells,) numbers from 0; months count on from the first watched one. days : (cells,) effort, sorted
    share of it taken already. [days] seen : (cells,) detections. months : how many months from first to last, unwatched
    ones included. calendar : the calendar month of month 0, January being 0.
    """

    unit: Ints
    month: Ints
    days: Floats
    seen: Floats
    months: int
    calendar: int

    def __post_init__(self) -> None:
        shapes = {len(self.unit), len(self.month), len(self.days), len(self.seen)}
        if len(shapes) != 1:
            raise WrongInput("cells", got=f"lengths {sorted(shapes)}", needed="one of each for every cell")
        if len(self.unit) and not (np.all(self.days > 0) and np.all(self.seen >= 0)):
            raise WrongInput("cells", got="days of 0 or less, or a count under 0", needed="only watched cells")

    def only(self, keep: NDArray[np.bool_]) -> Cells:
        """The chosen cells, on the same months."""
        return Cells(
            unit=self.unit[keep], month=self.month[keep], days=self.days[keep], seen=self.seen[keep],
            months=self.months, calendar=self.calendar,
        )  # fmt: skip

    @property
    def calendar_months(self) -> Ints:
        """(cells,) the calendar month of each, January being 0."""
        return np.asarray((self.calendar + self.month) % MONTHS_A_YEAR, dtype=np.int64)

    @property
    def years(self) -> Ints:
        """(cells,) which calendar year each is in, from 0."""
        return np.asarray((self.calendar + self.month) // MONTHS_A_YEAR, dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class Factor:
    """A factor per year on the log scale: median and the two ends of its interval."""

    middle: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        return (self.high - self.low) / 2


@dataclass(frozen=True, kw_only=True)
class Levels:
    """What a record knows of the common level of each month.

    information, pull : J (months, months) and q (months,). scatter : φ, over that of single detections.
    times : (months,) years from the middle of the record. years : (months,) the calendar year, from 0.
    """

    information: Floats
    pull: Floats
    scatter: float
    times: Floats
    years: Ints


def _design(cells: Cells, times: Floats) -> tuple[Floats, Floats]:
    """Columns that are taken out, without time itself, and the penalty of each."""
    units, at = np.unique(cells.unit, return_inverse=True)
    own = np.zeros((len(cells.unit), len(units)))
    own[np.arange(len(cells.unit)), at] = 1.0
    present, which = np.unique(cells.calendar_months, return_inverse=True)
    season = np.zeros((len(cells.unit), len(present)))
    season[np.arange(len(cells.unit)), which] = 1.0
    turn = 2 * np.pi * cells.calendar_months / MONTHS_A_YEAR
    blocks = [
        np.ones((len(cells.unit), 1)),
        own,
        season,
        own * np.cos(turn)[:, None],
        own * np.sin(turn)[:, None],
        own * times[cells.month][:, None],
    ]
    each = [0.0, UNIT_SD**-2, MONTH_SD**-2, OWN_SEASON_SD**-2, OWN_SEASON_SD**-2, OWN_DRIFT_SD**-2]
    penalty = np.concatenate([np.full(block.shape[1], size) for block, size in zip(blocks, each, strict=True)])
    return np.hstack(blocks), penalty


def levels(cells: Cells) -> Levels:
    """Units, seasons and own drifts taken out: what is left to say of each month's common level.

    Raises NotEnoughEvidence when nothing was seen, or the fit does not settle.
    Notes : iteratively reweighted least squares with penalty φ·λ; the shared level of a month is r = Σy/Σμ, and φ is
    Pearson's about μ·r over what is left of the degrees of freedom, not under 1; repeated until φ moves less than
    0.02, four times at most. J = ZᵀWZ − ZᵀWN(NᵀWN + λ)⁻¹NᵀWZ, likewise q, with W = μ/φ.
    """
    if len(cells.seen) == 0 or cells.seen.sum() <= 0:
        raise NotEnoughEvidence("nothing was seen", need="detections")
    times = (np.arange(cells.months) - (cells.months - 1) / 2) / MONTHS_A_YEAR
    taken_out, penalty = _design(cells, times)
    design = np.column_stack([times[cells.month], taken_out])
    ridge = np.concatenate([[0.0], penalty])
    offset = np.log(cells.days / 30.0)
    seen = cells.seen
    phi = 1.0
    mu = (seen + np.mean(seen)) / 2
    for _ in range(SCATTER_ROUNDS):
        used = phi
        mu, fitted = _settled(design, ridge * used, offset, seen, mu)
        expected = np.bincount(cells.month, mu, cells.months)
        came = np.bincount(cells.month, seen, cells.months)
        shared = np.divide(came, expected, out=np.zeros_like(came), where=expected > 0)
        here = shared[cells.month] > 0
        mean = mu[here] * shared[cells.month][here]
        gram = design.T @ (design * mu[:, None])
        spent = float(np.trace(np.linalg.solve(gram + np.diag(ridge * used), gram)))
        left = max(float(here.sum()) - (spent + float(np.sum(shared > 0)) - 2), 3.0)
        new = max(1.0, float(np.sum((seen[here] - mean) ** 2 / mean)) / left)
        if abs(new - used) < 0.02:
            break
        phi = new
    weight = mu / used
    work = fitted + (seen - mu) / mu
    by_month = np.zeros((len(seen), cells.months))
    by_month[np.arange(len(seen)), cells.month] = 1.0
    inner = taken_out.T @ (taken_out * weight[:, None]) + np.diag(penalty)
    across = taken_out.T @ (by_month * weight[:, None])
    out = np.linalg.solve(inner, np.column_stack([across, taken_out.T @ (weight * work)]))
    information = np.diag(np.bincount(cells.month, weight, cells.months)) - across.T @ out[:, :-1]
    pull = np.asarray(np.bincount(cells.month, weight * work, cells.months) - across.T @ out[:, -1], dtype=float)
    return Levels(
        information=(information + information.T) / 2,
        pull=pull,
        scatter=used,
        times=times,
        years=np.asarray((cells.calendar + np.arange(cells.months)) // MONTHS_A_YEAR, dtype=np.int64),
    )


def _settled(design: Floats, ridge: Floats, offset: Floats, seen: Floats, mu: Floats) -> tuple[Floats, Floats]:
    """The penalised Poisson fit: means and their logarithm without the offset."""
    before = np.full(design.shape[1], np.inf)
    for _ in range(FIT_STEPS):
        work = np.log(mu) - offset + (seen - mu) / mu
        weighted = design * mu[:, None]
        beta = np.linalg.solve(design.T @ weighted + np.diag(ridge + 1e-12), weighted.T @ work)
        fitted = design @ beta
        mu = np.exp(np.clip(fitted + offset, -30, 30))
        if np.max(np.abs(beta - before)) < 1e-8:
            return mu, fitted
        before = beta
    raise NotEnoughEvidence("the fit did not settle", need="more months, or sites seen in more of them")


def luck_covariance(years: Ints, *, luck: float, goes_on: float, allowance: float) -> Floats:
    """Covariance of the months' shared luck: of months, going on, and of whole years. (months, months)"""
    at = np.arange(len(years))
    apart = np.abs(np.subtract.outer(at, at))
    return np.asarray(luck**2 * np.power(goes_on, apart) + np.equal.outer(years, years) * allowance**2)


def _shared_luck(years: Ints, allowance: float) -> tuple[Floats, Floats]:
    """Covariances of the months' shared luck on the grid (grid, months, months), and the log prior of each."""
    covariances, prior = [], []
    for luck in MONTH_LUCK:
        for goes_on in GOES_ON if luck else (0.0,):
            covariances.append(luck_covariance(years, luck=luck, goes_on=goes_on, allowance=allowance))
            prior.append(-0.5 * (luck / LUCK_PRIOR_SD) ** 2 - (np.log(len(GOES_ON)) if luck else 0.0))
    return np.array(covariances), np.array(prior)


def slope_error(known: Levels, covariance: Floats) -> float:
    """Standard error of the yearly slope when the covariance of the shared luck is known. (log scale)"""
    information, t = known.information, known.times
    both = np.linalg.solve(np.eye(len(t)) + covariance @ information, covariance @ information @ t)
    return float(1 / np.sqrt(t @ information @ t - t @ information @ both))


def factor(known: Levels, allowance: float, level: float = LEVEL) -> Factor:
    """The yearly factor with the luck of months, and of years of the stated size, integrated out (log scale).

    allowance : standard deviation of years on the log scale; 0 for what happened in this record.
    Notes : u = t·β + ε, ε ~ N(0, K), K = σ²ρ^|p−q| + allowance² within a calendar year, on a grid of σ and ρ; the
    interval is that of the weighted mixture of normals.
    """
    if not 0 <= allowance <= MOST_ALLOWANCE:
        raise WrongInput("allowance", got=allowance, needed=f"a share from 0 to {MOST_ALLOWANCE:g}")
    information, pull, t = known.information, known.pull, known.times
    luck, prior = _shared_luck(known.years, allowance)
    inner = np.eye(len(t)) + luck @ information  # I + KJ
    # H = K(I + JK)⁻¹ = (I + KJ)⁻¹K
    both = np.linalg.solve(inner, luck @ np.column_stack([information @ t, pull]))
    slope_pull = t @ pull - (information @ t) @ both[:, :, 1].T
    curvature = t @ information @ t - (information @ t) @ both[:, :, 0].T
    if not np.all(curvature > 0):
        raise NotEnoughEvidence("time and season cannot be parted", need="the same months of two years")
    _, log_det = np.linalg.slogdet(inner)
    log_weight = (
        0.5 * (both[:, :, 1] @ pull) - 0.5 * log_det + 0.5 * slope_pull**2 / curvature
        - 0.5 * np.log(curvature) + prior
    )  # fmt: skip
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    middle, spread = slope_pull / curvature, 1 / np.sqrt(curvature)

    def point(share: float) -> float:
        reach = 12 * spread
        return float(
            optimize.brentq(
                lambda x: float(weight @ special.ndtr((x - middle) / spread)) - share,
                float(np.min(middle - reach)),
                float(np.max(middle + reach)),
                xtol=1e-10,
            )
        )

    return Factor(middle=point(0.5), low=point((1 - level) / 2), high=point((1 + level) / 2))


def fit(cells: Cells, allowances: Sequence[float]) -> tuple[Levels, tuple[Factor, ...]]:
    """The levels of a record and its yearly factor under each allowance."""
    known = levels(cells)
    return known, tuple(factor(known, allowance) for allowance in allowances)
