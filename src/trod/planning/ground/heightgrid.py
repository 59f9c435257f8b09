"""A grid of heights of the ground, and the hill horizon that it shows from a point.

Reads the plain ESRI ASCII grid (a documented text format: six heading lines, then rows from north to south),
so that no package is needed; other formats turn into it with any geographic tool.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray

from trod.errors import WrongInput
from trod.limits import HEIGHTS_CELLS, HEIGHTS_FILE_BYTES
from trod.planning.ground.site import Horizon

Floats = NDArray[np.float64]
Heights = NDArray[np.floating[Any]]

EARTH_M = 6_371_008.8  # mean radius, IUGG
# Light bends with the ground by about a seventh of its curve; surveyors' usual figure (from memory).
REFRACTION = 0.13
METRES_PER_DEGREE = math.pi * EARTH_M / 180
PIECE = 1 << 18  # characters read at once
LONGEST_NUMBER = 64


@dataclass(frozen=True)
class HeightGrid:
    """Heights on a regular grid. [m] heights : (rows, columns), the first row the northernmost; NaN unknown.

    west, south : outer edge of the corner cell; cell : its side; all in metres, or in degrees when `degrees`.
    """

    heights: Heights
    west: float
    south: float
    cell: float
    degrees: bool = False

    def __post_init__(self) -> None:
        if self.heights.ndim != 2 or min(self.heights.shape) < 2:
            raise WrongInput("height grid", got=self.heights.shape, needed="at least 2 rows and 2 columns")
        if not (math.isfinite(self.cell) and self.cell > 0):
            raise WrongInput("cellsize", got=self.cell, needed="a number above 0")

    @property
    def north(self) -> float:
        """The northern outer edge."""
        return float(self.south + self.cell * self.heights.shape[0])

    def at(self, x: Floats, y: Floats) -> Floats:
        """Heights at points, bilinear between the middles of cells; NaN outside. [m]"""
        column = (np.asarray(x) - self.west) / self.cell - 0.5
        row = (self.north - np.asarray(y)) / self.cell - 0.5
        rows, columns = self.heights.shape
        inside = (column >= 0) & (column <= columns - 1) & (row >= 0) & (row <= rows - 1)
        c0 = np.clip(column, 0, columns - 1.000001).astype(np.intp)
        r0 = np.clip(row, 0, rows - 1.000001).astype(np.intp)
        u, v = column - c0, row - r0
        z = self.heights
        found = (1 - v) * ((1 - u) * z[r0, c0] + u * z[r0, c0 + 1]) + v * (
            (1 - u) * z[r0 + 1, c0] + u * z[r0 + 1, c0 + 1]
        )
        return np.where(inside, found, np.nan)


def read_ascii_grid(text: str | TextIO, *, degrees: bool = False) -> HeightGrid:
    """An ESRI ASCII grid, as text or as an open file, which is read a piece at a time.

    degrees : its x and y are longitude and latitude.
    Raises WrongInput that names what is missing. xllcenter/yllcenter and a missing NODATA_value are allowed. Heights
    are held in 4 bytes each (to half a millimetre at 8,000 m), so a file takes at most 160 MB of memory.
    """
    file = io.StringIO(text) if isinstance(text, str) else text
    first = file.read(PIECE)
    head, rest = _heading(first)
    for name in ("ncols", "nrows", "cellsize"):
        if name not in head:
            raise WrongInput("height grid", got="no " + name, needed="heading lines of an ESRI ASCII grid")
    if not all(math.isfinite(value) for name, value in head.items() if name != "nodata_value"):
        raise WrongInput("height grid", got="a heading line that is not finite", needed="finite numbers")
    columns, rows, cell = int(head["ncols"]), int(head["nrows"]), head["cellsize"]
    if not (columns >= 2 and rows >= 2 and columns * rows <= HEIGHTS_CELLS):
        raise WrongInput("height grid", got=f"{columns} by {rows}", needed=f"2 by 2 to {HEIGHTS_CELLS} cells in all")
    corners = []
    for axis in ("x", "y"):
        if f"{axis}llcorner" in head:
            corners.append(head[f"{axis}llcorner"])
        elif f"{axis}llcenter" in head:
            corners.append(head[f"{axis}llcenter"] - cell / 2)
        else:
            raise WrongInput("height grid", got=f"no {axis}llcorner", needed="heading lines of an ESRI ASCII grid")
    heights = np.empty(rows * columns, dtype=np.float32)
    _fill(heights, rest, file, nodata=head.get("nodata_value", -9999.0), shape=(rows, columns), so_far=len(first))
    return HeightGrid(heights.reshape(rows, columns), west=corners[0], south=corners[1], cell=cell, degrees=degrees)


def _heading(text: str) -> tuple[dict[str, float], str]:
    """The heading lines by name, in small letters, and what stands after them."""
    head: dict[str, float] = {}
    lines = text[:4096].splitlines(keepends=True)
    used = 0
    for number, line in enumerate(lines[:8], 1):
        words = line.split()
        if len(words) != 2 or not words[0][:1].isalpha() or words[0].lower() == "nan":
            break
        try:
            head[words[0].lower()] = float(words[1])
        except ValueError:
            raise WrongInput(f"height grid, line {number}", got=line[:60], needed="a name and a number") from None
        used += len(line)
    return head, text[used:]


def _fill(
    heights: NDArray[np.float32], text: str, file: TextIO, *, nodata: float, shape: tuple[int, int], so_far: int
) -> None:
    """Put the numbers of a text, and of what is left of its file, into an array that they must just fill."""
    needed = f"{heights.size} ({shape[0]} rows of {shape[1]})"
    at, cut = 0, ""
    while True:
        more = file.read(PIECE)
        so_far += len(more)
        if so_far > HEIGHTS_FILE_BYTES:
            raise WrongInput("height grid", got="more characters", needed=f"at most {HEIGHTS_FILE_BYTES}")
        words = (cut + text).split()
        # A number may lie across two pieces.
        cut = words.pop() if more and words and not text[-1:].isspace() else ""
        if len(cut) > LONGEST_NUMBER:
            raise WrongInput("height grid", got=cut[:40], needed="numbers in all cells")
        if at + len(words) > heights.size:
            raise WrongInput("height grid", got=f"more than {heights.size} numbers", needed=needed)
        try:
            values = np.array(words, dtype=np.float64)
        except ValueError as error:
            raise WrongInput("height grid", got=str(error)[:80], needed="numbers in all cells") from error
        values[values == nodata] = np.nan
        with np.errstate(over="ignore"):
            heights[at : at + values.size] = values
        at += values.size
        if not more:
            break
        text = more
    if at != heights.size:
        raise WrongInput("height grid", got=f"{at} numbers", needed=needed)


def horizon_from(
    grid: HeightGrid,
    *,
    x: float,
    y: float,
    eye_m: float = 1.0,
    step_deg: float = 5.0,
    within_m: float = 20_000.0,
) -> Horizon:
    """The hill horizon seen from a point of a grid.

    x, y : east and north in the grid's own units (longitude and latitude for a grid in degrees).
    eye_m : the lens above the ground. within_m : how far to look; the grid's edge ends it sooner.
    Raises WrongInput for a point outside the grid.
    Notes : along each bearing the greatest angle to the ground, every 0.7 of a cell; the earth's curve,
    lessened by refraction, taken off. Woods are not in it. A coarse grid flattens near banks.
    """
    if not 0.5 <= step_deg <= 90:
        raise WrongInput("step_deg", got=step_deg, needed="degrees from 0.5 to 90")
    ground = float(grid.at(np.array(x), np.array(y)))
    if math.isnan(ground):
        raise WrongInput("point", got=f"{x:g}, {y:g}", needed="a point inside the height grid, on known ground")
    if grid.degrees:
        north_m, east_m = METRES_PER_DEGREE, METRES_PER_DEGREE * max(math.cos(math.radians(y)), 0.01)
    else:
        north_m = east_m = 1.0
    stride = 0.7 * grid.cell * min(north_m, east_m)
    number = int(min(max(within_m / stride, 2), 200_000))
    away = stride * np.arange(1, number + 1)
    drop = away**2 * (1 - REFRACTION) / (2 * EARTH_M)
    points = []
    for bearing in np.arange(0.0, 360.0, step_deg):
        turn = math.radians(bearing)
        heights = grid.at(
            np.asarray(x + away * math.sin(turn) / east_m, dtype=np.float64),
            np.asarray(y + away * math.cos(turn) / north_m, dtype=np.float64),
        )
        known = np.isfinite(heights)
        angles = np.degrees(np.arctan2(heights[known] - drop[known] - ground - eye_m, away[known]))
        points.append((float(bearing), round(float(np.clip(angles.max(initial=0.0), 0.0, 89.0)), 2)))
    return Horizon(tuple(points))


def hills_around(text: str | TextIO, *, latitude_deg: float, longitude_deg: float, eye_m: float = 1.0) -> Horizon:
    """The horizon of a place from an ESRI ASCII grid whose x and y are longitude and latitude.

    Raises WrongInput for a grid in metres (nobody says of which projection), and for a place outside it.
    """
    grid = read_ascii_grid(text, degrees=True)
    east = grid.west + grid.heights.shape[1] * grid.cell
    if grid.west < -360 or east > 360 or grid.south < -90 or grid.north > 90:
        raise WrongInput(
            "height grid",
            got=f"corner {grid.west:g}, {grid.south:g}, cells of {grid.cell:g}",
            needed="a grid in degrees (longitude and latitude, WGS 84); convert one in metres first",
        )
    return horizon_from(grid, x=longitude_deg, y=latitude_deg, eye_m=eye_m)
