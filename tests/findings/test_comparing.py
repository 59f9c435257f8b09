"""Two rates side by side."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytest import approx
from scipy import stats

from trod.errors import NotEnoughEvidence
from trod.findings import comparing, runs

WEEKS = [7.0] * 8 + [4.0]


def test_one_part_is_the_ratio_of_two_sites_of_a_separate_program() -> None:
    """10 detections in 60 days against 13 in 60: φ 2.18475, 20 degrees, 0.769 (0.210295 to 2.81374), worked out once by
    a separate program (numpy and scipy alone).
    """
    known = runs.scatter([[0, 6, 1, 0, 0, 0, 3, 0, 0], [2, 1, 3, 2, 1, 2, 0, 1, 1]], [WEEKS, WEEKS])
    found = comparing.here([10], [60], [13], [60], known)

    assert known.phi == approx(2.18475, abs=5e-6)
    assert found.ratio == approx(10 / 13)
    assert (found.interval.low, found.interval.high) == (approx(0.210295, abs=5e-6), approx(2.81374, abs=5e-5))
    assert found.p == approx(
        2 * stats.t.sf(abs(math.log(10 / 13)) / math.sqrt(2.18475 * (1 / 10 + 1 / 13)), 20), rel=1e-5
    )


def test_effort_moved_to_a_richer_site_is_no_difference() -> None:
    """0.1 a day at one site and 1 at the other in both years; the second year watched mostly the rich one."""
    known = runs.Scatter(count=150, phi_seen=1.0, phi=1.2, weeks=20.0, busy=18)
    found = comparing.here([1, 90], [10, 90], [9, 10], [90, 10], known)

    assert found.ratio == approx(1.0)
    assert approx(4.79 * (9 + 10) / 100, rel=0.01) == (1 + 90) / 100  # what the plain rates would say


def test_what_only_one_side_watched_takes_no_part() -> None:
    known = runs.Scatter(count=50, phi_seen=1.0, phi=1.2, weeks=20.0, busy=18)

    assert comparing.here([10, 99], [60, 60], [13, 0], [60, 0], known) == comparing.here([10], [60], [13], [60], known)
    with pytest.raises(NotEnoughEvidence, match="nothing was watched on both sides"):
        comparing.here([10, 0], [60, 0], [0, 13], [0, 60], known)


@pytest.mark.parametrize(("a", "b"), [(0, 24), (24, 0)])
def test_none_on_one_side_gives_one_end_only(a: int, b: int) -> None:
    known = runs.Scatter(count=24, phi_seen=1.0, phi=1.3, weeks=12.0, busy=10)
    found = comparing.here([a], [60], [b], [60], known)

    assert found.p is None
    assert (found.interval.low == 0.0) == (a == 0)
    assert math.isinf(found.interval.high) == (b == 0)
    assert found.differs


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        (0, 0, "nothing was seen on either side"),
        (0, 1, "a tenth of the other rate and ten times it would both fit"),
        (1, 1, "a tenth of the other rate and ten times it would both fit"),
    ],
)
def test_too_little_for_a_number_gives_none(a: int, b: int, words: str) -> None:
    """No end of 10⁻²³ or 10²³ is ever printed."""
    known = runs.Scatter(count=a + b, phi_seen=1.0, phi=3.0, weeks=1.0, busy=1)
    with pytest.raises(NotEnoughEvidence, match=words):
        comparing.here([a], [60], [b], [60], known)


def test_a_long_count_from_few_weeks_is_refused() -> None:
    known = runs.Scatter(count=40, phi_seen=1.0, phi=2.0, weeks=4.0, busy=4)
    with pytest.raises(NotEnoughEvidence, match="too few weeks to tell how they run"):
        comparing.here([20], [28], [20], [28], known)


def test_sites_like_these_are_told_only_from_three_that_matter() -> None:
    with pytest.raises(NotEnoughEvidence, match=r"detections lie as if at 1\.\d of 4 sites; at least 3"):
        comparing.like_these([90, 1, 0, 1], [60] * 4, [80, 0, 1, 1], [60] * 4)
    found = comparing.like_these([10, 12, 30, 8, 14], [60] * 5, [20, 21, 66, 14, 30], [60] * 5)
    assert found.ratio == approx(74 / 151)
    assert found.interval.high < 1
    assert found.p is not None and found.p < 0.05


def test_sites_that_change_each_their_own_way_are_told_with_doubt() -> None:
    """The total halves, because one of five sites fell silent; others like these would not all halve."""
    alike = comparing.like_these([12, 12, 12, 12, 12], [60] * 5, [24] * 5, [60] * 5)
    mixed = comparing.like_these([2, 24, 6, 24, 4], [60] * 5, [24] * 5, [60] * 5)

    assert alike.interval.high < 1
    assert mixed.interval.low < 0.5 and mixed.interval.high > 1


@pytest.mark.long
def test_the_ratio_for_sites_like_these_holds_the_truth_as_often_as_promised() -> None:
    """12 sites whose own change is gamma with shape 4, 300 throws, truth 1: 93 to 100 of 100."""
    rng = np.random.default_rng(12)
    held = told = 0
    for _ in range(300):
        level = rng.gamma(1.0, 1.0, 12)
        late = rng.poisson(60 * 0.3 * level * rng.gamma(4, 0.25, 12))
        early = rng.poisson(60 * 0.3 * level)
        try:
            found = comparing.like_these(late, [60] * 12, early, [60] * 12)
        except NotEnoughEvidence:
            continue
        told += 1
        held += found.interval.low <= 1 <= found.interval.high

    assert told > 200
    assert held / told >= 0.93
