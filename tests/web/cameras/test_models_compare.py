"""Camera models ranked for a use, beside the pages."""

from __future__ import annotations

import re
import threading
from dataclasses import replace

import pytest
from django.urls import reverse

from trod.catalogue.models import CameraModel
from trod.catalogue.rows import specs
from trod.planning.catch.ranking import USES, Ranked
from trod.web.cameras import models_compare, models_picture
from trod_demo.camera_models import CAMERA_SPECS


@pytest.fixture(autouse=True)
def forgotten():
    models_compare.forget()
    yield
    models_compare.forget()


def ranked(name, caught, place=1, tied=False):
    spec = replace(CAMERA_SPECS[0], model=name)
    return Ranked(
        spec=spec, place=place, caught=caught, day=caught, night=caught, empty=0.1, tied=tied,
        standard_error=0.004,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("shares", "told"),
    [
        ((0.80, 0.70, 0.60), "catches 80 in 100 of those that pass, whole and sharp enough, more than any other; "
                             "the next comes to 70."),
        ((0.80, 0.79, 0.60), "; the Tarnbeckle B does as well, as far as the model can tell."),
        ((0.80, 0.82, 0.79), ", and all the others as many, as far as the model can tell."),
        ((0.999,), "catches over 99 in 100"),
    ],
)  # fmt: skip
def test_the_sentence_names_the_first_and_its_equals(shares, told):
    said = models_compare.sentence("trail", [ranked("ABC"[n], share) for n, share in enumerate(shares)])

    assert said.startswith("Fast animals on a trail: the Tarnbeckle A ")
    assert told in said


def test_every_use_of_the_planning_room_can_be_asked_for():
    assert {use for use, _ in models_compare.WANTED.values()} == set(USES)


def test_a_ranking_is_worked_out_once_and_anew_when_a_figure_changes():
    asked = []

    def rank(use, of, *, air_c, progress):
        asked.append(air_c)
        progress(1, 2)
        return [ranked("A", 0.5)]

    one = list(CAMERA_SPECS[:2])
    changed = [one[0], one[1].with_measured(trigger_s=2.0)]
    for of, air in ((one, 5.0), (one, 5.0), (changed, 5.0), (one, 15.0)):
        _, work = models_compare.ranking("small animals", of, air_c=air, rank=rank)
        assert work.ended.wait(5)
        assert work.result

    assert asked == [5.0, 5.0, 15.0]


def test_a_fault_is_told_and_the_next_asking_tries_again():
    def broken(*args, **more):
        raise ZeroDivisionError("nought")

    _, work = models_compare.ranking("small animals", CAMERA_SPECS[:1], air_c=5.0, rank=broken)
    assert work.ended.wait(5)
    assert "An unforeseen fault (ZeroDivisionError: nought)" in work.trouble

    _, work = models_compare.ranking(
        "small animals", CAMERA_SPECS[:1], air_c=5.0, rank=lambda *a, **m: [ranked("A", 0.5)]
    )
    assert work.ended.wait(5)
    assert work.result


def test_too_many_at_once_are_put_off_in_words():
    gate = threading.Event()

    def slow(*args, **more):
        gate.wait(10)
        return []

    try:
        works = [
            models_compare.ranking("security", CAMERA_SPECS[:1], air_c=float(air), rank=slow)[1] for air in range(6)
        ]
        assert [bool(work.trouble) for work in works] == [False] * 4 + [True] * 2
        assert "try again in a moment" in works[-1].trouble
    finally:
        gate.set()
        for work in works[:4]:
            work.ended.wait(5)


@pytest.mark.django_db
def test_the_page_shows_progress_first_and_the_ranking_when_it_is_done(client, cast):
    for spec in CAMERA_SPECS[:2]:
        specs.store(spec)
    address = reverse("cameras:compare") + "?use=small&air=mild"

    first = client.get(address).content.decode()
    assert "hx-get" in first
    assert "<progress" in first
    rows = CameraModel.objects.all()
    _, work = models_compare.ranking("small animals", [specs.spec_of(row) for row in rows], air_c=15.0)
    assert work.ended.wait(60)

    page = client.get(address).content.decode()
    assert "Small animals: the " in page
    assert page.count('class="field"') == 2
    assert "the standard error is at most" in page
    piece = client.get(reverse("cameras:compare_answer") + "?use=small&air=mild").content.decode()
    assert "<html" not in piece
    assert "Small animals: the " in piece


@pytest.mark.django_db
@pytest.mark.parametrize(("wanted", "told"), [("security", True), ("small", False)])
def test_the_standards_step_for_people_is_told_with_its_edition_and_warning(client, cast, wanted, told):
    specs.store(CAMERA_SPECS[0])
    use = models_compare.WANTED[wanted][0]
    _, work = models_compare.ranking(
        use, [specs.spec_of(row) for row in CameraModel.objects.all()], air_c=5.0,
        rank=lambda name, of, **more: [replace(ranked("A", 0.5), spec=of[0])],
    )  # fmt: skip
    assert work.ended.wait(5)

    page = client.get(reverse("cameras:compare") + f"?use={wanted}&air=cool").content.decode()

    assert ("EN/IEC 62676-4:2014/2015. These steps were written for people under watch." in page) == told


@pytest.mark.django_db
def test_asking_to_compare_writes_nothing(client, cast, django_assert_num_queries):
    specs.store(CAMERA_SPECS[0])
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as queries:
        client.get(reverse("cameras:compare"))
    assert not [q for q in queries if not q["sql"].lstrip().upper().startswith(("SELECT", "SAVEPOINT", "RELEASE"))]


@pytest.mark.django_db
def test_what_is_not_known_in_the_address_is_taken_as_usual(client, cast):
    specs.store(CAMERA_SPECS[0])

    answer = client.get(reverse("cameras:compare") + "?use=<script>&air=%00&model=../../etc&model=nobody")

    assert answer.status_code == 200
    assert answer.context["wanted"] == "trail"
    assert len(answer.context["rows"]) == 1


@pytest.mark.django_db
def test_without_a_model_the_page_says_what_to_do(client, cast):
    page = client.get(reverse("cameras:compare")).content.decode()

    assert "No camera model yet" in page


def test_a_zone_is_drawn_to_scale_and_says_what_is_assumed():
    spec = replace(CAMERA_SPECS[0], claimed=replace(CAMERA_SPECS[0].claimed, fov_deg=None))
    drawn = str(models_picture.field_picture(spec, key="k", far_m=30.0))

    # 24 m of 30 m, over 146 px: the radius of the zone's arc.
    radius = float(re.search(r'd="M[^"A]*A([0-9.]+)[^>]*class="zone"', drawn)[1])
    assert radius == pytest.approx(24 / 30 * 146, abs=0.1)
    assert 'class="sight guess"' in drawn
    assert "(assumed)" in drawn


def test_a_name_cannot_break_out_of_a_drawing():
    spec = replace(CAMERA_SPECS[0], model="<script>alert(1)</script>")

    for drawn in (
        models_picture.field_picture(spec, key="k", far_m=30.0),
        models_picture.caught_bar(0.5, 0.01, 0.03, 0.5, 0.5, key="k", name=spec.name),
    ):
        assert "<script>" not in drawn
