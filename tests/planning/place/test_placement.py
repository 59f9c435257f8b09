"""A placement worked out, piece by piece."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.ground.site import SiteGround
from trod.planning.place import glare, placement
from trod.planning.place.placement import Mount, work_out

# An invented camera.
CAMERA = CameraSpec(
    maker="Brackwater",
    model="Test 1",
    claimed=Figures(fov_deg=41, zone_deg=45, range_m=24, trigger_s=0.5, columns=5000, rows=3750, flash_reach_m=18),
)
TRAIL = SiteGround(latitude_deg=47.3, longitude_deg=13.9, path_bearing_deg=70, side="left", offset_m=4, slope_deg=10)
GROUND = SiteGround(latitude_deg=47.3, longitude_deg=13.9, feature="feeding", offset_m=12)
DEER, ELK, FOX = animal("red_deer"), animal("elk"), animal("red_fox")


@dataclass(frozen=True)
class Simulated:
    low_deg: float = 30.0
    best_deg: float = 40.0
    high_deg: float = 55.0
    chance: float = 0.97
    across: float = 0.41


@pytest.mark.parametrize(("offset", "best"), [(2, 26), (4, 32), (8, 44), (10, 50), (12, 56), (40, 56)])
def test_without_a_simulation_the_rule_gives_the_angle(offset: float, best: float) -> None:
    """20° + 3°·q ± 5°. Our tables' best angles: 25° at 2–3 m, 30° at 4–5 m, 40° at 8 m, 45° at 10 m and 55°
    at 12 m, each with a plateau of about ±10°.
    """
    assert placement.angle_rule(offset).best_deg == best


def test_the_headings_cross_the_path_at_the_angle_from_the_right_side() -> None:
    for side in ("left", "right"):
        for heading in placement.headings_for(path_bearing_deg=70, angle_deg=30, side=side):
            turn = (heading - 70) % 180
            assert min(turn, 180 - turn) == approx(30)
            # For a walker along 70° the camera on the left looks to the walker's right: between 70 and 250.
            to_right = 0 < (heading - 70) % 360 < 180
            assert to_right == (side == "left")
    assert len(placement.headings_for(path_bearing_deg=70, angle_deg=30, side=None)) == 4


def test_of_the_possible_headings_the_one_with_least_sun_is_taken() -> None:
    found = work_out(CAMERA, replace(TRAIL, side=None), DEER)
    options = placement.headings_for(path_bearing_deg=70, angle_deg=found.angle_deg[1], side=None)  # type: ignore[index]
    suns = glare.hours_by_heading(
        list(options), latitude_deg=47.3, longitude_deg=13.9, tilt_deg=found.tilt_deg, fov_deg=41,
        vertical_deg=found.vertical_deg,
    )  # fmt: skip

    assert found.glare_h == approx(float(suns.min()))
    assert found.heading_deg == approx(options[int(suns.argmin())])


def test_a_mount_that_cannot_be_is_refused() -> None:
    for bad in (
        {"height_m": 0.0},
        {"months": ()},
        {"months": (13,)},
        {"patch_m": (9.0, 3.0)},
        {"air_c": (20.0, 10.0)},
        {"herd": 0},
        {"heading_deg": math.nan},
    ):
        with pytest.raises(WrongInput):
            Mount(**bad)  # type: ignore[arg-type]
