"""The reserve's own tracks as a network."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from trod.errors import WrongInput
from trod.planning.ground.heightgrid import HeightGrid
from trod.planning.visit.tracks import Track, along, join, tracks_from_geojson
from trod.planning.visit.travel import HowGone, NoStart, NoWay, Pace, Place, Ways

LAT, LON = 47.3, 13.9
NORTH_M = math.pi * 6_371_008.8 / 180
EAST_M = NORTH_M * math.cos(math.radians(LAT))


def at(east_m: float, north_m: float) -> tuple[float, float]:
    """A point by metres from the yard."""
    return LAT + north_m / NORTH_M, LON + east_m / EAST_M


def spot(key: str, east_m: float, north_m: float) -> Place:
    lat, lon = at(east_m, north_m)
    return Place(key=key, latitude_deg=lat, longitude_deg=lon)


def track(*metres: tuple[float, float], drive: bool = False, closed: bool = False, kmh: float | None = None) -> Track:
    return Track(points=tuple(at(*m) for m in metres), drive=drive, closed=closed, kmh=kmh)


def level_min(metres: float, factor: float = 1.0) -> float:
    """On the level by W. Tobler (1993), 5.0367 km/h."""
    return metres / 1000 / (5.0367 * factor) * 60


def test_a_way_along_tracks_goes_round_the_corner() -> None:
    network = join([track((0, 0), (1000, 0), (1000, 800))])
    ways = along([spot("yard", 0, 0), spot("end", 1000, 800)], network)

    way = ways.way("yard", "end")
    assert way.walk_m == pytest.approx(1800, abs=5)
    assert way.minutes == pytest.approx(level_min(1800), rel=0.004)
    assert way.climb_m is None
    assert network.length_m == pytest.approx(1800, abs=5)


def test_tracks_that_cross_without_a_common_point_are_joined() -> None:
    network = join([track((0, 0), (1003, 0)), track((507, -304), (507, 400))])

    way = along([spot("yard", 0, 0), spot("side", 507, 400)], network).way("yard", "side")

    assert way.walk_m == pytest.approx(907, abs=8)


def test_a_track_that_ends_just_short_of_another_is_joined_and_one_that_ends_far_short_is_not() -> None:
    places = [spot("yard", 0, 0), spot("side", 505, 700)]
    near = along(places, join([track((0, 0), (1000, 0)), track((505, 7), (505, 700))]), reach_m=50)
    far = along(places, join([track((0, 0), (1000, 0)), track((505, 60), (505, 700))]), reach_m=50)

    assert near.missing == {}
    assert far.missing == {"side": NoWay(why="tracks apart")}
    assert np.isinf(far.way("yard", "side").minutes)


def test_the_last_stretch_is_across_country_and_slower() -> None:
    network = join([track((0, 0), (1000, 0))])
    way = along([spot("yard", 0, 0), spot("off", 1000, 300)], network).way("yard", "off")

    assert way.minutes == pytest.approx(level_min(1000) + level_min(300, 0.6), rel=0.003)


def test_two_sites_off_the_track_are_walked_between_straight() -> None:
    network = join([track((0, 0), (1000, 0))])
    places = [spot("yard", 0, 0), spot("a", 500, 300), spot("b", 600, 300)]

    assert along(places, network).way("a", "b").walk_m == pytest.approx(100, abs=1)


def test_a_site_too_far_from_any_track_is_named_with_its_distance() -> None:
    ways = along([spot("yard", 0, 0), spot("lost", 500, 820)], join([track((0, 0), (1000, 0))]))

    assert (ways.missing["lost"].why, ways.missing["lost"].most_m) == ("far from tracks", 500)
    assert ways.missing["lost"].away_m == pytest.approx(820, abs=1)


def test_a_closed_track_is_not_used() -> None:
    bridge, round_about = track((0, 0), (1000, 0), closed=True), track((0, 0), (0, 500), (1000, 500), (1000, 0))
    way = along([spot("yard", 0, 0), spot("b", 1000, 0)], join([bridge, round_about]), reach_m=50).way("yard", "b")

    assert way.walk_m == pytest.approx(2000, abs=10)
    with pytest.raises(WrongInput, match="tracks: got 'none that is open'"):
        join([bridge])


def test_by_car_one_drives_as_near_as_one_can_and_walks_the_rest() -> None:
    network = join([track((0, 0), (3000, 0), drive=True), track((3000, 0), (3000, 600))])
    ways = along([spot("yard", 0, 0), spot("up", 3000, 600)], network, drive=True, pace=Pace(drive_kmh=30))

    way = ways.way("yard", "up")
    assert way.drive_m == pytest.approx(3000, abs=15)
    assert way.drive_min == pytest.approx(6, rel=0.01)
    assert way.walk_m == pytest.approx(600, abs=15)
    assert ways.way("up", "yard").minutes == pytest.approx(way.minutes, rel=0.01)


def test_a_track_with_a_speed_of_its_own_is_driven_at_it() -> None:
    network = join([track((0, 0), (3000, 0), drive=True, kmh=60)])

    assert along([spot("yard", 0, 0), spot("b", 3000, 0)], network, drive=True).way("yard", "b").drive_min == (
        pytest.approx(3, rel=0.01)
    )


def test_sites_that_share_a_place_for_the_car_are_walked_between() -> None:
    network = join([track((0, 0), (3000, 0), drive=True), track((3000, 0), (3000, 900))])
    places = [spot("yard", 0, 0), spot("near", 3000, 600), spot("far", 3000, 900)]
    ways = along(places, network, drive=True)

    assert ways.way("near", "far").walk_m == pytest.approx(300, abs=5)
    assert ways.way("near", "far").drive_m == 0
    # Never better by way of a third place than straight: no place is a short cut that the table missed.
    minutes = ways.minutes
    for k in range(3):
        assert (minutes <= minutes[:, [k]] + minutes[[k], :] + 1e-6).all()


def test_a_walk_from_the_car_longer_than_asked_is_refused_with_its_minutes() -> None:
    network = join([track((0, 0), (3000, 0), drive=True), track((3000, 0), (3000, 5000))])
    ways = along([spot("yard", 0, 0), spot("up", 3000, 5000)], network, drive=True, most_walk_min=45)

    assert (ways.missing["up"].why, ways.missing["up"].most_min) == ("long walk", 45)
    assert ways.missing["up"].walk_min == pytest.approx(60, abs=0.5)


def test_going_by_car_needs_a_track_that_a_car_can_use() -> None:
    with pytest.raises(WrongInput, match="tracks: got 'none that a car can use'; needed: at least one with drive true"):
        along([spot("yard", 0, 0), spot("b", 100, 0)], join([track((0, 0), (1000, 0))]), drive=True)


def test_a_start_away_from_the_tracks_is_said_with_its_distance() -> None:
    with pytest.raises(NoStart, match="needed: a place close to a track that a car can use") as told:
        along([spot("yard", 0, 900), spot("b", 100, 0)], join([track((0, 0), (1000, 0), drive=True)]), drive=True)
    assert told.value.no_way.away_m == pytest.approx(900, abs=1)


def hill() -> HeightGrid:
    """A cone 300 m high, 1 km around, east of the yard."""
    y, x = np.mgrid[0:200, 0:200]
    lat, lon = LAT + 0.0 + (199 - y - 99.5) * 2e-4, LON + 0.013 + (x - 99.5) * 2e-4
    away = np.hypot((lat - LAT) * NORTH_M, (lon - (LON + 0.013)) * EAST_M)
    heights = np.clip(300 * (1 - away / 1000), 0, None)
    return HeightGrid(heights, west=LON + 0.013 - 0.02, south=LAT - 0.02, cell=2e-4, degrees=True)


def test_on_a_hill_the_way_round_is_chosen_when_it_is_quicker_and_the_climb_is_told() -> None:
    over = track((0, 0), (1960, 0))
    round_about = track((0, 0), (0, 1100), (1960, 1100), (1960, 0))
    grid = hill()
    places = [spot("yard", 0, 0), spot("peak", 982, 0), spot("beyond", 1960, 0)]
    ways = along(places, join([over, round_about], grid=grid), grid=grid)

    assert ways.climb_m is not None
    top, foot = (float(grid.at(np.array(at(m, 0)[1]), np.array(LAT))) for m in (982, 0))
    assert ways.way("yard", "peak").climb_m == pytest.approx(top - foot, abs=1)
    assert ways.way("peak", "yard").climb_m == pytest.approx(0, abs=1)
    assert ways.way("yard", "peak").minutes > ways.way("peak", "yard").minutes
    straight_over = ways.way("yard", "peak").minutes + ways.way("peak", "beyond").minutes
    assert ways.way("yard", "beyond").minutes <= straight_over + 1e-6
    assert ways.how == HowGone(along="tracks", heights="grid")


def test_the_drawn_way_begins_and_ends_at_the_places_and_keeps_to_the_track() -> None:
    network = join([track((0, 0), (1000, 0), (1000, 800))])
    line = along([spot("yard", 0, 0), spot("end", 1000, 800)], network).line("yard", "end")

    assert line[0] == pytest.approx(at(0, 0), abs=1e-6)
    assert line[-1] == pytest.approx(at(1000, 800), abs=1e-6)
    assert 3 <= len(line) <= 6


def test_a_way_matches_a_shortest_path_worked_out_apart() -> None:
    """A lattice of tracks with random stretches closed, against Floyd and Warshall written out plainly."""
    random = np.random.default_rng(5)
    size, mesh = 6, 400.0
    corners = [(x, y) for x in range(size) for y in range(size)]
    open_between, lines = {}, []
    for x, y in corners:
        for dx, dy in ((1, 0), (0, 1)):
            end = (x + dx, y + dy)
            if end in corners and random.random() < 0.75:
                open_between[(x, y), end] = open_between[end, (x, y)] = mesh
                lines.append(track((x * mesh, y * mesh), (end[0] * mesh, end[1] * mesh)))
    short = {(a, b): 0.0 if a == b else open_between.get((a, b), math.inf) for a in corners for b in corners}
    for k in corners:
        for a in corners:
            for b in corners:
                short[a, b] = min(short[a, b], short[a, k] + short[k, b])
    places = [spot(f"{x}-{y}", x * mesh, y * mesh) for x, y in corners]
    ways: Ways = along(places, join(lines), reach_m=20)

    told = np.array([[short[a, b] for b in corners] for a in corners])
    assert np.array_equal(np.isfinite(ways.walk_m), np.isfinite(told))
    known = np.isfinite(told)
    assert ways.walk_m[known] == pytest.approx(told[known], rel=0.01)


def test_geojson_tells_what_a_car_can_use() -> None:
    text = json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {"name": "North road", "drive": True, "kmh": 25},
                    "geometry": {"type": "LineString", "coordinates": [[13.9, 47.3], [13.91, 47.31, 812.0]]},
                },
                {"type": "Feature", "properties": None, "geometry": {"type": "Point", "coordinates": [13, 47]}},
                {
                    "type": "Feature",
                    "properties": {"drive": "yes", "closed": True},
                    "geometry": {"type": "MultiLineString", "coordinates": [[[13, 47], [13, 48]], [[14, 47], [14, 48]]]},
                },
            ],
        }
    )
    first, second, third = tracks_from_geojson(json.loads(text))

    assert first == Track(points=((47.3, 13.9), (47.31, 13.91)), name="North road", drive=True, kmh=25)
    assert not second.drive and second.closed
    assert third.points == ((47, 14), (48, 14))


@pytest.mark.parametrize(
    ("document", "words"),
    [
        ([], r"GeoJSON: got 'list'; needed: an object with a type"),
        ({"type": "Topology"}, r"GeoJSON: got \"type 'Topology'\"; needed: features or geometries of RFC 7946"),
        ({"type": "FeatureCollection"}, r"GeoJSON features: got 'NoneType'; needed: a list"),
        ({"type": "Point", "coordinates": [1, 2]}, r"GeoJSON: got 'no line'"),
        ({"type": "LineString", "coordinates": [[1], [2]]}, r"GeoJSON coordinates: .*positions as \[longitude"),
        ({"type": "LineString", "coordinates": [[1, 2], "ab"]}, r"GeoJSON coordinates"),
        ({"type": "LineString", "coordinates": [[1, 2], [3, float("nan")]]}, r"needed: latitudes to 90"),
        ({"type": "LineString", "coordinates": [[13, 47]]}, r"needed: at least two points"),
        ({"type": "MultiLineString", "coordinates": [7]}, r"GeoJSON coordinates"),
    ],
)  # fmt: skip
def test_what_is_no_geojson_of_tracks_is_refused_in_words(document: object, words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        tracks_from_geojson(document)


def test_a_recording_with_a_point_each_metre_gives_no_more_steps_than_one_with_few() -> None:
    dense = join([track(*((m, 0.3 * (m % 2)) for m in range(1001)))])

    assert dense.lat.size < 120


def test_tracks_across_the_date_line_are_of_one_piece() -> None:
    network = join([Track(points=((60.0, 179.99), (60.0, -179.99)))])
    places = [
        Place(key="w", latitude_deg=60, longitude_deg=179.99),
        Place(key="e", latitude_deg=60, longitude_deg=-179.99),
    ]

    assert along(places, network).way("w", "e").walk_m == pytest.approx(0.02 * NORTH_M / 2, rel=0.01)
