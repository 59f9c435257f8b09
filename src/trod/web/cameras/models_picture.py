"""A camera's detection zone and field of view from above, small and to scale, so that cameras can be held
against each other. SVG as text; what is assumed is dotted."""

from __future__ import annotations

import math
from collections.abc import Iterable

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

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


def field_picture(spec: CameraSpec, *, key: str, far_m: float, system: System = "metric") -> SafeString:
    """The drawing. key : keeps its ids apart on a page; letters, digits and dashes. far_m : the last ring."""
    zone, view = spec.figure("zone_deg"), spec.figure("fov_deg")
    reach, flash_m = spec.figure("range_m"), _flash_m(spec)
    scale = (HIGH - FOOT - HEAD) / far_m
    x0, y0 = WIDE / 2, HIGH - FOOT

    def at(angle_deg: float, r_m: float) -> str:
        a = math.radians(angle_deg)
        return f"{x0 + r_m * scale * math.sin(a):.1f} {y0 - r_m * scale * math.cos(a):.1f}"

    def wedge(angle_deg: float, r_m: float) -> str:
        half, r = angle_deg / 2, min(r_m, far_m)
        big = 1 if angle_deg > 180 else 0
        return f"M{x0:.1f} {y0:.1f}L{at(-half, r)}A{r * scale:.1f} {r * scale:.1f} 0 {big} 1 {at(half, r)}Z"

    flash = spec.figure("flash_reach_m")
    guess = " guess"
    title = f"{spec.name}: detection zone and field of view from above"
    words = (
        f"Field of view {view.value:.0f}° ({view.origin}). Detection zone {zone.value:.0f}° ({zone.origin}) out to "
        f"{length(reach.value, system)} ({reach.origin}). "
        + (f"Flash to {length(flash_m, system)} ({flash.origin})." if flash_m else "No flash.")
    )
    step = STEP_US_M if system == "us" else STEP_M
    rings = "".join(
        f'<path class="ring" d="M{at(-62, n * step)}A{n * step * scale:.1f} {n * step * scale:.1f} 0 0 1 '
        f'{at(62, n * step)}"/><text class="ring-told" x="{x0 + n * step * scale * math.sin(math.radians(62)) + 3:.1f}" '
        f'y="{y0 - n * step * scale * math.cos(math.radians(62)) + 4:.1f}">{length(n * step, system)}</text>'
        for n in range(1, round(far_m / step) + 1)
        if n * step * scale * math.sin(math.radians(62)) < WIDE / 2 - 26
    )
    lit = (
        f'<path class="lit{guess if flash.origin == "assumed" else ""}" d="{wedge(view.value, flash_m)}"/>'
        if flash_m
        else ""
    )
    half = view.value / 2
    edges = f"M{x0:.1f} {y0:.1f}L{at(-half, far_m)}M{x0:.1f} {y0:.1f}L{at(half, far_m)}"
    parts = (
        f'<svg class="field" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" role="img" '
        f'aria-labelledby="{key}-t {key}-d"><title id="{key}-t">{escape(title)}</title>'
        f'<desc id="{key}-d">{escape(words)}</desc><defs><pattern id="{key}-h" width="6" height="6" '
        f'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern></defs>'
        f"{rings}{lit}"
        f'<path class="sight{guess if view.origin == "assumed" else ""}" d="{edges}"/>'
        f'<path class="zone{guess if "assumed" in (zone.origin, reach.origin) else ""}" fill="url(#{key}-h)" '
        f'd="{wedge(zone.value, reach.value)}"/>'
        f'<rect class="eye" x="{x0 - 6:.1f}" y="{y0:.1f}" width="12" height="9" rx="2"/></svg>'
    )
    return mark_safe(parts)


