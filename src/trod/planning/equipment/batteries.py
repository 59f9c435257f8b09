"""What batteries hold: usable energy by load, cold and age, for the kinds a camera takes.

Batteries are named by the designations of IEC 60086 (LR6 alkaline, FR6 lithium) and IEC 61951-2 (HR6 nickel-metal
hydride), all of the AA size. The curve is ours: it is fitted to a handful of published points (see `BATTERIES`).
IEC 60086-2 lists least durations for LR6; they are not used here, because they were not read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import wording
from trod.errors import WrongInput, positive
from trod.planning.equipment.panel import Panel

Floats = NDArray[np.float64]
# The temperature at which the figures of `BATTERIES` are stated.
ROOM_C = 21.0
# A short flash loads batteries less than a steady draw of the same power would. Assumed.
PULSE_WEIGHT = 0.5


@dataclass(frozen=True, kw_only=True)
class Battery:
    """One kind of battery and how it takes load and cold.

    energy_wh : at 21 °C and hardly any load. l50_w : load on one battery that halves it. m : how sharply. t0_c :
    temperature that halves it at no load; k_t : by how many °C a watt on the battery shifts that up. width_c : over
    how many °C it falls. ageing_per_year : share lost on the stock. voltage_v : of one battery under a light load.
    resistance_ohm : inside, fresh, at room temperature. wakes : whether a cold stop can be for a while only.
    source : where the figures are from.
    """

    designation: str
    energy_wh: float
    l50_w: float
    m: float
    t0_c: float
    k_t: float
    width_c: float
    ageing_per_year: float
    source: str
    voltage_v: float = 1.5
    resistance_ohm: float = 0.0
    wakes: bool = True

    def __post_init__(self) -> None:
        if not self.designation.strip():
            raise WrongInput("designation", got=self.designation, needed="the battery's kind, such as LR6")
        for name in ("energy_wh", "l50_w", "m", "width_c", "voltage_v"):
            positive(name, getattr(self, name))
        positive("k_t", self.k_t, needed="°C per watt, 0 or more", zero=True)
        positive("resistance_ohm", self.resistance_ohm, needed="ohms, 0 or more", zero=True)
        if not -100 <= self.t0_c <= 50:
            raise WrongInput("t0_c", got=self.t0_c, needed="degrees Celsius from -100 to 50")
        if not 0 <= self.ageing_per_year < 1:
            raise WrongInput("ageing_per_year", got=self.ageing_per_year, needed="a share from 0 to below 1")


# energy_wh, l50_w, m, t0_c, k_t, width_c were fitted to the points named; the curve between them is assumed.
_POINTS = (
    "curve ours, fitted to {points}; cold shares from memory of Linden & Reddy, Handbook of Batteries, "
    "and of makers' handbooks"
)
BATTERIES: dict[str, Battery] = {
    "LR6": Battery(
        designation="LR6",
        energy_wh=3.45,
        l50_w=0.53,
        m=1.2,
        t0_c=-10.0,
        k_t=12.0,
        width_c=12.0,
        ageing_per_year=0.03,
        resistance_ohm=0.15,
        source=_POINTS.format(
            points="2.85 Ah at 25 mA, 1.4 Ah at 500 mA and less than 1 Ah at 1 A at 21 °C (quoted from makers' "
            "data), 0.7–0.8 of it at 0 °C, 0.2–0.4 at -20 °C"
        ),
    ),
    "FR6": Battery(
        designation="FR6",
        energy_wh=4.5,
        l50_w=9.0,
        m=1.0,
        t0_c=-40.0,
        k_t=5.0,
        width_c=9.0,
        ageing_per_year=0.006,
        resistance_ohm=0.12,
        wakes=False,
        source=_POINTS.format(
            points="3.0 Ah at 1.5 V, nearly whatever the load (quoted from makers' data), about 0.9 at -20 °C"
        ),
    ),
    "HR6": Battery(
        designation="HR6",
        energy_wh=2.4,
        l50_w=6.0,
        m=1.0,
        t0_c=-20.0,
        k_t=6.0,
        width_c=9.0,
        ageing_per_year=0.15,
        voltage_v=1.2,
        resistance_ohm=0.03,
        source=_POINTS.format(
            points="2.0 Ah at 1.2 V, low self-discharge, 0.8–0.9 at 0 °C, about 0.5 at -20 °C; a camera that "
            "cuts off at 1.1 V a battery gets less, which is not in the model"
        ),
    ),
    "external": Battery(
        designation="external",
        energy_wh=42.0,
        l50_w=60.0,
        m=1.0,
        t0_c=-25.0,
        k_t=0.1,
        width_c=12.0,
        ageing_per_year=0.3,
        voltage_v=12.0,
        resistance_ohm=0.03,
        source="assumed: a sealed lead-acid battery of 12 V and 7 Ah, half of it used so that it lasts, its load "
        "and cold curve a guess; type in what the maker of yours says",
    ),
}


def external(voltage_v: float, capacity_ah: float, *, share: float = 0.5) -> Battery:
    """An external battery as one big battery. share : of the stated capacity that is meant to be used.

    Its curve is that of BATTERIES["external"], scaled; assumed.
    """
    positive("voltage_v", voltage_v)
    positive("capacity_ah", capacity_ah)
    if not 0 < share <= 1:
        raise WrongInput("share", got=share, needed="a share above 0, at most 1")
    model = BATTERIES["external"]
    energy = voltage_v * capacity_ah * share
    return Battery(
        designation="external",
        energy_wh=energy,
        l50_w=model.l50_w * energy / model.energy_wh,
        m=model.m,
        t0_c=model.t0_c,
        k_t=model.k_t * model.energy_wh / energy,
        width_c=model.width_c,
        ageing_per_year=model.ageing_per_year,
        voltage_v=voltage_v,
        source=f"{voltage_v:g} V and {capacity_ah:g} Ah as typed in, {wording.share(share)} of it used; "
        "load and cold curve assumed",
    )


def battery_by(designation: str) -> Battery:
    """The kind of battery by its designation, in any case of letters. Raises WrongInput."""
    for name, battery in BATTERIES.items():
        if name.lower() == designation.strip().lower():
            return battery
    raise WrongInput("battery", got=designation, needed="one of " + ", ".join(BATTERIES))


def usable_wh(
    battery: Battery, temperature_c: ArrayLike, load_w_per_battery: ArrayLike, *, age_years: ArrayLike = 0.0
) -> Floats:
    """What one battery gives before it fails under a load. [Wh]

    U = E₀ · 1/(1 + (L/L₅₀)^m) · s((T−T₅₀)/w) / s((21−T₅₀)/w) · (1 − ageing · years), T₅₀ = T₀ + k·L, s the
    logistic curve.

    Parameters
    ----------
    temperature_c : of the coldest hour, usually the night's minimum [°C]. Warmer than 21 °C counts as 21 °C.
    load_w_per_battery : the heaviest regular pulse on one battery, weighted for its shortness [W]; see `Pack`.
    age_years : since the batteries were made or bought [years].
        The three are broadcast against each other.

    Returns
    -------
    Energy [Wh], of the broadcast shape; 0 where age has eaten all.
    """
    warm = np.minimum(np.asarray(temperature_c, dtype=float), ROOM_C)
    load = np.asarray(load_w_per_battery, dtype=float)
    age = np.asarray(age_years, dtype=float)
    if not np.all(load >= 0):
        raise WrongInput("load_w_per_battery", got=_worst(load), needed="watts, 0 or more")
    if not np.all(age >= 0):
        raise WrongInput("age_years", got=_worst(age), needed="years, 0 or more")
    if np.any(np.isnan(warm)):
        raise WrongInput("temperature_c", got=math.nan, needed="degrees Celsius")
    half_c = battery.t0_c + battery.k_t * load
    by_load = 1.0 / (1.0 + (load / battery.l50_w) ** battery.m)
    # s(x)/s(y) through logaddexp: no overflow in deep cold or under a huge load.
    x, y = (warm - half_c) / battery.width_c, (ROOM_C - half_c) / battery.width_c
    by_cold = np.exp(np.logaddexp(0.0, -y) - np.logaddexp(0.0, -x))
    by_age = np.maximum(0.0, 1.0 - battery.ageing_per_year * age)
    return np.asarray(battery.energy_wh * by_load * by_cold * by_age, dtype=float)


def _worst(values: Floats) -> float:
    """A value to show: not a number where there is one, else the least."""
    return math.nan if np.any(np.isnan(values)) else float(np.min(values))


@dataclass(frozen=True, kw_only=True)
class Pack:
    """What feeds a camera: its batteries, and perhaps an external battery and a panel beside them.

    number : of batteries in it. series : how many of them in a row; all when None. extra : an external battery.
    panel : a panel that feeds `extra`.
    """

    battery: Battery
    number: int = 8
    series: int | None = None
    extra: Battery | None = None
    panel: Panel | None = None

    def __post_init__(self) -> None:
        if not (isinstance(self.number, int) and 1 <= self.number <= 64):
            raise WrongInput("number", got=self.number, needed="a whole number of batteries, 1 to 64")
        row = self.in_a_row
        if not (isinstance(row, int) and row >= 1 and self.number % row == 0):
            raise WrongInput(
                "series",
                got=self.series,
                needed=f"a whole number that divides the {self.number} batteries into rows",
            )
        if self.panel is not None and self.extra is None:
            raise WrongInput(
                "panel",
                got="a panel without a battery",
                needed="an external battery (extra) that it can fill",
            )

    @property
    def in_a_row(self) -> int:
        """Batteries in series."""
        return self.number if self.series is None else self.series

    @property
    def rows(self) -> int:
        """Rows side by side (in parallel)."""
        return self.number // self.in_a_row

    @property
    def name(self) -> str:
        """Such as "8 × LR6"."""
        beside = " and an external battery" if self.extra else ""
        return f"{self.number} × {self.battery.designation}{beside}"

    def load_w_per_battery(self, pulse_w: float, *, pulse_weight: float = PULSE_WEIGHT) -> float:
        """The load that a pulse puts on each battery, weighted for its shortness: ρ·P/n. [W]"""
        positive("pulse_w", pulse_w, needed="watts, 0 or more", zero=True)
        return pulse_weight * pulse_w / self.number

    def usable_wh(
        self,
        temperature_c: ArrayLike,
        pulse_w: float,
        *,
        pulse_weight: float = PULSE_WEIGHT,
        age_years: ArrayLike = 0.0,
    ) -> Floats:
        """What the whole gives before it fails under a pulse. [Wh] Shape of the temperatures.

        An external battery is taken to be emptied first and the batteries after it, each under the whole pulse.
        What a panel brings is not in it: it comes by the day (`Panel.day_wh`).
        """
        load = self.load_w_per_battery(pulse_w, pulse_weight=pulse_weight)
        whole = self.number * usable_wh(self.battery, temperature_c, load, age_years=age_years)
        if self.extra is not None:
            whole = whole + usable_wh(self.extra, temperature_c, pulse_weight * pulse_w, age_years=age_years)
        return whole

    def voltage_v(self, current_a: float, *, resistance_ohm: float | None = None) -> float:
        """At the batteries' terminals under a current: series · (V − I/rows · R). [V]

        resistance_ohm : of one battery; the kind's own when None. Alkaline batteries rise from 0.15–0.3 Ω at 20 °C to
        about 0.9 Ω at −40 °C (from memory).
        """
        positive("current_a", current_a, needed="amperes, 0 or more", zero=True)
        inside = self.battery.resistance_ohm if resistance_ohm is None else resistance_ohm
        positive("resistance_ohm", inside, needed="ohms, 0 or more", zero=True)
        return self.in_a_row * (self.battery.voltage_v - current_a / self.rows * inside)


@dataclass(frozen=True, kw_only=True)
class Part:
    """Some of the batteries of a mixed pack: their kind, how many, how old."""

    battery: Battery
    number: int
    age_years: float = 0.0
