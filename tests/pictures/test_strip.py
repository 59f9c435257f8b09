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


@pytest.mark.parametrize("share", [0.03, 0.05, 0.08, 0.12])
@pytest.mark.parametrize(("ground", "ink"), [(0, 255), (255, 0), (40, 230)])
@pytest.mark.parametrize("seed", range(3))
def test_a_strip_under_a_day_picture_is_found_to_the_row(share: float, ground: int, ink: int, seed: int) -> None:
    luma = small(scenes.with_strip(scenes.scene(1600, 1200, seed=seed), share, ground=ground, ink=ink))
    drawn = share * luma.shape[0]
    assert drawn <= strip.strip_height(luma) <= drawn + 2


def test_a_white_strip_under_a_night_picture_is_found() -> None:
    luma = small(scenes.with_strip(scenes.scene(1600, 1200, night=True), 0.06, ground=255, ink=0))
    assert strip.strip_height(luma) > 0


@pytest.mark.parametrize("night", [True, False])
@pytest.mark.parametrize("seed", range(20))
def test_a_picture_without_a_strip_has_none(night: bool, seed: int) -> None:
    assert strip.strip_height(small(scenes.scene(800, 600, night=night, seed=seed))) == 0


@pytest.mark.parametrize("level", [0, 128, 255])
def test_an_even_picture_has_none(level: int) -> None:
    assert strip.strip_height(np.full((240, 320), level, dtype=np.uint8)) == 0


def test_snow_that_begins_low_in_the_picture_is_no_strip() -> None:
    pixels = scenes.scene(800, 600).astype(float)
    rows = np.clip((np.arange(600) - 480) / 60, 0, 1)[:, None, None]
    rng = np.random.default_rng(3)
    snow = 235 + rng.normal(0, 3, pixels.shape)
    assert strip.strip_height(small(np.clip(pixels * (1 - rows) + snow * rows, 0, 255).astype(np.uint8))) == 0


def test_a_slanting_edge_is_no_strip() -> None:
    pixels = scenes.scene(800, 600).copy()
    for column in range(800):
        pixels[600 - 30 - column // 20 :, column] = 20
    assert strip.strip_height(small(pixels)) == 0


def test_a_band_too_tall_for_a_strip_is_none() -> None:
    assert strip.strip_height(small(scenes.with_strip(scenes.scene(800, 600), 0.3))) == 0


@pytest.mark.parametrize("shape", [(1, 1), (3, 400), (400, 3), (20, 20)])
def test_tiny_pictures_have_none(shape: tuple[int, int]) -> None:
    assert strip.strip_height(np.zeros(shape, dtype=np.uint8)) == 0
