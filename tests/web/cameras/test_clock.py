"""A correction of a clock is kept at once; many pictures follow it by the worker."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

import trod.catalogue.work.handlers  # noqa: F401  (registers the kinds of work)
from trod.catalogue import jobs
from trod.catalogue import models as m
from trod.catalogue.imports import clocks
from trod.catalogue.line import Silent

pytestmark = pytest.mark.django_db


def correct(client, **more):
    said = {"shown": "2026-06-01T10:00", "truly": "2026-06-01T12:30", "reason": "the church bell", **more}
    return client.post("/cameras/deployments/of/meadow-2026-03-03/clock/", said, follow=True)


@pytest.fixture
def many(cast, bring_sequences, monkeypatch):
    """A deployment whose pictures count as many."""
    raws = [datetime(2026, 5, day, 6, tzinfo=UTC) for day in (1, 2, 3, 4)]
    bring_sequences([])
    card_import = m.Import.objects.get()
    for number, raw in enumerate(raws):
        m.Picture.objects.create(
            sha256=f"{number:064x}",
            path=f"x/{number}.JPG",
            card_import=card_import,
            deployment=cast.deployment,
            size_bytes=1,
            file_order=number,
            taken_raw=raw,
            looked=True,
        )
    clocks.follow(cast.deployment, Silent())
    monkeypatch.setattr(clocks, "MOST_AT_ONCE", 2)
    return cast


def test_with_many_pictures_the_word_is_kept_at_once_and_the_worker_moves_the_times(client, many):
    before = m.Picture.objects.order_by("pk").first()
    page = correct(client).content.decode()

    assert m.ClockCorrection.objects.count() == 1
    assert "the bar below tells how far they are" in page and "waiting their turn" in page
    assert m.Picture.objects.get(pk=before.pk).taken_at == before.taken_at

    jobs.work_once()

    assert m.Picture.objects.get(pk=before.pk).taken_at - before.taken_at == timedelta(minutes=90)
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/").content.decode()
    assert "The pictures follow the clock" not in page


def test_a_correction_and_its_undoing_before_the_worker_came_are_one_piece_of_work(client, many):
    correct(client)
    client.post(f"/cameras/clock/{m.ClockCorrection.objects.get().pk}/undo/")

    assert m.Job.objects.filter(kind=clocks.JOB).count() == 1
    before = list(m.Picture.objects.order_by("pk").values_list("taken_at", flat=True))
    jobs.work_once()
    assert list(m.Picture.objects.order_by("pk").values_list("taken_at", flat=True)) == before


def test_a_bar_that_has_nothing_left_to_tell_sends_the_page_back_to_the_deployment(client, many):
    correct(client)
    jobs.work_once()
    answer = client.get("/cameras/deployments/of/meadow-2026-03-03/clock/work/")

    assert answer.headers["HX-Redirect"].endswith("/cameras/deployments/of/meadow-2026-03-03/#clock")


def test_work_that_failed_says_so_and_keeps_the_correction(client, many, monkeypatch):
    correct(client)

    def broken(*args):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(clocks, "follow", broken)
    for _ in range(5):
        jobs.work_once()
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/").content.decode()

    assert "The pictures have not followed the clock" in page
    assert m.ClockCorrection.objects.filter(undone_at__isnull=True).count() == 1
