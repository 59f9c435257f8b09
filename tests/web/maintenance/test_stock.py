"""The stock: bookings, what visits used, what rounds may take; and a year's costs."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from trod.catalogue import models as m
from trod.web.maintenance import stock

pytestmark = pytest.mark.django_db
STOCK = "/cameras/maintenance/stock/"


@pytest.fixture
def lr6(cast: Any) -> m.StockItem:
    item = m.StockItem.objects.create(name="LR6", kind="batteries", designation="LR6", unit_price=0.5, least=10)
    at = timezone.now() - timedelta(days=100)
    m.Booking.objects.create(item=item, at=at, change=40, why="counted")
    return item


def changed(cast: Any, days_ago: float = 5, **said: Any) -> m.Visit:
    said = {"site": cast.meadow, "deployment": cast.deployment, "batteries_changed": True, **said}
    return m.Visit.objects.create(at=timezone.now() - timedelta(days=days_ago), **said)


def held(item: m.StockItem) -> int:
    return stock.on_hand().get(item.pk, 0)


def test_a_new_thing_is_counted_once(client, cast):
    client.post(f"{STOCK}new/", {"name": "Straps", "kind": "straps", "count": "11", "place": "shed"})
    item = m.StockItem.objects.get()

    assert held(item) == 11 and item.bookings.get().why == "counted"


@pytest.mark.parametrize(
    ("why", "number", "left"), [("bought", 24, 64), ("used", 4, 36), ("lost", 40, 0), ("counted", 37, 37)]
)
def test_bookings_come_and_go_and_can_be_taken_back(client, lr6, why, number, left):
    client.post(f"{STOCK}{lr6.uuid}/book/", {"why": why, "number": number, "at": "2026-06-30T10:00"})
    assert held(lr6) == left
    client.post("/people/undo/")
    assert held(lr6) == 40


def test_a_count_that_is_no_news_is_refused(client, lr6):
    answer = client.post(f"{STOCK}{lr6.uuid}/book/", {"why": "counted", "number": 40, "at": "2026-06-30T10:00"})

    assert dict(answer.context["form"].errors) == {
        "number": ["there are 40 by the bookings already; nothing to put right"]
    }


def test_a_booking_taken_back_can_be_put_back(client, lr6):
    row = m.Booking.objects.create(item=lr6, at=timezone.now(), change=-8, why="used")
    client.post(f"{STOCK}bookings/{row.uuid}/back/")
    assert held(lr6) == 40
    client.post("/people/undo/")
    assert held(lr6) == 32


def test_a_visit_that_changed_batteries_waits_to_be_booked_with_what_is_known(client, cast, lr6):
    m.Deployment.objects.update(batteries="8 × AA alkaline")
    visit = changed(cast)
    (wait,) = client.get(STOCK).context["waiting"]
    assert (wait.visit, wait.item, wait.number, wait.kind) == (visit, lr6, 8, "LR6")
    client.post(f"{STOCK}visits/", {"visit": [visit.pk], f"item_{visit.pk}": lr6.pk, f"number_{visit.pk}": "8"})
    row = visit.bookings.get()
    assert held(lr6) == 32 and (row.change, row.unit_price, row.why) == (-8, 0.5, "used")
    assert client.get(STOCK).context["waiting"] == []
    client.post("/people/undo/")
    assert held(lr6) == 40 and len(client.get(STOCK).context["waiting"]) == 1


def test_what_the_visit_says_goes_before_what_the_deployment_says(cast, lr6):
    m.Deployment.objects.update(batteries="8 × AA lithium")
    changed(cast, battery_kind="LR6", battery_count=4)
    (wait,) = stock.to_book(timezone.now(), [lr6])

    assert (wait.item, wait.number) == (lr6, 4)


def test_batteries_used_before_the_shelf_was_counted_are_in_that_count_already(cast, lr6):
    changed(cast, days_ago=120)
    assert stock.to_book(timezone.now(), [lr6]) == []
    visit = changed(cast, days_ago=20, battery_kind="LR6", battery_count=8)
    assert [w.visit for w in stock.to_book(timezone.now(), [lr6])] == [visit]
    m.Booking.objects.create(item=lr6, at=timezone.now() - timedelta(days=10), change=-3, why="counted")
    assert stock.to_book(timezone.now(), [lr6]) == []


def test_nothing_is_booked_on_a_guess(client, cast, lr6):
    visit = changed(cast)
    answer = client.post(f"{STOCK}visits/", {"visit": [visit.pk], f"number_{visit.pk}": "8"}, follow=True)

    assert "Needed: which batteries, and how many from 1 to 999." in answer.content.decode()
    assert not m.Booking.objects.filter(visit=visit).exists()


def test_a_visit_is_booked_once(cast, lr6):
    visit = changed(cast)
    assert len(stock.book([(visit, lr6, 8)], by="x")) == 1
    assert stock.book([(visit, lr6, 8)], by="x") == [] and held(lr6) == 32


def test_a_booked_visit_is_not_deleted_from_under_its_booking(client, cast, lr6):
    visit = changed(cast)
    stock.book([(visit, lr6, 8)], by="x")
    answer = client.post(f"/cameras/visits/{visit.pk}/delete/")

    assert answer.status_code == 409 and "On it hang 1 booking" in answer.content.decode()


def test_running_out_is_held_against_planned_rounds(client, cast, lr6):
    m.Deployment.objects.update(batteries="48 × LR6")
    tour = m.Round.objects.create(reserve=cast.reserve, name="Spring", day=timezone.now().date() + timedelta(days=3))
    m.RoundStop.objects.create(round=tour, site=cast.meadow, turn=1)
    (line,) = client.get(STOCK).context["short"]

    assert (line.wanted, line.on_hand) == (48, 40)
    assert line.says == "planned rounds may take up to 48: 8 too few"
    m.Round.objects.update(day=date(2026, 1, 1))
    assert client.get(STOCK).context["short"] == []


# A year's costs ---------------------------------------------------------------------------------------------


@pytest.fixture
def year(cast: Any) -> int:
    """The year before this one, with a camera that stood all through it."""
    number = timezone.now().year - 1
    m.Deployment.objects.update(start=datetime(number - 1, 6, 1, tzinfo=UTC))
    return number


def test_a_year_is_added_up_from_what_was_used_and_lost(client, cast, year):
    item = m.StockItem.objects.create(name="LR6", kind="batteries", designation="LR6", unit_price=9)
    at = datetime(year, 5, 1, tzinfo=UTC)
    visit = m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=at)
    m.Booking.objects.create(item=item, at=at, change=-8, why="used", unit_price=0.5, visit=visit)
    m.Booking.objects.create(item=item, at=at, change=100, why="bought", unit_price=0.5)
    m.Incident.objects.create(site=cast.ford, kind="theft", found_on=date(year, 3, 1), cost=200)
    client.post(f"/cameras/maintenance/costs/{year}/", {"travel_km": "100", "price_per_km": "0.4", "currency": "€"})
    page = client.get(f"/cameras/maintenance/costs/{year}/")
    costs = page.context["costs"]
    by = {line.site: line for line in costs.lines}
    days = 366 if year % 4 == 0 else 365

    assert (by["Meadow"].batteries, by["Meadow"].travel, by["Ford"].incidents) == (4, 40, 200)
    assert costs.whole.total == 244 and costs.whole.camera_days == pytest.approx(days)
    assert f"In {year} keeping the cameras cost 244.00 €: 0.67 € for each of the {days} days" in page.context["says"]
    table = client.get(f"/cameras/maintenance/costs/{year}/costs.csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(table)))
    assert {r["site"]: float(r["total"]) for r in rows} == {"Ford": 200, "Meadow": 44}
    assert float(rows[-1]["per_camera_day"]) == pytest.approx(44 / days)


def test_batteries_that_nobody_booked_are_said_to_be_missing(client, cast, year):
    m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=datetime(year, 5, 1, tzinfo=UTC), batteries_changed=True
    )
    says = client.get(f"/cameras/maintenance/costs/{year}/").context["says"]

    assert "Not in it: 1 change of batteries that nobody booked." in says


def test_a_site_whose_name_is_a_formula_is_text_in_the_table(client, cast, year):
    m.Site.objects.filter(pk=cast.meadow.pk).update(name="=1+1")
    rows = list(csv.reader(io.StringIO(client.get(f"/cameras/maintenance/costs/{year}/costs.csv").content.decode())))

    assert rows[1][1] == "'=1+1"


def test_currency_is_what_people_write_and_goes_on_next_year(client, cast, year):
    url = f"/cameras/maintenance/costs/{year}/"
    answer = client.post(url, {"currency": "12"})
    assert dict(answer.context["form"].errors) == {"currency": ["got '12'; needed: a sign or letters, such as € or CHF"]}
    client.post(url, {"currency": "CHF", "price_per_km": "0.7"})
    form = client.get(f"/cameras/maintenance/costs/{year + 1}/").context["form"]
    assert (form["currency"].value(), form["price_per_km"].value(), form["travel_km"].value()) == ("CHF", 0.7, None)
    assert m.CostYear.objects.count() == 1, "looking keeps nothing"


@pytest.mark.parametrize("year", [1, 99999])
def test_a_year_that_is_none_is_not_found(client, cast, year):
    assert client.get(f"/cameras/maintenance/costs/{year}/").status_code == 404
