"""Rounds and what comes home, with odd ground, odd words and odd files: no fault, no lost note, no nonsense."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from homecoming import field_form_file, visit
from nonsense import nonsense

pytestmark = pytest.mark.django_db
PAPERS = ("sheet.pdf", "table.csv", "round.gpx", "round.ics", "field-form.html")
OTHER = "99999999-2222-4333-8444-555555555555"


def read(answer) -> str:
    """What a person reads of a page."""
    text = re.sub(r"(?s)<(script|style|svg)\b.*?</\1>", " ", answer.content.decode())
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))).replace("“None”", "")


def form(wish, **changes):
    return {
        "name": "West side", "first": wish().first.isoformat(), "days": "1", "people": "Ada, Ben",
        "from_time": "08:00", "to_time": "17:00", "going": "foot", "which": "all", "next_days": "30",
        "worth_min": "30", "by_tracks": "on", **changes,
    }  # fmt: skip


def same_place(base):
    from trod.catalogue.models import Site

    Site.objects.update(latitude=47.295, longitude=13.895)


def all_closed(base):
    from trod.catalogue.models import Site

    Site.objects.update(closed=[{"from": "01-01", "to": "12-31", "why": "a hunt"}])


def far_start(base):
    base.reserve.base_latitude, base.reserve.base_longitude = -40, 170
    base.reserve.save()


def tracks_elsewhere(base):
    line = {"type": "LineString", "coordinates": [[0, 0], [0.01, 0.01]]}
    base.reserve.boundary = {
        "type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"drive": True}, "geometry": line}]
    }  # fmt: skip
    base.reserve.save()


def one_site(base):
    base.second.delete()


def in_feet(base):
    base.reserve.units = "us"
    base.reserve.save()


@pytest.mark.parametrize("ground", [same_place, all_closed, far_start, tracks_elsewhere, one_site, in_feet])
@pytest.mark.parametrize("more", [{}, {"which": "pays", "going": "car"}, {"days": "3", "people": "Ada; Ben"}])
def test_on_odd_ground_a_round_and_its_papers_come_or_are_refused_in_words(client, base, wish, ground, more):
    ground(base)
    answer = client.post("/rounds/new/", form(wish, **more))

    assert answer.status_code in (302, 422)
    if answer.status_code == 302:
        for paper in PAPERS:
            assert client.get(f"{answer.url}take/{paper}").status_code in (200, 302)
        answer = client.get(answer.url)
    else:
        assert "needed: " in read(answer)
    assert nonsense(read(answer)) == []
    assert nonsense(read(client.get("/rounds/"))) == []


def test_where_all_is_closed_no_price_is_blamed(client, base, wish):
    all_closed(base)
    page = read(client.get(client.post("/rounds/new/", form(wish)).url))

    assert "No stop can be gone to on these days: each is closed" in page
    assert "Closed on that day: a hunt" in page and "worth the way" not in page


def test_in_feet_and_miles_no_kilometre_is_left(client, base, wish):
    from click.testing import CliRunner

    from trod.commands import main

    in_feet(base)
    page = read(client.get(client.post("/rounds/new/", form(wish, which="pays")).url))
    told = CliRunner().invoke(main, ["rounds", "--day", wish().first.isoformat(), "--which", "all"]).output

    for words in (page, told):
        assert " mi on foot" in words or " mi by car" in words
        assert re.findall(r"\d km", words) == []


def test_where_the_way_is_longer_than_the_light_the_cautions_say_dark(client, base, wish):
    """At 60 north in December light comes late: who is at the camera with the first of it has left in the dark."""
    from trod.catalogue.models import Site
    from trod.catalogue.rounds import rounds

    base.reserve.latitude = base.reserve.base_latitude = 60.0
    base.reserve.save()
    Site.objects.update(latitude=60.03)
    first = wish().first.replace(month=12, day=20)
    planned = rounds.plan(base.reserve, wish(first=first, from_min=360, which="all", by_car=False), base.now)
    (trip,) = planned.plan.trips

    assert planned.light and trip.visits
    dark = [one for one in planned.cautions if one.about == "dark"]
    left = trip.leave.hour * 60 + trip.leave.minute
    assert left < planned.light[0].from_min
    assert dark


def test_a_stop_that_is_in_already_is_not_put_in_twice(client, kept):
    client.post(f"{kept.get_absolute_url()}order/", {"do": "in", "stop": "meadow"})
    page = client.get(kept.get_absolute_url())
    kept.refresh_from_db()

    assert "needed: each stop of this round once" in read(page)
    assert kept.stops.filter(site__slug="meadow").count() == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--away", "8:75-17:00"), "needed are two times"),
        (("--away", "99:99-99:99"), "needed are two times"),
        (("--lat", "nan", "--lon", "1"), "latitude of the start: got nan; needed: degrees from -90 to 90"),
        (("--lat", "1", "--lon", "999"), "longitude of the start: got 999.0"),
    ],
)
def test_the_command_refuses_odd_hours_and_starts_in_words(base, wish, options, words):
    from click.testing import CliRunner

    from trod.commands import main

    done = CliRunner().invoke(main, ["rounds", "--day", wish().first.isoformat(), *options])
    assert done.exit_code in (2, 3) and words in done.output


def bring(client, data):
    return client.post("/rounds/home/", {"file": SimpleUploadedFile("home.json", data)})


def test_a_file_cut_short_at_any_place_is_refused_and_whole_it_comes(client, kept, base):
    from trod.catalogue.models import Visit

    good = field_form_file(str(kept.uuid), [visit(base.now)], at=base.now)
    for n in (0, 1, 2, 10, len(good) // 3, len(good) // 2, len(good) - 2, len(good) - 1):
        assert bring(client, good[:n]).status_code == 422, n
    assert Visit.objects.count() == 0
    assert "Visits: 1 new." in read(bring(client, good))


@pytest.mark.parametrize(
    "data",
    [
        b"hello", b"[]", b"%PDF-1.4", b"PK\x03\x04", bytes(range(256)) * 50, b'{"a":' + b"[" * 200_000,
        b'{"a":' + b"9" * 5000 + b"}", b"x" * 60_000_000, b'{"a":"' + b"y" * 60_000_000 + b'"}',
        b"day,key,came_at\n9999-12-31,meadow,23:59\n", b"day,key,came_at\n0001-01-01,meadow,0:00\n",
        b"day,key,came_at\n2026-01-01,meadow,9999-12-31 23:59\n", b"day,key,came_at\n2026-01-01,meadow,25:99\n",
        b"day,key,came_at,true_time\n2026-01-01,meadow,9:00,0001-01-01 0:00\n", b"day,key,came_at\n",
        b"day,key,came_at\n2026-01-01,meadow," + b"9" * 200_000, b'day,key,came_at\n"2026',
    ],
    ids=lambda data: repr(data[:20]),
)  # fmt: skip
def test_what_is_no_file_from_a_round_is_refused_in_words_and_keeps_nothing(client, base, data):
    from trod.catalogue.models import Visit

    answer = bring(client, data)

    assert answer.status_code == 422
    assert "Nothing was imported" in read(answer) and "needed" in read(answer)
    assert Visit.objects.count() == 0


def test_a_table_with_its_heading_alone_is_told_that_no_line_is_filled_in(client, base):
    answer = read(bring(client, b"day,key,came_at\n"))

    assert "no line with a time under came_at" in answer


@pytest.mark.parametrize(("choice", "visits"), [("one", 1), ("other", 2), ("both", 2)])
def test_a_strange_site_and_a_card_nobody_knows_lose_no_note(client, kept, base, choice, visits):
    from trod.catalogue.models import Card, Site, Visit
    from trod.catalogue.rounds import field_notes

    strange = visit(base.now, site="nowhere", deployment="x")
    file = field_form_file(
        str(kept.uuid), [strange, visit(base.now, uid=OTHER, card_in="Z-99 ☃", card_out="?")], at=base.now
    )
    for said in ("1 new, 1 held until you decide", "1 known already, 1 held until you decide"):
        assert said in read(bring(client, file))
    assert Card.objects.filter(label="Z-99 ☃").count() == 1
    (held,) = field_notes.open_held()
    if choice != "one":  # nothing is settled before the site is there, and nothing is lost
        client.post(f"/rounds/home/held/{held.name}/", {"keep": choice})
        assert len(field_notes.open_held()) == 1 and Visit.objects.count() == 1
        Site.objects.create(reserve=base.reserve, name="Nowhere", slug="nowhere", latitude=1, longitude=1)
    client.post(f"/rounds/home/held/{held.name}/", {"keep": choice})

    assert field_notes.open_held() == []
    assert Visit.objects.count() == visits


def test_two_phones_that_bring_one_visit_differently_are_both_kept_until_decided(client, kept, base):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    first = field_form_file(str(kept.uuid), [visit(base.now, by="Ada", work="one")], at=base.now)
    second = field_form_file(
        str(kept.uuid), [visit(base.now + timedelta(minutes=9), uid=OTHER, by="Ben", work="two")], at=base.now, phone=2
    )
    bring(client, first)
    said = read(bring(client, second))

    assert "1 held until you decide" in said
    (held,) = field_notes.open_held()
    assert {held.one.work, held.other.work} == {"one", "two"}
    assert [v.work for v in Visit.objects.all()] == ["one"]


def test_a_camera_nobody_saw_for_longer_than_a_forecast_reaches_is_gone_to(base):
    """Beyond its last day the forecast knows no more; the camera is not forgotten for that."""
    from trod import clock
    from trod.catalogue.forecasts import forecasts
    from trod.catalogue.models import Deployment
    from trod.catalogue.rounds import due as dues

    Deployment.objects.filter(pk=base.second.pk).update(start=base.now - timedelta(days=4000))
    forecasts.make(base.reserve, base.now)
    today = clock.local(base.now, base.reserve.zone).date()
    found = dues.due(base.reserve, base.now, days=[today], next_days=30)
    day, why = dues.best_day(base.reserve, found, base.now)

    assert day == today
    assert "2 of 2 cameras" in why


def changed_at_home(client, kept, base):
    """Changed on the laptop and on the phone."""
    from trod.catalogue.models import Visit

    bring(client, field_form_file(str(kept.uuid), [visit(base.now, work="first")], at=base.now))
    Visit.objects.update(work="at home")
    return [visit(base.now, revision=2, work="on the phone")], {"at home", "on the phone"}


def one_number_twice(client, kept, base):
    """Two states of one visit under one number."""
    bring(client, field_form_file(str(kept.uuid), [visit(base.now, work="this")], at=base.now))
    return [visit(base.now, work="that")], {"this", "that"}


def two_phones(client, kept, base):
    """Two people noted the same visit, each on a phone."""
    bring(client, field_form_file(str(kept.uuid), [visit(base.now, work="Ada's")], at=base.now))
    return [visit(base.now + timedelta(minutes=9), uid=OTHER, by="Ben", work="Ben's")], {"Ada's", "Ben's"}


def card_in_two(client, kept, base):
    """One card said to be in two cameras."""
    bring(client, field_form_file(str(kept.uuid), [visit(base.now, work="here")], at=base.now))
    there = visit(base.now, uid=OTHER, site="ford", deployment="ford-1", card_out="", card_in="C-2", work="there")
    return [there], {"here", "there"}


@pytest.mark.parametrize("choice", ["one", "other", "both"])
@pytest.mark.parametrize("conflict", [changed_at_home, one_number_twice, two_phones, card_in_two])
def test_however_a_conflict_is_decided_no_words_are_lost_and_it_is_asked_once(
    client, kept, base, trod_home, conflict, choice
):
    from trod.catalogue.models import Visit
    from trod.catalogue.rounds import field_notes

    notes, words = conflict(client, kept, base)
    file = field_form_file(str(kept.uuid), notes, at=base.now, phone=2)
    for _ in range(2):  # the same file twice asks once
        assert "1 held until you decide" in read(bring(client, file))
        assert len(field_notes.open_held()) == 1
    (held,) = field_notes.open_held()
    sides = (held.one.work, held.other.work)
    client.post(f"/rounds/home/held/{held.name}/", {"keep": choice})
    stand = {v.work for v in Visit.objects.all()}

    assert field_notes.open_held() == []
    assert set(sides) == words
    assert (sides[1] in stand) == (choice in ("other", "both"))
    if conflict is not card_in_two:  # there the first visit stands whatever becomes of the second
        assert (sides[0] in stand) == (choice in ("one", "both"))
    on_disk = "".join(p.read_text("utf-8") for p in (trod_home / "archive" / "field-notes").rglob("*.json"))
    assert all(said in on_disk for said in words)
    before = sorted(str(v.uuid) for v in Visit.objects.all())
    bring(client, file)
    assert field_notes.open_held() == []
    assert sorted(str(v.uuid) for v in Visit.objects.all()) == before


def test_the_command_takes_in_no_more_than_a_field_form_can_make(base, tmp_path, monkeypatch):
    """A file without an end, such as a device, is not read to its end."""
    from click.testing import CliRunner

    from trod.commands import main

    monkeypatch.setattr("trod.field.form.reading.MOST_BYTES", 3_000_000)
    big = tmp_path / "big.json"
    big.write_bytes(b"{" * 3_000_001)
    done = CliRunner().invoke(main, ["fieldform", "--take", str(big)])

    assert done.exit_code == 3 and "needed: a file of at most 3 MB" in done.output
