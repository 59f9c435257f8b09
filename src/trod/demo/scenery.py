"""The still part of each site: ground, water, walls, trees and bushes, by season; painted once and kept.

Painted as plain colours, with the distance of each pixel beside them, so that both the daylight and the infrared
flash (grey, falling off with distance) can be laid over the same things. What sways in the wind is kept in layers of
its own, each at one distance, so that an animal can pass in front of one and behind another.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFilter

from trod.demo.figures import noise_tile
from trod.demo.view import View
from trod.demo.weather import Weather

Rgb = tuple[float, float, float]
Floats = npt.NDArray[np.float32]
HAZE: Rgb = (196, 206, 214)
HAZE_M = 700.0


@dataclass(frozen=True)
class Season:
    """What the weather leaves on the land, rounded so that scenery can be kept.

    leaf, autumn : 0, 2 or 4 quarters. snow : 0 none, 1 thin, 2 covered.
    """

    leaf: int = 4
    autumn: int = 0
    snow: int = 0

    @classmethod
    def of(cls, weather: Weather) -> Season:
        """The season of a moment's weather."""
        snow = 2 if weather.snow_cm > 5 else 1 if weather.snow_cm > 0.8 else 0
        leaf, autumn = 2 * round(weather.leaf * 2), 2 * round(weather.autumn * 2)
        if leaf == 0:
            autumn = 4
        return cls(leaf, autumn, snow)


@dataclass(frozen=True)
class Layer:
    """Something that sways. picture : RGBA of its own small frame at (left, top). distance_m : how far it stands.

    pivot : "foot" sways at the top, "top" sways at the bottom. give : how far it moves, 1 being a light branch.
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
    ground : which pixels are ground. x_m, z_m : where on it. water : (h, w) share of water, None if there is none.
    """

    land: Image.Image
    dist_m: Floats
    ground: npt.NDArray[np.bool_]
    x_m: Floats
    z_m: Floats
    layers: tuple[Layer, ...]
    water: Floats | None


def _ink(c: Rgb) -> tuple[int, int, int]:
    return (max(0, min(255, int(c[0]))), max(0, min(255, int(c[1]))), max(0, min(255, int(c[2]))))


def hazed(colour: Floats, distance_m: Floats) -> Floats:
    """Colours with the day's haze: (…, 3) and (…)."""
    k = (1 - np.exp(-distance_m / np.float32(HAZE_M)))[..., None]
    out: Floats = colour * (1 - k) + np.array(HAZE, np.float32) * k
    return out


def flash_level(distance_m: npt.ArrayLike, range_m: float) -> Floats:
    """Light of the flash by distance: falls with its square, held back near the lens by the camera's own control.

    Ours: 1.9/((4·r/range)² + 0.6), so that at the maker's range a grey coat is only just seen.
    """
    r = np.asarray(distance_m, dtype=np.float32)
    out: Floats = (1.9 / ((4 * r / range_m) ** 2 + 0.6)).astype(np.float32)
    return out


def flash_tone(albedo: npt.ArrayLike, level: npt.ArrayLike) -> Floats:
    """Grey level 0..255 of a surface of an infrared albedo under a flash level (a soft shoulder, ours)."""
    out: Floats = (255 * (1 - np.exp(-1.75 * np.asarray(albedo, np.float32) * np.asarray(level, np.float32)))).astype(np.float32)
    return out


