"""Painting a jointed body into a picture: outline, modelling, coat, shadow, and the box around it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from trod_demo.animals import Actor, Body, body_of
from trod_demo.view import View

Bytes = npt.NDArray[np.uint8]
Polygons = npt.NDArray[np.float64]

_DIRECTIONS = 18
_ANGLES = np.arange(_DIRECTIONS) * (2 * np.pi / _DIRECTIONS)
_U = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)], axis=1)


@lru_cache(maxsize=16)
def noise_tile(size: int = 512, roughness: float = 1.0, seed: int = 3) -> npt.NDArray[np.float32]:
    """A square of tileable noise with mean 0 and standard deviation 1; power falls as 1/f^(2·roughness)."""
    rng = np.random.default_rng([seed, size])
    spectrum = np.fft.rfft2(rng.standard_normal((size, size)))
    fy, fx = np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None, :]
    f = np.hypot(fy, fx)
    f[0, 0] = 1.0
    spectrum = spectrum / f**roughness
    spectrum[0, 0] = 0.0
    tile = np.fft.irfft2(spectrum, s=(size, size))
    out: npt.NDArray[np.float32] = (tile / tile.std()).astype(np.float32)
    return out


@dataclass(frozen=True)
class Outline:
    """A body seen by a view.

    rims : (levels, limbs, corners, 2) pixels after the roll. depth : (limbs,). [m]
    """

    body: Body
    rims: Polygons
    depth: npt.NDArray[np.float64]
    px_per_m: float
    eyes: Polygons
    withers: Polygons
    foot: Polygons


def _world(actor: Actor, points: npt.NDArray[np.float64], view: View) -> npt.NDArray[np.float64]:
    a = math.radians(actor.facing_deg)
    c, s = math.cos(a), math.sin(a)
    x, y, w = points[..., 0], points[..., 1], points[..., 2]
    wx = actor.x_m + x * c - w * s
    wz = actor.z_m + x * s + w * c
    return np.stack([wx, y - wz * view.fall, wz], axis=-1)


def _hulls(ca: Polygons, cb: Polygons, ra: Polygons, rb: Polygons) -> Polygons:
    """Corner points of the hull of two axis-parallel ellipses each; centres (n, 2), radii (n, 2)."""

    def support(c: Polygons, r: Polygons) -> tuple[Polygons, Polygons]:
        ru = r[:, None, :] * _U[None]
        length = np.maximum(np.sqrt((ru**2).sum(-1)), 1e-9)
        reach = (c[:, None, :] * _U[None]).sum(-1) + length
        return c[:, None, :] + r[:, None, :] * ru / length[..., None], reach

    pa, ha = support(ca, ra)
    pb, hb = support(cb, rb)
    out: Polygons = np.where((ha >= hb)[..., None], pa, pb)
    return out


_LEVELS = ((1.0, 0.0), (0.74, 0.17), (0.44, 0.34))


def outline(view: View, actor: Actor, body: Body | None = None) -> Outline | None:
    """The body's outline in pixels, or None when any of it is behind or on the lens (nearer than 0.3 m)."""
    body = body or body_of(actor)
    a = np.array([k.a for k in body.limbs])
    b = np.array([k.b for k in body.limbs])
    ra = np.array([k.ra for k in body.limbs])
    rb = np.array([k.rb for k in body.limbs])
    wide = np.array([k.wide for k in body.limbs])
    pa, da = view.project(_world(actor, a, view))
    pb, db = view.project(_world(actor, b, view))
    if min(da.min(), db.min()) < 0.3:
        return None
    turn = math.radians(actor.facing_deg) + math.atan2(actor.x_m, max(actor.z_m, 0.1))
    across = np.sqrt(math.cos(turn) ** 2 + (wide * math.sin(turn)) ** 2)
    fa, fb = view.focal_px * ra / da, view.focal_px * rb / db
    # A thin limb still leaves a mark: nothing narrower than a third of a pixel.
    fa, fb = np.maximum(fa, 0.3), np.maximum(fb, 0.3)
    rims = []
    for shrink, lift in _LEVELS:
        up_a = np.stack([np.zeros_like(fa), -fa * lift], axis=1)
        up_b = np.stack([np.zeros_like(fb), -fb * lift], axis=1)
        rims.append(
            _hulls(
                pa + up_a,
                pb + up_b,
                np.stack([fa * across * shrink, fa * shrink], axis=1),
                np.stack([fb * across * shrink, fb * shrink], axis=1),
            )
        )
    boxes = [i for i, k in enumerate(body.limbs) if k.square]
    if boxes:
        corners = np.array(
            [[_corners(k.a, k.ra, k.ra * k.wide) + _corners(k.b, k.rb, k.ra * k.wide)] for k in body.limbs if k.square]
        )[:, 0]
        at, _ = view.project(_world(actor, corners, view))
        reach = np.argmax((at[:, :, None, :] * _U[None, None]).sum(-1), axis=1)
        hull = np.take_along_axis(at, reach[..., None].repeat(2, axis=-1), axis=1)
        for level in rims:
            level[boxes] = hull
    special, depth_special = view.project(
        _world(actor, np.array([*body.eyes, body.withers, (body.withers[0], 0.0, 0.0)]), view)
    )
    n = len(body.eyes)
    spun = view.spin(special)
    return Outline(
        body,
        view.spin(np.stack(rims)),
        (da + db) / 2,
        view.focal_px / float(depth_special[-1]),
        spun[:n],
        spun[n],
        spun[n + 1],
    )


