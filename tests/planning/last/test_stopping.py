"""The futures behind a forecast: what is counted, and limits that can be worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment.batteries import BATTERIES, Pack
from trod.planning.equipment.energy import Draw
from trod.planning.equipment.panel import Panel
from trod.planning.ground.weather import DEFAULT_CLIMATE, Climate
from trod.planning.last.arrivals import Arrivals, DayCount, Prior, Season
from trod.planning.last.stopping import (
    EnergyScale,
    Outfit,
    Stops,
    Used,
    delay_effect,
    scale_for,
    simulate,
)

START = date(2027, 1, 1)
# The camera of the figures that were worked by hand; what it takes beside them is known to 20 %.
WORKED = Draw(idle_w=0.0012, wake_j=2.0, day_frame_j=1.0, night_frame_j=7.0)
FR6x8 = Outfit(draw=WORKED, pack=Pack(battery=BATTERIES["FR6"], number=8), scale=EnergyScale())
SURE = replace(FR6x8, scale=EnergyScale(0.0, 0.0), bytes_sd=0.0)
EVEN = Climate(minimum_c=(5.0,) * 12, sd_c=(0.0,) * 12)


def known_site(level: float, *, night: float = 0.5, false_runs: float = 0.0) -> Arrivals:
    """A site whose level, runs of false triggers and night share are as good as known; a flat year."""
    return Arrivals(
        prior=Prior(level_per_day=level, shape=1e8, season=Season(amplitude=0.0), false_run_start=false_runs, false_run_weight=1e6,  # noqa: E501
                    false_run_sigma_ln=1e-3, night_share=night, night_weight=1e8)
    )  # fmt: skip


def run(outfit: Outfit, site: Arrivals, *, climate: Climate = EVEN, used: Used | None = None, futures: int = 1000,
        step_days: int = 1, start: date = START, seed: int = 1) -> Stops:  # fmt: skip
    """Futures with the usual settings of these tests."""
    return simulate(outfit, climate, site, start, used or Used(), draws=futures, step_days=step_days,
                    rng=np.random.default_rng(seed))  # fmt: skip


def test_a_quiet_trails_energy_and_room_a_day_are_those_worked_by_hand() -> None:
    """6 triggers a day, bursts of three, half by night: 0.0521333 Wh and, at a feeding ground's 120 with 0.6 by
    night, 1004.681 MB; docs/models/endurance.md.
    """
    day_wh = FR6x8.resting_wh_a_day + 6 * FR6x8.trigger_wh(0.5)

    assert day_wh == approx(0.0521333, abs=5e-8)
    assert FR6x8.pack.usable_wh(5.0, 8.0) == approx(33.8554, abs=5e-5)
    assert FR6x8.pack.usable_wh(5.0, 8.0) / day_wh == approx(649.40, abs=5e-3)
    assert 120 * FR6x8.trigger_mb(0.6) == approx(1004.681, abs=5e-4)
    assert 31_840 / (120 * FR6x8.trigger_mb(0.6)) == approx(31.692, abs=5e-4)


def test_without_drift_the_futures_end_about_the_day_worked_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """31.692 days; what is left of chance are single days' counts, whose spread hardly moves the median."""
    monkeypatch.setattr("trod.planning.last.stopping.DRIFT_MEDIAN_SD", 0.0)
    outfit = replace(SURE, pack=Pack(battery=BATTERIES["FR6"], number=12))

    stops = run(outfit, known_site(120, night=0.6), futures=3000)

    assert float(np.median(stops.card)) == approx(31.692, rel=0.025)
    # Relative spread of a sum of 32 days of NB(120, 1.2): √((1/120 + 1/1.2)/31.7).
    assert float(np.std(stops.card) / np.mean(stops.card)) == approx(math.sqrt((1 / 120 + 1 / 1.2) / 31.7), rel=0.1)


