"""Sun and moon: height, bearing, rise and set, twilight, glare, phase.

Angles in degrees; azimuth from true north, eastward, 0 ≤ azimuth < 360; latitude north and longitude east
positive; instants as Unix seconds (UTC). Elevations are geometric: no refraction and no parallax. The 34′
of refraction and the 16′ of the sun's half width come in only where rise and set are asked for (centre of
the sun at −50′).

Bulk work (many pictures) goes through the short numpy series of `sun_position`; single days and the moon go
through ephem, whose positions are good to a few ten-thousandths of a degree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

import ephem
import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput

# Centre of the sun at rise and set: 34′ of refraction and 16′ of half width below the horizon.
# U.S. Naval Observatory / NOAA definition of official sunrise and sunset.
RISE_SET_ELEVATION_DEG = -50 / 60
# Twilights by the height of the sun's centre: 6° (NOAA, USNO), 12° and 18° (USNO).
CIVIL_DEG, NAUTICAL_DEG, ASTRONOMICAL_DEG = -6.0, -12.0, -18.0

Twilight = Literal["day", "civil twilight", "nautical twilight", "astronomical twilight", "night"]
MoonPhase = Literal[
    "new moon",
    "waxing crescent",
    "first quarter",
    "waxing gibbous",
    "full moon",
    "waning gibbous",
    "last quarter",
    "waning crescent",
]
_PHASES: tuple[MoonPhase, ...] = (
    "new moon",
    "waxing crescent",
    "first quarter",
    "waxing gibbous",
    "full moon",
    "waning gibbous",
    "last quarter",
    "waning crescent",
)
Floats = NDArray[np.float64]


def _check_place(latitude_deg: float, longitude_deg: float) -> None:
    if not -90 <= latitude_deg <= 90:  # nan fails too
        raise WrongInput("latitude_deg", got=latitude_deg, needed="degrees from -90 (south) to 90 (north)")
    if not -180 <= longitude_deg <= 180:
        raise WrongInput("longitude_deg", got=longitude_deg, needed="degrees from -180 (west) to 180 (east)")


def _sun_equatorial(n: Floats) -> tuple[Floats, Floats]:
    """Right ascension and declination of the sun [rad] from days since J2000 (UT; ΔT left out)."""
    century = n / 36525.0
    anomaly = np.radians(357.52911 + (35999.05029 - 0.0001537 * century) * century)
    # Mean longitude + equation of the centre − aberration − nutation.
    longitude = (
        280.46646
        + (36000.76983 + 0.0003032 * century) * century
        + (1.914602 - (0.004817 + 0.000014 * century) * century) * np.sin(anomaly)
        + (0.019993 - 0.000101 * century) * np.sin(2 * anomaly)
        + 0.000289 * np.sin(3 * anomaly)
    )
    node = np.radians(125.04 - 1934.136 * century)
    lam = np.radians(longitude - 0.00569 - 0.00478 * np.sin(node))
    obliquity = np.radians(23.4392911 - 0.0130042 * century + 0.00256 * np.cos(node))
    sin_lam = np.sin(lam)
    ascension = np.arctan2(np.cos(obliquity) * sin_lam, np.cos(lam))
    declination = np.arcsin(np.sin(obliquity) * sin_lam)
    return ascension, declination


def _days_since_j2000(utc_s: ArrayLike) -> Floats:
    return np.asarray(utc_s, dtype=np.float64) / 86400.0 + (2440587.5 - 2451545.0)


def sun_declination_deg(utc_s: ArrayLike) -> Floats:
    """Apparent declination of the sun. Same shape as `utc_s` [Unix s]; good to 0.01°."""
    return np.degrees(_sun_equatorial(_days_since_j2000(utc_s))[1])


def sun_position(utc_s: ArrayLike, *, latitude_deg: float, longitude_deg: float) -> tuple[Floats, Floats]:
    """Where the sun stands, for many instants at one place.

    utc_s : any shape. [Unix seconds]
    Returns (elevation, azimuth), each of the shape of `utc_s`. [°] NaN in, NaN out.
    Raises WrongInput for a place off the globe.
    Notes : the low-precision series, without refraction, parallax and ΔT. Against ephem 4.2 (pressure 0) on
    20 000 random instants 2000–2050 and places between 70° S and 70° N the elevation is within 0.016° and
    the azimuth, times the cosine of the elevation, within 0.016° (tests/test_sky.py holds both).
    References : J. Meeus (1998) Astronomical Algorithms, 2nd ed., ch. 12, 22, 25 (coefficients from memory,
    held by the comparison with ephem and by NREL's worked example).
    """
    _check_place(latitude_deg, longitude_deg)
    n = _days_since_j2000(utc_s)
    ascension, declination = _sun_equatorial(n)
    sidereal = np.radians(np.mod(280.46061837 + 360.98564736629 * n + longitude_deg, 360.0))
    hour_angle = sidereal - ascension
    phi = math.radians(latitude_deg)
    sin_dec, cos_dec, cos_h = np.sin(declination), np.cos(declination), np.cos(hour_angle)
    sin_el = math.sin(phi) * sin_dec + math.cos(phi) * cos_dec * cos_h
    elevation = np.degrees(np.arcsin(np.clip(sin_el, -1.0, 1.0)))
    east = -cos_dec * np.sin(hour_angle)
    north = math.cos(phi) * sin_dec - math.sin(phi) * cos_dec * cos_h
    azimuth = np.mod(np.degrees(np.arctan2(east, north)), 360.0)
    # mod() of a tiny negative number rounds up to 360 itself.
    return elevation, np.where(azimuth >= 360.0, 0.0, azimuth)


@dataclass(frozen=True, kw_only=True)
class SunTimes:
    """The sun's day at one place, as aware datetimes of the zone that was asked for.

    rise, set, civil_dawn, civil_dusk are None when the thing does not happen within that local calendar day.
    polar tells why there is neither rise nor set: "day" (the sun stays up) or "night" (it stays down).
    """

    day: date
    rise: datetime | None
    set: datetime | None
    noon: datetime
    civil_dawn: datetime | None
    civil_dusk: datetime | None
    polar: Literal["day", "night"] | None


def sun_times(day: date, *, latitude_deg: float, longitude_deg: float, zone: tzinfo) -> SunTimes:
    """Sunrise, sunset, noon and civil twilight within one local calendar day.

    zone : a tzinfo, such as `clock.zone("Europe/Vienna")` gives, or `datetime.UTC`.
    Returns SunTimes; what does not happen that day is None, never NaN.
    Raises WrongInput for a place off the globe or a zone that is a bare name.
    Notes : level horizon at sea level, no hills. ephem with the sun's centre at −50′ and no further
    refraction; within a minute of the almanac below 55° of latitude, two minutes above.
    References : U.S. Naval Observatory definition of rise, set and civil twilight.
    """
    _check_place(latitude_deg, longitude_deg)
    if not isinstance(zone, tzinfo):
        raise WrongInput("zone", got=zone, needed="a tzinfo object; trod.clock.zone(name) makes one")
    start = datetime.combine(day, time(0), zone).astimezone(UTC)
    end = datetime.combine(day + timedelta(days=1), time(0), zone).astimezone(UTC)

    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(latitude_deg), math.radians(longitude_deg)
    observer.elevation, observer.pressure = 0, 0
    sun = ephem.Sun()

    def within_day(kind: str, horizon: str) -> datetime | None:
        observer.horizon, observer.date = horizon, start
        try:
            # use_center: the horizon is meant for the centre; without it ephem adds the half width once more.
            when = getattr(observer, f"next_{kind}")(sun, use_center=True)
        except ephem.CircumpolarError:
            return None
        instant: datetime = when.datetime().replace(tzinfo=UTC)
        return instant.astimezone(zone) if start <= instant < end else None

    rise, sunset = within_day("rising", "-0:50"), within_day("setting", "-0:50")
    dawn, dusk = within_day("rising", "-6"), within_day("setting", "-6")
    observer.date = start
    noon: datetime = observer.next_transit(sun).datetime().replace(tzinfo=UTC)
    polar: Literal["day", "night"] | None = None
    if rise is None and sunset is None:
        height, _ = sun_position(noon.timestamp(), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
        polar = "day" if float(height) > RISE_SET_ELEVATION_DEG else "night"
    return SunTimes(
        day=day,
        rise=rise,
        set=sunset,
        noon=noon.astimezone(zone),
        civil_dawn=dawn,
        civil_dusk=dusk,
        polar=polar,
    )


def twilight_kind(elevation_deg: float) -> Twilight:
    """The kind of light under a sun whose centre stands at this geometric height.

    Raises WrongInput for NaN.
    """
    if math.isnan(elevation_deg):
        raise WrongInput("elevation_deg", got=elevation_deg, needed="a height of the sun in degrees")
    if elevation_deg >= RISE_SET_ELEVATION_DEG:
        return "day"
    if elevation_deg >= CIVIL_DEG:
        return "civil twilight"
    if elevation_deg >= NAUTICAL_DEG:
        return "nautical twilight"
    if elevation_deg >= ASTRONOMICAL_DEG:
        return "astronomical twilight"
    return "night"
