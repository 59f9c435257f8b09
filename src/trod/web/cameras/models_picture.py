"""A camera's detection zone and field of view from above, small and to scale.

So that cameras can be held against each other. SVG as text; what is assumed is dotted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from trod.drawing.pen import Pen, Point, Svg, arc, sector, shape, through
from trod.drawing.scales import Axis
from trod.pictures.resolution import Resolution
from trod.planning.equipment.camera import CameraSpec
from trod.telling.measures import length
from trod.units import FOOT_M, System

WIDE, HIGH = 240.0, 176.0
FOOT, HEAD = 22.0, 8.0  # room below the camera and above the farthest ring
STEP_M, STEP_US_M = 10.0, 30 * FOOT_M


def farthest_m(specs: Iterable[CameraSpec], *, system: System = "metric") -> float:
    """A distance that imports zones and flashes of all these cameras, on a ring; at most 60 m. [m]"""
    step = STEP_US_M if system == "us" else STEP_M
    reach = max((max(s.value("range_m"), _flash_m(s)) for s in specs), default=step)
    return min(max(step, math.ceil(min(reach, 60.0) / step - 1e-9) * step), 60.0)


def _flash_m(spec: CameraSpec) -> float:
    return 0.0 if spec.flash == "none" else spec.value("flash_reach_m")


def field_picture(spec: CameraSpec, *, key: str, far_m: float, system: System = "metric") -> Svg:
    """The drawing. key : keeps its ids apart on a page; letters, digits and dashes. far_m : the last ring."""
    pen = Pen(key=key)
    zone, view = spec.figure("zone_deg"), spec.figure("fov_deg")
    reach, flash, flash_m = spec.figure("range_m"), spec.figure("flash_reach_m"), _flash_m(spec)
    scale = (HIGH - FOOT - HEAD) / far_m
    x0, y0 = WIDE / 2, HIGH - FOOT

    def at(angle_deg: float, r_m: float) -> Point:
        a = math.radians(angle_deg)
        return x0 + r_m * scale * math.sin(a), y0 - r_m * scale * math.cos(a)

    def wedge(angle_deg: float, r_m: float) -> str:
        return sector(x0, y0, 0, min(r_m, far_m) * scale, angle_deg / 2)

    def css(name: str, *origins: str) -> str:
        return f"{name} guess" if "assumed" in origins else name

    hatch = pen.hatch("h", ink="clay", wide=0.45)
    step = STEP_US_M if system == "us" else STEP_M
    for ring_m in (n * step for n in range(1, round(far_m / step) + 1)):
        x, y = at(62, ring_m)
        if x < WIDE - 26:
            pen.path(arc(x0, y0, ring_m * scale, 62), css="ring")
            pen.text(x + 3, y + 4, length(ring_m, system), css="ring-told")
    if flash_m:
        pen.path(wedge(view.value, flash_m), css=css("lit", flash.origin))
    half = view.value / 2
    edges = through(((x0, y0), at(-half, far_m))) + through(((x0, y0), at(half, far_m)))
    pen.path(edges, css=css("sight", view.origin))
    pen.path(wedge(zone.value, reach.value), css=css("zone", zone.origin, reach.origin), fill=hatch)
    pen.rect(x0 - 6, y0, 12, 9, css="eye", rx=2)
    words = (
        f"Field of view {view.value:.0f}° ({view.origin}). Detection zone {zone.value:.0f}° ({zone.origin}) out to "
        f"{length(reach.value, system)} ({reach.origin}). "
        + (f"Flash to {length(flash_m, system)} ({flash.origin})." if flash_m else "No flash.")
    )
    return pen.done(WIDE, HIGH, f"{spec.name}: detection zone and field of view from above", desc=words, css="field")


def caught_bar(caught: float, error: float, doubt: float, day: float, night: float, *, key: str, name: str) -> Svg:
    """Shares on a line from 0 to 100: a dot with the model's doubt as a band, open sun and full moon marks.

    caught, day, night : shares. error : standard error of the simulation. doubt : the model's own, at least.
    """
    pen = Pen(key=key)
    wide, y = 320.0, 20.0
    x = Axis(0, 1, 10, wide - 10)
    for share in (0, 0.25, 0.5, 0.75, 1):
        pen.path(shape("M", x(share), y - 12, "V", y + 12), css="tick")
    pen.path(shape("M", x(0), y, "H", x(1)), css="base")
    low = x.within(caught - doubt)
    pen.rect(low, y - 9, x.within(caught + doubt) - low, 18, css="doubt")
    # An upright mark of ± 2 standard errors, seldom wider than the dot.
    pen.path(shape("M", x.within(caught - 2 * error), y, "H", x.within(caught + 2 * error)), css="error")
    pen.circle(x.within(day), y, 5, css="day")
    pen.path(shape("M", x.within(night), y - 6, "l6 6l-6 6l-6 -6Z"), css="night")
    pen.path(shape("M", x.within(caught), y - 11, "V", y + 11), css="dot")
    words = (
        f"{name}: {100 * caught:.0f} of 100, standard error {100 * error:.1f}, the model's doubt at least "
        f"{100 * doubt:.0f}; by day {100 * day:.0f}, by night {100 * night:.0f}."
    )
    return pen.done(wide, 40, words, css="caught")


def response_chart(found: Resolution) -> Svg:
    """The response to ever finer detail, both directions; dashed from top to bottom."""
    pen = Pen(key="resp")
    wide, high, right, foot = 420.0, 230.0, 410.0, 186.0
    x, y = Axis(0, 0.5, 44, right), Axis(0, 1.2, foot, 10)
    for m, css in ((1.0, "rule"), (0.5, "rule half"), (0.1, "rule half"), (0.0, "rule")):
        pen.path(shape("M", x(0), y(m), "H", right), css=css)
        pen.text(x(0) - 6, y(m) + 4, f"{m * 100:.0f} %", anchor="end")
    for f in (0, 0.1, 0.2, 0.3, 0.4, 0.5):
        pen.text(x(f), foot + 16, f"{f:g}", anchor="middle")
    pen.text((x(0) + right) / 2, high - 8, "stripes a pixel (cycles per saved pixel)", anchor="middle")
    for css, response in (("across", found.columns), ("down", found.rows)):
        drawn = zip(response.frequency_cpp, response.mtf, strict=True)
        pen.path(through((x(float(f)), y.within(float(m))) for f, m in drawn if f <= 0.5), css=css)
    words = (
        f"From left to right half of the contrast is left at {_cpp(found.columns.mtf50_cpp)}, a tenth at "
        f"{_cpp(found.columns.mtf10_cpp)}; from top to bottom half at {_cpp(found.rows.mtf50_cpp)}, a tenth at "
        f"{_cpp(found.rows.mtf10_cpp)}."
    )
    return pen.done(wide, high, "Contrast left in ever finer detail", desc=words, css="response")


def _cpp(value: float | None) -> str:
    return "beyond half a cycle per pixel" if value is None else f"{value:.2g} cycles per pixel"
