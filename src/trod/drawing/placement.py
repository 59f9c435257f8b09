"""A placement drawn to scale: from above, from the side, and its sun through the year.

Both views keep one scale for both directions. Nothing is told by colour alone: zones differ by hatching and
dashes, and every drawing carries a title and a description.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from trod import wording
from trod.drawing import silhouettes
from trod.drawing.pen import Pen, Point, Svg, Theme, arc, sector, shape, smooth, through
from trod.drawing.scales import distances
from trod.planning.catch.animals import Animal
from trod.planning.catch.dwelling import Stay
from trod.planning.ground.site import SiteGround
from trod.planning.place.advice import PlacementAdvice, path_to_axis
from trod.planning.place.glare import CELLS_A_DAY, DOWN, IN_FRAME, NEAR, GlareYear
from trod.planning.place.mounting import CASE_HEIGHT_MM, CLOSE_M
from trod.telling import glare
from trod.telling.measures import System, length, thickness, to_step, wind

__all__ = ["Theme", "glare_svg", "plan_svg", "side_svg"]

WIDTH = 680.0
FARTHEST_M = 60.0


def plan_svg(
    advice: PlacementAdvice,
    ground: SiteGround,
    animal: Animal,
    *,
    patch: Stay | None = None,
    system: System = "metric",
    theme: Theme = "page",
    key: str = "plan",
    across: float = WIDTH,
    legend: bool = True,
) -> Svg:
    """The placement from above, to scale; the camera below, looking up.

    patch : of a feeding ground, drawn in outline. The detection zone is drawn as a band: to where it reaches
    nearly always, to where it mostly does in warm air, to where it may in cold. across : width of the drawing,
    in its own units, in which text stays as large. legend : whether scale and explanation stand below it.
    """
    pen = Pen(theme, key=key)
    aim = advice.aim_distance_m
    warm, cold = advice.reach_warm, advice.reach_cold
    patch_far_m = (patch.near_m + patch.depth_m) * 1.15 if patch else 0.0
    far = min(max(1.35 * aim, 6.0, patch_far_m, min(warm.middle_m, 1.9 * aim)), FARTHEST_M)
    widest = max(advice.fov_deg, advice.zone_deg)
    half_width = max(far * math.sin(math.radians(min(widest, 178.0) / 2)), 0.45 * far)
    top, foot = 34.0, 78.0 if legend else 20.0
    scale = min((across - 80) / (2 * half_width), 470.0 / far)
    height = top + far * scale + foot
    x0, y0 = across / 2, top + far * scale
    shown = 1.05 * far
    marks = distances(far, system)
    fan = min(max(widest / 2 + 6, 30.0), 85.0)
    flash_m = advice.flash.to_m if advice.flash is not None and advice.flash.to_m < far else 0.0
    path = path_to_axis(advice, ground)

    def at(x: float, y: float) -> Point:
        return x0 + x * scale, y0 - y * scale

    hatch = pen.hatch("perhaps", ink="moss", gap=7)
    with pen.clipped(8, top - 8, across - 16, far * scale + 20):
        zone, ends = advice.zone_deg / 2, [min(m, shown) * scale for m in (warm.low_m, warm.middle_m, cold.high_m)]
        pen.path(sector(x0, y0, 0, ends[0], zone), fill="moss-wash")
        if warm.low_m < shown:
            pen.path(sector(x0, y0, ends[0], ends[1], zone), fill="moss-wash", opacity=0.55)
        if warm.middle_m < shown:
            pen.path(sector(x0, y0, ends[1], ends[2], zone), fill=hatch, opacity=0.5)
        pen.path(sector(x0, y0, 0, ends[2], zone), ink="moss", wide=1.4, dash="7 4")
        for distance_m, _ in marks:
            pen.path(arc(x0, y0, distance_m * scale, fan), ink="ruled")
        if patch is not None:
            x, y = at(-patch.width_m / 2, patch.near_m + patch.depth_m)
            wide, deep = patch.width_m * scale, patch.depth_m * scale
            pen.path(shape("M", x, y, "h", wide, "v", deep, "h", -wide, "Z"), ink="faint", dash="2 4", wide=1.4)
            pen.text(max(x, 8) + 6, y + deep - 6, "ground watched", fill="faint", size=12, halo=True)
        for x, y, turn in _path_and_animals(pen, ground, animal, path, aim=aim, at=at, scale=scale):
            if 0 < y < far:
                _above(pen, animal, *at(x, y), turn, scale)
        fov = advice.fov_deg / 2
        pen.path(sector(x0, y0, 0, 1.2 * shown * scale, fov), fill="ink", opacity=0.05, ink="ink", wide=1.6)
        if flash_m > 0:
            pen.path(arc(x0, y0, flash_m * scale, fov), ink="water", wide=1.8, dash="3 3")
        pen.line(x0, y0, x0, y0 - shown * scale, ink="faint", dash="2 3")
    if flash_m > 0:
        pen.text(x0 + 6, y0 - flash_m * scale - 6, "flash reaches", fill="water", size=12, halo=True)
    for distance_m, words in marks:
        r = distance_m * scale
        x = x0 + r * math.sin(math.radians(fan)) + 5
        if distance_m < far and x < across - 40:
            pen.text(x, y0 - r * math.cos(math.radians(fan)) + 4, words, fill="faint", size=12, halo=True)
    _cross(pen, *at(0.0, aim))
    yaim = at(0, aim)[1]
    pen.text(x0 + 10, yaim - 9, f"aim, {length(aim, system)}", bold=True, halo=True)
    if path is not None and advice.angle_deg is not None:
        low, _, high = (f"{to_step(a, 5):.0f}" for a in advice.angle_deg)
        good = f" to the axis (good: {low}–{high}°)" if legend else ""
        x, anchor = (x0 - 12, "end") if path[1] else (x0 + 10, "start")
        pen.text(x, yaim + 20, f"path {to_step(path[0], 5):.0f}°{good}", size=12, anchor=anchor, halo=True)
    # The camera.
    pen.path(shape("M", x0 - 9, y0 + 12, "h18v-9h-5l-2 -5h-4l-2 5h-5Z"), fill="ink")
    if advice.heading_deg is not None:
        _north(pen, 40, 48, -advice.heading_deg)
    if legend:
        y, (step_m, words) = height - 12, marks[0]
        pen.path(shape("M", 20, y - 5, "v5h", step_m * scale, "v-5"), ink="ink", wide=1.4)
        pen.text(20 + step_m * scale / 2, y - 9, words, anchor="middle", size=12, halo=True)
        pen.rect(188, height - 34, 22, 12, fill="moss-wash", ink="moss", dash="7 4", wide=1.2)
        zone_words = f"detection zone {advice.zone_deg:.0f}°: reach {length(warm.low_m, system)} in warm air at worst "
        pen.text(218, height - 24, f"{zone_words}to {length(cold.high_m, system)} in cold at best", size=12)
        pen.rect(188, height - 16, 22, 12, fill="ink", opacity=0.05, ink="ink", wide=1.4)
        pen.text(218, height - 6, f"field of view {advice.fov_deg:.0f}°", size=12)
    facing = f", looking {wind(advice.heading_deg)}" if advice.heading_deg is not None else ""
    way = f" A path crosses the axis at about {path[0]:.0f}°." if path is not None else ""
    return pen.done(
        across,
        height,
        f"The placement from above{facing}",
        desc=f"To scale. Field of view {advice.fov_deg:.0f}°, detection zone {advice.zone_deg:.0f}°. The aim point is "
        f"about {length(aim, system)} away.{way} For {animal.name.lower()} the sensor reaches about "
        f"{length(warm.middle_m, system)} in the warmest and {length(cold.middle_m, system)} in the coldest air."
        + (f" The flash lights to about {length(advice.flash.to_m, system)}." if advice.flash else ""),
    )


def _path_and_animals(
    pen: Pen,
    ground: SiteGround,
    animal: Animal,
    path: tuple[float, bool] | None,
    *,
    aim: float,
    at: Callable[[float, float], Point],
    scale: float,
) -> list[tuple[float, float, float]]:
    """Draws the path; gives where animals are: (x, y, turn from +x), on it, or about the aim point without one."""
    if path is None:
        spots = ((0.0, 0.0, 20.0), (-0.34, -0.12, 160.0), (0.3, 0.16, 250.0), (0.16, -0.24, 80.0))
        reach = max(aim, 3.2 * animal.body.length_m)  # so far apart that they do not lie upon each other
        return [(reach * u, aim + reach * v, turn) for u, v, turn in spots]
    angle, right = path
    hand, a = (1.0 if right else -1.0), math.radians(angle)
    dx, dy = hand * math.sin(a), math.cos(a)
    fx, fy = -hand * ground.offset_m * math.cos(a), ground.offset_m * math.sin(a)
    ends = (*at(fx - 99 * dx, fy - 99 * dy), *at(fx + 99 * dx, fy + 99 * dy))
    pen.line(*ends, ink="ruled", wide=max(0.6 * scale, 6.0))
    pen.line(*ends, ink="edge", dash="1 5")
    meets = ground.offset_m / math.tan(a) if math.sin(a) > 0.05 else 0.0
    apart, turn = max(2.2 * animal.body.length_m, 1.8), math.degrees(math.atan2(dy, dx))
    return [(fx + s * dx, fy + s * dy, turn) for s in (meets - apart, meets, meets + apart)]


def _above(pen: Pen, animal: Animal, x: float, y: float, turn_deg: float, scale: float) -> None:
    body = animal.body
    half = silhouettes.ABOVE_HALF
    wide = body.width_m / (0.42 * body.length_m)
    outline = [(u, v * wide) for u, v in half] + [(u, -v * wide) for u, v in reversed(half[1:-1])]
    pen.path(
        smooth(_placed(outline, 0, 0, max(body.length_m * scale, 7.0))),
        fill="ink",
        transform=f"{shape('translate(', x, y, ')')} {shape('rotate(', -turn_deg, ')')}",
    )


def _placed(outline: Iterable[Point], x0: float, y0: float, scale: float) -> list[Point]:
    """An outline in the drawing, y downwards; its origin lies at x0, y0."""
    return [(x0 + x * scale, y0 - y * scale) for x, y in outline]


def _cross(pen: Pen, x: float, y: float) -> None:
    d = shape("M", x - 7, y, "h14M", x, y - 7, "v14")
    pen.path(d, ink="leaf", wide=5)
    pen.path(d, ink="clay", wide=2)


def _north(pen: Pen, x: float, y: float, turn_deg: float) -> None:
    pen.path(shape("M", x, y - 22, "l7 26l-7 -6l-7 6Z"), fill="ink", transform=shape("rotate(", turn_deg, x, y, ")"))
    a = math.radians(turn_deg)
    pen.text(x + 31 * math.sin(a), y - 31 * math.cos(a) + 4, "N", anchor="middle", size=12, bold=True, halo=True)


# --- from the side ----------------------------------------------------------------------------


def _ground_words(near_m: float, system: System) -> str:
    if math.isinf(near_m):
        return "no ground seen"
    return "ground seen from the foot on" if near_m < CLOSE_M else f"ground seen from {length(near_m, system)} on"


def side_svg(
    advice: PlacementAdvice,
    ground: SiteGround,
    animal: Animal,
    *,
    case_height_mm: float = CASE_HEIGHT_MM,
    system: System = "metric",
    theme: Theme = "page",
    key: str = "side",
    across: float = WIDTH,
) -> Svg:
    """The placement from the side, to scale: slope, snow, picture, aim point, animal; the wedge enlarged.

    across : width of the drawing, in its own units, in which text stays as large.
    """
    pen = Pen(theme, key=key)
    aim, lens = advice.aim_distance_m, advice.height_m
    fall = math.tan(math.radians(ground.slope_deg))
    near = advice.ground.near_m
    far = min(max(1.4 * aim, 4.0, min(near * 1.25, 2 * aim)), FARTHEST_M)
    left = 1.0
    scale = (across - 20) / (far + left)
    snow = advice.snow_expected_m if advice.snow_expected_m > 0.05 else 0.0
    top_m = 0.25 + max(lens + 0.3, animal.head_m - aim * fall + snow + 24.0 / scale, snow, -far * fall + snow)
    bottom_m = min(0.0, -far * fall) - 34.0 / scale
    scene = (top_m - bottom_m) * scale + 8
    out = far + 2

    def at(x: float, y: float) -> Point:
        return 10 + (x + left) * scale, 4 + (top_m - y) * scale

    def on_ground(x: float, over: float = 0.0) -> Point:
        return at(x, over - x * fall)

    soil = pen.hatch("ground", ink="edge", turn=35, wide=0.35)
    xl, yl = at(0, lens)
    xaim, yaim = on_ground(aim, advice.aim_height_m)
    case = max(case_height_mm / 1000 * scale, 9.0)
    bark = xl - 0.75 * case - 2
    trunk = max((ground.trunk.diameter_cm / 100 if ground.trunk else 0.3) * scale, 5.0)
    with pen.clipped(0, 0, across, scene):
        # The trunk first: the ground hides its foot.
        pen.rect(bark - trunk, -5, trunk, scene + 5, fill="ruled", ink="edge", wide=1.2)
        seen = _seen(advice, fall, at, out)
        pen.path(through(((xl, yl), *seen), closed=True), fill="moss-wash", opacity=0.8)
        surface = [on_ground(-left), on_ground(out)]
        soil_shape = through([*surface, at(out, bottom_m - 1), at(-left, bottom_m - 1)], closed=True)
        pen.path(soil_shape, fill="leaf")
        pen.path(soil_shape, fill=soil, opacity=0.9)
        if snow:
            cover = [on_ground(-left, snow), on_ground(out, snow)]
            pen.path(through([surface[0], *cover, surface[1]], closed=True), fill="leaf", opacity=0.7)
            pen.path(through(cover), ink="water", wide=1.6, dash="6 3")
        pen.path(through(surface), ink="ink", wide=1.8)
        # The animal, at the aim point; in usual snow once more, in outline, on top of it.
        figure, shoulder = silhouettes.SIDE[animal.build], animal.shoulder_mid_m * scale
        pen.path(smooth(_placed(figure, *on_ground(aim), shoulder)), fill="ink")
        if snow:
            outline = smooth(_placed(figure, *on_ground(aim, snow), shoulder))
            pen.path(outline, ink="water", wide=1.3, dash="4 3")
        for edge in (seen[0], seen[-1]):
            pen.line(xl, yl, *edge, wide=1.5)
        pen.line(xl, yl, *at(aim, lens - aim * math.tan(math.radians(advice.tilt_deg))), ink="faint", dash="2 3")
        turned = shape("rotate(", advice.tilt_deg, xl, yl, ")")
        pen.rect(xl - 0.75 * case, yl - case / 2, 0.75 * case, case, fill="ink", transform=turned)
    _cross(pen, xaim, yaim)
    over = on_ground(aim, animal.head_m + snow)[1] - 10
    pen.text(xaim, over, f"aim, {length(aim, system)} away", anchor="middle", bold=True, halo=True)
    # Heights and distances.
    for distance_m, words in distances(far, system):
        x, y = on_ground(distance_m)
        pen.line(x, y, x, y + 7, wide=1.2)
        if x < across - 22:
            pen.text(x, y + 20, words, fill="faint", size=12, anchor="middle", halo=True)
    xh, foot = max(bark - trunk - 8, 22.0), at(0, 0)[1]
    pen.path(shape("M", xh, foot, "V", yl, "M", xh - 4, yl, "h8M", xh - 4, foot, "h8"), ink="ink")
    words = length(lens, system)
    pen.text(xh - 6, (yl + foot) / 2, words, anchor="middle", turn=-90, size=12, bold=True, halo=True)
    if near < far:
        x, y = on_ground(near)
        pen.path(shape("M", x, y + 1, "l-5 10h10Z"), fill="clay")
    y = _side_legend(pen, advice, animal, snow, system, top=scene + 24)
    _wedge_inset(pen, advice, case_height_mm, y=scene + 6)
    slope = (
        "The ground is level."
        if abs(ground.slope_deg) < 0.5
        else f"The ground {'falls away' if ground.slope_deg > 0 else 'rises'} by {abs(ground.slope_deg):.0f}°."
    )
    return pen.done(
        across,
        max(scene + 112.0, y),
        f"The placement from the side, {animal.name.lower()} at the aim point",
        desc=f"To scale. The lens is {length(lens, system)} up, {_tilt_words(advice)}, and looks at a "
        f"point {length(advice.aim_height_m, system)} above the "
        f"ground, {length(aim, system)} away. {slope} In the picture: {_ground_words(near, system)}. "
        f"{_capital(_wedge_words(advice, system))}." + (f" Usual snow is {length(snow, system)} deep." if snow else ""),
    )


def _seen(advice: PlacementAdvice, fall: float, at: Callable[[float, float], Point], out: float) -> list[Point]:
    """From above to below, where the picture's edges leave the ground or the drawing, which ends at `out`."""
    lens, near = advice.height_m, advice.ground.near_m
    half, down = math.radians(advice.vertical_deg / 2), math.radians(advice.tilt_deg)
    # A wide lens on a steep tilt looks past its own foot, or straight up.
    straight_up, straight_down = half - down >= math.radians(89), half + down >= math.radians(89)
    upper = at(0, lens + 2 * out) if straight_up else at(out, lens + out * math.tan(half - down))
    reach = min(near, out)
    lower = at(0, 0) if straight_down else at(reach, lens - reach * math.tan(half + down))
    beyond = [(at(out, 0)[0], upper[1])] if straight_up else []
    return [upper, *beyond, *([at(out, -out * fall)] if near < out else []), lower]


