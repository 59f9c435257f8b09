"""Tests of samples round the circle that Trod itself does not use, as cross-checks of those that it does.

Each is short and goes its own way: by ranks, by spacings, by the lengths of resultants. Angles in degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import optimize, stats
from scipy.special import i0e, i1e


def _resultant(degrees: np.ndarray) -> float:
    return float(abs(np.exp(1j * np.radians(degrees)).sum()))


def watson_williams(*samples: Sequence[float]) -> tuple[float, float, float]:
    """F, its p, and K, of the same mean direction of von Mises samples of one κ.

    References : J. H. Zar (2010) Biostatistical Analysis, 5th ed., §27.4; K = 1 + 3/(8κ), κ from the mean resultant of
    all samples.
    """
    parts = [np.asarray(one, dtype=float) for one in samples]
    n, groups = sum(len(one) for one in parts), len(parts)
    own = sum(_resultant(one) for one in parts)
    whole = _resultant(np.concatenate(parts))
    kappa = optimize.brentq(lambda k: i1e(k) / i0e(k) - own / n, 1e-9, 1e4)
    correction = 1 + 3 / (8 * kappa)
    f = correction * (n - groups) * (own - whole) / ((groups - 1) * (n - own))
    return float(f), float(stats.f.sf(f, groups - 1, n - groups)), float(correction)


def wheeler_watson(*samples: Sequence[float]) -> tuple[float, float]:
    """W = 2·ΣRᵢ²/nᵢ of the ranks set evenly round the circle, and p by χ² on 2(k − 1) degrees.

    The form for k samples (Wheeler & Watson 1964; Mardia 1972). For two, Zar (2010) Ex. 27.11 has
    2(N − 1)R₁²/(n₁n₂) instead, which is (N − 1)/N times as much.
    """
    sizes = [len(one) for one in samples]
    of = np.repeat(np.arange(len(samples)), sizes)
    ranks = stats.rankdata(np.concatenate([np.asarray(one, dtype=float) for one in samples]))
    turned = np.exp(2j * np.pi * ranks / len(of))
    w = 2 * sum(abs(turned[of == k].sum()) ** 2 / size for k, size in enumerate(sizes))
    return float(w), float(stats.chi2.sf(w, 2 * (len(samples) - 1)))


def rao_spacing(degrees: Sequence[float]) -> float:
    """U = ½Σ|gap − 360/n|: how unevenly the gaps between neighbours are. Sees any number of peaks.

    References : J. S. Rao (1976) Some tests based on arc-lengths for the circle, Sankhyā B 38:329–338 (from memory).
    """
    angles = np.sort(np.mod(np.asarray(degrees, dtype=float), 360))
    gaps = np.diff(np.append(angles, angles[0] + 360))
    return float(np.abs(gaps - 360 / len(angles)).sum() / 2)


def rao_p(degrees: Sequence[float], *, draws: int = 20_000, seed: int = 1) -> float:
    """The chance of so uneven gaps from an even circle, by drawing such circles."""
    found, n = rao_spacing(degrees), len(degrees)
    angles = np.sort(np.random.default_rng(seed).uniform(0, 360, (draws, n)), axis=1)
    gaps = np.diff(np.concatenate([angles, angles[:, :1] + 360], axis=1), axis=1)
    drawn = np.abs(gaps - 360 / n).sum(axis=1) / 2
    return (1 + int(np.sum(drawn >= found - 1e-9))) / (draws + 1)


def gap_limit(p: float, n: int) -> float:
    """The U that an even circle of n passes with chance p, by the normal law of many gaps (mean 360/e)."""
    return 360 * (1 / math.e + stats.norm.isf(p) * math.sqrt((2 / math.e - 5 / math.e**2) / n))
