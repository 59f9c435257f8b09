"""A planned round to plain data and back, so that it can be kept, shown and printed again as it was planned."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from trod.errors import WrongInput
from trod.plain import plain, record
from trod.planning.visit.byhand import Doubt
from trod.planning.visit.kit import Caution, KitItem
from trod.planning.visit.rounds import RoundPlan, Span
from trod.planning.visit.travel import Supposed, distance_m

VERSION = 2
THIN_M = 6.0  # a way's drawn line is thinned so far; no map here shows less


@dataclass(frozen=True, kw_only=True)
class Planned:
    """A plan with what goes with it.

    kits, light : one for each trip. doubts : where an order chosen by hand does not fit. by_hand : a person chose the
    order. deployments : slugs by site. supposed : what was taken for the ways.
    """

    plan: RoundPlan
    kits: tuple[tuple[KitItem, ...], ...] = ()
    cautions: tuple[Caution, ...] = ()
    light: tuple[Span, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    by_hand: bool = False
    deployments: Mapping[str, tuple[str, ...]]
    supposed: Supposed = field(default_factory=Supposed)


def to_plain(planned: Planned) -> dict[str, Any]:
    """The plan as JSON carries it: each stop once, by its key; ways drawn no finer than a map shows them."""
    told = plain(planned)
    plan = told.pop("plan")
    stops: dict[str, Any] = {}
    for trip in plan["trips"]:
        trip["back_line"] = _line(trip["back_line"])
        for visit in trip["visits"]:
            visit["line"] = _line(visit["line"])
            del visit["number"]
    for held in (*(v for trip in plan["trips"] for v in trip["visits"]), *plan["left_out"]):
        stop = held.pop("stop")
        held["key"] = stop["key"]
        stops[stop["key"]] = stop
    return {"version": VERSION, "stops": dict(sorted(stops.items())), **plan, **told}


def from_plain(row: Mapping[str, Any]) -> Planned:
    """The plan from JSON. Raises WrongInput for what is none, or is of a newer kind."""
    if row.get("version") != VERSION:
        raise WrongInput("round", got=f"a plan of kind {row.get('version')!r}", needed="one that this Trod can read")
    needed = "a plan; plan the round anew"
    try:
        stops = row["stops"]
        trips = [
            {**t, "visits": [{**v, "number": n, "stop": stops[v["key"]]} for n, v in enumerate(t["visits"], 1)]}
            for t in row["trips"]
        ]
        plan = {**row, "trips": trips, "left_out": [{**left, "stop": stops[left["key"]]} for left in row["left_out"]]}
    except (KeyError, TypeError) as problem:
        raise WrongInput("round", got=f"a damaged plan ({problem})", needed=needed) from problem
    return record(Planned, {**row, "plan": plan}, what="round", needed=needed)


def _line(line: Sequence[tuple[float, float]]) -> list[list[float]]:
    return [[round(lat, 5), round(lon, 5)] for lat, lon in thinned(line, THIN_M)]


def thinned(line: Sequence[tuple[float, float]], off_m: float) -> list[tuple[float, float]]:
    """A line with fewer points, nowhere farther than `off_m` from what it was.

    Its ends stay (Douglas and Peucker 1973, on a local flat grid).
    """
    if len(line) < 3:
        return list(line)
    lat0, lon0 = line[0]
    east = float(distance_m(lat0, lon0, lat0, lon0 + 0.01)) / 0.01
    north = float(distance_m(lat0, lon0, lat0 + 0.01 if lat0 < 89 else lat0 - 0.01, lon0)) / 0.01
    flat = [((lon - lon0) * east, (lat - lat0) * north) for lat, lon in line]
    keep = {0, len(line) - 1}
    waiting = [(0, len(line) - 1)]
    while waiting:
        a, b = waiting.pop()
        worst, at = off_m, None
        for i in range(a + 1, b):
            far = _off(flat[i], flat[a], flat[b])
            if far > worst:
                worst, at = far, i
        if at is not None:
            keep.add(at)
            waiting += [(a, at), (at, b)]
    return [line[i] for i in sorted(keep)]


def _off(p: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    """How far a point is from a stretch."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = dx * dx + dy * dy
    t = 0.0 if length == 0 else max(0.0, min(1.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length))
    return math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)
