"""Sun in the lens through the year, by heading; what the flash lights at night; the dates of the seasons.

Glare here means: the sun is up and stands inside the picture or no farther than a margin outside it, sideways
and above. Clouds and leaves are not in it, so the hours are those of a year of clear days; hills are, when a
horizon is given. A heading is from true north.
"""

from __future__ import annotations

import calendar
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from trod import sky
from trod.errors import WrongInput, positive
from trod.planning.ground.site import Horizon

Floats = NDArray[np.float64]

MARGIN_DEG = 10.0  # a sun so far outside the frame still veils the picture. Assumed.
STEP_MIN = 5
CELLS_A_DAY = 96  # quarter hours, for drawing
DOWN, UP, NEAR, IN_FRAME = 0, 1, 2, 3
LITTLE_H = 10.0  # hours a year that count as none when headings are compared


@dataclass(frozen=True, kw_only=True)
class Frame:
    """Where a camera looks and how wide. heading_deg : from true north. tilt_deg : down is positive.

    fov_deg, vertical_deg : the picture's angles. margin_deg : see `MARGIN_DEG`.
    """

    heading_deg: float
    tilt_deg: float = 0.0
    fov_deg: float = 41.0
    vertical_deg: float = 31.33
    margin_deg: float = MARGIN_DEG

    def __post_init__(self) -> None:
        if not 0 <= self.heading_deg <= 360:
            raise WrongInput("heading_deg", got=self.heading_deg, needed="degrees from true north, 0 to 360")
        if not -90 <= self.tilt_deg <= 90:
            raise WrongInput("tilt_deg", got=self.tilt_deg, needed="degrees below level, -90 to 90")
        for what in ("fov_deg", "vertical_deg"):
            if not 1 <= getattr(self, what) <= 170:
                raise WrongInput(what, got=getattr(self, what), needed="an angle from 1 to 170 degrees")
        positive("margin_deg", self.margin_deg, needed="degrees, 0 or more", zero=True)

    def tall(self, elevation_deg: Floats, *, margin_deg: float) -> NDArray[np.bool_]:
        """Whether a height of the sun lies between lower and upper edge, margin included."""
        half = self.vertical_deg / 2 + margin_deg
        return np.abs(elevation_deg + self.tilt_deg) <= half

    def wide(self, azimuth_deg: Floats, *, margin_deg: float) -> NDArray[np.bool_]:
        """Whether a bearing lies between the left and the right edge, margin included."""
        turn = np.abs((azimuth_deg - self.heading_deg + 180.0) % 360.0 - 180.0)
        return np.asarray(turn <= self.fov_deg / 2 + margin_deg)


def refraction_deg(elevation_deg: Floats) -> Floats:
    """By how much the air lifts the sun, at 1010 mbar and 10 °C. Shape of the geometric height. [°]

    Below −1°, where nobody sees it, it is held.
    References : I. Reda, A. Andreas (2003, rev. 2008) Solar Position Algorithm, NREL/TP-560-34302, eq. 42.
    """
    e = np.maximum(elevation_deg, -1.0)
    return np.asarray(1.02 / 60 / np.tan(np.radians(e + 10.3 / (e + 5.11))), dtype=np.float64)


def _start_s(year: int) -> float:
    if not 1900 <= year <= 2100:
        raise WrongInput("year", got=year, needed="a year from 1900 to 2100")
    return datetime(year, 1, 1, tzinfo=UTC).timestamp()


def _days(year: int) -> int:
    return 366 if calendar.isleap(year) else 365


