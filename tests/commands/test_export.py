"""`trod export`."""

from __future__ import annotations

import csv
import json

import pytest

from trod.catalogue.models import Picture, Sequence, Suggestion
from trod.findings.blur import cell_of

pytestmark = pytest.mark.django_db


def rows(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_record_is_written_and_every_column_described(made, said, tmp_path):
    told = said("export", tmp_path / "out")
    described = json.loads((tmp_path / "out" / "description.json").read_text("utf-8"))

    for table in described["tables"]:
        name = table["file"].removesuffix(".csv")
        found = rows(tmp_path / "out", name)
        assert len(found) == table["rows"] == told["rows"][name]
        assert found and list(found[0]) == [column["name"] for column in table["columns"]]
        assert all(column["description"] for column in table["columns"])
    assert set(told["rows"]) == {
        "sites",
        "deployments",
        "visits",
        "species",
        "effort",
        "effort_by_day",
        "observations",
        "pictures",
    }


def test_observations_are_what_people_said_with_their_times(made, said, tmp_path):
    said("export", tmp_path / "out")
    first = next(row for row in rows(tmp_path / "out", "observations") if row["species"] == "red-deer")

    assert first["start"] == "2026-01-05T02:00:00Z"
    assert first["start_local"] == "2026-01-05T03:00:00+01:00"
    assert (first["count"], first["said_by"], first["site"]) == ("2", "Ilka Marwood", "alder-ford")
    assert Picture.objects.filter(sha256=first["picture"], sequence__key=first["sequence"]).exists()


def test_effort_adds_up_to_the_deployments_days(made, said, tmp_path):
    said("export", tmp_path / "out")
    watched = {}
    for row in rows(tmp_path / "out", "effort"):
        if row["state"] == "watched":
            watched[row["deployment"]] = watched.get(row["deployment"], 0.0) + float(row["days"])

    for row in rows(tmp_path / "out", "deployments"):
        assert float(row["watched_days"]) == pytest.approx(watched[row["deployment"]])


def test_a_sensitive_site_is_given_as_a_battery_unless_told(made, said, tmp_path):
    made.sites[1].latitude, made.sites[1].longitude = 47.291234, 13.907654
    made.sites[1].save()
    said("export", tmp_path / "a")
    told = said("export", tmp_path / "b", "--true-places")

    generalised = next(row for row in rows(tmp_path / "a", "sites") if row["site"] == "grey-lick")
    battery = cell_of(latitude_deg=47.291234, longitude_deg=13.907654)
    assert (float(generalised["latitude"]), float(generalised["longitude"])) == (
        battery.latitude_deg,
        battery.longitude_deg,
    )
    assert float(generalised["uncertainty_m"]) == battery.uncertainty_m
    assert "47.291234" not in "".join(path.read_text("utf-8") for path in (tmp_path / "a").iterdir())
    assert told["sensitive_shown"] is True
    assert "TRUE places" in (tmp_path / "b" / "README.txt").read_text("utf-8")


def test_people_are_left_out_unless_asked_for(made, said, tmp_path):
    person = Sequence.objects.get(identification__observations__what="human")
    unseen = Sequence.objects.get(identification__isnull=True)
    Suggestion.objects.create(picture=unseen.pictures.first(), what="human", score=0.9, by="guess", at=unseen.end_at)

    told = said("export", tmp_path / "out")
    written = "".join(path.read_text("utf-8") for path in (tmp_path / "out").iterdir())
    for picture in (*person.pictures.all(), *unseen.pictures.all()):
        assert picture.sha256 not in written
    assert (told["people_left_out"], told["not_reviewed_left_out"]) == (3, 3)
    assert "Left out: 3 pictures with people or vehicles" in written
    assert "Left out: 3 pictures that nobody has reviewed" in written

    with_people = said("export", tmp_path / "all", "--people")
    assert with_people["people_left_out"] == 0
    assert with_people["rows"]["pictures"] == Picture.objects.count()
    assert person.pictures.first().sha256 in (tmp_path / "all" / "pictures.csv").read_text("utf-8")


def test_a_period_cuts_observations_pictures_and_effort(made, said, tmp_path):
    said("export", tmp_path / "out", "--from", "2026-01-10", "--to", "2026-01-11")

    days = {row["start_local"][:10] for row in rows(tmp_path / "out", "observations")}
    assert days <= {"2026-01-10", "2026-01-11"}
    assert sum(float(row["days"]) for row in rows(tmp_path / "out", "effort")) == pytest.approx(4)


def test_other_files_in_the_folder_are_left_alone(made, trod, tmp_path):
    (tmp_path / "mine.txt").write_text("mine", "utf-8")
    done = trod("export", tmp_path)

    assert done.exit_code == 0 and "observations.csv" in done.stdout
    assert (tmp_path / "mine.txt").read_text("utf-8") == "mine"
    assert list(tmp_path.glob("*.part")) == []


def test_a_day_that_is_none_is_told(made, trod, tmp_path):
    done = trod("export", tmp_path / "out", "--from", "spring")

    assert done.exit_code == 3
    assert done.stderr == "Error: from: got 'spring'; needed: a day like 2026-05-31\n"


def test_ranks_above_species_leave_with_the_records(made, said, tmp_path):
    from asked import say

    from trod.catalogue.models import Sequence
    from trod.catalogue.rows import taxa

    say(Sequence.objects.filter(identification__isnull=True).first(), species=taxa.named("Deer"))
    said("export", tmp_path / "out")

    species = {row["species"]: row for row in rows(tmp_path / "out", "species")}
    assert (species["deer"]["rank"], species["red-deer"]["parent"]) == ("family", "deer")
    assert "Deer, kind unknown" in {row["species_name"] for row in rows(tmp_path / "out", "observations")}
    told = said("ask", "what-comes", "--species", "deer")
    assert told["sentence"].startswith("Deer, all kinds came by ")


def test_a_package_of_the_open_standard_and_darwin_core(made, said, trod, tmp_path):
    from trod.exchange import package_check

    told = said("export", tmp_path / "package", "--as", "package", "--design", "targeted")
    core = said("export", tmp_path / "core", "--as", "darwin-core")

    assert package_check.check(tmp_path / "package") == []
    assert told["rows"]["deployments"] == 2 and core["rows"]["occurrence"] > 0
    assert "Written into" in trod("export", tmp_path / "again", "--as", "package").stdout
    assert trod("export", tmp_path / "no", "--as", "package", "--design", "by-feel").exit_code == 3
