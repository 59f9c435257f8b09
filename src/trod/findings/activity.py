"""When animals pass: by clock time and by sun time, corrected for when cameras watched.

Sun time: every detection's time is stretched so that the sunrises and sunsets of the whole season fall on
one (their means), which takes the season's drift out of dawn and dusk.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from trod import clock, sky, wording
from trod.errors import NotEnoughEvidence
from trod.findings import circular, effort, localtime
from trod.findings.detections import Detection
from trod.findings.localtime import Floats
from trod.findings.observations import Reserve, Selection
from trod.findings.rates import Interval

POINTS = 288  # the curve's points: every five minutes
DRAWS = 500
LEVEL = 0.95
# At least 100 detections are advised for an activity pattern: Alberta Remote Camera Steering Committee &
# WildCAM (2024) Remote Camera Survey Guidelines, v2, App. Table A2.
ADVISED = 100
# Under this nothing is drawn. Ours: with fewer, the curve's shape is the kernel's, not the animals'.
FEWEST = 10

LIGHTS = ("day", "twilight", "night")
TWILIGHT_DEG = sky.NAUTICAL_DEG  # twilight here: sun between the horizon and 12° below it


def seed_from(*parts: object) -> int:
    """A seed made of the data themselves, so that a rebuilt catalogue draws the same bootstrap."""
    digest = hashlib.sha256("\x1f".join(repr(part) for part in parts).encode()).digest()
    return int.from_bytes(digest[:8], "big")


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


@dataclass(frozen=True, kw_only=True)
class SunDays:
    """Each record's own sunrise and sunset, and their means as anchors; local clock hours.

    rise_h, set_h : (n,). mean_rise_h, mean_set_h : circular means over the records.
    dawn_length_h, dusk_length_h : how long twilight lasts on these days, on average. [h]
    """

    rise_h: Floats
    set_h: Floats
    mean_rise_h: float
    mean_set_h: float
    dawn_length_h: float
    dusk_length_h: float


@lru_cache(maxsize=20_000)
def _sun_of(day: date, latitude_deg: float, longitude_deg: float, zone: str) -> tuple[float, float] | None:
    """Sunrise and sunset of a local date in local clock hours; None where one of them is missing."""
    times = sky.sun_times(day, latitude_deg=latitude_deg, longitude_deg=longitude_deg, zone=clock.zone(zone))
    if times.rise is None or times.set is None:
        return None
    rise_s, set_s = times.rise.timestamp(), times.set.timestamp()
    hours = localtime.clock_hours(np.array([rise_s, set_s]), zone)
    return float(hours[0]), float(hours[1])


def sun_days(reserve: Reserve, utc_s: ArrayLike) -> SunDays:
    """Sunrise and sunset of the local date of every instant.

    Raises NotEnoughEvidence when one of the dates has no sunrise or no sunset.
    """
    instants = np.asarray(utc_s, dtype=float)
    days = localtime.local_days(instants, reserve.zone)
    unique, back = np.unique(days, return_inverse=True)
    table = np.empty((len(unique), 2))
    for row, day in enumerate(unique):
        when = date(1970, 1, 1) + timedelta(days=int(day))
        sun = _sun_of(when, reserve.latitude_deg, reserve.longitude_deg, reserve.zone)
        if sun is None:
            raise NotEnoughEvidence(
                f"the sun does not both rise and set on {when.isoformat()} at "
                f"{abs(reserve.latitude_deg):.1f}° {'N' if reserve.latitude_deg >= 0 else 'S'}",
                need="sun time needs both on every day; read the pattern by the clock",
            )
        table[row] = sun
    rise_h, set_h = table[back, 0], table[back, 1]
    mean_rise = float(circular.hours(circular.direction(circular.angles(rise_h)).mean_rad))
    mean_set = float(circular.hours(circular.direction(circular.angles(set_h)).mean_rad))
    dawn, dusk = _twilight_lengths_h(reserve, unique)
    return SunDays(
        rise_h=rise_h,
        set_h=set_h,
        mean_rise_h=mean_rise,
        mean_set_h=mean_set,
        dawn_length_h=dawn,
        dusk_length_h=dusk,
    )


def _twilight_lengths_h(reserve: Reserve, days: NDArray[np.int64], most: int = 40) -> tuple[float, float]:
    """Mean length of twilight before sunrise and after sunset.

    By five-minute steps on at most 40 of the days. A night that never grows dark is all twilight: half of it
    goes to each side.
    """
    chosen = days[np.unique(np.linspace(0, len(days) - 1, min(most, len(days))).astype(int))]
    middle_s = 43_200.0 - reserve.longitude_deg * 240.0  # local solar noon, near enough to tell morning
    since_noon = np.arange(-144, 144) * 300.0 + 150.0
    instants = chosen[:, None] * 86_400.0 + middle_s + since_noon[None, :]
    heights, _ = sky.sun_position(instants, latitude_deg=reserve.latitude_deg, longitude_deg=reserve.longitude_deg)
    dim = light_of(heights) == 1
    dawn = float(dim[:, since_noon < 0].sum()) / len(chosen) / 12
    dusk = float(dim[:, since_noon > 0].sum()) / len(chosen) / 12
    return dawn, dusk


@dataclass(frozen=True, kw_only=True)
class Curve:
    """An activity curve at 288 points of the day.

    hours : (288,) middles of five-minute parts. density, low, high : (288,), share of activity per hour.
    peak_h : busiest time. peak_interval_h : (from, to) of it, going round midnight if need be; None when
    the bootstrap leaves it anywhere (arc over 12 h). peaks_h : all clear peaks, highest first.
    activity : activity level, with its interval.
    kappa : the kernel's. n : detections. even_p : chance of so uneven a sample from an even day.
    """

    hours: Floats
    density: Floats
    low: Floats
    high: Floats
    peak_h: float
    peak_interval_h: tuple[float, float] | None
    peaks_h: tuple[float, ...]
    activity: float
    activity_interval: Interval
    kappa: float
    n: int
    even_p: float


def curve(clock_h: ArrayLike, days: ArrayLike, weights: ArrayLike | None = None, *, draws: int = DRAWS) -> Curve:
    """A kernel curve through times of day, with a pointwise bootstrap band.

    clock_h : (n,) [h]. days : (n,) integers; detections of one day are drawn together, for they are not
    independent (weather, the same animals). weights : (n,), 1 over the effort at that time of day.
    Notes : the band is the 2.5 and 97.5 percentile of `draws` bootstrap curves; it tells of sampling, not of
    the smoothing. The seed is made of the times themselves. Raises NotEnoughEvidence under 10 detections.
    """
    t = np.asarray(clock_h, dtype=float)
    n = len(t)
    if n < FEWEST:
        raise NotEnoughEvidence(
            wording.plural(n, "detection"),
            need=f"a pattern over the day needs at least {FEWEST}, and {ADVISED} to be trusted; "
            "widen the period or the sites",
        )
    w = np.ones(n) if weights is None else np.asarray(weights, dtype=float)
    w = w / w.mean()
    theta = circular.angles(t)
    kappa = circular.bandwidth_kappa(theta)
    at_h = (np.arange(POINTS) + 0.5) * 24 / POINTS
    at = circular.angles(at_h)

    # One row of kernels per day, so that a bootstrap draw of days is one row of weights.
    unique, back = np.unique(np.asarray(days), return_inverse=True)
    rows = np.zeros((len(unique), POINTS))
    mass = np.bincount(back, weights=w, minlength=len(unique))
    in_order = np.argsort(back, kind="stable")
    for part in np.array_split(in_order, max(1, n // 4096)):  # in slices, so that memory stays small
        kernels = circular.von_mises(at[None, :] - theta[part, None], 0.0, kappa) * w[part, None]
        starts = np.flatnonzero(np.diff(back[part], prepend=-1))
        rows[back[part][starts]] += np.add.reduceat(kernels, starts, axis=0)
    per_hour = circular.TURN / 24
    density = rows.sum(axis=0) / mass.sum() * per_hour

    rng = np.random.default_rng(seed_from(np.round(t, 6).tolist(), np.round(w, 6).tolist()))
    drawn = rng.multinomial(len(unique), np.full(len(unique), 1 / len(unique)), size=draws)
    boot = (drawn @ rows) / (drawn @ mass)[:, None] * per_hour
    low, high = np.quantile(boot, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    peaks = circular.angles(at_h[np.argmax(boot, axis=1)])
    start, arc = circular.smallest_arc(peaks, LEVEL)
    levels = 1 / (24 * boot.max(axis=1))
    ends = np.quantile(levels, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return Curve(
        hours=at_h,
        density=density,
        low=low,
        high=high,
        peak_h=float(at_h[int(np.argmax(density))]),
        peak_interval_h=((float(circular.hours(start)), float(circular.hours(start + arc))) if arc <= math.pi else None),
        peaks_h=tuple(float(at_h[i]) for i in circular.peaks(density)),
        activity=circular.activity_level(density / per_hour),
        activity_interval=Interval(low=float(ends[0]), high=float(ends[1]), level=LEVEL, kind="bootstrap of whole days"),
        kappa=kappa,
        n=n,
        even_p=circular.even_test_p(theta),
    )


@dataclass(frozen=True, kw_only=True)
class LightShare:
    """How much of the activity falls into one light.

    share, interval : of the effort-corrected activity. detections, watched_h : what it rests on.
    preference : detections per hour of this light over detections per hour of all.
    """

    light: str
    detections: int
    watched_h: float
    share: float
    interval: Interval
    preference: float


def light_of(heights_deg: Floats) -> NDArray[np.int64]:
    """0 day, 1 twilight (sun to 12° below), 2 night, by the sun's geometric height."""
    return np.where(heights_deg >= sky.RISE_SET_ELEVATION_DEG, 0, np.where(heights_deg >= TWILIGHT_DEG, 1, 2))


