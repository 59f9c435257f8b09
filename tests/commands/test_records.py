"""`trod import`."""

from __future__ import annotations

import json

import packaged
import pytest

from trod.catalogue.models import Deployment, RecordImport, Sequence

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def folder(trod_home, tmp_path):
    return packaged.package(tmp_path / "quernmoor")


def test_a_package_comes_in_and_json_tells_how_much(folder, said):
    told = said("import", folder, "--yes")

    assert {k: told[k] for k in ("deployments", "sequences", "observations", "unreviewed", "already_here")} == {
        "deployments": 2, "sequences": 10, "observations": 7, "unreviewed": 3, "already_here": 0,
    }  # fmt: skip
    assert told["skipped"] == [] and told["import"] == RecordImport.objects.get().bag
    assert said("import", folder, "--yes")["already_here"] == 10


def test_rows_left_out_are_told_with_number_and_reason_and_end_with_1(trod_home, tmp_path, trod):
    found = packaged.rows()
    found[2][0]["eventStart"] = "yesterday"
    done = trod("import", packaged.write(tmp_path / "p", *found), "--yes", "--json")

    assert done.exit_code == 1
    assert json.loads(done.stdout)["skipped"] == [
        {
            "file": "observations.csv",
            "row": 2,
            "reason": "eventStart is “yesterday”, which is no date and time with its zone.",
        }
    ]


def test_a_preview_tells_and_writes_nothing(folder, trod, said):
    told = said("import", folder, "--preview")

    assert (told["deployments"], told["sequences"], told["title"]) == (2, 10, "Quernmoor 2019")
    assert told["species"] == {"Capreolus capreolus": None, "Vulpes vulpes": None, "Cervidae": None}
    assert "Would add 2 deployments" in trod("import", folder, "--preview").stdout
    assert not Deployment.objects.exists()


def test_without_a_person_and_without_yes_it_ends_with_3(folder, trod):
    done = trod("import", folder)

    assert done.exit_code == 3 and "--yes" in done.output
    assert not Deployment.objects.exists()


def test_a_csv_file_needs_to_be_told_what_its_columns_mean(trod_home, tmp_path, trod, said):
    path = tmp_path / "notes.csv"
    path.write_text("Post,Day,Time,Animal\nAlder Track,2024-05-01,06:10,Roe deer\n", "utf-8")
    refused = trod("import", path, "--yes")
    told = said("import", path, "--yes", "--column", "locationName=Post", "--zone", "Europe/Vienna")

    assert refused.exit_code == 3 and "at which site" in refused.output
    assert told["sequences"] == 1 and Sequence.objects.get().deployment.site.name == "Alder Track"
    assert trod("import", path, "--yes", "--column", "Post").exit_code == 2
    assert trod("import", path, "--yes", "--zone", "Nowhere/At all").exit_code == 3


def test_imported_records_can_be_asked(folder, said, trod):
    said("import", folder, "--yes")
    done = trod("ask", "what-comes", "--json")

    assert done.exit_code == 0, done.output
    assert "Roe deer" in done.stdout
