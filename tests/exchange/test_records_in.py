"""Identified records read: what counts as seen, what nobody has looked at, and which rows are left out, with reasons."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import packaged
import pytest

from trod.errors import WrongInput
from trod.exchange import package_check, records_source
from trod.exchange.records_in import Records
from trod.exchange.records_source import guess, lacking, look


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return packaged.package(tmp_path / "quernmoor")


def read(path: Path, zone: str = "UTC", **columns: str) -> Records:
    return Records(look(path, columns), zone=zone).read()


def by_key(records: Records, deployment: str) -> dict:
    return {one.key: one for one in records.sequences(deployment)}


def test_the_invented_package_keeps_the_standards_rules(folder):
    assert package_check.check(folder) == []


def test_what_was_seen_of_an_event_as_a_whole_counts_and_not_its_pictures_besides(folder):
    with read(folder) as records:
        one = by_key(records, "A")["event-o1"]

    assert [(line.count, line.sex, line.life_stage) for line in one.lines] == [
        (2, "female", "adult"), (3, "unknown", "juvenile"),
    ]  # fmt: skip
    assert (one.frames, one.observations) == (4, 6)
    assert (one.start, one.end) == (datetime(2019, 5, 3, 4, tzinfo=UTC), datetime(2019, 5, 3, 4, 0, 3, tzinfo=UTC))
    assert (one.by, one.at) == ("Ilka Marwood", datetime(2019, 8, 1, 10, tzinfo=UTC))


def test_of_single_pictures_alone_the_one_with_most_counts(tmp_path):
    deployments, media, seen = packaged.rows()
    seen = [row for row in seen if row["observationLevel"] == "media" and row["mediaID"] != "m5"]
    seen[2]["count"] = "5"
    seen.append({**seen[2], "observationID": "twin", "count": "2"})
    with read(packaged.write(tmp_path / "p", deployments, media, seen)) as records:
        one = by_key(records, "A")["event-o1"]

    assert [(line.scientific_name, line.count) for line in one.lines] == [("Capreolus capreolus", 7)]


def test_pictures_that_no_observation_covers_are_a_sequence_nobody_has_looked_at(folder):
    with read(folder) as records:
        found = by_key(records, "A")
        lapse = by_key(records, "B")["media-t1"]

    assert found["media-m6"].lines == () and found["media-m6"].frames == 2
    assert found["media-m6"].end - found["media-m6"].start == timedelta(minutes=1)
    assert lapse.time_lapse and not found["media-m6"].time_lapse


def test_unclassified_is_not_blank_and_a_machine_is_no_person(folder):
    with read(folder) as records:
        found = by_key(records, "B")

    assert found["event-o5"].lines == () and not found["event-o5"].machine
    assert found["event-o7"].machine and found["event-o7"].lines
    assert [line.what for line in found["event-o8"].lines] == ["unknown"]
    assert not found["event-o6"].machine


def test_a_deployment_keeps_the_offset_that_was_written(folder):
    with read(folder) as records:
        one = records.deployments()[0]

    assert (one.utc_offset_min, one.height_m, one.tilt_deg, one.heading_deg) == (120, 1.2, 10.0, 285.0)
    assert one.start == datetime(2019, 5, 1, 6, tzinfo=UTC) and one.uncertainty_m == 50


@pytest.mark.parametrize(
    ("table", "change", "reason"),
    [
        (2, {"eventStart": "2019-05-03T04:00:00"}, "no date and time with its zone"),
        (2, {"observationType": "ghost"}, "none of animal"),
        (2, {"deploymentID": "Z"}, "not among the deployments"),
        (2, {"eventStart": "2018-05-03T04:00:00Z"}, "lies outside its deployment"),
        (2, {"count": "0"}, "less than 1"),
        (2, {"count": "5000"}, "more than 999"),
        (2, {"eventEnd": "2019-05-03T03:00:00Z"}, "eventEnd lies before eventStart"),
        (2, {"observationID": "o2"}, "stands in a row before it too"),
        (1, {"timestamp": "yesterday"}, "no date and time"),
        (0, {"latitude": "91"}, "more than 90"),
        (0, {"deploymentEnd": "2019-04-01T08:00:00+02:00"}, "ends before it starts"),
    ],
)
def test_a_row_that_says_too_little_is_left_out_with_its_number_and_why(tmp_path, table, change, reason):
    found = packaged.rows()
    if change.get("observationID"):
        found[2].append({**found[2][0], **change})
    else:
        found[table][0].update(change)
    with read(packaged.write(tmp_path / "p", *found)) as records:
        skipped = records.skipped()

    assert any(reason in one.reason for one in skipped), skipped
    name = ("deployments", "media", "observations")[table]
    row = len(found[2]) + 1 if change.get("observationID") else 2
    assert (f"{name}.csv", row) in {(one.file, one.row) for one in skipped}


def test_a_cell_of_less_weight_that_is_wrong_costs_no_record(tmp_path):
    found = packaged.rows()
    found[0][0].update(featureType="volcano", cameraTilt="steep")
    with read(packaged.write(tmp_path / "p", *found)) as records:
        assert records.skipped() == []
        assert (records.deployments()[0].feature, records.deployments()[0].tilt_deg) == ("", None)


def test_a_table_outside_of_the_package_is_refused(folder):
    told = packaged.descriptor()
    told["resources"][0]["path"] = "../../deployments.csv"
    (folder / "datapackage.json").write_text(json.dumps(told))

    with pytest.raises(WrongInput, match="inside the package"):
        look(folder)


def test_an_older_shape_of_the_standard_is_refused_by_name(folder):
    text = (folder / "deployments.csv").read_text().replace("deploymentStart", "start")
    (folder / "deployments.csv").write_text(text)

    with pytest.raises(WrongInput, match=r"version 1\.0"):
        look(folder)


# One CSV file -------------------------------------------------------------------------------------------------

NOTES = """Post,Day,Time,Animal,Number,Who
Alder Track,2024-05-01,06:10,Roe deer,2,Ilka
Alder Track,2024-05-03,22:40,Red fox,1,Ilka
Grey Lick,2024-11-02,07:00,person,1,Ilka
Grey Lick,,07:00,Red fox,1,Ilka
,2024-11-02,07:00,Red fox,1,Ilka
"""


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    path = tmp_path / "notes.csv"
    path.write_text(NOTES, "utf-8")
    return path


def test_columns_are_guessed_and_what_is_not_known_is_told(notes):
    source = look(notes)

    assert source.columns["date"] == "Day" and source.columns["clock"] == "Time" and source.columns["name"] == "Animal"
    assert "at which site" in lacking(source)
    assert lacking(look(notes, {"locationName": "Post"})) == ""
    assert guess(("Timestamp", "Site", "Species"))["eventStart"] == "Timestamp"


def test_one_csv_file_gives_deployments_with_one_fixed_offset_each(notes):
    with read(notes, "Europe/Vienna", locationName="Post", classifiedBy="Who", count="Number") as records:
        one, two = records.deployments()
        seen = records.sequences("Alder Track")
        skipped = records.skipped()

    assert (one.key, one.utc_offset_min, one.stated) == ("Alder Track", 120, False)
    assert two.utc_offset_min == 60
    assert seen[0].start == datetime(2024, 5, 1, 4, 10, tzinfo=UTC)
    assert (seen[0].lines[0].name, seen[0].lines[0].count, seen[0].by) == ("Roe deer", 2, "Ilka")
    assert [(s.row, s.reason[:12]) for s in skipped] == [(5, "its time is "), (6, "it names no ")]


def test_a_summer_deployment_that_lasts_into_winter_keeps_its_camera_clock(tmp_path):
    path = tmp_path / "n.csv"
    path.write_text("site,time,species\nA,2024-10-01 12:00,Red fox\nA,2024-12-01 12:00,Red fox\n", "utf-8")
    with read(path, "Europe/Vienna") as records:
        seen = records.sequences("A")

    assert [one.start.hour for one in seen] == [10, 10]


def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "notes.csv")

    with pytest.raises(WrongInput, match="no file"):
        look(tmp_path / "notes.csv")


def test_a_package_without_a_table_says_which(folder):
    (folder / "observations.csv").unlink()

    with pytest.raises(WrongInput, match=r"without observations\.csv"):
        records_source.look(folder)
