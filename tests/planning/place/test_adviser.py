"""Settings and their price."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.ground.site import Feature
from trod.planning.place import adviser
from trod.planning.place.adviser import Aim, Inputs, SettingsAdvice, Wish, advise, price_of
from trod.telling import settings as told

# An invented camera with the energies of the worked day below.
CAMERA = CameraSpec(
    maker="Brackwater",
    model="Test 1",
    claimed=Figures(burst_max=5, idle_mw=1.2, wake_j=2, day_frame_j=1, night_frame_j=7, columns=2592, rows=1944),
)
TRAIL = Wish(aim="species", feature="trail", animal=animal("red_fox"))
GROUND = Wish(aim="herd", feature="feeding", animal=animal("elk"), herd=25, triggers=120, night_share=0.6)


def words(found: SettingsAdvice, key: str) -> told.SettingTold:
    return told.setting(found.setting(key), "metric")


def test_a_day_of_single_pictures_costs_what_arithmetic_says() -> None:
    """1.2 mW idle, 40 day pictures of 3 J, 20 night pictures of 9 J: 0.112133 Wh a day; derived here."""
    wish = replace(TRAIL, triggers=60, night_share=20 / 60)

    assert price_of(CAMERA, Inputs(time_lapse_h=None), wish).wh_a_day == approx(0.112133, abs=1e-6)


def test_common_practice_a_burst_of_three_costs_less_than_three_singles() -> None:
    """Common practice. 5 J against 9 J by day (44 % saved), 23 J against 27 J by night (15 %)."""
    for night, saved in ((0.0, 4 / 9), (1.0, 4 / 27)):
        wish = replace(TRAIL, triggers=10, night_share=night)
        idle = price_of(CAMERA, Inputs(time_lapse_h=None), replace(wish, triggers=0)).wh_a_day
        burst = price_of(CAMERA, Inputs(burst=3, time_lapse_h=None), wish).wh_a_day - idle
        singles = price_of(CAMERA, Inputs(time_lapse_h=None), replace(wish, triggers=30)).wh_a_day - idle
        assert 1 - burst / singles == approx(saved)


def test_a_trail_gets_bursts_without_a_delay_and_a_feeding_ground_a_delay() -> None:
    trail, ground = advise(CAMERA, TRAIL), advise(CAMERA, GROUND)

    assert (trail.inputs.mode, trail.inputs.burst, trail.inputs.delay_s) == ("picture", 3, 0.0)
    assert ground.inputs.delay_s >= 60 and ground.inputs.time_lapse_h == 1.0
    assert ground.setting("delay").extra_wh is not None and ground.setting("delay").extra_wh < 0
    assert told.price_of(ground.setting("delay")).endswith("a day than with a delay of 10 s")


def test_small_animals_get_high_sensitivity_and_swaying_grass_a_caution() -> None:
    small = advise(CAMERA, replace(TRAIL, cover="tall grass"))
    large = advise(CAMERA, replace(GROUND, cover="tall grass", air_c=5))

    assert small.inputs.sensitivity == "high"
    assert words(small, "sensitivity").caution.startswith("Swaying plants")
    assert large.inputs.sensitivity == "medium"
    assert "Small animals will be missed" in words(large, "sensitivity").caution
    # Which species come must not hang on their size.
    assert advise(CAMERA, replace(GROUND, aim="species", cover="scrub", air_c=5)).inputs.sensitivity == "high"


def test_behaviour_gets_clips_and_their_price_is_told() -> None:
    found = advise(CAMERA, replace(GROUND, aim="behaviour"))
    mode = found.setting("mode")

    assert (found.inputs.mode, found.inputs.clip_s, found.inputs.burst) == ("clip", 15.0, 1)
    assert mode.extra_wh is not None and mode.extra_wh > 0
    assert words(found, "mode").caution == "Clips by night draw the flash for their whole length."


def test_a_daily_frame_always_proves_that_the_camera_worked() -> None:
    for aim in get_args(Aim):
        for feature in get_args(Feature):
            found = advise(CAMERA, Wish(aim=aim, feature=feature, animal=animal("roe_deer")))
            assert found.inputs.time_lapse_h is not None and found.inputs.time_lapse_h <= 24
            assert found.inputs.hours == (0.0, 24.0)
            for setting in told.settings(found, "metric"):
                assert setting.value and setting.reason.endswith(".") and setting.price


def test_a_reason_is_told_in_the_readers_units() -> None:
    small = advise(CAMERA, TRAIL).setting("sensitivity")

    assert "5.0 m off in air of about 28 °C" in told.setting(small, "metric").reason
    assert "16 ft off in air of about 82 °F" in told.setting(small, "us").reason


def test_a_camera_that_cannot_take_three_takes_what_it_can() -> None:
    one = replace(CAMERA, claimed=replace(CAMERA.claimed, burst_max=2))
    found = advise(one, TRAIL)

    assert found.inputs.burst == 2
    assert words(found, "burst").caution == "This camera takes 2 a burst at most; 3 would be better."


def test_invented_pixels_are_not_worth_their_room() -> None:
    enlarged = replace(
        CAMERA,
        claimed=replace(CAMERA.claimed, columns=5184, rows=3888),
        measured=Figures(columns=2592, rows=1944),
    )
    found = advise(enlarged, TRAIL)

    assert found.inputs.megapixels == approx(5.04, abs=0.01)
    assert words(found, "size").value.startswith("about 5 megapixels")
    assert found.setting("size").extra_mb is None


def test_a_card_that_fills_before_the_visit_is_told_first() -> None:
    busy = advise(CAMERA, replace(GROUND, triggers=600, days=60))

    assert told.cautions(busy, "metric")[0].startswith("At this rate a card of 32 GB is full in about ")
    assert not any("card of" in c for c in told.cautions(advise(CAMERA, TRAIL), "metric"))


def test_without_a_way_to_price_the_price_stays_open_and_says_so() -> None:
    for pricing in (None, lambda *_: None):
        found = advise(CAMERA, TRAIL, pricing=pricing)
        assert found.price is None
        assert {s.priced for s in found.settings} == {"unknown"}
        assert {s.price for s in told.settings(found, "metric")} == {"not priced: nothing here reckons energy and card"}
        assert all(s.extra_wh is None and s.extra_mb is None for s in found.settings)


def test_the_total_is_the_price_of_the_inputs() -> None:
    found = advise(CAMERA, GROUND)

    assert found.price == price_of(CAMERA, found.inputs, GROUND)
    assert found.price is not None
    assert told.price(found.price).startswith("about ") and told.price(found.price).endswith(" days")


def test_a_longer_delay_thins_the_trains_of_those_who_stay_and_nobody_else() -> None:
    """Our simulation of six-minute visits: 13.2, 8.3, 4.3, 1.7 triggers a visit for 1, 10, 60, 300 s."""
    left = [adviser.thinned(8.3, d, stays=True) for d in (1, 10, 60, 300, 3000)]

    assert left[:4] == approx((13.2, 8.3, 4.3, 1.7))
    assert left == sorted(left, reverse=True) and left[-1] > 0
    assert adviser.thinned(8.3, 300, stays=False) == 8.3


def test_a_wish_that_cannot_be_is_refused() -> None:
    with pytest.raises(WrongInput) as refused:
        replace(TRAIL, night_share=1.2)
    assert str(refused.value) == "night_share: got 1.2; needed: a share from 0 to 1"
    with pytest.raises(WrongInput):
        replace(TRAIL, aim="everything")  # type: ignore[arg-type]
