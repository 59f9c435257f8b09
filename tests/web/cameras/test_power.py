"""The page of how long a standing camera lasts."""

from __future__ import annotations

import json
import re
from datetime import date, timedelta
from itertools import pairwise
from urllib.parse import urlencode

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

import trod.catalogue.work.handlers  # noqa: F401  (registers the kinds of work)
from trod.catalogue import jobs
from trod.catalogue import models as m
from trod.catalogue.forecasts import forecasts, lasting, outfits, what_if
from trod.web.cameras import power_chart

pytestmark = pytest.mark.django_db
URL = "/cameras/deployments/of/meadow-2026-03-03/power/"


@pytest.fixture
def stands(cast):
    """The camera Red, set up three weeks ago with twelve alkaline batteries."""
    m.Deployment.objects.update(start=timezone.now() - timedelta(days=21), batteries="12 LR6", delay_s=10, burst=3)
    cast.deployment.refresh_from_db()
    return cast


def work_url(asked):
    return f"{URL}work/?{urlencode(asked)}".rstrip("?")


def seen(client, **asked):
    """The page when the worker has done what it asked for."""
    answer = client.get(URL, asked)
    assert answer.status_code == 200
    if "power/work/" in answer.content.decode():
        assert client.post(work_url(asked), headers={"HX-Request": "true"}).status_code == 200
        assert jobs.work_once().state == m.Job.State.DONE
        answer = client.get(URL, asked)
        assert "power/work/" not in answer.content.decode()
    return answer.content.decode()


def test_the_sentence_comes_first_and_the_day_to_go_with_its_reason(client, stands):
    page = seen(client)
    told = forecasts.work_out(stands.reserve, timezone.now(), only=stands.deployment)[0]

    assert told.sentence in page
    places = [page.index(words) for words in (told.sentence, "Go by", "What would help", "What it rests on")]
    assert places == sorted(places)
    assert f"{told.go_by:%A}, {told.go_by.day} {told.go_by:%B %Y}" in page
    assert "camera-day" in page


def test_every_figure_stands_with_where_it_is_from(client, stands):
    page = seen(client)

    assert "12 × LR6" in page
    assert "as written down" in page
    assert page.count('<span class="tag">assumed</span>') >= 8
    assert "figures are assumed: nobody measured or noted them." in re.sub(r"\d+ of these \d+ ", "", page)
    assert f"/cameras/{stands.red.pk}/change/" in page  # no camera model is noted


def test_measured_figures_are_asked_for_at_the_camera_model(client, stands):
    kind = m.CameraModel.objects.create(maker="Oddlethorpe", name="Wren 12", slug="wren-12", idle_mw=3, measured={})
    m.Camera.objects.update(model=kind)
    page = seen(client)

    assert 'href="/cameras/models/of/wren-12/change/"' in page
    assert "as the maker says" in page


def test_what_contradicts_it_asks_for_faults_and_theft(client, stands):
    assert "No chance of a fault, damage or theft is in this forecast." in seen(client)
    assert "No chance of a fault" not in seen(client, losses="0.5")


def test_a_typed_price_moves_the_day_and_is_not_kept(client, stands):
    def goes(**asked):
        row = m.Deployment.objects.select_related("camera__model", "site__reserve", "card").get()
        price = forecasts.Price(**asked)
        (pair,) = forecasts.equipment(stands.reserve, timezone.now(), only=row)
        climate = outfits.climate_of(stands.reserve)
        today = timezone.now().date()
        return forecasts.reckon(*pair, climate=climate, today=today, price=price).visit.interval.at_most_days

    assert goes(travel_min=5, disturbance_days=0) < goes(travel_min=600, disturbance_days=10)
    page = seen(client, travel_min="600", disturbance_days="10", losses="0.3")
    assert 'value="600"' in page
    stands.meadow.refresh_from_db()
    assert (stands.meadow.disturbance_days, stands.meadow.losses_per_year) == (None, None)


