"""Places that must not be given away: a sensitive site is told as a coarse cell, never as a point.

The grid is fixed to the globe, not to the site, so a cell says nothing about where in it the site lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from trod.errors import WrongInput

# Ours: about 2.2 km north to south. Wider where a species' keepers ask for it (0.1° is common for the most
# sensitive: A. D. Chapman (2020) Current Best Practices for Generalizing Sensitive Species Occurrence Data,
# GBIF Secretariat; from memory).
CELL_DEG = 0.02
METRES_PER_DEGREE = 111_195.0  # a great circle of 6371.0088 km (IUGG mean radius) over 360


@dataclass(frozen=True, kw_only=True)
class Cell:
    """A cell of the grid, by its edges. [°]"""

    south_deg: float
    north_deg: float
    west_deg: float
    east_deg: float

    @property
    def latitude_deg(self) -> float:
        """Of its middle."""
        return (self.south_deg + self.north_deg) / 2

    @property
    def longitude_deg(self) -> float:
        """Of its middle."""
        return (self.west_deg + self.east_deg) / 2

    @property
    def uncertainty_m(self) -> float:
        """From its middle to its farthest corner, rounded up to 10 m (Darwin Core's uncertainty)."""
        half_height = (self.north_deg - self.south_deg) / 2 * METRES_PER_DEGREE
        nearest_equator = min(abs(self.south_deg), abs(self.north_deg))
        half_width = (self.east_deg - self.west_deg) / 2 * METRES_PER_DEGREE * math.cos(math.radians(nearest_equator))
        return math.ceil(math.hypot(half_height, half_width) / 10) * 10.0


def cell_of(*, latitude_deg: float, longitude_deg: float, size_deg: float = CELL_DEG) -> Cell:
    """The cell of the grid that a point lies in.

    Raises WrongInput for a place off the globe or a size that is not from 0.001 to 1 degree.
    """
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise WrongInput("place", got=(latitude_deg, longitude_deg), needed="latitude and longitude in degrees")
    if not 0.001 <= size_deg <= 1:
        raise WrongInput("size_deg", got=size_deg, needed="degrees from 0.001 to 1")
    row, column = math.floor(latitude_deg / size_deg + 1e-9), math.floor(longitude_deg / size_deg + 1e-9)
    south, west = round(row * size_deg, 9), round(column * size_deg, 9)
    return Cell(
        south_deg=max(south, -90.0),
        north_deg=min(round((row + 1) * size_deg, 9), 90.0),
        west_deg=west,
        east_deg=round((column + 1) * size_deg, 9),
    )
