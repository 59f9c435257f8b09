"""Was a picture resampled? From the traces that interpolation leaves in ordinary pictures.

An interpolator treats pixels differently by where they fall between the old ones, so the second difference of the
brightness rises and falls with a period that belongs to the factor (Gallagher 2005). A lens, a noise filter or
JPEG does not do that, except at eighths of a pixel's frequency. Only what was seen is said: "resampled", "looks
like exactly twice enlarged", or "can't tell". Never "genuine": absent traces prove nothing. How often it sees
what is there, and how seldom what is not, is in docs/models/resolution.md.

References: A. C. Gallagher (2005) Detection of linear and cubic interpolation in JPEG compressed images, CRV 2005,
65–72. Scores and thresholds are ours, set on made pictures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from trod import wording
from trod.errors import NotEnoughEvidence, WrongInput

Floats = NDArray[np.float64]
Trace = Literal["two lines", "one line", "light", "twice", "none"]
Verdict = Literal["resampled", "looks like exactly twice enlarged", "can't tell"]

# Rows that are looked at; captions are drawn over the edges after the picture was enlarged.
FIRST_ROW, LAST_ROW = 0.08, 0.90
LOWEST_FREQUENCY = 0.06
JPEG_GUARD = 0.003
LEAST_LINE, LEAST_LINE_OF_ONE_AXIS, LEAST_SECOND_LINE = 10.0, 6.0, 4.5
LEAST_DROP_DB = 2.0
# Below this factor a reduced picture looks like an enlarged one: 1/r' = 2 − 1/r.
LEAST_FACTOR = 1.45
LEAST_TWICE, LEAST_TWICE_OVER_JPEG = 0.5, 0.3
# Pictures for a vote, and how many must agree, to within what part of the width.
LEAST_PICTURES, VOTES, AGREE = 5, 3, 0.01
LEAST_MEGAPIXELS = 8.0


@dataclass(frozen=True, kw_only=True)
class PictureTrace:
    """What one picture shows.

    trace : by its kind. width, height : of the picture. native_width : that fits best; None for "none", "twice".
    line1, line2 : strengths (over the local median) of the interpolation's and the mosaic's line, geometric mean
    of both axes. drop_db : by which the spectrum falls across the native picture's limit. twice, jpeg : coherence
    at one half, and at the JPEG control.
    """

    trace: Trace
    width: int
    height: int
    native_width: float | None
    line1: float
    line2: float
    drop_db: float
    twice: float
    jpeg: float

    @property
    def factor(self) -> float | None:
        """By which the width was enlarged, as far as the lines say."""
        return self.width / self.native_width if self.native_width else None

    @property
    def native_megapixels(self) -> float | None:
        """Of the picture before, only where both lines stand out."""
        factor = self.factor
        if self.trace != "two lines" or factor is None:
            return None
        return self.width * self.height / factor**2 / 1e6


@dataclass(frozen=True, kw_only=True)
class ResampledVerdict:
    """The vote of several pictures. native_megapixels : only when the two-line trace won. sentence : as it is said."""

    verdict: Verdict
    native_megapixels: float | None
    agreeing: int
    pictures: int
    sentence: str


def trace_of(luma: NDArray[np.uint8]) -> PictureTrace:
    """What one picture shows of resampling.

    luma : (rows, columns) 0 to 255, at its full size.
    Raises WrongInput for what is too small to be judged (512 pixels a side).
    """
    if luma.ndim != 2 or min(luma.shape) < 512:
        raise WrongInput(
            "luma", got=luma.shape, needed="a picture's brightness at full size, at least 512 pixels a side"
        )
    height, width = luma.shape
    first, last = int(height * FIRST_ROW) // 8 * 8, int(height * LAST_ROW) // 8 * 8
    levels = luma[first:last].astype(np.float32)
    axes = (levels, np.ascontiguousarray(levels.T))
    spectra = [line_spectrum(axis) for axis in axes]
    powers = [_power(axis) for axis in axes]
    native = _best_width(spectra, powers, width)
    r = width / native
    z1, z2 = _at(spectra, alias(1 / r)), _at(spectra, alias(1 / (2 * r)))
    g1, g2 = float(np.sqrt(z1[0] * z1[1])), float(np.sqrt(z2[0] * z2[1]))
    drop = _drop(powers, native / width)
    least = min(z1) if g1 >= g2 else min(z2)
    accepted = max(g1, g2) >= LEAST_LINE and least >= LEAST_LINE_OF_ONE_AXIS and drop >= LEAST_DROP_DB
    twice, jpeg = coherence_at_half(axes)
    trace: Trace = "none"
    if accepted and r < LEAST_FACTOR:
        trace = "light"
    elif accepted:
        own = alias(1 / r) if g1 >= g2 else alias(1 / (2 * r))
        # A width of half the true one shares its lines (the source's own JPEG makes such a pair): then the line
        # of the double width stands out, too.
        of_double = float(np.sqrt(np.prod(_at(spectra, alias(2 / r))))) if r > 2 * 1.04 else 1.0
        both = min(g1, g2) >= max(LEAST_SECOND_LINE, of_double) and not _is_side_line(spectra, own)
        trace = "two lines" if both else "one line"
    if trace in ("none", "light") and twice >= LEAST_TWICE and twice - jpeg >= LEAST_TWICE_OVER_JPEG:
        trace = "twice"
    return PictureTrace(
        trace=trace,
        width=width,
        height=height,
        native_width=native if trace in ("two lines", "one line", "light") else None,
        line1=g1,
        line2=g2,
        drop_db=drop,
        twice=twice,
        jpeg=jpeg,
    )


def vote(traces: Sequence[PictureTrace]) -> ResampledVerdict:
    """The verdict of several pictures of one camera in one setting; at least three must agree.

    Raises NotEnoughEvidence for fewer than five; WrongInput for pictures of several sizes.
    """
    n = len(traces)
    if n < LEAST_PICTURES:
        raise NotEnoughEvidence(
            f"{wording.plural(n, 'picture')} given", need=f"{LEAST_PICTURES} by day in colour are needed for a vote"
        )
    if len({(t.width, t.height) for t in traces}) > 1:
        raise WrongInput("pictures", got="several sizes", needed="pictures of one camera in one setting")
    needed = max(VOTES, math.ceil(n * VOTES / LEAST_PICTURES))
    saved = traces[0].width * traces[0].height / 1e6
    seen = [t for t in traces if t.trace in ("two lines", "one line") and t.native_width is not None]
    groups = [
        [t for t in seen if abs((t.native_width or 0) - (one.native_width or 0)) <= AGREE * (one.native_width or 1)]
        for one in seen
    ]
    best = max(groups, key=len, default=[])
    two = [t for t in best if t.trace == "two lines"]
    twice = [t for t in traces if t.trace == "twice"]
    if len(two) >= needed:
        native = float(np.median([t.native_megapixels or 0.0 for t in two]))
        return ResampledVerdict(
            verdict="resampled",
            native_megapixels=native,
            agreeing=len(two),
            pictures=n,
            sentence=(
                f"Resampled (consistent with a native picture of about {native:.2g} megapixels, saved as {saved:.3g}): "
                f"{len(two)} of {n} pictures agree."
            ),
        )
    if len(best) >= needed:
        return ResampledVerdict(
            verdict="resampled",
            native_megapixels=None,
            agreeing=len(best),
            pictures=n,
            sentence=f"Resampled (by a factor that the pictures do not tell): {len(best)} of {n} pictures agree.",
        )
    if len(twice) >= needed:
        return ResampledVerdict(
            verdict="looks like exactly twice enlarged",
            native_megapixels=None,
            agreeing=len(twice),
            pictures=n,
            sentence=f"Looks like exactly twice enlarged: {len(twice)} of {n} pictures agree.",
        )
    return ResampledVerdict(
        verdict="can't tell",
        native_megapixels=None,
        agreeing=0,
        pictures=n,
        sentence=(
            "Can't tell: no trace of resampling that enough pictures agree on. That does not show that the pixels are "
            "the sensor's own. The printed target does tell."
        ),
    )


# --- the lines ------------------------------------------------------------------------------------


def alias(frequency: float) -> float:
    """Where a frequency shows after sampling: 0 to 0.5 cycles per pixel."""
    part = frequency % 1
    return min(part, 1 - part)


def line_spectrum(levels: NDArray[np.float32]) -> Floats:
    """(bins,) strength of periodicity along the last axis, over the local median; bin k is k/n cycles per pixel.

    levels : (lines, n). Steps: size of the second difference, cut at its 90th percentile, mean over the lines;
    trend taken off; Hann window; Fourier transform; over the running median of 201 bins. For noise alone a bin
    exceeds x with the chance exp(−ln 2 · x²).
    """
    second = np.abs(2 * levels[:, 1:-1] - levels[:, :-2] - levels[:, 2:])
    cap = float(np.percentile(second.ravel()[::7], 90))
    profile = np.minimum(second, max(cap, 1e-6)).mean(axis=0, dtype=np.float64)
    profile = np.concatenate([profile[:1], profile, profile[-1:]])
    profile = profile - ndimage.uniform_filter1d(ndimage.median_filter(profile, 31), 31)
    size = np.abs(np.fft.rfft(profile * np.hanning(profile.size)))
    return np.asarray(size / np.maximum(ndimage.median_filter(size, 201), 1e-12))


def _masked(f: float) -> bool:
    return f < LOWEST_FREQUENCY or abs(f * 8 - round(f * 8)) / 8 < JPEG_GUARD


def _peaks(spectrum: Floats) -> Floats:
    """Each bin as the largest of three, floored at 1, and 1 where nothing may be read."""
    most = np.maximum(ndimage.maximum_filter1d(spectrum, 3), 1.0)
    f = np.arange(spectrum.size) / (2 * (spectrum.size - 1))
    hidden = (f < LOWEST_FREQUENCY) | (np.abs(f * 8 - np.rint(f * 8)) / 8 < JPEG_GUARD)
    return np.where(hidden, 1.0, most)


def _at(spectra: Sequence[Floats], f: float) -> tuple[float, float]:
    if _masked(f):
        return 1.0, 1.0
    a, b = (float(_peaks(s)[round(f * 2 * (s.size - 1))]) for s in spectra)
    return a, b


def _is_side_line(spectra: Sequence[Floats], f: float) -> bool:
    """Whether a line an eighth (or more of them) away is stronger: then this one is only JPEG's echo of that."""
    own = math.prod(_at(spectra, f))
    return any(math.prod(_at(spectra, alias(f + k / 8))) > own for k in (-4, -3, -2, -1, 1, 2, 3, 4))