def watched_by_light_h(selection: Selection, step_s: float = 600.0) -> Floats:
    """Camera-hours watched by day, in twilight and at night, (3,). Sampled every ten minutes."""
    spans = effort.all_spans(selection)
    if not spans:
        return np.zeros(3)
    # Sample one common raster of instants and count how many cameras watched at each.
    start, end = min(a for a, _ in spans), max(b for _, b in spans)
    steps = np.arange(math.floor(start / step_s), math.ceil(end / step_s))
    middles = (steps + 0.5) * step_s
    load = np.zeros(len(steps) + 1)
    for a, b in spans:
        x0, x1 = a / step_s - steps[0], b / step_s - steps[0]
        i0, i1 = int(x0), int(x1)
        if i0 == i1:
            load[i0] += x1 - x0
            continue
        load[i0] += i0 + 1 - x0
        load[i0 + 1 : i1] += 1.0
        load[i1] += x1 - i1
    heights, _ = sky.sun_position(
        middles,
        latitude_deg=selection.reserve.latitude_deg,
        longitude_deg=selection.reserve.longitude_deg,
    )
    hours = np.bincount(light_of(heights), weights=load[:-1], minlength=3) * step_s / 3600.0
    return np.asarray(hours, dtype=float)


def light_shares(selection: Selection, found: Sequence[Detection]) -> tuple[LightShare, ...]:
    """Shares of day, twilight and night in the activity, as if each had been watched equally well per hour.

    The correction matters where cameras missed more of one light than of another; then a plain count
    of detections would blame the animals. share_i ∝ detections_i × (true hours of light i / watched hours of i).
    Intervals are Clopper–Pearson on the plain counts, carried through the correction by its ratio.
    """
    heights, _ = sky.sun_position(
        np.array([p.utc_s for p in found]),
        latitude_deg=selection.reserve.latitude_deg,
        longitude_deg=selection.reserve.longitude_deg,
    )
    counts = np.bincount(light_of(heights), minlength=3)
    watched = watched_by_light_h(selection)
    spans = effort.all_spans(selection)
    true = np.array(watched)
    if spans:
        true = _true_light_h(selection, min(a for a, _ in spans), max(b for _, b in spans))
    with np.errstate(divide="ignore", invalid="ignore"):
        mend = np.where(watched > 0, true / watched, 1.0)
    mend = mend / (mend @ counts / max(counts.sum(), 1)) if counts.sum() else mend
    total = int(counts.sum())
    out = []
    for index, light in enumerate(LIGHTS):
        n = int(counts[index])
        low = float(stats.beta.ppf(0.025, n, total - n + 1)) if n else 0.0
        high = float(stats.beta.ppf(0.975, n + 1, total - n)) if n < total else 1.0
        odds = float(mend[index])
        rate_all = total / float(watched.sum()) if watched.sum() > 0 else math.nan
        out.append(
            LightShare(
                light=light,
                detections=n,
                watched_h=float(watched[index]),
                share=n * odds / total if total else math.nan,
                interval=Interval(
                    low=min(1.0, low * odds),
                    high=min(1.0, high * odds),
                    level=LEVEL,
                    kind="exact binomial limits (Clopper & Pearson 1934), detections taken as independent",
                ),
                preference=(n / float(watched[index])) / rate_all if watched[index] > 0 and total else math.nan,
            )
        )
    return tuple(out)


