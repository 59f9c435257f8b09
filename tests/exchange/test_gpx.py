"""GPX for hand-helds, read back by gpxpy, which shares no code with the writing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from xml.etree import ElementTree

import gpxpy
import pytest
from fitted import at, line
from hypothesis import given, settings
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.exchange.gpx import Route, TrackLine, Waypoint, gpx_text, lines_of_gpx
from trod.findings.blur import cell_of

LICK = Waypoint(
    place=at(47.3051234, 13.9054321),
    name="Elm lick",
    note="Cells, card",
    height_m=812.34,
    kind="camera",
)
HIDDEN, SHOWN = (
    Waypoint(place=at(47.3111, 13.9222, sensitive=True, true_places=true), name="Eyrie", height_m=1204.0)
    for true in (False, True)
)
WAY = TrackLine(name="Way", lines=(line((47.3, 13.9), (47.31, 13.91)), line((47.31, 13.91), (47.3111, 13.9222))))
MADE = datetime(2026, 3, 2, 7, 30, tzinfo=timezone(timedelta(hours=1)))


def written(*places: Waypoint, tracks: tuple[TrackLine, ...] = (WAY,)) -> str:
    places = places or (LICK, SHOWN)
    return gpx_text(
        name="Round",
        waypoints=places,
        routes=[Route(name="Monday", points=places)],
        tracks=tracks,
        made_at=MADE,
    )


def test_what_is_written_is_read_back() -> None:
    read = gpxpy.parse(written())

    assert (read.version, read.creator, read.name) == ("1.1", "Trod", "Round")
    assert read.time == datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
    first = read.waypoints[0]
    assert (first.latitude, first.longitude, first.elevation) == (47.3051234, 13.9054321, 812.3)
    assert (first.name, first.description, first.type) == ("Elm lick", "Cells, card", "camera")
    assert [p.name for p in read.routes[0].points] == ["Elm lick", "Eyrie"]
    assert [[(p.latitude, p.longitude) for p in s.points] for s in read.tracks[0].segments] == [
        list(x.points) for x in WAY.lines
    ]


def test_elements_stand_in_the_order_of_the_schema() -> None:
    # GPX 1.1 (topografix.com, 2004): metadata, wpt, rte, trk; within a point ele, time, name, cmt, desc, …, sym, type
    # (from memory).
    root = ElementTree.fromstring(written())
    short = lambda parent: [child.tag.rpartition("}")[2] for child in parent]  # noqa: E731

    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"
    assert short(root) == ["metadata", "wpt", "wpt", "rte", "trk"]
    assert short(root[1]) == ["ele", "name", "desc", "type"]
    assert short(root[0]) == ["name", "time"]


def test_180_degrees_east_are_written_as_180_west() -> None:
    text = gpx_text(name="x", waypoints=[Waypoint(place=at(0, 180), name="line")])

    assert gpxpy.parse(text).waypoints[0].longitude == -180


def test_a_sensitive_place_that_somebody_decided_to_show_is_true() -> None:
    assert gpxpy.parse(written()).waypoints[1].latitude == 47.3111


def test_a_hidden_place_is_the_middle_of_its_cell_without_its_height() -> None:
    text = written(LICK, HIDDEN, tracks=())
    read = gpxpy.parse(text)
    cell = cell_of(latitude_deg=47.3111, longitude_deg=13.9222)

    for point in (read.waypoints[1], read.routes[0].points[1]):
        assert (point.latitude, point.longitude) == (round(cell.latitude_deg, 7), round(cell.longitude_deg, 7))
        assert point.elevation is None
    assert read.waypoints[0].latitude == 47.3051234
    assert read.tracks == []
    assert "not where it is" in read.description
    assert "47.3111" not in text and "13.9222" not in text and "1204" not in text


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60))
def test_no_name_breaks_the_file(name: str) -> None:
    text = gpx_text(name=name, waypoints=[Waypoint(place=at(1, 2), name=name, note=name)], note=name)

    assert len(gpxpy.parse(text.encode("utf-8").decode("utf-8")).waypoints) == 1


def test_markup_in_a_name_stays_text() -> None:
    nasty = "</name><wpt lat='1' lon='1'/> & ]]> \x00\ud800"
    read = gpxpy.parse(gpx_text(name="x", waypoints=[Waypoint(place=at(1, 2), name=nasty)]))

    assert [p.name for p in read.waypoints] == ["</name><wpt lat='1' lon='1'/> & ]]>"]


def test_a_place_off_the_globe_and_a_time_without_a_zone_are_refused() -> None:
    with pytest.raises(WrongInput, match=r"place: got \(91, 0\)"):
        at(91, 0)
    with pytest.raises(WrongInput, match="time: got '2026-03-02T00:00:00'; needed: a time with its zone"):
        gpx_text(name="x", made_at=datetime(2026, 3, 2))


def test_tracks_and_routes_come_in_as_lines() -> None:
    assert lines_of_gpx(written(LICK)) == tuple(way.points for way in WAY.lines)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "one that cannot be read"),
        ("<gpx", "one that cannot be read"),
        ("<!DOCTYPE x [<!ENTITY a 'b'>]><gpx/>", "its own definitions"),
        ('<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"/>', "one without tracks"),
    ],
)
def test_what_is_no_gpx_of_tracks_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        lines_of_gpx(text)


def test_tracks_off_the_globe_are_refused() -> None:
    text = gpx_text(name="x", tracks=[WAY]).replace('lat="47.3000000"', 'lat="97.3000000"')

    with pytest.raises(WrongInput, match="off the globe"):
        lines_of_gpx(text)
