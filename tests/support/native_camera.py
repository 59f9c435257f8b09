"""Made-up pictures of which everything is known: edges, and scenes through a simulated camera.

scene → lens blur → mosaic of colours → demosaic → noise → tone → JPEG. Nothing here is a photograph.
"""

from __future__ import annotations

import io
import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage
from scipy.special import ndtr

Floats = NDArray[np.float64]
Single = NDArray[np.float32]
Demosaic = Literal["none", "bilinear", "gradient"]

# Levels of light, by a power of 1/2.2, as a table: finer than a byte even in the dark.
_TONES = np.rint(255 * ((np.arange(65535) + 0.5) / 65535) ** (1 / 2.2)).astype(np.uint8)


def edge_piece(
    *, sigma_px: float, tilt_deg: float, side: int = 100, low: float = 40.0, high: float = 200.0, fine: int = 8
) -> Floats:
    """A near upright edge, blurred by a Gaussian and gathered over whole pixels."""
    along = (np.arange(side * fine) + 0.5) / fine - 0.5
    y, x = np.meshgrid(along, along, indexing="ij")
    tilt = math.radians(tilt_deg)
    middle = (side - 1) / 2
    distance = (x - middle) * math.cos(tilt) - (y - middle) * math.sin(tilt)
    made = ndtr(distance / sigma_px).reshape(side, fine, side, fine).mean(axis=(1, 3))
    return np.asarray(low + (high - low) * made)


def through_jpeg(levels: NDArray[np.generic], quality: int, *, subsampling: int = 2) -> NDArray[np.uint8]:
    """The same after one JPEG of that quality."""
    file = io.BytesIO()
    whole = np.clip(np.rint(levels.astype(np.float64)), 0, 255).astype(np.uint8)
    Image.fromarray(whole).save(file, "JPEG", quality=quality, subsampling=subsampling if whole.ndim == 3 else 0)
    return np.asarray(Image.open(file))