def infrared_albedo(r: npt.ArrayLike, g: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """How bright a colour looks in the near infrared: leaves shine, all else follows its lightness (rough, ours)."""
    rr, gg, bb = (np.asarray(c, np.float32) / 255 for c in (r, g, b))
    light = 0.35 * rr + 0.45 * gg + 0.2 * bb
    leafy = np.clip((gg - np.maximum(rr * 0.92, bb)) * 5, 0, 1)
    out: Floats = (0.10 + 0.75 * light + 0.25 * leafy).astype(np.float32)
    return out


def _leafy(w: int, h: int, fine: float, ox: int, oy: int) -> Floats:
    """Grain of leaves for a patch of w × h pixels: one octave at the clumps' scale, one finer. (h, w)"""
    tile = noise_tile(512, 0.45, 13)

    def octave(step: float) -> Floats:
        if step >= 1:
            return tile[((np.arange(h) + oy) % 512)[:, None], ((np.arange(w) + ox) % 512)[None, :]]
        rows, cols = int(h * step * 1.2) + 4, int(w * step) + 4
        piece = tile[((np.arange(rows) + oy) % 512)[:, None], ((np.arange(cols) + ox) % 512)[None, :]]
        grown = Image.fromarray(piece).resize((w, h), Image.Resampling.BICUBIC)
        return np.asarray(grown, np.float32)

    out: Floats = (0.72 * octave(min(1.0, 1.2 / fine)) + 0.62 * octave(min(1.0, 3.2 / fine))).astype(np.float32)
    return out


def _mix(a: Rgb, b: Rgb, k: float) -> Rgb:
    return (a[0] + (b[0] - a[0]) * k, a[1] + (b[1] - a[1]) * k, a[2] + (b[2] - a[2]) * k)


def _times(c: Rgb, k: float) -> Rgb:
    return (c[0] * k, c[1] * k, c[2] * k)


def leaf_colour(season: Season, kind: str) -> Rgb:
    """Colour of a broad-leaved crown."""
    green: Rgb = {"beech": (86, 104, 62), "alder": (78, 94, 60), "willow": (110, 120, 86), "apple": (96, 110, 68)}.get(kind, (84, 100, 60))
    if season.leaf <= 2 and season.autumn < 2:
        green = _mix(green, (146, 162, 92), 0.55)
    brown: Rgb = {"beech": (164, 108, 62), "alder": (122, 108, 68), "willow": (176, 158, 90), "apple": (158, 130, 74)}.get(kind, (160, 110, 50))
    return _mix(green, brown, min(1.0, season.autumn / 4 * 1.05))


def grass_colour(season: Season) -> Rgb:
    """Colour of open grass."""
    return _mix((98, 110, 64), (140, 126, 88), min(1.0, season.autumn / 4)) if season.leaf > 0 else (128, 116, 82)


class _Easel:
    """A canvas of painted things with the distance of each, far ones first."""

    def __init__(self, view: View, season: Season, rng: np.random.Generator) -> None:
        self.view, self.season, self.rng = view, season, rng
        self.image = Image.new("RGBA", (view.width_px, view.height_px), (0, 0, 0, 0))
        self.draw = ImageDraw.Draw(self.image)
        self.far = Image.new("F", (view.width_px, view.height_px), 1e4)
        self.far_draw = ImageDraw.Draw(self.far)

    def at(self, x: float, y: float, z: float) -> tuple[float, float, float]:
        """Pixel and pixels per metre of a point whose y counts from the ground under it."""
        p, d = self.view.project(np.array([x, y + self.view.ground_y(z), z]))
        s = self.view.spin(p)
        return float(s[0]), float(s[1]), self.view.focal_px / float(d)

    def polygon(self, points: list[tuple[float, float]], colour: Rgb, z: float) -> None:
        """A filled polygon at a distance."""
        self.draw.polygon(points, fill=(*_ink(colour), 255))
        self.far_draw.polygon(points, fill=z)

    def dab(self, px: float, py: float, rx: float, ry: float, colour: Rgb, z: float) -> None:
        """A small ellipse at a distance."""
        if px + rx < 0 or py + ry < 0 or px - rx > self.view.width_px or py - ry > self.view.height_px:
            return
        box = (px - rx, py - ry, px + rx, py + ry)
        self.draw.ellipse(box, fill=(*_ink(colour), 255))
        self.far_draw.ellipse(box, fill=z)

    def stroke(self, a: tuple[float, float], b: tuple[float, float], width: float, colour: Rgb, z: float) -> None:
        """A line at a distance."""
        self.draw.line([a, b], fill=(*_ink(colour), 255), width=max(1, round(width)))
        if width > 3 or z < 14:  # far thin things leave the distance of what is behind them
            self.far_draw.line([a, b], fill=z, width=max(1, round(width)))

    # --- things -------------------------------------------------------------------------------------------

    def trunk(self, x: float, z: float, radius: float, height: float, bark: Rgb) -> None:
        """A trunk with a lit and a shaded side and cracks in its bark."""
        bx, by, s = self.at(x, 0, z)
        tx, ty, ts = self.at(x + float(self.rng.normal(0, 0.02)) * height, height, z)
        r0, r1 = radius * s, radius * 0.62 * ts
        if bx + 2 * r0 < 0 and tx + 2 * r1 < 0 or bx - 2 * r0 > self.view.width_px and tx - 2 * r1 > self.view.width_px:
            return
        steps = 7
        for i in range(steps):
            k0, k1 = i / steps, (i + 1) / steps
            tone = 0.62 + 0.55 * math.sin(math.pi * (0.12 + 0.76 * k0))
            a0, a1 = -1 + 2 * k0, -1 + 2 * k1 + 0.05
            self.polygon(
                [
                    (bx + a0 * r0 * (1.35 if i == 0 else 1.0), by),
                    (bx + a1 * r0 * (1.35 if i == steps - 1 else 1.0), by),
                    (tx + a1 * r1, ty), (tx + a0 * r1, ty),
                ],
                _times(bark, tone * float(self.rng.uniform(0.94, 1.06))), z,
            )  # fmt: skip
        if r0 > 5:
            for _ in range(int(26 * min(3.0, r0 / 12))):
                k = float(self.rng.random())
                a = float(self.rng.uniform(-0.85, 0.85))
                cx, cy = bx + (tx - bx) * k + a * (r0 + (r1 - r0) * k), by + (ty - by) * k
                long = float(self.rng.uniform(0.06, 0.22)) * s
                self.stroke((cx, cy), (cx + float(self.rng.normal(0, 0.012)) * s, cy - long), max(1.0, 0.010 * s), _times(bark, float(self.rng.choice([0.55, 0.7, 1.25]))), z)
        if self.season.snow == 2 and r0 > 2:
            self.dab(bx, by, r0 * 1.9, r0 * 0.5, (232, 236, 242), z)

    def broadleaf(self, x: float, z: float, height: float, kind: str, *, crown_from: float = 0.3, fullness: float = 1.0) -> None:
        """A broad-leaved tree: trunk, and a crown of dabs or of bare twigs."""
        bark: Rgb = {"beech": (118, 116, 106), "alder": (84, 74, 64), "willow": (104, 92, 72), "apple": (98, 84, 72)}.get(kind, (96, 86, 74))
        radius = 0.016 * height + 0.03
        self.trunk(x, z, radius, height * 0.75, bark)
        s = self.at(x, 0, z)[2]
        width = height * 0.30
        if self.season.leaf < 3:
            self._twigs(x, z, height * crown_from, height * 0.22, 0.0, radius * 0.55, bark, 5 if s * height > 120 else 4)
            for k in (0.45, 0.6, 0.75):
                self._twigs(x, z, height * k, height * 0.16, float(self.rng.choice([-0.9, 0.9])), radius * 0.4, bark, 4 if s * height > 120 else 3)
        if self.season.leaf > 0:
            n = int(64 * fullness * (0.25 + 0.75 * self.season.leaf / 4))
            self._crown(
                x, z, height * (crown_from + 1) / 2, width, height * (1 - crown_from) / 2, leaf_colour(self.season, kind), n,
                size=0.022 * height + 0.02,
            )  # fmt: skip

    def _crown(self, x: float, z: float, y: float, rx: float, ry: float, colour: Rgb, n: int, *, size: float) -> None:
        """Leaves as a heap of lumps, each lit from above, with a leafy grain and a ragged rim.

        n : lumps at full leaf. size : radius of a leaf's clump. [m]
        """
        rng = self.rng
        cx, cy, s = self.at(x, y, z)
        wide, tall = rx * s, ry * s
        left, top = int(cx - wide * 1.35) - 2, int(cy - tall * 1.35) - 2
        right, bottom = int(cx + wide * 1.35) + 3, int(cy + tall * 1.35) + 3
        x0, y0 = max(left, 0), max(top, 0)
        x1, y1 = min(right, self.view.width_px), min(bottom, self.view.height_px)
        a = rng.uniform(0, 2 * np.pi, n)
        r = np.sqrt(rng.uniform(0.0, 1, n))
        shift = rng.uniform(0, 6, 2)
        lump = 1 + 0.20 * np.sin(3 * a + shift[0]) + 0.12 * np.sin(7 * a + shift[1])
        dx, dy = np.cos(a) * r * lump * wide, np.sin(a) * r * lump * tall
        lumps = rng.uniform(0.6, 1.3, n)
        fringe = rng.random((n, 6, 3))
        offset = rng.integers(0, 512, 2)
        if x1 - x0 < 2 or y1 - y0 < 2:
            return
        mask = Image.new("L", (x1 - x0, y1 - y0), 0)
        shade = Image.new("L", mask.size, 120)
        cut, lit = ImageDraw.Draw(mask), ImageDraw.Draw(shade)
        fine = max(0.8, size * s)
        for i in np.argsort(dy)[::-1].tolist():  # lowest first, the sunlit top last
            px, py = cx + float(dx[i]) - x0, cy + float(dy[i]) - y0
            q = float(lumps[i]) * fine * 3.0
            high = 0.5 - 0.5 * float(dy[i]) / max(tall, 1e-6)
            for k, up, tone in ((1.0, 0.0, 86 + 62 * high), (0.72, 0.2, 112 + 66 * high), (0.42, 0.38, 136 + 70 * high)):
                lit.ellipse((px - q * k, py - q * (up + 0.8 * k), px + q * k, py - q * (up - 0.8 * k)), fill=int(min(255, tone)))
            cut.ellipse((px - q * 0.8, py - q * 0.62, px + q * 0.8, py + q * 0.62), fill=255)
            for u, v, w in fringe[i].tolist():
                fx, fy = px + q * 1.1 * math.cos(6.283 * u), py + q * 0.85 * math.sin(6.283 * u)
                f = fine * (0.35 + 0.55 * v)
                cut.ellipse((fx - f, fy - f * (0.5 + 0.4 * w), fx + f, fy + f * (0.5 + 0.4 * w)), fill=255)
        grain = _leafy(x1 - x0, y1 - y0, fine, int(offset[0]), int(offset[1]))
        light = np.asarray(shade, np.float32) * (1 + 0.20 * grain)
        index = np.clip(light / 8, 0, 31).astype(np.uint8)
        # Shaded leaves are bluer, lit ones yellower.
        table = np.array(
            [_ink((colour[0] * k * (0.90 + 0.10 * k), colour[1] * k, colour[2] * k * (1.16 - 0.14 * k))) for k in (j * 8 / 150 for j in range(32))],
            np.uint8,
        )
        pixels = Image.fromarray(table[index])
        holes = np.where(grain < -1.35, 0, 255).astype(np.uint8)
        mask = Image.fromarray(np.minimum(np.asarray(mask), holes)) if fine > 1.2 else mask
        self.image.paste(pixels, (x0, y0), mask)
        self.far.paste(z, (x0, y0, x1, y1), mask)

    def _twigs(self, x: float, z: float, y: float, length: float, lean: float, radius: float, bark: Rgb, depth: int) -> None:
        px, py, s = self.at(x, y, z)

        def grow(ax: float, ay: float, angle: float, long: float, r: float, left: int) -> None:
            bx, by = ax + math.sin(angle) * long, ay - math.cos(angle) * long
            self.stroke((ax, ay), (bx, by), 2 * r, _times(bark, 0.8), z)
            if left <= 0 or long < 1.5:
                return
            for _ in range(2 if left > 2 else 3):
                grow(bx, by, angle + float(self.rng.normal(0, 0.55)), long * float(self.rng.uniform(0.62, 0.85)), r * 0.62, left - 1)

        grow(px, py, lean, length * s, radius * s, depth)

    def conifer(self, x: float, z: float, height: float, kind: str = "spruce", *, skirt: float = 0.08) -> None:
        """A spruce or a pine: tiers of drooping branches round a thin trunk."""
        green: Rgb = (44, 66, 42) if kind == "spruce" else (66, 84, 50)
        self.trunk(x, z, 0.012 * height + 0.03, height * 0.5, (66, 54, 46))
        bx, by, s = self.at(x, 0, z)
        tx, ty, _ = self.at(x, height, z)
        tiers = int(np.clip(height / 0.62, 7, 30)) if height * s > 70 else 8
        spread = 0.20 if kind == "spruce" else 0.25
        for i in range(tiers):
            k = skirt + (1 - skirt) * i / tiers
            cx, cy = bx + (tx - bx) * k, by + (ty - by) * k
            half = spread * height * (1 - k) ** 0.85 * s * float(self.rng.uniform(0.82, 1.06))
            drop = height * s / tiers * 2.1
            top = cy - drop * 0.8
            n = 13
            rim = []
            for j in range(n + 1):
                u = -1 + 2 * j / n
                ragged = float(self.rng.uniform(0.70, 1.12)) if j % 2 else float(self.rng.uniform(0.30, 0.72))
                rim.append((cx + u * half * (0.80 + 0.20 * ragged), cy + drop * 0.30 * ragged * (0.4 + abs(u))))
            if cy - drop > self.view.height_px or max(p[1] for p in rim) < 0:
                continue
            tone = float(self.rng.uniform(0.74, 1.04)) * (0.70 + 0.40 * k)
            self.polygon([(cx, top), *rim[::-1]], _times(green, tone), z)
            for j in range(1, n, 2):
                a = rim[j]
                self.stroke((cx + (a[0] - cx) * 0.30, top + (a[1] - top) * 0.5), a, max(1.0, 0.022 * s), _times(green, tone * float(self.rng.uniform(1.1, 1.4))), z)
            if self.season.snow == 2:
                for j in range(n + 1):  # loads of snow on the branches, fewer near the trunk
                    if self.rng.random() < 0.30:
                        continue
                    a = rim[j]
                    f = float(self.rng.uniform(0.45, 0.95))
                    sx, sy = cx + (a[0] - cx) * f, top + (a[1] - top) * f
                    r = min(half * 0.2, s * float(self.rng.uniform(0.07, 0.20)))
                    self.dab(sx, sy, r, r * 0.38, _times((214, 221, 230), float(self.rng.uniform(0.88, 1.04))), z)

    def bush(self, x: float, z: float, height: float, colour: Rgb, n: int = 90) -> None:
        """A low bush or a clump of fern."""
        if self.season.leaf < 2:
            px, py, s = self.at(x, 0, z)
            for _ in range(16):
                lean = float(self.rng.normal(0, 0.5))
                tip = (px + math.sin(lean) * height * s, py - math.cos(lean) * height * s * float(self.rng.uniform(0.6, 1)))
                self.stroke((px + float(self.rng.normal(0, 0.08)) * s, py), tip, max(1.0, 0.012 * s), (92, 78, 62), z)
            return
        self._crown(x, z, height * 0.5, height * 0.75, height * 0.5, colour, max(12, n // 4), size=0.055 * height)

    def rock(self, x: float, z: float, size: float, colour: Rgb = (132, 130, 124)) -> None:
        """A boulder with a lit top and a dark foot."""
        px, py, s = self.at(x, 0, z)
        n = 9
        angle = np.sort(self.rng.uniform(0, 2 * np.pi, n))
        r = self.rng.uniform(0.75, 1.05, n) * size * s
        rim = [(px + float(np.cos(a)) * float(q), py - size * s * 0.35 - float(np.sin(a)) * float(q) * 0.62) for a, q in zip(angle, r, strict=True)]
        self.polygon(rim, _times(colour, 0.72), z)
        upper = [(px + (p[0] - px) * 0.86 - 0.05 * size * s, p[1] - 0.10 * size * s + (0.2 * size * s if p[1] > py - size * s * 0.35 else 0) * -1) for p in rim]
        self.polygon(upper, _times(colour, float(self.rng.uniform(0.95, 1.12))), z)
        for _ in range(4 if size * s > 9 else 0):
            a = rim[int(self.rng.integers(n))]
            self.stroke((px, py - size * s * 0.4), ((a[0] + px) / 2, (a[1] + py) / 2 - size * s * 0.2), 1, _times(colour, 0.6), z)
        if self.season.snow == 2:
            cap = [p for p in upper if p[1] < py - size * s * 0.45]
            if len(cap) > 2:
                self.polygon(cap, (226, 231, 238), z)

    def tufts(self, n: int, near: float, far: float, height: float, *, keep: Callable[[float, float], bool] | None = None) -> None:
        """Blades of grass standing on the ground, thicker near the lens, far ones first."""
        rng = self.rng
        colour = grass_colour(self.season)
        z = near * (far / near) ** rng.random(n)
        half = math.tan(math.radians(self.view.hfov_deg) / 2) * 1.1
        for zi in np.sort(z)[::-1].tolist():
            x = float(rng.uniform(-half, half)) * zi
            if keep is not None and not keep(x, zi):
                continue
            px, py, s = self.at(x, 0, zi)
            if py > self.view.height_px * 1.25:
                continue
            tone = float(rng.uniform(0.72, 1.25))
            for _ in range(3):
                lean = float(rng.normal(0.05, 0.22))
                tall = height * float(rng.uniform(0.5, 1.2)) * s
                foot = px + float(rng.normal(0, 0.02)) * s
                tip = (foot + math.sin(lean) * tall, py - math.cos(lean) * tall)
                width = max(1.0, 0.006 * s)
                self.stroke((foot, py), tip, width, _times(colour, tone * float(rng.uniform(0.85, 1.15))), zi)


def _sample(tile: Floats, x: Floats, z: Floats, per_m: float, turn: int = 0) -> Floats:
    n = tile.shape[0]
    ix = (x * per_m + 7919 * (turn + 1)).astype(np.int64) % n
    iz = (z * per_m + 104729 * (turn + 1)).astype(np.int64) % n
    out: Floats = tile[iz, ix]
    return out


def path_offset(x: npt.ArrayLike, z: npt.ArrayLike, angle_deg: float, aim_m: float) -> Floats:
    """Signed distance from the usual way, a line through the aim point at an angle to the axis. [m]"""
    a = math.radians(angle_deg)
    out: Floats = (np.asarray(x, np.float32) * math.cos(a) - (np.asarray(z, np.float32) - aim_m) * math.sin(a)).astype(np.float32)
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
_SNOW: Rgb = (228, 233, 240)


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
    litter = np.array(_mix((104, 82, 56), (142, 98, 54), season.autumn / 4 * (0.8 if place.canopy > 0.3 else 0.3)), np.float32)
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
        cover = np.clip(depth + 0.55 * patch + 0.35 * drift + 0.15 * detail - (0.5 if season.snow == 1 else 0.15) * bare - 0.35 * rut * bare, 0, 1)[:, None]
        white = np.array(_SNOW, np.float32) * (1 + 0.030 * detail + 0.035 * drift)[:, None]
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


def paint_land(view: View, place: Place, season: Season) -> Land:
    """Paint one site in one season."""
    rng = np.random.default_rng([place.seed, 19])
    w, h = view.width_px, view.height_px
    x, z, dist = view.ground()
    brow = place.edge_m * (1.25 if place.look != "ridge" else 1.0)
    ground = np.isfinite(z) & (z < brow) & (z > 0)
    # Backdrop: what stands beyond the ground.
    back = _Easel(view, season, rng)
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
        wet = np.stack([98 + 22 * ripple, 112 + 22 * ripple, 112 + 24 * ripple], 1) * (0.72 + 0.28 * np.clip((flat_z - 5) / 8, 0, 1))[:, None]
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
    still = _Easel(view, season, rng)
    still.image = Image.fromarray(rgba)
    still.draw = ImageDraw.Draw(still.image)
    still.far = Image.fromarray(far)
    still.far_draw = ImageDraw.Draw(still.far)
    _standing(still, place, rng)
    layers = _swaying(view, place, season, rng)
    land = still.image.filter(ImageFilter.GaussianBlur(0.45 * w / 640)) if w <= 1600 else still.image
    return Land(
        land, np.array(still.far, np.float32), ground, np.where(ground, x, 0).astype(np.float32),
        np.where(ground, z, 0).astype(np.float32), layers, water,
    )  # fmt: skip


def _hills(e: _Easel, rng: np.random.Generator) -> None:
    w = e.view.width_px
    horizon, _ = e.view.project(np.array([0.0, e.view.lens_height_m, 1e5]))
    y0 = float(horizon[1])
    for distance, rise, colour in ((1800.0, 0.075, (92, 110, 106)), (700.0, 0.045, (70, 92, 66))):
        xs = np.linspace(-40, w + 40, 60)
        u = xs / w
        ridge = 0.5 + 0.5 * np.sin(u * 3.1 + float(rng.uniform(0, 6))) * 0.6 + 0.2 * np.sin(u * 9 + float(rng.uniform(0, 6))) + 0.05 * np.sin(u * 41)
        tops = [(float(a), y0 - float(b) * rise * e.view.focal_px) for a, b in zip(xs, ridge, strict=True)]
        e.polygon([*tops, (w + 40, y0 + 0.3 * w), (-40, y0 + 0.3 * w)], colour if e.season.snow < 2 else _mix(colour, _SNOW, 0.6), distance)


def _backdrop(e: _Easel, place: Place, rng: np.random.Generator) -> None:
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
            dark = _mix(leaf_colour(e.season, place.tree), (46, 52, 40), 0.62 - 0.1 * layer) if e.season.leaf > 1 else (96, 88, 78)
            e.polygon([*points, (e.view.width_px * 1.4, foot), (-e.view.width_px * 0.4, foot)], _times(dark, 0.9 + 0.08 * layer), zl)
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
            e.conifer(xt, zt, tall * (1.1 if place.tree == "spruce" else 0.9), "pine" if place.tree == "pine" else "spruce")
        else:
            e.broadleaf(xt, zt, tall, place.tree, crown_from=0.16, fullness=0.9)


def _standing(e: _Easel, place: Place, rng: np.random.Generator) -> None:
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
                e.trunk(xt, zt, float(rng.uniform(0.10, 0.24)), 12, (110, 104, 94) if place.tree == "beech" else (88, 78, 68))
            placed += 1
            if placed > 7 * place.canopy:
                break
    stones = {"ford": 46, "scree": 120, "ridge": 42, "gallery": 60, "pool": 18}.get(place.look, 6)
    for zs in np.sort(rng.uniform(2.2, place.edge_m, stones))[::-1].tolist():
        xs = float(rng.uniform(-half, half)) * 1.15 * zs
        size = float(rng.gamma(2.0, 0.09)) + 0.05
        if place.look == "ford" and abs(float(_shore(place, np.float32(xs), np.float32(zs)))) > 1.4:  # type: ignore[arg-type]
            continue
        if place.look in ("track", "lane", "woodland", "lick", "meadow") and not off_path(xs, zs):
            continue
        if size > 0.35 and abs(xs) < 1.5 and zs < 8:
            size *= 0.5
        e.rock(xs, zs, size, (134, 131, 124) if place.look != "ford" else (126, 122, 112))
    if place.look == "gallery":
        for k in range(7):
            zg = 12.0 - k * 1.15
            xg = -half * zg * (0.62 + 0.10 * float(rng.random())) - 0.6
            base, top = e.at(xg, 0, zg), e.at(xg - 0.3, 5.5, zg)
            wide = 1.6 * base[2]
            e.polygon([(base[0] - wide * 2, base[1] + 4), (base[0] + wide * 0.5, base[1]), (top[0] + wide * 0.7, (base[1] + top[1]) / 2), (top[0] + wide * 0.2, top[1]), (top[0] - wide * 2, top[1])], _times((124, 122, 118), float(rng.uniform(0.72, 1.05))), zg)
            for _ in range(9):
                a = (base[0] - wide * float(rng.uniform(0, 1.4)), base[1] + (top[1] - base[1]) * float(rng.random()))
                e.stroke(a, (a[0] + wide * 0.5 * float(rng.normal()), a[1] + wide * 0.25 * float(rng.normal())), max(1.0, 0.02 * base[2]), (86, 84, 80), zg)
    if place.look == "wall":
        zw = aim + 4.0
        course, height = 0.19, 1.05
        for row in range(int(height / course)):
            xw = -half * zw * 1.3
            while xw < half * zw * 1.3:
                long = float(rng.uniform(0.22, 0.5))
                if 1.1 < xw < 2.3 and row > 1:  # a gap where animals pass
                    xw += long
                    continue
                rise = (row + 1) * course + (float(rng.normal(0, 0.035)) if row == int(height / course) - 1 else 0.0)
                a, b = e.at(xw, row * course, zw), e.at(xw + long, rise, zw)
                k = float(rng.uniform(0.74, 1.12))
                e.polygon([(a[0], a[1]), (b[0], a[1]), (b[0], b[1]), (a[0], b[1])], (70, 68, 62), zw)
                g = max(0.7, 0.014 * a[2])
                e.polygon([(a[0] + g, a[1] - g), (b[0] - g, a[1] - g), (b[0] - g, b[1] + g), (a[0] + g * 1.5, b[1] + g)], _times((136, 130, 118), k), zw)
                if e.season.snow == 2 and row == int(height / course) - 1:
                    e.dab((a[0] + b[0]) / 2, b[1], (b[0] - a[0]) * 0.6, 0.05 * a[2], _SNOW, zw)
                xw += long
    if place.look == "lick":
        px = 0.3
        a, b = e.at(px, 0, aim + 0.6), e.at(px, 1.0, aim + 0.6)
        r = 0.11 * a[2]
        e.polygon([(a[0] - r, a[1]), (a[0] + r, a[1]), (b[0] + r * 0.9, b[1]), (b[0] - r * 0.9, b[1])], (104, 84, 62), aim + 0.6)
        e.polygon([(a[0] - r, a[1]), (a[0] - r * 0.2, a[1]), (b[0] - r * 0.2, b[1]), (b[0] - r * 0.9, b[1])], (126, 104, 78), aim + 0.6)
        q = 0.15 * a[2]
        e.polygon([(b[0] - q, b[1] + 2), (b[0] + q, b[1] + 2), (b[0] + q * 0.8, b[1] - q * 1.5), (b[0] - q * 0.9, b[1] - q * 1.3)], (222, 204, 196), aim + 0.6)
    if place.look == "feeding":
        zr = aim + 2.2
        for xr in (-1.6, 1.6):
            a, b = e.at(xr, 0, zr), e.at(xr, 2.0, zr)
            e.stroke((a[0], a[1]), (b[0], b[1]), 0.12 * a[2], (98, 78, 58), zr)
        for k in range(15):
            xr = -1.6 + 3.2 * k / 14
            a, b = e.at(xr, 0.75, zr - 0.35), e.at(xr, 1.45, zr + 0.25)
            e.stroke((a[0], a[1]), (b[0], b[1]), 0.035 * a[2], (120, 96, 70), zr)
        heap = [(-1.5, 0.8), (1.5, 0.8), (1.45, 1.3), (0.9, 1.55), (0.1, 1.42), (-0.7, 1.58), (-1.45, 1.28)]
        e.polygon([e.at(a, b, zr)[:2] for a, b in heap], (150, 134, 84), zr)
        for _ in range(420):
            p = e.at(float(rng.uniform(-1.5, 1.5)), float(rng.uniform(0.8, 1.5)), zr)
            e.stroke((p[0], p[1]), (p[0] + 0.16 * p[2] * float(rng.normal()), p[1] + 0.10 * p[2] * float(rng.normal())), max(1.0, 0.012 * p[2]), _times((176, 158, 96), float(rng.uniform(0.7, 1.15))), zr)
        corners = [e.at(-2.1, 2.0, zr + 1.0), e.at(2.1, 2.0, zr + 1.0), e.at(2.1, 2.0, zr - 1.0), e.at(-2.1, 2.0, zr - 1.0)]
        ridge = [e.at(-2.1, 2.7, zr), e.at(2.1, 2.7, zr)]
        roof: Rgb = _SNOW if e.season.snow == 2 else (112, 96, 82)
        e.polygon([(ridge[0][0], ridge[0][1]), (ridge[1][0], ridge[1][1]), (corners[2][0], corners[2][1]), (corners[3][0], corners[3][1])], roof, zr)
    if place.look == "lane":
        zb = 15.0
        a, b = e.at(-3.2, 0.95, zb), e.at(4.4, 0.95, zb)
        for xp in (-3.0, 4.2):
            p, q = e.at(xp, 0, zb), e.at(xp, 1.15, zb)
            e.stroke((p[0], p[1]), (q[0], q[1]), 0.14 * p[2], (106, 92, 76), zb)
        for k in range(8):
            f0, f1 = k / 8, (k + 1) / 8
            e.stroke((a[0] + (b[0] - a[0]) * f0, a[1]), (a[0] + (b[0] - a[0]) * f1, a[1]), 0.11 * a[2], (196, 188, 172) if k % 2 else (142, 78, 64), zb)
    if place.look == "woodland":
        for xs, zs in ((-0.9, 6.4), (1.5, 7.6)):
            p = e.at(xs, 0, zs)
            e.dab(p[0], p[1] + 0.05 * p[2], 0.75 * p[2], 0.20 * p[2], (146, 112, 76), zs)
            e.dab(p[0], p[1] - 0.08 * p[2], 0.22 * p[2], 0.15 * p[2], (24, 20, 17), zs)
    for _ in range(5):
        zu = float(rng.uniform(place.edge_m * 0.45, place.edge_m * 0.8))
        xu = float(rng.uniform(-half, half)) * 1.1 * zu
        if off_path(xu, zu) and place.look not in ("ridge", "lick", "wall") and not (place.look == "feeding" and abs(xu) < 3.5):
            e.bush(xu, zu, float(rng.uniform(0.5, 1.3)), _times(leaf_colour(e.season, place.tree if place.tree not in ("spruce", "pine") else "alder"), 0.85), 70)
    if e.season.snow < 2:
        n = {"meadow": 1500, "feeding": 700, "wall": 900, "ridge": 600, "lane": 700, "scree": 260}.get(place.look, 420)
        tall = {"meadow": 0.30, "wall": 0.24, "feeding": 0.16, "ridge": 0.15}.get(place.look, 0.18)
        wet = place.look in ("ford", "pool")
        e.tufts(
            n, 1.9, aim + 3.6 if place.look == "wall" else place.edge_m * 0.8, tall * (0.55 if e.season.leaf == 0 else 1.0),
            keep=lambda x, z: off_path(x, z) and not (wet and float(_shore(place, np.float32(x), np.float32(z))) < 0.3),  # type: ignore[arg-type]
        )  # fmt: skip
    if place.canopy > 0.4 and e.season.snow == 0:
        for _ in range(int(520 * place.canopy)):
            zl = 1.8 * 6.0 ** float(rng.random())
            p = e.at(float(rng.uniform(-half, half)) * 1.1 * zl, 0, zl)
            leaf = _times(_mix((150, 104, 58), (116, 84, 52), float(rng.random())), float(rng.uniform(0.7, 1.2)))
            if place.tree in ("spruce", "pine"):
                leaf = _times(leaf, 0.7)
            e.dab(p[0], p[1], 0.030 * p[2], 0.012 * p[2], leaf, zl)


def _cropped(e: _Easel, distance: float, pivot: str, give: float) -> Layer | None:
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
    e = _Easel(view, season, rng)
    z = place.edge_m * 0.42
    if place.look != "ridge":
        for side in (-1, 1):
            x = side * half * z * float(rng.uniform(0.55, 0.95))
            if place.tree in ("spruce", "pine"):
                e.conifer(x, z, float(rng.uniform(2.0, 4.2)), place.tree, skirt=0.03)
            else:
                e.broadleaf(x, z, float(rng.uniform(2.6, 5.0)), place.tree, crown_from=0.08, fullness=0.9)
                e.bush(x + side * 0.7, z, 1.0, _times(leaf, 0.9), 90)
        out.append(_cropped(e, z, "foot", 0.5))
    # One near trunk at the frame's side, for the woods.
    if place.canopy >= 0.5:
        e = _Easel(view, season, rng)
        z = 3.4
        side = 1 if place.seed % 2 else -1
        bark: Rgb = (116, 112, 102) if place.tree == "beech" else (88, 76, 64)
        e.trunk(side * half * z * 0.93, z, 0.19, 7, bark)
        out.append(_cropped(e, z, "foot", 0.03))
    # Near stalks: soft, low in the picture.
    if season.snow < 2:
        e = _Easel(view, season, rng)
        n = 70 if place.look in ("meadow", "wall", "lane", "pool", "feeding") else 26
        e.tufts(n, 1.0, 1.9, 0.26 if season.leaf else 0.18)
        e.image = e.image.filter(ImageFilter.GaussianBlur(view.width_px / 420))
        out.append(_cropped(e, 1.5, "foot", 0.8))
    # A hanging branch at a top corner: the culprit of windy days.
    if place.look not in ("ridge", "feeding", "scree", "gallery"):
        e = _Easel(view, season, rng)
        z = 2.3
        side = -1 if place.seed % 2 else 1
        x0, y0, s = e.at(side * half * z * 1.02, view.lens_height_m + z * 0.42, z)
        for k in range(5):
            lean = side * -1.0 * (0.35 + 0.22 * k)
            long = 0.55 * s * (1 - 0.08 * k)
            tip = (x0 + math.sin(lean) * long, y0 + math.cos(lean) * long * 0.75)
            e.stroke((x0, y0), tip, 0.014 * s, (84, 72, 58), z)
            if place.tree in ("spruce", "pine"):
                for j in range(26):
                    f = j / 26
                    p = (x0 + (tip[0] - x0) * f, y0 + (tip[1] - y0) * f)
                    e.stroke(p, (p[0] + float(rng.normal(0, 0.05)) * s, p[1] + 0.07 * s), max(1.0, 0.006 * s), _times((52, 74, 46), float(rng.uniform(0.7, 1.3))), z)
            elif season.leaf > 0:
                for _ in range(int(9 * season.leaf)):
                    f = float(rng.uniform(0.15, 1.05))
                    p = (x0 + (tip[0] - x0) * f + float(rng.normal(0, 0.04)) * s, y0 + (tip[1] - y0) * f + float(rng.normal(0, 0.04)) * s)
                    r = float(rng.uniform(0.020, 0.040)) * s
                    e.dab(p[0], p[1], r, r * 0.7, _times(leaf, float(rng.uniform(0.7, 1.35))), z)
        e.image = e.image.filter(ImageFilter.GaussianBlur(view.width_px / 520))
        out.append(_cropped(e, z, "top", 1.0))
    return tuple(layer for layer in out if layer is not None)
