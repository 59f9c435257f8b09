"""Forecasts of standing cameras, kept and shown."""

from __future__ import annotations

import json
import threading
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from trod.catalogue import jobs
from trod.catalogue import models as m
from trod.catalogue.forecasts import forecasts
from trod.telling import upkeep as telling

pytestmark = pytest.mark.django_db


def made(cast, now=None):
    return forecasts.make(cast.reserve, now or cast.now).forecasts


def mine(cast, **more):
    return made(cast, **more)[cast.deployment.slug]


def visit(cast, days_ago, **more):
    return m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=days_ago), **more
    )


def told(forecast, what):
    return next(a.told("metric") for a in forecast.assumed if a.what == what)


def test_a_camera_of_which_nothing_is_known_is_forecast_and_all_is_told_as_assumed(cast):
    cast.deployment.card = None
    cast.deployment.save()
    found = mine(cast)

    assert (found.batteries, found.number, found.card) == ("LR6", 8, "")
    assert found.start == date(2026, 3, 3)
    assert found.chance_now > 0.5  # 120 days of a meadow on eight alkaline batteries
    for what in ("Batteries", "Card", "Drawn while waiting", "A picture by night", "Size of a picture", "Coldest nights",
                 "Its share of the way", "Quiet after a visit"):  # fmt: skip
        assert told(found, what).guessed, what
    assert told(found, "Faults and theft").source == "not said yet"
    assert any("Say how often that happens" in caveat for caveat in found.caveats)
    assert found.go_by == date(2026, 7, 1)
    assert telling.go(found.go).startswith("Go today. By now it has")


def test_what_is_kept_is_what_was_made(cast, bring_sequences):
    cast.meadow.losses_per_year = 0.3
    cast.meadow.closed = [{"from": "07-10", "to": "08-20", "why": "hunt"}]
    cast.meadow.save()
    cast.deployment.batteries = "12 FR6"
    cast.deployment.save()
    visit(cast, 3, arrival="working")
    fresh = made(cast)
    held = forecasts.kept(cast.reserve, cast.now)

    assert held.forecasts == fresh
    assert not held.stale
    assert held.made_at == cast.now
    assert held.forecasts is forecasts.kept(cast.reserve, cast.now).forecasts  # read once


@pytest.mark.parametrize("text", ["", "{", "[]", '{"version": 2}', '{"version": 1, "forecasts": []}', "\x00" * 9])
def test_a_broken_file_is_as_good_as_none(cast, trod_home, text):
    made(cast)
    (trod_home / "cache" / "forecasts-hollin.json").write_text(text)
    held = forecasts.kept(cast.reserve, cast.now)

    assert (held.forecasts, held.made_at, held.stale) == ({}, None, True)
    assert forecasts.shown(cast.reserve, cast.now).forecasts


def test_a_broken_line_in_the_file_is_as_good_as_no_file(cast, trod_home):
    made(cast)
    path = trod_home / "cache" / "forecasts-hollin.json"
    data = json.loads(path.read_text())
    data["forecasts"][0]["start"] = "yesterday"
    path.write_text(json.dumps(data))

    assert forecasts.kept(cast.reserve, cast.now).made_at is None


