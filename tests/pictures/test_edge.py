"""The response at a slanted edge, held to closed forms on edges of which everything is known."""

from __future__ import annotations

import math

import native_camera
import numpy as np
import pytest
from PIL import Image
from scipy.special import ndtr

from trod.errors import NotEnoughEvidence, WrongInput
from trod.pictures import edge

F = edge.FREQUENCIES_CPP
BELOW_NYQUIST = F < 0.5
# ISO 12233 (2017, 2023), e-SFR, from memory: it sets no tolerance for software. These are the project's: 0.01 in
# the response, 0.005 in its half.
MTF_TOLERANCE, MTF50_TOLERANCE_CPP = 0.01, 0.005


def expected(sigma_px: float, tilt_deg: float) -> np.ndarray:
    """Gaussian × square pixel seen at a tilt, in closed form."""
    tilt = math.radians(tilt_deg)
    return (
        edge.gaussian_mtf(F, sigma_px=sigma_px) * edge.pixel_mtf(F * math.cos(tilt)) * edge.pixel_mtf(F * math.sin(tilt))
    )


def test_the_closed_forms_give_the_handbook_values() -> None:
    # Closed forms of the Gaussian, the square aperture and the triangle; no publication needed.
    assert edge.crossing_cpp(F, edge.gaussian_mtf(F, sigma_px=1.0), 0.5) == pytest.approx(0.187391, abs=1e-4)
    assert edge.pixel_mtf(np.array([0.5]))[0] == pytest.approx(0.636620, abs=1e-6)
    assert edge.crossing_cpp(F, edge.pixel_mtf(F), 0.5) == pytest.approx(0.603355, abs=1e-5)
    assert edge.crossing_cpp(F, edge.pixel_mtf(F) ** 2, 0.5) == pytest.approx(0.442946, abs=1e-4)


@pytest.mark.parametrize("moved_px", [2.0, 4.0, 6.0])
def test_a_picture_that_moved_loses_what_is_as_fine_as_its_way(moved_px: float) -> None:
    # Closed form of an even straight motion of L pixels: |sinc(fL)|, first nought at 1/L.
    sigma_px, side, fine, tilt = 0.8, 100, 4, math.radians(5)
    along = (np.arange(side * fine) + 0.5) / fine - 0.5
    y, x = np.meshgrid(along, along, indexing="ij")
    distance = (x - (side - 1) / 2) * math.cos(tilt) - (y - (side - 1) / 2) * math.sin(tilt)
    way = ((np.arange(24) + 0.5) / 24 - 0.5) * moved_px * math.cos(tilt)
    made = sum(ndtr((distance - at) / sigma_px) for at in way) / 24
    found = edge.measure_edge(40 + 160 * np.asarray(made).reshape(side, fine, side, fine).mean(axis=(1, 3)))

    wanted = expected(sigma_px, 5) * edge.pixel_mtf(F * moved_px * math.cos(tilt))
    assert np.abs(found.mtf - wanted)[BELOW_NYQUIST].max() < MTF_TOLERANCE
    assert found.at(1 / moved_px) < 0.02


@pytest.mark.parametrize("cutoff_cpp", [0.6, 0.8, 1.0])
def test_a_lens_at_its_limit_is_told_a_little_too_sharp_because_its_light_spreads_wide(cutoff_cpp: float) -> None:
    # Closed form of a round aperture: 2/π·(arccos u − u√(1 − u²)), 0.391002 at half the cutoff. Its light reaches
    # far beside the edge, where the window cuts it off: the response comes out up to 0.04 too high at the coarse
    # end and the half response up to 0.008 (docs/models/resolution.md). The edge is made by a Fourier sum over a
    # bar of 1024 pixels, gathered by square pixels.
    side, period, tilt = 100, 2048.0, math.radians(5)

    def aperture(f: np.ndarray) -> np.ndarray:
        u = np.minimum(f / cutoff_cpp, 1.0)
        return np.asarray(2 / math.pi * (np.arccos(u) - u * np.sqrt(1 - u * u)))

    assert aperture(np.array([cutoff_cpp / 2]))[0] == pytest.approx(0.391002, abs=1e-6)
    wanted = aperture(F) * edge.pixel_mtf(F * math.cos(tilt)) * edge.pixel_mtf(F * math.sin(tilt))
    y, x = np.mgrid[0:side, 0:side] - (side - 1) / 2
    distance = x * math.cos(tilt) - y * math.sin(tilt)
    odd = np.arange(1, int(cutoff_cpp * period) + 1, 2)
    f = odd / period
    kept = aperture(f) * np.sinc(f * math.cos(tilt)) * np.sinc(f * math.sin(tilt)) * 2 / (math.pi * odd)
    made = 0.5 + sum(share * np.sin(2 * math.pi * at * distance) for share, at in zip(kept, f, strict=True))

    found = edge.measure_edge(40 + 160 * np.asarray(made))

    error = (found.mtf - wanted)[BELOW_NYQUIST]
    assert error.min() > -0.001 and 0.02 < error.max() < 0.045
    assert found.mtf50_cpp == pytest.approx(edge.crossing_cpp(F, wanted, 0.5), abs=0.008)