def test_without_any_trigger_the_batteries_end_by_waiting_alone_and_the_card_never() -> None:
    hungry = replace(SURE, draw=replace(WORKED, idle_w=0.004), pack=Pack(battery=BATTERIES["FR6"], number=4))
    site = known_site(1e-6)
    gives = float(hungry.pack.usable_wh(5.0, 8.0))

    stops = run(hungry, site, futures=60)

    alone = gives / (0.004 * 24)
    np.testing.assert_allclose(stops.flash, alone * (1 - 0.006 * alone / 365.25), rtol=1e-3)
    assert np.isinf(stops.card).all()


def test_long_steps_tell_nearly_the_same_as_single_days() -> None:
    site = known_site(15, false_runs=0.03)

    by_day = run(FR6x8, site, climate=DEFAULT_CLIMATE, futures=4000)
    by_week = run(FR6x8, site, climate=DEFAULT_CLIMATE, futures=4000, step_days=7)

    first_day, first_week = (np.minimum(s.flash, s.card) for s in (by_day, by_week))
    for q in (0.1, 0.5, 0.9):
        assert float(np.quantile(first_week, q)) == approx(float(np.quantile(first_day, q)), rel=0.05)


def test_day_pictures_never_end_before_the_flash() -> None:
    stops = run(replace(FR6x8, pack=Pack(battery=BATTERIES["LR6"], number=8)), known_site(20), climate=DEFAULT_CLIMATE)

    ended = np.isfinite(stops.flash)
    assert (stops.dark[ended] >= stops.flash[ended]).all()
    assert float(np.median(stops.dark)) > float(np.median(stops.flash))


def test_alkaline_batteries_often_stop_in_the_cold_only_and_lithium_batteries_do_not() -> None:
    winter = date(2027, 11, 1)
    alkaline, lithium = (
        run(replace(FR6x8, pack=Pack(battery=BATTERIES[c], number=8), card_gb=512), known_site(20), start=winter,
            climate=DEFAULT_CLIMATE) for c in ("LR6", "FR6")
    )  # fmt: skip

    assert alkaline.cold[np.isfinite(alkaline.flash)].mean() > 0.5
    assert not lithium.cold.any()


def test_a_panel_that_brings_more_than_is_taken_keeps_the_batteries_from_ever_ending() -> None:
    battery = BATTERIES["external"]
    fed = Pack(battery=BATTERIES["LR6"], number=8, extra=battery, panel=Panel(peak_w=5, sun_hours=(2.0,) * 12))
    starved = replace(fed, panel=None)
    site = known_site(20)

    assert np.isinf(run(replace(SURE, pack=fed, card_gb=1000), site, futures=100).flash).all()
    assert np.isfinite(run(replace(SURE, pack=starved, card_gb=1000), site, futures=100).flash).all()


def test_the_batteries_of_a_camera_that_is_alive_are_not_among_the_hungriest() -> None:
    """After most of the batteries' energy by the usual power draw, the scale that is left is below the usual one."""
    fresh = run(replace(FR6x8, card_gb=2000), known_site(20))
    most = Used(energy_wh=0.9 * 33.86, days=300)
    late = run(replace(FR6x8, card_gb=2000), known_site(20), used=most)
    too_much = Used(energy_wh=3 * 33.86, days=900)

    assert float(np.median(late.flash)) > 0.1 * float(np.median(fresh.flash))
    assert float(np.median(run(replace(FR6x8, card_gb=2000), known_site(20), used=too_much).flash)) < 20


def test_what_was_used_is_counted_from_alive_days_since_the_batteries_and_since_the_card() -> None:
    counts = [DayCount(day=START + timedelta(i), animals=10, blanks=4, night=5, alive=i != 3) for i in range(10)]

    used = Used.of(FR6x8, counts, fresh_batteries=START, card_in=START + timedelta(8))

    each = 10 * FR6x8.trigger_wh(0.5) + 4 * FR6x8.trigger_wh(0.3)
    assert used.energy_wh == approx(9 * (FR6x8.resting_wh_a_day + each))
    assert used.days == 9
    assert used.card_mb == approx(2 * (10 * FR6x8.trigger_mb(0.5) + 4 * FR6x8.trigger_mb(0.3)))


