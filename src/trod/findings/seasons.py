"""Seasons and years: the stretches of the calendar by which a record is laid side by side.

A season is three whole months, December to February the first of them: common practice in weather records. It is named
for the half of the globe that the reserve lies in, and for its months where nobody knows which.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

NAMES = ("Winter", "Spring", "Summer", "Autumn")
MONTHS = ("December to February", "March to May", "June to August", "September to November")
Each = Literal["season", "year"]


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """A season or a calendar year. key : its first month, or its year: '2026-03', '2026'. first, last : its days."""

    key: str
    name: str
    first: date
    last: date

    def holds(self, day: date) -> bool:
        """Whether a day lies in it."""
        return self.first <= day <= self.last


def season_of(day: date, latitude_deg: float | None) -> Stretch:
    """The season that a day lies in. latitude_deg : None where the reserve's place is not known."""
    quarter = (day.month % 12) // 3
    year = day.year + (day.month == 12)  # a winter is of its January's year
    first = date(year - 1, 12, 1) if quarter == 0 else date(year, 3 * quarter, 1)
    last = date(year, 3 * (quarter + 1), 1) - timedelta(days=1)
    name = MONTHS[quarter] if latitude_deg is None else NAMES[(quarter + (0 if latitude_deg >= 0 else 2)) % 4]
    told = f"{name} {year - 1}/{year % 100:02d}" if quarter == 0 else f"{name} {year}"
    return Stretch(key=f"{first:%Y-%m}", name=told, first=first, last=last)


def year_of(day: date) -> Stretch:
    """The calendar year that a day lies in."""
    return Stretch(key=f"{day.year}", name=f"{day.year}", first=date(day.year, 1, 1), last=date(day.year, 12, 31))


def stretches(each: Each, first: date, last: date, latitude_deg: float | None) -> tuple[Stretch, ...]:
    """Every season, or year, that holds a day from `first` to `last`, in order."""
    out: list[Stretch] = []
    day = first
    while day <= last:
        one = season_of(day, latitude_deg) if each == "season" else year_of(day)
        out.append(one)
        day = one.last + timedelta(days=1)
    return tuple(out)