def scene(rows: int, columns: int, rng: np.random.Generator, *, things: float = 1.0) -> Single:
    """(rows, columns, 3) of 0 to 1: patches, stems, blades and leaves at all sizes over a shaded ground."""
    shade = np.zeros((rows, columns, 3), dtype=np.float32)
    size = 4
    while size < max(rows, columns):
        coarse = rng.normal(0, 1, (rows // size + 3, columns // size + 3, 3)).astype(np.float32)
        mixed = (0.8 * coarse.mean(axis=2, keepdims=True) + 0.3 * coarse) * size**0.5
        for c in range(3):
            plane = Image.fromarray(mixed[..., c]).resize((columns, rows), Image.Resampling.BICUBIC)
            shade[..., c] += np.asarray(plane)
        size *= 2
    shade *= np.float32(0.12 / shade.std())
    shade += np.float32(0.35)
    # Things with hard edges: ellipses of many sizes, thin blades at all angles.
    for _ in range(int(things * rows * columns / 900)):
        radius = min(min(rows, columns) * 0.002 * (1 + rng.pareto(1.3)), 0.1 * min(rows, columns))
        thin = rng.uniform(0.12, 1.0)
        cy, cx, turn = rng.uniform(0, rows), rng.uniform(0, columns), rng.uniform(0, math.pi)
        reach = math.ceil(radius) + 1
        y0, y1 = max(0, int(cy) - reach), min(rows, int(cy) + reach + 1)
        x0, x1 = max(0, int(cx) - reach), min(columns, int(cx) + reach + 1)
        if y1 <= y0 or x1 <= x0:
            continue
        y, x = np.ogrid[y0:y1, x0:x1]
        a = (x - cx) * math.cos(turn) + (y - cy) * math.sin(turn)
        b = -(x - cx) * math.sin(turn) + (y - cy) * math.cos(turn)
        colour = np.clip(rng.normal(0.4, 0.2) + rng.normal(0, 0.06, 3), 0.02, 0.98)
        shade[y0:y1, x0:x1][a**2 + (b / thin) ** 2 < radius**2] = colour
    return np.clip(shade, 0.0, 1.0)


def native(
    light: Single,
    *,
    lens_px: float,
    demosaic: Demosaic,
    noise: float,
    rng: np.random.Generator,
    infrared: bool = False,
    fine: int = 1,
) -> NDArray[np.uint8]:
    """(rows, columns, 3) levels 0 to 255 as a camera makes them before any enlarging.

    light : (fine·rows, fine·columns, 3), so that pixels gather light from fine × fine points each. lens_px :
    Gaussian blur in pixels of the sensor. noise : of one raw pixel, of 255. infrared : one grey for all colours.
    """
    if infrared:
        light = np.repeat(light.mean(axis=2, keepdims=True), 3, axis=2)
    rows, columns = light.shape[0] // (2 * fine) * 2, light.shape[1] // (2 * fine) * 2
    gathered = np.empty((rows, columns, 3), dtype=np.float32)
    for c in range(3):
        plane = np.ascontiguousarray(light[..., c])
        if lens_px:
            plane = ndimage.gaussian_filter(plane, fine * lens_px, truncate=3.0)
        gathered[..., c] = plane[: fine * rows, : fine * columns].reshape(rows, fine, columns, fine).mean(axis=(1, 3))
    if demosaic == "none":
        made = gathered + rng.standard_normal(gathered.shape, dtype=np.float32) * np.float32(noise / 255)
    else:
        raw = np.empty((rows, columns), dtype=np.float32)
        raw[0::2, 0::2] = gathered[0::2, 0::2, 0]
        raw[0::2, 1::2] = gathered[0::2, 1::2, 1]
        raw[1::2, 0::2] = gathered[1::2, 0::2, 1]
        raw[1::2, 1::2] = gathered[1::2, 1::2, 2]
        raw += rng.standard_normal(raw.shape, dtype=np.float32) * np.float32(noise / 255)
        made = _bilinear(raw) if demosaic == "bilinear" else _gradient(raw)
    if infrared:
        made = np.repeat(made.mean(axis=2, keepdims=True), 3, axis=2)
    return _TONES[(np.clip(made, 0, 1) * np.float32(_TONES.size - 1)).astype(np.uint16)]


def _masks(shape: tuple[int, ...]) -> tuple[Single, Single, Single]:
    red, green, blue = (np.zeros(shape, dtype=np.float32) for _ in range(3))
    red[0::2, 0::2] = 1
    green[0::2, 1::2] = green[1::2, 0::2] = 1
    blue[1::2, 1::2] = 1
    return red, green, blue


def _bilinear(raw: Single) -> Single:
    """Each colour by the mean of its nearest sites."""
    green_kernel = np.array([[0, 1, 0], [1, 4, 1], [0, 1, 0]]) / 4.0
    other_kernel = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]]) / 4.0
    red, green, blue = _masks(raw.shape)
    return np.stack(
        [
            ndimage.convolve(raw * mask, kernel, mode="mirror")
            for mask, kernel in ((red, other_kernel), (green, green_kernel), (blue, other_kernel))
        ],
        axis=2,
    )


def _gradient(raw: Single) -> Single:
    """Bilinear, corrected by the second difference of the colour that is there.

    H. S. Malvar, L. He & R. Cutler (2004) High-quality linear interpolation for demosaicing of Bayer-patterned
    color images, ICASSP 2004, 485-488: the 5 × 5 kernels of figure 2 (from memory), in eighths.
    """
    at_green = np.array([[0, 0, -1, 0, 0], [0, 0, 2, 0, 0], [-1, 2, 4, 2, -1], [0, 0, 2, 0, 0], [0, 0, -1, 0, 0]])
    in_row = np.array([[0, 0, 0.5, 0, 0], [0, -1, 0, -1, 0], [-1, 4, 5, 4, -1], [0, -1, 0, -1, 0], [0, 0, 0.5, 0, 0]])
    diagonal = np.array(
        [[0, 0, -1.5, 0, 0], [0, 2, 0, 2, 0], [-1.5, 0, 6, 0, -1.5], [0, 2, 0, 2, 0], [0, 0, -1.5, 0, 0]]
    )
    g, row, column, across = (
        ndimage.convolve(raw, np.asarray(kernel) / 8.0, mode="mirror")
        for kernel in (at_green, in_row, in_row.T, diagonal)
    )
    made = np.empty((*raw.shape, 3), dtype=np.float32)
    made[..., 0], made[..., 1], made[..., 2] = raw, raw, raw
    made[0::2, 0::2, 1] = g[0::2, 0::2]
    made[1::2, 1::2, 1] = g[1::2, 1::2]
    made[0::2, 1::2, 0], made[0::2, 1::2, 2] = row[0::2, 1::2], column[0::2, 1::2]
    made[1::2, 0::2, 0], made[1::2, 0::2, 2] = column[1::2, 0::2], row[1::2, 0::2]
    made[1::2, 1::2, 0], made[0::2, 0::2, 2] = across[1::2, 1::2], across[0::2, 0::2]
    return made