def test_a_longer_delay_spares_where_animals_stay_and_little_where_they_pass() -> None:
    slow = replace(FR6x8, delay_s=300)

    stays, false_run = delay_effect(Arrivals.for_site("feeding"), slow)
    passes, same_false_run = delay_effect(Arrivals.for_site("trail"), slow)

    assert stays < 0.3
    assert passes == 1.0
    assert false_run == same_false_run == approx(stays)
    assert delay_effect(Arrivals.for_site("feeding"), FR6x8) == (1.0, 1.0)


def test_a_delay_bounds_the_triggers_of_a_day() -> None:
    assert replace(FR6x8, delay_s=59).most_triggers_a_day() == 1440
    quick, slow = (run(replace(SURE, delay_s=d), known_site(5000), futures=60) for d in (10, 599))

    # 144 triggers a day at most, whatever comes: the card holds at least 31840 / (144 · 8.864) days.
    assert float(slow.card.min()) >= 31_840 / (144 * SURE.trigger_mb(0.5)) * 0.999
    assert float(np.median(quick.card)) < 5


def test_pictures_by_the_clock_are_paid_for() -> None:
    lapsing = replace(FR6x8, lapses_per_day=24)

    assert lapsing.resting_wh_a_day - FR6x8.resting_wh_a_day == approx(24 * 3 / 3600)
    assert lapsing.resting_mb_a_day == approx(24 * (3.6 * math.sqrt(1.09) + 0.016))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"card_gb": 0}, "card_gb: got 0; needed: gigabytes as printed on the card"),
        ({"frames": -1}, "frames: got -1; needed: a whole number of pictures"),
        ({"night_share": 1.2}, "night_share: got 1.2; needed: a share from 0 to 1"),
        ({"delay_s": -1}, "delay_s: got -1; needed: a number, 0 or more"),
    ],
)
def test_an_impossible_outfit_is_refused(change: dict[str, float], words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        replace(FR6x8, **change)  # type: ignore[arg-type]


def test_impossible_use_and_power_draw_are_refused() -> None:
    with pytest.raises(WrongInput, match="energy_wh: got -1; needed: a number, 0 or more"):
        Used(energy_wh=-1)
    with pytest.raises(WrongInput, match=r"ln_mean: got 3; needed: a number from -2\.5 to 2\.5"):
        EnergyScale(3, 0.2)


def test_a_camera_that_showed_nothing_is_as_doubtful_as_its_draw_and_a_measured_one_less() -> None:
    site = known_site(20)
    unknown = Outfit(pack=Pack(battery=BATTERIES["FR6"], number=12), frames=1)
    metered = replace(unknown, draw=unknown.draw.measured(idle_w=0.004))
    all_known = replace(
        unknown, draw=unknown.draw.measured(idle_w=0.004, wake_j=5.0, day_frame_j=1.5, night_frame_j=10.0)
    )

    doubts = [scale_for(kit, site).ln_sd for kit in (unknown, metered, all_known)]

    assert doubts[0] > 0.35 > doubts[1] > doubts[2]
    assert doubts[2] == approx(0.2, abs=0.005)  # devices and batteries differ still
    assert scale_for(replace(unknown, scale=EnergyScale(0.1, 0.1)), site) == EnergyScale(0.1, 0.1)


def test_a_shaped_scale_is_drawn_and_told_as_its_chances_are() -> None:
    """A lognormal laid on the grid keeps its mean, spread and limits."""
    smooth = EnergyScale(0.3, 0.25)
    shaped = EnergyScale.shaped(smooth.on_grid())
    drawn = np.log(shaped.draw(20_000, np.random.default_rng(3)))

    assert (shaped.ln_mean, shaped.ln_sd) == (approx(0.3, abs=1e-6), approx(0.25, abs=1e-4))
    assert (float(drawn.mean()), float(drawn.std())) == (approx(0.3, abs=0.01), approx(0.25, abs=0.01))
    assert shaped.within() == approx(smooth.within(), rel=0.02)
    with pytest.raises(WrongInput, match="weights: got 2; needed: 201 chances, or none"):
        EnergyScale(0, 0.1, (0.5, 0.5))
