"""Things that stand on the demo's sites: wall, rack, salt post, barrier, rock face, sett."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from trod_demo.easel import SNOW, Easel, Rgb, times

Fitting = Callable[[Easel, float, np.random.Generator], None]


def fit(e: Easel, look: str, aim_m: float, rng: np.random.Generator) -> None:
    """Paint what stands on a site of this look, if anything; aim_m: the camera's aim distance. [m]"""
    if look in _FITTINGS:
        _FITTINGS[look](e, aim_m, rng)


def _half(e: Easel) -> float:
    return math.tan(math.radians(e.view.hfov_deg) / 2)


def _ledge(e: Easel, aim: float, rng: np.random.Generator) -> None:
    """A rock face along the left."""
    half = _half(e)
    for k in range(7):
        zg = 12.0 - k * 1.15
        xg = -half * zg * (0.62 + 0.10 * float(rng.random())) - 0.6
        base, top = e.at(xg, 0, zg), e.at(xg - 0.3, 5.5, zg)
        wide = 1.6 * base[2]
        e.polygon(
            [
                (base[0] - wide * 2, base[1] + 4),
                (base[0] + wide * 0.5, base[1]),
                (top[0] + wide * 0.7, (base[1] + top[1]) / 2),
                (top[0] + wide * 0.2, top[1]),
                (top[0] - wide * 2, top[1]),
            ],
            times((124, 122, 118), float(rng.uniform(0.72, 1.05))),
            zg,
        )
        for _ in range(9):
            a = (
                base[0] - wide * float(rng.uniform(0, 1.4)),
                base[1] + (top[1] - base[1]) * float(rng.random()),
            )
            e.stroke(
                a,
                (a[0] + wide * 0.5 * float(rng.normal()), a[1] + wide * 0.25 * float(rng.normal())),
                max(1.0, 0.02 * base[2]),
                (86, 84, 80),
                zg,
            )


def _wall(e: Easel, aim: float, rng: np.random.Generator) -> None:
    """A dry stone wall with a gap."""
    half = _half(e)
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
            e.polygon(
                [
                    (a[0] + g, a[1] - g),
                    (b[0] - g, a[1] - g),
                    (b[0] - g, b[1] + g),
                    (a[0] + g * 1.5, b[1] + g),
                ],
                times((136, 130, 118), k),
                zw,
            )
            if e.season.snow == 2 and row == int(height / course) - 1:
                e.dab((a[0] + b[0]) / 2, b[1], (b[0] - a[0]) * 0.6, 0.05 * a[2], SNOW, zw)
            xw += long


def _lick(e: Easel, aim: float, rng: np.random.Generator) -> None:
    """A post with a block of salt."""
    px = 0.3
    a, b = e.at(px, 0, aim + 0.6), e.at(px, 1.0, aim + 0.6)
    r = 0.11 * a[2]
    e.polygon(
        [(a[0] - r, a[1]), (a[0] + r, a[1]), (b[0] + r * 0.9, b[1]), (b[0] - r * 0.9, b[1])],
        (104, 84, 62),
        aim + 0.6,
    )
    e.polygon(
        [(a[0] - r, a[1]), (a[0] - r * 0.2, a[1]), (b[0] - r * 0.2, b[1]), (b[0] - r * 0.9, b[1])],
        (126, 104, 78),
        aim + 0.6,
    )
    q = 0.15 * a[2]
    e.polygon(
        [
            (b[0] - q, b[1] + 2),
            (b[0] + q, b[1] + 2),
            (b[0] + q * 0.8, b[1] - q * 1.5),
            (b[0] - q * 0.9, b[1] - q * 1.3),
        ],
        (222, 204, 196),
        aim + 0.6,
    )


def _rack(e: Easel, aim: float, rng: np.random.Generator) -> None:
    """A roofed hay rack."""
    zr = aim + 2.2
    for xr in (-1.6, 1.6):
        a, b = e.at(xr, 0, zr), e.at(xr, 2.0, zr)
        e.stroke(a[:2], b[:2], 0.12 * a[2], (98, 78, 58), zr)
    for k in range(15):
        xr = -1.6 + 3.2 * k / 14
        a, b = e.at(xr, 0.75, zr - 0.35), e.at(xr, 1.45, zr + 0.25)
        e.stroke((a[0], a[1]), (b[0], b[1]), 0.035 * a[2], (120, 96, 70), zr)
    heap = [(-1.5, 0.8), (1.5, 0.8), (1.45, 1.3), (0.9, 1.55), (0.1, 1.42), (-0.7, 1.58), (-1.45, 1.28)]
    e.polygon([e.at(hx, hy, zr)[:2] for hx, hy in heap], (150, 134, 84), zr)
    for _ in range(420):
        p = e.at(float(rng.uniform(-1.5, 1.5)), float(rng.uniform(0.8, 1.5)), zr)
        e.stroke(
            (p[0], p[1]),
            (p[0] + 0.16 * p[2] * float(rng.normal()), p[1] + 0.10 * p[2] * float(rng.normal())),
            max(1.0, 0.012 * p[2]),
            times((176, 158, 96), float(rng.uniform(0.7, 1.15))),
            zr,
        )
    corners = [
        e.at(-2.1, 2.0, zr + 1.0),
        e.at(2.1, 2.0, zr + 1.0),
        e.at(2.1, 2.0, zr - 1.0),
        e.at(-2.1, 2.0, zr - 1.0),
    ]
    ridge = [e.at(-2.1, 2.7, zr), e.at(2.1, 2.7, zr)]
    roof: Rgb = SNOW if e.season.snow == 2 else (112, 96, 82)
    e.polygon(
        [
            (ridge[0][0], ridge[0][1]),
            (ridge[1][0], ridge[1][1]),
            (corners[2][0], corners[2][1]),
            (corners[3][0], corners[3][1]),
        ],
        roof,
        zr,
    )


def _barrier(e: Easel, aim: float, rng: np.random.Generator) -> None:
    """A barrier across the lane."""
    zb = 15.0
    a, b = e.at(-3.2, 0.95, zb), e.at(4.4, 0.95, zb)
    for xp in (-3.0, 4.2):
        p, q = e.at(xp, 0, zb), e.at(xp, 1.15, zb)
        e.stroke((p[0], p[1]), (q[0], q[1]), 0.14 * p[2], (106, 92, 76), zb)
    for k in range(8):
        f0, f1 = k / 8, (k + 1) / 8
        e.stroke(
            (a[0] + (b[0] - a[0]) * f0, a[1]),
            (a[0] + (b[0] - a[0]) * f1, a[1]),
            0.11 * a[2],
            (196, 188, 172) if k % 2 else (142, 78, 64),
            zb,
        )


def _holes(e: Easel, aim: float, rng: np.random.Generator) -> None:
    """Two holes of a sett with their spoil."""
    for xs, zs in ((-0.9, 6.4), (1.5, 7.6)):
        p = e.at(xs, 0, zs)
        e.dab(p[0], p[1] + 0.05 * p[2], 0.75 * p[2], 0.20 * p[2], (146, 112, 76), zs)
        e.dab(p[0], p[1] - 0.08 * p[2], 0.22 * p[2], 0.15 * p[2], (24, 20, 17), zs)


_FITTINGS: dict[str, Fitting] = {
    "gallery": _ledge,
    "wall": _wall,
    "lick": _lick,
    "feeding": _rack,
    "lane": _barrier,
    "woodland": _holes,
}