@lru_cache(maxsize=8)
def _year(latitude_deg: float, longitude_deg: float, year: int) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """The sun's apparent height, its bearing and the month (0 to 11), in the middle of each step."""
    number = _days(year) * 1440 // STEP_MIN
    # The year is cut at local midnight, so that a day's light is not parted between two months.
    local = _start_s(year) + 60.0 * STEP_MIN * (np.arange(number) + 0.5)
    elevation, azimuth = sky.sun_position(
        local - 240.0 * longitude_deg, latitude_deg=latitude_deg, longitude_deg=longitude_deg
    )
    elevation = elevation + refraction_deg(elevation)
    ends = np.cumsum([calendar.monthrange(year, month)[1] for month in range(1, 13)])
    months = np.searchsorted(ends, np.arange(number) * STEP_MIN // 1440, side="right")
    for array in (elevation, azimuth, months):
        array.setflags(write=False)
    return elevation, azimuth, months


@dataclass(frozen=True)
class GlareYear:
    """The sun before one camera through a year of clear days.

    hours : with the sun in or near the frame. hours_in_frame : in it. by_month : (12,) of `hours`.
    grid : (days, quarter hours) of the clock with this fixed offset; 0 sun down, 1 up elsewhere, 2 near the
    frame, 3 in it.
    """

    frame: Frame
    latitude_deg: float
    longitude_deg: float
    year: int
    utc_offset_min: int
    hours: float
    hours_in_frame: float
    by_month: Floats
    grid: NDArray[np.uint8]


def glare_year(
    frame: Frame,
    *,
    latitude_deg: float,
    longitude_deg: float = 0.0,
    horizon: Horizon | None = None,
    utc_offset_min: int | None = None,
    year: int = 2026,
) -> GlareYear:
    """The sun before one camera, a year long.

    horizon : hills; level when None. utc_offset_min : of the camera's clock; the sun's own mean time when
    None.
    Notes : the sun is up when its middle is seen above the horizon, refraction included. Steps of five
    minutes.
    """
    hills = horizon or Horizon()
    elevation, azimuth, months = _year(latitude_deg, longitude_deg, year)
    up = elevation > hills.height_deg(azimuth)

    def state(el: Floats, az: Floats, risen: NDArray[np.bool_]) -> NDArray[np.uint8]:
        near = frame.tall(el, margin_deg=frame.margin_deg) & frame.wide(az, margin_deg=frame.margin_deg)
        inside = frame.tall(el, margin_deg=0.0) & frame.wide(az, margin_deg=0.0)
        return np.where(~risen, DOWN, np.where(inside, IN_FRAME, np.where(near, NEAR, UP))).astype(np.uint8)

    states = state(elevation, azimuth, up)
    hour = STEP_MIN / 60
    offset = round(longitude_deg * 4) if utc_offset_min is None else utc_offset_min
    if not -840 <= offset <= 840:
        raise WrongInput("utc_offset_min", got=offset, needed="minutes from -840 to 840")
    cells = _days(year) * CELLS_A_DAY
    clock_s = _start_s(year) + (np.arange(cells) + 0.5) * 86400 / CELLS_A_DAY - 60.0 * offset
    el, az = sky.sun_position(clock_s, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    el = el + refraction_deg(el)
    grid = state(el, az, el > hills.height_deg(az)).reshape(_days(year), CELLS_A_DAY)
    return GlareYear(
        frame=frame,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        year=year,
        utc_offset_min=offset,
        hours=float(np.count_nonzero(states >= NEAR)) * hour,
        hours_in_frame=float(np.count_nonzero(states == IN_FRAME)) * hour,
        by_month=np.asarray(np.bincount(months[states >= NEAR], minlength=12) * hour, dtype=np.float64),
        grid=grid,
    )


def hours_by_heading(
    headings_deg: Sequence[float] | Floats,
    *,
    latitude_deg: float,
    longitude_deg: float = 0.0,
    tilt_deg: float = 0.0,
    fov_deg: float = 41.0,
    vertical_deg: float = 31.33,
    margin_deg: float = MARGIN_DEG,
    horizon: Horizon | None = None,
    year: int = 2026,
) -> Floats:
    """Hours a year with the sun in or near the frame for many headings at once, (headings,). [h]"""
    hills = horizon or Horizon()
    elevation, azimuth, _ = _year(latitude_deg, longitude_deg, year)
    frame = Frame(heading_deg=0, tilt_deg=tilt_deg, fov_deg=fov_deg, vertical_deg=vertical_deg, margin_deg=margin_deg)
    counts = (elevation > hills.height_deg(azimuth)) & frame.tall(elevation, margin_deg=margin_deg)
    bearings = np.sort(azimuth[counts])
    thrice = np.concatenate([bearings - 360.0, bearings, bearings + 360.0])
    asked = np.asarray(headings_deg, dtype=np.float64) % 360.0
    half = fov_deg / 2 + margin_deg
    inside = np.searchsorted(thrice, asked + half, side="right") - np.searchsorted(thrice, asked - half)
    return np.asarray(inside * (STEP_MIN / 60), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class HeadingAdvice:
    """Which headings keep the sun out. table : (heading, hours a year), every `step`.

    good : (from, to) clockwise, each with hardly more sun than the least; (0, 360) when all are alike.
    """

    least_h: float
    best_deg: float
    worst_deg: float
    worst_h: float
    good: tuple[tuple[float, float], ...]
    table: tuple[tuple[float, float], ...]


def best_headings(
    *,
    latitude_deg: float,
    longitude_deg: float = 0.0,
    tilt_deg: float = 0.0,
    fov_deg: float = 41.0,
    vertical_deg: float = 31.33,
    horizon: Horizon | None = None,
    step_deg: float = 5.0,
    year: int = 2026,
) -> HeadingAdvice:
    """The headings with least sun in or near the picture, as spans of the compass.

    A heading is good when it has at most ten hours a year more than the least.
    """
    if not 1 <= step_deg <= 90 or 360 % step_deg:
        raise WrongInput("step_deg", got=step_deg, needed="a part of the circle from 1 to 90 degrees")
    headings = np.arange(0.0, 360.0, step_deg)
    hours = hours_by_heading(
        headings,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        tilt_deg=tilt_deg,
        fov_deg=fov_deg,
        vertical_deg=vertical_deg,
        horizon=horizon,
        year=year,
    )
    least = float(hours.min())
    fine = hours <= least + LITTLE_H
    spans = _spans(fine, step_deg)
    widest = max(spans, key=lambda span: (span[1] - span[0]) % 360 or 360)
    best = (widest[0] + ((widest[1] - widest[0]) % 360 or 360) / 2) % 360 if spans != [(0.0, 360.0)] else 0.0
    worst = int(np.argmax(hours))
    return HeadingAdvice(
        least_h=least,
        best_deg=float(best),
        worst_deg=float(headings[worst]),
        worst_h=float(hours[worst]),
        good=tuple(spans),
        table=tuple(zip(headings.tolist(), hours.tolist(), strict=True)),
    )


def _spans(fine: NDArray[np.bool_], step_deg: float) -> list[tuple[float, float]]:
    """Runs of true on the circle, as (first, last) in degrees."""
    n = len(fine)
    if fine.all():
        return [(0.0, 360.0)]
    found = []
    for i in range(n):
        if fine[i] and not fine[i - 1]:
            last = i
            while fine[(last + 1) % n]:
                last += 1
            found.append((i * step_deg, (last % n) * step_deg))
    return found


@dataclass(frozen=True, kw_only=True)
class Spell:
    """Days in a row on which the sun comes into or near the picture, and between which hours of the clock."""

    first: date
    last: date
    from_h: float
    to_h: float
    in_frame: bool


def spells(year: GlareYear) -> list[Spell]:
    """The runs of days with glare; those of morning and of afternoon apart where noon is free of it.

    A run over New Year is one run: its first day then comes later in the year than its last.
    """
    noon = CELLS_A_DAY // 2
    over_noon = bool((year.grid[:, noon - 2 : noon + 2] >= NEAR).any())
    found: list[Spell] = []
    for begin, end in ((0, CELLS_A_DAY),) if over_noon else ((0, noon), (noon, CELLS_A_DAY)):
        part = year.grid[:, begin:end] >= NEAR
        days = np.flatnonzero(part.any(axis=1))
        if not days.size:
            continue
        runs = np.split(days, np.flatnonzero(np.diff(days) > 1) + 1)
        if len(runs) > 1 and runs[0][0] == 0 and runs[-1][-1] == len(part) - 1:
            runs = [np.concatenate([runs[-1], runs[0]]), *runs[1:-1]]
        for run in runs:
            hours = np.flatnonzero(part[run].any(axis=0)) + begin
            found.append(
                Spell(
                    first=date(year.year, 1, 1) + timedelta(days=int(run[0])),
                    last=date(year.year, 1, 1) + timedelta(days=int(run[-1])),
                    from_h=float(hours[0]) * 24 / CELLS_A_DAY,
                    to_h=float(hours[-1] + 1) * 24 / CELLS_A_DAY,
                    in_frame=bool((year.grid[run, begin:end] == IN_FRAME).any()),
                )
            )
    return sorted(found, key=lambda s: (s.first, s.from_h))


# --- the flash --------------------------------------------------------------------------------

# How many times brighter than the faintest useful light still fits into a night picture: six stops. Assumed.
FLASH_LATITUDE = 64.0
REFERENCE_REFLECTANCE = 0.5  # of fur under infrared, for which a maker's reach is taken to hold. Assumed.


@dataclass(frozen=True, kw_only=True)
class FlashBand:
    """Between which distances a night picture is neither burnt out nor too dark. [m]"""

    from_m: float
    to_m: float

    def __contains__(self, distance_m: object) -> bool:
        return isinstance(distance_m, int | float) and self.from_m <= distance_m <= self.to_m


def flash_band(
    *, reach_m: float, reflectance: float = REFERENCE_REFLECTANCE, latitude: float = FLASH_LATITUDE
) -> FlashBand:
    """What a flash of stated reach lights well, for a body of some reflectance.

    Notes : light that comes back falls with the square of the distance, so reach grows with the root of
    reflectance, and a body is burnt out nearer than reach/√latitude at full power. Cameras that turn the
    flash down for near bodies do better. Assumed throughout; use it to keep branches and fodder off the lens.
    """
    positive("reach_m", reach_m, needed="metres, 0 or more", zero=True)
    if not 0 < reflectance <= 1:
        raise WrongInput("reflectance", got=reflectance, needed="a share above 0, at most 1")
    if not latitude > 1:
        raise WrongInput("latitude", got=latitude, needed="a ratio above 1")
    reach = reach_m * math.sqrt(reflectance / REFERENCE_REFLECTANCE)
    return FlashBand(from_m=reach / math.sqrt(latitude), to_m=reach)


# --- the seasons ------------------------------------------------------------------------------
