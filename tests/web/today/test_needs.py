"""What needs a person now."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from trod import clock
from trod.catalogue import models as m
from trod.web.today import pages
from trod.web.today.needs import Need, in_order

pytestmark = pytest.mark.django_db


def needs(cast):
    return pages.gather(cast.reserve, cast.now).needs


def of_kind(cast, kind):
    return [need for need in needs(cast) if need.kind == kind]


def steady(cast, days, per_day=2, until=0):
    """Sequences twice a day from so many days ago until so many days ago."""
    return [cast.now - timedelta(days=d, hours=24 / per_day * k) for d in range(days, until, -1) for k in range(per_day)]


def test_a_camera_nobody_visited_for_long_is_told(cast):
    (need,) = of_kind(cast, "unvisited")

    assert need.sentence == (
        "Nobody has been at Red at Meadow for 4 months; here a camera is usually visited every 2 months."
    )
    assert need.url == "/cameras/visits/new/?deployment=meadow-2026-03-03"


def test_a_camera_visited_lately_is_not_told(cast):
    m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=5))

    assert of_kind(cast, "unvisited") == []


def test_many_cameras_nobody_visited_are_one_line(cast):
    for n in range(4):
        camera = m.Camera.objects.create(serial=f"INV-LONE-{n}", name=f"Lone {n}")
        m.Deployment.objects.create(
            slug=f"lone-{n}", camera=camera, site=cast.meadow, start=cast.now - timedelta(days=200 + 31 * n)
        )

    (need,) = of_kind(cast, "unvisited")

    assert need.sentence == (
        "Nobody has been at 5 cameras for 4 months or more, longest at Lone 3 at Meadow (10 months); "
        "here a camera is usually visited every 2 months."
    )
    assert need.url == "/cameras/"


def test_a_camera_that_was_gone_asks_for_its_end_and_is_the_worst(cast):
    m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=2), arrival="gone")

    assert needs(cast)[0].kind == "gone"
    assert needs(cast)[0].action == "End the deployment"


def test_a_card_that_ended_in_silence_means_a_camera_dead_or_full(cast, bring_sequences):
    pulled = cast.now - timedelta(days=1)
    m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=pulled, card_out=cast.card, arrival="dead")
    bring_sequences(steady(cast, 115, until=60))
    (need,) = of_kind(cast, "silent")

    assert need.sentence.startswith("Red at Meadow brought nothing from its last")
    assert "It was probably dead or full." in need.sentence


def test_a_card_with_pictures_to_its_end_is_no_alarm(cast, bring_sequences):
    pulled = cast.now - timedelta(days=1)
    m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=pulled, card_out=cast.card, arrival="working"
    )
    bring_sequences(steady(cast, 115, until=1))

    assert of_kind(cast, "silent") == []


def test_a_card_taken_out_and_not_imported_is_told_until_it_is(cast, bring_sequences):
    m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=3), card_out=cast.card
    )

    assert "Card C-1 was taken out at Meadow 3 days ago and is not imported" in of_kind(cast, "card")[0].sentence

    bring_sequences(steady(cast, 115, until=3), home=cast.now)

    assert of_kind(cast, "card") == []


def test_a_deployment_that_ended_without_a_card_is_told(cast):
    cast.deployment.end = cast.now - timedelta(days=10)
    cast.deployment.save()

    assert "ended on 21 June 2026 and no card of it is imported" in of_kind(cast, "card")[0].sentence


def test_a_clock_found_wrong_is_told_until_it_is_corrected(cast, bring_sequences):
    bring_sequences(steady(cast, 115, until=10))
    at = cast.now - timedelta(days=9)
    m.Visit.objects.create(
        site=cast.meadow,
        deployment=cast.deployment,
        at=at,
        clock_true=at,
        clock_shown=at + timedelta(minutes=60 + 63),
    )
    (need,) = of_kind(cast, "clock")

    assert (
        need.sentence
        == "The clock of Red at Meadow was 1 h 3 min fast on 22 June 2026, and its pictures are not corrected."
    )

    m.ClockCorrection.objects.create(
        deployment=cast.deployment,
        shift_s=-63 * 60,
        reason="visit",
        by="a",
        at=cast.now,
        to_raw=at + timedelta(hours=3),
    )

    assert of_kind(cast, "clock") == []


def test_a_clock_out_by_a_minute_is_right_enough(cast, bring_sequences):
    bring_sequences(steady(cast, 115, until=10))
    at = cast.now - timedelta(days=9)
    m.Visit.objects.create(
        site=cast.meadow,
        deployment=cast.deployment,
        at=at,
        clock_true=at,
        clock_shown=at + timedelta(minutes=61),
    )

    assert of_kind(cast, "clock") == []


def test_sequences_nobody_has_looked_at_are_counted(cast, bring_sequences):
    bring_sequences(steady(cast, 20, until=10))

    assert of_kind(cast, "unseen")[0].sentence == "20 sequences nobody has looked at."


def test_time_lapse_frames_alone_are_nothing_to_look_at(cast, bring_sequences):
    bring_sequences(steady(cast, 20, until=10))
    m.Sequence.objects.update(time_lapse=True)

    assert of_kind(cast, "unseen") == []


def test_a_site_without_a_camera_is_told_and_a_retired_one_is_not(cast):
    assert of_kind(cast, "empty")[0].sentence == "No camera stands at Ford."

    cast.ford.retired = True
    cast.ford.save()

    assert of_kind(cast, "empty") == []


def test_a_failed_card_import_and_a_failed_job_are_told_with_their_reason(cast):
    m.Import.objects.create(name="i", folder="f", state="failed", source="s", started_at=cast.now)
    m.Job.objects.create(kind="card_import", state="failed", error="The disk is full.\nmore", created_at=cast.now)

    assert of_kind(cast, "card_import")[0].clay
    assert of_kind(cast, "job")[0].sentence == "The work “card import” failed: The disk is full."


def test_missing_time_lapse_frames_are_gaps(cast, bring_sequences):
    cast.deployment.time_lapse_h = 24
    cast.deployment.save()
    noon = [cast.now - timedelta(days=d) for d in range(119, 0, -1) if not 40 <= d < 47]
    bring_sequences(noon)
    m.Sequence.objects.update(time_lapse=True)

    assert "made no time-lapse frame on 7 days" in of_kind(cast, "gap")[0].sentence


def test_the_worst_comes_first_and_the_order_does_not_waver():
    low, high = Need("a", 1, "b", "", ""), Need("a", 9, "a", "", "")
    twin = Need("a", 1, "a", "", "")

    assert in_order([low, high, twin]) == [high, twin, low]


# By forecast -------------------------------------------------------------------------------------------------


def foretold(cast, **changed):
    """Keeps a forecast of the one camera as said."""
    from dataclasses import replace

    from trod.catalogue.forecasts import forecasts

    made = forecasts.make(cast.reserve, cast.now).forecasts[cast.deployment.slug]
    told = replace(made, **changed)
    path = forecasts._path(cast.reserve)
    data = json.loads(path.read_text())
    data["forecasts"] = [forecasts.to_plain(told)]
    path.write_text(json.dumps(data))
    forecasts._read.clear()
    return told


def today(cast):
    return clock.local(cast.now, cast.reserve.zone).date()


def test_a_camera_that_has_probably_stopped_is_told_with_its_chance_and_cause(cast):
    foretold(cast, stopped=(0.0,) * 20 + (0.76,) * 300, causes={"batteries": 0.2, "card": 0.7, "fault": 0.1})
    (need,) = of_kind(cast, "stopped")

    assert need.sentence == (
        "Red at Meadow has probably stopped by now, with a chance of 76 in 100; most likely its card is full."
    )
    assert (need.action, need.url) == ("Record a visit", "/cameras/visits/new/?deployment=meadow-2026-03-03")
    assert need.clay
    # 100 days at 0.76 are lost already, and 30 more will be.
    assert need.loss == pytest.approx(0.76 * (100 + 30))


def test_a_camera_past_its_early_date_may_have_stopped(cast):
    foretold(
        cast, stopped=(0.0,) * 20 + (0.12,) * 300, early=today(cast) - timedelta(days=1),
        causes={"batteries": 0.9, "card": 0.0, "fault": 0.0},
    )  # fmt: skip
    (need,) = of_kind(cast, "may-stop")

    assert need.sentence == (
        "Red at Meadow may have stopped by now, with a chance of 12 in 100; most likely its batteries no longer carry "
        "the flash."
    )
    assert need.url == "/cameras/deployments/of/meadow-2026-03-03/power/"
    assert not need.clay


def test_a_camera_that_is_due_within_a_fortnight_is_told_with_its_day(cast):
    foretold(
        cast, stopped=(0.0,) * 400, go_by=today(cast) + timedelta(days=3), early=today(cast) + timedelta(days=4),
        causes={"batteries": 0.9, "card": 0.0, "fault": 0.0},
    )  # fmt: skip
    (need,) = of_kind(cast, "due")

    assert need.sentence == (
        "Go to Red at Meadow by Saturday, 4 July: from 5 July on its batteries fail with a chance of 1 in 10 or more."
    )


def test_a_camera_that_has_time_is_not_told_however_long_nobody_was_there(cast):
    later = today(cast) + timedelta(days=40)
    foretold(cast, stopped=(0.0,) * 400, go_by=later, early=later, causes={"batteries": 0.9})

    assert {need.kind for need in needs(cast)}.isdisjoint({"stopped", "may-stop", "due", "unvisited", "full"})


@pytest.mark.parametrize(("arrival", "how"), [("dead", "with no power"), ("full", "with its card full")])
def test_a_camera_found_stopped_and_left_so_is_told(cast, arrival, how):
    m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=9), arrival=arrival
    )
    foretold(cast)
    (need,) = of_kind(cast, "stopped")

    assert need.sentence == (
        f"Red at Meadow was found {how} on 22 June, and nothing says that anybody set it going again."
    )
    assert need.loss == 9 + 30


def test_a_camera_that_was_gone_is_told_once(cast):
    m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=2), arrival="gone")
    foretold(cast)

    assert len(of_kind(cast, "gone")) == 1
    assert of_kind(cast, "stopped") == []


def test_many_cameras_that_may_have_stopped_are_one_round_to_plan(cast):
    from dataclasses import replace

    from trod.catalogue.forecasts import forecasts
    from trod.web.today.needs import stopping_cameras

    made = forecasts.make(cast.reserve, cast.now).forecasts[cast.deployment.slug]
    standing, told = [], {}
    for n in range(5):
        camera = m.Camera(serial=f"N-{n}", name=f"North {n}")
        standing.append(m.Deployment(slug=f"n{n}", camera=camera, site=cast.meadow))
        told[f"n{n}"] = replace(
            made, deployment=f"n{n}", stopped=(0.0,) * 20 + (0.12 + 0.01 * n,) * 300, early=today(cast)
        )
    (need,) = stopping_cameras(standing, told, today(cast))

    assert need.sentence == (
        "5 cameras may have stopped by now, first of all North 4 at Meadow with a chance of 16 in 100."
    )
    assert (need.action, need.url) == ("Plan a round", "/rounds/new/")


def test_the_camera_that_loses_most_stands_first(cast):
    from dataclasses import replace

    from trod.catalogue.forecasts import forecasts
    from trod.web.today.needs import stopping_cameras

    made = forecasts.make(cast.reserve, cast.now).forecasts[cast.deployment.slug]
    standing, told = [], {}
    for slug, since in (("late", 100), ("early", 20)):
        standing.append(m.Deployment(slug=slug, camera=m.Camera(serial=slug), site=cast.meadow))
        told[slug] = replace(made, deployment=slug, stopped=(0.0,) * since + (0.9,) * 300)
    found = in_order(stopping_cameras(standing, told, today(cast)))

    assert [need.sentence.split()[0] for need in found] == ["early", "late"]


def picture_at(cast, taken: datetime, number: int):
    """A picture of the standing deployment at a time of its clock."""
    return m.Picture.objects.create(
        sha256=f"{number:064x}", path=f"x/{number}.JPG", card_import=m.Import.objects.get(), deployment=cast.deployment,
        size_bytes=1, file_order=number, taken_raw=taken, taken_at=taken - timedelta(hours=1), looked=True,
    )  # fmt: skip


def test_a_clock_that_a_visit_read_is_corrected_from_today_by_one_press_and_undone_by_another(
    client, cast, bring_sequences
):
    bring_sequences(steady(cast, 115, until=10))
    at = cast.now - timedelta(days=9)
    visit = m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=at, clock_true=at, clock_shown=at + timedelta(minutes=60 + 63)
    )
    address = f"/cameras/deployments/of/{cast.deployment.slug}/clock/visits/{visit.pk}/"
    (need,) = of_kind(cast, "clock")
    assert need.at_once == address and f"?visit={visit.pk}" in need.url
    first = picture_at(cast, cast.now - timedelta(days=60), 1)

    page = client.post(address, follow=True)

    (made,) = m.ClockCorrection.objects.all()
    assert page.redirect_chain[-1][0] == "/" and "It is corrected for" in page.content.decode()
    assert m.Picture.objects.get(pk=first.pk).taken_at != first.taken_at
    assert of_kind(cast, "clock") == []
    assert f'action="/cameras/clock/{made.pk}/undo/"' in page.content.decode()  # the button that undoes it

    client.post(f"/cameras/clock/{made.pk}/undo/")

    assert m.Picture.objects.get(pk=first.pk).taken_at == first.taken_at
    assert len(of_kind(cast, "clock")) == 1


def test_a_second_press_corrects_nothing_and_says_so(client, cast, bring_sequences):
    bring_sequences(steady(cast, 115, until=10))
    at = cast.now - timedelta(days=9)
    visit = m.Visit.objects.create(
        site=cast.meadow, deployment=cast.deployment, at=at, clock_true=at, clock_shown=at + timedelta(minutes=60 + 63)
    )
    picture_at(cast, cast.now - timedelta(days=60), 1)
    address = f"/cameras/deployments/of/{cast.deployment.slug}/clock/visits/{visit.pk}/"
    client.post(address)
    page = client.post(address, follow=True).content.decode()

    assert m.ClockCorrection.objects.count() == 1
    assert "Nothing to correct by the visit of" in page


def test_a_visit_that_read_no_clock_corrects_nothing(client, cast, bring_sequences):
    bring_sequences(steady(cast, 115, until=10))
    visit = m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=cast.now - timedelta(days=9))
    page = client.post(
        f"/cameras/deployments/of/{cast.deployment.slug}/clock/visits/{visit.pk}/", follow=True
    ).content.decode()

    assert not m.ClockCorrection.objects.exists()
    assert "does not hold both times" in page


def test_a_day_is_told_by_the_reserves_clock_and_not_by_utc(cast):
    """At half past eleven at night in UTC it is the next day already where the reserve lies."""
    late = datetime(2026, 6, 20, 23, 30, tzinfo=UTC)
    assert clock.local(late, cast.reserve.zone).day == 21
    m.Visit.objects.create(site=cast.meadow, deployment=cast.deployment, at=late, arrival=m.Visit.Arrival.GONE)

    assert "was gone on 21 June 2026" in of_kind(cast, "gone")[0].sentence
