"""A package of the shape of the standard's own example goes in and comes out unchanged in meaning.

The example of Camtrap DP 1.0.2 (TDWG, folder `example` of the standard's repository) is of real people and places and
is not carried here. What is hard in it is: observations of events beside observations of each of their pictures, often
two of one picture; blank pictures in an event with an animal; a blank event that bears no name of who said so; instants
in UTC beside deployments in summer and winter time; a deployment that begins with its first picture; time lapse; a
table of its own in the descriptor, which also says where it is from, how to cite it and what it belongs to. All of that
stands here with invented content.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import packaged
import pytest

from trod.catalogue.line import Silent
from trod.catalogue.models import Deployment, Observation, Sequence
from trod.catalogue.records import bring
from trod.catalogue.records.plan import Choices
from trod.catalogue.work import rebuild
from trod.exchange import package_check
from trod.exchange import package_tables as tables
from trod.web.reports.package import Wish, export_package

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
DUCK, RAT = "Anas platyrhynchos", "Rattus norvegicus"


def utc(text: str, seconds: float = 0) -> str:
    at = datetime.fromisoformat(text).replace(tzinfo=UTC) + timedelta(seconds=seconds)
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


class Sample:
    """Rows in the making."""

    def __init__(self) -> None:
        self.media: packaged.Rows = []
        self.seen: packaged.Rows = []

    def event(
        self, key: str, of: str, start: str, lines: list[dict[str, str]], *, frames: int, blank: tuple[int, ...] = ()
    ) -> None:
        """An event of so many pictures a second apart: its observations, and theirs, but for blank ones."""
        for n, line in enumerate(lines):
            self.seen.append(
                packaged.observation(f"{key}{n}", of, utc(start), utc(start, frames - 1), eventID=key) | line
            )
        for frame in range(frames):
            medium = f"{key}f{frame}"
            at = utc(start, frame)
            self.media.append(packaged.medium(medium, of, at, exifData='{"ISO": 400, "Flash": "Off"}', favorite="false"))
            told = lines if frame not in blank else [NOTHING]
            for n, line in enumerate(told, 1):
                row = packaged.observation(f"{medium}_{n}", of, at, at, eventID=key, mediaID=medium)
                row |= line | {"observationLevel": "media", "classifiedBy": "Joss Ferrow", "classificationTimestamp": ""}
                self.seen.append(row)


NOTHING = {"observationType": "blank", "scientificName": "", "count": ""}


def sample(folder: Path) -> Path:
    made = Sample()
    duck = {"scientificName": DUCK, "lifeStage": "adult", "sex": "female", "behavior": "foraging"}
    made.event("e1", "d1", "2020-05-30T02:57:37", [duck | {"count": "1"}], frames=8)
    made.event("e2", "d1", "2020-05-31T04:05:10", [duck | {"count": "2", "behavior": ""}], frames=7, blank=(4, 5))
    across = {"scientificName": RAT, "count": "1", "observationTags": "swimDirection:across | seen:twice"}
    made.event("e3", "d1", "2020-05-31T20:06:43", [across], frames=9, blank=(6, 7))
    made.event(
        "e4", "d1", "2020-06-05T02:49:20", [NOTHING | {"classifiedBy": "", "classificationTimestamp": ""}], frames=5
    )  # fmt: skip
    young = duck | {"lifeStage": "juvenile", "sex": "", "count": "9", "behavior": ""}
    made.event("e5", "d1", "2020-06-06T04:11:07", [duck | {"count": "1", "behavior": ""}, young], frames=5)
    plumage = {"scientificName": DUCK, "count": "4", "sex": "male", "observationComments": "eclipse plumage; „nice“"}
    made.event("e6", "d2", "2020-07-29T05:29:41", [plumage], frames=3)
    walker = {"observationType": "human", "scientificName": "Homo sapiens", "count": "1", "cameraSetupType": "setup"}
    made.event("e7", "d4", "2021-03-27T20:38:18", [walker], frames=3)
    herons = {"scientificName": "Ardea", "count": "1", "individualID": "ring 7", "individualSpeed": "0.35"}
    made.event("e8", "d4", "2021-03-29T10:00:00", [herons | {"individualPositionRadius": "4.81"}], frames=2)
    for day in range(1, 5):
        made.media.append(packaged.medium(f"t{day}", "d4", utc(f"2021-04-0{day}T11:00:00"), captureMethod="timeLapse"))
    for frame in range(3):  # nobody has looked at these
        made.media.append(packaged.medium(f"u{frame}", "d2", utc("2020-08-01T05:00:00", frame)))
    box = {"bboxX": "0.12", "bboxY": "0.4", "bboxWidth": "0.25", "bboxHeight": "0.31"}
    machine = {"classificationMethod": "machine", "classifiedBy": "a machine", "classificationProbability": "0.87"}
    made.seen.append(
        packaged.observation("b1", "d2", utc("2020-08-01T05:00:01"), mediaID="u1", eventID="", observationLevel="media",
                             scientificName=RAT) | box | machine
    )  # fmt: skip
    deployments = [
        packaged.deployment("d1", deploymentStart="2020-05-30T04:57:37+02:00", deploymentEnd="2020-07-01T11:41:41+02:00",
                            deploymentGroups="area:moor | season:spring", deploymentTags="position:above stream"),
        packaged.deployment("d2", deploymentStart="2020-07-29T07:29:41+02:00", deploymentEnd="2020-08-08T06:20:40+02:00",
                            latitude="47.181", longitude="13.655", coordinateUncertainty="187",
                            deploymentComments="from 29/07/2020 to 08/08/2020, 120 photos"),
        packaged.deployment("d3", deploymentStart="2020-06-19T23:00:00+02:00", deploymentEnd="2020-06-29T01:33:22+02:00",
                            latitude="47.184", longitude="13.659"),
        packaged.deployment("d4", deploymentStart="2021-03-27T21:38:18+01:00", deploymentEnd="2021-04-18T22:25:00+01:00",
                            latitude="47.699", longitude="14.013", setupBy="", deploymentTags="",
                            locationName="Quern_4_'t WAD, poplars"),
    ]  # fmt: skip
    return packaged.write(folder, deployments, made.media, made.seen, **TOLD)


TOLD: dict[str, Any] = {
    "id": "8d2b7c1e-0000-4000-8000-000000000001",
    "description": "An invented sample: “as it might be”.",
    "version": "1.0.2",
    "keywords": ["cameras", "ducks"],
    "contributors": [
        {"title": "Ilka Marwood", "email": "ilka@example.org", "role": "contact", "organization": "Quern Trust"},
        {"title": "Joss Ferrow"},
        {"title": "Quern Trust", "path": "https://quern.example.org", "role": "rightsHolder"},
    ],
    "sources": [{"title": "An older catalogue", "path": "https://old.example.org", "version": "v3"}],
    "licenses": [
        {"name": "CC0-1.0", "scope": "data"},
        {"path": "http://creativecommons.org/licenses/by/4.0/", "scope": "media"},
    ],
    "bibliographicCitation": "Marwood I, Ferrow J (2022). Invented sample.",
    "coordinatePrecision": 0.001,
    "spatial": {
        "type": "Polygon",
        "bbox": [13.5, 47.1, 14.1, 47.8],
        "coordinates": [[[13.5, 47.1], [14.1, 47.1], [14.1, 47.8], [13.5, 47.8], [13.5, 47.1]]],
    },
    "temporal": {"start": "2020-05-30", "end": "2021-04-18"},
    "taxonomic": [
        {
            "scientificName": DUCK, "taxonID": "https://taxa.example.org/DGP6", "taxonRank": "species",
            "kingdom": "Animalia", "vernacularNames": {"eng": "mallard", "nld": "wilde eend"},
        },
        {"scientificName": RAT, "taxonRank": "species", "vernacularNames": {"eng": "brown rat"}},
        {"scientificName": "Ardea", "taxonRank": "genus", "vernacularNames": {"eng": "great herons"}},
        {"scientificName": "Homo sapiens", "taxonRank": "species"},
    ],
    "relatedIdentifiers": [
        {
            "relationType": "IsDerivedFrom", "relatedIdentifier": "https://doi.example.org/1",
            "resourceTypeGeneral": "Dataset", "relatedIdentifierType": "DOI",
        }
    ],
    "references": [],
}  # fmt: skip
INDIVIDUALS = {
    "name": "individuals",
    "description": "A table of its own, beside the standard's three.",
    "data": [{"id": 1, "individualName": "Brindle", "scientificName": RAT}],
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = sample(tmp_path / "sample")
    told = json.loads((made / "datapackage.json").read_text("utf-8"))
    told["resources"].append(INDIVIDUALS)
    (made / "datapackage.json").write_text(json.dumps(told), "utf-8")
    return made


def meanings(folder: Path) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table by what its cells say: instants, numbers and words, however they are written."""
    out: dict[str, list[dict[str, Any]]] = {}
    for name, fields in tables.TABLES.items():
        rows = []
        for row in packaged.read(folder, name):
            told = {f.name: (f.kind, tables.told(row[f.name])) for f in fields if tables.told(row[f.name])}
            rows.append(
                {
                    column: tables.moment(text) if kind == "moment" else float(text) if kind in ("number", "integer")
                    else text
                    for column, (kind, text) in told.items()
                }
            )  # fmt: skip
        out[name] = sorted(rows, key=repr)
    return out


