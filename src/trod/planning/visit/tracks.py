"""The reserve's own tracks as a network: on foot or by car along them, and the last stretch across country.

Tracks come as lines, from GeoJSON (RFC 7946) or from a hand-held's GPX. Each line is cut into short steps; steps
of different lines closer together than a little join, so that lines which cross, or end just short of each
other, are connected. A bridge over a track is therefore taken for a crossing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from trod.errors import WrongInput
from trod.planning.ground.heightgrid import HeightGrid
from trod.planning.visit.travel import (
    EARTH_M,
    Floats,
    HowGone,
    Line,
    NoStart,
    NoWay,
    Pace,
    Place,
    Ways,
    check_places,
    distance_m,
    heights_at,
    tobler_kmh,
)

Indices = NDArray[np.intp]

STEP_M = 10.0
# Two steps that cross at right angles are at most 0.71 of a step apart; one that ends 8 m short still joins.
JOIN_SHARE = 1.2
MOST_NODES = 60_000
MOST_POINTS = 500_000
MOST_PAIRS = 15_000_000  # places by nodes; about 400 MB
DOORS = 6  # so many tracks around a place are tried
SHARE_MIN = 6.0  # so much longer a walk, there and back together, is taken to leave the car where it stands


@dataclass(frozen=True, kw_only=True)
class Track:
    """One line that people go along. points : (latitude, longitude). [°]

    drive : a car can use it. kmh : how fast it goes there, if known. closed : not to be used now.
    """

    points: Line
    name: str = ""
    drive: bool = False
    kmh: float | None = None
    closed: bool = False

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise WrongInput(f"track {self.name!r}", got=f"{len(self.points)} point(s)", needed="at least two points")
        for lat, lon in self.points:
            if not (-90 <= lat <= 90 and -180 <= lon <= 180):
                raise WrongInput(
                    f"track {self.name!r}", got=(lat, lon), needed="latitudes to 90 and longitudes to 180 degrees"
                )
        if self.kmh is not None and not 1 <= self.kmh <= 130:
            raise WrongInput(f"kmh of track {self.name!r}", got=self.kmh, needed="a number from 1 to 130")


class NoTracks(WrongInput):
    """A document has no line that people could go along."""


def tracks_from_geojson(document: Any) -> tuple[Track, ...]:
    """Tracks from a GeoJSON document: its lines; points and areas are passed over.

    Properties that are read: `drive` (true: a car can use it), `kmh`, `closed`, `name`.
    Raises WrongInput when it is no GeoJSON, and NoTracks when it has no line.
    """
    found: list[Track] = []
    points = 0
    waiting: list[tuple[Any, Mapping[str, Any]]] = [(document, {})]
    while waiting:
        thing, told = waiting.pop()
        if not isinstance(thing, Mapping):
            raise WrongInput("GeoJSON", got=type(thing).__name__, needed="an object with a type")
        kind = thing.get("type")
        if kind == "FeatureCollection":
            waiting.extend((part, {}) for part in _list(thing, "features")[::-1])
        elif kind == "Feature":
            own = thing.get("properties")
            if thing.get("geometry") is not None:
                waiting.append((thing["geometry"], own if isinstance(own, Mapping) else {}))
        elif kind == "GeometryCollection":
            waiting.extend((part, told) for part in _list(thing, "geometries")[::-1])
        elif kind in ("LineString", "MultiLineString"):
            lines = [_list(thing, "coordinates")] if kind == "LineString" else _list(thing, "coordinates")
            for line in lines:
                points += len(line) if isinstance(line, list) else 0
                if points > MOST_POINTS:
                    raise WrongInput("GeoJSON", got="too many points", needed=f"at most {MOST_POINTS}; part it")
                found.append(_track(line, told))
        elif kind not in ("Point", "MultiPoint", "Polygon", "MultiPolygon"):
            raise WrongInput("GeoJSON", got=f"type {kind!r}", needed="features or geometries of RFC 7946")
    if not found:
        raise NoTracks("GeoJSON", got="no line", needed="tracks as LineString or MultiLineString")
    return tuple(found)


def _list(thing: Mapping[str, Any], name: str) -> list[Any]:
    value = thing.get(name)
    if not isinstance(value, list):
        raise WrongInput(f"GeoJSON {name}", got=type(value).__name__, needed="a list")
    return value


def _track(line: Any, told: Mapping[str, Any]) -> Track:
    try:
        points = tuple((float(p[1]), float(p[0])) for p in line)
    except (TypeError, ValueError, IndexError, KeyError) as error:
        raise WrongInput(
            "GeoJSON coordinates", got=str(line)[:60], needed="positions as [longitude, latitude]"
        ) from error
    kmh = told.get("kmh")
    return Track(
        points=points,
        name=str(told.get("name") or "")[:200],
        drive=told.get("drive") is True,
        kmh=float(kmh) if isinstance(kmh, int | float) and not isinstance(kmh, bool) else None,
        closed=told.get("closed") is True,
    )


@dataclass(frozen=True, eq=False)
class Network:
    """Tracks cut into steps and joined. lat, lon, height, track : (nodes,), height NaN where not known.

    a, b : (edges,) nodes at the ends; metres : length; kmh : by car, 0 where none can go, NaN where not known.
    """

    tracks: tuple[Track, ...]
    lat: Floats
    lon: Floats
    height: Floats
    track: Indices
    a: Indices
    b: Indices
    metres: Floats
    kmh: Floats
    joined_m: float

    @property
    def length_m(self) -> float:
        """Metres of track, the joints left out."""
        return float(self.metres[self.track[self.a] == self.track[self.b]].sum())


def _flat(lat: Floats, lon: Floats, lat0: float, lon0: float) -> Floats:
    """Metres east and north of a point, on a flat grid good to a few metres in a hundred kilometres. (n, 2)"""
    east = (lon - lon0 + 540) % 360 - 180
    east_m = np.radians(east) * EARTH_M * math.cos(math.radians(lat0))
    return np.column_stack((east_m, np.radians(lat - lat0) * EARTH_M))


def join(tracks: Sequence[Track], *, grid: HeightGrid | None = None) -> Network:
    """The tracks that are open, as one network.

    grid : heights in degrees, for walking by the slope.
    Raises WrongInput when no track is open.
    Notes : steps of 10 m, longer above 600 km of track; joints at 1.2 steps. Steps cut sharp corners by a few metres.
    """
    use = tuple(track for track in tracks if not track.closed)
    if not use:
        raise WrongInput("tracks", got="none that is open", needed="at least one track to go along")
    total = 0.0
    for track in use:
        line = np.array(track.points)
        total += float(distance_m(line[:-1, 0], line[:-1, 1], line[1:, 0], line[1:, 1]).sum())
    points = sum(len(track.points) for track in use)
    if points > MOST_POINTS:
        raise WrongInput("tracks", got=f"{points} points", needed=f"at most {MOST_POINTS}")
    step = max(STEP_M, total / MOST_NODES)
    lats, lons, owner, firsts, seconds, speeds = [], [], [], [], [], []
    at = 0
    for number, track in enumerate(use):
        line = np.array(track.points)
        run = np.append(0.0, np.cumsum(distance_m(line[:-1, 0], line[:-1, 1], line[1:, 0], line[1:, 1])))
        # Even steps along the line: a hand-held's jitter of many points to the metre is evened out with it.
        stops = np.linspace(0.0, run[-1], max(1, math.ceil(run[-1] / step)) + 1)
        east = np.append(0.0, np.cumsum((np.diff(line[:, 1]) + 540) % 360 - 180)) + line[0, 1]
        lat, lon = np.interp(stops, run, line[:, 0]), np.interp(stops, run, east)
        lats.append(lat)
        lons.append((lon + 540) % 360 - 180)
        owner.append(np.full(lat.size, number, dtype=np.intp))
        nodes = np.arange(at, at + lat.size, dtype=np.intp)
        firsts.append(nodes[:-1])
        seconds.append(nodes[1:])
        speeds.append(np.full(lat.size - 1, (track.kmh or np.nan) if track.drive else 0.0))
        at += lat.size
    all_lat, all_lon, all_owner = np.concatenate(lats), np.concatenate(lons), np.concatenate(owner)
    near = JOIN_SHARE * step
    tree = cKDTree(_flat(all_lat, all_lon, float(all_lat[0]), float(all_lon[0])))
    pairs = np.asarray(tree.query_pairs(near, output_type="ndarray"), dtype=np.intp).reshape(-1, 2)
    # Neighbours along one line are joined already; a line that comes back to itself is joined there.
    apart = (all_owner[pairs[:, 0]] != all_owner[pairs[:, 1]]) | (np.abs(pairs[:, 0] - pairs[:, 1]) > 8)
    pairs = pairs[apart]
    can = np.array([track.drive for track in use])
    both = can[all_owner[pairs[:, 0]]] & can[all_owner[pairs[:, 1]]]
    a, b = np.concatenate([*firsts, pairs[:, 0]]), np.concatenate([*seconds, pairs[:, 1]])
    kmh = np.concatenate([*speeds, np.where(both, np.nan, 0.0)])
    metres = distance_m(all_lat[a], all_lon[a], all_lat[b], all_lon[b])
    height = np.full(all_lat.size, np.nan) if grid is None else heights_at(grid, all_lat, all_lon)
    return Network(use, all_lat, all_lon, height, all_owner, a, b, metres, kmh, near)


def _minutes(metres: Floats, rise: Floats, factor: float) -> Floats:
    """On foot, step by step; a rise that is not known counts as none."""
    rise = np.where(np.isfinite(rise), rise, 0.0)
    slope = np.divide(rise, metres, out=np.zeros_like(metres), where=metres > 0)
    return np.asarray(metres / 1000 / (tobler_kmh(slope) * factor) * 60)


class _Ground:
    """The network with the places hung on: what `along` asks its questions of."""

    def __init__(
        self, network: Network, places: Sequence[Place], *, pace: Pace, reach_m: float, grid: HeightGrid | None
    ) -> None:
        nodes, n = network.lat.size, len(places)
        place_lat = np.array([place.latitude_deg for place in places])
        place_lon = np.array([place.longitude_deg for place in places])
        place_height = np.full(n, np.nan) if grid is None else heights_at(grid, place_lat, place_lon)
        self.lat, self.lon = np.append(network.lat, place_lat), np.append(network.lon, place_lon)
        self.height = np.append(network.height, place_height)
        self.first = nodes
        self.at = np.arange(nodes, nodes + n, dtype=np.intp)
        lat0, lon0 = float(network.lat[0]), float(network.lon[0])
        spots = _flat(place_lat, place_lon, lat0, lon0)
        tree = cKDTree(_flat(network.lat, network.lon, lat0, lon0))
        self.nearest_m = np.asarray(tree.query(spots)[0])
        doors_a, doors_b = [], []
        for number, close in enumerate(tree.query_ball_point(spots, reach_m)):
            near = np.array(close, dtype=np.intp)
            away = distance_m(place_lat[number], place_lon[number], network.lat[near], network.lon[near])
            order = near[np.argsort(away, kind="stable")]
            # The nearest step of each track around.
            _, first = np.unique(network.track[order], return_index=True)
            chosen = order[np.sort(first)][:DOORS]
            doors_a.append(np.full(chosen.size, nodes + number, dtype=np.intp))
            doors_b.append(chosen)
        between = np.asarray(cKDTree(spots).query_pairs(reach_m, output_type="ndarray"), dtype=np.intp).reshape(-1, 2)
        a = np.concatenate([*doors_a, between[:, 0] + nodes]).astype(np.intp)
        b = np.concatenate([*doors_b, between[:, 1] + nodes]).astype(np.intp)
        across_m = distance_m(self.lat[a], self.lon[a], self.lat[b], self.lon[b])
        every_a, every_b = np.append(network.a, a), np.append(network.b, b)
        metres = np.append(network.metres, across_m)
        factor = np.append(np.full(network.a.size, pace.on_path), np.full(a.size, pace.off_path))
        rise = self.height[every_b] - self.height[every_a]
        there = _minutes(metres, rise, 1.0) / factor
        back = _minutes(metres, -rise, 1.0) / factor
        self.size = nodes + n
        self.walk = self._graph(np.append(every_a, every_b), np.append(every_b, every_a), np.append(there, back))
        can = network.kmh != 0
        kmh = np.where(np.isnan(network.kmh), pace.drive_kmh, network.kmh)[can]
        x, y, t = network.a[can], network.b[can], network.metres[can] / 1000 / kmh * 60
        self.drive = self._graph(np.append(x, y), np.append(y, x), np.append(t, t))
        self.drivable = np.zeros(self.size, dtype=bool)
        self.drivable[x] = self.drivable[y] = True

    def _graph(self, a: Indices, b: Indices, minutes: Floats) -> csr_array:
        # Of several edges between two nodes the quickest; an edge of no length must not vanish as a zero.
        minutes = np.maximum(minutes, 1e-9)
        order = np.lexsort((minutes, b, a))
        a, b, minutes = a[order], b[order], minutes[order]
        keep = np.ones(a.size, dtype=bool)
        keep[1:] = (a[1:] != a[:-1]) | (b[1:] != b[:-1])
        return csr_array((minutes[keep], (a[keep], b[keep])), shape=(self.size, self.size))

    def told(self, graph: csr_array, source: int) -> tuple[Floats, Floats, Floats]:
        """Minutes, metres and climb from a node to every other along the quickest ways. (nodes,) each."""
        minutes, before = dijkstra(graph, indices=source, return_predecessors=True)
        known = before >= 0
        jump = np.where(known, before, np.arange(self.size)).astype(np.intp)
        metres = np.where(known, distance_m(self.lat[jump], self.lon[jump], self.lat, self.lon), 0.0)
        rise = self.height - self.height[jump]
        climb = np.where(known & np.isfinite(rise), np.clip(rise, 0.0, None), 0.0)
        # Sums along the way by doubling the stride: after k rounds each node looks back over 2^k steps.
        while True:
            further = jump[jump]
            if np.array_equal(further, jump):
                break
            metres, climb, jump = metres + metres[jump], climb + climb[jump], further
        return np.asarray(minutes), metres, climb

    def trace(self, graph: csr_array, source: int, target: int) -> list[int]:
        """The nodes of the quickest way, both ends with it; empty when there is none."""
        if source == target:
            return [source]
        before = dijkstra(graph, indices=source, return_predecessors=True)[1]
        way = [target]
        while before[way[-1]] >= 0:
            way.append(int(before[way[-1]]))
        return way[::-1] if way[-1] == source else []

    def points(self, nodes: Sequence[int]) -> Line:
        """Nodes as points, those in the middle of a straight stretch left out."""
        found: list[tuple[float, float]] = []
        for node in nodes:
            point = (round(float(self.lat[node]), 7), round(float(self.lon[node]), 7))
            if len(found) > 1 and _between(found[-2], found[-1], point):
                found.pop()
            if not found or found[-1] != point:
                found.append(point)
        return tuple(found)


def _between(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Whether the middle point lies on the line of the others, to about a decimetre, and onward."""
    ab, bc = (b[0] - a[0], b[1] - a[1]), (c[0] - b[0], c[1] - b[1])
    return abs(ab[0] * bc[1] - ab[1] * bc[0]) < 1e-6 * math.hypot(*ab) and ab[0] * bc[0] + ab[1] * bc[1] > 0


