"""Traces of resampling: closed forms, the prototype's check values, the vote, and what is never said."""

from __future__ import annotations

import math

import native_camera
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from trod.errors import NotEnoughEvidence, WrongInput
from trod.pictures import light, resampled
from trod.pictures.resampled import PictureTrace, vote

KERNELS = [Image.Resampling.BILINEAR, Image.Resampling.BICUBIC, Image.Resampling.LANCZOS]


def noise(seed: int, rows: int, columns: int) -> NDArray[np.uint8]:
    return np.random.default_rng(seed).integers(0, 256, (rows, columns), dtype=np.uint8)


def resized(levels: NDArray[np.uint8], columns: int, rows: int, how: Image.Resampling) -> NDArray[np.uint8]:
    return np.asarray(Image.fromarray(levels).resize((columns, rows), how))


def strongest(spectrum: NDArray[np.float64]) -> tuple[float, float]:
    """Frequency and strength of the strongest line that is not trend."""
    f = np.arange(spectrum.size) / (2 * (spectrum.size - 1))
    shown = np.where(f < resampled.LOWEST_FREQUENCY, 0, spectrum)
    return float(f[shown.argmax()]), float(shown.max())


@pytest.mark.parametrize(("times", "variance"), [(2, 1.5), (3, 0.6667), (4, 0.375)])
def test_the_second_difference_of_a_linear_enlargement_lives_on_the_old_pixels(times: int, variance: float) -> None:
    # Derived: 6σ²/N² on the source's sites and nothing between; the idea is of A. C. Gallagher (2005) Detection of
    # linear and cubic interpolation in JPEG compressed images, CRV 2005, 65-72.
    source = np.random.default_rng(4).normal(0, 1, 40_001)
    fine = np.interp(np.arange(40_000 * times) / times, np.arange(40_001), source)
    second = 2 * fine[1:-1] - fine[:-2] - fine[2:]

    on = second[times - 1 :: times]
    off = np.delete(second, np.arange(times - 1, second.size, times))
    assert np.var(on) == pytest.approx(variance, rel=0.02)
    assert np.abs(off).max() < 1e-9


@pytest.mark.parametrize(
    ("factor", "frequency"),
    [(1.2, 0.1667), (1.25, 0.2), (1.5, 0.3333), (math.sqrt(3), 0.4227), (2.5, 0.4), (2.2, 0.4545)],
)
def test_the_line_stands_at_the_aliased_inverse_of_the_factor(factor: float, frequency: float) -> None:
    # Gallagher (2005): the period of the second difference; the aliases are arithmetic.
    assert resampled.alias(1 / factor) == pytest.approx(frequency, abs=1e-4)
    source = np.random.default_rng(5).normal(128, 30, (64, 2000))
    at = np.arange(int(1999 * factor)) / factor
    fine = np.stack([np.interp(at, np.arange(2000), row) for row in source]).astype(np.float32)

    found, _ = strongest(resampled.line_spectrum(fine))

    assert found == pytest.approx(frequency, abs=0.002)


@pytest.mark.parametrize(
    ("native", "saved", "f1", "f2"),
    [(2592, 4000, 0.352, 0.324), (2304, 4000, 0.424, 0.288), (2592, 5200, 0.4985, 0.2492), (2560, 4000, 0.36, 0.32)],
)
def test_lines_of_common_sizes(native: int, saved: int, f1: float, f2: float) -> None:
    assert resampled.alias(native / saved) == pytest.approx(f1, abs=6e-5)
    assert resampled.alias(native / (2 * saved)) == pytest.approx(f2, abs=6e-5)


@pytest.mark.parametrize(("how", "least"), list(zip(KERNELS, (500, 450, 300), strict=True)))
def test_enlarged_noise_has_its_line_at_352_thousandths(how: Image.Resampling, least: float) -> None:
    # Our prototype: 0.3519, strength 682 / 591 / 383 for bilinear, bicubic, Lanczos by Pillow.
    big = resized(noise(0, 972, 1296), 2000, 1500, how)

    f, z = strongest(resampled.line_spectrum(big.astype(np.float32)))

    assert f == pytest.approx(0.352, abs=0.0003)
    assert z > least


def test_exactly_twice_has_no_line_but_is_coherent_with_itself() -> None:
    big = resized(noise(0, 972, 1296), 2592, 1944, Image.Resampling.BICUBIC)

    assert strongest(resampled.line_spectrum(big.astype(np.float32)))[1] < 5
    found = resampled.trace_of(big)
    assert found.trace == "twice"
    assert found.twice == pytest.approx(0.999, abs=0.002)  # our prototype
    assert found.native_megapixels is None


def test_native_noise_shows_nothing() -> None:
    found = resampled.trace_of(noise(1, 1500, 2000))

    assert found.trace == "none"
    assert found.twice < 0.05
    assert strongest(resampled.line_spectrum(noise(1, 1500, 2000).astype(np.float32)))[1] < 5


