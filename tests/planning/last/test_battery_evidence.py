"""What a camera draws, learnt from how its sets of batteries ended."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment.batteries import BATTERIES, Pack
from trod.planning.ground.weather import DEFAULT_CLIMATE
from trod.planning.last.battery_evidence import BatterySet, learn
from trod.planning.last.stopping import EnergyScale, Outfit, Used

USUAL = EnergyScale(0.0, 0.2)


def ended(factor: float, how: str = "dead", *, days: int = 200, share: float = 1.0) -> BatterySet:
    """A set that by its counts should have given 30 / factor Wh when its 30 Wh had gone."""
    return BatterySet(ended=how, counted_wh=30 * share / factor, capacity_wh=30, days=days, share=share)  # type: ignore[arg-type]


def test_a_set_that_ended_as_was_to_be_expected_teaches_nearly_as_its_precision_says() -> None:
    """Precisions add: 1/√(1/0.2² + 1/0.1²) = 0.0894; a little wider, since something else may have ended it."""
    found = learn(USUAL, [ended(1.0)])

    assert found.scale.ln_mean == approx(0, abs=0.02)
    assert 0.0894 < found.scale.ln_sd < 0.115
    assert found.by_batteries[0] > 0.9


def test_a_set_that_ended_a_third_early_teaches_that_the_camera_takes_more() -> None:
    """0.8 · ln 1.35 by precisions; something else than its batteries is possible still."""
    found = learn(USUAL, [ended(1.35)])

    assert 0.55 * math.log(1.35) < found.scale.ln_mean < 0.8 * math.log(1.35)
    assert found.by_batteries[0] > 0.7


def test_a_camera_found_dead_after_25_days_does_not_teach_that_it_takes_five_times_as_much() -> None:
    """The finding of the first trial: it taught 5.45 ± 15 %. Ten prior deviations out it is a leak, a hang, a bad
    battery or a wet contact; what is left of it is next to nothing.
    """
    found = learn(USUAL, [ended(5.45, days=25)])

    low, high = found.scale.within()
    assert found.by_batteries[0] < 0.001
    assert low == approx(USUAL.within()[0], rel=0.05) and high == approx(USUAL.within()[1], rel=0.05)


def test_four_such_deaths_in_a_row_are_believed() -> None:
    """Chance units do not die four times alike: then the camera itself takes so much."""
    unknown = EnergyScale(0.0, 0.45)
    once, often = (learn(unknown, [ended(4.0, days=25)] * n) for n in (1, 4))

    assert once.by_batteries[0] < 0.2
    assert often.by_batteries[0] > 0.9
    assert often.scale.ln_mean == approx(math.log(4), abs=0.1)


def test_sets_changed_alive_teach_that_it_takes_no_more_than_so_much() -> None:
    """Changed when it should long have been empty by its draw: it takes less. Changed early: hardly a word."""
    late, soon = learn(USUAL, [ended(0.9, "alive")]), learn(USUAL, [ended(3.0, "alive")])

    assert late.scale.ln_mean < -0.15
    assert late.scale.within()[1] < USUAL.within()[1] / 1.2
    assert soon.scale.ln_mean == approx(0, abs=0.005) and soon.scale.ln_sd == approx(0.2, abs=0.005)


def test_a_set_alive_lessens_what_an_early_death_taught() -> None:
    dead = learn(USUAL, [ended(1.5)])
    both = learn(USUAL, [ended(1.5), ended(1.0, "alive")])

    assert both.scale.ln_mean < dead.scale.ln_mean


def test_percentages_read_teach_more_the_more_has_gone() -> None:
    """Half of the charge gone where a third should be, by the counts: it takes more."""
    half, tenth = learn(USUAL, [ended(1.5, "gauge", share=0.8)]), learn(USUAL, [ended(1.5, "gauge", share=0.25)])

    assert half.scale.ln_mean > tenth.scale.ln_mean > 0
    assert half.scale.ln_sd < tenth.scale.ln_sd < 0.21


def test_the_order_of_the_sets_changes_nothing() -> None:
    sets = [ended(1.3), ended(0.9, "alive"), ended(6.0, days=20), ended(1.1, "gauge", share=0.5)]
    forth, back = learn(USUAL, sets), learn(USUAL, sets[::-1])

    assert forth.scale.ln_mean == approx(back.scale.ln_mean, abs=1e-12)
    assert forth.by_batteries == approx(back.by_batteries[::-1], abs=1e-12)


def test_a_scale_that_is_known_exactly_learns_nothing() -> None:
    assert learn(EnergyScale(0.1, 0.0), [ended(2.0)]).scale == EnergyScale(0.1, 0.0)
    assert learn(USUAL, []).scale == USUAL


def test_in_a_cold_night_the_end_of_alkaline_batteries_is_known_less_well() -> None:
    kit = Outfit(pack=Pack(battery=BATTERIES["LR6"], number=8))
    used = Used(energy_wh=8, days=60)
    winter, summer = (
        BatterySet.of(kit, climate=DEFAULT_CLIMATE, until=day, used=used, ended="dead")
        for day in (date(2027, 1, 20), date(2027, 7, 20))
    )

    assert winter.capacity_wh < summer.capacity_wh
    assert winter.sd_ln > 1.5 * summer.sd_ln


@pytest.mark.parametrize("true_ln", [-0.3, 0.0, 0.4])
def test_eight_in_ten_hold_about_eight_in_ten_where_a_fifth_of_the_dead_died_otherwise(true_ln: float) -> None:
    """Simulated cameras whose true factor is drawn from the prior shifted by nothing: here three fixed truths, each
    with three sets: the mean of what is learnt comes near, though one set in five ended early by chance.
    """
    rng = np.random.default_rng(7)
    means = []
    for _ in range(200):
        sets = []
        for _ in range(3):
            x = true_ln + 0.1 * rng.standard_normal()
            if rng.random() < 0.2:
                x += rng.uniform(0.2, 4.0)  # it ended before its batteries did
            sets.append(ended(math.exp(x)))
        means.append(learn(EnergyScale(0.0, 0.4), sets).scale.ln_mean)

    assert float(np.median(means)) == approx(true_ln, abs=0.06)


def test_impossible_sets_are_refused() -> None:
    with pytest.raises(WrongInput, match="share: got 0; needed: a share of the charge"):
        BatterySet(ended="gauge", counted_wh=1, capacity_wh=1, share=0)
    with pytest.raises(WrongInput, match="counted_wh: got 0"):
        BatterySet(ended="dead", counted_wh=0, capacity_wh=1)
