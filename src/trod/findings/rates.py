"""Rates of detections per 100 camera-days with the interval that runs of animals deserve, and what stands beside it.

Garwood's limits are exact when detections fall singly and independently at one steady rate. Animals do not: they
come in runs. So how the weeks of a site scatter is measured first (`trod.findings.runs`), and the interval shown
allows for it. It speaks of these very sites in this time; what other sites like them would show is another
question (`trod.findings.likesites`) and stands beside it, where it can be answered at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy import optimize, stats

from trod import wording
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import likesites, runs
from trod.findings.localtime import Floats
from trod.findings.runs import Scatter

PER_DAYS = 100.0
Refused = Literal["", "short", "elsewhere", "open", "not reviewed"]
LEVEL = 0.95
# Ours: with less watched time than this only counts are told, for a rate would be told from hours.
FEWEST_DAYS = 1.0
# Ours: where more than so many times the proven effort is possible, only counts are told.
MOST_OPEN = 3.0
PLAINLY_OPEN = 1.01  # ours: less than that is not worth telling


@dataclass(frozen=True, kw_only=True)
class Interval:
    """Two ends, how often such an interval holds the truth, and how it was made.

    level : e.g. 0.95. kind : in words. low or high may be infinite.
    """

    low: float
    high: float
    level: float
    kind: str

    def to_dict(self) -> dict[str, Any]:
        """Plain values; an end without limit is None, for JSON knows no infinity."""
        return {
            "low": self.low if math.isfinite(self.low) else None,
            "high": self.high if math.isfinite(self.high) else None,
            "level": self.level,
            "kind": self.kind,
        }


EXACT = "exact Poisson limits (Garwood 1936)"
ONE_SIDED = "one-sided exact Poisson limit (none was seen)"
BY_RUNS = "allowing for detections that come in runs, from the scatter between the weeks of a site"
NONE_SEEN = "one-sided limit (none was seen), allowing for detections that come in runs"
SINGLY = "exact Poisson limits (Garwood 1936), which hold only if animals come singly"
LIKE_THESE = "for sites like these, from how these differ (negative binomial)"
RATIO_BY_RUNS = "allowing for detections that come in runs"


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        raise WrongInput("level", got=level, needed="a number between 0 and 1, such as 0.95")


def _check_count(name: str, count: float) -> None:
    if not (math.isfinite(count) and count >= 0):
        raise WrongInput(name, got=count, needed="a count, 0 or more")


def _check_effort(name: str, days: float) -> None:
    if not (math.isfinite(days) and days > 0):
        raise NotEnoughEvidence(f"{name} is {days:g} camera-days", need="a rate needs time in which a camera watched")


def garwood(count: float, level: float = LEVEL) -> tuple[float, float]:
    """Exact two-sided limits of a Poisson mean of which `count` was seen.

    Returns (low, high) in counts; low is 0 when nothing was seen.
    Notes : low = χ²(α/2; 2n)/2, high = χ²(1−α/2; 2n+2)/2. Coverage is at least `level`, so conservative.
    References : F. Garwood (1936) Fiducial limits for the Poisson distribution, Biometrika 28:437–442.
    """
    _check_count("count", count)
    _check_level(level)
    alpha = 1 - level
    low = float(stats.chi2.ppf(alpha / 2, 2 * count)) / 2 if count > 0 else 0.0
    return low, float(stats.chi2.ppf(1 - alpha / 2, 2 * count + 2)) / 2


def upper_limit_when_none(level: float = LEVEL) -> float:
    """One-sided upper limit of a Poisson mean when none was seen: −ln(1 − level), 2.996 at 95 %.

    References : J. A. Hanley & A. Lippman-Hand (1983) If nothing goes wrong, is everything all right?,
    JAMA 249:1743–1745 (the "rule of three").
    """
    _check_level(level)
    return -math.log(1 - level)


def exact_rate(count: int, effort_days: float, level: float = LEVEL) -> tuple[float, Interval]:
    """Detections per 100 camera-days and their exact Poisson limits (one-sided when none was seen)."""
    _check_effort("effort", effort_days)
    per = PER_DAYS / effort_days
    if count == 0:
        return 0.0, Interval(low=0.0, high=upper_limit_when_none(level) * per, level=level, kind=ONE_SIDED)
    low, high = garwood(count, level)
    return count * per, Interval(low=low * per, high=high * per, level=level, kind=EXACT)


def singly(seen: Seen, effort_days: float, level: float = LEVEL) -> Interval:
    """Garwood's limits per 100 camera-days, of detections that stand for more where not all was reviewed."""
    if seen.found == 0:
        return exact_rate(0, effort_days, level)[1]
    low, high = (PER_DAYS / effort_days * seen.single * end for end in garwood(seen.carried / seen.single, level))
    return Interval(low=low, high=high, level=level, kind=EXACT)


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """The first rate over the second, its exact conditional interval, and the p that matches the interval."""

    ratio: float
    interval: Interval
    p: float


