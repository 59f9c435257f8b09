"""The still part of each site: ground, water, walls, trees and bushes, by season; painted once and kept.

Painted as plain colours, with the distance of each pixel beside them, so that both the daylight and the
infrared flash (grey, falling off with distance) can be laid over the same things. What sways in the wind is
kept in layers of its own, each at one distance, so that an animal can pass in front of one and behind
another.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFilter

from trod_demo.easel import SNOW, Easel, Floats, Rgb, Season, grass_colour, leaf_colour, mix, times
from trod_demo.figures import noise_tile
from trod_demo.fittings import fit
from trod_demo.view import View

HAZE: Rgb = (196, 206, 214)
HAZE_M = 700.0


@dataclass(frozen=True)
class Layer:
    """Something that sways.

    picture : RGBA of its own small frame at (left, top). distance_m : how far it stands.

    pivot : "foot" sways at the top, "top" sways at the bottom. give : how far it moves, 1 being a light
    branch.
    """

    picture: Image.Image
    left: int
    top: int
    distance_m: float
    pivot: str
    give: float


@dataclass(frozen=True)
class Land:
    """The painted scenery.

    land : RGBA of plain colours, clear where the sky is. dist_m : (h, w) to each pixel, large for sky.
    ground : which pixels are ground. x_m, z_m : where on it. water : (h, w) share of water, None if there is
    none.
    """

    land: Image.Image
    dist_m: Floats
    ground: npt.NDArray[np.bool_]
    x_m: Floats
    z_m: Floats
    layers: tuple[Layer, ...]
    water: Floats | None


def hazed(colour: Floats, distance_m: Floats) -> Floats:
    """Colours with the day's haze: (…, 3) and (…)."""
    k = (1 - np.exp(-distance_m / np.float32(HAZE_M)))[..., None]
    out: Floats = colour * (1 - k) + np.array(HAZE, np.float32) * k
    return out


def flash_level(distance_m: npt.ArrayLike, range_m: float) -> Floats:
    """Light of the flash by distance: falls with its square, held back near the lens by the camera.

    Ours: 1.9/((4·r/range)² + 0.6), so that at the maker's range a grey coat is only just seen.
    """
    r = np.asarray(distance_m, dtype=np.float32)
    out: Floats = (1.9 / ((4 * r / range_m) ** 2 + 0.6)).astype(np.float32)
    return out


def flash_tone(albedo: npt.ArrayLike, level: npt.ArrayLike) -> Floats:
    """Grey level 0..255 of a surface of an infrared albedo under a flash level (a soft shoulder, ours)."""
    out: Floats = (255 * (1 - np.exp(-1.75 * np.asarray(albedo, np.float32) * np.asarray(level, np.float32)))).astype(
        np.float32
    )
    return out


