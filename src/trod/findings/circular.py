"""Statistics of the clock: directions on a circle, their mean, their spread, and a smooth curve through them.

Angles in radians unless a name says otherwise; times of day become angles by `angles(hours)`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.special import i0e, i1e

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings.localtime import Floats

TURN = 2 * math.pi
_ROUGH_POINTS = 192


def angles(hours: ArrayLike) -> Floats:
    """Hours of a 24-hour day as angles, 0 ≤ θ < 2π."""
    return np.asarray(np.mod(hours, 24.0) * (TURN / 24.0), dtype=float)


def hours(theta: ArrayLike) -> Floats:
    """Angles as hours of the day, 0 ≤ h < 24."""
    return np.asarray(np.mod(theta, TURN) * (24.0 / TURN), dtype=float)


@dataclass(frozen=True, kw_only=True)
class Direction:
    """The mean of a sample of angles.

    x, y : mean cosine and sine. r : length of their resultant, 0 (even) to 1 (all alike).
    mean_rad : mean direction, 0 ≤ … < 2π. n : sample size (the sum of the weights).
    r_corrected : r mended for grouping; equal to r for ungrouped angles.
    """

    x: float
    y: float
    r: float
    r_corrected: float
    mean_rad: float
    n: float


def direction(theta: ArrayLike, counts: ArrayLike | None = None, *, group_width_rad: float = 0.0) -> Direction:
    """Mean direction and resultant of angles, or of group centres with their counts.

    theta : (n,) [rad]. counts : (n,), one each when left out. group_width_rad : width of the groups; the
    resultant is then also given times (d/2)/sin(d/2), which mends what grouping took from it.
    References : Zar (2010) Biostatistical Analysis, 5th ed., §26.4–26.5; Mardia & Jupp (2000) Directional
    Statistics, §2.2.
    """
    angle = np.asarray(theta, dtype=float)
    weight = np.ones_like(angle) if counts is None else np.asarray(counts, dtype=float)
    n = float(weight.sum())
    if not n > 0:
        raise NotEnoughEvidence("no times at all", need="a mean direction needs at least one")
    x, y = float(np.sum(weight * np.cos(angle))) / n, float(np.sum(weight * np.sin(angle))) / n
    r = min(1.0, math.hypot(x, y))
    half = group_width_rad / 2
    mend = half / math.sin(half) if half > 0 else 1.0
    return Direction(x=x, y=y, r=r, r_corrected=min(1.0, r * mend), mean_rad=math.atan2(y, x) % TURN, n=n)


def a1(kappa: ArrayLike) -> Floats:
    """Mean resultant length of a von Mises law, I₁(κ)/I₀(κ)."""
    k = np.asarray(kappa, dtype=float)
    return np.asarray(i1e(k) / i0e(k), dtype=float)


def kappa_of(resultant: float) -> float:
    """The κ whose von Mises law has this resultant length: the inverse of `a1`."""
    if not 0 <= resultant < 1:
        raise WrongInput("resultant", got=resultant, needed="a number from 0 to below 1")
    if resultant == 0:
        return 0.0
    upper = 1.0
    while float(a1(upper)) < resultant:
        upper *= 2
    return float(optimize.brentq(lambda k: float(a1(k)) - resultant, 0.0, upper, xtol=1e-12))


def von_mises(theta: ArrayLike, mean_rad: float, kappa: float) -> Floats:
    """Density of a von Mises law, per radian."""
    return np.asarray(
        np.exp(kappa * (np.cos(np.asarray(theta, dtype=float) - mean_rad) - 1)) / (TURN * i0e(kappa)),
        dtype=float,
    )


def bandwidth_kappa(theta: ArrayLike, *, weights: ArrayLike | None = None, worth: float | None = None) -> float:
    """The kernel's κ for the least integrated squared error, judged at the sample's roughest harmonic.

    theta : (n,). weights : (n,) of any scale. worth : independent times that the sample is worth; n when left out.
    Notes : κ = (2√π·n·S)^(2/5), S = max over j = 1…4 of ∫g″², g(θ) the von Mises law of jθ with A₁(κⱼ) the resultant r
    of jθ mended for chance, r² ← (r² − 1/n)·n/(n − 1); a harmonic above the first takes part when chance gives it in
    under one of a hundred. So a peak at dawn and one at dusk, each j² times sharper than the law of jθ, are not smoothed
    together. Between 1 and 500; a nearly even sample gets the broadest.
    References : C. C. Taylor (2008) Automatic bandwidth selection for circular density estimation, Comput. Stat. Data
    Anal. 52:3493–3500, for one peak (from memory); the harmonics are ours. Tests hold it against brute force.
    """
    sample = np.asarray(theta, dtype=float)
    if len(sample) == 0:
        raise NotEnoughEvidence("no times at all", need="a curve needs at least one")
    n = max(2.0, float(len(sample)) if worth is None else worth)
    at = np.arange(_ROUGH_POINTS) * TURN / _ROUGH_POINTS
    orders = np.fft.rfftfreq(_ROUGH_POINTS, 1 / _ROUGH_POINTS)
    roughest = 0.0
    for harmonic in (1, 2, 3, 4):
        r = direction(harmonic * sample, weights).r
        if harmonic > 1 and math.exp(-n * r * r) > 0.01:
            continue
        r = math.sqrt(max(0.0, (r * r - 1 / n) * n / (n - 1)))
        law = von_mises(harmonic * at, 0.0, kappa_of(min(r, 0.999)))
        bent = np.fft.irfft(-(orders**2) * np.fft.rfft(law), _ROUGH_POINTS)
        roughest = max(roughest, float((bent**2).mean() * TURN))
    if roughest == 0:
        return 1.0
    return float(np.clip((2 * math.sqrt(math.pi) * n * roughest) ** 0.4, 1.0, 500.0))


def activity_level(curve_per_rad: ArrayLike) -> float:
    """Share of the day that animals are active, supposing that all are at the curve's peak: 1/(2π·f_max).

    References : J. M. Rowcliffe, R. Kays, B. Kranstauber, C. Carbone & P. A. Jansen (2014) Methods Ecol.
    Evol. 5:1170–1179 (formula from memory).
    """
    peak = float(np.max(np.asarray(curve_per_rad, dtype=float)))
    if not peak > 0:
        raise NotEnoughEvidence("a curve that is nowhere above zero", need="at least one time of day")
    return 1 / (TURN * peak)


def overlap(curve_a: ArrayLike, curve_b: ArrayLike) -> float:
    """∫ min(f, g) of two curves sampled at the same evenly spaced angles, each per radian: 0 to 1.

    References : F. Schmid & A. Schmidt (2006) Comput. Stat. Data Anal. 50:1583–1596; Ridout & Linkie (2009).
    """
    a, b = np.asarray(curve_a, dtype=float), np.asarray(curve_b, dtype=float)
    if a.shape != b.shape:
        raise WrongInput("curve_b", got=a.shape, needed=f"as many points as the first curve ({b.shape})")
    return float(np.minimum(a, b).mean() * TURN)


def smallest_arc(theta: ArrayLike, level: float) -> tuple[float, float]:
    """The shortest arc that holds `level` of the angles: (start, length). Used for bootstrap intervals."""
    angle = np.sort(np.mod(np.asarray(theta, dtype=float), TURN))
    n = len(angle)
    hold = max(1, math.ceil(level * n))
    ends = np.concatenate([angle, angle + TURN])[hold - 1 : hold - 1 + n]
    lengths = ends - angle
    best = int(np.argmin(lengths))
    return float(angle[best]), float(lengths[best])


def peaks(curve: ArrayLike, *, least: float = 0.75, dip: float = 0.9) -> list[int]:
    """Where a curve round the circle has its clear peaks: indices, highest first.

    least : a peak under this share of the highest is left out. dip : between two peaks the curve must fall
    below this share of the lower one, or the lower is a ripple. Both are ours, for wording alone.
    """
    y = np.asarray(curve, dtype=float)
    n = len(y)
    # A plateau counts once, by its first point.
    tops = [i for i in range(n) if y[i] > y[i - 1] and y[i] >= y[(i + 1) % n] and y[i] >= least * y.max()]
    tops.sort(key=lambda i: (-y[i], i))
    kept: list[int] = []
    for top in tops:
        for other in kept:
            a, b = sorted((top, other))
            inside, outside = y[a : b + 1].min(), min(y[b:].min(), y[: a + 1].min())
            if max(inside, outside) >= dip * y[top]:
                break
        else:
            kept.append(top)
    return kept
