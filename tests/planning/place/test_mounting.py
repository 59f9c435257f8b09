"""Tilt, wedge, ground, snow, branch and trunk."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment import optics
from trod.planning.ground.site import Branch, Trunk
from trod.planning.place import mounting
from trod.telling import placement

V_4_3 = optics.vertical_view_deg(fov_deg=41, columns=4, rows=3)

# height, distance, aim height, slope, back: tilt, wedge, edge, near, snow by middle, back and lens.
# Derived here; checked once by marching rays over the slope. Case 130 mm, 41° lens, 4:3.
CASES = [
    (0.90, 8, 0.75, 0, 1.20, 1.07, 2.4, "top", 2.99, 2.23, 1.78, 0.60),
    (0.90, 8, 0.75, 10, 1.20, 11.04, 24.9, "top", 2.75, 2.21, 1.76, 0.60),
    (0.90, 8, 0.75, 20, 1.20, 20.94, 46.5, "top", 2.38, 2.32, 1.87, 0.60),
    (0.90, 8, 0.75, -10, 1.20, -8.95, 20.2, "bottom", 3.06, 2.41, 1.96, 0.60),
    (0.45, 4, 0.25, 0, 0.45, 2.86, 6.5, "top", 1.34, 1.11, 0.91, 0.15),
    (3.00, 10, 1.00, 0, 1.50, 11.31, 25.5, "top", 5.89, 2.76, 2.26, 2.70),
    (4.00, 10, 1.00, 0, 1.50, 16.70, 37.4, "top", 6.31, 2.82, 2.32, 3.70),
]


def test_a_41_degree_lens_is_31_degrees_tall_at_four_to_three_and_24_at_sixteen_to_nine() -> None:
    assert approx(31.33, abs=0.005) == V_4_3
    assert optics.vertical_view_deg(fov_deg=41, columns=16, rows=9) == approx(23.75, abs=0.005)


@pytest.mark.parametrize(
    ("h", "d", "t", "slope", "back", "tilt", "thick", "edge", "near", "middle", "whole", "lens"), CASES
)
def test_tilt_wedge_ground_and_snow_of_seven_placements(
    h: float, d: float, t: float, slope: float, back: float, tilt: float, thick: float, edge: str, near: float,
    middle: float, whole: float, lens: float,
) -> None:  # fmt: skip
    found = mounting.tilt_deg(height_m=h, distance_m=d, aim_height_m=t, slope_deg=slope)
    wedge = mounting.wedge(tilt_deg=found)
    seen = mounting.ground_seen(height_m=h, tilt_deg=found, vertical_deg=V_4_3, slope_deg=slope)
    snow = mounting.snow_limits(
        height_m=h, distance_m=d, tilt_deg=found, vertical_deg=V_4_3, middle_m=t, back_m=back, slope_deg=slope
    )

    assert found == approx(tilt, abs=0.005)
    assert (wedge.thickness_mm, wedge.behind) == (approx(thick, abs=0.05), edge)
    assert seen.near_m == approx(near, abs=0.005)
    assert (snow.middle_m, snow.whole_m, snow.lens_m) == (
        approx(middle, abs=0.006), approx(whole, abs=0.006), approx(lens, abs=1e-9),
    )  # fmt: skip


def test_only_the_highest_camera_sees_where_its_ground_ends() -> None:
    far = [
        mounting.ground_seen(
            height_m=h, tilt_deg=mounting.tilt_deg(height_m=h, distance_m=10, aim_height_m=1), vertical_deg=V_4_3
        ).far_m
        for h in (3.0, 4.0)
    ]

    assert math.isinf(far[0])
    assert far[1] == approx(221, abs=1)


@pytest.mark.parametrize(
    ("height", "down", "rise", "across", "along"),
    [(0.9, 5, 0, 10.2870, 10.2870), (0.9, 5, 10, 3.4115, 3.4641), (0.9, 15, -10, 9.8229, 9.9745),
     (3, 30, 0, 5.1962, 5.1962)],
)  # fmt: skip
def test_a_line_of_sight_meets_the_ground_where_triangles_say(
    height: float, down: float, rise: float, across: float, along: float
) -> None:
    """x = h/(tan α + tan β), ground rising at β; derived here. Along the ground x/cos β."""
    found = mounting.ground_hit_m(height_m=height, down_deg=down, slope_deg=-rise)

    assert found == approx(across, abs=1e-4)
    assert found / math.cos(math.radians(rise)) == approx(along, abs=1e-4)


def test_a_line_of_sight_above_the_slope_never_lands() -> None:
    assert math.isinf(mounting.ground_hit_m(height_m=0.9, down_deg=5, slope_deg=5))
    assert math.isinf(mounting.ground_hit_m(height_m=0.9, down_deg=-3))


@given(
    st.floats(0.2, 5), st.floats(1.5, 30), st.floats(0, 1.5), st.floats(-25, 25)
)  # fmt: skip
def test_the_aim_point_lies_on_the_axis_by_marching(h: float, d: float, t: float, slope: float) -> None:
    tilt = math.radians(mounting.tilt_deg(height_m=h, distance_m=d, aim_height_m=t, slope_deg=slope))

    # The axis, d away, above the ground there.
    assert h - d * math.tan(tilt) + d * math.tan(math.radians(slope)) == approx(t, abs=1e-9)


@given(st.floats(0.2, 5), st.floats(-20, 40), st.floats(-15, 15), st.floats(0.3, 2.2), st.floats(0.5, 60))
def test_a_body_is_whole_in_the_picture_just_where_marching_says(
    h: float, tilt: float, slope: float, top: float, x: float
) -> None:
    near, far = mounting.whole_body_span_m(height_m=h, tilt_deg=tilt, vertical_deg=V_4_3, top_m=top, slope_deg=slope)
    foot = -x * math.tan(math.radians(slope)) - h
    upper = x * math.tan(math.radians(V_4_3 / 2 - tilt))
    lower = x * math.tan(math.radians(-V_4_3 / 2 - tilt)) if tilt + V_4_3 / 2 < 90 else -math.inf
    inside = foot >= lower and foot + top <= upper
    if min(abs(foot - lower), abs(foot + top - upper)) > 1e-6:
        assert inside == (near <= x <= far)


def test_a_head_is_cut_off_near_a_level_lens() -> None:
    """1.4 m up before a lens at 0.9 m: nearer than 1.78 m; derived here."""
    assert mounting.cut_off_nearer_than_m(height_m=0.9, tilt_deg=0, vertical_deg=V_4_3, top_m=1.4) == approx(
        1.78, abs=0.005
    )
    assert mounting.cut_off_nearer_than_m(height_m=2.0, tilt_deg=0, vertical_deg=V_4_3, top_m=1.4) == 0
    assert math.isinf(mounting.cut_off_nearer_than_m(height_m=0.9, tilt_deg=30, vertical_deg=V_4_3, top_m=1.4))


def test_a_wedge_of_the_case_and_a_shim_of_the_plate_agree_within_two_per_cent() -> None:
    """12 mm over 140 mm tilts by 4.899° (atan, derived here); the wedge for that tilt is 140·sin of it."""
    tilt = math.degrees(math.atan(12 / 140))

    assert tilt == approx(4.899, abs=5e-4)
    assert mounting.wedge(tilt_deg=tilt, case_height_mm=140).thickness_mm == approx(12, rel=0.02)


@pytest.mark.parametrize("tilt", [-30.0, 4.0, 62.0])
def test_a_wedge_turns_its_case_by_the_tilt_it_was_made_for(tilt: float) -> None:
    made = mounting.wedge(tilt_deg=tilt, case_height_mm=140)

    assert made.turn_deg(case_height_mm=140) == approx(abs(tilt))
    assert mounting.Wedge(thickness_mm=0.0, behind="none").turn_deg(case_height_mm=140) == 0


def test_a_leaning_trunk_takes_the_wedge_over() -> None:
    assert mounting.wedge(tilt_deg=10, lean_deg=10).behind == "none"
    assert mounting.wedge(tilt_deg=2, lean_deg=10).behind == "bottom"
    assert placement.wedge(mounting.wedge(tilt_deg=11.04), "metric") == "25 mm behind the top of the case"
    assert placement.wedge(mounting.wedge(tilt_deg=11.04), "us") == "1 in behind the top of the case"


def test_snow_binds_by_the_lens_on_low_cameras_and_by_the_animal_on_high_ones() -> None:
    low = mounting.snow_limits(height_m=0.9, distance_m=8, tilt_deg=1.07, vertical_deg=V_4_3, middle_m=0.75, back_m=1.2)
    high = mounting.snow_limits(height_m=4, distance_m=10, tilt_deg=16.7, vertical_deg=V_4_3, middle_m=1.0, back_m=1.5)

    assert (low.rule, low.deepest_m) == ("lens", approx(0.6))
    assert (high.rule, high.deepest_m) == ("middle", approx(2.82, abs=0.005))


def test_a_ladder_high_camera_is_tilted_for_the_whole_ground_or_keeps_the_far_end() -> None:
    fits = mounting.high_mount(height_m=3, near_m=8, far_m=23, vertical_deg=V_4_3, back_m=1.5)
    too_near = mounting.high_mount(height_m=4, near_m=2, far_m=23, vertical_deg=V_4_3, back_m=1.5)

    assert fits.fits and fits.near_m <= 8
    # At the far end the backs are inside.
    assert math.degrees(math.atan2(3 - 1.5, 23)) >= fits.tilt_deg - V_4_3 / 2
    assert not too_near.fits and too_near.near_m > 2
    assert too_near.tilt_deg - V_4_3 / 2 == approx(math.degrees(math.atan2(4 - 1.5, 23)))


@pytest.mark.parametrize(
    ("air", "density", "load"),
    [(-15, 68.08, 6.242), (-10, 69.00, 6.182), (-5, 75.36, 5.811), (-2, 91.60, 5.097), (0, 119.17, 4.330)],
)
def test_snow_on_pines_by_hedstrom_and_pomeroy_1998(air: float, density: float, load: float) -> None:
    """N. R. Hedstrom, J. W. Pomeroy (1998) Hydrol. Process. 12:1611–1625. S_p 6.6 for pine was seen, the
    other coefficients are from memory; the figures are those coefficients worked out, for a leaf area index
    of 1.
    """
    assert mounting.fresh_snow_kg_m3(air) == approx(density, abs=0.005)
    found = mounting.most_snow_kg_m2(air_c=air, leaf_area_index=1, species_kg_m2=mounting.MOST_SNOW_PINE)
    assert found == approx(load, abs=1e-3)


def test_a_loaded_branch_sinks_as_a_beam_does() -> None:
    """F·L³/3EI: 0.5 kg on 1 m of 20 mm at 8 GPa sinks by 26.02 mm under 9.81 m/s²; derived here."""
    found = mounting.droop_m(load_kg=0.5, length_m=1, diameter_mm=20)
    assert found * 9.81 / 9.80665 == approx(0.02602, abs=5e-6)


def test_a_thin_laden_branch_hangs_into_the_picture_and_a_thick_one_does_not() -> None:
    def sag(diameter_mm: float) -> mounting.BranchSag:
        branch = Branch(height_m=2.2, length_m=1.5, diameter_mm=diameter_mm)
        return mounting.branch_sag(branch, height_m=0.9, tilt_deg=1, vertical_deg=V_4_3)

    thin, thick = sag(12), sag(40)
    assert thin.in_view and not thick.in_view
    assert thin.sag_m <= 0.8 * 1.5 + 1e-9


@pytest.mark.parametrize(("inches", "times"), [(6, 7.7), (8, 2.4), (10, 1.0), (12, 0.5)])
def test_thin_trunks_bend_more_by_the_fourth_power(inches: float, times: float) -> None:
    """Beam theory; "10 inches or more" is common practice."""
    assert mounting.relative_swing(diameter_cm=inches * 2.54) == approx(times, abs=0.05)


def test_the_thick_sound_near_tree_is_chosen_and_the_others_say_why_not() -> None:
    oak, ash = Trunk(name="oak", diameter_cm=40, offset_m=4), Trunk(name="ash", diameter_cm=18, offset_m=4)
    snag = Trunk(name="snag", diameter_cm=60, dead=True, offset_m=4)
    far = Trunk(name="far oak", diameter_cm=50, offset_m=12)
    ranked = mounting.rank_trunks([ash, snag, far, oak], height_m=0.9, wanted_offset_m=4)

    assert ranked[0].trunk == oak and ranked[0].fit
    assert [r.fit for r in ranked[1:]] == [False] * 3
    assert [r.why for r in ranked[1:]] == [("dead",), ("far off",), ("thin",)]
    why = {r.trunk.name: placement.trunk_reasons(r, "metric")[0] for r in ranked}
    us = {r.trunk.name: placement.trunk_reasons(r, "us")[0] for r in ranked}
    assert us["ash"].startswith("7.1 in thick: in wind it bends about 4.0 times as much as one of 10 in")
    assert us["far oak"] == "39 ft from the path where about 13 ft is wanted"
    assert why["ash"].startswith("18 cm thick: in wind it bends about 4.0 times as much")
    assert why["snag"] == "dead wood: it may fall or shed bark, and it is no place for a ladder"
    assert why["far oak"] == "12 m from the path where about 4.0 m is wanted"


def test_what_cannot_be_is_refused_in_words() -> None:
    with pytest.raises(WrongInput) as told:
        mounting.tilt_deg(height_m=0.9, distance_m=8, aim_height_m=0.7, slope_deg=75)
    assert str(told.value) == "slope_deg: got 75; needed: degrees from -60 (rising) to 60 (falling away)"
    for bad in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(WrongInput):
            mounting.ground_hit_m(height_m=bad, down_deg=5)
