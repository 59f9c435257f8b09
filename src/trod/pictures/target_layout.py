"""The printed target's drawing, in millimetres: what is printed is what is looked for.

Four black dots at the corners of a rectangle say where the sheet is; one has a white hole, so that it is known
which way up it hangs. Between them two squares, one black and one grey, are turned a little either way, so that
each gives four slanted edges. The design is ours.

Coordinates: origin in the middle of the four dots, x to the right, y down, millimetres on paper at scale 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trod.errors import WrongInput

Floats = NDArray[np.float64]

DOT_DIAMETER_MM = 20.0
HOLE_DIAMETER_MM = 8.0
DOTS_WIDE_MM, DOTS_HIGH_MM = 240.0, 150.0
SQUARE_SIDE_MM = 90.0
SQUARE_TURN_DEG = 7.0
SQUARE_OUT_MM = 60.0
RULER_MM = 100.0
# Grey of the second square, as sRGB level: about a fifth of the light, 4 : 1 against paper, where tone curves
# and sharpening do less than at black (ISO 12233 prefers such contrast; from memory).
GREY_LEVEL = 128


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One paper. wide_mm, high_mm : as it lies (landscape). scale : of the drawing on it.

    middle_mm : where the middle of the dots lies, from the paper's top left corner.
    """

    name: str
    wide_mm: float
    high_mm: float
    scale: float
    middle_mm: tuple[float, float]


SHEETS = {
    "a4": Sheet(name="a4", wide_mm=297.0, high_mm=210.0, scale=1.0, middle_mm=(148.5, 95.0)),
    "us-letter": Sheet(name="us-letter", wide_mm=279.4, high_mm=215.9, scale=1.0, middle_mm=(139.7, 95.0)),
    "a3": Sheet(name="a3", wide_mm=420.0, high_mm=297.0, scale=1.4, middle_mm=(210.0, 133.0)),
}


def sheet(paper: str) -> Sheet:
    """The sheet of a paper. Raises WrongInput for one that is not made."""
    if paper not in SHEETS:
        raise WrongInput("paper", got=paper, needed="a4, us-letter or a3")
    return SHEETS[paper]


def dots_mm() -> Floats:
    """(4, 2) middles of the dots: top left (with the hole), top right, bottom right, bottom left."""
    x, y = DOTS_WIDE_MM / 2, DOTS_HIGH_MM / 2
    return np.array([[-x, -y], [x, -y], [x, y], [-x, y]])


def square_mm(which: int) -> Floats:
    """(4, 2) corners of the black (0) or the grey (1) square, in turn."""
    middle = -SQUARE_OUT_MM if which == 0 else SQUARE_OUT_MM
    turn = math.radians(SQUARE_TURN_DEG if which == 0 else -SQUARE_TURN_DEG)
    half = SQUARE_SIDE_MM / 2
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    return np.asarray(corners @ rotation.T + np.array([middle, 0.0]))


def darkness(x_mm: Floats, y_mm: Floats) -> Floats:
    """What is printed at places: 0 paper, 1 black, between them grey, as a share of the levels' step."""
    made = np.zeros(np.broadcast(x_mm, y_mm).shape)
    for i, (cx, cy) in enumerate(dots_mm()):
        away = np.hypot(x_mm - cx, y_mm - cy)
        made[away <= DOT_DIAMETER_MM / 2] = 1.0
        if i == 0:
            made[away <= HOLE_DIAMETER_MM / 2] = 0.0
    for which, level in ((0, 1.0), (1, 1 - GREY_LEVEL / 255)):
        corners = square_mm(which)
        centre = corners.mean(axis=0)
        u = (corners[1] - corners[0]) / SQUARE_SIDE_MM
        v = (corners[3] - corners[0]) / SQUARE_SIDE_MM
        a = (x_mm - centre[0]) * u[0] + (y_mm - centre[1]) * u[1]
        b = (x_mm - centre[0]) * v[0] + (y_mm - centre[1]) * v[1]
        made[(np.abs(a) <= SQUARE_SIDE_MM / 2) & (np.abs(b) <= SQUARE_SIDE_MM / 2)] = level
    return made
