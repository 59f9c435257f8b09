"""The chance of a hung camera over the year: limits it must keep, and what moves it."""

from __future__ import annotations

import pytest
from pytest import approx

from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.place import chance, inputs, setup
from trod.planning.place.adviser import Inputs
from trod.planning.place.inputs import Read

FIGURES = Figures(
    zone_deg=50, range_m=22, fov_deg=42, trigger_s=0.4, rearm_s=6, burst_gap_s=0.8, flash_reach_m=18, columns=4000
)
SPEC = CameraSpec(maker="Bramble", model="Two", claimed=FIGURES)
TRAIL = {"path_bearing_deg": 30.0, "offset_m": 4.0}


def read(who: str, latitude_deg: float = 47.3, **more: object) -> Read:
    told = {**TRAIL, **more}
    return inputs.read(told, latitude_deg=latitude_deg, longitude_deg=13.9, animal=animal(who))


def told(spec: CameraSpec, who: str, hung: Inputs | None = None, **more: float) -> tuple[chance.Caught, ...]:
    found = chance.by_month(spec, read(who, **more), animal(who), hung)
    assert found is not None
    return found


def of(found: tuple[chance.Caught, ...], month: int, light: str = "day") -> chance.Caught:
    return next(one for one in found if one.month == month and one.light == light)


def test_in_april_and_october_it_is_the_planners_own_chance() -> None:
    """There the air lies midway between the coldest and the warmest, as the planner takes it."""
    found = told(SPEC, "red_fox")
    planned = setup.work_out_setup(SPEC, read("red_fox"), passes=chance.PASSES)

    for month in (4, 10):
        assert of(found, month).value == approx(planned.day.caught.value, abs=0.001)
        assert of(found, month, "night").value == approx(planned.night.caught.value, abs=0.001)


def test_warm_air_hides_a_small_animal_and_the_south_has_its_summer_in_january() -> None:
    north, south = told(SPEC, "red_fox"), told(SPEC, "red_fox", latitude_deg=-47.3)

    assert of(north, 7).value < 0.9 * of(north, 1).value
    assert of(south, 1).value < 0.9 * of(south, 7).value
    assert of(south, 1).value == approx(of(north, 7).value, abs=0.02)


def test_a_longer_range_catches_more_and_a_farther_path_less() -> None:
    effects = of(told(SPEC, "red_fox"), 7).effects

    assert effects["range"] > 0 > effects["path"]
    assert effects["warmth"] > 0
    assert effects["model"] == chance.MODEL_LN


def test_a_measured_figure_moves_it_less_than_a_stated_or_an_assumed_one() -> None:
    measured = CameraSpec(maker="Bramble", model="Two", claimed=FIGURES, measured=Figures(range_m=22))
    nobody = CameraSpec(maker="Bramble", model="Two", claimed=Figures(columns=4000), measured=Figures())
    july = [abs(of(told(spec, "red_fox"), 7).effects["range"]) for spec in (measured, SPEC, nobody)]

    assert july[0] < july[1] < july[2]


def test_without_a_flash_none_is_caught_by_night() -> None:
    dark = CameraSpec(maker="Bramble", model="Two", flash="none", claimed=FIGURES)
    found = told(dark, "red_deer")

    assert {one.value for one in found if one.light == "night"} == {0.0}
    assert min(one.value for one in found if one.light == "day") > 0.5


def test_the_settings_that_hang_there_count_not_those_advised() -> None:
    low = told(SPEC, "red_fox", Inputs(sensitivity="low"))
    high = told(SPEC, "red_fox", Inputs(sensitivity="high"))

    assert of(low, 7).value < of(high, 7).value


@pytest.mark.parametrize("feature", ["feeding", "lick"])
def test_where_animals_stay_there_is_no_chance_of_a_pass(feature: str) -> None:
    stays = inputs.read({"feature": feature}, latitude_deg=47.3, longitude_deg=13.9, animal=animal("red_deer"))
    assert chance.by_month(SPEC, stays, animal("red_deer")) is None
