"""When animals pass: by clock time, by sun time, by light and by the sun's height, each against the time watched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trod import sky
from trod.errors import NotEnoughEvidence
from trod.findings import day_curve, hours_watched, lights, localtime, sun_time
from trod.findings.day_curve import Curve
from trod.findings.detections import Detection
from trod.findings.hours_watched import Watched
from trod.findings.lights import LIGHTS, LightShare
from trod.findings.localtime import Floats
from trod.findings.observations import Selection
from trod.findings.sun_time import SunDays

# Ours: parts of the sun's height, its rise and set and the three twilights among their borders. [°]
HEIGHTS_DEG = (-90.0, -18.0, -12.0, -6.0, sky.RISE_SET_ELEVATION_DEG, 5.0, 10.0, 20.0, 30.0, 45.0, 60.0, 90.0)
FEWEST_HEIGHT_H = 24.0  # ours: a part watched for less is not told


@dataclass(frozen=True, kw_only=True)
class HeightPart:
    """Detections while the sun stood between two heights, per hour watched, over those per hour of all."""

    from_deg: float
    to_deg: float
    share: LightShare


@dataclass(frozen=True, kw_only=True)
class Activity:
    """All that is known of when the selection's animals pass.

    detections : that took part. left_out : at a site and hour in which no camera counts as watching.
    by_sun, sun, sun_hours : None where there is no sun time, and why in why_no_sun.
    lights, heights : empty where nothing is known of the sun.
    """

    detections: tuple[Detection, ...]
    left_out: int
    clock_h: Floats
    by_clock: Curve
    by_sun: Curve | None
    sun_hours: Floats | None
    sun: SunDays | None
    why_no_sun: str
    lights: tuple[LightShare, ...]
    heights: tuple[HeightPart, ...]


def by_clock(selection: Selection, found: Sequence[Detection], *, draws: int = day_curve.DRAWS) -> Curve:
    """The curve by clock time alone, for small charts. Raises NotEnoughEvidence as `day_curve.curve` does."""
    watched = hours_watched.watched(selection)
    exposures = watched.by_hour(watched.clock_h)
    kept, clock, site = _watched_ones(watched, exposures, found, selection.reserve.zone)
    return day_curve.curve(clock, _nights(kept, selection.reserve.zone), site, exposures, draws=draws)


def _nights(found: Sequence[Detection], zone: str) -> NDArray[np.int64]:
    """The day of each detection, from noon to noon, so that one night is one unit."""
    instants = np.array([p.utc_s for p in found], dtype=float)
    return np.floor((instants + localtime.offsets_s(instants, zone)) / 86_400.0 - 0.5).astype(np.int64)


def activity(selection: Selection, found: Sequence[Detection]) -> Activity:
    """Curves by clock and by sun and the shares of light, of detections already merged."""
    reserve = selection.reserve
    watched = hours_watched.watched(selection)
    exposures = watched.by_hour(watched.clock_h)
    kept, clock, site = _watched_ones(watched, exposures, found, reserve.zone)
    instants = np.array([p.utc_s for p in kept], dtype=float)
    days = _nights(kept, reserve.zone)
    by_clock = day_curve.curve(clock, days, site, exposures)
    by_sun = sun = hours = None
    parts: tuple[LightShare, ...] = ()
    heights: tuple[HeightPart, ...] = ()
    why = sun_time.NO_PLACE
    if reserve.place is not None:
        latitude, longitude = reserve.place
        height, _ = sky.sun_position(instants, latitude_deg=latitude, longitude_deg=longitude)
        of_all = np.concatenate([watched.steps.middle_s, instants])
        table = sun_time.sun_table(
            np.unique(sun_time.solar_days(of_all, longitude)), latitude_deg=latitude, longitude_deg=longitude
        )
        parts = lights.shares(
            lights.light_of(height),
            site,
            days,
            watched_h=watched.by_kind(hours_watched.light_of_steps(watched), 3),
            whole_h=watched.whole_by_light(table, longitude),
        )
        heights = _heights(watched, height, site, days)
        why = ""
        try:
            sun = sun_time.sun_days(table, instants, latitude_deg=latitude, longitude_deg=longitude, zone=reserve.zone)
            hours = sun.anchored(instants, clock)
            by_sun = day_curve.curve(hours, days, site, watched.by_hour(hours_watched.sun_hours(watched, sun)))
        except NotEnoughEvidence as trouble:
            sun = hours = None
            why = trouble.have
    if not (by_sun or by_clock).whole:  # the hours nobody watched may be unlike the others of their light
        parts = tuple(replace(part, share=None, interval=None) for part in parts)
    return Activity(
        detections=kept,
        left_out=len(found) - len(kept),
        clock_h=clock,
        by_clock=by_clock,
        by_sun=by_sun,
        sun_hours=hours,
        sun=sun,
        why_no_sun=why,
        lights=parts,
        heights=heights,
    )


def _watched_ones(
    watched: Watched, exposures: Floats, found: Sequence[Detection], zone: str
) -> tuple[tuple[Detection, ...], Floats, NDArray[np.int64]]:
    """Detections at a site and hour of the day that was ever watched, their clock hours and rows of their sites."""
    rows = {name: row for row, name in enumerate(watched.steps.sites)}
    clock = localtime.clock_hours(np.array([p.utc_s for p in found], dtype=float), zone)
    site = np.array([rows.get(p.site, -1) for p in found], dtype=np.int64)
    at = np.minimum((clock * day_curve.POINTS / 24).astype(np.int64), day_curve.POINTS - 1)
    here = (site >= 0) & (exposures[site, at] > 0) if len(found) else np.zeros(0, dtype=bool)
    return tuple(p for p, is_here in zip(found, here, strict=True) if is_here), clock[here], site[here]


def _heights(
    watched: Watched, height: Floats, site: NDArray[np.int64], days: NDArray[np.int64]
) -> tuple[HeightPart, ...]:
    edges = np.array(HEIGHTS_DEG)
    kinds = len(edges) - 1

    def kind(of: Floats) -> NDArray[np.int64]:
        return np.clip(np.searchsorted(edges, of, side="right") - 1, 0, kinds - 1)

    table = watched.by_kind(kind(watched.height_deg), kinds)
    names = tuple(str(n) for n in range(kinds))
    shares = lights.shares(kind(height), site, days, watched_h=table, whole_h=table, names=names)
    return tuple(
        HeightPart(from_deg=a, to_deg=b, share=share)
        for a, b, share in zip(HEIGHTS_DEG, HEIGHTS_DEG[1:], shares, strict=False)
        if share.watched_h >= FEWEST_HEIGHT_H
    )


__all__ = ["HEIGHTS_DEG", "LIGHTS", "Activity", "HeightPart", "activity"]
