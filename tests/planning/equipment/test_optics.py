"""Lens and pixels, against printed tables and identities."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment import optics

# Angles of view of a 36 × 24 mm picture (diagonal 43.27), from 2·arctan(d/2f); R. Kingslake (1992) Optics in
# Photography gives the formula. The usual lens tables print 84° (24 mm), 63° (35 mm), 46.8°/39.6°/27.0°
# (50 mm), 28.5° (85 mm), 18.2° (135 mm): from memory, reproduced by the formula.
ANGLES = [
    (20, 83.97, 61.93, 94.49),
    (24, 73.74, 53.13, 84.06),
    (28, 65.47, 46.40, 75.38),
    (35, 54.43, 37.85, 63.44),
    (50, 39.60, 26.99, 46.79),
    (85, 23.91, 16.07, 28.55),
    (100, 20.41, 13.69, 24.41),
    (135, 15.19, 10.16, 18.21),
    (200, 10.29, 6.87, 12.35),
]


def test_the_vertical_view_follows_the_pictures_shape() -> None:
    """41° across: 31.33° at 4:3, 23.75° at 16:9; derived here."""
    assert optics.vertical_view_deg(fov_deg=41, columns=4000, rows=3000) == approx(31.33, abs=0.005)
    assert optics.vertical_view_deg(fov_deg=41, columns=1920, rows=1080) == approx(23.75, abs=0.005)


def test_pixels_on_the_subject() -> None:
    """W/(2 d tan(φ/2)); arithmetic."""
    assert optics.pixels_per_m(columns=1920, distance_m=10, fov_deg=50) == approx(205.873, abs=1e-3)


# EN/IEC 62676-4:2014/2015, Video surveillance systems for use in security applications – Part 4: Application
# guidelines, levels table; written of people. Seen in secondary pages: monitor, recognise; the others from memory.
STEPS = {"monitor": 12.5, "detect": 25, "observe": 62.5, "recognise": 125, "identify": 250}


def test_the_steps_of_en_62676_4_with_their_edition_and_warning() -> None:
    assert {step.word: step.per_m for step in optics.EN_62676_4} == STEPS
    assert "2014/2015" in optics.EN_62676_4_EDITION
    assert "people" in optics.EN_62676_4_CAUTION and "later edition" in optics.EN_62676_4_CAUTION


@pytest.mark.parametrize(
    ("columns", "fov", "reaches"),
    [(1920, 50, (164.70, 82.35, 32.94, 16.47, 8.23)), (4000, 40, (439.60, 219.80, 87.92, 43.96, 21.98))],
)
def test_how_far_each_step_reaches(columns: int, fov: float, reaches: tuple[float, ...]) -> None:
    """Arithmetic on the steps above."""
    for step, reach in zip(optics.EN_62676_4, reaches, strict=True):
        assert optics.distance_for_m(columns=columns, fov_deg=fov, wanted_per_m=step.per_m) == approx(reach, abs=0.005)


def test_johnson_1958_line_pairs_as_pixels_on_a_foxs_body() -> None:
    """J. Johnson (1958) Analysis of Image Forming Systems, Proc. Image Intensifier Symposium, Fort Belvoir (AD
    220160): 1.0 ± 0.25, 1.4 ± 0.35, 4.0 ± 0.8 and 6.4 ± 1.5 line pairs over the least dimension, half of the
    watchers succeeding; two pixels each, so a body 0.35 m deep wants 8/0.35.
    """
    assert optics.JOHNSON_LINE_PAIRS == {
        "detection": 1.0, "orientation": 1.4, "recognition": 4.0, "identification": 6.4,
    }  # fmt: skip
    assert optics.johnson_per_m("recognition", least_dimension_m=0.35) == approx(22.857, abs=0.001)
    with pytest.raises(WrongInput, match="one of detection, orientation, recognition, identification"):
        optics.johnson_per_m("guessing", least_dimension_m=1)


def test_a_slope_of_35_per_cent() -> None:
    """Arithmetic."""
    assert optics.slope_deg(35) == approx(19.290, abs=5e-4)


@given(st.floats(0.5, 100), st.floats(5, 170), st.integers(100, 10_000))
def test_distance_and_density_undo_each_other(distance: float, fov: float, columns: int) -> None:
    per_m = optics.pixels_per_m(columns=columns, distance_m=distance, fov_deg=fov)

    assert optics.distance_for_m(columns=columns, fov_deg=fov, wanted_per_m=per_m) == approx(distance)
    assert optics.scene_width_m(distance_m=distance, fov_deg=fov) * per_m == approx(columns)


@pytest.mark.parametrize("fov", [0, 180, -5, math.nan])
def test_an_angle_that_is_none_is_refused(fov: float) -> None:
    with pytest.raises(WrongInput, match="an angle above 0 and below 180 degrees"):
        optics.scene_width_m(distance_m=5, fov_deg=fov)
