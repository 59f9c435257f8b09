"""Places ranked by sign, feature and month."""

from __future__ import annotations

from datetime import date
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.ground.site import Feature
from trod.planning.place import season
from trod.planning.place.adviser import Aim
from trod.planning.place.season import Place, SeenSign, rank
from trod.telling import season as told

JULY, JANUARY = date(2026, 7, 10), date(2026, 1, 10)
WATER = Place(name="Black pool", latitude_deg=47.30, longitude_deg=13.90, feature="water")
FODDER = Place(name="Low field", latitude_deg=47.31, longitude_deg=13.91, feature="feeding")
TRAIL = Place(name="Ridge path", latitude_deg=47.32, longitude_deg=13.92, feature="trail")


def names(found: list[season.Candidate]) -> list[str]:
    return [c.place.name for c in found]


def test_water_leads_in_summer_and_fodder_in_winter() -> None:
    assert names(rank([FODDER, WATER], [], on=JULY))[0] == "Black pool"
    assert names(rank([FODDER, WATER], [], on=JANUARY))[0] == "Low field"


def test_south_of_the_equator_the_seasons_are_turned() -> None:
    south = [
        Place(name=p.name, latitude_deg=-p.latitude_deg, longitude_deg=170, feature=p.feature) for p in (FODDER, WATER)
    ]

    assert names(rank(south, [], on=JULY))[0] == "Low field"
    assert [season.northern_month(m, latitude_deg=-40) for m in (1, 6, 7, 12)] == [7, 12, 1, 6]


def test_points_are_the_sum_of_told_parts_and_nothing_else() -> None:
    signs = [SeenSign(kind="tracks", seen_on=date(2026, 7, 1), latitude_deg=47.3, longitude_deg=13.9)]
    for candidate in rank([WATER, FODDER, TRAIL], signs, on=JULY, aim="herd"):
        assert candidate.points == approx(sum(part.points for part in candidate.parts))
        assert all(told.part(part, "us") for part in candidate.parts)


def test_fresh_sign_near_by_lifts_a_place_and_fades_with_its_age() -> None:
    def points(seen_on: date, latitude_deg: float = 47.3203) -> float:
        sign = SeenSign(kind="rub", seen_on=seen_on, latitude_deg=latitude_deg, longitude_deg=13.92)
        return rank([TRAIL], [sign], on=JULY)[0].points

    none = rank([TRAIL], [], on=JULY)[0].points
    assert points(JULY) - none == approx(2.5)
    assert points(date(2026, 5, 11)) - none == approx(1.25)  # sixty days
    assert points(JULY, latitude_deg=47.33) == none  # a kilometre off
    assert points(date(2026, 8, 1)) == none  # not seen yet


def test_sign_of_the_same_season_last_year_still_tells() -> None:
    sign = SeenSign(kind="scrape", seen_on=date(2025, 7, 3), latitude_deg=47.32, longitude_deg=13.92)
    worth, again = season.sign_worth(sign, on=JULY)

    assert worth == approx(1.25) and again
    part = next(p for p in rank([TRAIL], [sign], on=JULY)[0].parts if p.find)
    assert told.part(part, "metric") == "scrape at this time of year, 2025, right there"
    other, _ = season.sign_worth(sign, on=date(2026, 3, 1))
    assert other < 0.2


def test_only_sign_of_the_wanted_species_counts() -> None:
    deer = SeenSign(kind="tracks", seen_on=JULY, latitude_deg=47.32, longitude_deg=13.92, species="red_deer")
    points = rank([TRAIL], [deer], on=JULY, species="red_deer")[0].points
    other = rank([TRAIL], [deer], on=JULY, species="grey_wolf")[0].points

    assert points - other == approx(2.0)


def test_much_sign_does_not_grow_without_end() -> None:
    signs = [SeenSign(kind="trail", seen_on=JULY, latitude_deg=47.32, longitude_deg=13.92)] * 50
    found = rank([TRAIL], signs, on=JULY)[0]

    assert found.points == approx(2.0 + season.MOST_SIGN_POINTS)


def test_a_closed_place_falls_to_the_end_with_a_caution() -> None:
    closed = Place(name="Den slope", latitude_deg=47.32, longitude_deg=13.92, feature="trail", closed=(7,))
    found = rank([closed, FODDER], [], on=JULY)

    assert names(found) == ["Low field", "Den slope"]
    assert told.minded(found[1]) == ("Closed in July: do not go.",)
    assert rank([closed, FODDER], [], on=JANUARY)[1].minded == ()


