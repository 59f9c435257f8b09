"""Brushes for the demo's scenery: trunks, crowns, twigs, stones and grass, each at its distance."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from trod_demo.figures import noise_tile
from trod_demo.view import View
from trod_demo.weather import Weather

Rgb = tuple[float, float, float]
Floats = npt.NDArray[np.float32]
SNOW: Rgb = (228, 233, 240)


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


def _ink(c: Rgb) -> tuple[int, int, int]:
    return (max(0, min(255, int(c[0]))), max(0, min(255, int(c[1]))), max(0, min(255, int(c[2]))))


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


def mix(a: Rgb, b: Rgb, k: float) -> Rgb:
    """Between two colours."""
    return (a[0] + (b[0] - a[0]) * k, a[1] + (b[1] - a[1]) * k, a[2] + (b[2] - a[2]) * k)


def times(c: Rgb, k: float) -> Rgb:
    """A colour made darker or lighter."""
    return (c[0] * k, c[1] * k, c[2] * k)


def leaf_colour(season: Season, kind: str) -> Rgb:
    """Colour of a broad-leaved crown."""
    green: Rgb = {
        "beech": (86, 104, 62),
        "alder": (78, 94, 60),
        "willow": (110, 120, 86),
        "apple": (96, 110, 68),
    }.get(kind, (84, 100, 60))
    if season.leaf <= 2 and season.autumn < 2:
        green = mix(green, (146, 162, 92), 0.55)
    brown: Rgb = {
        "beech": (164, 108, 62),
        "alder": (122, 108, 68),
        "willow": (176, 158, 90),
        "apple": (158, 130, 74),
    }.get(kind, (160, 110, 50))
    return mix(green, brown, min(1.0, season.autumn / 4 * 1.05))


def grass_colour(season: Season) -> Rgb:
    """Colour of open grass."""
    return mix((98, 110, 64), (140, 126, 88), min(1.0, season.autumn / 4)) if season.leaf > 0 else (128, 116, 82)


class Easel:
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

    def trunk(self, x: float, z: float, radius: float, height: float, bark: Rgb, taper: float = 0.62) -> None:
        """A trunk with a lit and a shaded side and cracks in its bark."""
        bx, by, s = self.at(x, 0, z)
        tx, ty, ts = self.at(x + float(self.rng.normal(0, 0.02)) * height, height, z)
        r0, r1 = radius * s, radius * taper * ts
        if (bx + 2 * r0 < 0 and tx + 2 * r1 < 0) or (
            bx - 2 * r0 > self.view.width_px and tx - 2 * r1 > self.view.width_px
        ):
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
                    (tx + a1 * r1, ty),
                    (tx + a0 * r1, ty),
                ],
                times(bark, tone * float(self.rng.uniform(0.94, 1.06))),
                z,
            )
        if r0 > 5:
            for _ in range(int(26 * min(3.0, r0 / 12))):
                k = float(self.rng.random())
                a = float(self.rng.uniform(-0.85, 0.85))
                cx, cy = bx + (tx - bx) * k + a * (r0 + (r1 - r0) * k), by + (ty - by) * k
                long = float(self.rng.uniform(0.06, 0.22)) * s
                self.stroke(
                    (cx, cy),
                    (cx + float(self.rng.normal(0, 0.012)) * s, cy - long),
                    max(1.0, 0.010 * s),
                    times(bark, float(self.rng.choice([0.55, 0.7, 1.25]))),
                    z,
                )
        if self.season.snow == 2 and r0 > 2:
            self.dab(bx, by, r0 * 1.9, r0 * 0.5, (232, 236, 242), z)

    def broadleaf(
        self, x: float, z: float, height: float, kind: str, *, crown_from: float = 0.3, fullness: float = 1.0
    ) -> None:
        """A broad-leaved tree: trunk, and a crown of dabs or of bare twigs."""
        bark: Rgb = {
            "beech": (118, 116, 106),
            "alder": (84, 74, 64),
            "willow": (104, 92, 72),
            "apple": (98, 84, 72),
        }.get(kind, (96, 86, 74))
        radius = 0.016 * height + 0.03
        self.trunk(
            x,
            z,
            radius,
            height * (0.75 if self.season.leaf > 2 else 0.92),
            bark,
            0.62 if self.season.leaf > 2 else 0.12,
        )
        s = self.at(x, 0, z)[2]
        width = height * 0.30
        if self.season.leaf < 3:
            self._twigs(
                x,
                z,
                height * crown_from,
                height * 0.22,
                0.0,
                radius * 0.55,
                bark,
                5 if s * height > 120 else 4,
            )
            for k in (0.45, 0.6, 0.75):
                self._twigs(
                    x,
                    z,
                    height * k,
                    height * 0.16,
                    float(self.rng.choice([-0.9, 0.9])),
                    radius * 0.4,
                    bark,
                    4 if s * height > 120 else 3,
                )
        if self.season.leaf > 0:
            n = int(64 * fullness * (0.25 + 0.75 * self.season.leaf / 4))
            self.crown(
                x,
                z,
                height * (crown_from + 1) / 2,
                width,
                height * (1 - crown_from) / 2,
                leaf_colour(self.season, kind),
                n,
                size=0.022 * height + 0.02,
            )

    def crown(self, x: float, z: float, y: float, rx: float, ry: float, colour: Rgb, n: int, *, size: float) -> None:
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
            for k, up, tone in (
                (1.0, 0.0, 86 + 62 * high),
                (0.72, 0.2, 112 + 66 * high),
                (0.42, 0.38, 136 + 70 * high),
            ):
                lit.ellipse(
                    (px - q * k, py - q * (up + 0.8 * k), px + q * k, py - q * (up - 0.8 * k)),
                    fill=int(min(255, tone)),
                )
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
            [
                _ink((colour[0] * k * (0.90 + 0.10 * k), colour[1] * k, colour[2] * k * (1.16 - 0.14 * k)))
                for k in (j * 8 / 150 for j in range(32))
            ],
            np.uint8,
        )
        pixels = Image.fromarray(table[index])
        holes = np.where(grain < -1.35, 0, 255).astype(np.uint8)
        mask = Image.fromarray(np.minimum(np.asarray(mask), holes)) if fine > 1.2 else mask
        self.image.paste(pixels, (x0, y0), mask)
        self.far.paste(z, (x0, y0, x1, y1), mask)

    def _twigs(
        self, x: float, z: float, y: float, length: float, lean: float, radius: float, bark: Rgb, depth: int
    ) -> None:
        px, py, s = self.at(x, y, z)

        def grow(ax: float, ay: float, angle: float, long: float, r: float, left: int) -> None:
            bx, by = ax + math.sin(angle) * long, ay - math.cos(angle) * long
            self.stroke((ax, ay), (bx, by), 2 * r, times(bark, 0.8), z)
            if left <= 0 or long < 1.5:
                return
            for _ in range(2 if left > 2 else 3):
                grow(
                    bx,
                    by,
                    angle + float(self.rng.normal(0, 0.55)),
                    long * float(self.rng.uniform(0.62, 0.85)),
                    r * 0.62,
                    left - 1,
                )

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
            self.polygon([(cx, top), *rim[::-1]], times(green, tone), z)
            for j in range(1, n, 2):
                a = rim[j]
                self.stroke(
                    (cx + (a[0] - cx) * 0.30, top + (a[1] - top) * 0.5),
                    a,
                    max(1.0, 0.022 * s),
                    times(green, tone * float(self.rng.uniform(1.1, 1.4))),
                    z,
                )
            if self.season.snow == 2:
                for j in range(n + 1):  # loads of snow on the branches, fewer near the trunk
                    if self.rng.random() < 0.30:
                        continue
                    a = rim[j]
                    f = float(self.rng.uniform(0.45, 0.95))
                    sx, sy = cx + (a[0] - cx) * f, top + (a[1] - top) * f
                    r = min(half * 0.2, s * float(self.rng.uniform(0.07, 0.20)))
                    self.dab(sx, sy, r, r * 0.38, times((214, 221, 230), float(self.rng.uniform(0.88, 1.04))), z)

    def bush(self, x: float, z: float, height: float, colour: Rgb, n: int = 90) -> None:
        """A low bush or a clump of fern."""
        if self.season.leaf < 2:
            px, py, s = self.at(x, 0, z)
            for _ in range(16):
                lean = float(self.rng.normal(0, 0.5))
                tip = (
                    px + math.sin(lean) * height * s,
                    py - math.cos(lean) * height * s * float(self.rng.uniform(0.6, 1)),
                )
                self.stroke((px + float(self.rng.normal(0, 0.08)) * s, py), tip, max(1.0, 0.012 * s), (92, 78, 62), z)
            return
        self.crown(x, z, height * 0.5, height * 0.75, height * 0.5, colour, max(12, n // 4), size=0.055 * height)

    def rock(self, x: float, z: float, size: float, colour: Rgb = (132, 130, 124)) -> None:
        """A boulder with a lit top and a dark foot."""
        px, py, s = self.at(x, 0, z)
        n = 9
        angle = np.sort(self.rng.uniform(0, 2 * np.pi, n))
        r = self.rng.uniform(0.75, 1.05, n) * size * s
        rim = [
            (px + float(np.cos(a)) * float(q), py - size * s * 0.35 - float(np.sin(a)) * float(q) * 0.62)
            for a, q in zip(angle, r, strict=True)
        ]
        self.polygon(rim, times(colour, 0.72), z)
        upper = [
            (
                px + (p[0] - px) * 0.86 - 0.05 * size * s,
                p[1] - 0.10 * size * s + (0.2 * size * s if p[1] > py - size * s * 0.35 else 0) * -1,
            )
            for p in rim
        ]
        self.polygon(upper, times(colour, float(self.rng.uniform(0.95, 1.12))), z)
        for _ in range(4 if size * s > 9 else 0):
            a = rim[int(self.rng.integers(n))]
            self.stroke(
                (px, py - size * s * 0.4),
                ((a[0] + px) / 2, (a[1] + py) / 2 - size * s * 0.2),
                1,
                times(colour, 0.6),
                z,
            )
        if self.season.snow == 2:
            cap = [p for p in upper if p[1] < py - size * s * 0.45]
            if len(cap) > 2:
                self.polygon(cap, (226, 231, 238), z)

    def tufts(
        self,
        n: int,
        near: float,
        far: float,
        height: float,
        *,
        keep: Callable[[float, float], bool] | None = None,
    ) -> None:
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
                self.stroke((foot, py), tip, width, times(colour, tone * float(rng.uniform(0.85, 1.15))), zi)