def take_in(folder: Path) -> None:
    bring.bring(folder, Choices(), by="Ilka Marwood", now=NOW, line=Silent())


def test_every_cell_of_it_comes_out_with_the_same_meaning(trod_home: Path, folder: Path, tmp_path: Path) -> None:
    assert package_check.check(folder) == []
    take_in(folder)
    told = export_package(tmp_path / "out", Wish(people=True))

    assert package_check.check(tmp_path / "out") == []
    came, goes = meanings(folder), meanings(tmp_path / "out")
    assert told["rows"] == {name: len(rows) for name, rows in came.items()}
    for name in tables.NAMES:
        assert goes[name] == came[name]


def test_what_it_tells_of_itself_comes_out_too(trod_home: Path, folder: Path, tmp_path: Path) -> None:
    take_in(folder)
    export_package(tmp_path / "out", Wish(people=True))
    came, goes = (json.loads((f / "datapackage.json").read_text("utf-8")) for f in (folder, tmp_path / "out"))

    # When it was made is told anew, and how its three tables are written.
    assert {name for name in came if goes.get(name) != came[name]} == {"created", "resources"}
    assert INDIVIDUALS in goes["resources"]


def test_after_a_rebuild_it_is_still_the_same(trod_home: Path, folder: Path, tmp_path: Path) -> None:
    take_in(folder)
    rebuild.empty_all()
    rebuild.rebuild(Silent())
    export_package(tmp_path / "out", Wish(people=True))
    assert meanings(tmp_path / "out") == meanings(folder)


