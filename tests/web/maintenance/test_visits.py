"""The sheet of a visit: all that a field sheet has, kept at once, and taken back whole."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from trod.catalogue import home
from trod.catalogue import models as m
from trod.catalogue.papers import ledger

pytestmark = pytest.mark.django_db
NEW = "/cameras/visits/new/?deployment=meadow-2026-03-03"
SAID = {"at": "2026-06-28T10:00", "by": "Suri", "arrival": "working"}
AT = datetime(2026, 6, 28, 8, 0, tzinfo=UTC)


def record(client: Any, cast: Any, **said: Any) -> Any:
    return client.post(NEW, {**SAID, "deployment": cast.deployment.pk, **said})


def told(answer: Any) -> dict[str, list[str]]:
    return {name: list(words) for name, words in answer.context["form"].errors.items()}


def undo(client: Any) -> None:
    client.post("/people/undo/")


def test_a_higher_camera_begins_a_new_deployment(client, cast):
    answer = record(client, cast, height_m="2.2", burst="3", card_out="C-1", card_in="C-7", walk_test="on")
    old, new = m.Deployment.objects.order_by("start")
    visit = m.Visit.objects.get()

    assert answer.status_code == 302 and answer.url == new.get_absolute_url()
    assert (old.end, old.height_m, old.burst, old.card.label) == (AT, 1.0, 1, "C-1")
    assert (new.start, new.end, new.height_m, new.burst, new.card.label) == (AT, None, 2.2, 3, "C-7")
    assert (new.camera, new.site, new.utc_offset_min, new.set_by) == (cast.red, cast.meadow, 60, "Suri")
    assert visit.deployment == old and visit.changed == {"height_m": [1.0, 2.2], "burst": [1, 3]}
    assert m.Card.objects.get(label="C-7").state == "out" and m.Card.objects.get(label="C-1").state == "home"


def test_the_visit_page_says_why_a_new_deployment_begins(client, cast):
    assert "its zone" in client.get(NEW).content.decode().lower()


def test_a_longer_delay_lets_the_same_deployment_go_on(client, cast):
    record(client, cast, delay_s="30", sensitivity="low")
    (only,) = m.Deployment.objects.all()

    assert (only.end, only.delay_s, only.sensitivity) == (None, 30, "low")
    assert m.Visit.objects.get().changed == {"delay_s": [0.0, 30.0], "sensitivity": ["high", "low"]}


@pytest.mark.parametrize(("choice", "deployments"), [("no", 1), ("yes", 2), ("", 2)])
def test_the_person_decides_whether_the_deployment_goes_on(client, cast, choice, deployments):
    record(client, cast, heading_deg="210", anew=choice)

    assert m.Deployment.objects.count() == deployments
    assert m.Deployment.objects.latest("start").heading_deg == 210


def test_what_stands_as_before_is_no_change(client, cast):
    record(client, cast, height_m="1.0")

    assert m.Deployment.objects.count() == 1 and m.Visit.objects.get().changed == {}


def test_a_card_that_stays_in_over_a_new_deployment_is_warned_of(client, cast):
    record(client, cast, tilt_deg="12")
    page = client.get("/").content.decode()

    assert "The card C-1 stayed in" in page


def test_no_new_deployment_begins_before_pictures_that_are_at_home(client, cast, bring_sequences):
    bring_sequences([datetime(2026, 6, 29, tzinfo=UTC)])
    answer = record(client, cast, height_m="2.0")

    assert told(answer) == {
        "anew": ["pictures from after this visit are at home already. Let the same deployment go on here"]
    }
    assert m.Visit.objects.count() == 0 and m.Deployment.objects.get().end is None
    assert record(client, cast, height_m="2.0", anew="no").status_code == 302


def test_no_new_deployment_begins_before_a_later_visit(client, cast):
    m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=datetime(2026, 6, 30, tzinfo=UTC))
    answer = record(client, cast, height_m="2.0")

    assert "a later visit to this deployment is written down already" in told(answer)["anew"][0]
    record(client, cast, height_m="2.0", anew="no")
    cast.deployment.refresh_from_db()
    assert cast.deployment.height_m == 1.0, "a visit written down late does not undo what a later one left"


def test_batteries_put_in_are_noted_with_the_deployment(client, cast):
    record(client, cast, battery_percent="12", battery_kind="fr6", battery_count="8")
    visit = m.Visit.objects.get()
    cast.deployment.refresh_from_db()

    assert (visit.batteries_changed, visit.battery_kind, visit.battery_count) == (True, "FR6", 8)
    assert cast.deployment.batteries == "8 × FR6"


def test_a_new_label_makes_a_card_and_an_old_one_is_found_however_it_is_written(client, cast):
    record(client, cast, card_out=" c-1 ", card_in="C-77")

    assert [(c.label, c.state) for c in m.Card.objects.order_by("label")] == [("C-1", "home"), ("C-77", "out")]


def test_a_lock_that_is_set_on_it_hangs_there_from_then_on(client, cast):
    lock = m.Lock.objects.create(label="blue", site=cast.ford, key_number="K-4")
    record(client, cast, lock=lock.pk, lock_left="locked")
    lock.refresh_from_db()

    assert (lock.camera, lock.site, lock.key_number) == (cast.red, None, "K-4")
    assert m.Visit.objects.get().lock_left == "locked"


def test_walks_are_kept_with_the_deployment_that_was_walked_past(client, cast):
    walk = {"offset_1": "4", "angle_1": "90", "away_1": "away", "speed_1": "1.2", "got_1": "whole"}
    record(client, cast, height_m="1.5", **walk)
    test = m.WalkTest.objects.get()

    assert test.deployment == m.Deployment.objects.latest("start")
    assert test.walks == [{"offset_m": 4.0, "angle_deg": 90.0, "speed_m_s": 1.2, "got": "whole"}]
    assert m.Visit.objects.get().walk_test


def test_a_walk_that_cannot_be_read_keeps_nothing_and_says_which(client, cast):
    walk = {"offset_1": "near", "angle_1": "90", "away_1": "away", "speed_1": "1.2", "got_1": "whole"}
    answer = record(client, cast, note="fox den", **walk)

    assert answer.status_code == 422 and m.Visit.objects.count() == 0
    page = answer.content.decode()
    assert "Mend walk 1: got “near”; needed: how far off the line lay, in m." in page and "fox den" in page


def test_theft_leads_on_to_the_log(client, cast):
    answer = record(client, cast, arrival="gone", incident="on")

    assert answer.url == "/cameras/maintenance/incidents/new/?kind=theft&deployment=meadow-2026-03-03"


def test_settings_need_a_camera(client, cast):
    answer = client.post("/cameras/visits/new/", {**SAID, "site": cast.ford.pk, "height_m": "2"})

    assert told(answer) == {"height_m": ["choose the camera that it belongs to"]}


def test_feet_are_taken_as_feet(client, cast):
    client.cookies["units"] = "us"
    record(client, cast, height_m="5", anew="no")

    assert m.Deployment.objects.get().height_m == pytest.approx(1.524)


def test_a_visit_taken_back_leaves_everything_as_it_was(client, cast):
    lock = m.Lock.objects.create(label="blue", site=cast.ford)
    before = [list(model.objects.order_by("pk").values()) for model in (m.Deployment, m.Card, m.Lock, m.Visit)]
    record(client, cast, height_m="2.2", card_out="C-1", card_in="C-9", lock=lock.pk, offset_1="4", got_1="part")
    assert m.WalkTest.objects.count() == 1
    undo(client)
    again = [list(model.objects.order_by("pk").values()) for model in (m.Deployment, m.Card, m.Lock, m.Visit)]

    assert again == before and m.WalkTest.objects.count() == 0


def test_changing_a_visit_changes_no_setting_and_shows_what_it_changed(client, cast):
    record(client, cast, delay_s="30")
    visit = m.Visit.objects.get()
    page = client.get(f"/cameras/visits/{visit.pk}/").content.decode()
    said = {**SAID, "deployment": cast.deployment.pk, "note": "fog", "delay_s": "5"}
    client.post(f"/cameras/visits/{visit.pk}/", said)
    visit.refresh_from_db()

    assert "Delay between bursts: 0 → 30 s" in page
    assert visit.note == "fog" and m.Deployment.objects.get().delay_s == 30
    assert visit.changed == {"delay_s": [0.0, 30.0]}


@pytest.mark.django_db(transaction=True)
def test_all_of_a_visit_is_in_the_files_when_the_page_answers(client, cast, monkeypatch):
    written = []
    real = ledger.write_sidecar
    monkeypatch.setattr(ledger, "write_sidecar", lambda d, **more: written.append(more) or real(d, **more))
    record(client, cast, battery_percent="40", card_out="C-1", card_in="C-7", note="snow")
    kept = json.loads((home.archive_root() / "meadow/meadow-2026-03-03/sidecar.json").read_text())
    book = json.loads((home.archive_root() / "ledger.json").read_text())

    assert [v["note"] for v in kept["visits"]] == ["snow"] and kept["deployment"]["card"] == "C-7"
    assert {c["label"]: c["state"] for c in book["cards"]} == {"C-1": "home", "C-7": "out"}
    assert written == [{"papers_only": True}], "written once, without reading its sequences anew"


@pytest.mark.django_db(transaction=True)
def test_a_visit_leaves_the_sequences_of_the_sidecar_as_they_are(client, cast, bring_sequences):
    bring_sequences([datetime(2026, 6, 1, 5, tzinfo=UTC)])
    ledger.write_sidecar(cast.deployment)
    place = home.archive_root() / "x/meadow-2026-03-03/sidecar.json"
    before = json.loads(place.read_text())
    record(client, cast, note="snow")
    after = json.loads(place.read_text())

    assert (after["sequences"], after["bags"], after["imports"]) == (
        before["sequences"],
        before["bags"],
        before["imports"],
    )
    assert after["visits"] and ledger.catch_up() == 0


def test_the_sheets_queries_do_not_grow_with_deployments(client, cast):
    def count() -> int:
        client.get(NEW)
        with CaptureQueriesContext(connection) as queries:
            client.get(NEW)
        return len(queries)

    few = count()
    for n in range(12):
        camera = m.Camera.objects.create(serial=f"N-{n}")
        m.Deployment.objects.create(slug=f"d-{n}", camera=camera, site=cast.ford, start=cast.now)
    assert count() == few


@pytest.mark.parametrize("name", ["card_in", "note", "by", "battery_kind", "height_m", "anew", "lock", "burst"])
def test_hostile_input_is_refused_in_words_and_never_a_fault(client, cast, name):
    for text in ("\x00", "'; DROP TABLE trod_visit; --", "1e999", "-" * 500, "‮<script>", "999999999999999999999"):
        answer = record(client, cast, **{name: text})
        assert answer.status_code in (302, 422)
        if answer.status_code == 302:
            undo(client)


def test_the_photos_of_a_visit_stand_on_its_sheet_and_are_counted_at_its_camera(client, cast):
    record(client, cast)
    visit = m.Visit.objects.get()
    visit.photos = [{"sha256": "ab" * 32, "name": "gauge.jpg", "path": f"field-notes/{'ab' * 32}.jpg"}]
    visit.save()

    sheet = client.get(f"/cameras/visits/{visit.pk}/").content.decode()
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/").content.decode()

    assert f'src="/rounds/photos/{"ab" * 32}.jpg"' in sheet and 'alt="Photo gauge.jpg"' in sheet
    assert "1 photo<" in page
