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


@pytest.mark.parametrize(("focal", "across", "up", "diagonal"), ANGLES)
def test_angles_of_view_of_the_usual_lenses(focal: float, across: float, up: float, diagonal: float) -> None:
    for size, expected in ((36.0, across), (24.0, up), (math.hypot(36, 24), diagonal)):
        found = optics.angle_of_view_deg(focal_length_mm=focal, sensor_width_mm=size)
        assert found == approx(expected, abs=0.1)  # half of the lens tables' last digit and more
        assert found == approx(expected, abs=0.011)


def test_a_small_sensor_behind_a_short_lens() -> None:
    """1/2.3-inch sensor, 6.17 × 4.55 mm (dimensions from memory), at 4 and 6 mm; arithmetic."""
    for focal, across, up in ((4.0, 75.28, 59.26), (6.0, 54.42, 41.53)):
        assert optics.angle_of_view_deg(focal_length_mm=focal, sensor_width_mm=6.17) == approx(across, abs=0.005)
        assert optics.angle_of_view_deg(focal_length_mm=focal, sensor_width_mm=4.55) == approx(up, abs=0.005)


def test_the_vertical_view_follows_the_pictures_shape() -> None:
    """41° across: 31.33° at 4:3, 23.75° at 16:9; derived here."""
    assert optics.vertical_view_deg(fov_deg=41, columns=4000, rows=3000) == approx(31.33, abs=0.005)
    assert optics.vertical_view_deg(fov_deg=41, columns=1920, rows=1080) == approx(23.75, abs=0.005)


def test_a_diagonal_angle_told_by_the_maker_is_narrower_across() -> None:
    """50 mm behind 36 × 24: 46.79° along the diagonal is 39.60° across; see the table."""
    assert optics.diagonal_to_horizontal_deg(diagonal_deg=46.79, columns=36, rows=24) == approx(39.60, abs=0.01)


def test_pixels_on_the_subject_and_their_blur() -> None:
    """W/(2 d tan(φ/2)), v·t·ρ and pitch·d/f; arithmetic."""
    per_m = optics.pixels_per_m(columns=1920, distance_m=10, fov_deg=50)

    assert per_m == approx(205.873, abs=1e-3)
    assert optics.blur_pixels(speed_mps=1, exposure_s=1 / 15, per_m=per_m) == approx(13.725, abs=1e-3)
    assert optics.ground_sample_mm(pixel_pitch_um=1.55, distance_m=5, focal_length_mm=4) == approx(1.9375)
    blurred = optics.longest_exposure_s(speed_mps=1, per_m=per_m, most_pixels=13.725)
    assert blurred == approx(1 / 15, rel=1e-4)


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


def test_a_density_is_given_the_highest_step_it_reaches() -> None:
    words = [step.word if (step := optics.density_step(x)) else None for x in (5, 12.5, 124.9, 125, 4000)]

    assert words == [None, "monitor", "observe", "recognise", "identify"]


def test_johnson_1958_line_pairs_as_pixels_on_a_foxs_body() -> None:
    """J. Johnson (1958) Analysis of Image Forming Systems, Proc. Image Intensifier Symposium, Fort Belvoir (AD
    220160): 1.0 ± 0.25, 1.4 ± 0.35, 4.0 ± 0.8 and 6.4 ± 1.5 line pairs over the least dimension, half of the
    watchers succeeding; two pixels each, so a body 0.35 m deep wants 8/0.35."""
    assert optics.JOHNSON_LINE_PAIRS == {
        "detection": 1.0, "orientation": 1.4, "recognition": 4.0, "identification": 6.4,
    }  # fmt: skip
    assert optics.johnson_per_m("recognition", least_dimension_m=0.35) == approx(22.857, abs=0.001)
    with pytest.raises(WrongInput, match="one of detection, orientation, recognition, identification"):
        optics.johnson_per_m("guessing", least_dimension_m=1)


@pytest.mark.parametrize(
    ("focal", "number", "circle", "metres"),
    [(50, 8, 0.03, 10.467), (24, 8, 0.03, 2.424), (4, 2.8, 0.005, 1.147)],
)
def test_hyperfocal_distances(focal: float, number: float, circle: float, metres: float) -> None:
    """f²/(Nc) + f (from memory; arithmetic)."""
    found = optics.hyperfocal_m(focal_length_mm=focal, f_number=number, circle_mm=circle)

    assert found == approx(metres, rel=1e-3)


def test_focused_at_the_hyperfocal_distance_all_is_sharp_from_half_of_it() -> None:
    hyper = optics.hyperfocal_m(focal_length_mm=4, f_number=2.8, circle_mm=0.005)
    near, far = optics.sharp_from_to_m(focal_length_mm=4, f_number=2.8, circle_mm=0.005, focus_m=hyper)

    assert near == approx(hyper / 2, rel=1e-9)
    assert far == math.inf
    near, far = optics.sharp_from_to_m(focal_length_mm=50, f_number=2.8, circle_mm=0.03, focus_m=5)
    assert near < 5 < far < math.inf
    with pytest.raises(WrongInput, match="a distance beyond the focal length"):
        optics.sharp_from_to_m(focal_length_mm=50, f_number=2.8, circle_mm=0.03, focus_m=0.01)


def test_shim_hypsometer_and_slope() -> None:
    """Arithmetic: 12 mm over 140 mm; 20 m, 35° up and 5° down; 35 %."""
    assert optics.tilt_of_shim_deg(thickness_mm=12, length_mm=140) == approx(4.899, abs=5e-4)
    assert optics.height_by_angles_m(distance_m=20, up_deg=35, down_deg=5) == approx(15.754, abs=5e-4)
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
