"""Sites for a month."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from trod.catalogue.models import (
    Identification,
    Observation,
    Reserve,
    Sequence,
    Sign,
    Site,
    Species,
)
from trod.planning.place.season import Candidate, Part, Place
from trod.telling import season
from trod.web.map.advice import seasonal

pytestmark = pytest.mark.django_db


def page(client, **asked):
    return client.get(reverse("map:season"), asked)


def line(answer, site):
    return next(one for one in answer.context["lines"] if one["site"] == site)


def whys(answer, site):
    return " | ".join(f"{points} {why}" for points, why, _ in line(answer, site)["parts"])


@pytest.mark.parametrize(
    ("month", "day"),
    [(7, date(2026, 7, 20)), (8, date(2026, 8, 15)), (12, date(2026, 12, 15)), (6, date(2027, 6, 15))],
)
def test_a_month_is_judged_for_today_or_for_its_next_middle(month, day):
    assert seasonal.day_for(month, date(2026, 7, 20)) == day


@pytest.mark.parametrize(
    ("closed", "months"),
    [
        ([], ()),
        ([12, 1, 2], (1, 2, 12)),
        ([{"from": "12-01", "to": "03-31", "why": "winter range"}], (1, 2, 3, 12)),
        ([{"from": "05-15", "to": "06-15"}], (5, 6)),
        (["2026-04-01", "9"], (4, 9)),
        (["winter", None, True, {"from": "13-01", "to": "02-01"}, 0, 99], ()),
        ({"from": "01-01"}, ()),
        (None, ()),
    ],
)
def test_closed_seasons_are_read_and_nonsense_is_left_out(closed, months):
    assert seasonal.closed_months(closed) == months


def today(cast) -> date:
    """The day it is on the reserve, which may be another one than here."""
    return datetime.now(cast.reserve.zone_info).date()


def test_sign_near_a_site_and_its_season_are_told_with_their_points(client, cast):
    Sign.objects.create(reserve=cast.reserve, kind="tracks", seen_on=today(cast), latitude=47.3101, longitude=13.91)
    month = today(cast).month

    answer = page(client, month=month)

    assert f"tracks, today, about {10} m away" in whys(answer, cast.ford)
    assert "−3.0 a camera stands here already" in whys(answer, cast.meadow)
    points = [float(one["points"].replace("−", "-")) for one in answer.context["lines"]]
    assert points == sorted(points, reverse=True)


def test_what_came_in_that_month_counts_by_its_rate(client, cast, bring_sequences):
    deer = Species.objects.create(name="Red deer", slug="red-deer", scientific_name="Cervus elaphus")
    begun = cast.deployment.start  # 3 March
    bring_sequences([begun + timedelta(days=d) for d in range(0, 100, 2)], home=cast.now)
    for sequence in Sequence.objects.all():
        word = Identification.objects.create(sequence=sequence, by="Ada", at=cast.now)
        Observation.objects.create(identification=word, what="animal", species=deer, count=2)
        sequence.identification = word
        sequence.save()

    april = page(client, month=4, species="Red deer")
    assert "15 sequences with Red deer in 30 camera-days of April" in whys(april, cast.meadow)
    assert "camera-days" not in whys(april, cast.ford)
    # Nobody watched in December: nothing for or against.
    assert "camera-days" not in whys(page(client, month=12), cast.meadow)


def test_sequences_that_nobody_has_looked_at_are_not_taken_for_no_animals(client, cast, bring_sequences):
    begun = cast.deployment.start
    bring_sequences([begun + timedelta(days=d) for d in range(100)], home=cast.now)

    assert "no animals" not in whys(page(client, month=4), cast.meadow)

    for sequence in Sequence.objects.all():
        word = Identification.objects.create(sequence=sequence, by="Ada", at=cast.now)
        Observation.objects.create(identification=word, what="blank", count=1)
        sequence.identification = word
        sequence.save()
    assert "−1.5 no animals in 30 camera-days of April" in whys(page(client, month=4), cast.meadow)


def test_a_closed_site_is_told_and_no_camera_is_sent_there(client, cast):
    cast.ford.closed = [{"from": "05-01", "to": "06-30", "why": "calving"}]
    cast.ford.save()

    answer = page(client, month=5)
    text = answer.content.decode()
    assert "closed in May" in whys(answer, cast.ford)
    assert "Closed in May: do not go." in text
    assert "Move a camera here" not in text  # Ford is closed, Meadow has one
    assert "Move a camera here" in page(client, month=8).content.decode()


def test_a_sensitive_site_carries_its_caution(client, cast):
    cast.ford.sensitive = True
    cast.ford.save()

    assert "give its true place to nobody" in page(client).content.decode()


def test_the_question_changes_the_order(client, cast):
    herd = page(client, month=5, aim="herd").context["lines"]

    assert herd[0]["site"] == cast.meadow  # in spite of the camera there
    assert "says little about this question" in whys(page(client, month=5, aim="herd"), cast.ford)


def candidate(name, points, *, watched=False, closed=()):
    return Candidate(
        place=Place(
            name=name, latitude_deg=47, longitude_deg=13, feature="trail", watched=watched, closed=closed
        ),
        month=3, points=points, answers=(), minded=(),
        parts=(Part(points=2.0, why="draws", month=3, feature="trail"),) if points > -20 else (),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("found", "told"),
    [
        ([candidate("A", 3.0)], "In March A promises most: a used trail carries animals all year."),
        (
            [candidate("A", 3.0, watched=True), candidate("B", 1.0)],
            "In March A promises most, and a camera already stands there: a used trail carries animals all "
            "year. Of those without one, B: a "
            "used trail carries animals all year.",
        ),
        (
            [candidate("A", 3.0, watched=True)],
            "In March A promises most, and a camera already stands there: a used trail carries animals all "
            "year. No open site is without a "
            "camera.",
        ),
        (
            [candidate("A", 3.0, closed=(3,)), candidate("B", 1.0)],
            "In March B promises most: a used trail carries animals all year.",
        ),
        ([candidate("A", 3.0, closed=(3,))], "No site is open in March."),
        ([candidate("A", -0.5)], "Nothing speaks for any site in March."),
    ],
)
def test_the_sentence_names_the_best_open_site(found, told):
    assert season.sentence(found, 3, None, "", "metric") == told


@pytest.mark.parametrize(
    "asked",
    [{"month": "13"}, {"month": "²"}, {"month": "9" * 50}, {"month": "-1"}, {"aim": "x"}, {"species": "<b>nobody"}],
)
def test_what_is_not_known_in_the_address_is_taken_as_usual(client, cast, asked):
    answer = page(client, **asked)

    assert answer.status_code == 200
    assert answer.context["month"] in (datetime.now(UTC).month, (datetime.now(UTC) + timedelta(days=1)).month)
    assert (answer.context["aim"], answer.context["species"]) == ("", "")
    assert "nobody" not in answer.content.decode()


def test_the_map_carries_the_places_numbers(client, cast):
    data = page(client).context["data"]

    assert [one["rank"] for one in data["sites"]] == [1, 2]


def test_an_empty_reserve_says_what_to_do(client, db, trod_home):
    assert "No reserve yet" in page(client).content.decode()
    Reserve.objects.create(name="Hollin", slug="hollin", latitude=47.3, longitude=13.9, zone="Europe/Vienna")
    assert "No site yet" in page(client).content.decode()


def test_ranking_sites_writes_nothing_and_asks_no_more_for_more_of_them(client, cast):
    page(client)
    with CaptureQueriesContext(connection) as few:
        page(client)
    for n in range(20):
        Site.objects.create(
            reserve=cast.reserve, name=f"More {n}", slug=f"more-{n}", latitude=47.3, longitude=13.9, feature="trail"
        )
        Sign.objects.create(reserve=cast.reserve, kind="scat", seen_on=today(cast), latitude=47.3, longitude=13.9)
    page(client)
    with CaptureQueriesContext(connection) as many:
        page(client)

    assert len(many) == len(few)
    assert not [q for q in many if not q["sql"].lstrip().upper().startswith(("SELECT", "SAVEPOINT", "RELEASE"))]