def caught_bar(
    caught: float, error: float, doubt: float, day: float, night: float, *, key: str, name: str
) -> SafeString:
    """Shares on a line from 0 to 100: a dot with the model's doubt as a band, open sun and full moon marks.

    caught, day, night : shares. error : standard error of the simulation. doubt : the model's own, at least.
    """
    wide, y = 320.0, 20.0
    left, right = 10.0, wide - 10.0

    def x(share: float) -> float:
        return left + (right - left) * min(max(share, 0.0), 1.0)

    ticks = "".join(f'<path class="tick" d="M{x(n / 100):.1f} {y - 12:.0f}V{y + 12:.0f}"/>' for n in range(0, 101, 25))
    words = (
        f"{name}: {100 * caught:.0f} of 100, standard error {100 * error:.1f}, the model's doubt at least "
        f"{100 * doubt:.0f}; by day {100 * day:.0f}, by night {100 * night:.0f}."
    )
    band = f'<rect class="doubt" x="{x(caught - doubt):.1f}" y="{y - 9:.0f}" height="18" ' + (
        f'width="{x(caught + doubt) - x(caught - doubt):.1f}"/>'
    )
    # An upright mark of ± 2 standard errors, seldom wider than the dot.
    error_line = f'<path class="error" d="M{x(caught - 2 * error):.1f} {y:.0f}H{x(caught + 2 * error):.1f}"/>'
    return mark_safe(
        f'<svg class="caught" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} 40" role="img" '
        f'aria-labelledby="{key}-c"><title id="{key}-c">{escape(words)}</title>{ticks}'
        f'<path class="base" d="M{left:.0f} {y:.0f}H{right:.0f}"/>{band}{error_line}'
        f'<circle class="day" cx="{x(day):.1f}" cy="{y:.0f}" r="5"/>'
        f'<path class="night" d="M{x(night):.1f} {y - 6:.0f}l6 6l-6 6l-6 -6Z"/>'
        f'<path class="dot" d="M{x(caught):.1f} {y - 11:.0f}V{y + 11:.0f}"/></svg>'
    )


def response_chart(found: Resolution) -> SafeString:
    """The response to ever finer detail, both directions; dashed from top to bottom."""
    wide, high, left, top, right, foot = 420.0, 230.0, 44.0, 10.0, 10.0, 44.0

    def x(f: float) -> float:
        return left + (wide - left - right) * f / 0.5

    def y(m: float) -> float:
        return top + (high - top - foot) * (1 - min(max(m, 0.0), 1.2) / 1.2)

    lines = ""
    for css, response in (("across", found.columns), ("down", found.rows)):
        points = [
            f"{x(float(f)):.1f} {y(float(m)):.1f}"
            for f, m in zip(response.frequency_cpp, response.mtf, strict=True)
            if f <= 0.5
        ]
        lines += f'<path class="{css}" d="M{"L".join(points)}"/>'
    rules = "".join(
        f'<path class="{css}" d="M{left} {y(m):.1f}H{wide - right}"/>'
        f'<text x="{left - 6}" y="{y(m) + 4:.1f}" text-anchor="end">{m * 100:.0f} %</text>'
        for m, css in ((1.0, "rule"), (0.5, "rule half"), (0.1, "rule half"), (0.0, "rule"))
    )
    ticks = "".join(
        f'<text x="{x(f):.1f}" y="{high - foot + 16:.0f}" text-anchor="middle">{f:g}</text>'
        for f in (0, 0.1, 0.2, 0.3, 0.4, 0.5)
    )
    words = (
        f"From left to right half of the contrast is left at {_cpp(found.columns.mtf50_cpp)}, a tenth at "
        f"{_cpp(found.columns.mtf10_cpp)}; from top to bottom half at {_cpp(found.rows.mtf50_cpp)}, a tenth at "
        f"{_cpp(found.rows.mtf10_cpp)}."
    )
    return mark_safe(
        f'<svg class="response" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {high:.0f}" role="img" '
        f'aria-labelledby="resp-t resp-d"><title id="resp-t">Contrast left in ever finer detail</title>'
        f'<desc id="resp-d">{escape(words)}</desc>{rules}{ticks}'
        f'<text x="{(left + wide - right) / 2:.0f}" y="{high - 8:.0f}" text-anchor="middle">'
        f"stripes a pixel (cycles per saved pixel)</text>{lines}</svg>"
    )


def _cpp(value: float | None) -> str:
    return "beyond half a cycle per pixel" if value is None else f"{value:.2g} cycles per pixel"
