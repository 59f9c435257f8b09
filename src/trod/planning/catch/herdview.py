"""How much of a herd a camera sees from its height: near animals hide far ones.

Trunks are upright ellipsoids on flat ground, with headings at random, scattered over a patch before the
camera. Their silhouettes go, near ones first, into a buffer of angles; an animal counts as seen when enough
of its own silhouette is left free. `simulate` does that; run at each of its nodes it made the table that ships
beside this module, and `share` reads the table.

Everything here is ours and assumed; legs, necks, antlers, feeders, snow and slopes are not in it, nor that
animals bunch at fodder, which is worse than scattering. Take the share as "about".
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import overload

import numpy as np
from numpy.typing import NDArray

from trod import wording
from trod.errors import NotEnoughEvidence, WrongInput, positive

Floats = NDArray[np.float64]

# The animal the table is made for: elk-sized. Assumed; others are scaled by their shoulder.
SHOULDER_M = 1.40
TRUNK_LENGTH_M, TRUNK_WIDTH_M, TRUNK_HEIGHT_M, TRUNK_CENTRE_M = 2.1, 0.6, 0.75, 1.05
APART_M = 1.2
BEGINS_M = 8.0

HERDS = (1, 2, 5, 10, 20, 30, 40, 60, 80)
HEIGHTS_M = (0.9, 1.5, 2.0, 2.4, 3.0, 3.5, 4.0, 5.0, 6.0)
PATCHES_M = ((10.0, 10.0), (20.0, 15.0), (30.0, 20.0), (40.0, 30.0))  # (width, depth)
VIEWS_DEG = (41.0, 100.0)
SEEN = (0.1, 0.3, 0.5, 0.7)
# Discs as wide as the animals keep apart, thrown at random, jam near 0.547 of the ground; stay well below.
FULLEST = 0.40

REFUSED_BELOW = 0.4  # under this share the count hardly grows with the herd, and no estimator gets it back

RAY_DEG = 0.25
_LOWEST_DEG, _WORDS = -50.0, 4  # 4 words of 64 rays: up to +14° at 0.25°
_COLUMNS_DEG = 90.0


@dataclass(frozen=True)
class Seen:
    """What a run of scenes gave, arrays (views, thresholds, heights).

    share : of the animals whose middle is in the view. animals : how many those were, by view.
    standard_error : of the share, scenes being the unit.
    """

    share: Floats
    standard_error: Floats
    animals: NDArray[np.int64]


def fits(herd: float, *, width_m: float, depth_m: float) -> bool:
    """Whether so many elk-sized animals stand on a patch at all without crowding."""
    return herd * math.pi * (APART_M / 2) ** 2 <= FULLEST * width_m * depth_m


def _scatter(herd: int, width_m: float, depth_m: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Places (x away from the camera, y to its left), (herd,) each, none nearer than APART_M to another."""
    while True:
        x, y = np.empty(herd), np.empty(herd)
        placed = 0
        for _ in range(200):
            xs = BEGINS_M + depth_m * rng.random(herd)
            ys = width_m * (rng.random(herd) - 0.5)
            for one_x, one_y in zip(xs.tolist(), ys.tolist(), strict=True):
                gap = (x[:placed] - one_x) ** 2 + (y[:placed] - one_y) ** 2
                if placed == 0 or gap.min() >= APART_M**2:
                    x[placed], y[placed] = one_x, one_y
                    placed += 1
                    if placed == herd:
                        return x, y


