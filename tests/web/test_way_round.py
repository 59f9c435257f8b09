"""The way round the house: one door is marked on every page, and what the marks on a map mean."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.template import Context, Template
from django.urls import get_resolver, reverse

from trod.catalogue import models as m
from trod.web.pages import FOOT, NAV, THROUGH
from trod.web.shared.map_key import MARKS

pytestmark = pytest.mark.django_db
NO_DOOR = {"pictures"}  # parts of pages, and what few may see


def marked(page: str) -> list[str]:
    """The doors that are marked as the one where one is."""
    return re.findall(r'<a [^>]*aria-current="page"[^>]*>([^<]+)</a>', page)


def deletes(cast: Any) -> dict[str, str]:
    """Pages that ask before something is deleted: address, and the door that is to be marked."""
    lock = m.Lock.objects.create(label="blue", camera=cast.red)
    item = m.StockItem.objects.create(name="LR6", kind="batteries")
    incident = m.Incident.objects.create(site=cast.meadow, kind="theft", found_on=cast.now.date())
    visit = m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=cast.now, arrival="working")
    test = m.WalkTest.objects.create(deployment=cast.deployment, at=cast.now, walks=[])
    return {
        reverse("maintenance:lock_delete", args=[lock.uuid]): "Cameras",
        reverse("maintenance:stock_delete", args=[item.uuid]): "Cameras",
        reverse("maintenance:incident_delete", args=[incident.uuid]): "Cameras",
        reverse("cameras:visit_delete", args=[visit.pk]): "Cameras",
        reverse("cameras:camera_delete", args=[cast.red.pk]): "Cameras",
        reverse("map:site_delete", args=[cast.ford.slug]): "Map",
        reverse("planner:walk_test_delete", args=[cast.meadow.slug, test.uuid]): "Map",
    }


def test_pages_that_ask_before_they_delete_mark_the_door_they_are_reached_through(client: Any, cast: Any) -> None:
    """Locks and stock marked none."""
    pages = deletes(cast)

    assert {address: marked(client.get(address).content.decode()) for address in pages} == {
        address: [door] for address, door in pages.items()
    }


@pytest.mark.parametrize(
    ("name", "door"),
    [
        ("maintenance:maintenance", "Cameras"), ("maintenance:stock", "Cameras"), ("maintenance:locks", "Cameras"),
        ("maintenance:costs", "Cameras"), ("rounds:rounds", "Rounds"), ("today:today", "Today"),
    ],
)  # fmt: skip
def test_a_room_without_a_door_of_its_own_marks_the_one_it_is_reached_through(
    client: Any, cast: Any, name: str, door: str
) -> None:
    assert marked(client.get(reverse(name)).content.decode()) == [door]


def test_every_room_has_a_door_or_is_reached_through_one() -> None:
    rooms = set(get_resolver().namespace_dict)
    doors = {door.room for door in (*NAV, *FOOT) if door.room}

    assert rooms - doors - NO_DOOR == set(THROUGH)
    assert set(THROUGH.values()) <= doors


def test_the_key_of_a_map_names_the_marks_that_are_asked_for() -> None:
    told = Template('{% map_key "stop" "left" %}').render(Context())

    assert re.findall(r'<span class="([^"]+)" aria-hidden="true">(\d*)</span> ([^<]+)</li>', told) == [
        ("stopmark", "3", "a stop, by its turn"),
        ("mk", "", "left for another time"),
    ]
    assert 'aria-label="What the marks mean"' in told
    with pytest.raises(KeyError):
        Template('{% map_key "dragons" %}').render(Context())
    assert len({(one.css, one.words) for one in MARKS.values()}) == len(MARKS)
