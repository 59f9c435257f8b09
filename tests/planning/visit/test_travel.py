"""Metres and minutes between sites."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trod.errors import WrongInput
from trod.planning.ground.heightgrid import HeightGrid
from trod.planning.visit.travel import (
    Pace,
    Place,
    distance_m,
    over_the_hills,
    straight,
    tobler_kmh,
    walking_minutes,
    with_climbs,
)


def spot(key: str, latitude_deg: float, longitude_deg: float) -> Place:
    return Place(key=key, latitude_deg=latitude_deg, longitude_deg=longitude_deg)


def dms(degrees: int, minutes: int, seconds: float) -> float:
    return math.copysign(abs(degrees) + minutes / 60 + seconds / 3600, degrees)


# Flinders Peak to Buninyong, 54 972.271 m on the ellipsoid (GRS80): Intergovernmental Committee on Surveying and
# Mapping, Geocentric Datum of Australia Technical Manual, the worked example of the inverse problem.
FLINDERS = (dms(-37, 57, 3.72030), dms(144, 25, 29.52440))
BUNINYONG = (dms(-37, 39, 10.15610), dms(143, 55, 35.38390))


def test_flinders_peak_to_buninyong_is_within_a_thousandth_of_the_surveyors_length() -> None:
    found = float(distance_m(*FLINDERS, *BUNINYONG))

    assert found == pytest.approx(54_972.271, rel=0.001)
    assert found == pytest.approx(54_925.51, abs=0.01)  # on the sphere of 6371.0088 km, computed apart


def test_new_york_to_london_is_within_six_thousandths_of_the_ellipsoid() -> None:
    # C. F. F. Karney, manual of GeographicLib: 5 551 759.400 m (from memory).
    assert float(distance_m(40.6, -73.8, 51.6, -0.5)) == pytest.approx(5_551_759.4, rel=0.006)


def test_a_quarter_of_the_meridian_is_a_quarter_of_the_great_circle() -> None:
    assert float(distance_m(0, 0, 90, 0)) == pytest.approx(math.pi / 2 * 6_371_008.8, rel=1e-12)
    assert float(distance_m(0, 179.9, 0, -179.9)) == pytest.approx(float(distance_m(0, 0, 0, 0.2)), rel=1e-9)


def test_walking_speed_follows_tobler() -> None:
    # W. Tobler (1993), NCGIA Technical Report 93-1: 6·exp(−3.5·|S + 0.05|) (from memory).
    assert tobler_kmh([0.0, -0.05, 0.1]) == pytest.approx([5.0367, 6.0, 3.5493], abs=5e-5)


def test_uphill_takes_longer_than_the_same_way_down_and_steep_down_longer_than_gentle() -> None:
    run = np.full(10, 100.0)
    up, down, climb = walking_minutes(run, np.linspace(0, 150, 11))

    assert up > down
    assert climb == pytest.approx(150)
    gentle = walking_minutes(run, np.linspace(50, 0, 11))[0]
    steep = walking_minutes(run, np.linspace(600, 0, 11))[0]
    assert gentle < walking_minutes(run, np.zeros(11))[0] < steep


def test_a_kilometre_on_the_level_takes_just_under_twelve_minutes() -> None:
    assert walking_minutes(np.array([1000.0]), np.zeros(2))[0] == pytest.approx(60 / 5.0367, rel=1e-4)


def test_a_straight_way_on_foot_is_lengthened_by_the_detour() -> None:
    ways = straight([spot("a", 47, 13), spot("b", 47.01, 13)])

    way = ways.way("a", "b")
    assert way.walk_m == pytest.approx(1.3 * 1111.95, rel=1e-3)
    assert way.drive_m == 0 and way.drive_min == 0
    assert way.minutes == pytest.approx(way.walk_m / 1000 / 5.0367 * 60, rel=1e-4)
    assert ways.line("a", "b") == ((47, 13), (47.01, 13))


def test_by_car_only_the_walk_in_is_on_foot() -> None:
    places = [
        spot("yard", 47, 13),
        Place(key="b", latitude_deg=47.05, longitude_deg=13, walk_in_m=300),
        Place(key="c", latitude_deg=47.06, longitude_deg=13, walk_in_m=200),
    ]
    ways = straight(places, drive=True, pace=Pace(drive_kmh=30))

    assert ways.way("yard", "b").walk_m == 300
    assert ways.way("b", "c").walk_m == 500
    assert ways.way("yard", "b").drive_min == pytest.approx(1.3 * 5559.7 / 30_000 * 60, rel=1e-3)
    assert ways.way("b", "b").minutes == 0


def slope_grid() -> HeightGrid:
    """Rises by 200 m for each hundredth of a degree to the north."""
    rows = np.arange(40)[::-1, None] * 20.0
    return HeightGrid(np.broadcast_to(rows, (40, 40)).copy(), west=13.0, south=47.0, cell=0.001, degrees=True)


def test_over_the_hills_the_way_up_takes_longer_than_the_way_down() -> None:
    places = [spot("low", 47.005, 13.02), spot("high", 47.025, 13.02)]
    ways = over_the_hills(places, slope_grid())

    up, down = ways.way("low", "high"), ways.way("high", "low")
    assert up.climb_m == pytest.approx(400, abs=1) and down.climb_m == 0
    slope = 400 / up.walk_m
    assert up.minutes == pytest.approx(up.walk_m / 1000 / (0.6 * float(tobler_kmh(slope))) * 60, rel=0.01)
    assert down.minutes < up.minutes


def test_unknown_heights_are_taken_as_level_and_said() -> None:
    # The grid knows heights up to 13.0395 (the middle of its last battery): 0.0405 of 0.06 degrees are beyond it.
    places = [spot("in", 47.005, 13.02), spot("out", 47.005, 13.08)]

    assert over_the_hills(places, slope_grid()).how.unknown_share == pytest.approx(2 / 3, abs=0.01)


def test_a_grid_in_metres_is_refused() -> None:
    grid = HeightGrid(np.zeros((3, 3)), west=0, south=0, cell=10)
    places = [spot("a", 47, 13), spot("b", 47.1, 13)]

    with pytest.raises(WrongInput, match="height grid: got 'one in metres'; needed: one in degrees"):
        over_the_hills(places, grid)


def test_a_place_off_the_globe_is_refused_by_its_name() -> None:
    with pytest.raises(WrongInput, match=r"place 'x': got \(nan, 13\)"):
        Place(key="x", latitude_deg=float("nan"), longitude_deg=13)


def test_two_places_of_one_key_are_refused() -> None:
    twin = spot("a", 47, 13)

    with pytest.raises(WrongInput, match=r"places: got \['a'\]; needed: each place once"):
        straight([twin, twin])


def test_a_pace_that_nobody_has_is_refused() -> None:
    with pytest.raises(WrongInput, match="drive_kmh: got 0; needed: a number from 1 to 130"):
        Pace(drive_kmh=0)


def test_eight_kilometres_with_six_hundred_metres_up_take_longer_than_on_the_level() -> None:
    """The finding of the first trial: 95 minutes told. By Tobler's function at 0.075, 3.87 km/h: 124 minutes;
    Naismith's rule, 8/5 + 600/600 hours, has 156.
    """
    far = 8000 / 1.3 / 111_195  # degrees of latitude, before the detour
    places = [spot("base", 47.0, 13.0), Place(key="hut", latitude_deg=47.0 + far, longitude_deg=13.0, climb_m=600)]
    level = straight(places)
    told = with_climbs(level, places)

    assert level.way("base", "hut").minutes == pytest.approx(95.3, abs=0.5)
    assert told.way("base", "hut").minutes == pytest.approx(8 / (6 * math.exp(-3.5 * 0.125)) * 60, rel=1e-3)
    assert told.way("base", "hut").minutes == pytest.approx(124, abs=0.5)
    assert pytest.approx(156) == (8 / 5 + 600 / 600) * 60
    assert told.way("hut", "base").minutes < level.way("base", "hut").minutes  # down, and gently
    assert told.way("base", "hut").climb_m == 600 and told.way("hut", "base").climb_m == 0
    assert (told.how.heights, told.how.typed) == ("typed", 1)


def test_between_two_sites_on_foot_the_rise_is_the_difference_of_their_climbs() -> None:
    places = [spot("base", 47.0, 13.0), Place(key="low", latitude_deg=47.02, longitude_deg=13.0, climb_m=100),
              Place(key="high", latitude_deg=47.04, longitude_deg=13.0, climb_m=400)]  # fmt: skip
    told = with_climbs(straight(places), places)

    assert told.way("low", "high").climb_m == 300 and told.way("high", "low").climb_m == 0
    assert told.way("low", "high").minutes > straight(places).way("low", "high").minutes


def test_by_car_one_walks_down_to_the_car_and_up_from_it() -> None:
    """150 m from the car with 30 m up: slope 0.2 up, −0.2 down; by hand with Tobler's function."""
    places = [spot("base", 47.0, 13.0)] + [
        Place(key=k, latitude_deg=47.0 + d, longitude_deg=13.0, walk_in_m=150, climb_m=30)
        for k, d in (("a", 0.05), ("b", 0.1))
    ]
    told = with_climbs(straight(places, drive=True), places)
    up, down = (0.15 / float(tobler_kmh(slope)) * 60 for slope in (0.2, -0.2))

    assert told.way("base", "a").walk_min == pytest.approx(up, rel=0.02)
    assert told.way("a", "b").walk_min == pytest.approx(up + down, rel=0.02)
    assert told.way("a", "b").drive_min == straight(places, drive=True).way("a", "b").drive_min


