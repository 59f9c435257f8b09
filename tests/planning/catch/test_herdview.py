"""How much of a herd is seen from a height."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from trod.errors import NotEnoughEvidence, WrongInput
from trod.planning.catch import herdview
from trod.telling import herds

HEIGHTS = (0.9, 1.5, 2.0, 2.4, 3.0, 3.5, 4.0, 5.0)
# Found once by another program of the same model (rays every 0.2°), 20 × 15 m, 30 % of the trunk, 41° view.
OTHER = {
    5: (0.896, 0.914, 0.969, 0.982, 0.993, 0.997, 0.998, 0.999),
    10: (0.774, 0.806, 0.928, 0.963, 0.984, 0.992, 0.995, 0.999),
    20: (0.581, 0.627, 0.838, 0.918, 0.965, 0.982, 0.990, 0.998),
    30: (0.437, 0.480, 0.742, 0.860, 0.938, 0.966, 0.983, 0.996),
    60: (0.204, 0.223, 0.447, 0.660, 0.843, 0.919, 0.959, 0.991),
}


@pytest.mark.parametrize("herd", sorted(OTHER))
def test_the_table_agrees_with_a_second_program(herd: int) -> None:
    """Both are simulations with errors of a few thousandths, so 0.012 up to thirty animals.

    At sixty ours lies up to 0.017 higher and the cause is not known; how close animals stand matters most
    there (1.0 m apart instead of 1.2 lowers 0.86 to 0.82).
    """
    found = [herdview.share(height_m=h, herd=herd) for h in HEIGHTS]

    assert found == approx(OTHER[herd], abs=0.012 if herd <= 30 else 0.02)


def test_the_wide_view_agrees_with_a_second_program() -> None:
    """100° lens, all of 20 × 15 m in view, twenty animals."""
    found = [herdview.share(height_m=h, herd=20, fov_deg=100) for h in HEIGHTS]

    assert found == approx((0.635, 0.674, 0.861, 0.930, 0.971, 0.987, 0.994, 0.999), abs=0.012)


def test_more_of_the_body_is_asked_for_to_tell_its_sex() -> None:
    """Twenty animals; at least 10, 30, 50, 70 % of the trunk, all in view; the second program's."""
    low, high = ([herdview.share(height_m=h, herd=20, seen=s, fov_deg=100) for s in herdview.SEEN] for h in (0.9, 3.0))

    assert low == approx((0.71, 0.64, 0.57, 0.49), abs=0.02)
    assert high == approx((0.999, 0.97, 0.91, 0.80), abs=0.02)


def test_a_spread_herd_hides_less_of_itself() -> None:
    """Twenty animals on 10×10, 20×15, 30×20, 40×30 m, all in view; the second program's figures."""
    for height, shares in ((0.9, (0.43, 0.64, 0.73, 0.78)), (3.0, (0.94, 0.97, 0.98, 0.98))):
        found = [
            herdview.share(height_m=height, herd=20, width_m=w, depth_m=d, fov_deg=100) for w, d in herdview.PATCHES_M
        ]
        assert found == approx(shares, abs=0.02)


def test_the_simulation_makes_the_shipped_table() -> None:
    found = herdview.simulate(20, heights_m=(0.9, 3.0), scenes=120, seed=7)

    for h, height in enumerate((0.9, 3.0)):
        error = max(float(found.standard_error[0, 1, h]), 0.004)
        assert float(found.share[0, 1, h]) == approx(herdview.share(height_m=height, herd=20), abs=4 * error)


def test_one_animal_is_seen_from_any_height_in_simulation_and_table() -> None:
    alone = herdview.simulate(1, scenes=20)

    assert (alone.share == 1).all()
    assert herdview.share(height_m=0.9, herd=1) == 1


def test_from_very_high_all_are_seen() -> None:
    found = herdview.simulate(20, heights_m=(9.0,), scenes=25, seed=3)

    assert float(found.share[0, 1, 0]) > 0.995


def test_the_share_falls_with_the_herd_and_rises_with_the_height() -> None:
    table = herdview.table()
    by_herd, by_height = np.diff(table, axis=3), np.diff(table, axis=4)

    # Up to the errors of the simulation.
    assert np.nanmax(by_herd) < 0.01
    assert np.nanmin(by_height) > -0.01


