"""Sun time: every day's sunrise and sunset brought to their means; and what the sun does where it does not do both."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import sky, wording
from trod.errors import NotEnoughEvidence
from trod.findings import circular, localtime
from trod.findings.lights import light_of
from trod.findings.localtime import DAY_S, Floats
from trod.findings.observations import Reserve

_STEPS = 288  # of five minutes
NO_PLACE = "where the reserve lies is not entered, so nothing is known of the sun"
PLACE_NEEDED = "enter the reserve's place"


def anchored_hours(
    clock_h: ArrayLike,
    *,
    rise_h: ArrayLike,
    set_h: ArrayLike,
    mean_rise_h: float,
    mean_set_h: float,
) -> Floats:
    """Times of day stretched so that each day's own sunrise and sunset fall on two anchors.

    clock_h, rise_h, set_h : (n,), hours of the same clock; each day's own sunrise and sunset.
    mean_rise_h, mean_set_h : the anchors. [h] Returns (n,), 0 ≤ h < 24.
    Notes : piecewise linear on the circle: between sunrise and sunset
    t' = ā₁ + (t − a₁)(ā₂ − ā₁)/(a₂ − a₁), and likewise through the night over 24 h less the day's
    length. Not defined on polar days.
    References : P. Nouvellet, G. S. A. Rasmussen, D. W. Macdonald & F. Courchamp (2012) J. Zool. 286:179–184;
    C. Vazquez, J. M. Rowcliffe, K. Spoelstra & P. A. Jansen (2019) Methods Ecol. Evol. 10:2057–2066.
    """
    t, a1, a2 = (np.asarray(part, dtype=float) for part in (clock_h, rise_h, set_h))
    length, mean_length = np.mod(a2 - a1, 24.0), (mean_set_h - mean_rise_h) % 24.0
    since_rise = np.mod(t - a1, 24.0)
    by_day = mean_rise_h + since_rise * mean_length / length
    by_night = mean_rise_h + mean_length + (since_rise - length) * (24 - mean_length) / (24 - length)
    return np.asarray(np.mod(np.where(since_rise <= length, by_day, by_night), 24.0), dtype=float)


def solar_days(utc_s: ArrayLike, longitude_deg: float) -> NDArray[np.int64]:
    """The day of each instant from one midnight of the sun to the next, as days since 1970-01-01."""
    return np.floor((np.asarray(utc_s, dtype=float) + longitude_deg * 240.0) / DAY_S).astype(np.int64)


@dataclass(frozen=True, kw_only=True)
class SunTable:
    """Sunrise, sunset and light of solar days of a place.

    days : (d,) sorted. rise_s, set_s : (d,) UTC unix seconds; nan where the sun stays up or down. stays : (d,) 0 both
    rises and sets, 1 stays up, 2 stays down. light_h : (d, 3) hours of day, twilight and night.
    dawn_h, dusk_h : (d,) length of twilight before and after noon; half of one that lasts all night each.
    """

    days: NDArray[np.int64]
    rise_s: Floats
    set_s: Floats
    stays: NDArray[np.int64]
    light_h: Floats
    dawn_h: Floats
    dusk_h: Floats


def sun_table(days: NDArray[np.int64], *, latitude_deg: float, longitude_deg: float) -> SunTable:
    """What the sun does on solar days, from its height every five minutes.

    days : sorted, each once. By the sun's own day, so that a sunset after the clock's midnight belongs to its day.
    Notes : crossings of −50′ between two steps are drawn straight; within half a minute of the almanac, more
    where the sun grazes the horizon.
    """
    since = (np.arange(_STEPS + 1)) * DAY_S / _STEPS
    instants = days[:, None] * DAY_S - longitude_deg * 240.0 + since[None, :]
    heights, _ = sky.sun_position(instants, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    above = heights - sky.RISE_SET_ELEVATION_DEG
    up = above >= 0
    rises, sets = ~up[:, :-1] & up[:, 1:], up[:, :-1] & ~up[:, 1:]
    # The equation of time moves noon by a quarter hour, so a grazing sun may set just after this midnight.
    both = rises.any(axis=1) & sets.any(axis=1)
    stays = np.where(both, 0, np.where(up[:, _STEPS // 2], 1, 2))

    def crossing(which: NDArray[np.bool_]) -> Floats:
        at = np.argmax(which, axis=1)
        row = np.arange(len(days))
        before, after = above[row, at], above[row, at + 1]
        with np.errstate(divide="ignore", invalid="ignore"):
            part = np.where(after != before, before / (before - after), 0.0)
        return np.asarray(np.where(both, instants[row, at] + part * DAY_S / _STEPS, np.nan), dtype=float)

    light = light_of((heights[:, :-1] + heights[:, 1:]) / 2)
    hours = np.stack([(light == kind).sum(axis=1) for kind in range(3)], axis=1) * 24 / _STEPS
    half = _STEPS // 2
    return SunTable(
        days=days,
        rise_s=crossing(rises),
        set_s=crossing(sets),
        stays=stays,
        light_h=hours,
        dawn_h=(light[:, :half] == 1).sum(axis=1) * 24 / _STEPS,
        dusk_h=(light[:, half:] == 1).sum(axis=1) * 24 / _STEPS,
    )


@dataclass(frozen=True, kw_only=True)
class SunDays:
    """Sunrise and sunset of some days in local clock hours, and their means as anchors.

    days : (d,) solar days, sorted. rise_h, set_h : (d,). mean_rise_h, mean_set_h : circular means over the records.
    dawn_length_h, dusk_length_h : how long twilight lasts on the records' days, on average. [h]
    """

    days: NDArray[np.int64]
    longitude_deg: float
    rise_h: Floats
    set_h: Floats
    mean_rise_h: float
    mean_set_h: float
    dawn_length_h: float
    dusk_length_h: float

    def anchored(self, utc_s: ArrayLike, clock_h: ArrayLike) -> Floats:
        """Sun time of instants on these days. [h]"""
        at = np.searchsorted(self.days, solar_days(utc_s, self.longitude_deg))
        return anchored_hours(
            clock_h, rise_h=self.rise_h[at], set_h=self.set_h[at], mean_rise_h=self.mean_rise_h,
            mean_set_h=self.mean_set_h,
        )  # fmt: skip


def sun_days(table: SunTable, records_s: ArrayLike, *, longitude_deg: float, latitude_deg: float, zone: str) -> SunDays:
    """The days of a table with anchors from the records.

    records_s : (n,) UTC unix seconds of the records, on days of the table.
    Raises NotEnoughEvidence when the sun does not both rise and set on one of the days.
    """
    if np.any(table.stays):
        raise NotEnoughEvidence(
            stays_sentence(table, latitude_deg), need="sun time needs a sunrise and a sunset on every day"
        )
    rise_h = localtime.clock_hours(table.rise_s, zone)
    set_h = localtime.clock_hours(table.set_s, zone)
    at = np.searchsorted(table.days, solar_days(records_s, longitude_deg))
    return SunDays(
        days=table.days,
        longitude_deg=longitude_deg,
        rise_h=rise_h,
        set_h=set_h,
        mean_rise_h=float(circular.hours(circular.direction(circular.angles(rise_h[at])).mean_rad)),
        mean_set_h=float(circular.hours(circular.direction(circular.angles(set_h[at])).mean_rad)),
        dawn_length_h=float(table.dawn_h[at].mean()),
        dusk_length_h=float(table.dusk_h[at].mean()),
    )


def sun_of(reserve: Reserve, records_s: ArrayLike) -> SunDays:
    """The days of records at the reserve, anchored to their means.

    Raises NotEnoughEvidence without a place, or when the sun does not both rise and set on one of the days.
    """
    if reserve.place is None:
        raise NotEnoughEvidence(NO_PLACE, need=PLACE_NEEDED)
    latitude, longitude = reserve.place
    days = np.unique(solar_days(records_s, longitude))
    return sun_days(
        sun_table(days, latitude_deg=latitude, longitude_deg=longitude), records_s,
        latitude_deg=latitude, longitude_deg=longitude, zone=reserve.zone,
    )  # fmt: skip


def stays_sentence(table: SunTable, latitude_deg: float) -> str:
    """On how many of the days the sun stayed up, and on how many down."""
    where = f"{abs(latitude_deg):.1f}° {'N' if latitude_deg >= 0 else 'S'}"
    parts = []
    for kind, what in ((1, "did not set"), (2, "did not rise")):
        own = table.days[table.stays == kind]
        if len(own):
            first, last = (date(1970, 1, 1) + timedelta(days=int(d)) for d in (own[0], own[-1]))
            when = (
                f"on {wording.day(first)}" if len(own) == 1 else f"between {wording.day(first)} and {wording.day(last)}"
            )
            parts.append(f"{what} on {len(own)} of {len(table.days)} days, {when}")
    return f"at {where} the sun {wording.listed(parts)}"
