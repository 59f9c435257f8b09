"""Two cameras' pictures at one angular scale."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trod.errors import WrongInput
from trod.pictures.sidebyside import Sample, pixels_per_deg, side_by_side


def board(columns: int, rows: int, fov_deg: float, *, pair_deg: float = 0.5) -> np.ndarray:
    """A grating of so many degrees a line pair, drawn by a straight-line lens of that view."""
    per_rad = columns / 2 / math.tan(math.radians(fov_deg) / 2)
    x = (np.arange(columns) - (columns - 1) / 2) / per_rad
    wave = 128 + 100 * np.sin(2 * np.pi * np.degrees(np.arctan(x)) / pair_deg)
    return np.repeat(wave[None, :], rows, axis=0).astype(np.uint8)


def period_px(pixels: np.ndarray) -> float:
    line = pixels.mean(axis=0) - pixels.mean()
    padded = np.abs(np.fft.rfft(line * np.hanning(line.size), 1 << 16))
    return (1 << 16) / int(padded.argmax())


def test_pixels_to_the_degree_follow_the_lens() -> None:
    # (W/2)/tan(φ/2) to the radian: 4000 columns over 40° are 5495 to the radian, 95.9 to the degree.
    assert pixels_per_deg(columns=4000, fov_deg=40) == pytest.approx(95.9, abs=0.05)


def test_the_same_thing_comes_out_equally_large_from_both() -> None:
    wide = Sample(name="Brook 6", pixels=board(2592, 1944, 55), fov_deg=55)
    narrow = Sample(name="Fern 20", pixels=board(5184, 3888, 40), fov_deg=40)

    both = side_by_side(wide, narrow, angle_deg=6)

    a, b = both.pieces
    assert a.pixels.shape == b.pixels.shape
    assert both.angle_deg == pytest.approx((6.0, 4.5))
    assert period_px(a.pixels) == pytest.approx(period_px(b.pixels), rel=0.02)
    assert period_px(a.pixels) == pytest.approx(0.5 * both.per_deg, rel=0.02)


def test_it_says_what_was_done_to_each() -> None:
    wide = Sample(name="Brook 6", pixels=board(2592, 1944, 55), fov_deg=55)
    narrow = Sample(name="Fern 20", pixels=board(5184, 3888, 40), fov_deg=40)

    a, b = side_by_side(wide, narrow, angle_deg=6).pieces

    assert (
        a.sentence
        == "Brook 6: 261 × 196 of 2592 × 1944 saved pixels, 43 to the degree, enlarged 2.86 times, which adds no detail."
    )
    assert b.sentence == "Fern 20: 746 × 559 of 5184 × 3888 saved pixels, 124 to the degree, shown pixel for pixel."
    assert np.array_equal(b.pixels, narrow.pixels[b.cut[1] : b.cut[3], b.cut[0] : b.cut[2]])


def test_a_large_piece_is_made_smaller_for_both() -> None:
    one = Sample(name="A", pixels=board(4000, 3000, 40), fov_deg=40)
    both = side_by_side(one, one, angle_deg=30, most_px=600)

    assert both.pieces[0].pixels.shape[1] == 600
    assert "made smaller" in both.pieces[0].sentence


def test_a_piece_at_the_pictures_corner_stays_inside_it() -> None:
    one = Sample(name="A", pixels=board(1200, 900, 40), fov_deg=40, at=(1.0, 0.0))
    piece = side_by_side(one, one, angle_deg=5).pieces[0]

    assert piece.cut[2] == 1200 and piece.cut[1] == 0


def test_a_view_smaller_than_asked_bounds_the_piece() -> None:
    one = Sample(name="A", pixels=board(1200, 300, 10), fov_deg=10)
    both = side_by_side(one, one, angle_deg=60)

    assert both.angle_deg[1] <= 300 / pixels_per_deg(columns=1200, fov_deg=10) + 1e-9
    assert both.angle_deg[1] / both.angle_deg[0] == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"fov_deg": 0.0}, "the horizontal angle of view, 1 to 170 degrees"),
        ({"at": (1.2, 0.5)}, "x and y from 0 to 1"),
        ({"pixels": np.zeros((4, 4), np.uint8)}, "a whole picture of bytes"),
        ({"pixels": np.zeros((40, 40), np.float64)}, "a whole picture of bytes"),
    ],
)
def test_what_cannot_be_compared_is_told(change: dict[str, object], words: str) -> None:
    good = {"name": "A", "pixels": board(400, 300, 40), "fov_deg": 40.0}
    with pytest.raises(WrongInput, match=words):
        side_by_side(Sample(**good), Sample(**(good | change)))  # type: ignore[arg-type]
