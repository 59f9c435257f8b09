"""Light: day or infrared from the pixels, burnt-out parts, a veil over the lens."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageFilter
from tests.pictures import scenes

from trod.pictures import light
from trod.pictures.strip import Strips


def through_jpeg(pixels: scenes.Pixels, quality: int) -> scenes.Pixels:
    image = Image.open(io.BytesIO(scenes.jpeg(pixels, quality=quality)))
    image.thumbnail((320, 320))
    return np.asarray(image.convert("RGB"))


@pytest.mark.parametrize("quality", [40, 75, 95])
@pytest.mark.parametrize("seed", range(4))
def test_night_is_infrared_and_day_is_not(quality: int, seed: int) -> None:
    assert light.measure(through_jpeg(scenes.scene(night=True, seed=seed), quality)).infrared
    assert not light.measure(through_jpeg(scenes.scene(seed=seed), quality)).infrared
    assert not light.measure(through_jpeg(scenes.scene(seed=seed, dull=True), quality)).infrared


def test_a_picture_stored_grey_is_infrared() -> None:
    facts = light.measure(light.luma_of(scenes.scene()))
    assert (facts.infrared, facts.colour_spread) == (True, 0)


def test_a_coloured_info_strip_does_not_make_a_day_of_a_night() -> None:
    pixels = scenes.scene(400, 300, night=True).copy()
    pixels[-15:] = (200, 30, 30)
    assert not light.measure(pixels).infrared
    assert light.measure(pixels, strips=Strips(bottom=15)).infrared


def test_brightness_and_burnt_out_parts_are_shares() -> None:
    pixels = np.full((100, 200, 3), 128, dtype=np.uint8)
    pixels[:25] = 255
    pixels[25:35] = 0
    facts = light.measure(pixels)

    assert (facts.bright_share, facts.dark_share) == (0.25, 0.10)
    assert facts.brightness == pytest.approx((0.25 * 255 + 0.65 * 128) / 255)
    assert facts.contrast == 1


def test_percentiles_by_counting_agree_with_sorting() -> None:
    levels = np.random.default_rng(1).integers(0, 256, 1001).astype(np.uint8)
    ordered = np.sort(levels)
    found = light._percentiles(levels, (5.0, 50.0, 98.0))
    assert found == [ordered[int(np.ceil(1001 * p / 100)) - 1] for p in (5, 50, 98)]


def test_brightness_weighs_the_colours_as_the_eye_does() -> None:
    """Rec. ITU-R BT.601: 0.299 R + 0.587 G + 0.114 B, to a level."""
    rng = np.random.default_rng(2)
    pixels = rng.integers(0, 256, (50, 60, 3)).astype(np.uint8)
    exact = pixels @ np.array([0.299, 0.587, 0.114])
    assert np.abs(light.luma_of(pixels) - exact).max() <= 1


def test_an_iced_lens_is_hinted_at_and_a_clear_one_is_not() -> None:
    clear = Image.fromarray(scenes.scene(320, 240))
    iced = clear.filter(ImageFilter.GaussianBlur(14)).point(lambda level: int(level * 0.25 + 120))

    assert light.measure(np.asarray(iced)).veiled
    assert not light.measure(np.asarray(clear)).veiled
    assert not light.measure(scenes.scene(320, 240, night=True)).veiled
    assert not light.measure(np.zeros((240, 320, 3), dtype=np.uint8)).veiled


def test_a_picture_of_one_pixel_is_measured_too() -> None:
    facts = light.measure(np.full((1, 1, 3), 90, dtype=np.uint8))
    assert (facts.detail, facts.contrast, facts.infrared) == (0, 0, True)
