"""How the cameras fared."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import asked
import pytest
import sequenced

from trod.catalogue.answers import condition, evidence
from trod.catalogue.models import ClockCorrection, Import, Visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()


def told(made):
    return [(c.when, c.site, c.what) for c in condition.conditions(made.reserve, evidence.gather(made.reserve))]


def test_a_dead_camera_is_told_once_when_found_and_once_where_it_fell_silent(made):
    lines = told(made)

    assert (date(2026, 2, 4), "alder-ford", "found without power") in lines
    silent = [what for when, site, what in lines if when == date(2026, 2, 1) and site == "alder-ford"]
    assert silent == [
        "silent for 2.9 days from here on: stopped at some time before it was found not working; nobody knows whether "
        "it watched"
    ]


def test_a_clock_fast_by_minutes_and_batteries_nearly_run_down_are_told(made):
    at = asked.START + timedelta(days=12)
    Visit.objects.create(
        site=made.sites[1],
        deployment=made.deployments[1],
        at=at,
        arrival="working",
        battery_percent=15,
        batteries_changed=True,
        clock_shown=at + timedelta(minutes=60 + 4),
        clock_true=at,
    )

    assert (
        date(2026, 1, 17),
        "grey-lick",
        "its clock was 4 min fast and batteries at 15 %, changed",
    ) in told(made)


def test_good_batteries_changed_and_a_clock_within_two_minutes_are_upkeep_and_not_told(made):
    at = asked.START + timedelta(days=12)
    before = told(made)
    Visit.objects.create(
        site=made.sites[1],
        deployment=made.deployments[1],
        at=at,
        arrival="working",
        battery_percent=80,
        batteries_changed=True,
        clock_shown=at + timedelta(minutes=60, seconds=90),
        clock_true=at,
    )

    assert told(made) == before


def test_damaged_files_and_corrected_times_are_told(made):
    Import.objects.filter(deployment=made.deployments[1]).update(damaged=3)
    ClockCorrection.objects.create(
        deployment=made.deployments[1],
        shift_s=3600,
        reason="clock left on summer time",
        by="Ilka Marwood",
        at=asked.START + timedelta(days=50),
    )
    whats = [what for _, site, what in told(made) if site == "grey-lick"]

    assert "3 damaged files on its card" in whats
    assert "its pictures' times corrected: clock left on summer time" in whats


def test_a_deployment_stands_in_numbers(made):
    first, second = condition.standings(made.reserve, evidence.gather(made.reserve))

    assert (first.site, first.visits, first.sequences) == ("alder-ford", 1, 31)
    assert first.last_visit == asked.START + timedelta(days=30)
    assert first.watched_days + first.gap_days + first.open_days == pytest.approx(40 + 1 / 24)
    assert any("found without power" in problem for problem in first.problems)
    assert (second.visits, second.last_visit) == (0, None)
