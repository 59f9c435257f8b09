"""Which card is where, from visits, deployments and imports."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from trod.catalogue import models as m
from trod.web.maintenance import cards

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def line(label: str, cast: Any) -> cards.CardLine:
    return next(x for x in cards.lines(cast.reserve) if x.card.label == label)


def visit(cast: Any, days: float, **said: Any) -> m.Visit:
    said = {"site": cast.meadow, "deployment": cast.deployment, "by": "Suri", **said}
    return m.Visit.objects.create(at=cast.deployment.start + days * DAY, **said)


def imported(cast: Any, card: Any, days: float, *, safe: bool = True) -> None:
    at = cast.deployment.start + days * DAY
    m.Import.objects.create(
        name=f"in-{card}-{days}", folder=f"x/in-{card}-{days}", deployment=cast.deployment, card=card, state="whole",
        source="t", started_at=at, finished_at=at, safe_to_format=safe, by="Ilka",
    )  # fmt: skip


def test_the_card_a_deployment_was_set_up_with_is_in_its_camera(cast):
    found = line("C-1", cast)

    assert found.place == "in a camera" and found.says == "In Red, Meadow since 3 Mar 2026."
    assert found.doubts == () and not found.story.last.guessed


def test_a_card_goes_its_way_home(cast):
    other = m.Card.objects.create(label="C-2", state="out")
    visit(cast, 50, card_out=cast.card, card_in=other)
    m.Card.objects.filter(pk=cast.card.pk).update(state="home")
    m.Deployment.objects.update(card=other)
    assert line("C-1", cast).place == "home" and line("C-2", cast).place == "in a camera"
    assert line("C-1", cast).doubts == ()
    imported(cast, cast.card, 51)
    m.Card.objects.filter(pk=cast.card.pk).update(state="kept")
    assert line("C-1", cast).place == "safe"


def test_a_card_that_came_out_though_nobody_noted_that_it_went_in_says_so(cast):
    other = m.Card.objects.create(label="C-2", state="home")
    m.Deployment.objects.update(card=None)
    visit(cast, 50, card_out=other)
    first = line("C-2", cast).story.steps[0]

    assert (first.what, first.guessed, first.at.date()) == ("in", True, cast.deployment.start.date())


def test_a_card_in_two_cameras_stands_first_and_under_its_own_filter(client, cast):
    m.Card.objects.create(label="A-0")
    d = m.Deployment.objects.create(
        slug="ford", camera=cast.blue, site=cast.ford, start=cast.now, card=m.Card.objects.get(label="C-1")
    )
    found = line("C-1", cast)
    assert len(found.doubts) == 1 and found.doubts[0].startswith("In two cameras: it went into Blue, Ford")
    page = client.get("/cameras/cards/")
    assert [x.card.label for x in page.context["lines"]] == ["C-1", "A-0"]
    assert [x.card.label for x in client.get("/cameras/cards/?where=doubt").context["lines"]] == ["C-1"]
    d.delete()
    assert line("C-1", cast).doubts == ()


def test_a_new_deployment_from_now_on_is_no_second_camera(client, cast):
    client.post(
        "/cameras/visits/new/",
        {"deployment": cast.deployment.pk, "at": "2026-06-28T10:00", "arrival": "working", "height_m": "2",
         "card_out": "C-1", "card_in": "C-2"},
    )  # fmt: skip
    assert m.Deployment.objects.count() == 2
    assert (line("C-1", cast).place, line("C-2", cast).place) == ("home", "in a camera")
    assert line("C-1", cast).doubts == line("C-2", cast).doubts == ()


def test_a_stolen_camera_takes_its_card_along(cast):
    visit(cast, 50, arrival="gone")
    found = line("C-1", cast)

    assert found.place == "gone" and found.says == "Gone with Red, Meadow, found gone on 22 Apr 2026."
    assert found.doubts == ("Its record says “in a camera”.",) and found.fitting == "lost"


def test_the_record_is_put_right_by_a_button_and_back(client, cast):
    visit(cast, 50, arrival="gone")
    assert "Put its record right" in client.get(f"/cameras/maintenance/cards/{cast.card.pk}/").content.decode()
    client.post(f"/cameras/maintenance/cards/{cast.card.pk}/state/", {"state": "lost"})
    assert line("C-1", cast).doubts == ()
    client.post("/people/undo/")
    cast.card.refresh_from_db()
    assert cast.card.state == "out"
    client.post(f"/cameras/maintenance/cards/{cast.card.pk}/state/", {"state": "eaten"})
    cast.card.refresh_from_db()
    assert cast.card.state == "out"


def test_a_card_of_which_nothing_is_noted_is_shown_by_its_record(cast):
    m.Card.objects.create(label="N", state="home")
    m.Card.objects.create(label="L", state="lost")
    m.Card.objects.create(label="B", state="bad")

    assert {x.card.label: x.place for x in cards.lines(cast.reserve)} == {
        "N": "home", "L": "gone", "B": "bad", "C-1": "in a camera",
    }  # fmt: skip


def test_days_are_those_of_the_reserve(cast):
    """23:30 UTC on 2 March is half past midnight of the 3rd in Vienna."""
    m.Deployment.objects.update(start=datetime(2026, 3, 2, 23, 30, tzinfo=UTC))

    assert line("C-1", cast).says == "In Red, Meadow since 3 Mar 2026."


def test_queries_do_not_grow_with_cards(client, cast):
    def count() -> int:
        client.get("/cameras/cards/")
        with CaptureQueriesContext(connection) as queries:
            client.get("/cameras/cards/")
        return len(queries)

    few = count()
    for n in range(15):
        card = m.Card.objects.create(label=f"X-{n}", state="home")
        visit(cast, n + 1, card_out=card, card_in=card)
        imported(cast, card, n + 2)
    assert count() == few
