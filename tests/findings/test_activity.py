"""When animals pass, by clock time and by sun time."""

from __future__ import annotations

from dataclasses import replace

import invented
import numpy as np
import pytest
from pytest import approx

from trod.errors import NotEnoughEvidence
from trod.findings import Evidence, Filter, UnseenSequence, activity, day_curve, hours_watched, sun_time
from trod.findings.detections import detections
from trod.findings.effort import effort
from trod.findings.observations import select
from trod.telling.when import answer as when

DAY_S = 86_400.0


def at_sunset(reserve_latitude_deg: float = 47.3, days: int = 300, spread_h: float = 0.3) -> Evidence:
    """An animal that passes each day at sunset, give or take `spread_h`, all through the year."""
    rng = np.random.default_rng(3)
    reserve = replace(invented.RESERVE, latitude_deg=reserve_latitude_deg)
    begin = invented.utc("2025-01-10 00:00")
    noons = begin + np.arange(days) * DAY_S + DAY_S / 2
    sun = sun_time.sun_of(reserve, noons)
    # Vienna's clock is one or two hours ahead of UTC: go by local midnight of each day.
    from trod.findings import localtime

    local_midnight = noons - localtime.clock_hours(noons, reserve.zone) * 3600
    times = local_midnight + (sun.set_h + spread_h * rng.normal(size=days)) * 3600
    return Evidence(
        reserve=reserve,
        sites=invented.sites(),
        deployments=(invented.watch("alder-ford", "2025-01-01 00:00", "2025-12-31 00:00"),),
        observations=tuple(invented.observation("red-deer", float(t)) for t in times),
    )


def known_of(evidence: Evidence) -> activity.Activity:
    chosen = select(evidence, Filter())
    return activity.activity(chosen, detections(chosen.animals, 30))


def test_an_animal_of_the_sunset_is_sharper_by_the_sun_than_by_the_clock() -> None:
    known = known_of(at_sunset())

    assert known.by_sun is not None and known.sun is not None
    assert known.by_sun.density.max() > 2 * known.by_clock.density.max()
    assert known.by_sun.peak_h == approx(known.sun.mean_set_h, abs=0.2)


def test_curves_hold_one_day_and_the_band_holds_the_curve() -> None:
    known = known_of(at_sunset(days=60))

    for curve in (known.by_clock, known.by_sun):
        assert curve is not None
        assert curve.density.sum() * 24 / day_curve.POINTS == approx(1.0, abs=1e-6)
        assert np.all(curve.low <= curve.high)
        inside = (curve.low <= curve.density + 1e-12) & (curve.density <= curve.high + 1e-12)
        assert inside.mean() > 0.95


def reindeer(begin: str, days: int, *, latitude_deg: float = 70.0, longitude_deg: float = 25.0) -> Evidence:
    start = invented.utc(begin)
    rng = np.random.default_rng(4)
    reserve = replace(invented.RESERVE, latitude_deg=latitude_deg, longitude_deg=longitude_deg, zone="Europe/Oslo")
    watched = replace(invented.watch("alder-ford", begin, begin), watched=((start, start + days * DAY_S),))
    return Evidence(
        reserve=reserve,
        deployments=(watched,),
        observations=tuple(
            invented.observation("reindeer", start + d * DAY_S + float(rng.uniform(0, DAY_S))) for d in range(days)
        ),
    )


def test_where_the_sun_stays_up_the_curve_is_by_clock_and_the_table_by_its_height() -> None:
    """At 70° N the sun does not set in June: no sun time, but the sun is high at noon and low at midnight."""
    known = known_of(reindeer("2025-06-01 00:00", 29))

    assert known.by_sun is None and known.sun_hours is None
    assert known.why_no_sun == "at 70.0° N the sun did not set on 30 of 30 days, between 1 June 2025 and 30 June 2025"
    assert known.by_clock.n == 29
    assert [part.detections for part in known.lights] == [29, 0, 0]
    assert known.lights[0].share == 1.0
    assert sum(part.share.detections for part in known.heights) == 29
    assert sum(part.share.watched_h for part in known.heights) == approx(29 * 24, rel=0.01)
    # 70° N, declination 22 to 23.4°: between 2° and 43.4° at midnight and noon.
    assert known.heights[0].from_deg == approx(-0.833, abs=0.01) and known.heights[-1].to_deg == 45.0


