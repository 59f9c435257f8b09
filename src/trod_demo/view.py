"""A pinhole camera on a slope: world metres to picture pixels and back.

World axes, origin on the ground below the lens: X to the right of the picture, Y up, Z along the ground
in the direction the camera points. The ground is the plane Y = -Z·tan(slope); a positive slope falls away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class View:
    """One camera's way of looking.

    width_px, height_px : the picture's size. [px]
    hfov_deg : full horizontal angle of view. [°]
    lens_height_m : above the ground at its foot. [m]
    tilt_deg : positive looks down. [°]
    heading_deg : bearing of the axis from true north, clockwise. [°]
    slope_deg : positive falls away from the camera. [°]
    roll_deg : positive turns the scene clockwise in the picture (the case hangs to the left). [°]
    """

    width_px: int
    height_px: int
    hfov_deg: float = 42.0
    lens_height_m: float = 0.9
    tilt_deg: float = 2.0
    heading_deg: float = 0.0
    slope_deg: float = 0.0
    roll_deg: float = 0.0

    @cached_property
    def focal_px(self) -> float:
        """Focal length in pixels: half the width over the tangent of half the angle of view."""
        return self.width_px / 2 / math.tan(math.radians(self.hfov_deg) / 2)

    @cached_property
    def fall(self) -> float:
        """Metres the ground falls for each metre along the axis."""
        return math.tan(math.radians(self.slope_deg))

    def ground_y(self, z_m: float) -> float:
        """Height of the ground at a distance along the axis, relative to the camera's foot. [m]"""
        return -z_m * self.fall

    def project(self, points_m: npt.ArrayLike) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Pixels and depths of points.

        points_m : (..., 3) world points. [m]
        Returns ((..., 2) pixels before the roll, x right and y down; (...,) depth along the optical axis).
        The roll is added by `spin`. Points behind the lens get a depth of 1 cm, far outside the frame.
        """
        p = np.asarray(points_m, dtype=np.float64)
        c, s = math.cos(math.radians(self.tilt_deg)), math.sin(math.radians(self.tilt_deg))
        y = p[..., 1] - self.lens_height_m
        depth = np.maximum(p[..., 2] * c - y * s, 0.01)
        up = y * c + p[..., 2] * s
        f = self.focal_px
        pixels = np.stack([self.width_px / 2 + f * p[..., 0] / depth, self.height_px / 2 - f * up / depth], axis=-1)
        return pixels, depth

    def spin(self, pixels: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Turn pixels about the middle of the picture by the roll."""
        if not self.roll_deg:
            return pixels
        a = math.radians(self.roll_deg)
        c, s = math.cos(a), math.sin(a)
        x, y = pixels[..., 0] - self.width_px / 2, pixels[..., 1] - self.height_px / 2
        return np.stack([self.width_px / 2 + c * x - s * y, self.height_px / 2 + s * x + c * y], axis=-1)

    def ground(self) -> tuple[Floats, Floats, Floats]:
        """Where each pixel meets the ground plane.

        Returns (X, Z, distance), each (height, width); not-a-number above the ground's horizon. [m]
        """
        h, w = self.height_px, self.width_px
        px = (np.arange(w, dtype=np.float32) + 0.5 - w / 2)[None, :] / np.float32(self.focal_px)
        py = (h / 2 - np.arange(h, dtype=np.float32) - 0.5)[:, None] / np.float32(self.focal_px)
        if self.roll_deg:
            a = math.radians(self.roll_deg)
            c, s = np.float32(math.cos(a)), np.float32(math.sin(a))
            px, py = c * px - s * py, s * px + c * py
        c, s = (
            np.float32(math.cos(math.radians(self.tilt_deg))),
            np.float32(math.sin(math.radians(self.tilt_deg))),
        )
        rise = py * c - s
        ahead = c + py * s
        fall = rise + ahead * np.float32(self.fall)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where(fall < -1e-4, -np.float32(self.lens_height_m) / fall, np.float32(np.nan))
        t = np.where(t > 0, t, np.float32(np.nan)).astype(np.float32)
        x = (px * t).astype(np.float32)
        z = (ahead * t).astype(np.float32)
        distance = (t * np.sqrt(px * px + py * py + 1)).astype(np.float32)
        return np.broadcast_to(x, (h, w)), np.broadcast_to(z, (h, w)), np.broadcast_to(distance, (h, w))
