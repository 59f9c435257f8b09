"""Triggers a day: priors, updates by cards, runs of false triggers told from animals."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from typing import get_args

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from trod.errors import WrongInput
from trod.planning.ground.site import Feature
from trod.planning.last.arrivals import (
    K_GRID,
    Arrivals,
    DayCount,
    Prior,
    Season,
    discounted,
    drift_variance,
    log_nb,
    night_share,
    prior_for,
)
from trod.telling import endurance as telling

START = date(2027, 3, 1)
FLAT = Season(amplitude=0.0)


def days(animals: list[int], *, blanks: list[int] | None = None, start: date = START) -> list[DayCount]:
    """One count a day from the start on."""
    return [
        DayCount(day=start + timedelta(i), animals=n, blanks=blanks[i] if blanks else 0) for i, n in enumerate(animals)
    ]


def test_a_month_of_cards_counts_for_a_dozen_facts_and_not_for_four_hundred() -> None:
    """Worked by hand from the formulas in docs/models/endurance.md: prior mean 15, 30 days, 420 triggers, k 1.2."""
    prior = Prior(level_per_day=15, season=FLAT)
    x = 30 / 30
    v_w = 0.3**2 * (2 / x**2) * (x - 1 + math.exp(-x))

    level = discounted(prior, total=420, factors=30, days=30, k=1.2)

    assert level.drift == approx(v_w) == approx(0.06622, abs=5e-6)
    assert level.discount == approx(40.478, abs=5e-4)
    assert level.shape == approx(11.9384, abs=5e-5)
    assert level.rate == approx(0.84530, abs=5e-6)
    assert level.per_day == approx(14.123, abs=5e-4)
    assert level.cv == approx(0.2894, abs=5e-5)
    assert 1 / math.sqrt(1.5625 + 420) == approx(0.0487, abs=5e-5)  # what a plain update would claim


def test_the_chance_of_a_busy_day_is_that_of_the_negative_binomial() -> None:
    """NB(mean 14, k 1.2) against scipy.stats.nbinom, and its moments against mean + mean²/k."""
    n = np.arange(5000)
    chance = np.exp(log_nb(n, 14.0, 1.2))

    np.testing.assert_allclose(chance, stats.nbinom(1.2, 1.2 / (1.2 + 14)).pmf(n), rtol=1e-8, atol=1e-300)
    assert chance.sum() == approx(1)
    assert (n * chance).sum() == approx(14)
    assert ((n - 14) ** 2 * chance).sum() == approx(177.333, abs=5e-4)
    assert chance[0] == approx(0.047512, abs=5e-7)
    assert chance[50:].sum() == approx(0.024462, abs=5e-7)


def test_the_drift_of_a_short_window_is_whole_and_of_a_long_one_averages_out() -> None:
    assert drift_variance(1e-6) == approx(0.09)
    assert drift_variance(0.1) == approx(0.09 * (1 - 0.1 / 90), rel=1e-4)
    assert drift_variance(30_000) == approx(0.09 * 2 / 1000, rel=2e-3)
    assert [drift_variance(d) for d in (1, 10, 100)] == sorted((drift_variance(d) for d in (1, 10, 100)), reverse=True)


def test_the_drift_variance_is_that_of_an_averaged_wandering_level() -> None:
    """Against the double sum of exp(-|i - j| / 30) over a window of fine steps."""
    t = (np.arange(600) + 0.5) / 600 * 45
    brute = 0.09 * np.exp(-np.abs(t[:, None] - t[None, :]) / 30).mean()

    assert drift_variance(45) == approx(brute, rel=1e-4)


def test_without_a_card_a_site_is_what_its_kind_says() -> None:
    trail, feeding = Arrivals.for_site("trail"), Arrivals.for_site("feeding")

    assert trail.posterior.level.per_day == approx(15)
    assert trail.posterior.level.cv == approx(0.8)
    assert feeding.posterior.level.per_day == approx(120)
    assert feeding.posterior.night_share == approx(0.6)
    assert trail.posterior.false_run_start == approx(0.03)
    assert trail.posterior.false_run_blanks == approx(60 * math.exp(0.125), rel=0.01)
    assert "assumed" in telling.arrivals(trail)


@pytest.mark.parametrize("feature", get_args(Feature))
def test_every_kind_of_site_has_a_prior_that_says_it_is_assumed(feature: Feature) -> None:
    prior = prior_for(feature)

    assert 1 < prior.level_per_day < 500
    assert "assumed" in prior.source


def test_a_typed_guess_takes_the_place_of_the_kinds_level() -> None:
    prior = prior_for("trail", level_per_day=4)

    assert prior.level_per_day == 4
    assert prior.source.startswith("level typed in")


def test_south_of_the_equator_the_busy_season_is_half_a_year_later() -> None:
    north, south = prior_for("feeding").season, prior_for("feeding", latitude_deg=-40).season

    assert north.factor(20) == approx(south.factor(20 + 365.25 / 2), rel=1e-3)
    assert north.factor(20) > 1 > south.factor(20)


def test_a_wind_exposed_meadow_has_more_false_runs_than_a_den_in_the_wood() -> None:
    assert prior_for("meadow").false_run_start > prior_for("trail").false_run_start > prior_for("den").false_run_start


def test_the_more_days_the_surer_the_level_but_never_as_sure_as_chance_alone_would_be() -> None:
    rng = np.random.default_rng(3)
    animals = [int(n) for n in rng.negative_binomial(1.2, 1.2 / (1.2 + 20), 200)]
    site = Arrivals(prior=Prior(level_per_day=15, season=FLAT))

    cvs = [site.after(days(animals[:n])).posterior.level.cv for n in (0, 30, 60, 200)]

    assert cvs == sorted(cvs, reverse=True)
    assert cvs[-1] > 1 / math.sqrt(sum(animals))
    assert site.after(days(animals)).posterior.level.per_day == approx(20, rel=0.25)


def test_two_cards_tell_the_same_as_one_card_with_all_their_days() -> None:
    counts = days([3, 40, 0, 12, 7, 7, 90, 2, 0, 5] * 6)
    site = Arrivals.for_site("trail")

    once, twice = site.after(counts), site.after(counts[:25]).after(counts[25:])

    assert once.posterior.level == twice.posterior.level
    np.testing.assert_array_equal(once.posterior.k_weights, twice.posterior.k_weights)


def test_a_day_told_again_replaces_the_first_telling() -> None:
    site = Arrivals.for_site("trail").after(days([5, 5, 5])).after(days([9]))

    assert [count.animals for count in site.counts] == [9, 5, 5]


def test_dead_days_are_no_evidence_of_quiet() -> None:
    watched = days([10] * 20)
    dead = [DayCount(day=START + timedelta(20 + i), alive=False) for i in range(20)]
    quiet = days([0] * 20, start=START + timedelta(20))
    site = Arrivals.for_site("trail")

    assert site.after([*watched, *dead]).posterior.level == site.after(watched).posterior.level
    assert site.after([*watched, *quiet]).posterior.level.per_day < site.after(watched).posterior.level.per_day


def test_even_days_mean_a_large_k_and_wild_days_a_small_one() -> None:
    site = Arrivals.for_site("trail")

    even = site.after(days([20, 21, 19, 20] * 10)).posterior.k
    wild = site.after(days([0, 0, 0, 80] * 10)).posterior.k

    assert wild < 0.4
    assert even > 6
    assert site.posterior.k == approx(float(K_GRID @ site.posterior.k_weights))


def test_a_false_run_of_blanks_does_not_make_the_animals_more() -> None:
    blanks = [0] * 30
    blanks[10:13] = [90, 140, 60]
    site = Arrivals.for_site("trail")
    animals = [6] * 30

    false_running, calm = site.after(days(animals, blanks=blanks)).posterior, site.after(days(animals)).posterior

    assert false_running.level == calm.level
    assert false_running.false_run_a == approx(calm.false_run_a + 1)  # three days in a row are one start
    assert false_running.false_run_b == approx(calm.false_run_b - 3)
    assert false_running.false_run_blanks > calm.false_run_blanks
    assert not false_running.in_false_run
    assert site.after(days([6] * 13, blanks=blanks[:13])).posterior.in_false_run


def test_a_few_blanks_on_a_day_belong_to_the_steady_stream() -> None:
    site = Arrivals.for_site("trail")

    with_blanks = site.after(days([6] * 30, blanks=[3] * 30)).posterior

    assert with_blanks.level == site.after(days([9] * 30)).posterior.level
    assert with_blanks.false_run_a == approx(0.9)


def test_where_nobody_told_blanks_apart_a_day_far_beyond_the_others_is_taken_for_a_false_run() -> None:
    counts = [DayCount(day=START + timedelta(i), animals=180 if i in (8, 9) else 6, told_apart=False) for i in range(30)]

    known = Arrivals.for_site("trail").after(counts).posterior

    assert known.false_run_a == approx(1.9)
    assert known.level.per_day < 8.5  # all days as they are: 17.6


def test_night_triggers_move_the_night_share_by_no_more_than_they_are_worth() -> None:
    counts = [DayCount(day=START + timedelta(i), animals=14, night=14) for i in range(30)]
    site = Arrivals(prior=Prior(level_per_day=15))

    known = site.after(counts).posterior

    assert 0.6 < known.night_share < 0.95
    assert site.after([]).posterior.night_share == approx(0.5)


def test_draws_come_from_what_is_known() -> None:
    site = Arrivals.for_site("trail").after(days([14] * 30))
    draws = site.draw(40_000, np.random.default_rng(1))
    known = site.posterior

    assert draws.level.mean() == approx(known.level.per_day, rel=0.01)
    assert draws.level.std() / draws.level.mean() == approx(known.level.cv, rel=0.02)
    assert draws.false_run_start.mean() == approx(known.false_run_start, rel=0.05)
    assert draws.false_run_blanks.mean() == approx(known.false_run_blanks, rel=0.02)
    assert draws.night_share.mean() == approx(known.night_share, rel=0.01)


def test_the_night_share_of_the_hours_counts_the_hour_of_sunrise_in_part() -> None:
    hours = np.zeros(24)
    hours[6] = 10

    assert night_share(hours, sunrise_h=6.25, sunset_h=18) == approx(0.25)
    assert night_share(np.ones(24), sunrise_h=6, sunset_h=18) == approx(0.5)
    with pytest.raises(WrongInput, match=r"hour_share: .* needed: 24 counts"):
        night_share(np.ones(23), sunrise_h=6, sunset_h=18)


def test_the_sentence_tells_both_streams_and_what_they_rest_on() -> None:
    site = Arrivals(prior=Prior(level_per_day=15, season=FLAT))

    known = site.after(days([14] * 30))
    level = known.posterior.level
    low, high = stats.gamma(level.shape, scale=1 / level.rate).ppf([0.1, 0.9])

    assert telling.arrivals(known) == (
        f"Animals and people: about 14 triggers a day ({low:.2g} to {high:.0f}, 8 of 10), and a run of false triggers of about "  # noqa: E501
        "68 blanks a day on 2.9 % of days; from 30 days of pictures."
    )
    assert telling.arrivals(site.after(days([14]))).endswith("from 1 day of pictures.")


def test_impossible_counts_and_priors_are_refused_with_the_day_and_what_is_needed() -> None:
    with pytest.raises(WrongInput, match="animals on 2027-03-01: got -1; needed: a count from 0 to 100000"):
        DayCount(day=START, animals=-1)
    with pytest.raises(WrongInput, match="night on 2027-03-01: got 5; needed: a count, 0 to the animals and people"):
        DayCount(day=START, animals=2, people=1, night=5)
    with pytest.raises(WrongInput, match="level_per_day: got 0; needed: a number above 0"):
        prior_for("trail", level_per_day=0)
    with pytest.raises(WrongInput, match="feature: got 'swamp'; needed: one of trail, road"):
        prior_for("swamp")  # type: ignore[arg-type]


def blanks_at_the_end(days: int, calm: int = 30) -> Arrivals:
    """A trail with quiet weeks and then so many days of many blanks."""
    start = date(2027, 3, 1)
    counts = [DayCount(day=start + timedelta(i), animals=8, night=4) for i in range(calm)]
    counts += [DayCount(day=start + timedelta(calm + i), animals=8, blanks=80, night=4) for i in range(days)]
    return Arrivals.for_site("trail").after(counts)


def test_the_longer_a_run_of_false_triggers_the_likelier_it_stays() -> None:
    """By hand: after n days 0.05·(59/60)^(n−1) against 0.95·0.5^(n−1): 0.05, 0.443 after five, 0.958 after ten."""
    chance = {n: blanks_at_the_end(n).posterior.chance_lasting for n in (0, 1, 5, 10, 30)}

    assert chance[0] == 0
    assert chance[1] == approx(0.05)
    assert chance[5] == approx(0.4405, abs=1e-4)
    assert chance[10] == approx(0.9586, abs=1e-4)
    assert chance[30] > 0.9999


def test_the_hazard_of_a_runs_end_falls_with_its_length() -> None:
    ends_tomorrow = [1 - blanks_at_the_end(n).posterior.chance_run_on(1) for n in (1, 3, 6, 10, 20)]

    assert ends_tomorrow == sorted(ends_tomorrow, reverse=True)
    assert ends_tomorrow[0] == approx(0.95 * 0.5 + 0.05 / 60)
    assert ends_tomorrow[-1] == approx(1 / 60, abs=1e-3)


def test_a_run_is_counted_to_the_last_day_only_and_a_missing_day_or_a_scythe_ends_it() -> None:
    site = blanks_at_the_end(8)
    last = site.counts[-1].day

    assert site.posterior.run_days == 8
    assert site.after([DayCount(day=last + timedelta(1), animals=8)]).posterior.run_days == 0
    assert site.after([DayCount(day=last + timedelta(2), animals=8, blanks=90)]).posterior.run_days == 1
    assert replace(site, run_ended=True).posterior.run_days == 0


def test_days_that_nobody_has_seen_are_taken_to_go_on_as_the_run_does() -> None:
    site = blanks_at_the_end(12)
    known, last = site.posterior, site.counts[-1].day

    assert known.per_day_on(last + timedelta(1)) > known.per_day + 0.9 * known.false_run_blanks
    assert known.per_day_on(last + timedelta(400)) == approx(known.per_day, rel=0.05)
    assert "false triggers for 12 days in a row" in telling.arrivals(site)
