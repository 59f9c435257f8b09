"""The ground of a site, its horizon typed by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import TrodError, WrongInput
from trod.planning.ground.site import Horizon, SiteGround


def test_a_horizon_runs_straight_between_the_typed_bearings_and_round_north() -> None:
    hills = Horizon.typed("90 10, 180 20; 300: 4°")

    assert hills.height_deg([90, 135, 180]).tolist() == [10, 15, 20]
    # From 300 over north to 90 are 150 degrees.
    assert float(hills.height_deg(15.0)) == approx(4 + 6 * 75 / 150)
    assert float(hills.height_deg(375.0)) == approx(float(hills.height_deg(15.0)))


def test_without_hills_the_horizon_is_level_and_one_pair_is_a_ring() -> None:
    assert Horizon().height_deg(np.arange(0, 360, 30)).tolist() == [0] * 12
    assert Horizon.typed("0 10").height_deg([5, 200]).tolist() == [10, 10]
    assert Horizon.typed("  \n ") == Horizon()


def test_a_wrong_pair_is_shown() -> None:
    with pytest.raises(WrongInput) as told:
        Horizon.typed("90 10, east 12")
    assert str(told.value) == ("horizon: got 'east 12'; needed: pairs of bearing and height, as 90 12, 120 18")
    for bad in ("400 3", "90 95", "90 10 5", "90", "90 nan", "0 1, 360 2"):
        with pytest.raises(WrongInput):
            Horizon.typed(bad)


@given(st.text(max_size=200))
def test_any_typed_text_is_read_or_refused(text: str) -> None:
    try:
        hills = Horizon.typed(text)
    except TrodError:
        return
    assert np.isfinite(hills.height_deg(np.arange(0.0, 360.0, 15.0))).all()


def test_snow_is_told_by_month() -> None:
    ground = SiteGround(latitude_deg=47, snow_m=(0.6, 0.9, *[0.0] * 10))

    assert ground.deepest_snow_m() == 0.9
    assert ground.deepest_snow_m((1, 12)) == 0.6
    assert SiteGround(latitude_deg=47).deepest_snow_m() == 0
    with pytest.raises(WrongInput, match="needed: twelve depths in metres"):
        SiteGround(latitude_deg=47, snow_m=(0.6, 0.9))


@pytest.mark.parametrize(
    "bad",
    [
        {"latitude_deg": math.nan},
        {"latitude_deg": 47, "slope_deg": 61},
        {"latitude_deg": 47, "offset_m": 0},
        {"latitude_deg": 47, "feature": "cave"},
        {"latitude_deg": 47, "path_bearing_deg": -1},
        {"latitude_deg": 47, "snow_m": (1.0,)},
        {"latitude_deg": 47, "canopy_percent": 101},
        {"latitude_deg": 47, "side": "under"},
    ],
)
def test_a_ground_that_cannot_be_is_refused(bad: dict[str, object]) -> None:
    with pytest.raises(WrongInput):
        SiteGround(**bad)  # type: ignore[arg-type]