def test_where_the_sun_stays_down_twilight_and_night_are_told_apart_all_the_same() -> None:
    known = known_of(reindeer("2025-12-05 00:00", 30))

    assert known.by_sun is None
    assert "the sun did not rise on 31 of 31 days" in known.why_no_sun
    assert known.lights[0].detections == 0 and known.lights[0].share == 0.0
    assert sum(part.share or 0 for part in known.lights) == approx(1.0)


def test_a_sunset_after_midnight_is_no_missing_sunset() -> None:
    """Near 65° N in June the sun sets after the clock's midnight; by its own day it rises and sets."""
    known = known_of(reindeer("2025-06-10 00:00", 20, latitude_deg=64.9, longitude_deg=11.0))

    assert known.by_sun is not None and known.why_no_sun == ""
    assert known.sun is not None and known.sun.mean_set_h < 1.0


def test_without_a_place_nothing_is_said_of_the_sun() -> None:
    somewhere = reindeer("2025-06-01 00:00", 29)
    nowhere = replace(somewhere, reserve=replace(somewhere.reserve, latitude_deg=None, longitude_deg=None))

    known = known_of(nowhere)
    found = when(nowhere)

    assert known.by_sun is None and known.lights == () and known.heights == ()
    assert known.why_no_sun == "where the reserve lies is not entered, so nothing is known of the sun"
    assert found.rows == () and found.series["mean_sunset_h"] is None
    assert not any(word in found.sentence for word in ("night", "by day", "twilight", "sunrise"))
    assert any(caution.startswith("Not shown in sun time: where the reserve lies") for caution in found.cautions)
    with pytest.raises(NotEnoughEvidence, match="day and night are not known"):
        when(nowhere, Filter(light="night"))


def test_what_is_not_reviewed_by_night_does_not_make_a_day_animal() -> None:
    """Even over the day, but three of four night sequences still wait: the curve and the shares allow for it."""
    rng = np.random.default_rng(6)
    reserve = replace(invented.RESERVE, latitude_deg=0.0, longitude_deg=0.0, zone="UTC")
    start = invented.utc("2025-03-01 00:00")
    times = start + np.sort(rng.uniform(0, 200 * DAY_S, 1200))
    hour = np.mod(times, DAY_S) / 3600
    waits = ((hour < 6) | (hour > 18)) & (rng.random(1200) < 0.75)
    evidence = Evidence(
        reserve=reserve,
        deployments=(replace(invented.watch("alder-ford", "2025-03-01 00:00", "2025-09-17 00:00")),),
        observations=tuple(invented.observation("red-deer", float(t)) for t in times[~waits]),
        unseen=tuple(UnseenSequence(sequence=f"w{t}", site="alder-ford", utc_s=float(t)) for t in times[waits]),
    )

    known = known_of(evidence)

    assert known.lights[0].detections > 0.75 * sum(part.detections for part in known.lights)
    assert known.lights[0].interval is not None
    assert known.lights[0].interval.low < 0.505 < known.lights[0].interval.high
    assert known.by_clock.even_p > 0.01


def test_a_camera_that_ran_by_night_alone_says_nothing_of_the_day() -> None:
    start = invented.utc("2025-05-01 17:00")
    spans = tuple((start + d * DAY_S, start + d * DAY_S + 10 * 3600) for d in range(120))  # 19:00 to 05:00 local
    rng = np.random.default_rng(2)
    evidence = Evidence(
        reserve=invented.RESERVE,
        deployments=(replace(invented.watch("alder-ford", "2025-05-01 00:00", "2025-05-02 00:00"), watched=spans),),
        observations=tuple(invented.observation("red-deer", float(rng.uniform(a, b))) for a, b in spans),
    )

    known = known_of(evidence)
    found = when(evidence)

    assert not known.by_clock.whole and known.by_clock.activity is None
    assert all(part.share is None for part in known.lights)
    assert "%" not in found.sentence and found.value is None
    assert np.isnan(known.by_clock.density[known.by_clock.hours == 12 + 1 / 24]).all()
    assert known.by_clock.even_p > 0.05  # even over the hours watched, and a plain test would cry night
    assert "mostly" not in found.sentence and found.sentence.startswith("Of the hours watched none stands out in")
    assert any(c.startswith("Hardly or not watched: ") for c in found.cautions)
    assert found.series["clock"]["density"][144] is None


