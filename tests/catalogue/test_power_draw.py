"""What a camera draws, learnt from its visits and the days its cards brought home."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from trod.catalogue import models as m
from trod.catalogue.forecasts import power_draw
from trod.planning.ground.weather import Climate
from trod.planning.last.arrivals import DayCount

pytestmark = pytest.mark.django_db
MILD = Climate(minimum_c=(12.0,) * 12, sd_c=(1.0,) * 12)


@pytest.fixture
def stand(cast):
    """A camera on eight FR6 for 400 days, its figures measured, 20 triggers a day on its cards."""
    model = m.CameraModel.objects.create(
        maker="Oddlethorpe", name="Wren 12", slug="wren-12", battery_kind="FR6", battery_count=8, flash="low glow",
        measured={"idle_mw": 4, "wake_j": 5, "day_frame_j": 1.5, "night_frame_j": 10},
    )  # fmt: skip
    cast.deployment.camera.model = model
    cast.deployment.batteries, cast.deployment.start = "8 FR6", cast.now - timedelta(days=400)
    return cast


def told(cast, *visits, days=400, batteries="FR6", incidents=()):
    """visits : (days after the start, what the visit says). The counts stop at the first found dead."""
    rows = [
        m.Visit(site=cast.meadow, deployment=cast.deployment, at=cast.deployment.start + timedelta(days=after), **what)
        for after, what in visits
    ]
    start = cast.deployment.start.date()
    counts = [DayCount(day=start + timedelta(n), animals=20, night=10) for n in range(days)]
    one = power_draw.Stood(deployment=cast.deployment, visits=rows, counts=counts, incidents=incidents)
    return power_draw.learn([one], designation=batteries, climate=MILD, zone="Europe/Vienna")


DEAD = {"arrival": "dead", "batteries_changed": True, "battery_kind": "FR6"}
CHANGED = {"arrival": "working", "batteries_changed": True, "battery_kind": "FR6"}


def test_a_camera_found_dead_after_25_days_most_likely_died_of_something_else_and_that_is_said(stand):
    scale, words = told(stand, (26, DEAD), days=25)

    assert math.exp(scale.ln_mean) < 1.2  # the first trial: 5.45 ± 15 %
    assert "1 ended with known counts" in words
    assert "The set that ended after 25 days most likely ended by something else (a leak, a hang, a bad battery" in words
    assert "the chance that it was empty is hardly 1 in 100" in words


def test_a_set_that_lasted_as_long_as_was_to_be_expected_narrows_what_is_known(stand):
    scale, words = told(stand, (200, DEAD), days=196)

    assert scale.ln_sd < 0.16
    assert "something else" not in words
    assert words.startswith("learnt from 1 set of batteries: 1 ended with known counts; ")


def test_sets_changed_while_the_camera_still_worked_teach_too(stand):
    scale, words = told(stand, (250, CHANGED), (390, CHANGED))

    assert scale.ln_mean < -0.1  # 250 days are longer than its figures allow
    assert "2 changed while it still worked" in words


@pytest.mark.parametrize("note", ["drowned in the flood", "water inside the housing", "a battery leaked", "hung, froze"])
def test_a_drowned_leaking_or_hung_camera_teaches_nothing(stand, note):
    assert told(stand, (26, DEAD | {"note": note}), days=25) == (None, "")


def test_a_camera_with_a_incident_of_those_days_teaches_nothing(stand):
    start = stand.deployment.start.date()
    flood = m.Incident(kind="weather", stopped=True, found_on=start + timedelta(days=26))
    before = m.Incident(kind="weather", stopped=True, found_on=start - timedelta(days=5))

    assert told(stand, (26, DEAD), days=25, incidents=[flood]) == (None, "")
    assert told(stand, (200, DEAD), days=196, incidents=[before])[0] is not None


def test_percentages_before_and_after_teach_on_alkaline_and_nothing_on_lithium(stand):
    stand.deployment.batteries = "8 LR6"
    gone = ((3, {"arrival": "working", "battery_percent": 95.0}),
            (40, {"arrival": "working", "battery_percent": 35.0, "batteries_changed": True}))  # fmt: skip
    alkaline, words = told(stand, *gone, days=41, batteries="LR6")
    assert "1 read from the camera's own percentage" in words
    stand.deployment.batteries = "8 FR6"
    lithium, said = told(stand, *gone, days=41)

    assert "percentage" not in said and "1 changed while it still worked" in said
    assert alkaline.ln_sd < lithium.ln_sd


def test_what_a_dead_camera_left_behind_is_not_counted_twice(stand):
    """Found dead, left so, and found dead again: one set."""
    _, words = told(stand, (200, {"arrival": "dead"}), (220, DEAD), days=196)

    assert words.startswith("learnt from 1 set ")


def test_without_known_days_or_with_other_batteries_nothing_is_learnt(stand):
    assert told(stand, (200, DEAD), days=0) == (None, "")
    assert told(stand, (200, DEAD), days=196, batteries="LR6") == (None, "")
