"""What forecasts rest on is what is stamped: every column of every row, and no table beside."""

from __future__ import annotations

import re
import uuid
from datetime import date, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.test.utils import CaptureQueriesContext

from trod.catalogue import models as m
from trod.catalogue.answers import evidence
from trod.catalogue.forecasts import basis, forecasts

pytestmark = pytest.mark.django_db


@pytest.fixture
def full(cast, bring_sequences):
    """A row in every table of the record, standing and ended deployments, earlier visits; another reserve beside."""
    m.Reserve.objects.create(name="Beside", slug="beside", latitude=1, longitude=1, zone="UTC")
    kind = m.CameraModel.objects.create(maker="Oddlethorpe", name="Wren 12", slug="wren-12", measured={"idle_mw": 3})
    m.CameraModel.objects.create(maker="Oddlethorpe", name="Wren 8", slug="wren-8")
    m.Camera.objects.filter(pk=cast.deployment.camera_id).update(model=kind)
    earlier = m.Deployment.objects.create(
        slug="ford-0", camera=cast.deployment.camera, site=cast.ford, start=cast.now - timedelta(days=300),
        end=cast.now - timedelta(days=200),
    )  # fmt: skip
    m.Card.objects.create(label="C-9", size_gb=16)
    for deployment, days in ((earlier, 250), (cast.deployment, 20)):
        m.Visit.objects.create(
            site=deployment.site, deployment=deployment, at=cast.now - timedelta(days=days), arrival="working"
        )
    m.Incident.objects.create(site=cast.ford, deployment=earlier, found_on=date(2026, 1, 4), kind="fault")
    m.ClockCorrection.objects.create(
        deployment=cast.deployment, shift_s=60, reason="read at the visit", by="Ilka Marwood", at=cast.now
    )
    m.WalkTest.objects.create(
        deployment=cast.deployment, at=cast.now - timedelta(days=20), walks=[{"offset_m": 2, "got": "whole"}]
    )
    m.Silence.objects.create(
        deployment=earlier, from_at=cast.now - timedelta(days=299), to_at=cast.now - timedelta(days=290), watched=False,
        by="Ilka Marwood", at=cast.now,
    )  # fmt: skip
    bring_sequences([cast.now - timedelta(days=d) for d in range(40, 10, -1)])
    return cast


def stamp(cast):
    return forecasts.stamp(m.Reserve.objects.get(pk=cast.reserve.pk), today=date(2026, 7, 1))


def others(field, value):
    """Values that differ from this one, of which the database takes at least one."""
    if isinstance(field, models.ForeignKey):
        pks = field.related_model.objects.exclude(pk=value).values_list("pk", flat=True)
        return [*pks, *([None] if value is not None else [])]
    if isinstance(field, models.BooleanField):
        return [not value]
    if isinstance(field, models.JSONField):
        return [{"changed": True}, ["changed"]]
    if isinstance(field, models.UUIDField):
        return [uuid.uuid4()]
    if isinstance(field, models.DateTimeField):
        base = value or datetime(2026, 6, 1, tzinfo=forecasts.UTC)
        return [base + timedelta(minutes=1), base - timedelta(minutes=1)]
    if isinstance(field, models.DateField):
        return [(value or date(2026, 1, 1)) + timedelta(days=1)]
    if isinstance(field, models.CharField | models.TextField):
        kinds = [key for key, _ in field.choices or () if key != value]
        return [*kinds, f"{value or ''}x"[-(field.max_length or 9) :], "y"]
    return [(value or 0) + 1, (value or 0) + 0.5, max(0, (value or 1) - 1), 50]


def test_every_column_of_every_row_moves_the_stamp_and_back_it_is_the_same(full):
    """The property: change any field of any record that a forecast reads, and the stamp changes; undo it, and it is
    as before. Columns are taken from the tables themselves, so that one which is added tomorrow is tried too.
    """
    before = stamp(full)
    tried = 0
    for query in basis.tables(full.reserve):
        rows = list(query)
        assert rows, query.model
        for row in rows:
            for field in query.model._meta.concrete_fields:
                if field.primary_key:
                    continue
                value = getattr(row, field.attname)
                for other in others(field, value):
                    try:
                        with transaction.atomic():
                            type(row).objects.filter(pk=row.pk).update(**{field.attname: other})
                            changed = stamp(full)
                            raise _UndoIt
                    except _UndoIt:
                        assert changed != before, f"{query.model.__name__}.{field.name}"
                        tried += 1
                        break
                    except (IntegrityError, m.Reserve.DoesNotExist):
                        continue
                else:
                    only_one = isinstance(field, models.ForeignKey) and not others(field, value)
                    assert only_one, f"no other value of {query.model.__name__}.{field.name} was tried"
    assert tried > 150
    assert stamp(full) == before


class _UndoIt(Exception):
    """Takes a change back."""


def test_a_row_more_or_less_moves_the_stamp(full):
    before = stamp(full)
    extra = m.Visit.objects.create(
        site=full.ford, deployment=m.Deployment.objects.get(slug="ford-0"), at=full.now - timedelta(days=220)
    )
    assert stamp(full) != before
    extra.delete()
    assert stamp(full) == before


def test_a_forecast_reads_no_table_that_is_not_in_its_record_or_follows_from_it(full):
    evidence.forget()
    with CaptureQueriesContext(connection) as queries:
        forecasts.work_out(full.reserve, full.now)
    read = {name for q in queries for name in re.findall(r'(?:FROM|JOIN) "(trod_\w+)"', q["sql"])}
    known = {query.model._meta.db_table for query in basis.tables(full.reserve)}

    assert read, "nothing was read"
    assert read <= known | set(basis.FOLLOWS), read - known - set(basis.FOLLOWS)


def test_a_corrected_clock_makes_a_forecast_stale(full):
    """A finding of the first trial: it did not."""
    forecasts.make(full.reserve, full.now)
    m.ClockCorrection.objects.create(
        deployment=full.deployment, shift_s=-86_400, reason="a day out", by="Ilka Marwood", at=full.now
    )
    assert forecasts.kept(full.reserve, full.now).stale
    forecasts.make(full.reserve, full.now)
    m.ClockCorrection.objects.update(undone_at=full.now)
    assert forecasts.kept(full.reserve, full.now).stale


def test_an_earlier_visit_turned_to_dead_makes_a_forecast_stale(full):
    """A finding of the first trial: a visit to a deployment that has ended was not stamped, though it teaches."""
    forecasts.make(full.reserve, full.now)
    m.Visit.objects.filter(deployment__slug="ford-0").update(arrival="dead")

    assert forecasts.kept(full.reserve, full.now).stale


def test_what_other_reserves_do_changes_nothing(full):
    before = stamp(full)
    other = m.Reserve.objects.create(name="Else", slug="else", latitude=1, longitude=1, zone="UTC")
    m.Site.objects.create(reserve=other, name="Away", slug="away", latitude=1, longitude=1)

    assert stamp(full) == before
