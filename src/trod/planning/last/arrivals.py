"""Triggers a day at a site: what is thought before any card came, and what the cards then say.

Two streams come before a camera. The **steady** one, animals and people and now and then a blank, is a count with more
spread than chance: N ~ NB(μ, k), variance μ + μ²/k, with μ = level · season(day) · drift, where drift wanders slowly
(lognormal, sd 0.3, memory 30 days). The other one is the **run of false triggers**: days of wind on which branches and
grass set the sensor off many times. They start with a small chance a day, last two days on average, and matter more
than the animals for how soon a quiet camera may stop. Now and then what comes is not wind but grass grown up or a
branch come down: a **lasting** run of false triggers. How long the present run has gone on tells which it is
(`Posterior.chance_lasting`).

The level has a Gamma prior by the kind of site, the runs of false triggers have theirs. `Arrivals.after` adds the daily
counts of a card. The counts themselves are kept and everything is worked out again from the first prior, so
that no evidence is discounted twice.

Notes
-----
A plain Gamma-Poisson update takes a thousand pictures of a week's one herd for a thousand independent facts
and becomes sure of a level that it does not know: in our study its 80 % band held a quarter of the truths
(docs/models/endurance.md). Counts are therefore discounted by the spread of their own sum (`discounted`).

All priors are assumed, none is published.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

from trod.errors import WrongInput, positive
from trod.planning.ground.site import Feature

Floats = NDArray[np.float64]

YEAR_DAYS = 365.25
DRIFT_SD = 0.3
DRIFT_MEMORY_DAYS = 30.0
LEVEL_SHAPE = 1.5625  # 1 / 0.8²: before any card the level is known to 80 %
K_MEDIAN, K_SIGMA_LN = 1.2, 0.6
K_GRID: Floats = np.geomspace(0.25, 8.0, 14)
FALSE_RUN_STAY = 0.5  # chance that a run of false triggers goes on for another day: two days on average
LASTING_SHARE = 0.05  # of runs of false triggers that something lasting makes, not wind; assumed
LASTING_STAY = 1 - 1 / 60  # chance that such a run goes on for another day: until somebody cuts it, or frost; assumed
FALSE_RUN_SHAPE = 1.5  # spread (NB size) of the blanks on one day of such a run
FALSE_RUN_BLANKS, FALSE_RUN_SIGMA_LN = 60.0, 0.5
FALSE_RUN_DAY_BLANKS = (
    12  # so many blanks or more on a day are a run of false triggers, fewer belong to the steady stream
)
MOST_TRIGGERS = 100_000  # a day; more is a mistake in the counts


@dataclass(frozen=True)
class Season:
    """How the steady level swings through the year: exp(amplitude · cos 2π(day − peak)/365.25).

    amplitude : of the logarithm; 0.3 is assumed unless known. peak_day : day of the year, 1 is 1 January.
    """

    amplitude: float = 0.3
    peak_day: float = 288.0

    def __post_init__(self) -> None:
        if not 0 <= self.amplitude <= 3:
            raise WrongInput("season amplitude", got=self.amplitude, needed="a number from 0 to 3")
        if not 0 <= self.peak_day <= 366:
            raise WrongInput("season peak_day", got=self.peak_day, needed="a day of the year, 1 to 366")

    def factor(self, day_of_year: ArrayLike) -> Floats:
        """The level of a day against the level itself, in the shape of the days."""
        day = np.asarray(day_of_year, dtype=np.float64)
        return np.asarray(np.exp(self.amplitude * np.cos(2 * np.pi * (day - self.peak_day) / YEAR_DAYS)))


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is thought of a site before its first card. Everything assumed, unless a person typed it.

    level_per_day : mean of the steady triggers. shape : of its Gamma; 1/cv². false_run_start : mean chance a day
    that a run of false triggers begins. false_run_weight : how many days of watching that chance is worth.
    false_run_blanks : median blanks on a day of such a run. night_share : of the steady triggers; night_weight : its
    worth in triggers.
    source : where the figures come from.
    """

    level_per_day: float
    shape: float = LEVEL_SHAPE
    season: Season = Season()
    false_run_start: float = 0.03
    false_run_weight: float = 30.0
    false_run_blanks: float = FALSE_RUN_BLANKS
    false_run_sigma_ln: float = FALSE_RUN_SIGMA_LN
    night_share: float = 0.5
    night_weight: float = 20.0
    source: str = "assumed"

    def __post_init__(self) -> None:
        for what in ("level_per_day", "shape", "false_run_weight", "false_run_blanks", "night_weight"):
            positive(what, getattr(self, what))
        positive("false_run_sigma_ln", self.false_run_sigma_ln, needed="a number, 0 or more", zero=True)
        if self.level_per_day > MOST_TRIGGERS:
            raise WrongInput("level_per_day", got=self.level_per_day, needed=f"triggers a day, at most {MOST_TRIGGERS}")
        if not 0 <= self.false_run_start < 1:
            raise WrongInput("false_run_start", got=self.false_run_start, needed="a chance a day, 0 or more, below 1")
        if not 0 <= self.night_share <= 1:
            raise WrongInput("night_share", got=self.night_share, needed="a share from 0 to 1")

    @property
    def level_rate(self) -> float:
        """The Gamma's rate: shape / mean. [days]"""
        return self.shape / self.level_per_day