def test_it_becomes_what_it_says(trod_home: Path, folder: Path) -> None:
    take_in(folder)

    assert Deployment.objects.count() == 4
    assert list(Deployment.objects.order_by("start").values_list("utc_offset_min", flat=True)) == [120, 120, 120, 60]
    first = Sequence.objects.get(start_at=datetime(2020, 6, 6, 4, 11, 7, tzinfo=UTC))
    assert first.identification is not None
    assert sorted(first.identification.observations.values_list("count", "life_stage")) == [
        (1, "adult"),
        (9, "juvenile"),
    ]
    # The blank frames of an event with a rat in it make it no blank.
    rat = Sequence.objects.get(start_at=datetime(2020, 5, 31, 20, 6, 43, tzinfo=UTC))
    assert [(o.what, o.count) for o in rat.identification.observations.all()] == [("animal", 1)]
    blank = Sequence.objects.get(start_at=datetime(2020, 6, 5, 2, 49, 20, tzinfo=UTC))
    assert [o.what for o in blank.identification.observations.all()] == ["blank"]
    assert Sequence.objects.filter(time_lapse=True).count() == 4
    # What only a machine said, and what nobody said, waits for review.
    waits = Sequence.objects.filter(identification__isnull=True, time_lapse=False)
    assert {s.start_at.date().isoformat() for s in waits} == {"2020-08-01"}
    assert Observation.objects.filter(what="human").count() == 1


def test_a_column_that_the_standard_does_not_know_is_what_does_not_come_out(
    trod_home: Path, folder: Path, tmp_path: Path
) -> None:
    before = meanings(folder)
    lines = (folder / "media.csv").read_text("utf-8").splitlines()
    (folder / "media.csv").write_text(
        "\n".join([f"{lines[0]},weather", *(f"{line},rain" for line in lines[1:])]), "utf-8"
    )
    assert package_check.check(folder) == ["media.csv does not have the standard's columns in the standard's order."]
    take_in(folder)
    export_package(tmp_path / "out", Wish(people=True))

    assert "rain" not in (tmp_path / "out" / "media.csv").read_text("utf-8")
    assert meanings(tmp_path / "out") == before