@settings(deadline=None)
@given(st.floats(0.9, 6), st.floats(1, 60), st.floats(12, 50), st.floats(12, 40), st.floats(0.1, 0.7))
def test_the_share_is_a_share_wherever_it_is_asked(h: float, n: float, w: float, d: float, seen: float) -> None:
    if herdview.fits(n, width_m=w, depth_m=d):
        assert 0 <= herdview.share(height_m=h, herd=n, width_m=w, depth_m=d, seen=seen) <= 1


def test_many_herds_at_once_give_the_same_as_one_by_one() -> None:
    herds = np.array([1.0, 7.5, 20.0, 55.0])
    together = herdview.share(height_m=2.2, herd=herds)

    assert together.tolist() == [herdview.share(height_m=2.2, herd=float(n)) for n in herds]


def test_small_animals_are_the_same_picture_in_small() -> None:
    elk = herdview.share(height_m=2.4, herd=20, width_m=20, depth_m=15, shoulder_m=1.4)
    half = herdview.share(height_m=1.2, herd=20, width_m=10, depth_m=7.5, shoulder_m=0.7)

    assert half == approx(elk)


def test_common_practice_two_and_a_half_to_four_metres_beat_shoulder_height_over_a_herd() -> None:
    """Common practice. From 0.9 m a herd of twenty loses 4 in 10, from 3 m 1 in 30."""
    low, ladder, high = (herdview.share(height_m=h, herd=20) for h in (0.9, 2.5, 4.0))

    assert ladder - low > 0.3 and high - low > 0.35
    assert 1 - low == approx(0.4, abs=0.03)
    assert 1 - herdview.share(height_m=3.0, herd=20) == approx(1 / 30, abs=0.01)


def test_counts_saturate_when_the_camera_is_low() -> None:
    """Expected number seen in the wide view, ours: at 0.9 m sixty look like thirty; at 3 m they do not."""
    low = [n * herdview.share(height_m=0.9, herd=n, fov_deg=100) for n in (20, 30, 40, 60)]
    high = [n * herdview.share(height_m=3.0, herd=n, fov_deg=100) for n in (40, 60)]

    assert low == approx((12.7, 15.0, 15.9, 16.4), abs=0.6)
    assert high == approx((37.1, 52.3), abs=0.8)


def test_the_growth_of_the_count_tells_what_a_count_is_worth() -> None:
    """Elasticity at fifty animals in the wide view."""
    found = [herdview.elasticity(height_m=h, herd=49, step=0.2, fov_deg=100) for h in (0.9, 2.0, 2.4, 3.0, 4.0)]

    assert found == approx((0.07, 0.25, 0.60, 0.85, 0.97), abs=0.08)


def test_a_herd_that_hides_itself_is_refused_in_words() -> None:
    with pytest.raises(NotEnoughEvidence) as told:
        herdview.look(height_m=0.9, herd=60)

    assert str(told.value) == (
        "from 0.9 m about 21 % of a herd of 60 can be seen, and the number seen hardly grows with the herd; "
        "set the camera higher (about 3.0 m) or count a smaller part of the ground"
    )
    assert herds.seen(herdview.look(height_m=3.0, herd=20), "metric") == (
        "From 3.0 m more than 9 in 10 of 20 animals show enough to be counted; about 1 are hidden behind others."
    )


def test_the_height_that_pays_is_the_lowest_that_does() -> None:
    pays = herdview.height_that_pays(herd=20)

    assert pays.reached and 2.2 <= pays.height_m <= 2.5
    assert all(s < 0.9 for h, s in pays.table if h < pays.height_m)
    held = herdview.height_that_pays(herd=40, highest_m=1.9)
    assert not held.reached and held.height_m == 1.9
    assert herds.pays(held, "metric").startswith("Even from 1.9 m only about")
    assert herds.pays(held, "us").startswith("Even from 6 ft 3 in only about")


def test_what_the_table_does_not_know_is_refused() -> None:
    for bad in (
        {"height_m": 7.0, "herd": 10},
        {"height_m": 0.0, "herd": 10},
        {"height_m": 2.0, "herd": 500},
        {"height_m": 2.0, "herd": 0.5},
        {"height_m": 2.0, "herd": 40, "width_m": 5.0, "depth_m": 5.0},
        {"height_m": 2.0, "herd": 10, "seen": 0.9},
    ):
        with pytest.raises(WrongInput):
            herdview.share(**bad)
    with pytest.raises(WrongInput) as told:
        herdview.simulate(60, width_m=10, depth_m=10)
    assert str(told.value) == ("herd: got 60; needed: animals, at least 1, that fit on 10 × 10 m without crowding")
