"""A path through zone and view: closed forms, chords and spans."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.passers import DEER, Body

# (offset m, trigger time s, median m/s, sigma, angle °, chance). Zone 45°, view 41°, body 1.5 m.
# Derived here, checked by simulation (test_walkby.py holds the simulation to the same figures).
CLOSED = [
    (5, 0.25, 1.2, 0.30, 90, 0.0001),
    (5, 1.0, 1.2, 0.30, 90, 0.7802),
    (5, 1.0, 3.5, 0.25, 90, 0.8792),
    (4, 2.0, 1.2, 0.30, 90, 0.9468),
    (4, 2.0, 3.5, 0.25, 90, 0.0097),
    (4, 2.0, 3.5, 0.25, 45, 0.7366),
    (4, 1.0, 7.0, 0.20, 45, 0.7836),
    (4, 2.0, 3.5, 0.25, 60, 0.1156),
]


def spans(path: Path, view: View, body: Body = DEER.body) -> crossing.Spans:
    return crossing.spans(np.array([path.offset_m]), np.radians([path.angle_deg]), view=view, body=body)


def test_a_thin_body_straight_across_is_whole_within_the_chord_less_three_tenths_of_it_at_either_end() -> None:
    """80 % of a line of length L is in while its middle is up to 0.3 L inside the edge; derived here."""
    found = spans(Path(offset_m=5, angle_deg=90), View(fov_deg=40), Body(length_m=1.5, width_m=0, height_m=0.5))

    edge = 5 * math.tan(math.radians(20))
    assert float(found.middle[0][0]) == approx(-edge)
    assert float(found.whole[0][0]) == approx(-(edge - 0.45), abs=1e-6)
    assert float(found.whole[1][0]) == approx(edge - 0.45, abs=1e-6)
    assert float(found.part[1][0]) == approx(edge + 0.75)


def test_a_body_longer_than_the_view_is_never_whole() -> None:
    found = spans(Path(offset_m=1, angle_deg=90), View(fov_deg=20))

    assert found.whole[0][0] > found.whole[1][0]
    assert found.part[0][0] < found.part[1][0]


def test_a_path_beyond_the_flash_is_never_in_the_picture() -> None:
    found = spans(Path(offset_m=12, angle_deg=90), View(fov_deg=41, reach_m=10))

    for low, high in (found.middle, found.whole, found.part):
        assert low[0] > high[0]


@settings(max_examples=40)
@given(st.floats(0.5, 15), st.floats(5, 175), st.floats(20, 90), st.floats(3, 40))
def test_what_is_whole_is_partly_there_and_paths_mirror(offset: float, angle: float, fov: float, reach: float) -> None:
    view = View(fov_deg=fov, reach_m=reach)
    one = spans(Path(offset_m=offset, angle_deg=angle), view)
    other = spans(Path(offset_m=offset, angle_deg=180 - angle), view)

    if one.whole[0][0] <= one.whole[1][0]:
        assert one.part[0][0] <= one.whole[0][0] <= one.whole[1][0] <= one.part[1][0]
        assert float(other.whole[0][0]) == approx(-float(one.whole[1][0]), abs=1e-3)
    if one.middle[0][0] <= one.middle[1][0]:
        assert float(other.middle[1][0]) == approx(-float(one.middle[0][0]), abs=1e-6)


@pytest.mark.parametrize("offset", [0.0, -1.0, math.nan, math.inf, 500.0])
def test_a_path_through_the_camera_is_refused(offset: float) -> None:
    with pytest.raises(WrongInput, match=r"metres between path and camera, from 0\.3 to 200"):
        Path(offset_m=offset, angle_deg=45)


@pytest.mark.parametrize("angle", [-1, 181, math.nan])
def test_an_angle_off_the_circle_is_refused(angle: float) -> None:
    with pytest.raises(WrongInput, match="an angle from 0 to 180 degrees"):
        Path(offset_m=4, angle_deg=angle)


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"fov_deg": 180}, "an angle from 1 to 170"),
        ({"reach_m": 0}, "metres above 0"),
        ({"columns": 0}, "above 0"),
    ],
)
def test_a_view_that_no_lens_has_is_refused(given_: dict[str, float], words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        View(**given_)  # type: ignore[arg-type]
