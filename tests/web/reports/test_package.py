"""Records out as a package of the open camera-data standard, and as Darwin Core: valid, sealed, their meaning kept."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import asked
import packaged
import pulled
import pytest

from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.line import Silent
from trod.catalogue.models import Picture, Sequence, Site, Species
from trod.catalogue.records import bring
from trod.catalogue.records.plan import Choices
from trod.errors import WrongInput
from trod.exchange import package_check
from trod.exchange import package_tables as tables
from trod.findings.blur import cell_of
from trod.web.reports.package import Wish, export_darwin_core, export_package

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


def meaning(table: str, row: dict[str, str]) -> dict[str, Any]:
    """A row by what it says: instants, numbers and words, however they are written."""
    out: dict[str, Any] = {}
    for field in tables.TABLES[table]:
        text = tables.told(row.get(field.name))
        if not text:
            continue
        if field.kind == "moment":
            out[field.name] = tables.moment(text)
        elif field.kind in ("number", "integer"):
            out[field.name] = float(text)
        else:
            out[field.name] = text
    return out


def meanings(folder: Path) -> dict[str, list[dict[str, Any]]]:
    return {name: sorted((meaning(name, row) for row in packaged.read(folder, name)), key=repr) for name in tables.NAMES}


@pytest.fixture
def taken(trod_home: Path, tmp_path: Path) -> Path:
    """The small package, imported."""
    folder = packaged.package(tmp_path / "quernmoor")
    bring.bring(folder, Choices(), by="Ilka Marwood", now=NOW, line=Silent())
    return folder


def test_what_came_in_as_a_package_goes_out_with_the_same_meaning(taken, tmp_path):
    told = export_package(tmp_path / "out", Wish(people=True))

    assert package_check.check(tmp_path / "out") == []
    assert meanings(tmp_path / "out") == meanings(taken)
    assert told["rows"] == {"deployments": 2, "media": 9, "observations": 13}
    came, goes = (json.loads((f / "datapackage.json").read_text()) for f in (taken, tmp_path / "out"))
    for name in ("name", "title", "contributors", "project", "taxonomic"):
        assert goes[name] == came[name], name


def test_two_places_of_one_name_keep_it(trod_home, tmp_path):
    deployments, media, seen = packaged.rows()
    deployments[1].update(locationName="Moor A", latitude="48.9")
    folder = packaged.write(tmp_path / "p", deployments, media, seen)
    bring.bring(folder, Choices(), by="Ilka Marwood", now=NOW, line=Silent())
    export_package(tmp_path / "out", Wish(people=True))

    assert meanings(tmp_path / "out") == meanings(folder)


def test_what_a_package_tells_of_itself_goes_out_again_unless_a_place_is_hidden(trod_home, tmp_path):
    area = {"type": "Polygon", "coordinates": [[[13.0, 47.0], [14.0, 47.0], [14.0, 48.0], [13.0, 47.0]]]}
    own = {"name": "individuals", "data": [{"id": 1, "individualName": "Brindle"}]}
    told = packaged.descriptor(spatial=area, coordinatePrecision=0.001)
    told["resources"].append(own)
    folder = packaged.write(tmp_path / "p", *packaged.rows(), **told)
    bring.bring(folder, Choices(), by="Ilka Marwood", now=NOW, line=Silent())
    export_package(tmp_path / "out", Wish())
    goes = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    Site.objects.filter(name="Moor A").update(sensitive=True)
    export_package(tmp_path / "hidden", Wish())
    hidden = json.loads((tmp_path / "hidden" / "datapackage.json").read_text())

    assert goes["spatial"] == area and own in goes["resources"] and goes["coordinatePrecision"] == 0.001
    assert package_check.check(tmp_path / "out") == package_check.check(tmp_path / "hidden") == []
    assert hidden["spatial"]["type"] == "MultiPoint" and own not in hidden["resources"]
    assert "coordinatePrecision" not in hidden


def test_what_people_said_since_takes_the_records_place(taken, tmp_path):
    sequence = Sequence.objects.get(start_at=datetime(2019, 5, 23, 7, tzinfo=UTC))
    identifications.say(sequence, [Line(what="animal", named="Badger", count=2)], by="Joss", at=NOW)
    export_package(tmp_path / "out", Wish(people=True))
    rows = [r for r in packaged.read(tmp_path / "out", "observations") if r["eventID"] == "event-o6"]

    assert [(r["scientificName"], r["observationTags"], r["count"], r["classifiedBy"]) for r in rows] == [
        ("", "name:Badger", "2", "Joss")
    ]
    assert package_check.check(tmp_path / "out") == []


def test_an_exported_package_comes_back_into_the_same_catalogue_as_nothing_new(taken, tmp_path):
    export_package(tmp_path / "out", Wish(people=True))
    again = bring.bring(tmp_path / "out", Choices(), by="Joss", now=NOW, line=Silent())

    assert again.row is None and again.plan.here == 10


def test_people_and_pictures_nobody_reviewed_stay_at_home(taken, tmp_path):
    export_package(tmp_path / "out", Wish())
    text = "".join(path.read_text("utf-8") for path in (tmp_path / "out").iterdir())
    seen = packaged.read(tmp_path / "out", "observations")

    assert {r["mediaID"] for r in packaged.read(tmp_path / "out", "media")} == {"m0", "m1", "m2", "m3", "m5"}
    assert "h1" not in text and "human" not in {r["observationType"] for r in seen}
    assert "unclassified" in {r["observationType"] for r in seen}  # that it is there is told, not what it shows
    assert package_check.check(tmp_path / "out") == []


def test_a_sensitive_site_goes_out_as_a_coarse_cell_with_its_uncertainty(taken, tmp_path):
    Site.objects.filter(name="Moor A").update(sensitive=True, name="Moor A at 47.3012, 13.9034")
    export_package(tmp_path / "out", Wish())
    row = next(r for r in packaged.read(tmp_path / "out", "deployments") if r["deploymentID"] == "A")
    cell = cell_of(latitude_deg=47.3012, longitude_deg=13.9034)

    assert float(row["latitude"]) == pytest.approx(cell.latitude_deg)
    assert int(row["coordinateUncertainty"]) >= cell.uncertainty_m + 50
    written = "".join(path.read_text("utf-8") for path in (tmp_path / "out").iterdir())
    assert "47.3012" not in written
    assert package_check.check(tmp_path / "out") == []


def test_what_the_camera_wrote_and_people_noted_gives_no_hidden_place_away(trod_home, tmp_path):
    deployments, media, seen = packaged.rows()
    media[0].update(exifData='{"GPS":{"Latitude":47.301200}}', mediaComments="at 47.301200, 13.903400")
    seen[0]["observationComments"] = "by the stone, 47.301200, 13.903400"
    told = packaged.descriptor()["project"] | {"description": "Round about 47.301200, 13.903400."}
    folder = packaged.write(tmp_path / "p", deployments, media, seen, project=told)
    bring.bring(folder, Choices(), by="Ilka Marwood", now=NOW, line=Silent())
    Site.objects.filter(name="Moor A").update(sensitive=True)
    export_package(tmp_path / "out", Wish(people=True))
    written = "".join(path.read_text("utf-8") for path in (tmp_path / "out").iterdir())

    assert "47.3012" not in written and "by the stone" in written
    export_package(tmp_path / "true", Wish(people=True, show_sensitive=True))
    assert meanings(tmp_path / "true") == meanings(folder)


@pytest.fixture
def own(trod_home: Path, db: Any) -> Any:
    """A catalogue whose records came by cards."""
    return asked.catalogue()


def test_ones_own_records_make_a_valid_package(own, tmp_path):
    told = export_package(tmp_path / "out", Wish(design="targeted"))
    seen = packaged.read(tmp_path / "out", "observations")
    deer = [r for r in seen if r["scientificName"] == Species.objects.get(name="Red deer").scientific_name]

    assert package_check.check(tmp_path / "out") == []
    assert len(packaged.read(tmp_path / "out", "deployments")) == 2
    assert sum(int(r["count"]) for r in deer if r["observationType"] == "animal" and r["count"] == "2") == 2 * 28
    assert {r["filePublic"] for r in packaged.read(tmp_path / "out", "media")} == {"false"}
    assert told["people_left_out"] >= 1 and told["not_reviewed_left_out"] >= 1
    assert json.loads((tmp_path / "out" / "datapackage.json").read_text())["project"]["samplingDesign"] == "targeted"


def test_ones_own_package_gives_the_same_answer_in_another_catalogue(own, tmp_path, monkeypatch):
    from trod.catalogue.answers import evidence
    from trod.catalogue.models import Reserve
    from trod.catalogue.papers import standing
    from trod.catalogue.work import rebuild

    def seen() -> list[Any]:
        known = evidence.gather(Reserve.objects.get()).evidence
        return sorted((o.utc_s, o.what, o.count, o.sex, o.life_stage) for o in known.observations)

    before = seen()
    export_package(tmp_path / "out", Wish(people=True))
    rebuild.empty_all()
    monkeypatch.setenv("TROD_HOME", str(tmp_path / "another"))
    standing.forget()
    evidence.forget()
    bring.bring(tmp_path / "out", Choices(), by="Joss", now=NOW, line=Silent())

    assert seen() == before


def test_pictures_are_copied_only_where_somebody_says_so(trod_home, tmp_path):
    deployments, media, observations = packaged.rows()
    for number, row in enumerate(media[:4]):
        row["filePath"] = f"media/{row['mediaID']}.jpg"
        place = tmp_path / "p" / row["filePath"]
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(pulled.jpeg(str(number), datetime(2019, 5, 3, 6)))
    folder = packaged.write(tmp_path / "p", deployments, media, observations)
    bring.bring(folder, Choices(), by="Ilka Marwood", now=NOW, line=Silent())
    export_package(tmp_path / "without", Wish(people=True))
    told = export_package(tmp_path / "with", Wish(people=True, pictures=True))

    assert Picture.objects.count() == told["pictures_copied"] == 4
    assert (tmp_path / "with" / "media" / "m2.jpg").read_bytes() == (folder / "media" / "m2.jpg").read_bytes()
    assert meanings(tmp_path / "with") == meanings(folder)
    row = next(r for r in packaged.read(tmp_path / "without", "media") if r["mediaID"] == "m2")
    assert row["filePublic"] == "false" and not (tmp_path / "without" / "media").exists()


def test_a_design_that_the_standard_does_not_know_is_refused():
    with pytest.raises(WrongInput, match="systematicRandom"):
        Wish(design="by feel")


# Darwin Core --------------------------------------------------------------------------------------------------


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_darwin_core_has_deployments_and_sequences_as_events_and_animals_as_occurrences(taken, tmp_path):
    told = export_darwin_core(tmp_path / "dwc", Wish(people=True))
    events, seen = table(tmp_path / "dwc", "event"), table(tmp_path / "dwc", "occurrence")

    assert told["rows"] == {"event": len(events), "occurrence": len(seen)}
    assert [e["eventID"] for e in events if not e["parentEventID"]] == ["A", "B"]
    assert {o["basisOfRecord"] for o in seen} == {"MachineObservation"}
    assert {o["occurrenceStatus"] for o in seen} == {"detected"}
    assert {(o["occurrenceID"], o["individualCount"]) for o in seen} == {
        ("o1", "2"), ("o2", "3"), ("m5_1", "1"), ("o6", "4"), ("o7", "1"),
    }  # fmt: skip
    known = {e["eventID"] for e in events}
    assert all(o["eventID"] in known for o in seen) and all(e["parentEventID"] in known | {""} for e in events)
    for event in events:
        assert bool(event["sampleSizeValue"]) == bool(event["sampleSizeUnit"])
        assert event["coordinateUncertaintyInMeters"] != "0"
    assert events[0]["geodeticDatum"] == "EPSG:4326"
    assert events[0]["eventDate"] == "2019-05-01T08:00:00+02:00/2019-06-30T18:00:00+02:00"


def test_meta_xml_names_every_column_by_its_term(taken, tmp_path):
    export_darwin_core(tmp_path / "dwc", Wish())
    space = {"t": "http://rs.tdwg.org/dwc/text/"}
    root = ElementTree.parse(tmp_path / "dwc" / "meta.xml").getroot()

    for part in ("core", "extension"):
        (one,) = root.findall(f"t:{part}", space)
        name = one.find("t:files/t:location", space).text
        with (tmp_path / "dwc" / name).open(encoding="utf-8", newline="") as file:
            head = next(csv.reader(file))
        terms = {int(f.get("index")): f.get("term") for f in one.findall("t:field", space)}
        assert [terms[at].rsplit("/", 1)[1] for at in range(len(head))] == head
        key = one.find("t:id" if part == "core" else "t:coreid", space)
        assert head[int(key.get("index"))] == "eventID"
    ElementTree.parse(tmp_path / "dwc" / "eml.xml")
