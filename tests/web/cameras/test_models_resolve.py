"""What a camera really resolves, on the pages: pictures brought, measured beside, kept only when asked."""

from __future__ import annotations

import io
from datetime import timedelta
from types import SimpleNamespace

import native_camera
import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from trod.catalogue import home
from trod.catalogue.models import Import, Picture
from trod.catalogue.rows import specs
from trod.pictures import target_layout
from trod.web.cameras import models_resolve
from trod_demo.camera_models import CAMERA_SPECS

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def forgotten():
    models_resolve.works.forget()
    yield
    models_resolve.works.forget()


@pytest.fixture(scope="module")
def shot():
    """A made photograph of the target, 2 m off, 1296 pixels over 22 degrees, as a JPEG."""
    sheet = target_layout.SHEETS["a4"]
    x = (np.arange(round(sheet.wide_mm * 8)) + 0.5) / 8 - sheet.wide_mm / 2
    y = (np.arange(round(sheet.high_mm * 8)) + 0.5) / 8 - sheet.high_mm / 2
    drawn = np.rint(255 * (1 - target_layout.darkness(*np.meshgrid(x, y)))).astype(np.uint8)
    ground = native_camera.scene(1944, 2592, np.random.default_rng(5), things=0.5)
    light = native_camera.photographed(
        drawn, px_per_mm=8, columns=1296, rows=972, fov_deg=22.0, distance_m=2.0, turns_deg=(8, 5, 3),
        aside_m=(0, 0), barrel=0.0, ground=ground,
    )  # fmt: skip
    levels = native_camera.native(
        light, lens_px=0.5, demosaic="gradient", noise=2.0, rng=np.random.default_rng(11), infrared=False, fine=2
    )
    out = io.BytesIO()
    Image.fromarray(native_camera.through_jpeg(levels, 90)).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def model(cast):
    return specs.store(CAMERA_SPECS[0])[0]


def jpeg(data, name="p.jpg"):
    return SimpleUploadedFile(name, data, content_type="image/jpeg")


def address(model):
    return reverse("cameras:resolves", args=[model.slug])


def bring(client, model, what, **fields):
    """Send a form and wait for its work; gives the answer's page."""
    sent = client.post(address(model), {"what": what, **fields})
    assert sent.status_code == 302, sent.content.decode()
    token = sent["Location"].rstrip("/").rsplit("/", 1)[1]
    assert models_resolve.works.get(token).ended.wait(60)
    return client.get(sent["Location"]), token


def target(data, **changed):
    return {"t-pictures": [jpeg(data)], "t-distance": "2", "t-paper": "a4", "t-ruler_mm": "100"} | changed


def test_the_target_is_printed_for_each_paper(client, cast):
    for paper, _ in models_resolve.PAPERS:
        answer = client.get(reverse("cameras:target", args=[paper]))
        assert answer.content.startswith(b"%PDF-")
    assert client.get(reverse("cameras:target", args=["a9"])).status_code == 404
    assert {paper for paper, _ in models_resolve.PAPERS} == set(target_layout.SHEETS)


def test_a_picture_of_the_target_is_measured_and_nothing_is_kept_until_asked(client, model, shot):
    before = dict(model.measured)

    page, token = bring(client, model, "target", **target(shot))

    text = page.content.decode()
    assert "megapixels saved, about" in text
    assert "Antler tine" in text
    assert page.context["found"].view_deg == pytest.approx(22.0, abs=0.5)
    model.refresh_from_db()
    assert model.measured == before
    assert not list(models_resolve.trial_folder().iterdir())  # the pictures are taken away

    client.post(reverse("cameras:resolves_keep", args=[model.slug, token]), {"figure": ["pixels", "view"]})

    model.refresh_from_db()
    found = page.context["found"]
    assert model.measured["fov_deg"] == round(found.view_deg, 1)
    assert model.measured["columns"] == round(found.width * 2 * min(0.5, found.columns.mtf10_cpp or 0.5))
    assert model.measured["trigger_s"] == before["trigger_s"]
    spec = specs.spec_of(model)
    assert spec.figure("columns").origin == "measured"
    shown = client.get(reverse("cameras:model", args=[model.slug])).content.decode()
    assert "megapixels carry detail by day" in shown

    client.post(reverse("people:undo"))
    model.refresh_from_db()
    assert model.measured == before


def test_a_measurement_kept_without_figures_changes_no_reckoning(client, model, shot):
    before = specs.spec_of(model)
    _, token = bring(client, model, "target", **target(shot))

    client.post(reverse("cameras:resolves_keep", args=[model.slug, token]))

    model.refresh_from_db()
    assert specs.spec_of(model) == before
    assert models_resolve.kept_lines(model)[0]["light"] == "by day"


