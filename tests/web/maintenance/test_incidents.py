"""Theft and damage: the log, the rate of a site, what it is reckoned with."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.utils import timezone

from trod.catalogue import models as m
from trod.telling.maintenance import losses_of_all
from trod.web.maintenance import incidents

pytestmark = pytest.mark.django_db
LOG = "/cameras/maintenance/incidents/"


def write(client: Any, **said: Any) -> Any:
    return client.post(f"{LOG}new/", {"found_on": "2026-06-20", "kind": "theft", "stopped": "on", **said})


def test_a_theft_is_written_down_with_its_site_and_leads_to_the_end_of_the_deployment(client, cast):
    answer = write(client, deployment=cast.deployment.pk, camera_becomes="lost", cost="240", what="strap cut")
    row = m.Incident.objects.get()
    cast.red.refresh_from_db()

    assert (row.site, row.camera, row.deployment, row.cost) == (cast.meadow, cast.red, cast.deployment, 240)
    assert cast.red.state == "lost"
    assert answer.url == "/cameras/deployments/of/meadow-2026-03-03/end/"


def test_the_page_of_a_theft_proposes_that_the_camera_is_lost(client, cast):
    form = client.get(f"{LOG}new/?deployment=meadow-2026-03-03&kind=theft").context["form"]

    assert form["deployment"].value() == cast.deployment.pk and form["camera_becomes"].value() == "lost"


def test_a_incident_needs_a_place_and_no_cost_below_nothing(client, cast):
    answer = write(client, cost="-5")

    assert dict(answer.context["form"].errors) == {
        "site": ["choose a camera at its site, or the site alone"],
        "cost": ["got -5; needed: at least 0"],
    }


def test_only_what_stopped_a_camera_counts_for_the_rate(client, cast):
    for stopped in (True, True, False):
        m.Incident.objects.create(site=cast.meadow, kind="fault", found_on=date(2026, 5, 1), stopped=stopped)
    (rate,) = client.get(LOG).context["rates"]

    assert rate.rate.incidents == 2 and not rate.borrowed
    assert rate.rate.per_year == pytest.approx(2 / rate.rate.camera_years)


def test_a_site_is_reckoned_with_its_own_rate_and_put_back(client, cast):
    m.Incident.objects.create(site=cast.meadow, kind="theft", found_on=date(2026, 5, 1))
    (rate,) = client.get(LOG).context["rates"]
    client.post(f"{LOG}rate/meadow/")
    cast.meadow.refresh_from_db()
    assert cast.meadow.losses_per_year == pytest.approx(rate.rate.per_year, abs=0.005)
    assert client.get(LOG).context["rates"][0].taken
    client.post("/people/undo/")
    cast.meadow.refresh_from_db()
    assert cast.meadow.losses_per_year is None


def test_sites_without_a_incident_borrow_the_rate_of_all_together(client, cast):
    m.Deployment.objects.create(slug="f", camera=cast.blue, site=cast.ford, start=cast.deployment.start)
    m.Incident.objects.create(site=cast.meadow, kind="theft", found_on=date(2026, 5, 1))
    _, whole = incidents.rates(timezone.now())
    assert whole is not None and losses_of_all(whole) in client.get(LOG).content.decode()
    client.post(f"{LOG}rate/")
    cast.ford.refresh_from_db()
    cast.meadow.refresh_from_db()

    assert cast.ford.losses_per_year == round(whole.per_year, 2) and cast.meadow.losses_per_year is None


def test_without_any_incident_nothing_is_suggested(client, cast):
    page = client.get(LOG)
    assert page.context["rates"][0].suggested is None and page.context["rest"] == []
    client.post(f"{LOG}rate/meadow/")
    cast.meadow.refresh_from_db()
    assert cast.meadow.losses_per_year is None


def test_a_deleted_incident_can_be_put_back(client, cast):
    row = m.Incident.objects.create(site=cast.meadow, kind="fire", found_on=date(2026, 5, 1), what="grass fire")
    client.post(f"{LOG}{row.uuid}/delete/")
    assert not m.Incident.objects.exists()
    client.post("/people/undo/")
    assert m.Incident.objects.get().what == "grass fire"


def test_words_are_shown_as_they_were_typed(client, cast):
    m.Incident.objects.create(
        site=cast.meadow, kind="other", found_on=date(2026, 5, 1), what="<script>alert(1)</script>"
    )

    assert "&lt;script&gt;" in client.get(LOG).content.decode()
