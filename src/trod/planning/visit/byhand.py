"""A trip in an order that a person chose: timed, and told where it does not fit, but never forbidden."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Literal

from trod.errors import WrongInput
from trod.planning.visit.rounds import (
    DAY_MIN,
    CannotBeVisited,
    LeftOut,
    Party,
    RoundDay,
    Stop,
    StopTime,
    Trip,
    carried_kg,
)
from trod.planning.visit.travel import Place, Ways


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Something that does not fit. name : of the stop, or of the party for what concerns the whole trip.

    at_min : when the visit is done or the party home; until_min : when it should have been. [minutes after midnight]
    number, most : people together; kilograms carried, and the most that is; minutes that should be kept free.
    detail : the reason that is noted of a closure. `trod.telling.rounds` words it.
    """

    why: Literal["closed", "dark", "hours over", "people", "home late", "little rest", "load"]
    name: str
    at_min: float = 0.0
    until_min: float = 0.0
    number: float = 0.0
    most: float = 0.0
    detail: str = ""


def in_this_order(
    stops: Sequence[Stop], *, number: int, day: RoundDay, party: Party, start: Place, ways: Ways
) -> tuple[Trip, tuple[Doubt, ...]]:
    """One party's trip on one day, in the order of `stops`; they leave as early as they may be away.

    number : the day's place in the round, from 0, for what a stop saves on it.
    Returns the trip and everything that does not fit: light, hours, a closed season, people, load.
    Raises WrongInput for a stop to which there is no way, and for a trip that does not end on its day.
    """
    if not stops:
        raise WrongInput("trip", got="no stop", needed="at least one stop")
    doubts: list[Doubt] = []
    now, here = day.out.from_min, start.key
    first = stops[0]
    opens = [span.from_min for span in (day.light, first.window) if span is not None]
    to_first = ways.way(start.key, first.key).minutes
    if opens and math.isfinite(to_first):
        now = max(now, max(opens) - to_first)
    left = now
    midnight = datetime.combine(day.day, time(0))
    visits: list[StopTime] = []
    for turn, stop in enumerate(stops, 1):
        way = ways.way(here, stop.key)
        if not math.isfinite(way.minutes):
            out = LeftOut(
                stop=stop, why="no access", saves_days=stop.saves_on(number), no_way=ways.missing.get(stop.key)
            )
            raise CannotBeVisited(out, what=f"stop {stop.name!r}", needed="a stop that can be reached")
        arrive = now + way.minutes
        spans = [span for span in (day.light, stop.window) if span is not None]
        begin = max([arrive, *(span.from_min for span in spans)])
        now = begin + stop.there_min
        if day.day in stop.closed:
            doubts.append(Doubt(why="closed", name=stop.name, detail=stop.closed[day.day]))
        if day.light is not None and now > day.light.to_min:
            doubts.append(Doubt(why="dark", name=stop.name, at_min=now, until_min=day.light.to_min))
        if stop.window is not None and now > stop.window.to_min:
            doubts.append(Doubt(why="hours over", name=stop.name, at_min=now, until_min=stop.window.to_min))
        if stop.people > party.people:
            doubts.append(Doubt(why="people", name=stop.name, number=stop.people))
        if now >= DAY_MIN:
            raise WrongInput("trip", got=f"{len(stops)} stops", needed="fewer stops; these do not fit into one day")
        visits.append(
            StopTime(
                number=turn,
                stop=stop,
                arrive=midnight + timedelta(minutes=arrive),
                leave=midnight + timedelta(minutes=now),
                wait_min=begin - arrive,
                way=way,
                line=ways.line(here, stop.key),
                saves_days=stop.saves_on(number),
            )
        )
        here = stop.key
    back = ways.way(here, start.key)
    if not math.isfinite(back.minutes):
        raise WrongInput("trip", got="no way back from the last stop", needed="a last stop with a way home")
    home = now + back.minutes
    if home > day.out.to_min:
        doubts.append(Doubt(why="home late", name=party.name, at_min=home, until_min=day.out.to_min))
    elif home > day.out.to_min - party.rest_min:
        doubts.append(
            Doubt(why="little rest", name=party.name, at_min=home, until_min=day.out.to_min, number=party.rest_min)
        )
    load = carried_kg(stops)
    if party.most_load_kg is not None and load > party.most_load_kg:
        doubts.append(Doubt(why="load", name=party.name, number=load, most=party.most_load_kg))
    trip = Trip(
        day=day.day,
        party=party,
        leave=midnight + timedelta(minutes=left),
        home=midnight + timedelta(minutes=home),
        visits=tuple(visits),
        back=back,
        back_line=ways.line(here, start.key),
        load_kg=load,
    )
    return trip, tuple(doubts)
