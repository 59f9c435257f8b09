"""The sensor: reach, band, entries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch import detection
from trod.planning.catch.detection import Sensor
from trod.planning.catch.passers import DEER, ELK, HARE


@pytest.mark.parametrize(("area", "reach"), [(1.6, 33), (0.83, 24), (0.2, 11.8), (0.0613, 6.5)])
def test_reach_goes_with_the_root_of_the_body(area: float, reach: float) -> None:
    """Elk-, deer-, fox- and hare-sized at 5 K; derived here (the hare's area is chosen to fit)."""
    assert detection.reach_m(Sensor(), area_m2=area) == approx(reach, rel=0.011)


@pytest.mark.parametrize(("air", "reach"), [(-10, 33), (13, 24), (30, 14)])
def test_cold_air_reaches_farther(air: float, reach: float) -> None:
    """The reference body; contrast 0.2·(38 − air), assumed; derived here."""
    warm = detection.contrast_k(air)

    assert detection.reach_m(Sensor(), area_m2=0.83, contrast=warm) == approx(reach, abs=0.5)


def test_in_hot_air_the_contrast_keeps_a_floor_and_the_band_opens() -> None:
    assert detection.contrast_k(45) == detection.CONTRAST_FLOOR_K
    cold, hot = (detection.reach_band(Sensor(), DEER.body, air_c=t) for t in (-10, 33))

    assert hot.middle_m < cold.middle_m
    assert hot.high_m / hot.low_m > 1.5 * cold.high_m / cold.low_m
    assert str(cold) == "about 33 m (mostly 27 to 41 m)"


def test_reach_is_a_band_around_its_middle() -> None:
    for body in (HARE.body, DEER.body, ELK.body):
        band = detection.reach_band(Sensor(), body, air_c=10)
        assert band.low_m < band.middle_m < band.high_m
        assert band.low_m * band.high_m == approx(band.middle_m**2)


def test_the_reference_body_at_the_makers_range_just_trips() -> None:
    sensor = Sensor(range_m=17)

    assert detection.reach_m(sensor, area_m2=detection.REFERENCE_AREA_M2) == approx(17)
    assert float(detection.response(1.0, sensor)) == approx(1.0)


def test_the_sensor_hears_neither_stillness_nor_flutter() -> None:
    found = detection.response([0.0, 0.05, 1.0, 2.0, 100.0], Sensor())

    assert found[0] == 0.0
    assert found[1] < 0.15 and found[4] < 0.1
    assert found[3] == approx(1.0, abs=0.1)


def test_rays_cut_the_zone_evenly_with_both_edges() -> None:
    rays = Sensor(zone_deg=45, pitch_deg=5).rays_deg

    assert len(rays) == 10
    assert (rays[0], rays[-1]) == (-22.5, 22.5)
    assert np.diff(rays) == approx(5.0)
    assert Sensor(zone_deg=12, pitch_deg=5).true_pitch_deg == approx(6.0)


# Mean profile width of a sector of radius 1: r(2+θ)/π; Cauchy's theorem, used for cameras by J. M. Rowcliffe
# et al. (2008) J. Appl. Ecol. 45:1228–1236. Values computed here from the convex hull's width by quadrature.
WIDTHS = [(10, 0.69218), (20, 0.74773), (60, 0.96995), (90, 1.13662), (120, 1.30329), (180, 1.63662)]


@given(st.floats(0.01, 5), st.floats(0.1, 30), st.floats(1.1, 4))
def test_more_of_anything_reaches_farther(area: float, contrast: float, more: float) -> None:
    base = detection.reach_m(Sensor(), area_m2=area, contrast=contrast)

    assert detection.reach_m(Sensor(), area_m2=area * more, contrast=contrast) > base
    assert detection.reach_m(Sensor(), area_m2=area, contrast=contrast * more) > base
    assert detection.reach_m(Sensor(sensitivity=more), area_m2=area, contrast=contrast) > base


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"zone_deg": 0}, "zone_deg: got 0; needed: an angle from 1 to 170 degrees"),
        ({"zone_deg": math.nan}, "zone_deg: got nan; needed: an angle from 1 to 170 degrees"),
        ({"pitch_deg": 0.1}, "pitch_deg: got 0.1; needed: an angle from 0.5 to 90 degrees"),
        ({"range_m": 0}, "range_m: got 0; needed: a number above 0"),
        ({"high_hz": 0.1}, "high_hz: got 0.1; needed: a frequency above low_hz"),
        ({"sensitivity": -1}, "sensitivity: got -1; needed: a number above 0"),
    ],
)
def test_a_sensor_that_cannot_be_is_refused(given_: dict[str, float], words: str) -> None:
    with pytest.raises(WrongInput) as caught:
        Sensor(**given_)

    assert str(caught.value) == words


def test_an_air_temperature_off_the_earth_is_refused() -> None:
    with pytest.raises(WrongInput, match="from -80 to 70 °C"):
        detection.contrast_k(300)
