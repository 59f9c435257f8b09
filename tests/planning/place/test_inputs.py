"""Input: a flat dict of plain values in, the models' records out, and back."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.planning.catch.animals import ANIMALS, animal
from trod.planning.place import inputs
from trod.planning.place.advice import Mount
from trod.planning.place.inputs import LIMITS, WORDS

PLACE = {"latitude_deg": 47.3, "longitude_deg": 13.9, "animal": animal("elk")}


def read(**told):
    return inputs.read(told, **PLACE)


def test_no_input_at_all_is_a_camera_on_a_trunk_at_a_trail():
    found = read()

    assert found.mount == Mount()
    assert (found.ground.feature, found.ground.offset_m) == ("trail", 4.0)
    assert (found.wish.aim, found.wish.triggers) == ("species", 10.0)
    assert inputs.plain(found) == {}


def test_inputs_reach_the_records_that_the_models_take():
    found = read(
        height_m=0.8, herd=12, patch_near_m=6, patch_far_m=15, air_cold_c=-20, months=[12, 1, 1],
        feature="feeding", snow_m=[0.5] * 12, horizon="90 12, 180 5", tree_diameter_cm=30, tree_lean_deg=4,
        branch_height_m=2.2, aim="herd", days=90,
    )  # fmt: skip

    assert (found.mount.height_m, found.mount.herd, found.mount.patch_m) == (0.8, 12, (6.0, 15.0))
    assert (found.mount.air_c, found.mount.months) == ((-20.0, 25.0), (1, 12))
    assert found.ground.trunk.lean_deg == 4 and found.ground.branch.length_m == inputs.BRANCH_LENGTH_M
    assert found.ground.horizon.points == ((90.0, 12.0), (180.0, 5.0))
    assert (found.wish.aim, found.wish.feature, found.wish.herd, found.wish.days) == ("herd", "feeding", 12, 90)


def test_none_is_a_input_left_alone():
    assert read(height_m=None, months=None, side=None) == read()


@pytest.mark.parametrize(
    ("told", "name", "words"),
    [
        ({"heigth_m": 1}, "heigth_m", "a input that there is not"),
        ({"height_m": "0.8"}, "height_m", "a number from 0.05 to 30 m"),
        ({"height_m": True}, "height_m", "a number from 0.05 to 30 m"),
        ({"height_m": float("nan")}, "height_m", "a number from 0.05 to 30 m"),
        ({"offset_m": 10**400}, "offset_m", "a number from 0.3 to 200 m"),
        ({"herd": 2.5}, "herd", "a whole number from 1 to 1000"),
        ({"feature": "carpark"}, "feature", "one of trail, road, water"),
        ({"feature": ["trail"]}, "feature", "one of trail, road, water"),
        ({"tree_dead": 1}, "tree_dead", "true or false"),
        ({"months": []}, "months", "at least one"),
        ({"months": [13]}, "months", "a list of months"),
        ({"snow_m": [0.1] * 11}, "snow_m", "twelve depths"),
        ({"horizon": "east 12"}, "horizon", "pairs of bearing and height"),
        ({"horizon": 90}, "horizon", "text"),
        ({"patch_near_m": 5}, "patch_far_m", "both edges"),
        ({"patch_near_m": 9, "patch_far_m": 8}, "patch_far_m", "beyond the near edge"),
        ({"air_cold_c": 10, "air_warm_c": 0}, "air_warm_c", "at least the coldest air"),
        ({"tree_lean_deg": 5}, "tree_diameter_cm", "since tree_lean_deg is told"),
        ({"branch_length_m": 2}, "branch_height_m", "since branch_length_m is told"),
        ({"pace": "run", "speed_mps": 2}, "pace", "a pace or a speed, not both"),
    ],
)  # fmt: skip
def test_a_wrong_input_is_refused_by_its_name_with_what_would_do(told, name, words):
    with pytest.raises(WrongInput) as refused:
        read(**told)

    assert refused.value.what == name
    assert words in str(refused.value)
    assert len(str(refused.value)) < 900


def test_something_that_is_no_dict_is_refused():
    with pytest.raises(WrongInput, match="names with values"):
        inputs.read([1, 2], **PLACE)


def _numbers():
    return {
        key: st.none()
        | (
            st.integers(int(limit.least), int(limit.most))
            if limit.whole
            else st.floats(limit.least, limit.most, allow_nan=False)
        )
        for key, limit in LIMITS.items()
    }


def _fitting(told):
    """The same inputs, those that need another one completed and those that contradict dropped."""
    told = {key: value for key, value in told.items() if value is not None}
    if any(key in told for key in inputs.TREE_INPUTS):
        told.setdefault("tree_diameter_cm", 30)
    if any(key in told for key in inputs.BRANCH_INPUTS):
        told.setdefault("branch_height_m", 2.0)
    near, far = (told.pop(key, None) for key in ("patch_near_m", "patch_far_m"))
    if near is not None and far is not None and near < far:
        told |= {"patch_near_m": near, "patch_far_m": far}
    if told.get("air_cold_c", -60) > told.get("air_warm_c", 60):
        del told["air_warm_c"]
    if "speed_mps" in told:
        told.pop("pace", None)
    return told


@settings(max_examples=150, deadline=None)
@given(
    st.fixed_dictionaries(
        {},
        optional={
            **_numbers(),
            **{key: st.none() | st.sampled_from(words) for key, words in WORDS.items()},
            "months": st.lists(st.integers(1, 12), min_size=1, max_size=12),
            "snow_m": st.lists(st.floats(0, 20), min_size=12, max_size=12),
            "tree_dead": st.booleans(),
            "post": st.booleans(),
            "branch_evergreen": st.booleans(),
        },
    ),
    st.sampled_from(ANIMALS),
)
def test_inputs_read_and_written_and_read_again_are_the_same(told, whose):
    place = {"latitude_deg": -33.0, "longitude_deg": 151.0, "animal": whose}
    first = inputs.read(_fitting(told), **place)
    written = json.loads(json.dumps(inputs.plain(first)))

    assert inputs.read(written, **place) == first


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from(inputs.KEYS) | st.text(max_size=12), st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=2),
    max_leaves=6), max_size=6))  # fmt: skip
def test_whatever_json_brings_is_read_or_refused_in_words(told):
    try:
        inputs.read(told, **PLACE)
    except WrongInput as refused:
        assert refused.needed


def test_every_slider_lies_within_what_is_accepted_and_steps_into_its_end():
    for key, limit in LIMITS.items():
        assert limit.least <= limit.low < limit.high <= limit.most, key
        steps = (limit.high - limit.low) / limit.step
        assert steps == pytest.approx(round(steps)), key
        if limit.usual is not None:
            assert limit.least <= limit.usual <= limit.most, key


def test_a_pace_leaves_one_gait_and_a_speed_makes_one():
    walking, running, told = (inputs.at_pace(animal("red_fox"), *which) for which in
                              (("walk",), ("run",), ("usual", 1.7)))  # fmt: skip

    assert [g.median_mps for g in walking.gaits] == [1.0]
    assert [g.median_mps for g in running.gaits] == [6.0]
    assert [g.median_mps for g in told.gaits] == [1.7]
    assert len(inputs.at_pace(animal("red_fox")).gaits) == 3
