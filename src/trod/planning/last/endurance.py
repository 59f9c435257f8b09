"""Which day a camera stops, and why: a spread of dates, never one date.

`forecast` follows many possible futures of one camera (`stopping`) from the state it was last seen in and
tells when the first of batteries, card and fault ends it. `forecast_many` does so for a whole reserve, more
coarsely. `screen` is a closed form for a first look. `battery_evidence` takes from the sets of batteries that a
camera has had what it really draws.

Plan on the early date: a forecast misses on the early side more often than on the late one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from trod.errors import WrongInput, positive
from trod.planning.equipment.card_room import usable_mb
from trod.planning.ground.weather import DEFAULT_CLIMATE, Climate
from trod.planning.last.arrivals import (
    FALSE_RUN_SHAPE,
    FALSE_RUN_STAY,
    YEAR_DAYS,
    Arrivals,
    drift_variance,
)
from trod.planning.last.stopping import (
    FALSE_RUN_NIGHT_SHARE,
    MOST_DAYS,
    EnergyScale,
    Outfit,
    Stops,
    Used,
    capacity_now_wh,
    day_of_year,
    delay_effect,
    scale_for,
    simulate,
)

__all__ = [
    "EnergyScale",
    "Outfit",
    "Screened",
    "Spread",
    "StopForecast",
    "Task",
    "Used",
    "forecast",
    "forecast_many",
    "screen",
]

Floats = NDArray[np.float64]
Cause = Literal["batteries", "card", "fault"]

# What is to be minded: no chance of faults is in it; no card has come yet; a gauge says nothing of these batteries; a
# cold night stops them for a while; the draw while waiting was not measured; nobody stated the nights; by what is known
# they should be empty.
Caveat = Literal["no faults", "no card", "gauge", "cold stop", "measure", "nights assumed", "empty already"]
RUN_DAYS = 3  # so many days of false triggers in a row are worth telling both futures of


@dataclass(frozen=True)
class Spread:
    """Three days from the start between which something ends: q10, q50, q90; inf beyond the horizon. [days]"""

    q10: float
    q50: float
    q90: float

    @classmethod
    def of(cls, days: Floats) -> Spread:
        """From the days of many futures. The quantiles are days of futures, so that inf stays inf."""
        if not len(days):
            return cls(math.inf, math.inf, math.inf)
        ordered = np.sort(days)
        ranks = (math.ceil(q * len(days)) - 1 for q in (0.1, 0.5, 0.9))
        return cls(*(float(ordered[max(rank, 0)]) for rank in ranks))


@dataclass(frozen=True, kw_only=True)
class RunOn:
    """What a run of false triggers that is on makes of a forecast.

    days : how long it has gone on. chance_stays : that something lasting makes it, not wind. stays, ends : days from
    the start until the camera stops if it stays, and if it ends with the wind.
    """

    days: int
    chance_stays: float
    stays: Spread
    ends: Spread


@dataclass(frozen=True, kw_only=True)
class StopForecast:
    """When a camera will stop.

    start : the day the forecast begins, when the camera was last known to be as said. stop : days from then
    to the first stop, as 8 of 10 futures have it. stopped : chance that it has stopped by day 0, 1, 2 … after
    the start; shape (horizon + 1,). by_cause : chance that it has stopped by then by that cause; they add up to
    `stopped`. causes : share of the futures that end by each cause within the horizon.
    batteries, card : days to each by itself, of the futures that come so far. dark : days until not even day
    pictures come. cold_share : of the stops by batteries, those that a mild week would undo. faults_per_day : as
    asked for. futures : how many were followed. run : set while a run of false triggers is on.
    """

    start: date
    stop: Spread
    stopped: Floats = field(repr=False)
    causes: dict[Cause, float]
    dark: Spread | None
    cold_share: float
    faults_per_day: float
    futures: int
    caveats: tuple[Caveat, ...] = ()
    by_cause: dict[Cause, Floats] = field(default_factory=dict, repr=False)
    run: RunOn | None = None

    @property
    def horizon(self) -> int:
        """The last day that was looked at, from the start."""
        return len(self.stopped) - 1

    @property
    def watching(self) -> Floats:
        """Chance that the camera still watches on day 0, 1, 2 …: the activity timeline's fading end."""
        return np.asarray(1 - self.stopped)

    def on(self, days: float) -> date | None:
        """The date so many days from the start; None beyond the horizon."""
        return self.start + timedelta(days=math.floor(days)) if math.isfinite(days) else None

    @property
    def early(self) -> date | None:
        """The date to plan on: one future in ten has stopped by then."""
        return self.on(self.stop.q10)

    @property
    def middle(self) -> date | None:
        """The date by which half the futures have stopped."""
        return self.on(self.stop.q50)

    @property
    def late(self) -> date | None:
        """The date by which nine futures of ten have stopped."""
        return self.on(self.stop.q90)

    def chance_stopped(self, on: date) -> float:
        """Chance that the camera has stopped by the end of a date; 0 before the start."""
        days = (on - self.start).days
        return 0.0 if days < 0 else float(self.stopped[min(days, self.horizon)])

    def lost_days(self, until: date) -> float:
        """Camera-days that will probably be lost from the start until a date. [days]"""
        days = min(max((until - self.start).days, 0), self.horizon)
        lost = float(np.trapezoid(self.stopped[: days + 1]))
        return lost + max(0, (until - self.start).days - self.horizon) * float(self.stopped[-1])

    @property
    def cause(self) -> Cause | None:
        """The cause of most stops; None where hardly any future stops."""
        if sum(self.causes.values()) < 0.05:
            return None
        return max(self.causes, key=lambda cause: self.causes[cause])


