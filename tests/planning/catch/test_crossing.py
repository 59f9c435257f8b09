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
from trod.planning.catch.passers import DEER, Body, Gait

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


@pytest.mark.parametrize(("offset", "delay", "median", "sigma", "angle", "chance"), CLOSED)
def test_the_chance_of_a_single_frame_in_closed_form(
    offset: float, delay: float, median: float, sigma: float, angle: float, chance: float
) -> None:
    found = crossing.chance_in_frame(
        Path(offset_m=offset, angle_deg=angle),
        [Gait(share=1, median_mps=median, sigma_ln=sigma)],
        zone_deg=45,
        fov_deg=41,
        length_m=1.5,
        delay_s=delay,
    )

    assert found == approx(chance, abs=6e-5)


def test_straight_across_the_speeds_that_are_caught_have_two_ends() -> None:
    """lo = (q(tan β/2 − tan φ/2) + L/2)/τ and hi = (q(tan β/2 + tan φ/2) + L/2)/τ; derived here."""
    bands = crossing.speed_bands(Path(offset_m=5, angle_deg=90), zone_deg=45, fov_deg=41, length_m=1.5, delay_s=1.0)

    zone, view = math.tan(math.radians(22.5)), math.tan(math.radians(20.5))
    for band in bands:
        assert band.low_mps == approx(5 * (zone - view) + 0.75, abs=1e-12)
        assert band.high_mps == approx(5 * (zone + view) + 0.75, abs=1e-12)
    assert (bands[0].low_mps, bands[0].high_mps) == approx((0.952, 4.690), abs=5e-4)


@pytest.mark.parametrize(("angle", "chord"), [(30, 20.606), (45, 6.954), (60, 4.183), (90, 2.991)])
def test_a_slant_gives_time_in_the_view(angle: float, chord: float) -> None:
    """Chord of a path 4 m off inside 41°; derived here: q(cot(a − φ/2) − cot(a + φ/2))."""
    assert crossing.chord_m(Path(offset_m=4, angle_deg=angle), 41) == approx(chord, abs=5e-4)


def test_a_path_that_never_leaves_the_view_has_no_end() -> None:
    assert crossing.chord_m(Path(offset_m=4, angle_deg=10), 41) == math.inf


def test_a_path_that_does_not_cross_the_zone_has_no_closed_form() -> None:
    with pytest.raises(WrongInput) as caught:
        crossing.speed_bands(Path(offset_m=4, angle_deg=20), zone_deg=45, fov_deg=41, length_m=1.5, delay_s=1)

    assert str(caught.value) == (
        "angle_deg: got 20; needed: an angle to the path above 22.5 degrees, so that the path crosses both "
        "edges of zone and view"
    )


def test_without_delay_and_with_the_zone_inside_the_view_every_speed_is_caught() -> None:
    chance = crossing.chance_in_frame(
        Path(offset_m=6, angle_deg=90), [Gait(share=1, median_mps=2)],
        zone_deg=30, fov_deg=60, length_m=0.5, delay_s=0,
    )  # fmt: skip

    assert chance == 1.0


def test_a_speed_without_spread_is_caught_or_not() -> None:
    band = crossing.SpeedBand(low_mps=1.0, high_mps=2.0)

    assert band.chance(Gait(share=1, median_mps=1.5, sigma_ln=0)) == 1.0
    assert band.chance(Gait(share=1, median_mps=2.5, sigma_ln=0)) == 0.0
    assert crossing.SpeedBand(low_mps=2.0, high_mps=1.0).chance(Gait(share=1, median_mps=1.5)) == 0.0


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
