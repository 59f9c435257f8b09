"""A small panel beside an external battery: what it brings in a day, and how large it must be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput, positive

# What is left after dirt, wrong angle, warm panel, charging and cabling. Assumed; 0.5 to 0.75 is usual.
PERFORMANCE = 0.5
# Hours of full sun a day by month, January first: an open northern site under some trees. Assumed.
SUN_HOURS = (0.8, 1.3, 2.0, 2.5, 2.8, 3.0, 2.9, 2.6, 2.0, 1.3, 0.9, 0.6)


@dataclass(frozen=True, kw_only=True)
class Panel:
    """A panel: its peak power, the share that is left of it, and hours of full sun a day in each month."""

    peak_w: float
    performance: float = PERFORMANCE
    sun_hours: tuple[float, ...] = SUN_HOURS

    def __post_init__(self) -> None:
        positive("peak_w", self.peak_w)
        if not 0 < self.performance <= 1:
            raise WrongInput("performance", got=self.performance, needed="a share above 0, at most 1")
        if len(self.sun_hours) != 12 or not all(0 <= hours <= 15 for hours in self.sun_hours):
            raise WrongInput(
                "sun_hours", got=self.sun_hours, needed="12 numbers, hours of full sun a day from January on"
            )

    def day_wh(self, day_of_year: ArrayLike) -> NDArray[np.float64]:
        """What it brings on a day of the year (1 to 366), on the average. [Wh]"""
        month = ((np.asarray(day_of_year, dtype=float) - 1) % 365.25 // 30.4375).astype(int)
        hours = np.asarray(self.sun_hours, dtype=float)[month]
        return np.asarray(hours * self.peak_w * self.performance, dtype=float)
