"""Where the demo's sun and moon stand: low precision, enough for shadows and for switching to infrared.

`trod.sky` is the room for answers; this one is kept apart so that a picture's bytes do not change when a
better sun arrives. Solar position after the low-precision formula printed in The Astronomical Almanac
(section C, "low precision formulas for the Sun", about 0.01° from 1950 to 2050), recalled from memory and
checked in the tests against figures of another calculation.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)
NEW_MOON = datetime(2000, 1, 6, 18, 14, tzinfo=UTC)  # from memory
SYNODIC_MONTH_D = 29.530588853  # mean, from memory


def sun(at: datetime, *, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """Elevation above the true horizon and bearing from north, both in degrees, without refraction.

    at : an aware instant.
    """
    n = (at - J2000).total_seconds() / 86400
    mean_longitude = 280.460 + 0.9856474 * n
    g = math.radians(357.528 + 0.9856003 * n)
    ecliptic = math.radians(mean_longitude + 1.915 * math.sin(g) + 0.020 * math.sin(2 * g))
    tilt = math.radians(23.439 - 0.0000004 * n)
    right_ascension = math.atan2(math.cos(tilt) * math.sin(ecliptic), math.cos(ecliptic))
    declination = math.asin(math.sin(tilt) * math.sin(ecliptic))
    sidereal = math.radians((280.46062 + 360.98564737 * n + longitude_deg) % 360)
    hour_angle = sidereal - right_ascension
    latitude = math.radians(latitude_deg)
    up = math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(declination) * math.cos(hour_angle)
    east = -math.cos(declination) * math.sin(hour_angle)
    north = math.cos(latitude) * math.sin(declination) - math.sin(latitude) * math.cos(declination) * math.cos(
        hour_angle
    )
    return math.degrees(math.asin(max(-1.0, min(1.0, up)))), math.degrees(math.atan2(east, north)) % 360


def moon_age(at: datetime) -> float:
    """Share of the mean month since new moon, 0..1 (0.5 is full); off by up to about half a day."""
    return ((at - NEW_MOON).total_seconds() / 86400 / SYNODIC_MONTH_D) % 1.0
