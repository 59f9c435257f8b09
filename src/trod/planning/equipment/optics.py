"""What lens and pixels make of the scene: angles, widths, pixels on a body, blur, sharpness in depth.

Rectilinear lenses, plane scenes at right angles to the axis. A lens that bends straight lines sees wider at
its edges than these formulas say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from trod.errors import WrongInput, positive


def _angle(what: str, value_deg: float) -> float:
    if not 0 < value_deg < 180:
        raise WrongInput(what, got=value_deg, needed="an angle above 0 and below 180 degrees")
    return value_deg


def vertical_view_deg(*, fov_deg: float, columns: int, rows: int) -> float:
    """Vertical angle of view from the horizontal one and the picture's shape. [°]"""
    _angle("fov_deg", fov_deg)
    positive("columns", columns)
    positive("rows", rows)
    return math.degrees(2 * math.atan(math.tan(math.radians(fov_deg) / 2) * rows / columns))


def scene_width_m(*, distance_m: float, fov_deg: float) -> float:
    """How much of the scene the picture is wide at a distance. [m]"""
    positive("distance_m", distance_m)
    return 2 * distance_m * math.tan(math.radians(_angle("fov_deg", fov_deg)) / 2)


def pixels_per_m(*, columns: int, distance_m: float, fov_deg: float) -> float:
    """Pixels for each metre of the scene at a distance: W/(2 d tan(φ/2)).

    columns : the sensor's own. Pixels that the camera adds by enlarging carry nothing.
    """
    positive("columns", columns)
    return columns / scene_width_m(distance_m=distance_m, fov_deg=fov_deg)


def distance_for_m(*, columns: int, fov_deg: float, wanted_per_m: float) -> float:
    """The farthest distance at which the scene still has so many pixels for each metre. [m]"""
    positive("columns", columns)
    positive("wanted_per_m", wanted_per_m)
    return columns / (2 * wanted_per_m * math.tan(math.radians(_angle("fov_deg", fov_deg)) / 2))


@dataclass(frozen=True, kw_only=True)
class DensityStep:
    """One step of a scale of pixel density. per_m : pixels for each metre of the subject."""

    word: str
    per_m: float


EN_62676_4_EDITION = "EN/IEC 62676-4:2014/2015"
EN_62676_4_CAUTION = (
    "These steps were written for people under watch. For animals they are a scale of resolution, no more; "
    "a later edition of the standard has other words and other numbers."
)
# IEC/EN 62676-4:2014/2015, Video surveillance systems for use in security applications – Part 4: Application
# guidelines, table of levels: monitor and recognise seen in secondary pages, the others from memory.
EN_62676_4 = (
    DensityStep(word="monitor", per_m=12.5),
    DensityStep(word="detect", per_m=25.0),
    DensityStep(word="observe", per_m=62.5),
    DensityStep(word="recognise", per_m=125.0),
    DensityStep(word="identify", per_m=250.0),
)


# J. Johnson (1958) Analysis of Image Forming Systems, Proc. Image Intensifier Symposium, Fort Belvoir
# (AD 220160): line pairs over the subject's least dimension for which half of the watchers succeed.
JOHNSON_LINE_PAIRS = {"detection": 1.0, "orientation": 1.4, "recognition": 4.0, "identification": 6.4}


def johnson_per_m(task: str, *, least_dimension_m: float) -> float:
    """Pixels for each metre with which half of the watchers do the task; a line pair is two pixels.

    task : a key of `JOHNSON_LINE_PAIRS`. least_dimension_m : for an animal the depth of its trunk.
    """
    if task not in JOHNSON_LINE_PAIRS:
        raise WrongInput("task", got=task, needed="one of " + ", ".join(JOHNSON_LINE_PAIRS))
    return 2 * JOHNSON_LINE_PAIRS[task] / positive("least_dimension_m", least_dimension_m)


def slope_deg(percent: float) -> float:
    """A slope given in per cent, in degrees. [°]"""
    if not math.isfinite(percent):
        raise WrongInput("percent", got=percent, needed="a slope in per cent")
    return math.degrees(math.atan(percent / 100))
