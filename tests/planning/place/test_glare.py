"""Sun before the lens, flash, seasons."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from trod import sky
from trod.errors import WrongInput
from trod.planning.ground.site import Horizon
from trod.planning.place import glare
from trod.telling import glare as told

# Tables below were made once by another program: a 41° lens held level, margin 10°, level horizon, clear
# days. It did not say how tall the picture was; two thirds of 41° brings all of its cells out together.
TALL = 41 * 2 / 3


def hours(headings: list[float], latitude: float, **more: object) -> list[float]:
    more = {"vertical_deg": TALL} | more
    return glare.hours_by_heading(headings, latitude_deg=latitude, **more).tolist()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("latitude", "table"),
    [
        (45, {0: 0, 90: 589, 100: 627, 180: 267, 260: 627, 270: 589}),
        (-45, {0: 285, 90: 575, 180: 0, 270: 576}),
        (0, {0: 0, 90: 617, 180: 0, 270: 614}),
    ],
)
def test_hours_of_glare_by_heading_agree_with_a_second_program(latitude: float, table: dict[int, int]) -> None:
    """1 % or 4 hours: that program's step and its rule for sunrise are not known."""
    found = hours(list(table), latitude)

    assert found == approx(list(table.values()), rel=0.01, abs=4)


def test_headings_in_the_north_east_lie_between_none_and_the_worst() -> None:
    """The second program gives about 180 to 244 h for 45° to 50° at 45° N, about 540 to 559 at 45° S."""
    assert hours([45, 50], 45) == approx((180, 244), abs=8)
    assert hours([45, 50], -45) == approx((540, 559), abs=8)


def test_a_south_facing_camera_at_45_north_has_glare_only_around_midwinter() -> None:
    """Second program: November 45, December 133, January 88 hours."""
    year = glare.glare_year(glare.Frame(heading_deg=180, vertical_deg=TALL), latitude_deg=45)

    assert [float(year.by_month[m]) for m in (10, 11, 0)] == approx((45, 133, 88), abs=3)
    assert year.by_month.sum() == approx(year.hours)
    assert year.hours_in_frame == 0
    spell = glare.spells(year)
    assert len(spell) == 1 and spell[0].first > spell[0].last  # one winter, over New Year
    assert not spell[0].in_frame


def test_the_sun_itself_is_in_the_picture_to_the_east_and_west() -> None:
    """Second program at 45° N: N 0, E 230, S 0, W 231 hours."""
    found = [
        glare.glare_year(glare.Frame(heading_deg=h, vertical_deg=TALL), latitude_deg=45).hours_in_frame
        for h in (0, 90, 180, 270)
    ]

    assert found == approx((0, 230, 0, 231), abs=4)


def test_a_hill_of_ten_degrees_halves_the_glare_of_the_east_and_leaves_the_south() -> None:
    """Second program: E 589 → 305, S 267 unchanged."""
    east, south = hours([90, 180], 45, horizon=Horizon(((0.0, 10.0),)))

    assert east == approx(305, abs=4)
    assert south == approx(267, abs=4)


def test_common_practice_facing_the_pole_or_the_noon_sun_beats_east_and_west() -> None:
    """Common practice; by how many hours comes out of the model: at 45° N about 590 and 320 a year."""
    for latitude, pole, sun in ((30, 0, 180), (45, 0, 180), (-45, 180, 0)):
        toward_pole, toward_sun, east, west = hours([pole, sun, 90, 270], latitude)
        assert toward_pole < 1
        assert min(east, west) - toward_pole > 450
        assert min(east, west) - toward_sun > 250, latitude
    north = hours([0, 90, 180], 45)
    assert (north[1] - north[0], north[1] - north[2]) == approx((589, 322), abs=6)


def test_in_the_far_north_the_low_noon_sun_is_no_better_than_east_and_west() -> None:
    """The rule above does not hold everywhere: at 60° the winter sun stands low at noon for months."""
    pole, sun, east = hours([0, 180, 90], 60)

    assert pole < 5
    assert sun > east


@pytest.mark.parametrize("latitude", [10, 45, 62])
def test_east_mirrors_west_and_north_mirrors_south(latitude: float) -> None:
    """Up to the unevenness of the sun's year (two hours, or 1 %, for east and west; halves of the year
    differ by 7 days, so mirrored latitudes agree less closely).
    """
    headings = [20.0, 60.0, 90.0, 130.0]
    east = hours(headings, latitude)
    west = hours([360 - h for h in headings], latitude)

    assert east == approx(west, rel=0.01, abs=2.5)
    # At mirrored latitudes the sun of half a year later does the same, turned round.
    south = hours([180 - h for h in headings], -latitude)
    assert south == approx(east, rel=0.06, abs=20)


def test_all_headings_at_once_agree_with_one_camera_at_a_time() -> None:
    frame = glare.Frame(heading_deg=123, tilt_deg=4, fov_deg=55, vertical_deg=30)
    one = glare.glare_year(frame, latitude_deg=52, longitude_deg=7)
    many = glare.hours_by_heading(
        [10, 123, 350], latitude_deg=52, longitude_deg=7, tilt_deg=4, fov_deg=55, vertical_deg=30
    )

    assert float(many[1]) == approx(one.hours)


