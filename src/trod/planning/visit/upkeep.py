"""When to visit: the chance that a camera has stopped against the price of going there.

Everything works with any distribution of the day a camera stops, given as `stopped`: the chance that batteries or card
have stopped it by day 0, 1, 2 … since its last visit. Faults and theft come at random and are asked for apart, as a
hazard a day. Prices are counted in camera-days: what a visit costs, divided by what a day of watching is worth.

The rule (ours, from renewal theory; holds for any distribution): visiting every τ days costs `(c + L(τ)) / τ` a day,
with `L(τ) = ∫₀^τ F`, and least where **∫₀^τ t dF(t) = c**; there F(τ) equals the cost a day: the chance of finding
the camera dead equals what a day costs in camera-days.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2

from trod.errors import WrongInput, positive

Floats = NDArray[np.float64]
# Days that a site stays quiet after somebody was there: scent, noise. Assumed; ask.
DISTURBANCE_DAYS = 2.0
# What a camera-day is worth in minutes of work. Assumed; ask.
CAMERA_DAY_MIN = 15.0
# Of faults and thefts, those after which the card is gone too, with all that hung on it. Assumed.
CARD_LOST_SHARE = 0.5
# Without a word on faults and theft, no longer interval than this is ever called best.
LONGEST_UNASKED_DAYS = 200.0
# Plan no later than the day by which this chance of stopping is reached: forecasts err on the late side.
PLAN_CHANCE = 0.10
Outcome = Literal["best", "ask for the hazard", "beyond the forecast", "never worth a visit"]


def _checked(stopped: ArrayLike) -> Floats:
    curve = np.asarray(stopped, dtype=float)
    if curve.ndim != 1 or len(curve) < 2:
        raise WrongInput("stopped", got=f"shape {curve.shape}", needed="a chance for each day, day 0 first")
    if not np.all((curve >= 0) & (curve <= 1 + 1e-9)) or np.any(np.diff(curve) < -1e-9):
        raise WrongInput("stopped", got="chances that fall or leave 0 to 1", needed="chances that only grow, 0 to 1")
    return np.asarray(np.clip(curve, 0.0, 1.0), dtype=float)


def with_hazard(stopped: ArrayLike, hazard_per_day: float, *, step_days: float = 1.0) -> Floats:
    """The chance of having stopped when faults and theft come at random on top: 1 − (1 − F)·e^(−ht)."""
    curve = _checked(stopped)
    positive("hazard_per_day", hazard_per_day, needed="a chance a day, 0 or more", zero=True)
    alone = np.exp(-hazard_per_day * step_days * np.arange(len(curve)))
    return np.asarray(1 - (1 - curve) * alone, dtype=float)


def _summed(curve: Floats, step_days: float) -> Floats:
    return np.asarray(step_days * np.concatenate(([0.0], np.cumsum((curve[1:] + curve[:-1]) / 2))), dtype=float)


def lost_days(stopped: ArrayLike, days: ArrayLike, *, step_days: float = 1.0) -> Floats:
    """Expected camera-days lost when the next visit comes after so many days: L(τ) = ∫₀^τ F. [days]

    days : shape any; the result has it. Between the days of the forecast its chance is taken to grow evenly.
    Raises WrongInput beyond the forecast.
    """
    curve = _checked(stopped)
    after = np.asarray(days, dtype=float)
    end = (len(curve) - 1) * step_days
    if not np.all((after >= 0) & (after <= end + 1e-9)):
        raise WrongInput("days", got=float(np.ravel(after).max()), needed=f"days within the forecast, 0 to {end:g}")
    whole = np.minimum((after / step_days).astype(int), len(curve) - 2)
    part = after / step_days - whole
    low, high = curve[whole], curve[whole + 1]
    return np.asarray(_summed(curve, step_days)[whole] + step_days * part * (low + (high - low) * part / 2), dtype=float)


def cards_lost(
    stopped: ArrayLike, hazard_per_day: float, share: float, *, hung_days: float = 0.0, step_days: float = 1.0
) -> Floats:
    """Camera-days of pictures lost with cards that vanish, until day 0, 1, 2 …: P(τ) = ∫₀^τ s·h·e^(−s·h·t)·W(t) dt.

    stopped : by batteries and card alone. hazard_per_day : of faults and theft (h). share : of these, those that take
    the card along (s). hung_days : days of pictures on the card at the start; W(t) is these and what was watched since.
    """
    if not 0 <= share <= 1:
        raise WrongInput("share", got=share, needed="a share from 0 to 1")
    gone = share * positive("hazard_per_day", hazard_per_day, needed="a chance a day, 0 or more", zero=True)
    curve = with_hazard(stopped, hazard_per_day - gone, step_days=step_days)
    times = step_days * np.arange(len(curve))
    rate = gone * np.exp(-gone * times) * (hung_days + times - _summed(curve, step_days))
    return _summed(np.asarray(rate, dtype=float), step_days)


def chance_by(stopped: ArrayLike, days: float, *, step_days: float = 1.0) -> float:
    """The chance of having stopped after so many days, evenly between the forecast's days."""
    curve = _checked(stopped)
    return float(np.interp(days, step_days * np.arange(len(curve)), curve))


