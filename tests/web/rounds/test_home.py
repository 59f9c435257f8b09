"""Notes that come home: nothing is lost, nothing doubles, nothing is chosen silently."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from homecoming import field_form_file, jpeg, visit

pytestmark = pytest.mark.django_db
OTHER = "99999999-2222-4333-8444-555555555555"


def hand_in(client, kept, visits, *, token=None, phone=1, **more):
    from trod.catalogue.rounds import round_papers

    field_form_id = str(kept.uuid)
    token = round_papers.token_of(field_form_id) if token is None else token
    body = field_form_file(field_form_id, visits, at=kept.made_at, phone=phone)
    headers = {"HTTP_X_TROD_FIELD_FORM": token} if token else {}
    return client.post("/fieldform/visits/", body, content_type="application/json", **headers, **more)


def test_a_visit_handed_in_by_a_phone_stands_in_the_catalogue_and_on_the_disk(client, kept, base, trod_home):
    from trod.catalogue.models import Card, Visit

    picture = jpeg()
    answer = hand_in(client, kept, [visit(base.now, photo=picture)])

    assert answer.status_code == 200
    assert answer.json() == {"accepted": [visit(base.now)["uuid"]], "already": [], "conflicts": [], "doubts": []}
    row = Visit.objects.get()
    assert (row.deployment, row.battery_kind, row.battery_count, row.work) == (
        base.deployment,
        "FR6",
        8,
        "cut the grass",
    )
    assert (row.card_out.label, row.card_in.label) == ("C-1", "C-2")
    assert Card.objects.get(label="C-1").state == "home" and Card.objects.get(label="C-2").state == "out"
    shots = trod_home / "archive" / "field-notes" / f"{row.photos[0]['sha256']}.jpg"
    assert shots.read_bytes() == picture
    note = json.loads((trod_home / "archive" / "field-notes" / f"{row.uuid}.json").read_text("utf-8"))
    assert note["state"] == "kept" and note["note"]["work"] == "cut the grass"


@pytest.mark.django_db(transaction=True)
def test_the_sidecar_names_the_visit_before_the_phone_is_answered(client, kept, base, trod_home):
    from trod.archive.sidecar import read_sidecar

    hand_in(client, kept, [visit(base.now)])

    sidecar = read_sidecar(trod_home / "archive" / "meadow" / base.deployment.slug)
    assert [v["work"] for v in sidecar["visits"]] == ["cut the grass"]


def test_the_same_visit_handed_in_twice_is_one_visit(client, kept, base):
    from trod.catalogue.models import Visit

    hand_in(client, kept, [visit(base.now)])
    answer = hand_in(client, kept, [visit(base.now)])

    assert answer.json()["already"] == [visit(base.now)["uuid"]]
    assert Visit.objects.count() == 1


def test_what_the_phone_wrote_later_takes_the_place_of_what_it_wrote_first(client, kept, base):
    from trod.catalogue.models import Visit

    hand_in(client, kept, [visit(base.now)])
    answer = hand_in(client, kept, [visit(base.now, revision=2, note="and a nest in the box")])

    assert answer.json()["accepted"] == [visit(base.now)["uuid"]]
    assert Visit.objects.get().note == "and a nest in the box"


def test_a_visit_struck_out_on_the_phone_goes_and_its_words_stay_on_the_disk(client, kept, base, trod_home):
    from trod.catalogue.models import Visit

    hand_in(client, kept, [visit(base.now)])
    hand_in(client, kept, [visit(base.now, revision=2, withdrawn=True)])

    assert Visit.objects.count() == 0
    path = trod_home / "archive" / "field-notes" / f"{visit(base.now)['uuid']}.json"
    assert json.loads(path.read_text("utf-8"))["earlier"][0]["work"] == "cut the grass"


def test_changed_at_home_and_on_the_phone_is_held_with_both_sides(client, kept, base):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    hand_in(client, kept, [visit(base.now)])
    row = Visit.objects.get()
    row.work = "cut the grass and the elder"
    row.save()
    answer = hand_in(client, kept, [visit(base.now, revision=2, work="cut nothing")])

    (told,) = answer.json()["conflicts"]
    assert told["uuid"] == str(row.uuid) and "home" in told["words"]
    (held,) = field_notes.open_held()
    assert (held.one.work, held.other.work) == ("cut the grass and the elder", "cut nothing")
    row.refresh_from_db()
    assert row.work == "cut the grass and the elder"


@pytest.mark.parametrize(
    ("choice", "works"),
    [("one", ["at home"]), ("other", ["on the phone"]), ("both", ["at home", "on the phone"])],
)
def test_a_person_decides_and_the_same_question_never_comes_back(client, kept, base, choice, works):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    hand_in(client, kept, [visit(base.now)])
    Visit.objects.update(work="at home")
    later = visit(base.now, revision=2, work="on the phone")
    hand_in(client, kept, [later])
    (held,) = field_notes.open_held()
    answer = client.post(f"/rounds/home/held/{held.name}/", {"keep": choice})

    assert answer.status_code == 302
    assert sorted(v.work for v in Visit.objects.all()) == works
    assert hand_in(client, kept, [later]).json()["already"] == [later["uuid"]]
    assert field_notes.open_held() == []


def test_two_phones_at_one_camera_within_two_hours_are_asked_about(client, kept, base):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    hand_in(client, kept, [visit(base.now, card_in="", card_out="")])
    second = visit(base.now + timedelta(minutes=20), uid=OTHER, card_in="", card_out="", by="Ben")
    answer = hand_in(client, kept, [second], phone=2)

    assert [c["uuid"] for c in answer.json()["conflicts"]] == [OTHER]
    (held,) = field_notes.open_held()
    client.post(f"/rounds/home/held/{held.name}/", {"keep": "both"})
    assert sorted(v.by for v in Visit.objects.all()) == ["Ada", "Ben"]


def test_of_two_notes_of_one_visit_the_second_can_take_the_first_ones_place(client, kept, base):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    hand_in(client, kept, [visit(base.now, card_in="", card_out="")])
    second = visit(base.now + timedelta(minutes=20), uid=OTHER, card_in="", card_out="", by="Ben")
    hand_in(client, kept, [second], phone=2)
    (held,) = field_notes.open_held()
    client.post(f"/rounds/home/held/{held.name}/", {"keep": "other"})

    assert [v.by for v in Visit.objects.all()] == ["Ben"]
    # The first one, sent again, does not come back.
    assert hand_in(client, kept, [visit(base.now, card_in="", card_out="")]).json()["already"]
    assert [v.by for v in Visit.objects.all()] == ["Ben"]


def test_two_states_under_one_number_lose_neither(client, kept, base):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes
    from trod.field.form import read_field_form

    one, two = (
        read_field_form(field_form_file(str(kept.uuid), [visit(base.now, work=word)], at=base.now)).visits[0]
        for word in "ab"
    )
    taken = field_notes.take([one, two], field_notes.Origin(field_form="", by="Ada", at=base.now))
    (held,) = field_notes.open_held()
    assert list(taken.held) == [one.uuid] and Visit.objects.count() == 0
    client.post(f"/rounds/home/held/{held.name}/", {"keep": "both"})
    assert sorted(v.work for v in Visit.objects.all()) == ["a", "b"]


def test_a_card_in_two_cameras_is_asked_about(client, kept, base):
    base.second.card = base.second_card
    base.second.save()
    answer = hand_in(client, kept, [visit(base.now, card_in="c-2")])

    (told,) = answer.json()["conflicts"]
    assert "is said to be in" in told["words"]


def test_a_site_that_is_not_known_is_held_and_not_lost(client, kept, base):
    from django.core.files.uploadedfile import SimpleUploadedFile

    from trod.catalogue.rounds import field_notes

    body = field_form_file(str(kept.uuid), [visit(base.now, site="nowhere", deployment="")], at=base.now)
    client.post("/rounds/home/", {"file": SimpleUploadedFile("visits.json", body)})

    (held,) = field_notes.open_held()
    assert held.other.site == "nowhere" and "no site of the name 'nowhere'" in held.words


def test_another_height_begins_a_new_deployment_and_says_so(kept, base):
    from trod.catalogue.models import Deployment
    from trod.catalogue.rounds import field_notes
    from trod.field.form import read_field_form

    row = visit(base.now)
    row["changes"]["height_m"] = 2.5
    found = read_field_form(field_form_file(str(kept.uuid), [row], at=base.now))
    taken = field_notes.take(found.visits, field_notes.Origin(field_form="", by="Ada", at=base.now))

    assert any("new deployment begins" in words for words in taken.told)
    new = Deployment.objects.filter(site=base.meadow, end__isnull=True).get()
    assert (new.height_m, new.card.label) == (2.5, "C-2")


def test_a_note_whose_process_died_before_its_row_was_made_gets_it_when_it_comes_again(client, kept, base, monkeypatch):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    class Killed(BaseException):
        pass

    def die(*_):
        raise Killed

    with monkeypatch.context() as patched, pytest.raises(Killed):
        patched.setattr(field_notes, "_row", die)
        hand_in(client, kept, [visit(base.now)])
    assert Visit.objects.count() == 0
    answer = hand_in(client, kept, [visit(base.now)])

    assert answer.json()["already"] == [visit(base.now)["uuid"]]
    assert Visit.objects.get().work == "cut the grass"


# The door ---------------------------------------------------------------------------------------------------


def test_without_its_token_nothing_is_taken(client, kept, base):
    from trod.catalogue.models import Visit

    assert hand_in(client, kept, [visit(base.now)], token="").status_code == 401
    answer = hand_in(client, kept, [visit(base.now)], token="f" * 64)

    assert answer.status_code == 403 and "token" in answer.json()["error"]
    assert Visit.objects.count() == 0


def test_the_token_of_one_field_form_does_not_open_another(client, kept, base):
    from trod.catalogue.rounds import round_papers

    answer = hand_in(client, kept, [visit(base.now)], token=round_papers.token_of(OTHER))

    assert answer.status_code == 403


def test_a_page_from_a_file_may_ask_and_needs_no_account(client, kept, base, settings):
    settings.TROD_OPEN_ON_LOOPBACK = False
    first = client.options(
        "/fieldform/visits/", HTTP_ORIGIN="null", HTTP_ACCESS_CONTROL_REQUEST_METHOD="POST",
        HTTP_ACCESS_CONTROL_REQUEST_PRIVATE_NETWORK="true",
    )  # fmt: skip
    answer = hand_in(client, kept, [visit(base.now)], HTTP_ORIGIN="null")

    assert first.status_code == 204
    assert first.headers["Access-Control-Allow-Origin"] == "*"
    assert first.headers["Access-Control-Allow-Headers"] == "content-type, x-trod-field-form"
    assert first.headers["Access-Control-Allow-Private-Network"] == "true"
    assert "Access-Control-Allow-Credentials" not in first.headers
    assert answer.status_code == 200 and answer.headers["Access-Control-Allow-Origin"] == "*"
    assert client.get("/rounds/").status_code == 302


@pytest.mark.parametrize(("days_ago", "status"), [(0, 200), (1, 200), (2, 409), (90, 409)])
def test_the_door_is_open_until_the_day_after_the_round_and_then_says_so(client, kept, base, days_ago, status):
    from trod import clock
    from trod.catalogue.models import Round

    today = clock.local(base.now, base.reserve.zone).date()
    wish = {**kept.wish, "first": (today - timedelta(days=days_ago)).isoformat()}
    Round.objects.filter(pk=kept.pk).update(wish=wish)
    answer = hand_in(client, kept, [visit(base.now)])

    assert answer.status_code == status
    if status == 409:
        assert "ended on" in answer.json()["error"] and "by hand" in answer.json()["error"]


def test_a_visit_to_what_is_no_stop_of_the_round_is_refused_and_not_kept(client, kept, base, trod_home):
    from trod.catalogue.models import Site, Visit

    Site.objects.create(reserve=base.reserve, name="Alder", slug="alder", latitude=47.3, longitude=13.9)
    for site in ("alder", "nowhere"):
        answer = hand_in(client, kept, [visit(base.now, site=site, deployment="")])

        assert answer.status_code == 403 and f"{site}: not a stop of the round" in answer.json()["error"]
    assert Visit.objects.count() == 0
    assert list((trod_home / "archive" / "field-notes").glob("*.json")) == []


def test_what_another_phone_wrote_is_never_replaced_but_asked_about(client, kept, base):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    hand_in(client, kept, [visit(base.now)])
    answer = hand_in(client, kept, [visit(base.now, revision=9, withdrawn=True, work="none of it")], phone=2)

    assert [c["uuid"] for c in answer.json()["conflicts"]] == [visit(base.now)["uuid"]]
    assert Visit.objects.get().work == "cut the grass"
    (held,) = field_notes.open_held()
    assert (held.one.work, held.other.work) == ("cut the grass", "none of it")


def test_what_somebody_wrote_at_home_is_never_replaced_by_a_phone(client, kept, base):
    from trod.catalogue.models import Visit

    Visit.objects.create(
        uuid=visit(base.now)["uuid"], site=base.meadow, deployment=base.deployment, at=base.now, by="Cleo", work="mine"
    )
    answer = hand_in(client, kept, [visit(base.now, revision=5)])

    assert answer.json()["conflicts"] and Visit.objects.get().work == "mine"


def test_what_came_by_another_rounds_form_is_never_replaced(client, kept, base, wish):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import rounds

    w = wish(which="all", name="Again")
    other = rounds.keep(base.reserve, w, rounds.plan(base.reserve, w, base.now), by="Ben", now=base.now)
    hand_in(client, kept, [visit(base.now)])
    answer = hand_in(client, other, [visit(base.now, revision=2, work="other")])

    assert answer.json()["conflicts"] and Visit.objects.get().work == "cut the grass"


def test_a_second_phone_does_not_settle_what_waits_from_a_third(client, kept, base):
    from trod.catalogue.rounds import field_notes

    hand_in(client, kept, [visit(base.now)])
    hand_in(client, kept, [visit(base.now, revision=2, work="second")], phone=2)
    hand_in(client, kept, [visit(base.now, revision=3, work="third")], phone=3)

    assert sorted(h.other.work for h in field_notes.open_held()) == ["second", "third"]


@pytest.mark.parametrize(
    ("limit", "value", "words"),
    [("VISITS_A_STOP", 1, "2 visits"), ("STATES_A_VISIT", 1, "changes of visits"), ("MOST_KEPT", 4000, "MB")],
)
def test_a_rounds_forms_hand_in_so_much_and_no_more(client, kept, base, monkeypatch, limit, value, words):
    import uuid

    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_door

    monkeypatch.setattr(field_door, "VISITS_A_STOP", 1)
    monkeypatch.setattr(field_door, limit, value)
    before = []
    for n in range(40):
        # Withdrawn, so that no row tells of it: the files are what is counted.
        state = {"uid": str(uuid.UUID(int=n, version=4))} if limit == "VISITS_A_STOP" else {"revision": n + 1}
        one = visit(base.now, withdrawn=True, note=f"{n}", card_in="", card_out="", **state)
        answer = hand_in(client, kept, [one])
        if answer.status_code != 200:
            break
        before.append(one)

    assert answer.status_code == 413 and words in answer.json()["error"] and "by hand" in answer.json()["error"]
    assert 1 <= len(before) <= 5
    assert Visit.objects.count() == 0
    # The last one that was taken is still known when it comes again, and by hand there is no such bound.
    if limit == "VISITS_A_STOP":
        assert hand_in(client, kept, [before[-1]]).json()["already"] == [before[-1]["uuid"]]


def test_too_much_is_refused_before_it_is_read(client, kept):
    from trod.catalogue.rounds import round_papers

    answer = client.post(
        "/fieldform/visits/", b"{}", content_type="application/json", CONTENT_LENGTH=str(70_000_000),
        HTTP_X_TROD_FIELD_FORM=round_papers.token_of(str(kept.uuid)),
    )  # fmt: skip
    assert answer.status_code == 413 and "64 MB" in answer.json()["error"]


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{", b'{"field_form": 3}', b"[" * 100_000, b'{"field_form": {"id": [1]}}']
)
def test_what_is_no_file_of_visits_is_refused_in_words(client, kept, body):
    from trod.catalogue.rounds import round_papers

    token = round_papers.token_of(str(kept.uuid))
    answer = client.post("/fieldform/visits/", body, content_type="application/json", HTTP_X_TROD_FIELD_FORM=token)

    assert answer.status_code == 422 and answer.json()["error"]


def test_a_file_of_another_field_form_is_refused(client, kept, base):
    from trod.catalogue.rounds import round_papers

    body = field_form_file(OTHER, [visit(base.now)], at=base.now)
    token = round_papers.token_of(str(kept.uuid))
    answer = client.post("/fieldform/visits/", body, content_type="application/json", HTTP_X_TROD_FIELD_FORM=token)

    assert answer.status_code == 403 and "another field form" in answer.json()["error"]


def test_a_visit_that_cannot_be_is_refused_with_its_place(client, kept, base):
    answer = hand_in(client, kept, [visit(base.now, battery_percent=140)])

    assert answer.status_code == 422 and "battery_percent" in answer.json()["error"]


# By hand ----------------------------------------------------------------------------------------------------


def test_the_exported_file_is_imported_on_the_page(client, kept, base):
    from django.core.files.uploadedfile import SimpleUploadedFile

    file = SimpleUploadedFile("visits.json", field_form_file(str(kept.uuid), [visit(base.now)], at=base.now))
    answer = client.post("/rounds/home/", {"file": file})

    assert answer.status_code == 200
    assert "Visits: 1 new." in answer.content.decode()


def test_a_file_of_another_kind_is_refused_on_the_page(client, base):
    from django.core.files.uploadedfile import SimpleUploadedFile

    answer = client.post("/rounds/home/", {"file": SimpleUploadedFile("x.json", b'{"trod": 9}')})

    assert answer.status_code == 422
    assert "Nothing was imported." in answer.content.decode()


def test_the_rounds_table_filled_in_by_hand_comes_home(client, kept, base):
    import csv
    import io

    from django.core.files.uploadedfile import SimpleUploadedFile

    from trod.catalogue.models import Visit

    table = client.get(f"/rounds/of/{kept.uuid}/take/table.csv").content.decode()
    rows = list(csv.DictReader(io.StringIO(table)))
    line = next(r for r in rows if r["key"] == "meadow")
    line |= {
        "came_at": "9:40", "state_on_arrival": "no power", "battery_percent": "0",
        "batteries_changed": "8 FR6",
        "card_out": "C-1", "card_in": "C-2", "clock_showed": "9:38:10", "true_time": "9:41", "work_done": "swapped all",
    }  # fmt: skip
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)

    for said in ("1 new", "1 known already"):
        file = SimpleUploadedFile("both.csv", out.getvalue().encode())
        assert f"Visits: {said}." in client.post("/rounds/home/", {"file": file}).content.decode()
    row = Visit.objects.get()
    assert (row.arrival, row.deployment, row.by) == ("dead", base.deployment, "Ada and Ben")
    assert (row.batteries_changed, row.battery_count, row.battery_kind) == (True, 8, "FR6")
    assert row.clock_shown.strftime("%H:%M:%S") == "09:38:10"


def test_a_line_that_cannot_be_read_is_named(client, kept, base):
    from django.core.files.uploadedfile import SimpleUploadedFile

    table = client.get(f"/rounds/of/{kept.uuid}/take/table.csv").content.decode().split("\r\n")
    head = table[0].split(",")
    batteries = dict.fromkeys(head, "") | {"day": "2026-07-01", "key": "meadow", "came_at": "soon"}
    bad = "\r\n".join([table[0], ",".join(batteries[h] for h in head)])
    answer = client.post("/rounds/home/", {"file": SimpleUploadedFile("b.csv", bad.encode())})

    assert answer.status_code == 422 and "line 2, came_at" in answer.content.decode()


def test_a_photo_is_shown_by_its_sum_and_no_other_file(client, kept, base):
    from trod.catalogue.models import Visit

    hand_in(client, kept, [visit(base.now, photo=jpeg())])
    sha = Visit.objects.get().photos[0]["sha256"]

    assert client.get(f"/rounds/photos/{sha}.jpg").headers["Content-Type"] == "image/jpeg"
    assert client.get(f"/rounds/photos/{'0' * 64}.jpg").status_code == 404
    assert client.get("/rounds/photos/ledger.jpg").status_code == 404
    assert sha in client.get(f"/rounds/of/{kept.uuid}/").content.decode()


@pytest.mark.django_db(transaction=True)
def test_all_of_it_comes_back_from_the_archive_alone(client, kept, base, trod_home):
    from trod.archive import verify
    from trod.catalogue import models as m
    from trod.catalogue.line import Silent
    from trod.catalogue.papers import ledger
    from trod.catalogue.rounds import field_notes
    from trod.catalogue.work import rebuild

    first = visit(base.now, photo=jpeg())
    hand_in(client, kept, [first])
    hand_in(client, kept, [visit(base.now + timedelta(minutes=9), uid=OTHER, by="Ben")], phone=2)
    ledger.catch_up()
    base.deployment.refresh_from_db()
    before = ledger.dump_ledger(), ledger.dump_sidecar(base.deployment)
    assert verify.verify(trod_home / "archive").ok
    with ledger.quiet():
        for model in (m.RoundStop, m.Round, m.Visit, m.Deployment, m.Card, m.Camera, m.Site, m.Reserve):
            model.objects.all().delete()
    told = rebuild.rebuild(Silent())

    assert told.trouble == []
    again = m.Deployment.objects.get(slug=base.deployment.slug)
    assert (ledger.dump_ledger(), ledger.dump_sidecar(again)) == before
    assert [h.other.by for h in field_notes.open_held()] == ["Ben"]
    row = m.Round.objects.get()
    assert hand_in(client, row, [first]).json()["already"] == [first["uuid"]]


@pytest.mark.django_db(transaction=True)
def test_field_notes_go_into_a_backup(client, kept, base, trod_home, tmp_path):
    from datetime import UTC, datetime

    from trod.archive import backup

    hand_in(client, kept, [visit(base.now, photo=jpeg())])
    backup.backup(trod_home / "archive", tmp_path / "copy", now=datetime.now(UTC))

    had = sorted(p.name for p in (trod_home / "archive" / "field-notes").iterdir() if not p.name.startswith("."))
    assert sorted(p.name for p in (tmp_path / "copy" / "field-notes").iterdir()) == had
    assert len(had) == 2
