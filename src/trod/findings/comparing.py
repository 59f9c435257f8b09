"""Two rates side by side: two periods of the same sites, or two sites over the same months.

One question of its own: the ratio of two rates, its interval and a test that agrees with it. Parts that were not watched
by both say nothing: of two periods each site is compared with itself, of two sites each month with itself, so neither
a moved camera nor a season nobody watched twice is taken for a difference.

Two answers. *Here*: these very sites in these times, allowing for detections that come in runs (`trod.findings.runs`).
*Like these*: what other such sites would show, from how the sites differ in their change. Ours; the idea of the first
is the Mantel–Haenszel rate ratio, S. Greenland & J. M. Robins (1985) Estimation of a common effect parameter from sparse
follow-up data, Biometrics 41:55–68 (from memory); docs/models/change.md and rates.md tell how they do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings.localtime import Floats
from trod.findings.rates import LEVEL, RATIO_BY_RUNS, Interval
from trod.findings.runs import Scatter

RATIO_LIKE_THESE = "for sites like these, from how these differ in their change"
FEWEST_ALIKE = 3.0  # effective sites
# Ours: an interval that reaches further than this both ways says nothing.
MOST_TIMES = 10.0


@dataclass(frozen=True, kw_only=True)
class Compared:
    """The first rate over the second. p : of no difference, agreeing with the interval; None where one count is 0."""

    ratio: float
    interval: Interval
    p: float | None

    @property
    def differs(self) -> bool:
        return not self.interval.low <= 1 <= self.interval.high


def _checked(
    seen_a: Sequence[float] | Floats, days_a: Sequence[float] | Floats,
    seen_b: Sequence[float] | Floats, days_b: Sequence[float] | Floats,
) -> tuple[Floats, Floats, Floats, Floats]:  # fmt: skip
    y1, t1, y2, t2 = (np.asarray(x, dtype=float) for x in (seen_a, days_a, seen_b, days_b))
    if not y1.shape == t1.shape == y2.shape == t2.shape:
        raise WrongInput("parts", got=f"{[len(x) for x in (y1, t1, y2, t2)]}", needed="one of each for every part")
    both = (t1 > 0) & (t2 > 0)
    if not both.any():
        raise NotEnoughEvidence("nothing was watched on both sides", need="sites, or months, that both watched")
    return y1[both], t1[both], y2[both], t2[both]


def here(
    seen_a: Sequence[float] | Floats, days_a: Sequence[float] | Floats,
    seen_b: Sequence[float] | Floats, days_b: Sequence[float] | Floats,
    scatter: Scatter, level: float = LEVEL,
) -> Compared:  # fmt: skip
    """Rate a over rate b at these sites in these times; parts are (parts,), what only one side watched drops out.

    scatter : of both sides together, each site in each part about its own rate.
    Raises NotEnoughEvidence when nothing was seen, when too few weeks tell how detections run, or when a tenth and ten
    times would both fit.
    Notes : A = Σ y₁t₂/(t₁+t₂), B = Σ y₂t₁/(t₁+t₂), ratio A/B, ends × e^{±t·√(φ(Σy₁c²/A² + Σy₂c²/B²))}; with one part
    this is φ(1/y₁ + 1/y₂). A count of 0 is taken as ½, and only one end is given.
    """
    y1, t1, y2, t2 = _checked(seen_a, days_a, seen_b, days_b)
    total = float(y1.sum() + y2.sum())
    if total == 0:
        raise NotEnoughEvidence("nothing was seen on either side", need="detections")
    if scatter.tells_too_little(total):
        raise NotEnoughEvidence(
            f"{total:.0f} detections, but too few weeks to tell how they run",
            need="more weeks in which the animals came",
        )
    to_a, to_b = t2 / (t1 + t2), t1 / (t1 + t2)
    a, relative_a = _carried(y1, to_a, t1)
    b, relative_b = _carried(y2, to_b, t2)
    return _told(
        a / b, math.sqrt(scatter.phi * (relative_a + relative_b)), scatter.degrees, level, RATIO_BY_RUNS,
        none_a=y1.sum() == 0, none_b=y2.sum() == 0,
    )  # fmt: skip


def _carried(y: Floats, to: Floats, days: Floats) -> tuple[float, float]:
    """A count carried to common effort and its relative variance; half a detection where there is none."""
    if y.sum() == 0:
        return 0.5 * float(np.average(to, weights=days)), 2.0
    carried = float(np.sum(y * to))
    return carried, float(np.sum(y * to**2)) / carried**2


def like_these(
    seen_a: Sequence[float] | Floats, days_a: Sequence[float] | Floats,
    seen_b: Sequence[float] | Floats, days_b: Sequence[float] | Floats,
    level: float = LEVEL,
) -> Compared:  # fmt: skip
    """Rate a over rate b for sites like these; (sites,) of two periods.

    Raises NotEnoughEvidence with fewer than three effective sites, when one side saw none, or when a tenth and ten
    times would both fit.
    Notes : dᵢ = aᵢ − R·bᵢ, hᵢ = (aᵢ + bᵢ)/(A + B); var ln R = max(Σ(dᵢ/max(1 − hᵢ, 0.05))²/(A·B·R),
    1/Σy₁ + 1/Σy₂), a jackknife in one step; Student's t on 1/Σh² − 1.
    """
    y1, t1, y2, t2 = _checked(seen_a, days_a, seen_b, days_b)
    if y1.sum() == 0 or y2.sum() == 0:
        raise NotEnoughEvidence("nothing was seen on one side", need="detections on both sides")
    a, b = y1 * t2 / (t1 + t2), y2 * t1 / (t1 + t2)
    ratio = float(a.sum() / b.sum())
    share = (a + b) / float(a.sum() + b.sum())
    effective = 1 / float(np.sum(share**2))
    if effective < FEWEST_ALIKE:
        raise NotEnoughEvidence(
            f"detections lie as if at {effective:.1f} of {len(a)} sites",
            need=f"at least {FEWEST_ALIKE:g}",
        )
    d = (a - ratio * b) / np.maximum(1 - share, 0.05)
    variance = max(
        float(np.sum(d**2)) / (float(a.sum()) * float(b.sum()) * ratio), 1 / float(y1.sum()) + 1 / float(y2.sum())
    )
    return _told(ratio, math.sqrt(variance), effective - 1, level, RATIO_LIKE_THESE)


def _told(
    ratio: float, error: float, degrees: float, level: float, kind: str, *, none_a: bool = False, none_b: bool = False
) -> Compared:  # fmt: skip
    t = float(stats.t.isf((1 - level) / 2, degrees))
    # exponents beyond ±700 have no number; they are refused just below
    wide = math.exp(min(t * error, 700.0))
    low, high = (0.0 if none_a else ratio / wide), (math.inf if none_b else ratio * wide)
    if low < 1 / MOST_TIMES and high > MOST_TIMES:
        raise NotEnoughEvidence(
            "a tenth of the other rate and ten times it would both fit",
            need="more detections, or more weeks and sites watched on both sides",
        )
    p = None if none_a or none_b else float(2 * stats.t.sf(abs(math.log(ratio)) / error, degrees))
    return Compared(ratio=ratio, interval=Interval(low=low, high=high, level=level, kind=kind), p=p)
