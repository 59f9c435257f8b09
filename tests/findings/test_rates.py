"""Rates and their intervals against printed values, limits and simulation."""

from __future__ import annotations

import math

import numpy as np
import printed
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import rates

# --- Garwood --------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", printed.rows("garwood_1936_poisson_limits"), ids=lambda row: row["count"])
def test_exact_poisson_limits_against_garwood_1936(row: dict[str, str]) -> None:
    """F. Garwood (1936) Biometrika 28:437–442; printed to four decimals."""
    low, high = rates.garwood(int(row["count"]))

    assert (low, high) == (approx(float(row["low"]), abs=6e-5), approx(float(row["high"]), abs=6e-5))


def test_rule_of_three_against_hanley_and_lippman_hand_1983() -> None:
    """J. A. Hanley & A. Lippman-Hand (1983) JAMA 249:1743–1745: none in n gives an upper limit near 3/n."""
    assert rates.upper_limit_when_none(0.95) == approx(2.99573, abs=5e-6)
    value, interval = rates.exact_rate(0, 300)
    assert (value, interval.low, interval.high) == (0.0, 0.0, approx(2.99573 / 3, abs=1e-5))
    assert interval.kind == "one-sided exact Poisson limit (none was seen)"


def test_23_passages_in_1840_camera_days_per_100() -> None:
    """Worked from Garwood (1936): 1.25 (0.7924 to 1.8756) per 100 days."""
    value, interval = rates.exact_rate(23, 1840)

    assert (value, interval.low, interval.high) == (
        approx(1.25),
        approx(0.7924, abs=5e-5),
        approx(1.8756, abs=5e-5),
    )


@given(st.integers(0, 5000))
def test_garwoods_limits_are_the_counts_whose_tails_are_2_5_per_cent(count: int) -> None:
    from scipy import stats

    low, high = rates.garwood(count)
    assert low <= count <= high
    assert stats.poisson.cdf(count, high) == approx(0.025, rel=1e-6)
    if count:
        assert stats.poisson.sf(count - 1, low) == approx(0.025, rel=1e-6)


@given(st.integers(0, 500), st.floats(0.5, 0.99))
def test_limits_grow_with_the_count_and_the_level(count: int, level: float) -> None:
    low, high = rates.garwood(count, level)
    more_low, more_high = rates.garwood(count + 1, level)
    wide_low, wide_high = rates.garwood(count, level + (1 - level) / 2)

    assert more_low > low - 1e-12 and more_high > high
    assert wide_low <= low and wide_high >= high


def test_no_effort_gives_no_rate() -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        rates.exact_rate(3, 0)

    assert str(refused.value) == "effort is 0 camera-days; a rate needs time in which a camera watched"


def test_nonsense_counts_and_levels_are_refused() -> None:
    for call in (lambda: rates.garwood(-1), lambda: rates.garwood(3, 1.0), lambda: rates.exact_rate(3, 9, 0)):
        with pytest.raises(WrongInput):
            call()


# --- two rates ------------------------------------------------------------------------------------


def test_ratio_of_two_poisson_rates_against_fay_2010() -> None:
    """M. P. Fay (2010) R Journal 2(1):53–58: 2 events in 17 877 against 10 in 20 000.

    Rate ratio 0.223751, exact interval (0.0238, 1.0500), central p 0.06056. (The minimum-likelihood p,
    0.04213, contradicts the interval.)"""
    found = rates.ratio_of_rates(count_a=2, effort_a=17_877, count_b=10, effort_b=20_000)

    assert found.ratio == approx(0.223751, abs=5e-7)
    assert (found.interval.low, found.interval.high) == (approx(0.0238, abs=5e-5), approx(1.0500, abs=5e-5))
    assert found.p == approx(0.06056, abs=5e-6)


@given(st.integers(0, 60), st.integers(0, 60), st.floats(1, 1000), st.floats(1, 1000))
def test_the_p_of_two_rates_agrees_with_their_interval(a: int, b: int, days_a: float, days_b: float) -> None:
    if a + b == 0:
        return
    found = rates.ratio_of_rates(count_a=a, effort_a=days_a, count_b=b, effort_b=days_b)

    if abs(found.p - 0.05) > 1e-9:
        assert (found.p < 0.05) == (not found.interval.low <= 1 <= found.interval.high)


@given(st.integers(1, 60), st.integers(1, 60))
def test_exchanging_the_two_rates_turns_the_interval_over(a: int, b: int) -> None:
    one = rates.ratio_of_rates(count_a=a, effort_a=50, count_b=b, effort_b=80)
    other = rates.ratio_of_rates(count_a=b, effort_a=80, count_b=a, effort_b=50)

    assert one.ratio == approx(1 / other.ratio)
    assert one.interval.low == approx(1 / other.interval.high)
    assert one.p == approx(other.p)


def test_nothing_seen_in_either_part_gives_no_ratio() -> None:
    with pytest.raises(
        NotEnoughEvidence, match="nothing was seen in either part; a ratio needs at least one passage"
    ):
        rates.ratio_of_rates(count_a=0, effort_a=9, count_b=0, effort_b=9)


def test_none_in_the_second_part_leaves_the_ratio_without_upper_limit() -> None:
    found = rates.ratio_of_rates(count_a=4, effort_a=9, count_b=0, effort_b=9)

    assert math.isinf(found.ratio) and math.isinf(found.interval.high)
    assert found.interval.to_dict()["high"] is None


# --- scatter --------------------------------------------------------------------------------------


def mites() -> list[int]:
    table = printed.columns("bliss_fisher_1953_red_mites")
    return [int(m) for m, n in zip(table["mites"], table["leaves"], strict=True) for _ in range(int(n))]


