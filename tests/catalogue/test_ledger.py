"""What people enter is written beside the pictures at every change, and read back the same."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from trod.archive import papers, rows, sidecar
from trod.catalogue import home, who
from trod.catalogue.identifications import settling
from trod.catalogue.models import (
    Booking,
    Camera,
    Card,
    Catalogue,
    CostYear,
    Deployment,
    Incident,
    Lock,
    Paper,
    Placement,
    Question,
    Reserve,
    Round,
    RoundStop,
    Sign,
    Site,
    Species,
    StockItem,
    Visit,
    WalkTest,
)
from trod.catalogue.papers import ledger, loading, standing
from trod.errors import NotOnPaper, OutOfStep, PaperLosesRows

AT = datetime(2026, 5, 2, 10, 30, 15, 250000, tzinfo=UTC)


@pytest.fixture
def entered(trod_home: Path, transactional_db: Any) -> Deployment:
    """One of everything."""
    reserve = Reserve.objects.create(
        name="Eskerwold ☃",
        slug="eskerwold",
        latitude=47.3,
        longitude=13.9,
        zone="Europe/Vienna",
        boundary={
            "type": "Polygon",
            "coordinates": [[[13.8, 47.2], [13.9, 47.2], [13.9, 47.3], [13.8, 47.2]]],
        },
    )
    species = Species.objects.create(name="Red deer", slug="red-deer", key="d", shoulder_height_m=1.2)
    site = Site.objects.create(reserve=reserve, name="Grey Lick", slug="grey-lick", latitude=47.301, longitude=13.88)
    camera = Camera.objects.create(serial="INV-001")
    card = Card.objects.create(label="ESK-01-A", size_gb=32)
    placement = Placement.objects.create(site=site, animal="red deer", inputs={"height_m": 2.5}, chosen=True, at=AT)
    deployment = Deployment.objects.create(
        slug="grey-lick-2026",
        camera=camera,
        site=site,
        start=AT,
        utc_offset_min=60,
        card=card,
        height_m=1.1,
        placement=placement,
    )
    WalkTest.objects.create(deployment=deployment, at=AT, walks=[{"offset_m": 4.0, "got": "part"}])
    Visit.objects.create(site=site, deployment=deployment, at=AT, by="Ilka", card_in=card, note="„Schnee“\nzwei Zeilen")
    Visit.objects.create(site=site, at=AT, by="Tobin", note="no camera here yet")
    Sign.objects.create(
        reserve=reserve,
        site=site,
        kind="rub",
        species=species,
        seen_on=AT.date(),
        latitude=47.3,
        longitude=13.9,
    )
    Question.objects.create(reserve=reserve, kind="when", title="When?", filter={"species": ["red-deer"]}, at=AT)
    tour = Round.objects.create(reserve=reserve, name="Spring", day=AT.date())
    RoundStop.objects.create(round=tour, site=site, turn=1)
    visit = Visit.objects.create(
        site=site,
        deployment=deployment,
        at=AT,
        batteries_changed=True,
        battery_kind="LR6",
        battery_count=8,
        lock_left="locked",
        changed={"delay_s": [0.0, 30.0]},
        field_form_revision=3,
        field_form_digest="ab" * 32,
        photos=[{"sha256": "cd" * 32, "name": "one.jpg", "path": "photos/one.jpg"}],
    )
    item = StockItem.objects.create(name="LR6, alkaline", designation="LR6", unit_price=0.55, least=40)
    Booking.objects.create(item=item, at=AT, change=-8, why="used", visit=visit, unit_price=0.55)
    Incident.objects.create(
        site=site, camera=camera, deployment=deployment, found_on=AT.date(), kind="theft", cost=240.5, what="Gurt durch"
    )
    CostYear.objects.create(reserve=reserve, year=2026, currency="€", travel_km=840, price_per_km=0.42)
    Lock.objects.create(label="blue", camera=camera, key_number="K-204", combination="4417")
    return deployment


def files() -> dict[str, bytes]:
    root = home.archive_root()
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*.json")}


def test_every_change_is_in_the_files_as_soon_as_it_is_made(entered: Deployment) -> None:
    assert set(files()) == {"ledger.json", "private.json", "grey-lick/grey-lick-2026/sidecar.json"}
    entered.height_m = 2.5
    entered.save()
    written = sidecar.read_sidecar(home.archive_root() / "grey-lick/grey-lick-2026")
    assert written is not None and written["deployment"]["height_m"] == 2.5
    Species.objects.create(name="Jay", slug="jay")
    book = sidecar.read_ledger(home.archive_root())
    assert book is not None and [row["slug"] for row in book["species"]] == ["jay", "red-deer"]
    assert ledger.catch_up() == 0


def test_what_is_rolled_back_is_not_written(entered: Deployment) -> None:
    before = files()
    with pytest.raises(RuntimeError), transaction.atomic():
        Species.objects.create(name="Jay", slug="jay")
        raise RuntimeError
    assert files() == before
    Species.objects.create(name="Fox", slug="fox")
    assert "jay" not in files()["ledger.json"].decode()


def test_many_changes_in_one_transaction_are_written_once(entered: Deployment, monkeypatch: pytest.MonkeyPatch) -> None:
    writes = []
    real = ledger.write_ledger
    monkeypatch.setattr(ledger, "write_ledger", lambda: writes.append(1) or real())
    with transaction.atomic():
        for k in range(50):
            Sign.objects.create(
                reserve=entered.site.reserve,
                kind="scat",
                seen_on=AT.date(),
                latitude=47.3,
                longitude=13.9 + k / 1e4,
            )
    assert len(writes) == 1


def test_a_camera_that_gets_another_serial_is_renamed_in_its_sidecars(entered: Deployment) -> None:
    entered.camera.serial = "INV-9"
    entered.camera.save()
    written = sidecar.read_sidecar(home.archive_root() / "grey-lick/grey-lick-2026")
    assert written is not None and written["deployment"]["camera"] == "INV-9"


def test_a_deployment_taken_out_again_leaves_no_folder_behind(entered: Deployment) -> None:
    Booking.objects.all().delete()
    Incident.objects.all().delete()
    Visit.objects.filter(deployment=entered).delete()
    entered.delete()
    assert not (home.archive_root() / "grey-lick/grey-lick-2026").exists()


def test_a_mended_site_carries_the_sidecar_along(entered: Deployment) -> None:
    other = Site.objects.create(
        reserve=entered.site.reserve, name="Stone Ford", slug="stone-ford", latitude=47.3, longitude=13.9
    )
    entered.site = other
    entered.save()
    assert {name for name in files() if "/" in name} == {"stone-ford/grey-lick-2026/sidecar.json"}


def test_a_process_that_died_before_writing_is_caught_up_with(entered: Deployment) -> None:
    with ledger.quiet():
        Species.objects.create(name="Jay", slug="jay")
        entered.note = "mended"
        entered.save()
    assert "jay" not in files()["ledger.json"].decode()
    assert ledger.catch_up() == 2
    assert "jay" in files()["ledger.json"].decode() and ledger.catch_up() == 0


def test_all_of_it_comes_back_the_same(entered: Deployment) -> None:
    before, side, private = ledger.dump_ledger(), ledger.dump_sidecar(entered), ledger.dump_private()
    assert before["incidents"][0]["deployment"] == "grey-lick-2026" and before["bookings"][0]["visit"]
    number = '"4417"'  # in quotes: the digits alone may stand in any uuid
    assert number in json.dumps(private) and number not in json.dumps([before, side])
    with ledger.quiet():
        for kind in reversed(ledger.KINDS):
            kind.model._default_manager.all().delete()
        loader = loading.Loader()
        loading.load_ledger(json.loads(json.dumps(before)), loader)
        again = loading.load_sidecar(json.loads(json.dumps(side)), loader, "here")
        loading.load_late(json.loads(json.dumps(before)), loader)
        loading.load_private(json.loads(json.dumps(private)), loader)
    assert loader.trouble == []
    assert again is not None
    assert (ledger.dump_ledger(), ledger.dump_sidecar(again), ledger.dump_private()) == (before, side, private)


def test_a_visit_writes_its_words_without_reading_sequences_and_leaves_what_it_did_not_read(entered: Deployment) -> None:
    place = home.archive_root() / "grey-lick/grey-lick-2026/sidecar.json"
    told = json.loads(place.read_text())
    place.write_text(json.dumps({**told, "sequences": [{"key": "k", "pictures": ["a/b.jpg"]}]}))
    papers.accept(home.archive_root(), "grey-lick/grey-lick-2026/sidecar.json")
    standing.reread(place.parent)
    Visit.objects.create(site=entered.site, deployment=entered, at=AT, note="fresh snow")
    written = json.loads(place.read_text())
    assert written["sequences"] == [{"key": "k", "pictures": ["a/b.jpg"]}]
    assert "fresh snow" in [v["note"] for v in written["visits"]]
    entered.save()  # all of it: then sequences are read anew
    assert json.loads(place.read_text())["sequences"] == []


def test_a_row_that_does_not_fit_is_told_and_the_others_come_back(entered: Deployment) -> None:
    book = ledger.dump_ledger()
    book["sites"].append({**book["sites"][0], "slug": "far", "name": "Far", "reserve": "nowhere"})
    book["cards"].append({"label": "ESK-77", "size_gb": "not a number", "state": "ready", "note": ""})
    with ledger.quiet():
        for kind in reversed(ledger.KINDS):
            kind.model._default_manager.all().delete()
        loader = loading.Loader()
        loading.load_ledger(book, loader)
    assert Site.objects.count() == 1
    assert "ledger.json: sites far was left out (it refers to a record that is not there)." in loader.trouble
    assert any("cards ESK-77 was left out" in text for text in loader.trouble)


# Deletions on record ----------------------------------------------------------------------------------------


def deleted(paper: str = "ledger.json") -> dict[tuple[str, str], dict[str, Any]]:
    told = json.loads((home.archive_root() / paper).read_text())["deleted"]
    return {(row["kind"], row["key"]): row for row in told}


def test_what_a_person_deletes_is_on_record_with_who_and_when(entered: Deployment) -> None:
    assert deleted() == {}
    visit = Visit.objects.filter(deployment=None).get()
    key = str(visit.uuid)
    visit.delete()
    Lock.objects.get().delete()
    row = deleted()["visits", key]
    assert set(row) == {"kind", "key", "at", "by"} and row["by"] == who.machine_person() and row["at"].endswith("Z")
    assert [kind for kind, _ in deleted("private.json")] == ["locks"]
    assert ledger.catch_up() == 0


def test_with_a_deployment_all_that_goes_with_it_is_on_record_and_its_paper_is_kept(entered: Deployment) -> None:
    Booking.objects.all().delete()
    Incident.objects.all().delete()
    Visit.objects.all().delete()
    slug = entered.slug
    entered.delete()
    assert ("deployments", slug) in deleted()
    assert not (home.archive_root() / "grey-lick/grey-lick-2026/sidecar.json").exists()
    assert ledger.catch_up() == 0


def test_a_new_serial_or_label_is_on_record_as_the_same_record(entered: Deployment) -> None:
    camera = Camera.objects.get()
    camera.serial = "INV-009"
    camera.save()
    assert deleted()["cameras", "INV-001"]["became"] == "INV-009"
    camera.serial = "INV-001"  # and back: what stands in the paper is on record no more
    camera.save()
    assert ("cameras", "INV-001") not in deleted() and ("cameras", "INV-009") in deleted()
    written = sidecar.read_sidecar(home.archive_root() / "grey-lick/grey-lick-2026")
    assert written is not None and written["deployment"]["camera"] == "INV-001"


def test_a_visit_may_move_between_papers_and_is_in_one_of_them_at_any_moment(entered: Deployment) -> None:
    visit = Visit.objects.filter(deployment=None).get()
    visit.deployment = entered
    visit.save()
    assert ("visits", str(visit.uuid)) not in deleted()
    visit.deployment = None
    visit.save()
    side = json.loads((home.archive_root() / "grey-lick/grey-lick-2026/sidecar.json").read_text())
    assert str(visit.uuid) not in [row["uuid"] for row in side["visits"]]
    assert ledger.catch_up() in (0, 1)


def test_a_record_that_nobody_deleted_is_not_written_away(entered: Deployment) -> None:
    StockItem.objects.create(name="straps", designation="")
    before = files()
    StockItem.objects.filter(bookings=None)._raw_delete("default")  # as a fault, or another program, would
    with pytest.raises(PaperLosesRows):
        ledger.catch_up()
    assert files() == before


def test_of_very_many_deletions_the_newest_are_kept(entered: Deployment, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ledger, "MOST_DELETED", 3)
    for number in range(5):
        Card.objects.create(label=f"old-{number}").delete()
    assert [key for _, key in deleted()] == ["old-2", "old-3", "old-4"]


def test_a_field_that_a_newer_trod_wrote_is_carried_on(entered: Deployment) -> None:
    root = home.archive_root()
    sidecar.write_ledger(root, {**(sidecar.read_ledger(root) or {}), "weather": [{"uuid": "w-1"}]})
    standing.know("ledger.json", sidecar.look_ledger(root).sha256)
    Species.objects.create(name="Jay", slug="jay")
    book = sidecar.read_ledger(root)
    assert book is not None and book["weather"] == [{"uuid": "w-1"}] and len(book["species"]) == 2


def test_the_key_of_every_kind_is_the_one_that_the_archives_room_knows(entered: Deployment) -> None:
    names = ledger.Names()
    for kind in ledger.KINDS:
        for row in kind.model._default_manager.all():
            plain = json.loads(json.dumps(ledger.plain_row(row, kind, names)))
            assert ledger._key_of(row, kind) == rows.key_of(kind.name, plain), kind.name


# Only onto what was read ------------------------------------------------------------------------------------


def test_a_record_is_refused_before_it_is_saved_when_its_paper_is_newer(entered: Deployment) -> None:
    root = home.archive_root()
    sidecar.write_ledger(root, {**(sidecar.read_ledger(root) or {}), "weather": [{"uuid": "w-1"}]})
    before = files()
    standing.forget()
    with pytest.raises(OutOfStep, match="trod rebuild"):
        Species.objects.create(name="Jay", slug="jay")
    with pytest.raises(OutOfStep):
        Lock.objects.get().delete()
    assert not Species.objects.filter(slug="jay").exists() and Lock.objects.exists()
    assert files() == before


def test_a_paper_that_comes_newer_in_the_last_moment_is_told_and_owed(
    entered: Deployment, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = home.archive_root()
    monkeypatch.setattr(standing, "require", lambda: None)
    sidecar.write_ledger(root, {**(sidecar.read_ledger(root) or {}), "weather": [{"uuid": "w-1"}]})
    before = files()
    with pytest.raises(NotOnPaper, match="keep what you typed"):
        Species.objects.create(name="Jay", slug="jay")
    assert files() == before and standing.owes()


def test_killed_between_the_paper_and_the_note_of_it_the_catalogue_still_knows_its_own(
    entered: Deployment, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(standing, "know", lambda *a: (_ for _ in ()).throw(MemoryError("killed")))
        with pytest.raises(MemoryError):
            Species.objects.create(name="Jay", slug="jay")
    standing.forget()
    assert standing.look().how is standing.How.WHOLE
    Species.objects.create(name="Marten", slug="marten")
    assert ledger.catch_up() == 0


def test_a_catalogue_of_an_earlier_trod_that_says_the_same_is_taken_as_it_is(entered: Deployment) -> None:
    Catalogue.objects.all().delete()
    Paper.objects.all().delete()
    standing.forget()
    with pytest.raises(OutOfStep):
        standing.require()
    assert settling.settle().how is standing.How.WHOLE
    Catalogue.objects.all().delete()
    Paper.objects.all().delete()
    Species.objects.update(note="only here")
    with pytest.raises(OutOfStep, match="not known from which papers"):
        settling.settle()
