"""A plain map of the sites, drawn from their coordinates alone: no tiles, no network.

Points lie on a local flat grid (east–west shrunk by the cosine of the middle latitude), which is true to a
few metres in ten kilometres. North is up. A hidden place is a hatched cell of the coarse grid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trod import units
from trod.drawing.pen import NO_DRAWING, Pen, Svg, Theme, shape
from trod.drawing.scales import round_below
from trod.findings.blur import METRES_PER_DEGREE, Cell
from trod.leaving import FitLine, FitPlace
from trod.report import sentences
from trod.units import System

WIDTH, MOST_HEIGHT, LEAST_HEIGHT = 470.0, 310.0, 160.0
MARGIN = 26.0
FONT = "Libertinus Serif, Georgia, serif"
Box = tuple[float, float, float, float]  # left, top, right, bottom


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
    theme: Theme = "paper",
    key: str = "map",
    size: float = 10.0,
) -> Svg:
    """The map as SVG; an empty string when there is no site. Its only words are numbers, N and a length.

    ways : lines to draw beneath, and start : a square where they begin. size : of its words.
    """
    if not markers:
        return NO_DRAWING
    pen = Pen(theme, key=key, font=FONT)
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

    hatch = pen.hatch("hatch", ink="faint", gap=5, wide=0.35)
    for line in lines:
        points_of = " ".join(shape(*place(*at)) for at in line)
        pen.put("polyline", points=points_of, fill="none", ink="faint", wide=1, stroke_linejoin="round")
    taken: list[Box] = []
    if start:
        x, y = place(start.latitude_deg, start.longitude_deg)
        pen.rect(x - 4, y - 4, 8, 8, fill="ink")
        taken.append((x - 4, y - 4, x + 4, y + 4))
    for cell, numbers in sorted(cells.items(), key=lambda item: item[1]):
        x, y = place(cell.north_deg, cell.west_deg)
        x1, y1 = place(cell.south_deg, cell.east_deg)
        pen.rect(x, y, x1 - x, y1 - y, fill=hatch, opacity=0.35, ink="faint", wide=0.6, dash="2 2")
        words = ", ".join(str(n) for n in sorted(numbers))
        wide_words, high_words = 0.52 * size * len(words) + 6, 1.3 * size
        pen.rect(x + 3, y + 3, wide_words, high_words, fill="leaf")
        pen.text(x + 6, y + 3 + size, words, size=size, font_style="italic", fill="faint")
        taken.append((x + 3, y + 3, x + 3 + wide_words, y + 3 + high_words))
    radius = 4.0 if len(points) <= 40 else 2.5
    spots = [(m, *place(m.place.latitude_deg, m.place.longitude_deg)) for m in points]
    taken += [(x - radius, y - radius, x + radius, y + radius) for _, x, y in spots]
    for marker, x, y in spots:
        pen.circle(x, y, radius, fill="moss" if marker.watched else "leaf", ink="moss", wide=1.2)
    for marker, x, y in spots:
        _label(pen, str(marker.number), x, y, radius, size, taken)
    _scale_bar(pen, scale, height, size, system)
    x, y = WIDTH - MARGIN, height - 30
    pen.path(shape("M", x, y + 18, "V", y, "m-3.5 7l3.5 -7l3.5 7"), ink="ink", wide=1)
    pen.text(x, y - 4, "N", size=size, anchor="middle")
    sites = f"{len(markers)} sites" if len(markers) > 1 else "a site"
    return pen.done(WIDTH, height, f"Sketch map of {sites}, north at the top")


def _label(pen: Pen, words: str, x: float, y: float, radius: float, size: float, taken: list[Box]) -> None:
    """The number beside its dot, on the first side that is still free; on the right when none is."""
    wide, gap = 0.54 * size * len(words), radius + 3
    tries = (
        (x + gap, y + 0.35 * size, "start"),
        (x - gap, y + 0.35 * size, "end"),
        (x, y - gap - 1, "middle"),
        (x, y + gap + 0.8 * size, "middle"),
    )
    chosen = tries[0]
    for left, base, anchor in tries:
        x0 = left - {"start": 0.0, "end": wide, "middle": wide / 2}[anchor]
        box = (x0, base - 0.8 * size, x0 + wide, base + 1)
        if not any(box[0] < t[2] and t[0] < box[2] and box[1] < t[3] and t[1] < box[3] for t in taken):
            taken.append(box)
            chosen = (left, base, anchor)
            break
    left, base, anchor = chosen
    pen.text(left, base, words, size=size, anchor=anchor, halo=True)


def _scale_bar(pen: Pen, scale: float, height: float, size: float, system: System) -> None:
    """The longest round length that takes at most a quarter of the map's width."""
    unit_m = 1.0
    if system == "us":
        unit_m = units.MILE_M if 0.25 * WIDTH / scale >= units.MILE_M / 4 else units.FOOT_M
    length_m = round_below(0.25 * WIDTH / scale / unit_m) * unit_m
    x, y, end = MARGIN, height - 12, MARGIN + length_m * scale
    pen.path(shape("M", x, y - 4, "V", y, "H", end, "V", y - 4), ink="ink", wide=1)
    pen.text(end + 6, y, sentences.distance(length_m, system), size=size)
