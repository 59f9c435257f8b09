"""Small made-up pictures for the tests of this room. No camera took them."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import piexif
from numpy.typing import NDArray
from PIL import Image, ImageDraw

Pixels = NDArray[np.uint8]


def scene(width: int = 800, height: int = 600, *, night: bool = False, seed: int = 1, dull: bool = False) -> Pixels:
    """Sky, wood and ground with texture, by day in colour (or nearly without), by night in grey."""
    rng = np.random.default_rng(seed)
    y = np.linspace(0, 1, height)[:, None, None]
    sky, ground = np.array([150.0, 175, 205]), np.array([105.0, 115, 62])
    if dull:
        sky, ground = np.array([170.0, 174, 180]), np.array([112.0, 112, 92])
    base = np.where(y < 0.4, sky, ground) * np.ones((1, width, 1))
    coarse = rng.normal(0, 1, (height // 20 + 1, width // 20 + 1)).astype(np.float32)
    texture = np.asarray(Image.fromarray(coarse).resize((width, height), Image.Resampling.BICUBIC))
    base += texture[..., None] * 22
    for _ in range(14):  # trunks
        x = int(rng.integers(0, width - 12))
        base[int(height * 0.1) : int(height * 0.8), x : x + int(rng.integers(4, 14))] = (70, 55, 45)
    if night:
        grey = base.mean(axis=2, keepdims=True)
        across = np.linspace(-1, 1, width)[None, :, None]
        base = grey * np.exp(-1.5 * across**2) * np.exp(-2.2 * (1 - y)) * np.ones(3)
    base += rng.normal(0, 6, base.shape) if not night else rng.normal(0, 6, base.shape[:2])[..., None]
    return np.clip(base, 0, 255).astype(np.uint8)


def with_strip(pixels: Pixels, share: float = 0.05, *, ground: int = 0, ink: int = 255, at_top: bool = False) -> Pixels:
    """The same with an info strip drawn over its bottom, or its top."""
    height, width = pixels.shape[:2]
    rows = round(height * share)
    image = Image.fromarray(pixels)
    draw = ImageDraw.Draw(image)
    up = height - rows if at_top else 0
    draw.rectangle((0, height - rows - up, width, height - up - 1), fill=(ground,) * 3)
    size = max(8, int(rows * 0.6))
    for x, text in ((0.02, "2024-05-17 14:30:00"), (0.5, "HG-4  12°C"), (0.82, "0042")):
        draw.text((x * width, height - up - rows * 0.82), text, fill=(ink,) * 3, font_size=size)
    return np.asarray(image)


def jpeg(pixels: Pixels, *, quality: int = 88, tags: dict[str, Any] | None = None, **save: Any) -> bytes:
    buffer = io.BytesIO()
    image = Image.fromarray(pixels)
    if tags is not None:
        save["exif"] = piexif.dump(tags)
    image.save(buffer, "JPEG", quality=quality, **save)
    return buffer.getvalue()
