"""An activity curve over the day, with a band that counts comings, not pictures.

The curve is the smoothed detections over the smoothed time watched, so an hour watched half as long counts double, and
where nobody watched there is no curve. The band is Garwood's (1936) on the detections within the kernel, divided by
how much whole days, sites' days and sites' weeks scatter beyond single detections; so a herd, or an animal that stays
about, is one coming. How often it holds the truth is measured by benchmarks/coverage_hours.py and told in
docs/models/hours.md.
"""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from trod import wording
from trod.errors import NotEnoughEvidence
from trod.findings import circular
from trod.findings.localtime import Floats
from trod.findings.rates import Interval

Ints = NDArray[np.int64]
POINTS = 288  # every five minutes
LEVEL = 0.95
DRAWS = 500
AT_H = (np.arange(POINTS) + 0.5) * 24 / POINTS
AT = circular.angles(AT_H)
STEP_H = 24 / POINTS
_SHIFT = (np.arange(POINTS)[None, :] - np.arange(POINTS)[:, None]) % POINTS
# At least 100 detections are advised for an activity pattern: Alberta Remote Camera Steering Committee &
# WildCAM (2024) Remote Camera Survey Guidelines, v2, App. Table A2.
ADVISED = 100
# Under this nothing is drawn. Ours: with fewer, the curve's shape is the kernel's, not the animals'.
FEWEST = 10
# Ours: as few days of a site in effect. Animals that linger, told from fewer, had their peaks in the band in 85 of 100.
FEWEST_IN_EFFECT = 7.0
# Ours: an hour watched less than this share of the best watched one has no curve.
FEWEST_WATCHED = 0.1
# Ours: a level's scatter is taken from so many effective groups on.
FEWEST_GROUPS = 4.0
# Ours: the kernel is this much narrower than the rule for the least error, so that the band need not allow for bias.
NARROWER = 1.5
# Ours: scatter thought before anything is seen, worth so many comings; it never lowers what is measured.
PHI_BEFORE, WORTH_BEFORE = 1.5, 6.0
# Ours: the activity level's interval is told from so many single detections' worth on (simulated).
FEWEST_FOR_LEVEL = 150
# Ours: an interval of the busiest time is told from so much on, and holds this share of the drawn curves' peaks: 95 %
# of them held the truth in 68 to 98 of 100 (simulated).
FEWEST_FOR_PEAK = 100
DRAWN_PEAKS = 0.99
BLOCKS = 1000  # groups are drawn by at most so many; more are joined by chance first


@dataclass(frozen=True, kw_only=True)
class Curve:
    """An activity curve at 288 points of the day.

    hours : (288,) middles of five-minute parts. density, low, high : (288,), share of activity per hour over the hours
    watched; nan where too little was watched. watched : (288,) bool.
    peak_h : busiest time. peak_interval_h : (from, to) of it, going round midnight if need be; None when it may be
    nearly anywhere (arc over 12 h), too little is known, or hours went unwatched. peaks_h : all peaks of half the
    highest or more that the band keeps apart, highest first.
    activity, activity_interval : activity level, mended for what chance adds to the peak; None with the reason in
    activity_why where hours went unwatched or the detections are worth under 150 that come by themselves.
    kappa : the kernel's. n : detections. comings : site-days with one. scatter : of comings over single detections.
    worth : detections that the same knowledge would need if each came by itself.
    even_p : chance of so uneven a sample from an even day, whole days and weeks turned about the clock.
    """

    hours: Floats
    density: Floats
    low: Floats
    high: Floats
    watched: NDArray[np.bool_]
    peak_h: float
    peak_interval_h: tuple[float, float] | None
    peaks_h: tuple[float, ...]
    activity: float | None
    activity_interval: Interval | None
    activity_why: str
    kappa: float
    n: int
    comings: int
    scatter: float
    even_p: float

    @property
    def worth(self) -> float:
        """Detections that would say as much, if each came by itself."""
        return self.n / self.scatter

    @property
    def whole(self) -> bool:
        """Whether every hour of the day was watched enough."""
        return bool(self.watched.all())


