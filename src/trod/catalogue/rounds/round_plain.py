"""A planned round to plain data and back, so that it can be kept, shown and printed again as it was planned."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from trod.errors import WrongInput
from trod.planning.visit.kit import Caution, KitItem
from trod.planning.visit.rounds import LeftOut, Party, RoundPlan, Span, Stop, StopTime, Trip
from trod.planning.visit.travel import Line, Place, Way, distance_m

VERSION = 1
THIN_M = 6.0  # a way's drawn line is thinned so far; no map here shows less


@dataclass(frozen=True, kw_only=True)
class Planned:
    """A plan with what goes with it. kits, light : one for each trip. doubts : where an order chosen by hand does not
    fit. by_hand : a person chose the order. deployments : slugs by site. assumed : sentences."""

    plan: RoundPlan
    kits: tuple[tuple[KitItem, ...], ...] = ()
    cautions: tuple[Caution, ...] = ()
    light: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    by_hand: bool = False
    deployments: Mapping[str, tuple[str, ...]]
    assumed: tuple[str, ...] = ()


def to_plain(planned: Planned) -> dict[str, Any]:
    """The plan as JSON carries it."""
    plan = planned.plan
    stops = {v.stop.key: v.stop for trip in plan.trips for v in trip.visits} | {
        left.stop.key: left.stop for left in plan.left_out
    }
    return {
        "version": VERSION,
        "stops": {key: _stop(stop) for key, stop in sorted(stops.items())},
        "trips": [_trip(trip) for trip in plan.trips],
        "left_out": [
            {"key": x.stop.key, "reason": x.reason, "saves_days": x.saves_days, "more_min": x.more_min}
            for x in plan.left_out
        ],
        "start": asdict(plan.start),
        "searcher": plan.searcher,
        "seed": plan.seed,
        "ways_told": plan.ways_told,
        "worth_min": plan.worth_min,
        "sentence": plan.sentence,
        "kits": [[asdict(item) for item in kit] for kit in planned.kits],
        "cautions": [{**asdict(c), "sites": list(c.sites)} for c in planned.cautions],
        "light": list(planned.light),
        "doubts": list(planned.doubts),
        "by_hand": planned.by_hand,
        "deployments": {k: list(v) for k, v in planned.deployments.items()},
        "assumed": list(planned.assumed),
    }


def from_plain(row: Mapping[str, Any]) -> Planned:
    """The plan from JSON. Raises WrongInput for what is none, or is of a newer kind."""
    if row.get("version") != VERSION:
        raise WrongInput("round", got=f"a plan of kind {row.get('version')!r}", needed="one that this Trod can read")
    try:
        stops = {key: _stop_from(stop) for key, stop in row["stops"].items()}
        plan = RoundPlan(
            trips=tuple(_trip_from(trip, stops) for trip in row["trips"]),
            left_out=tuple(
                LeftOut(stop=stops[x["key"]], reason=x["reason"], saves_days=x["saves_days"], more_min=x["more_min"])
                for x in row["left_out"]
            ),
            start=Place(**row["start"]),
            searcher=row["searcher"],
            seed=row["seed"],
            ways_told=row["ways_told"],
            worth_min=row["worth_min"],
            sentence=row["sentence"],
        )
        return Planned(
            plan=plan,
            kits=tuple(tuple(KitItem(**item) for item in kit) for kit in row["kits"]),
            cautions=tuple(Caution(**{**c, "sites": tuple(c["sites"])}) for c in row["cautions"]),
            light=tuple(row["light"]),
            doubts=tuple(row["doubts"]),
            by_hand=bool(row["by_hand"]),
            deployments={k: tuple(v) for k, v in row["deployments"].items()},
            assumed=tuple(row["assumed"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise WrongInput("round", got=f"a damaged plan ({problem})", needed="a plan; plan the round anew") from problem


def _stop(stop: Stop) -> dict[str, Any]:
    out = asdict(stop)
    out["closed"] = {day.isoformat(): why for day, why in stop.closed.items()}
    out["work"] = list(stop.work)
    out["saves_days"] = list(stop.saves_days) if isinstance(stop.saves_days, tuple) else stop.saves_days
    return out


def _stop_from(row: Mapping[str, Any]) -> Stop:
    values = dict(row)
    values["closed"] = {date.fromisoformat(day): why for day, why in row["closed"].items()}
    values["work"] = tuple(row["work"])
    values["window"] = Span(**row["window"]) if row["window"] else None
    if isinstance(row["saves_days"], list):
        values["saves_days"] = tuple(row["saves_days"])
    return Stop(**values)


def _trip(trip: Trip) -> dict[str, Any]:
    return {
        "day": trip.day.isoformat(),
        "party": {
            **asdict(trip.party),
            "days": None if trip.party.days is None else sorted(d.isoformat() for d in trip.party.days),
        },
        "leave": trip.leave.isoformat(),
        "home": trip.home.isoformat(),
        "visits": [
            {
                "key": v.stop.key,
                "arrive": v.arrive.isoformat(),
                "leave": v.leave.isoformat(),
                "wait_min": v.wait_min,
                "way": asdict(v.way),
                "line": _line(v.line),
                "saves_days": v.saves_days,
            }
            for v in trip.visits
        ],
        "back": asdict(trip.back),
        "back_line": _line(trip.back_line),
        "load_kg": trip.load_kg,
    }


def _trip_from(row: Mapping[str, Any], stops: Mapping[str, Stop]) -> Trip:
    party = dict(row["party"])
    if party["days"] is not None:
        party["days"] = frozenset(date.fromisoformat(d) for d in party["days"])
    return Trip(
        day=date.fromisoformat(row["day"]),
        party=Party(**party),
        leave=datetime.fromisoformat(row["leave"]),
        home=datetime.fromisoformat(row["home"]),
        visits=tuple(
            StopTime(
                number=n,
                stop=stops[v["key"]],
                arrive=datetime.fromisoformat(v["arrive"]),
                leave=datetime.fromisoformat(v["leave"]),
                wait_min=v["wait_min"],
                way=Way(**v["way"]),
                line=tuple((lat, lon) for lat, lon in v["line"]),
                saves_days=v["saves_days"],
            )
            for n, v in enumerate(row["visits"], 1)
        ),
        back=Way(**row["back"]),
        back_line=tuple((lat, lon) for lat, lon in row["back_line"]),
        load_kg=row["load_kg"],
    )


def _line(line: Line) -> list[list[float]]:
    return [[round(lat, 5), round(lon, 5)] for lat, lon in thinned(line, THIN_M)]


def thinned(line: Sequence[tuple[float, float]], off_m: float) -> list[tuple[float, float]]:
    """A line with fewer points, nowhere farther than `off_m` from what it was; its ends stay (Douglas and Peucker
    1973, on a local flat grid)."""
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