def test_scatter_of_red_mites_against_bliss_and_fisher_1953() -> None:
    """Index of dispersion 1.98283, χ² on 149 degrees 295.44 (Biometrics 9:176–200)."""
    found = rates.dispersion(mites())

    assert (found.index, found.chi2, found.degrees) == (
        approx(1.98283, abs=5e-6),
        approx(295.44, abs=5e-3),
        149,
    )
    assert found.is_over


def test_negative_binomial_of_red_mites_against_bliss_and_fisher_1953() -> None:
    """ML k = 1.02459, log likelihood −222.4372, and the expected leaves with 0 to 7 mites."""
    found = rates.negative_binomial(mites())
    expected = printed.columns("bliss_fisher_1953_red_mites")["expected"][:8]

    assert (found.mean, found.k) == (approx(1.14667, abs=5e-6), approx(1.02459, abs=1e-4))
    assert found.log_likelihood == approx(-222.4372, abs=5e-4)
    assert 150 * found.probability(range(8)) == approx(np.array(expected), abs=6e-3)


def test_horse_kicks_scatter_no_more_than_chance() -> None:
    """L. von Bortkiewicz (1898): 109, 65, 22, 3, 1 corps-years with 0 to 4 deaths (from memory)."""
    deaths = [n for n, years in enumerate((109, 65, 22, 3, 1)) for _ in range(years)]

    assert not rates.dispersion(deaths).is_over
    fit = rates.negative_binomial([0, 1, 1, 1, 1, 2])  # scatters less than chance
    assert math.isinf(fit.k)
    assert fit.probability([0])[0] == approx(math.exp(-1))


def test_equal_rates_with_unequal_effort_do_not_scatter() -> None:
    assert rates.dispersion([2, 4, 8], [10, 20, 40]).index == approx(0.0)


# --- which interval is shown ----------------------------------------------------------------------


def test_even_sites_show_the_exact_limits() -> None:
    found = rates.rate([5, 6, 4, 5, 7, 5], [100] * 6)

    assert found.shown.kind == rates.EXACT
    assert found.why == "Sites and weeks scatter no more than chance, so the exact Poisson limits are shown."


def test_uneven_sites_show_the_wider_interval_with_the_exact_one_beside_it() -> None:
    found = rates.rate([40, 0, 2, 1, 3, 0, 1, 5], [100] * 8)

    assert found.shown.kind == rates.BY_SITE
    assert found.shown.low < found.exact.low and found.shown.high > found.exact.high
    assert [interval.kind for interval in found.others] == [rates.EXACT, rates.BOOTSTRAP]
    # By hand: Σ(y − 6.5)²/6.5 = 1302/6.5 = 200.3 on 7 degrees, an index of 28.6.
    assert found.why.startswith("Sites differ 29 times more than chance alone would have them")


def test_runs_of_passages_within_a_site_widen_the_interval_too() -> None:
    found = rates.rate(
        [24, 24], [70, 70], week_counts=[[24, 0, 0, 0, 0, 0, 0, 0, 0, 0]] * 2, week_efforts=[[7.0] * 10] * 2
    )

    assert found.shown.kind == rates.BY_WEEK
    assert found.shown.high > found.exact.high


def test_one_site_says_that_its_limits_may_be_too_narrow() -> None:
    assert rates.rate([9], [30]).why == (
        "Too few sites and weeks to measure their scatter; the exact Poisson limits shown may be too narrow."
    )


def test_the_bootstrap_is_the_same_each_time_and_has_no_width_for_equal_sites() -> None:
    one = rates.bootstrap_by_site([4, 9, 1, 7], [30, 40, 20, 30])

    assert one == rates.bootstrap_by_site([4, 9, 1, 7], [30, 40, 20, 30])
    assert one.low < 100 * 21 / 120 < one.high
    flat = rates.bootstrap_by_site([3, 3, 3], [10, 10, 10])
    assert (flat.low, flat.high) == (approx(30), approx(30))


# --- do the intervals hold what they promise? -----------------------------------------------------


@pytest.mark.long
def test_intervals_hold_the_truth_as_often_as_measured() -> None:
    """12 sites, 100 camera-days each, 3 passages per site on average, 4000 dice throws for each law.

    Single passages (Poisson): Garwood holds at least 95 %. Sites that differ (gamma, k = 1): Garwood falls
    far short, the interval that `rate` shows comes near 95 %, the bootstrap lies between.
    """
    rng = np.random.default_rng(20260101)
    sites, days, mean, throws = 12, 100.0, 3.0, 4000
    truth = mean
    held = {
        "poisson exact": 0,
        "poisson shown": 0,
        "uneven exact": 0,
        "uneven shown": 0,
        "uneven bootstrap": 0,
    }
    for _ in range(throws):
        even = rng.poisson(mean, sites)
        uneven = rng.poisson(mean * rng.gamma(1.0, 1.0, sites))
        for name, counts in (("poisson", even), ("uneven", uneven)):
            found = rates.rate(counts, np.full(sites, days))
            held[f"{name} exact"] += found.exact.low <= truth <= found.exact.high
            held[f"{name} shown"] += found.shown.low <= truth <= found.shown.high
            if name == "uneven":
                boot = next(i for i in (*found.others, found.shown) if i.kind == rates.BOOTSTRAP)
                held["uneven bootstrap"] += boot.low <= truth <= boot.high
    share = {name: n / throws for name, n in held.items()}

    assert share["poisson exact"] >= 0.945
    assert share["poisson shown"] >= 0.945
    assert share["uneven exact"] < 0.75
    assert 0.91 <= share["uneven shown"] <= 0.97
    assert 0.80 <= share["uneven bootstrap"] < share["uneven shown"]
