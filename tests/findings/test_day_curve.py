"""The curve over the day and its band."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy import stats
from scipy.special import ive

from trod.errors import NotEnoughEvidence
from trod.findings import circular, day_curve

PEAKS = (np.pi / 2, 3 * np.pi / 2)


def two_peaks(rng: np.random.Generator, n: int, kappa: float = 20.0) -> tuple[np.ndarray, np.ndarray]:
    """Hours of a sample of dawn and dusk, and the law at the curve's points, per hour."""
    theta = np.array(PEAKS)[rng.integers(0, 2, n)] + rng.vonmises(0, kappa, n)
    law = sum(0.5 * circular.von_mises(day_curve.AT, peak, kappa) for peak in PEAKS) * circular.TURN / 24
    return circular.hours(theta), np.asarray(law)


def test_fewer_than_ten_detections_are_refused_with_what_it_would_take() -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        day_curve.curve(np.arange(9.0), np.arange(9))

    assert str(refused.value) == (
        "9 detections; a pattern over the day needs at least 10, and 100 to be trusted; widen the period or the sites"
    )


def test_many_detections_of_few_days_are_refused() -> None:
    with pytest.raises(NotEnoughEvidence, match=r"40 detections, but on 4 days of a site; .* 10 days of a site"):
        day_curve.curve(np.linspace(0, 23, 40), np.arange(40) // 10)


def test_a_few_long_stays_and_some_single_comings_are_no_pattern() -> None:
    """Forty detections, thirty on three days: 40²/(3·10² + 10) = 5.2 days in effect."""
    days = np.concatenate([np.repeat([0, 10, 20], 10), np.arange(30, 40)])
    with pytest.raises(
        NotEnoughEvidence, match="40 detections, but most of them on few days of a site, as if on 5 days"
    ):
        day_curve.curve(np.linspace(0, 23, 40), days)


def test_one_animal_that_keeps_its_hour_for_some_weeks_is_no_pattern_of_its_kind() -> None:
    """Five weeks at one site, each week an hour of its own to the minute: five habits, not 35 detections."""
    hours = np.repeat([2.0, 21.0, 11.0, 6.0, 16.0], 7)
    with pytest.raises(NotEnoughEvidence, match="35 detections whose days or weeks go so much together that they say"):
        day_curve.curve(hours, np.arange(35))


@pytest.mark.parametrize("n", [68, 300])
def test_two_sharp_peaks_are_not_flattened_and_the_band_holds_them(n: int) -> None:
    """Peaks of κ 20 at dawn and dusk. The rule for one peak took them for κ 5.5: 62 and 58 of 100 points of the peaks
    lay in its band.
    """
    rng = np.random.default_rng(n)
    held, top = [], []
    for _ in range(60):
        hours, law = two_peaks(rng, n)
        found = day_curve.curve(hours, np.arange(n), draws=20)
        peak = law > law.max() / 2
        held.append(np.mean((found.low <= law)[peak] & (law <= found.high)[peak]))
        top.append(found.density.max() / law.max())

    assert np.mean(held) > 0.93
    assert 0.9 < np.mean(top) < 1.35


def rayleigh_p(theta: np.ndarray) -> float:
    """Rayleigh's test of evenness, of which each time counts as one: Zar (2010) eq. 27.4."""
    n, resultant = len(theta), abs(np.exp(1j * theta).sum())
    return float(np.exp(np.sqrt(1 + 4 * n + 4 * (n * n - resultant**2)) - (1 + 2 * n)))


def test_an_even_day_is_called_uneven_no_more_often_than_promised_whatever_comes_together() -> None:
    """One to nine detections of a coming, a third of an hour apart."""
    rng = np.random.default_rng(7)
    called = cried = 0
    for _ in range(300):
        many = rng.integers(1, 10, 30)
        start = rng.uniform(0, 24, 30)
        hours = np.repeat(start, many) + np.concatenate([np.arange(k) / 3 for k in many])
        day = np.repeat(np.arange(30) * 3, many)
        theta = circular.angles(hours)
        site = np.zeros(len(day), dtype=np.int64)
        called += day_curve.even_p(theta, site, day_curve.groups(site, day), np.ones((1, day_curve.POINTS))) < 0.05

        cried += rayleigh_p(theta) < 0.05

    assert cried / 300 > 0.3  # each taken as a single one
    assert called / 300 < 0.085  # 5 % and twice its standard error of 1.3 %, rounded up


def test_evenness_sees_two_opposite_peaks_that_one_turn_is_blind_to() -> None:
    theta = np.radians([0, 2, 4, 358, 356, 180, 182, 184, 178, 176] * 4)
    site, day = np.zeros(40, dtype=np.int64), np.arange(40) * 8

    assert rayleigh_p(theta) > 0.9
    assert day_curve.even_p(theta, site, day_curve.groups(site, day), np.ones((1, day_curve.POINTS))) < 1e-6


def test_hours_watched_half_as_long_count_double_and_sites_weigh_by_their_animals() -> None:
    """A busy site watched by night alone beside a quiet one watched always: even at both, and told so."""
    rng = np.random.default_rng(3)
    dark = (day_curve.AT_H < 6) | (day_curve.AT_H >= 18)
    exposures = np.stack([np.where(dark, 1.0, 0.0), np.ones(day_curve.POINTS)])
    busy = (18 + rng.uniform(0, 12, 400)) % 24
    quiet = rng.uniform(0, 24, 200)
    hours = np.concatenate([busy, quiet])
    site = np.repeat([0, 1], [400, 200])

    found = day_curve.curve(hours, np.arange(600) % 200, site, exposures, draws=20)

    assert found.whole
    assert found.density[dark].mean() == approx(1 / 24, rel=0.15)
    assert found.even_p > 0.01
    inside = (found.low <= 1 / 24) & (found.high >= 1 / 24)
    assert inside.mean() > 0.9


def test_activity_level_of_a_law_is_held_from_150_on_and_refused_before() -> None:
    """A von Mises law of κ 1: level I₀(κ)·e^(−κ) = 0.4658."""
    rng = np.random.default_rng(9)
    few = day_curve.curve(circular.hours(rng.vonmises(0, 1, 120)), np.arange(120), draws=20)
    many = day_curve.curve(circular.hours(rng.vonmises(0, 1, 600)), np.arange(600))

    assert few.activity is None and few.activity_interval is None
    assert few.activity_why.endswith("it takes 150")
    assert many.activity == approx(0.4658, rel=0.15)
    assert many.activity_interval is not None
    assert many.activity_interval.low < 0.4658 < many.activity_interval.high


def test_the_band_is_the_same_whichever_way_the_clock_is_turned() -> None:
    rng = np.random.default_rng(5)
    hours, _ = two_peaks(rng, 100)
    one = day_curve.curve(hours, np.arange(100), draws=20)
    turned = day_curve.curve((hours + 6) % 24, np.arange(100), draws=20)

    for name in ("density", "low", "high"):
        assert getattr(turned, name) == approx(np.roll(getattr(one, name), 72), abs=1e-9)


def test_the_width_of_two_even_peaks_is_the_one_for_the_least_expected_error() -> None:
    """A von Mises law of 2θ: ∫g″² = Σ (2p)⁴·(I_p(κ)/I₀(κ))²/π by its moments; κ of the kernel (2√π·n·∫g″²)^(2/5)."""
    kappa, n, worth = 20.0, 4000, 200.0
    half = stats.vonmises.ppf((np.arange(n) + 0.5) / n, kappa) / 2
    theta = np.concatenate([half, half + np.pi])
    p = np.arange(1, 400)
    rough = float(np.sum((2 * p) ** 4 * (ive(p, kappa) / ive(0, kappa)) ** 2) / np.pi)

    assert circular.bandwidth_kappa(theta, worth=worth) == approx((2 * np.sqrt(np.pi) * worth * rough) ** 0.4, rel=0.02)
