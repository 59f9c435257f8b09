"""Instants in the reserve's own calendar: a thin face on `trod.clock`, which alone knows time zones.

Instants are UTC unix seconds throughout the findings.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import clock

Floats = NDArray[np.float64]
DAY_S = 86_400.0


def offsets_s(utc_s: ArrayLike, zone_name: str) -> Floats:
    """Local time minus UTC at each instant. Any shape. [s]

    A day whose two ends have one offset has it throughout (no zone leaps forth and back within a day), so
    only the few other days are looked at closely.
    """
    instants = np.asarray(utc_s, dtype=float)
    days, back = np.unique(np.floor(instants / DAY_S), return_inverse=True)
    ends = np.array([(_offset_s(zone_name, int(d)), _offset_s(zone_name, int(d) + 1)) for d in days])
    out = np.zeros(0) if len(days) == 0 else ends[back.ravel(), 0]
    if len(days):
        turning = (ends[:, 0] != ends[:, 1])[back.ravel()]
        out[turning] = clock.utc_offsets_s(instants.ravel()[turning], zone_name)
    return out.reshape(instants.shape)


@lru_cache(maxsize=100_000)
def _offset_s(zone_name: str, day: int) -> float:
    """The offset at the first instant of a UTC day."""
    return float(clock.utc_offsets_s([day * DAY_S], zone_name)[0])


def clock_hours(utc_s: ArrayLike, zone_name: str) -> Floats:
    """The wall clock's time of day at each instant. [h, 0 ≤ h < 24]"""
    instants = np.asarray(utc_s, dtype=float)
    return np.asarray(np.mod(instants + offsets_s(instants, zone_name), DAY_S) / 3600.0, dtype=float)


def local_days(utc_s: ArrayLike, zone_name: str) -> NDArray[np.int64]:
    """The local calendar day of each instant, as days since 1970-01-01."""
    local = np.asarray(utc_s, dtype=float) + offsets_s(utc_s, zone_name)
    return np.floor(local / DAY_S).astype(np.int64)


def months_of(utc_s: ArrayLike, zone_name: str) -> list[date]:
    """The first day of the local month of each instant."""
    days, back = np.unique(local_days(utc_s, zone_name), return_inverse=True)
    firsts = [month_of(date(1970, 1, 1) + timedelta(days=int(day))) for day in days]
    return [firsts[index] for index in back.tolist()]


def local_date(utc_s: float, zone_name: str) -> date:
    """The local calendar date of one instant."""
    return clock.local(datetime.fromtimestamp(utc_s, tz=UTC), zone_name).date()


@lru_cache(maxsize=20_000)
def day_start_s(when: date, zone_name: str) -> float:
    """The first instant of a local date, as UTC unix seconds."""
    midnight = datetime(when.year, when.month, when.day, tzinfo=clock.zone(zone_name))
    return midnight.timestamp()


def day_after_start_s(when: date, zone_name: str) -> float:
    """The first instant after a local date is over."""
    return day_start_s(when + timedelta(days=1), zone_name)


def month_of(when: date) -> date:
    """The first day of a date's month."""
    return when.replace(day=1)


def next_month(first: date) -> date:
    """The first day of the month after."""
    return date(first.year + first.month // 12, first.month % 12 + 1, 1)


def months_between(first: date, last: date) -> list[date]:
    """First days of every month that holds a day from `first` to `last`, in order."""
    months, month = [], month_of(first)
    while month <= last:
        months.append(month)
        month = next_month(month)
    return months