def _aliases(f: Floats) -> Floats:
    part = np.mod(f, 1.0)
    return np.minimum(part, 1.0 - part)


def _best_width(spectra: Sequence[Floats], powers: Sequence[Floats], width: int) -> float:
    """The native width whose lines stand out most over both axes."""
    widths = np.arange(math.ceil(width / 6), math.floor(width / 1.04) + 1, dtype=np.float64)
    score = np.zeros(widths.size)
    f1, f2 = _aliases(widths / width), _aliases(widths / (2 * width))
    eighths = np.array([k / 8 for k in (-4, -3, -2, -1, 1, 2, 3, 4)])
    for spectrum in spectra:
        peaks = np.log(_peaks(spectrum))
        n = 2 * (spectrum.size - 1)

        def z(f: Floats, peaks: Floats = peaks, n: int = n) -> Floats:
            return np.asarray(peaks[np.rint(f * n).astype(np.int64)])

        one, two = z(f1), z(f2)
        score += 1.5 * np.maximum(one, two) + 0.75 * np.minimum(one, two)
        for f in (f1, f2):
            score += 0.5 * z(_aliases(f[:, None] + eighths)).mean(axis=1)
    best = float(widths[int(score.argmax())])
    if width / best < LEAST_FACTOR:
        halves = best / 2 + np.arange(-4.0, 5.0)
        strengths = [float(np.sqrt(np.prod(_at(spectra, alias(w / (2 * width)))))) for w in halves]
        own = [float(np.sqrt(np.prod(_at(spectra, alias(w / width))))) for w in halves]
        half = float(halves[int(np.argmax(own))])
        low_here = _drop(powers, best / width) < LEAST_DROP_DB
        if max(strengths) >= LEAST_SECOND_LINE or (low_here and _drop(powers, half / width) >= 3.0):
            return half
    return best


