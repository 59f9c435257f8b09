"""A trip in an order that a person chose: timed, and told where it does not fit, but never forbidden."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, time, timedelta

from trod.errors import WrongInput
from trod.planning.visit.rounds import DAY_MIN, Party, RoundDay, Stop, StopTime, Trip, carried_kg
from trod.planning.visit.travel import Place, Ways


def in_this_order(
    stops: Sequence[Stop], *, number: int, day: RoundDay, party: Party, start: Place, ways: Ways
) -> tuple[Trip, tuple[str, ...]]:
    """One party's trip on one day, in the order of `stops`; they leave as early as they may be away.

    number : the day's place in the round, from 0, for what a stop saves on it.
    Returns the trip and a sentence for everything that does not fit: light, hours, a closed season, people, load.
    Raises WrongInput for a stop to which there is no way, and for a trip that does not end on its day.
    """
    if not stops:
        raise WrongInput("trip", got="no stop", needed="at least one stop")
    doubts: list[str] = []
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
            why = ways.missing.get(stop.key, "no access")
            raise WrongInput(f"stop {stop.name!r}", got=why, needed="a stop that can be reached")
        arrive = now + way.minutes
        spans = [span for span in (day.light, stop.window) if span is not None]
        begin = max([arrive, *(span.from_min for span in spans)])
        now = begin + stop.there_min
        if day.day in stop.closed:
            doubts.append(f"{stop.name} is closed that day: {stop.closed[day.day] or 'closed'}.")
        if day.light is not None and now > day.light.to_min:
            doubts.append(f"{stop.name}: it is dark before the visit is done ({_clock(now)}).")
        if stop.window is not None and now > stop.window.to_min:
            doubts.append(f"{stop.name}: one may be there until {_clock(stop.window.to_min)} only.")
        if stop.people > party.people:
            doubts.append(f"{stop.name} takes {stop.people} people together.")
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
        doubts.append(f"{party.name} would be back at {_clock(home)}, after {_clock(day.out.to_min)}.")
    elif home > day.out.to_min - party.rest_min:
        kept = f"less than {party.rest_min:.0f} minutes kept free"
        doubts.append(f"{party.name} would be back at {_clock(home)}, with {kept}.")
    load = carried_kg(stops)
    if party.most_load_kg is not None and load > party.most_load_kg:
        doubts.append(f"{party.name} would carry {load:.1f} kg, more than {party.most_load_kg:g} kg.")
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


def _clock(minutes: float) -> str:
    whole = round(minutes)
    over = " the next day" if whole >= DAY_MIN else ""
    return f"{whole // 60 % 24}:{whole % 60:02d}{over}"