def along(
    places: Sequence[Place],
    network: Network,
    *,
    drive: bool = False,
    pace: Pace | None = None,
    grid: HeightGrid | None = None,
    reach_m: float = 500.0,
    most_walk_min: float = 120.0,
) -> Ways:
    """Ways along the tracks; the first place is where the round starts.

    drive : go by car as near as tracks allow and on foot from there, back to the car each time; sites that share a
    place to leave the car are walked between. Otherwise all of it on foot.
    grid : the heights that `network` was joined with. reach_m : so far people leave a track across country.
    most_walk_min : from car to site, one way.
    A place that cannot be reached stands in `missing` with its reason, its minutes infinite.
    Raises NoStart where no track for a car is near the start.
    """
    pace = pace or Pace()
    keys = check_places(places)
    if not 1 <= reach_m <= 20_000:
        raise WrongInput("reach_m", got=reach_m, needed="metres from 1 to 20 000")
    if not 1 <= most_walk_min <= 24 * 60:
        raise WrongInput("most_walk_min", got=most_walk_min, needed="minutes from 1 to a day")
    if len(places) * network.lat.size > MOST_PAIRS:
        raise WrongInput(
            "places",
            got=f"{len(places)} on {network.lat.size} steps of track",
            needed="fewer places at once, or the tracks around them alone",
        )
    ground = _Ground(network, places, pace=pace, reach_m=reach_m, grid=grid)
    n = len(places)
    rows = [ground.told(ground.walk, int(node)) for node in ground.at]
    walk_min, walk_m, climb = (np.array([row[k][ground.at] for row in rows]).reshape(n, n) for k in range(3))
    walk_m = np.where(np.isfinite(walk_min), walk_m, np.inf)
    unknown = float(np.mean(np.isnan(network.height)))
    ways = Ways(
        keys=keys,
        walk_min=walk_min,
        drive_min=np.zeros((n, n)),
        walk_m=walk_m,
        drive_m=np.zeros((n, n)),
        climb_m=None if unknown == 1 else climb,
        how=HowGone(along="tracks", heights="level")
        if unknown == 1
        else HowGone(along="tracks", heights="grid", unknown_share=unknown),
        drawn=lambda a, b: ground.points(ground.trace(ground.walk, int(ground.at[a]), int(ground.at[b]))),
    )
    if drive:
        return _by_car(ways, rows, ground, pace=pace, reach_m=reach_m, most_walk_min=most_walk_min)
    missing = {
        keys[i]: _why(ground, i, reach_m)
        for i in range(1, n)
        if not (np.isfinite(walk_min[0, i]) and np.isfinite(walk_min[i, 0]))
    }
    return replace(ways, missing=missing)


