"""GeoJSON as in RFC 7946.

WGS 84, [longitude, latitude], no `crs`, outer rings counter-clockwise, lines cut at the antimeridian.

Places and lines come fit to leave (`trod.leaving`); of a hidden place its cell is written, as an area.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from trod.errors import WrongInput
from trod.leaving import FitLine, FitPlace

Line = Sequence[tuple[float, float]]
"""Points as (latitude, longitude). [°]"""
DIGITS = 7  # about a centimetre


@dataclass(frozen=True, kw_only=True)
class Point:
    """One place; the area of a coarse cell stands for a hidden one."""

    place: FitPlace
    told: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Path:
    """A line, such as a way or a track."""

    line: FitLine
    told: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Area:
    """An area without holes. ring : its corners, in either sense, closed or not."""

    ring: FitLine
    told: Mapping[str, Any] = field(default_factory=dict)


def geojson_text(features: Sequence[Point | Path | Area]) -> str:
    """A FeatureCollection. Raises WrongInput for places off the globe, and for lines and areas of too few points."""
    made = [_feature(feature) for feature in features]
    return json.dumps({"type": "FeatureCollection", "features": made}, ensure_ascii=False, allow_nan=False) + "\n"


def _feature(feature: Point | Path | Area) -> dict[str, Any]:
    told = {str(name): _plain(value) for name, value in feature.told.items()}
    if isinstance(feature, Point):
        cell = feature.place.cell
        if cell is None:
            position = _position(feature.place.latitude_deg, feature.place.longitude_deg)
            return _made({"type": "Point", "coordinates": position}, told)
        ring = [
            (cell.south_deg, cell.west_deg),
            (cell.south_deg, min(cell.east_deg, 180.0)),
            (cell.north_deg, min(cell.east_deg, 180.0)),
            (cell.north_deg, cell.west_deg),
        ]
        told["generalised"] = True
        return _made({"type": "Polygon", "coordinates": [_ring(ring)]}, told)
    if isinstance(feature, Path):
        pieces = _cut(feature.line.points)
        if len(pieces) == 1:
            return _made({"type": "LineString", "coordinates": pieces[0]}, told)
        return _made({"type": "MultiLineString", "coordinates": pieces}, told)
    return _made({"type": "Polygon", "coordinates": [_ring(feature.ring.points)]}, told)


def _made(geometry: dict[str, Any], told: dict[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "geometry": geometry, "properties": told}


def _plain(value: Any) -> Any:
    """A property that JSON can hold: numbers that are none become null, text loses half surrogates."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int):
        return value
    return str(value).encode("utf-8", "replace").decode("utf-8")


def _position(lat: float, lon: float) -> list[float]:
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise WrongInput("place", got=(lat, lon), needed="latitude and longitude in degrees")
    return [round(lon, DIGITS), round(lat, DIGITS)]


def _cut(line: Line) -> list[list[list[float]]]:
    """A line as pieces that do not cross the antimeridian; RFC 7946, section 3.1.9."""
    if len(line) < 2:
        raise WrongInput("line", got=f"{len(line)} point(s)", needed="two points or more")
    pieces = [[_position(*line[0])]]
    for (lat, lon), (next_lat, next_lon) in itertools.pairwise(line):
        here = _position(next_lat, next_lon)
        if abs(next_lon - lon) > 180:
            side = 180.0 if lon > 0 else -180.0
            turn = (next_lon - lon + 540) % 360 - 180
            share = (side - lon) / turn if turn else 0.0
            middle = lat + share * (next_lat - lat)
            pieces[-1].append(_position(middle, side))
            pieces.append([_position(middle, -side)])
        pieces[-1].append(here)
    return pieces


def _ring(ring: Line) -> list[list[float]]:
    """A closed ring, counter-clockwise; RFC 7946, section 3.1.6."""
    corners = [_position(lat, lon) for lat, lon in ring]
    if corners and corners[0] == corners[-1]:
        corners.pop()
    if len(corners) < 3:
        raise WrongInput("area", got=f"{len(corners)} corner(s)", needed="three corners or more")
    closed = [*corners, corners[0]]
    twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(closed))
    return closed if twice > 0 else closed[::-1]
