"""A straight path through detection zone and field of view.

Where it comes in, where it goes out, and the chances that have a closed form.

Plan view, camera at the origin, its axis along +x, angles to the left positive:

                      path, at angle a to the axis
                     ╱
        + β/2 ......╱....
               .   ╱ s grows this way
    camera ●──────╱──────────► axis
            ╲  . ╱
           q ╲  ╱ .......... − β/2
              ╲╱
              ╱ foot, s = 0

A point of the path is told by s, its distance along the path from the foot of the perpendicular, which is q
long. The path meets the ray at angle θ where s = q·cot(a − θ), at the distance q/sin(a − θ) from the camera.
"Forward" is the way of growing s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trod.errors import WrongInput, positive
from trod.planning.catch.passers import Body

Floats = NDArray[np.float64]
NEAREST_PATH_M = 0.3
WHOLE_SHARE = 0.8  # this much of the body in the picture counts as the whole animal
STRIPS = 9  # the body is cut lengthwise into so many strips to find its share in the picture
_SMALL = 1e-9
_FAR_M = 1e4


@dataclass(frozen=True, kw_only=True)
class Path:
    """A straight path. offset_m : its distance from the camera at the nearest. [m]

    angle_deg : between the path and the camera's axis, 0 along the axis, 90 straight across. [°]
    """

    offset_m: float
    angle_deg: float

    def __post_init__(self) -> None:
        if not NEAREST_PATH_M <= self.offset_m <= 200:
            raise WrongInput(
                "offset_m",
                got=self.offset_m,
                needed=f"metres between path and camera, from {NEAREST_PATH_M} to 200",
            )
        if not 0 <= self.angle_deg <= 180:
            raise WrongInput("angle_deg", got=self.angle_deg, needed="an angle from 0 to 180 degrees")


@dataclass(frozen=True, kw_only=True)
class View:
    """What the lens imports. fov_deg : horizontal angle of view. reach_m : how far a picture is of use.

    Beyond reach_m the flash does not light or pixels are too few; infinite by day for a good lens.
    columns : the sensor's own pixels across, not those added by enlarging.
    """

    fov_deg: float = 41.0
    reach_m: float = 60.0
    columns: int = 4000

    def __post_init__(self) -> None:
        if not 1 <= self.fov_deg <= 170:
            raise WrongInput("fov_deg", got=self.fov_deg, needed="an angle from 1 to 170 degrees")
        if not self.reach_m > 0:
            raise WrongInput("reach_m", got=self.reach_m, needed="metres above 0")
        positive("columns", self.columns)


def along_m(path: Path, ray_deg: float) -> float:
    """Where the path meets a ray from the camera: s, in metres from the foot. NaN where they do not meet."""
    between = math.radians(path.angle_deg - ray_deg)
    if math.sin(between) <= _SMALL:
        return math.nan
    return path.offset_m / math.tan(between)


@dataclass(frozen=True)
class Spans:
    """Where along the path the animal's middle must be for its picture to show it. Arrays (paths,), [m].

    middle : the middle is in the frame. whole : at least `WHOLE_SHARE` of the body is. part : any of it is.
    Each is (from, to); from > to where it never happens.
    """

    middle: tuple[Floats, Floats]
    whole: tuple[Floats, Floats]
    part: tuple[Floats, Floats]


def sector_span(offset_m: Floats, angle_rad: Floats, *, half_angle_rad: float, reach_m: float) -> tuple[Floats, Floats]:
    """Where lines enter and leave a sector before the camera: (from, to) along each, any broadcast shape.

    offset_m : may be negative (the line passes on the other side). from > to where a line misses it.
    """
    q, a, h = np.asarray(offset_m, float), np.asarray(angle_rad, float), half_angle_rad
    low = np.full(np.broadcast(q, a).shape, -np.inf)
    high = np.full_like(low, np.inf)
    # Two half planes, each as A + B·s ≥ 0: right of the left edge, left of the right edge.
    for level, rise in ((q * np.cos(a - h), -np.sin(a - h)), (-q * np.cos(a + h), np.sin(a + h))):
        flat = np.abs(rise) < _SMALL
        at = -level / np.where(flat, 1.0, rise)
        low = np.where(~flat & (rise > 0), np.maximum(low, at), low)
        high = np.where(~flat & (rise < 0), np.minimum(high, at), high)
        high = np.where(flat & (level < 0), -np.inf, high)
    if math.isfinite(reach_m):
        half = np.sqrt(np.maximum(reach_m**2 - q**2, 0.0))
        missed = np.abs(q) >= reach_m
        low, high = np.maximum(low, -half), np.where(missed, -np.inf, np.minimum(high, half))
    return low, high


def spans(offset_m: Floats, angle_rad: Floats, *, view: View, body: Body, share: float = WHOLE_SHARE) -> Spans:
    """The spans of many paths, (paths,) each, for a box-shaped body that goes along them.

    Notes : the body is cut into strips along its way; a strip's share inside is exact. The share inside a
    convex view rises and falls once as a convex body passes (Brunn–Minkowski), so a search by thirds finds
    its peak and two bisections the edges of the span.
    """
    h = math.radians(view.fov_deg) / 2
    q, a = np.atleast_1d(np.asarray(offset_m, float)), np.atleast_1d(np.asarray(angle_rad, float))
    q, a = np.broadcast_arrays(q, a)
    middle = sector_span(q, a, half_angle_rad=h, reach_m=view.reach_m)
    edges = np.linspace(-0.5, 0.5, STRIPS) * body.width_m
    low, high = sector_span(q[None] + edges[:, None], a, half_angle_rad=h, reach_m=view.reach_m)
    length = body.length_m
    hit = high > low
    part_low = np.where(hit, low, np.inf).min(axis=0) - length / 2
    part_high = np.where(hit, high, -np.inf).max(axis=0) + length / 2

    lanes = (np.arange(STRIPS) + 0.5) / STRIPS - 0.5
    low, high = sector_span(q[None] + lanes[:, None] * body.width_m, a, half_angle_rad=h, reach_m=view.reach_m)

    # Where the whole body is in, if anywhere, is the peak; only other paths must be searched for theirs.
    full_low, full_high = (low + length / 2).max(axis=0), (high - length / 2).min(axis=0)
    low, high = low[:, None], high[:, None]

    def inside(s: Floats) -> Floats:
        """The share inside for middles at s, (any, paths) or (paths,)."""
        overlap = np.minimum(s + length / 2, high) - np.maximum(s - length / 2, low)
        share_inside = np.maximum(overlap, 0.0).mean(axis=0) / length
        return np.asarray(share_inside[0] if s.ndim == 1 else share_inside)

    # Endless views are cut where no animal is looked for; the search needs ends.
    begin, end = np.clip(part_low, -_FAR_M, _FAR_M), np.clip(part_high, -_FAR_M, _FAR_M)
    end = np.maximum(begin, end)
    full = full_low <= full_high
    peak = np.where(full, np.clip(full_low, begin, end) / 2 + np.clip(full_high, begin, end) / 2, begin)
    if not full.all():
        left, right = begin, end
        for _ in range(32):
            third = (right - left) / 3
            one, two = left + third, right - third
            rising = inside(one) < inside(two)
            left, right = np.where(rising, one, left), np.where(rising, right, two)
        peak = np.where(full, peak, (left + right) / 2)
    enough = inside(peak) >= share
    outer, within = np.stack([begin, end]), np.stack([peak, peak])
    for _ in range(30):
        half_way = (outer + within) / 2
        good = inside(half_way) >= share
        within, outer = np.where(good, half_way, within), np.where(good, outer, half_way)
    whole = (np.where(enough, within[0], np.inf), np.where(enough, within[1], -np.inf))
    return Spans(middle=middle, whole=whole, part=(part_low, part_high))
