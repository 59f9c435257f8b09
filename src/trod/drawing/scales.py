"""Where a value lies along an axis, and the round steps that are marked there."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trod import units
from trod.units import System


@dataclass(frozen=True)
class Axis:
    """Values from low to high lie between the places start and end of the drawing, in a straight line."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """The place of a value, those beyond the ends too."""
        span = self.high - self.low
        return self.start + (value - self.low) / span * (self.end - self.start) if span else self.start

    def within(self, value: float) -> float:
        """The place of a value, one beyond an end at that end."""
        return self(min(max(value, self.low), self.high))


def round_step(least: float, steps: tuple[float, ...] = (1, 2, 5)) -> float:
    """The smallest of 1, 2, 5, 10, 20 … (0.1, 0.2 …) that is not under a length above nought."""
    power: float = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (*steps, 10 * steps[0]) if step * power >= least * (1 - 1e-9))


def round_below(most: float) -> float:
    """The longest of 1, 2, 2.5, 5, 10 … (0.1, 0.2 …) that is not over a length above nought."""
    power: float = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1, 2, 2.5, 5) if step * power <= most)


def distances(span_m: float, system: System, *, most: int = 8) -> list[tuple[float, str]]:
    """Round distances along a span, at most so many, each with what it is called. [m]"""
    unit_m, name = (units.FOOT_M, "ft") if system == "us" else (1.0, "m")
    step = max(round_step(span_m / most / unit_m), 1.0)
    return [(n * step * unit_m, f"{n * step:.0f} {name}") for n in range(1, int(span_m / unit_m / step + 1e-9) + 1)]
