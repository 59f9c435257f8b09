"""GeoJSON by the rules of RFC 7946 (H. Butler et al., 2016)."""

from __future__ import annotations

import itertools
import json
from typing import Any

import pytest
from fitted import at, line

from trod.errors import WrongInput
from trod.exchange.geojson import Area, Path, Point, geojson_text
from trod.planning.visit.tracks import tracks_from_geojson


def first(*features: Point | Path | Area) -> Any:
    return json.loads(geojson_text(features))["features"][0]


def test_a_position_is_longitude_then_latitude_without_a_reference_system() -> None:
    """RFC 7946, 3.1.1 and 4."""
    text = geojson_text([Point(place=at(47.3, 13.9), told={"name": "Elm lick", "days": 3})])

    assert json.loads(text) == {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [13.9, 47.3]},
                "properties": {"name": "Elm lick", "days": 3},
            }
        ],
    }
    assert "crs" not in text


@pytest.mark.parametrize("ring", [((0, 0), (0, 1), (1, 1), (1, 0)), ((0, 0), (1, 0), (1, 1), (0, 1), (0, 0))])
def test_an_outer_ring_is_closed_and_counter_clockwise(ring: tuple[tuple[float, float], ...]) -> None:
    """RFC 7946, 3.1.6, either way round that it comes in."""
    (made,) = first(Area(ring=line(*ring)))["geometry"]["coordinates"]

    assert made[0] == made[-1] and len(made) == 5
    assert sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(made)) == 2.0


def test_a_line_across_the_antimeridian_is_cut_in_two() -> None:
    """RFC 7946, 3.1.9."""
    geometry = first(Path(line=line((10.0, 179.0), (20.0, -179.0))))["geometry"]

    assert geometry == {
        "type": "MultiLineString",
        "coordinates": [[[179.0, 10.0], [180.0, 15.0]], [[-180.0, 15.0], [-179.0, 20.0]]],
    }


def test_a_line_that_stays_on_one_side_is_whole() -> None:
    assert first(Path(line=line((10.0, 179.0), (20.0, 178.0))))["geometry"]["type"] == "LineString"


def test_our_own_reader_of_tracks_takes_what_is_written() -> None:
    text = geojson_text([Path(line=line((47.3, 13.9), (47.31, 13.91)), told={"drive": True, "name": "North road"})])
    (track,) = tracks_from_geojson(json.loads(text))

    assert (track.points, track.drive, track.name) == (((47.3, 13.9), (47.31, 13.91)), True, "North road")


def test_a_hidden_place_is_a_coarse_area() -> None:
    place = Point(place=at(47.3111, 13.9222, sensitive=True))
    text = geojson_text([place])
    (area,) = json.loads(text)["features"]

    assert area["geometry"]["coordinates"] == [
        [[13.92, 47.3], [13.94, 47.3], [13.94, 47.32], [13.92, 47.32], [13.92, 47.3]]
    ]
    assert area["properties"] == {"generalised": True}
    assert "47.3111" not in text
    assert "47.3111" in geojson_text([Point(place=at(47.3111, 13.9222, sensitive=True, true_places=True))])


def test_what_json_cannot_hold_does_not_get_in() -> None:
    told = first(Point(place=at(1, 2), told={"a": float("nan"), "b": "\ud800x", "c": [1]}))["properties"]

    assert told == {"a": None, "b": "?x", "c": "[1]"}


def test_what_is_too_little_or_off_the_globe_is_refused() -> None:
    with pytest.raises(WrongInput, match=r"line: got '1 point\(s\)'; needed: two points or more"):
        geojson_text([Path(line=line((1, 1)))])
    with pytest.raises(WrongInput, match=r"area: got '2 corner\(s\)'; needed: three corners or more"):
        geojson_text([Area(ring=line((1, 1), (2, 2), (1, 1)))])
    with pytest.raises(WrongInput, match=r"place: got \(1, nan\)"):
        at(1, float("nan"))