def day_of_chance(stopped: ArrayLike, chance: float = PLAN_CHANCE, *, step_days: float = 1.0) -> float | None:
    """After how many days the chance of having stopped reaches this; None when it does not within the forecast."""
    curve = _checked(stopped)
    if not 0 < chance < 1:
        raise WrongInput("chance", got=chance, needed="a chance above 0 and below 1")
    at = int(np.argmax(curve >= chance))
    if curve[at] < chance:
        return None
    if at == 0:
        return 0.0
    low, high = curve[at - 1], curve[at]
    return float(step_days * (at - 1 + (chance - low) / (high - low)))


@dataclass(frozen=True, kw_only=True)
class Interval:
    """How often to visit a camera that is set anew each time.

    days : between visits; None unless `outcome` is "best". at_most_days : what to plan with in any case. lost_days,
    chance_stopped, cost_per_day : at `at_most_days`; cost in camera-days, pictures lost with vanished cards in it.
    """

    days: float | None
    at_most_days: float
    lost_days: float
    chance_stopped: float
    cost_per_day: float
    outcome: Outcome


def best_interval(
    stopped: ArrayLike,
    cost_in_lost_days: float,
    hazard_per_day: float | None,
    *,
    card_lost_share: float = 0.0,
    step_days: float = 1.0,
) -> Interval:
    """The interval with the least cost a day, by the first-order condition ∫₀^τ t dF = c.

    Parameters
    ----------
    stopped : chance that batteries or card have stopped it by day 0, 1, 2 … since a visit.
    cost_in_lost_days : the price of a visit in camera-days (`VisitPrice.days`).
    hazard_per_day : of faults and theft. None when nobody was asked, which is not the same as 0; with either, no
        interval of 200 days or more is called best.
    card_lost_share : of faults and thefts, those that take the card along: the pictures on it are lost too, and the
        condition is ∫₀^τ t d(F + P′) = c with P of `cards_lost`.

    Notes
    -----
    Exact for chances that grow evenly between the days given.
    """
    positive("cost_in_lost_days", cost_in_lost_days)
    curve = with_hazard(stopped, hazard_per_day or 0.0, step_days=step_days)
    times = step_days * np.arange(len(curve))
    cards = cards_lost(stopped, hazard_per_day or 0.0, card_lost_share, step_days=step_days)
    # What a day more costs: the chance of being stopped, and what vanishes with the card.
    rate = curve + np.gradient(cards, step_days)
    # ∫ t d(F + P′) over each day, where both grow evenly.
    met = np.concatenate(([0.0], np.cumsum(np.diff(rate) * (times[1:] + times[:-1]) / 2)))
    met = np.maximum.accumulate(met)
    end = float(times[-1])

    def at(days: float, outcome: Outcome) -> Interval:
        lost = float(lost_days(curve, days, step_days=step_days))
        return Interval(
            days=days if outcome == "best" else None,
            at_most_days=days,
            lost_days=lost,
            chance_stopped=chance_by(curve, days, step_days=step_days),
            cost_per_day=(cost_in_lost_days + lost + float(np.interp(days, times, cards))) / days,
            outcome=outcome,
        )

    outcome: Outcome
    if met[-1] < cost_in_lost_days:
        if curve[-1] > 0.999:
            return at(end, "never worth a visit")
        found, outcome = end, "beyond the forecast"
    else:
        i = int(np.searchsorted(met, cost_in_lost_days))
        slope = (rate[i] - rate[i - 1]) / step_days
        found = math.sqrt(times[i - 1] ** 2 + 2 * (cost_in_lost_days - met[i - 1]) / slope)
        outcome = "best"
    if not hazard_per_day and found >= LONGEST_UNASKED_DAYS:
        return at(min(LONGEST_UNASKED_DAYS, end), "ask for the hazard")
    return at(found, outcome)


