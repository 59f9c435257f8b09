"""When to visit."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pytest import approx
from scipy.stats import norm

from trod import wording
from trod.errors import WrongInput
from trod.planning.visit.upkeep import (
    Access,
    Closure,
    GoWhy,
    Standing,
    VisitPrice,
    best_day_for_round,
    best_interval,
    best_next_date,
    cards_lost,
    chance_by,
    day_of_chance,
    hazard_from_log,
    lost_days,
    with_hazard,
)
from trod.telling import upkeep

Floats = NDArray[np.float64]
TODAY = date(2025, 5, 1)
PRICE = VisitPrice(travel_min=45, work_min=15, disturbance_days=2, camera_day_min=15)  # 6 camera-days


def at_random(mean_days: float, *, days: int = 3000, step: float = 1.0) -> Floats:
    """Stops that come at random."""
    return np.asarray(1 - np.exp(-np.arange(int(days / step) + 1) * step / mean_days))


def nearly_a_step(median: float, *, spread: float = 0.25, days: int = 400) -> Floats:
    """Batteries or card: hardly ever early, and then nearly all at once (lognormal)."""
    with np.errstate(divide="ignore"):
        return np.asarray(norm.cdf(np.log(np.arange(days + 1) / median) / spread))


def standing(name: str = "Otter ford", *, ago: int = 0, median: float = 100, **changed: object) -> Standing:
    usual = Standing(
        name=name,
        visited_on=TODAY - timedelta(days=ago),
        stopped=nearly_a_step(median),
        price=PRICE,
        hazard_per_day=1 / 600,
    )
    return replace(usual, **changed)  # type: ignore[arg-type]


def test_lost_days_when_stops_come_at_random() -> None:
    """By hand: 30 − 120·(1 − e^(−1/4)) = 3.456094."""
    assert float(lost_days(at_random(120, step=0.02), 30, step_days=0.02)) == approx(3.456094, abs=1e-5)
    assert float(lost_days(at_random(120), 30)) == approx(3.456094, abs=2e-4)


def test_a_camera_that_surely_stops_on_day_ten_loses_what_comes_after() -> None:
    sure = np.concatenate((np.zeros(10), np.ones(31)))  # between day 9 and day 10, evenly

    assert lost_days(sure, [9, 10, 25]) == approx([0, 0.5, 15.5])
    assert float(lost_days(sure, 9.5)) == approx(0.125)


@pytest.mark.parametrize(
    ("mean", "cost", "days"),
    [(500, 10, 107.350), (120, 1, 16.201), (120, 5, 38.495), (120, 10, 57.249), (120, 30, 115.353)],
)
def test_the_general_rule_gives_the_textbook_interval_for_stops_at_random(mean: float, cost: float, days: float) -> None:
    """1 − (1 + lτ)e^(−lτ) = l·c, solved in another program."""
    fine = best_interval(at_random(mean, days=400, step=0.05), cost, 1e-12, step_days=0.05)

    assert fine.days == approx(days, abs=2e-3)
    assert best_interval(at_random(mean), cost, 1e-12).days == approx(days, rel=2e-3)


def test_faults_and_theft_alone_are_stops_at_random() -> None:
    never = np.zeros(2001)

    assert best_interval(never, 5, 1 / 120).days == approx(38.495, abs=0.01)
    assert with_hazard(never, 1 / 120) == approx(at_random(120, days=2000))


@given(
    median=st.floats(5, 150),
    spread=st.floats(0.05, 1.0),
    cost=st.floats(0.2, 30),
    hazard=st.floats(1e-5, 0.02),
)
def test_at_the_best_interval_the_chance_of_finding_it_dead_is_the_cost_of_a_day(
    median: float, spread: float, cost: float, hazard: float
) -> None:
    stopped = nearly_a_step(median, spread=spread)
    found = best_interval(stopped, cost, hazard)
    grid = np.arange(1.0, 400.0)
    by_hand = (cost + lost_days(with_hazard(stopped, hazard), grid)) / grid

    assert found.cost_per_day <= by_hand.min() * (1 + 1e-9) or found.outcome == "never worth a visit"
    if found.outcome == "best":
        assert found.chance_stopped == approx(found.cost_per_day, rel=1e-6)


def test_batteries_and_cards_are_no_random_faults_the_textbook_goes_far_too_often() -> None:
    stopped = nearly_a_step(160)
    mean = float(400 - lost_days(stopped, 400))

    ours, textbook = best_interval(stopped, 6, 1e-9).days, best_interval(at_random(mean), 6, 1e-12).days

    assert ours is not None and textbook is not None
    assert ours / textbook > 1.3


def test_without_a_word_on_faults_no_long_interval_is_called_best() -> None:
    for said in (None, 0.0):
        found = best_interval(nearly_a_step(330), 6, said)

        assert (found.days, found.at_most_days, found.outcome) == (None, 200, "ask for the hazard")
    assert best_interval(nearly_a_step(330), 6, 1 / 600).days == approx(86, abs=8)


def test_a_short_interval_without_a_word_on_faults_says_what_is_missing() -> None:
    found = best_interval(nearly_a_step(40), 2, None)

    assert found.days is not None and found.days < 40


def test_a_visit_dearer_than_the_camera_lasts_is_never_worth_it() -> None:
    found = best_interval(nearly_a_step(10), 30, 1 / 600)

    assert (found.days, found.outcome) == (None, "never worth a visit")


def test_more_faults_call_for_more_visits() -> None:
    days = [best_interval(nearly_a_step(100), 6, hazard).days for hazard in (1e-6, 1 / 2000, 1 / 600, 1 / 100)]

    assert days == sorted(days, reverse=True)  # type: ignore[type-var]


def test_the_day_of_a_chance_lies_between_the_days_of_the_forecast() -> None:
    stopped = nearly_a_step(100)
    tenth = day_of_chance(stopped)

    assert tenth == approx(100 * np.exp(0.25 * norm.ppf(0.1)), abs=0.02)
    assert chance_by(stopped, tenth) == approx(0.1)
    assert day_of_chance(nearly_a_step(2000)) is None


def test_the_reserves_own_log_gives_the_hazard_with_its_limits() -> None:
    """Garwood (1936): for 3 sequences the 90 % Poisson limits are 0.818 and 7.754 (standard table, from memory)."""
    hazard = hazard_from_log(3, 1800)

    assert hazard.per_day == approx(1 / 600)
    assert hazard.low * 1800 == approx(0.818, abs=5e-4)
    assert hazard.high * 1800 == approx(7.754, abs=5e-4)
    assert hazard_from_log(0, 1000).per_day > 0


def test_the_price_of_a_visit_in_camera_days() -> None:
    assert PRICE.travel_days == 3 and PRICE.own_days == 3 and PRICE.days == 6
    assert VisitPrice(travel_min=0).own_days == approx(10 / 15 + 2)


def test_the_next_visit_is_the_best_interval_after_the_last() -> None:
    camera = standing(ago=20)
    found = best_next_date(camera, today=TODAY)
    interval = best_interval(camera.stopped, 6, 1 / 600).days

    assert interval is not None and found.best is not None
    assert abs((found.best - camera.visited_on).days - interval) <= 1
    assert found.plan_on == min(found.best, found.tenth or found.best)
    assert upkeep.go(GoWhy(visit=found)).startswith("Go by ")


def test_a_camera_that_is_long_due_is_visited_today() -> None:
    found = best_next_date(standing(ago=150), today=TODAY)

    assert found.best == found.plan_on == TODAY
    assert upkeep.go(GoWhy(visit=found)) == (
        "Go today. By now it has almost surely stopped, and about 56 camera-days are lost on the average."
    )


def test_common_practice_the_planner_works_from_the_ten_percent_date_not_the_median() -> None:
    """Common practice. With a dear visit the least cost lies after it; the plan keeps to the tenth all the same."""
    dear = replace(PRICE, travel_min=600)
    camera = standing(price=dear, hazard_per_day=1e-4)

    found = best_next_date(camera, today=TODAY)
    median = day_of_chance(camera.stopped, 0.5)

    assert found.best is not None and found.tenth is not None and median is not None
    assert found.best > found.tenth
    assert found.plan_on == found.tenth
    assert (found.plan_on - camera.visited_on).days < median
    assert upkeep.reason(GoWhy(visit=found)).endswith(
        f"By price alone {wording.day(found.best)} would do, but forecasts err on the late side."
    )


@pytest.mark.parametrize(
    ("ago", "median", "words"),
    [
        (0, 3000, "hardly any chance of having stopped, and hardly a camera-day is lost"),
        (0, 100, "it has stopped with a chance of 9 in 100, and less than a camera-day is lost on the average"),
        (120, 100, "By now it has stopped with a chance of 77 in 100, and about 21 camera-days are lost on the average"),
    ],
)
def test_the_words_say_no_naught_point_naught(ago: int, median: float, words: str) -> None:
    visit = best_next_date(standing(ago=ago, median=median, hazard_per_day=None), today=TODAY)
    said = upkeep.go(GoWhy(visit=visit))

    assert words in said
    assert "0.0" not in said


def test_the_tenth_is_the_day_during_which_it_is_reached() -> None:
    """The curve tells what has stopped by the end of a day: reached at the end of day 50 is during day 49 to 50."""
    curve = np.where(np.arange(401) < 50, 0.0, 0.1) + np.where(np.arange(401) < 60, 0.0, 0.9)

    assert best_next_date(standing(stopped=curve), today=TODAY).tenth == TODAY + timedelta(days=49)


def test_a_closure_moves_the_visit_before_or_after_it_whichever_loses_less() -> None:
    camera = standing()
    free = best_next_date(camera, today=TODAY).best
    assert free is not None

    def closed(first: int, last: int) -> Access:
        lies = Closure(first=free + timedelta(days=first), last=free + timedelta(days=last), why="hinds calving")
        return Access(closures=(lies,))

    early = best_next_date(replace(camera, access=closed(-3, 40)), today=TODAY)
    late = best_next_date(replace(camera, access=closed(-40, 3)), today=TODAY)

    assert early.best == free - timedelta(days=4)
    assert late.best == free + timedelta(days=4)
    assert early.held_up_by is not None
    assert "A better day is closed (hinds calving)." in upkeep.reason(GoWhy(visit=early))


def test_the_plan_keeps_to_open_days() -> None:
    camera = standing(price=replace(PRICE, travel_min=600), hazard_per_day=1e-4)
    tenth = best_next_date(camera, today=TODAY).tenth
    assert tenth is not None

    lies = Closure(first=tenth - timedelta(days=5), last=tenth + timedelta(days=5))
    found = best_next_date(replace(camera, access=Access(closures=(lies,))), today=TODAY)

    assert found.plan_on == tenth - timedelta(days=6)


def test_when_no_day_is_open_none_is_given_and_why() -> None:
    shut = Access(closures=(Closure(first=TODAY, last=TODAY + timedelta(days=900), why="closed by the owner"),))

    found = best_next_date(standing(access=shut), today=TODAY)

    assert found.best is None and found.plan_on is None
    assert upkeep.go(GoWhy(visit=found)) == f"No day is open until {wording.day(found.looked_to)} (closed by the owner)."


def test_snow_on_the_way_puts_a_visit_off_or_brings_it_forward() -> None:
    winter = standing(visited_on=date(2025, 10, 1), hazard_per_day=1 / 600, price=replace(PRICE, travel_min=90))
    without = best_next_date(winter, today=date(2025, 10, 1)).best
    assert without is not None and without.month in (12, 1)

    snowed = replace(winter, access=Access(snow_months=(12, 1, 2, 3), snow_factor=4))
    found = best_next_date(snowed, today=date(2025, 10, 1)).best

    assert found == date(2025, 11, 30)


def test_a_round_goes_when_the_chances_together_reach_the_cost_of_a_day() -> None:
    """The first-order condition for cameras that share the way: ΣF = G on the best day."""
    cameras = [standing(f"site {i}", median=80 + 10 * i) for i in range(4)]

    found = best_day_for_round(cameras, today=TODAY, travel_days=12)
    assert found.day is not None
    wait = (found.day - TODAY).days
    price = 12 + sum(camera.price.own_days for camera in cameras)
    lost = sum(float(lost_days(camera.curve, wait)) for camera in cameras)
    together = sum(chance for _, chance in found.chances)

    assert wait == found.every_days
    assert together == approx((price + lost) / wait, rel=0.03)
    assert found.lost_days == approx(lost)


def test_a_camera_visited_last_week_is_left_and_one_nearly_dead_is_taken() -> None:
    cameras = [
        standing("Old mill", ago=90),
        standing("Otter ford", ago=85),
        standing("High saddle", ago=0, median=300, hazard_per_day=1 / 5000),
    ]

    found = best_day_for_round(cameras, today=TODAY, travel_days=2)

    assert found.take == ("Old mill", "Otter ford")
    assert found.leave == ("High saddle",)
    assert upkeep.round_to_all(found).endswith("to 2 of 3 cameras; High saddle can wait.")


def test_a_round_goes_before_the_snow_makes_the_way_long() -> None:
    autumn = date(2025, 10, 1)
    cameras = [standing("Old mill", visited_on=autumn), standing("Otter ford", visited_on=autumn)]
    snow = Access(snow_months=(12, 1, 2, 3), snow_factor=5)

    free = best_day_for_round(cameras, today=autumn, travel_days=10)
    snowed = best_day_for_round(cameras, today=autumn, travel_days=10, access=snow)

    assert free.day is not None and free.day.month == 12
    assert snowed.day == date(2025, 11, 30)


def test_a_round_keeps_off_closed_days() -> None:
    cameras = [standing("Old mill", ago=120)]
    shut = Access(closures=(Closure(first=TODAY, last=TODAY + timedelta(days=9)),))

    assert best_day_for_round(cameras, today=TODAY, travel_days=2).day == TODAY
    assert best_day_for_round(cameras, today=TODAY, travel_days=2, access=shut).day == TODAY + timedelta(days=10)


@pytest.mark.parametrize(
    ("stopped", "words"),
    [
        ([0.0, 0.5, 0.4], "chances that only grow, 0 to 1"),
        ([0.0, 1.5], "chances that only grow, 0 to 1"),
        ([0.3], "a chance for each day, day 0 first"),
        ([0.0, float("nan")], "chances that only grow, 0 to 1"),
    ],
)
def test_a_curve_that_is_no_distribution_is_refused(stopped: list[float], words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        best_interval(stopped, 5, 0.001)


def test_days_beyond_the_forecast_are_refused_not_guessed() -> None:
    with pytest.raises(WrongInput, match=r"days: got 41\.0; needed: days within the forecast, 0 to 40"):
        lost_days(nearly_a_step(30, days=40), 41)
    with pytest.raises(WrongInput, match="make a longer forecast"):
        best_next_date(standing(ago=500), today=TODAY)
    with pytest.raises(WrongInput, match="needed: a day not before the last visit, 2025-05-11"):
        best_next_date(standing(ago=-10), today=TODAY)


def test_what_vanishes_with_cards_is_the_closed_form() -> None:
    """Never stopped by batteries or card, every loss a theft: P(τ) = (1 − (1 + hτ)e^(−hτ))/h; with d days on the card
    already, d·(1 − e^(−hτ)) more. Derived here by parts.
    """
    h, tau = 1 / 120, 90
    lost = cards_lost(np.zeros(401), h, 1.0)
    hung = cards_lost(np.zeros(401), h, 1.0, hung_days=30)

    assert lost[tau] == approx((1 - (1 + h * tau) * math.exp(-h * tau)) / h, rel=1e-4)
    assert hung[tau] - lost[tau] == approx(30 * (1 - math.exp(-h * tau)), rel=1e-4)
    assert not cards_lost(np.zeros(401), h, 0.0).any() and not cards_lost(np.zeros(401), 0.0, 1.0).any()


def test_pictures_that_vanish_with_the_card_shorten_the_best_interval_to_where_a_day_costs_least() -> None:
    """Against brute force over the days: (c + L + P)/τ."""
    stopped, h, price = nearly_a_step(330, days=700), 1 / 300, 6.0
    days = np.arange(1.0, 600)
    found = best_interval(stopped, price, h, card_lost_share=0.5)
    cost = (price + lost_days(with_hazard(stopped, h), days) + cards_lost(stopped, h, 0.5)[1:600]) / days

    assert found.days == approx(float(days[np.argmin(cost)]), abs=1.5)
    assert found.cost_per_day == approx(float(cost.min()), rel=1e-3)
    assert found.days < best_interval(stopped, price, h).days


def test_the_long_run_is_that_of_a_fresh_set_and_not_of_one_that_is_half_used() -> None:
    """A half-used set is visited sooner, but each further interval begins with fresh batteries: what a day of waiting
    is worth is theirs.
    """
    fresh, used = nearly_a_step(200), nearly_a_step(60)
    camera = standing(stopped=used, ago=5)
    before = best_next_date(camera, today=TODAY)
    after = best_next_date(replace(camera, fresh=fresh), today=TODAY)

    assert before.interval.days == approx(best_interval(used, 6, 1 / 600).days)
    assert after.interval.days == approx(best_interval(fresh, 6, 1 / 600).days)
    assert after.interval.cost_per_day < before.interval.cost_per_day
    assert after.best is not None and before.best is not None and after.best < before.best


def test_a_card_that_has_hung_long_among_thieves_is_fetched_sooner() -> None:
    camera = replace(standing(ago=5), hazard_per_day=1 / 150, card_lost_share=0.5)
    short, long = (best_next_date(replace(camera, hung_days=n), today=TODAY).best for n in (0, 200))

    assert long is not None and short is not None and long < short


def test_a_share_that_is_none_is_refused() -> None:
    with pytest.raises(WrongInput, match=r"share: got 1\.5; needed: a share from 0 to 1"):
        cards_lost([0, 0.5], 0.1, 1.5)