def ratio_of_rates(*, count_a: int, effort_a: float, count_b: int, effort_b: float, level: float = LEVEL) -> Ratio:
    """Rate a over rate b, with the exact interval given the two counts' sum.

    Notes : given n = a + b, a is binomial with odds ρ·effort_a/effort_b; Clopper–Pearson's ends are turned
    back into ρ. p is the central one, twice the smaller tail, which agrees with the interval; the "minimum
    likelihood" p printed by some programs may disagree with it.
    Assumes Poisson counts; with runs and clusters it is too narrow.
    References : M. P. Fay (2010) Two-sided exact tests and matching confidence intervals for discrete data,
    R Journal 2(1):53–58.
    """
    _check_count("count_a", count_a)
    _check_count("count_b", count_b)
    _check_effort("effort_a", effort_a)
    _check_effort("effort_b", effort_b)
    _check_level(level)
    total = count_a + count_b
    if total == 0:
        raise NotEnoughEvidence("nothing was seen in either part", need="a ratio needs at least one detection")
    alpha = 1 - level
    scale = effort_b / effort_a

    def rho(share: float) -> float:
        return math.inf if share >= 1 else share / (1 - share) * scale

    low = rho(float(stats.beta.ppf(alpha / 2, count_a, count_b + 1))) if count_a else 0.0
    high = rho(float(stats.beta.ppf(1 - alpha / 2, count_a + 1, count_b))) if count_b else math.inf
    null_share = effort_a / (effort_a + effort_b)
    below = float(stats.binom.cdf(count_a, total, null_share))
    above = float(stats.binom.sf(count_a - 1, total, null_share))
    ratio = (count_a / effort_a) / (count_b / effort_b) if count_b else math.inf
    kind = "exact, given the sum of the two counts"
    return Ratio(
        ratio=ratio,
        interval=Interval(low=low, high=high, level=level, kind=kind),
        p=min(1.0, 2 * min(below, above)),
    )