def forecast(
    outfit: Outfit,
    arrivals: Arrivals,
    start: date,
    *,
    climate: Climate = DEFAULT_CLIMATE,
    used: Used | None = None,
    faults_per_day: float = 0.0,
    futures: int = 2000,
    most_days: int = MOST_DAYS,
    step_days: int = 1,
    second_date: bool = True,
    seed: int = 0,
) -> StopForecast:
    """When this camera will stop, from the day on which it was last known to be well.

    Parameters
    ----------
    outfit, arrivals, climate : the camera as it hangs, the site, the reserve's nights.
    start : the day of set-up, or of the last visit.
    used : what batteries and card had given by then; nothing when None.
    faults_per_day : chance a day of a fault, damage or theft [1/day], as a person says; 1/600 is one in twenty
        months. 0 is never true, and the forecast says so.
    futures, step_days : how finely; with 2000 futures day by day the early date is good to 1.3 % of the band's
        width (standard error; benchmarks/endurance.py).
    seed : the same arguments give the same forecast.

    Returns
    -------
    StopForecast.

    Notes
    -----
    The first stop counts: batteries (the flash asks for more than they give), card, or fault. The chances are
    conditional on the camera being alive at the start, and on nothing that happened since.
    """
    positive("faults_per_day", faults_per_day, needed="a chance a day, 0 or more", zero=True)
    if faults_per_day >= 1:
        raise WrongInput("faults_per_day", got=faults_per_day, needed="a chance a day, below 1; 1/600 is usual")
    if not (isinstance(futures, int) and 50 <= futures <= 100_000):
        raise WrongInput("futures", got=futures, needed="a whole number from 50 to 100000")
    if not (isinstance(most_days, int) and 1 <= most_days <= MOST_DAYS):
        raise WrongInput("most_days", got=most_days, needed=f"a whole number of days from 1 to {MOST_DAYS}")
    if not (isinstance(step_days, int) and 1 <= step_days <= 30):
        raise WrongInput("step_days", got=step_days, needed="a whole number of days from 1 to 30")
    if start.year > 9990:
        raise WrongInput("start", got=start.isoformat(), needed="a date before the year 9990")
    used = used or Used()

    def follow(draws: int, run_stays: bool | None, rng: np.random.Generator) -> Stops:
        return simulate(
            outfit, climate, arrivals, start, used, draws=draws, step_days=step_days, most_days=most_days,
            second_date=second_date, run_stays=run_stays, rng=rng,
        )  # fmt: skip

    # Two streams of chance: asking for a fault changes nothing in what batteries and card do.
    rng, incidents = (np.random.default_rng([seed, stream]) for stream in (0, 1))
    stops = follow(futures, None, rng)
    fault = np.full(futures, np.inf)
    if faults_per_day > 0:
        fault = incidents.exponential(-1 / math.log1p(-faults_per_day), futures)
        fault[fault > most_days] = np.inf
    told = _told(outfit, arrivals, start, used, stops, fault, climate, faults_per_day, most_days, second_date)
    known = arrivals.posterior
    if known.run_days < RUN_DAYS:
        return told
    few = min(futures, 400)
    ways = [follow(few, stays, np.random.default_rng([seed, 2])) for stays in (True, False)]
    both = [Spread.of(np.minimum(np.minimum(way.flash, way.card), fault[:few])) for way in ways]
    chance = known.chance_lasting
    return replace(told, run=RunOn(days=known.run_days, chance_stays=chance, stays=both[0], ends=both[1]))


