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


def angle_of_view_deg(*, focal_length_mm: float, sensor_width_mm: float) -> float:
    """Angle of view of a rectilinear lens focused far away, edge to edge. [°]

    focal_length_mm : the true one, not its "35 mm equivalent". sensor_width_mm : of the part that makes the
    picture; give its height or diagonal for those angles.
    Notes : 2·arctan(w/2f). References : R. Kingslake (1992) Optics in Photography.
    """
    positive("focal_length_mm", focal_length_mm)
    positive("sensor_width_mm", sensor_width_mm)
    return math.degrees(2 * math.atan(sensor_width_mm / (2 * focal_length_mm)))


def vertical_view_deg(*, fov_deg: float, columns: int, rows: int) -> float:
    """Vertical angle of view from the horizontal one and the picture's shape. [°]"""
    _angle("fov_deg", fov_deg)
    positive("columns", columns)
    positive("rows", rows)
    return math.degrees(2 * math.atan(math.tan(math.radians(fov_deg) / 2) * rows / columns))


def diagonal_to_horizontal_deg(*, diagonal_deg: float, columns: int, rows: int) -> float:
    """Horizontal angle of view when the maker states the diagonal one. [°]"""
    _angle("diagonal_deg", diagonal_deg)
    positive("columns", columns)
    positive("rows", rows)
    share = columns / math.hypot(columns, rows)
    return math.degrees(2 * math.atan(math.tan(math.radians(diagonal_deg) / 2) * share))


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


def blur_pixels(*, speed_mps: float, exposure_s: float, per_m: float) -> float:
    """How far an animal that crosses moves over the sensor while the shutter is open. [pixels]"""
    positive("speed_mps", speed_mps, needed="metres a second, 0 or more", zero=True)
    positive("exposure_s", exposure_s)
    return speed_mps * exposure_s * positive("per_m", per_m)


def longest_exposure_s(*, speed_mps: float, per_m: float, most_pixels: float = 2.0) -> float:
    """The exposure that keeps an animal's blur to so many pixels. [s]"""
    positive("most_pixels", most_pixels)
    return most_pixels / (positive("speed_mps", speed_mps) * positive("per_m", per_m))


def ground_sample_mm(*, pixel_pitch_um: float, distance_m: float, focal_length_mm: float) -> float:
    """What one pixel covers of the scene. [mm]"""
    positive("pixel_pitch_um", pixel_pitch_um)
    positive("distance_m", distance_m)
    return pixel_pitch_um * distance_m / positive("focal_length_mm", focal_length_mm)


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


def density_step(per_m: float) -> DensityStep | None:
    """The highest step of EN 62676-4 (edition above, for people) that a pixel density reaches, or None."""
    positive("per_m", per_m, needed="pixels per metre, 0 or more", zero=True)
    reached = [step for step in EN_62676_4 if per_m >= step.per_m]
    return reached[-1] if reached else None


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


def hyperfocal_m(*, focal_length_mm: float, f_number: float, circle_mm: float) -> float:
    """The nearest focus that keeps the far distance sharp. [m]

    circle_mm : the blur circle that counts as sharp; a pixel or two. Notes : f²/(Nc) + f.
    """
    positive("focal_length_mm", focal_length_mm)
    positive("f_number", f_number)
    positive("circle_mm", circle_mm)
    return (focal_length_mm**2 / (f_number * circle_mm) + focal_length_mm) / 1000


def sharp_from_to_m(*, focal_length_mm: float, f_number: float, circle_mm: float, focus_m: float) -> tuple[float, float]:
    """Nearest and farthest sharp distance for a fixed focus; the farthest may be infinite. [m]

    Notes : near = s(H−f)/(H+s−2f), far = s(H−f)/(H−s), thin lens.
    """
    hyper = hyperfocal_m(focal_length_mm=focal_length_mm, f_number=f_number, circle_mm=circle_mm)
    f = focal_length_mm / 1000
    if not focus_m > f:
        raise WrongInput("focus_m", got=focus_m, needed="a distance beyond the focal length")
    near = focus_m * (hyper - f) / (hyper + focus_m - 2 * f)
    far = focus_m * (hyper - f) / (hyper - focus_m) if focus_m < hyper else math.inf
    return near, far


def tilt_of_shim_deg(*, thickness_mm: float, length_mm: float) -> float:
    """The tilt that a shim behind one edge of a case gives. [°] Notes : atan(t/L)."""
    positive("thickness_mm", thickness_mm, needed="millimetres, 0 or more", zero=True)
    return math.degrees(math.atan(thickness_mm / positive("length_mm", length_mm)))


def height_by_angles_m(*, distance_m: float, up_deg: float, down_deg: float) -> float:
    """Height of a tree or cliff from a distance and two sighted angles: d(tan a + tan b). [m]

    up_deg : to its top, above the level. down_deg : to its foot, below the level (negative above it).
    """
    for what, angle in (("up_deg", up_deg), ("down_deg", down_deg)):
        if not -90 < angle < 90:
            raise WrongInput(what, got=angle, needed="an angle between -90 and 90 degrees")
    up, down = math.radians(up_deg), math.radians(down_deg)
    return positive("distance_m", distance_m) * (math.tan(up) + math.tan(down))


def slope_deg(percent: float) -> float:
    """A slope given in per cent, in degrees. [°]"""
    if not math.isfinite(percent):
        raise WrongInput("percent", got=percent, needed="a slope in per cent")
    return math.degrees(math.atan(percent / 100))