def simulate(
    herd: int,
    *,
    heights_m: tuple[float, ...] = HEIGHTS_M,
    width_m: float = 20.0,
    depth_m: float = 15.0,
    views_deg: tuple[float, ...] = VIEWS_DEG,
    seen: tuple[float, ...] = SEEN,
    scenes: int = 200,
    seed: int = 1,
    ray_deg: float = RAY_DEG,
) -> Seen:
    """Scatter a herd again and again and look at it from each height; the same scenes for all heights.

    seen : shares of an animal's own silhouette that must be free for it to count.
    Raises WrongInput for a herd that does not fit on the patch.
    Notes : in the upright plane through camera and bearing, the ellipsoid's silhouette is the span between
    the two roots in tan(elevation) of a quadratic; bits of 64-bit words are the rays of that plane.
    """
    if herd < 1 or not fits(herd, width_m=width_m, depth_m=depth_m):
        raise WrongInput(
            "herd",
            got=herd,
            needed=f"animals, at least 1, that fit on {width_m:.3g} × {depth_m:.3g} m without crowding",
        )
    rng = np.random.default_rng(seed)
    rows = int(64 * _WORDS)
    heights = np.asarray(heights_m, float)[:, None]
    k = (heights - TRUNK_CENTRE_M) / (TRUNK_HEIGHT_M / 2)
    columns = int(2 * _COLUMNS_DEG / ray_deg)
    bearings = np.radians((np.arange(columns) + 0.5) * ray_deg - _COLUMNS_DEG)
    cos_b, sin_b = np.cos(bearings), np.sin(bearings)
    # below[n]: the lowest n rays as bits.
    bits = np.arange(rows)[None, :] < np.arange(rows + 1)[:, None]
    below = np.packbits(bits, axis=1, bitorder="little").view(np.uint64).reshape(rows + 1, _WORDS)

    hits = np.zeros((scenes, len(views_deg), len(seen), len(heights_m)))
    present = np.zeros((scenes, len(views_deg)))
    limits = np.asarray(seen)[:, None]
    for scene in range(scenes):
        xs, ys = _scatter(herd, width_m, depth_m, rng)
        turns = rng.uniform(0, math.pi, herd)
        taken = np.zeros((len(heights_m), columns, _WORDS), np.uint64)
        for i in np.argsort(xs**2 + ys**2):
            x, y, turn = float(xs[i]), float(ys[i]), float(turns[i])
            far, bearing = math.hypot(x, y), math.atan2(y, x)
            half = math.degrees(math.asin(min(1.0, TRUNK_LENGTH_M / 2 / far)))
            first = max(0, int((math.degrees(bearing) - half + _COLUMNS_DEG) / ray_deg))
            last = min(columns, int((math.degrees(bearing) + half + _COLUMNS_DEG) / ray_deg) + 2)
            c, s = math.cos(turn), math.sin(turn)
            wa, wb = (2 / TRUNK_LENGTH_M) ** 2, (2 / TRUNK_WIDTH_M) ** 2
            a11, a22, a12 = wa * c * c + wb * s * s, wa * s * s + wb * c * c, (wa - wb) * c * s
            ux, uy = cos_b[first:last], sin_b[first:last]
            alpha = a11 * ux * ux + 2 * a12 * ux * uy + a22 * uy * uy
            beta = (a11 * x + a12 * y) * ux + (a12 * x + a22 * y) * uy
            gamma = a11 * x * x + 2 * a12 * x * y + a22 * y * y
            outside = gamma + k * k - 1
            root = (k * beta) ** 2 + (gamma - 1) * (beta * beta - alpha * outside)
            there = root > 0
            reach = np.sqrt(np.where(there, root, 0.0))
            scale = (TRUNK_HEIGHT_M / 2) / (gamma - 1)
            low = np.degrees(np.arctan((-k * beta - reach) * scale))
            high = np.degrees(np.arctan((-k * beta + reach) * scale))
            row_low = np.clip(np.rint((low - _LOWEST_DEG) / ray_deg), 0, rows).astype(np.intp)
            row_high = np.clip(np.rint((high - _LOWEST_DEG) / ray_deg), 0, rows).astype(np.intp)
            shape = np.where(there[..., None], below[row_high] ^ below[row_low], np.uint64(0))
            before = taken[:, first:last]
            whole = np.bitwise_count(shape).sum(axis=(1, 2), dtype=np.int64)
            free = np.bitwise_count(shape & ~before).sum(axis=(1, 2), dtype=np.int64)
            taken[:, first:last] |= shape
            enough = (free >= limits * whole) & (whole > 0)
            for v, view in enumerate(views_deg):
                if abs(math.degrees(bearing)) <= view / 2:
                    present[scene, v] += 1
                    hits[scene, v] += enough
    total = present.sum(axis=0)
    shown = np.maximum(total, 1.0)
    ratio = hits.sum(axis=0) / shown[:, None, None]
    # Ratio of sums over scenes: its standard error from the scenes' residuals.
    rest = hits - ratio[None] * present[:, :, None, None]
    error = np.sqrt((rest**2).sum(axis=0) * scenes / max(scenes - 1, 1)) / shown[:, None, None]
    return Seen(share=ratio, standard_error=error, animals=total.astype(np.int64))