def test_one_night_of_a_lingering_animal_is_one_coming() -> None:
    """Two hundred detections of twenty stays are twenty comings: wide band, no claim; as many single ones tell."""
    rng = np.random.default_rng(11)
    start = invented.utc("2025-03-01 00:00")
    stays = start + np.arange(20) * 9 * DAY_S + rng.uniform(0, DAY_S, 20)
    times = (stays[:, None] + np.arange(10) * 2400.0).ravel()
    evidence = Evidence(
        reserve=invented.RESERVE,
        deployments=(invented.watch("alder-ford", "2025-03-01 00:00", "2025-10-01 00:00"),),
        observations=tuple(invented.observation("red-deer", float(t)) for t in times),
    )

    known = known_of(evidence)

    assert known.by_clock.n == 200
    assert known.by_clock.worth < 60
    assert known.by_clock.even_p > 0.05


def test_two_cameras_at_a_site_do_not_double_its_time() -> None:
    one = invented.watch("alder-ford", "2025-05-01 00:00", "2025-06-01 00:00")
    both = Evidence(reserve=invented.RESERVE, deployments=(one, replace(one, slug="alder-ford-2")))

    found = hours_watched.watched(select(both, Filter()))

    assert found.by_hour(found.clock_h).sum() == approx(31 * 24)


def test_an_hour_watched_half_as_long_counts_double() -> None:
    """Half the days the camera slept from 18:00 to 06:00 UTC: the night's detections weigh twice."""
    spans = []
    begin = invented.utc("2025-05-01 00:00")
    for day in range(100):
        start = begin + day * DAY_S + (6 * 3600 if day % 2 else -6 * 3600)
        spans.append((start, start + (12 if day % 2 else 24) * 3600))
    one = invented.watch("alder-ford", "2025-05-01 00:00", "2025-05-02 00:00")
    deployment = replace(one, watched=tuple(spans))
    rng = np.random.default_rng(8)
    times = np.concatenate([rng.uniform(a, b, max(1, round((b - a) / 3600 / 4))) for a, b in spans])
    evidence = Evidence(
        reserve=invented.RESERVE,
        deployments=(deployment,),
        observations=tuple(invented.observation("red-deer", float(t)) for t in times),
    )

    known = known_of(evidence)
    night = [h < 6 or h > 20 for h in known.clock_h]

    assert np.mean(night) < 0.36  # by plain count the night, 10 of 24 hours, looks quiet
    assert known.by_clock.density.min() > 0.5 / 24
    dark = (known.by_clock.hours < 5) | (known.by_clock.hours > 22)
    assert known.by_clock.density[dark].mean() == approx(1 / 24, rel=0.25)


def test_hours_of_light_add_up_to_the_hours_watched() -> None:
    chosen = select(invented.year(days=90), Filter())
    found = hours_watched.watched(chosen)
    watched_h = found.by_kind(hours_watched.light_of_steps(found), 3, reviewed=False).sum()

    assert watched_h == approx(effort(chosen).camera_days * 24, rel=1e-6)


def test_shares_of_light_add_up_and_a_night_animal_is_found_at_night() -> None:
    chosen = select(invented.year(), Filter(species=("badger",)))
    shares = activity.activity(chosen, detections(chosen.animals, 30)).lights

    assert sum(part.share or 0 for part in shares) == approx(1.0)
    assert [part.light for part in shares] == ["day", "twilight", "night"]
    night = shares[2]
    assert night.share is not None and night.preference is not None and night.interval is not None
    assert night.share > 0.6 and night.preference > 1.5
    assert night.interval.low < night.share < night.interval.high