@pytest.mark.parametrize("tilt_deg", [3.0, 5.0, 8.0, 12.0, -6.0])
@pytest.mark.parametrize(("sigma_px", "mtf50_cpp"), [(0.5, 0.3232), (0.8, 0.2202), (1.2, 0.1519)])
def test_a_blurred_edge_gives_the_response_of_its_blur(sigma_px: float, mtf50_cpp: float, tilt_deg: float) -> None:
    found = edge.measure_edge(native_camera.edge_piece(sigma_px=sigma_px, tilt_deg=tilt_deg))

    assert found.angle_deg == pytest.approx(tilt_deg, abs=0.01)
    assert found.mtf50_cpp == pytest.approx(mtf50_cpp, abs=MTF50_TOLERANCE_CPP)
    assert np.abs(found.mtf - expected(sigma_px, tilt_deg))[BELOW_NYQUIST].max() < MTF_TOLERANCE
    assert found.contrast == pytest.approx(160 / 240, abs=0.002)
    assert found.overshoot < 0.01


def test_the_edge_may_lie_any_way_round() -> None:
    piece = native_camera.edge_piece(sigma_px=0.8, tilt_deg=5)
    upright = edge.measure_edge(piece)

    for turned, across in ((piece.T, "rows"), (piece[::-1], "columns"), (240 - piece, "columns")):
        found = edge.measure_edge(turned)
        assert found.across == across
        assert found.mtf50_cpp == pytest.approx(upright.mtf50_cpp, abs=0.001)


@pytest.mark.parametrize("sigma_px", [0.5, 0.8, 1.2])
@pytest.mark.parametrize("quality", [None, 90, 75])
def test_eight_noisy_edges_through_jpeg_keep_the_half_response(sigma_px: float, quality: int | None) -> None:
    rng = np.random.default_rng(7)
    edges = []
    for tilt_deg in (3, 4, 5, 6, 7, 9, 10, 12):
        piece = native_camera.edge_piece(sigma_px=sigma_px, tilt_deg=tilt_deg)
        piece = piece + rng.normal(0, 3, piece.shape)  # 2 % of the step
        edges.append(edge.measure_edge(piece if quality is None else native_camera.through_jpeg(piece, quality)))

    found = edge.median_response(edges)

    wanted = edge.crossing_cpp(F, expected(sigma_px, 6), 0.5)
    assert found.mtf50_cpp == pytest.approx(wanted, abs=MTF50_TOLERANCE_CPP)
    assert found.rows == 800


def test_infrared_grey_with_little_contrast_still_gives_the_half_response() -> None:
    rng = np.random.default_rng(3)
    edges = []
    for tilt_deg in (4, 5, 6, 8, -4, -5, -6, -8):
        piece = native_camera.edge_piece(sigma_px=0.8, tilt_deg=tilt_deg, low=70, high=130)
        edges.append(edge.measure_edge(native_camera.through_jpeg(piece + rng.normal(0, 3, piece.shape), 85)))

    found = edge.median_response(edges)

    assert found.mtf50_cpp == pytest.approx(0.2202, abs=MTF50_TOLERANCE_CPP)
    assert found.noise == pytest.approx(3 / 60, rel=0.3)


def test_a_picture_enlarged_twice_carries_nothing_above_the_old_limit() -> None:
    piece = native_camera.edge_piece(sigma_px=0.5, tilt_deg=5)
    native = edge.measure_edge(piece)
    twice = edge.measure_edge(native_camera.enlarged(piece, (200, 200), Image.Resampling.BILINEAR))

    assert native.at(0.25) == pytest.approx(0.656, abs=0.01)  # Gaussian × sinc in closed form: 0.6611
    assert twice.at(0.25) == pytest.approx(0.065, abs=0.03)
    assert twice.at(0.30) < 0.05
    assert twice.at(0.40) < 0.05


def test_an_edge_bent_by_the_lens_is_followed() -> None:
    side = 120
    y, x = np.mgrid[0:side, 0:side].astype(float)
    bent = x - 60 - 0.1 * (y - 60) - 0.001 * (y - 60) ** 2
    piece = 40 + 160 / (1 + np.exp(-bent / 0.45))

    straight, followed = edge.measure_edge(piece), edge.measure_edge(piece, bend=True)

    assert straight.mtf50_cpp is not None and followed.mtf50_cpp is not None
    assert followed.mtf50_cpp > 1.1 * straight.mtf50_cpp


def test_linear_light_undoes_the_srgb_curve() -> None:
    # IEC 61966-2-1: 0 and 1 stay; level 128 of 255 is 0.2159 of the light.
    assert edge.linear_light(np.array([0, 128, 255])) == pytest.approx([0, 0.21586, 1], abs=1e-5)


@pytest.mark.parametrize(
    ("piece", "words"),
    [
        (np.full((60, 60), 90.0) + np.random.default_rng(0).normal(0, 5, (60, 60)), None),
        (native_camera.edge_piece(sigma_px=0.8, tilt_deg=0.3), "the edge leans 0.3 degrees against the picture's grid"),
        (native_camera.edge_piece(sigma_px=0.8, tilt_deg=5, side=16), "the edge is only 16 pixels long"),
    ],
)
def test_what_is_no_measurable_edge_is_refused_in_plain_words(piece: np.ndarray, words: str | None) -> None:
    with pytest.raises(NotEnoughEvidence) as told:
        edge.measure_edge(piece)

    if words:
        assert told.value.have == words
    assert (
        "needed" in str(told.value)
        or "must be" in str(told.value)
        or "photograph" in str(told.value)
        or ("longer edge" in str(told.value))
    )


def test_what_is_no_picture_at_all_is_wrong_input() -> None:
    with pytest.raises(WrongInput, match="at least 8 × 8 pixels"):
        edge.measure_edge(np.zeros((3, 3)))
    with pytest.raises(WrongInput, match="finite levels"):
        edge.measure_edge(np.full((30, 30), np.nan))
    with pytest.raises(WrongInput, match="at least one"):
        edge.median_response([])
