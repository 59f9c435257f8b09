"""What a fix is worth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pytest import approx
from scipy.stats import norm

from trod.planning.visit.fixes import worth_of_fix
from trod.planning.visit.upkeep import lost_days

Floats = NDArray[np.float64]


def stops_about(median: float) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(norm.cdf(np.log(np.arange(401) / median) / 0.25))


def test_a_card_four_times_as_big_saves_days_and_trips() -> None:
    """34 days against 98: a feeding ground's 32 and 128 GB."""
    worth = worth_of_fix(stops_about(34), stops_about(98), cost_in_lost_days=6, hazard_per_day=1 / 600)

    assert worth.saved_days_a_year > 30
    assert worth.trips_saved_a_year > 5


def test_at_a_kept_interval_what_is_saved_is_the_difference_of_lost_days() -> None:
    before, after = stops_about(34), stops_about(98)

    worth = worth_of_fix(before, after, cost_in_lost_days=6, hazard_per_day=0.0, every_days=30)
    by_hand = (float(lost_days(before, 30)) - float(lost_days(after, 30))) * 365.25 / 30

    assert worth.saved_days_a_year == approx(by_hand)
    assert worth.trips_saved_a_year == 0


def test_a_fix_that_changes_nothing_is_not_worth_its_price() -> None:
    worth = worth_of_fix(
        stops_about(80), stops_about(80), cost_in_lost_days=6, hazard_per_day=1 / 600, price_in_lost_days=2
    )

    assert worth.saved_days_a_year == approx(-2)


def test_moving_it_up_the_tree_pays_by_less_theft() -> None:
    same = stops_about(120)

    worth = worth_of_fix(same, same, cost_in_lost_days=6, hazard_per_day=1 / 100, hazard_after=1 / 1000)

    assert worth.saved_days_a_year > 20
    assert worth.after.at_most_days > worth.before.at_most_days


def test_less_theft_counts_at_a_kept_interval_too() -> None:
    """By hand: 365.25/30 intervals, each with 30 − (1 − e^(−30h))/h days lost, h 1/100 and 1/1000."""
    never = np.zeros(401)
    days = [30 - (1 - np.exp(-30 * h)) / h for h in (1 / 100, 1 / 1000)]

    worth = worth_of_fix(never, never, cost_in_lost_days=6, hazard_per_day=1 / 100, hazard_after=1 / 1000, every_days=30)

    assert worth.saved_days_a_year == approx((days[0] - days[1]) * 365.25 / 30, rel=1e-3)
