"""Setups at the ends of what is accepted: worked out, and told without nonsense."""

from __future__ import annotations

import math
import random
import re

import pytest
from nonsense import nonsense, odd_animal, odd_camera, odd_inputs

from trod.errors import WrongInput
from trod.field import setup_sheet
from trod.planning.catch.animals import animal
from trod.planning.equipment import camera
from trod.planning.place import advice, inputs, mounting, setup
from trod.telling import measures, placement, setups

LATITUDES = (-90.0, -70.0, -45.0, 0.0, 1e-9, 45.0, 70.0, 90.0)


def piece(done: setups.ToldSetup, key: str) -> placement.Piece:
    return placement.piece(done.advice.fact(key), "metric")


def texts(done: setups.ToldSetup) -> list[str]:
    """All that a person reads of a setup."""
    told = done.told
    found = [told.sentence, told.day, told.night, setup_sheet.legend(done)]  # type: ignore[arg-type]
    found += [*told.walk_test, *told.cautions, *told.usual_cautions, *told.assumed]
    found += [text for one in told.camera_settings for text in (one.label, one.value, one.hint)]
    found += [text for one in told.pieces for text in (one.value, one.reason, one.caution)]
    found += [text for one in told.settings for text in (one.value, one.reason, one.caution, one.price)]
    return found + [battery for row in setup_sheet.outcome_table(done.day, done.night) for battery in row]


@pytest.mark.parametrize("seed", range(12))
def test_at_the_ends_of_what_is_accepted_a_setup_is_told_without_nonsense(seed: int) -> None:
    rng = random.Random(seed)
    worked = 0
    for _ in range(8):
        whose, told = animal(odd_animal(rng)), odd_inputs(rng)
        read = inputs.read(
            told, latitude_deg=rng.choice(LATITUDES), longitude_deg=rng.choice((-180.0, 0.0, 180.0)), animal=whose
        )
        system: measures.System = rng.choice(("metric", "us"))
        try:
            done = setups.work_out(odd_camera(rng), read, system=system, passes=512)
        except WrongInput as refused:
            assert refused.what in {"rows", *inputs.LIMITS}, refused  # a name that a person has met
            continue
        worked += 1
        for drawn in setup_sheet.drawings(done):
            assert not re.search(r"\b(nan|inf|None)\b", drawn), told
        for text in texts(done):
            assert nonsense(text) == [], (told, system)
            told_by = text.split(" at the shoulder")[0].replace("25 cm (10 in)", "")  # a source speaks as it does
            assert system == "metric" or not any(unit in told_by for unit in ("°C", " cm", " m ", "m/s", " kg")), text
    assert worked > 4


def worked(told: dict[str, object], spec: camera.CameraSpec | None = None, **more: object) -> setups.ToldSetup:
    read = inputs.read(told, latitude_deg=-45, longitude_deg=170, animal=animal("roe_deer"))
    return setups.work_out(spec or camera.CameraSpec(maker="A", model="B"), read, system="metric", passes=512, **more)  # type: ignore[arg-type]


def test_a_flash_that_lights_nothing_is_no_flash() -> None:
    done = worked({}, camera.CameraSpec(maker="A", model="B", claimed=camera.Figures(flash_reach_m=0)))

    assert done.advice.flash is None
    assert piece(done, "flash").value == "none"
    assert "it lights nothing" in piece(done, "flash").reason
    assert done.told.night.startswith("By night: this camera has no flash")


def test_without_snow_a_low_camera_is_not_warned_of_snow() -> None:
    bare, snowy = worked({"height_m": 0.2}), worked({"height_m": 0.2, "snow_m": [0.4] * 12})

    assert piece(bare, "snow").value == "none"
    assert not any("snow" in line for line in bare.told.cautions)
    assert any("more than this placement bears (bears none, by the lens)" in line for line in snowy.told.cautions)


def test_a_lens_wider_than_the_sky_sees_the_ground_from_its_own_foot() -> None:
    """Edges past straight down or up count as straight down or up."""
    wide = mounting.ground_seen(height_m=3, tilt_deg=60, vertical_deg=150)
    up = mounting.ground_seen(height_m=3, tilt_deg=-60, vertical_deg=150)

    assert (wide.near_m, wide.far_m) == (0.0, math.inf)
    assert (up.near_m, up.far_m) == (pytest.approx(3 / math.tan(math.radians(15))), math.inf)
    assert mounting.cut_off_nearer_than_m(height_m=1, tilt_deg=-60, vertical_deg=150, top_m=2) < 0.001
    assert placement.begins(0.02) == "from close under the camera"
    assert placement.begins(2.0, "us") == "from about 6 ft 7 in"


def test_a_picture_that_no_lens_makes_is_refused_by_names_that_are_known() -> None:
    spec = camera.CameraSpec(maker="A", model="B", claimed=camera.Figures(columns=2560, rows=16))

    with pytest.raises(WrongInput) as told:
        worked({}, spec)

    assert str(told.value) == (
        "rows: got '2560 × 16 pixels behind a view 41° wide'; needed: a picture from 1 to 170 degrees tall: look at "
        "columns, rows and fov_deg"
    )


def test_an_aim_point_close_by_still_has_a_ground_behind_it() -> None:
    """The far edge never lies before the near one, in the herd's table, the simulation and the walk test alike."""
    done = worked({"feature": "feeding", "aim_distance_m": 0.5, "herd": 20})

    assert advice.patch_span_m(done.read.mount, 0.5) == (2.0, 2.5)
    assert isinstance(done.day.case, setup.StayCase)
    assert (done.day.case.stay.near_m, done.day.case.stay.depth_m) == (2.0, 0.5)
    assert [step.offset_m for step in done.walk_test if step.key.endswith("edge") and step.key != "edge"] == [2.0, 2.5]


def test_triggers_are_told_in_plain_numbers() -> None:
    for told, words in (
        ({"triggers": 5000, "night_share": 0}, "About 5000 triggers a day, none of them by night."),
        ({"triggers": 1, "night_share": 1}, "About one trigger a day, all of them by night."),
        ({"triggers": 0}, "No triggers are expected."),
    ):
        assert words in worked(told).told.assumed


def test_a_small_card_is_told_by_its_size() -> None:
    lines = worked({"card_gb": 0.1, "triggers": 300}).told.cautions

    assert any("a card of 0.1 GB is full in less than a day, " in line for line in lines)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "0"),
        (4510.3, "4500"),
        (0.000065, "0.000065"),
        (65.4, "65"),
        (1e9, "1000000000"),
        (math.inf, "beyond counting"),
    ],
)
def test_bare_numbers_are_said_with_two_figures_and_never_in_powers_of_ten(value: float, words: str) -> None:
    assert measures.figure(value) == words


def test_temperature_speed_and_thickness_follow_the_units() -> None:
    assert [measures.air(-0.2), measures.air(-0.2, "us"), measures.air(-40, "us")] == ["0 °C", "32 °F", "-40 °F"]
    assert [measures.speed(1.2), measures.speed(0.44704, "us")] == ["1.2 m/s", "1 mph"]
    assert [measures.diameter(25.4), measures.diameter(25.4, "us")] == ["25 cm", "10 in"]


def test_a_whole_figure_that_is_none_is_refused_and_not_cut() -> None:
    for wrong in (2.7, math.nan, math.inf):
        with pytest.raises(WrongInput, match=r"columns: got .*; needed: a whole number from 16 to 60000 pixels"):
            camera.CameraSpec(maker="A", model="B").with_measured(columns=wrong)
