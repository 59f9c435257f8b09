"""How much detail a picture carries, from a slanted edge in it: the edge-based spatial frequency response.

The method of ISO 12233 (e-SFR) in our own words: an edge that leans a little against the pixel grid is crossed
by each row at another fraction of a pixel, so that all rows together sample the edge four times finer than the
pixels do. The slope of that profile is the line spread; its Fourier transform is the response (MTF).

Levels must be proportional to light. `linear_light` undoes the sRGB curve; a camera that bends its tones more
than that gives a somewhat wrong response, and a low-contrast edge suffers least.

References: ISO 12233:2017 and :2023, Photography – Electronic still picture imaging – Resolution and spatial
frequency responses (the clauses on e-SFR; from memory). sRGB: IEC 61966-2-1:1999.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trod.errors import NotEnoughEvidence, WrongInput

Floats = NDArray[np.float64]
Across = Literal["columns", "rows"]

BINS_PER_PIXEL = 4
# Frequencies at which a response is told. [cycles per pixel]
FREQUENCIES_CPP: Floats = np.linspace(0.0, 1.0, 201)
# Edges are measured between these; the accuracy in docs/models/resolution.md is for 3 to 12 degrees.
LEAST_TILT_DEG, MOST_TILT_DEG = 2.0, 20.0
LEAST_ROWS = 20
# The step must stand out this many times over the noise of one pixel.
LEAST_STEP_OVER_NOISE = 4.0
# The response at which detail is said to vanish; ISO 12233 names 10 % (from memory), so does common practice.
VANISHING = 0.10


@dataclass(frozen=True, kw_only=True)
class EdgeResponse:
    """The response measured at one edge, or the median over several.

    frequency_cpp : (bins,) cycles per pixel, at right angles to the edge. mtf : (bins,) 1 at frequency 0.
    across : "columns" when detail from left to right is measured (the edge is near upright), else "rows".
    angle_deg : of the edge against the pixel grid, signed. mtf50_cpp, mtf10_cpp : where the response first
    falls below one half and one tenth; None when it stays above. rows : that the edge was sampled by.
    dark, bright : levels on both sides. noise : of one pixel, as a share of the step.
    overshoot : how far the profile rises above its bright side, as a share of the step (sharpening).
    """

    frequency_cpp: Floats
    mtf: Floats
    across: Across
    angle_deg: float
    mtf50_cpp: float | None
    mtf10_cpp: float | None
    rows: int
    dark: float
    bright: float
    noise: float
    overshoot: float

    @property
    def contrast(self) -> float:
        """Michelson contrast of the two sides, 0 to 1."""
        return (self.bright - self.dark) / (self.bright + self.dark) if self.bright + self.dark > 0 else 0.0

    def at(self, frequency_cpp: float) -> float:
        """The response at a frequency. [cycles per pixel]"""
        return float(np.interp(frequency_cpp, self.frequency_cpp, self.mtf))


def linear_light(levels: NDArray[np.generic]) -> Floats:
    """Light (0 to 1) of levels (0 to 255) that follow the sRGB curve (IEC 61966-2-1)."""
    v = np.asarray(levels, dtype=np.float64) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def measure_edge(
    light: NDArray[np.generic],
    *,
    line: tuple[float, float] | None = None,
    half_width_px: float | None = None,
    bend: bool = False,
) -> EdgeResponse:
    """The response of the one slanted edge in a piece of a picture.

    light : (rows, columns), proportional to light; one edge runs through from side to side. line : where the
    edge is about, (position, slope) along the axis that it crosses (columns for a near upright edge); found
    when None. half_width_px : what is used on each side; as far as the piece goes when None. bend : follow an
    edge that a lens has bent (a parabola instead of a straight line).
    Raises NotEnoughEvidence when there is no edge that can be measured.
    References: ISO 12233, e-SFR; steps in the module's head.
    """
    values = np.asarray(light, dtype=np.float64)
    if values.ndim != 2 or min(values.shape) < 8:
        raise WrongInput("light", got=values.shape, needed="a piece of a picture, at least 8 × 8 pixels")
    if not np.isfinite(values).all():
        raise WrongInput("light", got="levels that are no numbers", needed="finite levels")
    upright = _is_upright(values)
    if not upright:
        values = values.T
    if values.shape[0] < LEAST_ROWS:
        raise NotEnoughEvidence(
            f"the edge is only {values.shape[0]} pixels long",
            need=f"{LEAST_ROWS} are needed: hang the target nearer or print it larger",
        )
    shape = _follow(values, line, half_width_px, bend)
    distance, angle = _distances(values.shape, shape)
    half = _half_width(distance, half_width_px)
    profile = _profile(values, distance, half)
    dark, bright, noise, rising = _levels(values, distance, half)
    if not rising:
        profile = profile[::-1]
    step = bright - dark
    if step <= 0 or noise * LEAST_STEP_OVER_NOISE > step:
        raise NotEnoughEvidence(
            "the two sides of the edge differ too little for the noise in the picture",
            need="photograph the target in better light, or with the flash nearer",
        )
    tilt = abs(math.degrees(angle))
    if not LEAST_TILT_DEG <= tilt <= MOST_TILT_DEG:
        raise NotEnoughEvidence(
            f"the edge leans {tilt:.1f} degrees against the picture's grid",
            need=f"{LEAST_TILT_DEG:g} to {MOST_TILT_DEG:g} are needed: hang the target level",
        )
    mtf = _response(profile, step)
    return EdgeResponse(
        frequency_cpp=FREQUENCIES_CPP,
        mtf=mtf,
        across="columns" if upright else "rows",
        angle_deg=math.degrees(angle),
        mtf50_cpp=crossing_cpp(FREQUENCIES_CPP, mtf, 0.5),
        mtf10_cpp=crossing_cpp(FREQUENCIES_CPP, mtf, VANISHING),
        rows=values.shape[0],
        dark=dark,
        bright=bright,
        noise=noise / step,
        overshoot=max(0.0, (float(profile.max()) - bright) / step),
    )


def crossing_cpp(frequency_cpp: Floats, mtf: Floats, level: float) -> float | None:
    """Where a response first falls below a level, between its bins; None when it stays above. [cycles/pixel]"""
    below = np.flatnonzero(mtf < level)
    if below.size == 0 or below[0] == 0:
        return None
    i = int(below[0])
    share = (mtf[i - 1] - level) / (mtf[i - 1] - mtf[i])
    return float(frequency_cpp[i - 1] + share * (frequency_cpp[i] - frequency_cpp[i - 1]))


def median_response(edges: Sequence[EdgeResponse]) -> EdgeResponse:
    """Several edges of one direction as one: the median at each frequency.

    Raises WrongInput when there is none or they measure different directions.
    """
    if not edges or len({edge.across for edge in edges}) > 1:
        raise WrongInput("edges", got=len(edges), needed="at least one, all across one direction")
    mtf = np.median(np.stack([edge.mtf for edge in edges]), axis=0)
    return EdgeResponse(
        frequency_cpp=FREQUENCIES_CPP,
        mtf=mtf,
        across=edges[0].across,
        angle_deg=float(np.median([edge.angle_deg for edge in edges])),
        mtf50_cpp=crossing_cpp(FREQUENCIES_CPP, mtf, 0.5),
        mtf10_cpp=crossing_cpp(FREQUENCIES_CPP, mtf, VANISHING),
        rows=sum(edge.rows for edge in edges),
        dark=float(np.median([edge.dark for edge in edges])),
        bright=float(np.median([edge.bright for edge in edges])),
        noise=float(np.median([edge.noise for edge in edges])),
        overshoot=float(np.median([edge.overshoot for edge in edges])),
    )


def gaussian_mtf(frequency_cpp: Floats, *, sigma_px: float) -> Floats:
    """The response of a Gaussian blur: exp(−2π²σ²f²)."""
    return np.asarray(np.exp(-2 * (math.pi * sigma_px * frequency_cpp) ** 2))


def pixel_mtf(frequency_cpp: Floats) -> Floats:
    """The response of a pixel that gathers light over its whole square: |sinc f|."""
    return np.asarray(np.abs(np.sinc(frequency_cpp)))


# --- the steps ------------------------------------------------------------------------------------


def _is_upright(values: Floats) -> bool:
    """Whether the edge is nearer to the columns than to the rows: levels then change most from left to right."""
    across = np.abs(values.mean(axis=0)[-3:].mean() - values.mean(axis=0)[:3].mean())
    down = np.abs(values.mean(axis=1)[-3:].mean() - values.mean(axis=1)[:3].mean())
    return bool(across >= down)


def _follow(
    values: Floats, line: tuple[float, float] | None, half_width_px: float | None, bend: bool
) -> tuple[float, ...]:
    """Where the edge crosses each row, as a polynomial of (row − middle row), the constant first.

    The centre of the slope's weight is imported each row, three times, each time in a narrower window that is
    centred on the curve found before; rows far off the curve are left out.
    """
    rows, columns = values.shape
    slope = np.gradient(values, axis=1)
    sign = math.copysign(1.0, float(values[:, -3:].mean() - values[:, :3].mean()))
    x = np.arange(columns, dtype=np.float64)
    y = np.arange(rows, dtype=np.float64) - (rows - 1) / 2
    curve: tuple[float, ...]
    if line is None:
        # The place where the smoothed slope of each row is greatest, by a line through the medians.
        kernel = np.hanning(9) / np.hanning(9).sum()
        total = np.apply_along_axis(lambda r: np.convolve(r, kernel, mode="same"), 1, slope * sign)
        peaks = total[:, 2:-2].argmax(axis=1) + 2.0
        curve = _robust_line(y, peaks)
        window = columns / 2.0
    else:
        curve = line
        window = half_width_px if half_width_px is not None else columns / 2.0
    least = max(5.0, min(window, 12.0))
    for _ in range(4):
        centre = _evaluate(curve, y)
        offset = x[None, :] - centre[:, None]
        weight = np.where(np.abs(offset) < window, np.cos(np.pi * offset / (2 * window)) ** 2, 0.0)
        pull = slope * sign * weight
        mass = pull.sum(axis=1)
        inside = (centre > 2) & (centre < columns - 3) & (mass > 0.25 * max(float(np.median(mass)), 1e-12))
        if np.count_nonzero(inside) < LEAST_ROWS:
            raise NotEnoughEvidence(
                "no straight edge runs through this piece of the picture",
                need="the whole target must be in the picture, sharp enough and not burnt out",
            )
        at = centre[inside] + (pull * offset).sum(axis=1)[inside] / mass[inside]
        y_in = y[inside]
        keep = np.ones(at.size, dtype=bool)
        for _ in range(2):
            fitted = np.polynomial.polynomial.polyfit(y_in[keep], at[keep], 2 if bend else 1)
            curve = tuple(float(c) for c in fitted)
            off = np.abs(at - _evaluate(curve, y_in))
            keep = off <= max(0.3, 3 * 1.4826 * float(np.median(off)))
        window = max(least, window * 0.6)
    return curve


def _robust_line(y: Floats, at: Floats) -> tuple[float, float]:
    """(position, slope) by the medians of thirds, which some wrong rows do not move."""
    third = max(1, y.size // 3)
    y0, y1 = float(np.median(y[:third])), float(np.median(y[-third:]))
    a0, a1 = float(np.median(at[:third])), float(np.median(at[-third:]))
    slope = (a1 - a0) / (y1 - y0) if y1 > y0 else 0.0
    return float(np.median(at - slope * y)), slope


def _evaluate(curve: tuple[float, ...], y: Floats) -> Floats:
    return np.asarray(np.polynomial.polynomial.polyval(y, np.asarray(curve)), dtype=np.float64)


def _distances(shape: tuple[int, int], curve: tuple[float, ...]) -> tuple[Floats, float]:
    """(rows, columns) distance of each pixel from the edge at right angles to it, and the edge's lean [rad]."""
    rows, columns = shape
    y = np.arange(rows, dtype=np.float64) - (rows - 1) / 2
    lean = curve[1] + (2 * curve[2] * y if len(curve) > 2 else 0.0 * y)
    across = np.arange(columns, dtype=np.float64)[None, :] - _evaluate(curve, y)[:, None]
    return across / np.sqrt(1 + lean**2)[:, None], math.atan(curve[1])


