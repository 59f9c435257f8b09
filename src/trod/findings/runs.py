"""Runs of detections: how much the weeks of a site scatter, and the limits of a count that came in runs.

Animals come for some days, then stay away: a week in which one came is likelier to hold more. So a count Y is worth
only about Y/φ independent ones. φ is measured within sites, between blocks of seven days, by dividing sums: a
site watched for minutes adds at most about 1 to a sum, and cannot blow it up.

The idea of quasi-Poisson limits is from P. McCullagh & J. A. Nelder (1989) Generalized Linear Models, 2nd ed., §6.2
(from memory); the prior on φ, the degrees of freedom and the larger of two upper ends are ours. How often the
limits hold the truth is measured by benchmarks/rates.py and told in docs/models/rates.md, with where they fail.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trod.errors import WrongInput
from trod.findings.localtime import Floats

BLOCK_DAYS = 7.0
FEWEST_BLOCK_DAYS = 1.0  # ours: a shorter one is joined to its neighbour
# Ours, chosen by simulation: before anything is known detections scatter three times as much as single ones would, an
# opinion worth three busy weeks; it never lowers what is measured.
PHI_BEFORE = 3.0
BUSY_BEFORE = 3.0
# Ours: degrees of freedom that come from the prior, added to those of the weeks.
DEGREES_BEFORE = 9.0
# Ours: what is allowed for when none was seen and the same animals are not known from elsewhere.
PHI_UNKNOWN = 4.0
FEWEST_ELSEWHERE = 8
# Ours: the log-scale ends take part from so many busy weeks; with fewer they run away upwards.
BUSY_FOR_LOG = 4
# Ours: under so many effective weeks a count over 15 may be one long run, and no interval is honest.
FEWEST_WEEKS = 6.0
MOST_UNTOLD = 15


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """How detections scatter between the weeks of a site.

    count : detections in all. phi_seen : scatter measured, over that of single detections, not under 1.
    phi : the same with what is thought before anything is seen. weeks : effective number of weeks it rests on.
    busy : weeks with a detection.
    """

    count: float
    phi_seen: float
    phi: float
    weeks: float
    busy: int

    @property
    def degrees(self) -> float:
        """Degrees of freedom of Student's t."""
        return min(float(self.busy), self.weeks) + DEGREES_BEFORE

    @property
    def tells_of_others(self) -> bool:
        """Whether enough was seen for φ to be lent to a site or time at which none was."""
        return self.count >= FEWEST_ELSEWHERE

    def tells_too_little(self, count: float) -> bool:
        """Whether so few weeks stand behind so large a count that it may be one long run."""
        return self.weeks < FEWEST_WEEKS and count > MOST_UNTOLD

    def student(self, level: float) -> float:
        """Student's t for a two-sided interval of this level."""
        return float(stats.t.ppf((1 + level) / 2, self.degrees))


