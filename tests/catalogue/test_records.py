"""Identified records brought in: kept as they came, asked like one's own, read again by a rebuild, undone as a whole."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import canon
import packaged
import pulled
import pytest

from trod.archive.verify import verify
from trod.catalogue import home
from trod.catalogue.answers import evidence
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.imports import clocks, moving
from trod.catalogue.line import Silent
from trod.catalogue.models import (
    Camera,
    Deployment,
    Identification,
    Import,
    RecordImport,
    Reserve,
    Sequence,
    Site,
    Species,
)
from trod.catalogue.papers import ledger, standing
from trod.catalogue.records import bring
from trod.catalogue.records.plan import Choices
from trod.catalogue.work import rebuild
from trod.errors import CatalogueTrouble, WrongInput

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


@pytest.fixture
def folder(trod_home: Path, tmp_path: Path) -> Path:
    return packaged.package(tmp_path / "quernmoor")


def take(path: Path, *, now: datetime = NOW, **chosen: Any) -> bring.Brought:
    return bring.bring(path, Choices(**chosen), by="Ilka Marwood", now=now, line=Silent())


@pytest.fixture
def make_picture() -> Any:
    """A picture file, each with other bytes; without a time of its own for every second one."""

    def make(path: Path, number: int) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pulled.jpeg(str(number), None if number % 2 else datetime(2019, 5, 3, 6, 0, number)))

    return make


def state() -> dict[str, Any]:
    """The whole catalogue by keys that outlive a rebuild."""
    return canon.catalogue()


def anew() -> rebuild.Rebuilt:
    standing.forget()
    rebuild.empty_all()
    return rebuild.rebuild(Silent())


def test_records_without_pictures_come_in_as_deployments_sequences_and_identifications(folder):
    done = take(folder)

    assert (done.deployments, done.sequences, done.observations) == (2, 10, 7)
    assert done.skipped == []
    one = Sequence.objects.get(start_at=datetime(2019, 5, 3, 4, tzinfo=UTC))
    assert [(o.count, o.species.name) for o in one.identification.observations.all()] == [
        (2, "Roe deer"), (3, "Roe deer"),
    ]  # fmt: skip
    assert one.identification.by == "Ilka Marwood" and one.frames == 4
    deployment = one.deployment
    assert (deployment.site.name, deployment.camera.serial, str(deployment.camera.model)) == (
        "Moor A", "CAM-A", "Tarnbeckle Lanthorn 3",
    )  # fmt: skip
    assert (deployment.utc_offset_min, deployment.tilt_deg) == (120, 10.0)
    assert Species.objects.get(scientific_name="Cervidae").rank == "family"
    assert Reserve.objects.get().name == "Quernmoor 2019"


def test_what_is_unclassified_or_said_by_a_machine_alone_is_unreviewed_and_not_absent(folder):
    done = take(folder)
    known = evidence.gather(Reserve.objects.get()).evidence

    assert done.plan.unreviewed == len(known.unseen) == 3  # two pictures, the unclassified event, the machine's
    assert {s.what for s in known.observations} == {"animal", "blank", "human", "unknown"}


@pytest.mark.parametrize(("effort", "days"), [("stated", (60 + 10 / 24, 60 + 10 / 24)), ("shown", (10.875, 12.80))])
def test_start_and_end_as_stated_are_effort_only_where_somebody_says_so(folder, effort, days):
    take(folder, effort=effort)
    known = evidence.gather(Reserve.objects.get()).evidence
    (one,) = [d for d in known.deployments if d.slug == "a"]

    low, high = days  # from start to end; or from the first record to the last, and the likely part of before
    assert low - 1e-9 <= sum(b - a for a, b in one.watched) / 86_400 <= high + 1e-9
    if effort == "stated":
        assert one.open == () and one.gaps == ()


def test_a_machines_word_counts_where_a_person_says_so(folder):
    done = take(folder, machine=True)

    assert done.plan.unreviewed == 2
    assert Identification.objects.filter(by="a machine").exists()


def test_the_same_records_a_second_time_add_nothing(folder, tmp_path):
    take(folder)
    before = state()
    again = take(shutil.copytree(folder, tmp_path / "copy"))

    assert (again.row, again.plan.here) == (None, 10)
    assert state() == before
    assert Import.objects.count() == RecordImport.objects.count() == 1


def test_records_that_grew_add_what_is_new(folder, tmp_path):
    take(folder)
    deployments, media, seen = packaged.rows()
    seen.append(packaged.observation("o99", "A", "2019-06-03T04:00:00Z"))
    more = take(packaged.write(tmp_path / "more", deployments, media, seen))

    assert (more.deployments, more.sequences) == (0, 1)
    assert Deployment.objects.count() == 2 and Sequence.objects.count() == 11


def test_a_preview_writes_nothing(folder, trod_home):
    before = sorted(str(p) for p in trod_home.rglob("*") if "sqlite3" not in p.name)
    source, plan = bring.preview(folder, Choices(), Silent())

    assert (len(plan.new_deployments), plan.sequences, plan.observations) == (2, 10, 7)
    assert source.title == "Quernmoor 2019"
    assert sorted(str(p) for p in trod_home.rglob("*") if "sqlite3" not in p.name) == before
    assert not Deployment.objects.exists() and not Site.objects.exists()


def test_a_rebuild_brings_all_of_it_back_with_what_people_said_since(folder):
    take(folder)
    sequence = Sequence.objects.get(start_at=datetime(2019, 5, 22, 7, tzinfo=UTC))
    identifications.say(sequence, [Line(what="animal", named="Badger", count=1)], by="Joss", at=NOW)
    ledger.catch_up()
    before = state()
    made = anew()

    assert made.trouble == []
    assert state() == before
    assert Sequence.objects.get(key=sequence.key).identification.by == "Joss"
    assert verify(home.archive_root()).ok


def test_a_corrected_clock_and_a_regrouping_leave_imported_sequences(folder):
    take(folder)
    before = state()["sequences"]
    clocks.correct(Deployment.objects.get(slug="a"), shift_s=3600, reason="an hour", by="Joss", now=NOW)

    assert state()["sequences"] == before


def test_the_whole_import_can_be_undone_and_stays_on_record(folder):
    done = take(folder)
    bring.undo(done.row, by="Joss", now=NOW, line=Silent())

    for model in (Deployment, Sequence, Identification, Site, Camera, Species):
        assert not model.objects.exists(), model
    row = RecordImport.objects.get()
    assert (row.undone_by, row.undone_at) == ("Joss", NOW)
    assert (home.archive_root() / "unplaced" / row.bag / "data" / "observations.csv").is_file()
    assert anew().trouble == [] and not Sequence.objects.exists()

    again = take(folder)  # the files that lie there are used
    assert (again.sequences, again.row.bag) == (10, row.bag)


def test_an_undo_takes_nobodys_work_along(folder):
    done = take(folder)
    sequence = Sequence.objects.filter(identification__isnull=True, time_lapse=False).first()
    identifications.say(sequence, [Line(what="blank")], by="Joss", at=NOW)

    with pytest.raises(CatalogueTrouble, match="1 identification was made here"):
        bring.undo(done.row, by="Joss", now=NOW, line=Silent())
    assert Sequence.objects.count() == 10


def test_a_kind_goes_to_the_species_that_a_person_chose(folder):
    take(packaged.package(folder), species={"Vulpes vulpes": ""})  # a first import makes the reserve
    other = Species.objects.create(name="Fox of the moor", slug="moor-fox")
    deployments, media, seen = packaged.rows()
    for row in (*deployments, *media, *seen):
        row["deploymentID"] += "x"
        row.update({k: f"{row[k]}x" for k in ("mediaID", "observationID", "cameraID", "eventID") if row.get(k)})
    take(packaged.write(folder.parent / "other", deployments, media, seen), species={"Vulpes vulpes": "moor-fox"})

    assert other.observations.count() == 1


def test_two_places_of_one_name_far_apart_are_two_sites(folder):
    deployments, media, seen = packaged.rows()
    deployments[1].update(locationName="Moor A", latitude="48.9")
    take(packaged.write(folder, deployments, media, seen))

    assert sorted(Site.objects.values_list("name", "latitude")) == [("Moor A", 47.3012), ("Moor A (2)", 48.9)]


def test_two_cameras_of_one_place_stand_at_one_site(folder):
    deployments, media, seen = packaged.rows()
    deployments[1].update(locationName="Moor A", latitude="47.3020")
    take(packaged.write(folder, deployments, media, seen))

    assert Site.objects.get().deployments.count() == 2


def test_a_camera_that_stands_elsewhere_in_that_time_is_left_out_with_the_reason(folder):
    deployments, media, seen = packaged.rows()
    deployments[1]["cameraID"] = "CAM-A"
    done = take(packaged.write(folder, deployments, media, seen))

    assert done.deployments == 1
    assert [s.sentence for s in done.skipped] == [
        "deployments.csv, row 3: the camera “CAM-A” stands at Moor A in that time, so “B” was left out."
    ]


def test_pictures_that_come_along_lie_in_the_bag_and_with_their_sequences(folder, tmp_path, make_picture):
    deployments, media, seen = packaged.rows()
    for number, row in enumerate(media[:4]):
        name = f"media/{row['mediaID']}.jpg"
        make_picture(folder / name, number)
        row["filePath"] = name
    done = take(packaged.write(folder, deployments, media, seen))
    one = Sequence.objects.get(start_at=datetime(2019, 5, 3, 4, tzinfo=UTC))

    assert one.pictures.count() == 4 and one.cover is not None
    assert {p.deployment for p in one.pictures.all()} == {one.deployment}
    assert [p.path.rsplit("/", 1)[1] for p in one.pictures.order_by("taken_at")] == [f"m{n}.jpg" for n in range(4)]
    before = state()
    assert anew().trouble == []
    assert state() == before
    with pytest.raises(WrongInput, match="imported records"):
        moving.move(Import.objects.get(name=done.row.bag), one.deployment, line=Silent(), now=NOW)


def test_killed_before_the_end_the_catalogue_knows_nothing_and_the_same_command_does_it(folder, monkeypatch):
    def die(*args: Any, **more: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(bring.again, "fill", die)
        with pytest.raises(KeyboardInterrupt):
            take(folder)
    assert not Deployment.objects.exists() and not Species.objects.exists() and not RecordImport.objects.exists()

    assert take(folder).sequences == 10
    assert len(list((home.archive_root() / "unplaced").iterdir())) == 1


def test_one_csv_file_comes_in_with_its_columns_and_back_by_a_rebuild(trod_home, tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("Post,Day,Time,Animal\nAlder Track,2024-05-01,06:10,Roe deer\n", "utf-8")
    with pytest.raises(WrongInput, match="at which site"):
        take(path)
    done = take(path, columns={"locationName": "Post"}, zone="Europe/Vienna")
    before = state()

    assert (done.deployments, done.sequences, done.observations) == (1, 1, 1)
    assert Sequence.objects.get().start_at == datetime(2024, 5, 1, 4, 10, tzinfo=UTC)
    assert anew().trouble == [] and state() == before


def test_the_catalogue_says_what_the_papers_say(folder):
    take(folder)
    ledger.catch_up()

    assert ledger.says_the_same()
    assert standing.look().may_write