def test_noise_alone_exceeds_a_strength_as_rayleigh_says() -> None:
    # P(z > x) = exp(−ln 2 · x²), z over the median: of 2000 bins one exceeds 4.6 about once in a thousand.
    spectra = [resampled.line_spectrum(noise(s, 64, 4096).astype(np.float32))[250:] for s in range(6)]
    share = float(np.mean(np.concatenate(spectra) > 2.0))
    assert share == pytest.approx(2**-4, abs=0.012)


def day_picture(rows: int, columns: int, seed: int, demosaic: native_camera.Demosaic = "bilinear") -> NDArray[np.uint8]:
    rng = np.random.default_rng(seed)
    scene = native_camera.scene(rows, columns, rng)
    return native_camera.native(scene, lens_px=0.6, demosaic=demosaic, noise=2.0, rng=rng)


def test_a_reduced_picture_is_never_given_a_number() -> None:
    # The alias twin: reduced to 1/1.2887, the line stands where an enlargement by 1.406 would put it.
    small = resized(day_picture(1504, 2000, 1, "none"), 1552, 1167, Image.Resampling.BICUBIC)

    found = resampled.trace_of(light.luma_of(native_camera.through_jpeg(small, 95)))

    assert resampled.alias(1.2887) == pytest.approx(resampled.alias(1 / 1.406), abs=1e-3)
    assert found.trace in ("light", "none")
    assert found.native_megapixels is None


def test_a_picture_of_a_simple_camera_enlarged_to_54_per_cent_more_is_told_with_its_megapixels() -> None:
    native = day_picture(1296, 1728, 2)
    big = native_camera.through_jpeg(native_camera.enlarged(native, (2668, 2001), Image.Resampling.BILINEAR), 95)

    found = resampled.trace_of(light.luma_of(big))

    assert found.trace == "two lines"
    assert found.native_megapixels == pytest.approx(1.728 * 1.296, rel=0.02)


@pytest.mark.parametrize("demosaic", ["none", "bilinear", "gradient"])
def test_a_native_picture_of_a_scene_shows_nothing(demosaic: native_camera.Demosaic) -> None:
    picture = native_camera.through_jpeg(day_picture(1296, 1728, 3, demosaic), 85)

    assert resampled.trace_of(light.luma_of(picture)).trace == "none"


def trace(kind: resampled.Trace, native_width: float | None = None) -> PictureTrace:
    return PictureTrace(
        trace=kind, width=4000, height=3000, native_width=native_width, line1=20, line2=20, drop_db=4,
        twice=0.0, jpeg=0.0,
    )  # fmt: skip


def test_three_of_five_must_agree_before_a_number_is_given() -> None:
    two = [trace("two lines", w) for w in (2590, 2592, 2600)]
    told = vote([*two, trace("none"), trace("light", 2800)])

    assert told.verdict == "resampled"
    assert told.native_megapixels == pytest.approx(5.04, abs=0.02)
    assert told.sentence == (
        "Resampled (consistent with a native picture of about 5 megapixels, saved as 12): 3 of 5 pictures agree."
    )
    assert vote([*two[:2], trace("two lines", 1900), trace("none"), trace("none")]).verdict == "can't tell"


def test_one_line_says_resampled_but_gives_no_number() -> None:
    told = vote([trace("two lines", 2592), *[trace("one line", 2592)] * 2, trace("none"), trace("none")])

    assert told.verdict == "resampled" and told.native_megapixels is None
    assert told.sentence == "Resampled (by a factor that the pictures do not tell): 3 of 5 pictures agree."


def test_exactly_twice_and_light_and_nothing() -> None:
    assert vote([trace("twice")] * 3 + [trace("none")] * 2).verdict == "looks like exactly twice enlarged"
    assert vote([trace("light", 3000)] * 5).verdict == "can't tell"
    told = vote([trace("none")] * 5)
    assert told.verdict == "can't tell"
    assert "does not show that the pixels are the sensor's own" in told.sentence
    assert "genuine" not in told.sentence.lower()


def test_four_pictures_are_too_few_and_two_sizes_are_no_camera() -> None:
    with pytest.raises(NotEnoughEvidence, match="4 pictures given; 5 by day in colour are needed for a vote"):
        vote([trace("two lines", 2592)] * 4)
    with pytest.raises(WrongInput, match="pictures of one camera in one setting"):
        vote([trace("none")] * 4 + [PictureTrace(
            trace="none", width=1000, height=800, native_width=None, line1=1, line2=1, drop_db=0, twice=0, jpeg=0
        )])  # fmt: skip
    with pytest.raises(WrongInput, match="at least 512 pixels a side"):
        resampled.trace_of(noise(0, 300, 600))
