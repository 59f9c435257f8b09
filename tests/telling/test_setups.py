"""A setup in words: nothing contradicts, and each is said once."""

from __future__ import annotations

import math
import re

import pytest

from trod.errors import WrongInput
from trod.planning.catch.animals import animal
from trod.planning.catch.walkby import Case
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.place import inputs, setup
from trod.telling import setups

SPEC = CameraSpec(
    maker="Bramble", model="Two", battery="FR6",
    claimed=Figures(zone_deg=50, range_m=22, fov_deg=42, trigger_s=0.4, rearm_s=6, burst_gap_s=0.8, burst_max=3,
                    flash_reach_m=18, columns=4000, rows=3000),
    measured=Figures(trigger_s=0.6),
)  # fmt: skip
TRAIL = {"path_bearing_deg": 30, "offset_m": 4}
FEED = {"feature": "feeding", "patch_near_m": 8, "patch_far_m": 18, "herd": 20, "holder": "ladder", "aim": "herd"}


def read(told=None, who="red_deer", latitude_deg=47.3, **more):
    return inputs.read(
        told if told is not None else TRAIL, latitude_deg=latitude_deg, longitude_deg=13.9, animal=animal(who), **more
    )


def work(told=None, who="red_deer", spec=SPEC, system="metric", **more):
    return setups.work_out(spec, read(told, who), system=system, **more)


def setting(done, key):
    return next(one for one in done.told.camera_settings if one.key == key)


def texts(done):
    return dict(zip((one.key for one in done.walk_test), done.told.walk_test, strict=True))


def test_without_a_flash_there_is_nothing_by_night_and_the_setup_sheet_says_so():
    dark = CameraSpec(maker="Bramble", model="Day", flash="none", claimed=SPEC.claimed)
    done = work(spec=dark)

    assert done.night.case is None and setups.rows(done.night) == () and done.night.caught.value == 0
    assert "no flash" in done.told.night
    assert list(setup.refined(done.night)) == []


def test_the_angle_of_the_simulation_goes_before_the_rule():
    ruled, asked = work(), work(simulate_angle=True)

    assert ruled.angles is None and any("is a rule" in line for line in ruled.told.assumed)
    assert asked.angles is not None and not any("is a rule" in line for line in asked.told.assumed)
    low, best, high = asked.advice.angle_deg
    assert (low, best, high) == (asked.angles.low_deg, asked.angles.best_deg, asked.angles.high_deg)


def test_the_aim_mark_told_lies_on_the_axis_of_the_tilt_told():
    for told, who in ((TRAIL, "red_deer"), ({**TRAIL, "slope_deg": 12, "height_m": 2.4}, "roe_deer")):
        done = work(told, who)
        advice, slope = done.advice, done.read.ground.slope_deg
        drop = advice.height_m + advice.aim_distance_m * math.tan(math.radians(slope)) - advice.aim_height_m
        assert math.degrees(math.atan2(drop, advice.aim_distance_m)) == pytest.approx(advice.tilt_deg)
        # And so it is said, within the rounding of what is said.
        metres = float(re.match(r"([\d.]+) m off", setting(done, "aim").value)[1])
        assert metres == pytest.approx(advice.aim_distance_m, abs=0.51)


def test_a_compass_is_told_less_the_declination():
    without, eastward = work(), work({**TRAIL, "declination_deg": 10, "heading_deg": 5})

    assert "less the declination" in setting(without, "heading").hint
    assert setting(eastward, "heading").value.startswith("005° true")
    assert "about 355° on the compass" in setting(eastward, "heading").hint


def test_where_animals_stay_both_edges_are_walked_and_a_delay_is_taken_off_and_put_back():
    steps = texts(work(FEED, "elk"))

    assert "8.0 m off" in steps["near edge"] and "18 m off" in steps["far edge"]
    assert "set the delay to none" in steps["clock"] and steps["leave"].startswith("Set the delay again")
    assert "10 s" in steps["near edge"]


def test_small_animals_are_tried_on_hands_and_knees():
    assert "hands and knees" in " ".join(work(who="brown_hare").told.walk_test)
    assert "hands and knees" not in " ".join(work(who="elk").told.walk_test)


def test_us_units_are_told_in_feet_inches_and_fahrenheit():
    done = work(FEED, "elk", system="us")
    told = " ".join([*(d.value + d.hint for d in done.told.camera_settings), *done.told.walk_test, *done.told.assumed])

    assert " ft" in told and "°F" in told
    assert not re.search(r"\d m\b|\d mm\b|°C", told)


def test_cautions_come_once_and_fit_the_place():
    road = work({"feature": "road", "path_bearing_deg": 0})
    ladder = work(FEED, "elk")

    assert any(line.startswith("At the road") for line in road.told.usual_cautions)
    for done in (road, ladder):
        lines = [*done.told.cautions, *done.told.usual_cautions]
        assert len(lines) == len(set(lines))
        for opening in ("People", "Ladder"):
            assert sum(line.startswith(opening) for line in lines) <= 1
    assert any(line.startswith("Ladder") for line in (*ladder.told.cautions, *ladder.told.usual_cautions))
    assert any("FR6" in line for line in ladder.told.usual_cautions)


def test_what_nobody_told_is_said():
    bare = setups.work_out(CameraSpec(maker="No", model="Body"), read({"aim": "behaviour"}), system="metric")
    told = " ".join(bare.told.assumed)

    for words in ("Nobody says the camera's detection angle", "bearing is not known", "level horizon", "No snow",
                  "a picture a second"):  # fmt: skip
        assert words in told, words
    assert bare.day.case.timing.frames == 15


def test_a_setup_is_for_the_animal_its_inputs_were_read_for():
    with pytest.raises(WrongInput, match="Red deer"):
        setup.work_out_setup(SPEC, read(), animal("elk"))
    with pytest.raises(WrongInput, match="height"):
        work().advice.fact("colour")


def test_every_animal_and_feature_gives_a_setup():
    from trod.planning.catch.animals import ANIMALS

    features = inputs.WORDS["feature"]
    for number, whose in enumerate(ANIMALS):
        done = work({"feature": features[number % len(features)], "path_bearing_deg": 200}, whose.key, passes=512)
        assert done.told.sentence and done.walk_test and done.told.camera_settings
        assert done.passing == isinstance(done.day.case, Case)


def test_reasons_and_cautions_are_told_in_us_units_too():
    snowy = {"snow_m": [0.9] * 12, "height_m": 0.9, "tree_diameter_cm": 18, "branch_height_m": 3.0}
    for told, who in ((FEED | snowy, "elk"), (TRAIL | snowy | {"offset_m": 9}, "red_fox")):
        words = work(told, who, system="us").told
        lines = [words.sentence, *words.cautions]
        lines += [text for one in words.pieces for text in (one.value, one.reason, one.caution)]
        lines += [text for one in words.settings for text in (one.value, one.reason, one.caution)]
        lines = [line.replace("25 cm (10 in)", "") for line in lines]

        assert not [line for line in lines if re.search(r"\d (m|cm|mm|m/s|kg)\b|°C", line)]
        assert any(re.search(r"\d (ft|in)\b", one.reason) for one in words.pieces)
