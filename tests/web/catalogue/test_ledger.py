"""What people enter is written beside the pictures at every change, and read back the same."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from trod.archive import papers, sidecar
from trod.web import home
from trod.web.catalogue import ledger
from trod.web.models import (
    Booking,
    Camera,
    Card,
    CostYear,
    Deployment,
    Lock,
    Mishap,
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
    site = Site.objects.create(
        reserve=reserve, name="Grey Lick", slug="grey-lick", latitude=47.301, longitude=13.88
    )
    camera = Camera.objects.create(serial="INV-001")
    card = Card.objects.create(label="ESK-01-A", size_gb=32)
    placement = Placement.objects.create(site=site, animal="red deer", dials={"height_m": 2.5}, chosen=True, at=AT)
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
    Visit.objects.create(
        site=site, deployment=deployment, at=AT, by="Ilka", card_in=card, note="„Schnee“\nzwei Zeilen"
    )
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
    Question.objects.create(
        reserve=reserve, kind="when", title="When?", filter={"species": ["red-deer"]}, at=AT
    )
    tour = Round.objects.create(reserve=reserve, name="Spring", day=AT.date())
    RoundStop.objects.create(round=tour, site=site, turn=1)
    visit = Visit.objects.create(
        site=site,
        deployment=deployment,
        at=AT,
        cells_changed=True,
        cells_kind="LR6",
        cells_count=8,
        lock_left="locked",
        changed={"delay_s": [0.0, 30.0]},
        packet_revision=3,
        packet_digest="ab" * 32,
        photos=[{"sha256": "cd" * 32, "name": "one.jpg", "path": "photos/one.jpg"}],
    )
    item = StockItem.objects.create(name="LR6, alkaline", designation="LR6", unit_price=0.55, least=40)
    Booking.objects.create(item=item, at=AT, change=-8, why="used", visit=visit, unit_price=0.55)
    Mishap.objects.create(
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


def test_many_changes_in_one_transaction_are_written_once(
    entered: Deployment, monkeypatch: pytest.MonkeyPatch
) -> None:
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
    Mishap.objects.all().delete()
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
    assert before["mishaps"][0]["deployment"] == "grey-lick-2026" and before["bookings"][0]["visit"]
    assert "4417" in json.dumps(private) and "4417" not in json.dumps([before, side])
    with ledger.quiet():
        for kind in reversed(ledger.KINDS):
            kind.model._default_manager.all().delete()
        loader = ledger.Loader()
        ledger.load_ledger(json.loads(json.dumps(before)), loader)
        again = ledger.load_sidecar(json.loads(json.dumps(side)), loader, "here")
        ledger.load_late(json.loads(json.dumps(before)), loader)
        ledger.load_private(json.loads(json.dumps(private)), loader)
    assert loader.trouble == []
    assert again is not None
    assert (ledger.dump_ledger(), ledger.dump_sidecar(again), ledger.dump_private()) == (before, side, private)


def test_a_visit_writes_its_words_without_reading_events_and_leaves_what_it_did_not_read(entered: Deployment) -> None:
    place = home.archive_root() / "grey-lick/grey-lick-2026/sidecar.json"
    told = json.loads(place.read_text())
    place.write_text(json.dumps({**told, "events": [{"key": "k", "pictures": ["a/b.jpg"]}]}))
    papers.accept(home.archive_root(), "grey-lick/grey-lick-2026/sidecar.json")
    Visit.objects.create(site=entered.site, deployment=entered, at=AT, note="fresh snow")
    written = json.loads(place.read_text())
    assert written["events"] == [{"key": "k", "pictures": ["a/b.jpg"]}]
    assert "fresh snow" in [v["note"] for v in written["visits"]]
    entered.save()  # all of it: then events are read anew
    assert json.loads(place.read_text())["events"] == []


def test_a_row_that_does_not_fit_is_told_and_the_others_come_back(entered: Deployment) -> None:
    book = ledger.dump_ledger()
    book["sites"].append({**book["sites"][0], "slug": "far", "name": "Far", "reserve": "nowhere"})
    book["cards"].append({"label": "ESK-77", "size_gb": "not a number", "state": "ready", "note": ""})
    with ledger.quiet():
        for kind in reversed(ledger.KINDS):
            kind.model._default_manager.all().delete()
        loader = ledger.Loader()
        ledger.load_ledger(book, loader)
    assert Site.objects.count() == 1
    assert "ledger.json: sites far was left out (it refers to a record that is not there)." in loader.trouble
    assert any("cards ESK-77 was left out" in text for text in loader.trouble)