def test_a_place_says_what_a_camera_there_would_answer() -> None:
    found = rank([FODDER], [], on=JANUARY, aim="herd")[0]

    assert found.answers[:2] == ("composition", "herd")
    assert told.answers(found)[1] == ("how many come at once", "the herd gathers and stays")
    assert [told.part(part, "metric") for part in found.parts] == [
        "January: animals come to fodder in winter",
        "answers the question: the herd gathers and stays",
    ]
    assert told.sentence([found], 1, "herd", "", "metric") == (
        "In January to tell how many come at once Low field promises most: animals come to fodder in winter; the herd "
        "gathers and stays."
    )


def test_how_far_off_a_sign_lies_is_told_in_the_readers_units() -> None:
    sign = SeenSign(kind="tracks", seen_on=date(2026, 7, 9), latitude_deg=47.3205, longitude_deg=13.92, species="elk")
    part = next(p for p in rank([TRAIL], [sign], on=JULY)[0].parts if p.find)

    assert told.part(part, "metric") == "tracks of elk, 1 day ago, about 60 m away"
    assert told.part(part, "us") == "tracks of elk, 1 day ago, about 180 ft away"


def test_every_reason_of_the_tables_has_its_words() -> None:
    for feature, rows in season.DRAWS.items():
        assert len(told.DRAWS[feature]) == len(rows)
        assert told.ANSWERS[feature].keys() == season.ANSWERS[feature].keys()


def test_a_watched_or_far_place_comes_later() -> None:
    fresh = Place(name="A", latitude_deg=47, longitude_deg=13, feature="trail")
    watched = Place(name="B", latitude_deg=47, longitude_deg=13, feature="trail", watched=True)
    far = Place(name="C", latitude_deg=47, longitude_deg=13, feature="trail", walk_min=150)

    assert names(rank([watched, far, fresh], [], on=JULY)) == ["A", "C", "B"]


def test_every_feature_has_its_season_and_its_answers() -> None:
    for feature in get_args(Feature):
        assert feature in season.DRAWS and feature in season.ANSWERS
        assert set(season.ANSWERS[feature]) <= set(get_args(Aim))


@given(st.integers(0, 5000))
def test_sign_never_tells_more_than_when_it_was_fresh(age: int) -> None:
    on = date(2026, 7, 10)
    sign = SeenSign(kind="scat", seen_on=date.fromordinal(on.toordinal() - age), latitude_deg=1, longitude_deg=1)
    worth, _ = season.sign_worth(sign, on=on)

    assert 0 < worth <= season.SIGN_POINTS["scat"]


def test_distances_are_those_of_the_globe() -> None:
    """A degree of longitude at 60° is half of one at the equator."""
    equator = season.apart_m(0, 0, 0, 1)

    assert equator == approx(111_195, abs=1)
    assert season.apart_m(60, 179.5, 60, -179.5) == approx(equator / 2, rel=1e-3)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(WrongInput):
        SeenSign(kind="howl", seen_on=JULY, latitude_deg=0, longitude_deg=0)  # type: ignore[arg-type]
    with pytest.raises(WrongInput):
        Place(name="x", latitude_deg=95, longitude_deg=0, feature="trail")
    with pytest.raises(WrongInput):
        rank([TRAIL], [], on=JULY, aim="all")  # type: ignore[arg-type]


def test_what_came_in_the_month_before_lifts_a_place_by_its_rate_and_not_by_its_number() -> None:
    def part(sequences: int, camera_days: float) -> season.Part | None:
        came = season.Came(place=TRAIL.name, sequences=sequences, camera_days=camera_days)
        return next((p for p in rank([TRAIL], [], on=JULY, came=[came])[0].parts if p.came), None)

    ten, twenty = part(9, 30), part(18, 60)
    assert ten is not None and twenty is not None
    assert ten.points == approx(2.0)  # 2 · log10(1 + 9)
    assert twenty.points == approx(ten.points)
    assert told.part(ten, "metric") == "9 sequences with animals in 30 camera-days of July"
    most = part(100_000, 31)
    assert most is not None and most.points == season.MOST_CAME_POINTS


def test_many_days_without_an_animal_speak_against_a_place_and_few_say_nothing() -> None:
    empty = season.Came(place="Ridge path", sequences=0, camera_days=31, what="Red deer")
    short = season.Came(place="Black pool", sequences=0, camera_days=3)

    with_it = {c.place.name: c for c in rank([TRAIL, WATER], [], on=JULY, came=[empty, short])}
    without = {c.place.name: c for c in rank([TRAIL, WATER], [], on=JULY)}

    assert with_it["Ridge path"].points == approx(without["Ridge path"].points + season.NONE_CAME_POINTS)
    assert "no Red deer in 31 camera-days of July" in [told.part(p, "metric") for p in with_it["Ridge path"].parts]
    assert with_it["Black pool"].points == without["Black pool"].points
