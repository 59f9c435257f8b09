"""A setup: the parts fit together, the cases are those of the placement, and nothing contradicts."""

from __future__ import annotations

import pytest

from trod.errors import Stopped
from trod.planning.catch import walkby
from trod.planning.catch.animals import animal
from trod.planning.catch.dwelling import StayCase
from trod.planning.catch.walkby import Case
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.place import inputs, setup
from trod.planning.place.advice import path_to_axis

SPEC = CameraSpec(
    maker="Bramble", model="Two", battery="FR6",
    claimed=Figures(zone_deg=50, range_m=22, fov_deg=42, trigger_s=0.4, rearm_s=6, burst_gap_s=0.8, burst_max=3,
                    flash_reach_m=18, columns=4000, rows=3000),
    measured=Figures(trigger_s=0.6),
)  # fmt: skip
TRAIL = {"path_bearing_deg": 30, "offset_m": 4}
FEED = {"feature": "feeding", "patch_near_m": 8, "patch_far_m": 18, "herd": 20, "holder": "ladder", "aim": "herd"}


def read(told=None, who="red_deer", latitude_deg=47.3, **more):
    return inputs.read(
        told if told is not None else TRAIL, latitude_deg=latitude_deg, longitude_deg=13.9, animal=animal(who), **more
    )


def work(told=None, who="red_deer", spec=SPEC, **more):
    return setup.work_out_setup(spec, read(told, who), **more)


def test_on_a_trail_the_case_is_the_placements_path_at_the_angle_that_the_drawing_shows():
    done = work()
    case = done.day.case

    assert isinstance(case, Case)
    assert case.path.offset_m == 4
    shown = path_to_axis(done.advice, done.read.ground)
    assert case.path.angle_deg == shown[0]
    # The heading and the path's bearing give the same angle once more.
    turn = (30 - done.advice.heading_deg) % 180
    assert min(turn, 180 - turn) == pytest.approx(min(shown[0], 180 - shown[0]))


def test_the_case_takes_the_best_known_figures_and_the_settings_that_are_advised():
    case = work().day.case

    assert (case.timing.trigger_s, case.timing.frames, case.timing.rearm_s) == (0.6, 3, 6)
    assert (case.sensor.zone_deg, case.view.fov_deg, case.view.columns) == (50, 42, 4000)
    assert case.contrast_k == pytest.approx(0.2 * (38 - 10))  # midway between -5 and 25 °C


def test_at_night_the_picture_ends_where_the_flash_does():
    done = work()

    assert done.night.case.view.reach_m == pytest.approx(done.advice.flash.to_m)
    assert done.day.case.view.reach_m > done.night.case.view.reach_m


def test_at_a_feeding_ground_animals_stay_on_the_ground_that_was_told():
    case = work(FEED, "elk").day.case

    assert isinstance(case, StayCase)
    assert (case.stay.near_m, case.stay.depth_m, case.stay.width_m) == (8, 10, pytest.approx(40 / 3))
    assert case.timing.rearm_s == 120  # the delay that is advised for a herd


def test_the_answer_is_the_simulations_own_and_the_same_each_time():
    one, two = work(), work()

    assert one.day.chances == walkby.first_answer(one.day.case)
    assert one == two


def test_refining_narrows_the_answer_and_stops_when_told():
    for told, who in ((TRAIL, "red_deer"), (FEED, "elk")):
        quick = work(told, who).day
        last = list(setup.refined(quick, passes=300_000))[-1]
        assert last.caught.standard_error < quick.caught.standard_error
        assert abs(last.caught.value - quick.caught.value) < 5 * quick.caught.standard_error + 0.002
        with pytest.raises(Stopped):
            list(setup.refined(quick, stop=lambda: True))


def test_another_animal_meets_the_same_camera_at_its_own_pace():
    done = work()
    hare = setup.outcome_for(done, animal("brown_hare"))

    assert hare.case.path == done.day.case.path and hare.case.timing == done.day.case.timing
    assert hare.case.passer.gaits == animal("brown_hare").gaits
    assert hare.chances.triggered.value <= done.day.chances.triggered.value


@pytest.mark.parametrize("offset_m", [3, 8])
def test_where_many_angles_catch_all_the_best_is_not_the_flattest_but_wastes_fewest_pictures(offset_m):
    """A wide zone catches all at any slant; the mark must stay where the flash lights."""
    figures = Figures(zone_deg=120, fov_deg=60, trigger_s=0.5, burst_max=3, flash_reach_m=11)
    wide = CameraSpec(maker="Bramble", model="Wide", claimed=figures)
    done = work({**TRAIL, "offset_m": offset_m}, spec=wide, simulate_angle=True)

    assert done.advice.aim_distance_m <= done.advice.flash.to_m + 1e-6
    assert 25 <= done.angles.best_deg <= 75
    by_angle = {}
    for angle in (done.angles.low_deg, done.angles.best_deg, 90.0):
        path = setup.Path(offset_m=offset_m, angle_deg=angle)
        case = setup.case_for(wide, done.read, done.advice, done.settings, light="night", path=path)
        by_angle[angle] = walkby.first_answer(case).empty.value
    assert by_angle[done.angles.best_deg] <= min(by_angle.values()) + 0.02


def test_far_from_the_path_straight_across_is_the_nearest_there_is():
    done = work({**TRAIL, "offset_m": 30}, simulate_angle=True)  # beyond the flash: no slant brings it nearer

    assert done.angles is not None and done.angles.best_deg == 90


def test_a_common_practice_running_animals_are_caught_less_straight_across_than_on_a_slant():
    """Common practice: for fast animals look along the trail at a slant. Held by a slow single-shot camera."""
    slow = CameraSpec(maker="Bramble", model="Slow", claimed=Figures(trigger_s=1.2, zone_deg=45, fov_deg=41))
    slant = work({**TRAIL, "pace": "trot", "heading_deg": 60}, spec=slow)  # 30° to the path
    across = work({**TRAIL, "pace": "trot", "heading_deg": 120}, spec=slow)  # 90°
    gain = slant.day.chances.whole.value - across.day.chances.whole.value

    print(f"whole in a picture: slant {slant.day.chances.whole}, across {across.day.chances.whole}")
    assert slant.path.angle_deg == pytest.approx(30) and across.path.angle_deg == pytest.approx(90)
    assert gain > 0.2


def test_a_walk_test_has_two_speeds_along_the_path_so_that_it_tells_something():
    walks = [step for step in work().walk_test if step.speed_mps]

    assert {step.speed_mps for step in walks} == {1.2, 2.0}
    assert all(step.offset_m == 4 and 0 < step.angle_deg <= 90 for step in walks)
