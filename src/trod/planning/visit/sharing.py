"""So many trips and no more: how they are best shared out among cameras, or among parts of a reserve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput, positive
from trod.planning.visit.upkeep import lost_days

Floats = NDArray[np.float64]
SHORTEST_DAYS = 1.0


def price_at(stopped: ArrayLike) -> Floats:
    """For each day τ of a forecast the price of a visit at which τ is the best interval: ∫₀^τ t dF. [camera-days]

    stopped : chance of having stopped for any cause by day 0, 1, 2 …; may be a sum over several cameras that are
    visited together.
    """
    curve = np.asarray(stopped, dtype=float)
    if curve.ndim != 1 or len(curve) < 2 or not np.all(np.diff(curve) >= -1e-9) or not curve[0] >= 0:
        raise WrongInput(
            "stopped", got=f"shape {curve.shape}", needed="chances for each day that only grow, day 0 first"
        )
    days = np.arange(len(curve), dtype=float)
    return np.concatenate(([0.0], np.cumsum(np.diff(curve) * (days[1:] + days[:-1]) / 2)))


@dataclass(frozen=True, kw_only=True)
class Shared:
    """Trips shared out.

    intervals : days between trips to each. price_days : the price of one trip in camera-days at which each of them is
    the best interval: what one more trip would save. trips : expected, in all. lost_a_day : camera-days lost in a day,
    all together.
    """

    intervals: tuple[float, ...]
    price_days: float
    trips: float
    lost_a_day: float


def share_trips(stopped: Sequence[ArrayLike], *, trips: float, over_days: ArrayLike, end_visit: bool = False) -> Shared:
    """The intervals that lose least with so many trips.

    Parameters
    ----------
    stopped : for each camera (or each part of the reserve, as the sum of its cameras) the chance of having stopped for
        any cause by day 0, 1, 2 … since its last visit. Add faults and theft first (`upkeep.with_hazard`).
    trips : that can be made. over_days : in how many days, from each one's last visit; one number or one for each.
    end_visit : whether all are visited at the end anyway, outside these trips.

    Notes
    -----
    Minimises Σ L(τᵢ)/τᵢ under Σ over/τᵢ = trips. At the optimum one price fits all: ∫₀^τᵢ t dFᵢ = c for each i
    (Lagrange), found by bisection. No interval is longer than its forecast nor shorter than a day.
    """
    if not stopped:
        raise WrongInput("stopped", got=0, needed="at least one camera")
    positive("trips", trips, needed="a number of trips, 0 or more", zero=True)
    over = np.broadcast_to(np.asarray(over_days, dtype=float), (len(stopped),))
    if not np.all(over > 0):
        raise WrongInput("over_days", got=float(over.min()), needed="days, above 0")
    prices = [price_at(curve) for curve in stopped]
    days = [np.arange(len(met), dtype=float) for met in prices]

    def intervals(price: float) -> Floats:
        # Beyond a forecast's last price its last day stands.
        each = [float(np.interp(price, met, after)) for met, after in zip(prices, days, strict=True)]
        return np.maximum(SHORTEST_DAYS, each)

    def count(days: Floats) -> float:
        return float(np.sum(np.maximum(0.0, over / days - (1 if end_visit else 0))))

    low, high = 0.0, max(float(met[-1]) for met in prices)
    if count(intervals(high)) >= trips:
        low = high  # even the longest intervals take all trips
    while high - low > 1e-5 * max(high, 1e-4):
        middle = (low + high) / 2
        low, high = (middle, high) if count(intervals(middle)) > trips else (low, middle)
    found = intervals(high)
    lost = sum(
        # A sum over cameras goes above 1; lost days are linear in it.
        _lost(np.asarray(curve, dtype=float), days) / days
        for curve, days in zip(stopped, found.tolist(), strict=True)
    )
    return Shared(intervals=tuple(found.tolist()), price_days=high, trips=count(found), lost_a_day=float(lost))


def _lost(curve: Floats, days: float) -> float:
    whole = max(1.0, float(curve[-1]))
    return whole * float(lost_days(curve / whole, days))
