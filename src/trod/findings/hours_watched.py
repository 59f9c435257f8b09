"""When of the day each site was watched: by clock, by sun time, by light and by the sun's height.

A site counts as watched while at least one of its cameras watches. What is not yet reviewed, or could not be told,
takes its share of the time with it, by site, month and half of the day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trod import sky
from trod.findings import localtime
from trod.findings.lights import light_of
from trod.findings.localtime import DAY_S, Floats
from trod.findings.observations import Selection, Span, joined
from trod.findings.reviewing import Reviewed
from trod.findings.sun_time import SunDays, SunTable, solar_days

STEP_S = 600.0
BINS = round(DAY_S / STEP_S)


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Ten-minute steps from the first watched instant to the last in which any site was watched.

    middle_s : (m,). sites : names. load : (sites, m) share of the step that the site was watched.
    """

    middle_s: Floats
    sites: tuple[str, ...]
    load: Floats


def steps(selection: Selection) -> Steps:
    """The steps in which any site of the selection was watched."""
    spans: dict[str, list[Span]] = {}
    for site, own in selection.watched.values():
        spans.setdefault(site, []).extend(own)
    names = tuple(sorted(spans))
    whole = [joined(spans[name]) for name in names]
    ends = [span for own in whole for span in own]
    if not ends:
        return Steps(middle_s=np.zeros(0), sites=names, load=np.zeros((len(names), 0)))
    first = int(min(a for a, _ in ends) // STEP_S)
    many = int(max(b for _, b in ends) // STEP_S) + 1 - first
    any_watched = np.zeros(many + 1, dtype=np.int64)
    for a, b in ends:
        any_watched[int(a // STEP_S) - first] += 1
        any_watched[int(b // STEP_S) + 1 - first] -= 1
    kept = np.flatnonzero(np.cumsum(any_watched[:-1]) > 0)
    load = np.stack([_load(own, first, many)[kept] for own in whole])
    return Steps(middle_s=np.asarray((first + kept + 0.5) * STEP_S, dtype=float), sites=names, load=load)


def _load(spans: Sequence[Span], first: int, many: int) -> Floats:
    out = np.zeros(many + 1)
    for a, b in spans:
        x0, x1 = a / STEP_S - first, b / STEP_S - first
        i0, i1 = int(x0), int(x1)
        if i0 == i1:
            out[i0] += x1 - x0
            continue
        out[i0] += i0 + 1 - x0
        out[i0 + 1 : i1] += 1.0
        out[i1] += x1 - i1
    return out[:many]


@dataclass(frozen=True, kw_only=True)
class Watched:
    """The steps with what is known of each.

    seen_share : (sites, m) share of what was recorded then that was reviewed and could be told.
    clock_h, days : (m,). height_deg, sun_h : (m,), nan where it is not known.
    """

    steps: Steps
    seen_share: Floats
    clock_h: Floats
    height_deg: Floats

    def by_hour(self, hours: Floats) -> Floats:
        """(sites, 288) hours watched and reviewed in each part of the day, by any clock of the steps."""
        narrow = self.by_kind(np.minimum((hours * BINS / 24).astype(np.int64), BINS - 1), BINS)
        return np.repeat(narrow / 2, 2, axis=1)

    def by_kind(self, kind: NDArray[np.int64], kinds: int, *, reviewed: bool = True) -> Floats:
        """(sites, kinds) hours watched (and reviewed), by a number of each step; −1 is left out."""
        here = kind >= 0
        out = np.zeros((len(self.steps.sites), kinds))
        for row, load in enumerate(self.steps.load):
            weights = load * self.seen_share[row] if reviewed else load
            out[row] = np.bincount(kind[here], weights=weights[here], minlength=kinds)
        return np.asarray(out * STEP_S / 3600.0, dtype=float)

    def whole_by_light(self, table: SunTable, longitude_deg: float) -> Floats:
        """(sites, 3) hours of each light there were on the solar days on which the site was watched at all."""
        at = np.searchsorted(table.days, solar_days(self.steps.middle_s, longitude_deg))
        out = np.zeros((len(self.steps.sites), 3))
        for row, load in enumerate(self.steps.load):
            out[row] = table.light_h[np.bincount(at, weights=load, minlength=len(table.days)) > 0].sum(axis=0)
        return out


def watched(selection: Selection) -> Watched:
    """When the sites of the selection were watched, and what of it was reviewed."""
    raster = steps(selection)
    reserve = selection.reserve
    clock = localtime.clock_hours(raster.middle_s, reserve.zone)
    height = np.full(len(raster.middle_s), np.nan)
    if reserve.place is not None:
        latitude, longitude = reserve.place
        height, _ = sky.sun_position(raster.middle_s, latitude_deg=latitude, longitude_deg=longitude)
    if selection.filter.light != "any":  # only that light was asked for, so only it counts as watched
        up = height >= sky.RISE_SET_ELEVATION_DEG
        raster = replace(raster, load=raster.load * (up == (selection.filter.light == "day"))[None, :])
    return Watched(steps=raster, seen_share=_seen_share(selection, raster, height), clock_h=clock, height_deg=height)


def _seen_share(selection: Selection, raster: Steps, height: Floats) -> Floats:
    out: Floats = np.ones(raster.load.shape)
    if not selection.unseen:
        return out
    reviewed = Reviewed(selection)
    months = localtime.months_of(raster.middle_s, selection.reserve.zone)
    names = sorted(set(months))
    number = {month: n for n, month in enumerate(names)}
    of = np.array([number[month] for month in months])
    night = (height < sky.RISE_SET_ELEVATION_DEG).astype(np.int64)
    for row, site in enumerate(raster.sites):
        halves = reviewed.halves_of(site)
        table = np.array([[1 / reviewed.stands_for(site, month, half) for half in halves] for month in names])
        out[row] = table[of, night if len(halves) == 2 else np.zeros(len(of), dtype=np.int64)]
    return out


def light_of_steps(found: Watched) -> NDArray[np.int64]:
    """(m,) 0 day, 1 twilight, 2 night."""
    return light_of(found.height_deg)


def sun_hours(found: Watched, sun: SunDays) -> Floats:
    """(m,) sun time of the steps."""
    return sun.anchored(found.steps.middle_s, found.clock_h)
