"""Shares of day, twilight and night in the activity, counted by comings and against the time watched in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trod import sky
from trod.findings import day_curve
from trod.findings.day_curve import LEVEL, Ints
from trod.findings.localtime import Floats
from trod.findings.rates import Interval

LIGHTS = ("day", "twilight", "night")
TWILIGHT_DEG = sky.NAUTICAL_DEG  # twilight here: sun between the horizon and 12° below it
# Ours: a light watched less than this share of the best watched one has no share.
FEWEST_WATCHED = 0.1
KIND = "exact binomial limits (Clopper & Pearson 1934) of as many single detections as the comings are worth"


@dataclass(frozen=True, kw_only=True)
class LightShare:
    """How much of the activity falls into one light.

    share, interval : of the activity, as if each watched day had been watched whole; None where a light was hardly
    watched, or its interval where too few comings tell. detections, watched_h : what it rests on.
    preference, preference_interval : detections per hour of this light over detections per hour of all.
    """

    light: str
    detections: int
    watched_h: float
    share: float | None
    interval: Interval | None
    preference: float | None
    preference_interval: Interval | None


def light_of(heights_deg: Floats) -> Ints:
    """0 day, 1 twilight (sun to 12° below), 2 night, by the sun's geometric height."""
    return np.where(heights_deg >= sky.RISE_SET_ELEVATION_DEG, 0, np.where(heights_deg >= TWILIGHT_DEG, 1, 2))


def shares(
    light: ArrayLike,
    site: ArrayLike,
    day: ArrayLike,
    *,
    watched_h: ArrayLike,
    whole_h: ArrayLike,
    names: tuple[str, ...] = LIGHTS,
) -> tuple[LightShare, ...]:
    """Shares of the lights with intervals that count comings.

    light : (n,) number of each one's light in names. site : (n,) row of each in the tables. day : (n,) integers.
    watched_h, whole_h : (sites, lights) hours of each light watched, and there were on the days watched.
    Notes : N_sL ~ λ_s·ρ_L·h_sL; share_L ∝ ρ_L·Σ λ_s·H_sL, so that sites and hours watched unevenly do not blame the
    animals. The plain share is worth n/φ·(z/t)² single detections (E. L. Korn & B. I. Graubard (1998) Survey
    Methodology 24:193–201, from memory), φ the largest scatter over the levels of `day_curve.groups`.
    """
    lit, sites, days = (np.asarray(part, dtype=np.int64) for part in (light, site, day))
    watched, whole = np.asarray(watched_h, dtype=float), np.asarray(whole_h, dtype=float)
    counts = np.bincount(lit, minlength=len(names))
    n = int(counts.sum())
    rho, level = _rates(np.bincount(sites, minlength=len(watched)), counts, watched)
    effort, full = level @ watched, level @ whole
    with np.errstate(divide="ignore", invalid="ignore"):
        how_much = np.where(full > 0, effort / full, 0.0)
        mend = np.where(effort > 0, full / effort, np.nan)
    enough = how_much >= FEWEST_WATCHED * how_much.max() if n else np.zeros(len(names), dtype=bool)
    enough |= full <= 0  # there is none of it to watch
    worth = _worth(lit, sites, days, rho, watched) if n else 0.0
    out = []
    for index, name in enumerate(names):
        here = int(counts[index])
        share = interval = preference = ratio = None
        if n and worth > 0 and effort[index] > 0:
            low, high = _limits(here / n, worth)
            even = float(effort[index] / effort.sum())
            preference = here / n / even
            ratio = Interval(low=low / even, high=high / even, level=LEVEL, kind=KIND)
            if enough.all():
                share, low, high = (
                    _mended(p, index, counts, np.nan_to_num(mend, nan=1.0)) for p in (here / n, low, high)
                )
                interval = Interval(low=low, high=high, level=LEVEL, kind=KIND)
        elif n and enough.all():
            share = 0.0
        out.append(
            LightShare(
                light=name, detections=here, watched_h=float(watched[:, index].sum()), share=share, interval=interval,
                preference=preference, preference_interval=ratio,
            )
        )  # fmt: skip
    return tuple(out)


def _rates(seen: Ints, counts: Ints, watched: Floats, rounds: int = 20) -> tuple[Floats, Floats]:
    """(ρ (lights,), λ (sites,)): rates of the lights and levels of the sites that fit both margins."""
    rho = np.ones(watched.shape[1])
    level = np.zeros(len(watched))
    for _ in range(rounds):
        own = watched @ rho
        level = np.where(own > 0, seen / np.where(own > 0, own, 1.0), 0.0)
        effort = level @ watched
        rho = np.where(effort > 0, counts / np.where(effort > 0, effort, 1.0), 0.0)
    return rho, level


def _worth(lit: Ints, sites: Ints, days: Ints, rho: Floats, watched: Floats) -> float:
    """Single detections that would say as much of the shares as these do, allowing for few groups."""
    expected = watched * rho
    own = expected.sum(axis=1, keepdims=True)
    expected = np.where(own > 0, expected / np.where(own > 0, own, 1.0), 0.0)[sites]
    gap = (lit[:, None] == np.arange(len(rho))[None, :]) - expected
    singles = float((expected * (1 - expected)).sum())
    phi, many = 1.0, 0.0
    for index, of in enumerate(day_curve.groups(sites, days)):
        sizes = np.bincount(of).astype(float)
        effective = day_curve.effective(sizes)
        if index == 0:
            many = effective
        elif effective < day_curve.FEWEST_GROUPS:
            continue
        sums = np.stack([np.bincount(of, weights=gap[:, k], minlength=len(sizes)) for k in range(len(rho))])
        mend = effective / (effective - 1) if effective > 1.5 else 3.0
        found = float((sums**2).sum()) * mend / singles if singles > 0 else float(len(lit)) / effective
        if found > phi:
            phi, many = found, effective
    phi = day_curve.with_prior(phi, many)
    z, t = stats.norm.ppf((1 + LEVEL) / 2), stats.t.ppf((1 + LEVEL) / 2, many + day_curve.WORTH_BEFORE)
    return float(len(lit) / phi * (z / t) ** 2)


def _limits(share: float, worth: float) -> tuple[float, float]:
    x = share * worth
    tail = (1 - LEVEL) / 2
    low = float(stats.beta.ppf(tail, x, worth - x + 1)) if x > 0 else 0.0
    high = float(stats.beta.isf(tail, x + 1, worth - x)) if x < worth else 1.0
    return low, high


def _mended(share: float, index: int, counts: Ints, mend: Floats) -> float:
    """A plain share of one light as it would be had each light been watched whole, the others keeping their odds."""
    others = np.delete(counts, index).astype(float)
    own = np.delete(mend, index)
    rest = float(others @ own / others.sum()) if others.sum() else float(own.mean())
    up = share * float(mend[index])
    down = (1 - share) * rest
    return up / (up + down) if up + down > 0 else 0.0