def _side_legend(pen: Pen, advice: PlacementAdvice, animal: Animal, snow: float, system: System, *, top: float) -> float:
    """The lines below the side view; gives where they end."""
    x, y = 182.0, top
    lines = [
        (f"Lens {length(advice.height_m, system)} up, {_tilt_words(advice)}", ""),
        (_capital(_wedge_words(advice, system)), ""),
        (_ground_words(advice.ground.near_m, system), "near"),
        *([(f"usual snow {length(snow, system)}", "snow")] if snow else []),
        (f"{animal.name} {length(animal.shoulder_mid_m, system)} at the shoulder, to scale", ""),
    ]
    for words, mark in lines:
        if mark == "near":
            pen.path(shape("M", x + 6, y - 9, "l-5 10h10Z"), fill="clay")
        if mark == "snow":
            pen.line(x - 6, y - 4, x + 13, y - 4, ink="water", wide=1.6, dash="6 3")
        pen.text(x + 20 if mark else x, y, words, size=12)
        y += 18
    return y


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _tilt_words(advice: PlacementAdvice) -> str:
    tilt = advice.tilt_deg
    return "level" if abs(tilt) < 0.5 else f"tilted about {abs(tilt):.0f}° {'down' if tilt > 0 else 'up'}"


def _wedge_words(advice: PlacementAdvice, system: System) -> str:
    wedge = advice.wedge
    if wedge.behind == "none":
        return "no wedge"
    return f"wedge {thickness(wedge.thickness_mm, system)} behind the {wedge.behind}"