# Steady triggers a day, starts of runs of false triggers a day, day of the year with most animals (northern), night
# share.
# Assumed, for a temperate reserve; the first card overrules the level within a month.
_KINDS: dict[Feature, tuple[float, float, float, float]] = {
    "trail": (15.0, 0.03, 288, 0.5),
    "road": (12.0, 0.03, 288, 0.6),
    "water": (20.0, 0.03, 205, 0.5),
    "ford": (8.0, 0.03, 205, 0.5),
    "lick": (25.0, 0.03, 160, 0.5),
    "feeding": (120.0, 0.03, 20, 0.6),
    "meadow": (25.0, 0.05, 160, 0.6),
    "saddle": (8.0, 0.05, 288, 0.5),
    "den": (15.0, 0.02, 140, 0.6),
    "fence": (8.0, 0.05, 288, 0.6),
    "other": (12.0, 0.03, 288, 0.5),
}


def prior_for(feature: Feature, *, latitude_deg: float = 45.0, level_per_day: float | None = None) -> Prior:
    """What to think of a site of this kind. Assumed.

    level_per_day : a person's own guess, taken instead of the kind's. South of the equator the year is
    turned by half.
    """
    if feature not in get_args(Feature):
        raise WrongInput("feature", got=feature, needed="one of " + ", ".join(get_args(Feature)))
    level, false_runs, peak, night = _KINDS[feature]
    if latitude_deg < 0:
        peak = (peak + YEAR_DAYS / 2 - 1) % YEAR_DAYS + 1
    return Prior(
        level_per_day=level if level_per_day is None else level_per_day,
        season=Season(peak_day=peak),
        false_run_start=false_runs,
        night_share=night,
        source=f"assumed for a site of the kind {feature}"
        if level_per_day is None
        else f"level typed in, the rest assumed for a site of the kind {feature}",
    )


@dataclass(frozen=True, kw_only=True)
class DayCount:
    """The triggers of one day of one camera.

    alive : whether the camera watched that day; days on which it did not count for nothing. The picture that
    a camera takes by its clock at noon is the best proof. told_apart : whether anybody said which triggers
    are blanks; if not, all stand under `animals`. night : how many of the animals and people came by
    night; None when not known.
    """

    day: date
    animals: int = 0
    people: int = 0
    blanks: int = 0
    night: int | None = None
    alive: bool = True
    told_apart: bool = True

    def __post_init__(self) -> None:
        for what in ("animals", "people", "blanks"):
            value = getattr(self, what)
            if not 0 <= value <= MOST_TRIGGERS:
                raise WrongInput(f"{what} on {self.day}", got=value, needed=f"a count from 0 to {MOST_TRIGGERS}")
        if self.night is not None and not 0 <= self.night <= self.animals + self.people:
            raise WrongInput(
                f"night on {self.day}", got=self.night, needed="a count, 0 to the animals and people of the day"
            )

    @property
    def triggers(self) -> int:
        """All triggers of the day."""
        return self.animals + self.people + self.blanks


def drift_variance(days: float, *, sd: float = DRIFT_SD, memory_days: float = DRIFT_MEMORY_DAYS) -> float:
    """Relative variance of the average of the drift over a window: v_w = sd²·(2/x²)(x − 1 + e⁻ˣ), x = days/memory.

    The variance of a time average of an exponentially correlated process; sd² for a window of no length.
    """
    x = days / memory_days
    if x < 1e-4:
        return sd**2 * (1 - x / 3)
    return sd**2 * 2 / x**2 * (x + math.expm1(-x))


