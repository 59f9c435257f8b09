"""How far two samples of times of day overlap: of two species, two periods or two sites.

Detections of one day (noon to noon) come together, by the same weather and the same animals. So days are what is drawn
and what is shuffled, and what a sample is worth is counted by days, not by pictures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import i0e

from trod import wording
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import circular
from trod.findings.day_curve import effective, seed_from
from trod.findings.localtime import Floats
from trod.findings.rates import Interval

POINTS = 288
DRAWS = 499
LEVEL = 0.95
# Ours, by benchmarks/coverage_overlap.py: below it the interval holds the truth too seldom.
FEWEST = 25.0
# Ours, by the same script: days are what is drawn and shuffled, and with fewer in effect what goes together within them
# is not known well enough: hours of one law were said to differ in 9 of 100.
FEWEST_DAYS = 25.0
# Ridout & Linkie (2009): the first estimator where the smaller sample is under 50, the fourth where it is above.
FEW = 50.0
HARMONICS = 4
# A kernel smooths two curves towards one another. The lower end is drawn with kernels half as wide. [κ times]
NARROWER = 4.0
MOST_KAPPA = 2000.0


@dataclass(frozen=True, kw_only=True)
class Overlapped:
    """How far the hours of two samples are the same.

    overlap : ∫ min(f, g), 0 (no hour shared) to 1 (the same hours). interval : of it; its upper end is 1 where the test
    shows no difference, for then there may be none.
    p : chance of hours that differ so much when both samples come from one law.
    n : detections. effective : what they are worth, in detections of days of their own.
    estimator : "Δ1" or "Δ4". hours : (288,) middles of five-minute parts. first, second : (288,) share per hour.
    """

    overlap: float
    interval: Interval
    p: float
    n: tuple[int, int]
    effective: tuple[float, float]
    estimator: str
    hours: Floats
    first: Floats
    second: Floats


@dataclass(frozen=True)
class _Sample:
    """One side: angles and weights with mean 1, which day each is of, and what they are worth."""

    theta: Floats
    weights: Floats
    day: NDArray[np.int64]
    days: int
    effective: float


def effective_number(theta: ArrayLike, days: ArrayLike, weights: ArrayLike | None = None) -> float:
    """What times of day are worth, in independent ones, when those of one day come together.

    theta : (n,) [rad]. days : (n,), one label a day. weights : (n,), any scale.
    Notes : n over the design effect of the first four harmonics: the variance of their sums over days against that over
    single times, never under 1 (ours; Kish 1965, Survey Sampling, for the design effect, from memory).
    """
    angle = np.asarray(theta, dtype=float)
    n = len(angle)
    if n == 0:
        return 0.0
    weight = np.ones(n) if weights is None else np.asarray(weights, dtype=float)
    weight = weight / weight.mean()
    _, day = np.unique(np.asarray(days), return_inverse=True)
    together = apart = 0.0
    for harmonic in range(1, HARMONICS + 1):
        turned = np.exp(1j * harmonic * angle)
        left = weight * (turned - (weight * turned).mean())
        sums = np.bincount(day, left.real) + 1j * np.bincount(day, left.imag)
        together += float(np.sum(np.abs(sums) ** 2))
        apart += float(np.sum(np.abs(left) ** 2))
    one_weight = n / float(np.sum(weight**2)) * n  # uneven weights cost too
    return min(float(n), one_weight / max(1.0, together / apart)) if apart > 0 else min(1.0, float(day.max() + 1))


def watson_u2(first: ArrayLike, second: ArrayLike) -> float:
    """Watson's U² of two samples of angles, ties and all. Any unit of one kind.

    References : G. S. Watson (1962) Biometrika 49:57–63; Zar (2010) Biostatistical Analysis, 5th ed., §27.5.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if not len(a) or not len(b):
        raise NotEnoughEvidence("a sample without times", need="two samples, each of one time or more")
    values, where = np.unique(np.concatenate([a, b]), return_inverse=True)
    counts = [np.bincount(part, minlength=len(values)) for part in (where[: len(a)], where[len(a) :])]
    return float(_u2(counts[0][None, :].astype(float), counts[1][None, :].astype(float))[0])


