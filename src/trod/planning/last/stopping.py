"""The simulation behind a stop forecast: many possible futures of one camera, day by day or in longer steps.

Each future has its own truth about the site, the camera's own power draw, its files and its nights. It ends when
the batteries give less than the flash asks for, or when the card is full.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from trod.errors import WrongInput, positive
from trod.planning.equipment.batteries import Pack
from trod.planning.equipment.card_room import FileSizes, mb_per_trigger, usable_mb
from trod.planning.equipment.energy import SECONDS_A_DAY, Draw, parts_doubt_ln, trigger_energy_j
from trod.planning.ground.weather import Climate
from trod.planning.last.arrivals import (
    DRIFT_MEMORY_DAYS,
    FALSE_RUN_SHAPE,
    FALSE_RUN_STAY,
    LASTING_STAY,
    Arrivals,
    DayCount,
)
from trod.planning.place.adviser import thinned
from trod.planning.place.placement import STAYED

Floats = NDArray[np.float64]

MOST_DAYS = 1096  # three years; no forecast is worth more than that
ENERGY_SD_LN = 0.20  # device and batteries together, beside what is not known of the draw's figures
LN_GRID: Floats = np.linspace(-2.5, 2.5, 201)  # of an energy scale that evidence has shaped
BYTES_SD_LN = 0.08
DRIFT_MEDIAN_SD, DRIFT_SD_SPREAD = 0.3, 0.35
SEASON_SD = 0.1  # of the amplitude
FALSE_RUN_NIGHT_SHARE = (
    0.3  # of the blanks of a run of false triggers: wind and sun-warmed leaves set it off by day more; assumed
)
MILD_C = 10.0
COLD_SPELL = 0.7  # how much of a night's deviation is left on the next; assumed
WEATHERS = 256
_TABLE_C: Floats = np.arange(-70.0, 45.25, 0.25)


@dataclass(frozen=True)
class EnergyScale:
    """What this camera really takes, against what its `Draw` says: exp of a number with this mean and spread.

    weights : chances of the values of `LN_GRID`, once evidence has shaped them; lognormal when empty.
    """

    ln_mean: float = 0.0
    ln_sd: float = ENERGY_SD_LN
    weights: tuple[float, ...] = field(default=(), repr=False)

    def __post_init__(self) -> None:
        positive("ln_sd", self.ln_sd, needed="a number, 0 or more", zero=True)
        if not -2.5 <= self.ln_mean <= 2.5:
            raise WrongInput("ln_mean", got=self.ln_mean, needed="a number from -2.5 to 2.5")
        if self.weights and len(self.weights) != len(LN_GRID):
            raise WrongInput("weights", got=len(self.weights), needed=f"{len(LN_GRID)} chances, or none")

    @classmethod
    def shaped(cls, weights: Floats) -> EnergyScale:
        """From chances of the values of `LN_GRID`, in any scale."""
        share = weights / weights.sum()
        mean = float(share @ LN_GRID)
        return cls(mean, math.sqrt(float(share @ (LN_GRID - mean) ** 2)), tuple(share.tolist()))

    def on_grid(self) -> Floats:
        """The chances of the values of `LN_GRID`."""
        if self.weights:
            return np.array(self.weights)
        sd = max(self.ln_sd, (LN_GRID[1] - LN_GRID[0]) / 2)
        chance = np.exp(-0.5 * ((LN_GRID - self.ln_mean) / sd) ** 2)
        return np.asarray(chance / chance.sum())

    def draw(self, n: int, rng: np.random.Generator) -> Floats:
        """n possible factors."""
        if not self.weights:
            return np.exp(self.ln_mean + self.ln_sd * rng.standard_normal(n))
        half = (LN_GRID[1] - LN_GRID[0]) / 2
        return np.exp(rng.choice(LN_GRID, n, p=np.array(self.weights)) + rng.uniform(-half, half, n))

    def within(self, chance: float = 0.8) -> tuple[float, float]:
        """The factors between which it lies with a chance, as much left out below as above."""
        low, high = (1 - chance) / 2, (1 + chance) / 2
        if not self.weights:
            z = float(ndtri(high))
            return math.exp(self.ln_mean - z * self.ln_sd), math.exp(self.ln_mean + z * self.ln_sd)
        reached = np.cumsum(self.weights)
        return tuple(float(np.exp(np.interp(q, reached, LN_GRID))) for q in (low, high))  # type: ignore[return-value]


@dataclass(frozen=True, kw_only=True)
class Outfit:
    """A camera as it hangs: what it draws, what feeds it, what it writes on, how it is set.

    pack_age_years : of the batteries, on the first day of the forecast. card_gb : as printed on the card. frames,
    clip_s : for each trigger. delay_s : between triggers. night_share : of the steady triggers; None takes it
    from the arrivals. lapses_per_day : pictures by the clock. scale : what this camera has shown that it takes; None
    while it has shown nothing: then it is as doubtful as the figures of its draw (`scale_for`).
    bytes_sd : how unknown the mean size of its files is, of the logarithm; 0.08 for assumed sizes.
    """

    draw: Draw = field(default_factory=Draw)
    pack: Pack
    pack_age_years: float = 0.0
    card_gb: float = 32.0
    sizes: FileSizes = field(default_factory=FileSizes)
    frames: int = 3
    clip_s: float = 0.0
    delay_s: float = 10.0
    night_share: float | None = None
    lapses_per_day: float = 0.0
    scale: EnergyScale | None = None
    bytes_sd: float = BYTES_SD_LN

    def __post_init__(self) -> None:
        for what in ("pack_age_years", "delay_s", "lapses_per_day", "bytes_sd"):
            positive(what, getattr(self, what), needed="a number, 0 or more", zero=True)
        if self.night_share is not None and not 0 <= self.night_share <= 1:
            raise WrongInput("night_share", got=self.night_share, needed="a share from 0 to 1")
        usable_mb(self.card_gb)  # refuses a card of no size
        self.trigger_wh(0.5)  # refuses impossible frames and clips

    def trigger_wh(self, night_share: float) -> float:
        """What a trigger costs. [Wh]"""
        return trigger_energy_j(self.draw, frames=self.frames, clip_s=self.clip_s, night_share=night_share) / 3600

    def trigger_mb(self, night_share: float) -> float:
        """What a trigger writes. [MB]"""
        return mb_per_trigger(self.sizes, frames=self.frames, clip_s=self.clip_s, night_share=night_share)

    @property
    def resting_wh_a_day(self) -> float:
        """What a day without a trigger costs, pictures by the clock included. [Wh]"""
        lapse_j = self.draw.wake_j + self.draw.day_frame_j
        return self.draw.idle_wh_a_day + self.lapses_per_day * lapse_j / 3600

    @property
    def resting_mb_a_day(self) -> float:
        """What pictures by the clock write in a day. [MB]"""
        return self.lapses_per_day * (self.sizes.day_mean_mb + self.sizes.slack_mb)

    def parts_j(self, *, days: float, triggers: float, blanks: float, night_share: float) -> dict[str, float]:
        """Energy of some days by the figure of the draw that it rests on. [J]

        triggers : animals and people, of which `night_share` by night. blanks : of runs of false triggers.
        """
        draw, lapses = self.draw, self.lapses_per_day * days
        dark = triggers * night_share + blanks * FALSE_RUN_NIGHT_SHARE
        light = triggers + blanks - dark
        return {
            "idle_w": draw.idle_w * SECONDS_A_DAY * days,
            "wake_j": draw.wake_j * (triggers + blanks + lapses),
            "day_frame_j": draw.day_frame_j * (self.frames * light + lapses),
            "night_frame_j": draw.night_frame_j * self.frames * dark,
            "day_clip_w": draw.day_clip_w * self.clip_s * light,
            "night_clip_w": draw.night_clip_w * self.clip_s * dark,
        }

    def most_triggers_a_day(self) -> float:
        """More than this the delay does not allow."""
        return 86_400 / (self.delay_s + self.clip_s + 1)


@dataclass(frozen=True, kw_only=True)
class Used:
    """What a camera has already taken from its batteries and written on its card when a forecast begins.

    energy_wh : by its `Draw`, from known counts; the camera's own scale is put on it by the forecast. days :
    since the batteries were fresh. card_mb : what is on the card, as its files tell.
    """

    energy_wh: float = 0.0
    card_mb: float = 0.0
    days: float = 0.0

    def __post_init__(self) -> None:
        for what in ("energy_wh", "card_mb", "days"):
            positive(what, getattr(self, what), needed="a number, 0 or more", zero=True)

    @classmethod
    def of(
        cls, outfit: Outfit, counts: list[DayCount], *, fresh_batteries: date, card_in: date, night_share: float = 0.5
    ) -> Used:
        """From the daily counts: energy since the batteries were fresh, room taken since the card was put in.

        Days on which the camera did not watch cost nothing. A day's own night count is used where there is
        one, else `night_share`.
        """
        energy = room = 0.0
        days = 0
        for count in counts:
            if not count.alive:
                continue
            warm = count.animals + count.people
            night = night_share if count.night is None or not warm else count.night / warm
            if count.day >= fresh_batteries:
                days += 1
                energy += outfit.resting_wh_a_day + warm * outfit.trigger_wh(night)
                energy += count.blanks * outfit.trigger_wh(FALSE_RUN_NIGHT_SHARE)
            if count.day >= card_in:
                room += outfit.resting_mb_a_day + warm * outfit.trigger_mb(night)
                room += count.blanks * outfit.trigger_mb(FALSE_RUN_NIGHT_SHARE)
        return cls(energy_wh=energy, card_mb=room, days=days)


@dataclass(frozen=True)
class Stops:
    """Days from the start until things end, one row a future; inf beyond the horizon.

    flash : the batteries no longer carry the flash. dark : nor a day picture. card : no room left. cold : whether
    the batteries would go on in a mild week.
    """

    flash: Floats
    dark: Floats
    card: Floats
    cold: NDArray[np.bool_]


@dataclass(frozen=True)
class _Capacity:
    """The pack's usable energy by temperature, for the flash and for day pictures. [Wh]"""

    flash: Floats
    day: Floats
    ageing_a_day: float

    @classmethod
    def of(cls, outfit: Outfit) -> _Capacity:
        pack, draw, age = outfit.pack, outfit.draw, outfit.pack_age_years
        heaviest = max(draw.night_pulse_w, draw.day_pulse_w) if outfit.night_share != 0 else draw.day_pulse_w
        flash, day = (
            pack.usable_wh(_TABLE_C, pulse, pulse_weight=draw.pulse_weight, age_years=age)
            for pulse in (heaviest, draw.day_pulse_w)
        )
        left = 1 - pack.battery.ageing_per_year * age
        return cls(flash, day, pack.battery.ageing_per_year / 365.25 / left if left > 0 else 0.0)

    def wh(self, temperature_c: Floats, days: Floats, *, flash: bool = True) -> Floats:
        """What it gives at a temperature after so many days of ageing in the camera. Broadcast."""
        fresh = np.interp(temperature_c, _TABLE_C, self.flash if flash else self.day)
        return np.asarray(fresh * np.maximum(0.0, 1 - self.ageing_a_day * days))