def test_feet_and_a_ruler_that_came_out_short_are_reckoned_with(client, model, shot):
    client.cookies["units"] = "us"
    page, _ = bring(client, model, "target", **target(shot, **{"t-distance": "6.5617"}))
    assert page.context["found"].distance_m == pytest.approx(2.0, abs=1e-4)

    short, _ = bring(client, model, "target", **target(shot, **{"t-distance": "6.5617", "t-ruler_mm": "97"}))
    assert short.context["found"].pixels_per_m == pytest.approx(page.context["found"].pixels_per_m / 0.97, rel=1e-6)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"t-distance": "0"}, "got 0; needed: 0.2 to 100 m"),
        ({"t-distance": ""}, "This field is required"),
        ({"t-paper": "a9"}, "not one of the available choices"),
        ({"t-pictures": []}, "none came; needed: 1 to 5 pictures"),
        ({"t-ruler_mm": "10"}, "greater than or equal to 50"),
    ],
)
def test_what_is_missing_is_told_beside_its_field(client, model, shot, changed, told):
    answer = client.post(address(model), {"what": "target", **target(shot, **changed)})

    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not models_resolve.trial_folder().exists() or not list(models_resolve.trial_folder().iterdir())


def test_too_many_or_too_large_pictures_are_refused(client, model, monkeypatch):
    six = {"t-pictures": [jpeg(b"x") for _ in range(6)]}
    many = client.post(address(model), {"what": "target", **target(b"x", **six)})
    assert "6 came; needed: 1 to 5 pictures" in many.content.decode()

    monkeypatch.setattr(models_resolve, "TARGET_BYTES", 10)
    large = client.post(address(model), {"what": "target", **target(b"x" * 11)})
    assert "needed: at most" in large.content.decode()


def test_a_picture_that_is_none_is_told_in_words(client, model):
    for data in (b"\xff\xd8\xff" + b"\0" * 500, b"hello", b"\xff\xd8" + bytes(range(256)) * 30):
        page, token = bring(client, model, "target", **target(data))
        text = page.content.decode()
        assert "Nothing can be told." in text
        assert "unforeseen fault" not in text
        assert client.post(reverse("cameras:resolves_keep", args=[model.slug, token])).status_code == 302
    model.refresh_from_db()
    assert "resolves" not in model.measured


def test_small_pictures_are_not_judged_for_resampling_and_it_is_said_why(client, model, shot):
    page, _ = bring(client, model, "ordinary", **{"o-pictures": [jpeg(shot) for _ in range(5)]})

    assert "0 of 5 pictures can be judged" in page.content.decode()
    few = client.post(address(model), {"what": "ordinary", "o-pictures": [jpeg(shot) for _ in range(4)]})
    assert "4 came; needed: 5 to 12 pictures" in few.content.decode()


def test_pictures_of_its_own_cards_are_taken_where_there_are_five_by_day(client, cast, model):
    assert "Take some of its cards" not in client.get(address(model)).content.decode()
    assert "bring some instead" in client.post(address(model), {"what": "own"}).content.decode()

    cast.red.model = model
    cast.red.save()
    card_import = Import.objects.create(
        name="in-1", folder="x", deployment=cast.deployment, state="whole", source="t", started_at=cast.now,
        files=9, bytes=9,
    )  # fmt: skip
    for n in range(9):
        Picture.objects.create(
            sha256=f"{n:064x}", path=f"x/{n}.jpg", card_import=card_import, deployment=cast.deployment, size_bytes=1,
            taken_at=cast.now, infrared=n == 8, width=100 if n == 7 else 4000, height=3000,
        )  # fmt: skip

    paths = models_resolve.own_pictures(model)
    assert len(paths) == 7
    assert all(path.is_relative_to(home.archive_root()) for path in paths)
    assert {path.stem for path in paths} <= set("0123456")  # by day, of one size
    assert "Take some of its cards" in client.get(address(model)).content.decode()


def test_two_cameras_are_shown_at_one_scale(client, model, shot):
    page, _ = bring(
        client, model, "beside",
        **{"b-own": jpeg(shot), "b-own_fov_deg": "22", "b-other": jpeg(shot), "b-other_name": "<b>Other",
           "b-other_fov_deg": "44", "b-angle_deg": "6"},
    )  # fmt: skip

    text = page.content.decode()
    assert text.count('src="data:image/png;base64,') == 2
    assert "6.0° of view across each" in text
    assert "<b>Other" not in text
    scales = [one["piece"].scale for one in page.context["pieces"]]
    assert scales[0] == 1.0
    # tan 22° / tan 11°: what the wider view must be enlarged by.
    assert scales[1] == pytest.approx(2.0786, rel=1e-3)