@settings(max_examples=25, deadline=None)
@given(st.floats(-70, 70), st.floats(0, 359.9), st.floats(20, 100))
def test_a_wider_lens_never_has_less_glare(latitude: float, heading: float, fov: float) -> None:
    narrow, wide = (hours([heading], latitude, fov_deg=f)[0] for f in (fov, fov + 10))

    assert wide >= narrow >= 0


def test_a_camera_that_looks_down_from_a_ladder_has_less_sun() -> None:
    level, down = (hours([90], 45, tilt_deg=t)[0] for t in (0, 15))

    assert down < 0.6 * level


def test_the_picture_of_the_year_counts_the_same_hours_to_a_few_per_cent() -> None:
    year = glare.glare_year(glare.Frame(heading_deg=100), latitude_deg=47.3, longitude_deg=13.9, utc_offset_min=60)
    cells = np.count_nonzero(year.grid >= glare.NEAR) * 24 / glare.CELLS_A_DAY

    assert year.grid.shape == (365, 96)
    assert cells == approx(year.hours, rel=0.03)
    # At noon in June the sun is up; at midnight in December it is not.
    assert year.grid[170, 48] != glare.DOWN and year.grid[355, 0] == glare.DOWN


def test_polar_night_has_no_glare_and_polar_day_has_no_best_heading_by_far() -> None:
    polar = glare.best_headings(latitude_deg=85)

    assert polar.least_h > 300
    year = glare.glare_year(glare.Frame(heading_deg=180), latitude_deg=85)
    assert year.by_month[11] == 0 and year.by_month[0] == 0


def test_the_best_heading_is_told_with_its_hours() -> None:
    north, equator = glare.best_headings(latitude_deg=47), glare.best_headings(latitude_deg=0)

    assert (north.best_deg, north.least_h, north.good) == (0.0, 0.0, ((335.0, 25.0),))
    assert told.best(north).startswith("Least sun with a heading of 335° to 25° (none a year of clear days); ")
    assert len(equator.good) == 2


def test_air_lifts_the_sun_as_in_reda_and_andreas_2003() -> None:
    """I. Reda, A. Andreas (2003, rev. 2008) NREL/TP-560-34302, App. A.5: 0.016332° at 39.872046° under
    820 mbar and 11 °C; ours is for 1010 mbar and 10 °C.
    """
    ours = float(glare.refraction_deg(np.array(39.872046)))

    assert ours * 820 / 1010 * 283 / (273 + 11) == approx(0.016332, abs=2e-6)


def test_the_sun_of_the_worked_example_stands_42_degrees_beside_a_south_facing_axis() -> None:
    """Sun of Reda & Andreas (2003), App. A.5; the angle between two directions derived here: 41.9792°."""
    sun = np.array([39.888378]), np.array([194.340241])
    beside = math.degrees(math.acos(math.cos(math.radians(39.888378)) * math.cos(math.radians(14.340241))))

    assert beside == approx(41.9792, abs=1e-4)
    assert not glare.Frame(heading_deg=180).tall(sun[0], margin_deg=10)
    assert glare.Frame(heading_deg=180).wide(sun[1], margin_deg=0)


@pytest.mark.parametrize(
    ("when", "latitude", "elevation", "azimuth"),
    [
        (datetime(2026, 3, 20, 12, tzinfo=UTC), 45, 44.923, 177.374),
        (datetime(2026, 6, 21, 12, tzinfo=UTC), 45, 68.434, 178.866),
        (datetime(2026, 12, 21, 8, tzinfo=UTC), 45, 2.754, 127.681),
        (datetime(2026, 6, 21, 2, tzinfo=UTC), -45, -57.730, 122.010),
    ],
)
def test_the_sun_stands_where_a_full_almanac_put_it(
    when: datetime, latitude: float, elevation: float, azimuth: float
) -> None:
    """Made with an ephemeris, no refraction; ± 0.015° in height and across."""
    el, az = sky.sun_position(when.timestamp(), latitude_deg=latitude, longitude_deg=0)

    assert float(el) == approx(elevation, abs=0.015)
    assert (float(az) - azimuth) * np.cos(np.radians(elevation)) == approx(0, abs=0.015)


def test_spells_of_the_east_are_mornings() -> None:
    year = glare.glare_year(glare.Frame(heading_deg=90), latitude_deg=47.3, longitude_deg=13.9, utc_offset_min=60)
    (spell,) = glare.spells(year)

    assert spell.in_frame and spell.to_h < 10
    assert spell.first < date(2026, 2, 10) and spell.last > date(2026, 11, 1)
    assert told.spell(spell) == "24 January to 23 November, 04:30 to 08:45"


def test_a_flash_lights_between_burnt_out_and_dark() -> None:
    band = glare.flash_band(reach_m=16)

    assert (band.from_m, band.to_m) == (2.0, 16.0)
    assert 2.0 in band and 1.9 not in band and 17 not in band
    # Dark fur reflects a quarter: half the reach.
    assert glare.flash_band(reach_m=16, reflectance=0.125).to_m == approx(8)
    assert glare.flash_band(reach_m=0).to_m == 0


def test_what_cannot_be_is_refused_in_words() -> None:
    with pytest.raises(WrongInput) as told:
        glare.Frame(heading_deg=400)
    assert str(told.value) == "heading_deg: got 400; needed: degrees from true north, 0 to 360"
    with pytest.raises(WrongInput):
        glare.glare_year(glare.Frame(heading_deg=0), latitude_deg=91)
