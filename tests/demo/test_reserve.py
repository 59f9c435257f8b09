from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from trod_demo import reserve
from trod_demo.reserve import (
    CAMERAS,
    RESERVE,
    SITES,
    SITES_BY_SLUG,
    SPECIES,
    SPECIES_BY_KEY,
    ledger,
    year,
)


def test_the_ledger_is_plain_data_that_survives_json() -> None:
    data = ledger()

    assert json.loads(json.dumps(data)) == data


def test_the_ledger_names_only_things_it_holds() -> None:
    data = ledger()
    cameras = {c["serial"] for c in data["cameras"]}
    sites = {s["slug"] for s in data["sites"]}
    deployments = {d["slug"] for d in data["deployments"]}
    cards = {c["name"] for c in data["cards"]}

    assert {c["model"] for c in data["cameras"]} == {m["slug"] for m in data["camera_models"]}
    assert {d["camera"] for d in data["deployments"]} <= cameras
    assert {d["site"] for d in data["deployments"]} == sites
    assert {v["deployment"] for v in data["visits"]} == deployments
    assert {v["by"] for v in data["visits"]} <= set(data["people"])
    assert {v[k] for v in data["visits"] for k in ("card_in", "card_out")} - {None} == cards
    assert {s["species"] for s in data["signs"]} <= {s["key"] for s in data["species"]}


def test_the_ledger_keeps_the_troubles_to_itself() -> None:
    for row in ledger()["deployments"]:
        assert "spells" not in row
        assert "clock" not in row


@pytest.mark.parametrize("now", [date(2026, 6, 30), date(2027, 1, 15)])
def test_no_camera_and_no_site_has_two_deployments_at_once(now: date) -> None:
    deployments = year(now).deployments
    far = datetime.max.replace(tzinfo=deployments[0].start.tzinfo)

    for key in ("camera", "site"):
        for name in {getattr(d, key) for d in deployments}:
            mine = sorted((d for d in deployments if getattr(d, key) == name), key=lambda d: d.start)
            for first, second in pairwise(mine):
                assert (first.end or far) <= second.start


def test_visits_lie_within_their_deployment_and_before_today() -> None:
    y = year()

    for visit in y.visits:
        deployment = y.deployment(visit.deployment)
        assert visit.at >= deployment.start
        assert deployment.end is None or visit.at <= deployment.end
        assert visit.at.date() <= y.now


def test_cards_of_a_deployment_follow_one_another() -> None:
    y = year()

    for deployment in y.deployments:
        mine = sorted((c for c in y.cards if c.deployment == deployment.slug), key=lambda c: c.put_in)
        assert mine[0].put_in == deployment.start
        for first, second in pairwise(mine):
            assert first.taken_out == second.put_in
        assert mine[-1].taken_out == deployment.end


def test_a_camera_set_by_a_summer_time_telephone_runs_an_hour_ahead_until_it_is_put_right() -> None:
    deployment = next(d for d in year().deployments if d.site == "orchard-wall")
    wrong, right = (step.since for step in deployment.clock[-2:])

    assert deployment.clock_error_s(wrong - timedelta(minutes=1)) == pytest.approx(0, abs=60)
    assert deployment.clock_error_s(right - timedelta(minutes=1)) == pytest.approx(3600, abs=60)
    assert deployment.clock_error_s(right) == 0


def test_a_camera_whose_batteries_were_changed_shows_the_first_of_january() -> None:
    deployment = next(d for d in year().deployments if d.site == "scree-foot" and d.end is None)
    since = next(step.since for step in deployment.clock if abs(step.error_s) > 1e6)

    shown = since + timedelta(seconds=deployment.clock_error_s(since))

    assert shown.astimezone(deployment.timezone).strftime("%m-%d %H:%M") == "01-01 00:00"


def test_sites_are_of_many_kinds_and_some_are_sensitive() -> None:
    assert len(SITES) == 12
    assert len({s.kind for s in SITES}) == 12
    assert sum(s.sensitive for s in SITES) == 2
    assert len({c.serial for c in CAMERAS}) == 14


def test_each_species_comes_to_some_site() -> None:
    drawn = {key for site in SITES for key, _ in site.draw}

    assert drawn == set(SPECIES_BY_KEY)
    assert all(len(s.hours) == 24 and len(s.months) == 12 for s in SPECIES)


def test_every_site_lies_within_the_reserve() -> None:
    corners = reserve.RESERVE.boundary
    lon, lat = [c[0] for c in corners], [c[1] for c in corners]

    for site in SITES_BY_SLUG.values():
        assert min(lon) < site.longitude_deg < max(lon)
        assert min(lat) < site.latitude_deg < max(lat)


@pytest.mark.parametrize("day", range(0, 730, 17))
def test_whatever_day_the_year_ends_ice_comes_in_january_and_the_clock_is_wrong_in_summer_time(day: int) -> None:
    now = date(2026, 1, 1) + timedelta(days=day)
    found = year(now)
    assert max(v.at.date() for v in found.visits) <= now
    (iced,) = [s for d in found.deployments for s in d.spells if s.what == "ice"]
    # A year that begins in January has its ice as soon as the camera stands, or before it ends.
    assert iced.start.month in (12, 1), iced
    orchard = next(d for d in found.deployments if d.site == "orchard-wall")
    (wrong,) = [step for step in orchard.clock if step.error_s == 3600.0]
    assert wrong.since.astimezone(ZoneInfo(RESERVE.time_zone)).dst()
