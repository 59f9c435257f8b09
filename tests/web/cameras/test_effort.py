"""Silences are decided where they are shown, and effort leaves by day as a table."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

import asked
import pytest
from django.test import Client

from trod.catalogue import models as m
from trod.catalogue.papers import ledger
from trod.web.shared.silences import line_of

pytestmark = pytest.mark.django_db
PAGE = "/cameras/effort/"


@pytest.fixture
def made(trod_home, db):
    return asked.catalogue()


def fields(deployment, watched: str) -> dict[str, str]:
    """What the button beside the longest open silence sends."""
    one = max(line_of(deployment).open, key=lambda silence: silence.days)
    return {"from": repr(one.from_s), "to": repr(one.to_s), "watched": watched, "next": PAGE}


def decide(client: Client, deployment, **sent: str):
    return client.post(f"/cameras/deployments/of/{deployment.slug}/silence/", sent, follow=True).content.decode()


@pytest.mark.parametrize("watched", ["yes", "no"])
def test_a_silence_is_decided_on_the_page_kept_in_the_papers_and_undone(client, made, watched):
    first = made.deployments[0]
    before = line_of(first)
    sent = fields(first, watched)
    shown = client.get(PAGE).content.decode()
    assert "nobody knows whether it watched" in shown and sent["from"] in shown

    page = decide(client, first, **sent)
    says = "watched" if watched == "yes" else "did not watch"
    assert f"{first.camera} at Alder Ford {says}, " in page
    after = line_of(first)
    days = (float(sent["to"]) - float(sent["from"])) / 86_400
    gained, lost = (days, 0) if watched == "yes" else (0, days)
    assert after.proven_days == pytest.approx(before.proven_days + gained)
    assert after.lost_days == pytest.approx(before.lost_days + lost)
    (kept,) = ledger.dump_sidecar(first)["silences"]
    assert kept["watched"] is (watched == "yes") and kept["by"]

    own = client.get(first.get_absolute_url()).content.decode()
    assert ("It watched" if watched == "yes" else "It did not watch") in own
    undone = client.post(f"/cameras/silences/{m.Silence.objects.get().uuid}/undo/", {"next": PAGE}, follow=True)
    assert "The decision is undone" in undone.content.decode()
    assert line_of(first) == before
    assert m.Silence.objects.get().undone_by


def test_a_silence_that_is_no_longer_as_it_was_shown_is_not_decided(client, made):
    first = made.deployments[0]
    sent = fields(first, "yes")
    m.Visit.objects.filter(deployment=first).update(at=asked.START + timedelta(days=31))
    assert "no longer as it was shown" in decide(client, first, **sent)
    assert "press one of the buttons" in decide(client, first, **{**sent, "watched": "perhaps"})
    assert "press one of the buttons" in decide(client, first)
    assert not m.Silence.objects.exists()


def test_looking_decides_nothing(client, made):
    for page in (PAGE, "/cameras/effort/by-day.csv", made.deployments[0].get_absolute_url()):
        assert client.get(page).status_code == 200
    assert client.get(f"/cameras/deployments/of/{made.deployments[0].slug}/silence/").status_code == 405
    assert not m.Silence.objects.exists()


def test_effort_by_day_leaves_as_a_table(client, made):
    answer = client.get("/cameras/effort/by-day.csv?from=2026-01-10&to=2026-01-11")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert [(row["day"], row["site"]) for row in rows] == [
        (day, site) for site in ("alder-ford", "grey-lick") for day in ("2026-01-10", "2026-01-11")
    ]
    assert all(
        float(row["watched_h"]) + float(row["open_h"]) + float(row["lost_h"]) == pytest.approx(24) for row in rows
    )
    assert client.get("/cameras/effort/by-day.csv?from=2026-02-10&to=2026-01-11").status_code == 302


def test_an_empty_house_says_so(client, trod_home, db):
    assert "nothing is known of when cameras watched" in client.get(PAGE).content.decode()


def test_the_page_asks_as_often_for_many_silences_as_for_few(client, made, django_assert_max_num_queries):
    from trod.catalogue.rows import rollups

    rollups.look_round()
    with django_assert_max_num_queries(30):
        client.get(PAGE)
