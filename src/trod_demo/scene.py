"""The renderer: one camera's scenery, light and weather, and whoever stands in it, as one picture.

`Stage` keeps what does not change between pictures of a camera. `Stage.shoot` makes one picture and tells
where each body is. The same shot gives the same pixels.
"""

from __future__ import annotations

import io
import math
from collections import OrderedDict
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any
from zlib import crc32

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops, ImageDraw, ImageFilter

from trod_demo.animals import Actor
from trod_demo.easel import Season
from trod_demo.figures import Figure, noise_tile, paint, shadow
from trod_demo.scenery import (
    Land,
    Layer,
    Place,
    flash_level,
    flash_tone,
    hazed,
    infrared_albedo,
    paint_land,
)
from trod_demo.strip import Caption, paste_strip, strip_height
from trod_demo.view import View
from trod_demo.weather import Weather

Bytes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.floating[Any]]
NIGHT_BELOW_DEG = -3.0
"""The demo's cameras switch to infrared when the sun is lower than this (deep wood a little earlier). [°]"""


def _muting(keep: float) -> tuple[float, ...]:
    """A colour matrix that keeps a share of the saturation (Rec. 601 luma)."""
    r, g, b = 0.299 * (1 - keep), 0.587 * (1 - keep), 0.114 * (1 - keep)
    return (r + keep, g, b, 0, r, g + keep, b, 0, r, g, b + keep, 0)


_MUTED = _muting(0.78)


@dataclass(frozen=True)
class Lens:
    """What is wrong with the glass or the flash, 0 nothing .. 1 all. weak : the flash's missing share."""

    dew: float = 0.0
    ice: float = 0.0
    weak: float = 0.0


@dataclass(frozen=True)
class Shot:
    """One picture to be made.

    sun_deg : elevation and bearing. gust : seconds since the burst began, for the swaying. seed : for the
    noise. exposure_s : how long a moving animal smears at night.
    """

    actors: tuple[Actor, ...]
    weather: Weather
    sun_deg: tuple[float, float]
    caption: Caption
    seed: int
    gust_s: float = 0.0
    lens: Lens = field(default=Lens())
    exposure_s: float = 1 / 60


@dataclass(frozen=True)
class Seen:
    """Where a body came out.

    box : left, top, right, bottom of all its drawn pixels, in shares of the picture.

    visible : about which share of its silhouette is neither outside the frame nor behind something nearer.
    """

    actor: Actor
    box: tuple[float, float, float, float]
    visible: float
    distance_m: float


@dataclass(frozen=True)
class Light:
    """Day light or flash for one moment, in the view's axes."""

    infrared: bool
    ambient: tuple[float, float, float]
    direct: tuple[float, float, float]
    toward_sun: tuple[float, float, float]
    elevation_deg: float
    noise: float
    fog: float
    cloud: float


def light_for(view: View, weather: Weather, sun_deg: tuple[float, float], *, canopy: float) -> Light:
    """The light at a moment: how much comes from the sky and how much straight from the sun (ours)."""
    elevation, bearing = sun_deg
    infrared = elevation < NIGHT_BELOW_DEG + 1.5 * canopy
    e, d = math.radians(elevation), math.radians(bearing - view.heading_deg)
    toward = (math.sin(d) * math.cos(e), math.sin(e), math.cos(d) * math.cos(e))
    clear = (1 - weather.cloud) ** 1.2 * (0.0 if weather.rain or weather.snowfall else 1.0) * (1 - 0.9 * weather.fog)
    strength = clear * float(np.clip((elevation + 0.5) / 9, 0, 1))
    warm = float(np.clip(1 - elevation / 22, 0, 1))
    direct = (0.78 * strength, (0.74 - 0.14 * warm) * strength, (0.64 - 0.30 * warm) * strength)
    sky = 0.86 - 0.38 * clear
    blue = clear * 0.5 + 0.8 * float(np.clip((4 - elevation) / 8, 0, 1))
    ambient = (sky * (1 - 0.13 * blue), sky * (1 - 0.03 * blue), sky * (1 + 0.12 * blue))
    dim = float(np.clip((elevation + 7) / 12, 0.34, 1)) * (0.9 if weather.rain else 1.0)
    noise = 5.5 if infrared else 1.6 + 4.0 * (1 - dim)
    return Light(
        infrared,
        (ambient[0] * dim, ambient[1] * dim, ambient[2] * dim),
        direct,
        toward,
        elevation,
        noise,
        weather.fog,
        weather.cloud,
    )


