"""When animals pass, by clock time and by sun time."""

from __future__ import annotations

from dataclasses import replace

import invented
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import NotEnoughEvidence
from trod.findings import Evidence, Filter, activity
from trod.findings.detections import detections
from trod.findings.observations import select

DAY_S = 86_400.0


@pytest.mark.parametrize(("clock", "anchored"), [(5.0, 6.0), (12.5, 11.625), (20.0, 17.25), (21.0, 18.0), (1.0, 0.0)])
def test_double_anchoring_by_hand_after_vazquez_2019(clock: float, anchored: float) -> None:
    """Sunrise 5, sunset 21, anchors 6 and 18; rule of C. Vazquez et al. (2019) Methods Ecol. Evol.
    10:2057–2066, arithmetic ours: the day is squeezed 16 h to 12 h, the night stretched 8 h to 12 h."""
    found = activity.anchored_hours([clock], rise_h=[5.0], set_h=[21.0], mean_rise_h=6.0, mean_set_h=18.0)

    assert float(found[0]) == approx(anchored, abs=1e-9)


@given(st.floats(0, 23.99), st.floats(2, 9), st.floats(15, 22), st.floats(4, 8), st.floats(16, 20))
def test_anchoring_keeps_night_and_day_apart(
    clock: float, rise: float, sunset: float, mean_rise: float, mean_set: float
) -> None:
    found = float(
        activity.anchored_hours([clock], rise_h=[rise], set_h=[sunset], mean_rise_h=mean_rise, mean_set_h=mean_set)[0]
    )

    if rise < clock < sunset:
        assert mean_rise - 1e-6 <= found <= mean_set + 1e-6
    else:
        assert found <= mean_rise + 1e-6 or found >= mean_set - 1e-6


def test_days_that_already_have_the_anchors_are_left_alone() -> None:
    hours = np.linspace(0, 23.9, 50)
    same = activity.anchored_hours(
        hours, rise_h=np.full(50, 6.5), set_h=np.full(50, 19.0), mean_rise_h=6.5, mean_set_h=19.0
    )

    assert same == approx(hours, abs=1e-9)


def at_sunset(reserve_latitude_deg: float = 47.3, days: int = 300, spread_h: float = 0.3) -> Evidence:
    """An animal that passes each day at sunset, give or take `spread_h`, all through the year."""
    rng = np.random.default_rng(3)
    reserve = replace(invented.RESERVE, latitude_deg=reserve_latitude_deg)
    begin = invented.utc("2025-01-10 00:00")
    noons = begin + np.arange(days) * DAY_S + DAY_S / 2
    sun = activity.sun_days(reserve, noons)
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
        assert curve.density.sum() * 24 / activity.POINTS == approx(1.0, abs=1e-6)
        assert np.all(curve.low <= curve.high)
        inside = (curve.low <= curve.density + 1e-12) & (curve.density <= curve.high + 1e-12)
        assert inside.mean() > 0.95
        assert curve.activity_interval.low <= curve.activity <= curve.activity_interval.high * 1.1


def test_polar_days_are_refused_by_the_sun_but_not_by_the_clock() -> None:
    """At 70° N the sun does not set in June: sun time is not defined."""
    begin = invented.utc("2025-06-01 00:00")
    rng = np.random.default_rng(4)
    evidence = Evidence(
        reserve=replace(invented.RESERVE, latitude_deg=70.0, longitude_deg=25.0, zone="Europe/Oslo"),
        deployments=(invented.watch("alder-ford", "2025-06-01 00:00", "2025-06-30 00:00"),),
        observations=tuple(
            invented.observation("reindeer", begin + d * DAY_S + float(rng.uniform(0, DAY_S))) for d in range(29)
        ),
    )

    known = known_of(evidence)

    assert known.by_sun is None
    assert known.why_no_sun.startswith("the sun does not both rise and set on 2025-06-02 at 70.0° N; ")
    assert known.by_clock.n == 29
    assert [part.detections for part in known.lights] == [29, 0, 0]


def test_fewer_than_ten_detections_are_refused_with_what_it_would_take() -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        activity.curve(np.arange(9.0), np.arange(9))

    assert str(refused.value) == (
        "9 detections; a pattern over the day needs at least 10, and 100 to be trusted; widen the period or the sites"
    )


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
    assert known.by_clock.even_p < 0.05 or known.by_clock.density.min() > 0.5 / 24
    dark = (known.by_clock.hours < 5) | (known.by_clock.hours > 22)
    assert known.by_clock.density[dark].mean() == approx(1 / 24, rel=0.25)


def test_hours_of_light_add_up_to_the_hours_watched() -> None:
    chosen = select(invented.year(days=90), Filter())
    from trod.findings.effort import effort

    assert activity.watched_by_light_h(chosen).sum() == approx(effort(chosen).camera_days * 24, rel=1e-9)


def test_shares_of_light_add_up_and_a_night_animal_is_found_at_night() -> None:
    chosen = select(invented.year(), Filter(species=("badger",)))
    shares = activity.light_shares(chosen, detections(chosen.animals, 30))

    assert sum(part.share for part in shares) == approx(1.0)
    assert [part.light for part in shares] == ["day", "twilight", "night"]
    night = shares[2]
    assert night.share > 0.6 and night.preference > 1.5
    assert night.interval.low < night.share < night.interval.high


def test_twilight_is_as_long_as_the_almanac_says_at_the_equinox() -> None:
    """On the equator at the equinox the sun sinks 15° an hour straight down.

    From −50′ to −12° takes 44.7 minutes."""
    reserve = replace(invented.RESERVE, latitude_deg=0.0, longitude_deg=0.0, zone="UTC")
    sun = activity.sun_days(reserve, [invented.utc("2026-03-20 12:00")])

    assert (sun.dawn_length_h, sun.dusk_length_h) == (approx(0.745, abs=0.09), approx(0.745, abs=0.09))


@pytest.mark.long
def test_the_band_of_the_curve_holds_the_smoothed_truth() -> None:
    """200 samples of 150 detections from a von Mises law: the pointwise 95 % band holds the law, smoothed by
    the same kernel, at 90 to 98 % of the points (it cannot tell of the smoothing itself)."""
    rng = np.random.default_rng(12)
    from trod.findings import circular

    held = []
    for _ in range(200):
        hours = circular.hours(rng.vonmises(0, 1.5, 150))
        found = activity.curve(hours, np.arange(150), draws=300)
        theta = circular.angles(found.hours)
        grid = np.linspace(0, circular.TURN, 400, endpoint=False)
        truth = circular.kernel_curve(theta, grid, found.kappa, circular.von_mises(grid, 0, 1.5)) * circular.TURN / 24
        held.append(np.mean((found.low <= truth) & (truth <= found.high)))

    assert 0.90 <= np.mean(held) <= 0.98
