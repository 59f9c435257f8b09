"""Sensitive places leave the house as a coarse cell only."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.findings.blur import cell_of

_LAT, _LON = st.floats(-89.9, 89.9), st.floats(-179.9, 179.9)


@given(_LAT, _LON)
def test_the_cell_holds_its_point_and_is_no_smaller_than_asked(lat: float, lon: float) -> None:
    cell = cell_of(latitude_deg=lat, longitude_deg=lon)

    assert cell.south_deg - 1e-9 <= lat <= cell.north_deg + 1e-9
    assert cell.west_deg - 1e-9 <= lon <= cell.east_deg + 1e-9
    assert cell.north_deg - cell.south_deg == pytest.approx(0.02)


@given(_LAT, _LON, st.floats(0, 1), st.floats(0, 1))
def test_all_points_of_a_cell_give_the_same_cell(lat: float, lon: float, up: float, right: float) -> None:
    """So a cell tells nothing of where in it the site lies."""
    cell = cell_of(latitude_deg=lat, longitude_deg=lon)
    inside = {
        "latitude_deg": cell.south_deg + (0.01 + 0.98 * up) * (cell.north_deg - cell.south_deg),
        "longitude_deg": cell.west_deg + (0.01 + 0.98 * right) * (cell.east_deg - cell.west_deg),
    }

    assert cell_of(**inside) == cell


def test_the_uncertainty_reaches_the_farthest_corner() -> None:
    """At the equator 0.02° is 2 224 m each way: half the diagonal is 1 572.5 m, told as 1 580."""
    assert cell_of(latitude_deg=0.001, longitude_deg=0.001).uncertainty_m == 1580


def test_a_place_off_the_globe_is_refused() -> None:
    with pytest.raises(WrongInput, match="latitude and longitude in degrees"):
        cell_of(latitude_deg=91, longitude_deg=0)
    with pytest.raises(WrongInput, match="degrees from 0"):
        cell_of(latitude_deg=1, longitude_deg=0, size_deg=0)
