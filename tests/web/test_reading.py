"""No page waits until a large record is read."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from trod.catalogue.answers import evidence
from trod.web import reading

pytestmark = pytest.mark.django_db
PAGES = ("/questions/", "/questions/when", "/reports/", "/map/season/")


@pytest.fixture
def large(cast, bring_sequences, monkeypatch):
    """A record that counts as large, nothing of it in memory, and how often somebody set out to read it."""
    bring_sequences([timezone.now() - timedelta(days=d) for d in range(20, 1, -1)])
    monkeypatch.setattr(evidence, "LONG", 5)
    begun = []
    monkeypatch.setattr(reading, "begin", begun.append)
    evidence.forget()
    return begun


@pytest.mark.parametrize("address", PAGES)
def test_a_page_says_that_the_record_is_being_read_and_comes_again(client, large, address):
    page = client.get(address)

    assert page.status_code == 200
    assert "The record is being read: 19 sequences." in page.content.decode()
    assert f'hx-get="{address}"' in page.content.decode()
    assert large == [reading.read]
    asked = client.get(address, headers={"HX-Request": "true", "HX-Target": "reading"})
    assert "The record is being read" in asked.content.decode()
    assert "<html" not in asked.content.decode()

    reading.read()
    client.get(address)  # what is asked of the record, where it is another question than the first
    for todo in large[2:]:
        todo()
    assert client.get(address, headers={"HX-Request": "true", "HX-Target": "reading"})["HX-Refresh"] == "true"
    assert "The record is being read" not in client.get(address).content.decode()


def test_commands_and_files_do_not_come_away_with_less(cast, large):
    assert len(evidence.gather(cast.reserve).evidence.unseen) == 19


def test_a_small_record_is_read_at_once(client, cast, bring_sequences):
    bring_sequences([timezone.now() - timedelta(days=3)])
    evidence.forget()
    assert "The record is being read" not in client.get("/questions/").content.decode()
