"""What a camera really draws, learnt from how its sets of batteries ended, with every trigger known.

A set that ended says how much the camera takes, unless something else ended it: a leak, a hang, a bad battery, a wet
contact. A set that was changed while the camera still worked says that it takes no more than so much. A percentage
read says something where the voltage falls with the charge (alkaline), nothing where it does not (lithium, NiMH).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from trod.errors import WrongInput, positive
from trod.planning.ground.weather import Climate
from trod.planning.last.arrivals import YEAR_DAYS
from trod.planning.last.stopping import LN_GRID, EnergyScale, Outfit, Used, day_of_year

Floats = NDArray[np.float64]
Ended = Literal["dead", "alive", "gauge"]

ENDED_SD_LN = 0.10  # how well the end of a set with known counts tells what it gave; assumed
UNIT_DIED = 0.2  # of cameras found without power, those that something else than empty batteries ended; assumed
# Such a death comes at any time: its end is spread evenly over a factor of e⁴, about fifty, in days.
UNIT_DIED_DENSITY = 1 / 4
NOT_NOTED = 0.02  # so often a set called alive had been changed without a word; assumed
GAUGE_SD_LN = 0.3  # of a charge read from a camera's gauge on alkaline batteries, beside ten points at each end; assumed
GAUGE_SD = 0.14  # two readings, each ten points off
GAUGE_WRONG = 0.2  # gauges that say nothing
LEAST_SHARE = 0.2  # of the charge, that must have gone before a gauge is heard
GAUGED = ("LR6",)  # kinds whose voltage falls with the charge


@dataclass(frozen=True, kw_only=True)
class BatterySet:
    """How one set of batteries ended.

    ended : "dead" no power was found; "alive" it still worked when it was changed or last seen; "gauge" a percentage
    was read, `share` of the charge had gone. counted_wh : what it should have given by its draw and its counts.
    capacity_wh : what it has in the nights about its end. sd_ln : how well both are known, as a standard deviation of
    the logarithm. days : that it lasted.
    """

    ended: Ended
    counted_wh: float
    capacity_wh: float
    sd_ln: float = ENDED_SD_LN
    share: float = 1.0
    days: int = 0

    def __post_init__(self) -> None:
        for name in ("counted_wh", "capacity_wh", "sd_ln"):
            positive(name, getattr(self, name))
        if not 0 < self.share <= 1:
            raise WrongInput("share", got=self.share, needed="a share of the charge, above 0, at most 1")

    @classmethod
    def of(
        cls, outfit: Outfit, *, climate: Climate, until: date, used: Used, ended: Ended, share: float = 1.0
    ) -> BatterySet:
        """From a camera's outfit and what its counts say was used up to a day.

        until : the day of its last night picture, or on which it was last seen at work.
        Notes : the flash fails in a cold night rather than in a mean one, so that the capacity is taken at half a
        standard deviation below the mean minimum, and what one standard deviation of cold does to it is added to the
        doubt.
        """
        doy = np.array([float(day_of_year(until))])
        mean, sd = float(climate.night_minimum_c(doy)[0]), float(climate.night_sd_c(doy)[0])
        pulse = max(outfit.draw.night_pulse_w, outfit.draw.day_pulse_w)
        low, at, high = outfit.pack.usable_wh(
            np.array([mean - 1.5 * sd, mean - 0.5 * sd, mean + 0.5 * sd]), pulse,
            pulse_weight=outfit.draw.pulse_weight, age_years=outfit.pack_age_years + used.days / YEAR_DAYS,
        )  # fmt: skip
        cold = (math.log(high) - math.log(low)) / 2 if low > 0 else 0.5
        return cls(
            ended=ended, counted_wh=used.energy_wh, capacity_wh=max(float(at), 1e-6),
            sd_ln=math.hypot(ENDED_SD_LN, cold), share=share, days=round(used.days),
        )  # fmt: skip

    @property
    def ln_factor(self) -> float:
        """The logarithm of what the camera takes against its draw, if the batteries alone ended it."""
        return math.log(self.share * self.capacity_wh / self.counted_wh)

    def tells(self) -> tuple[Floats, Floats]:
        """How likely this end is for each value of `LN_GRID`, with the batteries as its cause and with another."""
        off = self.ln_factor - LN_GRID
        if self.ended == "alive":
            return (1 - NOT_NOTED) * ndtr(off / self.sd_ln), np.full(LN_GRID.shape, NOT_NOTED)
        if self.ended == "gauge":
            sd = math.sqrt(self.sd_ln**2 + GAUGE_SD_LN**2 + (GAUGE_SD / self.share) ** 2)
            return (1 - GAUGE_WRONG) * _normal(off, sd), np.full(LN_GRID.shape, GAUGE_WRONG * UNIT_DIED_DENSITY)
        # Another cause could end it only while its batteries had not: it takes less than would have emptied them.
        still = ndtr(off / self.sd_ln)
        return (1 - UNIT_DIED) * _normal(off, self.sd_ln), UNIT_DIED * UNIT_DIED_DENSITY * still


def _normal(off: Floats, sd: float) -> Floats:
    return np.asarray(np.exp(-0.5 * (off / sd) ** 2) / (sd * math.sqrt(2 * math.pi)))


@dataclass(frozen=True, kw_only=True)
class Learnt:
    """What some sets taught.

    by_batteries : for each set, the chance that its batteries and not something else ended it (that it was told right,
    for one alive or read from a gauge).
    """

    scale: EnergyScale
    sets: tuple[BatterySet, ...]
    by_batteries: tuple[float, ...]


def learn(before: EnergyScale, sets: Sequence[BatterySet]) -> Learnt:
    """What a camera takes, after its sets of batteries ended as they did.

    Notes : Bayes on a grid of the logarithm. The likelihood of each set is a mixture of "the batteries ended it" and
    "something else did", so that one early death teaches hardly anything and several alike teach power draw after all.
    """
    weights = before.on_grid()
    if before.ln_sd == 0 or not sets:
        return Learnt(scale=before, sets=tuple(sets), by_batteries=(1.0,) * len(sets))
    told = [one.tells() for one in sets]
    log = np.log(np.maximum(weights, 1e-300))
    for batteries, other in told:
        log = log + np.log(np.maximum(batteries + other, 1e-300))
    after = np.exp(log - log.max())
    after = after / after.sum()
    shares = tuple(float(after @ (batteries / np.maximum(batteries + other, 1e-300))) for batteries, other in told)
    return Learnt(scale=EnergyScale.shaped(after), sets=tuple(sets), by_batteries=shares)