@dataclass(frozen=True, kw_only=True)
class Hazard:
    """How often cameras fail or vanish at random: a chance a day, with its 90 % limits."""

    per_day: float
    low: float
    high: float


def hazard_from_log(losses: int, camera_days: float) -> Hazard:
    """The hazard from the reserve's own log of faults and thefts.

    Losses over camera-days with exact Poisson limits (Garwood 1936, Biometrika 28:437–442; 90 %). Without any loss the
    estimate is half a loss over the camera-days (a common convention), so that it is never 0.
    """
    if not (isinstance(losses, int) and losses >= 0):
        raise WrongInput("losses", got=losses, needed="a whole number of cameras lost or failed, 0 or more")
    positive("camera_days", camera_days)
    low = float(chi2.ppf(0.05, 2 * losses)) / 2 if losses else 0.0
    high = float(chi2.ppf(0.95, 2 * losses + 2)) / 2
    return Hazard(per_day=max(losses, 0.5) / camera_days, low=low / camera_days, high=high / camera_days)


@dataclass(frozen=True, kw_only=True)
class VisitPrice:
    """What a visit costs.

    travel_min : there and back, for the whole trip. work_min : at the camera. disturbance_days : that the site stays
    quiet afterwards. things_min : batteries and other things, as minutes of work. camera_day_min : what a camera-day is
    worth in minutes of work.
    """

    travel_min: float
    work_min: float = 10.0
    disturbance_days: float = DISTURBANCE_DAYS
    things_min: float = 0.0
    camera_day_min: float = CAMERA_DAY_MIN

    def __post_init__(self) -> None:
        for name in ("travel_min", "work_min", "disturbance_days", "things_min"):
            positive(name, getattr(self, name), needed="a number, 0 or more", zero=True)
        positive("camera_day_min", self.camera_day_min)

    @property
    def travel_days(self) -> float:
        """The way alone, in camera-days."""
        return self.travel_min / self.camera_day_min

    @property
    def own_days(self) -> float:
        """What this camera alone costs once one is on the way, in camera-days."""
        return (self.work_min + self.things_min) / self.camera_day_min + self.disturbance_days

    @property
    def days(self) -> float:
        """The whole visit in camera-days."""
        return self.travel_days + self.own_days


@dataclass(frozen=True, kw_only=True)
class Closure:
    """Days on which nobody goes there, both included: a breeding season, a hunt, deep snow."""

    first: date
    last: date
    why: str = "closed"

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise WrongInput("last", got=self.last.isoformat(), needed=f"a day not before {self.first}")

    def holds(self, day: date) -> bool:
        """Whether the day lies in it."""
        return self.first <= day <= self.last


