"""How the weeks of a site scatter, and the limits of a count that came in runs, against worked values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.findings import rates, runs

WEEKS = [7.0] * 8 + [4.0]
RUNS = [0, 6, 1, 0, 0, 0, 3, 0, 0]


def test_the_scatter_of_one_site_against_the_worked_value() -> None:
    """φ 3.83459, 12 degrees, ν 8.84985, N 3; limits 1.39326 to 34.1303 detections."""
    found = runs.scatter([RUNS], [WEEKS])

    assert (found.phi, found.weeks) == (approx(3.83459, abs=5e-6), approx(8.84985, abs=5e-6))
    assert (found.busy, found.degrees, found.count) == (3, 12, 10)
    low, high = runs.limits(10, found, 0.95)
    assert (low, high) == (approx(1.39326, abs=5e-6), approx(34.1303, abs=5e-5))


def test_the_scatter_of_four_sites_one_of_minutes_against_the_worked_value() -> None:
    """φ 1.89954, 22 degrees, ν 20.3968; limits 11.4512 to 41.7412."""
    found = runs.scatter(
        [[2, 1, 3, 2, 1, 2, 0, 1, 1], [0, 0, 5, 0, 0, 0, 0, 0, 0], [1], [0, 1, 0, 2, 0, 0, 1, 0, 0]],
        [WEEKS, WEEKS, [0.01], WEEKS],
    )

    assert (found.phi, found.weeks) == (approx(1.89954, abs=5e-6), approx(20.3968, abs=5e-5))
    assert (found.busy, found.degrees) == (13, 22)
    assert runs.limits(23, found, 0.95) == (approx(11.4512, abs=5e-5), approx(41.7412, abs=5e-5))


def test_the_scatter_by_hand_sums_first() -> None:
    """One site, 0 4 in two weeks: r·e = 2, d = ∓2, Σd² = 8, Σg = 2·2·½ = 2, φ₀ = 4; the neighbours' −4 twice makes the
    other form (8 − 8)/2 = 0. ν = 2²/(1 + 1) = 2; φ = max(4, (1·4 + 9)/4) = 4; degrees min(1, 2) + 9.
    """
    found = runs.scatter([[0, 4]], [[7.0, 7.0]])

    assert (found.phi_seen, found.phi, found.weeks, found.busy, found.degrees) == (4.0, 4.0, 2.0, 1, 10.0)


def test_runs_over_the_edge_of_a_week_count_by_their_neighbours() -> None:
    """0 3 3 0 0 0: mean 1, Σd² = 1+4+4+1+1+1 = 12, Σ d·d₊₁ = −2+4−2+1+1 = 2, Σg = 6·1·5/6 = 5: 12/5 and 16/5."""
    found = runs.scatter([[0, 3, 3, 0, 0, 0]], [[7.0] * 6])

    assert found.phi_seen == approx(16 / 5)


def test_less_scatter_than_chance_is_taken_for_chance() -> None:
    """Both floors: φ₀ is not let under 1, and the prior pulls up from 1, never from less. (9 + 9·1)/(9 + 3) = 1.5."""
    found = runs.scatter([[2] * 9], [[7.0] * 9])

    assert found.phi_seen == 1.0
    assert found.phi == approx((9 * 1 + 3 * 3) / 12)
    assert found.weeks == approx(9.0)


def test_the_prior_never_lowers_what_was_measured() -> None:
    found = runs.scatter([[0, 12, 0, 0, 0, 0, 0, 0, 0, 12, 0, 0]], [[7.0] * 12])

    assert found.phi_seen > 3
    assert found.phi == found.phi_seen


def test_nothing_seen_or_a_single_week_leaves_the_prior() -> None:
    """(1·1 + 3·3)/4 = 2.5 with one busy week, 3 with none; no weeks stand behind either."""
    assert runs.scatter([], []).phi == 3.0
    assert runs.scatter([[0, 0]], [[7.0, 7.0]]).phi == 3.0
    one = runs.scatter([[1]], [[0.01]])
    assert (one.phi_seen, one.phi, one.weeks, one.degrees) == (1.0, 2.5, 0.0, 9.0)


def test_from_four_busy_weeks_on_the_larger_of_two_upper_ends_is_taken() -> None:
    """3 busy weeks: only Garwood's on runs. 4: also count·exp(t√(φ/count))."""
    three = runs.Scatter(count=4, phi_seen=1.0, phi=2.0, weeks=8.0, busy=3)
    four = runs.Scatter(count=4, phi_seen=1.0, phi=2.0, weeks=3.0, busy=4)  # as many degrees: 12
    assert three.degrees == four.degrees == 12
    wide = math.exp(2.1788128 * math.sqrt(2.0 / 4))  # t of 12 degrees, printed in any table as 2.179

    assert runs.limits(4, four, 0.95)[1] == approx(4 * wide, rel=1e-6)
    assert runs.limits(4, three, 0.95)[1] < 4 * wide
    assert runs.limits(4, four, 0.95)[0] == runs.limits(4, three, 0.95)[0] < 4 / wide


