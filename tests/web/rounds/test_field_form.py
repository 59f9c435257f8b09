"""The field form comes home: each camera has its own, what was not visited waits, what is strange is held."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from homecoming import field_form_file, jpeg, visit

pytestmark = pytest.mark.django_db
OTHER = "99999999-2222-4333-8444-555555555555"


def bring(client, data, name="visits.json"):
    return client.post("/rounds/home/", {"file": SimpleUploadedFile(name, data)})


def missed(at, **more):
    return visit(at, outcome="not visited", why_not="No way through", card_in="", card_out="", batteries_changed=False,
                 batteries="", battery_percent=None, work="", **more)  # fmt: skip


# Cameras side by side ---------------------------------------------------------------------------------------


def test_a_field_form_has_a_form_for_each_camera_of_a_site(kept, base):
    from trod.catalogue import models as m
    from trod.catalogue.rounds import round_papers

    green = m.Camera.objects.create(serial="G-3", name="Green")
    m.Deployment.objects.create(
        slug="meadow-2", camera=green, site=base.meadow, start=base.now - timedelta(days=3), utc_offset_min=120
    )
    data = round_papers.field_form_of(kept, units="metric", now=base.now)

    stop = next(s for s in data.stops if s.site_slug == "meadow")
    assert [(c.deployment_slug, c.name, c.utc_offset_min) for c in stop.cameras] == [
        (base.deployment.slug, "Red", 60), ("meadow-2", "Green", 120)
    ]  # fmt: skip


# Not visited ------------------------------------------------------------------------------------------------


def pages_with(client, kept, words):
    from html import unescape

    where = {"today": "/", "site": "/map/sites/of/meadow/", "round": f"/rounds/of/{kept.uuid}/"}
    return {name for name, url in where.items() if words in unescape(client.get(url).content.decode())}


def test_not_visited_stands_on_round_site_and_today_until_somebody_went(client, kept, base):
    from trod.catalogue.models import NotVisited, Visit

    at = base.now - timedelta(hours=3)
    answer = bring(client, field_form_file(str(kept.uuid), [missed(at)], at=base.now))

    assert "not visited; it stands on Today" in answer.content.decode()
    assert pages_with(client, kept, "No way through") == {"today", "site", "round"}
    assert "still to be visited" in client.get(f"/rounds/of/{kept.uuid}/").content.decode()
    # A visit before does not count, nor one to another site.
    Visit.objects.create(site=base.meadow, deployment=base.deployment, at=at - timedelta(hours=1))
    Visit.objects.create(site=base.ford, deployment=base.second, at=at + timedelta(hours=1))
    assert pages_with(client, kept, "No way through") == {"today", "site", "round"}
    Visit.objects.create(site=base.meadow, deployment=base.deployment, at=at + timedelta(hours=1))
    assert pages_with(client, kept, "No way through") == {"round"}
    assert "visited since" in client.get(f"/rounds/of/{kept.uuid}/").content.decode()
    assert NotVisited.objects.count() == 1


def test_of_two_cameras_at_a_site_the_one_that_was_not_reached_waits_on(client, kept, base):
    from trod.catalogue import models as m

    green = m.Camera.objects.create(serial="G-3", name="Green")
    beside = m.Deployment.objects.create(
        slug="meadow-2", camera=green, site=base.meadow, start=base.now - timedelta(days=3), utc_offset_min=60
    )
    at = base.now - timedelta(hours=3)
    bring(client, field_form_file(str(kept.uuid), [missed(at)], at=base.now))
    m.Visit.objects.create(site=base.meadow, deployment=beside, at=at + timedelta(hours=1))

    assert pages_with(client, kept, "Red at Meadow was not visited") == {"today"}


def test_what_was_noted_as_not_visited_and_taken_back_is_gone(client, kept, base):
    from trod.catalogue.models import NotVisited

    at = base.now - timedelta(hours=3)
    bring(client, field_form_file(str(kept.uuid), [missed(at)], at=base.now))
    bring(client, field_form_file(str(kept.uuid), [missed(at, revision=2, withdrawn=True)], at=base.now))

    assert NotVisited.objects.count() == 0


@pytest.mark.django_db(transaction=True)
def test_not_visited_outlives_a_rebuild(client, kept, base, trod_home):
    from trod.archive.sidecar import read_ledger
    from trod.catalogue.line import Silent
    from trod.catalogue.models import NotVisited
    from trod.catalogue.work import rebuild

    bring(client, field_form_file(str(kept.uuid), [missed(base.now)], at=base.now))
    before = NotVisited.objects.get()
    assert [row["why"] for row in read_ledger(trod_home / "archive")["not_visited"]] == ["No way through"]
    rebuild.make_anew(Silent())

    after = NotVisited.objects.get()
    assert (after.uuid, after.deployment.slug, after.field_form) == (
        before.uuid,
        base.deployment.slug,
        before.field_form,
    )


# Which round it belongs to ----------------------------------------------------------------------------------


def test_a_visit_made_before_its_planned_day_belongs_to_its_round(client, kept, base):
    from trod.catalogue.models import Round

    today = base.now.astimezone(base.reserve.zone_info).date()
    Round.objects.filter(pk=kept.pk).update(day=today + timedelta(days=9))
    bring(client, field_form_file(str(kept.uuid), [visit(base.now - timedelta(hours=2))], at=base.now))

    page = client.get(f"/rounds/of/{kept.uuid}/").content.decode()
    assert "Nothing yet." not in page and "/cameras/visits/" in page


def test_a_visit_by_another_rounds_form_does_not(client, kept, base, wish):
    from trod.catalogue.rounds import rounds

    w = wish(which="all", name="Again")
    other = rounds.keep(base.reserve, w, rounds.plan(base.reserve, w, base.now), by="Ben", now=base.now)
    bring(client, field_form_file(str(other.uuid), [visit(base.now)], at=base.now))

    assert "Nothing yet." in client.get(f"/rounds/of/{kept.uuid}/").content.decode()


# Clocks -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("days", [366, 2])
def test_a_phones_clock_that_is_ahead_is_doubted(client, kept, base, days):
    ahead = base.now + timedelta(days=days)
    body = json.loads(field_form_file(str(kept.uuid), [visit(ahead)], at=base.now))
    body["exported_at"] = ahead.isoformat().replace("+00:00", "Z")
    page = bring(client, json.dumps(body).encode()).content.decode()

    assert "The phone wrote the file at" in page and "Its clock or this one is wrong" in page
    assert "which is still to come" in page


@pytest.mark.parametrize(("hours", "doubted"), [(0, False), (2, True), (-2, True), (9000, True)])
def test_a_phone_that_hands_in_now_is_doubted_both_ways(client, kept, base, hours, doubted):
    from trod.catalogue.rounds import round_papers

    then = base.now + timedelta(hours=hours)
    body = field_form_file(str(kept.uuid), [visit(min(then, base.now))], at=base.now - timedelta(days=9))
    body = json.loads(body) | {"exported_at": then.isoformat().replace("+00:00", "Z")}
    answer = client.post(
        "/fieldform/visits/", json.dumps(body), content_type="application/json",
        HTTP_X_TROD_FIELD_FORM=round_papers.token_of(str(kept.uuid)),
    )  # fmt: skip

    assert answer.status_code == 200 and bool(answer.json()["doubts"]) is doubted


# What is not ours -------------------------------------------------------------------------------------------


def test_a_form_of_another_reserve_is_held_and_not_new(client, base, kept):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    body = json.loads(field_form_file(OTHER, [visit(base.now)], at=base.now))
    body["field_form"]["reserve"] = "Saltmarsh"
    page = bring(client, json.dumps(body).encode()).content.decode()

    assert Visit.objects.count() == 0 and "1 held until you decide" in page
    (held,) = field_notes.open_held()
    assert held.kind == "other reserve" and "of the reserve Saltmarsh" in held.words
    # Left out, it does not ask again; and what is imported is imported.
    client.post(f"/rounds/home/held/{held.name}/", {"keep": "one"})
    assert "known already" in bring(client, json.dumps(body).encode()).content.decode()
    assert field_notes.open_held() == [] and Visit.objects.count() == 0


def test_a_form_of_a_round_that_was_deleted_here_is_ours_by_its_reserve(client, base, kept):
    from trod.catalogue.models import Visit

    bring(client, field_form_file(OTHER, [visit(base.now)], at=base.now))

    assert Visit.objects.count() == 1


def test_a_form_of_a_round_here_is_ours_though_the_reserve_was_named_anew(client, base, kept):
    from trod.catalogue.models import Visit

    base.reserve.name = "Hollin and Marsh"
    base.reserve.save()
    bring(client, field_form_file(str(kept.uuid), [visit(base.now)], at=base.now))

    assert Visit.objects.count() == 1


@pytest.mark.parametrize("deployment", ["nobody-knows", "ford-1"])
def test_a_visit_to_a_deployment_that_is_not_there_is_held(client, base, kept, deployment):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    body = field_form_file(str(kept.uuid), [visit(base.now, deployment=deployment)], at=base.now)
    bring(client, body)

    assert Visit.objects.count() == 0
    (held,) = field_notes.open_held()
    assert held.kind == "deployment not known" and deployment in held.words
    page = client.get("/rounds/home/").content.decode()
    assert "Import it" in page and "Keep both" not in page
    client.post(f"/rounds/home/held/{held.name}/", {"keep": "other"})
    row = Visit.objects.get()
    assert (row.site, row.deployment) == (base.meadow, None) and deployment in row.note
    assert "known already" in bring(client, body).content.decode() and field_notes.open_held() == []


@pytest.mark.parametrize(
    ("name", "data", "what"),
    [
        ("IMG_1.jpg", jpeg(), "a picture"),
        ("plan.pdf", b"%PDF-1.7\n", "a PDF"),
        ("cards.xlsx", b"PK\x03\x04\x14\x00", "a spreadsheet or an archive"),
        ("notes.txt", b"Went to the Meadow, all well.\n", "no table of a round"),
        ("prices.csv", b"what,price\ncells,3\n", "no table of a round"),
        ("map.json", b'{"type": "FeatureCollection", "features": []}', "no file of a field form"),
        ("list.json", b"[1, 2]", "no file of a field form"),
        ("broken.json", b'{"a": ', "no file of a field form"),
        ("nothing.json", b"", "empty"),
        ("core", b"ab\x00cd" * 30, "no text"),
        (
            "form.html",
            b'<!doctype html>\n<script type="application/json" id="field-form-data">',
            "the field form itself",
        ),
        ("way.gpx", b'<?xml version="1.0"?><gpx/>', "an XML file, perhaps GPX"),
    ],
)
def test_a_file_that_is_not_ours_is_told_in_one_plain_line(client, base, name, data, what):
    from trod.catalogue.rounds import upload

    with pytest.raises(upload.NotOurs) as told:
        upload.take_file(data, name, by="Ada", now=base.now)
    words = str(told.value)
    assert words == f"{name} is {what}, and holds no visits. {upload.BRING}."
    answer = bring(client, data, name)
    assert answer.status_code == 422
    if data:  # an empty file is refused by its field
        assert f"{name} is {what}" in answer.content.decode()


def test_our_own_file_cut_off_is_told_as_ours(base, kept):
    from trod.catalogue.rounds import upload
    from trod.errors import WrongInput

    body = field_form_file(str(kept.uuid), [visit(base.now)], at=base.now)
    with pytest.raises(WrongInput, match="export it once more"):
        upload.take_file(body[:-40], "visits.json", by="Ada", now=base.now)
    with pytest.raises(WrongInput, match="needed: the round's table"):
        upload.take_file(b"day;party;came_at;note\n2026-01-01;A;9:00;\n", "t.csv", by="Ada", now=base.now)
