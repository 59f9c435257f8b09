"""Animals that stay: at a feeding ground, a lick or water, standing and stepping about before the camera.

A visit lasts an exponential time. The animal walks in from one side, stands, takes a few steps in a direction
at random, stands again, and keeps to its patch; its leaving is left out. Steps that carry its middle over a
ray of the sensor may fire the camera (`detection`, `walkby`); what an animal stirs while it stands is left
out, so real triggers are rather more. All defaults are assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from trod.errors import WrongInput, positive
from trod.planning.catch.crossing import View
from trod.planning.catch.detection import REFERENCE_AREA_M2, REFERENCE_CONTRAST_K, Sensor, response
from trod.planning.catch.passers import DEER, Passer
from trod.planning.catch.walkby import Estimate, Timing

Floats = NDArray[np.float64]
CHUNK = 4_096


@dataclass(frozen=True, kw_only=True)
class Stay:
    """How animals use a patch. near_m : from the camera to its near edge; depth_m, width_m : the patch.

    stay_mean_s, stand_mean_s : exponential. step_mean_m : of one move, exponential; step_mps : its speed.
    arrive_mps : the speed at which it walks in.
    """

    near_m: float = 6.0
    depth_m: float = 4.0
    width_m: float = 6.0
    stay_mean_s: float = 360.0
    stand_mean_s: float = 20.0
    step_mean_m: float = 1.0
    step_mps: float = 0.5
    arrive_mps: float = 1.0

    def __post_init__(self) -> None:
        for each in fields(self):
            positive(each.name, getattr(self, each.name))


@dataclass(frozen=True, kw_only=True)
class StayCase:
    """A camera, an animal and its stay."""

    passer: Passer = DEER
    stay: Stay = field(default_factory=Stay)
    sensor: Sensor = field(default_factory=Sensor)
    view: View = field(default_factory=View)
    timing: Timing = field(default_factory=lambda: Timing(rearm_s=10.0))
    contrast_k: float = REFERENCE_CONTRAST_K
    contrast_spread_ln: float = 0.30

    def __post_init__(self) -> None:
        positive("contrast_k", self.contrast_k)


@dataclass(frozen=True, kw_only=True)
class Visits:
    """What comes of a visit. triggers, pictures : for each. seen : its middle is in some picture.

    in_view : of the pictures, those with its middle in them (None without any picture).
    """

    visits: int
    triggers: Estimate
    pictures: Estimate
    seen: Estimate
    in_view: Estimate | None


def _into(value: Floats, low: float, high: float) -> Floats:
    """Folded back from the patch's edges."""
    span = high - low
    away = np.mod(value - low, 2 * span)
    return np.asarray(low + np.where(away > span, 2 * span - away, away))


def visits(case: StayCase, *, number: int = 8_192, seed: int = 1) -> Visits:
    """Simulate so many visits. Standard errors come with the answer.

    Notes : the animal's middle moves on straight lines; at the ray it crosses it shows the sensor its length
    and width according to its heading. Frames that come after a step show it where the step ended.
    """
    if number < 1:
        raise WrongInput("number", got=number, needed="at least one visit")
    rng = np.random.Generator(np.random.SFC64(seed))
    fired, shown = np.zeros(number), np.zeros(number)
    for begin in range(0, number, CHUNK):
        part = slice(begin, min(number, begin + CHUNK))
        fired[part], shown[part] = _some(case, part.stop - part.start, rng)
    seen = shown > 0
    frames = case.timing.frames

    def mean(values: Floats) -> Estimate:
        return Estimate(float(values.mean()), float(values.std() / math.sqrt(number)))

    share = (np.count_nonzero(seen) + 0.5) / (number + 1)
    taken = fired * frames
    in_view = None
    if taken.sum():
        ratio = float(shown.sum() / taken.sum())
        in_view = Estimate(ratio, float(np.sqrt(((shown - ratio * taken) ** 2).sum()) / taken.sum()))
    return Visits(
        visits=number,
        triggers=mean(fired),
        pictures=mean(taken),
        seen=Estimate(float(seen.mean()), math.sqrt(share * (1 - share) / number)),
        in_view=in_view,
    )


