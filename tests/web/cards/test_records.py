"""Identified records on the pages: looked at, mapped, imported by the worker, undone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import packaged
import pytest
from django.test import Client

import trod.catalogue.work.handlers  # noqa: F401  (registers the kinds of work)
from trod.catalogue import jobs
from trod.catalogue.models import Deployment, Job, Observation, RecordImport, Sequence, Species
from trod.web.review.queue import Queue

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def client() -> Client:
    return Client()


@pytest.fixture
def folder(small: Any, tmp_path: Path) -> Path:
    return packaged.package(tmp_path / "quernmoor")


def text(answer: Any, status: int = 200) -> str:
    assert answer.status_code == status, answer
    return answer.content.decode()


def look(client: Client, path: Path, **more: str) -> str:
    return text(client.get("/cards/records/look/", {"path": str(path), **more}))


def take(client: Client, path: Path, **more: str) -> str:
    answer = client.post("/cards/records/begin/", {"path": str(path), **more})
    jobs.work_once("worker")
    return text(client.get(answer["Location"]))


def test_a_look_shows_what_would_come_and_writes_nothing(client, folder):
    page = look(client, folder)

    assert "2 deployments, 10 sequences, 7 observations" in page and "Moor A (new)" in page
    assert "a new one: Roe deer" in page and '<option value="red-fox">' in page
    assert not RecordImport.objects.exists() and not Job.objects.exists() and Deployment.objects.count() == 2


def test_what_was_chosen_on_the_page_is_what_comes(client, folder):
    chosen = {"called-0": "Vulpes vulpes", "species-0": "red-fox", "machine": "1", "effort": "shown"}
    page = look(client, folder, **chosen)
    assert '<input type="hidden" name="species-0" value="red-fox">' in page
    assert '<option value="red-fox" selected>' in page

    assert "Imported: 2 deployments, 10 sequences, 8 observations." in take(client, folder, **chosen)
    assert Observation.objects.filter(species__slug="red-fox").count() == 2
    assert not Species.objects.filter(scientific_name="Vulpes vulpes").exists()
    row = RecordImport.objects.get()
    assert (row.effort, row.machine) == ("shown", True)


def test_columns_of_a_csv_file_are_asked_for_where_they_are_not_known(client, small, tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("Post,Day,Time,Animal\nAlder Track,2024-05-01,06:10,Roe deer\n", "utf-8")
    first = look(client, path)
    assert "No column is known to tell at which site" in first and "Import them" not in first
    page = look(client, path, **{"column-locationName": "Post"})
    assert "1 deployment, 1 sequence, 1 observation" in page and "Alder Track" in page

    take(client, path, **{"column-locationName": "Post"})
    assert Sequence.objects.get().deployment.site == small.alder.site


def test_rows_left_out_are_shown_with_number_and_reason(client, small, tmp_path):
    found = packaged.rows()
    found[2][0]["eventStart"] = "yesterday"
    folder = packaged.write(tmp_path / "p", *found)

    reason = "observations.csv, row 2: eventStart is “yesterday”, which is no date and time with its zone."
    assert reason in look(client, folder)
    assert "1 row was left out" in take(client, folder)
    assert reason in text(client.get("/cards/records/"))


def test_a_whole_import_is_undone_from_its_page(client, folder):
    take(client, folder)
    row = RecordImport.objects.get()
    assert "Takes away 10 sequences and 2 deployments" in text(client.get("/cards/records/"))
    answer = client.post(f"/cards/records/{row.uuid}/undo/")
    jobs.work_once("worker")

    assert "is undone. Its files stay" in text(client.get(answer["Location"]))
    assert not Sequence.objects.exists() and Deployment.objects.count() == 2
    assert "undone" in text(client.get("/cards/records/"))


def test_what_cannot_be_read_is_told_in_plain_words(client, small, tmp_path):
    (tmp_path / "empty").mkdir()
    page = text(client.get("/cards/records/look/", {"path": str(tmp_path / "empty")}), 422)

    assert "This cannot be imported" in page and "got" not in page.split("<main")[1].split("</main>")[0].split()
    assert client.get("/cards/records/look/", {"path": "relative"}).status_code == 302


def test_from_another_machine_nothing_of_this_one_is_read(folder, settings):
    far = Client(REMOTE_ADDR="192.0.2.7")
    settings.TROD_OPEN_ON_LOOPBACK = True
    answer = far.get("/cards/records/look/", {"path": str(folder)})

    assert answer.status_code == 302
    assert far.post("/cards/records/begin/", {"path": str(folder)}).status_code == 302
    assert not Job.objects.exists()


def test_imported_records_are_no_unplaced_card_and_ask_for_no_review_without_a_picture(client, folder):
    take(client, folder)
    page = text(client.get("/cards/"))

    assert "unplaced" not in page
    assert Sequence.objects.filter(identification__isnull=True, time_lapse=False).count() == 3
    assert Queue().rows("Ilka").count() == 0 and Queue().counts("Ilka") == ("0", "0")


def test_a_deployment_of_imported_records_has_its_page(client, folder):
    take(client, folder)

    for address in ("/cameras/deployments/of/a/", "/questions/", "/", "/map/", "/review/"):
        answer = client.get(address)
        assert answer.status_code == 200, address
