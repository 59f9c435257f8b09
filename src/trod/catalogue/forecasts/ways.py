"""From one site to another on a reserve: along its tracks, over its heights, and what one camera's visit takes of it.

The same ways serve the planner of rounds and the price of a visit, so that both tell one figure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from trod.catalogue.forecasts import heights
from trod.catalogue.models import Reserve, Site
from trod.errors import TrodError, WrongInput
from trod.planning.ground.heightgrid import HeightGrid
from trod.planning.visit import tracks, travel
from trod.planning.visit.travel import NoStart, Place, Supposed, Ways, WayShare
from trod.telling import ways as telling
from trod.units import system_of

WALK_IN_M = 150.0  # from car to site, where no track tells; assumed
TRAVEL_MIN = 60.0  # there and back, where nobody said where rounds start; assumed
DAY_MIN = 510.0  # away from home on a day of a round: 8:00 to 17:00 less half an hour of rest, as rounds are planned
VISIT_MIN = 15.0  # card, batteries, lens, clock; assumed
START = "@start"  # no slug looks like this


def place_of(site: Site, *, by_car: bool) -> Place:
    """A site as a place to go to."""
    return Place(
        key=site.slug, latitude_deg=site.latitude, longitude_deg=site.longitude,
        walk_in_m=WALK_IN_M if by_car else 0.0, climb_m=site.climb_m,
    )  # fmt: skip


def ways_for(
    reserve: Reserve, places: Sequence[Place], *, by_car: bool, by_tracks: bool = True
) -> tuple[Ways, Supposed]:
    """Along the reserve's tracks where there are any that serve, else by the straight line.

    Over its height grid where there is one, else with the climbs typed at its sites; and what was assumed.
    """
    grid = heights.grid_of(reserve)
    try:
        return _ways(_Shape(reserve.boundary), tuple(places), by_car, by_tracks, _Kept(grid))
    except NoStart as trouble:
        raise telling.start_refused(trouble.no_way, system_of(reserve.units)) from trouble


class _Shape:
    """A GeoJSON document that can be a key: equal when it says the same."""

    def __init__(self, document: Any) -> None:
        self.document, self.told = document, repr(document)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Shape) and self.told == other.told

    def __hash__(self) -> int:
        return hash(self.told)


class _Kept:
    """A height grid that can be a key: the same while the same file is held."""

    def __init__(self, grid: HeightGrid | None) -> None:
        self.grid = grid

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Kept) and self.grid is other.grid

    def __hash__(self) -> int:
        return id(self.grid)


@lru_cache(maxsize=16)
def _ways(shape: _Shape, places: tuple[Place, ...], by_car: bool, by_tracks: bool, kept: _Kept) -> tuple[Ways, Supposed]:
    pace, grid = travel.Pace(), kept.grid
    supposed = Supposed(followed="as asked")
    if by_tracks:
        try:
            known = tracks.tracks_from_geojson(shape.document or {"type": "FeatureCollection", "features": []})
            network = tracks.join(known, grid=grid)
        except tracks.NoTracks:
            supposed = Supposed(followed="no track")
        except WrongInput as trouble:
            supposed = Supposed(followed="unusable tracks", trouble=str(trouble.got))
        else:
            driven = by_car and any(t.drive for t in known)
            found = tracks.along(places, network, drive=driven, pace=pace, grid=grid)
            return travel.with_climbs(found, places), Supposed(car_left=by_car and not driven)
    ways = travel.with_climbs(travel.straight(places, pace=pace, drive=by_car, grid=grid), places)
    return ways, replace(supposed, last_walk_m=WALK_IN_M if by_car else 0.0)


# What one visit takes of a round --------------------------------------------------------------------------------


def shares(reserve: Reserve, sites: Sequence[Site]) -> Mapping[int, WayShare]:
    """What each site takes of the way of a round to all of them, by its row's number: that is how cameras are visited.

    The round goes to the next nearest site each time, is bettered by turning stretches round, and is cut into days;
    each site has an equal share of its day. A site alone has the way to it and back.
    """
    sites = sorted({site.pk: site for site in sites}.values(), key=lambda s: s.slug)
    if reserve.base_latitude is None or reserve.base_longitude is None:
        return {s.pk: WayShare(minutes=TRAVEL_MIN, why="no start") for s in sites}
    start = Place(key=START, latitude_deg=reserve.base_latitude, longitude_deg=reserve.base_longitude)
    try:
        ways, _ = ways_for(reserve, [start, *(place_of(site, by_car=True) for site in sites)], by_car=True)
    except TrodError as trouble:
        return {s.pk: WayShare(minutes=TRAVEL_MIN, why="trouble", trouble=str(trouble)) for s in sites}
    minutes = ways.minutes
    there = [n for n in range(1, len(sites) + 1) if np.isfinite(minutes[0, n] + minutes[n, 0])]
    found = {
        s.pk: WayShare(minutes=TRAVEL_MIN, why="no way", no_way=ways.missing.get(s.slug))
        for n, s in enumerate(sites, 1)
        if n not in there
    }
    for trip in _days(_tour(minutes, there), minutes):
        whole = sum(float(minutes[a, b]) for a, b in zip([0, *trip], [*trip, 0], strict=True))
        for n in trip:
            found[sites[n - 1].pk] = WayShare(
                minutes=min(24 * 60.0, whole / len(trip)), whole_min=whole, sites=len(trip), how=ways.how
            )
    return found


def _tour(minutes: np.ndarray, there: Sequence[int]) -> list[int]:
    """The sites in an order that is short: nearest next, then stretches turned round while that helps."""
    left, tour, at = set(there), [], 0
    while left:
        at = min(left, key=lambda n: (minutes[at, n], n))
        left.remove(at)
        tour.append(at)

    def length(order: Sequence[int]) -> float:
        return sum(float(minutes[a, b]) for a, b in zip([0, *order], [*order, 0], strict=True))

    best, bettered = length(tour), len(tour) <= 60
    while bettered:
        bettered = False
        for i in range(len(tour) - 1):
            for j in range(i + 2, len(tour) + 1):
                other = [*tour[:i], *tour[i:j][::-1], *tour[j:]]
                if (new := length(other)) < best - 1e-6:
                    tour, best, bettered = other, new, True
    return tour


def _days(tour: Sequence[int], minutes: np.ndarray) -> list[list[int]]:
    """The tour cut into days that one can be away."""
    out: list[list[int]] = []
    gone = 0.0
    for n in tour:
        trip = out[-1] if out else []
        more = float(minutes[trip[-1], n]) + VISIT_MIN if trip else 0.0
        if trip and gone + more + float(minutes[n, 0]) <= DAY_MIN:
            trip.append(n)
            gone += more
        else:
            out.append([n])
            gone = float(minutes[0, n]) + VISIT_MIN
    return out
