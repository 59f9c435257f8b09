"""Textbook intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.visit.inspection import (
    mean_dead_days,
    per_day_interval,
    per_failure_interval,
    replacement_age,
    square_root_interval,
)


@pytest.mark.parametrize(
    ("rate", "cost", "days", "near"),
    [
        (1, 1, 1.146193, 1.4142),
        (1, 1 / 10, 0.416221, 0.4472),
        (1, 1 / 100, 0.138165, 0.1414),
        (1 / 500, 10, 96.775, 100.0),
    ],
)
def test_the_interval_with_the_least_cost_for_each_failure(rate: float, cost: float, days: float, near: float) -> None:
    """Barlow & Proschan (1965), Mathematical Theory of Reliability, chapter 4 §3 (formula from memory); solved
    by direct minimisation in another program."""
    tolerance = 1e-5 if rate == 1 else 5e-4
    assert per_failure_interval(rate=rate, cost_days=cost) == approx(days, abs=tolerance)
    assert square_root_interval(rate=rate, cost_days=cost) == approx(near, abs=5e-5)


def test_the_cost_of_a_failure_at_the_best_interval() -> None:
    """Barlow & Proschan (1965), as above: one failure in 500 days, a look for 10 days' worth; 106.775 days' worth is
    paid for each failure in the least case, and more at any other interval."""
    rate, cost = 1 / 500, 10.0

    def paid(days: float) -> float:
        return (cost + days) / -math.expm1(-rate * days) - 1 / rate

    best = per_failure_interval(rate=rate, cost_days=cost)
    assert paid(best) == approx(106.775, abs=5e-4)
    assert paid(best) < min(paid(best - 1), paid(best + 1))


@pytest.mark.parametrize(
    ("mean", "cost", "per_failure", "per_day", "root"),
    [
        (500, 10, 96.775, 107.350, 100.0),
        (120, 1, 15.166, 16.201, 15.49),
        (120, 5, 33.052, 38.495, 34.64),
        (120, 10, 45.871, 57.249, 48.99),
        (120, 30, 75.926, 115.353, 84.85),
    ],
)
def test_cost_a_day_asks_for_longer_intervals_than_cost_a_failure(
    mean: float, cost: float, per_failure: float, per_day: float, root: float
) -> None:
    """Ours, solved in another program; the first column is Barlow & Proschan's."""
    assert per_failure_interval(rate=1 / mean, cost_days=cost) == approx(per_failure, abs=5e-4)
    assert per_day_interval(rate=1 / mean, cost_days=cost) == approx(per_day, abs=5e-4)
    assert square_root_interval(rate=1 / mean, cost_days=cost) == approx(root, abs=5e-3)


def test_a_visit_as_dear_as_the_time_to_failure_is_never_worth_it() -> None:
    assert per_day_interval(rate=1, cost_days=1) == math.inf


def test_the_interval_is_where_a_search_finds_the_least_cost() -> None:
    days = np.arange(1, 400, 0.01)
    lost = days + np.expm1(-days / 120) / (1 / 120)

    assert per_day_interval(rate=1 / 120, cost_days=5) == approx(float(days[np.argmin((5 + lost) / days)]), abs=0.02)


def test_dead_days_between_visits_when_failures_come_at_random() -> None:
    """By hand: 30 − 120·(1 − e^(−1/4)) = 3.456094 days, 11.52 %; λτ²/2 would say 3.75."""
    assert mean_dead_days(rate=1 / 120, days=30) == approx(3.456094, abs=5e-7)
    assert mean_dead_days(rate=1 / 120, days=30) / 30 == approx(0.1152, abs=5e-5)


def test_the_age_at_which_a_part_that_wears_out_is_replaced() -> None:
    """Weibull shape 2.5, scale 1000 h, prices 1 and 5: 493.0470 h and 0.00346204 an hour. ReliaSoft, ReliaWiki,
    "Optimum replacement time example" (from memory; the figures come out of the formula)."""
    age, cost = replacement_age(shape=2.5, scale=1000, planned=1, failed=5)

    assert age == approx(493.0470, abs=1e-3)
    assert cost == approx(0.00346204, abs=5e-9)
    assert replacement_age(shape=3, scale=150, planned=2, failed=8)[0] == approx(83.123, abs=1e-3)


def test_a_part_that_does_not_wear_has_no_best_age() -> None:
    with pytest.raises(WrongInput, match="else there is no best age"):
        replacement_age(shape=1, scale=1000, planned=1, failed=5)
