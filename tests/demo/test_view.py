from __future__ import annotations

import math

import numpy as np
import pytest

from trod_demo.view import View


def test_a_post_spans_its_height_over_its_distance_times_the_focal_length() -> None:
    view = View(640, 480, hfov_deg=42, lens_height_m=0.9, tilt_deg=0)

    pixels, depth = view.project(np.array([[0.0, 0.0, 8.0], [0.0, 1.2, 8.0]]))

    focal_px = 320 / math.tan(math.radians(21))  # the pin-hole's own geometry
    assert depth == pytest.approx([8.0, 8.0])
    assert pixels[0, 1] - pixels[1, 1] == pytest.approx(1.2 / 8.0 * focal_px)


def test_the_edge_of_the_view_lies_half_the_angle_off_the_axis() -> None:
    view = View(640, 480, hfov_deg=42, tilt_deg=0)

    pixels, _ = view.project(np.array([math.tan(math.radians(21)) * 5, 0.9, 5.0]))

    assert pixels[0] == pytest.approx(640)


@pytest.mark.parametrize("slope_deg", [-9.0, 0.0, 5.0])
@pytest.mark.parametrize("roll_deg", [0.0, 17.0])
def test_ground_found_from_a_pixel_projects_back_onto_that_pixel(slope_deg: float, roll_deg: float) -> None:
    view = View(160, 120, tilt_deg=4, slope_deg=slope_deg, roll_deg=roll_deg)
    x, z, distance = view.ground()
    row, column = 110, 40

    there = np.array([x[row, column], view.ground_y(float(z[row, column])), z[row, column]])
    pixels, _ = view.project(there)

    assert view.spin(pixels) == pytest.approx([column + 0.5, row + 0.5], abs=1e-3)
    assert distance[row, column] == pytest.approx(math.dist(there, (0, view.lens_height_m, 0)), rel=1e-4)


def test_the_sky_has_no_ground() -> None:
    _, z, _ = View(160, 120, tilt_deg=0).ground()

    assert np.isnan(z[:59]).all()
    assert np.isfinite(z[61:]).all()