def _half_width(distance: Floats, wanted: float | None) -> float:
    """How far the profile may go: all rows must reach there on both sides."""
    reach = float(min(-distance[:, 0].max(), distance[:, -1].min()))
    half = reach if wanted is None else min(reach, wanted)
    if half < 5:
        raise NotEnoughEvidence(
            f"only {max(half, 0):.1f} pixels are clear beside the edge",
            need="5 are needed: hang the target nearer or print it larger",
        )
    return math.floor(half * BINS_PER_PIXEL) / BINS_PER_PIXEL


def _levels(values: Floats, distance: Floats, half: float) -> tuple[float, float, float, bool]:
    """Dark and bright level well beside the edge, noise of one pixel there, and whether it brightens."""
    left = values[(distance < -0.6 * half) & (distance > -half)]
    right = values[(distance > 0.6 * half) & (distance < half)]
    a, b = float(left.mean()), float(right.mean())
    return min(a, b), max(a, b), float(max(left.std(), right.std())), b > a


def _profile(values: Floats, distance: Floats, half: float) -> Floats:
    """The edge's profile in quarters of a pixel; bins that no pixel fell in take their neighbours' middle."""
    bins = round(2 * half * BINS_PER_PIXEL)
    index = np.floor((distance + half) * BINS_PER_PIXEL).astype(np.int64)
    inside = (index >= 0) & (index < bins)
    count = np.bincount(index[inside], minlength=bins)
    total = np.bincount(index[inside], weights=values[inside], minlength=bins)
    filled = np.flatnonzero(count)
    if filled.size < 0.8 * bins:
        raise NotEnoughEvidence(
            "the rows cross the edge at too few different places", need="a longer edge, or one that leans more"
        )
    means = total[filled] / count[filled]
    return np.interp(np.arange(bins), filled, means)


