from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from PIL import Image

from trod_demo.animals import Actor
from trod_demo.scene import Lens, Shot, Stage
from trod_demo.scenery import Place, flash_level
from trod_demo.strip import Caption, strip_height
from trod_demo.view import View
from trod_demo.weather import Weather

NOON, NIGHT = (55.0, 180.0), (-30.0, 10.0)
CAPTION = Caption(datetime(2026, 5, 3, 12, 0, 0), 14.0, "ESK 01", 0.3)
DEER = Actor("red_deer", 0.0, 6.0, 20.0, "walk", 0.2, "male", "adult", month=9, speed_mps=1.2, variant=4)
CALM = Weather(cloud=0.5, wind_mps=0.0)


@pytest.fixture(scope="module")
def stage() -> Stage:
    place = Place("meadow", 42.0, 0.2, "beech", 65.0, 7.0, 4)
    return Stage(View(320, 240, 42, 0.9, 3.0, 255.0, 2.0), place, flash_range_m=24.0)


def shot(*actors: Actor, weather: Weather = CALM, sun: tuple[float, float] = NOON, seed: int = 9) -> Shot:
    return Shot(tuple(actors), weather, sun, CAPTION, seed)


def pixels(picture: Image.Image) -> np.ndarray:
    return np.asarray(picture).astype(int)


def test_the_same_shot_gives_the_same_pixels(stage: Stage) -> None:
    fresh = Stage(stage.view, stage.place, flash_range_m=24.0)

    assert (pixels(stage.shoot(shot(DEER))[0]) == pixels(fresh.shoot(shot(DEER))[0])).all()


@pytest.mark.parametrize("sun", [NOON, NIGHT])
@pytest.mark.parametrize("x_m", [0.0, -2.2])
def test_the_truths_box_holds_the_drawn_animals_pixels_tightly(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, sun: tuple[float, float], x_m: float
) -> None:
    """The picture with and without the animal, shadow and eye-shine aside."""
    monkeypatch.setattr(Stage, "_throw_shadow", lambda *_: None)
    monkeypatch.setattr(Stage, "_eye_shine", lambda *_: None)
    with_deer, seen, _ = stage.shoot(shot(replace(DEER, x_m=x_m), sun=sun))
    without, nobody, _ = stage.shoot(shot(sun=sun))

    changed = (np.abs(pixels(with_deer) - pixels(without)) > 2).any(axis=2)
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    left, top, right, bottom = seen[0].box
    assert nobody == ()
    assert changed.sum() > 1500
    assert columns[0] >= left * 320 - 1.01 and columns[-1] + 1 <= right * 320 + 1.01
    assert rows[0] >= top * 240 - 1.01 and rows[-1] + 1 <= bottom * 240 + 1.01
    assert columns[0] - left * 320 < 3 and right * 320 - columns[-1] < 4
    assert rows[0] - top * 240 < 4 and bottom * 240 - rows[-1] < 4


def test_an_animal_half_out_of_the_frame_is_half_visible(stage: Stage) -> None:
    _, whole, _ = stage.shoot(shot(DEER))
    _, half, _ = stage.shoot(shot(replace(DEER, x_m=-2.3)))

    assert whole[0].visible > 0.9
    assert 0.2 < half[0].visible < 0.8
    assert half[0].box[0] == 0.0


def test_one_animal_behind_another_is_hidden_in_part(stage: Stage) -> None:
    behind = replace(DEER, z_m=8.0, variant=5)

    _, seen, _ = stage.shoot(shot(DEER, behind))

    by_distance = sorted(seen, key=lambda s: s.distance_m)
    assert by_distance[0].visible > 0.9
    assert by_distance[1].visible < 0.8


def test_night_is_grey_and_day_is_not(stage: Stage) -> None:
    rows = 240 - strip_height(240)
    night, _, infrared = stage.shoot(shot(DEER, sun=NIGHT))
    day, _, coloured = stage.shoot(shot(DEER))

    spread = pixels(night)[:rows].max(axis=2) - pixels(night)[:rows].min(axis=2)
    assert infrared and spread.max() == 0
    assert not coloured
    assert (pixels(day)[:rows].max(axis=2) - pixels(day)[:rows].min(axis=2)).mean() > 8


def test_the_flash_falls_with_the_square_of_the_distance() -> None:
    near, far = float(flash_level(20.0, 24.0)), float(flash_level(40.0, 24.0))

    assert near / far == pytest.approx(4, rel=0.05)


def test_a_failing_flash_darkens_the_night(stage: Stage) -> None:
    full = pixels(stage.shoot(shot(sun=NIGHT))[0])[:200].mean()
    weak = pixels(stage.shoot(replace(shot(sun=NIGHT), lens=Lens(weak=0.7)))[0])[:200].mean()

    assert weak < 0.6 * full


def test_two_frames_of_a_burst_differ_where_the_animal_walked(stage: Stage) -> None:
    first, one, _ = stage.shoot(shot(DEER))
    second, two, _ = stage.shoot(shot(DEER.moved(seconds=0.7)))

    assert two[0].box[0] > one[0].box[0] + 0.02
    assert (np.abs(pixels(first) - pixels(second)).max(axis=2) > 25).sum() > 400


def test_wind_moves_the_branches_between_frames_and_calm_does_not(stage: Stage) -> None:
    def change(wind_mps: float) -> int:
        gust = replace(shot(weather=replace(CALM, wind_mps=wind_mps)), gust_s=0.0)
        a, _, _ = stage.shoot(gust)
        b, _, _ = stage.shoot(replace(gust, gust_s=0.7))
        return int((np.abs(pixels(a) - pixels(b)).max(axis=2) > 30).sum())

    assert change(0.0) == 0
    assert change(13.0) > 500


@pytest.mark.parametrize(
    ("weather", "lens"),
    [
        (replace(CALM, rain=0.9), Lens()),
        (replace(CALM, snowfall=0.9), Lens()),
        (replace(CALM, fog=0.9), Lens()),
        (CALM, Lens(dew=0.8)),
        (CALM, Lens(ice=0.8)),
    ],
)
def test_weather_and_glass_change_the_picture(stage: Stage, weather: Weather, lens: Lens) -> None:
    plain = pixels(stage.shoot(shot())[0])
    made = pixels(stage.shoot(replace(shot(weather=weather), lens=lens))[0])

    assert (np.abs(plain - made).max(axis=2) > 12).mean() > 0.03


def test_snow_lies_white(stage: Stage) -> None:
    snowy = replace(CALM, snow_cm=25.0, leaf=0.0, autumn=1.0)

    green = pixels(stage.shoot(shot())[0])[170:220].mean()
    white = pixels(stage.shoot(shot(weather=snowy))[0])[170:220].mean()

    assert white > green + 25


def test_the_strip_leaves_the_picture_above_it_alone(stage: Stage) -> None:
    other = replace(CAPTION, clock=datetime(2026, 5, 3, 17, 30, 0), camera="ESK 09")
    a = pixels(stage.shoot(shot())[0])
    b = pixels(stage.shoot(replace(shot(), caption=other))[0])
    floor = 240 - strip_height(240)

    assert (a[:floor] == b[:floor]).all()
    assert (a[floor:] != b[floor:]).any()