@dataclass(frozen=True)
class Level:
    """What is known of the steady level: Gamma(shape, rate).

    discount : φ, how many counts are worth one independent one. drift : v_w, relative variance of the
    window's average.
    """

    shape: float
    rate: float
    discount: float = 1.0
    drift: float = 0.0

    @property
    def per_day(self) -> float:
        """Mean of the level. [triggers/day]"""
        return self.shape / self.rate

    @property
    def cv(self) -> float:
        """Coefficient of variation of the level."""
        return 1 / math.sqrt(self.shape)


def discounted(prior: Prior, *, total: float, factors: float, days: float, k: float) -> Level:
    """The level after `days` of watching with `total` steady triggers.

    factors : sum of the season's factors of these days. k : spread of the daily counts.
    a₁ = a₀ + Σn/φ, b₁ = b₀ + Σs/φ, φ = 1 + n̄/k + v_w·Σn: the sum of counts has φ times the variance of a
    Poisson's, by the spread from day to day (second term) and because the whole window may have been a busy
    or a quiet one (third).
    """
    if days <= 0:
        return Level(prior.shape, prior.level_rate)
    drift = drift_variance(days)
    phi = 1 + total / days / k + drift * total
    return Level(prior.shape + total / phi, prior.level_rate + factors / phi, phi, drift)


def log_nb(counts: ArrayLike, mean: ArrayLike, k: ArrayLike) -> Floats:
    """Logarithm of the chance of counts under NB(mean, k), variance mean + mean²/k; arrays broadcast."""
    n, m, size = (np.asarray(x, dtype=np.float64) for x in (counts, mean, k))
    m = np.maximum(m, 1e-12)
    ways = gammaln(n + size) - gammaln(size) - gammaln(n + 1)
    return np.asarray(ways + size * np.log(size / (size + m)) + n * np.log(m / (size + m)))


@dataclass(frozen=True)
class Posterior:
    """All that is known of a site's arrivals. Weights stand for chances and add up to one.

    level : of the steady stream. k_weights : of `K_GRID`. false_run_a, false_run_b : Beta of the chance that a run of
    false triggers begins. false_run_sizes, false_run_weights : blanks on a day of such a run. night_a, night_b : Beta of
    the night share.
    days : watched. run_days : days of such a run up to the last day watched, 0 when that was none of them.
    last_day : the last one watched.
    """

    level: Level
    k_weights: Floats
    false_run_a: float
    false_run_b: float
    false_run_sizes: Floats
    false_run_weights: Floats
    night_a: float
    night_b: float
    days: int
    run_days: int
    last_day: date | None

    @property
    def in_false_run(self) -> bool:
        """Whether the last day watched was of a run of false triggers."""
        return self.run_days > 0

    @property
    def chance_lasting(self) -> float:
        """Chance that the run of false triggers of the last days is a lasting one; 0 without a run.

        Runs last geometrically, of one of two kinds: each further day makes the lasting kind likelier, so that the
        hazard of ending falls with the length of the run.
        """
        if not self.run_days:
            return 0.0
        lasting = LASTING_SHARE * LASTING_STAY ** (self.run_days - 1)
        return lasting / (lasting + (1 - LASTING_SHARE) * FALSE_RUN_STAY ** (self.run_days - 1))

    def chance_run_on(self, days: float) -> float:
        """Chance that the run goes on so many days after the last day watched; 0 without a run."""
        lasting = self.chance_lasting
        brief = float(self.in_false_run) - lasting
        return float(lasting * LASTING_STAY**days + brief * FALSE_RUN_STAY**days)

    def per_day_on(self, day: date) -> float:
        """Triggers to be expected on a day that nobody has seen, the present run with it, in a season of factor one."""
        after = 0 if self.last_day is None else (day - self.last_day).days
        return self.per_day + (self.chance_run_on(after) * self.false_run_blanks if after > 0 else 0.0)

    @property
    def k(self) -> float:
        """Mean of the spread k of the steady stream."""
        return float(K_GRID @ self.k_weights)

    @property
    def false_run_start(self) -> float:
        """Mean chance a day that a run of false triggers begins."""
        return self.false_run_a / (self.false_run_a + self.false_run_b)

    @property
    def false_run_share(self) -> float:
        """Share of days with a run of false triggers, about."""
        return self.false_run_start / (self.false_run_start + 1 - FALSE_RUN_STAY)

    @property
    def false_run_blanks(self) -> float:
        """Mean blanks on a day of a run of false triggers."""
        return float(self.false_run_sizes @ self.false_run_weights)

    @property
    def night_share(self) -> float:
        """Mean night share of the steady stream."""
        return self.night_a / (self.night_a + self.night_b)

    @property
    def per_day(self) -> float:
        """Triggers a day with runs of false triggers, in a season of factor one."""
        return self.level.per_day + self.false_run_share * self.false_run_blanks


