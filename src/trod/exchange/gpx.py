"""GPX 1.1 for hand-helds: places, routes and tracks out, tracks in.

Places and lines come fit to leave (`trod.leaving`): of a hidden place the middle of a coarse cell is written, and
said so. A name can give a place away as well: names are written as they are.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from xml.etree import ElementTree

from trod.errors import WrongInput
from trod.leaving import FitLine, FitPlace

NAMESPACE = "http://www.topografix.com/GPX/1/1"
MOST_CHARACTERS = 50_000_000
MOST_POINTS = 500_000
HIDDEN = "Each sensitive place stands at the middle of a coarse cell of about 2 km, not where it is."
# What XML 1.0 cannot hold: most control characters, half surrogates, two noncharacters.
_UNFIT = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def fit_for_xml(text: str) -> str:
    """Text with each character that XML 1.0 cannot hold turned into a blank."""
    return _UNFIT.sub(" ", text)


@dataclass(frozen=True, kw_only=True)
class Waypoint:
    """A place. height_m : above the sea, if known. note : what there is to know or do. kind : a word for its sort.

    The height of a hidden place is not written.
    """

    place: FitPlace
    name: str
    note: str = ""
    kind: str = ""
    height_m: float | None = None

    def __post_init__(self) -> None:
        if self.height_m is not None and not math.isfinite(self.height_m):
            raise WrongInput(f"height of {self.name!r}", got=self.height_m, needed="metres, or nothing")


@dataclass(frozen=True, kw_only=True)
class Route:
    """Places in the order in which one goes to them."""

    name: str
    points: tuple[Waypoint, ...]
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class TrackLine:
    """A way as it lies on the ground, in one piece or several."""

    name: str
    lines: tuple[FitLine, ...]


def gpx_text(
    *,
    name: str,
    waypoints: Sequence[Waypoint] = (),
    routes: Sequence[Route] = (),
    tracks: Sequence[TrackLine] = (),
    note: str = "",
    made_at: datetime | None = None,
) -> str:
    """A GPX 1.1 document.

    made_at : aware; written in UTC. Raises WrongInput for a time without a zone.
    References : GPX 1.1 schema, topografix.com, 2004 (order of elements from memory; read back by gpxpy in tests).
    """
    points = (*waypoints, *(p for route in routes for p in route.points))
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": "Trod", "xmlns": NAMESPACE})
    head = ElementTree.SubElement(root, "metadata")
    _text(head, "name", name)
    if any(p.place.hidden for p in points):
        note = f"{note} {HIDDEN}".strip()
    _text(head, "desc", note)
    if made_at is not None:
        _text(head, "time", utc_text(made_at))
    for point in waypoints:
        _point(root, "wpt", point)
    for route in routes:
        drawn = ElementTree.SubElement(root, "rte")
        _text(drawn, "name", route.name)
        _text(drawn, "desc", route.note)
        for point in route.points:
            _point(drawn, "rtept", point)
    for track in tracks:
        drawn = ElementTree.SubElement(root, "trk")
        _text(drawn, "name", track.name)
        for line in track.lines:
            if not line.points:
                continue
            segment = ElementTree.SubElement(drawn, "trkseg")
            for lat, lon in line.points:
                _at(segment, "trkpt", lat, lon)
    ElementTree.indent(root, space=" ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _text(parent: ElementTree.Element, tag: str, text: str) -> None:
    text = fit_for_xml(text).strip()
    if text:
        ElementTree.SubElement(parent, tag).text = text


def _at(parent: ElementTree.Element, tag: str, lat: float, lon: float) -> ElementTree.Element:
    # GPX: 180 degrees east is written as 180 west.
    lon = -180.0 if lon >= 180 else lon
    return ElementTree.SubElement(parent, tag, {"lat": f"{lat:.7f}", "lon": f"{lon:.7f}"})


def _point(parent: ElementTree.Element, tag: str, point: Waypoint) -> None:
    place = point.place
    drawn = _at(parent, tag, place.latitude_deg, place.longitude_deg)
    if point.height_m is not None and not place.hidden:
        _text(drawn, "ele", f"{point.height_m:.1f}")
    _text(drawn, "name", point.name)
    _text(drawn, "desc", point.note)
    _text(drawn, "type", point.kind)


def utc_text(when: datetime) -> str:
    """An aware instant as ISO 8601 in UTC, '2026-03-02T06:00:00Z'. Raises WrongInput for one without a zone."""
    if when.tzinfo is None:
        raise WrongInput("time", got=when.isoformat(), needed="a time with its zone")
    return when.astimezone(UTC).replace(microsecond=0, tzinfo=None).isoformat() + "Z"


def lines_of_gpx(text: str) -> tuple[tuple[tuple[float, float], ...], ...]:
    """The tracks and routes of a GPX file as lines of (latitude, longitude); lines of one point are passed over.

    Raises WrongInput for what is no GPX, is too large, defines its own entities, or has no line.
    """
    if len(text) > MOST_CHARACTERS:
        raise WrongInput("GPX file", got=f"{len(text)} characters", needed=f"at most {MOST_CHARACTERS}; part it")
    if "<!DOCTYPE" in text.upper() or "<!ENTITY" in text.upper():
        raise WrongInput("GPX file", got="one with its own definitions (DOCTYPE)", needed="plain GPX 1.0 or 1.1")
    import gpxpy

    try:
        gpx: Any = gpxpy.parse(text.strip())
    except Exception as trouble:  # gpxpy lets all kinds out
        why = str(trouble)[:80]
        raise WrongInput("GPX file", got=f"one that cannot be read ({why})", needed="GPX 1.0 or 1.1") from trouble
    found = [segment.points for track in gpx.tracks for segment in track.segments]
    found += [route.points for route in gpx.routes]
    lines = tuple(tuple((float(p.latitude), float(p.longitude)) for p in points) for points in found if len(points) > 1)
    if not lines:
        raise WrongInput("GPX file", got="one without tracks", needed="a track or route of two points or more")
    if sum(len(line) for line in lines) > MOST_POINTS:
        raise WrongInput("GPX file", got="too many points", needed=f"at most {MOST_POINTS}; part it")
    if not all(-90 <= lat <= 90 and -180 <= lon <= 180 for line in lines for lat, lon in line):
        raise WrongInput("GPX file", got="places off the globe", needed="latitudes to 90 and longitudes to 180")
    return lines
