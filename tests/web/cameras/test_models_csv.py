"""Camera models from a table and into one."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from trod.catalogue import home
from trod.catalogue.models import CameraModel
from trod.catalogue.rows import specs
from trod.errors import WrongInput
from trod.planning.equipment.camera import from_csv
from trod.web.cameras import models_csv
from trod_demo.camera_models import CAMERA_SPECS

pytestmark = pytest.mark.django_db
HEAD = "maker,model,claimed_trigger_s,measured_trigger_s\r\n"


def send(client, text, **more):
    file = SimpleUploadedFile("list.csv", text if isinstance(text, bytes) else text.encode())
    return client.post(reverse("cameras:models_import"), {"file": file, **more})


def keep(client, text):
    return client.post(reverse("cameras:models_import"), {"text": text, "keep": "yes"})


def test_a_list_is_looked_at_before_anything_is_kept(client, cast):
    specs.store(CAMERA_SPECS[0])
    before = list(CameraModel.objects.values())

    text = HEAD + "Tarnbeckle,Lanthorn 3,0.5,0.42\r\nThornmere,Own 1,0.9,\r\n"
    page = send(client, text).content.decode()

    assert "Nothing is kept yet. This list would leave: 1 new, 1 changed." in page
    assert "trigger time, stated: 0.3 s → 0.5 s" in page
    assert "trigger time, measured" not in page  # as it was
    assert list(CameraModel.objects.values()) == before


def test_a_kept_list_can_be_undone_whole(client, cast):
    old, _ = specs.store(CAMERA_SPECS[0])
    before = list(CameraModel.objects.values())

    answer = keep(client, HEAD + "Tarnbeckle,Lanthorn 3,0.5,\r\nThornmere,Own 1,0.9,\r\n")
    assert answer.status_code == 302
    old.refresh_from_db()
    assert old.trigger_time_s == 0.5
    assert old.measured["trigger_s"] == 0.42  # the table says nothing of it
    assert CameraModel.objects.count() == 2

    client.post(reverse("people:undo"))
    assert list(CameraModel.objects.values()) == before


def test_a_kept_list_stands_in_the_ledger(client, cast, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        keep(client, HEAD + "Thornmere,Own 1,0.9,1.1\r\n")

    ledger = json.loads((home.archive_root() / "ledger.json").read_text("utf-8"))
    assert [m["measured"] for m in ledger["camera_models"]] == [{"trigger_s": 1.1}]


def test_a_table_that_does_not_tell_the_flash_leaves_it(client, cast):
    row, _ = specs.store(CAMERA_SPECS[2])  # no glow
    silent = CameraModel.objects.create(maker="Thornmere", name="Own 1", slug="own-1")

    keep(client, HEAD + f"{row.maker},{row.name},0.25,\r\nThornmere,Own 1,0.9,\r\n")

    row.refresh_from_db()
    silent.refresh_from_db()
    assert (row.flash, row.trigger_time_s) == ("no_glow", 0.25)
    assert (silent.flash, silent.trigger_time_s) == ("", 0.9)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HEAD + "Thornmere,Own 1,fast,\r\n", "line 2, claimed_trigger_s"),
        (HEAD + "Thornmere,Own 1,99,\r\n", "line 2, claimed_trigger_s"),
        (HEAD + "Thornmere,Own 1,1,\r\nThornmere,own 1,2,\r\n", "each camera once"),
        (HEAD, "at least one line"),
        ("maker,model,colour\r\nA,B,green\r\n", "colour"),
        ("  ", "a table to bring"),
    ],
)
def test_a_list_with_a_mistake_leaves_nothing_and_says_where(client, cast, text, told):
    for answer in (send(client, text), keep(client, text)):
        assert answer.status_code == 422
        page = answer.content.decode()
        assert "Nothing is kept." in page
        assert told in page
    assert not CameraModel.objects.exists()


def test_a_file_of_noise_is_refused_in_words(client, cast):
    answer = send(client, bytes(range(256)) * 40)

    assert answer.status_code == 422
    assert "Nothing is kept." in answer.content.decode()


def test_a_spreadsheets_semicolons_and_decimal_commas_are_understood():
    (spec,) = models_csv.read("maker;model;claimed_trigger_s;note\r\nThornmere;Own 1;0,45;small, light\r\n")

    assert spec.claimed.trigger_s == 0.45
    assert spec.note == "small, light"


def test_a_semicolon_table_with_torn_quotes_is_refused():
    with pytest.raises(WrongInput, match="balanced quotes"):
        models_csv.read('maker;model;note\r\nThornmere;Own 1;"open\r\n')


def test_the_list_that_goes_out_comes_in_again_and_changes_nothing(client, cast):
    for spec in CAMERA_SPECS:
        specs.store(spec)
    # One with megapixels alone: they stand for a 4:3 picture of that size.
    CameraModel.objects.create(maker="Thornmere", name="Own 1", slug="own-1", native_megapixels=5, claimed_megapixels=20)

    out = client.get(reverse("cameras:models_table"))
    assert out["Content-Type"].startswith("text/csv")
    text = out.content.decode("utf-8-sig")
    plan = models_csv.plan(models_csv.read(text), keep=False, system="metric")

    assert plan.sentence == f"{len(CAMERA_SPECS) + 1} as they were"
    assert len(from_csv(text)) == len(CAMERA_SPECS) + 1


def test_the_table_to_begin_with_can_be_brought(client, cast):
    text = client.get(reverse("cameras:models_sample")).content.decode("utf-8-sig")

    page = send(client, text).content.decode()
    assert "2 new" in page
