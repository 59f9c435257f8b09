"""What a trigger and a day cost."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch.animals import animal
from trod.planning.equipment.batteries import BATTERIES, Pack
from trod.planning.equipment.camera import ASSUMED, CameraSpec, Figures
from trod.planning.equipment.energy import (
    Draw,
    burst_energy_j,
    parts_doubt_ln,
    trigger_energy_j,
)
from trod.planning.last.stopping import Outfit
from trod.planning.place.adviser import Inputs, Wish, price_of

# The camera of the figures that were worked by hand.
WORKED = Draw(idle_w=0.0012, wake_j=2.0, day_frame_j=1.0, night_frame_j=7.0)


@pytest.mark.parametrize(("frame", "saved"), [("day_frame_j", 0.513), ("night_frame_j", 0.222)])
def test_common_practice_a_burst_of_three_costs_less_than_three_singles(frame: str, saved: float) -> None:
    """Common practice. 9.5 J against 19.5 J by day, 35 J against 45 J by night: twice the waking is saved. The
    energies are assumed (5 J to wake, 1.5 J and 10 J a picture).
    """
    frame_j = getattr(ASSUMED, frame)
    wake_j = ASSUMED.wake_j
    assert wake_j is not None

    burst = burst_energy_j(frames=3, wake_j=wake_j, frame_j=frame_j)
    singles = 3 * burst_energy_j(frames=1, wake_j=wake_j, frame_j=frame_j)

    assert singles - burst == approx(2 * wake_j)
    assert 1 - burst / singles == approx(saved, abs=0.005)


def test_a_burst_of_nothing_is_refused() -> None:
    with pytest.raises(WrongInput, match="frames: got 0; needed: a whole number of pictures, 1 or more"):
        burst_energy_j(frames=0, wake_j=2, frame_j=1)


def test_common_practice_three_single_triggers_cost_more_than_a_burst_of_three() -> None:
    """Common practice, by day and by night; energies assumed."""
    for night in (0.0, 1.0):
        burst = trigger_energy_j(WORKED, frames=3, clip_s=0, night_share=night)
        single = trigger_energy_j(WORKED, frames=1, clip_s=0, night_share=night)

        assert 3 * single - burst == approx(2 * WORKED.wake_j)
        assert 1 - burst / (3 * single) == approx((0.44, 0.15)[int(night)], abs=0.005)


def test_a_clip_by_night_costs_what_its_lamp_draws() -> None:
    assert trigger_energy_j(WORKED, frames=0, clip_s=15, night_share=1) == approx(2 + 15 * 8)
    assert trigger_energy_j(WORKED, frames=0, clip_s=15, night_share=0) == approx(2 + 15 * 1.6)


def test_the_draw_of_a_camera_takes_measured_before_claimed_before_assumed() -> None:
    spec = CameraSpec(
        maker="Ashling",
        model="Two",
        claimed=Figures(idle_mw=0.5, wake_j=1.5),
        measured=Figures(idle_mw=3.0),
    )

    draw = Draw.of(spec)

    assert (draw.idle_w, draw.wake_j, draw.night_frame_j) == (approx(0.003), 1.5, 10.0)
    assert dict(draw.sources)["idle_w"] == "measured" and dict(draw.sources)["wake_j"] == "claimed"
    assert "night_frame_j" in draw.assumed() and "idle_w" not in draw.assumed()


def test_a_camera_without_flash_pays_no_flash() -> None:
    draw = Draw.of(CameraSpec(maker="Ashling", model="Day", flash="none"))

    assert draw.night_frame_j == draw.day_frame_j
    assert draw.night_pulse_w == draw.day_pulse_w


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"night_share": 1.2}, "night_share: got 1.2; needed: a share from 0 to 1"),
        ({"clip_s": -1}, "clip_s: got -1; needed: seconds, 0 or more"),
        ({"frames": 1.5}, "frames: got 1.5; needed: a whole number of pictures, 0 or more"),
    ],
)
def test_impossible_triggers_are_refused(given: dict[str, float], words: str) -> None:
    usual: dict[str, float] = {"frames": 1, "clip_s": 0, "night_share": 0.5}
    with pytest.raises(WrongInput, match=words):
        trigger_energy_j(Draw(), **(usual | given))  # type: ignore[arg-type]


def test_the_planner_and_the_endurance_forecast_price_a_burst_alike() -> None:
    """One energy model for both: settings advised on the placement planner and the batteries forecast for them."""
    camera = CameraSpec(
        maker="Ashling", model="Two", claimed=Figures(idle_mw=1.2, wake_j=1.5, day_frame_j=0.8, night_frame_j=6.0)
    )
    for frames in (1, 3):
        for night in (0.0, 0.5, 1.0):
            wish = replace(Wish(aim="species", feature="trail", animal=animal("red_deer")), night_share=night)
            inputs = Inputs(burst=frames, time_lapse_h=None)
            planner = (
                price_of(camera, inputs, replace(wish, triggers=10)).wh_a_day
                - price_of(camera, inputs, replace(wish, triggers=0)).wh_a_day
            )
            forecast = Outfit(draw=Draw.of(camera), pack=Pack(battery=BATTERIES["FR6"]), frames=frames).trigger_wh(night)

            assert planner / 10 == approx(forecast)


def test_what_nobody_stated_is_more_doubtful_than_a_claim_and_a_claim_than_a_measurement() -> None:
    """With all of a day's energy going into waiting, the doubt is that of the idle figure; by halves, √(½² + ½²)."""
    of = [
        Draw.of(CameraSpec(maker="Ashling", model="Two", **more))  # type: ignore[arg-type]
        for more in ({}, {"claimed": Figures(idle_mw=2)}, {"measured": Figures(idle_mw=2)})
    ]
    alone = [parts_doubt_ln(draw, {"idle_w": 10.0}) for draw in of]

    assert alone == [0.6, 0.25, 0.05]
    assert parts_doubt_ln(of[0], {"idle_w": 1, "wake_j": 1}) == approx(math.hypot(0.3, 0.2))
    assert parts_doubt_ln(of[0].measured(idle_w=0.003), {"idle_w": 1}) == 0.05
    assert parts_doubt_ln(of[0], {}) == 0
