"""The info strip: found where it is plain to see, and nowhere else."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from tests.pictures import scenes

from trod.pictures import light, strip


def small(pixels: scenes.Pixels, quality: int = 85) -> scenes.Pixels:
    image = Image.open(io.BytesIO(scenes.jpeg(pixels, quality=quality))).convert("RGB")
    width = 320
    return light.luma_of(
        np.asarray(image.resize((width, round(image.height * width / image.width)), Image.Resampling.BILINEAR))
    )


def bottom(luma: scenes.Pixels) -> int:
    found = strip.find(luma)
    assert found.top == 0
    return found.bottom


@pytest.mark.parametrize("share", [0.03, 0.05, 0.08, 0.12])
@pytest.mark.parametrize(("ground", "ink"), [(0, 255), (255, 0), (40, 230)])
@pytest.mark.parametrize("seed", range(3))
def test_a_strip_under_a_day_picture_is_found_to_the_row(share: float, ground: int, ink: int, seed: int) -> None:
    luma = small(scenes.with_strip(scenes.scene(1600, 1200, seed=seed), share, ground=ground, ink=ink))
    drawn = share * luma.shape[0]
    assert drawn <= bottom(luma) <= drawn + 2


def test_a_white_strip_under_a_night_picture_is_found() -> None:
    luma = small(scenes.with_strip(scenes.scene(1600, 1200, night=True), 0.06, ground=255, ink=0))
    assert bottom(luma) > 0


@pytest.mark.parametrize("night", [True, False])
@pytest.mark.parametrize("seed", range(20))
def test_a_picture_without_a_strip_has_none(night: bool, seed: int) -> None:
    assert bottom(small(scenes.scene(800, 600, night=night, seed=seed))) == 0


@pytest.mark.parametrize("level", [0, 128, 255])
def test_an_even_picture_has_none(level: int) -> None:
    assert bottom(np.full((240, 320), level, dtype=np.uint8)) == 0


def test_snow_that_begins_low_in_the_picture_is_no_strip() -> None:
    pixels = scenes.scene(800, 600).astype(float)
    rows = np.clip((np.arange(600) - 480) / 60, 0, 1)[:, None, None]
    rng = np.random.default_rng(3)
    snow = 235 + rng.normal(0, 3, pixels.shape)
    assert bottom(small(np.clip(pixels * (1 - rows) + snow * rows, 0, 255).astype(np.uint8))) == 0


def test_a_slanting_edge_is_no_strip() -> None:
    pixels = scenes.scene(800, 600).copy()
    for column in range(800):
        pixels[600 - 30 - column // 20 :, column] = 20
    assert bottom(small(pixels)) == 0


def test_a_band_too_tall_for_a_strip_is_none() -> None:
    assert bottom(small(scenes.with_strip(scenes.scene(800, 600), 0.3))) == 0


@pytest.mark.parametrize("shape", [(1, 1), (3, 400), (400, 3), (20, 20)])
def test_tiny_pictures_have_none(shape: tuple[int, int]) -> None:
    assert bottom(np.zeros(shape, dtype=np.uint8)) == 0


@pytest.mark.parametrize("share", [0.03, 0.05, 0.08, 0.12])
@pytest.mark.parametrize(("ground", "ink"), [(0, 255), (255, 0), (40, 230)])
@pytest.mark.parametrize("seed", range(3))
def test_a_strip_over_a_day_picture_is_found_to_the_row(share: float, ground: int, ink: int, seed: int) -> None:
    pixels = scenes.with_strip(scenes.scene(1600, 1200, seed=seed), share, ground=ground, ink=ink, at_top=True)
    luma = small(pixels)
    found = strip.find(luma)
    drawn = share * luma.shape[0]
    assert drawn <= found.top <= drawn + 2
    assert found.bottom == 0


def test_strips_at_both_ends_are_each_found() -> None:
    pixels = scenes.with_strip(scenes.scene(1600, 1200), 0.05)
    luma = small(scenes.with_strip(pixels, 0.08, ground=255, ink=0, at_top=True))
    found = strip.find(luma)
    assert 12 <= found.bottom <= 14
    assert 19 <= found.top <= 22


def test_a_white_strip_over_a_night_picture_is_found() -> None:
    luma = small(scenes.with_strip(scenes.scene(1600, 1200, night=True), 0.06, ground=255, ink=0, at_top=True))
    assert strip.find(luma).top > 0


def sky(*, level: int = 250) -> scenes.Pixels:
    """A picture whose upper tenth is a pale sky, over a skyline as level as a plain or the sea has it."""
    pixels = scenes.scene(1600, 1200).copy()
    pixels[:120] = level
    return pixels


@pytest.mark.parametrize("level", [200, 250, 255])
def test_a_pale_sky_over_a_level_skyline_is_no_strip(level: int) -> None:
    assert strip.find(small(sky(level=level))) == strip.Strips()


def test_twigs_against_a_pale_sky_are_no_writing() -> None:
    pixels = sky()
    rng = np.random.default_rng(5)
    for column in rng.integers(20, 1560, 40):
        pixels[:140, column : column + 6] = 30
    assert strip.find(small(pixels)) == strip.Strips()


def test_the_light_of_a_night_is_measured_without_a_strip_at_its_top() -> None:
    night = scenes.scene(1600, 1200, night=True)
    pixels = scenes.with_strip(night, 0.08, ground=255, ink=0, at_top=True)
    image = np.asarray(Image.fromarray(pixels).resize((320, 240), Image.Resampling.BILINEAR))
    found = strip.find(light.luma_of(image))
    bare = np.asarray(Image.fromarray(night).resize((320, 240), Image.Resampling.BILINEAR))[found.top :]
    assert light.measure(image, strips=found) == light.measure(bare)
    assert light.measure(image).brightness > light.measure(bare).brightness + 0.02
