"""What sites like these would show: the fit against a published one, the limits against worked values."""

from __future__ import annotations

import math

import numpy as np
import printed
import pytest
from pytest import approx
from scipy import stats

from trod.errors import NotEnoughEvidence
from trod.findings import likesites

COUNTS = [0, 3, 1, 12, 5, 0, 2, 7]
DAYS = [60, 45, 30, 60, 52, 0.02, 21, 60]


def mites() -> list[int]:
    table = printed.columns("bliss_fisher_1953_red_mites")
    return [int(m) for m, n in zip(table["mites"], table["leaves"], strict=True) for _ in range(int(n))]


def test_the_fit_of_red_mites_against_bliss_and_fisher_1953() -> None:
    """Maximum likelihood: k = 1.02459, mean 1.14667, log likelihood −222.4372 (Biometrics 9:176–200)."""
    found = likesites.fit(mites(), np.ones(150))
    left_out = sum(math.lgamma(m + 1) for m in mites())

    assert (found.mean, found.k) == (approx(1.14667, abs=5e-6), approx(1.02459, abs=1e-4))
    assert found.log_likelihood - left_out == approx(-222.4372, abs=5e-4)


def test_eight_uneven_sites_against_the_worked_value() -> None:
    """λ̂ 0.0885854 a day, k̂ 2.31393, 6.8579 sites in effect, 0.0403504 to 0.222324; the sixth watched for half an
    hour. The profile is read off a grid of k by parabolas, which costs the sixth digit.
    """
    found = likesites.fit(COUNTS, DAYS)

    assert (found.mean, found.k) == (approx(0.0885854, rel=1e-5), approx(2.31393, abs=5e-6))
    assert found.sites == approx(6.8579, abs=5e-5)
    assert likesites.limits(COUNTS, DAYS, 0.95) == (approx(0.0403504, rel=1e-5), approx(0.222324, rel=5e-6))


def test_one_animal_in_that_half_hour_against_the_worked_value() -> None:
    """λ̂ 0.0979066, k̂ 2.27373, 0.0467323 to 0.342039 (it once said 0.00225 to 3.96)."""
    counts = [*COUNTS[:5], 1, *COUNTS[6:]]
    found = likesites.fit(counts, DAYS)

    assert (found.mean, found.k) == (approx(0.0979066, rel=1e-5), approx(2.27373, abs=5e-6))
    assert likesites.limits(counts, DAYS, 0.95) == (approx(0.0467323, rel=1e-5), approx(0.342039, rel=5e-6))


def test_even_sites_without_more_scatter_than_chance_are_poisson() -> None:
    """Then k lies at its upper bound, and the profile is nearly that of one Poisson mean of 60 in 600 days."""
    found = likesites.fit([10] * 6, [100] * 6)
    low, high = likesites.limits([10] * 6, [100] * 6, 0.95)
    room = stats.f.ppf(0.95, 1, 2 * (found.sites - 1)) / 2

    assert (found.mean, found.k, found.sites) == (approx(0.1), approx(300), approx(6))
    for end in (low, high):  # Poisson: ℓ(λ) = 60 ln λ − 600 λ
        fall = 60 * math.log(0.1 / end) + 600 * (end - 0.1)
        assert fall == approx(room, rel=0.05)


def test_only_more_than_a_dozen_sites_may_be_very_unlike() -> None:
    """Two of the sites hold all: k is held at 0.2 for twelve, an assumption, and found below it for fourteen."""
    assert likesites.fit([40, 30, *[0] * 10], [60] * 12).k == approx(0.2)
    assert 0.03 < likesites.fit([40, 30, *[0] * 12], [60] * 14).k < 0.15


def test_a_site_without_effort_is_left_out() -> None:
    assert likesites.limits([*COUNTS, 9], [*DAYS, 0], 0.95) == likesites.limits(COUNTS, DAYS, 0.95)


@pytest.mark.parametrize(
    ("counts", "days", "words"),
    [
        ([9, 3, 4], [60] * 3, "16 detections at 3 sites with effort; it needs 10 at four sites or more"),
        ([3, 2, 1, 3], [60] * 4, "9 detections at 4 sites with effort; it needs 10 at four sites or more"),
        ([30, 9, 4, 1], [60, 60, 60, 0.02], "the detections rest on 3 sites in effect; it needs four or more"),
    ],
)
def test_too_little_for_others_is_refused(counts: list[int], days: list[float], words: str) -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        likesites.limits(counts, days, 0.95)

    assert str(refused.value) == words


def test_nothing_to_fit_is_refused() -> None:
    with pytest.raises(NotEnoughEvidence, match="a fit needs two sites and one detection"):
        likesites.fit([0, 0], [30, 30])


def test_five_sites_of_which_one_holds_all_have_no_upper_end() -> None:
    low, high = likesites.limits([40, 0, 0, 0, 0], [60] * 5, 0.95)

    assert low < 40 / 300
    assert math.isinf(high)
