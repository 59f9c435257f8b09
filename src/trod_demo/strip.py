"""The info strip along the bottom of a demo picture: pale paper, dark ink, a bar of the day's 24 hours.

The design is the demo's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from PIL import Image, ImageDraw, ImageFont

_PAPER = (232, 226, 210)
_INK = (44, 40, 34)
_FAINT = (150, 142, 122)
_NIGHT = (96, 92, 84)


@dataclass(frozen=True)
class Caption:
    """What the strip tells. clock : the camera's own, right or wrong. moon : age 0..1, 0.5 full."""

    clock: datetime
    temperature_c: float
    camera: str
    moon: float


def strip_height(height_px: int) -> int:
    """Rows the strip takes at the bottom of a picture: one in twenty, at least 14. [px]"""
    return max(14, height_px // 20)


@lru_cache(maxsize=8)
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


@lru_cache(maxsize=16)
def _ground(width: int, rows: int, camera: str) -> Image.Image:
    """The strip's unchanging part: paper, edge, hour bar, the camera's name at the right."""
    strip = Image.new("RGB", (width, rows), _PAPER)
    d = ImageDraw.Draw(strip)
    d.line([(0, 0), (width, 0)], fill=_FAINT)
    font = _font(max(9, int(rows * 0.56)))
    d.text((width - rows * 0.4, rows / 2), camera, fill=_INK, font=font, anchor="rm")
    x0, x1, y = _bar(width, rows)
    d.line([(x0, y), (x1, y)], fill=_FAINT, width=max(1, rows // 14))
    for hour in range(0, 25, 3):
        x = x0 + (x1 - x0) * hour / 24
        long = rows * (0.20 if hour % 6 else 0.32)
        d.line([(x, y - long), (x, y)], fill=_NIGHT if hour in (0, 24) else _FAINT, width=max(1, rows // 18))
    return strip


def _bar(width: int, rows: int) -> tuple[float, float, float]:
    return width * 0.44, width * 0.66, rows * 0.70


def paste_strip(picture: Image.Image, caption: Caption) -> None:
    """Lay the strip over the picture's lowest rows."""
    w, h = picture.size
    rows = strip_height(h)
    strip = _ground(w, rows, caption.camera).copy()
    d = ImageDraw.Draw(strip)
    font = _font(max(9, int(rows * 0.56)))
    d.text((rows * 0.4, rows / 2), f"{caption.clock:%Y-%m-%d  %H:%M:%S}", fill=_INK, font=font, anchor="lm")
    sign = "-" if round(caption.temperature_c) < 0 else ""
    d.text(
        (w * 0.80, rows / 2),
        f"{sign}{abs(round(caption.temperature_c))} °C",
        fill=_INK,
        font=font,
        anchor="rm",
    )
    x0, x1, y = _bar(w, rows)
    x = x0 + (x1 - x0) * (caption.clock.hour + caption.clock.minute / 60) / 24
    r = rows * 0.17
    d.polygon([(x, y), (x - r, y - 2.2 * r), (x + r, y - 2.2 * r)], fill=(124, 66, 40))
    _moon(d, w * 0.70, rows / 2, rows * 0.27, caption.moon)
    picture.paste(strip, (0, h - rows))


def _moon(d: ImageDraw.ImageDraw, x: float, y: float, r: float, age: float) -> None:
    """A disc whose lit part is paper-white, as the moon of a northern sky: waxing lit on the right."""
    d.ellipse((x - r, y - r, x + r, y + r), fill=_NIGHT)
    side = 1 if age < 0.5 else -1
    bulge = -math.cos(2 * math.pi * age)  # -1 new, 0 quarter, 1 full
    points = []
    for k in range(25):
        t = -math.pi / 2 + math.pi * k / 24
        points.append((x + side * r * math.cos(t), y + r * math.sin(t)))
    for k in range(25):
        t = math.pi / 2 - math.pi * k / 24
        points.append((x - side * r * bulge * math.cos(t), y + r * math.sin(t)))
    d.polygon(points, fill=(250, 247, 238))
    d.ellipse((x - r, y - r, x + r, y + r), outline=_INK)
