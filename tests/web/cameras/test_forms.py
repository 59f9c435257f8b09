"""Records of cameras, typed by a person: units, local time, refusals in words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError

from trod.catalogue import models as m
from trod.web.forms import cameras as forms

pytestmark = pytest.mark.django_db
DEPLOYMENT = {"mode": "picture", "burst": "3", "delay_s": "0", "sensitivity": "high"}


def post(client, url, **data):
    return client.post(url, {name: value for name, value in data.items() if value is not None})


def errors(answer):
    return {name: list(found) for name, found in answer.context["form"].errors.items()}


def test_a_new_deployment_is_kept_in_utc_and_named_by_site_and_local_day(client, cast):
    answer = post(
        client,
        "/cameras/deployments/new/",
        camera=cast.blue.pk,
        site=cast.ford.pk,
        start="2026-06-20T00:30",
        **DEPLOYMENT,
    )
    made = m.Deployment.objects.get(camera=cast.blue)

    assert answer.status_code == 302
    assert made.slug == "ford-2026-06-20"
    assert made.start == datetime(2026, 6, 19, 22, 30, tzinfo=UTC)
    assert made.utc_offset_min == 120  # Vienna in June, as the person sets the camera's clock
    assert m.Camera.objects.get(pk=cast.blue.pk).state == "out"


def test_overlapping_deployments_are_refused_with_the_others_name(client, cast):
    answer = post(
        client,
        "/cameras/deployments/new/",
        camera=cast.red.pk,
        site=cast.ford.pk,
        start="2026-06-20T09:00",
        **DEPLOYMENT,
    )

    assert answer.status_code == 422
    assert errors(answer)["camera"] == [
        "Red is at Meadow from 2026-03-03 11:00 and still stands there (deployment meadow-2026-03-03). "
        "End that one first, or choose another camera or time."
    ]
    assert "2026-06-20T09:00" in answer.content.decode()  # what was typed is not lost


def test_the_databases_own_refusal_is_told_in_the_same_words(cast, monkeypatch):
    """Another person may have set the camera up between the check and the saving."""
    form = forms.DeploymentForm(
        {**DEPLOYMENT, "camera": cast.red.pk, "site": cast.ford.pk, "start": "2026-06-20T09:00"},
        reserve=cast.reserve,
    )
    real = forms.overlapping
    monkeypatch.setattr(forms, "overlapping", lambda *args, **more: None)
    assert form.is_valid()
    monkeypatch.setattr(forms, "overlapping", real)

    assert form.keep() is None
    assert "still stands there (deployment meadow-2026-03-03)" in form.errors["camera"][0]
    assert m.Deployment.objects.count() == 1


def test_the_guard_is_the_databases_own(cast):
    with pytest.raises(IntegrityError, match=r"already deployed|trod_deployment_no_overlap"):
        m.Deployment.objects.create(slug="x", camera=cast.red, site=cast.ford, start=cast.now)


def test_a_camera_may_stand_elsewhere_from_the_moment_it_was_retrieved(client, cast):
    cast.deployment.end = cast.now - timedelta(days=1)
    cast.deployment.save()
    local = (cast.deployment.end + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    answer = post(client, "/cameras/deployments/new/", camera=cast.red.pk, site=cast.ford.pk, start=local, **DEPLOYMENT)

    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("2026-03-29T02:30", "summer time leaps over it"),
        ("2026-10-25T02:30", "happened twice in Europe/Vienna"),
        ("yesterday", "is no date and time"),
    ],
)
def test_a_local_time_that_is_none_is_told(client, cast, typed, why):
    answer = post(client, "/cameras/deployments/new/", camera=cast.blue.pk, site=cast.ford.pk, start=typed, **DEPLOYMENT)

    assert why in errors(answer)["start"][0]


def test_lengths_are_typed_in_feet_and_kept_in_metres(client, cast):
    client.cookies["units"] = "us"
    post(
        client,
        "/cameras/deployments/new/",
        camera=cast.blue.pk,
        site=cast.ford.pk,
        start="2026-06-20T09:00",
        height_m="3.5",
        aim_distance_m="20",
        **DEPLOYMENT,
    )
    made = m.Deployment.objects.get(camera=cast.blue)

    assert made.height_m == pytest.approx(1.0668)  # 3.5 × 0.3048, the international foot
    assert made.aim_distance_m == pytest.approx(6.096)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize(("typed", "metres"), [("3 ft 4 in", 1.016), ("3'4\"", 1.016), ("102 cm", 1.02)])
def test_a_length_with_its_unit_is_read_in_either_system(client, cast, units, typed, metres):
    client.cookies["units"] = units
    place = {"camera": cast.blue.pk, "site": cast.ford.pk, "start": "2026-06-20T09:00"}
    answer = post(client, "/cameras/deployments/new/", **place, height_m=typed, **DEPLOYMENT)

    assert answer.status_code == 302, errors(answer)
    assert m.Deployment.objects.get(camera=cast.blue).height_m == pytest.approx(metres, abs=1e-4)


def test_what_is_no_length_comes_back_as_it_was_typed(client, cast):
    client.cookies["units"] = "us"
    place = {"camera": cast.blue.pk, "site": cast.ford.pk, "start": "2026-06-20T09:00"}
    answer = post(client, "/cameras/deployments/new/", **place, height_m="3 ft 14 in", **DEPLOYMENT)

    assert errors(answer)["height_m"][0].startswith("got “3 ft 14 in”; needed: a number, alone in ft or with one of m,")
    assert "3 ft 14 in" in answer.content.decode()


def test_a_length_nobody_touched_keeps_its_last_digit_in_either_unit(client, cast):
    cast.deployment.height_m = 1.2345
    cast.deployment.save()
    client.cookies["units"] = "us"
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/change/")
    data = {name: "" if value is None else value for name, value in page.context["form"].initial.items()}
    data |= {"start": "2026-03-03T11:00", "end": "", "utc_offset_min": "60", "note": "seen again"}
    answer = client.post("/cameras/deployments/of/meadow-2026-03-03/change/", data)
    cast.deployment.refresh_from_db()

    assert answer.status_code == 302, errors(answer)
    assert (cast.deployment.note, cast.deployment.height_m) == ("seen again", 1.2345)


def test_a_limit_is_told_in_the_persons_own_unit_beside_the_field(client, cast):
    client.cookies["units"] = "us"
    answer = post(
        client,
        "/cameras/deployments/new/",
        camera=cast.blue.pk,
        site=cast.ford.pk,
        start="2026-06-20T09:00",
        height_m="200",
        **DEPLOYMENT,
    )

    assert errors(answer) == {"height_m": ["got 200 ft; needed: from 0 ft to 98.4 ft"]}


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e999", "abc"])
def test_a_number_that_is_none_is_refused(client, cast, value):
    answer = post(
        client,
        "/cameras/deployments/new/",
        camera=cast.blue.pk,
        site=cast.ford.pk,
        start="2026-06-20T09:00",
        height_m=value,
        **DEPLOYMENT,
    )

    assert "height_m" in errors(answer)


def test_taking_down_ends_it_with_a_visit_and_the_card_waits_at_home(client, cast):
    answer = post(
        client,
        "/cameras/deployments/of/meadow-2026-03-03/end/",
        end="2026-06-30T12:00",
        found="full",
        bring="on",
        note_more="rusty",
    )
    cast.deployment.refresh_from_db()
    visit = m.Visit.objects.get()

    assert answer.status_code == 302
    assert cast.deployment.end == visit.at == datetime(2026, 6, 30, 10, 0, tzinfo=UTC)
    assert (visit.arrival, visit.card_out, visit.note) == ("full", cast.card, "rusty")
    assert m.Camera.objects.get(pk=cast.red.pk).state == "ready"
    assert m.Card.objects.get().state == "home"


def test_it_cannot_be_taken_down_before_it_was_set_up(client, cast):
    answer = post(client, "/cameras/deployments/of/meadow-2026-03-03/end/", end="2026-01-01T12:00", found="working")

    assert errors(answer) == {"end": ["it was set up on 2026-03-03 11:00; it can only end after that"]}
    assert m.Visit.objects.count() == 0


def test_a_camera_found_gone_is_lost(client, cast):
    post(client, "/cameras/deployments/of/meadow-2026-03-03/end/", end="2026-06-30T12:00", found="gone")

    assert m.Camera.objects.get(pk=cast.red.pk).state == "lost"


def test_a_visit_swaps_the_card(client, cast):
    other = m.Card.objects.create(label="C-2")
    answer = post(
        client,
        "/cameras/visits/new/?deployment=meadow-2026-03-03",
        deployment=cast.deployment.pk,
        at="2026-06-28T10:00",
        by="Suri",
        arrival="working",
        card_out=cast.card.label,
        card_in=other.label.lower(),
    )
    cast.deployment.refresh_from_db()

    assert answer.status_code == 302
    assert cast.deployment.card == other
    assert [c.state for c in m.Card.objects.order_by("label")] == ["home", "out"]


def test_a_visit_offers_no_card_by_itself(client, cast):
    """A card taken for swapped because a field was filled already would be looked for in vain."""
    form = client.get("/cameras/visits/new/?deployment=meadow-2026-03-03").context["form"]

    assert form["card_out"].value() is None
    assert form.now["card_out"] == "in it now: C-1"


def test_the_cameras_input_is_kept_as_read(client, cast):
    post(
        client,
        "/cameras/visits/new/",
        deployment=cast.deployment.pk,
        at="2026-06-28T10:00",
        arrival="working",
        clock_shown="2026-06-28T09:02:30",
    )
    visit = m.Visit.objects.get()

    assert visit.clock_shown == datetime(2026, 6, 28, 9, 2, 30, tzinfo=UTC)  # the input, not turned by any zone
    assert visit.clock_true == datetime(2026, 6, 28, 8, 0, tzinfo=UTC)


def test_a_visit_needs_a_camera_or_a_site(client, cast):
    answer = post(client, "/cameras/visits/new/", at="2026-06-28T10:00", arrival="working")

    assert errors(answer) == {"site": ["choose a camera, or the empty site that was visited"]}


def test_two_cameras_cannot_have_one_serial(client, cast):
    answer = post(client, "/cameras/new/", serial="R-1", state="ready")

    assert "serial" in errors(answer)


def test_a_standing_camera_cannot_be_called_ready(client, cast):
    answer = post(client, f"/cameras/{cast.red.pk}/change/", serial="R-1", name="Red", state="ready")

    assert errors(answer) == {"state": ["it still stands at Meadow; end that deployment first"]}


def test_a_record_on_which_others_hang_is_not_deleted_and_says_why(client, cast):
    answer = client.post(f"/cameras/{cast.red.pk}/delete/")

    assert answer.status_code == 409
    assert "On it hang 1 deployment, and their history would be lost. Set its state to retired instead." in (
        answer.content.decode()
    )
    assert m.Camera.objects.filter(pk=cast.red.pk).exists()


def test_asking_to_delete_deletes_nothing(client, cast):
    client.get(f"/cameras/{cast.blue.pk}/delete/")

    assert m.Camera.objects.filter(pk=cast.blue.pk).exists()


def test_a_deleted_visit_can_be_put_back_whole(client, cast):
    visit = m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=cast.now, note="the fox den")
    client.post(f"/cameras/visits/{visit.pk}/delete/")
    assert m.Visit.objects.count() == 0
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/").content.decode()
    assert "Put the visit of 1 July 2026 to Meadow back" in page

    client.post("/people/undo/")
    again = m.Visit.objects.get()

    assert (again.pk, again.uuid, again.note) == (visit.pk, visit.uuid, "the fox den")


def test_undo_twice_does_nothing_more(client, cast):
    visit = m.Visit.objects.create(site=cast.meadow, at=cast.now)
    client.post(f"/cameras/visits/{visit.pk}/delete/")
    client.post("/people/undo/")
    answer = client.post("/people/undo/", follow=True)

    assert m.Visit.objects.count() == 1
    assert "It could not be put back" in answer.content.decode()


def test_a_deployment_with_corrections_warns_that_it_cannot_come_back(client, cast):
    m.ClockCorrection.objects.create(deployment=cast.deployment, shift_s=5, reason="x", by="y", at=cast.now)
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/delete/").content.decode()

    assert "this cannot be undone" in page


def test_a_watch_is_corrected_from_one_moment_and_undone(client, cast):
    answer = post(
        client,
        "/cameras/deployments/of/meadow-2026-03-03/clock/",
        shown="2026-06-01T10:00:00",
        truly="2026-06-01T12:30:00",
        reason="the church bell",
    )
    made = m.ClockCorrection.objects.get()

    assert answer.status_code == 302
    # 12:30 in Vienna is 10:30 UTC; the clock (UTC+1) said 10:00, so 09:00 UTC: it was 90 minutes slow.
    assert (made.shift_s, made.from_raw, made.to_raw) == (5400.0, None, None)

    client.post(f"/cameras/clock/{made.pk}/undo/")
    made.refresh_from_db()

    assert made.undone_at is not None


def test_a_watch_whose_end_lies_before_its_beginning_is_refused(client, cast):
    answer = post(
        client,
        "/cameras/deployments/of/meadow-2026-03-03/clock/",
        shown="2026-06-01T10:00",
        truly="2026-06-01T12:30",
        reason="x",
        from_raw="2026-06-02T00:00",
        to_raw="2026-06-01T00:00",
    )

    assert errors(answer) == {"to_raw": ["it must lie after the beginning"]}


@pytest.mark.parametrize("path", ["clock/1/undo/", "visits/9/", "999/", "deployments/of/none/", "models/of/none/"])
def test_what_is_not_there_is_not_found(client, cast, path):
    answer = client.post(f"/cameras/{path}") if "undo" in path else client.get(f"/cameras/{path}")

    assert answer.status_code == 404


def test_getting_never_saves(client, cast):
    assert client.get("/cameras/clock/1/undo/").status_code == 405
    assert client.get("/people/undo/").status_code == 405


def test_next_leads_only_to_our_own_pages(client, cast):
    data = {"serial": "N-1", "state": "ready"}

    assert post(client, "/cameras/new/", **data, next="https://elsewhere.example/").url.startswith("/cameras/")
    assert post(client, "/cameras/new/", serial="N-2", state="ready", next="//elsewhere.example/").url.startswith(
        "/cameras/"
    )
    assert post(client, "/cameras/new/", serial="N-3", state="ready", next="/map/").url == "/map/"


@pytest.mark.parametrize(("fast_s", "told"), [(46, "46 s fast"), (-180, "3 min slow"), (0.4, "right")])
def test_both_pages_tell_what_a_visit_read_of_the_clock(client, cast, fast_s, told):
    d = m.Deployment.objects.get(slug="meadow-2026-03-03")
    at = d.start + timedelta(days=5)
    shown = at + timedelta(minutes=d.utc_offset_min, seconds=fast_s)
    m.Visit.objects.create(site=d.site, deployment=d, at=at, by="Ilka", clock_shown=shown, clock_true=at)

    for address in (d.get_absolute_url(), d.camera.get_absolute_url()):
        assert f'data-label="Clock">{told}<' in client.get(address).content.decode(), address
