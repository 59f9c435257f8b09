"""Who is due, a round planned, put in another order, taken along."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from trod.catalogue.forecasts import forecasts
from trod.planning.visit.byhand import Doubt

pytestmark = pytest.mark.django_db


def form(base, wish, **changes):
    w = wish()
    return {
        "name": "West side", "first": w.first.isoformat(), "days": "1", "people": "Ada, Ben", "from_time": "08:00",
        "to_time": "17:00", "going": "foot", "which": "all", "next_days": "30", "worth_min": "30", "by_tracks": "on",
        **changes,
    }  # fmt: skip


def worker(base):
    """What the worker does as soon as it comes by."""
    forecasts.make(base.reserve, base.now)


def test_the_first_look_waits_for_no_forecast_and_comes_again_by_itself(client, base, monkeypatch):
    """At a million pictures it took 5.8 s: it worked all forecasts out."""
    with monkeypatch.context() as patched:
        patched.setattr(forecasts, "work_out", None)
        page = client.get("/rounds/").content.decode()

    assert "No camera has a forecast yet. They are being worked out" in page
    assert 'hx-get="/rounds/" hx-trigger="every 5s"' in page
    worker(base)
    assert "every 5s" not in client.get("/rounds/").content.decode()


def test_a_camera_that_has_stood_long_on_old_batteries_is_due_before_a_fresh_one(client, base):
    worker(base)
    page = client.get("/rounds/").content.decode()

    assert page.index("/sites/of/meadow/") < page.index("/sites/of/ford/")
    assert "Who is due" in page and "Plan a round" in page


def test_without_a_reserve_and_without_a_camera_the_page_says_what_to_do_first(client, db, trod_home):
    from trod.catalogue.models import Reserve

    assert "Make the reserve" in client.get("/rounds/").content.decode()
    Reserve.objects.create(name="R", slug="r", latitude=1, longitude=1)
    page = client.get("/rounds/").content.decode()
    assert "No camera stands anywhere" in page and "New deployment" in page
    assert "nowhere to go" in client.get("/rounds/new/").content.decode()


def test_a_round_without_a_start_is_refused_with_where_to_set_it(client, base, wish):
    base.reserve.base_latitude = base.reserve.base_longitude = None
    base.reserve.save()
    answer = client.post("/rounds/new/", form(base, wish))

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "no place where rounds start" in page and "/rounds/start/" in page


def test_a_planned_round_is_kept_with_its_stops_in_turn(client, base, wish):
    from trod.catalogue.models import Round

    answer = client.post("/rounds/new/", form(base, wish))
    row = Round.objects.get()

    assert answer.status_code == 302 and answer.url == row.get_absolute_url()
    assert [s.turn for s in row.stops.all()] == [1, 2]
    assert {s.site.slug for s in row.stops.all()} == {"meadow", "ford"}
    page = client.get(answer.url).content.decode()
    assert "Card out, an empty one in (C-1 is in Red)" in page
    assert "straight lines, made longer by 1.3" in page


def test_a_site_named_not_this_time_is_left_out_with_that_reason(client, base, wish):
    client.post("/rounds/new/", form(base, wish, **{"site-ford": "leave"}))
    from trod.catalogue.models import Round

    row = Round.objects.get()
    assert [s.site.slug for s in row.stops.all()] == ["meadow"]
    page = client.get(row.get_absolute_url()).content.decode()
    assert "You left it out" in page
    client.post("/rounds/new/", form(base, wish, which="named", name="Two", **{"site-meadow": "must"}))
    page = client.get(Round.objects.get(name="Two").get_absolute_url()).content.decode()
    assert "; 1 is left for another time." in page


def test_when_no_visit_pays_the_page_says_so_and_what_to_do(client, base, wish):
    from trod.catalogue.models import Round

    for site in (base.meadow, base.ford):
        site.disturbance_days = 90
        site.save()
    client.post("/rounds/new/", form(base, wish, which="pays"))
    row = Round.objects.get()

    assert row.stops.count() == 0
    page = client.get(row.get_absolute_url()).content.decode()
    assert "No stop is worth going to on these days." in page and "A visit saves no camera-day" in page
    client.post(f"/rounds/of/{row.uuid}/order/", {"do": "in", "stop": "ford"})
    assert [s.site.slug for s in row.stops.all()] == ["ford"]


def test_of_very_many_cameras_those_that_save_most_are_chosen_from(base, wish, monkeypatch):
    from trod.catalogue.rounds import rounds

    monkeypatch.setattr(rounds, "LEAST_CANDIDATES", 1)
    monkeypatch.setattr(rounds, "CANDIDATES_AN_HOUR", 0.0)
    made = rounds.plan(base.reserve, wish(which="all"), base.now)

    assert made.plan.stops == 1
    (left,) = made.plan.left_out
    assert left.why == "no room beside better"
    assert left.saves_days <= made.plan.saves_days


def test_a_site_closed_on_the_day_is_left_out_and_the_page_says_why(client, base, wish):
    from trod.catalogue.models import Round

    day = wish().first
    base.meadow.closed = [{"from": f"{day:%m-%d}", "to": f"{day:%m-%d}", "why": "ground-nesting birds"}]
    base.meadow.save()
    client.post("/rounds/new/", form(base, wish))
    row = Round.objects.get()

    assert [s.site.slug for s in row.stops.all()] == ["ford"]
    assert "ground-nesting birds" in client.get(row.get_absolute_url()).content.decode()


def test_a_stop_that_must_be_and_cannot_is_told_and_nothing_is_kept(client, base, wish):
    from trod.catalogue.models import Round

    day = wish().first
    base.meadow.closed = [{"from": f"{day:%m-%d}", "to": f"{day:%m-%d}", "why": "a hunt"}]
    base.meadow.save()
    answer = client.post("/rounds/new/", form(base, wish, which="pays", **{"site-meadow": "must"}))

    assert answer.status_code == 422 and "a hunt" in answer.content.decode()
    assert Round.objects.count() == 0


@pytest.mark.parametrize("asked", ["³", "-1", "", "nan", "30.5", "9" * 50, "<b>"])
def test_a_strange_number_of_days_ahead_shows_a_month(client, base, asked):
    answer = client.get("/rounds/", {"days": asked})

    assert answer.status_code == 200 and answer.context["ahead"] == 30


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"to_time": "07:00"}, "needed: a time after 08:00"),
        ({"first": "2020-01-01"}, "or a later day"),
        ({"start_latitude": "47"}, "give both latitude and longitude"),
        ({"people": ";".join("abcdefgh")}, "at most 6 parties"),
        ({"days": "9"}, "less than or equal to 7"),
        ({"name": ""}, "This field is required"),
    ],
)
def test_what_cannot_be_planned_comes_back_with_the_reason(client, base, wish, changes, words):
    answer = client.post("/rounds/new/", form(base, wish, **changes))

    assert answer.status_code == 422 and words in answer.content.decode()


def test_moving_a_stop_times_the_round_anew_and_can_be_undone(client, kept):
    before = [s.site.slug for s in kept.stops.all()]
    first = kept.plan["trips"][0]["visits"][0]["arrive"]
    client.post(f"/rounds/of/{kept.uuid}/order/", {"do": "later", "stop": before[0]})
    kept.refresh_from_db()

    assert [s.site.slug for s in kept.stops.all()] == before[::-1]
    assert kept.plan["by_hand"] and kept.plan["trips"][0]["visits"][0]["key"] == before[1]
    client.post("/people/undo/")
    kept.refresh_from_db()
    assert [s.site.slug for s in kept.stops.all()] == before
    assert kept.plan["trips"][0]["visits"][0]["arrive"] == first and not kept.plan["by_hand"]


def test_a_stop_taken_out_can_be_put_in_again(client, kept):
    client.post(f"/rounds/of/{kept.uuid}/order/", {"do": "out", "stop": "ford"})
    assert [s.site.slug for s in kept.stops.all()] == ["meadow"]
    client.post(f"/rounds/of/{kept.uuid}/order/", {"do": "in", "stop": "ford"})

    assert [s.site.slug for s in kept.stops.all()] == ["meadow", "ford"]


def test_an_order_that_was_drawn_must_hold_the_same_stops(client, kept):
    keys = [s.site.slug for s in kept.stops.all()]
    client.post(f"/rounds/of/{kept.uuid}/order/", {"do": "drawn", "keys": ",".join(keys[::-1])})
    assert [s.site.slug for s in kept.stops.all()] == keys[::-1]
    answer = client.post(f"/rounds/of/{kept.uuid}/order/", {"do": "drawn", "keys": "meadow"}, follow=True)

    assert "the same stops in another order" in answer.content.decode()
    assert [s.site.slug for s in kept.stops.all()] == keys[::-1]


def test_a_deleted_round_comes_back_whole(client, kept):
    from trod.catalogue.models import Round

    stops = [(s.turn, s.site.slug) for s in kept.stops.all()]
    client.post(f"/rounds/of/{kept.uuid}/delete/")
    assert not Round.objects.exists()
    client.post("/people/undo/")

    row = Round.objects.get(uuid=kept.uuid)
    assert [(s.turn, s.site.slug) for s in row.stops.all()] == stops and row.plan == kept.plan


def test_a_damaged_plan_is_told_and_can_be_planned_anew(client, kept):
    kept.plan = {"version": 1, "stops": 3}
    kept.save()
    page = client.get(kept.get_absolute_url())

    assert page.status_code == 200 and "Plan it anew" in page.content.decode()
    assert client.get(f"/rounds/of/{kept.uuid}/change/").status_code == 200


def test_what_is_taken_along_can_be_read_by_others(client, kept):
    import gpxpy
    import icalendar

    from trod.catalogue.rounds import round_papers

    at = f"/rounds/of/{kept.uuid}/take/"
    gpx = gpxpy.parse(client.get(at + "round.gpx").content.decode())
    assert {p.name for p in gpx.waypoints} == {"Start", "Meadow", "Ford"}
    there = {p.name: (p.latitude, p.longitude) for p in gpx.waypoints}
    assert there["Meadow"] == (47.30, 13.90) and there["Start"] == (47.295, 13.895)
    calendar = icalendar.Calendar.from_ical(client.get(at + "round.ics").content)
    (entry,) = calendar.walk("VEVENT")
    assert "2 camera sites" in str(entry["SUMMARY"])
    (trip,) = round_papers.planned_of(kept).plan.trips
    zone = kept.reserve.zone_info
    turns = [v.stop.name for v in trip.visits]
    assert [p.name for p in gpx.routes[0].points if p.name in turns] == turns
    for name, moment in (("DTSTART", trip.leave), ("DTEND", trip.home)):
        assert abs(entry.decoded(name) - moment.replace(tzinfo=zone)) < timedelta(minutes=1), name
    assert client.get(at + "sheet.pdf").content.startswith(b"%PDF")
    assert client.get(at + "nonsense.exe").status_code == 404


def test_a_week_of_two_parties_has_an_entry_for_each_trip(client, base, wish):
    import icalendar

    from trod.catalogue.rounds import rounds

    w = wish(which="all", days=3, people="Ada; Ben", must=("meadow", "ford"))
    order = [(w.first, "Ada", ["meadow"]), (w.first + timedelta(days=2), "Ben", ["ford"])]
    planned = rounds.in_order(base.reserve, w, order, base.now)
    kept = rounds.keep(base.reserve, w, planned, by="Ada", now=base.now)
    text = client.get(f"/rounds/of/{kept.uuid}/take/round.ics").content
    entries = icalendar.Calendar.from_ical(text).walk("VEVENT")

    assert len({str(e["UID"]) for e in entries}) == len(entries) == 2
    assert [e.decoded("DTSTART").date() for e in entries] == [w.first, w.first + timedelta(days=2)]


def test_the_field_form_is_offered_as_a_file_and_no_policy_of_ours_stops_its_script(client, kept):
    answer = client.get(f"/rounds/of/{kept.uuid}/take/field-form.html")

    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert "script-src" not in answer.headers["Content-Security-Policy"]
    page = answer.content.decode()
    assert str(kept.uuid) in page and "/fieldform/visits/" in page and "Meadow" in page


def test_without_sensitive_places_the_field_form_does_not_hold_them(client, base, kept):
    base.meadow.sensitive = True
    base.meadow.save()
    whole = client.get(f"/rounds/of/{kept.uuid}/take/field-form.html?places=true")
    left_out = client.get(f"/rounds/of/{kept.uuid}/take/field-form.html").content.decode()

    assert "47.30000, 13.90000" in whole.content.decode() and "47.30000, 13.90000" not in left_out
    assert "TRUE places" in whole.content.decode() and "-true-places.html" in whole.headers["Content-Disposition"]
    assert "Its place is left out" in left_out


def test_the_field_form_carries_the_setup_sheet_of_what_hangs_there(client, base, kept):
    from trod.catalogue.models import Placement

    base.deployment.placement = Placement.objects.create(
        site=base.meadow, name="west tree", animal="red_deer", inputs={}, at=base.now
    )
    base.deployment.save()
    page = client.get(f"/rounds/of/{kept.uuid}/take/field-form.html").content.decode()

    assert "Lens height" in page and "Set-up sheet" in page
    assert page.count("<svg") >= 3  # two sketch maps and a side view


def test_many_cameras_are_planned_by_the_worker(client, base, wish, monkeypatch):
    from trod.catalogue import jobs
    from trod.catalogue.models import Round
    from trod.web.rounds import views

    monkeypatch.setattr(views, "FEW", 1)
    answer = client.post("/rounds/new/", form(base, wish))
    assert answer.url.startswith("/rounds/work/") and "waiting its turn" in client.get(answer.url).content.decode()
    from trod.catalogue.work import handlers  # noqa: F401

    job = jobs.work_once()
    assert job.state == "done", job.error
    assert client.get(answer.url).url == Round.objects.get().get_absolute_url()


def test_where_rounds_start_is_kept(client, base):
    client.post("/rounds/start/", {"base_latitude": "47.2", "base_longitude": "13.8"})
    base.reserve.refresh_from_db()

    assert (base.reserve.base_latitude, base.reserve.base_longitude) == (47.2, 13.8)
    answer = client.post("/rounds/start/", {"base_latitude": "147", "base_longitude": "13.8"})
    assert answer.status_code == 422


def test_cold_nights_are_typed_or_come_from_a_file_and_can_be_taken_back(client, base):
    from django.core.files.uploadedfile import SimpleUploadedFile

    typed = {f"m{n}": str(n - 8) for n in range(1, 13)}
    client.post("/rounds/nights/", {**typed, "sd": "3", "source": "the hut"})
    base.reserve.refresh_from_db()
    assert base.reserve.climate == {
        "minimum_c": [float(n - 8) for n in range(1, 13)], "sd_c": [3.0] * 12, "source": "the hut"
    }  # fmt: skip
    table = "month,minimum_f\n" + "".join(f"{n},{30 + n}\n" for n in range(1, 13))
    client.post("/rounds/nights/", {"file": SimpleUploadedFile("n.csv", table.encode())})
    base.reserve.refresh_from_db()
    assert base.reserve.climate["minimum_c"][1] == 0.0
    client.post("/rounds/nights/", {})
    base.reserve.refresh_from_db()
    assert base.reserve.climate == {}


def test_spreads_by_month_outlive_a_change_of_one_night(client, base):
    spreads = [3.0 + n / 10 for n in range(12)]
    base.reserve.climate = {"minimum_c": [0.0] * 12, "sd_c": spreads, "source": "x"}
    base.reserve.save()
    client.post("/rounds/nights/", {**{f"m{n}": "0" for n in range(2, 13)}, "m1": "-5", "sd": "", "source": "x"})
    base.reserve.refresh_from_db()

    assert base.reserve.climate["sd_c"] == spreads and base.reserve.climate["minimum_c"][0] == -5


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("month,low\n1,2\n", "the columns month and minimum_c"),
        ("month,minimum_c\n1,2\n", "2, 3, 4"),
        ("month,minimum_c\n1,2\n1,3\n", "each month from 1 to 12 once"),
        ("month,minimum_c\n1,cold\n", "and numbers"),
        ("month,minimum_c\n1,-200\n", "degrees that a night can have"),
    ],
)
def test_a_file_of_nights_that_does_not_serve_says_what_is_needed(client, base, table, words):
    from django.core.files.uploadedfile import SimpleUploadedFile

    answer = client.post("/rounds/nights/", {"file": SimpleUploadedFile("n.csv", table.encode())})

    assert answer.status_code == 422 and words in answer.content.decode()


def test_eleven_months_are_not_enough(client, base):
    answer = client.post("/rounds/nights/", {f"m{n}": "1" for n in range(2, 13)})

    assert answer.status_code == 422 and "January is missing" in answer.content.decode()


def test_a_camera_found_stopped_wants_somebody_today(client, base):
    from trod.catalogue.models import Visit

    Visit.objects.create(
        site=base.ford, deployment=base.second, at=base.now - timedelta(days=2), arrival=Visit.Arrival.DEAD
    )
    worker(base)
    page = client.get("/rounds/").content.decode()

    assert "Go as soon as you can: Ford stopped" in page
    assert page.index("/sites/of/ford/") < page.index("/sites/of/meadow/")


def test_rounds_and_what_came_home_outlive_the_database(kept, base, trod_home):
    from trod.catalogue.papers import ledger

    book = ledger.dump_ledger()

    (row,) = book["rounds"]
    assert row["plan"]["trips"] and row["wish"]["name"] == "Both"
    assert [s["site"] for s in book["round_stops"]] == [s.site.slug for s in kept.stops.all()]


def test_a_trip_by_hand_is_told_where_it_does_not_fit(base, wish):
    from trod.catalogue.rounds import rounds

    w = wish(from_min=10 * 60, to_min=10 * 60 + 40, by_car=False)
    made = rounds.in_order(base.reserve, w, [(w.first, "Ada and Ben", ["meadow", "ford"])], base.now)

    assert "home late" in {doubt.why for doubt in made.doubts}


def test_what_does_not_fit_in_an_order_is_on_the_page_in_the_readers_units(client, base, wish):
    from trod.catalogue.models import Reserve
    from trod.catalogue.rounds import rounds

    w = wish(from_min=10 * 60, to_min=10 * 60 + 40, by_car=False, most_load_kg=0.0)
    made = rounds.in_order(base.reserve, w, [(w.first, "Ada and Ben", ["meadow", "ford"])], base.now)
    heavy = replace(made, doubts=(*made.doubts, Doubt(why="load", name="Ada and Ben", number=6.2, most=1.0)))
    row = rounds.keep(base.reserve, w, heavy, by="Ada", now=base.now)

    metric = client.get(row.get_absolute_url()).content.decode()
    Reserve.objects.update(units="us")
    us = client.get(row.get_absolute_url()).content.decode()

    assert "Ada and Ben would be back at" in metric
    assert "would carry 6.2 kg, more than 1 kg." in metric
    assert "would carry 13.7 lb, more than 2.2 lb." in us
    assert "600 m up take" in metric and "2\u202f000 ft up take" in us
    assert " km" not in us.partition("What this rests on")[2] and " kg" not in us


@pytest.mark.parametrize(
    ("units", "typed", "label", "kept_kg", "shown"),
    [
        ("metric", "20", "Most that a party carries (kg)", 20.0, 'value="20.0"'),
        ("metric", "44 lb", "Most that a party carries (kg)", 19.958, 'value="20.0"'),
        ("us", "44", "Most that a party carries (lb)", 19.958, 'value="44.0"'),
        ("us", "20 kg", "Most that a party carries (lb)", 20.0, 'value="44.1"'),
    ],
)
def test_what_a_party_carries_is_asked_and_kept_in_the_persons_units(
    client, base, wish, units, typed, label, kept_kg, shown
):
    """By definition a pound is 0.45359237 kg."""
    from trod.catalogue.models import Reserve, Round

    Reserve.objects.update(units=units)
    client.post("/rounds/new/", form(base, wish, most_load_kg=typed))
    row = Round.objects.get()
    page = client.get(f"{row.get_absolute_url()}change/").content.decode()

    assert row.wish["most_load_kg"] == pytest.approx(kept_kg, abs=1e-3)
    assert label in page and shown in page


def test_the_list_of_who_is_due_asks_the_database_as_often_for_many(base, client, django_assert_max_num_queries):
    with django_assert_max_num_queries(40):
        client.get("/rounds/")
    from trod.catalogue import models as m

    for n in range(20):
        site = m.Site.objects.create(
            reserve=base.reserve, name=f"S{n}", slug=f"s{n}", latitude=47.3 + n / 1000, longitude=13.9
        )
        camera = m.Camera.objects.create(serial=f"X{n}")
        m.Deployment.objects.create(
            slug=f"d{n}", camera=camera, site=site, start=base.now - timedelta(days=9), utc_offset_min=60
        )
    client.get("/rounds/")
    with django_assert_max_num_queries(40):
        client.get("/rounds/")


def test_the_commands_tell_the_same_as_the_pages(kept, base, tmp_path):
    import json

    from click.testing import CliRunner

    from trod.commands import main

    run = CliRunner().invoke
    told = run(main, ["rounds"])
    assert told.exit_code == 0 and "Meadow" in told.output and "Ford" in told.output
    row = json.loads(run(main, ["rounds", "--json"]).output)
    assert {d["site"] for d in row["due"]} == {"Meadow", "Ford"}
    out = tmp_path / "p.html"
    made = run(main, ["fieldform", "--round", "both", "--out", str(out)])
    assert made.exit_code == 0, made.output
    assert str(kept.uuid) in out.read_text("utf-8")
    assert run(main, ["fieldform"]).exit_code == 2
    wrong = run(main, ["fieldform", "--round", "nowhere", "--out", str(out)])
    assert wrong.exit_code == 3 and "one of: Both" in wrong.output


def test_the_command_plans_and_writes_every_paper(base, wish, tmp_path):
    from click.testing import CliRunner

    from trod.catalogue.models import Round
    from trod.commands import main

    day = wish().first.isoformat()
    files = {name: tmp_path / f"r.{name}" for name in ("gpx", "ics", "pdf", "csv")}
    options = [part for name, path in files.items() for part in (f"--{name}", str(path))]
    told = CliRunner().invoke(main, ["rounds", "--day", day, "--which", "all", "--people", "Ada", *options])

    assert told.exit_code == 0, told.output
    assert "Tell somebody your way" in told.output
    assert all(path.stat().st_size > 100 for path in files.values())
    assert Round.objects.count() == 0
    named = CliRunner().invoke(main, ["rounds", "--day", day, "--name", "North", "--site", "Ford", "--which", "named"])
    assert named.exit_code == 0 and Round.objects.get().name == "North"
    assert CliRunner().invoke(main, ["rounds", "--name", "x"]).exit_code == 2
    assert CliRunner().invoke(main, ["rounds", "--day", "someday"]).exit_code == 2


def test_the_command_takes_notes_home(kept, base, tmp_path):
    from click.testing import CliRunner
    from homecoming import field_form_file, visit

    from trod.catalogue.models import Visit
    from trod.commands import main

    file = tmp_path / "visits.json"
    file.write_bytes(field_form_file(str(kept.uuid), [visit(base.now)], at=base.now))
    first = CliRunner().invoke(main, ["fieldform", "--take", str(file)])
    Visit.objects.update(work="at home")
    file.write_bytes(field_form_file(str(kept.uuid), [visit(base.now, revision=2, work="else")], at=base.now))
    second = CliRunner().invoke(main, ["fieldform", "--take", str(file)])

    assert first.exit_code == 0 and "Visits: 1 new." in first.output
    assert second.exit_code == 1 and "held until you decide" in second.output