def _response(profile: Floats, step: float) -> Floats:
    """(bins,) the response at FREQUENCIES_CPP of a rising profile."""
    spread = np.diff(profile)
    n = spread.size
    position = np.arange(n, dtype=np.float64)
    # The window is centred on the edge and only as wide as the edge needs: noise far off adds nothing but noise.
    total = np.cumsum(spread) / max(float(spread.sum()), 1e-12)
    rise = int(np.searchsorted(total, 0.9)) - int(np.searchsorted(total, 0.1))
    centre = (n - 1) / 2  # the edge lies between the two middle bins
    reach = min(n / 2, max(4.0 * BINS_PER_PIXEL, 3.0 * max(rise, 1) + 2 * BINS_PER_PIXEL))
    away = np.abs(position - centre) / reach
    # Flat over the inner half, then a cosine to nothing (Tukey), so that wide spreads are not cut narrower.
    window = np.where(away <= 0.5, 1.0, np.where(away < 1.0, np.cos(np.pi * (away - 0.5)) ** 2, 0.0))
    wave = np.exp(-2j * np.pi * np.outer(FREQUENCIES_CPP / BINS_PER_PIXEL, position - centre))
    made: Floats = np.abs(wave @ (spread * window))
    mtf = made / max(float(made[0]), 1e-12)
    # A difference of neighbours and a mean over a quarter pixel each weaken fine detail by sinc(f/4).
    return np.asarray(mtf / np.sinc(FREQUENCIES_CPP / BINS_PER_PIXEL) ** 2)
