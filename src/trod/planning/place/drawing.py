"""A placement drawn to scale: from above, from the side, and its sun through the year. SVG as text.

Both views keep one scale for both directions. Colours are the page's own (`--ink`, `--moss` …) with the light
theme's values behind them, so a drawing follows the theme when it stands in a page and still shows when it
stands alone; `theme="paper"` writes plain colours for print. Nothing is told by colour alone: zones differ by
hatching and dashes, and every drawing carries a title and a description.

No text of a user's is drawn except a tree's name, which is escaped.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from html import escape
from typing import Literal

import numpy as np

from trod import units
from trod.errors import WrongInput
from trod.planning import said
from trod.planning.catch import silhouettes
from trod.planning.catch.animals import Animal
from trod.planning.ground.site import MONTHS, SiteGround
from trod.planning.place.glare import CELLS_A_DAY, DOWN, IN_FRAME, NEAR, GlareYear
from trod.planning.place.mounting import CASE_HEIGHT_MM, CLOSE_M
from trod.planning.place.placement import PlacementAdvice
from trod.planning.said import System, length

Theme = Literal["page", "paper"]
WIDTH = 680.0
FARTHEST_M = 60.0
_HEX = {
    "paper": "#f6f1e4", "leaf": "#fffdf6", "ruled": "#ddd3bb", "edge": "#8f8468", "ink": "#26231c",
    "faint": "#625a48", "moss": "#46602a", "moss-wash": "#e4ead4", "clay": "#9c4221", "clay-wash": "#f6e1d3",
    "water": "#3a5f78",
}  # fmt: skip


class _Pen:
    """Gathers the pieces of one drawing. key : keeps its ids apart from those of others on the page."""

    def __init__(self, theme: Theme, key: str) -> None:
        if not (key.replace("-", "").isalnum() and key.isascii() and len(key) <= 40):
            raise WrongInput("key", got=key, needed="letters, digits and dashes, at most 40")
        if theme not in ("page", "paper"):
            raise WrongInput("theme", got=theme, needed="page or paper")
        self.theme, self.key = theme, key
        self.parts: list[str] = []

    def of(self, name: str) -> str:
        """A colour."""
        return f"var(--{name}, {_HEX[name]})" if self.theme == "page" else _HEX[name]

    def add(self, piece: str) -> None:
        self.parts.append(piece)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, ink: str = "ink", wide: float = 1.0, dash: str = ""
    ) -> None:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.add(
            f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{self.of(ink)}" '
            f'stroke-width="{wide:g}" fill="none"{dashed}/>'
        )

    def shape(
        self, d: str, *, fill: str = "none", ink: str = "", wide: float = 1.0, dash: str = "", opacity: float = 1.0
    ) -> None:
        paint = fill if fill == "none" or fill.startswith("url(") else self.of(fill)
        edge = f' stroke="{self.of(ink)}" stroke-width="{wide:g}"' if ink else ""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        light = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
        self.add(f'<path d="{d}" fill="{paint}"{light}{edge}{dashed}/>')

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        ink: str = "ink",
        size: float = 13.0,
        anchor: str = "start",
        turn: float = 0.0,
        halo: bool = True,
        bold: bool = False,
    ) -> None:
        turned = f' transform="rotate({turn:.1f} {x:.1f} {y:.1f})"' if turn else ""
        # A halo of the page's ground keeps words readable over lines.
        back = (
            f' stroke="{self.of("leaf")}" stroke-width="3" stroke-linejoin="round" paint-order="stroke"' if halo else ""
        )
        weight = ' font-weight="600"' if bold else ""
        self.add(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" '
            f'fill="{self.of(ink)}"{back}{weight}{turned}>{escape(words)}</text>'
        )

    def hatch(self, name: str, *, ink: str, turn: float, gap: float, wide: float = 0.8) -> str:
        """Defines a hatching and gives what to fill with."""
        self.add(
            f'<defs><pattern id="{self.key}-{name}" width="{gap:g}" height="{gap:g}" '
            f'patternUnits="userSpaceOnUse" patternTransform="rotate({turn:g})">'
            f'<path d="M0 0V{gap:g}" stroke="{self.of(ink)}" stroke-width="{wide:g}"/></pattern></defs>'
        )
        return f"url(#{self.key}-{name})"

    def done(self, width: float, height: float, *, title: str, desc: str) -> str:
        font = "system-ui, 'DejaVu Sans', sans-serif"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
            f'aria-labelledby="{self.key}-t {self.key}-d" font-family="{font}">'
            f'<title id="{self.key}-t">{escape(title)}</title><desc id="{self.key}-d">{escape(desc)}</desc>'
            + "".join(self.parts)
            + "</svg>"
        )


def _step(span_m: float, system: System) -> tuple[float, list[float]]:
    """A round step for a scale over a span, and the distances it gives. [m]"""
    unit = units.FOOT_M if system == "us" else 1.0
    for round_step in (1, 2, 5, 10, 20, 50, 100, 200):
        if span_m / (round_step * unit) <= 8:
            break
    step = round_step * unit
    return step, [step * i for i in range(1, int(span_m / step + 1e-9) + 1)]


def _mark(distance_m: float, system: System) -> str:
    if system == "us":
        return f"{units.feet_from_m(distance_m):.0f} ft"
    return f"{distance_m:.0f} m"


def _sector(x: float, y: float, r0: float, r1: float, half_deg: float) -> str:
    """A sector (or ring) that opens upward."""
    s, c = math.sin(math.radians(half_deg)), math.cos(math.radians(half_deg))
    big = 1 if half_deg > 90 else 0
    if r0 <= 0:
        return (
            f"M{x:.1f} {y:.1f}L{x - r1 * s:.1f} {y - r1 * c:.1f}A{r1:.1f} {r1:.1f} 0 {big} 1 "
            f"{x + r1 * s:.1f} {y - r1 * c:.1f}Z"
        )
    return (
        f"M{x - r0 * s:.1f} {y - r0 * c:.1f}L{x - r1 * s:.1f} {y - r1 * c:.1f}A{r1:.1f} {r1:.1f} 0 {big} 1 "
        f"{x + r1 * s:.1f} {y - r1 * c:.1f}L{x + r0 * s:.1f} {y - r0 * c:.1f}A{r0:.1f} {r0:.1f} 0 {big} 0 "
        f"{x - r0 * s:.1f} {y - r0 * c:.1f}Z"
    )


def path_as_drawn(advice: PlacementAdvice, ground: SiteGround) -> tuple[float, bool] | None:
    """The angle of the path to the axis (0 to 90°) and whether it runs away to the right; None without one.

    From the heading and the path's bearing when both are known, else as advised, away to the left.
    """
    if ground.path_bearing_deg is not None and advice.heading_deg is not None:
        turn = (ground.path_bearing_deg - advice.heading_deg) % 180.0
        return (turn, True) if turn <= 90 else (180.0 - turn, False)
    if advice.angle_deg is not None:
        return advice.angle_deg[1], False
    return None


def plan_svg(
    advice: PlacementAdvice,
    ground: SiteGround,
    animal: Animal,
    *,
    patch_m: tuple[float, float] | None = None,
    system: System = "metric",
    theme: Theme = "page",
    key: str = "plan",
    across: float = WIDTH,
    legend: bool = True,
) -> str:
    """The placement from above, to scale; the camera below, looking up.

    patch_m : (nearest, farthest) edge of a feeding ground, drawn in outline. The detection zone is drawn as
    a band: to where it reaches nearly always, to where it mostly does in warm air, to where it may in cold.
    across : width of the drawing, in its own units, in which text stays as large. legend : whether scale and
    explanation stand below it.
    """
    pen = _Pen(theme, key)
    aim = advice.aim_distance_m
    warm, cold = advice.reach_warm, advice.reach_cold
    far = max(1.35 * aim, 6.0, patch_m[1] * 1.15 if patch_m else 0.0, min(warm.middle_m, 1.9 * aim))
    far = min(far, FARTHEST_M)
    widest = max(advice.fov_deg, advice.zone_deg)
    half_width = max(far * math.sin(math.radians(min(widest, 178.0) / 2)), 0.45 * far)
    top, foot = 34.0, 78.0 if legend else 20.0
    scale = min((across - 80) / (2 * half_width), 470.0 / far)
    height = top + far * scale + foot
    x0, y0 = across / 2, top + far * scale

    def at(x: float, y: float) -> tuple[float, float]:
        return x0 + x * scale, y0 - y * scale

    pen.add(
        f'<defs><clipPath id="{key}-clip"><rect x="8" y="{top - 8:.1f}" width="{across - 16:.0f}" '
        f'height="{far * scale + 20:.1f}"/></clipPath></defs>'
    )
    hatch = pen.hatch("perhaps", ink="moss", turn=45, gap=7)
    pen.add(f'<g clip-path="url(#{key}-clip)">')
    zone = advice.zone_deg / 2
    low, middle, high = warm.low_m, warm.middle_m, cold.high_m
    shown = 1.05 * far
    pen.shape(_sector(x0, y0, 0, min(low, shown) * scale, zone), fill="moss-wash")
    if low < shown:
        pen.shape(_sector(x0, y0, low * scale, min(middle, shown) * scale, zone), fill="moss-wash", opacity=0.55)
    if middle < shown:
        pen.shape(_sector(x0, y0, middle * scale, min(high, shown) * scale, zone), fill=hatch, opacity=0.5)
    pen.shape(_sector(x0, y0, 0, min(high, shown) * scale, zone), ink="moss", wide=1.4, dash="7 4")

    step, distances = _step(far, system)
    fan = min(max(widest / 2 + 6, 30.0), 85.0)
    for distance in distances:
        s, c = math.sin(math.radians(fan)), math.cos(math.radians(fan))
        r = distance * scale
        pen.shape(
            f"M{x0 - r * s:.1f} {y0 - r * c:.1f}A{r:.1f} {r:.1f} 0 0 1 {x0 + r * s:.1f} {y0 - r * c:.1f}",
            ink="ruled",
        )
    if patch_m is not None:
        near_m, far_m = patch_m
        breadth = (far_m - near_m) * 4 / 3
        (xa, ya), (xb, yb) = at(-breadth / 2, far_m), at(breadth / 2, near_m)
        pen.shape(f"M{xa:.1f} {ya:.1f}H{xb:.1f}V{yb:.1f}H{xa:.1f}Z", ink="faint", dash="2 4", wide=1.4)
        pen.text(xa + 6, yb - 6, "ground watched", ink="faint", size=12)

    path = path_as_drawn(advice, ground)
    animals: list[tuple[float, float, float]] = []  # x, y, turn from +x
    if path is not None:
        angle, right = path
        hand = 1.0 if right else -1.0
        a = math.radians(angle)
        dx, dy = hand * math.sin(a), math.cos(a)
        fx, fy = -hand * ground.offset_m * math.cos(a), ground.offset_m * math.sin(a)
        (xa, ya), (xb, yb) = at(fx - 99 * dx, fy - 99 * dy), at(fx + 99 * dx, fy + 99 * dy)
        pen.line(xa, ya, xb, yb, ink="ruled", wide=max(0.6 * scale, 6.0))
        pen.line(xa, ya, xb, yb, ink="edge", wide=1.0, dash="1 5")
        meets = ground.offset_m / math.tan(a) if math.sin(a) > 0.05 else 0.0
        gap = max(2.2 * animal.body.length_m, 1.8)
        animals = [
            (fx + (meets + i * gap) * dx, fy + (meets + i * gap) * dy, math.degrees(math.atan2(dy, dx)))
            for i in (-1, 0, 1)
        ]
    else:
        spots = ((0.0, 0.0, 20.0), (-0.34, -0.12, 160.0), (0.3, 0.16, 250.0), (0.16, -0.24, 80.0))
        animals = [(aim * u, aim * (1 + v), turn) for u, v, turn in spots]
    for x, y, turn in animals:
        if 0 < y < far:
            _above(pen, animal, *at(x, y), turn, scale)
    fov = advice.fov_deg / 2
    pen.shape(_sector(x0, y0, 0, 1.2 * shown * scale, fov), fill="ink", opacity=0.05, ink="ink", wide=1.6)
    if advice.flash is not None and advice.flash.to_m > 0:
        r = advice.flash.to_m * scale
        if advice.flash.to_m < far:
            s, c = math.sin(math.radians(fov)), math.cos(math.radians(fov))
            pen.shape(
                f"M{x0 - r * s:.1f} {y0 - r * c:.1f}A{r:.1f} {r:.1f} 0 0 1 {x0 + r * s:.1f} {y0 - r * c:.1f}",
                ink="water", wide=1.8, dash="3 3",
            )  # fmt: skip
    pen.line(x0, y0, x0, y0 - shown * scale, ink="faint", dash="2 3")
    pen.add("</g>")
    if advice.flash is not None and 0 < advice.flash.to_m < far:
        pen.text(x0 + 6, y0 - advice.flash.to_m * scale - 6, "flash reaches", ink="water", size=12)
    for distance in distances:
        if distance < far:
            s, c = math.sin(math.radians(fan)), math.cos(math.radians(fan))
            x = x0 + distance * scale * s + 5
            if x < across - 40:
                pen.text(x, y0 - distance * scale * c + 4, _mark(distance, system), ink="faint", size=12)
    _cross(pen, *at(0.0, aim))
    pen.text(x0 + 10, at(0, aim)[1] - 9, f"aim, {length(aim, system)}", bold=True)
    if path is not None and advice.angle_deg is not None:
        low_a, _, high_a = advice.angle_deg
        right = path[1]
        pen.text(
            x0 + (-12 if right else 10), at(0, aim)[1] + 20,
            f"path {said.to_step(path[0], 5):.0f}°"
            + (f" to the axis (good: {said.to_step(low_a, 5):.0f}–{said.to_step(high_a, 5):.0f}°)" if legend else ""),
            size=12, anchor="end" if right else "start",
        )  # fmt: skip
    # The camera.
    pen.shape(f"M{x0 - 9:.1f} {y0 + 12:.1f}h18v-9h-5l-2 -5h-4l-2 5h-5Z", fill="ink")
    if advice.heading_deg is not None:
        _north(pen, 40, 48, -advice.heading_deg)
    if legend:
        _bar(pen, step * scale, _mark(step, system), height)
        pen.shape(f"M188 {height - 34:.1f}h22v12h-22Z", fill="moss-wash", ink="moss", dash="7 4", wide=1.2)
        pen.text(
            218, height - 24,
            f"detection zone {advice.zone_deg:.0f}°: reach {length(warm.low_m, system)} in warm air at worst to "
            f"{length(cold.high_m, system)} in cold at best",
            size=12, halo=False,
        )  # fmt: skip
        pen.shape(f"M188 {height - 16:.1f}h22v12h-22Z", fill="ink", opacity=0.05, ink="ink", wide=1.4)
        pen.text(218, height - 6, f"field of view {advice.fov_deg:.0f}°", size=12, halo=False)
    facing = f", looking {said.wind(advice.heading_deg)}" if advice.heading_deg is not None else ""
    way = f" A path crosses the axis at about {path[0]:.0f}°." if path is not None else ""
    return pen.done(
        across,
        height,
        title=f"The placement from above{facing}",
        desc=f"To scale. Field of view {advice.fov_deg:.0f}°, detection zone {advice.zone_deg:.0f}°. The aim point is "
        f"about {length(aim, system)} away.{way} For {animal.name.lower()} the sensor reaches about "
        f"{length(warm.middle_m, system)} in the warmest and {length(cold.middle_m, system)} in the coldest air."
        + (f" The flash lights to about {length(advice.flash.to_m, system)}." if advice.flash else ""),
    )


def _above(pen: _Pen, animal: Animal, x: float, y: float, turn_deg: float, scale: float) -> None:
    body = animal.body
    half = silhouettes.ABOVE_HALF
    wide = body.width_m / (0.42 * body.length_m)
    outline = tuple((u, v * wide) for u, v in half) + tuple((u, -v * wide) for u, v in reversed(half[1:-1]))
    d = silhouettes.smooth(outline, x0=0, y0=0, scale=max(body.length_m * scale, 7.0))
    pen.add(f'<g transform="translate({x:.1f} {y:.1f}) rotate({-turn_deg:.1f})">')
    pen.shape(d, fill="ink")
    pen.add("</g>")


def _cross(pen: _Pen, x: float, y: float) -> None:
    pen.add(
        f'<path d="M{x - 7:.1f} {y:.1f}h14M{x:.1f} {y - 7:.1f}v14" stroke="{pen.of("leaf")}" stroke-width="5"/>'
        f'<path d="M{x - 7:.1f} {y:.1f}h14M{x:.1f} {y - 7:.1f}v14" stroke="{pen.of("clay")}" stroke-width="2"/>'
    )


def _north(pen: _Pen, x: float, y: float, turn_deg: float) -> None:
    pen.add(f'<g transform="rotate({turn_deg:.1f} {x:g} {y:g})">')
    pen.shape(f"M{x:g} {y - 22:g}l7 26l-7 -6l-7 6Z", fill="ink")
    pen.add("</g>")
    a = math.radians(turn_deg)
    pen.text(x + 31 * math.sin(a), y - 31 * math.cos(a) + 4, "N", anchor="middle", size=12, bold=True)


def _bar(pen: _Pen, wide: float, words: str, height: float) -> None:
    y = height - 12
    pen.shape(f"M20 {y - 5:.1f}v5h{wide:.1f}v-5", ink="ink", wide=1.4)
    pen.text(20 + wide / 2, y - 9, words, anchor="middle", size=12)


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
) -> str:
    """The placement from the side, to scale: slope, snow, picture, aim point, animal; the wedge enlarged.

    across : width of the drawing, in its own units, in which text stays as large.
    """
    pen = _Pen(theme, key)
    aim, lens = advice.aim_distance_m, advice.height_m
    fall = math.tan(math.radians(ground.slope_deg))
    near = advice.ground.near_m
    far = max(1.4 * aim, 4.0, min(near * 1.25, 2 * aim))
    far = min(far, FARTHEST_M)
    left = 1.0
    scale = (across - 20) / (far + left)
    half = math.radians(advice.vertical_deg / 2)
    delta = math.radians(advice.tilt_deg)
    snow = advice.snow_expected_m
    drawn_snow = snow if snow > 0.05 else 0.0
    top_m = 0.25 + max(
        lens + 0.3, animal.head_m - aim * fall + drawn_snow + 24.0 / scale, drawn_snow, -far * fall + drawn_snow
    )
    bottom_m = min(0.0, -far * fall) - 34.0 / scale
    strip = 112.0
    scene = (top_m - bottom_m) * scale + 8
    height = scene + strip

    def at(x: float, y: float) -> tuple[float, float]:
        return 10 + (x + left) * scale, 4 + (top_m - y) * scale

    pen.add(
        f'<defs><clipPath id="{key}-clip"><rect x="0" y="0" width="{across:.0f}" height="{scene:.1f}"/>'
        "</clipPath></defs>"
    )
    soil = pen.hatch("ground", ink="edge", turn=35, gap=6, wide=0.7)
    pen.add(f'<g clip-path="url(#{key}-clip)">')
    # The trunk first: the ground hides its foot.
    xl, yl = at(0, lens)
    wide = max((ground.trunk.diameter_cm / 100 if ground.trunk else 0.3) * scale, 5.0)
    case = max(case_height_mm / 1000 * scale, 9.0)
    bark = xl - 0.75 * case - 2
    trunk = f"M{bark - wide:.1f} -5V{scene:.1f}H{bark:.1f}V-5Z"
    pen.shape(trunk, fill="ruled", ink="edge", wide=1.2)
    # The picture: from the lens to where its edges leave the ground or the drawing.
    out = far + 2
    # A wide lens on a steep tilt looks past its own foot, or straight up.
    straight_up, straight_down = half - delta >= math.radians(89), half + delta >= math.radians(89)
    xu, yu = at(0, lens + 2 * out) if straight_up else at(out, lens + out * math.tan(half - delta))
    reach = min(near, out)
    xn, yn = at(0, 0) if straight_down else at(reach, lens + reach * math.tan(-half - delta))
    xg, yg = at(out, -out * fall)
    lower_end = f"L{xg:.1f} {yg:.1f}L{xn:.1f} {yn:.1f}" if near < out else f"L{xn:.1f} {yn:.1f}"
    beyond = f"L{at(out, 0)[0]:.1f} {yu:.1f}" if straight_up else ""
    pen.shape(f"M{xl:.1f} {yl:.1f}L{xu:.1f} {yu:.1f}{beyond}{lower_end}Z", fill="moss-wash", opacity=0.8)

    corners = [at(-left, left * fall), at(out, -out * fall), at(out, bottom_m - 1), at(-left, bottom_m - 1)]
    outline = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in corners) + "Z"
    pen.shape(outline, fill="leaf")
    pen.shape(outline, fill=soil, opacity=0.9)
    (xa, ya), (xb, yb) = corners[:2]
    if drawn_snow:
        (sa, ta), (sb, tb) = at(-left, left * fall + snow), at(out, -out * fall + snow)
        pen.shape(f"M{xa:.1f} {ya:.1f}L{sa:.1f} {ta:.1f}L{sb:.1f} {tb:.1f}L{xb:.1f} {yb:.1f}Z", fill="leaf", opacity=0.7)
        pen.line(sa, ta, sb, tb, ink="water", wide=1.6, dash="6 3")
    pen.line(xa, ya, xb, yb, wide=1.8)
    # The animal, at the aim point; in usual snow once more, in outline, on top of it.
    figure, shoulder = silhouettes.SIDE[animal.build], animal.shoulder_mid_m * scale
    x, y = at(aim, -aim * fall)
    pen.shape(silhouettes.smooth(figure, x0=x, y0=y, scale=shoulder), fill="ink")
    if drawn_snow:
        x, y = at(aim, -aim * fall + snow)
        pen.shape(silhouettes.smooth(figure, x0=x, y0=y, scale=shoulder), ink="water", wide=1.3, dash="4 3")
    pen.line(xl, yl, xu, yu, wide=1.5)
    pen.line(xl, yl, xn, yn, wide=1.5)
    xaim, yaim = at(aim, advice.aim_height_m - aim * fall)
    xend, yend = at(aim, lens - aim * math.tan(delta))
    pen.line(xl, yl, xend, yend, ink="faint", dash="2 3")
    pen.add(f'<g transform="rotate({advice.tilt_deg:.1f} {xl:.1f} {yl:.1f})">')
    pen.shape(
        f"M{xl - 0.75 * case:.1f} {yl - case / 2:.1f}h{0.75 * case:.1f}v{case:.1f}h-{0.75 * case:.1f}Z", fill="ink"
    )
    pen.add("</g></g>")
    _cross(pen, xaim, yaim)
    over = at(0, animal.head_m - aim * fall + drawn_snow)[1] - 10
    pen.text(xaim, over, f"aim, {length(aim, system)} away", anchor="middle", bold=True)
    # Heights and distances.
    _, distances = _step(far, system)
    for distance in distances:
        x, y = at(distance, -distance * fall)
        pen.line(x, y, x, y + 7, wide=1.2)
        if x < across - 22:
            pen.text(x, y + 20, _mark(distance, system), ink="faint", size=12, anchor="middle")
    xh, foot = max(bark - wide - 8, 22.0), at(0, 0)[1]
    for x1, y1, x2, y2 in ((xh, foot, xh, yl), (xh - 4, yl, xh + 4, yl), (xh - 4, foot, xh + 4, foot)):
        pen.line(x1, y1, x2, y2)
    pen.text(xh - 6, (yl + foot) / 2, length(lens, system), anchor="middle", turn=-90, size=12, bold=True)
    if near < far:
        x, y = at(near, -near * fall)
        pen.shape(f"M{x:.1f} {y + 1:.1f}l-5 10h10Z", fill="clay")
    lines = [
        (f"Lens {length(lens, system)} up, {_tilt_words(advice)}", ""),
        (_capital(_wedge_words(advice, system)), ""),
        (_ground_words(near, system), "near"),
    ]  # fmt: skip
    if drawn_snow:
        lines.append((f"usual snow {length(snow, system)}", "snow"))
    lines.append((f"{animal.name} {length(animal.shoulder_mid_m, system)} at the shoulder, to scale", ""))
    for i, (words, mark) in enumerate(lines):
        x, y = 182.0, scene + 24 + 18 * i
        if mark == "near":
            pen.shape(f"M{x + 6:.1f} {y - 9:.1f}l-5 10h10Z", fill="clay")
        if mark == "snow":
            pen.line(x - 6, y - 4, x + 13, y - 4, ink="water", wide=1.6, dash="6 3")
        pen.text(x + 20 if mark else x, y, words, size=12, halo=False)
    _wedge_inset(pen, advice, case_height_mm, y=scene + 6)
    slope = (
        "The ground is level."
        if abs(ground.slope_deg) < 0.5
        else f"The ground {'falls away' if ground.slope_deg > 0 else 'rises'} by {abs(ground.slope_deg):.0f}°."
    )
    return pen.done(
        across,
        height,
        title=f"The placement from the side, {animal.name.lower()} at the aim point",
        desc=f"To scale. The lens is {length(lens, system)} up, {_tilt_words(advice)}, and looks at a "
        f"point {length(advice.aim_height_m, system)} above the "
        f"ground, {length(aim, system)} away. {slope} In the picture: {_ground_words(near, system)}. "
        f"{_capital(_wedge_words(advice, system))}."
        + (f" Usual snow is {length(snow, system)} deep." if drawn_snow else ""),
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _tilt_words(advice: PlacementAdvice) -> str:
    tilt = advice.tilt_deg
    return "level" if abs(tilt) < 0.5 else f"tilted about {abs(tilt):.0f}° {'down' if tilt > 0 else 'up'}"


def _wedge_words(advice: PlacementAdvice, system: System) -> str:
    wedge = advice.wedge
    if wedge.behind == "none":
        return "no wedge"
    return f"wedge {said.thickness(wedge.thickness_mm, system)} behind the {wedge.behind}"


def _wedge_inset(pen: _Pen, advice: PlacementAdvice, case_mm: float, *, y: float) -> None:
    """Trunk, wedge and case, enlarged."""
    wide, tall = 150.0, 100.0
    x = 12.0
    pen.add(
        f'<rect x="{x:.0f}" y="{y:.1f}" width="{wide:.0f}" height="{tall:.0f}" rx="5" fill="{pen.of("leaf")}" '
        f'stroke="{pen.of("edge")}"/>'
    )
    bark = x + 54
    pen.shape(f"M{x + 18:.1f} {y + 0.5:.1f}H{bark:.1f}V{y + tall - 0.5:.1f}H{x + 18:.1f}Z", fill="ruled", ink="edge")
    # Case and wedge at one scale. The case hinges on the edge that touches the bark.
    size, foot = 76.0, y + 88.0
    turn = math.degrees(math.asin(min(advice.wedge.thickness_mm / case_mm, 1.0)))
    down = advice.wedge.behind == "top"
    hinge = foot - size if advice.wedge.behind == "bottom" else foot
    pen.add(f'<g transform="rotate({turn if down else -turn:.1f} {bark:.1f} {hinge:.1f})">')
    pen.shape(f"M{bark:.1f} {foot - size:.1f}h42v{size:g}h-42Z", fill="ink")
    pen.add(f'<circle cx="{bark + 42:.1f}" cy="{foot - size / 2:.1f}" r="7" fill="{pen.of("edge")}"/></g>')
    if advice.wedge.behind != "none":
        t = math.radians(turn)
        edge_x = bark + size * math.sin(t)
        edge_y = hinge + (-size if down else size) * math.cos(t)
        pen.shape(f"M{bark:.1f} {hinge:.1f}L{edge_x:.1f} {edge_y:.1f}H{bark:.1f}Z", fill="clay", ink="clay", wide=0.8)


# --- the sun through the year -----------------------------------------------------------------


def glare_svg(year: GlareYear, *, theme: Theme = "page", key: str = "sun") -> str:
    """The year, left to right, by the hours of the clock, downwards: dark, light, sun near, sun in the picture."""
    pen = _Pen(theme, key)
    left, top, wide, tall = 44.0, 30.0, WIDTH - 56.0, 288.0
    days = year.grid.shape[0]
    every = 3
    columns = range(0, days, every)
    cell_w, cell_h = wide / days, tall / CELLS_A_DAY
    near_hatch = pen.hatch("near", ink="clay", turn=45, gap=5, wide=1.4)
    night = pen.hatch("night", ink="faint", turn=0, gap=3, wide=0.9)

    def runs(states: Iterable[int]) -> str:
        wanted = list(states)
        pieces = []
        for day in columns:
            column = np.isin(year.grid[min(day + every // 2, days - 1)], wanted)
            edges = np.flatnonzero(np.diff(np.concatenate([[0], column.astype(np.int8), [0]])))
            span = min(every, days - day) * cell_w + 0.3
            for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
                pieces.append(
                    f"M{left + day * cell_w:.1f} {top + begin * cell_h:.1f}h{span:.1f}v{(end - begin) * cell_h:.1f}"
                    f"h-{span:.1f}Z"
                )
        return "".join(pieces)

    pen.shape(f"M{left:g} {top:g}h{wide:g}v{tall:g}h-{wide:g}Z", fill="leaf")
    pen.shape(runs([DOWN]), fill="ruled")
    pen.shape(runs([DOWN]), fill=night, opacity=0.5)
    pen.shape(runs([NEAR]), fill="clay-wash")
    pen.shape(runs([NEAR]), fill=near_hatch)
    pen.shape(runs([IN_FRAME]), fill="clay")
    starts = np.cumsum([0, 31, days - 337, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    for month, start in enumerate(starts.tolist()):
        x = left + start * cell_w
        if month:
            pen.line(x, top, x, top + tall, ink="edge", wide=0.6, dash="1 3")
        pen.text(x + 15 * cell_w, top - 9, MONTHS[month][:3], anchor="middle", size=12, halo=False)
    for hour in range(0, 25, 3):
        y = top + hour * tall / 24
        if 0 < hour < 24:
            pen.line(left, y, left + wide, y, ink="edge", wide=0.6, dash="1 3")
        pen.text(left - 6, y + 4, f"{hour:02d}", anchor="end", size=12, halo=False)
    pen.shape(f"M{left:g} {top:g}h{wide:g}v{tall:g}h-{wide:g}Z", ink="edge")
    y = top + tall + 16
    swatches: tuple[tuple[tuple[str, ...], str], ...] = (
        (("ruled", night), "sun down"),
        (("leaf",), "sun elsewhere"),
        (("clay-wash", near_hatch), "sun near the picture"),
        (("clay",), "sun in the picture"),
    )
    x = left
    for fills, words in swatches:
        for fill in fills:
            pen.shape(f"M{x:.0f} {y:.0f}h22v13h-22Z", fill=fill)
        pen.shape(f"M{x:.0f} {y:.0f}h22v13h-22Z", ink="edge")
        pen.text(x + 29, y + 11, words, size=12, halo=False)
        x += 45 + 7.2 * len(words)
    offset = year.utc_offset_min
    clock = f"UTC{'+' if offset >= 0 else '-'}{abs(offset) // 60:02d}:{abs(offset) % 60:02d}"
    pen.text(left, y + 32, f"Hours of a clock at {clock}; clear days.", ink="faint", size=12, halo=False)
    return pen.done(
        WIDTH,
        y + 42,
        title=f"Sun before a camera that looks {said.wind(year.frame.heading_deg)}, through the year by hours",
        desc=year.sentence,
    )