def _some(case: StayCase, n: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Triggers, and frames with the animal's middle in them, of n visits."""
    stay, sensor, timing, body = case.stay, case.sensor, case.timing, case.passer.body
    left = rng.exponential(stay.stay_mean_s, n)
    x = rng.uniform(stay.near_m, stay.near_m + stay.depth_m, n)
    # It comes from two metres outside the patch, on either side.
    y = np.where(rng.random(n) < 0.5, -1.0, 1.0) * (stay.width_m / 2 + 2.0)
    contrast = case.contrast_k * np.exp(case.contrast_spread_ln * rng.standard_normal(n))
    # The camera has not been asleep for long: most visits find it listening.
    clock, listens = np.zeros(n), np.zeros(n)
    fired, shown = np.zeros(n), np.zeros(n)
    rays = np.radians(sensor.rays_deg)[:, None]
    cos_ray, sin_ray = np.cos(rays), np.sin(rays)
    half_view = math.radians(case.view.fov_deg) / 2
    pitch = math.radians(sensor.true_pitch_deg)
    need = REFERENCE_AREA_M2 * REFERENCE_CONTRAST_K / (sensor.range_m**2 * sensor.sensitivity)
    who = np.arange(n)
    arriving = True
    while who.size:
        if not arriving:
            clock[who] += rng.exponential(stay.stand_mean_s, who.size)
            who = who[clock[who] < left[who]]
            if not who.size:
                break
        heading = rng.uniform(0, 2 * np.pi, who.size)
        length = rng.exponential(stay.step_mean_m, who.size)
        x0, y0 = x[who], y[who]
        x1 = _into(x0 + length * np.cos(heading), stay.near_m, stay.near_m + stay.depth_m)
        y1 = _into(y0 + length * np.sin(heading), -stay.width_m / 2, stay.width_m / 2)
        if arriving:
            x1 = rng.uniform(stay.near_m, stay.near_m + stay.depth_m, who.size)
            y1 = rng.uniform(-stay.width_m / 2, stay.width_m / 2, who.size)
        speed = stay.arrive_mps if arriving else stay.step_mps
        arriving = False
        dx, dy = x1 - x0, y1 - y0
        gone = np.maximum(np.hypot(dx, dy), 1e-9)
        # Which side of each ray the step begins and ends on, and where on the way it crosses.
        before, after = cos_ray * y0 - sin_ray * x0, cos_ray * y1 - sin_ray * x1
        crosses = (before < 0) != (after < 0)
        way = np.where(crosses, before / np.where(crosses, before - after, 1.0), np.inf)
        at = np.where(crosses, way, 0.0)
        away = np.hypot(x0 + at * dx, y0 + at * dy)
        sine = np.abs(cos_ray * dy - sin_ray * dx) / gone
        cosine = np.sqrt(np.maximum(0.0, 1 - sine * sine))
        width = body.length_m * sine + body.width_m * cosine
        gain = response(speed * sine / (2 * pitch * away), sensor)
        trips = crosses & (contrast[who] * body.height_m * width * gain / away**2 >= need)
        way = np.sort(np.where(trips, way, np.inf), axis=0)
        lasts = gone / speed
        for row in way:
            now = clock[who] + row * lasts
            fires = np.isfinite(row) & (now >= listens[who])
            if not fires.any():
                if not np.isfinite(row).any():
                    break
                continue
            these = who[fires]
            delay = timing.trigger_s * np.exp(timing.jitter_ln * rng.standard_normal(these.size))
            fired[these] += 1
            listens[these] = now[fires] + delay + (timing.frames - 1) * timing.gap_s + timing.rearm_s
            for frame in range(timing.frames):
                when = row[fires] + (delay + frame * timing.gap_s) / lasts[fires]
                share = np.minimum(when, 1.0)
                fx, fy = x0[fires] + share * dx[fires], y0[fires] + share * dy[fires]
                inside = (np.abs(np.arctan2(fy, fx)) <= half_view) & (np.hypot(fx, fy) <= case.view.reach_m)
                shown[these] += inside
        clock[who] += lasts
        x[who], y[who] = x1, y1
    return fired, shown
