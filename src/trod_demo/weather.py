"""The invented reserve's weather, a year by the hour. Ours; it only has to look likely."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np


@dataclass(frozen=True)
class Weather:
    """The air at one moment in front of one camera.

    cloud : 0 clear .. 1 overcast. rain, snowfall, fog : 0 none .. 1 heavy. wind_mps : mean wind.
    snow_cm : snow lying. leaf : 0 bare .. 1 full leaf. autumn : 0 green .. 1 brown.
    """

    temperature_c: float = 12.0
    cloud: float = 0.3
    rain: float = 0.0
    snowfall: float = 0.0
    fog: float = 0.0
    wind_mps: float = 2.0
    snow_cm: float = 0.0
    leaf: float = 1.0
    autumn: float = 0.0


def leaves(day: date) -> tuple[float, float]:
    """How full the broad-leaved trees are and how brown, 0..1 each, by the day of a northern year."""
    d = day.timetuple().tm_yday
    leaf = float(np.interp(d, [1, 95, 135, 275, 318, 366], [0.0, 0.0, 1.0, 1.0, 0.0, 0.0]))
    autumn = float(np.interp(d, [1, 60, 120, 245, 292, 366], [1.0, 1.0, 0.0, 0.0, 1.0, 1.0]))
    return leaf, autumn


class Almanac:
    """Weather of a run of days, made once from a seed and the same for the same seed."""

    def __init__(self, first: date, last: date, *, seed: int) -> None:
        self.first = first
        days = (last - first).days + 2
        rng = np.random.default_rng([seed, 77])
        spell = 0.0
        wet = False
        snow = 0.0
        self._mean_c: list[float] = []
        self._cloud: list[float] = []
        self._rain: list[float] = []
        self._fog: list[float] = []
        self._wind: list[float] = []
        self._snow_cm: list[float] = []
        self.false_running: list[date] = []
        for i in range(days):
            day = first + timedelta(days=i)
            season = math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25)
            spell = 0.75 * spell + 2.4 * float(rng.standard_normal())
            mean_c = 7.5 - 10.5 * season + spell
            wet = bool(rng.random() < (0.62 if wet else 0.22))
            rain = float(rng.uniform(0.2, 1.0)) if wet else 0.0
            cloud = float(rng.uniform(0.7, 1.0)) if wet else float(rng.beta(0.8, 1.1))
            wind = float(rng.gamma(2.2, 1.2)) + (1.5 if wet else 0.0)
            if wind > 7.0:
                self.false_running.append(day)
            if wet and mean_c < 1.0:
                snow += 9 * rain
            snow = max(0.0, snow - max(0.0, mean_c) * 2.4 - 0.3)
            fog = float(rng.uniform(0.3, 1.0)) if (not wet and rng.random() < 0.07 + 0.1 * season) else 0.0
            self._mean_c.append(mean_c)
            self._cloud.append(cloud)
            self._rain.append(rain)
            self._fog.append(fog)
            self._wind.append(wind)
            self._snow_cm.append(snow)

    def at(self, local: datetime) -> Weather:
        """The weather at a local standard time (any naive or aware datetime; its own clock face counts)."""
        day = local.date()
        i = max(0, min(len(self._mean_c) - 1, (day - self.first).days))
        hour = local.hour + local.minute / 60
        clear = 1 - self._cloud[i]
        swing = (2.0 + 5.0 * clear) * math.cos(2 * math.pi * (hour - 15) / 24)
        temperature = self._mean_c[i] + swing
        # A wet day rains in two spells whose hours come from the day itself, so that no more chance is
        # needed.
        shower = math.sin(2 * math.pi * (hour / 11.0 + (i * 0.37) % 1.0)) > 0.25
        falls = self._rain[i] if shower else 0.0
        leaf, autumn = leaves(day)
        return Weather(
            temperature_c=temperature,
            cloud=self._cloud[i],
            rain=falls if temperature > 0.8 else 0.0,
            snowfall=falls if temperature <= 0.8 else 0.0,
            fog=self._fog[i] if hour < 10 or hour > 21 else 0.0,
            wind_mps=self._wind[i],
            snow_cm=self._snow_cm[i],
            leaf=leaf,
            autumn=autumn,
        )