@dataclass(frozen=True)
class Draws:
    """Possible truths about a site, one a row; all of one length."""

    level: Floats
    k: Floats
    false_run_start: Floats
    false_run_blanks: Floats
    night_share: Floats


@dataclass(frozen=True, kw_only=True)
class Arrivals:
    """A site's arrivals: its prior and the daily counts that came.

    feature : kind of the site. delay_s : the delay between triggers with which the counts (and the prior's
    level) were made; where animals stay, a longer one gives fewer triggers. run_ended : somebody has cut what made
    the false triggers of the last days.
    """

    prior: Prior
    feature: Feature = "other"
    counts: tuple[DayCount, ...] = field(default=(), repr=False)
    delay_s: float = 10.0
    run_ended: bool = False

    def __post_init__(self) -> None:
        positive("delay_s", self.delay_s, needed="seconds, 0 or more", zero=True)

    @classmethod
    def for_site(
        cls, feature: Feature = "other", *, latitude_deg: float = 45.0, level_per_day: float | None = None
    ) -> Arrivals:
        """A site without a card yet; `level_per_day` is a person's guess, if there is one."""
        return cls(prior=prior_for(feature, latitude_deg=latitude_deg, level_per_day=level_per_day), feature=feature)

    def after(self, counts: Iterable[DayCount]) -> Arrivals:
        """With the days of another card. A day that is told again replaces what was told before."""
        days = {count.day: count for count in self.counts}
        days.update((count.day, count) for count in counts)
        return replace(self, counts=tuple(days[day] for day in sorted(days)))

    @cached_property
    def posterior(self) -> Posterior:
        """What prior and counts say together, always from the first prior."""
        known = _posterior(self.prior, [count for count in self.counts if count.alive])
        return replace(known, run_days=0) if self.run_ended else known

    def draw(self, n: int, rng: np.random.Generator) -> Draws:
        """n possible truths."""
        known = self.posterior
        return Draws(
            level=rng.gamma(known.level.shape, 1 / known.level.rate, n),
            k=rng.choice(K_GRID, n, p=known.k_weights),
            false_run_start=rng.beta(known.false_run_a, known.false_run_b, n) if known.false_run_a > 0 else np.zeros(n),
            false_run_blanks=rng.choice(known.false_run_sizes, n, p=known.false_run_weights),
            night_share=rng.beta(known.night_a, known.night_b, n) if known.night_a and known.night_b
            else np.full(n, known.night_share),
        )  # fmt: skip


def _posterior(prior: Prior, counts: list[DayCount]) -> Posterior:
    """Everything from the first prior and the days on which the camera watched."""
    steady, blanks, false_run = _parted(prior, counts)
    days = len(counts)
    factors = prior.season.factor([count.day.timetuple().tm_yday for count in counts])
    total = float(steady.sum())
    k_weights = _k_weights(steady, factors)
    level = discounted(prior, total=total, factors=float(factors.sum()), days=days, k=float(K_GRID @ k_weights))

    # A run of false triggers starts on a day of one that does not follow another; a day missing
    # between parts them.
    follows = np.array(
        [i > 0 and bool(false_run[i - 1]) and (counts[i].day - counts[i - 1].day).days == 1 for i in range(days)],
        dtype=bool,
    )
    starts = int((false_run & ~follows).sum())
    sizes = prior.false_run_blanks * np.exp(prior.false_run_sigma_ln * np.linspace(-3.5, 3.5, 29))
    log_weight = -0.5 * np.linspace(-3.5, 3.5, 29) ** 2
    if false_run.any():
        log_weight = log_weight + log_nb(blanks[false_run][None, :], sizes[:, None], FALSE_RUN_SHAPE).sum(axis=1)
    told = [(count.night, count.animals + count.people) for count in counts if count.night is not None]
    night, of = sum(n for n, _ in told) / level.discount, sum(t for _, t in told) / level.discount
    return Posterior(
        level=level,
        k_weights=k_weights,
        false_run_a=prior.false_run_start * prior.false_run_weight + starts if prior.false_run_start else 0.0,
        false_run_b=(1 - prior.false_run_start) * prior.false_run_weight + int((~false_run).sum()),
        false_run_sizes=sizes,
        false_run_weights=_normal(log_weight),
        night_a=prior.night_share * prior.night_weight + night,
        night_b=(1 - prior.night_share) * prior.night_weight + of - night,
        days=days,
        run_days=_run(counts, false_run),
        last_day=counts[-1].day if counts else None,
    )