def _wedge_inset(pen: Pen, advice: PlacementAdvice, case_mm: float, *, y: float) -> None:
    """Trunk, wedge and case, enlarged."""
    wide, tall, x, wedge = 150.0, 100.0, 12.0, advice.wedge
    bark = x + 54
    pen.rect(x, y, wide, tall, rx=5, fill="leaf", ink="edge")
    pen.rect(x + 18, y + 0.5, bark - x - 18, tall - 1, fill="ruled", ink="edge")
    # Case and wedge at one scale. The case hinges on the edge that touches the bark.
    size, foot = 76.0, y + 88.0
    turn, down = wedge.turn_deg(case_height_mm=case_mm), wedge.behind == "top"
    hinge = foot - size if wedge.behind == "bottom" else foot
    with pen.group(transform=shape("rotate(", turn if down else -turn, bark, hinge, ")")):
        pen.rect(bark, foot - size, 42, size, fill="ink")
        pen.circle(bark + 42, foot - size / 2, 7, fill="edge")
    if wedge.behind != "none":
        t = math.radians(turn)
        edge = (bark + size * math.sin(t), hinge + (-size if down else size) * math.cos(t))
        pen.path(through(((bark, hinge), edge, (bark, edge[1])), closed=True), fill="clay", ink="clay", wide=0.8)