def infrared_albedo(r: npt.ArrayLike, g: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """How bright a colour is in the near infrared: leaves shine, all else goes by lightness (rough, ours)."""
    rr, gg, bb = (np.asarray(c, np.float32) / 255 for c in (r, g, b))
    light = 0.35 * rr + 0.45 * gg + 0.2 * bb
    leafy = np.clip((gg - np.maximum(rr * 0.92, bb)) * 5, 0, 1)
    out: Floats = (0.10 + 0.75 * light + 0.25 * leafy).astype(np.float32)
    return out


def _sample(tile: Floats, x: Floats, z: Floats, per_m: float, turn: int = 0) -> Floats:
    n = tile.shape[0]
    ix = (x * per_m + 7919 * (turn + 1)).astype(np.int64) % n
    iz = (z * per_m + 104729 * (turn + 1)).astype(np.int64) % n
    out: Floats = tile[iz, ix]
    return out


def path_offset(x: npt.ArrayLike, z: npt.ArrayLike, angle_deg: float, aim_m: float) -> Floats:
    """Signed distance from the usual way, a line through the aim point at an angle to the axis. [m]"""
    a = math.radians(angle_deg)
    out: Floats = (np.asarray(x, np.float32) * math.cos(a) - (np.asarray(z, np.float32) - aim_m) * math.sin(a)).astype(
        np.float32
    )
    return out


@dataclass(frozen=True)
class Place:
    """What the painter must know of a site beside the view."""

    look: str
    edge_m: float
    canopy: float
    tree: str
    path_deg: float
    aim_m: float
    seed: int


_BARE: Rgb = (126, 102, 76)


def _ground_colour(place: Place, season: Season, x: Floats, z: Floats, dist: Floats, focal: float) -> Floats:
    """Colour of each ground pixel by white light, (n, 3) for flat inputs."""
    fine, coarse = noise_tile(512, 0.75, 3), noise_tile(512, 1.5, 5)
    patch = _sample(coarse, x, z, 11.0)
    drift = _sample(coarse, x, z, 40.0, 2)
    texel_m = dist / focal
    detail = np.zeros_like(x)
    for i, per_m in enumerate((260.0, 95.0, 32.0, 10.0)):
        weight = np.clip(1.6 - texel_m * per_m * 0.55, 0, 1) * (0.62, 0.62, 0.55, 0.5)[i]
        detail += weight * _sample(fine, x, z, per_m, i)
    open_ground = place.look in ("meadow", "feeding", "ridge", "wall", "lane")
    grass = np.array(grass_colour(season), np.float32)
    litter = np.array(
        mix((104, 82, 56), (142, 98, 54), season.autumn / 4 * (0.8 if place.canopy > 0.3 else 0.3)),
        np.float32,
    )
    needles = np.array((92, 72, 54), np.float32)
    floor = needles if place.tree in ("spruce", "pine") else litter
    k = np.clip((0.78 if open_ground else 0.30 * (1.3 - place.canopy)) + 0.28 * patch + 0.12 * drift, 0, 1)[:, None]
    colour = grass * k + floor * (1 - k)
    moss = np.clip(drift - 1.1, 0, 1)[:, None] * (0.5 if place.canopy > 0.4 else 0.0)
    colour = colour * (1 - moss) + np.array((78, 98, 44), np.float32) * moss
    bare = np.zeros_like(x)
    off = path_offset(x, z, place.path_deg, place.aim_m)
    rough = 0.22 * patch + 0.10 * drift
    rut = np.zeros_like(x)
    if place.look in ("track", "lane"):
        half = 1.35 if place.look == "track" else 1.6
        bare = np.clip((half - np.abs(off) + rough) * 3.0, 0, 1)
        rut = np.exp(-(((np.abs(off) - 0.72) / 0.24) ** 2))
        middle = np.clip(1 - np.abs(off) / 0.36 + 0.5 * drift, 0, 1) * bare
        bare = bare - 0.65 * middle
    elif place.look in ("meadow", "wall", "woodland", "gallery", "ridge", "scree"):
        bare = np.clip((0.26 - np.abs(off) + 0.6 * rough) * 3.0, 0, 0.75)
    elif place.look == "lick":
        bare = np.clip((2.0 - np.hypot(x - 0.3, (z - place.aim_m) * 0.8) + 2 * rough) * 1.2, 0, 1)
    elif place.look == "feeding":
        bare = np.clip((4.2 - np.hypot(x, (z - place.aim_m) * 0.9) + 3 * rough) * 0.5, 0, 0.9)
    elif place.look in ("ford", "pool"):
        bare = np.clip((_shore(place, x, z) * -1 + 1.1 + 1.5 * rough) * 1.0, 0, 1)
    earth = np.array(_BARE, np.float32)
    if place.look in ("scree", "ridge", "gallery"):
        earth = np.array((136, 130, 120), np.float32)
    if place.look == "lane":
        earth = np.array((142, 134, 120), np.float32)
    colour = colour * (1 - bare[:, None]) + earth * bare[:, None]
    if place.look == "scree":
        stones = np.clip(0.55 + 0.5 * patch + 0.3 * drift, 0, 1)[:, None]
        colour = colour * (1 - stones) + np.array((140, 137, 130), np.float32) * stones
    tone = 1 + 0.185 * detail - 0.16 * rut * bare
    colour = colour * np.clip(tone, 0.35, 1.7)[:, None]
    if season.snow:
        depth = 0.62 if season.snow == 1 else 1.6
        cover = np.clip(
            depth
            + 0.55 * patch
            + 0.35 * drift
            + 0.15 * detail
            - (0.5 if season.snow == 1 else 0.15) * bare
            - 0.35 * rut * bare,
            0,
            1,
        )[:, None]
        white = np.array(SNOW, np.float32) * (1 + 0.030 * detail + 0.035 * drift)[:, None]
        colour = colour * (1 - cover) + white * cover
    return np.asarray(np.clip(colour, 0, 255), np.float32)


def _shore(place: Place, x: Floats, z: Floats) -> Floats:
    """Metres outside the water's edge, negative in the water."""
    wave = 0.28 * np.sin(x * 0.9 + 0.7) + 0.16 * np.sin(x * 2.3)
    if place.look == "ford":
        out = np.abs(z - (place.aim_m + 1.3) - 0.12 * x - wave) - 1.9
    else:
        out = (np.hypot((x - 0.2) / 1.9, (z - place.aim_m - 1.4 - 0.5 * wave) / 1.25) - 1.35) * 1.5
    return np.asarray(out, np.float32)


def _shore_at(place: Place, x: float, z: float) -> float:
    return float(_shore(place, np.array([x], np.float32), np.array([z], np.float32))[0])


def paint_land(view: View, place: Place, season: Season) -> Land:
    """Paint one site in one season."""
    rng = np.random.default_rng([place.seed, 19])
    w, h = view.width_px, view.height_px
    x, z, dist = view.ground()
    brow = place.edge_m * (1.25 if place.look != "ridge" else 1.0)
    ground = np.isfinite(z) & (z < brow) & (z > 0)
    # Backdrop: what stands beyond the ground.
    back = Easel(view, season, rng)
    if place.look in ("ridge", "scree", "meadow", "feeding", "lane"):
        _hills(back, rng)
    _backdrop(back, place, rng)
    rgba = np.array(back.image)
    far = np.array(back.far, np.float32)
    flat_x, flat_z, flat_d = x[ground], z[ground], dist[ground]
    lit = _ground_colour(place, season, flat_x, flat_z, flat_d, view.focal_px)
    water: Floats | None = None
    if place.look in ("ford", "pool"):
        depth = np.clip(-_shore(place, flat_x, flat_z) * 1.6, 0, 1)
        ice = season.snow == 2
        ripple = _sample(noise_tile(512, 1.1, 8), flat_x * 0.6, flat_z * 3.0, 26.0)
        wet = (
            np.stack([98 + 22 * ripple, 112 + 22 * ripple, 112 + 24 * ripple], 1)
            * (0.72 + 0.28 * np.clip((flat_z - 5) / 8, 0, 1))[:, None]
        )
        if ice:
            wet = wet * 0.35 + np.array((206, 216, 224), np.float32) * 0.65
        a = (depth * (0.92 if not ice else 0.8))[:, None]
        lit = lit * (1 - a) + wet * a
        water = np.zeros((h, w), np.float32)
        water[ground] = depth * (0.92 if not ice else 0.45)
    rgba[ground, :3] = np.clip(lit, 0, 255).astype(np.uint8)
    rgba[ground, 3] = 255
    far[ground] = flat_d
    # What stands on the ground and does not sway, and what does.
    still = Easel(view, season, rng)
    still.image = Image.fromarray(rgba)
    still.draw = ImageDraw.Draw(still.image)
    still.far = Image.fromarray(far)
    still.far_draw = ImageDraw.Draw(still.far)
    _standing(still, place, rng)
    layers = _swaying(view, place, season, rng)
    land = still.image.filter(ImageFilter.GaussianBlur(0.45 * w / 640)) if w <= 1600 else still.image
    return Land(
        land,
        np.array(still.far, np.float32),
        ground,
        np.where(ground, x, 0).astype(np.float32),
        np.where(ground, z, 0).astype(np.float32),
        layers,
        water,
    )


def _hills(e: Easel, rng: np.random.Generator) -> None:
    w = e.view.width_px
    horizon, _ = e.view.project(np.array([0.0, e.view.lens_height_m, 1e5]))
    y0 = float(horizon[1])
    for distance, rise, colour in ((1800.0, 0.075, (92, 110, 106)), (700.0, 0.045, (70, 92, 66))):
        xs = np.linspace(-40, w + 40, 60)
        u = xs / w
        ridge = (
            0.5
            + 0.5 * np.sin(u * 3.1 + float(rng.uniform(0, 6))) * 0.6
            + 0.2 * np.sin(u * 9 + float(rng.uniform(0, 6)))
            + 0.05 * np.sin(u * 41)
        )
        tops = [(float(a), y0 - float(b) * rise * e.view.focal_px) for a, b in zip(xs, ridge, strict=True)]
        e.polygon(
            [*tops, (w + 40, y0 + 0.3 * w), (-40, y0 + 0.3 * w)],
            colour if e.season.snow < 2 else mix(colour, SNOW, 0.6),
            distance,
        )


def _backdrop(e: Easel, place: Place, rng: np.random.Generator) -> None:
    """The forest's edge behind the ground."""
    half = math.tan(math.radians(e.view.hfov_deg) / 2) * 1.25
    count = {"ridge": 5, "scree": 12, "meadow": 34, "feeding": 26, "lane": 24, "wall": 20}.get(place.look, 44)
    start = place.edge_m * (0.98 if place.look in ("meadow", "feeding", "lane", "wall") else 0.55)
    depth = sorted((float(start + rng.random() ** 0.8 * place.edge_m * 0.75) for _ in range(count)), reverse=True)
    if place.look not in ("ridge",):
        # A dusky wall of undergrowth so that no sky shows between the feet of the trees.
        zb = place.edge_m * 1.3
        for layer in range(3):
            zl = zb - layer * place.edge_m * 0.12
            points = []
            n = 46
            for i in range(n + 1):
                xx = (-1 + 2 * i / n) * half * zl
                tall = (1.0 + 0.8 * float(rng.random())) * (2.6 if place.canopy > 0.4 else 1.5) * (1 - 0.25 * layer)
                px, py, _ = e.at(xx, tall, zl)
                points.append((px, py))
            foot = e.at(0, -3.0, zl)[1]
            dark = (
                mix(leaf_colour(e.season, place.tree), (46, 52, 40), 0.62 - 0.1 * layer)
                if e.season.leaf > 1
                else (96, 88, 78)
            )
            e.polygon(
                [*points, (e.view.width_px * 1.4, foot), (-e.view.width_px * 0.4, foot)],
                times(dark, 0.9 + 0.08 * layer),
                zl,
            )
    for i, zt in enumerate(depth):
        xt = float(rng.uniform(-half, half)) * zt
        if place.look in ("track", "lane") and abs(float(path_offset(xt, zt, place.path_deg, place.aim_m))) < 2.2:
            continue
        tall = float(rng.uniform(9, 19))
        conifer = place.tree in ("spruce", "pine") or (i % 4 == 0 and place.look != "wall")
        if place.look == "ridge":
            tall *= 0.35
        if place.look == "wall":
            tall *= 0.45
        if conifer:
            e.conifer(
                xt,
                zt,
                tall * (1.1 if place.tree == "spruce" else 0.9),
                "pine" if place.tree == "pine" else "spruce",
            )
        else:
            e.broadleaf(xt, zt, tall, place.tree, crown_from=0.16, fullness=0.9)


def _standing(e: Easel, place: Place, rng: np.random.Generator) -> None:
    """Things that stand still: stones, wall, rack, lick, barrier, trunks, tufts."""
    half = math.tan(math.radians(e.view.hfov_deg) / 2)
    aim = place.aim_m
    clear = {"track": 1.8, "lane": 2.0}.get(place.look, 0.9)

    def off_path(x: float, z: float) -> bool:
        return abs(float(path_offset(x, z, place.path_deg, aim))) > clear

    # Trunks of the middle distance: never on the animals' way.
    if place.canopy > 0.25:
        placed = 0
        for _ in range(80):
            zt = float(rng.uniform(place.edge_m * 0.5, place.edge_m * 0.9))
            xt = float(rng.uniform(-half, half)) * 1.1 * zt
            if not off_path(xt, zt):
                continue
            if place.tree in ("spruce", "pine"):
                e.trunk(xt, zt, float(rng.uniform(0.12, 0.22)), 14, (96, 76, 62))
            else:
                e.trunk(
                    xt,
                    zt,
                    float(rng.uniform(0.10, 0.24)),
                    12,
                    (110, 104, 94) if place.tree == "beech" else (88, 78, 68),
                )
            placed += 1
            if placed > 7 * place.canopy:
                break
    stones = {"ford": 46, "scree": 120, "ridge": 42, "gallery": 60, "pool": 18}.get(place.look, 6)
    for zs in np.sort(rng.uniform(2.2, place.edge_m, stones))[::-1].tolist():
        xs = float(rng.uniform(-half, half)) * 1.15 * zs
        size = float(rng.gamma(2.0, 0.09)) + 0.05
        if place.look == "ford" and abs(_shore_at(place, xs, zs)) > 1.4:
            continue
        if place.look in ("track", "lane", "woodland", "lick", "meadow") and not off_path(xs, zs):
            continue
        if size > 0.35 and abs(xs) < 1.5 and zs < 8:
            size *= 0.5
        e.rock(xs, zs, size, (134, 131, 124) if place.look != "ford" else (126, 122, 112))
    fit(e, place.look, aim, rng)
    for _ in range(5):
        zu = float(rng.uniform(place.edge_m * 0.45, place.edge_m * 0.8))
        xu = float(rng.uniform(-half, half)) * 1.1 * zu
        if (
            off_path(xu, zu)
            and place.look not in ("ridge", "lick", "wall")
            and not (place.look == "feeding" and abs(xu) < 3.5)
        ):
            e.bush(
                xu,
                zu,
                float(rng.uniform(0.5, 1.3)),
                times(
                    leaf_colour(e.season, place.tree if place.tree not in ("spruce", "pine") else "alder"),
                    0.85,
                ),
                70,
            )
    if e.season.snow < 2:
        n = {"meadow": 1500, "feeding": 700, "wall": 900, "ridge": 600, "lane": 700, "scree": 260}.get(place.look, 420)
        tall = {"meadow": 0.30, "wall": 0.24, "feeding": 0.16, "ridge": 0.15}.get(place.look, 0.18)
        wet = place.look in ("ford", "pool")
        e.tufts(
            n,
            1.9,
            aim + 3.6 if place.look == "wall" else place.edge_m * 0.8,
            tall * (0.55 if e.season.leaf == 0 else 1.0),
            keep=lambda x, z: off_path(x, z) and not (wet and _shore_at(place, x, z) < 0.3),
        )
    if place.canopy > 0.4 and e.season.snow == 0:
        for _ in range(int(520 * place.canopy)):
            zl = 1.8 * 6.0 ** float(rng.random())
            p = e.at(float(rng.uniform(-half, half)) * 1.1 * zl, 0, zl)
            leaf = times(mix((150, 104, 58), (116, 84, 52), float(rng.random())), float(rng.uniform(0.7, 1.2)))
            if place.tree in ("spruce", "pine"):
                leaf = times(leaf, 0.7)
            e.dab(p[0], p[1], 0.030 * p[2], 0.012 * p[2], leaf, zl)


def _cropped(e: Easel, distance: float, pivot: str, give: float) -> Layer | None:
    box = e.image.getbbox()
    if box is None:
        return None
    pad = max(4, e.view.width_px // 60)
    left, top = max(0, box[0] - pad), max(0, box[1] - pad)
    right, bottom = min(e.view.width_px, box[2] + pad), min(e.view.height_px, box[3] + pad)
    piece = e.image.crop((left, top, right, bottom))
    return Layer(piece, left, top, distance, pivot, give)


def _swaying(view: View, place: Place, season: Season, rng: np.random.Generator) -> tuple[Layer, ...]:
    half = math.tan(math.radians(view.hfov_deg) / 2)
    leaf = leaf_colour(season, place.tree if place.tree not in ("spruce", "pine") else "alder")
    out: list[Layer | None] = []
    # Saplings and bushes beyond the animals' usual way.
    e = Easel(view, season, rng)
    z = place.edge_m * 0.42
    if place.look != "ridge":
        for side in (-1, 1):
            x = side * half * z * float(rng.uniform(0.55, 0.95))
            if place.tree in ("spruce", "pine"):
                e.conifer(x, z, float(rng.uniform(2.0, 4.2)), place.tree, skirt=0.03)
            else:
                e.broadleaf(x, z, float(rng.uniform(2.6, 5.0)), place.tree, crown_from=0.08, fullness=0.9)
                e.bush(x + side * 0.7, z, 1.0, times(leaf, 0.9), 90)
        out.append(_cropped(e, z, "foot", 0.5))
    # One near trunk at the frame's side, for the woods.
    if place.canopy >= 0.5:
        e = Easel(view, season, rng)
        z = 3.4
        side = 1 if place.seed % 2 else -1
        bark: Rgb = (116, 112, 102) if place.tree == "beech" else (88, 76, 64)
        e.trunk(side * half * z * 0.93, z, 0.19, 7, bark)
        out.append(_cropped(e, z, "foot", 0.03))
    # Near stalks: soft, low in the picture.
    if season.snow < 2:
        e = Easel(view, season, rng)
        n = 70 if place.look in ("meadow", "wall", "lane", "pool", "feeding") else 26
        e.tufts(n, 1.0, 1.9, 0.26 if season.leaf else 0.18)
        e.image = e.image.filter(ImageFilter.GaussianBlur(view.width_px / 420))
        out.append(_cropped(e, 1.5, "foot", 0.8))
    # A hanging branch at a top corner: the culprit of windy days.
    if place.look not in ("ridge", "feeding", "scree", "gallery"):
        e = Easel(view, season, rng)
        z = 2.3
        side = -1 if place.seed % 2 else 1
        x0, y0, s = e.at(side * half * z * 1.05, view.lens_height_m + z * 0.36, z)
        for k in range(5):
            lean = side * -1.0 * (0.25 + 0.24 * k)
            long = 0.80 * s * (1 - 0.08 * k)
            tip = (x0 + math.sin(lean) * long, y0 + math.cos(lean) * long * 0.75)
            e.stroke((x0, y0), tip, 0.014 * s, (84, 72, 58), z)
            if place.tree in ("spruce", "pine"):
                for j in range(26):
                    f = j / 26
                    p = (x0 + (tip[0] - x0) * f, y0 + (tip[1] - y0) * f)
                    e.stroke(
                        p,
                        (p[0] + float(rng.normal(0, 0.05)) * s, p[1] + 0.07 * s),
                        max(1.0, 0.006 * s),
                        times((52, 74, 46), float(rng.uniform(0.7, 1.3))),
                        z,
                    )
            elif season.leaf > 0:
                for _ in range(int(20 * season.leaf)):
                    f = float(rng.uniform(0.15, 1.05))
                    p = (
                        x0 + (tip[0] - x0) * f + float(rng.normal(0, 0.04)) * s,
                        y0 + (tip[1] - y0) * f + float(rng.normal(0, 0.04)) * s,
                    )
                    r = float(rng.uniform(0.020, 0.040)) * s
                    e.dab(p[0], p[1], r, r * 0.7, times(leaf, float(rng.uniform(0.7, 1.35))), z)
        e.image = e.image.filter(ImageFilter.GaussianBlur(view.width_px / 520))
        out.append(_cropped(e, z, "top", 1.0))
    return tuple(layer for layer in out if layer is not None)
