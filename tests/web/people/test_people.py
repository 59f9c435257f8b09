"""Settings, species, accounts, the reserve, cautions."""

from __future__ import annotations

import pytest
from django.contrib.auth import get_user_model

from trod.catalogue import models as m
from trod.web.people.cautions import cautions_html, to_html
from trod.web.shared import accounts

pytestmark = pytest.mark.django_db


def test_the_first_reserve_is_made_on_a_page(client, trod_home):
    answer = client.post(
        "/people/reserve/",
        {
            "name": "Hollin",
            "zone": "Europe/Vienna",
            "units": "metric",
            "latitude": "47.3",
            "longitude": "13.9",
        },
    )

    assert answer.url == "/map/"
    assert m.Reserve.objects.get().slug == "hollin"


def test_a_zone_nobody_knows_is_refused(client, trod_home):
    answer = client.post(
        "/people/reserve/",
        {"name": "H", "zone": "Mars/Olympus", "units": "metric", "latitude": "1", "longitude": "1"},
    )

    assert "is no known time zone" in answer.context["form"].errors["zone"][0]


def test_a_key_says_one_species(client, cast):
    client.post("/people/species/new/", {"name": "Roe deer", "key": "R", "active": "on"})
    answer = client.post("/people/species/new/", {"name": "Red fox", "key": "r", "active": "on"})

    assert m.Species.objects.get().key == "r"
    assert answer.context["form"].errors["key"] == [
        "the key r already says Roe deer; take another or free it there first"
    ]


def test_species_may_go_without_a_key_and_many_may(client, cast):
    for name in ("A", "B"):
        assert client.post("/people/species/new/", {"name": name, "key": ""}).status_code == 302

    assert list(m.Species.objects.values_list("key", flat=True)) == [None, None]


def test_theme_units_and_name_are_remembered(client, cast):
    client.post("/people/settings/", {"person": "Suri", "theme": "night", "units": "us"})
    page = client.get("/people/settings/").content.decode()

    assert 'data-theme="night"' in page
    assert "You are <b>Suri</b>" in page
    assert client.cookies["units"].value == "us"


def test_an_account_is_made_and_closed(client, cast):
    client.post(
        "/people/accounts/new/",
        {"username": "suri", "password": "owl-in-the-larch", "again": "owl-in-the-larch"},
    )
    user = get_user_model().objects.get()

    assert user.check_password("owl-in-the-larch")
    assert accounts.any_exists()

    client.post(f"/people/accounts/{user.pk}/close/")

    assert not accounts.any_exists()


@pytest.mark.parametrize(
    ("data", "field", "words"),
    [
        ({"username": "s", "password": "12345678", "again": "12345678"}, "password", "numeric"),
        ({"username": "s", "password": "short", "again": "short"}, "password", "at least 8"),
        (
            {"username": "s", "password": "owl-in-the-larch", "again": "owl"},
            "again",
            "the two passwords differ",
        ),
        (
            {"username": "s p/a", "password": "owl-in-the-larch", "again": "owl-in-the-larch"},
            "username",
            "valid username",
        ),
    ],
)
def test_a_weak_password_or_an_odd_name_is_refused(client, cast, data, field, words):
    answer = client.post("/people/accounts/new/", data)

    assert words in answer.context["form"].errors[field][0]
    assert not get_user_model().objects.exists()


def test_the_cautions_come_with_the_package():
    page = str(cautions_html())

    assert page.startswith("<h1>Cautions</h1>")
    assert "**" not in page
    assert page.count("<h2>") >= 5


def test_the_cautions_page_shows_them(client, cast):
    assert str(cautions_html()) in client.get("/people/cautions/").content.decode()


@pytest.mark.parametrize(
    ("text", "html"),
    [
        ("# A\n\nb *c* **d** `e`", "<h1>A</h1>\n<p>b <em>c</em> <strong>d</strong> <code>e</code></p>"),
        ("- a\n- b\n  more\n- c", "<ul><li>a</li><li>b more</li><li>c</li></ul>"),
        ("1. a\n2. b", "<ol><li>a</li><li>b</li></ol>"),
        ("text:\n- a", "<p>text:</p>\n<ul><li>a</li></ul>"),
        ("<img src=x onerror=y>", "<p>&lt;img src=x onerror=y&gt;</p>"),
        ("2 * 3 * 4", "<p>2 * 3 * 4</p>"),
    ],
)
def test_our_little_markdown(text, html):
    assert str(to_html(text)) == html


def test_a_wrong_address_says_so(client, cast):
    answer = client.get("/nowhere/")

    assert answer.status_code == 404
    assert "Nothing lies at this address." in answer.content.decode()


def test_a_species_without_scientific_name_is_asked_for_later(client, cast):
    m.Species.objects.create(name="Wood grouse", slug="wood-grouse")
    m.Species.objects.create(name="Deer", slug="deer", rank="family")

    page = client.get("/people/species/").content.decode()
    assert 'One has no scientific name yet: <a href="/people/species/of/wood-grouse/">Wood grouse</a>.' in page
    assert "Wood grouse: no scientific name yet." in client.get("/").content.decode()

    m.Species.objects.filter(slug="wood-grouse").update(scientific_name="Tetrao urogallus")
    assert "no scientific name yet" not in client.get("/people/species/").content.decode()
    assert "no scientific name yet" not in client.get("/").content.decode()


def test_a_scientific_name_puts_a_species_under_its_family(client, cast):
    from trod.catalogue.rows import taxa

    taxa.named("Pheasant, grouse or partridge")
    m.Species.objects.create(name="Wood grouse", slug="wood-grouse")
    given = {"name": "Wood grouse", "scientific_name": "Tetrao urogallus", "rank": "species", "active": "on"}
    assert client.post("/people/species/of/wood-grouse/", given).status_code == 302

    assert m.Species.objects.get(slug="wood-grouse").parent.scientific_name == "Phasianidae"


def test_a_kind_cannot_stand_above_itself(client, cast):
    deer = m.Species.objects.create(name="Deer", slug="deer", rank="family")
    small = m.Species.objects.create(name="Small deer", slug="small-deer", rank="group", parent=deer)
    answer = client.post(
        "/people/species/of/deer/", {"name": "Deer", "rank": "family", "parent": small.pk, "active": "on"}
    )

    assert answer.status_code == 422
    assert answer.context["form"].errors["parent"] == [
        "Small deer belongs to Deer already; take a kind above it, or none"
    ]