def day_of_year(day: date) -> int:
    """1 for 1 January."""
    return day.timetuple().tm_yday


def delay_effect(arrivals: Arrivals, outfit: Outfit) -> tuple[float, float]:
    """What another delay than that of the counts does, as factors.

    On steady triggers, and on the blanks of a run of false triggers.
    """
    counted, now = arrivals.delay_s, outfit.delay_s
    if counted == now:
        return 1.0, 1.0
    stays = thinned(1.0, now, stays=True) / thinned(1.0, counted, stays=True)
    return (stays if arrivals.feature in STAYED else 1.0), stays


def scale_for(outfit: Outfit, arrivals: Arrivals) -> EnergyScale:
    """What a camera may take against what its draw says.

    What it has shown; else as doubtful as its draw's figures are at this site, and as batteries and devices of one kind
    differ.
    """
    if outfit.scale is not None:
        return outfit.scale
    known = arrivals.posterior
    night = known.night_share if outfit.night_share is None else outfit.night_share
    steady_by, false_run_by = delay_effect(arrivals, outfit)
    blanks = known.false_run_share * known.false_run_blanks * false_run_by
    parts = outfit.parts_j(days=1.0, triggers=known.level.per_day * steady_by, blanks=blanks, night_share=night)
    return unshown_scale(outfit.draw, parts)