def _corners(at: tuple[float, float, float], up: float, side: float) -> list[tuple[float, float, float]]:
    return [(at[0], at[1] + u * up, at[2] + w * side) for u in (-1, 1) for w in (-1, 1)]


@dataclass(frozen=True)
class Figure:
    """A painted body. colour : (h, w, 3) as if lit by plain white. alpha : (h, w). left, top : where it goes.

    box : left, top, right, bottom of the painted pixels inside the frame, in shares of the frame; None if
    none.
    """

    colour: Bytes
    alpha: Bytes
    left: int
    top: int
    box: tuple[float, float, float, float] | None
    in_frame: float
    """share of the silhouette that lies inside the frame"""
    outline: Outline
    distance_m: float


def paint(view: View, actor: Actor, *, blur_px: float = 0.0) -> Figure | None:
    """Paint one body; None when it is too near or wholly outside the frame.

    blur_px : length of the smear along its way, for slow night exposures. [px]
    """
    seen = outline(view, actor)
    if seen is None:
        return None
    rim = seen.rims[0]
    x0, y0 = rim[..., 0].min(), rim[..., 1].min()
    x1, y1 = rim[..., 0].max(), rim[..., 1].max()
    pad = 3 + int(blur_px / 2 + 0.5)
    w, h = view.width_px, view.height_px
    left, top = max(int(x0) - pad, -pad), max(int(y0) - pad, -pad)
    right, bottom = min(int(x1) + pad + 1, w + pad), min(int(y1) + pad + 1, h + pad)
    if right - left < 3 or bottom - top < 3 or x1 < 0 or y1 < 0 or x0 > w or y0 > h:
        return None
    tall = y1 - y0
    zoom = 3 if tall < 220 else 2 if tall < 900 else 1
    size = ((right - left) * zoom, (bottom - top) * zoom)
    limbs = seen.body.limbs
    corners = ((seen.rims - (left, top)) * zoom).reshape(len(_LEVELS), len(limbs), -1)
    base = limbs[0].shade
    colour = Image.new("RGB", size, base)
    mask = Image.new("L", size, 0)
    draw, cut = ImageDraw.Draw(colour), ImageDraw.Draw(mask)
    groups: dict[int, list[int]] = {}
    for i, limb in enumerate(limbs):
        groups.setdefault(limb.group, []).append(i)
    far_first = sorted(groups.values(), key=lambda g: -float(np.mean([seen.depth[i] - limbs[i].order for i in g])))
    body_depth = float(np.mean([seen.depth[i] for i in groups.get(1, [0])]))
    rows: list[list[list[float]]] = corners.tolist()
    for group in far_first:
        depth = float(np.mean([seen.depth[i] for i in group]))
        behind = 0.80 if 4 <= limbs[group[0]].group <= 7 and depth > body_depth + 0.01 else 1.0
        for level in range(len(_LEVELS)):
            for i in group:
                limb = limbs[i]
                k = limb.tone * behind * (1 + limb.round * (-0.26, 0.0, 0.13)[level])
                if level and limb.round == 0:
                    continue
                r, g, b = limb.shade
                draw.polygon(rows[level][i], fill=(min(255, int(r * k)), min(255, int(g * k)), min(255, int(b * k))))
                if not level:
                    cut.polygon(rows[0][i], fill=255)
    soft = 0.016 * seen.px_per_m * zoom * actor.shoulder_m
    if soft > 0.6:
        colour = colour.filter(ImageFilter.BoxBlur(min(soft, 24.0)))
    if seen.body.hair > 0:
        colour = _coat(colour, seen, actor, zoom)
    if zoom > 1:
        colour, mask = colour.reduce(zoom), mask.reduce(zoom)
    alpha = np.asarray(mask)
    pixels = np.asarray(colour)
    if blur_px >= 1.5:
        alpha, pixels = _smear(alpha, pixels, round(blur_px))
    inside = alpha[max(0, -top) : h - top, max(0, -left) : w - left]
    full = _area(rim)
    box = None
    ys = np.flatnonzero(inside.max(axis=1) > 24) if inside.size else np.array([])
    share = 0.0
    if ys.size:
        xs = np.flatnonzero(inside.max(axis=0) > 24)
        ox, oy = max(left, 0), max(top, 0)
        box = (
            float(xs[0] + ox) / w,
            float(ys[0] + oy) / h,
            float(xs[-1] + 1 + ox) / w,
            float(ys[-1] + 1 + oy) / h,
        )
        clipped = (np.clip(x1, 0, w) - np.clip(x0, 0, w)) * (np.clip(y1, 0, h) - np.clip(y0, 0, h))
        share = float(np.clip(clipped / full, 0, 1))
    distance = math.hypot(actor.x_m, actor.z_m)
    return Figure(pixels, alpha, left, top, box, share, seen, distance)