@lru_cache(maxsize=1)
def table() -> Floats:
    """The shipped shares, (views, patches, thresholds, herds, heights); NaN where the herd does not fit."""
    text = resources.files("trod.planning.catch").joinpath("herdview.csv").read_text("utf-8")
    found = np.full((len(VIEWS_DEG), len(PATCHES_M), len(SEEN), len(HERDS), len(HEIGHTS_M)), math.nan)
    for line in text.splitlines():
        if not line or line.startswith(("#", "view_deg")):
            continue
        view, width, depth, threshold, herd, *shares = (float(cell or "nan") for cell in line.split(","))
        at = (VIEWS_DEG.index(view), PATCHES_M.index((width, depth)), SEEN.index(threshold))
        found[(*at, HERDS.index(int(herd)))] = shares
    found.setflags(write=False)
    return found


def _between(value: float, steps: Floats) -> tuple[int, float]:
    """The step at or below a value, and how far on the way to the next; held at the ends."""
    at = int(np.clip(np.searchsorted(steps, value, side="right") - 1, 0, len(steps) - 2))
    return at, float(np.clip((value - steps[at]) / (steps[at + 1] - steps[at]), 0.0, 1.0))


@overload
def share(
    *,
    height_m: float,
    herd: float,
    width_m: float = ...,
    depth_m: float = ...,
    fov_deg: float = ...,
    seen: float = ...,
    shoulder_m: float = ...,
) -> float: ...
@overload
def share(
    *,
    height_m: float,
    herd: Floats,
    width_m: float = ...,
    depth_m: float = ...,
    fov_deg: float = ...,
    seen: float = ...,
    shoulder_m: float = ...,
) -> Floats: ...
def share(
    *,
    height_m: float,
    herd: float | Floats,
    width_m: float = 20.0,
    depth_m: float = 15.0,
    fov_deg: float = 41.0,
    seen: float = 0.3,
    shoulder_m: float = SHOULDER_M,
) -> float | Floats:
    """The share of the animals in view of which enough is seen, from the table.

    height_m : of the lens, up to 6 for elk-sized animals (in proportion for others). Below 0.9 m the share
    is held: the model would let a low lens look under the trunks, where legs and grass stand.
    herd : animals on the patch, 1 to 80; any shape. width_m, depth_m : the patch, beginning 8 m away.
    fov_deg : below 41 as at 41, above 100 as at 100. seen : of the animal's silhouette, 0.1 to 0.7; 0.3 to
    count it, 0.5 to 0.7 to tell sex or age. shoulder_m : of the animal; everything else scales with it.
    Returns the share, shape of `herd`.
    Raises WrongInput outside those ranges or when the herd does not fit on the patch.
    Notes : linear in height and in ln(herd); between patches linear in ln(area); between the thresholds and
    the two views linear. In the shipped table every node has a standard error of at most
    0.0042. Patches smaller or larger than those tried are held at the ends.
    """
    positive("shoulder_m", shoulder_m)
    size = shoulder_m / SHOULDER_M
    high = HEIGHTS_M[-1] * size
    if not 0 < height_m <= high + 1e-9:
        raise WrongInput("height_m", got=height_m, needed=f"metres above 0, up to {high:.2g} for animals of this size")
    herds = np.asarray(herd, dtype=np.float64)
    if not bool(np.all((herds >= 1) & (herds <= HERDS[-1]))):
        raise WrongInput("herd", got=herd, needed=f"from 1 to {HERDS[-1]} animals on the patch")
    if not SEEN[0] <= seen <= SEEN[-1]:
        raise WrongInput("seen", got=seen, needed=f"a share from {SEEN[0]} to {SEEN[-1]}")
    if not 1 <= fov_deg <= 170:
        raise WrongInput("fov_deg", got=fov_deg, needed="an angle from 1 to 170 degrees")
    positive("width_m", width_m)
    positive("depth_m", depth_m)
    if not fits(float(herds.max(initial=1.0)), width_m=width_m / size, depth_m=depth_m / size):
        raise WrongInput(
            "herd",
            got=float(herds.max()),
            needed=f"animals that fit on {width_m:.3g} × {depth_m:.3g} m without crowding",
        )

    values = table()
    patches = np.log([w * d for w, d in PATCHES_M])
    for steps, value in (
        (np.asarray(VIEWS_DEG), fov_deg),
        (patches, math.log(width_m * depth_m / size**2)),
        (np.asarray(SEEN), seen),
    ):
        at, on = _between(value, steps)
        # NaN (a crowded small patch) times 0 would spoil the whole.
        values = values[at] if on == 0 else values[at + 1] if on == 1 else _mix(values[at], values[at + 1], on)
    at, on = _between(height_m / size, np.asarray(HEIGHTS_M))
    column = (1 - on) * values[:, at] + on * values[:, at + 1]
    known = np.isfinite(column)
    found = np.interp(np.log(herds), np.log(HERDS)[known], column[known])
    return float(found) if found.ndim == 0 else np.asarray(found, dtype=np.float64)