def unshown_scale(draw: Draw, parts_j: Mapping[str, float]) -> EnergyScale:
    """What a camera that has shown nothing may take against its draw, by what its energy goes into."""
    return EnergyScale(0.0, math.hypot(ENERGY_SD_LN, parts_doubt_ln(draw, parts_j)))


def capacity_now_wh(outfit: Outfit, climate: Climate, on: date, used: Used) -> float:
    """What the fresh pack would give to the flash in an ordinary night of that day. [Wh]"""
    cold = climate.night_minimum_c(np.array([float(day_of_year(on))]))
    return float(_Capacity.of(outfit).wh(cold, np.array([used.days]))[0])


def simulate(
    outfit: Outfit,
    climate: Climate,
    arrivals: Arrivals,
    start: date,
    used: Used,
    *,
    draws: int,
    step_days: int,
    most_days: int = MOST_DAYS,
    second_date: bool = True,
    run_stays: bool | None = None,
    rng: np.random.Generator,
) -> Stops:
    """The stops of `draws` possible futures.

    step_days : 1 for day by day; longer steps sum the days' counts (a sum of w days NB(μ, k) is NB(wμ, wk)),
    which is quicker and a little coarser in the drift. second_date : whether to follow each future beyond
    the flash, until day pictures end. A future whose batteries would already have been empty at the start is not
    one: the camera is alive, which tells that it is not among the hungriest. run_stays : whether the run of false
    triggers of the last days is taken as one that stays or as wind; None leaves it to chance, as it is known.

    Notes : runs of false triggers start as a Poisson process with the two-state chain's rate, last a geometric number of
    days, and bring all their blanks in the step in which they start.
    """
    w, horizon = step_days, int(min(most_days, MOST_DAYS))
    truth, known = arrivals.draw(draws, rng), arrivals.posterior
    capacity = _Capacity.of(outfit)
    energy = _scale(scale_for(outfit, arrivals), capacity_now_wh(outfit, climate, start, used), used, draws, rng)
    size = np.exp(outfit.bytes_sd * rng.standard_normal(draws))
    drift_sd = DRIFT_MEDIAN_SD * np.exp(DRIFT_SD_SPREAD * rng.standard_normal(draws))
    # Nobody knows the swing of a site's year exactly; a flat year that was asked for stays flat.
    swing = SEASON_SD * rng.standard_normal(draws) * (arrivals.prior.season.amplitude > 0)
    night = truth.night_share if outfit.night_share is None else np.full(draws, outfit.night_share)
    steady_by, false_run_by = delay_effect(arrivals, outfit)
    fixed_wh, fixed_mb = outfit.resting_wh_a_day * w, outfit.resting_mb_a_day * w
    trigger_wh = outfit.trigger_wh(0.0) * (1 - night) + outfit.trigger_wh(1.0) * night
    trigger_mb = outfit.trigger_mb(0.0) * (1 - night) + outfit.trigger_mb(1.0) * night
    blank_wh, blank_mb = outfit.trigger_wh(FALSE_RUN_NIGHT_SHARE), outfit.trigger_mb(FALSE_RUN_NIGHT_SHARE)
    room = usable_mb(outfit.card_gb)
    keep, most = math.exp(-w / DRIFT_MEMORY_DAYS), outfit.most_triggers_a_day() * w
    starts_a_step = w * truth.false_run_start * (1 - FALSE_RUN_STAY) / (truth.false_run_start + 1 - FALSE_RUN_STAY)

    flash, dark, card = (np.full(draws, np.inf) for _ in range(3))
    cold = np.zeros(draws, dtype=bool)
    drift = drift_sd * rng.standard_normal(draws)
    spent, written = used.energy_wh * energy, np.full(draws, used.card_mb)
    # Days that the present run of false triggers has left, where it is of the lasting kind.
    run_left, lasting = np.zeros(draws), np.zeros(draws, dtype=bool)
    if known.run_days:
        lasting = rng.random(draws) < known.chance_lasting if run_stays is None else np.full(draws, run_stays)
        passed = 0 if known.last_day is None else max(0, (start - known.last_day).days - 1)
        run_left = np.where(lasting, np.maximum(0, rng.geometric(1 - LASTING_STAY, draws) - 1 - passed), 0)
    weather = _weathers(w)
    rows, t0, first_doy = np.arange(draws), 0, day_of_year(start)
    steps = 48 if w == 1 else 24
    while len(rows) and t0 < horizon:
        n = len(rows)
        ends = t0 + w * np.arange(1.0, steps + 1)
        middles = first_doy + ends - w / 2
        wander = rng.standard_normal((n, steps)) * (drift_sd[rows] * math.sqrt(1 - keep**2))[:, None]
        x = _wandering(wander, keep, drift[rows])
        year = arrivals.prior.season
        turn = np.cos(2 * np.pi * (middles - year.peak_day) / 365.25)
        log_mean = (year.amplitude + swing[rows])[:, None] * turn + x - (drift_sd[rows] ** 2 / 2)[:, None]
        shape = truth.k[rows][:, None] * w
        mean = (truth.level[rows] * steady_by * w)[:, None] * np.exp(log_mean)
        triggers = rng.poisson(np.minimum(rng.standard_gamma(shape, (n, steps)) * mean / shape, 1e9)).astype(float)
        brief = ~lasting[rows] & (known.in_false_run and t0 == 0)
        blanks = _false_runs(truth.false_run_blanks[rows] * false_run_by, starts_a_step[rows], steps, rng, first=brief)
        if run_left.any():
            left = np.clip(run_left[rows][:, None] - (t0 + w * np.arange(steps)), 0, w)
            on = rng.poisson(
                rng.standard_gamma(FALSE_RUN_SHAPE * left) * truth.false_run_blanks[rows][:, None] / FALSE_RUN_SHAPE
            )
            blanks = blanks + on * false_run_by
        np.minimum(triggers, most, out=triggers)
        np.minimum(blanks, most, out=blanks)

        gone = (fixed_wh + triggers * trigger_wh[rows][:, None] + blanks * blank_wh) * energy[rows][:, None]
        if outfit.pack.panel is not None:
            gone = gone - outfit.pack.panel.day_wh(middles) * w
        gone = spent[rows][:, None] + np.cumsum(gone, axis=1)
        if outfit.pack.panel is not None:  # a battery that is full takes no more
            gone = gone - np.minimum(np.minimum.accumulate(gone, axis=1), 0.0)
        full = (fixed_mb + triggers * trigger_mb[rows][:, None] + blanks * blank_mb) * size[rows][:, None]
        full = written[rows][:, None] + np.cumsum(full, axis=1)
        chill = weather[rows % WEATHERS, t0 // w : t0 // w + steps]
        nights = climate.night_minimum_c(middles) + climate.night_sd_c(middles) * chill
        aged = used.days + ends

        limit = capacity.wh(nights, aged)
        at, when = _crossing(gone, limit, spent[rows], t0, w)
        new = np.isinf(flash[rows]) & (at >= 0)
        flash[rows[new]] = when[new]
        cold[rows[new]] = gone[new, at[new]] < 0.9 * capacity.wh(np.array(MILD_C), aged)[at[new]]
        at, when = _crossing(full, np.broadcast_to(room, full.shape), written[rows], t0, w)
        new = np.isinf(card[rows]) & (at >= 0)
        card[rows[new]] = when[new]
        if second_date:
            at, when = _crossing(gone, capacity.wh(nights, aged, flash=False), spent[rows], t0, w)
            new = np.isinf(dark[rows]) & (at >= 0)
            dark[rows[new]] = when[new]

        spent[rows], written[rows], drift[rows] = gone[:, -1], full[:, -1], x[:, -1]
        ended = card[rows] if not second_date else np.minimum(card[rows], dark[rows])
        going = np.isinf(ended) if second_date else np.isinf(np.minimum(ended, flash[rows]))
        rows, t0 = rows[going], t0 + steps * w
    for stops in (flash, dark, card):
        stops[stops > horizon] = np.inf
    return Stops(flash, np.maximum(dark, flash), card, cold & outfit.pack.battery.wakes)


def _wandering(pushes: Floats, keep: float, before: Floats) -> Floats:
    """x_j = keep · x_(j-1) + push_j along the second axis, from `before` on.

    By hand: importing scipy.signal for its filter would make a command's first answer a second later.
    """
    found = np.empty(pushes.shape[::-1])
    x = before
    for j, push in enumerate(pushes.T):
        x = keep * x + push
        found[j] = x
    return found.T


@lru_cache(maxsize=32)
def _weathers(step_days: int) -> Floats:
    """Many weathers: for each step the coldest night's deviation, in standard deviations. (WEATHERS, steps).

    Always the same ones, for all cameras: two cameras of a reserve have one winter, and a bigger pack is
    compared with a smaller one in the same cold.
    """
    steps = MOST_DAYS // step_days + 50
    noise = np.random.default_rng(2027).standard_normal((WEATHERS, steps * step_days + 1))
    noise[:, 1:] *= math.sqrt(1 - COLD_SPELL**2)
    nights = _wandering(noise[:, 1:], COLD_SPELL, noise[:, 0])
    return np.asarray(nights.reshape(WEATHERS, steps, step_days).min(axis=2))


def _scale(scale: EnergyScale, capacity_wh: float, used: Used, draws: int, rng: np.random.Generator) -> Floats:
    """Energy scales that a camera still alive can have. Shape (draws,).

    Where hardly any can (the batteries should be empty by all that is known), the least hungry ones are taken.
    """
    many = scale.draw(8 * draws, rng)
    if used.energy_wh <= 0:
        return many[:draws]
    alive = many[many * used.energy_wh < capacity_wh]
    if len(alive) < 20:
        alive = np.sort(many)[: max(20, draws // 20)]
    return np.resize(alive, draws)


def _false_runs(
    blanks: Floats, starts_a_step: Floats, steps: int, rng: np.random.Generator, *, first: NDArray[np.bool_]
) -> Floats:
    """Blanks of runs of false triggers in each step, shape (n, steps).

    first : in which rows a run of false triggers is on when the first step begins.
    """
    n = len(blanks)
    starts = rng.poisson(starts_a_step[:, None], (n, steps))
    row, step = np.nonzero(starts)
    begun = starts[row, step]
    false_run_days = begun + rng.negative_binomial(begun, 1 - FALSE_RUN_STAY)
    found = np.zeros((n, steps))
    found[row, step] = rng.poisson(rng.standard_gamma(FALSE_RUN_SHAPE * false_run_days) * blanks[row] / FALSE_RUN_SHAPE)
    if first.any():
        left = (rng.geometric(1 - FALSE_RUN_STAY, n) - 1) * first
        on = np.nonzero(left)[0]
        found[on, 0] += rng.poisson(rng.standard_gamma(FALSE_RUN_SHAPE * left[on]) * blanks[on] / FALSE_RUN_SHAPE)
    return found


def _crossing(path: Floats, limit: Floats, before: Floats, t0: float, w: int) -> tuple[NDArray[np.int64], Floats]:
    """First step at whose end `path` has come to `limit`, or -1; and the time, on a straight line inside the step."""
    over = path >= limit
    at = np.where(over.any(axis=1), over.argmax(axis=1), -1)
    row = np.arange(len(path))
    end = path[row, at]
    start = np.where(at > 0, path[row, np.maximum(at, 1) - 1], before)
    rise = np.maximum(end - start, 1e-12)
    part = np.clip((limit[row, at] - start) / rise, 0.0, 1.0)
    return at.astype(np.int64), np.where(at >= 0, t0 + (at + part) * w, np.inf)