@dataclass(frozen=True)
class Days:
    """Camera-days: those that count, and what they would be without and with all the time of which nobody knows."""

    counted: float
    proven: float
    possible: float

    @classmethod
    def known(cls, days: float) -> Days:
        """Of which all is known."""
        return cls(counted=days, proven=days, possible=days)

    @property
    def tell_too_little(self) -> bool:
        """Whether so little of the effort is proven that only counts are told."""
        return self.proven < FEWEST_DAYS or self.possible > MOST_OPEN * self.proven

    @property
    def open(self) -> bool:
        """Whether it matters that part of it is not known."""
        return self.possible > PLAINLY_OPEN * self.proven


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Detections found, and what they come to when what was not reviewed is taken to be like what was.

    carried : Σw over detections, w one over the share reviewed. largest : the largest w. single : Σw²/Σw, what single
    detections would then scatter.
    """

    found: int
    carried: float
    largest: float = 1.0
    single: float = 1.0

    @classmethod
    def whole(cls, count: int) -> Seen:
        """All reviewed."""
        return cls(found=count, carried=float(count))


@dataclass(frozen=True, kw_only=True)
class Least:
    """What is known if all that waits for review holds none: detections, their scatter, and the days they are from."""

    count: int
    scatter: Scatter | None
    days: Days


def between(days: Days, carried: float, phi: float, level: float = LEVEL) -> float:
    """The level of the limits that hold the truth at `level` where the effort lies between two ends.

    Notes : D = ln(possible/proven), se = √(φ/max(Y, 1)), C from Φ(C + D/se) − Φ(−C) = level; the limits are taken at
    2Φ(C) − 1, the lower one over the possible and the upper one over the proven days.
    References : G. W. Imbens & C. F. Manski (2004) Confidence intervals for partially identified parameters,
    Econometrica 72:1845–1857.
    """
    apart = math.log(days.possible / days.proven)
    if apart <= 0:
        return level
    apart /= math.sqrt(phi / max(carried, 1.0))
    far = float(stats.norm.isf((1 - level) / 2))
    c = float(optimize.brentq(lambda c: stats.norm.cdf(c + apart) - stats.norm.cdf(-c) - level, 0.0, far + 1e-9))
    return float(2 * stats.norm.cdf(c) - 1)


def limited(
    seen: Seen, days: Days, scatter: Scatter | None, level: float = LEVEL, *, least: Least | None = None
) -> tuple[float, Interval]:
    """Detections per 100 camera-days with the interval that their runs, the review and the effort deserve.

    scatter : how the weeks scatter in these or in more data of the same animals; None when that is not known
    (only for a count of 0, where the usual runs of `runs.PHI_UNKNOWN` are allowed for).
    least : given where it is not known that what was reviewed was not picked by what is in it: the lower end is then
    that of what was found, as if what waits held none.
    Notes : one-sided when none was seen. Where too few weeks say how a large count came together, the exact
    Poisson limits stand in, under a name that says when they hold.
    """
    for name, of in (("effort", days.counted), ("proven effort", days.proven)):
        _check_effort(name, of)
    value = PER_DAYS * seen.carried / days.counted
    if seen.found == 0:
        high = runs.none_seen(scatter, level) * PER_DAYS / days.proven
        return value, Interval(low=0.0, high=high, level=level, kind=NONE_SEEN)
    kind = SINGLY if scatter is None or scatter.tells_too_little(seen.found) else BY_RUNS
    low, high = _ends(seen, days, scatter, level, kind)
    if least is not None and least.count > 0:
        low = min(low, _ends(Seen.whole(least.count), least.days, least.scatter, level, kind)[0])
    return value, Interval(low=low, high=high, level=level, kind=kind)


def _ends(seen: Seen, days: Days, scatter: Scatter | None, level: float, kind: str) -> tuple[float, float]:
    """Both ends per 100 camera-days: the lower over the possible, the upper over the proven ones."""
    if scatter is None or kind == SINGLY:
        near = between(days, seen.carried, seen.single, level)
        low, high = (seen.single * end for end in garwood(seen.carried / seen.single, near))
    else:
        near = between(days, seen.carried, scatter.phi, level)
        low, high = runs.limits(seen.carried, scatter, near, largest=seen.largest)
    return PER_DAYS * low / days.possible, PER_DAYS * high / days.proven


def ratio_by_runs(
    *, count_a: int, effort_a: float, count_b: int, effort_b: float, scatter: Scatter, level: float = LEVEL
) -> tuple[float, Interval]:
    """Rate a over rate b, allowing for runs; where one count is 0 only one end is given.

    scatter : of both parts together, each site in each part about its own rate.
    Raises NotEnoughEvidence when nothing was seen in either, or too few weeks say how the detections came.
    Notes : counts of 0 are taken as ½; ends are ratio·exp(±t·√(φ(1/a + 1/b))). Ours; measured in
    docs/models/rates.md.
    """
    _check_count("count_a", count_a)
    _check_count("count_b", count_b)
    _check_effort("effort_a", effort_a)
    _check_effort("effort_b", effort_b)
    _check_level(level)
    if count_a + count_b == 0:
        raise NotEnoughEvidence("nothing was seen in either part", need="a ratio needs at least one detection")
    if scatter.tells_too_little(count_a + count_b):
        raise NotEnoughEvidence(
            f"{count_a + count_b} detections, but too few weeks to tell how they run",
            need="a comparison needs more weeks in which the animals came",
        )
    a, b = max(count_a, 0.5), max(count_b, 0.5)
    ratio = (a / effort_a) / (b / effort_b)
    wide = math.exp(scatter.student(level) * math.sqrt(scatter.phi * (1 / a + 1 / b)))
    return ratio, Interval(
        low=ratio / wide if count_a else 0.0,
        high=ratio * wide if count_b else math.inf,
        level=level,
        kind=RATIO_BY_RUNS,
    )


@dataclass(frozen=True, kw_only=True)
class Rate:
    """A rate per 100 camera-days: the interval shown, the others beside it, and why that one.

    value, shown, exact : None when too little is known to have been watched: only the count is told then.
    both_ends : the rate with all the open time counted, and with none of it.
    seen, days : what it rests on. exact : Garwood's.
    others : Garwood's, and what sites like these would show where that can be told.
    why : plain sentences. scatter : of the weeks. refused : why there is no rate, in a word.
    """

    value: float | None
    seen: Seen
    days: Days
    shown: Interval | None
    exact: Interval | None
    both_ends: tuple[float, float] | None
    others: tuple[Interval, ...]
    why: str
    scatter: Scatter
    refused: Refused = ""

    @property
    def count(self) -> int:
        """Detections found."""
        return self.seen.found

    @property
    def effort_days(self) -> float:
        """Camera-days that count."""
        return self.days.counted


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """The same data with each detection carried up by one over the share that was reviewed where it lies.

    site_counts, site_efforts : (sites,), the efforts without what nothing was reviewed of; days : of them in all, and
    taken by the reviewed share (for a count of 0). week_counts, week_efforts : as in `rate`. largest, single : see
    `Seen`. by_content : what was reviewed may have been picked by what is in it.
    """

    site_counts: Sequence[float] | Floats
    site_efforts: Sequence[float] | Floats
    week_counts: Sequence[Sequence[float]]
    week_efforts: Sequence[Sequence[float]]
    days: Days
    days_if_none: Days
    largest: float
    single: float
    by_content: bool


def rate(
    site_counts: Sequence[float] | Floats,
    site_efforts: Sequence[float] | Floats,
    *,
    week_counts: Sequence[Sequence[float]] = (),
    week_efforts: Sequence[Sequence[float]] = (),
    days: Days | None = None,
    weighed: Weighed | None = None,
    elsewhere: Scatter | None = None,
    level: float = LEVEL,
) -> Rate:
    """The rate at these sites in this time, with the interval that the runs of its detections deserve.

    site_counts, site_efforts : (sites,) detections found and camera-days that count; what was seen at a site without
    effort takes no part.
    week_counts, week_efforts : per site, detections and camera-days of its weeks one after another from its first
    watched day, those without effort included as 0.
    days : of all sites, where part of the time is open; without it all of the effort is known.
    weighed : where something waits for review, or could not be named.
    elsewhere : the scatter of the same animals at other sites or times, for a count of 0.
    Raises NotEnoughEvidence without any effort.
    """
    y, t = np.asarray(site_counts, dtype=float), np.asarray(site_efforts, dtype=float)
    count = round(float(y[t > 0].sum()))
    every = Days.known(float(t.sum())) if days is None else days
    _check_effort("effort", every.possible)
    scatter = plain = runs.scatter(week_counts, week_efforts)
    seen, used, least = Seen.whole(count), every, None
    if weighed is not None:
        y, t = np.asarray(weighed.site_counts, dtype=float), np.asarray(weighed.site_efforts, dtype=float)
        seen = Seen(found=count, carried=float(y[t > 0].sum()), largest=weighed.largest, single=weighed.single)
        used = weighed.days if count else weighed.days_if_none
        scatter = runs.scatter(weighed.week_counts, weighed.week_efforts, single=weighed.single)
        least = Least(count=count, scatter=plain, days=every) if weighed.by_content else None
    refused = _refusal(used, every, count, float(np.sum(site_counts)))
    if refused:
        why = _REFUSED[refused].format(possible=wording.number(every.possible), proven=wording.number(every.proven))
        return Rate(value=None, seen=seen, days=every, shown=None, exact=None, both_ends=None, others=(), why=why,
                    scatter=scatter, refused=refused)  # fmt: skip
    known = elsewhere if count == 0 else scatter
    value, shown = limited(seen, used, known, level, least=least)
    exact = singly(seen, used.counted, level)
    others = [] if shown.kind == SINGLY else [exact]
    why = _why(seen, shown, known)
    try:
        low, high = _like_these(site_counts, y, t, used, level)
        others.append(Interval(low=PER_DAYS * low, high=PER_DAYS * high, level=level, kind=LIKE_THESE))
    except NotEnoughEvidence as trouble:
        why += f" What other sites like these would show cannot be told: {trouble}."
    both = (PER_DAYS * seen.carried / used.possible, PER_DAYS * seen.carried / used.proven)
    return Rate(value=value, seen=seen, days=every, shown=shown, exact=exact, both_ends=both, others=tuple(others),
                why=why, scatter=scatter)  # fmt: skip


_REFUSED: dict[Refused, str] = {
    "short": "Cameras watched for less than a day, too little for a rate.",
    "elsewhere": "It was seen only where no camera counts as watching, so there is no rate.",
    "open": (
        "Of {possible} camera-days only {proven} are known to have been watched, too few for a rate. Say of the "
        "silences whether the cameras watched."
    ),
    "not reviewed": "Too little of what was watched has been reviewed for a rate.",
}


def _refusal(used: Days, every: Days, count: int, seen_anywhere: float) -> Refused:
    """Why there is no rate; empty when there is one."""
    if every.possible < FEWEST_DAYS:
        return "short"
    if every.proven > 0 and count == 0 and seen_anywhere > 0:
        return "elsewhere"
    if every.tell_too_little:
        return "open"
    return "not reviewed" if used.tell_too_little else ""


def _like_these(found: Sequence[float] | Floats, y: Floats, t: Floats, used: Days, level: float) -> tuple[float, float]:
    """What sites like these would show, per day; what waits for review takes its share of a site's effort with it."""
    seen = np.asarray(found, dtype=float)
    share = np.divide(seen, y, out=np.ones_like(y), where=y > 0)
    low, high = likesites.limits(seen, t * share, level)
    return low * used.counted / used.possible, high * used.counted / used.proven