def enlarged(
    levels: NDArray[np.generic], size: tuple[int, int], how: Image.Resampling, *, sharpen: float = 0.0
) -> Floats:
    """Levels enlarged to (columns, rows) by Pillow, sharpened by an unsharp mask of so much."""
    whole = np.clip(np.rint(levels.astype(np.float64)), 0, 255).astype(np.uint8)
    big = np.asarray(Image.fromarray(whole).resize(size, how)).astype(np.float64)
    if sharpen:
        blur = [1.0, 1.0, 0.0][: big.ndim]
        big = big + sharpen * (big - ndimage.gaussian_filter(big, blur))
    return np.asarray(np.clip(big, 0, 255))


def photographed(
    sheet: NDArray[np.uint8],
    *,
    px_per_mm: float,
    columns: int,
    rows: int,
    fov_deg: float,
    distance_m: float,
    turns_deg: tuple[float, float, float] = (0.0, 0.0, 0.0),
    aside_m: tuple[float, float] = (0.0, 0.0),
    barrel: float = 0.0,
    ground: Single | None = None,
    fine: int = 2,
) -> Single:
    """(fine·rows, fine·columns, 3) light of a flat sheet hung before a camera.

    sheet : (rows, columns) sRGB levels of the page. px_per_mm : of that raster. turns_deg : yaw, pitch, roll of
    the sheet. aside_m : of its middle from the axis, right and down. barrel : share by which the picture's corner
    is drawn inwards. ground : what is behind it.
    """
    light = np.where(sheet <= 10, sheet / 255 / 12.92, ((sheet / 255 + 0.055) / 1.055) ** 2.4)
    light = (0.035 + (0.82 - 0.035) * light).astype(np.float32)
    per_rad = fine * columns / 2 / math.tan(math.radians(fov_deg) / 2)
    # The page's own raster is finer than the picture: smooth it to the picture's grid first.
    light = ndimage.gaussian_filter(light, 0.35 * px_per_mm * 1000 * distance_m / per_rad)
    yaw, pitch, roll = np.radians(turns_deg)
    ry = np.array([[math.cos(yaw), 0, math.sin(yaw)], [0, 1, 0], [-math.sin(yaw), 0, math.cos(yaw)]])
    rx = np.array([[1, 0, 0], [0, math.cos(pitch), -math.sin(pitch)], [0, math.sin(pitch), math.cos(pitch)]])
    rz = np.array([[math.cos(roll), -math.sin(roll), 0], [math.sin(roll), math.cos(roll), 0], [0, 0, 1]])
    turn = ry @ rx @ rz
    origin = np.array([*aside_m, distance_m])
    y, x = np.mgrid[0 : fine * rows, 0 : fine * columns].astype(np.float32)
    u = (x - (fine * columns - 1) / 2) / per_rad
    v = (y - (fine * rows - 1) / 2) / per_rad
    if barrel:
        corner = (fine * math.hypot(columns, rows) / 2 / per_rad) ** 2
        grow = 1 + barrel * (u * u + v * v) / corner
        u, v = u * grow, v * grow
    # Where the ray (u, v, 1) meets the sheet's plane, in the sheet's own millimetres.
    normal = turn[:, 2]
    reach = float(origin @ normal) / (u * normal[0] + v * normal[1] + normal[2])
    offset = [u * reach - origin[0], v * reach - origin[1], reach - origin[2]]
    sx = sum(offset[i] * turn[i, 0] for i in range(3)) * 1000 * px_per_mm + (sheet.shape[1] - 1) / 2
    sy = sum(offset[i] * turn[i, 1] for i in range(3)) * 1000 * px_per_mm + (sheet.shape[0] - 1) / 2
    on = (sx > 0) & (sx < sheet.shape[1] - 1) & (sy > 0) & (sy < sheet.shape[0] - 1)
    made = np.full((fine * rows, fine * columns, 3), 0.12, dtype=np.float32)
    if ground is not None:
        made[:] = ground[: fine * rows, : fine * columns]
    made[on] = ndimage.map_coordinates(light, [sy[on], sx[on]], order=1)[:, None]
    return made
