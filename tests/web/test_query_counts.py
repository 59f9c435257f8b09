"""The number of queries of a page does not grow with the number of rows."""

from __future__ import annotations

import importlib.util
import uuid
from datetime import date
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

PAGES = Path(__file__).resolve().parents[2] / "benchmarks" / "pages.py"


def planner_pages():
    spec = importlib.util.spec_from_file_location("planner_pages", PAGES)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def counts(client):
    found = {}
    for name, address in planner_pages().addresses():
        client.get(address)  # what is kept from one call to the next is not counted
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(address)
        assert answer.status_code == 200, f"{name} at {address} answered {answer.status_code}"
        found[name] = len(queries)
    return found


@pytest.mark.django_db
def test_no_pages_queries_grow_with_rows(client, trod_home, filler):
    from trod.catalogue import models as m
    from trod.catalogue.rows import rollups

    filler.fill(300, now=date(2026, 6, 30))
    planner_pages().work()  # as the worker would have done
    few = counts(client)
    # Ten times the pictures, and twice the sites, cameras, deployments, visits and sign.
    for model, changes in (
        (m.Site, {"name": "{} too", "slug": "{}-too"}),
        (m.Camera, {"serial": "{} too"}),
        (m.Species, {"name": "{} too", "slug": "{}-too", "key": None}),
        (m.CameraModel, {"name": "{} too", "slug": "{}-too"}),
        (m.Card, {"label": "{} too"}),
    ):
        for row in list(model.objects.all()):
            row.pk = None
            for field, text in changes.items():
                setattr(row, field, text.format(getattr(row, field)) if text else None)
            row.save()
    again = {c.serial: c for c in m.Camera.objects.all()}
    sites = {s.slug: s for s in m.Site.objects.all()}
    for d in list(m.Deployment.objects.select_related("camera", "site")):
        old = d.pk
        visits = list(d.visits.all())
        d.pk, d.slug = None, f"{d.slug}-too"
        d.camera, d.site = again[f"{d.camera.serial} too"], sites[f"{d.site.slug}-too"]
        d.save()
        for visit in visits:
            visit.pk, visit.uuid = None, uuid.uuid4()
            visit.deployment, visit.site = d, d.site
            visit.save()
        sequences = [
            m.Sequence(key=f"too-{e.key}"[:100], deployment=d, start_at=e.start_at, end_at=e.end_at, frames=e.frames)
            for e in m.Sequence.objects.filter(deployment=old)
        ]
        m.Sequence.objects.bulk_create(sequences)
        busiest = [
            m.Sequence(key=f"more-{k}-{e.key}"[:100], deployment=d, start_at=e.start_at, end_at=e.end_at)
            for e in sequences
            for k in range(9)
        ]
        m.Sequence.objects.bulk_create(busiest)
    for sign in list(m.Sign.objects.all()):
        sign.pk, sign.uuid = None, uuid.uuid4()
        sign.save()

    rollups.look_round()  # the worker comes by
    assert counts(client) == few
