from __future__ import annotations

import math

import numpy as np
import pytest

from trod_demo.animals import Actor, antler_state, body_of
from trod_demo.figures import outline, paint, shadow
from trod_demo.reserve import SPECIES, SPECIES_BY_KEY
from trod_demo.view import View

FOUR_LEGGED = [s.key for s in SPECIES if s.key != "jay"]


@pytest.mark.parametrize("key", FOUR_LEGGED)
@pytest.mark.parametrize("facing_deg", [0.0, 40.0, 180.0])
def test_an_animals_withers_span_the_pixels_that_pinhole_geometry_says(key: str, facing_deg: float) -> None:
    """Shoulder height over distance times focal length; the drawn outline, not the builder's own figure."""
    shoulder_m = SPECIES_BY_KEY[key].shoulder_m
    distance_m = 6 * shoulder_m + 1
    view = View(960, 720, hfov_deg=42, lens_height_m=shoulder_m * 0.6, tilt_deg=0)

    if key == "brown_hare" and facing_deg == 40.0:
        facing_deg = 20.0  # turned farther, its ears stand over its withers

    figure = paint(view, Actor(key, 0.0, distance_m, facing_deg, "walk", 0.0, month=7, variant=1))

    assert figure is not None
    column = round(float(figure.outline.withers[0])) - figure.left
    withers = np.flatnonzero(figure.alpha[:, column] > 127)[0] + figure.top
    depth_m = distance_m + 0.4 * shoulder_m * math.sin(math.radians(facing_deg))
    expected = shoulder_m / depth_m * (480 / math.tan(math.radians(21)))
    assert figure.outline.foot[1] - withers == pytest.approx(expected, rel=0.06)
    if facing_deg in (0.0, 180.0):  # broadside, all hooves stand at one depth
        hooves = np.flatnonzero(figure.alpha.max(axis=1) > 127)[-1] + 1 + figure.top
        assert hooves - withers == pytest.approx(expected, rel=0.06)


def test_twice_as_far_is_half_as_tall() -> None:
    view = View(960, 720, lens_height_m=0.9, tilt_deg=0)

    def rows(z_m: float) -> float:
        figure = paint(view, Actor("red_deer", 0.0, z_m, 0.0, "alert", month=7))
        assert figure is not None and figure.box is not None
        return figure.box[3] - figure.box[1]

    assert rows(8.0) / rows(16.0) == pytest.approx(2, rel=0.03)


def test_a_boar_is_long_and_low_where_a_deer_is_tall() -> None:
    view = View(960, 720, lens_height_m=0.9, tilt_deg=0)

    def shape(key: str) -> float:
        figure = paint(view, Actor(key, 0.0, 8.0, 0.0, "walk", 0.1, "female", month=7))
        assert figure is not None and figure.box is not None
        left, top, right, bottom = figure.box
        return (right - left) * 960 / ((bottom - top) * 720)

    assert shape("wild_boar") > 1.8
    assert shape("red_deer") < 1.6


def test_legs_move_through_the_stride() -> None:
    view = View(640, 480, lens_height_m=0.9, tilt_deg=0)
    still = paint(view, Actor("roe_deer", 0.0, 5.0, 0.0, "walk", 0.0))
    later = paint(view, Actor("roe_deer", 0.0, 5.0, 0.0, "walk", 0.3))

    assert still is not None and later is not None
    assert still.alpha.shape != later.alpha.shape or (still.alpha != later.alpha).any()


def test_feet_stand_on_falling_ground() -> None:
    view = View(640, 480, lens_height_m=0.9, tilt_deg=6, slope_deg=8)
    seen = outline(view, Actor("red_deer", 0.0, 7.0, 90.0, "alert"))
    ground, _ = view.project(np.array([0.0, view.ground_y(7.0), 7.0]))

    assert seen is not None
    assert seen.rims[0][..., 1].max() >= ground[1]


def test_stags_are_bare_in_april_and_crowned_in_october() -> None:
    for month, bare in ((4, True), (10, False)):
        grown = antler_state("red_deer", month=month, sex="male", life_stage="adult")
        assert (grown < 0.2) == bare
    assert antler_state("red_deer", month=10, sex="female", life_stage="adult") == 0


def test_a_low_sun_throws_a_longer_shadow() -> None:
    view = View(640, 480, lens_height_m=1.2, tilt_deg=6)
    deer = Actor("roe_deer", 0.0, 7.0, 0.0, "alert")

    def width(elevation_deg: float) -> int:
        e = math.radians(elevation_deg)
        made = shadow(view, deer, (math.cos(e), math.sin(e), 0.0))
        assert made is not None
        return made[0].width

    assert width(15) > 1.5 * width(60)


def test_an_animal_at_the_lens_is_left_out_instead_of_drawn_wrong() -> None:
    assert paint(View(640, 480), Actor("wild_boar", 0.0, 0.3, 90.0)) is None
    assert paint(View(640, 480), Actor("wild_boar", 40.0, 6.0, 0.0)) is None


def test_bodies_of_all_kinds_stand_on_the_ground() -> None:
    for key in [*SPECIES_BY_KEY, "person", "vehicle"]:
        body = body_of(Actor(key, 0.0, 5.0, 0.0, "alert" if key != "vehicle" else "walk"))
        lowest = min(min(k.a[1] - k.ra, k.b[1] - k.rb) for k in body.limbs)
        assert lowest == pytest.approx(0, abs=0.04), key