def test_set_otherwise_stands_beside_as_it_is(client, stands):
    page = seen(client, batteries="12 FR6", card_gb="128", delay_s="60", burst="1")

    assert "As it is: 12 × LR6, 32 GB, 3 pictures a trigger, 10 s between" in page
    assert "Set otherwise: 12 × FR6, 128 GB, 1 picture a trigger, 60 s between" in page


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"batteries": "the red ones"}, "tells no kind of batteries; needed: a number and a kind, like 12 FR6"),
        ({"card_gb": "x"}, "That is no number that can be read; needed: gigabytes, like 64."),
        ({"card_gb": "-3"}, "greater than or equal to 0.1"),
        ({"burst": "0"}, "burst: got 0; needed: a picture or a clip for each trigger"),
        ({"delay_s": "1e400"}, "needed: seconds, like 30."),
        ({"travel_min": "soon"}, "needed: minutes, like 90."),
        ({"losses": "1e9"}, "less than or equal to 50"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_left_out(client, stands, asked, words):
    page = seen(client, **asked).replace("&#x27;", "'")

    assert words in page
    assert "Set otherwise:" not in page


def test_a_deployment_that_ended_has_nothing_to_foretell(client, stands):
    m.Deployment.objects.update(end=timezone.now() - timedelta(days=1))

    assert "there is nothing to foretell" in seen(client)
    assert client.get("/cameras/deployments/of/nowhere/power/").status_code == 404
    assert client.post(URL).status_code == 405


@pytest.mark.parametrize("visit", [{"arrival": "dead"}, {"arrival": "gone"}, {"arrival": "full"}])
def test_a_camera_found_stopped_is_told_so(client, stands, visit):
    m.Visit.objects.create(
        site=stands.meadow, deployment=stands.deployment, at=timezone.now() - timedelta(days=4), **visit
    )
    page = seen(client)

    assert "It was found on" in page
    assert "go as soon as you can" in page


def test_a_camera_nobody_saw_for_years_still_has_its_page(client, stands):
    noon = timezone.now().replace(hour=10)  # the same day in winter and in summer time
    m.Deployment.objects.update(start=noon - timedelta(days=2000))

    # By the reserve's clock, which may have gone from summer to winter time since.
    assert re.search(r"Nobody has seen it at work for (1999|2000|2001) days", seen(client))


def test_degrees_are_in_the_persons_units(client, stands):
    assert "°C in the coldest month" in seen(client)
    client.cookies["units"] = "us"
    page = seen(client)
    assert "°F in the coldest month" in page
    assert "°C" not in page


def test_the_share_of_the_way_is_told_in_the_persons_units(client, stands):
    m.Reserve.objects.update(base_latitude=47.3, base_longitude=13.94)

    assert "from where rounds start; by car along the straight line, lengthened by 1.3, at 20 km/h, and on" in seen(
        client
    )
    client.cookies["units"] = "us"
    page = seen(client)
    assert "lengthened by 1.3, at 12 mph, and on" in page and "km/h" not in page


def test_the_page_asks_a_fixed_number_of_queries(client, stands, bring_sequences):
    def asked():
        client.get(URL)
        with CaptureQueriesContext(connection) as queries:
            client.get(URL)
        return len(queries)

    few = asked()
    bring_sequences([timezone.now() - timedelta(days=d) for d in range(20, 1, -1) for _ in range(3)])
    for n in range(4):
        at = timezone.now() - timedelta(days=10 + n)
        m.Visit.objects.create(site=stands.meadow, deployment=stands.deployment, at=at, arrival="working")
    assert asked() <= few + 1  # the piece of a deployment with sequences is kept


def test_the_page_waits_for_nothing_and_works_nothing_out(client, stands, monkeypatch):
    """At a million pictures it took 2.8 s: it followed its futures while somebody waited."""
    monkeypatch.setattr(forecasts, "equipment", None)
    monkeypatch.setattr(what_if, "what_helps", None)
    page = client.get(URL).content.decode()

    assert "It is about to be worked out" in page
    assert f'hx-post="{URL}work/"' in page
    assert not m.Job.objects.exists()  # a GET saves nothing


def test_until_it_is_worked_out_stands_what_the_list_of_cameras_says(client, stands):
    told = forecasts.make(stands.reserve, timezone.now()).forecasts["meadow-2026-03-03"]

    assert told.sentence in client.get(URL).content.decode()


def test_the_worker_is_asked_once_and_the_page_loads_itself_when_it_is_there(client, stands):
    htmx = {"HX-Request": "true"}
    for _ in range(2):
        assert "as soon as the worker comes to it" in client.post(f"{URL}work/", headers=htmx).content.decode()
    assert m.Job.objects.filter(kind="lasting").count() == 1
    assert "HX-Refresh" not in client.get(f"{URL}work/", headers=htmx)
    jobs.work_once()
    assert client.get(f"{URL}work/", headers=htmx)["HX-Refresh"] == "true"
    assert client.post(f"{URL}work/?burst=1").headers["Location"] == f"{URL}?burst=1"


def test_what_is_stale_is_shown_with_its_age_and_asked_for_anew(client, stands):
    before = seen(client)
    m.Site.objects.filter(pk=stands.meadow.pk).update(losses_per_year=3)
    page = client.get(URL).content.decode()

    assert "Something has changed since." in page
    assert re.search(r'<p class="sentence">(.*?)</p>', page)[1] == re.search(r'<p class="sentence">(.*?)</p>', before)[1]
    assert "3 a year" in seen(client)


def test_what_is_kept_is_what_was_worked_out(stands):
    told = lasting.make(stands.deployment, timezone.now(), price=forecasts.UNTYPED, change=lasting.Change())
    held = lasting.kept(stands.deployment, forecasts.UNTYPED, lasting.Change(), timezone.now())

    assert not held.stale
    assert held.lasting.helps == told.helps
    assert held.lasting.forecast.sentence == told.forecast.sentence
    assert held.lasting.price == told.price
    assert all(np.array_equal(held.lasting.by_cause[cause], curve) for cause, curve in told.by_cause.items())


def test_a_making_that_fails_is_told(client, stands):
    client.post(f"{URL}work/")
    m.Deployment.objects.update(end=timezone.now())
    assert jobs.work_once().state == m.Job.State.FAILED
    m.Deployment.objects.update(end=None)
    assert "Not worked out." in client.get(f"{URL}work/", headers={"HX-Request": "true"}).content.decode()


def test_the_chart_is_the_table(client, stands):
    page = seen(client)
    data = json.loads(re.search(r'<script id="chart-data" type="application/json">(.*?)</script>', page)[1])

    assert set(data["themes"]) == {"light", "night", "paper"}
    (watching, *_) = [la for la in data["spec"]["layer"] if la["mark"]["type"] == "area"]
    assert watching["data"]["values"][0]["high"] == 1.0
    assert "The same as a table" in page


# The drawing's numbers ---------------------------------------------------------------------------------------


def curves(days=800):
    at = np.arange(days + 1.0)
    batteries = 0.7 * np.clip((at - 100) / 100, 0, 1)
    card = 0.2 * np.clip((at - 50) / 200, 0, 1)
    return {"batteries": batteries, "card": card, "fault": 0.1 * at / days}


def test_bands_fill_the_drawing_from_bottom_to_top():
    spec = power_chart.spec(
        curves(), date(2026, 3, 1), today=date(2026, 4, 1), plan_on=date(2026, 6, 1), go_by=date(2026, 5, 1), label="x"
    )
    areas = [layer["data"]["values"] for layer in spec["layer"] if layer["mark"]["type"] == "area"]

    assert len(areas) == 4
    for below, above in pairwise(areas):
        assert [v["high"] for v in below] == pytest.approx([v["low"] for v in above], abs=1e-4)
    assert areas[0][0]["low"] == 0
    assert [v["high"] for v in areas[-1]] == pytest.approx([1.0] * len(areas[-1]), abs=1e-4)
    words = {layer["data"]["values"][0]["what"] for layer in spec["layer"] if layer["mark"]["type"] == "text"}
    assert {"today", "1 in 10 stopped", "go by", "still watching", "batteries", "card full"} <= words


def test_a_day_to_go_beside_the_tenth_is_one_line_not_two():
    spec = power_chart.spec(
        curves(), date(2026, 3, 1), today=date(2026, 4, 1), plan_on=date(2026, 6, 1), go_by=date(2026, 5, 31), label="x"
    )
    words = [layer["data"]["values"][0]["what"] for layer in spec["layer"] if layer["mark"]["type"] == "text"]

    assert "go by" in words
    assert "1 in 10 stopped" not in words


def test_the_table_has_the_ends_and_each_first_of_a_month():
    lines = power_chart.lines(curves(), date(2026, 3, 5), gone=20)

    assert lines[0].day == date(2026, 3, 5)
    assert [line.day.day for line in lines[1:-1]] == [1] * (len(lines) - 2)
    for line in lines:
        assert line.watching + line.batteries + line.card + line.fault == pytest.approx(1)
    assert lines[0].of_100 == ("100", "–", "–", "–")


def test_a_line_that_never_ends_is_cut_after_two_years():
    assert power_chart.last_day({"batteries": np.zeros(1097)}, gone=0) == 730
    assert power_chart.last_day({"batteries": np.zeros(1097)}, gone=900) == 960
    assert power_chart.last_day({"batteries": np.ones(1097)}, gone=0) == 60


# What would help ---------------------------------------------------------------------------------------------


def helps(cast, **price):
    row = m.Deployment.objects.select_related("camera__model", "site__reserve", "card").get()
    ((d, gear),) = forecasts.equipment(cast.reserve, timezone.now(), only=row)
    climate = outfits.climate_of(cast.reserve)
    today = timezone.now().date()
    reckoned = forecasts.reckon(d, gear, climate=climate, today=today, price=forecasts.Price(**price))
    return {one.key: one for one in what_if.what_helps(gear, reckoned, today=today, climate=climate)}


def test_a_camera_whose_card_fills_is_helped_by_a_larger_one_and_not_by_batteries(stands):
    m.Site.objects.update(feature="feeding")
    m.Deployment.objects.update(batteries="12 FR6", burst=5)
    found = helps(stands, losses_per_year=0.1)

    assert "batteries" not in found
    assert found["card"].what == "A card of 64 GB"
    assert found["card"].saved_days > 5
    assert re.fullmatch(r"saves about \d+ camera-days a year, \w+ visits fewer among them", found["card"].sentence)
    assert found["delay"].saved_days > 1


def test_a_card_that_fills_in_days_makes_no_visit_pay_until_it_is_larger(stands):
    m.Site.objects.update(feature="feeding")
    m.Deployment.objects.update(batteries="12 FR6", burst=5)
    m.Card.objects.update(size_gb=8)
    found = helps(stands, losses_per_year=0.1)

    assert re.fullmatch(
        r"saves about \d+ camera-days a year, with \w+ visits more, since these then pay", found["card"].sentence
    )


def test_a_camera_whose_batteries_end_is_helped_by_lithium_and_not_by_a_card(stands):
    m.Card.objects.update(size_gb=256)
    found = helps(stands, losses_per_year=0.1)

    assert found["batteries"].saved_days > 1
    assert "card" not in found


def test_moving_it_up_the_tree_helps_only_where_cameras_are_lost(stands):
    assert "higher" not in helps(stands)
    often = helps(stands, losses_per_year=2)
    assert often["higher"].saved_days > helps(stands, losses_per_year=0.5)["higher"].saved_days > 0
    assert "assumed" in often["higher"].note


def test_no_fix_is_offered_that_saves_hardly_anything(stands):
    for one in helps(stands, losses_per_year=0.1).values():
        assert one.saved_days >= 0.5
        assert "about 0 " not in one.sentence


def test_without_its_false_runs_a_site_keeps_its_animals(stands):
    from trod.planning.last.arrivals import Arrivals, DayCount

    first = date(2026, 5, 1)
    days = [DayCount(day=first + timedelta(days=n), animals=8, blanks=90 if n % 9 == 0 else 1) for n in range(60)]
    windy = Arrivals.for_site("meadow").after(days)
    calm = what_if.without_false_runs(windy)

    assert calm.posterior.false_run_share == 0
    assert calm.posterior.level.per_day == pytest.approx(windy.posterior.level.per_day, rel=0.1)
    assert calm.posterior.per_day < windy.posterior.per_day - 3


# Where it is linked from --------------------------------------------------------------------------------------


def test_the_deployments_page_says_how_long_and_leads_here(client, stands):
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/").content.decode()
    assert "Not worked out yet." in page
    assert URL in page
    forecasts.make(stands.reserve, timezone.now())
    page = client.get("/cameras/deployments/of/meadow-2026-03-03/").content.decode()
    assert "Probably stops between" in page
    assert "Go by" in page
    assert 'class="ahead"' in page
    assert "data-ahead=" in page
