"""A placement in words, piece by piece."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch import crossing, walkby
from trod.planning.catch.animals import ANIMALS, animal
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.ground.site import Branch, Horizon, SiteGround, Trunk
from trod.planning.place.advice import PlacementAdvice
from trod.planning.place.placement import Mount, work_out
from trod.telling import placement, setups
from trod.units import System

# An invented camera.
CAMERA = CameraSpec(
    maker="Brackwater",
    model="Test 1",
    claimed=Figures(fov_deg=41, zone_deg=45, range_m=24, trigger_s=0.5, columns=5000, rows=3750, flash_reach_m=18),
)
TRAIL = SiteGround(latitude_deg=47.3, longitude_deg=13.9, path_bearing_deg=70, side="left", offset_m=4, slope_deg=10)
GROUND = SiteGround(latitude_deg=47.3, longitude_deg=13.9, feature="feeding", offset_m=12)
DEER, ELK, FOX = animal("red_deer"), animal("elk"), animal("red_fox")


def piece(found: PlacementAdvice, key: str, system: System = "metric") -> placement.Piece:
    return placement.piece(found.fact(key), system)


def said(found: PlacementAdvice, system: System = "metric") -> str:
    return placement.sentence(found, system)


def minded(found: PlacementAdvice) -> list[str]:
    return [setups.minded(key) for key in found.minded]


def test_a_trail_gets_one_sentence_to_act_on() -> None:
    assert said(work_out(CAMERA, TRAIL, DEER)) == (
        "Hang the camera about 0.85 m up, about 4.0 m from the path, at between about 25° and 35° to it, looking "
        "south-west (about 220° true). Aim at a point 0.85 m above the ground about 7.5 m away, with a wedge of "
        "about 23 mm behind the top of the case."
    )
    assert "4 ft" in said(work_out(CAMERA, GROUND, ELK, Mount(height_m=1.25)), "us")


def test_every_piece_of_advice_has_a_value_and_a_reason() -> None:
    ground = replace(
        TRAIL,
        trunk=Trunk(diameter_cm=18),
        branch=Branch(height_m=2, length_m=1.5, diameter_mm=20),
        snow_m=(0.5, *[0.0] * 11),
    )
    found = work_out(CAMERA, ground, DEER, Mount(herd=4))

    keys = [p.key for p in placement.pieces(found, "metric")]
    assert len(keys) == len(set(keys))
    assert set(keys) == {
        "angle", "distance", "height", "herd", "tilt", "wedge", "ground", "heading", "reach", "flash", "snow",
        "branch", "trunk", "pixels",
    }  # fmt: skip
    for piece in placement.pieces(found, "metric"):
        assert piece.value and piece.reason.endswith("."), piece.key
        assert not piece.caution or piece.caution.endswith((".", ")")), piece.key


def test_the_angle_is_a_span_and_is_told_without_three_digits() -> None:
    found = piece(work_out(CAMERA, TRAIL, DEER), "angle")

    assert found.low is not None and found.high is not None
    assert found.high - found.low >= 10
    assert found.value == "between about 25° and 35°"


@dataclass(frozen=True)
class Simulated:
    low_deg: float = 30.0
    best_deg: float = 40.0
    high_deg: float = 55.0
    chance: float = 0.97
    across: float = 0.41


def test_a_simulation_that_is_handed_in_decides_the_angle() -> None:
    asked: list[float] = []

    def angles(offset_m: float) -> Simulated:
        asked.append(offset_m)
        return Simulated()

    found = work_out(CAMERA, TRAIL, DEER, angles=angles)

    assert asked == [4]
    assert found.angle_deg == (30.0, 40.0, 55.0)
    assert found.aim_distance_m == approx(4 / math.sin(math.radians(40)))
    assert "about 10 in 10 that pass are caught whole at this angle, and about 4 in 10 straight across" in (
        piece(found, "angle").reason
    )
    assert work_out(CAMERA, TRAIL, DEER, angles=Simulated()).angle_deg == found.angle_deg
    with pytest.raises(WrongInput):
        work_out(CAMERA, TRAIL, DEER, angles=Simulated(low_deg=60))


def test_an_asked_for_heading_is_kept_and_its_sun_and_angle_are_told() -> None:
    ground = replace(TRAIL, path_bearing_deg=10, slope_deg=0)
    found = work_out(CAMERA, ground, DEER, Mount(heading_deg=100))

    assert found.heading_deg == 100
    assert found.glare_h is not None and found.glare_h > 500
    assert "The sun is in or near the picture about" in piece(found, "heading").caution
    assert found.aim_distance_m == approx(4)
    assert "at about 90° to it" in said(found)
    assert piece(found, "angle").caution.startswith("The heading asked for makes about 90° with the path")


def test_hills_to_the_east_take_the_caution_about_the_sun_away() -> None:
    open_east = work_out(CAMERA, TRAIL, DEER, Mount(heading_deg=90))
    behind = work_out(CAMERA, replace(TRAIL, horizon=Horizon(((0.0, 40.0),))), DEER, Mount(heading_deg=90))

    assert piece(open_east, "heading").caution and not piece(behind, "heading").caution
    assert behind.glare_h == 0


def test_a_herd_lifts_the_camera_and_a_lone_animal_does_not() -> None:
    herd = work_out(CAMERA, GROUND, ELK, Mount(holder="ladder", herd=25, patch_m=(8, 23)))
    alone = work_out(CAMERA, GROUND, ELK, Mount(patch_m=(8, 23)))

    assert 2.0 <= herd.height_m <= 4.0 and alone.height_m <= 1.2
    assert herd.herd_share is not None and herd.herd_share >= 0.88
    assert alone.herd_share is None
    assert any(c.startswith("Ladder work: not alone") for c in minded(herd))
    assert herd.angle_deg is None and "to it" not in said(herd)


def test_a_herd_too_dense_for_a_low_camera_gets_no_number() -> None:
    found = work_out(CAMERA, GROUND, ELK, Mount(height_m=0.9, herd=60, patch_m=(8, 23)))

    assert found.herd_share is None
    assert piece(found, "herd").value == "too few to count"
    assert "no number" not in said(found)


def test_snow_lifts_the_lens_or_warns() -> None:
    winter = replace(TRAIL, slope_deg=0, snow_m=(0.8, 0.8, *[0.0] * 10))
    free = work_out(CAMERA, winter, DEER)
    asked = work_out(CAMERA, winter, DEER, Mount(height_m=0.6))
    summer = work_out(CAMERA, winter, DEER, Mount(months=(6, 7)))

    assert free.height_m == approx(1.1)
    assert asked.height_m == 0.6 and "usual snow" in piece(asked, "height").caution
    assert "this placement bears" in piece(asked, "snow").caution
    assert summer.height_m < 1 and not piece(summer, "snow").caution


def test_deep_snow_that_only_a_ladder_reaches_says_so() -> None:
    deep = replace(TRAIL, snow_m=(0.0, 2.0, *[0.0] * 10))

    assert "take a ladder" in piece(work_out(CAMERA, deep, DEER), "height").caution


def test_a_camera_that_looks_uphill_warns_of_the_sky_and_wedges_the_bottom() -> None:
    found = work_out(CAMERA, replace(TRAIL, slope_deg=-12), DEER)

    assert found.wedge.behind == "bottom"
    assert "looks up the slope" in piece(found, "tilt").caution


def test_an_aim_point_out_of_the_flash_is_told() -> None:
    weak = replace(CAMERA, measured=Figures(flash_reach_m=5))
    found = work_out(weak, TRAIL, DEER)

    assert piece(found, "flash").caution.startswith("At night the flash lights to about 5.0 m")
    none = work_out(replace(CAMERA, flash="none"), TRAIL, DEER)
    assert none.flash is None and piece(none, "flash").value == "none"


def test_a_small_animal_in_warm_air_may_be_out_of_reach() -> None:
    hot = Mount(air_c=(20, 33))

    assert "the sensor may not reach" in piece(work_out(CAMERA, TRAIL, FOX, hot), "reach").caution
    assert not piece(work_out(CAMERA, TRAIL, ELK, Mount(air_c=(-10, 5))), "reach").caution


def test_claimed_pixels_are_doubted_and_measured_ones_are_not() -> None:
    measured = replace(CAMERA, measured=Figures(columns=2592, rows=1944))

    assert "enlarged" in piece(work_out(CAMERA, TRAIL, DEER), "pixels").caution
    found = work_out(measured, TRAIL, DEER)
    assert not piece(found, "pixels").caution
    assert found.pixels_on_body == approx(work_out(CAMERA, TRAIL, DEER).pixels_on_body * 2592 / 5000)


def test_a_path_without_a_bearing_leaves_the_heading_open() -> None:
    found = work_out(CAMERA, replace(TRAIL, path_bearing_deg=None), DEER)

    assert found.heading_deg is None and found.glare_h is None
    assert piece(found, "heading").value == "not known"


@pytest.mark.parametrize(
    ("feature", "words"),
    [("den", "keep away"), ("lick", "forbidden or need a permit"), ("trail", "People may be pictured")],
)
def test_a_place_that_can_do_harm_says_so(feature: str, words: str) -> None:
    found = work_out(CAMERA, replace(TRAIL, feature=feature), DEER)  # type: ignore[arg-type]

    assert any(words in caution for caution in minded(found))


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(ANIMALS),
    st.floats(0.3, 60),
    st.floats(-35, 35),
    st.sampled_from(["trail", "feeding", "water", "den", "other"]),
    st.sampled_from([0.2, 0.9, 2.5, 6.0, None]),
    st.integers(1, 200),
    st.sampled_from([-66.0, 0.0, 47.0, 90.0]),
)
def test_any_site_and_animal_gets_an_answer_in_plain_words(
    one: object, offset: float, slope: float, feature: str, height: float | None, herd: int, latitude: float
) -> None:
    ground = SiteGround(
        latitude_deg=latitude, offset_m=offset, slope_deg=slope, feature=feature, path_bearing_deg=33  # type: ignore[arg-type]
    )  # fmt: skip
    found = work_out(CAMERA, ground, one, Mount(height_m=height, herd=herd, holder="ladder"))  # type: ignore[arg-type]

    assert said(found).startswith("Hang the camera about ") and said(found).endswith(".")
    assert "nan" not in " ".join(
        [said(found), *(p.value + p.reason + p.caution for p in placement.pieces(found, "metric"))]
    )
    assert math.isfinite(found.tilt_deg) and found.height_m > 0


def test_the_walk_by_simulation_fits_in_as_it_is() -> None:
    def angles(offset_m: float) -> walkby.AngleAdvice:
        case = walkby.Case(
            passer=DEER.passer,
            path=crossing.Path(offset_m=offset_m, angle_deg=45),
            timing=walkby.Timing(trigger_s=2.0, frames=3),
        )
        return walkby.angle_advice(case, passes=2_000, step_deg=15)

    found = work_out(CAMERA, TRAIL, DEER, angles=angles)

    assert found.angle_deg is not None and 15 <= found.angle_deg[1] <= 60
    assert "straight across" in piece(found, "angle").reason
