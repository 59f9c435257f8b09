"""Does the light tell a clock's error, and does the interval hold it?

    python benchmarks/clock_daylight.py --deployments 1000 --seed 1

Deployments are made up with the truth in hand and given to `trod.timekeeping.daylight` without it. Each has a season,
a threshold (−8 to −2°), a softness (0.15 to 0.8°), clouds that shift a whole twilight (0.7°), flags wrong by chance
(1.5 %), a morning that differs from the evening (normal, 0.75°) and a clock that is right, an hour out, half a day out
or out by anything. Everything in this law is made up. A row a cell; "12 h" counts told offsets more than two hours off.
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import dataclass

import numpy as np

from trod import sky
from trod.timekeeping import daylight

YEAR_S = 365.25 * 86_400
START_S = 1_704_067_200.0  # 1 January 2024
PROFILES = ("crepuscular", "nocturnal", "any hour", "by day")


@dataclass(frozen=True)
class Cell:
    """One kind of deployment."""

    pictures: int
    days: int
    latitude_deg: float
    profile: str
    asymmetry_deg: float = 0.75


CELLS = [
    *(Cell(n, 14, 45, "crepuscular") for n in (50, 100, 300)),
    Cell(300, 7, 45, "crepuscular"),
    Cell(1000, 30, 45, "crepuscular"),
    Cell(2000, 90, 45, "crepuscular"),
    Cell(300, 14, 45, "nocturnal"),
    Cell(1000, 30, 45, "nocturnal"),
    Cell(300, 14, 45, "any hour"),
    Cell(300, 14, 45, "by day"),
    Cell(300, 14, 45, "crepuscular", 0.0),
    Cell(300, 14, 45, "crepuscular", 1.5),
    Cell(300, 14, 0, "crepuscular"),
    Cell(300, 14, -35, "crepuscular"),
    *(Cell(n, 14, 60, "crepuscular") for n in (100, 300)),
    Cell(1000, 30, 60, "crepuscular"),
    Cell(300, 14, 60, "nocturnal"),
    Cell(300, 30, 68, "crepuscular"),
]


def weight(height: np.ndarray, profile: str) -> np.ndarray:
    """How often animals pass, by the sun's height."""
    if profile == "crepuscular":
        return np.where(np.abs(height + 3) < 6, 1.0, 0.12)
    if profile == "nocturnal":
        return np.where(height < -4, 1.0, 0.12)
    if profile == "by day":
        return np.where(height > 2, 1.0, 0.01)
    return np.ones_like(height)


def made(cell: Cell, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Shown times, flags, the true error in minutes, the longitude."""
    longitude = float(rng.uniform(-170, 170))
    place = {"latitude_deg": cell.latitude_deg, "longitude_deg": longitude}
    first = START_S + float(rng.uniform(0, YEAR_S))
    at = np.empty(0)
    for _ in range(60):
        more = first + rng.uniform(0, cell.days * 86_400, 4 * cell.pictures)
        share = weight(sky.sun_position(more, **place)[0], cell.profile)
        at = np.concatenate([at, more[rng.random(len(more)) < share]])
        if len(at) >= cell.pictures:
            break
    at = np.sort(at[: cell.pictures])
    height = sky.sun_position(at, **place)[0]
    rising = sky.sun_position(at + 60, **place)[0] > height
    half_day = np.floor(at / 43_200).astype(int)
    half_day -= half_day.min()
    shift = rng.normal(0, 0.7, half_day.max() + 1)[half_day]
    uneven = float(rng.normal(0, cell.asymmetry_deg)) if cell.asymmetry_deg else 0.0
    threshold = rng.uniform(-8, -2) + np.where(rising, uneven / 2, -uneven / 2) + shift
    soft = math.exp(rng.uniform(math.log(0.15), math.log(0.8)))
    grey = rng.random(len(at)) < 1 / (1 + np.exp((height - threshold) / soft))
    grey ^= rng.random(len(at)) < 0.015
    kind = rng.integers(0, 4)
    fast = [rng.normal(0, 3), rng.choice([-60, 60]) + rng.normal(0, 3), 720 + rng.normal(0, 3), rng.uniform(-720, 720)]
    return at + 60 * fast[kind], grey, float(fast[kind]), longitude


def row(cell: Cell, deployments: int, rng: np.random.Generator) -> str:
    """The figures of one cell, as a line of the table."""
    wrong, held, half, why = [], [], [], []
    begun = time.perf_counter()
    for _ in range(deployments):
        shown, grey, fast, longitude = made(cell, rng)
        found = daylight.clock_by_daylight(
            shown, grey, utc_offset_min=0, latitude_deg=cell.latitude_deg, longitude_deg=longitude
        )
        if isinstance(found, daylight.CannotTell):
            why.append(found.why)
            continue
        off = daylight.wrapped(found.fast_min - fast)
        wrong.append(abs(off))
        held.append(found.low_min <= found.fast_min - off <= found.high_min)
        half.append(found.half_width_min)
    each = (time.perf_counter() - begun) / deployments
    name = f"{cell.pictures} | {cell.days} | {cell.latitude_deg:g} | {cell.profile} | {cell.asymmetry_deg:g}"
    refused = 100 * len(why) / deployments
    if not wrong:
        return f"| {name} | {refused:.0f} | | | | | | | {each * 1000:.0f} |"
    errors = np.array(wrong)
    return (
        f"| {name} | {refused:.0f} | {np.median(errors):.1f} | {np.quantile(errors, 0.9):.1f} | {errors.max():.0f} "
        f"| {100 * np.mean(errors <= 5):.0f} | {100 * np.mean(held):.1f} | {np.mean(half):.1f} "
        f"({int((errors > 120).sum())}) | {each * 1000:.0f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--deployments", type=int, default=1000, help="of each cell")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print(
        "| pictures | days | latitude ° | profile | uneven ° | refused % | median min | p90 | most | within 5 min % "
        "| held by 90 % | half width (12 h) | ms each |"
    )
    print("|" + "---|" * 13)
    for number, cell in enumerate(CELLS):
        print(row(cell, asked.deployments, np.random.default_rng([asked.seed, number])), flush=True)


if __name__ == "__main__":
    main()