def _u2(first: Floats, second: Floats) -> Floats:
    """U² of many pairs of samples, given as masses at the same places in order. (draws, places) each; (draws,)."""
    n1, n2 = first.sum(axis=1, keepdims=True), second.sum(axis=1, keepdims=True)
    gap = np.cumsum(first, axis=1) / n1 - np.cumsum(second, axis=1) / n2
    mass = first + second
    spread = (mass * gap**2).sum(axis=1) - (mass * gap).sum(axis=1) ** 2 / mass.sum(axis=1)
    return np.asarray((n1 * n2)[:, 0] / mass.sum(axis=1) ** 2 * spread, dtype=float)


def overlap(
    first_h: ArrayLike,
    first_days: ArrayLike,
    second_h: ArrayLike,
    second_days: ArrayLike,
    *,
    first_weights: ArrayLike | None = None,
    second_weights: ArrayLike | None = None,
    draws: int = DRAWS,
) -> Overlapped:
    """How far two samples of times of day overlap, with interval and test.

    first_h, second_h : (n,), (m,) times of day. [h] first_days, second_days : the day of each; those of one day are
    drawn and shuffled together. first_weights, second_weights : 1 over the effort at that time of day.
    Notes : Δ̂₁ or Δ̂₄ of Schmid & Schmidt (2006) and Ridout & Linkie (2009) J. Agric. Biol. Environ. Stat. 14:322–337.
    Interval from bootstrap draws of days: the wider of the percentiles and of those moved by the estimate's own bias,
    the lower end with kernels half as wide besides (ours). Test: Watson's U² against shuffled days.
    The seed is made of the times themselves. Raises NotEnoughEvidence under 25 effective detections, or 25 effective
    days, on a side.
    """
    sides = (_sample(first_h, first_days, first_weights), _sample(second_h, second_days, second_weights))
    for side in sides:
        if side.effective < FEWEST:
            n, worth = len(side.theta), round(side.effective)
            raise NotEnoughEvidence(
                f"one side has {wording.plural(n, 'detection')}"
                + (f", which are worth {worth} that come on days of their own" if worth < n else ""),
                need=f"{FEWEST:.0f} on each side that come on days of their own; widen the period or the sites",
            )
        days = effective(np.bincount(side.day).astype(float))
        if days < FEWEST_DAYS:
            raise NotEnoughEvidence(
                f"one side has {wording.plural(len(side.theta), 'detection')}, but most of them on few days, as if on "
                f"{wording.plural(round(days), 'day')}",
                need=f"as many as {FEWEST_DAYS:.0f} days on each side; widen the period or the sites",
            )
    rng = np.random.default_rng(seed_from(*(np.round(s.theta, 6).tolist() for s in sides)))
    kappas = [circular.bandwidth_kappa(side.theta, worth=side.effective, weights=side.weights) for side in sides]
    picks = [rng.multinomial(side.days, np.full(side.days, 1 / side.days), size=draws) for side in sides]
    mass = [np.asarray(np.bincount(side.day, side.weights, minlength=side.days), dtype=float) for side in sides]
    rows = [_rows(side, kappa) for side, kappa in zip(sides, kappas, strict=True)]
    curves = [row.sum(axis=0) / m.sum() for row, m in zip(rows, mass, strict=True)]
    few = min(side.effective for side in sides) < FEW
    found = circular.overlap(*curves) if few else _fourth(sides, curves)
    drawn = _drawn(picks, rows, mass)
    low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    moved = found - float(drawn.mean())
    sharp = [_rows(side, min(kappa * NARROWER, MOST_KAPPA)) for side, kappa in zip(sides, kappas, strict=True)]
    sharp_low = float(np.quantile(_drawn(picks, sharp, mass), (1 - LEVEL) / 2))
    p = _shuffled_p(sides, rng, draws)
    same_may_be = p >= 1 - LEVEL
    return Overlapped(
        overlap=found,
        interval=Interval(
            low=max(0.0, min(low, low + moved, sharp_low)),
            high=1.0 if same_may_be else min(1.0, max(high, high + moved)),
            level=LEVEL,
            kind="bootstrap of whole days, the wider of two widths of kernel",
        ),
        p=p,
        n=(len(sides[0].theta), len(sides[1].theta)),
        effective=(sides[0].effective, sides[1].effective),
        estimator="Δ1" if few else "Δ4",
        hours=_middles_h(),
        first=curves[0] * circular.TURN / 24,
        second=curves[1] * circular.TURN / 24,
    )