def test_a_climb_that_no_path_could_take_on_so_short_a_walk_makes_the_walk_longer() -> None:
    """600 m up within 150 m from the car is no path: one in four at most, so 2.4 km of it."""
    places = [spot("base", 47.0, 13.0),
              Place(key="a", latitude_deg=47.05, longitude_deg=13.0, walk_in_m=150, climb_m=600)]  # fmt: skip
    way = with_climbs(straight(places, drive=True), places).way("base", "a")

    assert way.walk_m == pytest.approx(2400, rel=0.02)
    assert 60 < way.walk_min < 100


def test_straight_over_a_grid_is_by_the_slope_and_on_a_path() -> None:
    """A plane that rises 75 m a kilometre to the north: as the typed climb of the same slope."""
    rows = np.linspace(1.0, 0.0, 101)[:, None] * 0.2 * 111_195 * 0.075 * 1.3
    grid = HeightGrid(np.repeat(rows, 101, axis=1), west=12.9, south=46.9, cell=0.2 / 101, degrees=True)
    places = [spot("base", 46.95, 13.0), spot("hut", 47.0, 13.0)]
    told = straight(places, grid=grid)
    slope = told.way("base", "hut").climb_m / told.way("base", "hut").walk_m

    assert slope == pytest.approx(0.075, rel=0.05)
    assert told.way("base", "hut").minutes == pytest.approx(
        told.way("base", "hut").walk_m / 1000 / float(tobler_kmh(slope)) * 60, rel=0.01
    )
    assert with_climbs(told, places) is told and told.how.heights == "grid"


def test_a_climb_that_is_none_is_refused() -> None:
    with pytest.raises(WrongInput, match=r"climb_m of 'a': got 9000; needed: metres from -3000 \(down\) to 5000 \(up\)"):
        Place(key="a", latitude_deg=47, longitude_deg=13, climb_m=9000)