@dataclass(frozen=True, kw_only=True)
class Access:
    """When one can get there, and how much longer the way takes.

    closures : no visit. snow_months : in which snow makes the way longer. snow_factor : by how many times.
    """

    closures: tuple[Closure, ...] = ()
    snow_months: tuple[int, ...] = ()
    snow_factor: float = 1.0

    def __post_init__(self) -> None:
        if not all(month in range(1, 13) for month in self.snow_months):
            raise WrongInput("snow_months", got=self.snow_months, needed="months from 1 to 12")
        if not 1 <= self.snow_factor <= 20:
            raise WrongInput("snow_factor", got=self.snow_factor, needed="1 (no longer) to 20 times the way")

    def closed(self, day: date) -> Closure | None:
        """The closure that the day lies in."""
        return next((closure for closure in self.closures if closure.holds(day)), None)

    def factor(self, day: date) -> float:
        """How many times the usual way it is."""
        return self.snow_factor if day.month in self.snow_months else 1.0


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A camera as it stands: its forecast since the last visit, the price of a visit, and access.

    stopped : chance that batteries or card have stopped it by day 0, 1, 2 … since `visited_on`. hazard_per_day : faults
    and theft; None when nobody was asked. fresh : the same with fresh batteries and an empty card, which is what each
    further interval begins with; as `stopped` when None. hung_days : days of pictures on its card at `visited_on`.
    card_lost_share : of faults and thefts, those that take the card along.
    """

    name: str
    visited_on: date
    stopped: Floats = field(repr=False, compare=False)
    price: VisitPrice
    hazard_per_day: float | None
    access: Access = Access()
    fresh: Floats | None = field(default=None, repr=False, compare=False)
    hung_days: float = 0.0
    card_lost_share: float = 0.0

    @property
    def curve(self) -> Floats:
        """The chance of having stopped for any cause."""
        return with_hazard(self.stopped, self.hazard_per_day or 0.0)

    @property
    def anew(self) -> Floats:
        """The chance of having stopped by batteries or card, of each further interval."""
        return self.stopped if self.fresh is None else self.fresh

    def interval(self, cost_in_lost_days: float) -> Interval:
        """The best interval in the long run, at a price."""
        return best_interval(self.anew, cost_in_lost_days, self.hazard_per_day, card_lost_share=self.card_lost_share)

    def losses(self, days: ArrayLike) -> Floats:
        """Camera-days lost by so many days after the last visit: dead ones, and pictures on a card that vanished."""
        after = np.asarray(days, dtype=float)
        cards = cards_lost(self.stopped, self.hazard_per_day or 0.0, self.card_lost_share, hung_days=self.hung_days)
        return np.asarray(lost_days(self.curve, after) + np.interp(after, np.arange(len(cards)), cards), dtype=float)

    def days_on(self, day: date) -> int:
        """Days since the last visit."""
        return (day - self.visited_on).days


@dataclass(frozen=True, kw_only=True)
class NextVisit:
    """When to go to one camera next.

    best : the open day with the least cost; None when none is open. plan_on : the day to plan with, no later than the
    day by which batteries or card stop with a chance of a tenth, if one can go by then. tenth : that day, None when it
    lies beyond the forecast. chance_stopped, lost_days : on `plan_on`. held_up_by : the closure in the way of a better
    day.
    asked_on : the day of the question. looked_to : the last day that was looked at. `trod.telling.upkeep` words it.
    """

    name: str
    best: date | None
    plan_on: date | None
    tenth: date | None
    chance_stopped: float
    lost_days: float
    interval: Interval
    held_up_by: Closure | None
    asked_on: date
    looked_to: date


@dataclass(frozen=True, kw_only=True)
class GoWhy:
    """Why to go to one camera when one is to go.

    visit : weighed against the price of a visit; where None, one of these stands: it was found stopped and nobody set
    it going again, nobody has seen it at work for longer than its forecast reaches, or it could not be weighed and
    `trouble` says why. `trod.telling.upkeep` words it.
    """

    visit: NextVisit | None = None
    found_on: date | None = None
    unseen_days: int = 0
    trouble: str = ""


def best_next_date(camera: Standing, *, today: date, within_days: int = 365) -> NextVisit:
    """The best open day for the next visit, from today on.

    Minimises `c(τ) + L(τ) + P(τ) − g·τ` over open days, P what vanishes with cards, g the cost a day of the best
    interval with fresh batteries and without closures: what a day of waiting is worth in the long run. Without
    closures and snow, and with a fresh set in, that is the interval of `best_interval`.
    """
    gone = camera.days_on(today)
    if gone < 0:
        raise WrongInput("today", got=today.isoformat(), needed=f"a day not before the last visit, {camera.visited_on}")
    curve = camera.curve
    interval = camera.interval(camera.price.days)
    last = min(gone + within_days, len(curve) - 1)
    if interval.outcome == "ask for the hazard":
        last = max(gone, min(last, int(LONGEST_UNASKED_DAYS)))
    if gone > len(curve) - 1:
        raise WrongInput(
            "today",
            got=f"{gone} days after the last visit",
            needed=f"a day within the forecast, which ends after {len(curve) - 1} days; make a longer forecast",
        )
    after = np.arange(gone, last + 1)
    dates = [camera.visited_on + timedelta(days=int(t)) for t in after]
    lost = lost_days(curve, after.astype(float))
    travel = np.array([camera.price.travel_days * camera.access.factor(day) for day in dates])
    score = travel + camera.price.own_days + camera.losses(after) - interval.cost_per_day * after
    closed = [camera.access.closed(day) for day in dates]
    is_open = np.array([closure is None for closure in closed])
    free = int(np.argmin(score))
    tenth_days = day_of_chance(camera.stopped)
    tenth = None if tenth_days is None else camera.visited_on + timedelta(days=_within(tenth_days))
    if not is_open.any():
        why = closed[free]
        assert why is not None
        return NextVisit(
            name=camera.name,
            best=None,
            plan_on=None,
            tenth=tenth,
            chance_stopped=float(curve[after[free]]),
            lost_days=float(lost[free]),
            interval=interval,
            held_up_by=why,
            asked_on=today,
            looked_to=dates[-1],
        )
    best = int(np.argmin(np.where(is_open, score, np.inf)))
    plan = best
    if tenth is not None and dates[best] > tenth:
        # An open day by the tenth, as late as can be; where there is none, the first open day after it.
        by_then = [i for i in range(len(dates)) if is_open[i] and dates[i] <= tenth]
        plan = by_then[-1] if by_then else min(best, int(np.argmax(is_open)))
    held = closed[free] if not is_open[free] else None
    chance = float(curve[after[plan]])
    return NextVisit(
        name=camera.name,
        best=dates[best],
        plan_on=dates[plan],
        tenth=tenth,
        chance_stopped=chance,
        lost_days=float(lost[plan]),
        interval=interval,
        held_up_by=held,
        asked_on=today,
        looked_to=dates[-1],
    )


def _within(days: float) -> int:
    """The day during which a chance is reached, counted from the last visit: the curve tells ends of days."""
    return max(0, math.ceil(days) - 1)


@dataclass(frozen=True, kw_only=True)
class RoundDay:
    """The best day for a round that several cameras share.

    day : None when none is open. take, leave : names. every_days : how often such a round pays. lost_days : of all
    cameras since their visits, expected on that day. chances : (name, chance of being found stopped). looked_to : the
    last day that was looked at. `trod.telling.upkeep` words it.
    """

    day: date | None
    take: tuple[str, ...]
    leave: tuple[str, ...]
    every_days: float
    lost_days: float
    chances: tuple[tuple[str, float], ...]
    looked_to: date


def best_day_for_round(
    cameras: Sequence[Standing],
    *,
    today: date,
    travel_days: float,
    access: Access = Access(),
    within_days: int = 120,
) -> RoundDay:
    """The best day for one trip to several cameras that share the way, and who is worth the stop.

    travel_days : the way for the whole round, in camera-days, once; the cameras' own prices count without their way.

    Notes
    -----
    Day: least `way(d) + Σ L(τ_i) − G·d`, where G is the least cost a day of visiting all of them together. Stop: a
    camera is taken when its mean chance of standing dead until the next round (after the best common interval) is above
    the cost a day it has on its own, way not counted. Both are the first-order condition, with waiting priced at its
    long-run worth; a heuristic where cameras differ much, since joint replenishment has no simple optimum.
    """
    if not cameras:
        raise WrongInput("cameras", got=0, needed="at least one camera")
    positive("travel_days", travel_days, needed="camera-days, 0 or more", zero=True)
    for camera in cameras:
        if not 0 <= camera.days_on(today) < len(camera.stopped) - 1:
            raise WrongInput(
                f"forecast of {camera.name}",
                got=f"{camera.days_on(today)} days after its last visit",
                needed=f"today within its forecast of {len(camera.stopped) - 1} days; make a new one",
            )
    curves = [camera.curve for camera in cameras]
    own = sum(camera.price.own_days for camera in cameras)
    common = min(len(curve) for curve in curves)
    every, rate = _common_interval(own + travel_days, common, cameras)
    gone = [camera.days_on(today) for camera in cameras]
    last = min(within_days, min(len(curve) - 1 - days for curve, days in zip(curves, gone, strict=True)))
    waits = np.arange(0, last + 1)
    dates = [today + timedelta(days=int(wait)) for wait in waits]
    score = np.array([travel_days * access.factor(day) for day in dates]) - rate * waits
    for camera, days in zip(cameras, gone, strict=True):
        score = score + camera.losses((days + waits).astype(float))
    is_open = np.array([access.closed(day) is None for day in dates])
    names = tuple(camera.name for camera in cameras)
    if not is_open.any():
        return RoundDay(
            day=None,
            take=(),
            leave=names,
            every_days=every,
            lost_days=0.0,
            chances=(),
            looked_to=dates[-1],
        )
    at = int(np.argmin(np.where(is_open, score, np.inf)))
    take: list[str] = []
    for camera, curve, days in zip(cameras, curves, gone, strict=True):
        then = days + at
        later = min(then + every, float(len(curve) - 1))
        closed = camera.access.closed(dates[at]) is not None
        mean = (camera.losses(later) - camera.losses(float(then))) / max(later - then, 1e-9)
        alone = camera.interval(camera.price.own_days or 1e-6)
        if not closed and (later <= then or float(mean) > alone.cost_per_day):
            take.append(camera.name)
    chances = tuple(
        (camera.name, float(curve[days + at])) for camera, curve, days in zip(cameras, curves, gone, strict=True)
    )
    lost = sum(float(lost_days(curve, float(days + at))) for curve, days in zip(curves, gone, strict=True))
    leave = tuple(name for name in names if name not in take)
    return RoundDay(
        day=dates[at],
        take=tuple(take),
        leave=leave,
        every_days=every,
        lost_days=lost,
        chances=chances,
        looked_to=dates[-1],
    )


def _common_interval(price_days: float, common: int, cameras: Sequence[Standing]) -> tuple[float, float]:
    """The interval at which visiting all together costs least a day in the long run, and that cost."""
    anew = [replace(camera, stopped=camera.anew, hung_days=0.0) for camera in cameras]
    common = min(common, *(len(camera.stopped) for camera in anew))
    every = np.arange(1, common)
    lost = np.sum([camera.losses(every.astype(float)) for camera in anew], axis=0)
    if not all(camera.hazard_per_day for camera in cameras):
        every = every[: int(LONGEST_UNASKED_DAYS)]
        lost = lost[: len(every)]
    cost = (price_days + lost) / every
    least = int(np.argmin(cost))
    return float(every[least]), float(cost[least])