def _told(
    outfit: Outfit, arrivals: Arrivals, start: date, used: Used, stops: Stops, fault: Floats, climate: Climate,
    faults_per_day: float, most_days: int, second_date: bool,
) -> StopForecast:  # fmt: skip
    """The forecast that many futures add up to."""
    n = len(fault)
    first = np.minimum(np.minimum(stops.flash, stops.card), fault)
    ended = np.isfinite(first)
    by_fault = ended & (fault <= np.minimum(stops.flash, stops.card))
    by_batteries = ended & ~by_fault & (stops.flash <= stops.card)
    by_card = ended & ~by_fault & ~by_batteries
    causes: dict[Cause, float] = {
        "batteries": float(by_batteries.mean()), "card": float(by_card.mean()), "fault": float(by_fault.mean()),
    }  # fmt: skip

    def by_day(days: Floats) -> Floats:
        """Stopped by the end of day d: stops within d days."""
        counted = np.bincount(np.ceil(days).astype(np.int64), minlength=most_days + 1)[: most_days + 1]
        return np.asarray(np.cumsum(counted) / n)

    cold_share = float(stops.cold[by_batteries].mean()) if by_batteries.any() else 0.0
    dark = Spread.of(np.minimum(np.minimum(stops.dark, stops.card), fault)) if second_date else None
    return StopForecast(
        start=start,
        stop=Spread.of(first),
        stopped=by_day(first[ended]),
        by_cause={
            "batteries": by_day(first[by_batteries]),
            "card": by_day(first[by_card]),
            "fault": by_day(first[by_fault]),
        },
        causes=causes,
        dark=dark,
        cold_share=cold_share,
        faults_per_day=faults_per_day,
        futures=n,
        caveats=_caveats(outfit, arrivals, start, used, climate, cold_share, causes, faults_per_day),
    )


def _caveats(
    outfit: Outfit, arrivals: Arrivals, start: date, used: Used, climate: Climate, cold_share: float,
    causes: dict[Cause, float], faults_per_day: float,
) -> tuple[Caveat, ...]:  # fmt: skip
    said: list[Caveat] = []
    if faults_per_day == 0:
        said.append("no faults")
    if not arrivals.posterior.days:
        said.append("no card")
    if outfit.pack.battery.designation in ("FR6", "HR6"):
        said.append("gauge")
    if outfit.pack.battery.wakes and cold_share > 0.2 and causes["batteries"] > 0.1:
        said.append("cold stop")
    if causes["batteries"] > 0.3 and "idle_w" in outfit.draw.assumed():
        said.append("measure")
    if climate.assumed:
        said.append("nights assumed")
    if used.energy_wh > 0:
        gives = capacity_now_wh(outfit, climate, start, used)
        if used.energy_wh > 1.5 * gives * math.exp(scale_for(outfit, arrivals).ln_mean):
            said.append("empty already")
    return tuple(said)