def scatter(
    counts: Sequence[Sequence[float] | Floats],
    efforts: Sequence[Sequence[float] | Floats],
    *,
    single: float = 1.0,
) -> Scatter:
    """The scatter of weeks about their own site's rate.

    counts, efforts : per site, detections and days of its blocks of seven days, in order and without a hole (a block
    without effort is 0 and 0). A site without effort, or with nothing seen, says nothing.
    single : what single detections would scatter: 1, or where detections are carried up by weights their mean weight,
    Σw²/Σw over detections.
    Notes : with d = y − r·e and g = r·e·(1 − e/t), φ₀ = max(1, Σd²/Σg, (Σd² + 2Σd·d₊₁)/Σg); the last form holds
    runs that cross the edge of a block. φ = max(φ₀, (Nφ₀ + 3·3)/(N + 3)), N the busy blocks. Runs longer than
    about two weeks are not caught; a season within a site is taken for runs, so the interval is then too wide.
    """
    squares = lagged = expected = expected2 = total = 0.0
    busy = 0
    for of_site, days in zip(counts, efforts, strict=True):
        y, e = np.asarray(of_site, dtype=float), np.asarray(days, dtype=float)
        if y.shape != e.shape:
            raise WrongInput("efforts", got=f"{len(e)} blocks", needed=f"as many as counts, {len(y)}")
        y, e = _whole(y, e)
        total += float(y.sum())
        busy += int(np.sum(y > 0))
        seen, watched = float(y.sum()), float(e.sum())
        if seen == 0 or watched <= 0:
            continue
        mean = seen * (e / watched)
        d = y - mean
        g = mean * (1 - e / watched)
        squares += float(np.sum(d * d))
        lagged += float(np.sum(d[:-1] * d[1:]))
        expected += float(np.sum(g))
        expected2 += float(np.sum(g * g))
    seen_phi, weeks = single, 0.0
    if expected2 > 0:
        seen_phi = max(single, squares / expected, (squares + 2 * lagged) / expected)
        weeks = expected**2 / expected2
    phi = max(seen_phi, (busy * seen_phi + BUSY_BEFORE * PHI_BEFORE * single) / (busy + BUSY_BEFORE))
    return Scatter(count=total, phi_seen=seen_phi, phi=phi, weeks=weeks, busy=busy)


def _whole(counts: Floats, efforts: Floats) -> tuple[Floats, Floats]:
    """The blocks with those of under a day joined to the one before, or to the next when there is none.

    A ragged block of minutes beside one long block has next to no expected scatter, so one animal in it would
    say that detections scatter a million times more than chance.
    """
    y, e = counts.copy(), efforts.copy()
    into = -1
    for at in range(len(y)):
        if e[at] <= 0 and y[at] == 0:
            continue
        if into >= 0 and (e[at] < FEWEST_BLOCK_DAYS or e[into] < FEWEST_BLOCK_DAYS):
            y[into], e[into] = y[into] + y[at], e[into] + e[at]
            y[at] = e[at] = 0.0
        else:
            into = at
    return y, e


def limits(count: float, scatter: Scatter, level: float, *, largest: float = 1.0) -> tuple[float, float]:
    """Two-sided limits of the expected count of which `count` (above 0) was seen, in counts.

    largest : the largest weight of a detection, where they are carried up by weights: one more of these could have come.
    Notes : Garwood's (1936) on count/φ runs, with the tail of Student's t; from four busy weeks on also the upper end
    count·exp(t·√(φ/count)), the larger one. (Its lower end would always lie above Garwood's; a test holds it.) With
    weights the upper end is that of Fay & Feuer (1997), from memory, whose step is the larger of φ and the largest
    weight; without weights it is Garwood's.
    """
    if not (math.isfinite(count) and count > 0):
        raise WrongInput("count", got=count, needed="a count above 0; for none seen take `none_seen`")
    phi, t = scatter.phi, scatter.student(level)
    tail = float(stats.norm.sf(t))
    low = phi / 2 * float(stats.chi2.ppf(tail, 2 * count / phi))
    spread, step = phi * count, max(phi, largest)
    room = 2 * (count + step) ** 2 / (spread + step**2)
    high = (spread + step**2) / (2 * (count + step)) * float(stats.chi2.isf(tail, room))
    if scatter.busy >= BUSY_FOR_LOG:
        high = max(high, count * math.exp(t * math.sqrt(phi / count)))
    return low, high


def phi_when_none(elsewhere: Scatter | None) -> float:
    """The φ to allow for where none was seen: of the same animals elsewhere if eight were seen there, else 4."""
    return elsewhere.phi if elsewhere is not None and elsewhere.tells_of_others else PHI_UNKNOWN


def none_seen(elsewhere: Scatter | None, level: float) -> float:
    """One-sided upper limit of the expected count when none was seen, in counts: −ln(1 − level) visits of φ each.

    References : J. A. Hanley & A. Lippman-Hand (1983) JAMA 249:1743–1745 for the visits ("rule of three").
    """
    return -math.log(1 - level) * phi_when_none(elsewhere)
