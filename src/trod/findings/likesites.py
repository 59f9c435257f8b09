"""What other sites like these would show: the mean rate of the kind of place from which the sites were taken.

A handful of sites tells little of the others of their kind, and nothing at all where two or three sites hold nearly
all detections; then it is refused. Counts are taken as negative binomial: each site has its own rate, gamma about
the mean.

References : C. I. Bliss & R. A. Fisher (1953) Fitting the negative binomial distribution to biological data,
Biometrics 9:176–200, for the fit (here with unequal effort). The F quantile on twice the effective sites, in place of
χ², and the floor under k are ours; benchmarks/rates.py measures what they hold.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats
from scipy.special import gammaln

from trod.errors import NotEnoughEvidence
from trod.findings.localtime import Floats

FEWEST_SITES = 4.0
FEWEST_DETECTIONS = 10
MOST_TIMES = 20.0  # an upper end further above the estimate than this says nothing
K_MOST = 300.0
# An assumption, ours: sites are not more unlike than this; a dozen sites could not show it.
K_LEAST_FEW, K_LEAST_MANY, FEW = 0.2, 0.03, 12
_GRID = 220


@dataclass(frozen=True, kw_only=True)
class Fit:
    """mean : detections a day at a site of this kind. k : shape; small is unlike. sites : effective number."""

    mean: float
    k: float
    sites: float
    log_likelihood: float


class _Likelihood:
    """The log likelihood of counts over a mean rate and the shape k, and its profile over k."""

    def __init__(self, counts: Sequence[float] | Floats, efforts: Sequence[float] | Floats) -> None:
        y, t = np.asarray(counts, dtype=float), np.asarray(efforts, dtype=float)
        self.y, self.t = y[t > 0], t[t > 0]
        least = K_LEAST_FEW if len(self.y) <= FEW else K_LEAST_MANY
        self.log_k = np.linspace(math.log(least), math.log(K_MOST), _GRID)
        self.free = self._free(self.log_k)

    def _free(self, log_k: Floats) -> Floats:
        """What does not hold the mean: Σ[lnΓ(y+k) − lnΓ(k) + k ln k]."""
        k = np.exp(log_k)
        rising = gammaln(self.y[:, None] + k) - gammaln(k)
        return np.asarray(rising.sum(axis=0) + len(self.y) * k * log_k, dtype=float)

    def over_k(self, log_mean: float, log_k: Floats, free: Floats) -> Floats:
        k = np.exp(log_k)
        crowd = (self.y[:, None] + k) * np.log(k + (math.exp(log_mean) * self.t)[:, None])
        return np.asarray(free + self.y.sum() * log_mean - crowd.sum(axis=0), dtype=float)

    def profile(self, log_mean: float) -> tuple[float, float]:
        """The largest likelihood at this mean and the ln k at which it lies, by a parabola through the top three."""
        values = self.over_k(log_mean, self.log_k, self.free)
        at = int(np.argmax(values))
        if at in (0, len(values) - 1):
            return float(values[at]), float(self.log_k[at])
        before, top, after = values[at - 1 : at + 2]
        bend = before - 2 * top + after
        shift = 0.0 if bend >= 0 else 0.5 * (before - after) / bend
        step = float(self.log_k[1] - self.log_k[0])
        return float(top - 0.25 * (before - after) * shift), float(self.log_k[at]) + shift * step

    def sharper(self, log_mean: float, log_k: float) -> float:
        """The ln k of the largest likelihood near one found on the grid."""

        def loss(x: float) -> float:
            one = np.array([x])
            return -float(self.over_k(log_mean, one, self._free(one))[0])

        step = float(self.log_k[1] - self.log_k[0])
        bounds = (log_k - step, log_k + step)
        return float(optimize.minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-9}).x)


def _fit(likelihood: _Likelihood) -> Fit:
    y, t = likelihood.y, likelihood.t
    rates = y[y > 0] / t[y > 0]
    best = optimize.minimize_scalar(
        lambda x: -likelihood.profile(x)[0],
        bounds=(math.log(min(y.sum() / t.sum(), float(np.mean(y / t)))) - 1, math.log(rates.max()) + 1),
        method="bounded",
        options={"xatol": 1e-9},
    )
    log_mean = float(best.x)
    top, log_k = likelihood.profile(log_mean)
    if likelihood.log_k[0] < log_k < likelihood.log_k[-1]:
        log_k = likelihood.sharper(log_mean, log_k)
    mean, k = math.exp(log_mean), math.exp(log_k)
    expected = mean * t
    weight = expected / (1 + expected / k)
    return Fit(mean=mean, k=k, sites=float(weight.sum() ** 2 / np.sum(weight**2)), log_likelihood=top)


def fit(counts: Sequence[float] | Floats, efforts: Sequence[float] | Floats) -> Fit:
    """Maximum-likelihood negative binomial of counts with unequal effort; sites without effort are left out.

    counts : (sites,); efforts : (sites,) [d]. log_likelihood leaves out Σ[y ln t − ln y!], which holds no unknown.
    Raises NotEnoughEvidence under two sites with effort, or with nothing seen.
    """
    likelihood = _Likelihood(counts, efforts)
    if len(likelihood.y) < 2 or likelihood.y.sum() == 0:
        raise NotEnoughEvidence(
            f"{len(likelihood.y)} sites with {likelihood.y.sum():g} detections",
            need="a fit needs two sites and one detection",
        )
    return _fit(likelihood)


def limits(counts: Sequence[float] | Floats, efforts: Sequence[float] | Floats, level: float) -> tuple[float, float]:
    """Limits of the mean rate of sites like these, in detections a day; the upper one may be infinite.

    counts : (sites,); efforts : (sites,) [d], minutes are fine.
    Raises NotEnoughEvidence under 10 detections, or when they rest on fewer than four sites in effect.
    Notes : {λ: 2(p(λ̂) − p(λ)) ≤ F(1, 2(m − 1))}, p the likelihood at its best k and m the effective sites. An upper
    end more than 20 times the estimate is given as infinite.
    """
    likelihood = _Likelihood(counts, efforts)
    seen = float(likelihood.y.sum())
    if seen < FEWEST_DETECTIONS or len(likelihood.y) < FEWEST_SITES:
        raise NotEnoughEvidence(
            f"{seen:g} detections at {len(likelihood.y)} sites with effort",
            need="it needs 10 at four sites or more",
        )
    found = _fit(likelihood)
    if found.sites < FEWEST_SITES:
        raise NotEnoughEvidence(
            f"the detections rest on {found.sites:.2g} sites in effect", need="it needs four or more"
        )
    room = float(stats.f.ppf(level, 1, 2 * (found.sites - 1))) / 2
    at = math.log(found.mean)

    def beyond(x: float) -> float:
        return found.log_likelihood - likelihood.profile(x)[0] - room

    return math.exp(_end(beyond, at, at - 10)), _upper(beyond, at)


def _end(beyond: Callable[[float], float], at: float, far: float) -> float:
    return float(optimize.brentq(beyond, far, at, xtol=1e-10)) if beyond(far) > 0 else -math.inf


def _upper(beyond: Callable[[float], float], at: float) -> float:
    far = at + math.log(MOST_TIMES)
    if beyond(far) <= 0:
        return math.inf
    return math.exp(float(optimize.brentq(beyond, at, far, xtol=1e-10)))