@dataclass(frozen=True, kw_only=True)
class Task:
    """One camera to forecast, for `forecast_many`; as the arguments of `forecast`."""

    outfit: Outfit
    arrivals: Arrivals
    start: date
    used: Used | None = None
    faults_per_day: float = 0.0


def forecast_many(
    tasks: Sequence[Task],
    *,
    climate: Climate = DEFAULT_CLIMATE,
    futures: int = 300,
    seed: int = 0,
    second_date: bool = False,
) -> list[StopForecast]:
    """Forecasts of a whole reserve, quickly: fewer futures, in steps of days that fit each camera's length.

    Every camera has the same stream of chance and the same winters, so that its forecast does not depend on
    which other cameras are asked for. The price of the quickness: with 300 futures the early date has a standard
    error of 3 % of the band's width and is 1 % early (benchmarks/endurance.py). second_date : whether the second date
    (day pictures) is worked out too; the futures are then followed otherwise, and the first may fall some days away.
    """
    return [
        forecast(
            task.outfit, task.arrivals, task.start, climate=climate, used=task.used,
            faults_per_day=task.faults_per_day, futures=futures, second_date=second_date, seed=seed,
            step_days=step_for(task.outfit, task.arrivals, task.start, climate, task.used or Used()),
        )
        for task in tasks
    ]  # fmt: skip


