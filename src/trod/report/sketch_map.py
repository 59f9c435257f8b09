"""A plain map of the sites, drawn from their coordinates alone: no tiles, no network.

Points lie on a local flat grid (east–west shrunk by the cosine of the middle latitude), which is true to a
few metres in ten kilometres. North is up. A hidden place is a hatched cell of the coarse grid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trod import units
from trod.findings.blur import METRES_PER_DEGREE, Cell
from trod.leaving import FitLine, FitPlace
from trod.report import sentences
from trod.units import System

WIDTH, MOST_HEIGHT, LEAST_HEIGHT = 470.0, 310.0, 160.0
MARGIN = 26.0
INK, SOFT, MOSS, PAPER = "#1d1b16", "#5b5548", "#3d5524", "#ffffff"
FONT = "Libertinus Serif, Georgia, serif"


@dataclass(frozen=True, kw_only=True)
class Marker:
    """A site on the map: the number it has in the table, and whether it was watched in the period."""

    place: FitPlace
    number: int
    watched: bool


def draw(
    markers: Sequence[Marker],
    *,
    system: System = "metric",
    ways: Sequence[FitLine] = (),
    start: FitPlace | None = None,
) -> str:
    """The map as SVG; an empty string when there is no site.

    ways : lines to draw beneath, and start : a square where they begin.
    Carries only numbers as text, so no name can break out of it.
    """
    if not markers:
        return ""
    points = [m for m in markers if m.place.cell is None]
    cells: dict[Cell, list[int]] = {}
    for m in markers:
        if m.place.cell is not None:
            cells.setdefault(m.place.cell, []).append(m.number)
    lines = [way.points for way in ways]
    lats = [m.place.latitude_deg for m in points] + [deg for c in cells for deg in (c.south_deg, c.north_deg)]
    lons = [m.place.longitude_deg for m in points] + [deg for c in cells for deg in (c.west_deg, c.east_deg)]
    lats += [lat for line in lines for lat, _ in line] + ([start.latitude_deg] if start else [])
    lons += [lon for line in lines for _, lon in line] + ([start.longitude_deg] if start else [])
    middle_lat, middle_lon = (min(lats) + max(lats)) / 2, (min(lons) + max(lons)) / 2
    shrink = max(math.cos(math.radians(middle_lat)), 0.01)

    def metres(lat: float, lon: float) -> tuple[float, float]:
        return (lon - middle_lon) * METRES_PER_DEGREE * shrink, (lat - middle_lat) * METRES_PER_DEGREE

    flat = [metres(lat, lon) for lat, lon in zip(lats, lons, strict=True)]
    wide = max(max(x for x, _ in flat) - min(x for x, _ in flat), 200.0)
    high = max(max(y for _, y in flat) - min(y for _, y in flat), 100.0)
    scale = min((WIDTH - 2 * MARGIN) / wide, (MOST_HEIGHT - 2 * MARGIN - 24) / high)
    height = max(LEAST_HEIGHT, high * scale + 2 * MARGIN + 24)

    def place(lat: float, lon: float) -> tuple[float, float]:
        x, y = metres(lat, lon)
        return WIDTH / 2 + x * scale, (height - 24) / 2 - y * scale

    body = [
        '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V5" stroke="{SOFT}" stroke-width="0.7"/>'
        "</pattern></defs>"
    ]
    for line in lines:
        drawn = " ".join(f"{x:.1f},{y:.1f}" for x, y in (place(lat, lon) for lat, lon in line))
        body.append(f'<polyline points="{drawn}" fill="none" stroke="{SOFT}" stroke-width="1" stroke-linejoin="round"/>')
    taken: list[tuple[float, float, float, float]] = []
    if start:
        x, y = place(start.latitude_deg, start.longitude_deg)
        body.append(f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" fill="{INK}"/>')
        taken.append((x - 4, y - 4, x + 4, y + 4))
    for cell, numbers in sorted(cells.items(), key=lambda item: item[1]):
        x0, y0 = place(cell.north_deg, cell.west_deg)
        x1, y1 = place(cell.south_deg, cell.east_deg)
        body.append(
            f'<rect x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" height="{y1 - y0:.1f}" '
            f'fill="url(#hatch)" fill-opacity="0.35" stroke="{SOFT}" stroke-width="0.6" '
            'stroke-dasharray="2 2"/>'
        )
        words = ", ".join(str(n) for n in sorted(numbers))
        wide_words = 5.2 * len(words) + 6
        body.append(
            f'<rect x="{x0 + 3:.1f}" y="{y0 + 3:.1f}" width="{wide_words:.1f}" height="13" fill="{PAPER}"/>'
            f'<text x="{x0 + 6:.1f}" y="{y0 + 13:.1f}" font-size="10" font-style="italic" fill="{SOFT}">'
            f"{words}</text>"
        )
        taken.append((x0 + 3, y0 + 3, x0 + 3 + wide_words, y0 + 16))
    radius = 4.0 if len(points) <= 40 else 2.5
    spots = [(m, *place(m.place.latitude_deg, m.place.longitude_deg)) for m in points]
    taken += [(x - radius, y - radius, x + radius, y + radius) for _, x, y in spots]
    for marker, x, y in spots:
        fill = MOSS if marker.watched else PAPER
        body.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="{fill}" stroke="{MOSS}" stroke-width="1.2"/>')
    for marker, x, y in spots:
        body.append(_label(str(marker.number), x, y, radius, taken))
    body.append(_scale_bar(scale, height, system))
    body.append(_north(height))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:.0f}" height="{height:.0f}" '
        f'viewBox="0 0 {WIDTH:.0f} {height:.0f}" font-family="{FONT}">' + "".join(body) + "</svg>"
    )


def _label(words: str, x: float, y: float, radius: float, taken: list[tuple[float, float, float, float]]) -> str:
    """The number beside its dot, on the first side that is still free; on the right when none is."""
    wide, gap = 5.4 * len(words), radius + 3
    tries = (
        (x + gap, y + 3.5, "start"),
        (x - gap, y + 3.5, "end"),
        (x, y - gap - 1, "middle"),
        (x, y + gap + 8, "middle"),
    )
    chosen = tries[0]
    for left, base, anchor in tries:
        x0 = left - {"start": 0.0, "end": wide, "middle": wide / 2}[anchor]
        box = (x0, base - 8, x0 + wide, base + 1)
        if not any(box[0] < t[2] and t[0] < box[2] and box[1] < t[3] and t[1] < box[3] for t in taken):
            taken.append(box)
            chosen = (left, base, anchor)
            break
    left, base, anchor = chosen
    return f'<text x="{left:.1f}" y="{base:.1f}" font-size="10" text-anchor="{anchor}" fill="{INK}">{words}</text>'


def _scale_bar(scale: float, height: float, system: System) -> str:
    """The longest round length that takes at most a quarter of the map's width."""
    unit_m = 1.0
    if system == "us":
        unit_m = units.MILE_M if 0.25 * WIDTH / scale >= units.MILE_M / 4 else units.FOOT_M
    room = 0.25 * WIDTH / scale / unit_m
    power = 10.0 ** math.floor(math.log10(room))
    nice = max(step * power for step in (1, 2, 2.5, 5) if step * power <= room)
    length, y = nice * unit_m * scale, height - 12
    x = MARGIN
    return (
        f'<path d="M{x:.1f} {y - 4:.1f} V{y:.1f} H{x + length:.1f} V{y - 4:.1f}" fill="none" stroke="{INK}" '
        f'stroke-width="1"/><text x="{x + length + 6:.1f}" y="{y:.1f}" font-size="10" fill="{INK}">'
        f"{sentences.distance(nice * unit_m, system)}</text>"
    )


def _north(height: float) -> str:
    x, y = WIDTH - MARGIN, height - 30
    return (
        f'<path d="M{x:.1f} {y + 18:.1f} V{y:.1f} m-3.5 7 l3.5 -7 l3.5 7" fill="none" stroke="{INK}" '
        f'stroke-width="1"/><text x="{x:.1f}" y="{y - 4:.1f}" font-size="10" text-anchor="middle" '
        f'fill="{INK}">N</text>'
    )