def _mix(one: Floats, other: Floats, on: float) -> Floats:
    """Between two sheets; where the herd does not fit on one patch, the other's figure alone."""
    mixed = (1 - on) * one + on * other
    return np.where(np.isnan(one), other, np.where(np.isnan(other), one, mixed))


def elasticity(*, height_m: float, herd: float, step: float = 0.05, **place: float) -> float:
    """By how many per cent the number seen grows when the herd grows by one per cent.

    1 for a camera that sees all; near 0 the count says nothing more of the herd. `place` as for `share`.
    """
    up, down = min(herd * (1 + step), HERDS[-1]), max(herd * (1 - step), 1.0)
    if not up > down:
        raise WrongInput("herd", got=herd, needed="more than one animal")
    seen_up = up * share(height_m=height_m, herd=up, **place)
    seen_down = down * share(height_m=height_m, herd=down, **place)
    return math.log(seen_up / seen_down) / math.log(up / down)


@dataclass(frozen=True, kw_only=True)
class HerdView:
    """How much of a herd is seen. share : of the animals in view. seen : of the herd, in a wide view.

    grows : elasticity of the count (1 is perfect).
    """

    height_m: float
    herd: float
    share: float
    seen: float
    grows: float


class HerdHidden(NotEnoughEvidence):
    """So few of a herd can be seen that their number says little of the herd. higher_m : a height that shows more."""

    def __init__(self, *, height_m: float, herd: float, share: float, higher_m: float) -> None:
        super().__init__(
            f"from {height_m:.1f} m about {wording.share(share)} of a herd of {herd:.0f} can be seen, "
            "and the number seen hardly "
            "grows with the herd",
            need=f"set the camera higher (about {higher_m:.1f} m) or count a smaller part of the ground",
        )
        self.height_m, self.herd, self.share, self.higher_m = height_m, herd, share, higher_m


def look(*, height_m: float, herd: float, **place: float) -> HerdView:
    """How much of a herd a camera at this height sees, or why nobody can say.

    `place` as for `share`. Raises HerdHidden where the share is below 0.4: there the number seen
    hardly grows with the herd, and no estimator can get the herd back from counts.
    """
    found = share(height_m=height_m, herd=herd, **place)
    if found < REFUSED_BELOW:
        size = place.get("shoulder_m", SHOULDER_M) / SHOULDER_M
        raise HerdHidden(height_m=height_m, herd=herd, share=found, higher_m=3 * size)
    grows = elasticity(height_m=height_m, herd=max(herd, 1.2), **place)
    return HerdView(height_m=height_m, herd=herd, share=found, seen=herd * found, grows=grows)


@dataclass(frozen=True, kw_only=True)
class HeightThatPays:
    """The lowest height from which a herd is well seen. table : (height, share) of all that were tried.

    reached : whether the wanted share is reached; if not, height_m is the highest tried.
    """

    herd: float
    wanted: float

    height_m: float
    share: float
    reached: bool
    table: tuple[tuple[float, float], ...]


def height_that_pays(
    *,
    herd: float,
    wanted: float = 0.9,
    highest_m: float | None = None,
    **place: float,
) -> HeightThatPays:
    """The lowest lens height, in tenths of a metre, from which the wanted share of a herd is seen.

    highest_m : what the ladder or the pole allows; without it as far as the table goes.
    """
    if not 0 < wanted < 1:
        raise WrongInput("wanted", got=wanted, needed="a share above 0 and below 1")
    size = place.get("shoulder_m", SHOULDER_M) / SHOULDER_M
    top = min(HEIGHTS_M[-1] * size, highest_m if highest_m is not None else math.inf)
    bottom = HEIGHTS_M[0] * size
    if not top >= bottom:
        raise WrongInput("highest_m", got=highest_m, needed=f"at least {bottom:.1f} m")
    tried = np.round(np.arange(math.ceil(bottom * 10), math.floor(top * 10 + 1e-9) + 1) / 10, 1)
    of: Callable[[float], float] = lambda h: share(height_m=h, herd=herd, **place)  # noqa: E731
    rows = tuple((float(h), of(float(h))) for h in tried)
    good = next((row for row in rows if row[1] >= wanted), None)
    height, found = good or rows[-1]
    return HeightThatPays(herd=herd, wanted=wanted, height_m=height, share=found, reached=good is not None, table=rows)