def _true_light_h(selection: Selection, start_s: float, end_s: float) -> Floats:
    """Hours of each light from the first watched instant to the last, watched or not."""
    instants = np.arange(start_s + 300, end_s, 600.0)
    if len(instants) == 0:
        return np.ones(3)
    heights, _ = sky.sun_position(
        instants,
        latitude_deg=selection.reserve.latitude_deg,
        longitude_deg=selection.reserve.longitude_deg,
    )
    return np.bincount(light_of(heights), minlength=3) / 6.0


@dataclass(frozen=True, kw_only=True)
class Activity:
    """All that is known of when the selection's animals pass."""

    detections: tuple[Detection, ...]
    clock_h: Floats
    by_clock: Curve
    by_sun: Curve | None
    sun_hours: Floats | None
    sun: SunDays | None
    why_no_sun: str
    lights: tuple[LightShare, ...]


def activity(selection: Selection, found: Sequence[Detection]) -> Activity:
    """Curves by clock and by sun and the shares of light, of detections already merged."""
    zone = selection.reserve.zone
    instants = np.array([p.utc_s for p in found], dtype=float)
    clock = localtime.clock_hours(instants, zone)
    # Days from noon to noon, so that one night is one unit.
    days = np.floor((instants + localtime.offsets_s(instants, zone)) / 86_400.0 - 0.5).astype(int)
    by_hour = effort.hours_by_clock(selection, 24)
    weights = np.ones(len(instants))
    if by_hour.min() > 0:
        weights = by_hour.mean() / by_hour[np.minimum(clock.astype(int), 23)]
    by_clock = curve(clock, days, weights)
    by_sun = sun = sun_hours = None
    why = ""
    try:
        sun = sun_days(selection.reserve, instants)
        sun_hours = anchored_hours(
            clock, rise_h=sun.rise_h, set_h=sun.set_h, mean_rise_h=sun.mean_rise_h, mean_set_h=sun.mean_set_h
        )
        by_sun = curve(sun_hours, days, weights)
    except NotEnoughEvidence as trouble:
        why = str(trouble)
    return Activity(
        detections=tuple(found),
        clock_h=clock,
        by_clock=by_clock,
        by_sun=by_sun,
        sun_hours=sun_hours,
        sun=sun,
        why_no_sun=why,
        lights=light_shares(selection, found),
    )