def _area(rim: Polygons) -> float:
    return float(max((rim[..., 0].max() - rim[..., 0].min()) * (rim[..., 1].max() - rim[..., 1].min()), 1.0))


def _coat(colour: Image.Image, seen: Outline, actor: Actor, zoom: int) -> Image.Image:
    """Hair: the noise tile stretched along the body and laid over the colours."""
    w, h = colour.size
    tile = noise_tile(512, 0.55, 11)
    step = 90.0 / max(seen.px_per_m * zoom * max(actor.shoulder_m, 0.25) ** 0.5, 1.0)
    ix = ((np.arange(w) * step * 0.55).astype(np.int64) + actor.variant * 37) % 512
    iy = ((np.arange(h) * step).astype(np.int64) + actor.variant * 91) % 512
    grain = tile[iy[:, None], ix[None, :]]
    shade = np.clip(128 + grain * (seen.body.hair * 105), 40, 216).astype(np.uint8)
    grey = Image.fromarray(shade)
    # 2·a·b/255 around mid grey keeps the mean.
    return ImageChops.multiply(colour, Image.merge("RGB", (grey, grey, grey))).point(lambda v: min(255, v * 2))


def _smear(alpha: Bytes, pixels: Bytes, length: int) -> tuple[Bytes, Bytes]:
    """Box-average along the rows; colour weighted by cover."""
    a = alpha.astype(np.float32)
    p = pixels.astype(np.float32) * a[..., None]

    def run(x: npt.NDArray[np.float32]) -> npt.NDArray[np.floating[Any]]:
        total = np.cumsum(np.pad(x, [(0, 0), (length // 2 + 1, (length - 1) // 2)] + [(0, 0)] * (x.ndim - 2)), axis=1)
        out: npt.NDArray[np.floating[Any]] = (total[:, length:] - total[:, :-length]) / length
        return out

    ra = run(a)
    rp = run(p)
    return ra.astype(np.uint8), np.where(ra[..., None] > 0.5, rp / np.maximum(ra, 0.5)[..., None], pixels).astype(
        np.uint8
    )


def shadow(view: View, actor: Actor, toward_sun: tuple[float, float, float]) -> tuple[Image.Image, int, int] | None:
    """The mask (L) that a body throws on the ground, with its place; None when it falls outside.

    toward_sun : unit vector in the view's world axes.
    """
    body = body_of(actor)
    lx, ly, lz = toward_sun
    ly = max(ly, 0.10)
    ends = []
    for pick in ("a", "b"):
        p = _world(actor, np.array([getattr(k, pick) for k in body.limbs]), view)
        t = (p[:, 1] + view.fall * p[:, 2]) / (ly + view.fall * lz)
        ground = p - t[:, None] * np.array([lx, ly, lz])
        ground[:, 1] = -ground[:, 2] * view.fall
        ground[:, 2] = np.maximum(ground[:, 2], 0.6)
        ends.append(view.project(ground))
    (pa, da), (pb, db) = ends
    if min(da.min(), db.min()) < 0.5:
        return None
    flat = np.clip(view.lens_height_m / np.maximum(da, 0.5) * 1.4, 0.05, 0.8)
    fa = np.maximum(view.focal_px * np.array([k.ra for k in body.limbs]) / da, 0.4)
    fb = np.maximum(view.focal_px * np.array([k.rb for k in body.limbs]) / db, 0.4)
    rim = view.spin(_hulls(pa, pb, np.stack([fa, fa * flat], axis=1), np.stack([fb, fb * flat], axis=1)))
    pad = 6
    w, h = view.width_px, view.height_px
    left, top = max(int(rim[..., 0].min()) - pad, -pad), max(int(rim[..., 1].min()) - pad, -pad)
    right, bottom = min(int(rim[..., 0].max()) + pad, w + pad), min(int(rim[..., 1].max()) + pad, h + pad)
    if right - left < 3 or bottom - top < 3:
        return None
    mask = Image.new("L", (right - left, bottom - top), 0)
    draw = ImageDraw.Draw(mask)
    for polygon in (rim - (left, top)).reshape(len(rim), -1).tolist():
        draw.polygon(polygon, fill=255)
    return mask.filter(ImageFilter.BoxBlur(max(1.0, w / 500))), left, top
