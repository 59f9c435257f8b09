"""Boxes in the person's units and inputs in metres: there and back."""

from __future__ import annotations

import pytest

from trod.planning.place import inputs as entered
from trod.web.planner import units as shown_units
from trod.web.planner.forms import LIMITS, PlannerForm

MODELS = [("", "any")]


def form(told, units="metric"):
    return PlannerForm({"animal": "roe_deer", "units": units} | told, units=units, models=MODELS)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("name", sorted(LIMITS))
def test_no_end_of_a_slider_is_refused(name, units):
    """Whoever pulls a slider to its end must not be told that the value is wrong."""
    limit = LIMITS[name]
    slide = shown_units.slider(limit, shown_units.shown(name, limit, units))
    for end in (slide.low, slide.high):
        form({}, units).fields[name].clean(f"{end:g}")


def test_feet_and_inches_come_to_metres():
    found = form({"height_m": "3", "tree_diameter_cm": "10", "feature": "trail", "air_warm_c": "86"}, "us").inputs()

    assert found["height_m"] == pytest.approx(0.9144)
    assert found["tree_diameter_cm"] == pytest.approx(25.4)
    assert found["air_warm_c"] == pytest.approx(30)


def test_a_measure_is_read_with_its_unit_as_the_page_prints_it():
    told = {"height_m": "3 ft 4 in", "tree_diameter_cm": "9 1/2 in", "offset_m": "4 m", "feature": "trail"}
    found = form(told, "us").inputs()

    assert found["height_m"] == pytest.approx(1.016)
    assert found["tree_diameter_cm"] == pytest.approx(24.13)
    assert found["offset_m"] == pytest.approx(4)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_inputs_come_back_from_the_boxes_as_they_went_in(units):
    inputs = {
        "height_m": 1.2, "feature": "feeding", "herd": 20, "patch_near_m": 8.0, "patch_far_m": 24.0, "months": [11, 12],
        "snow_m": [0.6, 0.9, 0.5, 0, 0, 0, 0, 0, 0, 0, 0, 0.3], "tree_diameter_cm": 30.0, "tree_dead": True,
        "branch_height_m": 3.0, "branch_evergreen": False, "horizon": "90 12, 120 18", "aim": "herd", "cover": "open",
        "holder": "ladder", "night_share": 0.7,
    }  # fmt: skip
    boxes = PlannerForm.of_inputs(inputs, animal="red_deer", camera_model="", units=units, models=MODELS)
    found = boxes.inputs()

    assert boxes.errors == {}
    assert {k: v for k, v in found.items() if isinstance(v, str | list | bool) and k != "snow_m"} == {
        k: v for k, v in inputs.items() if isinstance(v, str | list | bool) and k != "snow_m"
    }
    for name in (name for name in inputs if name in LIMITS):
        assert found[name] == pytest.approx(inputs[name], abs=0.013)  # a box shows two digits
    assert found["snow_m"] == pytest.approx(inputs["snow_m"], abs=0.005)
    entered.checked(found)


def test_a_box_says_what_came_and_what_is_needed_in_the_persons_units():
    one = form({"height_m": "400", "offset_m": "near"}, "us")
    one.inputs()

    assert one.errors["height_m"] == ["got 400; needed: a number from 0.164 to 98.4 ft"]
    assert one.errors["offset_m"] == ["got “near”; needed: a number"]


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e999", "0x10", "١٢" * 200])
def test_hostile_numbers_are_refused_or_read_but_never_break(value):
    one = form({"height_m": value})

    assert one.inputs().get("height_m", 1.0) < 31


def test_where_animals_stay_nothing_of_a_path_is_told_and_where_they_pass_nothing_of_a_patch():
    both = {"path_bearing_deg": "40", "patch_near_m": "8", "patch_far_m": "20"}

    assert "path_bearing_deg" not in form(both | {"feature": "feeding"}).inputs()
    assert "patch_near_m" not in form(both | {"feature": "trail"}).inputs()


def test_an_angle_without_the_paths_bearing_is_asked_for_it():
    one = form({"feature": "trail", "angle_deg": "40"})
    one.inputs()

    assert "bearing" in one.errors["angle_deg"][0]


def test_one_depth_of_snow_stands_for_all_months_and_months_go_before_it():
    assert form({"snow_deepest_m": "0.5"}).inputs()["snow_m"] == [0.5] * 12
    assert form({"snow_deepest_m": "0.5", "snow_2": "0.9"}).inputs()["snow_m"] == [0, 0.9] + [0] * 10


def test_the_address_keeps_what_is_told_and_nothing_else():
    one = form({"height_m": "1.2", "csrfmiddlewaretoken": "secret", "name": "x", "turn": "3"})

    assert one.query() == {"animal": "roe_deer", "units": "metric", "height_m": "1.2"}