CHANGES = {
    "a visit": lambda cast: visit(cast, 1, arrival="working"),
    "batteries": lambda cast: m.Deployment.objects.update(batteries="12 FR6"),
    "a delay": lambda cast: m.Deployment.objects.update(delay_s=60),
    "the card's size": lambda cast: m.Card.objects.update(size_gb=64),
    "losses": lambda cast: m.Site.objects.update(losses_per_year=0.2),
    "a closed season": lambda cast: m.Site.objects.update(closed=[{"from": "04-01", "to": "05-01"}]),
    "the climate": lambda cast: m.Reserve.objects.update(climate={"minimum_c": [0] * 12}),
    "where rounds start": lambda cast: m.Reserve.objects.update(base_latitude=47.2, base_longitude=13.8),
    "an end": lambda cast: m.Deployment.objects.update(end=cast.now),
    "a site's name": lambda cast: m.Site.objects.filter(slug="meadow").update(name="Bog"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_of_what_it_rests_on_makes_it_stale(cast, what):
    made(cast)
    CHANGES[what](cast)
    cast.reserve.refresh_from_db()

    assert forecasts.kept(cast.reserve, cast.now).stale


def test_a_card_that_comes_home_and_a_new_day_make_it_stale(cast, bring_sequences):
    made(cast)
    assert forecasts.kept(cast.reserve, cast.now + timedelta(hours=3)).stale is False
    assert forecasts.kept(cast.reserve, cast.now + timedelta(hours=14)).stale  # past midnight in Vienna
    bring_sequences([cast.now - timedelta(days=4)])
    assert forecasts.kept(cast.reserve, cast.now).stale


def test_a_page_shows_what_is_stale_and_does_not_wait_nor_save(cast, django_assert_max_num_queries):
    made(cast)
    visit(cast, 1, arrival="working")
    before = m.Job.objects.count()
    with django_assert_max_num_queries(13):
        held = forecasts.shown(cast.reserve, cast.now)

    assert held.stale
    assert held.forecasts
    assert m.Job.objects.count() == before


def test_the_worker_looks_round_and_makes_what_is_stale_once(cast):
    forecasts.look_round(cast.now)
    forecasts.look_round(cast.now)
    (job,) = m.Job.objects.filter(kind="forecasts")
    from trod.catalogue.work import handlers  # noqa: F401

    assert jobs.work_once() == job
    assert m.Job.objects.get().state == m.Job.State.DONE
    assert m.Job.objects.get().result == {"cameras": 1}


def test_a_making_that_failed_is_not_tried_again_at_once(cast):
    forecasts.look_round(cast.now)
    from django.utils import timezone

    m.Job.objects.update(state=m.Job.State.FAILED, finished_at=timezone.now())
    forecasts.look_round(cast.now)
    assert m.Job.objects.count() == 1
    m.Job.objects.update(finished_at=timezone.now() - timedelta(hours=2))
    forecasts.look_round(cast.now)
    assert m.Job.objects.count() == 2


@pytest.mark.django_db(transaction=True)  # a worker closes connections that grew old
def test_a_worker_with_nothing_to_do_looks_round(cast, monkeypatch):
    from trod.catalogue.work import handlers

    looked = []
    stop = threading.Event()

    def look():
        looked.append(1)
        stop.set()

    monkeypatch.setattr(handlers, "look_round", look)
    jobs.work(stop=stop, settle_in=handlers.settle_in, look_round=handlers.look_round)

    assert looked == [1]


def test_more_standing_cameras_than_a_few_are_left_to_the_worker(cast, monkeypatch):
    monkeypatch.setattr(forecasts, "FEW", 0)

    assert forecasts.shown(cast.reserve, cast.now).made_at is None


def test_a_full_disk_keeps_nobody_from_seeing_the_forecasts(cast, monkeypatch):
    def full(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(forecasts.disk, "write_file", full)

    assert forecasts.make(cast.reserve, cast.now).forecasts
    assert forecasts.kept(cast.reserve, cast.now).made_at is None


# What is known of the camera --------------------------------------------------------------------------------


def test_fresh_batteries_begin_a_new_life_and_are_what_was_put_in(cast):
    visit(cast, 10, arrival="working", batteries_changed=True, battery_kind="FR6", battery_count=12)
    found = mine(cast)

    assert (found.batteries, found.number) == ("FR6", 12)
    assert told(found, "Batteries").source == "put in on 21 June 2026"
    assert found.used_wh == 0
    assert found.start == date(2026, 6, 21)
    assert found.used_mb > 0  # the card is still the old one


def test_a_visit_that_lies_ahead_has_not_happened(cast):
    visit(cast, -30, arrival="dead")
    found = mine(cast)

    assert found.found_on is None
    assert found.start == date(2026, 3, 3)


def test_a_deployment_that_begins_tomorrow_is_no_fault(cast):
    m.Deployment.objects.update(start=cast.now + timedelta(days=1))

    assert mine(cast).start == date(2026, 7, 1)


def test_a_camera_found_dead_and_left_so_has_stopped(cast):
    visit(cast, 9, arrival="dead")
    found = mine(cast)

    assert found.sentence == ("It was found on 22 June 2026: no power. Nothing says that anybody set it going again.")
    assert found.chance(date(2026, 6, 20)) == 1.0
    assert found.go_by == date(2026, 7, 1)
    assert found.after_flash == ""


def test_a_note_without_a_state_does_not_bring_a_dead_camera_back(cast):
    visit(cast, 9, arrival="dead")
    visit(cast, 2, note="only looked from the road")

    assert mine(cast).found_on == date(2026, 6, 22)


def test_a_camera_nobody_saw_for_years_is_told_plainly(cast):
    m.Deployment.objects.update(start=cast.now - timedelta(days=1300))
    found = mine(cast)

    assert found.go_by == date(2026, 7, 1)
    assert telling.go(found.go) == "Nobody has seen it at work for 1300 days: go as soon as you can."


def test_a_site_closed_all_year_has_no_day_to_go(cast):
    m.Site.objects.update(closed=[{"from": "01-01", "to": "12-31", "why": "rockfall"}])
    found = mine(cast)

    assert found.go_by is None
    assert telling.go(found.go).startswith("No day is open until ") and "(rockfall)" in telling.go(found.go)


def test_a_visit_that_would_fall_into_a_closed_season_is_moved_out_of_it(cast):
    visit(cast, 1, arrival="working", batteries_changed=True, battery_kind="LR6", battery_count=12)
    free = mine(cast).go_by
    shut = [(free - timedelta(days=4)).strftime("%m-%d"), (free + timedelta(days=60)).strftime("%m-%d")]
    m.Site.objects.update(closed=[{"from": shut[0], "to": shut[1], "why": "hunt"}])

    assert mine(cast).go_by == free - timedelta(days=5)


def long_lasting(cast):
    """A quiet site and a camera that was measured to take little."""
    m.Site.objects.update(feature="fence")
    cast.deployment.camera.model = m.CameraModel.objects.create(
        maker="Oddlethorpe", name="Wren 12", slug="wren-12",
        measured={"idle_mw": 1.2, "wake_j": 2, "day_frame_j": 1, "night_frame_j": 7},
    )  # fmt: skip
    cast.deployment.camera.save()
    visit(cast, 1, arrival="working", batteries_changed=True, battery_kind="FR6", battery_count=12, card_in=cast.card)
    m.Card.objects.update(size_gb=256)


def test_common_practice_however_dear_a_visit_the_date_to_go_is_the_early_one_and_not_the_middle(cast):
    """Common practice. The start of rounds is put so far away that the least cost lies after the early date."""
    visit(cast, 1, arrival="working", batteries_changed=True, battery_kind="LR6", battery_count=8)
    cast.reserve.base_latitude, cast.reserve.base_longitude = 43.0, 13.9
    cast.reserve.save()
    m.Site.objects.update(losses_per_year=0.01, disturbance_days=10)
    found = mine(cast)

    assert found.early is not None and found.middle is not None
    assert found.early < found.middle
    assert (found.early - found.go_by).days in (0, 1)  # a stop at midnight is of the day that ends
    assert found.by_supply[(found.early - found.start).days] == pytest.approx(0.1, abs=0.03)


@pytest.mark.parametrize("losses", [None, 0])
def test_without_a_word_on_faults_nobody_stays_away_200_days_or_more(cast, losses):
    long_lasting(cast)
    m.Site.objects.update(losses_per_year=losses)
    found = mine(cast)

    assert found.early is not None and found.early > found.start + timedelta(days=200)
    assert found.go_by <= found.start + timedelta(days=200)
    assert telling.ASK_HAZARD in telling.go(found.go)


def test_faults_that_are_stated_come_on_top_and_are_told(cast):
    long_lasting(cast)
    m.Site.objects.update(losses_per_year=0.6)
    found = mine(cast)

    assert found.early is not None and found.early > found.start + timedelta(days=200)  # of batteries and card
    assert found.stopped[365] == pytest.approx(1 - (1 - found.by_supply[365]) * np.exp(-0.6 * 365 / 365.25), abs=2e-4)
    assert found.sentence.startswith("Most likely a fault or theft ends it, in half of the futures by 22 August 2027.")
    assert sum(found.causes.values()) > 0.8
    assert not any("No chance of a fault" in caveat for caveat in found.caveats)


def test_a_rare_fault_is_told_beside_batteries_that_end_sooner(cast):
    visit(cast, 1, arrival="working", batteries_changed=True, battery_kind="LR6", battery_count=8)
    m.Site.objects.update(losses_per_year=0.2)
    found = mine(cast)

    assert found.sentence.startswith("By batteries and card it probably stops between ")
    assert f"in 100 by {found.early.day} {found.early:%B %Y}." in found.sentence


def test_chances_by_cause_with_faults_add_up_to_the_closed_form():
    """Stops at random at rate a and faults at rate h: batteries end it first with a/(a + h) (competing exponentials)."""
    days = np.arange(3001.0)
    none = np.zeros(3001)
    found = forecasts.with_faults({"batteries": 1 - np.exp(-days / 100), "card": none, "fault": none}, 1 / 300)

    assert sum(found.values()) == pytest.approx(1 - np.exp(-days * (1 / 100 + 1 / 300)))
    assert found["batteries"][-1] == pytest.approx(0.75, abs=1e-4)
    assert found["fault"][-1] == pytest.approx(0.25, abs=1e-4)


def test_the_way_is_taken_from_where_rounds_start(cast):
    m.Reserve.objects.update(base_latitude=47.3, base_longitude=13.94)
    cast.reserve.refresh_from_db()
    way = told(mine(cast), "Its share of the way")

    # As rounds are planned, by car: 0.04° of longitude at 47.3° are 3.02 km; 1.3 times that, twice, at 20 km/h, and
    # 150 m on foot from the car, twice, at Tobler's 5.04 km/h on the level.
    assert way.value == f"{2 * 1.3 * 3.02 / 20 * 60 + 2 * 0.15 / 5.04 * 60:.0f} min"
    assert way.source.startswith("there and back, from where rounds start; by car along the straight line")
    assert "level" in way.source
    (fact,) = [a for a in mine(cast).assumed if a.way is not None]
    assert ", at 12 mph, and on foot" in fact.told("us").source and ", at 20 km/h, and on foot" in way.source


def test_a_camera_among_others_bears_its_share_of_the_round_and_not_a_trip_of_its_own(cast):
    """A finding of the first trial: each was priced as if somebody went to it alone."""
    m.Reserve.objects.update(base_latitude=47.3, base_longitude=13.94)
    cast.reserve.refresh_from_db()
    alone = told(mine(cast), "Its share of the way")
    for n in range(5):
        site = m.Site.objects.create(reserve=cast.reserve, name=f"S{n}", slug=f"s{n}", latitude=47.3, longitude=13.9)
        camera = m.Camera.objects.create(serial=f"X{n}")
        m.Deployment.objects.create(slug=f"d{n}", camera=camera, site=site, start=cast.now - timedelta(days=9))
    shared = told(mine(cast), "Its share of the way")

    assert float(shared.value.split()[0]) < 0.4 * float(alone.value.split()[0])
    assert shared.source.startswith("its share of ") and "on a round to 6 sites" in shared.source


def test_two_cameras_at_one_site_share_its_way(cast):
    m.Reserve.objects.update(base_latitude=47.3, base_longitude=13.94)
    cast.reserve.refresh_from_db()
    alone = made(cast)[cast.deployment.slug].travel_min
    other = m.Camera.objects.create(serial="X1")
    m.Deployment.objects.create(slug="d1", camera=other, site=cast.meadow, start=cast.now - timedelta(days=9))

    assert made(cast)[cast.deployment.slug].travel_min == pytest.approx(alone / 2)


def test_the_long_run_is_reckoned_with_a_fresh_set(cast):
    """A finding of the first trial: a set half used was taken for what every further interval begins with."""
    m.Site.objects.update(losses_per_year=0.3)
    visit(cast, 60, arrival="working", batteries_changed=True, battery_kind="LR6", battery_count=8)
    visit(cast, 1, arrival="working")
    found = mine(cast)

    assert found.used_wh > 0
    assert found.fresh[30] < found.by_supply[30]
    assert told(found, "Cards lost with a camera").guessed


def test_the_size_of_files_is_taken_from_what_came_home(cast, bring_sequences):
    bring_sequences([cast.now - timedelta(days=d) for d in range(60, 20, -1)])
    card_import = m.Import.objects.get()
    m.Picture.objects.bulk_create(
        m.Picture(
            sha256=f"{n:064x}", card_import=card_import, deployment=cast.deployment, path=f"data/{n}.jpg", size_bytes=5_000_000,  # noqa: E501
            kind="picture", infrared=n % 2 == 0,
        )
        for n in range(50)
    )  # fmt: skip
    size = told(mine(cast), "Size of a picture")

    assert size.value == "5 MB by day, 5 MB by night"
    assert size.source == "from 25 day pictures and 25 night pictures"


# Power draw ------------------------------------------------------------------------------------------------------


def starve(cast, bring_sequences, *, a_day=30, days=110):
    """Batteries that ended after so many days with so many triggers a day, all known from the card."""
    m.Card.objects.update(size_gb=512)
    begun = cast.deployment.start
    bring_sequences(
        [begun + timedelta(days=d, hours=k * 23.0 / a_day) for d in range(days) for k in range(a_day)],
        home=cast.now - timedelta(days=1),
    )
    visit(cast, 3, arrival="dead", batteries_changed=True, card_out=cast.card)


def test_a_camera_that_died_soon_is_known_to_be_hungry(cast, bring_sequences):
    starve(cast, bring_sequences, a_day=4, days=40)
    power_draw = told(mine(cast), "Its own power draw")

    assert 1.1 < float(power_draw.value.split()[0]) < 2
    assert power_draw.source.startswith("learnt from 1 set of batteries: 1 ended with known counts; ")


def test_a_camera_that_lasted_long_is_known_to_be_frugal(cast, bring_sequences):
    m.Deployment.objects.update(burst=6)
    starve(cast, bring_sequences, a_day=40, days=110)
    power_draw = told(mine(cast), "Its own power draw")

    assert float(power_draw.value.split()[0]) < 0.8
    assert not power_draw.guessed


@pytest.mark.parametrize("why", ["full", "short", "other batteries", "card not home"])
def test_a_death_that_says_nothing_of_the_batteries_teaches_nothing(cast, bring_sequences, why):
    if why == "card not home":
        visit(cast, 3, arrival="dead", batteries_changed=True, card_out=cast.card)
    else:
        starve(cast, bring_sequences, a_day=4, days=4 if why == "short" else 40)
    if why == "full":
        m.Card.objects.update(size_gb=1)
        m.Deployment.objects.update(burst=3)
    if why == "other batteries":
        visit(cast, 2, arrival="working", batteries_changed=True, battery_kind="FR6", battery_count=8)
    power_draw = told(mine(cast), "Its own power draw")

    assert power_draw.value == "1.00 of that"
    assert power_draw.guessed


def test_a_camera_takes_its_power_draw_along_to_another_site(cast, bring_sequences):
    starve(cast, bring_sequences, a_day=4, days=40)
    m.Deployment.objects.update(end=cast.now - timedelta(days=2))
    m.Deployment.objects.create(slug="ford-1", camera=cast.red, site=cast.ford, start=cast.now - timedelta(days=1))

    assert not told(made(cast)["ford-1"], "Its own power draw").guessed


# How much it asks ----------------------------------------------------------------------------------------------


def test_queries_do_not_grow_with_cameras_visits_or_pictures(cast, bring_sequences):
    def asked():
        from trod.catalogue.answers import evidence

        evidence.forget()
        with CaptureQueriesContext(connection) as queries:
            forecasts.make(cast.reserve, cast.now)
        return len(queries)

    bring_sequences([cast.now - timedelta(days=d) for d in range(60, 20, -1)])
    visit(cast, 20, card_out=cast.card, arrival="working")
    few = asked()
    for n in range(6):
        camera = m.Camera.objects.create(serial=f"N-{n}")
        site = m.Site.objects.create(reserve=cast.reserve, name=f"S{n}", slug=f"s{n}", latitude=47, longitude=13)
        d = m.Deployment.objects.create(slug=f"s{n}", camera=camera, site=site, start=cast.now - timedelta(days=90))
        m.Visit.objects.create(site=site, deployment=d, at=cast.now - timedelta(days=9), arrival="working")
        bring_sequences([cast.now - timedelta(days=k) for k in range(60, 20, -1)], deployment=d)

    assert asked() == few
    assert few <= 32


def test_blanks_that_stay_are_told_with_both_futures_until_somebody_cuts_the_grass(cast, bring_sequences):
    """Forty blanks a day for twelve days: no run of false triggers that ends tomorrow."""
    days = [cast.now - timedelta(days=d, hours=10) for d in range(60, 2, -1)]
    bring_sequences(
        [at + timedelta(minutes=20 * k) for at in days for k in range(40 if (cast.now - at).days < 15 else 1)]
    )
    for sequence in m.Sequence.objects.all():
        word = m.Identification.objects.create(sequence=sequence, by="Ilka Marwood", at=cast.now)
        m.Observation.objects.create(
            identification=word, what="blank" if (cast.now - sequence.start_at).days < 15 else "animal"
        )
        m.Sequence.objects.filter(pk=sequence.pk).update(identification=word)
    m.Deployment.objects.update(batteries="12 FR6")
    before = mine(cast)
    visit(cast, 1, arrival="working", work="Cut the grass before the camera")
    after = mine(cast)

    assert "False triggers have come on" in before.sentence
    assert "if it stays" in before.sentence
    assert "The chance that it stays is 9" in before.sentence
    assert "False triggers" not in after.sentence
    assert before.middle < after.middle
