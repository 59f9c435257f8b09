"""The page Today."""

from __future__ import annotations

from datetime import timedelta

import pytest

from trod.web import models as m
from trod.web.today import summary

pytestmark = pytest.mark.django_db


def test_with_nothing_yet_it_says_what_to_do_first(client, trod_home):
    page = client.get("/").content.decode()

    assert "Write down your reserve." in page
    assert 'href="/people/reserve/"' in page
    assert "What needs a person now" not in page


def test_what_is_done_is_struck_from_the_first_steps(client, cast):
    page = client.get("/").content.decode()

    assert "<s>Write down your reserve.</s>" in page
    assert "Take a card in." in page


def test_the_first_steps_go_once_a_card_is_in(client, cast, bring_events):
    bring_events([cast.now])

    assert "To begin with" not in client.get("/").content.decode()


def test_each_ribbon_also_stands_in_the_table(client, cast):
    page = client.get("/").content.decode()

    assert page.count('class="ribbon"') == 1
    assert "The same as a table" in page
    assert page.count(">Meadow</a>") >= 2


@pytest.mark.parametrize("asked", ["90", "0", "x", "99999999", "-1", ""])
def test_an_odd_span_is_no_fault(client, cast, asked):
    assert client.get("/", {"days": asked}).status_code == 200


def test_a_summary_follows_new_events_and_changed_times(cast, bring_events):
    def now():
        return summary.summaries([cast.deployment], cast.reserve, cast.now)[cast.deployment.pk]

    assert now().events == 0
    bring_events([cast.now - timedelta(days=9), cast.now - timedelta(days=8)])
    assert now().events == 2
    last = m.Event.objects.order_by("start_at").last()
    last.start_at = last.end_at = last.end_at + timedelta(hours=5)
    last.save()
    assert now().last_at == last.end_at


def test_days_are_the_reserves_own(cast, bring_events):
    """23:30 in Vienna in June is 21:30 UTC of the same day; 00:30 is 22:30 UTC of the day before."""
    late = cast.now.replace(month=6, day=10, hour=21, minute=30)
    early = cast.now.replace(month=6, day=10, hour=22, minute=30)
    bring_events([late, early])
    found = summary.summaries([cast.deployment], cast.reserve, cast.now)[cast.deployment.pk]

    assert [(day.day, n) for day, n, _ in found.by_day] == [(10, 1), (11, 1)]
