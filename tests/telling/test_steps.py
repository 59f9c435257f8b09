"""The steps before the camera: where walks begin, how long to wait, what to mind where."""

from __future__ import annotations

import math

import pytest

from trod.planning.catch import crossing
from trod.planning.catch.animals import animal
from trod.planning.catch.crossing import Path
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.place import inputs, placement, steps
from trod.telling import setups

SPEC = CameraSpec(maker="Bramble", model="Two", claimed=Figures(zone_deg=40, fov_deg=42))


def texts(read, advice, path, **more):
    found = steps.walk_steps(read, advice, path, **more)
    return {one.key: setups.walk_step(one, advice, read.animal, "metric") for one in found}


def minded(read, advice, **more):
    return " ".join(setups.minded(key, **more) for key in steps.usually_minded(read, advice))


def advised(told, who="roe_deer"):
    read = inputs.read(told, latitude_deg=47.3, longitude_deg=13.9, animal=animal(who))
    return read, placement.work_out(SPEC, read.ground, read.animal, read.mount)


def test_a_walk_begins_outside_the_zone_on_either_side():
    read, advice = advised({"path_bearing_deg": 30, "offset_m": 3})
    path = Path(offset_m=3, angle_deg=90)
    text = texts(read, advice, path, rearm_s=6)["along easy"]
    # Straight across the zone's edges lie q·tan(β/2) to either side; two metres more to come from outside.
    reach = 3 * math.tan(math.radians(20))

    assert abs(crossing.along_m(path, 20)) == pytest.approx(reach)
    assert f"from {reach + 2:.1f} m before the mark to {reach + 2:.1f} m past it" in text


def test_a_path_that_hardly_leaves_the_zone_is_walked_for_a_bearable_way():
    read, advice = advised({"path_bearing_deg": 30, "offset_m": 3})
    text = texts(read, advice, Path(offset_m=3, angle_deg=15), rearm_s=6)["along easy"]

    assert "12 m before the mark" in text


@pytest.mark.parametrize(
    ("rearm_s", "words"), [(0.5, "wait 5 s"), (6, "wait 10 s"), (90, "wait 90 s"), (100, "wait 2 min")]
)
def test_the_wait_is_never_shorter_than_the_recovery_and_rounded_up(rearm_s, words):
    read, advice = advised({"path_bearing_deg": 30})

    assert any(words in text for text in texts(read, advice, Path(offset_m=3, angle_deg=60), rearm_s=rearm_s).values())


def test_the_edge_told_is_that_of_the_zone_at_the_marks_distance():
    read, advice = advised({"path_bearing_deg": 30, "aim_distance_m": 10})
    text = texts(read, advice, Path(offset_m=4, angle_deg=30), rearm_s=6)["edge"]

    assert f"about {10 * math.tan(math.radians(20)):.1f} m to either side" in text


@pytest.mark.parametrize(
    ("told", "words", "elsewhere"),
    [
        ({"feature": "road", "path_bearing_deg": 0}, "park off it", {}),
        ({"feature": "ford", "path_bearing_deg": 0}, "above the flood mark", {}),
        ({"feature": "den"}, "only with the permit", {}),
        ({"snow_m": [0.5] * 12}, "no table makes ice safe", {"air_cold_c": 1}),
        ({"height_m": 3.0, "holder": "ladder"}, "three points of contact", {}),
    ],
)
def test_cautions_fit_the_place_and_only_it(told, words, elsewhere):
    here, there = (minded(*advised(which)) for which in (told, elsewhere))

    assert words in here and words not in there


def test_lone_work_hunting_animals_batteries_and_people_are_always_minded():
    lines = minded(*advised({}), battery="LR6")

    for words in ("working alone", "hunting seasons", "Animals:", "Batteries (LR6)", "People who pass"):
        assert words in lines
