"""How cold the nights are, month by month: typed in, from a CSV, or assumed by the latitude. Nothing is fetched."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from trod import sky, wording
from trod.errors import WrongInput

Floats = NDArray[np.float64]
YEAR_DAYS = 365.25
_LENGTHS = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
# The day of the year (1 = 1 January) in the middle of each month.
MIDDLES = tuple(0.5 + sum(_LENGTHS[:i]) + _LENGTHS[i] / 2 for i in range(12))
COLUMNS = ("month", "night_minimum_c", "sd_c")
MOST_BYTES = 100_000
# Of the assumed nights, by the latitude φ: mean MEAN_C − FALL_C·sin²φ, swing SWING_C·sin|φ|/sin 45° with the sun's
# declination LAG_DAYS earlier, spread of single nights from SD_C at the equator up. All assumed, for low ground.
MEAN_C, FALL_C, SWING_C, LAG_DAYS = 23.0, 36.0, 12.0, 30.0
SD_C, SD_MORE_C = 1.5, 2.5
OBLIQUITY_DEG = 23.44


@dataclass(frozen=True, kw_only=True)
class Climate:
    """Night minima by month. [°C]

    minimum_c : mean of the nights' minima in each month, January first, 12 values. sd_c : how much single nights
    differ from that, 12 values. source : where they are from, or what from
    they are assumed. assumed : whether nobody stated them.
    """

    minimum_c: tuple[float, ...]
    sd_c: tuple[float, ...] = (4.0,) * 12
    source: str = "typed in"
    assumed: bool = False

    def __post_init__(self) -> None:
        for name, low, high, words in (
            ("minimum_c", -70.0, 40.0, "12 numbers from -70 to 40 °C, January first"),
            ("sd_c", 0.0, 25.0, "12 numbers from 0 to 25 °C, January first"),
        ):
            values = getattr(self, name)
            if len(values) != 12 or not all(low <= value <= high for value in values):
                raise WrongInput(name, got=tuple(values), needed=words)

    @cached_property
    def _curve(self) -> CubicSpline:
        days = np.append(np.asarray(MIDDLES), MIDDLES[0] + YEAR_DAYS)
        return CubicSpline(days, np.append(self.minimum_c, self.minimum_c[0]), bc_type="periodic")

    def night_minimum_c(self, day_of_year: ArrayLike) -> Floats:
        """Mean of the night's minimum on days of the year (1 = 1 January; runs on past 365). [°C]

        A smooth yearly curve through the middle of each month.
        """
        return np.asarray(self._curve(_day(day_of_year)), dtype=float)

    def night_sd_c(self, day_of_year: ArrayLike) -> Floats:
        """How much single nights differ from the mean on these days, one standard deviation. [°C]"""
        return np.asarray(np.interp(_day(day_of_year), MIDDLES, self.sd_c, period=YEAR_DAYS), dtype=float)

    @classmethod
    def seasonal(
        cls,
        mean_c: float = 5.0,
        swing_c: float = 12.0,
        *,
        coldest_day: float = 20.0,
        sd_c: float = 4.0,
        source: str = "from a mean and a swing",
        assumed: bool = True,
    ) -> Climate:
        """A cosine through the year. coldest_day : of the year; about 20 in the north, 200 in the south."""
        values = [mean_c - swing_c * math.cos(2 * math.pi * (day - coldest_day) / YEAR_DAYS) for day in MIDDLES]
        return cls(minimum_c=tuple(values), sd_c=(sd_c,) * 12, source=source, assumed=assumed)

    @classmethod
    def at_latitude(cls, latitude_deg: float, *, coldest_c: float | None = None) -> Climate:
        """Nights as they are assumed where nobody stated them: months by the sun's height, amplitude by the latitude.

        coldest_c : the mean night minimum of the coldest month, if somebody knows that alone; the whole year is
        moved to it.

        Notes : the year follows the sun's declination, 30 days late, so that July is cold in the south and no month
        is in the tropics. The mean falls with sin² of the latitude, the form of zonal energy-balance models (G. R.
        North 1975, Journal of the Atmospheric Sciences 32:1301; from memory); the figures are assumed, so that 45°
        has a mean of 5 °C and a swing of 12 °C. Low ground is meant: a thousand metres up it is some 6 °C colder
        (common practice), near the sea the swing is about half.
        """
        if not -90 <= latitude_deg <= 90:
            raise WrongInput("latitude_deg", got=latitude_deg, needed="degrees from -90 (south) to 90 (north)")
        up = math.sin(math.radians(latitude_deg))
        share = abs(up) / math.sin(math.radians(45))
        # Any year serves; the middle of 2027 differs from others by a quarter of a degree of declination.
        began_s = 1_798_761_600.0  # 1 January 2027, 0 h UT
        at_s = began_s + 86_400 * (np.asarray(MIDDLES) - 1 - LAG_DAYS)
        sun = sky.sun_declination_deg(at_s) / OBLIQUITY_DEG
        minima = MEAN_C - FALL_C * up**2 + math.copysign(SWING_C * share, up) * sun
        source = f"from the latitude, {abs(latitude_deg):.0f}° {'north' if latitude_deg >= 0 else 'south'}"
        if coldest_c is None:
            source += ", for low ground"
        else:
            minima = minima + (coldest_c - float(minima.min()))
            source = f"the coldest month as told, the rest of the year assumed {source}"
        return cls(
            minimum_c=tuple(float(value) for value in minima),
            sd_c=(SD_C + SD_MORE_C * min(share, 1.4),) * 12,
            source=source,
            assumed=coldest_c is None,
        )

    @classmethod
    def from_csv(cls, text: str, *, source: str = "from a CSV") -> Climate:
        """From CSV with a heading line: month (1 to 12), night_minimum_c and, if known, sd_c; one line a month.

        Raises WrongInput that names line and column.
        """
        if len(text) > MOST_BYTES:
            raise WrongInput("climate", got=f"{len(text)} characters", needed=f"at most {MOST_BYTES}")
        reader = csv.reader(io.StringIO(text.removeprefix("\ufeff").replace("\0", "")), strict=True)
        means: dict[int, float] = {}
        spreads: dict[int, float] = {}
        try:
            head = [name.strip().lower() for name in next(reader, [])]
            _check_head(head)
            for row in reader:
                if any(cell.strip() for cell in row):
                    _take(head, row, reader.line_num, means, spreads)
        except csv.Error as error:
            raise WrongInput(
                f"line {reader.line_num}", got=str(error), needed="comma-separated text with balanced quotes"
            ) from error
        missing = [wording.MONTHS[month - 1] for month in range(1, 13) if month not in means]
        if missing:
            raise WrongInput("climate", got="no line for " + ", ".join(missing), needed="a line for each month")
        usual = (4.0,) * 12
        return cls(
            minimum_c=tuple(means[month] for month in range(1, 13)),
            sd_c=tuple(spreads.get(month, usual[month - 1]) for month in range(1, 13)),
            source=source,
        )


def _day(day_of_year: ArrayLike) -> Floats:
    day = np.asarray(day_of_year, dtype=float)
    if not np.all(np.isfinite(day)):
        raise WrongInput("day_of_year", got="not a number", needed="days, 1 for the first of January")
    first = MIDDLES[0]
    return np.asarray(first + np.mod(day - first, YEAR_DAYS), dtype=float)


def _check_head(head: Sequence[str]) -> None:
    for name in COLUMNS[:2]:
        if name not in head:
            raise WrongInput("heading line", got=", ".join(head)[:200], needed=f"a column named {name}")
    for name in head:
        if name not in COLUMNS or head.count(name) > 1:
            raise WrongInput("heading line", got=name[:80], needed="the columns " + ", ".join(COLUMNS) + ", each once")


def _take(
    head: Sequence[str], row: Sequence[str], line: int, means: dict[int, float], spreads: dict[int, float]
) -> None:
    if len(row) > len(head):
        raise WrongInput(f"line {line}", got=f"{len(row)} cells", needed=f"at most {len(head)}, as the heading")
    cells = {name: cell.strip() for name, cell in zip(head, row, strict=False)}
    month = _number(cells.get("month", ""), f"line {line}, month")
    if month not in range(1, 13):
        raise WrongInput(f"line {line}, month", got=month, needed="a month from 1 to 12")
    if int(month) in means:
        raise WrongInput(f"line {line}, month", got=f"{int(month)} again", needed="each month once")
    means[int(month)] = _number(cells.get("night_minimum_c", ""), f"line {line}, night_minimum_c")
    if cells.get("sd_c"):
        spreads[int(month)] = _number(cells["sd_c"], f"line {line}, sd_c")


def _number(written: str, where: str) -> float:
    try:
        value = float(written)
    except ValueError:
        raise WrongInput(where, got=written[:40], needed="a number with a decimal point") from None
    if not math.isfinite(value):
        raise WrongInput(where, got=written[:40], needed="a number with a decimal point")
    return value


# What holds where not even the latitude is known. Assumed.
DEFAULT_CLIMATE = Climate.seasonal()
