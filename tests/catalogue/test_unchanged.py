"""The mark that says that nobody wrote anything: on both databases, whoever writes, from wherever."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from trod.catalogue import models as m
from trod.catalogue.answers import evidence
from trod.catalogue.answers.evidence import unchanged
from trod.catalogue.forecasts import forecasts

pytestmark = pytest.mark.django_db(transaction=True)
SEVERAL = pytest.mark.skipif(
    "connection.vendor == 'sqlite'", reason="SQLite in memory, as in tests, has no second connection that writes"
)


def elsewhere(todo):
    """Do it in another thread, over another connection to the database."""

    def whole():
        try:
            return todo()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(whole).result()


def test_the_mark_stays_while_nobody_writes_and_moves_when_somebody_does(cast):
    before = unchanged()
    assert before is not None
    assert list(m.Site.objects.all())
    assert unchanged() == before
    m.Site.objects.filter(pk=cast.ford.pk).update(note="A new bridge")
    assert unchanged() != before


def test_there_is_no_mark_within_a_transaction(cast):
    with transaction.atomic():
        assert unchanged() is None


@SEVERAL
def test_another_connections_writing_moves_the_mark(cast):
    before = unchanged()
    elsewhere(lambda: m.Site.objects.filter(pk=cast.ford.pk).update(note="A new bridge"))
    assert unchanged() != before


@SEVERAL
def test_a_writing_that_was_under_way_moves_the_mark_again_when_it_ends(cast):
    """What a counter outside of transactions gets wrong: it moves at once, the rows only at the end."""
    wrote, go_on = threading.Event(), threading.Event()

    def slow():
        with transaction.atomic():
            m.Site.objects.filter(pk=cast.ford.pk).update(name="Long Ford")
            wrote.set()
            assert go_on.wait(20)

    with ThreadPoolExecutor(1) as pool:
        writer = pool.submit(lambda: elsewhere(slow))
        assert wrote.wait(20)
        m.Site.objects.filter(pk=cast.meadow.pk).update(note="Mown")  # a later one, which ends first
        for _ in range(20):  # the mark is of the whole server, and others may write there meanwhile
            during = unchanged()
            names = [site.name for site in evidence.gather(cast.reserve).evidence.sites]
            assert names == ["Ford", "Meadow"]
            if (still := unchanged()) == during:
                break
        assert still == during
        go_on.set()
        writer.result()
    assert unchanged() != during
    assert [site.name for site in evidence.gather(cast.reserve).evidence.sites] == ["Long Ford", "Meadow"]


@SEVERAL
def test_forecasts_and_evidence_follow_what_another_connection_writes(cast, bring_sequences):
    bring_sequences([cast.now - timedelta(days=d) for d in range(20, 10, -1)])
    day = date(2026, 7, 1)
    stamp, told = forecasts.stamp(cast.reserve, today=day), evidence.gather(cast.reserve)

    def visit():
        m.Visit.objects.create(
            site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=1), arrival="dead"
        )

    elsewhere(visit)
    assert forecasts.stamp(cast.reserve, today=day) != stamp
    assert evidence.gather(cast.reserve).stamp != told.stamp


@SEVERAL
def test_a_new_connection_does_not_take_an_earlier_ones_mark(cast):
    before = unchanged()
    connection.close()
    assert unchanged() != before


def test_the_second_asking_costs_no_more_than_the_mark(cast, bring_sequences):
    bring_sequences([cast.now - timedelta(days=d) for d in range(20, 10, -1)])
    day = date(2026, 7, 1)
    marks = 2 if connection.vendor == "postgresql" else 0
    # PostgreSQL's mark is of the whole server: what somebody writes there in between, in any database, asks anew, be it
    # before the stamp or between the stamp and the evidence.
    for _ in range(20 if connection.vendor == "postgresql" else 1):
        first = forecasts.stamp(cast.reserve, today=day), evidence.gather(cast.reserve)
        with CaptureQueriesContext(connection) as queries:
            again = forecasts.stamp(cast.reserve, today=day), evidence.gather(cast.reserve)
        assert again[0] == first[0]
        if again[1] is first[1] and len(queries) == marks:
            break
    assert again[1] is first[1]
    assert len(queries) == marks


def test_evidence_is_put_together_once_until_something_in_it_changes(cast, bring_sequences, monkeypatch):
    bring_sequences([cast.now - timedelta(days=d) for d in range(20, 10, -1)])
    monkeypatch.setattr(evidence, "unchanged", lambda: None)  # as where somebody writes all the time
    first = evidence.gather(cast.reserve)
    m.Card.objects.create(label="C-9", size_gb=16)  # nothing that the evidence tells of
    assert evidence.gather(cast.reserve) is first
    bring_sequences([cast.now - timedelta(days=5)])
    after = evidence.gather(cast.reserve)
    assert len(after.evidence.unseen) == len(first.evidence.unseen) + 1
    m.Site.objects.filter(pk=cast.ford.pk).update(name="Long Ford")
    assert "Long Ford" in [site.name for site in evidence.gather(cast.reserve).evidence.sites]
