"""The passive-infrared sensor: how far it reaches, what sets it off, and how many animals walk into its zone.

Such a sensor sees change. Its zone is cut by rays into sub-zones of alternating sense; a pulse arises when an
edge of a warm body crosses a ray. Layout and threshold are makers' secrets, so the model is fixed by the one
figure makers do state, the range, which is taken to hold for a reference body.

The model and every default here are ours (assumed), unless a source stands beside them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput, positive
from trod.planning.catch.passers import Body

Floats = NDArray[np.float64]

# A maker's range is taken to mean: a body of this side area, this much warmer than what lies behind it,
# whose edges cross sub-zones at this rate, just sets the sensor off. Assumed.
REFERENCE_AREA_M2 = 0.83
REFERENCE_CONTRAST_K = 5.0
REFERENCE_HZ = 1.0
# Fur lets through about a fifth of the step from blood (38 °C) to air. Assumed; so is the floor, for hot air.
FUR_SHARE = 0.2
BLOOD_C = 38.0
CONTRAST_FLOOR_K = 0.5
CONTRAST_SPREAD_LN = 0.30
# What sun on the ground, wind and wet fur add to the doubt, whatever the air. Assumed.
CONTRAST_DOUBT_K = 1.0


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """A passive-infrared sensor.

    zone_deg : full angle of the detection zone. pitch_deg : between neighbouring rays. range_m : the maker's
    range, for the reference body. low_hz, high_hz : its electrical band. sensitivity : 1 as the range is
    meant, 2 trips on half the signal, 0.5 needs twice.
    """

    zone_deg: float = 45.0
    pitch_deg: float = 5.0
    range_m: float = 24.0
    low_hz: float = 0.4
    high_hz: float = 8.0
    sensitivity: float = 1.0

    def __post_init__(self) -> None:
        if not 1 <= self.zone_deg <= 170:
            raise WrongInput("zone_deg", got=self.zone_deg, needed="an angle from 1 to 170 degrees")
        if not 0.5 <= self.pitch_deg <= 90:
            raise WrongInput("pitch_deg", got=self.pitch_deg, needed="an angle from 0.5 to 90 degrees")
        positive("range_m", self.range_m)
        positive("low_hz", self.low_hz, needed="a frequency, 0 or more", zero=True)
        if not self.high_hz > self.low_hz:
            raise WrongInput("high_hz", got=self.high_hz, needed="a frequency above low_hz")
        positive("sensitivity", self.sensitivity)

    @property
    def rays_deg(self) -> Floats:
        """The rays between sub-zones, from the right edge of the zone to the left, both edges included. [°]

        The zone is cut into a whole number of equal sub-zones of about the pitch.
        """
        parts = max(1, round(self.zone_deg / self.pitch_deg))
        return np.linspace(-self.zone_deg / 2, self.zone_deg / 2, parts + 1)

    @property
    def true_pitch_deg(self) -> float:
        """The angle between the rays as they are."""
        return self.zone_deg / max(1, round(self.zone_deg / self.pitch_deg))


def contrast_k(air_c: float, *, floor_k: float = CONTRAST_FLOOR_K) -> float:
    """How much warmer a furred animal looks than what lies behind it: 0.2·(38 − air), not below a floor. [K]

    Assumed. In hot air it goes to nothing and is the weakest number of all; show reach as a band.
    """
    if not -80 <= air_c <= 70:
        raise WrongInput("air_c", got=air_c, needed="an air temperature from -80 to 70 °C")
    return max(floor_k, FUR_SHARE * (BLOOD_C - air_c))


def response(frequency_hz: ArrayLike, sensor: Sensor) -> Floats:
    """The sensor's answer to pulses of a frequency, relative to that at 1 Hz. Shape of `frequency_hz`.

    1/√(1+(f_lo/f)²) · 1/√(1+(f/f_hi)²): a first-order high pass and low pass. Nothing at 0 Hz.
    """

    def gain(f: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            up = 1.0 / np.sqrt(1.0 + (sensor.low_hz / f) ** 2) if sensor.low_hz else np.ones_like(f)
        return np.asarray(up / np.sqrt(1.0 + (f / sensor.high_hz) ** 2))

    asked = np.abs(np.asarray(frequency_hz, dtype=np.float64))
    return np.asarray(gain(asked) / gain(np.array(REFERENCE_HZ)))


def reach_m(sensor: Sensor, *, area_m2: float, contrast: float = REFERENCE_CONTRAST_K) -> float:
    """How far a body that crosses briskly still sets the sensor off. [m]

    area_m2 : its side as the sensor sees it. contrast : warmer than its background by. [K]
    Notes : R = range·√(area · contrast · sensitivity / (0.83 · 5)): the signal falls with the square of the
    distance. Derived from the model above, not published.
    """
    positive("area_m2", area_m2)
    positive("contrast", contrast, needed="a difference in kelvin, 0 or more", zero=True)
    share = area_m2 * contrast * sensor.sensitivity / (REFERENCE_AREA_M2 * REFERENCE_CONTRAST_K)
    return sensor.range_m * math.sqrt(share)


@dataclass(frozen=True, kw_only=True)
class ReachBand:
    """Reach as a band: 8 days in 10 it lies between low and high. [m]"""

    low_m: float
    middle_m: float
    high_m: float

    def __str__(self) -> str:
        return f"about {self.middle_m:.0f} m (mostly {self.low_m:.0f} to {self.high_m:.0f} m)"


def reach_band(sensor: Sensor, body: Body, *, air_c: float) -> ReachBand:
    """Reach for a body seen from the side in air of a temperature, with its doubt.

    Notes : the doubt of the contrast is 30 % from animal to animal, joined by 1 K from sun, wind and wet, so
    the band opens as the air warms. 80 %. Assumed.
    """
    warm = contrast_k(air_c)
    middle = reach_m(sensor, area_m2=body.side_area_m2, contrast=warm)
    spread = math.hypot(CONTRAST_SPREAD_LN, CONTRAST_DOUBT_K / warm)
    factor = math.exp(1.2816 * spread / 2)  # half, because reach goes with the square root
    return ReachBand(low_m=middle / factor, middle_m=middle, high_m=middle * factor)
