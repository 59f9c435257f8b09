"""Sample pictures of two cameras side by side at the same angular scale.

A wide lens makes things small, a narrow one large, and enlarging makes all large: compared as saved, pictures
mislead. Here both are cut to the same angle of view and shown with the same number of pixels to a degree; what was
done to each is told beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from trod.errors import WrongInput

# A piece shown is never larger than this, and never enlarged more than the coarser picture needs.
MOST_SIDE_PX = 1200


@dataclass(frozen=True, kw_only=True)
class Sample:
    """One picture for the comparison.

    pixels : (rows, columns, 3) or (rows, columns), whole, as saved. fov_deg : its horizontal angle of view. at : (x, y)
    of the piece's middle, 0 to 1 from the left and from the top.
    """

    name: str
    pixels: NDArray[np.uint8]
    fov_deg: float
    at: tuple[float, float] = (0.5, 0.5)


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A sample cut and scaled.

    pixels : shown. cut : (left, top, right, bottom) of the saved picture. scale : shown pixels for each saved one.
    sentence : what was done.
    """

    name: str
    pixels: NDArray[np.uint8]
    cut: tuple[int, int, int, int]
    saved_per_deg: float
    scale: float
    sentence: str


@dataclass(frozen=True, kw_only=True)
class SideBySide:
    """Two pieces of equal size that show an equal angle. per_deg : pixels to a degree that both are shown with."""

    pieces: tuple[Piece, Piece]
    angle_deg: tuple[float, float]
    per_deg: float


def pixels_per_deg(*, columns: int, fov_deg: float) -> float:
    """Pixels to a degree near the middle of a picture: (W/2)/tan(φ/2), to a degree of it."""
    if not 1 <= fov_deg < 170:
        raise WrongInput("fov_deg", got=fov_deg, needed="the horizontal angle of view, 1 to 170 degrees")
    return columns / 2 / math.tan(math.radians(fov_deg) / 2) * math.radians(1)


def side_by_side(
    first: Sample, second: Sample, *, angle_deg: float = 6.0, shape: float = 0.75, most_px: int = MOST_SIDE_PX
) -> SideBySide:
    """Cut and scale two samples to one angular scale.

    angle_deg : to be shown, from left to right; less when a picture has less. shape : height for width. most_px :
    width of a shown piece at most.
    Both are shown at the scale of the finer picture, so that neither loses anything, unless that is wider than
    `most_px`; the coarser one is enlarged by a cubic, which adds no detail.
    Raises WrongInput for an angle of view, a place or a picture that cannot be used.
    Notes : scales hold near the picture's middle; a straight-line lens draws things larger toward its edges.
    """
    if not 0.1 <= angle_deg <= 60:
        raise WrongInput("angle_deg", got=angle_deg, needed="0.1 to 60 degrees")
    if not 0.2 <= shape <= 5:
        raise WrongInput("shape", got=shape, needed="height for width, 0.2 to 5")
    if not 16 <= most_px <= 8000:
        raise WrongInput("most_px", got=most_px, needed="16 to 8000 pixels")
    samples = (first, second)
    scales = [pixels_per_deg(columns=_checked(s).shape[1], fov_deg=s.fov_deg) for s in samples]
    # The piece that both have: no wider and no higher than the smaller view.
    wide = min(angle_deg, *(s.pixels.shape[1] / p for s, p in zip(samples, scales, strict=True)))
    high = min(wide * shape, *(s.pixels.shape[0] / p for s, p in zip(samples, scales, strict=True)))
    wide = min(wide, high / shape)
    shown_per_deg = min(max(scales), most_px / wide)
    size = max(1, round(wide * shown_per_deg)), max(1, round(high * shown_per_deg))
    pieces = tuple(_piece(s, p, (wide, high), shown_per_deg, size) for s, p in zip(samples, scales, strict=True))
    return SideBySide(pieces=(pieces[0], pieces[1]), angle_deg=(wide, high), per_deg=shown_per_deg)


def _checked(sample: Sample) -> NDArray[np.uint8]:
    pixels = sample.pixels
    if pixels.dtype != np.uint8 or pixels.ndim not in (2, 3) or min(pixels.shape[:2]) < 16:
        raise WrongInput(
            f"the picture of {sample.name}", got=(str(pixels.dtype), pixels.shape), needed="a whole picture of bytes"
        )
    if not (0 <= sample.at[0] <= 1 and 0 <= sample.at[1] <= 1):
        raise WrongInput(f"the place in {sample.name}", got=sample.at, needed="x and y from 0 to 1")
    return pixels


def _piece(
    sample: Sample, per_deg: float, angle: tuple[float, float], shown_per_deg: float, size: tuple[int, int]
) -> Piece:
    rows, columns = sample.pixels.shape[:2]
    wide, high = (min(limit, max(1, round(a * per_deg))) for a, limit in zip(angle, (columns, rows), strict=True))
    left = min(max(0, round(sample.at[0] * columns - wide / 2)), columns - wide)
    top = min(max(0, round(sample.at[1] * rows - high / 2)), rows - high)
    cut = sample.pixels[top : top + high, left : left + wide]
    scale = shown_per_deg / per_deg
    how = Image.Resampling.BICUBIC if scale > 1 else Image.Resampling.BOX if scale < 0.5 else Image.Resampling.LANCZOS
    shown = cut if size == (wide, high) else np.asarray(Image.fromarray(cut).resize(size, how))
    done = (
        "shown pixel for pixel"
        if size == (wide, high)
        else f"enlarged {scale:.2f} times, which adds no detail"
        if scale > 1
        else f"made smaller, to {scale:.2f} of its size"
    )
    return Piece(
        name=sample.name,
        pixels=shown,
        cut=(left, top, left + wide, top + high),
        saved_per_deg=per_deg,
        scale=scale,
        sentence=(
            f"{sample.name}: {wide} × {high} of {columns} × {rows} saved pixels, {per_deg:.0f} to the degree, {done}."
        ),
    )
