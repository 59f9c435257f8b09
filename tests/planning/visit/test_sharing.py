"""Trips shared out."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest import approx
from scipy.optimize import minimize
from scipy.stats import norm

from trod.errors import WrongInput
from trod.planning.visit.sharing import price_at, share_trips
from trod.planning.visit.upkeep import best_interval, lost_days, with_hazard

Floats = NDArray[np.float64]


def stops_about(median: float, hazard: float = 1 / 600) -> Floats:
    with np.errstate(divide="ignore"):
        batteries = np.asarray(norm.cdf(np.log(np.arange(401) / median) / 0.25))
    return with_hazard(batteries, hazard)


def test_the_price_of_an_interval_is_the_one_that_the_interval_is_best_at() -> None:
    curve = stops_about(60)
    price = float(price_at(curve)[45])

    assert best_interval(curve, price, 1e-12).days == approx(45, abs=1e-3)


def test_no_other_sharing_of_the_trips_loses_less() -> None:
    curves = [stops_about(median) for median in (20, 45, 120, 300)]

    found = share_trips(curves, trips=48, over_days=360)
    lost = sum(float(lost_days(c, t)) / t for c, t in zip(curves, found.intervals, strict=True))

    def cost(rates: Floats) -> float:
        return sum(float(lost_days(c, 1 / r)) * r for c, r in zip(curves, rates, strict=True))

    searched = minimize(
        cost,
        np.full(4, 12 / 360),
        bounds=[(1 / 390, 1 / 3)] * 4,
        constraints={"type": "eq", "fun": lambda rates: rates.sum() - 48 / 360},
        method="SLSQP",
    )

    assert found.trips == approx(48, rel=1e-3)
    assert found.lost_a_day == approx(lost)
    assert found.lost_a_day <= searched.fun * 1.0005
    assert found.lost_a_day < 0.7 * cost(np.full(4, 12 / 360))


def test_busy_cameras_get_the_trips_that_quiet_ones_do_not_need() -> None:
    found = share_trips([stops_about(20), stops_about(300)], trips=24, over_days=360)

    assert found.intervals[0] < 20 < 40 < found.intervals[1]


def test_alike_cameras_are_visited_alike() -> None:
    found = share_trips([stops_about(60)] * 5, trips=60, over_days=360)

    assert found.intervals == approx([30] * 5, rel=1e-3)


def test_one_more_trip_saves_about_its_price() -> None:
    curves = [stops_about(median) for median in (20, 45, 120)]
    few, more = (share_trips(curves, trips=trips, over_days=360) for trips in (36, 37))

    saved = 360 * (few.lost_a_day - more.lost_a_day)

    assert saved == approx((few.price_days + more.price_days) / 2, rel=0.02)


def test_cameras_visited_together_count_as_their_sum() -> None:
    curve = stops_about(60)
    together = share_trips([curve * 5, stops_about(60) * 5], trips=24, over_days=360)

    assert together.intervals == approx([30, 30], rel=1e-3)
    assert together.lost_a_day == approx(10 * float(lost_days(curve, 30)) / 30, rel=1e-2)


def test_a_visit_at_the_end_saves_a_trip_for_each() -> None:
    found = share_trips([stops_about(60)] * 4, trips=4 * 11, over_days=360, end_visit=True)

    assert found.intervals == approx([30] * 4, rel=1e-3)


def test_with_no_trips_the_forecasts_end_is_the_interval() -> None:
    found = share_trips([stops_about(60)], trips=0, over_days=360)

    assert found.intervals == (400,)


def test_with_more_trips_than_days_each_is_visited_daily() -> None:
    found = share_trips([stops_about(60)] * 2, trips=5000, over_days=360)

    assert found.intervals == approx((1, 1), abs=0.05)


def test_a_falling_chance_is_refused() -> None:
    with pytest.raises(WrongInput, match="needed: chances for each day that only grow, day 0 first"):
        price_at([0.0, 0.5, 0.2])
    with pytest.raises(WrongInput, match=r"over_days: got 0\.0; needed: days, above 0"):
        share_trips([stops_about(60)], trips=3, over_days=0)
