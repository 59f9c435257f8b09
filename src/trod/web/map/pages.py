"""What the map and the site pages show, as plain data. Everything on the map comes from our own records."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Q
from django.urls import reverse

from trod import clock, wording
from trod.catalogue.models import Deployment, Reserve, Sequence, Sign, Site, Species
from trod.catalogue.rows import usual
from trod.errors import WrongInput
from trod.web.shared.seeing import SHOWS_PEOPLE

MOST_POINTS = 20_000  # of one imported track file; what is more is thinned
MOST_SIGN = 2000  # on the map at once, newest first


def standing_cameras(reserve: Reserve) -> dict[int, list[Deployment]]:
    """Open deployments by site."""
    found: dict[int, list[Deployment]] = {}
    for d in Deployment.objects.filter(site__reserve=reserve, end__isnull=True).select_related("camera"):
        found.setdefault(d.site_id, []).append(d)
    return found


def map_data(
    reserve: Reserve, sites: list[Site], standing: dict[int, list[Deployment]], sign: list[Sign]
) -> dict[str, Any]:
    """The map's data, for a <script type="application/json">."""
    return {
        "middle": [reserve.latitude, reserve.longitude],
        "boundary": reserve.boundary,
        "sites": [
            {
                "name": s.name,
                "url": s.get_absolute_url(),
                "at": [s.latitude, s.longitude],
                "feature": s.feature,
                "what": s.get_feature_display(),
                "sensitive": s.sensitive,
                "retired": s.retired,
                "cameras": [str(d.camera) for d in standing.get(s.pk, ())],
            }
            for s in sites
        ],
        "sign": [
            {
                "at": [s.latitude, s.longitude],
                "kind": s.kind,
                "what": s.get_kind_display(),
                "species": str(s.species) if s.species_id else "",
                "on": s.seen_on.isoformat(),
                "url": reverse("map:sign_edit", args=[s.pk]),
            }
            for s in sign
        ],
    }


def sign_of_month(reserve: Reserve, month: int | None) -> list[Sign]:
    """Sign seen in a month of any year, or all, newest first."""
    rows = Sign.objects.filter(reserve=reserve).select_related("species")
    if month:
        rows = rows.filter(seen_on__month=month)
    return list(rows[:MOST_SIGN])


def came_by_month(site: Site) -> tuple[list[str], list[tuple[str, list[int], int]]]:
    """What people saw at a site: months of the year, and for each species the sequences by month and in all."""
    counted: dict[int, list[int]] = {}
    for one in usual.days(site):
        for number, (sequences, _) in one.species.items():
            counted.setdefault(int(number), [0] * 12)[one.day.month - 1] += sequences
    names = dict(Species.objects.filter(pk__in=counted).values_list("pk", "name"))
    counts = {names[number]: months for number, months in counted.items() if number in names}
    table = [(name, months, sum(months)) for name, months in counts.items()]
    return (
        list(wording.SHORT_MONTHS),
        sorted(table, key=lambda line: (-line[2], line[0])),
    )


def years_of(deployments: list[Deployment], zone: str, now: datetime) -> list[int]:
    """The years in which a camera stood at a site, newest first."""
    years = {
        year
        for d in deployments
        for year in range(clock.local(d.start, zone).year, clock.local(d.end or now, zone).year + 1)
    }
    return sorted(years, reverse=True)


def latest_pictures(site: Site, n: int = 8) -> list[tuple[str, datetime]]:
    """Covers of the site's last sequences, without those that people said show a person or a vehicle."""
    hidden = Q(identification__observations__what__in=SHOWS_PEOPLE)
    newest: list[tuple[str, datetime]] = []
    for d in site.deployments.order_by("-start")[:4]:
        rows = (
            Sequence.objects.filter(deployment=d, cover__isnull=False)
            .exclude(hidden)
            .order_by("-start_at")
            .values_list("cover__sha256", "start_at")[:n]
        )
        newest += list(rows)
        if len(newest) >= n:
            break
    return newest[:n]


# Boundary and tracks ----------------------------------------------------------------------------------------


def lines_of_gpx(text: str) -> list[list[list[float]]]:
    """Tracks and routes of a GPX file as lines of [longitude, latitude].

    Raises WrongInput when there are none.
    """
    from trod.web.forms.lists import parse_gpx

    gpx = parse_gpx(text)
    found = [segment.points for track in gpx.tracks for segment in track.segments] + [r.points for r in gpx.routes]
    lines = [[[round(p.longitude, 6), round(p.latitude, 6)] for p in points] for points in found if len(points) > 1]
    if not lines:
        raise WrongInput("GPX file", got="one without tracks", needed="a track or route; waypoints come in as sites")
    if any(not (-180 <= x <= 180 and -90 <= y <= 90) for line in lines for x, y in line):
        raise WrongInput("GPX file", got="places off the globe", needed="latitudes to 90 and longitudes to 180")
    step = -(-sum(map(len, lines)) // MOST_POINTS)
    return [line[:-1:step] + line[-1:] for line in lines] if step > 1 else lines


def features(boundary: Any) -> list[dict[str, Any]]:
    """A stored boundary as GeoJSON features, whatever of GeoJSON it is."""
    if not isinstance(boundary, dict):
        return []
    if boundary.get("type") == "FeatureCollection":
        return [f for f in boundary.get("features") or [] if isinstance(f, dict)]
    if boundary.get("type") == "Feature":
        return [boundary]
    return [{"type": "Feature", "properties": {}, "geometry": boundary}]


def with_lines(boundary: Any, lines: list[list[list[float]]], *, name: str, as_boundary: bool) -> dict[str, Any]:
    """The boundary with these lines: in its place as polygons, or beside it."""
    kept = features(boundary)
    if as_boundary:
        kept = [f for f in kept if (f.get("geometry") or {}).get("type") not in ("Polygon", "MultiPolygon")]
        rings = [line if line[0] == line[-1] else [*line, line[0]] for line in lines if len(line) >= 3]
        new: list[dict[str, object]] = [{"type": "Polygon", "coordinates": [ring]} for ring in rings]
        if not new:
            raise WrongInput("GPX file", got="tracks of two points", needed="a track around the ground")
    else:
        new = [{"type": "LineString", "coordinates": line} for line in lines]
    added = [{"type": "Feature", "properties": {"name": name}, "geometry": geometry} for geometry in new]
    return {"type": "FeatureCollection", "features": kept + added}
