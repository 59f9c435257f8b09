"""A small invented package of identified records, in the shape of the open camera-data standard."""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from trod.exchange import package_tables as tables

Rows = list[dict[str, str]]


def descriptor(**more: Any) -> dict[str, Any]:
    """What a package says of itself. Everything in it is invented."""
    return {
        "resources": [
            {
                "name": name,
                "path": f"{name}.csv",
                "profile": "tabular-data-resource",
                "schema": f"{tables.BASE}{name}-table-schema.json",
            }
            for name in tables.NAMES
        ],
        "profile": tables.PROFILE,
        "name": "quernmoor-2019",
        "created": "2020-02-01T10:00:00Z",
        "title": "Records of Quernmoor (invented)",
        "contributors": [{"title": "Ilka Marwood", "role": "contact"}],
        "project": {
            "title": "Quernmoor 2019",
            "samplingDesign": "systematicRandom",
            "captureMethod": ["activityDetection", "timeLapse"],
            "individualAnimals": False,
            "observationLevel": ["media", "event"],
        },
        "spatial": {"type": "Point", "coordinates": [13.9, 47.3]},
        "temporal": {"start": "2019-05-01", "end": "2019-06-30"},
        "taxonomic": [
            {"scientificName": "Capreolus capreolus", "taxonRank": "species", "vernacularNames": {"eng": "roe deer"}},
            {"scientificName": "Vulpes vulpes", "taxonRank": "species", "vernacularNames": {"eng": "red fox"}},
            {"scientificName": "Cervidae", "taxonRank": "family"},
        ],
        **more,
    }


def deployment(key: str, **more: str) -> dict[str, str]:
    return {
        "deploymentID": key,
        "locationID": f"place-{key}",
        "locationName": f"Moor {key}",
        "latitude": "47.3012",
        "longitude": "13.9034",
        "coordinateUncertainty": "50",
        "deploymentStart": "2019-05-01T08:00:00+02:00",
        "deploymentEnd": "2019-06-30T18:00:00+02:00",
        "setupBy": "Ilka Marwood",
        "cameraID": f"CAM-{key}",
        "cameraModel": "Tarnbeckle-Lanthorn 3",
        "cameraDelay": "5",
        "cameraHeight": "1.20",
        "cameraTilt": "-10",
        "cameraHeading": "285",
        "detectionDistance": "9.5",
        "baitUse": "false",
        "featureType": "trailGame",
        "habitat": "Wet heath",
        "deploymentTags": "edge",
        "deploymentComments": "leans a little",
        **more,
    }


def medium(key: str, of: str, at: str, **more: str) -> dict[str, str]:
    return {
        "mediaID": key,
        "deploymentID": of,
        "captureMethod": "activityDetection",
        "timestamp": at,
        "filePath": f"https://pictures.example.org/{key}.jpg",
        "filePublic": "true",
        "fileName": f"{key}.JPG",
        "fileMediatype": "image/jpeg",
        **more,
    }


def observation(key: str, of: str, start: str, end: str = "", **more: str) -> dict[str, str]:
    return {
        "observationID": key,
        "deploymentID": of,
        "eventID": f"event-{key}",
        "eventStart": start,
        "eventEnd": end or start,
        "observationLevel": "event",
        "observationType": "animal",
        "scientificName": "Capreolus capreolus",
        "count": "1",
        "classificationMethod": "human",
        "classifiedBy": "Ilka Marwood",
        "classificationTimestamp": "2019-08-01T10:00:00Z",
        **more,
    }


def rows() -> tuple[Rows, Rows, Rows]:
    """Two deployments with all that such records may hold."""
    media = [medium(f"m{n}", "A", f"2019-05-03T06:00:0{n}+02:00") for n in range(4)]
    media += [
        medium("m5", "A", "2019-05-10T23:10:00+02:00"),
        medium("m6", "A", "2019-05-12T12:00:00+02:00"),  # nobody looked at these two
        medium("m7", "A", "2019-05-12T12:01:00+02:00"),
        medium("t1", "B", "2019-05-20T12:00:00+02:00", captureMethod="timeLapse"),
        medium("h1", "B", "2019-05-21T09:00:00+02:00", filePublic="false"),
    ]
    seen = [
        observation("o1", "A", "2019-05-03T04:00:00Z", "2019-05-03T04:00:03Z", count="2", sex="female",
                    lifeStage="adult", behavior="foraging", observationTags="direction:left"),
        observation("o2", "A", "2019-05-03T04:00:00Z", "2019-05-03T04:00:03Z", count="3", lifeStage="juvenile",
                    eventID="event-o1"),
        # of single pictures, the event has them already
        *(observation(f"m{n}_1", "A", f"2019-05-03T04:00:0{n}Z", observationLevel="media", mediaID=f"m{n}",
                      eventID="event-o1") for n in range(4)),
        # of single pictures alone
        observation("m5_1", "A", "2019-05-10T21:10:00Z", observationLevel="media", mediaID="m5", eventID="",
                    scientificName="Vulpes vulpes", count="1"),
        observation("o3", "A", "2019-05-14T01:00:00Z", observationType="blank", scientificName="", count=""),
        observation("o4", "B", "2019-05-21T07:00:00Z", observationType="human", scientificName="", count="1"),
        observation("o5", "B", "2019-05-22T07:00:00Z", observationType="unclassified", scientificName="", count="",
                    classificationMethod="", classifiedBy="", classificationTimestamp=""),
        observation("o6", "B", "2019-05-23T07:00:00Z", scientificName="Cervidae", count="4",
                    observationComments="too far off"),
        observation("o7", "B", "2019-05-24T07:00:00Z", classificationMethod="machine", classifiedBy="a machine",
                    classificationProbability="0.91", scientificName="Vulpes vulpes"),
        observation("o8", "B", "2019-05-25T07:00:00Z", observationType="unknown", scientificName="", count=""),
    ]  # fmt: skip
    return [deployment("A"), deployment("B", latitude="47.3102", cameraID="CAM-B")], media, seen


def table(path: Path, name: str, found: Sequence[Mapping[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.DictWriter(file, tables.columns(name))
        out.writeheader()
        out.writerows(found)


def write(folder: Path, deployments: Rows, media: Rows, seen: Rows, **more: Any) -> Path:
    """The package as files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, found in zip(tables.NAMES, (deployments, media, seen), strict=True):
        table(folder / f"{name}.csv", name, found)
    (folder / "datapackage.json").write_text(json.dumps(descriptor(**more)), "utf-8")
    return folder


def package(folder: Path) -> Path:
    """The small package."""
    return write(folder, *rows())


def read(folder: Path, name: str) -> Rows:
    """A table's rows."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