def test_a_measurement_that_is_no_longer_held_is_said_to_be(client, model):
    gone = reverse("cameras:resolves_work", args=[model.slug, "0" * 32])

    answer = client.get(gone)
    assert answer.status_code == 404
    assert "no longer held" in answer.content.decode()
    assert client.post(gone + "keep/").status_code == 302
    assert "nothing was kept" in client.get(address(model)).content.decode()


def test_one_models_measurement_cannot_be_kept_with_another(client, model, shot):
    other, _ = specs.store(CAMERA_SPECS[1])
    _, token = bring(client, model, "target", **target(shot))

    client.post(reverse("cameras:resolves_keep", args=[other.slug, token]), {"figure": "pixels"})

    other.refresh_from_db()
    assert "resolves" not in other.measured
    assert client.get(reverse("cameras:resolves_work", args=[other.slug, token])).status_code == 404


def test_more_than_can_be_worked_on_is_put_off_and_its_pictures_taken_away(client, model, shot, monkeypatch):
    refused = SimpleNamespace(failed=True, trouble="busy")
    monkeypatch.setattr(models_resolve.works, "begin", lambda *a, **m: refused)

    answer = client.post(address(model), {"what": "target", **target(shot)})

    assert answer.status_code == 503
    assert "try again in a moment" in answer.content.decode()
    assert not list(models_resolve.trial_folder().iterdir())


def test_a_hand_edited_account_of_a_measurement_does_no_harm(client, model):
    for nonsense in ({"resolves": "x"}, {"resolves": {"day": {"megapixels": "many"}}}, {"resolves": {"day": 3}}):
        model.measured = nonsense
        model.save()
        assert client.get(reverse("cameras:model", args=[model.slug])).status_code == 200
        assert models_resolve.kept_lines(model) == []


def test_its_own_pictures_are_found_by_an_index_however_many_there_are(client, cast, model):
    """Neither all pictures of the model nor all of a deployment by night are read to show the page."""
    cast.red.model = model
    cast.red.save()
    card_import = Import.objects.create(
        name="in-1", folder="x", deployment=cast.deployment, state="whole", source="t", started_at=cast.now,
        files=9, bytes=9,
    )  # fmt: skip
    Picture.objects.bulk_create(
        Picture(
            sha256=f"{n:064x}", path=f"x/{n:05d}.jpg", card_import=card_import, deployment=cast.deployment, size_bytes=1,
            taken_at=None if n < 3 else cast.now - timedelta(minutes=n), infrared=n % 3 == 0, width=40, height=30,
        )
        for n in range(3000)
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    with CaptureQueriesContext(connection) as queries:
        paths = models_resolve.own_pictures(model)

    newest = {f"{n:05d}" for n in range(1, 100) if n % 3}
    assert len(paths) == 7 and {path.stem for path in paths} <= newest
    asked = [told["sql"] for told in queries if '"trod_picture"' in told["sql"]]
    explain = "EXPLAIN QUERY PLAN " if connection.vendor == "sqlite" else "EXPLAIN "
    with connection.cursor() as cursor:
        for sql in asked:
            cursor.execute(explain + sql)
            plan = "\n".join(str(row) for row in cursor.fetchall())
            assert "picture_by_day" in plan, plan
            assert "SCAN trod_picture" not in plan, plan  # PostgreSQL reads so few rows at once, rightly


def test_pictures_of_unknown_time_do_not_stand_for_the_newest(cast, model):
    cast.red.model = model
    cast.red.save()
    card_import = Import.objects.create(
        name="in-1", folder="x", deployment=cast.deployment, state="whole", source="t", started_at=cast.now,
        files=9, bytes=9,
    )  # fmt: skip
    Picture.objects.bulk_create(
        Picture(
            sha256=f"{n:064x}", path=f"x/{n:05d}.jpg", card_import=card_import, deployment=cast.deployment, size_bytes=1,
            taken_at=cast.now - timedelta(minutes=n) if n < 7 else None, infrared=False, width=40 + 10 * (n >= 7),
            height=30,
        )
        for n in range(13)
    )  # fmt: skip
    assert {path.stem for path in models_resolve.own_pictures(model)} == {f"{n:05d}" for n in range(7)}