@given(st.floats(0.5, 3000), st.floats(1, 60), st.integers(0, 500))
def test_the_lower_end_by_logarithms_would_never_be_the_lower_one(count: float, phi: float, busy: int) -> None:
    known = runs.Scatter(count=count, phi_seen=1.0, phi=phi, weeks=float(busy), busy=busy)

    assert runs.limits(count, known, 0.95)[0] <= count * math.exp(-known.student(0.95) * math.sqrt(phi / count))


def test_with_no_runs_and_many_weeks_the_limits_go_to_garwoods() -> None:
    known = runs.Scatter(count=40, phi_seen=1.0, phi=1.0, weeks=1e9, busy=10**9)

    assert runs.limits(40, known, 0.95)[0] == approx(rates.garwood(40)[0], rel=1e-6)


@pytest.mark.parametrize(
    ("weeks", "count", "refused"), [(5.9, 16, True), (6.0, 16, False), (5.9, 15, False), (0.0, 15, False)]
)
def test_only_a_large_count_from_under_six_weeks_is_refused(weeks: float, count: int, refused: bool) -> None:
    assert runs.Scatter(count=count, phi_seen=1, phi=1, weeks=weeks, busy=3).tells_too_little(count) is refused


def test_seven_detections_are_too_few_to_lend_their_runs() -> None:
    assert runs.phi_when_none(runs.scatter([[7, 0, 0]], [[7.0] * 3])) == runs.PHI_UNKNOWN
    assert runs.phi_when_none(runs.scatter([[8, 0, 0]], [[7.0] * 3])) > runs.PHI_UNKNOWN


def test_a_ragged_block_of_minutes_is_joined_to_its_neighbour() -> None:
    """One animal in the last second of a week and a second once made φ seven milliards."""
    assert runs.scatter([[0, 1]], [[7.0, 1e-5]]) == runs.scatter([[1]], [[7.0]])
    assert runs.scatter([[1, 0, 2]], [[0.2, 7.0, 7.0]]) == runs.scatter([[1, 2]], [[7.2, 7.0]])
    assert runs.scatter([[2, 0, 1, 3]], [[7.0, 0.0, 0.5, 7.0]]) == runs.scatter([[3, 0, 0, 3]], [[7.5, 0.0, 0.0, 7.0]])
    assert runs.scatter([[0, 3]], [[7.0, 0.0]]).phi == runs.scatter([[3]], [[7.0]]).phi


def test_nonsense_is_refused_in_words() -> None:
    known = runs.scatter([RUNS], [WEEKS])
    for count in (0, -1, math.nan, math.inf):
        with pytest.raises(WrongInput, match="a count above 0; for none seen take `none_seen`"):
            runs.limits(count, known, 0.95)
    with pytest.raises(WrongInput, match="as many as counts, 9"):
        runs.scatter([RUNS], [WEEKS[1:]])


@given(
    st.lists(st.lists(st.integers(0, 30), min_size=9, max_size=9), min_size=1, max_size=5),
    st.floats(1e-9, 0.02),
    st.integers(0, 2),
)
def test_a_site_of_minutes_moves_the_scatter_by_little(sites: list[list[int]], days: float, seen: int) -> None:
    """Its one week has no other to differ from; it adds at most itself to the busy weeks."""
    without = runs.scatter(sites, [WEEKS] * len(sites))
    with_it = runs.scatter([*sites, [seen]], [*[WEEKS] * len(sites), [days]])

    assert with_it.phi_seen == without.phi_seen
    assert with_it.weeks == without.weeks
    assert with_it.phi <= without.phi
