"""How ways were worked out, and why none leads to a place, in both systems of units."""

from __future__ import annotations

import pytest

from trod.planning.visit.travel import HowGone, NoWay, Supposed, WayShare
from trod.telling import ways

METRIC_SIGNS = (" m ", " km", " km/h", " kg", " m;", " m.")

HOWS = [
    (HowGone(detour=1.3), "on foot by the straight line, lengthened by 1.3, as if on a level path"),
    (HowGone(detour=1.3, heights="grid"), "on foot by the straight line, lengthened by 1.3, by the slope"),
    (
        HowGone(by_car=True, detour=1.3, drive_kmh=20),
        "by car along the straight line, lengthened by 1.3, at 20 km/h, and on foot from the car to each site",
    ),
    (
        HowGone(along="across country", heights="grid", unknown_share=0.004),
        "on foot across country in straight lines, by the slope; cliffs, water and thickets on the line are not known; "
        "heights are unknown on 1 % of it, taken as level",
    ),
    (
        HowGone(along="tracks"),
        "on foot along the tracks, and across country from the track to the site, as if level",
    ),
    (
        HowGone(along="tracks", by_car=True, drive_kmh=20, heights="grid", unknown_share=0.37),
        "by car at 20 km/h where a track has no speed of its own, and on foot along the tracks, and across country from "
        "the track to the site, by the slope; heights are unknown on 37 % of them, taken as level",
    ),
    (
        HowGone(along="tracks", heights="typed", typed=1),
        "on foot along the tracks, and across country from the track to the site; the climb as typed for one site, "
        "level elsewhere",
    ),
    (
        HowGone(detour=1.3, heights="typed", typed=3),
        "on foot by the straight line, lengthened by 1.3; the climb as typed for 3 sites, level elsewhere",
    ),
]


@pytest.mark.parametrize(("found", "words"), HOWS)
def test_how_ways_were_worked_out_follows_from_its_facts(found: HowGone, words: str) -> None:
    assert ways.how(found, "metric") == words
    assert ways.how(found, "us") == words.replace("20 km/h", "12 mph")


@pytest.mark.parametrize(
    ("why", "metric", "us"),
    [
        (
            NoWay(why="far from tracks", away_m=823, most_m=500),
            "the nearest track is 820 m away, and people go 500 m at most from a track",
            "the nearest track is 0.51 mi away, and people go 0.31 mi at most from a track",
        ),
        (
            NoWay(why="start far from tracks", away_m=120),
            "the start is 120 m from the nearest track",
            "the start is 390 ft from the nearest track",
        ),
        (NoWay(why="tracks apart"), "its tracks are not joined to those at the start", None),
        (
            NoWay(why="long walk", walk_min=60.2, most_min=45),
            "it is 60 minutes on foot from where a car can stop, and 45 is the most",
            None,
        ),
    ],
)
def test_why_no_way_leads_there_is_told_in_the_readers_units(why: NoWay, metric: str, us: str | None) -> None:
    assert (ways.no_way(why, "metric"), ways.no_way(why, "us")) == (metric, us or metric)


def test_a_start_that_is_refused_tells_how_far_it_is_in_the_readers_units() -> None:
    far = NoWay(why="start far from tracks", away_m=900, most_m=500)

    assert str(ways.start_refused(far, "metric")) == (
        "start: got 'a place 900 m from the nearest track'; needed: a place within 500 m of a track that a car can use"
    )
    assert "0.56 mi from the nearest track" in str(ways.start_refused(far, "us"))


def test_what_was_taken_for_the_ways_is_told_and_the_cars_speed_only_where_a_car_is_used() -> None:
    walked, driven = HowGone(along="tracks", heights="grid"), HowGone(along="tracks", by_car=True, drive_kmh=20)

    assert ways.supposed(Supposed(car_left=True), walked, "us") == (
        "Walking by Tobler's speeds. No track on the map is marked for cars, so all of it is on foot.",
    )
    assert ways.supposed(Supposed(), driven, "us") == (
        "Walking by Tobler's speeds; 12 mph on tracks where none is given.",
        "Reckoned level: there is no height grid of the reserve, and nobody typed a climb. 2\u202f000 ft up take an "
        "hour more.",
    )
    straight = HowGone(by_car=True, detour=1.3, drive_kmh=20, heights="typed", typed=1)
    assert ways.supposed(Supposed(followed="no track", last_walk_m=150), straight, "us") == (
        "No track is on the map: straight lines, made longer by 1.3; the last 490 ft from the car to each site are "
        "walked. Assumed.",
    )
    (said,) = ways.supposed(Supposed(followed="unusable tracks", trouble="one point"), straight, "metric")
    assert said.startswith("The tracks could not be used (one point): straight lines")


def test_a_share_of_the_way_tells_its_trip_or_why_it_is_assumed() -> None:
    how = HowGone(by_car=True, detour=1.3, drive_kmh=20)
    rest = "by car along the straight line, lengthened by 1.3, at 12 mph, and on foot from the car to each site"

    assert ways.share(WayShare(minutes=40, whole_min=40, how=how), "us") == (
        f"there and back, from where rounds start; {rest}; reckoned level"
    )
    assert ways.share(WayShare(minutes=20, whole_min=240, sites=6, cameras=2, how=how), "us") == (
        f"its share of 240 min on a round to 6 sites, from where rounds start; {rest}; reckoned level, shared by 2 "
        "cameras there"
    )
    assert ways.share(WayShare(minutes=60, why="no start"), "us") == "nobody said where rounds start"
    apart = WayShare(minutes=60, why="no way", no_way=NoWay(why="far from tracks", away_m=823, most_m=500))
    assert ways.share(apart, "us").startswith("the nearest track is 0.51 mi away")
    assert ways.share(WayShare(minutes=60, why="no way"), "metric") == "no way leads there"


def test_no_sentence_for_a_reader_of_us_units_has_a_metric_sign() -> None:
    found = HowGone(along="tracks", by_car=True, drive_kmh=20)
    said = [ways.how(found, "us"), *ways.supposed(Supposed(followed="as asked", last_walk_m=150), found, "us")]
    said.append(ways.no_way(NoWay(why="far from tracks", away_m=9000, most_m=500), "us"))

    assert not [(words, sign) for words in said for sign in METRIC_SIGNS if sign in f"{words} "]
