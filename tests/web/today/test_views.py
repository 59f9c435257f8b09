"""The page Today."""

from __future__ import annotations

from datetime import timedelta

import pytest

from trod.catalogue import models as m
from trod.catalogue.answers import summary

pytestmark = pytest.mark.django_db


def test_with_nothing_yet_it_says_what_to_do_first(client, trod_home):
    page = client.get("/").content.decode()

    assert "Write down your reserve." in page
    assert 'href="/people/reserve/"' in page
    assert "What needs a person now" not in page


def test_what_is_done_is_struck_from_the_first_steps(client, cast):
    page = client.get("/").content.decode()

    assert "<s>Write down your reserve.</s>" in page
    assert "Import a card." in page


def test_the_first_steps_go_once_a_card_is_in(client, cast, bring_sequences):
    bring_sequences([cast.now])

    assert "To begin with" not in client.get("/").content.decode()


def test_each_timeline_also_stands_in_the_table(client, cast):
    page = client.get("/").content.decode()

    assert page.count('class="timeline"') == 1
    assert "The same as a table" in page
    assert page.count(">Meadow</a>") >= 2


@pytest.mark.parametrize("asked", ["90", "0", "x", "99999999", "-1", ""])
def test_an_odd_span_is_no_fault(client, cast, asked):
    answer = client.get("/", {"days": asked})

    assert answer.status_code == 200
    assert answer.content.decode().count('class="timeline"') == client.get("/").content.decode().count(
        'class="timeline"'
    )


def test_a_summary_follows_new_sequences_and_changed_times(cast, bring_sequences):
    def now():
        return summary.summaries([cast.deployment], cast.reserve)[cast.deployment.pk]

    assert now().sequences == 0
    bring_sequences([cast.now - timedelta(days=9), cast.now - timedelta(days=8)])
    assert now().sequences == 2
    last = m.Sequence.objects.order_by("start_at").last()
    last.start_at = last.end_at = last.end_at + timedelta(hours=5)
    last.save()
    assert now().last_at == last.end_at


def test_days_are_the_reserves_own(cast, bring_sequences):
    """23:30 in Vienna in June is 21:30 UTC of the same day; 00:30 is 22:30 UTC of the day before."""
    late = cast.now.replace(month=6, day=10, hour=21, minute=30)
    early = cast.now.replace(month=6, day=10, hour=22, minute=30)
    bring_sequences([late, early])
    found = summary.summaries([cast.deployment], cast.reserve)[cast.deployment.pk]

    assert [(day.day, n) for day, n, _ in found.by_day] == [(10, 1), (11, 1)]


# Forecasts ---------------------------------------------------------------------------------------------------


def made(cast):
    from django.utils import timezone

    from trod.catalogue.forecasts import forecasts

    return forecasts.make(cast.reserve, timezone.now())


def test_before_anything_is_foretold_it_says_that_it_is_being_worked_out(client, cast):
    page = client.get("/").content.decode()

    assert "is still being worked out" in page
    assert "data-ahead" not in page
    assert not m.Job.objects.exists()  # a page does not save; the worker looks for itself


def test_what_is_foretold_stands_on_the_timeline_in_the_legend_and_in_the_table(client, cast):
    m.Deployment.objects.update(batteries="12 FR6")
    told = made(cast).forecasts[cast.deployment.slug]
    page = client.get("/").content.decode()

    assert "data-ahead=" in page
    assert 'class="ahead"' in page
    assert "plan on this day: batteries or card have stopped one in ten by then" in page
    assert "Forecasts were worked out just now." in page
    assert f"/cameras/deployments/of/{cast.deployment.slug}/power/" in page
    assert f"{told.go_by.day} {told.go_by:%b %Y}" in page


def test_forecasts_that_are_stale_are_shown_with_their_age(client, cast):
    made(cast)
    m.Site.objects.update(losses_per_year=0.5)
    page = client.get("/").content.decode()

    assert "Forecasts were worked out just now. Something has changed since: they are being worked out anew." in page
    assert "data-ahead=" in page


def test_beyond_today_the_line_goes_on_for_a_third_of_what_it_shows(client, cast):
    made(cast)

    assert 'data-days="486"' in client.get("/").content.decode()  # 365 days and 121 to come
    assert 'data-days="120"' in client.get("/", {"days": "90"}).content.decode()