def step_for(outfit: Outfit, arrivals: Arrivals, start: date, climate: Climate, used: Used) -> int:
    """A step of about a fiftieth of the time it will last, 1 to 7 days."""
    wh, mb = _a_day(outfit, arrivals)
    left_wh = max(capacity_now_wh(outfit, climate, start, used) - used.energy_wh, 0.0)
    left_mb = max(usable_mb(outfit.card_gb) - used.card_mb, 0.0)
    lasts = min(left_wh / wh if wh else math.inf, left_mb / mb if mb else math.inf)
    return int(min(7, max(1, lasts // 50)))


def _a_day(outfit: Outfit, arrivals: Arrivals) -> tuple[float, float]:
    """Mean energy [Wh] and room [MB] of a day in a season of factor one, runs of false triggers in it."""
    known = arrivals.posterior
    night = known.night_share if outfit.night_share is None else outfit.night_share
    steady_by, false_run_by = delay_effect(arrivals, outfit)
    steady, blanks = known.level.per_day * steady_by, known.false_run_share * known.false_run_blanks * false_run_by
    wh = outfit.resting_wh_a_day + steady * outfit.trigger_wh(night) + blanks * outfit.trigger_wh(FALSE_RUN_NIGHT_SHARE)
    mb = outfit.resting_mb_a_day + steady * outfit.trigger_mb(night) + blanks * outfit.trigger_mb(FALSE_RUN_NIGHT_SHARE)
    return wh, mb


@dataclass(frozen=True)
class Screened:
    """A closed-form review: chance stopped by day 0 … n by batteries and by card, and the larger of both."""

    batteries: Floats
    card: Floats

    @property
    def stopped(self) -> Floats:
        """Chance stopped by day 0 … n: max(F_batteries, F_card)."""
        return np.maximum(self.batteries, self.card)

    def day(self, chance: float) -> float:
        """The first day on which that chance is reached; inf if it is not."""
        over = np.nonzero(self.stopped >= chance)[0]
        return float(over[0]) if len(over) else math.inf


def screen(
    outfit: Outfit,
    arrivals: Arrivals,
    start: date,
    *,
    climate: Climate = DEFAULT_CLIMATE,
    used: Used | None = None,
    most_days: int = MOST_DAYS,
) -> Screened:
    """The stop-day distribution without chance: the sum of costs taken for lognormal.

    F(t) = max over s ≤ t of Φ(ln(m(s)/C(s)) / √(ln(1 + v/m²) + κ²)) with mean m and variance v of all that is
    used by day s, C what the batteries give that night (taken one and a half standard deviations below the mean) or
    the card holds. The maximum stands for "ever until t": exact if the futures kept their order. A running minimum
    of C instead would keep the winter's capacity in summer and let alkaline batteries stop months too early. In our
    study its band held the truth about as often as the simulation's (docs/models/endurance.md); it knows no fault,
    no panel, no second date and no cause but the two chances, so that the simulation stays the forecast.
    """
    used = used or Used()
    known = arrivals.posterior
    night = known.night_share if outfit.night_share is None else outfit.night_share
    steady_by, false_run_by = delay_effect(arrivals, outfit)
    days = np.arange(1.0, most_days + 1)
    doy = day_of_year(start) + days - 0.5
    mu = known.level.per_day * steady_by * arrivals.prior.season.factor(doy)
    total, spread = np.cumsum(mu), np.cumsum(mu + mu**2 / known.k)
    drift = np.array([drift_variance(t) for t in days])
    steady_v = spread + total**2 * (1 / known.level.shape + drift)
    # Runs of false triggers: compound of starts, each a geometric number of days of NB blanks.
    rate = known.false_run_start * (1 - FALSE_RUN_STAY) / (known.false_run_start + 1 - FALSE_RUN_STAY)
    size, length = known.false_run_blanks * false_run_by, 1 / (1 - FALSE_RUN_STAY)
    once_m = length * size
    once_v = length * (size + size**2 / FALSE_RUN_SHAPE) + FALSE_RUN_STAY / (1 - FALSE_RUN_STAY) ** 2 * size**2
    false_run_m = rate * once_m * days
    sure = known.false_run_a + known.false_run_b
    rate_cv2 = known.false_run_b / (known.false_run_a * (sure + 1)) if known.false_run_a > 0 else 0.0
    size_cv2 = float(known.false_run_weights @ (known.false_run_sizes / known.false_run_blanks - 1) ** 2)
    false_run_v = rate * days * (once_v + once_m**2) + false_run_m**2 * ((1 + rate_cv2) * (1 + size_cv2) - 1)

    scale = scale_for(outfit, arrivals)
    chill = climate.night_minimum_c(doy) - 1.5 * climate.night_sd_c(doy)
    gives = _gives(outfit, chill, used.days + days)
    out = []
    for fixed, each, blank, before, limit, sd_ln, shift in (
        (outfit.resting_wh_a_day, outfit.trigger_wh(night), outfit.trigger_wh(FALSE_RUN_NIGHT_SHARE), used.energy_wh,
         gives, scale.ln_sd, scale.ln_mean),
        (outfit.resting_mb_a_day, outfit.trigger_mb(night), outfit.trigger_mb(FALSE_RUN_NIGHT_SHARE), used.card_mb,
         np.full(len(days), usable_mb(outfit.card_gb)), outfit.bytes_sd, 0.0),
    ):  # fmt: skip
        m = before + fixed * days + each * total + blank * false_run_m
        v = each**2 * steady_v + blank**2 * false_run_v
        m = np.maximum(m, 1e-12)  # nothing is written when only the batteries work
        width = np.sqrt(np.log1p(v / m**2) + sd_ln**2)
        middle = np.log(m / np.maximum(limit, 1e-9)) - np.log1p(v / m**2) / 2 + shift
        chance = ndtr(middle / np.maximum(width, 1e-9))
        out.append(np.concatenate([[0.0], np.maximum.accumulate(chance)]))
    return Screened(out[0], out[1])


def _gives(outfit: Outfit, nights_c: Floats, aged_days: Floats) -> Floats:
    """What the pack gives to its flash in these nights. [Wh]"""
    pulse = max(outfit.draw.night_pulse_w, outfit.draw.day_pulse_w)
    years = outfit.pack_age_years + aged_days / YEAR_DAYS
    return outfit.pack.usable_wh(nights_c, pulse, pulse_weight=outfit.draw.pulse_weight, age_years=years)