def _run(counts: list[DayCount], false_run: NDArray[np.bool_]) -> int:
    """Days of a run of false triggers up to the last day; a day missing ends it."""
    run = 0
    for i in range(len(counts) - 1, -1, -1):
        if not false_run[i] or (run and (counts[i + 1].day - counts[i].day).days != 1):
            break
        run += 1
    return run


def _parted(prior: Prior, counts: list[DayCount]) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Each day's steady triggers, blanks of a run of false triggers, and whether it was a day of such a run.

    Each of shape (days,).

    Where a person told blanks apart, a day of `FALSE_RUN_DAY_BLANKS` or more is a run of false triggers; a few blanks
    belong to every day. Where nobody did, a day far beyond the others is taken for a run of false triggers, and what is
    beyond the median of the others for its blanks. That is a guess; telling blanks apart is better.
    """
    warm = np.array([count.animals + count.people for count in counts], dtype=np.float64)
    blanks = np.array([count.blanks for count in counts], dtype=np.float64)
    false_run: NDArray[np.bool_] = blanks >= FALSE_RUN_DAY_BLANKS
    if prior.false_run_start == 0:
        false_run = np.zeros(len(counts), dtype=bool)
    untold = np.array([not count.told_apart for count in counts], dtype=bool)
    if untold.sum() >= 5 and prior.false_run_start > 0:
        usual = float(np.median(warm[untold]))
        # The level that a spread of k = 1.2 passes on one day in about 150, and far enough from it to be wind.
        beyond = untold & (warm >= 5 * usual + FALSE_RUN_DAY_BLANKS)
        blanks = np.where(beyond, warm - usual, blanks)
        warm = np.where(beyond, usual, warm)
        false_run = false_run | beyond
    return warm + np.where(false_run, 0.0, blanks), np.where(false_run, blanks, 0.0), false_run


def _k_weights(steady: Floats, factors: Floats) -> Floats:
    """Chances of the spreads of `K_GRID`: prior lognormal(ln 1.2, 0.6), likelihood of the daily counts."""
    log_weight = -0.5 * (np.log(K_GRID / K_MEDIAN) / K_SIGMA_LN) ** 2
    if len(steady) and steady.sum() > 0:
        mean = steady.sum() / factors.sum() * factors
        log_weight = log_weight + log_nb(steady[None, :], mean[None, :], K_GRID[:, None]).sum(axis=1)
    return _normal(log_weight)


def _normal(log_weight: Floats) -> Floats:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def night_share(hour_share: ArrayLike, *, sunrise_h: float, sunset_h: float) -> float:
    """The share of triggers that come by night.

    hour_share : (24,) triggers of each hour, in any scale. sunrise_h, sunset_h : local hours, 0 to 24; an
    hour in which the sun rises or sets counts in part.
    """
    shares = np.asarray(hour_share, dtype=np.float64)
    if shares.shape != (24,) or not np.all(np.isfinite(shares)) or shares.min() < 0 or shares.sum() <= 0:
        raise WrongInput("hour_share", got=np.shape(shares), needed="24 counts, 0 or more, not all 0")
    if not (0 <= sunrise_h <= sunset_h <= 24):
        raise WrongInput("sunrise_h, sunset_h", got=(sunrise_h, sunset_h), needed="hours from 0 to 24, sunrise first")
    hours = np.arange(24.0)
    light = np.clip(np.minimum(hours + 1, sunset_h) - np.maximum(hours, sunrise_h), 0, 1)
    return float(1 - (shares * light).sum() / shares.sum())