def _why(ground: _Ground, number: int, reach_m: float) -> NoWay:
    """Why a place is not reached: too far from any track, or on tracks of their own, or the start is."""
    nearest = float(ground.nearest_m[number])
    if nearest > reach_m:
        return NoWay(why="far from tracks", away_m=nearest, most_m=reach_m)
    if float(ground.nearest_m[0]) > reach_m:
        return NoWay(why="start far from tracks", away_m=float(ground.nearest_m[0]), most_m=reach_m)
    return NoWay(why="tracks apart")


def _by_car(
    ways: Ways,
    rows: Sequence[tuple[Floats, Floats, Floats]],
    ground: _Ground,
    *,
    pace: Pace,
    reach_m: float,
    most_walk_min: float,
) -> Ways:
    """The ways on foot turned into ways by car with a walk at each end."""
    n = len(ways.keys)
    if not ground.drivable.any():
        raise WrongInput("tracks", got="none that a car can use", needed="at least one with drive true, or go on foot")
    backward = csr_array(ground.walk.T)
    out = [np.where(ground.drivable, row[0], np.inf) for row in rows]
    back = [np.where(ground.drivable, np.asarray(dijkstra(backward, indices=int(node))), np.inf) for node in ground.at]
    stand: list[int | None] = [None] * n
    missing: dict[str, NoWay] = {}
    start = int(np.argmin(out[0] + back[0]))
    if not np.isfinite(out[0][start] + back[0][start]):
        raise NoStart(NoWay(why="start far from tracks", away_m=float(ground.nearest_m[0]), most_m=reach_m))
    stand[0] = start
    by_road = np.isfinite(dijkstra(ground.drive, indices=start))
    both = [np.where(by_road, out[i] + back[i], np.inf) for i in range(n)]
    least = [float(np.min(cost)) for cost in both]
    for i in sorted(range(1, n), key=lambda k: (least[k], ways.keys[k])):
        if not np.isfinite(least[i]):
            missing[ways.keys[i]] = _why(ground, i, reach_m)
            continue
        used = sorted({s for s in stand if s is not None}, key=lambda s: (both[i][s], s))
        shared = used[0] if both[i][used[0]] <= least[i] + SHARE_MIN else None
        stand[i] = shared if shared is not None else int(np.argmin(both[i]))
        longest = max(float(out[i][stand[i]]), float(back[i][stand[i]]))
        if longest > most_walk_min:
            missing[ways.keys[i]] = NoWay(why="long walk", walk_min=longest, most_min=most_walk_min)
            stand[i] = None
    walk_min, drive_min, walk_m, drive_m, climb = (np.full((n, n), np.inf) for _ in range(5))
    roads = {s: ground.told(ground.drive, s) for s in sorted({s for s in stand if s is not None})}
    # Metres and climb from the car to a site: from the car's side, so the climb is the one uphill.
    inward = {s: ground.told(ground.walk, s) for s in roads}
    on_foot = np.zeros((n, n), dtype=bool)
    for i in range(n):
        for j in range(n):
            a, b = stand[i], stand[j]
            if i == j:
                walk_min[i, j] = drive_min[i, j] = walk_m[i, j] = drive_m[i, j] = climb[i, j] = 0.0
            elif a is not None and b is not None:
                by_car = float(out[i][a] + back[j][b])
                if a == b and ways.walk_min[i, j] <= by_car:
                    on_foot[i, j] = True
                    walk_min[i, j], walk_m[i, j] = ways.walk_min[i, j], ways.walk_m[i, j]
                    climb[i, j] = 0.0 if ways.climb_m is None else ways.climb_m[i, j]
                    drive_min[i, j] = drive_m[i, j] = 0.0
                else:
                    walk_min[i, j] = by_car
                    walk_m[i, j] = rows[i][1][a] + inward[b][1][ground.at[j]]
                    climb[i, j] = rows[i][2][a] + inward[b][2][ground.at[j]]
                    drive_min[i, j], drive_m[i, j] = roads[a][0][b], roads[a][1][b]

    def drawn(i: int, j: int) -> Line:
        a, b = stand[i], stand[j]
        if a is None or b is None:
            return ()
        here, there = int(ground.at[i]), int(ground.at[j])
        if on_foot[i, j] or i == j:
            return ground.points(ground.trace(ground.walk, here, there))
        parts = ((ground.walk, here, a), (ground.drive, a, b), (ground.walk, b, there))
        return ground.points([node for graph, x, y in parts for node in ground.trace(graph, x, y)])

    return Ways(
        keys=ways.keys,
        walk_min=walk_min,
        drive_min=drive_min,
        walk_m=walk_m,
        drive_m=drive_m,
        climb_m=None if ways.climb_m is None else climb,
        missing=missing,
        how=replace(ways.how, by_car=True, drive_kmh=pace.drive_kmh),
        drawn=drawn,
    )