@dataclass(frozen=True)
class _Plate:
    picture: Image.Image
    layers: tuple[Layer, ...]
    sunlit: Floats | None
    gain: float
    light: Light


class Stage:
    """One camera at one site, ready to take pictures.

    view : the geometry. place : what is painted. flash_range_m : the maker's. key : any text; tells the seeds
    of the scenery apart.
    """

    def __init__(self, view: View, place: Place, *, flash_range_m: float) -> None:
        self.view, self.place, self.flash_range_m = view, place, flash_range_m
        self._lands: OrderedDict[Season, Land] = OrderedDict()
        self._plates: OrderedDict[tuple[object, ...], _Plate] = OrderedDict()
        w, h = view.width_px, view.height_px
        self._keep = 6 if w * h <= 1_500_000 else 2
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
        r2 = ((xx - w / 2) / (w / 2)) ** 2 + ((yy - h / 2) / (w / 2)) ** 2
        self._beam = Image.fromarray(np.clip(255 * np.exp(-0.62 * r2**1.15), 0, 255).astype(np.uint8))
        self._beam3 = Image.merge("RGB", (self._beam,) * 3)

    # --- what keeps -----------------------------------------------------------------------------------------

    def land(self, season: Season) -> Land:
        """The scenery of a season, painted at the first asking."""
        if season not in self._lands:
            self._lands[season] = paint_land(self.view, self.place, season)
            while len(self._lands) > self._keep:
                self._lands.popitem(last=False)
        self._lands.move_to_end(season)
        return self._lands[season]

    def plate(self, weather: Weather, sun_deg: tuple[float, float]) -> _Plate:
        """The empty scene under a light; light is rounded so that the pictures of an hour share it."""
        rounded = (round(sun_deg[0] / 4) * 4.0, round(sun_deg[1] / 12) * 12.0)
        if sun_deg[0] < 10:  # near the switch to infrared and at dusk every degree counts
            rounded = (round(sun_deg[0]) * 1.0, rounded[1])
        weather = replace(weather, cloud=round(weather.cloud * 4) / 4, fog=round(weather.fog * 5) / 5)
        light = light_for(self.view, weather, rounded, canopy=self.place.canopy)
        season = Season.of(weather)
        key: tuple[object, ...] = (
            season,
            light.infrared,
            *((0.0, 0.0) if light.infrared else rounded),
            weather.cloud,
            weather.fog,
            weather.rain > 0,
            weather.snowfall > 0,
        )
        if key not in self._plates:
            land = self.land(season)
            self._plates[key] = self._night_plate(land, light) if light.infrared else self._day_plate(land, light)
            while len(self._plates) > self._keep + 2:
                self._plates.popitem(last=False)
        self._plates.move_to_end(key)
        return self._plates[key]

    def _night_plate(self, land: Land, light: Light) -> _Plate:
        rgba = np.asarray(land.land)
        grey: Floats = flash_tone(
            infrared_albedo(rgba[..., 0], rgba[..., 1], rgba[..., 2]),
            flash_level(land.dist_m, self.flash_range_m),
        )
        if land.water is not None:  # water throws the flash away from the lens
            grey = grey * (1 - land.water) + 12 * land.water
        alpha = rgba[..., 3].astype(np.float32) / 255
        grey = 7 * (1 - alpha) + grey * alpha
        if light.fog > 0:
            veil = light.fog * 105 * (1 - np.exp(-land.dist_m / 5))
            grey = grey * np.exp(-light.fog * land.dist_m / 14) + veil
        flat = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))
        layers = tuple(self._flash_layer(layer) for layer in land.layers)
        return _Plate(Image.merge("RGB", (flat, flat, flat)), layers, None, 1.0, light)

    def _flash_layer(self, layer: Layer) -> Layer:
        a = np.array(layer.picture)
        level = flash_level(layer.distance_m, self.flash_range_m)
        grey = flash_tone(infrared_albedo(a[..., 0], a[..., 1], a[..., 2]), level)
        a[..., :3] = np.clip(grey, 0, 255).astype(np.uint8)[..., None]
        return replace(layer, picture=Image.fromarray(a))

    def _day_plate(self, land: Land, light: Light) -> _Plate:
        w, h = land.land.size
        rgba = np.asarray(land.land)
        ambient, direct = np.array(light.ambient, np.float32), np.array(light.direct, np.float32)
        sunlit = self._sunlit(land, light) if max(light.direct) > 0.03 else None
        share = np.full((h, w), 0.62, np.float32) if sunlit is None else sunlit
        lit: Floats = hazed(rgba[..., :3].astype(np.float32), land.dist_m)
        for c in range(3):
            lit[..., c] *= ambient[c] + direct[c] * share
        alpha = rgba[..., 3].astype(np.float32) / 255
        ground_mean = float(lit[land.ground].mean()) if land.ground.any() else 100.0
        # The camera's exposure: a middle grey for the ground, brighter when snow lies (it knows snow), less
        # at dusk.
        lightness = 106.0 + 62.0 * float(
            np.clip((ground_mean / max(float(ambient.mean() + 0.5 * direct.mean()), 0.1) - 110) / 90, 0, 1)
        )
        if light.elevation_deg < 4:
            lightness *= max(0.42, (light.elevation_deg + 7) / 11)
        gain = float(np.clip(lightness / max(ground_mean, 1.0), 0.50, 1.9 if light.elevation_deg > 8 else 3.4))
        if light.fog > 0:
            k = (1 - np.exp(-light.fog * land.dist_m / 12))[..., None]
            lit = lit * (1 - k) + np.array((206, 210, 212), np.float32) * float(ambient.mean()) * 1.05 * k
        lit *= gain
        sky = self._sky(light, gain)
        out = sky * (1 - alpha[..., None]) + lit * alpha[..., None]
        picture = Image.fromarray(_shoulder(out)).convert("RGB", _MUTED)
        layers = tuple(self._lit_layer(layer, light, gain) for layer in land.layers)
        return _Plate(picture, layers, sunlit, gain, light)

    def _sky(self, light: Light, gain: float) -> Floats:
        full = (self.view.width_px, self.view.height_px)
        w, h = max(64, full[0] // 3), max(48, full[1] // 3)
        k = np.clip((np.arange(h, dtype=np.float32) / (h * 0.55)), 0, 1)[:, None, None]
        clear = np.array((104, 152, 208), np.float32) * (1 - k) + np.array((190, 212, 228), np.float32) * k
        grey = np.array((196, 200, 204), np.float32) * (1 - k) + np.array((222, 224, 226), np.float32) * k
        sky = clear * (1 - light.cloud) + grey * light.cloud
        sky = np.broadcast_to(sky, (h, w, 3)).copy()
        if light.elevation_deg < 10:
            warm = float(np.clip((10 - light.elevation_deg) / 12, 0, 1)) * (1 - 0.7 * light.cloud)
            glow = np.array((255, 206, 160), np.float32) * (0.4 + 0.6 * max(0.0, light.toward_sun[2]))
            sky = sky * (1 - 0.45 * warm * k) + glow * 0.45 * warm * k
        if light.cloud < 0.85:
            puffs = noise_tile(512, 1.5, 21)
            iy = (np.arange(h) * 1.6 * 480 / h).astype(np.int64) % 512
            ix = (np.arange(w) * 0.5 * 640 / w).astype(np.int64) % 512
            cover = np.clip(puffs[iy[:, None], ix[None, :]] * 0.9 + light.cloud * 2 - 0.7, 0, 1)[..., None] * 0.7
            sky = sky * (1 - cover) + np.array((236, 238, 240), np.float32) * cover
        level = float(np.mean(light.ambient)) + 0.35 * max(light.direct)
        small = np.clip(sky * min(1.25, level * max(1.0, gain) * 1.12), 0, 255).astype(np.uint8)
        return np.asarray(Image.fromarray(small).resize(full, Image.Resampling.BILINEAR), np.float32)

    def _sunlit(self, land: Land, light: Light) -> Floats:
        """Share of sun on each ground pixel: stripes and flecks under the trees, long when the sun is low."""
        lx, ly, lz = light.toward_sun
        flat = math.hypot(lx, lz) or 1e-6
        ux, uz = lx / flat, lz / flat
        along = land.x_m * ux + land.z_m * uz
        across = land.x_m * uz - land.z_m * ux
        stretch = float(np.clip(flat / max(ly, 0.06), 1.0, 9.0))
        tile = noise_tile(512, 1.15, 31)
        ix = (across * 46 + 911).astype(np.int64) % 512
        iz = (along * 46 / stretch + 577).astype(np.int64) % 512
        shade = 0.25 + 0.85 * self.place.canopy
        flecks = np.clip(0.5 + 1.1 * (tile[iz, ix] - (shade - 0.5) * 2.0), 0, 1)
        flecks = 1 - (1 - flecks) * min(1.0, 0.35 + self.place.canopy)
        out = np.where(land.ground, flecks, 0.55 + 0.25 * max(0.0, -light.toward_sun[2])).astype(np.float32)
        return out

    def _lit_layer(self, layer: Layer, light: Light, gain: float) -> Layer:
        a = np.array(layer.picture)
        share = 0.45 + 0.35 * max(0.0, -light.toward_sun[2])
        for c in range(3):
            k = (light.ambient[c] + light.direct[c] * share) * gain
            a[..., c] = np.clip(a[..., c] * k, 0, 255)
        a[..., :3] = np.asarray(Image.fromarray(np.ascontiguousarray(a[..., :3])).convert("RGB", _MUTED))
        if light.fog > 0:
            k = 1 - math.exp(-light.fog * layer.distance_m / 12)
            veil = 206 * float(np.mean(light.ambient)) * 1.05 * gain
            a[..., :3] = np.clip(a[..., :3] * (1 - k) + veil * k, 0, 255)
        return replace(layer, picture=Image.fromarray(a))

    # --- one picture ------------------------------------------------------------------------------

    def shoot(self, shot: Shot) -> tuple[Image.Image, tuple[Seen, ...], bool]:
        """One picture. Returns (RGB picture, the bodies that can be seen, whether it is infrared)."""
        rng = np.random.default_rng([shot.seed, 5])
        plate = self.plate(shot.weather, shot.sun_deg)
        light = plate.light
        picture = plate.picture.copy()
        figures: list[tuple[Actor, Figure]] = []
        for actor in shot.actors:
            blur = 0.0
            if light.infrared and actor.speed_mps > 0:
                px = self.view.focal_px / max(math.hypot(actor.x_m, actor.z_m), 0.5)
                blur = actor.speed_mps * abs(math.cos(math.radians(actor.facing_deg))) * shot.exposure_s * px
            figure = paint(self.view, actor, blur_px=min(blur, self.view.width_px / 12))
            if figure is not None:
                figures.append((actor, figure))
        queue: list[tuple[float, Layer | tuple[Actor, Figure]]] = []
        queue += [(layer.distance_m, layer) for layer in plate.layers]
        queue += [(pair[1].distance_m, pair) for pair in figures]
        queue.sort(key=lambda item: -item[0])
        for actor, figure in figures:
            self._throw_shadow(picture, actor, figure, light, plate)
        for _, item in queue:
            if isinstance(item, Layer):
                self._paste_layer(picture, item, shot, rng)
            else:
                self._paste_figure(picture, *item, plate)
        if light.infrared:
            picture = ImageChops.multiply(picture, self._beam3)
            for actor, figure in figures:
                self._eye_shine(picture, actor, figure, shot)
            if shot.lens.weak > 0:
                keep = 1 - 0.92 * shot.lens.weak
                picture = picture.point([int(v * keep) for v in range(256)] * 3)
        picture = self._air(picture, shot, light, rng)
        picture = self._glass(picture, shot, light, rng)
        picture = self._noise(picture, light, shot, rng)
        paste_strip(picture, shot.caption)
        return picture, self._seen(figures, plate.layers), light.infrared

    def _throw_shadow(self, picture: Image.Image, actor: Actor, figure: Figure, light: Light, plate: _Plate) -> None:
        strong = 0.0 if light.infrared else max(light.direct) / (max(light.direct) + max(light.ambient))
        if plate.sunlit is not None:
            strong *= self._sun_at(figure, plate)
        for toward, weight in (
            (light.toward_sun, 0.85 * strong),
            ((0.05, 1.0, 0.1), 0.30 * (1 - 0.6 * strong)),
        ):
            if weight < 0.04 or actor.lift_m > 0.2:
                continue
            made = shadow(self.view, actor, toward)
            if made is None:
                continue
            mask, left, top = made
            picture.paste((18, 20, 24), (left, top), mask.point([int(v * weight) for v in range(256)]))

    def _sun_at(self, figure: Figure, plate: _Plate) -> float:
        if plate.sunlit is None:
            return 0.6
        h, w = plate.sunlit.shape
        x, y = figure.outline.foot
        x0, y0 = int(np.clip(x, 4, w - 5)), int(np.clip(y, 4, h - 5))
        return float(plate.sunlit[y0 - 4 : y0 + 5, x0 - 4 : x0 + 5].mean())

    def _paste_figure(self, picture: Image.Image, actor: Actor, figure: Figure, plate: _Plate) -> None:
        light = plate.light
        body = Image.fromarray(figure.colour)
        if light.infrared:
            level = float(flash_level(figure.distance_m, self.flash_range_m))
            grey = body.convert("L")
            curve = flash_tone(0.05 + 0.92 * np.arange(256) / 255.0, level)
            if light.fog > 0:
                curve = curve * math.exp(-light.fog * figure.distance_m / 14) + light.fog * 105 * (
                    1 - math.exp(-figure.distance_m / 5)
                )
            grey = grey.point([int(v) for v in np.clip(curve, 0, 255)])
            body = Image.merge("RGB", (grey, grey, grey))
        else:
            sun = 0.30 + 0.55 * self._sun_at(figure, plate)
            k = np.array([(light.ambient[c] + light.direct[c] * sun) * plate.gain for c in range(3)])
            fog = 1 - math.exp(-light.fog * figure.distance_m / 12) if light.fog > 0 else 0.0
            veil = 206 * float(np.mean(light.ambient)) * 1.05 * plate.gain
            table: list[int] = []
            v = np.arange(256, dtype=np.float32)
            for c in range(3):
                table += _shoulder((v * k[c] + 5) * (1 - fog) + veil * fog).tolist()
            body = body.convert("RGB", _MUTED).point(table)
        picture.paste(body, (figure.left, figure.top), Image.fromarray(figure.alpha))

    def _paste_layer(self, picture: Image.Image, layer: Layer, shot: Shot, rng: np.random.Generator) -> None:
        w, h = layer.picture.size
        wind = min(1.6, shot.weather.wind_mps / 8)
        phase = 2 * math.pi * (shot.gust_s * (0.55 if layer.pivot == "foot" else 0.8)) + layer.distance_m
        swing = layer.give * (wind**1.5) * (0.55 * math.sin(phase) + 0.45 * float(rng.normal())) * 0.16
        if abs(swing) * h < 0.5:
            picture.paste(layer.picture, (layer.left, layer.top), layer.picture)
            return
        swing = max(-0.35, min(0.35, swing))
        # x_source = x + swing·(distance from the pivot's row): a shear.
        shear = (1, swing, -swing * h, 0, 1, 0) if layer.pivot == "foot" else (1, swing, 0, 0, 1, 0)
        moved = layer.picture.transform((w, h), Image.Transform.AFFINE, shear, Image.Resampling.NEAREST)
        picture.paste(moved, (layer.left, layer.top), moved)

    def _eye_shine(self, picture: Image.Image, actor: Actor, figure: Figure, shot: Shot) -> None:
        if actor.kind == "person":
            return
        a = math.radians(actor.facing_deg)
        # Cosine between where it looks and the lens; a raised head is turned to the camera now and then.
        at = math.hypot(actor.x_m, actor.z_m) or 1.0
        looks = -(math.cos(a) * actor.x_m + math.sin(a) * actor.z_m) / at
        if actor.pose == "alert":
            looks += 0.6
        if actor.pose == "feed" or looks < -0.25:
            return
        eyes = figure.outline.eyes
        level = float(flash_level(figure.distance_m, self.flash_range_m))
        bright = min(1.0, 0.35 + level * 0.8) * min(1.0, 0.5 + looks) * (1 - 0.9 * shot.lens.weak)
        radius = max(1.0, 0.011 * figure.outline.px_per_m * (1 + 0.5 * min(1.0, actor.shoulder_m)))
        chosen = eyes if looks > 0.55 else eyes[:1] if math.sin(a) < 0 else eyes[1:2]
        if looks <= 0.55:
            # From the side only the near eye shows: the one on the lens's side of the head.
            near = 0 if (math.cos(a) > 0) else 1
            chosen = eyes[near : near + 1]
        for x, y in chosen:
            r = int(radius * 4) + 2
            yy, xx = np.mgrid[-r : r + 1, -r : r + 1].astype(np.float32)
            d2 = xx * xx + yy * yy
            glow = (np.exp(-d2 / (2 * radius**2)) * 255 + np.exp(-d2 / (2 * (radius * 2.4) ** 2)) * 70) * bright
            patch = Image.fromarray(np.clip(glow, 0, 255).astype(np.uint8))
            left, top = int(x) - r, int(y) - r
            picture.paste(Image.new("RGB", patch.size, (252, 252, 250)), (left, top), patch)

    def _air(self, picture: Image.Image, shot: Shot, light: Light, rng: np.random.Generator) -> Image.Image:
        """Rain and snow between the lens and the scene."""
        w, h = picture.size
        weather = shot.weather
        if weather.rain > 0:
            veil = Image.new("L", (w, h), int(16 * weather.rain) if not light.infrared else int(9 * weather.rain))
            d = ImageDraw.Draw(veil)
            slant = 0.10 + 0.03 * weather.wind_mps * (1 if shot.seed % 2 else -1)
            n = int(90 + 190 * weather.rain)
            xs, ys = rng.uniform(-0.1, 1.1, n) * w, rng.uniform(-0.1, 1, n) * h
            long, tone = rng.uniform(0.03, 0.11, n) * h, rng.uniform(90, 190, n)
            thick = max(1, w // 640)
            for x, y, s, t in zip(xs.tolist(), ys.tolist(), long.tolist(), tone.tolist(), strict=True):
                d.line([(x, y), (x + slant * s, y + s)], fill=int(t), width=thick)
            shade = (236, 238, 240) if light.infrared else (222, 226, 230)
            picture.paste(Image.new("RGB", (w, h), shade), (0, 0), veil.filter(ImageFilter.BoxBlur(0.45 * w / 640)))
        if weather.snowfall > 0:
            veil = Image.new("L", (w, h), int(20 * weather.snowfall) if not light.infrared else 6)
            d = ImageDraw.Draw(veil)
            n = int(140 + 260 * weather.snowfall)
            size = w / 640 * (0.8 + 5.5 * rng.random(n) ** 7 * (1.6 if light.infrared else 1.0))
            xs, ys = rng.uniform(0, w, n), rng.uniform(0, h, n)
            tone = np.clip(250 - size / (w / 640) * 24, 90, 245)
            for x, y, s, t in zip(xs.tolist(), ys.tolist(), size.tolist(), tone.tolist(), strict=True):
                d.ellipse((x - s, y - s, x + s * 1.1, y + s * 1.3), fill=int(t))
            picture.paste(
                Image.new("RGB", (w, h), (246, 248, 250)),
                (0, 0),
                veil.filter(ImageFilter.BoxBlur(0.8 * w / 640)),
            )
        return picture

    def _glass(self, picture: Image.Image, shot: Shot, light: Light, rng: np.random.Generator) -> Image.Image:
        """Dew, ice and the sun on the lens."""
        w, h = picture.size
        lens = shot.lens
        if lens.dew > 0 or lens.ice > 0:
            amount = max(lens.dew, lens.ice)
            soft = picture.resize((max(8, w // 14), max(6, h // 14)), Image.Resampling.BOX).resize(
                (w, h), Image.Resampling.BICUBIC
            )
            cover = _glass_cover(w, h, "ice" if lens.ice > 0 else "dew", shot.seed // 1000 % 7)
            mask = cover.point([min(255, int(v * (0.35 + 0.75 * amount))) for v in range(256)])
            pale = (214, 220, 226) if not light.infrared else (118, 118, 118)
            soft = Image.blend(soft, Image.new("RGB", (w, h), pale), (0.42 if lens.ice > 0 else 0.22) * amount)
            picture.paste(soft, (0, 0), mask)
            if lens.ice > 0:
                crystals = cover.point([min(255, int(max(0, v - 165) * 1.5 * amount)) for v in range(256)])
                picture.paste(
                    Image.new("RGB", (w, h), (232, 236, 240) if not light.infrared else (170, 170, 170)),
                    (0, 0),
                    crystals,
                )
        lx, ly, lz = light.toward_sun
        if not light.infrared and lz > 0.2 and max(light.direct) > 0.2 and ly > 0:
            p, _ = self.view.project(np.array([lx, ly, lz]) * 1e4 + np.array([0, self.view.lens_height_m, 0]))
            x, y = float(p[0]) / w, float(p[1]) / h
            margin = 0.45
            if -margin < x < 1 + margin and -0.9 < y < 1:
                picture = _flare(picture, x, y, max(light.direct) * (1 - 0.6 * self.place.canopy))
        return picture

    def _noise(self, picture: Image.Image, light: Light, shot: Shot, rng: np.random.Generator) -> Image.Image:
        a = np.asarray(picture)
        h, w = a.shape[:2]
        sigma = light.noise * (1 + 1.5 * shot.lens.weak)
        tile = _grain(round(sigma * 2) / 2)
        oy, ox = int(rng.integers(tile.shape[0])), int(rng.integers(tile.shape[1]))
        grain = _wrapped(tile, oy, ox, h, w)
        if light.infrared:
            out = np.clip(a[..., 0].astype(np.int16) + grain[..., 0], 0, 255).astype(np.uint8)
            grey = Image.fromarray(out)
            return Image.merge("RGB", (grey, grey, grey))
        return Image.fromarray(np.clip(a.astype(np.int16) + grain, 0, 255).astype(np.uint8))

    def _seen(self, figures: list[tuple[Actor, Figure]], layers: tuple[Layer, ...]) -> tuple[Seen, ...]:
        out = []
        h = self.view.height_px
        floor = 1 - strip_height(h) / h
        for actor, figure in figures:
            if figure.box is None:
                continue
            left, top, right, bottom = figure.box
            if top >= floor:
                continue
            alpha = figure.alpha.astype(np.float32)
            whole = float(alpha.sum()) or 1.0
            rows = max(0, min(alpha.shape[0], int(floor * h) - figure.top))
            alpha = alpha.copy()
            alpha[rows:] = 0
            for layer in layers:
                if layer.distance_m < figure.distance_m:
                    _hide(
                        alpha,
                        figure.left,
                        figure.top,
                        np.asarray(layer.picture.getchannel("A")),
                        layer.left,
                        layer.top,
                    )
            for _, other in figures:
                if other is not figure and other.distance_m < figure.distance_m:
                    _hide(alpha, figure.left, figure.top, other.alpha, other.left, other.top)
            visible = figure.in_frame * float(alpha.sum()) / whole
            if visible < 0.02:
                continue
            out.append(
                Seen(
                    actor,
                    (left, top, right, min(bottom, floor)),
                    round(visible, 3),
                    round(figure.distance_m, 2),
                )
            )
        return tuple(out)


def _hide(alpha: Floats, left: int, top: int, cover: Bytes, cover_left: int, cover_top: int) -> None:
    """Take from `alpha` what `cover` hides of it; both stand at their own places."""
    x0, y0 = max(left, cover_left), max(top, cover_top)
    x1 = min(left + alpha.shape[1], cover_left + cover.shape[1])
    y1 = min(top + alpha.shape[0], cover_top + cover.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    part = cover[y0 - cover_top : y1 - cover_top, x0 - cover_left : x1 - cover_left].astype(np.float32) / 255
    alpha[y0 - top : y1 - top, x0 - left : x1 - left] *= 1 - part


def _shoulder(values: Floats) -> Bytes:
    """0..255 with a soft shoulder above 190 instead of a hard edge at white."""
    over = np.maximum(values - 190, 0)
    out: Bytes = np.clip(np.minimum(values, 190) + 65 * (1 - np.exp(-over / 65)), 0, 255).astype(np.uint8)
    return out


@lru_cache(maxsize=12)
def _grain(sigma: float) -> npt.NDArray[np.int16]:
    """A tile of sensor noise, mostly of lightness, a little of colour, softened. (512, 640, 3)"""
    rng = np.random.default_rng([crc32(b"grain"), round(sigma * 10)])
    light = rng.standard_normal((512, 640, 1))
    light = 0.72 * light + 0.28 * (np.roll(light, 1, 0) + np.roll(light, 1, 1))
    colour = rng.standard_normal((512, 640, 3)) * 0.45
    out: npt.NDArray[np.int16] = np.round(sigma * (light + colour)).astype(np.int16)
    return out


def _wrapped(tile: npt.NDArray[np.int16], oy: int, ox: int, h: int, w: int) -> npt.NDArray[np.int16]:
    """A window of the tile at an offset, repeated as far as it must."""
    th, tw = tile.shape[:2]
    rolled = np.roll(tile, (-oy, -ox), axis=(0, 1))
    if h > th or w > tw:
        rolled = np.tile(rolled, (-(-h // th), -(-w // tw), 1))
    return rolled[:h, :w]


@lru_cache(maxsize=6)
def _glass_cover(w: int, h: int, kind: str, variant: int) -> Image.Image:
    """How much dew or ice lies on each part of the lens window, L."""
    rng = np.random.default_rng([crc32(kind.encode()), variant])
    cover = Image.new("L", (320, 240), 70 if kind == "dew" else 150)
    d = ImageDraw.Draw(cover)
    if kind == "dew":
        for _ in range(170):
            x, y, r = rng.uniform(0, 320), rng.uniform(0, 240), 2 + 14 * rng.random() ** 3
            d.ellipse((x - r, y - r, x + r, y + r), fill=int(rng.uniform(150, 245)))
        cover = cover.filter(ImageFilter.GaussianBlur(1.6))
    else:
        for _ in range(240):
            x, y, a = rng.uniform(0, 320), rng.uniform(0, 240), rng.uniform(0, math.pi)
            for _ in range(5):
                nx, ny = x + 16 * math.cos(a), y + 16 * math.sin(a)
                d.line([(x, y), (nx, ny)], fill=int(rng.uniform(190, 255)), width=int(rng.integers(1, 4)))
                x, y, a = nx, ny, a + float(rng.normal(0, 0.3))
        cover = cover.filter(ImageFilter.GaussianBlur(1.1))
    return cover.resize((w, h), Image.Resampling.BICUBIC)


@lru_cache(maxsize=4)
def _glow(size: int) -> Image.Image:
    yy, xx = np.mgrid[0:size, 0:size].astype(np.float32)
    r = np.hypot(xx - size / 2, yy - size / 2) / (size / 2)
    g = np.clip(1 - r, 0, 1)
    return Image.fromarray((255 * (0.65 * g**3 + 0.35 * g**10)).astype(np.uint8))


def _flare(picture: Image.Image, x: float, y: float, strength: float) -> Image.Image:
    """Sun glow at a place (shares of the frame, or outside), ghosts through the middle, a pale veil."""
    w, h = picture.size
    over = Image.new("L", (w, h), int(34 * strength))
    big = int(w * 1.15)
    glow = _glow(256).resize((big, big)).point([min(255, int(v * 1.25 * strength)) for v in range(256)])
    over.paste(glow, (int(x * w - big / 2), int(y * h - big / 2)), glow)
    layer = Image.merge(
        "RGB",
        (
            over,
            over.point([int(v * 0.94) for v in range(256)]),
            over.point([int(v * 0.80) for v in range(256)]),
        ),
    )
    d = ImageDraw.Draw(layer, "RGBA")
    for k, r, c in (
        (0.55, 0.05, (90, 150, 110, 26)),
        (1.25, 0.09, (150, 110, 70, 22)),
        (1.6, 0.04, (80, 110, 160, 26)),
    ):
        gx, gy = (x + (0.5 - x) * k) * w, (y + (0.5 - y) * k) * h
        d.ellipse((gx - r * w, gy - r * w, gx + r * w, gy + r * w), fill=c)
    return ImageChops.screen(picture, layer.filter(ImageFilter.BoxBlur(2)))


def to_jpeg(picture: Image.Image, *, quality: int = 80, exif: bytes = b"") -> bytes:
    """The picture as a baseline JPEG."""
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality, exif=exif) if exif else picture.save(out, "JPEG", quality=quality)
    return out.getvalue()
