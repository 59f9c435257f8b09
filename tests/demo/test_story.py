from __future__ import annotations

from collections import Counter
from datetime import date

import pytest

from trod_demo.reserve import year
from trod_demo.story import Moment, Storyteller, budgets, real_hour, sun_hours


def told(site: str, *, pictures: int = 300, seed: int = 1, false_running: float = 0.16) -> list[Moment]:
    y = year()
    deployment = next(d for d in y.deployments if d.site == site)
    last = max(c.taken_out for c in y.cards if c.deployment == deployment.slug and c.taken_out)
    return Storyteller(y, deployment, seed=seed).tell(deployment.start, last, pictures, false_running=false_running)


def test_a_story_is_the_same_for_the_same_seed_only() -> None:
    assert told("alder-track") == told("alder-track")
    assert told("alder-track") != told("alder-track", seed=2)


def test_a_story_has_about_the_pictures_asked_for_in_time_order() -> None:
    moments = told("heron-pool", pictures=400)

    assert len(moments) * 1.15 >= 400 and len(moments) <= 440
    assert [m.at for m in moments] == sorted(m.at for m in moments)


def test_a_camera_that_is_off_or_full_takes_nothing() -> None:
    for site, what in (("heron-pool", "off"), ("hay-stand", "full card"), ("stone-ford", "off")):
        y = year()
        deployment = next(d for d in y.deployments if d.site == site)
        spell = next(s for s in deployment.spells if s.what == what)
        assert not [m for m in told(site) if spell.start <= m.at < spell.end]


def test_the_story_holds_the_troubles_of_the_plan() -> None:
    assert any(m.askew for m in told("closed-lane"))
    assert any(m.lens.ice > 0.4 for m in told("high-saddle"))
    weak = [m.lens.weak for m in told("stone-ford") if m.lens.weak > 0]
    assert weak and weak == sorted(weak)


def test_badgers_come_by_night_and_jays_by_day() -> None:
    hours = {"badger": Counter[bool](), "jay": Counter[bool]()}
    for m in told("orchard-wall", pictures=1200):
        if m.species in hours:
            hours[m.species][m.sun_deg[0] < 0] += 1

    assert hours["badger"][True] > 0.8 * hours["badger"].total() > 5
    assert hours["jay"][False] > 0.9 * hours["jay"].total() > 5


def test_a_false_run_is_many_blanks_of_one_detection_in_high_wind() -> None:
    false_runs = [m for m in told("larkfield-edge", false_running=0.5) if m.cause == "waving branches"]

    assert len(false_runs) > 100
    assert max(Counter(m.detection for m in false_runs).values()) >= 12
    assert min(m.weather.wind_mps for m in false_runs) >= 9


def test_the_sun_rises_earlier_and_sets_later_in_june() -> None:
    june, december = sun_hours(date(2026, 6, 21)), sun_hours(date(2026, 12, 21))

    assert june[0] < december[0] and june[1] > december[1]
    assert june[1] - june[0] == pytest.approx(15.7, abs=0.3)  # geometric day at 47.3° N
    assert real_hour(6, date(2026, 6, 21)) == pytest.approx(june[0])
    assert real_hour(18, date(2026, 12, 21)) == pytest.approx(december[1])


def test_shares_of_the_cards_add_up() -> None:
    shares = budgets(year(), 2400)

    assert sum(shares.values()) == pytest.approx(2400, abs=20)