def _sample(hours: ArrayLike, days: ArrayLike, weights: ArrayLike | None) -> _Sample:
    theta = circular.angles(hours)
    labels = np.asarray(days)
    weight = np.ones(len(theta)) if weights is None else np.asarray(weights, dtype=float)
    if not len(theta) == len(labels) == len(weight):
        raise WrongInput("days", got=f"{len(labels)} days, {len(weight)} weights", needed=f"{len(theta)} of each")
    if not len(theta):
        return _Sample(theta, weight, np.zeros(0, dtype=np.int64), 0, 0.0)
    unique, day = np.unique(labels, return_inverse=True)
    weight = weight / weight.mean()
    return _Sample(theta, weight, day.astype(np.int64), len(unique), effective_number(theta, day, weight))


def _middles_h() -> Floats:
    return np.asarray((np.arange(POINTS) + 0.5) * 24 / POINTS, dtype=float)


def _rows(side: _Sample, kappa: float) -> Floats:
    """(days, 288): the kernels of each day, so that a draw of days is one row of weights."""
    at = circular.angles(_middles_h())
    rows = np.zeros((side.days, POINTS))
    scale = circular.TURN * float(i0e(kappa))
    for part in np.array_split(np.arange(len(side.theta)), max(1, len(side.theta) // 4096)):
        kernels = np.exp(kappa * (np.cos(at[None, :] - side.theta[part, None]) - 1)) / scale
        np.add.at(rows, side.day[part], kernels * side.weights[part, None])
    return rows


def _drawn(picks: Sequence[NDArray[Any]], rows: list[Floats], mass: list[Floats]) -> Floats:
    """The overlap in every draw."""
    a, b = ((pick @ row) / np.maximum(pick @ m, 1e-300)[:, None] for pick, row, m in zip(picks, rows, mass, strict=True))
    return np.asarray(np.minimum(a, b).mean(axis=1) * circular.TURN, dtype=float)


def _fourth(sides: tuple[_Sample, _Sample], curves: list[Floats]) -> float:
    """Δ̂₄: the mean of min(1, g/f) over the first sample and of min(1, f/g) over the second."""
    at = circular.angles(_middles_h())
    out = 0.0
    for side, own, other in ((sides[0], curves[0], curves[1]), (sides[1], curves[1], curves[0])):
        mine, theirs = (np.interp(side.theta, at, curve, period=circular.TURN) for curve in (own, other))
        out += 0.5 * float(np.average(np.minimum(1.0, theirs / mine), weights=side.weights))
    return out


def _shuffled_p(sides: tuple[_Sample, _Sample], rng: np.random.Generator, draws: int) -> float:
    """The share of shuffles, of days between the sides, in which U² is no smaller than here."""
    total = sides[0].days + sides[1].days
    by_day = np.zeros((total, POINTS))
    for side, start in ((sides[0], 0), (sides[1], sides[0].days)):
        cell = np.minimum((side.theta / circular.TURN * POINTS).astype(np.int64), POINTS - 1)
        np.add.at(by_day, (start + side.day, cell), side.weights)
    mine = np.zeros((1, total))
    mine[0, : sides[0].days] = 1
    shuffled = rng.permuted(np.repeat(mine, draws, axis=0), axis=1)
    here = _u2(mine @ by_day, (1 - mine) @ by_day)[0]
    there = _u2(shuffled @ by_day, (1 - shuffled) @ by_day)
    return float((1 + np.sum(there >= here - 1e-12)) / (draws + 1))