PLAINLY = 1.05  # less than this above 1 is told as no scatter beyond chance, as two digits are printed
HERE = "The interval speaks of these very sites in this time."


def _why(seen: Seen, shown: Interval, scatter: Scatter | None) -> str:
    if seen.found == 0:
        phi = runs.phi_when_none(scatter)
        source = (
            "as the same animals do elsewhere in this record"
            if scatter is not None and scatter.tells_of_others
            else "an assumption, for nothing here says how they run"
        )
        return (
            "None was seen, so only an upper limit can be given: fewer than three visits, each counted as "
            f"{phi:.2g} detections ({source})."
        )
    if shown.kind == SINGLY or scatter is None:
        return (
            f"{seen.found} detections in too few weeks to tell how they run; the exact Poisson limits shown hold only "
            f"if animals come singly. {HERE}"
        )
    measured, phi = scatter.phi_seen / seen.single, scatter.phi / seen.single
    if phi < PLAINLY:
        return f"Weeks of one site scatter no more than single detections would. {HERE}"
    if measured >= PLAINLY:
        return (
            f"Detections come in runs (weeks of one site scatter {measured:.2g} times as much as single "
            f"detections would), and the interval allows for {phi:.2g} times. {HERE}"
        )
    return (
        "Weeks of one site scatter no more than single detections would; as "
        f"{wording.plural(scatter.busy, 'week')} with a detection {'tells' if scatter.busy == 1 else 'tell'} little of "
        f"runs, the interval allows for {phi:.2g} times. {HERE}"
    )
