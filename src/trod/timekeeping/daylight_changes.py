"""Whether a clock changed while it hung there, told by the light: one step, or an even drift.

A step is looked for between any two days and by any amount, with summer time's hour as the likelier half; it is told
when the evidence for it is e³ times that of a clock that kept one offset. A drift is told when it is three times its
own doubt: a quartz clock's one to three seconds a day are seen by nobody's pictures but thousands over a season.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.timekeeping import daylight
from trod.timekeeping.daylight import Floats, Sun

# Natural logarithm of the evidence for a step over none, above which it is told (Kass and Raftery 1995, Bayes factors,
# J. Am. Stat. Assoc. 90:773–795, call 3 and more strong).
TELLING = 3.0
GRID_MIN = 5.0
HOUR = 12  # steps of the grid
# Of the parameters only these take part here, so that a year of pictures fits into memory.
SOFTNESSES, WRONG = (0.25, 0.65, 1.0), 0.02
# Drifts that are looked for. [s per day]
MOST_DRIFT, DRIFT_STEP = 60.0, 4.0


@dataclass(frozen=True, kw_only=True)
class Step:
    """A clock that was put elsewhere between two pictures.

    before_s, after_s : the shown times (camera's own) of the pictures on both sides. legal_s : the legal change of time
    that explains it best [Unix s], None where none does. step_min : how much further ahead
    it went after it, wrapped to (−720, 720]. evidence : natural logarithm, step over none. hour : whether an hour
    explains it best.
    """

    before_s: float
    after_s: float
    step_min: float
    evidence: float
    hour: bool
    legal_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Drift:
    """An even drift: seconds a day that the clock gains (below 0 it loses), and the doubt of that as one sd."""

    gains_s_per_day: float
    sd_s_per_day: float

    @property
    def told(self) -> bool:
        """Whether there is one, beyond its doubt."""
        return abs(self.gains_s_per_day) > 3 * self.sd_s_per_day


def _few() -> NDArray[np.intp]:
    soft = np.tile(np.repeat(daylight.SOFTNESSES_DEG, len(daylight.WRONG_SHARES)), len(daylight.THRESHOLDS_DEG))
    wrong = np.tile(daylight.WRONG_SHARES, len(daylight.THRESHOLDS_DEG) * len(daylight.SOFTNESSES_DEG))
    return np.flatnonzero(np.isin(soft, SOFTNESSES) & (wrong == WRONG))


def step_by_daylight(
    shown_s: ArrayLike,
    grey: ArrayLike,
    *,
    utc_offset_min: float,
    latitude_deg: float,
    longitude_deg: float,
    changes_s: Sequence[float] = (),
) -> Step | None:
    """The likeliest step within one card, or None where a steady clock explains its light about as well.

    Arguments as in `daylight.clock_by_daylight`. changes_s : legal changes of time [Unix s]; where there are some, an
    hour at one of them is thought as likely as any other step. One step is looked for; give the parts again to look for
    more.
    """
    shown, flag = daylight.prepared(shown_s, grey, utc_offset_min)
    if len(shown) < 2 or flag.all() or not flag.any():
        return None
    sun = Sun.over(float(shown[0]), float(shown[-1]), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    day = np.floor((shown + 60.0 * utc_offset_min) / 86_400.0)
    days, first = np.unique(day, return_index=True)
    if len(days) < 2:
        return None
    few = _few()
    prior = daylight.parameters().log_prior[few]
    prior = prior - daylight.log_sum(prior, 0)
    offsets = np.arange(-720.0, 720.0, GRID_MIN)
    upto = np.zeros((len(days) + 1, len(offsets), len(few)))
    for d, start in enumerate(first):
        end = first[d + 1] if d + 1 < len(first) else len(shown)
        here = daylight.log_likelihood(shown[start:end], flag[start:end], offsets[:, None], sun)
        upto[d + 1] = upto[d] + here[:, few]
    whole = upto[-1]
    flat = np.log(len(offsets))
    steady = float(daylight.log_sum((daylight.log_sum(whole, 0) - flat + prior), 0))

    def by_hour(before: Floats, after: Floats) -> Floats:
        """Evidence for an hour ahead and an hour back, as logarithms."""
        ways = [daylight.log_sum(before + np.roll(after, -way, axis=0), 0) - flat + prior for way in (HOUR, -HOUR)]
        return np.array([float(daylight.log_sum(way, 0)) - float(np.log(2)) for way in ways])

    def by_anything(before: Floats, after: Floats) -> float:
        both = daylight.log_sum(before, 0) + daylight.log_sum(after, 0) - 2 * flat + prior
        return float(daylight.log_sum(both, 0))

    hours = np.array([by_hour(upto[d], whole - upto[d]) for d in range(1, len(days))])
    others = np.array([by_anything(upto[d], whole - upto[d]) for d in range(1, len(days))])
    legal = {}
    for change in changes_s:
        early = shown < change
        if early.any() and not early.all():
            before = daylight.log_likelihood(shown[early], flag[early], offsets[:, None], sun)[:, few]
            legal[change] = by_hour(before, whole - before)
    kinds = [hours.ravel() - np.log(len(hours)), others - np.log(len(others))]
    if legal:
        kinds.append(np.concatenate(list(legal.values())) - np.log(len(legal)))
    weighed = [float(daylight.log_sum(kind, 0)) - np.log(len(kinds)) for kind in kinds]
    evidence = float(daylight.log_sum(np.array(weighed), 0)) - steady
    if evidence <= TELLING:
        return None
    own = 60.0 * utc_offset_min
    best = int(np.argmax(weighed))
    if best == 2:
        change = max(legal, key=lambda c: float(legal[c].max()))
        after = int(np.searchsorted(shown, change))
        return Step(
            before_s=float(shown[after - 1]) + own,
            after_s=float(shown[after]) + own,
            step_min=(60.0, -60.0)[int(np.argmax(legal[change]))],
            evidence=evidence,
            hour=True,
            legal_s=change,
        )
    if best == 0:
        d, way = divmod(int(np.argmax(hours)), 2)
        step = (60.0, -60.0)[way]
    else:
        d = int(np.argmax(others))
        before, after_it = upto[d + 1], whole - upto[d + 1]
        one = int(np.argmax(daylight.log_sum(before, 0) + daylight.log_sum(after_it, 0) + prior))
        put = offsets[int(np.argmax(after_it[:, one]))] - offsets[int(np.argmax(before[:, one]))]
        step = daylight.wrapped(float(put))
    at = int(first[d + 1])
    return Step(
        before_s=float(shown[at - 1]) + own,
        after_s=float(shown[at]) + own,
        step_min=step,
        evidence=evidence,
        hour=best == 0,
    )


def drift_by_daylight(
    shown_s: ArrayLike,
    grey: ArrayLike,
    *,
    fast_min: float,
    utc_offset_min: float,
    latitude_deg: float,
    longitude_deg: float,
) -> Drift:
    """How much a clock gained a day, evenly, over the pictures of one stretch.

    fast_min : what `clock_by_daylight` told of the same pictures. The rest as there.
    """
    shown, flag = daylight.prepared(shown_s, grey, utc_offset_min)
    sun = Sun.over(float(shown[0]), float(shown[-1]), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    from_middle = (shown - shown.mean()) / 86_400.0
    few = _few()
    prior = daylight.parameters().log_prior[few]
    about = np.arange(-60.0, 60.1, 3.0)

    def by(rates: Floats) -> Floats:
        out = np.empty(len(rates))
        for i, rate in enumerate(rates):
            fast = fast_min + about[:, None] + (rate / 60.0) * from_middle[None, :]
            each = daylight.log_likelihood(shown, flag, fast, sun)[:, few] + prior
            out[i] = float(daylight.log_sum(each.ravel(), 0))
        return out

    rates = np.arange(-MOST_DRIFT, MOST_DRIFT + 0.1, DRIFT_STEP)
    logs = by(rates)
    held = rates[logs > logs.max() - 8]
    fine = np.linspace(max(held.min() - DRIFT_STEP, -MOST_DRIFT), min(held.max() + DRIFT_STEP, MOST_DRIFT), 31)
    weight = np.exp((logs := by(fine)) - logs.max())
    weight /= weight.sum()
    mean = float((weight * fine).sum())
    sd = float(np.sqrt((weight * (fine - mean) ** 2).sum()))
    return Drift(gains_s_per_day=mean, sd_s_per_day=max(sd, float(fine[1] - fine[0]) / 2))
