"""Our own check of a package: every rule of the standard's schemas can be broken, and is told."""

from __future__ import annotations

import json

import packaged
import pytest

from trod.exchange import package_check
from trod.exchange import package_tables as tables


@pytest.mark.parametrize(
    ("table", "change", "told"),
    [
        (0, {"deploymentID": ""}, "deploymentID is missing"),
        (0, {"deploymentID": "B"}, "stands in another row too"),
        (0, {"latitude": "north"}, "not a number"),
        (0, {"longitude": "181"}, "more than 180"),
        (0, {"coordinateUncertainty": "0"}, "less than 1"),
        (0, {"coordinateUncertainty": "12.5"}, "not a whole number"),
        (0, {"deploymentStart": "2019-05-01 08:00"}, "no date and time with its zone"),
        (0, {"deploymentStart": "2019-02-30T08:00:00Z"}, "which no clock shows"),
        (0, {"cameraTilt": "91"}, "more than 90"),
        (0, {"cameraHeading": "361"}, "more than 360"),
        (0, {"baitUse": "yes"}, "not true or false"),
        (0, {"featureType": "volcano"}, "none of roadPaved"),
        (1, {"mediaID": ""}, "mediaID is missing"),
        (1, {"deploymentID": "Z"}, "is not in deployments.csv"),
        (1, {"filePath": "../m0.jpg"}, "does not take there"),
        (1, {"filePath": "/m0.jpg"}, "does not take there"),
        (1, {"filePublic": ""}, "filePublic is missing"),
        (1, {"fileMediatype": "text/plain"}, "does not take there"),
        (1, {"captureMethod": "by hand"}, "none of activityDetection"),
        (2, {"mediaID": "m99"}, "is not in media.csv"),
        (2, {"observationLevel": "day"}, "none of media"),
        (2, {"observationType": "ghost"}, "none of animal"),
        (2, {"count": "0"}, "less than 1"),
        (2, {"lifeStage": "old"}, "none of adult"),
        (2, {"sex": "both"}, "none of female"),
        (2, {"individualPositionAngle": "-91"}, "less than -90"),
        (2, {"bboxWidth": "0"}, "less than 1e-15"),
        (2, {"classificationProbability": "1.1"}, "more than 1"),
    ],
)
def test_each_rule_of_a_table_is_told_when_it_is_broken(tmp_path, table, change, told):
    found = packaged.rows()
    found[table][0].update(change)

    assert any(told in sentence for sentence in package_check.check(packaged.write(tmp_path / "p", *found)))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"profile": "https://example.org/profile.json"}, "profile is not"),
        ({"created": "yesterday"}, "created is no date"),
        ({"contributors": []}, "contributors holds nobody"),
        ({"contributors": [{"title": "A", "role": "boss"}]}, "role is boss"),
        ({"project": {"title": "A"}}, "samplingDesign"),
        ({"spatial": {}}, "spatial is no GeoJSON"),
        ({"temporal": {"start": "2020-01-02", "end": "2020-01-01"}}, "ends before it starts"),
        ({"temporal": {"start": "May"}}, "temporal.start is no date"),
        ({"taxonomic": [{}]}, "no scientificName"),
        ({"taxonomic": [{"scientificName": "A", "taxonRank": "tribe"}]}, "taxonRank is tribe"),
        ({"taxonomic": [{"scientificName": "A", "vernacularNames": {"en": "a"}}]}, "three letters"),
        ({"licenses": [{"scope": "data"}]}, "licenses are to be two"),
        ({"resources": []}, "fewer than three"),
        ({"name": "Quernmoor 2019"}, "other characters"),
    ],
)
def test_each_rule_of_the_description_is_told_when_it_is_broken(tmp_path, change, told):
    folder = packaged.write(tmp_path / "p", *packaged.rows(), **change)

    assert any(told in sentence for sentence in package_check.check(folder))


@pytest.mark.parametrize("name", ["project", "spatial", "temporal", "taxonomic", "contributors", "created"])
def test_what_the_profile_requires_is_missed(tmp_path, name):
    folder = packaged.package(tmp_path / "p")
    told = packaged.descriptor()
    del told[name]
    (folder / "datapackage.json").write_text(json.dumps(told))

    assert any(f"lacks {name}" in sentence for sentence in package_check.check(folder))


def test_columns_out_of_order_are_told(tmp_path):
    folder = packaged.package(tmp_path / "p")
    rows = packaged.read(folder, "media")
    names = [*tables.columns("media")][::-1]
    text = "\n".join([",".join(names), *(",".join(row[n] for n in names) for row in rows)])
    (folder / "media.csv").write_text(text + "\n")

    assert any("columns in the standard's order" in sentence for sentence in package_check.check(folder))
