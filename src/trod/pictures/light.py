"""What the pixels say about light: day or infrared, brightness, burnt-out parts, a veil over the lens.

Taken from a scaled-down picture with the info strips cut off. A tag is not asked: makers write what they like.
Thresholds are ours; docs/measured.md says what they were tried on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trod.pictures.strip import NONE, Strips

# A picture without colour: in 98 % of it the largest and the smallest of red, green and blue differ by no
# more than this (of 255). JPEG keeps a true grey within about 3; a dull day has far more.
GREY_SPREAD = 10.0
GREY_PERCENTILE = 98.0
CLIPPED_DARK, CLIPPED_BRIGHT = 4, 251
# A veil: neither night nor snow glare, hardly any range of brightness and hardly any edges.
VEIL_CONTRAST, VEIL_DETAIL = 0.16, 0.012
VEIL_BRIGHTNESS = (0.12, 0.97)

# Rec. ITU-R BT.601 luma weights, as JPEG (JFIF) uses them; in 256ths.
_R, _G, _B = 77, 150, 29
_BAND = 256  # rows


@dataclass(frozen=True, kw_only=True)
class LightFacts:
    """Light in one picture. Shares and levels run from 0 to 1.

    infrared : no colour in it, so lit by infrared (or a grey picture for another reason).
    colour_spread : the 98th percentile of the difference between colour channels, of 255.
    brightness : mean. dark_share, bright_share : of the picture, black and burnt out.
    contrast : between its 5th and 95th percentile of brightness. detail : mean step between neighbouring
    pixels.
    veiled : a hint that the lens may be iced or fogged (or that it is fog outside).
    """

    infrared: bool
    colour_spread: float
    brightness: float
    dark_share: float
    bright_share: float
    contrast: float
    detail: float
    veiled: bool


def luma_of(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Brightness (rows, columns) of pixels (rows, columns) or (rows, columns, 3)."""
    if pixels.ndim == 2:
        return pixels
    made = np.empty(pixels.shape[:2], dtype=np.uint8)
    for top in range(0, pixels.shape[0], _BAND):  # a band at a time: the sums are twice as wide as what is kept
        wide = pixels[top : top + _BAND].astype(np.uint16)
        mixed = (wide[..., 0] * _R + wide[..., 1] * _G + wide[..., 2] * _B + 128) >> 8
        made[top : top + _BAND] = mixed
    return made


def measure(pixels: NDArray[np.uint8], *, strips: Strips = NONE, luma: NDArray[np.uint8] | None = None) -> LightFacts:
    """Measure a scaled-down picture.

    pixels : (rows, columns, 3) or, grey, (rows, columns); 0 to 255. strips : left out.
    luma : `luma_of(pixels)` when it is at hand.
    """
    grey = luma_of(pixels) if luma is None else luma
    if 0 < strips.top + strips.bottom < grey.shape[0]:
        inside = slice(strips.top, grey.shape[0] - strips.bottom)
        pixels, grey = pixels[inside], grey[inside]
    if pixels.ndim == 2:
        spread = 0.0
    else:
        # Channels compared two by two: far quicker than max and min along the last axis.
        r, g, b = (pixels[..., c] for c in range(3))
        high = np.maximum(np.maximum(r, g), b)
        spread = _percentiles(high - np.minimum(np.minimum(r, g), b), (GREY_PERCENTILE,))[0]
    low, top = _percentiles(grey, (5.0, 95.0))
    brightness = float(grey.mean()) / 255
    contrast = (top - low) / 255
    detail = _detail(grey)
    return LightFacts(
        infrared=spread <= GREY_SPREAD,
        colour_spread=spread,
        brightness=brightness,
        dark_share=float(np.count_nonzero(grey <= CLIPPED_DARK)) / grey.size,
        bright_share=float(np.count_nonzero(grey >= CLIPPED_BRIGHT)) / grey.size,
        contrast=contrast,
        detail=detail,
        veiled=(
            contrast < VEIL_CONTRAST and detail < VEIL_DETAIL and VEIL_BRIGHTNESS[0] < brightness < VEIL_BRIGHTNESS[1]
        ),
    )


def _percentiles(levels: NDArray[np.uint8], wanted: tuple[float, ...]) -> list[float]:
    """Percentiles of bytes by counting, quicker than sorting: the least level that reaches the share."""
    reached = np.cumsum(np.bincount(levels.reshape(-1), minlength=256))
    return [float(np.searchsorted(reached, reached[-1] * p / 100)) for p in wanted]


def _detail(grey: NDArray[np.uint8]) -> float:
    if min(grey.shape) < 2:
        return 0.0
    signed = grey.astype(np.int16)
    across = np.abs(signed[:, 1:] - signed[:, :-1]).mean()
    down = np.abs(signed[1:] - signed[:-1]).mean()
    return float(across + down) / 2 / 255