# --- the spectrum's drop --------------------------------------------------------------------------


def _power(levels: NDArray[np.float32]) -> Floats:
    """(257,) mean power spectrum along the last axis, blocks of 512 with a Hann window. [dB]"""
    lines = levels[:: max(1, levels.shape[0] // 600)]
    window = np.hanning(512).astype(np.float32)
    total = np.zeros(257)
    blocks = 0
    for start in range(0, lines.shape[1] - 511, 256):
        piece = lines[:, start : start + 512]
        piece = (piece - piece.mean(axis=1, keepdims=True)) * window
        total += (np.abs(np.fft.rfft(piece, axis=1)) ** 2).mean(axis=0)
        blocks += 1
    return np.asarray(10 * np.log10(total / max(blocks, 1) + 1e-12))


def _drop(powers: Sequence[Floats], share: float) -> float:
    """By how much the spectrum falls across the limit of a native picture `share` times as wide. [dB]"""
    limit = share / 2
    f = np.arange(257) / 512
    clear = np.abs(f * 8 - np.rint(f * 8)) / 8 > 0.006
    below = clear & (f > 0.78 * limit) & (f < 0.95 * limit)
    above = clear & (f > 1.08 * limit) & (f < min(1.45 * limit, 0.485))
    if not below.any() or not above.any():
        return 0.0
    return float(np.mean([power[below].mean() - power[above].mean() for power in powers]))


# --- exactly twice --------------------------------------------------------------------------------


def coherence_at_half(axes: Sequence[NDArray[np.float32]]) -> tuple[float, float]:
    """(at one half, at the JPEG control) cyclic coherence of the first difference, mean over the axes.

    A picture enlarged exactly twice, pixel on pixel, has no line in the second difference: its two phases mirror
    each other. But its spectrum repeats itself turned about a quarter: X(f) goes with X(½ − f).
    """
    halves, controls = [], []
    window = np.hanning(256).astype(np.float32)
    for levels in axes:
        lines = levels[:: max(1, levels.shape[0] // 1200)]
        step = np.diff(lines, axis=1)
        blocks = step.shape[1] // 256
        pieces = step[:, : blocks * 256].reshape(-1, 256)
        x = np.fft.fft(pieces * window, axis=1)
        halves.append(_coherence(x, 128, 64))
        controls.append(max(_coherence(x, 96, 48), _coherence(x, 160, 80)))
    return float(np.mean(halves)), float(np.mean(controls))


def _coherence(x: NDArray[np.complexfloating], alpha: int, centre: int) -> float:
    """Mean over bins about a centre of |Σ X(f) X(α−f)| / √(Σ|X(f)|² Σ|X(α−f)|²)."""
    f = np.arange(centre - 8, centre + 9)
    a, b = x[:, f], x[:, alpha - f]
    together = np.abs((a * b).sum(axis=0))
    apart = np.sqrt((np.abs(a) ** 2).sum(axis=0) * (np.abs(b) ** 2).sum(axis=0))
    return float((together / np.maximum(apart, 1e-12)).mean())
