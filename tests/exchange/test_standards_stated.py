"""What the open standards lay down, stated a second time from their own text, against our tables and our files.

Camtrap DP 1.0.2 (TDWG, 2025-06-26): the table schemas of deployments, media and observations. Darwin Core (TDWG): the
list of terms, as of August 2026.
"""

from __future__ import annotations

import re

import pytest

from trod.exchange import darwin_core, package_check
from trod.exchange import package_tables as tables

REQUIRED = {
    "deployments": {"deploymentID", "latitude", "longitude", "deploymentStart", "deploymentEnd"},
    "media": {"mediaID", "deploymentID", "timestamp", "filePath", "filePublic", "fileMediatype"},
    "observations": {
        "observationID", "deploymentID", "eventStart", "eventEnd", "observationLevel", "observationType",
    },
}  # fmt: skip
COLUMNS = {"deployments": 24, "media": 11, "observations": 28}
RANGES = {
    "latitude": (-90, 90), "longitude": (-180, 180), "coordinateUncertainty": (1, None), "cameraDelay": (0, None),
    "cameraHeight": (0, None), "cameraDepth": (0, None), "cameraTilt": (-90, 90), "cameraHeading": (0, 360),
    "detectionDistance": (0, None), "count": (1, None), "individualPositionRadius": (0, None),
    "individualPositionAngle": (-90, 90), "individualSpeed": (0, None), "bboxX": (0, 1), "bboxY": (0, 1),
    "bboxWidth": (1e-15, 1), "bboxHeight": (1e-15, 1), "classificationProbability": (0, 1),
}  # fmt: skip
WORDS = {
    "observationType": {"animal", "human", "vehicle", "blank", "unknown", "unclassified"},
    "observationLevel": {"media", "event"},
    "lifeStage": {"adult", "subadult", "juvenile"},
    "sex": {"female", "male"},
    "classificationMethod": {"human", "machine"},
    "cameraSetupType": {"setup", "calibration"},
    "captureMethod": {"activityDetection", "timeLapse"},
    "featureType": {
        "roadPaved", "roadDirt", "trailHiking", "trailGame", "roadUnderpass", "roadOverpass", "roadBridge", "culvert",
        "burrow", "nestSite", "carcass", "waterSource", "fruitingTree",
    },
}  # fmt: skip
INSTANTS = {"deploymentStart", "deploymentEnd", "timestamp", "eventStart", "eventEnd", "classificationTimestamp"}
BOOLEANS = {"timestampIssues", "baitUse", "filePublic", "favorite"}
WHOLE = {"coordinateUncertainty", "cameraDelay", "cameraTilt", "cameraHeading", "count"}
FIELDS = [field for name in tables.NAMES for field in tables.TABLES[name]]


@pytest.mark.parametrize("table", tables.NAMES)
def test_each_table_has_the_standards_number_of_columns_and_wants_what_it_wants(table: str) -> None:
    assert len(tables.TABLES[table]) == COLUMNS[table]
    assert {field.name for field in tables.TABLES[table] if field.required} == REQUIRED[table]
    (key,) = [field for field in tables.TABLES[table] if field.unique]
    assert key is tables.TABLES[table][0] and key.name == f"{table[:-1] if table != 'media' else table}ID"


def test_ranges_words_and_kinds_are_the_standards() -> None:
    assert {f.name: (f.low, f.high) for f in FIELDS if (f.low, f.high) != (None, None)} == RANGES
    assert {f.name: set(f.one_of) for f in FIELDS if f.one_of} == WORDS
    assert {f.name for f in FIELDS if f.kind == "moment"} == INSTANTS
    assert {f.name for f in FIELDS if f.kind == "boolean"} == BOOLEANS
    assert {f.name for f in FIELDS if f.kind == "integer"} == WHOLE
    assert {f.name for f in FIELDS if f.kind == "number"} == set(RANGES) - WHOLE


def test_tables_hang_together_as_the_standard_says_and_four_words_mean_missing() -> None:
    assert tables.KEYS == {
        "media": {"deploymentID": "deployments"}, "observations": {"deploymentID": "deployments", "mediaID": "media"},
    }  # fmt: skip
    assert {"", "NA", "NaN", "nan"} == tables.MISSING


@pytest.mark.parametrize(
    ("path", "may"),
    [("https://a.example/1.jpg", True), ("media/1.jpg", True), ("../1.jpg", False), ("/1.jpg", False),
     ("~/1.jpg", False), ("./1.jpg", False), ("media/../1.jpg", False)],
)  # fmt: skip
def test_a_path_leads_nowhere_else(path: str, may: bool) -> None:
    (field,) = [f for f in FIELDS if f.name == "filePath"]
    assert (tables.trouble(field, path) == "") is may


def test_what_a_package_must_tell_of_itself() -> None:
    assert set(package_check._NEEDED) == {
        "resources", "profile", "created", "contributors", "project", "spatial", "temporal", "taxonomic",
    }  # fmt: skip
    assert set(package_check.DESIGNS) == {
        "simpleRandom", "systematicRandom", "clusteredRandom", "experimental", "targeted", "opportunistic",
    }  # fmt: skip


# Terms of Darwin Core as of August 2026 that we write; a term outside of this list does not exist there.
TERMS = {
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort", "sampleSizeValue",
    "sampleSizeUnit", "locationID", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum",
    "coordinateUncertaintyInMeters", "dataGeneralizations", "habitat", "occurrenceID", "basisOfRecord",
    "occurrenceStatus", "scientificName", "taxonRank", "vernacularName", "kingdom", "individualCount", "sex",
    "lifeStage", "behavior", "organismID", "identifiedBy", "dateIdentified", "occurrenceRemarks",
}  # fmt: skip


def test_every_column_of_the_darwin_core_archive_is_a_term() -> None:
    assert {*darwin_core.EVENT, *darwin_core.OCCURRENCE} == TERMS
    assert set(re.findall(r'term="([^"]+)"', darwin_core.meta())) == {f"http://rs.tdwg.org/dwc/terms/{t}" for t in TERMS}