# --- the sun through the year -----------------------------------------------------------------


def glare_svg(year: GlareYear, *, theme: Theme = "page", key: str = "sun") -> Svg:
    """The year, left to right, by the hours of the clock, downwards: dark, light, sun near, sun in the picture."""
    pen = Pen(theme, key=key)
    left, top, wide, tall = 44.0, 30.0, WIDTH - 56.0, 288.0
    days = year.grid.shape[0]
    every = 3
    cell_w, cell_h = wide / days, tall / CELLS_A_DAY
    near_hatch = pen.hatch("near", ink="clay", gap=5, wide=0.7)
    night = pen.hatch("night", ink="faint", turn=0, gap=3, wide=0.45)

    def runs(state: int) -> str:
        pieces = []
        for day in range(0, days, every):
            column = year.grid[min(day + every // 2, days - 1)] == state
            edges = np.flatnonzero(np.diff(np.concatenate([[0], column.astype(np.int8), [0]])))
            span = min(every, days - day) * cell_w + 0.3
            for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
                x, y, high = left + day * cell_w, top + begin * cell_h, (end - begin) * cell_h
                pieces.append(shape("M", x, y, "h", span, "v", high, "h", -span, "Z"))
        return "".join(pieces)

    paints: tuple[tuple[int, tuple[str, ...]], ...] = (
        (DOWN, ("ruled", night)),
        (NEAR, ("clay-wash", near_hatch)),
        (IN_FRAME, ("clay",)),
    )
    pen.rect(left, top, wide, tall, fill="leaf")
    for state, fills in paints:
        for fill in fills:
            pen.path(runs(state), fill=fill, opacity=0.5 if fill == night else None)
    starts = np.cumsum([0, 31, days - 337, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    for month, start in enumerate(starts.tolist()):
        x = left + start * cell_w
        if month:
            pen.line(x, top, x, top + tall, ink="edge", wide=0.6, dash="1 3")
        pen.text(x + 15 * cell_w, top - 9, wording.MONTHS[month][:3], anchor="middle", size=12)
    for hour in range(0, 25, 3):
        y = top + hour * tall / 24
        if 0 < hour < 24:
            pen.line(left, y, left + wide, y, ink="edge", wide=0.6, dash="1 3")
        pen.text(left - 6, y + 4, f"{hour:02d}", anchor="end", size=12)
    pen.rect(left, top, wide, tall, fill="none", ink="edge")
    x, y = left, top + tall + 16
    swatches: tuple[tuple[tuple[str, ...], str], ...] = (
        (("ruled", night), "sun down"),
        (("leaf",), "sun elsewhere"),
        (("clay-wash", near_hatch), "sun near the picture"),
        (("clay",), "sun in the picture"),
    )
    for fills, words in swatches:
        for fill in fills:
            pen.rect(x, y, 22, 13, fill=fill)
        pen.rect(x, y, 22, 13, fill="none", ink="edge")
        pen.text(x + 29, y + 11, words, size=12)
        x += 45 + 7.2 * len(words)
    offset = year.utc_offset_min
    clock = f"UTC{'+' if offset >= 0 else '-'}{abs(offset) // 60:02d}:{abs(offset) % 60:02d}"
    pen.text(left, y + 32, f"Hours of a clock at {clock}; clear days.", fill="faint", size=12)
    return pen.done(
        WIDTH,
        y + 42,
        f"Sun before a camera that looks {wind(year.frame.heading_deg)}, through the year by hours",
        desc=glare.year(year),
    )
