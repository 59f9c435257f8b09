"""The map: map, sites, sign."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest

from trod.catalogue import models as m

pytestmark = pytest.mark.django_db


def map_data(page: str):
    return json.loads(re.search(r'<script id="map-data" type="application/json">(.*?)</script>', page, re.S)[1])


def test_the_map_and_the_list_say_the_same(client, cast):
    page = client.get("/map/").content.decode()
    sites = {s["name"]: s for s in map_data(page)["sites"]}

    assert sites["Meadow"]["cameras"] == ["Red"]
    assert sites["Ford"]["cameras"] == []
    assert page.count('href="/map/sites/of/meadow/"') == 1
    assert "no camera" in page


def test_the_map_calls_nobody(client, cast):
    """No tiles and no script from elsewhere: the page works where there is no network."""
    page = client.get("/map/").content.decode()

    assert not re.findall(r'(?:src|href)="https?://', page)


def test_a_name_cannot_break_out_of_the_maps_data(client, cast):
    cast.ford.name = "</script><script>alert(1)</script>"
    cast.ford.save()
    page = client.get("/map/").content.decode()

    assert "<script>alert" not in page
    assert map_data(page)["sites"][0]["name"] == "</script><script>alert(1)</script>"


def test_sign_is_shown_by_month_of_any_year(client, cast):
    for day in ("2025-05-03", "2026-05-09", "2026-06-01"):
        m.Sign.objects.create(reserve=cast.reserve, kind="rub", seen_on=day, latitude=47.3, longitude=13.9)

    assert len(map_data(client.get("/map/?month=5").content.decode())["sign"]) == 2
    assert len(map_data(client.get("/map/").content.decode())["sign"]) == 3
    assert client.get("/map/?month=13").status_code == 200


def test_sign_near_a_site_takes_its_place(client, cast):
    answer = client.post("/map/sign/new/", {"kind": "scat", "seen_on": "2026-06-01", "site": cast.ford.pk})
    sign = m.Sign.objects.get()

    assert answer.status_code == 302
    assert (sign.latitude, sign.longitude, sign.reserve) == (47.31, 13.91, cast.reserve)


def test_sign_without_any_place_is_asked_for_one(client, cast):
    answer = client.post("/map/sign/new/", {"kind": "scat", "seen_on": "2026-06-01"})

    assert set(answer.context["form"].errors) == {"latitude", "longitude"}


def test_sign_of_tomorrow_is_refused(client, cast):
    answer = client.post("/map/sign/new/", {"kind": "scat", "seen_on": "2999-06-01", "site": cast.ford.pk})

    assert "lies ahead" in answer.context["form"].errors["seen_on"][0]


def test_a_new_site_gets_a_folder_name_of_its_own(client, cast):
    for name, slug in (
        ("Höhe & Süd", "hohe-sud"),
        ("hohe sud", "hohe-sud-2"),
        ("河", "site"),
        ("CON", "site-con"),
    ):
        answer = client.post("/map/sites/new/", {"name": name, "feature": "trail", "latitude": "47", "longitude": "13"})
        assert answer.status_code == 302
        assert m.Site.objects.get(name=name).slug == slug


def test_a_renamed_site_keeps_its_folder(client, cast):
    client.post(
        "/map/sites/of/ford/change/",
        {"name": "Old ford", "feature": "ford", "latitude": "47", "longitude": "13"},
    )

    assert m.Site.objects.get(name="Old ford").slug == "ford"


def test_two_sites_cannot_share_a_name_whatever_its_case(client, cast):
    answer = client.post(
        "/map/sites/new/", {"name": " meadow ", "feature": "trail", "latitude": "47", "longitude": "13"}
    )

    assert answer.context["form"].errors["name"] == ["a site is called Meadow already; give this one another name"]


@pytest.mark.parametrize(("latitude", "longitude"), [("91", "0"), ("0", "181"), ("nan", "0"), ("", "0")])
def test_a_place_off_the_globe_is_refused(client, cast, latitude, longitude):
    answer = client.post(
        "/map/sites/new/", {"name": "X", "feature": "trail", "latitude": latitude, "longitude": longitude}
    )

    assert answer.status_code == 422
    assert not m.Site.objects.filter(name="X").exists()


def test_a_site_with_a_camera_is_not_retired(client, cast):
    answer = client.post(
        "/map/sites/of/meadow/change/",
        {"name": "Meadow", "feature": "meadow", "latitude": "47", "longitude": "13", "retired": "on"},
    )

    assert answer.context["form"].errors["retired"] == ["Red still stands here; take it down first"]


def test_a_site_tells_what_came_by_month_counting_each_sequence_once(client, cast, bring_sequences):
    deer = m.Species.objects.create(name="Roe deer", slug="roe-deer")
    bring_sequences([cast.now - timedelta(days=40), cast.now - timedelta(days=10)])
    for sequence in m.Sequence.objects.all():
        old = m.Identification.objects.create(sequence=sequence, by="a", at=cast.now)
        m.Observation.objects.create(identification=old, what="animal", species=deer, count=4)
        word = m.Identification.objects.create(sequence=sequence, by="b", at=cast.now)
        # Two lines of one word are one sequence; the word before does not count any more.
        m.Observation.objects.create(identification=word, what="animal", species=deer, sex="female")
        m.Observation.objects.create(identification=word, what="animal", species=deer, sex="male")
        sequence.identification = word
        sequence.save()
    came = client.get("/map/sites/of/meadow/").context["came"]

    assert came == [("Roe deer", [0, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 0], 2)]


def test_a_site_with_history_is_not_deleted(client, cast):
    answer = client.post("/map/sites/of/meadow/delete/")

    assert answer.status_code == 409
    assert "put the tick at “retired” instead" in answer.content.decode().lower()


def test_without_a_reserve_the_way_leads_to_making_one(client, trod_home):
    assert client.get("/map/sites/new/").url == "/people/reserve/"
    assert "No reserve yet" in client.get("/map/").content.decode()