def groups(site: Ints, day: Ints) -> list[Ints]:
    """What may have come together, finest first: a site's day, a day of all sites, a site's week."""
    wide = int(day.max()) - int(day.min()) + 1
    since = day - int(day.min())
    site_day = site * wide + since
    return [np.unique(g, return_inverse=True)[1] for g in (site_day, since, site * wide + since // 7)]


def effective(sizes: Floats) -> float:
    """Kish's number of equal groups that unequal ones are worth."""
    return float(sizes.sum() ** 2 / (sizes**2).sum())


def with_prior(phi: float, many: float) -> float:
    """A scatter measured on so many groups, with what is thought before anything is seen; never lowered by it."""
    return max(phi, (many * phi + WORTH_BEFORE * PHI_BEFORE) / (many + WORTH_BEFORE))


def _spread_on_grid(theta: Floats) -> tuple[Ints, Ints, Floats]:
    """Each angle on its two neighbouring points of the grid: (left, right, share of the right)."""
    x = theta / circular.TURN * POINTS - 0.5
    left = np.floor(x).astype(np.int64)
    return left % POINTS, (left + 1) % POINTS, x - left


def _smoothing(kappa: float) -> Floats:
    """(288, 288): row j gives what a detection at point j adds to each point, per hour."""
    first = circular.von_mises(AT, AT[0], kappa)
    first = first / (first.sum() * STEP_H)
    return np.asarray(first[_SHIFT], dtype=float)


@dataclass
class _Smoothed:
    """One pass of the smoother at a κ: the curve, and what one detection at each point of the grid adds to it."""

    kappa: float
    mass: Floats  # detections on the grid
    effort: Floats  # (288,), mean 1

    def __post_init__(self) -> None:
        k = _smoothing(self.kappa)
        over = k @ self.effort * STEP_H
        with np.errstate(divide="ignore"):
            self.adds = np.where(self.seen[None, :], k / np.where(self.seen, over, 1.0)[None, :], 0.0)
        self.takes = self.adds.sum(axis=1) * STEP_H  # what one detection adds to the whole
        rate = self.mass @ self.adds
        self.whole = float(rate.sum() * STEP_H)
        self.density = rate / self.whole
        # Var of the rate ~ rate · ∫K²e/(∫Ke)²: the unit that counts as one detection, as a share per hour.
        self.unit = np.where(self.seen, (k**2 @ self.effort) * STEP_H / np.where(self.seen, over, 1.0) ** 2, np.nan)
        self.unit = self.unit / self.whole

    @property
    def seen(self) -> NDArray[np.bool_]:
        return np.asarray(self.effort >= FEWEST_WATCHED * self.effort.max(), dtype=bool)

    def singles(self) -> float:
        """∫ variance of the curve if every detection came by itself."""
        a2 = (self.adds**2).sum(axis=1)
        at = self.adds @ self.density
        own = a2 - 2 * at * self.takes + self.takes**2 * float(self.density @ self.density)
        return float(self.mass @ own) * STEP_H / self.whole**2

    def rows(self, of: Ints, left: Ints, right: Ints, share: Floats) -> Iterator[tuple[Floats, Floats]]:
        """What each group adds, some thousand groups at a time: (groups, 288) on the grid and (groups,) sizes."""
        order = np.argsort(of, kind="stable")
        many = int(of.max()) + 1
        bounds = np.searchsorted(of[order], np.arange(0, many + 2048, 2048))
        for start, (a, b) in zip(range(0, many, 2048), itertools.pairwise(bounds), strict=False):
            part = order[a:b]
            here = of[part] - start
            grid = np.zeros((min(2048, many - start), POINTS))
            np.add.at(grid, (here, left[part]), 1 - share[part])
            np.add.at(grid, (here, right[part]), share[part])
            yield grid, grid.sum(axis=1)

    def grouped(self, of: Ints, left: Ints, right: Ints, share: Floats) -> tuple[float, float]:
        """(∫ variance of the curve if each group came by itself, effective number of groups)."""
        total, sizes = 0.0, []
        for grid, size in self.rows(of, left, right, share):
            own = grid @ self.adds - (grid @ self.takes)[:, None] * self.density[None, :]
            total += float((own**2).sum())
            sizes.append(size)
        many = effective(np.concatenate(sizes))
        mend = many / (many - 1) if many > 1.5 else 3.0
        return total * mend * STEP_H / self.whole**2, many


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """How much comings scatter beyond single detections: phi, at which level of grouping, of how many groups."""

    phi: float
    level: int
    many: float


def _scatter(smooth: _Smoothed, levels: list[Ints], left: Ints, right: Ints, share: Floats) -> Scatter:
    singles = smooth.singles()
    worst = Scatter(phi=1.0, level=0, many=effective(np.bincount(levels[0]).astype(float)))
    for index, of in enumerate(levels):
        found, many = smooth.grouped(of, left, right, share)
        if index and many < FEWEST_GROUPS:
            continue
        phi = found / singles if singles > 0 else 1.0
        if phi > worst.phi:
            worst = Scatter(phi=phi, level=index, many=many)
    return Scatter(phi=with_prior(worst.phi, worst.many), level=worst.level, many=worst.many)


def even_p(theta: Floats, site: Ints, levels: list[Ints], exposures: Floats) -> float:
    """Chance that an even day gives so uneven a sample, each group taken as one coming; the largest over the levels.

    exposures : (sites, 288) time watched. Each group's pull towards one time of day (and, with doubled angles, towards
    two times half a day apart), less what the hours watched at its site would give, is turned round by chance.
    """
    worst = 0.0
    own = exposures.sum(axis=1, keepdims=True)
    shares = exposures / np.where(own > 0, own, 1.0)
    for of in levels:
        many = int(of.max()) + 1
        if of is not levels[0] and effective(np.bincount(of).astype(float)) < FEWEST_GROUPS:
            continue
        ps = []
        for harmonic in (1, 2):
            expected = shares @ np.exp(1j * harmonic * AT)
            pull = np.exp(1j * harmonic * theta) - expected[site]
            sums = np.bincount(of, weights=pull.real, minlength=many) + 1j * np.bincount(
                of, weights=pull.imag, minlength=many
            )
            ps.append(_turned_p(sums))
        worst = max(worst, min(1.0, 2 * min(ps)))
    return worst


def _turned_p(sums: NDArray[np.complex128]) -> float:
    """Chance of so long a sum of steps turned each by chance: exp(−R²/Σa²), Rayleigh's law of many steps.

    Never too small: with E R⁴ = 2(Σa²)² − Σa⁴ a sum of few or unequal steps has the shorter tail.
    """
    squares = float((np.abs(sums) ** 2).sum())
    return math.exp(-(abs(sums.sum()) ** 2) / squares) if squares > 0 else 1.0


def curve(
    clock_h: ArrayLike,
    day: ArrayLike,
    site: ArrayLike | None = None,
    exposures: ArrayLike | None = None,
    *,
    draws: int = DRAWS,
) -> Curve:
    """The curve through times of day at several sites.

    clock_h : (n,) [h]. day : (n,) integers, one for each night with its day. site : (n,) row of each in exposures; all
    at one when left out. exposures : (sites, 288) time watched in each part of the day; even when left out.
    Raises NotEnoughEvidence under 10 detections, when they came on fewer than 10 days of a site, or most of them on few.
    Notes : sites with many animals weigh the hours by how long each site was watched then (two or three rounds of
    f ∝ N(x)/Σ λ_s·e_s(x), λ_s = N_s/∫f·e_s). The seed is made of the times themselves.
    """
    t = np.asarray(clock_h, dtype=float)
    n = len(t)
    days = np.asarray(day, dtype=np.int64)
    sites = np.zeros(n, dtype=np.int64) if site is None else np.asarray(site, dtype=np.int64)
    many = int(sites.max()) + 1 if n else 1
    watched = np.ones((many, POINTS)) if exposures is None else np.asarray(exposures, dtype=float)
    _refuse_few(n, sites, days)
    theta = circular.angles(t)
    left, right, share = _spread_on_grid(theta)
    mass = np.asarray(np.bincount(left, 1 - share, POINTS) + np.bincount(right, share, POINTS), dtype=float)
    levels = groups(sites, days)
    effort = _effort(sites, watched)
    weights = 1 / np.maximum(effort, FEWEST_WATCHED * effort.max())[left]
    smooth = _Smoothed(kappa=circular.bandwidth_kappa(theta, weights=weights), mass=mass, effort=effort)
    scatter = _scatter(smooth, levels, left, right, share)
    kappa = min(500.0, NARROWER * circular.bandwidth_kappa(theta, weights=weights, worth=n / scatter.phi))
    smooth = _Smoothed(kappa=kappa, mass=mass, effort=effort)
    for _ in range(0 if _alike(watched) else 2):
        smooth = _Smoothed(kappa=kappa, mass=mass, effort=_effort(sites, watched, smooth.density))
    scatter = _scatter(smooth, levels, left, right, share)
    if n / scatter.phi < FEWEST:
        raise NotEnoughEvidence(
            f"{n} detections whose days or weeks go so much together that they say less than {FEWEST} "
            "that come by themselves",
            need=f"a pattern over the day needs {FEWEST}, and {ADVISED} to be trusted; widen the period or the sites",
        )

    rng = np.random.default_rng(seed_from(np.round(t, 6).tolist(), days.tolist(), sites.tolist()))
    low, high = _band(smooth, scatter)
    boot = _drawn(smooth, levels[scatter.level], left, right, share, draws, rng)
    tops = AT[np.argmax(boot, axis=1)]
    start, arc = circular.smallest_arc(tops, DRAWN_PEAKS)
    seen = smooth.seen
    level, ends, why = _activity(smooth, scatter, low, high, boot, n)
    even = even_p(theta, sites, levels, watched)
    return Curve(
        hours=AT_H,
        density=np.where(seen, smooth.density, np.nan),
        low=low,
        high=high,
        watched=seen,
        peak_h=float(AT_H[int(np.argmax(smooth.density))]),
        peak_interval_h=(
            (float(circular.hours(start)), float(circular.hours(start + arc)))
            if arc <= math.pi and seen.all() and n / scatter.phi >= FEWEST_FOR_PEAK
            else None
        ),
        peaks_h=tuple(float(AT_H[i]) for i in _apart(circular.peaks(smooth.density, least=0.5), low, high)),
        activity=level,
        activity_interval=ends,
        activity_why=why,
        kappa=kappa,
        n=n,
        comings=int(levels[0].max()) + 1,
        scatter=scatter.phi,
        even_p=even,
    )


def _refuse_few(n: int, sites: Ints, days: Ints) -> None:
    sizes = np.unique(np.stack([sites, days]), axis=1, return_counts=True)[1] if n else np.zeros(0)
    comings = len(sizes)
    trusted = f"and {ADVISED} to be trusted; widen the period or the sites"
    if n < FEWEST:
        raise NotEnoughEvidence(
            wording.plural(n, "detection"), need=f"a pattern over the day needs at least {FEWEST}, {trusted}"
        )
    if comings < FEWEST:
        raise NotEnoughEvidence(
            f"{wording.plural(n, 'detection')}, but on {wording.plural(comings, 'day')} of a site",
            need=f"a pattern over the day needs at least {FEWEST} days of a site with one, {trusted}",
        )
    as_if = effective(sizes.astype(float))
    if as_if < FEWEST_IN_EFFECT:
        raise NotEnoughEvidence(
            f"{wording.plural(n, 'detection')}, but most of them on few days of a site, as if on "
            f"{wording.plural(int(as_if), 'day')}",
            need=f"a pattern over the day needs as many as {FEWEST_IN_EFFECT:.0f} days of a site in effect, {trusted}",
        )


def _effort(sites: Ints, watched: Floats, density: Floats | None = None) -> Floats:
    """(288,) the time watched in each part of the day, each site by how often animals come to it, mean 1."""
    seen = np.bincount(sites, minlength=len(watched)).astype(float)
    shape = np.ones(POINTS) if density is None else density
    own = watched @ shape
    level = np.where(own > 0, seen / np.where(own > 0, own, 1.0), 0.0)
    out = level @ watched
    return np.asarray(out / out.mean(), dtype=float)


def _alike(watched: Floats) -> bool:
    """Whether all sites were watched at the same hours, so that it does not matter who comes where."""
    shares = watched / np.maximum(watched.mean(axis=1, keepdims=True), 1e-12)
    return bool(np.ptp(shares, axis=0).max() < 0.02)


def _band(smooth: _Smoothed, scatter: Scatter) -> tuple[Floats, Floats]:
    unit = smooth.unit * scatter.phi
    tail = float(stats.norm.sf(stats.t.ppf((1 + LEVEL) / 2, scatter.many + WORTH_BEFORE)))
    counts = smooth.density / unit
    low = unit / 2 * stats.chi2.ppf(tail, 2 * np.maximum(counts, 1e-12))
    high = unit / 2 * stats.chi2.isf(tail, 2 * counts + 2)
    return np.asarray(low, dtype=float), np.asarray(high, dtype=float)


def _apart(tops: list[int], low: Floats, high: Floats) -> list[int]:
    """Those tops between which, both ways round, the band falls wholly under the lower one's lowest end."""
    kept: list[int] = []
    for top in tops:
        for other in kept:
            a, b = sorted((top, other))
            under = high < low[top]
            if not (under[a:b].any() and (under[b:].any() or under[:a].any())):
                break
        else:
            kept.append(top)
    return kept


def _drawn(
    smooth: _Smoothed, of: Ints, left: Ints, right: Ints, share: Floats, draws: int, rng: np.random.Generator
) -> Floats:
    """(draws, 288) curves of groups drawn with replacement."""
    many = int(of.max()) + 1
    joined = rng.permutation(many)[of] % BLOCKS if many > BLOCKS else of
    grids = np.concatenate([grid for grid, _ in smooth.rows(joined, left, right, share)])
    drawn = rng.multinomial(len(grids), np.full(len(grids), 1 / len(grids)), size=draws)
    rate = (drawn @ grids) @ smooth.adds
    return np.asarray(rate / (rate.sum(axis=1, keepdims=True) * STEP_H), dtype=float)


def _activity(
    smooth: _Smoothed, scatter: Scatter, low: Floats, high: Floats, boot: Floats, n: int
) -> tuple[float | None, Interval | None, str]:
    """The activity level with its interval, and why one of them is missing."""
    if not smooth.seen.all():
        return None, None, "some hours were not watched"
    if n / scatter.phi < FEWEST_FOR_LEVEL:
        return (
            None,
            None,
            f"the detections are worth {round(n / scatter.phi)} that come by themselves; it takes {FEWEST_FOR_LEVEL}",
        )
    plain = circular.activity_level(smooth.density * 24 / circular.TURN)
    again = 1 / (24 * boot.max(axis=1))
    level = min(1.0, plain**2 / float(np.exp(np.log(again).mean())))
    ends = (1 / (24 * float(high.max())), min(1.0, 1 / (24 * float(low.max()))))
    return level, Interval(low=ends[0], high=ends[1], level=LEVEL, kind="from the band at its highest"), ""


def seed_from(*parts: object) -> int:
    """A seed made of the data themselves, so that a rebuilt catalogue draws the same."""
    digest = hashlib.sha256("\x1f".join(repr(part) for part in parts).encode()).digest()
    return int.from_bytes(digest[:8], "big")
